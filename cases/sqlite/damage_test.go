//go:build unix

package sqlite_test

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

var update = flag.Bool("update", false, "write the filled store of today's schema")

// state is all that a store says.
type state struct {
	export string
	found  string
	cases  map[string]string
}

func stateOf(t testing.TB, s cases.Store) state {
	t.Helper()
	st := state{export: storetest.Exported(t, s), cases: map[string]string{}}
	found, err := s.Find(ctx, cases.Query{Limit: 1000})
	if err != nil {
		t.Fatal(err)
	}
	st.found = fmt.Sprint(found)
	for _, f := range found {
		if st.cases[f.ID], err = caseText(s, f.ID); err != nil {
			t.Fatal(err)
		}
	}
	return st
}

// caseText is a case as an export writes its events.
func caseText(s cases.Store, id string) (string, error) {
	c, err := s.Case(ctx, id)
	if err != nil {
		return "", err
	}
	var b strings.Builder
	enc := json.NewEncoder(&b)
	enc.SetEscapeHTML(false)
	for i := range c.Events {
		if err := enc.Encode(map[string]any{"event": &c.Events[i]}); err != nil {
			return "", err
		}
	}
	return b.String(), nil
}

// F08: one bit of a store is flipped. Where it hit something, Verify or opening says so;
// where neither does, nothing has changed. A case that can be read is what it was,
// whatever was hit.
func TestF08FlippedBits(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "whole.db")
	s := open(t, path)
	fillIn(t, s, 15, 11)
	if _, err := s.PutFile(ctx, bytes.Repeat([]byte("picture "), 2000)); err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(s.SetName(ctx, "p1", "Somebody Invented"), s.SetName(ctx, "p2", "Another")); err != nil {
		t.Fatal(err)
	}
	want := stateOf(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	var count struct{ flips, unopened, damaged, unchanged, readable, saved, named int }
	worst, unread := len(want.cases), 0
	for range support.Deep(t, 20) {
		count.flips++
		bit := rng.IntN(len(content) * 8)
		flipped := bytes.Clone(content)
		flipped[bit/8] ^= 1 << (bit % 8)
		to := filepath.Join(dir, "flipped.db")
		os.Remove(to + "-wal")
		os.Remove(to + "-shm")
		if err := os.WriteFile(to, flipped, 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := sqlite.Open(ctx, to, sqlstore.Options{})
		if err != nil {
			count.unopened++
			if !errors.Is(err, cases.ErrIntegrity) && !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), to) {
				t.Errorf("bit %d: %v", bit, err)
			}
			continue
		}
		v, err := f.Verify(ctx)
		if err != nil {
			t.Fatalf("bit %d: %v", bit, err)
		}
		if len(v.Damage) == 0 {
			count.unchanged++
			if got := stateOf(t, f); !reflect.DeepEqual(got, want) {
				t.Errorf("bit %d (page %d) changed what the store says, and nobody noticed", bit, bit/8/4096+1)
			}
			f.Close()
			continue
		}
		count.damaged++
		named := map[string]bool{}
		for _, d := range v.Damage {
			for _, id := range d.Cases {
				named[id] = true
			}
		}
		count.named += len(named)
		readable := 0
		for id, text := range want.cases {
			switch got, err := caseText(f, id); {
			case err == nil && got == text:
				readable++
			case err == nil || !errors.Is(err, cases.ErrIntegrity) && !errors.Is(err, cases.ErrNotFound):
				t.Errorf("bit %d (page %d): case %s is read wrong: %v", bit, bit/8/4096+1, id, err)
			default:
				if !named[id] && !slices.ContainsFunc(v.Damage, func(d cases.Damage) bool { return len(d.Cases) == 0 }) {
					t.Errorf("bit %d: case %s cannot be read and Verify does not name it: %v", bit, id, v.Damage)
				}
			}
		}
		count.readable += readable
		saved := salvaged(t, f, want)
		count.saved += saved
		if worst = min(worst, saved); saved < len(want.cases)-20 {
			unread++
			t.Logf("bit %d (page %d): %d of %d cases saved, %v", bit, bit/8/4096+1, saved, len(want.cases), v.Damage[0])
		}
		f.Close()
	}
	t.Logf("%+v of %d cases in %d pages; at worst %d saved", count, len(want.cases), len(content)/4096, worst)
	if count.damaged < count.flips/10 || unread > count.flips/50 || count.unopened > count.flips/20 {
		t.Errorf("%d damaged, %d with many cases lost, %d could not be opened", count.damaged, unread, count.unopened)
	}
}

// F08: what is the same in every store is put right: bits of the file's beginning and of the
// definitions of its tables cost no case.
func TestF08DamagedBeginning(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "whole.db")
	s := open(t, path)
	fillIn(t, s, 5, 11)
	want := state{cases: map[string]string{}}
	found, err := s.Find(ctx, cases.Query{})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range found {
		if want.cases[f.ID], err = caseText(s, f.ID); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(3, 4))
	lost, n := 0, support.Deep(t, 12)
	for i := range n {
		at := rng.IntN(100) // the header
		if i%2 == 0 {       // the page of definitions
			at = 100 + rng.IntN(3996)
		}
		flipped := bytes.Clone(content)
		flipped[at] ^= 1 << rng.IntN(8)
		to := filepath.Join(dir, "flipped.db")
		if err := os.WriteFile(to, flipped, 0o600); err != nil {
			t.Fatal(err)
		}
		f, err := sqlite.OpenDamaged(ctx, to, sqlstore.Options{})
		if err != nil {
			lost++
			t.Logf("byte %d: %v", at, err)
			continue
		}
		if n := salvaged(t, f, want); n < len(want.cases) {
			lost++
			t.Logf("byte %d: %d of %d cases", at, n, len(want.cases))
		}
		if err := f.Close(); err != nil {
			t.Error(err)
		}
		if got, err := os.ReadFile(to); err != nil || !bytes.Equal(got, flipped) {
			t.Error("the damaged file was touched", err)
		}
	}
	t.Logf("%d of %d lost something", lost, n)
	if lost > n/10 {
		t.Errorf("%d of %d lost something", lost, n)
	}
}

// salvaged counts the cases that come whole out of a damaged store.
func salvaged(t *testing.T, f cases.Store, want state) int {
	t.Helper()
	var b strings.Builder
	if _, err := cases.Export(ctx, f, &b, cases.ExportOptions{Names: true, Salvage: func(error) {}}); err != nil {
		t.Errorf("salvage: %v", err)
		return 0
	}
	saved := map[string]bool{}
	for line := range strings.Lines(b.String()) {
		saved[line] = true
	}
	n := 0
	for _, text := range want.cases {
		whole := true
		for line := range strings.Lines(events(text)) {
			whole = whole && saved[line]
		}
		if whole {
			n++
		}
	}
	return n
}

// events are the lines of an export that are events.
func events(export string) string {
	var b strings.Builder
	for line := range strings.Lines(export) {
		if strings.HasPrefix(line, `{"event"`) {
			b.WriteString(line)
		}
	}
	return b.String()
}

// F07, F08: what is no store, or none that can be used, is refused: the message names the
// file and says what to do, and the file is left as it was.
func TestF07F08WhatIsNoStore(t *testing.T) {
	dir := t.TempDir()
	good := filepath.Join(dir, "good.db")
	s := open(t, good)
	fillIn(t, s, 20, 1)
	s.Close()
	content, err := os.ReadFile(good)
	if err != nil {
		t.Fatal(err)
	}
	foreign := filepath.Join(dir, "foreign.db")
	db, err := sql.Open("sqlite", foreign)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Exec(`CREATE TABLE events (x)`); err != nil {
		t.Fatal(err)
	}
	db.Close()
	newer := filepath.Join(dir, "newer.db")
	copyOf(t, good, newer)
	raw(t, newer, `UPDATE meta SET value = '7', sum = '`+checksum("schema", "7")+`' WHERE name = 'schema'`, `PRAGMA wal_checkpoint(TRUNCATE)`)
	file := func(name string, content []byte) string {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, content, 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	list := []struct {
		path string
		want error
		says []string
	}{
		{dir, cases.ErrUnavailable, []string{"it is a folder", "--store"}},
		{file("empty", nil), cases.ErrIntegrity, []string{"it is empty", "restore"}},
		{file("short", content[:50]), cases.ErrIntegrity, []string{"50 bytes", "restore"}},
		{file("torn", content[:5000]), cases.ErrIntegrity, []string{"cut off", "restore"}},
		{file("half", content[:len(content)/2]), cases.ErrIntegrity, []string{"cut off", "restore"}},
		{file("text", bytes.Repeat([]byte("no store\n"), 100)), cases.ErrIntegrity, []string{"some other file"}},
		{file("zeroed", append(make([]byte, 512), content[512:]...)), cases.ErrIntegrity, []string{"beginning is damaged"}},
		{foreign, cases.ErrIntegrity, []string{"another program's database", "not touched"}},
		{newer, cases.ErrUnavailable, []string{"schema 7", "newer downdrop", "nothing was changed"}},
		{filepath.Join(good, "below"), cases.ErrUnavailable, []string{"--store"}},
	}
	loop, fifo := filepath.Join(dir, "loop"), filepath.Join(dir, "fifo")
	if err := errors.Join(os.Symlink(loop, loop), syscall.Mkfifo(fifo, 0o600)); err != nil {
		t.Fatal(err)
	}
	list = append(list, []struct {
		path string
		want error
		says []string
	}{
		{loop, cases.ErrUnavailable, []string{"symbolic links", "--store"}},
		{fifo, cases.ErrUnavailable, []string{"no ordinary file", "--store"}},
		{"/dev/null", cases.ErrUnavailable, []string{"no ordinary file"}},
	}...)
	for _, c := range list {
		before := digest(c.path)
		s, err := sqlite.Open(ctx, c.path, sqlstore.Options{})
		if err == nil {
			s.Close()
			t.Errorf("%s was opened", c.path)
			continue
		}
		for _, says := range append(c.says, c.path) {
			if !strings.Contains(err.Error(), says) {
				t.Errorf("%s: %q is not said in: %v", c.path, says, err)
			}
		}
		if !errors.Is(err, c.want) {
			t.Errorf("%s: %v, want %v", c.path, err, c.want)
		}
		if digest(c.path) != before {
			t.Errorf("%s was changed", c.path)
		}
	}
}

func digest(path string) [32]byte {
	info, err := os.Stat(path)
	if err != nil || !info.Mode().IsRegular() {
		return [32]byte{}
	}
	content, _ := os.ReadFile(path)
	return sha256.Sum256(content)
}

func checksum(name, value string) string {
	sum := sha256.Sum256(fmt.Appendf(nil, "%d:%s%d:%s", len(name), name, len(value), value))
	return fmt.Sprintf("%x", sum[:8])
}

// raw does something to a file behind the store's back.
func raw(t testing.TB, path string, statements ...string) {
	t.Helper()
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for _, s := range statements {
		if _, err := db.Exec(s); err != nil {
			t.Fatalf("%s: %v", s, err)
		}
	}
}

// Nobody changes an event, not even with a program for databases; and whoever
// takes the guard away first is found out.
func TestEventsAreGuarded(t *testing.T) {
	support.Alone(t)
	path := filepath.Join(t.TempDir(), "guarded.db")
	s := open(t, path)
	fillIn(t, s, 2, 1)
	s.Close()
	for _, statement := range []string{`UPDATE events SET body = '{}'`, `DELETE FROM events WHERE seq = 3`, `UPDATE events SET seq = seq + 1 WHERE seq = 1`} {
		db, err := sql.Open("sqlite", path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.Exec(statement); err == nil || !strings.Contains(err.Error(), "never") {
			t.Errorf("%s: %v", statement, err)
		}
		db.Close()
	}
	tampered := []struct{ name, statement, says string }{
		{"body", `UPDATE events SET body = replace(body, 'storm', 'STORM')`, "is not what was written"},
		{"dropped", `DELETE FROM events WHERE seq = (SELECT max(seq) FROM events)`, "remembers"},
		{"hole", `DELETE FROM events WHERE seq = 3`, "43 are there"},
		{"none", `SELECT 1`, "definitions"},
		{"head", `UPDATE sites SET hash = 'x'`, "not the one that the store remembers"},
		{"summary", `UPDATE summaries SET location = 'elsewhere'`, "not what its events add up to"},
		{"term", `DELETE FROM terms WHERE kind = 'c'`, "lacks words"},
		{"words", `UPDATE words SET words = replace(words, 'e', '')`, "list of words"},
		{"stray", `INSERT INTO terms (kind, term, number) VALUES ('w', 'x', 999)`, "not there"},
		{"lost", `DELETE FROM summaries`, "is missing"},
		{"name", `INSERT INTO names VALUES ('p', 'Somebody', 'x')`, "name"},
		{"site", `UPDATE meta SET value = 'mill' WHERE name = 'site'`, "site"},
	}
	for _, c := range tampered {
		to := filepath.Join(filepath.Dir(path), c.name)
		copyOf(t, path, to)
		raw(t, to, `DROP TRIGGER events_are_not_changed`, `DROP TRIGGER events_are_not_deleted`, c.statement)
		s, err := sqlite.Open(ctx, to, sqlstore.Options{})
		if err != nil {
			if !strings.Contains(err.Error(), c.says) {
				t.Errorf("%s: %v", c.name, err)
			}
			continue
		}
		v, err := s.Verify(ctx)
		if err != nil || !strings.Contains(fmt.Sprint(v.Damage), c.says) {
			t.Errorf("%s: %v %v", c.name, err, v.Damage)
		}
		s.Close()
	}
}

// A name that was erased stands nowhere in the store's files any more, not even in what is no
// longer used of them.
func TestErasedNameIsGone(t *testing.T) {
	path := filepath.Join(t.TempDir(), "names.db")
	s := open(t, path)
	fillIn(t, s, 3, 1)
	before := events(storetest.Exported(t, s))
	const name = "Quirinius Nobody-Invented"
	stands := func() (n int) {
		t.Helper()
		for _, end := range []string{"", "-wal"} {
			content, err := os.ReadFile(path + end)
			if err != nil {
				t.Fatal(err)
			}
			n += bytes.Count(content, []byte(name))
		}
		return n
	}
	if err := s.SetName(ctx, "p1", name); err != nil {
		t.Fatal(err)
	}
	if stands() == 0 {
		t.Fatal("the name is not to be found where it should be")
	}
	if err := s.SetName(ctx, "p1", ""); err != nil {
		t.Fatal(err)
	}
	if n := stands(); n > 0 {
		t.Errorf("the name still stands in %d places", n)
	}
	if events(storetest.Exported(t, s)) != before {
		t.Error("an event was changed")
	}
	if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
		t.Error(err, v.Damage)
	}
}

// A store of an older schema is copied aside and brought to today's, and says what it said.
func TestMigration(t *testing.T) {
	if *update {
		writeFixture(t)
	}
	fixtures, err := filepath.Glob("testdata/schema*.db")
	if err != nil || len(fixtures) < sqlstore.SchemaNow {
		t.Fatalf("there is no filled store of every schema: %v %v", fixtures, err)
	}
	want, err := os.ReadFile("testdata/filled.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	for _, fixture := range fixtures {
		path := filepath.Join(t.TempDir(), "old.db")
		copyOf(t, fixture, path)
		old := digest(path)
		var told []string
		s, err := sqlite.Open(ctx, path, sqlstore.Options{Tell: func(says string) { told = append(told, says) }})
		if err != nil {
			t.Fatal(err)
		}
		if got := storetest.Exported(t, s); got != string(want) {
			t.Errorf("%s is exported as\n%s\nwant\n%s", fixture, got, want)
		}
		if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
			t.Errorf("%s: %v %v", fixture, err, v.Damage)
		}
		if found, err := s.Find(ctx, cases.Query{Text: "STORM"}); err != nil || len(found) == 0 {
			t.Errorf("%s: found %v %v", fixture, found, err)
		}
		s.Close()
		copies, err := filepath.Glob(path + ".schema*")
		if err != nil {
			t.Fatal(err)
		}
		if strings.Contains(fixture, fmt.Sprintf("schema%d.", sqlstore.SchemaNow)) {
			if len(copies)+len(told) > 0 {
				t.Errorf("%s: copies %v, told %v", fixture, copies, told)
			}
			continue
		}
		if len(copies) != 1 || len(told) != 1 || !strings.Contains(told[0], copies[0]) {
			t.Fatalf("%s: copies %v, told %v", fixture, copies, told)
		}
		back := open(t, copies[0]) // of the old schema, and as good as the old file
		if got := storetest.Exported(t, back); got != string(want) {
			t.Errorf("the copy of %s is exported as\n%s", fixture, got)
		}
		if digest(fixture) != old {
			t.Errorf("%s was changed", fixture)
		}
	}
}

// Nothing of an older store is touched where it cannot be copied aside.
func TestMigrationWithoutACopy(t *testing.T) {
	path := filepath.Join(t.TempDir(), "old.db")
	copyOf(t, "testdata/schema1.db", path)
	now := time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)
	for n := range 100 {
		name := path + ".schema1-20310504-030201"
		if n > 0 {
			name += fmt.Sprintf("-%d", n)
		}
		if err := os.WriteFile(name, nil, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	o := sqlstore.Options{Now: func() time.Time { return now }}
	if _, err := sqlite.Open(ctx, path, o); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "too many copies") {
		t.Errorf("%v", err)
	}
	if err := os.Remove(path + ".schema1-20310504-030201-99"); err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(ctx, path, o)
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if want, err := os.ReadFile("testdata/filled.jsonl"); err != nil || storetest.Exported(t, s) != string(want) {
		t.Errorf("it says something else afterwards: %v", err)
	}
}

// A table that does not say any more that it is one keeps a store from being opened; what is saved from it says so again.
func TestADefinitionWithoutItsKind(t *testing.T) {
	path := filepath.Join(t.TempDir(), "damaged.db")
	s := open(t, path)
	fillIn(t, s, 1, 4)
	want := storetest.Exported(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	raw(t, path, `PRAGMA writable_schema(ON)`, `UPDATE sqlite_master SET type = NULL WHERE name = 'names'`)
	if _, err := sqlite.Open(ctx, path, sqlstore.Options{}); !errors.Is(err, cases.ErrIntegrity) {
		t.Errorf("opened: %v", err)
	}
	saved, err := sqlite.OpenDamaged(ctx, path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer saved.Close()
	if got := storetest.Exported(t, saved); got != want {
		t.Errorf("saved as\n%s", got)
	}
	if v, err := saved.Verify(ctx); err != nil || len(v.Damage) > 0 {
		t.Errorf("what was saved: %v %v", err, v.Damage)
	}
}

// Whoever has gone is not looked for damage for, and nothing is saved for him.
func TestGoneBeforeItIsVerified(t *testing.T) {
	path := filepath.Join(t.TempDir(), "store.db")
	s := open(t, path)
	fillIn(t, s, 1, 5)
	gone, cancel := context.WithCancel(ctx)
	cancel()
	if _, err := s.Verify(gone); !errors.Is(err, context.Canceled) {
		t.Errorf("verified: %v", err)
	}
	if _, err := sqlite.OpenDamaged(gone, path, sqlstore.Options{}); !errors.Is(err, context.Canceled) {
		t.Errorf("saved from: %v", err)
	}
	folder := t.TempDir()
	if _, err := sqlite.OpenDamaged(ctx, folder, sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "no ordinary file") {
		t.Errorf("saved from a folder: %v", err)
	}
}

// writeFixture writes the filled store of today's schema.
func writeFixture(t *testing.T) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "now.db")
	s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "quarry"})
	if err != nil {
		t.Fatal(err)
	}
	want, err := os.ReadFile("testdata/filled.jsonl")
	if errors.Is(err, os.ErrNotExist) {
		fillIn(t, s, 2, 21)
		if _, err := s.PutFile(ctx, []byte("a sheet\n")); err != nil {
			t.Fatal(err)
		}
		if err := s.SetName(ctx, "p3", "Somebody Invented"); err != nil {
			t.Fatal(err)
		}
		want = []byte(storetest.Exported(t, s))
		if err := os.WriteFile("testdata/filled.jsonl", want, 0o644); err != nil {
			t.Fatal(err)
		}
	} else if _, err := cases.ImportFrom(ctx, s, bytes.NewReader(want), true); err != nil {
		t.Fatal(err)
	}
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	raw(t, path, `PRAGMA journal_mode(DELETE)`, `VACUUM`)
	copyOf(t, path, fmt.Sprintf("testdata/schema%d.db", sqlstore.SchemaNow))
}

// F03: a migration is killed at any moment: the store is as it was, or done.
func TestF03MigrationKilled(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	big := filepath.Join(dir, "big.db")
	s := open(t, big)
	fillIn(t, s, 30, 2)
	want := storetest.Exported(t, s)
	s.Close()
	toSchema1(t, big)
	rng := rand.New(rand.NewPCG(8, 8))
	done := 0
	for i := range support.Deep(t, 8) {
		path := filepath.Join(dir, fmt.Sprint(i, ".db"))
		copyOf(t, big, path)
		cmd := again(t, asOpener, path)
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		wait(rng.IntN(250))
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		var told []string
		s, err := sqlite.Open(ctx, path, sqlstore.Options{Tell: func(says string) { told = append(told, says) }})
		if err != nil {
			t.Fatal(err)
		}
		if len(told) == 0 {
			done++
		}
		if got := events(storetest.Exported(t, s)); !strings.HasPrefix(got, events(want)) {
			t.Fatal("events are lost")
		}
		if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
			t.Fatal(err, v.Damage)
		}
		s.Close()
	}
	t.Logf("%d of the migrations had come to their end", done)
}

// toSchema1 makes of a store what the program of schema 1 would have written.
func toSchema1(t testing.TB, path string) {
	t.Helper()
	raw(t, path, `DROP TABLE summaries`, `DROP TABLE terms`, `DROP TABLE words`,
		`UPDATE meta SET value = '1', sum = '`+checksum("schema", "1")+`' WHERE name = 'schema'`, `PRAGMA journal_mode(DELETE)`, `VACUUM`)
}

// F07: a store that may not be written is read, by another user than the owner.
func TestF07ReadOnly(t *testing.T) {
	dir, err := os.MkdirTemp("", "readonly")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = os.Chmod(dir, 0o700)
		os.RemoveAll(dir)
	})
	path, exe := filepath.Join(dir, "store.db"), filepath.Join(dir, "program")
	s := open(t, path)
	fillIn(t, s, 2, 1)
	self, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	copyOf(t, self, exe)
	if err := errors.Join(os.Chmod(exe, 0o755), os.Chmod(path, 0o644), os.Chmod(path+"-wal", 0o644), os.Chmod(path+"-shm", 0o644)); err != nil {
		t.Fatal(err)
	}
	n := len(strings.Split(strings.TrimSpace(events(storetest.Exported(t, s))), "\n"))
	look := func(what string) {
		t.Helper()
		before := digest(path)
		cmd := again(t, asOpener, path)
		cmd.Path = exe
		if os.Getuid() == 0 { // whom no permission stops
			cmd.SysProcAttr = anotherUser()
		}
		out, err := cmd.CombinedOutput()
		for _, says := range []string{"can only be read", fmt.Sprint(n, " events"), "appended: " + path + ": the store is not available"} {
			if err != nil || !strings.Contains(string(out), says) {
				t.Errorf("%s: %q is not said: %v\n%s", what, says, err, out)
			}
		}
		if digest(path) != before {
			t.Errorf("%s: the file was changed", what)
		}
	}
	if err := errors.Join(os.Chmod(path, 0o444), os.Chmod(dir, 0o555)); err != nil {
		t.Fatal(err)
	}
	look("with what was written last in its log")
	if err := errors.Join(os.Chmod(path, 0o644), os.Chmod(dir, 0o755), s.Close(), os.Chmod(path, 0o444), os.Chmod(dir, 0o555)); err != nil {
		t.Fatal(err)
	}
	look("a read-only file")
	if err := os.Chmod(path, 0o666); err != nil {
		t.Fatal(err)
	}
	look("a read-only folder")
}
