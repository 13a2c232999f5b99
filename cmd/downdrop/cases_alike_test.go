package main

import (
	"bytes"
	"context"
	"os"
	"path/filepath"
	"testing"
	"time"

	"downdrop/testdata/support"
)

// An index that is kept is a convenience: whatever becomes of its file, the same cases are found, and what was
// damaged is whole again afterwards.
func TestADamagedIndexIsMadeAnew(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	store, cache := filepath.Join(dir, "cases.db"), filepath.Join(dir, "cache")
	command := func(args ...string) string {
		t.Helper()
		env, out, said := testEnvironment()
		env.store, env.look, env.clock = openStore, lookAtStore, time.Now
		env.variable = func(name string) string {
			return map[string]string{"DOWNDROP_STORE": store, "XDG_CACHE_HOME": cache}[name]
		}
		if code := run(context.Background(), env, args); code != 0 {
			t.Fatalf("%v: exit code %d: %s", args, code, said)
		}
		return out.String()
	}
	command("store", "restore", "../../cases/examples/closed/closed.jsonl")
	want := command("case", "alike", "weir-01", "--limit", "3")
	files, err := filepath.Glob(filepath.Join(cache, "downdrop", "*"))
	if err != nil || len(files) != 1 {
		t.Fatalf("kept: %v %v", files, err)
	}
	whole, err := os.ReadFile(files[0])
	if err != nil {
		t.Fatal(err)
	}
	for at := 3; at < len(whole); at += 1 + len(whole)/7 {
		damaged := bytes.Clone(whole)
		damaged[at] ^= 0x55
		for _, content := range [][]byte{damaged, whole[:at]} {
			if err := os.WriteFile(files[0], content, 0o600); err != nil {
				t.Fatal(err)
			}
			if got := command("case", "alike", "weir-01", "--limit", "3"); got != want {
				t.Errorf("damaged at %d of %d bytes it says:\n%s", at, len(whole), got)
			}
		}
	}
	if again, _ := filepath.Glob(filepath.Join(cache, "downdrop", "*")); len(again) != 1 {
		t.Errorf("left behind: %v", again)
	}
}
