package sqlite_test

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
)

// Whoever only looks makes nothing and changes nothing, not even an older schema.
func TestLookingChangesNothing(t *testing.T) {
	dir := t.TempDir()
	none := filepath.Join(dir, "none", "store.db")
	if _, err := sqlite.Look(t.Context(), none, sqlstore.Options{}); !errors.Is(err, cases.ErrNotFound) {
		t.Errorf("a store that is not there: %v", err)
	}
	if _, err := os.Stat(filepath.Dir(none)); err == nil {
		t.Error("looking made a folder")
	}

	path := filepath.Join(dir, "store.db")
	made, err := sqlite.Open(t.Context(), path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if err := made.Close(); err != nil {
		t.Fatal(err)
	}
	before, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Look(t.Context(), path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := s.Find(t.Context(), cases.Query{}); err != nil {
		t.Error(err)
	}
	if err := s.SetName(t.Context(), "p1", "Somebody Invented"); err == nil {
		t.Error("a store that is only looked at took a name")
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if after, err := os.ReadFile(path); err != nil || !bytes.Equal(before, after) {
		t.Errorf("looking changed the file: %v", err)
	}
}
