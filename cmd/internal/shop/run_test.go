package shop

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"testing"
)

// A run never takes another one's place: what was read at the bench is read once.
func TestARunIsNotBegunOverAnother(t *testing.T) {
	name := filepath.Join(t.TempDir(), "first.run.jsonl")
	if err := os.WriteFile(name, []byte("kept\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if r, err := NewRun(name); !errors.Is(err, fs.ErrExist) {
		t.Errorf("%+v, %v", r, err)
	}
	if text, err := os.ReadFile(name); err != nil || string(text) != "kept\n" {
		t.Errorf("%q, %v", text, err)
	}
}
