// Package sqlstore is a [cases.Store] in an SQL database: all statements stand
// here, and what two databases say differently is a [Dialect].
//
// Writers take turns: whoever appends or imports holds the one lock (SQLite's
// write transaction, in PostgreSQL the row of the own site's head) until it is
// committed. That is what makes a chain and counts without gaps, and what Find
// looks through is then written by one at a time as well.
package sqlstore

import (
	"context"
	"crypto/rand"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"sync"
	"time"

	"downdrop/cases"
)

// A Dialect is what is said differently to one database.
type Dialect struct {
	Name                   string             // sqlite, postgres: the end of the names of its own migrations
	Text, Bytes, RowNumber string             // its types: text compared by bytes, bytes, and a number that counts rows by itself
	WithoutRowID           string             // after a table that is its own index
	HasMeta                string             // a query: 1 where the table meta is there
	LockSchema             string             // a statement before a migration; "" none
	LockHead               string             // after a SELECT of the row that writers lock
	Prepare                bool               // whether statements are worth keeping ready
	Contains               string             // a condition: $1 is a part of the column term
	Snapshot               sql.IsolationLevel // of a transaction that reads one moment

	// Explain makes of a driver's error one of those that cases names, with the file
	// or server and what to do. It leaves other errors as they are.
	Explain func(error) error
	// Again says whether a transaction that ended so may be tried again. Whether it
	// was committed does not matter: ids make the second time the same as the first.
	Again func(error) bool
	// Backup copies the store aside before a migration and says where to.
	Backup func(ctx context.Context, db *sql.DB, schema int) (where string, err error)
	// Forget makes what was taken out be gone from the storage itself, as far as other
	// users let it; nil: the database sees to that.
	Forget func(ctx context.Context, db *sql.DB) error
	// Check is the database's own check of its storage, where it has one.
	Check func(ctx context.Context, db *sql.DB) ([]cases.Damage, error)
}

// Options of opening a store. The zero value will do.
type Options struct {
	// Site is the name to write under. A new store takes it, and so does one that
	// holds no event; any other must have it already. "": what the store has, for a
	// new one a name made of NewID.
	Site    string
	Now     func() time.Time  // nil: time.Now
	NewID   func() string     // nil: random
	Program string            // version of downdrop
	Tell    func(says string) // told what happens on the way, such as a migration; nil: nobody
}

func (o *Options) tell(says string) {
	if o.Tell != nil {
		o.Tell(says)
	}
}

func (o *Options) site() string {
	if o.Site != "" {
		return o.Site
	}
	if o.NewID != nil {
		return "site-" + o.NewID()
	}
	b := make([]byte, 8)
	_, _ = rand.Read(b) // never fails
	return "site-" + hex.EncodeToString(b)
}

// A Database is an open connection to one, and how to speak to it.
type Database struct {
	Write    *sql.DB // nil: it can only be read
	Read     *sql.DB
	Dialect  Dialect
	Where    string       // the file, or the server and database, for messages
	ReadOnly string       // why it can only be read, a sentence; "" it can be written
	Close    func() error // after both; nil: nothing
}

// Store is a cases.Store in an SQL database.
type Store struct {
	write, read *sql.DB
	dialect     Dialect
	where       string
	readOnly    string
	movedTo     string
	site        string
	close       func() error

	prepared   sync.Once
	statements map[string]*sql.Stmt // that every event needs

	mu    sync.Mutex // of known
	known map[string]*projected
}

// Open opens the store in a database, creates it where there is none, and brings
// it to this program's schema. On an error the database is closed.
func Open(ctx context.Context, d Database, o Options) (*Store, error) {
	s := &Store{write: d.Write, read: d.Read, dialect: d.Dialect, where: d.Where, readOnly: d.ReadOnly, close: d.Close, known: map[string]*projected{}}
	if err := s.open(ctx, &o); err != nil {
		return nil, errors.Join(s.explain(err), s.Close())
	}
	return s, nil
}

func (s *Store) open(ctx context.Context, o *Options) error {
	if s.write != nil {
		if err := s.migrate(ctx, o); err != nil {
			return err
		}
	} else if err := s.readable(ctx); err != nil {
		return err
	}
	site, err := getMeta(ctx, s.read, "site")
	if err != nil {
		return err
	}
	s.site = site
	moved, err := s.moved(ctx, s.read)
	if err != nil {
		return err
	} else if moved != "" && s.readOnly == "" {
		s.movedTo, s.readOnly = moved, movedTo(moved)
	}
	if o.Site != "" && o.Site != site {
		return s.takeOver(ctx, o.Site)
	}
	return nil
}

// readable refuses what cannot be read without changing it.
func (s *Store) readable(ctx context.Context) error {
	schema, err := s.schema(ctx, s.read)
	switch {
	case err != nil:
		return err
	case schema > SchemaNow:
		return newer(schema)
	case schema == 0:
		return fmt.Errorf("%w: there is no store in it, and none can be made: it can only be read", cases.ErrUnavailable)
	case schema < SchemaNow:
		return fmt.Errorf("%w: it is of schema %d and has to be brought to %d, but it can only be read: copy it to where it can be written and open the copy", cases.ErrUnavailable, schema, SchemaNow)
	}
	return nil
}

// takeOver has a store that holds no event write under another site's name.
func (s *Store) takeOver(ctx context.Context, site string) error {
	if s.write == nil {
		return fmt.Errorf("%w: it can only be read", cases.ErrUnavailable)
	}
	err := s.inTx(ctx, func(tx writer) error {
		var events int
		if err := tx.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM events LIMIT 1) AS any_event`).Scan(&events); err != nil {
			return err
		}
		if events > 0 {
			return fmt.Errorf("%w: it is of site %s and holds events; it cannot become that of site %s", cases.ErrUnavailable, s.site, site)
		}
		if _, err := tx.ExecContext(ctx, `DELETE FROM sites`); err != nil {
			return err
		}
		return s.name(ctx, tx, site)
	})
	if err == nil {
		s.site = site
	}
	return err
}

// moved says where the store was moved to; "" it was not.
func (s *Store) moved(ctx context.Context, q querier) (string, error) {
	var to string
	err := q.QueryRowContext(ctx, `SELECT coalesce((SELECT value FROM meta WHERE name = 'moved'), '')`).Scan(&to)
	return to, err
}

func movedTo(to string) string {
	return fmt.Sprintf("What was in this store has been moved to %s, and goes on there.", to)
}

// Retire closes the store to writing, for everybody, because it goes on elsewhere:
// two stores that write under one site would part its chain. "" opens it again.
func (s *Store) Retire(ctx context.Context, to string) error {
	if s.write == nil {
		return s.explain(fmt.Errorf("%w: %s", cases.ErrUnavailable, s.readOnly))
	}
	err := s.once(ctx, func(tx writer) error {
		if to == "" {
			_, err := tx.ExecContext(ctx, `DELETE FROM meta WHERE name = 'moved'`)
			return err
		}
		if _, err := s.lock(ctx, tx); err != nil && s.readOnly == "" {
			return err
		}
		return setMeta(ctx, tx, "moved", to)
	})
	if err == nil {
		if s.movedTo, s.readOnly = to, ""; to != "" {
			s.readOnly = movedTo(to)
		}
	}
	return s.explain(err)
}

// Site is the name that this store writes under.
func (s *Store) Site() string { return s.site }

// Where is the file, or the server and database.
func (s *Store) Where() string { return s.where }

// ReadOnly says why the store can only be read, in a sentence; "" it can be written.
func (s *Store) ReadOnly() string { return s.readOnly }

// MovedTo is where the store was moved to; "" it was not.
func (s *Store) MovedTo() string { return s.movedTo }

// Close lets the database go.
func (s *Store) Close() error {
	var errs []error
	if s.read != nil && s.read != s.write {
		errs = append(errs, s.read.Close())
	}
	if s.write != nil {
		errs = append(errs, s.write.Close())
	}
	if s.close != nil {
		errs = append(errs, s.close())
	}
	return errors.Join(errs...)
}

// querier is a database or a transaction.
type querier interface {
	QueryContext(context.Context, string, ...any) (*sql.Rows, error)
	QueryRowContext(context.Context, string, ...any) *sql.Row
}

// writer is a transaction.
type writer interface {
	querier
	ExecContext(context.Context, string, ...any) (sql.Result, error)
}

// transaction is a transaction that knows some statements already: to read one takes
// SQLite as long as to carry it out.
type transaction struct {
	*sql.Tx
	statements map[string]*sql.Stmt // of the store
	own        map[string]*sql.Stmt // the same, as this transaction has them: it keeps each that it is asked for until its end
}

// statement is a query that was read already; nil where it was not.
func (t transaction) statement(ctx context.Context, query string) *sql.Stmt {
	if s := t.own[query]; s != nil {
		return s
	}
	s := t.statements[query]
	if s == nil {
		return nil
	}
	t.own[query] = t.StmtContext(ctx, s)
	return t.own[query]
}

func (t transaction) ExecContext(ctx context.Context, query string, args ...any) (sql.Result, error) {
	if s := t.statement(ctx, query); s != nil {
		return s.ExecContext(ctx, args...)
	}
	return t.Tx.ExecContext(ctx, query, args...)
}

func (t transaction) QueryRowContext(ctx context.Context, query string, args ...any) *sql.Row {
	if s := t.statement(ctx, query); s != nil {
		return s.QueryRowContext(ctx, args...)
	}
	return t.Tx.QueryRowContext(ctx, query, args...)
}

// prepare reads the statements that every event needs. One that cannot be read is read
// when it is needed, and says then what is wrong.
func (s *Store) prepare() {
	s.prepared.Do(func() {
		if s.write == nil || !s.dialect.Prepare {
			return
		}
		all := map[string]*sql.Stmt{}
		for _, query := range []string{s.headQuery(), eventOfID, timeOf, highestOrder, insertEvent, upsertHead, caseNumber, anyTerm, insertTerm, lastWords, updateWords, updateSummary, insertSummary} {
			if statement, err := s.write.PrepareContext(context.Background(), query); err == nil {
				all[query] = statement
			}
		}
		s.statements = all
	})
}

// explain makes an error one of those that cases names and says where.
func (s *Store) explain(err error) error {
	if err == nil || errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded) {
		return err
	}
	err = s.dialect.Explain(err)
	for _, kind := range []error{cases.ErrUnavailable, cases.ErrIntegrity} {
		if errors.Is(err, kind) {
			return fmt.Errorf("%s: %w", s.where, err)
		}
	}
	return err
}

// attempts is how often a transaction is tried that another one got in the way of,
// or whose connection broke.
const attempts = 4

// inTx does something in one transaction, again where that is safe and may help.
func (s *Store) inTx(ctx context.Context, do func(writer) error) error {
	if s.readOnly != "" {
		return fmt.Errorf("%w: %s", cases.ErrUnavailable, s.readOnly)
	}
	var err error
	for try := range attempts {
		if try > 0 {
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(time.Duration(1<<try) * 20 * time.Millisecond):
			}
		}
		if err = s.once(ctx, do); err == nil || !s.dialect.Again(err) {
			return err
		}
	}
	return err
}

func (s *Store) once(ctx context.Context, do func(writer) error) error {
	tx, err := s.write.BeginTx(ctx, nil)
	if err != nil {
		return err
	}
	if err := do(transaction{tx, s.statements, map[string]*sql.Stmt{}}); err != nil {
		_ = tx.Rollback() // what went wrong before says more
		return err
	}
	return tx.Commit()
}

// checksum is that of a line that is in no chain.
func checksum(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		fmt.Fprintf(h, "%d:%s", len(p), p)
	}
	return hex.EncodeToString(h.Sum(nil)[:8])
}
