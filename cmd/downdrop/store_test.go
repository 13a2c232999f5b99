package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/testdata/support"
)

// inventedCopy is the copy of a store that the scripts bring back.
func inventedCopy(t *testing.T) string {
	t.Helper()
	script, err := os.ReadFile("testdata/script/store.txtar")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(script), "-- invented.jsonl --\n")
	copied, _, _ := strings.Cut(rest, "-- cut.jsonl --\n")
	return copied
}

// A damaged store is found out, the cases that are whole are read as ever, and all
// but what is damaged is saved.
func TestDamagedStore(t *testing.T) {
	dir := t.TempDir()
	store, copied := filepath.Join(dir, "store.db"), filepath.Join(dir, "copy.jsonl")
	if err := os.WriteFile(copied, []byte(inventedCopy(t)), 0o600); err != nil {
		t.Fatal(err)
	}
	command := func(code int, says string, args ...string) {
		t.Helper()
		env, out, said := testEnvironment()
		env.variable = func(name string) string { return map[string]string{"DOWNDROP_STORE": store}[name] }
		if got := run(context.Background(), env, append([]string{"store"}, args...)); got != code || !strings.Contains(out.String()+said.String(), says) {
			t.Errorf("store %v: exit code %d, want %d and %q\n%s%s", args, got, code, says, out, said)
		}
	}
	command(0, "7 events", "restore", copied)
	content, err := os.ReadFile(store)
	if err != nil {
		t.Fatal(err)
	}
	damaged := bytes.ReplaceAll(content, []byte(`"text":"calls back`), []byte(`"text":"balls cack`))
	if bytes.Equal(damaged, content) {
		t.Fatal("the note is not there")
	}
	if err := errors.Join(os.WriteFile(store, damaged, 0o600), os.RemoveAll(store+"-wal")); err != nil {
		t.Fatal(err)
	}
	command(7, "Touched: c2.", "verify")
	command(7, `"cases": [`, "verify", "--json")
	command(7, "is not what was written", "backup", filepath.Join(dir, "whole.jsonl"))
	command(0, "Left out:", "backup", "--salvage", filepath.Join(dir, "saved.jsonl"))
	command(0, "6 events", "restore", filepath.Join(dir, "saved.jsonl"), "--store", filepath.Join(dir, "saved.db"))
	if left, err := filepath.Glob(filepath.Join(dir, "*whole*")); err != nil || len(left) > 0 {
		t.Errorf("a copy that failed is left: %v %v", left, err)
	}
}

// A store is moved to PostgreSQL and back by the command: a copy of each is the same.
func TestStoreMovesToPostgresAndBack(t *testing.T) {
	u, err := url.Parse(support.NeedVariable(t, "DOWNDROP_TEST_POSTGRES"))
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", fmt.Sprintf("moved_%d_%d", os.Getpid(), time.Now().Unix())) // left behind in the test server
	u.RawQuery = q.Encode()
	copied := inventedCopy(t)
	dir := t.TempDir()
	file := func(name string) string { return filepath.Join(dir, name) }
	if err := os.WriteFile(file("first.jsonl"), []byte(copied), 0o600); err != nil {
		t.Fatal(err)
	}
	command := func(says string, args ...string) {
		t.Helper()
		env, out, said := testEnvironment()
		env.variable = func(string) string { return "" }
		if code := run(context.Background(), env, append([]string{"store"}, args...)); code != 0 || !strings.Contains(out.String(), says) {
			t.Fatalf("store %v: exit code %d\n%s%s", args, code, out, said)
		}
	}
	command("7 events", "restore", file("first.jsonl"), "--store", file("first.db"))
	command("byte for byte", "move", u.String(), "--store", file("first.db"))
	command("writes as site quarry", "where", "--store", u.String())
	command("is whole", "verify", "--store", u.String())
	command("7 events", "backup", file("second.jsonl"), "--store", u.String())
	command("byte for byte", "move", file("third.db"), "--store", u.String())
	command("7 events", "backup", file("third.jsonl"), "--store", file("third.db"))
	for _, name := range []string{"second.jsonl", "third.jsonl"} {
		if got, err := os.ReadFile(file(name)); err != nil || string(got) != copied {
			t.Errorf("%s: %v\n%s", name, err, got)
		}
	}
}

// A store that was copied aside with its log is brought back with it, by a link from elsewhere too.
func TestStoreBroughtBackByALink(t *testing.T) {
	file, link := filepath.Join(t.TempDir(), "copied.db"), filepath.Join(t.TempDir(), "link.db")
	s, err := sqlite.Open(t.Context(), file, sqlstore.Options{Site: "mill"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close() // as long as it is open its log holds what was written
	d := cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})
	d.ID, d.Subject, d.At = "e1", cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 5, 4, 0, 0, 0, 0, time.UTC)
	if _, err := s.Append(t.Context(), d); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink(file, link); err != nil {
		t.Skip(err)
	}
	env, out, said := testEnvironment()
	if got := run(t.Context(), env, []string{"store", "restore", link, "--store", filepath.Join(t.TempDir(), "new.db")}); got != 0 || !strings.Contains(out.String()+said.String(), "1 event") {
		t.Errorf("exit code %d\n%s%s", got, out, said)
	}
}
