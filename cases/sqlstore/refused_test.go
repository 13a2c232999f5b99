package sqlstore_test

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"iter"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

// overwritten is a file that a store was made in, after some statements of somebody else's. What a
// store guards against is let go first.
func overwritten(t *testing.T, statements ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "store.db")
	s, err := failingStore(path, &faults{}, sqlstore.Options{Site: "mill"})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Append(ctx, drafted("e1", aCase("c1"), cases.KindOpened, cases.Opening{Location: "Tide mill"})); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(path))
	if err != nil {
		t.Fatal(err)
	}
	for _, statement := range statements {
		if _, err := db.Exec(statement); err != nil {
			t.Fatalf("%s: %v", statement, err)
		}
	}
	if err := db.Close(); err != nil {
		t.Fatal(err)
	}
	return path
}

// A store that was changed by others, is of another program or may not be what is asked for is
// refused in words, and left as it is.
func TestStoresThatAreRefused(t *testing.T) {
	for name, c := range map[string]struct {
		statement string
		o         sqlstore.Options
		kind      error
		says      string
	}{
		"no schema":           {"DELETE FROM meta WHERE name = 'schema'", sqlstore.Options{}, cases.ErrIntegrity, "does not say its schema"},
		"another schema":      {"UPDATE meta SET value = 'x' WHERE name = 'schema'", sqlstore.Options{}, cases.ErrIntegrity, "schema"},
		"a site for another":  {"UPDATE meta SET value = 'quarry' WHERE name = 'site'", sqlstore.Options{}, cases.ErrIntegrity, "site is not what was written"},
		"no site":             {"DELETE FROM meta WHERE name = 'site'", sqlstore.Options{}, cases.ErrIntegrity, "does not say its site"},
		"events of another":   {"", sqlstore.Options{Site: "quarry"}, cases.ErrUnavailable, "holds events"},
		"a name that is none": {"DELETE FROM events; DELETE FROM sites", sqlstore.Options{Site: "../quarry"}, nil, "1 to 64 letters"},
	} {
		path := overwritten(t, dropTriggers(t)...)
		if c.statement != "" {
			db, err := sql.Open("sqlite", "file:"+url.PathEscape(path))
			if err != nil {
				t.Fatal(err)
			}
			if _, err := db.Exec(c.statement); err != nil {
				t.Fatalf("%s: %v", name, err)
			}
			db.Close()
		}
		s, err := failingStore(path, &faults{}, c.o)
		if err == nil {
			s.Close()
		}
		if err == nil || c.kind != nil && !errors.Is(err, c.kind) || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// setMeta is the statement with which a store says something of itself, and it fits its checksum.
func setMeta(name, value string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d:%s%d:%s", len(name), name, len(value), value))
	return fmt.Sprintf("UPDATE meta SET value = '%s', sum = '%x' WHERE name = '%s'", value, sum[:8], name)
}

// A store of a schema that no program writes is refused, and so is one that a newer program brings up while this
// one copies it, or that may only be read.
func TestSchemasThatAreRefused(t *testing.T) {
	none := overwritten(t, append(dropTriggers(t), setMeta("schema", "x"))...)
	if _, err := failingStore(none, &faults{}, sqlstore.Options{}); !errors.Is(err, cases.ErrIntegrity) || !strings.Contains(err.Error(), `its schema is "x"`) {
		t.Errorf("a schema that is none: %v", err)
	}
	newer := overwritten(t, append(dropTriggers(t), setMeta("schema", "9"))...)
	if _, err := onlyRead(newer, sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "of schema 9") {
		t.Errorf("a newer one that may only be read: %v", err)
	}
	old := filepath.Join(t.TempDir(), "old.db")
	text, err := os.ReadFile("../sqlite/testdata/schema1.db")
	if err == nil {
		err = os.WriteFile(old, text, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	if _, err := failingStore(old, &faults{meanwhile: setMeta("schema", "9")}, sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "of schema 9") {
		t.Errorf("one that was brought up meanwhile: %v", err)
	}
}

// An event that was changed in its place is not taken for the draft of its id.
func TestADraftWhoseEventWasChanged(t *testing.T) {
	path := overwritten(t, append(dropTriggers(t), `UPDATE events SET body = '{"location":"Another mill"}'`)...)
	s, err := failingStore(path, &faults{}, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(ctx, drafted("e1", aCase("c1"), cases.KindOpened, cases.Opening{Location: "Another mill"})); !errors.Is(err, cases.ErrIntegrity) {
		t.Errorf("%v", err)
	}
}

// dropTriggers are the statements that take a store's guards away.
func dropTriggers(t *testing.T) []string {
	t.Helper()
	path := overwritten(t)
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(path))
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	rows, err := db.Query("SELECT 'DROP TRIGGER ' || name FROM sqlite_master WHERE type = 'trigger'")
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	var all []string
	for rows.Next() {
		var s string
		if err := rows.Scan(&s); err != nil {
			t.Fatal(err)
		}
		all = append(all, s)
	}
	if len(all) == 0 || rows.Err() != nil {
		t.Fatal("no triggers", rows.Err())
	}
	return all
}

// What may only be read is refused where there is nothing to read yet, and where it would have to
// be changed first.
func TestOnlyRead(t *testing.T) {
	empty := filepath.Join(t.TempDir(), "empty.db")
	old := filepath.Join(t.TempDir(), "old.db")
	text, err := os.ReadFile("../sqlite/testdata/schema1.db")
	if err == nil {
		err = os.WriteFile(old, text, 0o600)
	}
	if err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{empty: "there is no store in it", old: "copy it to where it can be written"} {
		for _, o := range []sqlstore.Options{{}, {Site: "quarry"}} {
			s, err := onlyRead(path, o)
			if err == nil {
				s.Close()
			}
			if err == nil || !strings.Contains(err.Error(), says) {
				t.Errorf("%s: %v", says, err)
			}
		}
	}
	path := overwritten(t)
	if _, err := onlyRead(path, sqlstore.Options{Site: "quarry"}); !errors.Is(err, cases.ErrUnavailable) {
		t.Errorf("taken over: %v", err)
	}
	s, err := onlyRead(path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	_, appended := s.Append(ctx, drafted("e2", aCase("c1"), cases.KindNote, cases.Note{Text: "more"}))
	_, put := s.PutFile(ctx, aSheet)
	_, imported := s.Import(ctx, farAway("far"))
	for name, err := range map[string]error{"append": appended, "put a file": put, "import": imported, "retire": s.Retire(ctx, "elsewhere"), "rebuild": s.Rebuild(ctx), "name": s.SetName(ctx, "p", "x")} {
		if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "only looked at") {
			t.Errorf("%s: %v", name, err)
		}
	}
}

func onlyRead(path string, o sqlstore.Options) (*sqlstore.Store, error) {
	db, err := sql.Open("sqlite", "file:"+url.PathEscape(path)+"?_pragma=query_only(ON)")
	if err != nil {
		return nil, err
	}
	return sqlstore.Open(ctx, sqlstore.Database{Read: db, Where: path, ReadOnly: "It is only looked at.", Dialect: sqlstore.Dialect{
		Name: "sqlite", HasMeta: `SELECT count(*) FROM sqlite_master WHERE type = 'table' AND name = 'meta'`, Explain: func(err error) error { return err },
	}}, o)
}

// Events that say they are of this store and are not, or that no store writes so, are refused, and
// so is what comes with them.
func TestImportsThatAreRefused(t *testing.T) {
	s, err := failingStore(overwritten(t), &faults{}, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	sealed := func(site string, head cases.Head, id string) cases.Event {
		e, err := cases.Seal(drafted(id, aCase("c9"), cases.KindNote, cases.Note{Text: "not so"}), site, head, 1)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	loud := sealed("far", cases.Head{}, "x1")
	loud.Hash = strings.ToUpper(loud.Hash)
	before := events(t, s)
	for name, c := range map[string]struct {
		e    cases.Event
		kind error
	}{
		"another event in the place of one of its own": {sealed("mill", cases.Head{}, "x2"), cases.ErrConflict},
		"one of its own from later":                    {sealed("mill", cases.Head{Seq: 40, Hash: strings.Repeat("0", 64)}, "x3"), cases.ErrIntegrity},
		"a first one with another before it":           {sealed("far", cases.Head{Hash: strings.Repeat("0", 64)}, "x5"), cases.ErrIntegrity},
		"one that does not follow the one just read":   {sealed("beside", cases.Head{Seq: 2, Hash: strings.Repeat("0", 64)}, "x6"), cases.ErrIntegrity},
		"a hash before it that is none":                {sealed("far", cases.Head{Seq: 5, Hash: "xy"}, "x7"), cases.ErrIntegrity},
		"a hash in capital letters":                    {loud, cases.ErrIntegrity},
		"an id that says something else":               {sealed("far", cases.Head{}, "e1"), cases.ErrConflict},
	} {
		both := func(yield func(cases.Event, error) bool) {
			for e, err := range farAway("beside") {
				if !yield(e, err) {
					return
				}
			}
			yield(c.e, nil)
		}
		if _, err := s.Import(ctx, both); !errors.Is(err, c.kind) {
			t.Errorf("%s: %v", name, err)
		}
	}
	broken := iter.Seq2[cases.Event, error](func(yield func(cases.Event, error) bool) { yield(cases.Event{}, io.ErrUnexpectedEOF) })
	if _, err := s.Import(ctx, broken); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("events that break off: %v", err)
	}
	if now := events(t, s); now != before {
		t.Errorf("%d events came in", now-before)
	}

	lost, err := failingStore(overwritten(t, append(dropTriggers(t), "DELETE FROM events")...), &faults{}, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer lost.Close()
	own := func(yield func(cases.Event, error) bool) { yield(sealed("mill", cases.Head{}, "x4"), nil) }
	if _, err := lost.Import(ctx, own); !errors.Is(err, cases.ErrIntegrity) {
		t.Errorf("an event in the place of one of its own that was lost: %v", err)
	}
}

// Whoever has read enough of a store stops reading, and whoever has gone is not read for.
func TestReadingStops(t *testing.T) {
	f := &faults{}
	s, _, _, _ := filledStore(t, f, t.TempDir())
	for n := 1; n < 6; n++ {
		for name, all := range map[string]iter.Seq2[cases.Event, error]{"all": s.All(ctx), "salvage": s.Salvage(ctx)} {
			seen := 0
			for range all {
				if seen++; seen == n {
					break
				}
			}
			if seen != n {
				t.Errorf("%s: %d instead of %d", name, seen, n)
			}
		}
		f.arm(n, onward) // what cannot be read is told, and whoever has heard enough goes
		heard := 0
		for _, err := range s.Salvage(ctx) {
			if err != nil {
				heard++
				break
			}
		}
		if f.fired(); heard != 1 {
			t.Errorf("salvage, operation %d: no error is told", n)
		}
	}
	gone, cancel := context.WithCancel(ctx)
	cancel()
	for _, all := range []iter.Seq2[cases.Event, error]{s.All(gone), s.Salvage(gone)} {
		for e, err := range all {
			if !errors.Is(err, context.Canceled) {
				t.Errorf("%v %v", e, err)
			}
		}
	}
	if _, err := s.Verify(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("verify: %v", err)
	}
	if _, err := s.Import(gone, storetest.Invented("far", 1, 1)); !errors.Is(err, context.Canceled) {
		t.Errorf("import: %v", err)
	}
}

// A forgetful store has a subject in its list of which no event is left, and cannot say whether it
// has a file but by reading it.
type forgetful struct{ cases.Store }

func (f forgetful) Subjects(ctx context.Context, kind cases.SubjectKind) ([]string, error) {
	all, err := f.Store.Subjects(ctx, kind)
	return append([]string{"bus unit a/gone"}, all...), err
}

// What is not in a store is told as that, and passed over where others are meant.
func TestWhatIsNotThere(t *testing.T) {
	s, _, _, _ := filledStore(t, &faults{}, t.TempDir())
	if _, err := cases.ReadUnit(ctx, s, "bus unit a/gone"); !errors.Is(err, cases.ErrNotFound) {
		t.Errorf("a unit: %v", err)
	}
	seen := 0
	if err := cases.Units(ctx, forgetful{s}, func(*cases.Card) error { seen++; return nil }); err != nil || seen != 1 {
		t.Errorf("%d units, %v", seen, err)
	}
	if err := cases.Units(ctx, s, func(*cases.Card) error { return io.ErrUnexpectedEOF }); !errors.Is(err, io.ErrUnexpectedEOF) {
		t.Errorf("units whose reader fails: %v", err)
	}
	c, err := s.Case(ctx, "visited")
	if err != nil {
		t.Fatal(err)
	}
	if lacking, err := c.NotHere(ctx, forgetful{s}); err != nil || len(lacking) != 0 {
		t.Errorf("a file that is there: %v %v", lacking, err)
	}
	other, err := failingStore(overwritten(t), &faults{}, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer other.Close()
	if lacking, err := c.NotHere(ctx, forgetful{other}); err != nil || len(lacking) != 1 {
		t.Errorf("a file that is not: %v %v", lacking, err)
	}
}
