//go:build unix

package sqlite_test

import (
	"encoding/binary"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

// Whatever was done to the file of a store, it is refused in words that name it, or opened; what is
// changed in it is found, and what is said to be whole is what was written.
//
// A store is some hundred thousand bytes, so that what is drawn is what happens to one: edits of six
// bytes each (a place in four, what is added to the byte there, and how many more bytes get the same),
// and where the file ends.
func FuzzStore(f *testing.F) {
	dir := f.TempDir()
	path := filepath.Join(dir, "good.db")
	s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "mill"})
	if err != nil {
		f.Fatal(err)
	}
	fillIn(f, s, 3, 1)
	want := storetest.Exported(f, s)
	if err := s.Close(); err != nil {
		f.Fatal(err)
	}
	good, err := os.ReadFile(path)
	if err != nil {
		f.Fatal(err)
	}
	at := func(place int, add, more byte) []byte {
		return append(binary.BigEndian.AppendUint32(nil, uint32(place)), add, more)
	}
	f.Add([]byte(nil), uint32(len(good)))
	f.Add([]byte(nil), uint32(5000))
	f.Add(at(0, 1, 0), uint32(len(good)))
	f.Add(at(16, 16, 0), uint32(len(good)))    // the size of a page
	f.Add(at(28, 1, 3), uint32(len(good)))     // the number of pages
	f.Add(at(60, 200, 0), uint32(len(good)))   // the schema, by the user's own number
	f.Add(at(100, 5, 0), uint32(len(good)))    // the kind of the first page
	f.Add(at(105, 90, 1), uint32(len(good)))   // where its content begins
	f.Add(at(4096, 7, 200), uint32(len(good))) // a page of a table
	f.Add(slices.Concat(at(108, 1, 0), at(8192, 255, 255)), uint32(len(good)+4096))
	f.Fuzz(func(t *testing.T, edits []byte, length uint32) {
		content := slices.Clone(good)
		for len(edits) >= 6 && len(edits) < 600 {
			place := int(binary.BigEndian.Uint32(edits)) % len(content)
			for i := place; i <= place+int(edits[5]) && i < len(content); i++ {
				content[i] += edits[4]
			}
			edits = edits[6:]
		}
		content = append(content, make([]byte, 8192)...)[:min(int(length), len(content)+8192)]
		spoilt := filepath.Join(t.TempDir(), "spoilt.db")
		if err := os.WriteFile(spoilt, content, 0o600); err != nil {
			t.Fatal(err)
		}
		s, err := sqlite.Open(ctx, spoilt, sqlstore.Options{})
		if err != nil {
			if !errors.Is(err, cases.ErrIntegrity) && !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "spoilt.db") {
				t.Fatalf("opening is refused by %v", err)
			}
			return
		}
		defer s.Close()
		found, err := s.Find(ctx, cases.Query{Limit: 100})
		if err == nil {
			for _, c := range found {
				_, _ = s.Case(ctx, c.ID)
			}
		}
		v, err := s.Verify(ctx)
		if err != nil || len(v.Damage) > 0 {
			_ = s.Rebuild(ctx) // it may refuse, and does not panic
			return
		}
		var text strings.Builder
		if _, err := cases.Export(ctx, s, &text, cases.ExportOptions{Names: true}); err != nil || text.String() != want {
			t.Fatalf("it is said to be whole, and is not what was written: %v", err)
		}
	})
}
