//go:build unix

package main

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"syscall"
	"testing"

	"downdrop/testdata/support"
)

// F07: another user in a folder that may not be written: the command says which file and what can still be done,
// reads and exports what is there, adds nothing, and changes nothing.
func TestF07AnotherUserInAReadOnlyFolder(t *testing.T) {
	support.Alone(t)
	dir, err := os.MkdirTemp("", "another-user") // t.TempDir is shut to others
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		_ = os.Chmod(dir, 0o700)
		os.RemoveAll(dir)
	})
	store, program := filepath.Join(dir, "store.db"), filepath.Join(dir, "downdrop")
	self, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(program, self, 0o755); err != nil {
		t.Fatal(err)
	}
	run := func(code int, args ...string) string {
		t.Helper()
		cmd := exec.Command(program, args...)
		cmd.Env = []string{asCommand + "=1", "DOWNDROP_STORE=" + store, "HOME=/nowhere", "PATH=" + os.Getenv("PATH")}
		cmd.Dir = dir
		if os.Getuid() == 0 && code >= 0 { // whom no permission stops
			cmd.SysProcAttr = &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
		}
		out, err := cmd.CombinedOutput()
		if got := cmd.ProcessState.ExitCode(); got != max(code, 0) {
			t.Fatalf("%v: exit code %d (%v)\n%s", args, got, err, out)
		}
		return string(out)
	}
	const owner = -1 // as who owns the store
	out := run(owner, "case", "open", "--location", "Tide mill", "--see", "power_light=dark")
	code := regexp.MustCompile(`Case ([0-9A-Z]{6})`).FindStringSubmatch(out)[1]
	run(owner, "case", "note", code, "the cabinet was wet")
	before, err := os.ReadFile(store)
	if err != nil {
		t.Fatal(err)
	}
	if err := errors.Join(os.Chmod(store, 0o444), os.Chmod(dir, 0o555)); err != nil {
		t.Fatal(err)
	}
	says := func(code int, want string, args ...string) {
		t.Helper()
		if out := run(code, args...); !strings.Contains(strings.Join(strings.Fields(out), " "), want) {
			t.Errorf("%v does not say %q but\n%s", args, want, out)
		}
	}
	says(0, "the cabinet was wet", "case", "show", code)
	says(0, "can be looked at, printed and exported", "case", "list")
	says(0, "Tide mill", "case", "find", "wet")
	says(0, `"note"`, "case", "export", "-", code)
	says(0, "is whole", "store", "verify")
	says(6, store, "case", "note", code, "one more")
	says(6, store, "case", "open", "--location", "Lock 4")
	if after, err := os.ReadFile(store); err != nil || string(after) != string(before) {
		t.Errorf("the store was changed: %v", err)
	}

	// Where there is no store yet and none can be made.
	store = filepath.Join(dir, "new", "store.db")
	says(6, store, "case", "open", "--location", "Lock 4")
}
