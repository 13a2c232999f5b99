package sqlite_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"syscall"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

// asNobody does something as a user whom permissions stop: an administrator's thread takes the rights of
// nobody for as long as it lasts.
func asNobody(t *testing.T, do func()) {
	t.Helper()
	if os.Getuid() != 0 {
		do()
		return
	}
	const nobody = 65534
	runtime.LockOSThread()
	defer runtime.UnlockOSThread()
	take := func(id uintptr) {
		syscall.RawSyscall(syscall.SYS_SETFSGID, id, 0, 0)
		syscall.RawSyscall(syscall.SYS_SETFSUID, id, 0, 0)
	}
	take(nobody)
	defer take(0)
	do()
}

// A store that this user may not write is read, with what stands in its log; what may not be read either is told,
// and so is where no copy of the log can be made.
func TestStoresOfAnotherUser(t *testing.T) {
	dir, err := os.MkdirTemp("", "another-user") // t.TempDir is shut to others
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	path := filepath.Join(dir, "store.db")
	owner := open(t, path)
	fillIn(t, owner, 1, 3)
	want := storetest.Exported(t, owner)
	permit := func(file, log, folder os.FileMode) {
		t.Helper()
		err := errors.Join(os.Chmod(path, file), os.Chmod(dir, folder))
		if _, none := os.Stat(path + "-wal"); none == nil {
			err = errors.Join(err, os.Chmod(path+"-wal", log))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	reads := func(what string) {
		t.Helper()
		asNobody(t, func() {
			for _, opens := range []func() (*sqlstore.Store, error){
				func() (*sqlstore.Store, error) { return sqlite.Open(ctx, path, sqlstore.Options{}) },
				func() (*sqlstore.Store, error) { return sqlite.Look(ctx, path, sqlstore.Options{}) },
			} {
				s, err := opens()
				if err != nil {
					t.Errorf("%s: %v", what, err)
					continue
				}
				if got := storetest.Exported(t, s); got != want || !strings.Contains(s.ReadOnly(), "can only be read") {
					t.Errorf("%s: %q, exported as\n%s", what, s.ReadOnly(), got)
				}
				if _, err := s.Append(ctx, batch(1)...); !errors.Is(err, cases.ErrUnavailable) {
					t.Errorf("%s: written: %v", what, err)
				}
				if err := s.Close(); err != nil {
					t.Errorf("%s: %v", what, err)
				}
			}
		})
	}
	refused := func(says string) {
		t.Helper()
		asNobody(t, func() {
			s, err := sqlite.Open(ctx, path, sqlstore.Options{})
			if err == nil {
				s.Close()
			}
			if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), path) {
				t.Errorf("%s: %v", says, err)
			}
		})
	}
	permit(0o444, 0o444, 0o755)
	reads("with its log")
	links, err := os.MkdirTemp("", "another-user-links")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { os.RemoveAll(links) })
	file, link := path, filepath.Join(links, "link.db")
	if err := errors.Join(os.Chmod(links, 0o755), os.Symlink(path, link)); err != nil {
		t.Fatal(err)
	}
	path = link
	reads("with its log, by a link from another folder")
	path = file
	permit(0o444, 0o000, 0o755)
	refused("no copy to read from could be made")
	permit(0o444, 0o444, 0o755)
	t.Run("no room for a copy", func(t *testing.T) {
		t.Setenv("TMPDIR", filepath.Join(dir, "none"))
		refused("no copy to read from could be made")
	})
	if err := owner.Close(); err != nil {
		t.Fatal(err)
	}
	permit(0o444, 0, 0o555)
	reads("a file that may not be written")
	if os.Getuid() == 0 {
		permit(0o666, 0, 0o555)
		reads("a folder that may not be written")
	}
	permit(0o000, 0, 0o755)
	refused("it cannot be read: permission denied")
	permit(0o600, 0, 0o755)
}

// A file that gives nothing to read is told.
func TestAFileThatCannotBeRead(t *testing.T) {
	for name, opens := range map[string]func(path string) (*sqlstore.Store, error){
		"open": func(path string) (*sqlstore.Store, error) { return sqlite.Open(ctx, path, sqlstore.Options{}) },
		"look": func(path string) (*sqlstore.Store, error) { return sqlite.Look(ctx, path, sqlstore.Options{}) },
	} {
		if _, err := opens("/proc/self/mem"); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "it cannot be read: input/output error") {
			t.Errorf("%s: %v", name, err)
		}
	}
}
