package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"os"
	"slices"
	"sync"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"downdrop/cases"
	"downdrop/cases/sqlstore"
)

func dialect(path string, o *sqlstore.Options) sqlstore.Dialect {
	return sqlstore.Dialect{
		Name: "sqlite", Text: "TEXT", Bytes: "BLOB", RowNumber: "INTEGER PRIMARY KEY", WithoutRowID: " WITHOUT ROWID",
		Prepare:  true,
		HasMeta:  `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'meta'`,
		Contains: "instr(t.term, $1) > 0",
		Explain:  explain,
		Again:    func(err error) bool { return code(err) == sqlite3.SQLITE_BUSY },
		Backup: func(ctx context.Context, db *sql.DB, schema int) (string, error) {
			return backup(ctx, db, path, schema, o.Now)
		},
		Forget: forget,
		Check:  check,
	}
}

// forget empties the write-ahead log, which holds what stood in the file before. Whoever
// reads from it meanwhile keeps it for now; it goes when the last of them has closed.
func forget(ctx context.Context, db *sql.DB) error {
	var busy, log, moved int
	return db.QueryRowContext(ctx, `PRAGMA wal_checkpoint(TRUNCATE)`).Scan(&busy, &log, &moved)
}

// backup copies the whole store, with what is in its write-ahead log, beside it.
func backup(ctx context.Context, db *sql.DB, path string, schema int, now func() time.Time) (string, error) {
	if now == nil {
		now = time.Now
	}
	for n := range 100 {
		to := fmt.Sprintf("%s.schema%d-%s", path, schema, now().UTC().Format("20060102-150405"))
		if n > 0 {
			to += fmt.Sprintf("-%d", n)
		}
		if _, err := os.Lstat(to); !errors.Is(err, fs.ErrNotExist) {
			continue
		}
		if _, err := db.ExecContext(ctx, `VACUUM INTO $1`, to); err != nil {
			return "", err
		}
		return to, os.Chmod(to, 0o600)
	}
	return "", fmt.Errorf("%w: too many copies stand beside it already", cases.ErrUnavailable)
}

// check is SQLite's own check, and one of the tables, indexes and triggers
// themselves: their definitions are text in the file like everything else.
func check(ctx context.Context, db *sql.DB) ([]cases.Damage, error) {
	var out []cases.Damage
	says, err := list(ctx, db, `PRAGMA integrity_check(50)`)
	for _, line := range says {
		if line != "ok" {
			out = append(out, cases.Damage{Where: "the file", What: "SQLite finds: " + line})
		}
	}
	is, errIs := definitions(ctx, db)
	want, errWant := fresh()
	err = errors.Join(err, errIs, errWant)
	if err == nil && !maps.Equal(is, want) {
		out = append(out, cases.Damage{Where: "the file", What: "The definitions of its tables, indexes and triggers are not those that downdrop makes."})
	}
	return out, err
}

func list(ctx context.Context, db *sql.DB, query string) ([]string, error) {
	return rowsOf(ctx, db, query, func(rows *sql.Rows, line *string) error { return rows.Scan(line) })
}

// rowsOf reads what a query gives; with an error, what came before it.
func rowsOf[T any](ctx context.Context, db *sql.DB, query string, scan func(*sql.Rows, *T) error) ([]T, error) {
	rows, err := db.QueryContext(ctx, query)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []T
	for err == nil && rows.Next() {
		var row T
		if err = scan(rows, &row); err == nil {
			out = append(out, row)
		}
	}
	return out, errors.Join(err, rows.Err())
}

func definitions(ctx context.Context, db *sql.DB) (map[string]string, error) {
	lines, err := list(ctx, db, `SELECT type || ' ' || name || ' ' || tbl_name || char(10) || coalesce(sql, '') FROM sqlite_master`)
	out := map[string]string{}
	for _, line := range slices.Sorted(slices.Values(lines)) {
		out[line] = ""
	}
	return out, err
}

// made are the definitions of a new store, worked out once.
var made struct {
	once        sync.Once
	definitions map[string]string
	err         error
}

// fresh gives the definitions of a new store.
func fresh() (map[string]string, error) {
	made.once.Do(func() { made.definitions, made.err = makeFresh(context.Background()) }) // of no caller's context: it is made for all
	return made.definitions, made.err
}

func makeFresh(ctx context.Context) (all map[string]string, err error) {
	err = withFresh(ctx, func(db *sql.DB) error {
		all, err = definitions(ctx, db)
		return err
	})
	return all, err
}

// withFresh does something with a new store in memory.
func withFresh(ctx context.Context, do func(*sql.DB) error) error {
	db := database(":memory:")
	db.SetMaxOpenConns(1)
	s, err := sqlstore.Open(ctx, sqlstore.Database{Write: db, Read: db, Dialect: dialect("", &sqlstore.Options{}), Where: "memory"}, sqlstore.Options{})
	if err != nil {
		return err
	}
	return errors.Join(do(db), s.Close())
}
