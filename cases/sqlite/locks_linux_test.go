package sqlite_test

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// asLooker makes TestOpeningTwiceDropsNoLock a program that looks whether another one has
// locked the file named there.
const asLooker = "DOWNDROP_TEST_LOOKER"

// Looking at a file that is open already, as opening a store twice does, drops no lock that other
// programs have to see: without them the last of those to close it would take the log away from under us.
func TestOpeningTwiceDropsNoLock(t *testing.T) {
	if path := os.Getenv(asLooker); path != "" {
		f, err := os.OpenFile(path, os.O_RDWR, 0)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		// The bytes that SQLite locks (its file format, "pending byte page").
		lock := syscall.Flock_t{Type: syscall.F_WRLCK, Start: 1<<30 + 2, Len: 510}
		if err := syscall.FcntlFlock(f.Fd(), syscall.F_GETLK, &lock); err != nil {
			t.Fatal(err)
		}
		if lock.Type == syscall.F_UNLCK {
			t.Fatal("nobody has locked it")
		}
		return
	}
	path := filepath.Join(t.TempDir(), "twice.db")
	s := open(t, path)
	if _, err := s.Append(ctx, batch(1)...); err != nil {
		t.Fatal(err)
	}
	open(t, path).Close()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe, "-test.run", "^TestOpeningTwiceDropsNoLock$")
	cmd.Env = append(os.Environ(), asLooker+"="+path)
	if out, err := cmd.CombinedOutput(); err != nil {
		t.Errorf("%v: %s", err, strings.TrimSpace(string(out)))
	}
}
