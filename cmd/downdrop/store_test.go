package main

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"downdrop/testdata/support"
)

// A store is moved to PostgreSQL and back by the command: a copy of each is the same.
func TestStoreMovesToPostgresAndBack(t *testing.T) {
	u, err := url.Parse(support.NeedVariable(t, "DOWNDROP_TEST_POSTGRES"))
	if err != nil {
		t.Fatal(err)
	}
	q := u.Query()
	q.Set("search_path", fmt.Sprintf("moved_%d_%d", os.Getpid(), time.Now().Unix())) // left behind in the test server
	u.RawQuery = q.Encode()
	script, err := os.ReadFile("testdata/script/store.txtar")
	if err != nil {
		t.Fatal(err)
	}
	_, rest, _ := strings.Cut(string(script), "-- invented.jsonl --\n")
	copied, _, _ := strings.Cut(rest, "-- cut.jsonl --\n")
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
