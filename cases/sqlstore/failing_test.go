package sqlstore_test

import (
	"bytes"
	"context"
	"database/sql"
	"database/sql/driver"
	"errors"
	"fmt"
	"iter"
	"net/url"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	_ "downdrop/cases/sqlite" // the driver
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

var ctx = context.Background()

// errBroken is what a connection says that was made to fail.
var errBroken = errors.New("the connection broke here")

// A fault is what happens to an operation of a database.
type fault string

const (
	once   fault = "it fails"
	onward fault = "it and all after it fail"
	spoilt fault = "the row is spoilt"
)

var allFaults = []fault{once, onward, spoilt}

// faults let one operation of a database fail: the one whose turn it is.
type faults struct {
	mu        sync.Mutex
	at, count int
	what      fault
	meanwhile string // what another program does while the store is copied
	again     bool   // a transaction that failed may be tried once more
	of        string // only operations of statements that hold this text count
}

func (f *faults) arm(at int, what fault) { f.armOn(at, what, "") }

func (f *faults) armOn(at int, what fault, of string) {
	f.mu.Lock()
	defer f.mu.Unlock()
	f.at, f.count, f.what, f.of = at, 0, what, of
}

// fired disarms, and says whether something failed.
func (f *faults) fired() bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	fired := f.at > 0 && f.count >= f.at
	f.at = 0
	return fired
}

// turn says whether an operation is to fail.
func (f *faults) turn(row bool, statement string) bool {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.at == 0 || f.what == spoilt && !row || !strings.Contains(statement, f.of) {
		return false
	}
	f.count++
	return f.count == f.at || f.count > f.at && f.what == onward
}

func (f *faults) fail(statement string) error {
	if f.turn(false, statement) {
		return errBroken
	}
	return nil
}

// connector opens connections that fail when told to.
type connector struct {
	*faults
	real driver.Driver
	name string
}

func (c connector) Driver() driver.Driver { return c.real }

func (c connector) Connect(context.Context) (driver.Conn, error) {
	if err := c.fail("CONNECT"); err != nil {
		return nil, err
	}
	conn, err := c.real.Open(c.name)
	return failingConn{conn, c.faults}, err
}

type failingConn struct {
	driver.Conn
	*faults
}

func (c failingConn) BeginTx(ctx context.Context, o driver.TxOptions) (driver.Tx, error) {
	if err := c.fail("BEGIN"); err != nil {
		return nil, err
	}
	tx, err := c.Conn.(driver.ConnBeginTx).BeginTx(ctx, o)
	return failingTx{tx, c.faults}, err
}

func (c failingConn) PrepareContext(ctx context.Context, query string) (driver.Stmt, error) {
	if err := c.fail(query); err != nil {
		return nil, err
	}
	s, err := c.Conn.(driver.ConnPrepareContext).PrepareContext(ctx, query)
	return failingStmt{s, c.faults, query}, err
}

func (c failingConn) ExecContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Result, error) {
	if err := c.fail(query); err != nil {
		return nil, err
	}
	return c.Conn.(driver.ExecerContext).ExecContext(ctx, query, args)
}

func (c failingConn) QueryContext(ctx context.Context, query string, args []driver.NamedValue) (driver.Rows, error) {
	if err := c.fail(query); err != nil {
		return nil, err
	}
	rows, err := c.Conn.(driver.QueryerContext).QueryContext(ctx, query, args)
	return failingRows{rows, c.faults, query}, err
}

type failingStmt struct {
	driver.Stmt
	*faults
	query string
}

func (s failingStmt) ExecContext(ctx context.Context, args []driver.NamedValue) (driver.Result, error) {
	if err := s.fail(s.query); err != nil {
		return nil, err
	}
	return s.Stmt.(driver.StmtExecContext).ExecContext(ctx, args)
}

func (s failingStmt) QueryContext(ctx context.Context, args []driver.NamedValue) (driver.Rows, error) {
	if err := s.fail(s.query); err != nil {
		return nil, err
	}
	rows, err := s.Stmt.(driver.StmtQueryContext).QueryContext(ctx, args)
	return failingRows{rows, s.faults, s.query}, err
}

type failingTx struct {
	driver.Tx
	*faults
}

func (t failingTx) Commit() error {
	if err := t.fail("COMMIT"); err != nil {
		return errors.Join(err, t.Rollback())
	}
	return t.Tx.Commit()
}

type failingRows struct {
	driver.Rows
	*faults
	query string
}

func (r failingRows) Next(dest []driver.Value) error {
	if err := r.Rows.Next(dest); err != nil {
		return err
	}
	switch {
	case !r.turn(true, r.query):
	case r.what == spoilt:
		for i := range dest {
			dest[i] = []int(nil) // nothing that a column holds
		}
	default:
		return errBroken
	}
	return nil
}

// failingStore opens the store in a file through connections that fail when told to.
func failingStore(path string, f *faults, o sqlstore.Options) (*sqlstore.Store, error) {
	first, err := sql.Open("sqlite", "")
	if err != nil {
		return nil, err
	}
	db := sql.OpenDB(connector{f, first.Driver(), "file:" + url.PathEscape(path) + "?_pragma=busy_timeout(5000)&_pragma=journal_mode(WAL)&_pragma=synchronous(OFF)"})
	db.SetMaxIdleConns(8)
	return sqlstore.Open(ctx, sqlstore.Database{Write: db, Read: db, Where: path, Close: first.Close, Dialect: sqlstore.Dialect{
		Name: "sqlite", Text: "TEXT", Bytes: "BLOB", RowNumber: "INTEGER PRIMARY KEY", WithoutRowID: " WITHOUT ROWID", Prepare: true,
		HasMeta:  `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'meta'`,
		Contains: "instr(t.term, $1) > 0",
		Explain: func(err error) error {
			if errors.Is(err, errBroken) {
				return fmt.Errorf("%w: %w", cases.ErrUnavailable, err)
			}
			return err
		},
		LockSchema: "SELECT 1",
		Again:      func(err error) bool { return f.again && errors.Is(err, errBroken) },
		Forget:     func(ctx context.Context, db *sql.DB) error { _, err := db.ExecContext(ctx, "SELECT 1"); return err },
		Backup: func(ctx context.Context, db *sql.DB, _ int) (string, error) {
			_, err := db.ExecContext(ctx, "SELECT 1")
			if f.meanwhile != "" {
				_, err = db.ExecContext(ctx, f.meanwhile)
			}
			return "a copy", err
		},
		Check: func(ctx context.Context, db *sql.DB) ([]cases.Damage, error) {
			_, err := db.ExecContext(ctx, "SELECT 1")
			return nil, err
		},
	}}, o)
}

// further is the next operation that is made to fail: at first each, then ever fewer, for most of a long
// work is the same again. DOWNDROP_DEEP has more of them fail.
func further(t *testing.T, n int) int { return n + 1 + n/support.Deep(t, 3) }

// work is something that is asked of a store; each asks for it anew under a number.
type work struct {
	name   string
	do     func(s *sqlstore.Store, n int) (answer any, err error)
	writes bool
}

var (
	plate  = cases.Unit{Type: "bus unit A", Serial: "B0815"}
	aUnit  = cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(plate)}
	aDay   = time.Date(2032, 1, 2, 3, 4, 5, 0, time.UTC)
	aSheet = []byte("an invented sheet")
)

func drafted(id string, about cases.Subject, kind cases.Kind, body any) cases.Draft {
	d := cases.Say(kind, body)
	d.ID, d.Subject, d.At = id, about, aDay
	return d
}

func aCase(id string) cases.Subject { return cases.Subject{Kind: cases.AboutCase, ID: id} }

func collected(events iter.Seq2[cases.Event, error]) (all []cases.Event, err error) {
	for e, bad := range events {
		if err = errors.Join(err, bad); bad == nil {
			all = append(all, e)
		}
	}
	return all, err
}

// farAway are events of another site: of a case of its own, and of one that several have.
func farAway(site string) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		var head cases.Head
		for i, d := range []cases.Draft{drafted(site+"a", aCase(site), cases.KindOpened, cases.Opening{Location: "Lock " + site}), drafted(site+"b", aCase("visited"), cases.KindNote, cases.Note{Text: "from " + site})} {
			e, err := cases.Seal(d, site, head, int64(100+i))
			head = cases.Head{Seq: e.Seq, Hash: e.Hash}
			if !yield(e, err) {
				return
			}
		}
	}
}

func answered[T any](answer T, err error) (any, error) { return answer, err }

// works are what programs ask of a store, all of it.
func works(ids []string, mark cases.Mark, sheet, elsewhere string) []work {
	find := func(name string, q cases.Query) work {
		return work{name: "find " + name, do: func(s *sqlstore.Store, _ int) (any, error) { return answered(s.Find(ctx, q)) }}
	}
	read := func(name string, do func(s *sqlstore.Store) (any, error)) work {
		return work{name: name, do: func(s *sqlstore.Store, _ int) (any, error) { return do(s) }}
	}
	write := func(name string, do func(s *sqlstore.Store, n int) error) work {
		return work{name: name, writes: true, do: func(s *sqlstore.Store, n int) (any, error) { return nil, do(s, n) }}
	}
	c0 := ids[0]
	return []work{
		find("all", cases.Query{}), find("words", cases.Query{Text: "fuse pump"}), find("a part of a word", cases.Query{Text: "us"}), find("a serial", cases.Query{Serial: plate.Serial}),
		find("look-alikes", cases.Query{LooksLike: "80815"}), find("a place", cases.Query{Location: "Tide mill", State: cases.StateOpen, Limit: 2}), find("a symptom", cases.Query{Symptom: "power_light", Unsettled: true}),
		find("a cause", cases.Query{Cause: "fuse_open", From: aDay.AddDate(-2, 0, 0), To: aDay.AddDate(2, 0, 0)}), find("behind one", cases.Query{After: c0, Limit: 3}),
		read("case", func(s *sqlstore.Store) (any, error) { return answered(s.Case(ctx, c0)) }),
		read("case by its code", func(s *sqlstore.Store) (any, error) { return answered(s.Case(ctx, cases.NewCode(7))) }),
		read("events", func(s *sqlstore.Store) (any, error) { return answered(s.Events(ctx, aCase(c0))) }),
		read("all events", func(s *sqlstore.Store) (any, error) { return answered(collected(s.All(ctx))) }),
		read("salvage", func(s *sqlstore.Store) (any, error) { return answered(collected(s.Salvage(ctx))) }),
		read("each subject", func(s *sqlstore.Store) (any, error) {
			var all [][]cases.Event
			err := s.EachSubject(ctx, cases.AboutUnit, func(events []cases.Event) error { all = append(all, events); return nil })
			return all, err
		}),
		read("subjects", func(s *sqlstore.Store) (any, error) { return answered(s.Subjects(ctx, cases.AboutUnit)) }),
		read("heads", func(s *sqlstore.Store) (any, error) { return answered(s.Heads(ctx)) }),
		read("files", func(s *sqlstore.Store) (any, error) { return answered(s.Files(ctx)) }),
		read("file", func(s *sqlstore.Store) (any, error) { return answered(s.File(ctx, sheet)) }),
		read("has a file", func(s *sqlstore.Store) (any, error) { return answered(s.HasFile(ctx, sheet)) }),
		read("name", func(s *sqlstore.Store) (any, error) { return answered(s.Name(ctx, "person-1")) }),
		read("names", func(s *sqlstore.Store) (any, error) { return answered(s.Names(ctx)) }),
		read("count", func(s *sqlstore.Store) (any, error) { return answered(s.Count(ctx)) }),
		read("changed at all", func(s *sqlstore.Store) (any, error) {
			all, now, known, err := s.Changed(ctx, cases.AboutUnit, cases.Mark{})
			return []any{all, now, known}, err
		}),
		read("changed since", func(s *sqlstore.Store) (any, error) {
			some, now, known, err := s.Changed(ctx, cases.AboutCase, mark)
			return []any{some, now, known}, err
		}),
		read("verify", func(s *sqlstore.Store) (any, error) { return answered(s.Verify(ctx)) }),
		read("export", func(s *sqlstore.Store) (any, error) { return exported(s, cases.ExportOptions{Names: true}) }),
		read("export of cases", func(s *sqlstore.Store) (any, error) { return exported(s, cases.ExportOptions{Cases: ids[:2]}) }),
		read("find each", func(s *sqlstore.Store) (any, error) {
			n := 0
			err := cases.FindEach(ctx, s, cases.Query{}, func(cases.Summary) { n++ })
			return n, err
		}),
		read("closed ids", func(s *sqlstore.Store) (any, error) { return answered(cases.ClosedIDs(ctx, s)) }),
		read("look back", func(s *sqlstore.Store) (any, error) {
			c, err := s.Case(ctx, "visited")
			if err != nil {
				return nil, err
			}
			return answered(cases.LookBack(ctx, s, c))
		}),
		read("unit", func(s *sqlstore.Store) (any, error) { return answered(cases.ReadUnit(ctx, s, aUnit.ID)) }),
		read("units", func(s *sqlstore.Store) (any, error) {
			n := 0
			err := cases.Units(ctx, s, func(*cases.Card) error { n++; return nil })
			return n, err
		}),
		read("find units", func(s *sqlstore.Store) (any, error) {
			same, near, err := cases.FindUnits(ctx, s, "80815")
			return [][]string{same, near}, err
		}),
		read("look a unit up", func(s *sqlstore.Store) (any, error) { return answered(cases.LookUnitUp(ctx, s, plate, aDay)) }),
		read("returns of a serial", func(s *sqlstore.Store) (any, error) { return answered(cases.SerialReturns(ctx, s, plate)) }),
		read("returns from a place", func(s *sqlstore.Store) (any, error) { return answered(cases.LocationReturns(ctx, s, "Tide mill", 5)) }),

		write("append", func(s *sqlstore.Store, n int) error {
			id := fmt.Sprint("w", n)
			_, err := s.Append(ctx, drafted(id+"a", aCase(id), cases.KindOpened, cases.Opening{Location: "Lock " + id, Complaint: "wholly new words " + id}), drafted(id+"b", aCase(c0), cases.KindNote, cases.Note{Text: "more of it " + id}))
			return err
		}),
		write("append after the clock was set back", func(s *sqlstore.Store, n int) error {
			now, then := drafted(fmt.Sprint("j", n, "a"), aCase(c0), cases.KindNote, cases.Note{Text: "now"}), drafted(fmt.Sprint("j", n, "b"), aCase(c0), cases.KindNote, cases.Note{Text: "earlier"})
			then.At = aDay.AddDate(-3, 0, 0)
			_, err := s.Append(ctx, now, then)
			return err
		}),
		write("import", func(s *sqlstore.Store, n int) error {
			_, err := s.Import(ctx, farAway(fmt.Sprint("far", n)))
			return err
		}),
		write("import of a file", func(s *sqlstore.Store, n int) error {
			_, err := cases.ImportFrom(ctx, s, strings.NewReader(elsewhere), true)
			return err
		}),
		write("put a file", func(s *sqlstore.Store, n int) error {
			_, err := s.PutFile(ctx, fmt.Append(nil, "file ", n))
			return err
		}),
		write("name somebody", func(s *sqlstore.Store, n int) error { return s.SetName(ctx, "person-2", fmt.Sprint("Name ", n)) }),
		write("forget somebody", func(s *sqlstore.Store, n int) error {
			return errors.Join(s.SetName(ctx, "person-2", ""))
		}),
		write("retire", func(s *sqlstore.Store, n int) error {
			err := s.Retire(ctx, "elsewhere")
			return errors.Join(err, s.Retire(ctx, ""))
		}),
		write("rebuild", func(s *sqlstore.Store, n int) error { return s.Rebuild(ctx) }),
	}
}

func exported(s cases.Store, o cases.ExportOptions) (any, error) {
	var text bytes.Buffer
	_, err := cases.Export(ctx, s, &text, o)
	return text.String(), err
}

// filledStore is a store with a little of all that there is.
func filledStore(t *testing.T, f *faults, dir string) (s *sqlstore.Store, ids []string, mark cases.Mark, sheet string) {
	t.Helper()
	s, err := failingStore(filepath.Join(dir, "store.db"), f, sqlstore.Options{Site: "mill", Now: func() time.Time { return aDay }})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	put := func(drafts ...cases.Draft) {
		t.Helper()
		if _, err := s.Append(ctx, drafts...); err != nil {
			t.Fatal(err)
		}
	}
	for _, drafts := range storetest.InventedDrafts(2, 5) {
		ids = append(ids, drafts[0].Subject.ID)
		put(drafts...)
	}
	if _, mark, _, err = s.Changed(ctx, cases.AboutCase, cases.Mark{}); err != nil {
		t.Fatal(err)
	}
	if sheet, err = s.PutFile(ctx, aSheet); err != nil {
		t.Fatal(err)
	}
	visited := aCase("visited")
	put(drafted("v1", visited, cases.KindOpened, cases.Opening{Code: cases.NewCode(7), Location: "Tide mill", Drop: 5, Unit: plate}),
		drafted("v2", visited, cases.KindFile, cases.Attachment{Name: "sheet.txt", Digest: sheet, Bytes: len(aSheet)}),
		drafted("v3", aCase("before"), cases.KindOpened, cases.Opening{Location: "Tide mill", Drop: 5, Unit: plate}),
		drafted("v4", aCase("before"), cases.KindClosed, cases.Closing{Outcome: cases.Outcomes[0], UnitVerdict: cases.UnitGood}),
		drafted("v5", aUnit, cases.KindReceived, cases.Receipt{Unit: plate, Cases: []string{"visited"}}),
		drafted("v6", cases.Subject{Kind: cases.AboutLocation, ID: cases.LocationKey("Tide mill")}, cases.KindNote, cases.Note{Text: "the key is with the miller"}))
	if err := s.SetName(ctx, "person-1", "An invented name"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Import(ctx, storetest.Invented("quarry", 1, 9)); err != nil {
		t.Fatal(err)
	}
	slices.Sort(ids)
	return s, ids, mark, sheet
}

// F14, one layer below: every statement, row and end of a transaction fails once, or a row comes
// spoilt. Whatever is asked then says so, or answers as it would have without; nothing is written by halves, and
// asked again it is done.
func TestEveryStatementFailsOnce(t *testing.T) {
	support.Alone(t)
	f := &faults{}
	s, ids, mark, sheet := filledStore(t, f, t.TempDir())
	other, _, _, _ := filledStore(t, &faults{}, t.TempDir())
	text, err := exported(other, cases.ExportOptions{Cases: []string{"visited"}})
	if err != nil {
		t.Fatal(err)
	}
	failed := 0
	for i, w := range works(ids, mark, sheet, text.(string)) {
		if w.writes { // a store that grows is gone over ever more slowly
			s, _, _, _ = filledStore(t, f, t.TempDir())
		}
		for j, what := range allFaults {
			number := func(n, again int) int { return i*100_000 + n*10 + again*len(allFaults) + j }
			want, err := w.do(s, number(0, 0))
			if err != nil && !errors.Is(err, cases.ErrIntegrity) {
				t.Fatalf("%s: %v", w.name, err)
			}
			for n := 1; ; n = further(t, n) {
				before := events(t, s)
				f.arm(n, what)
				got, err := w.do(s, number(n, 0))
				if !f.fired() {
					break
				}
				name := fmt.Sprintf("%s, operation %d, %s", w.name, n, what)
				failed++
				v, verified := got.(cases.Verified)
				switch {
				case err != nil && what != spoilt && !errors.Is(err, cases.ErrUnavailable):
					t.Errorf("%s: not told as what it is: %v", name, err)
				case err == nil && !w.writes && !(verified && len(v.Damage) > 0) && !reflect.DeepEqual(got, want):
					t.Errorf("%s: no error, and another answer:\n%v\n%v", name, got, want)
				case err != nil && w.writes && !strings.HasPrefix(w.name, "import of") && events(t, s) != before:
					t.Errorf("%s: it failed and wrote: %v", name, err)
				}
				if !w.writes {
					continue
				}
				if _, err := w.do(s, number(n, 1)); err != nil {
					t.Errorf("%s: asked again: %v", name, err)
				}
				if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
					t.Fatalf("%s: %v %v", name, err, v.Damage)
				}
			}
		}
	}
	t.Logf("%d operations failed", failed)
	if failed < 500 {
		t.Errorf("only %d operations failed", failed)
	}
}

func events(t *testing.T, s *sqlstore.Store) int64 {
	t.Helper()
	n, err := s.Count(ctx)
	if err != nil {
		t.Fatal(err)
	}
	return n
}

// Statements that a store comes to only when something else is so already fail as all others do: it is told, and
// nothing is written by halves.
func TestRareStatementsFail(t *testing.T) {
	f := &faults{}
	s, ids, _, _ := filledStore(t, f, t.TempDir())
	closed := drafted("closing", aCase("visited"), cases.KindClosed, cases.Closing{Causes: []string{"fuse_open"}, Outcome: cases.Outcomes[0]})
	long := strings.Repeat("serial", 100) // longer than a word is kept
	if _, err := s.Append(ctx, closed, drafted("long", aCase("visited"), cases.KindNote, cases.Note{Text: long})); err != nil {
		t.Fatal(err)
	}
	reopen := func() error {
		_, err := s.Append(ctx, drafted("reopened", aCase("visited"), cases.KindReopened, cases.Reason{Why: "dark again"}))
		return err
	}
	find := func(q cases.Query) func() error {
		return func() error { _, err := s.Find(ctx, q); return err }
	}
	gap := func() error {
		_, err := s.Import(ctx, func(yield func(cases.Event, error) bool) {
			for e, err := range farAway("gap") {
				if e.Seq == 2 && !yield(e, err) {
					return
				}
			}
		})
		return err
	}
	for _, c := range []struct {
		of string
		at int
		do func() error
	}{
		{"DELETE FROM terms WHERE kind", 1, reopen},
		{"SELECT changed FROM summaries", 1, find(cases.Query{State: cases.StateOpen, Text: "the", Limit: 1})},
		{"FROM events WHERE subject_kind = $1 AND subject = $2 ORDER BY ord", 1, find(cases.Query{Text: long})},
		{"NOT EXISTS (SELECT 1 FROM events b", 1, gap},
		{"FROM events ORDER BY subject_kind", 1, func() error {
			v, err := s.Verify(ctx)
			if err == nil && len(v.Damage) > 0 {
				err = fmt.Errorf("%w: %v", cases.ErrUnavailable, v.Damage)
			}
			return err
		}},
		{"SELECT DISTINCT term", 1, func() error { _, err := s.Verify(ctx); return err }},
	} {
		before := events(t, s)
		f.armOn(c.at, once, c.of)
		err := c.do()
		if !f.fired() {
			t.Errorf("%s: it was not asked", c.of)
		} else if !errors.Is(err, cases.ErrUnavailable) || events(t, s) != before {
			t.Errorf("%s: %v", c.of, err)
		}
	}

	// Where the summary says that more is there than can be found, both are read again at one moment.
	if _, err := rawOf(s.Where(), "UPDATE summaries SET events = events + 1"); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Events(ctx, aCase(ids[0])); !errors.Is(err, cases.ErrIntegrity) {
		t.Errorf("events that lack: %v", err)
	}
	for of, at := range map[string]int{"BEGIN": 1, "FROM events WHERE subject_kind = $1 AND subject = $2 ORDER BY ord": events0(t, s, ids[0]) + 2} {
		f.armOn(at, once, of)
		if _, err := s.Events(ctx, aCase(ids[0])); !f.fired() || !errors.Is(err, cases.ErrUnavailable) {
			t.Errorf("%s: %v", of, err)
		}
	}
}

// events0 counts the events of a case as the table has them.
func events0(t *testing.T, s *sqlstore.Store, id string) (n int) {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(s.Where()))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	if err := db.QueryRow("SELECT count(*) FROM events WHERE subject = ?", id).Scan(&n); err != nil {
		t.Fatal(err)
	}
	return n
}

// rawOf does something to a store's file behind its back.
func rawOf(path, statement string, args ...any) (sql.Result, error) {
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(path))
	if err != nil {
		return nil, err
	}
	defer db.Close()
	return db.Exec(statement, args...)
}

// Whoever goes while a transaction waits to be tried again is let go.
func TestGoneWhileItIsTriedAgain(t *testing.T) {
	f := &faults{again: true}
	s, _, _, _ := filledStore(t, f, t.TempDir())
	soon, cancel := context.WithTimeout(ctx, 5*time.Millisecond)
	defer cancel()
	f.arm(1, onward)
	if err := s.SetName(soon, "p", "x"); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("%v", err)
	}
	f.fired()
}

// A store is made, taken over and brought up a schema as a whole or not at all, whatever fails.
func TestOpeningFailsAsAWhole(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	empty := filepath.Join(dir, "empty.db")
	if s, err := failingStore(empty, &faults{}, sqlstore.Options{Site: "mill"}); err != nil || s.Close() != nil {
		t.Fatal(err)
	}
	for name, o := range map[string]struct {
		from string
		o    sqlstore.Options
	}{
		"made":        {"", sqlstore.Options{Site: "mill"}},
		"taken over":  {empty, sqlstore.Options{Site: "quarry"}},
		"brought up":  {"../sqlite/testdata/schema1.db", sqlstore.Options{}},
		"opened only": {"../sqlite/testdata/schema2.db", sqlstore.Options{}},
	} {
		for _, what := range allFaults {
			failed := 0
			for n := 1; ; n = further(t, n) {
				path := filepath.Join(dir, fmt.Sprintf("%s-%s-%d.db", name, what, n))
				if o.from != "" {
					text, err := os.ReadFile(o.from)
					if err == nil {
						err = os.WriteFile(path, text, 0o600)
					}
					if err != nil {
						t.Fatal(err)
					}
				}
				f := &faults{}
				f.arm(n, what)
				s, err := failingStore(path, f, o.o)
				fired := f.fired()
				if err == nil {
					if err := s.Close(); err != nil {
						t.Fatal(err)
					}
				} else if !fired || what != spoilt && !errors.Is(err, cases.ErrUnavailable) {
					t.Errorf("%s, operation %d, %s: %v", name, n, what, err)
				}
				if s, err = failingStore(path, f, o.o); err != nil {
					t.Fatalf("%s, operation %d: opened again: %v", name, n, err)
				}
				v, err := s.Verify(ctx)
				if closed := s.Close(); err != nil || closed != nil || len(v.Damage) > 0 {
					t.Errorf("%s, operation %d: %v %v %v", name, n, err, closed, v.Damage)
				}
				if !fired {
					break
				}
				failed++
			}
			if failed < 2 {
				t.Errorf("%s: only %d operations failed", name, failed)
			}
		}
	}
}
