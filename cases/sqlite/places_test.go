package sqlite_test

import (
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
)

// A store that cannot stand where it is asked for is refused with why, and nothing is left there.
func TestWhereNoStoreCanStand(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the places are those of one system")
	}
	dir := t.TempDir()
	file := filepath.Join(dir, "file")
	if err := os.WriteFile(file, []byte("no folder"), 0o600); err != nil {
		t.Fatal(err)
	}
	nowhere := filepath.Join(dir, "nowhere")
	if err := os.Symlink(filepath.Join(dir, "none", "deeper"), nowhere); err != nil {
		t.Fatal(err)
	}
	link := filepath.Join(dir, "link.db")
	if err := os.Symlink(filepath.Join(dir, "stick", "store.db"), link); err != nil {
		t.Fatal(err)
	}
	for path, says := range map[string]string{
		link:                            "a link to " + filepath.Join(dir, "stick", "store.db"),
		filepath.Join(file, "store.db"): "it cannot be looked at",
		filepath.Join(dir, strings.Repeat("long", 200)):   "it cannot be looked at",
		filepath.Join(nowhere, "store.db"):                "its folder cannot be made",
		filepath.Join("/proc/self/net", "downdrop-store"): "none can be made there",
	} {
		s, err := sqlite.Open(ctx, path, sqlstore.Options{})
		if err == nil {
			s.Close()
		}
		if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", path, err)
		}
		if _, err := sqlite.Look(ctx, path, sqlstore.Options{}); !errors.Is(err, cases.ErrNotFound) {
			t.Errorf("looked at, %s: %v", path, err)
		}
		if _, err := sqlite.OpenDamaged(ctx, path, sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) {
			t.Errorf("saved from, %s: %v", path, err)
		}
	}
	left, err := os.ReadDir(dir)
	if err != nil || len(left) != 3 {
		t.Errorf("left behind: %v %v", left, err)
	}

	path := filepath.Join(dir, "store.db")
	s := open(t, path)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	t.Setenv("TMPDIR", filepath.Join(dir, "none"))
	if _, err := sqlite.OpenDamaged(ctx, path, sqlstore.Options{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "no copy to read from") {
		t.Errorf("no room for a copy: %v", err)
	}
}

// A name without a folder is told to be none where the folder that the program runs in is gone.
func TestFolderThatIsGone(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("elsewhere a folder that is in use stays")
	}
	gone := filepath.Join(t.TempDir(), "gone")
	if err := os.Mkdir(gone, 0o700); err != nil {
		t.Fatal(err)
	}
	t.Chdir(gone)
	if err := os.Remove(gone); err != nil {
		t.Fatal(err)
	}
	if s, err := sqlite.Open(ctx, "store.db", sqlstore.Options{}); err == nil {
		t.Errorf("opened: %v", s)
	}
	if s, err := sqlite.Look(ctx, "store.db", sqlstore.Options{}); err == nil {
		t.Errorf("looked at: %v", s)
	}
	if s, err := sqlite.OpenDamaged(ctx, "store.db", sqlstore.Options{}); err == nil {
		t.Errorf("saved from: %v", s)
	}
}
