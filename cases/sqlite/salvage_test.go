package sqlite_test

import (
	"path/filepath"
	"testing"
)

// What can be read of a store is read to its end, however many events it holds: they are read by pages of 256.
func TestSalvageReadsEveryPage(t *testing.T) {
	s := open(t, filepath.Join(t.TempDir(), "store.db"))
	fillIn(t, s, 120, 4)
	all, saved := 0, 0
	for _, err := range s.All(ctx) {
		if err != nil {
			t.Fatal(err)
		}
		all++
	}
	for _, err := range s.Salvage(ctx) {
		if err != nil {
			t.Fatal(err)
		}
		saved++
	}
	if all < 3*256 || saved != all {
		t.Errorf("%d events of %d were read", saved, all)
	}
}
