package rulebase_test

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// Each file of testdata/format is a file as somebody wrote it, and in its one form.
func TestFilesInForm(t *testing.T) {
	for _, file := range archives(t, "testdata/format/*.txtar", 5) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			out, err := rulebase.Format("own.yaml", a.Files[0].Data)
			if err != nil {
				t.Fatal(err)
			}
			golden(t, file, a, string(out))
			again, err := rulebase.Format("own.yaml", out)
			if err != nil || string(again) != string(out) {
				t.Errorf("formatting it again gives something else: %v\n%s", err, cmp.Diff(string(out), string(again)))
			}
		})
	}
}

// formatted is a folder with all its files in form, which say the same and are in
// form from then on.
func formatted(t *testing.T, folder fs.FS) fstest.MapFS {
	t.Helper()
	all := fstest.MapFS{}
	files, err := fs.Glob(folder, "*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		text, err := fs.ReadFile(folder, file)
		if err != nil {
			t.Fatal(err)
		}
		out, err := rulebase.Format(file, text)
		if err != nil {
			t.Fatal(err)
		}
		if again, err := rulebase.Format(file, out); err != nil || string(again) != string(out) {
			t.Errorf("%s in form is not in form: %v", file, err)
		}
		all[file] = &fstest.MapFile{Data: out}
	}
	return all
}

func TestFormatChangesNoMeaning(t *testing.T) {
	t.Parallel()
	support.Alone(t)
	folders := map[string]fs.FS{"shipped": rulebase.Shipped(), "good": os.DirFS("testdata/good"), "example": os.DirFS("testdata/example")}
	for _, folder := range checkFolders(t) {
		folders[folder] = os.DirFS(folder)
	}
	for name, folder := range folders {
		before, err := rulebase.Load(rulebase.Layer{Name: "x", FS: folder})
		if err != nil {
			t.Fatal(err)
		}
		after, err := rulebase.Load(rulebase.Layer{Name: "x", FS: formatted(t, folder)})
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if at := rulebase.FirstDifference(before, after); at != "" {
			t.Errorf("%s: %s differs", name, at)
		}
		if x, y := len(before.Comments()), len(after.Comments()); x != y {
			t.Errorf("%s: of %d comments %d are left", name, x, y)
		}
	}
}

// The comparison that guards the formatter must be able to see a difference.
func TestFirstDifference(t *testing.T) {
	load := func(replace ...string) *rulebase.Base {
		text, err := os.ReadFile("testdata/good/rulebase.yaml")
		if err != nil {
			t.Fatal(err)
		}
		b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"a.yaml": {Data: []byte(strings.NewReplacer(replace...).Replace(string(text)))}}})
		if err != nil {
			t.Fatal(err)
		}
		return b
	}
	for _, c := range []struct{ from, to, at string }{
		{"# A small", "# A tiny", ""},
		{"per_thousand: 40", "per_thousand: 41", ".Causes[0].Prior"},
		{"dark: always", "dark: usually", ".Symptoms[1].Shows[0].P[0]"},
		{"1.5 * terminator", "1.6 * terminator", ".Symptoms[2].Limits[1].Text"},
		{"who: electrician", "who: engineer", ".Remedies[0].Who"},
		{"default: 150", "default: 151", ".Givens[3].Default.Number"},
		{"complaint: {symptom: drop_works, bad: dead, well: working}", "together: 1", ".Complaint"},
	} {
		if at := rulebase.FirstDifference(load(), load(c.from, c.to)); at != c.at {
			t.Errorf("%s for %s: %q differs, not %q", c.to, c.from, at, c.at)
		}
	}
}

// Of several entries of a map that differ the same one is named each time.
func TestFirstDifferenceOfAMap(t *testing.T) {
	words := map[string]float64{"often": 0.8, "always": 0.99, "rarely": 0.1, "never": 0.01}
	for range 20 {
		if at := rulebase.FirstDifference(&rulebase.Base{Words: words}, &rulebase.Base{Words: map[string]float64{"often": 0, "always": 0, "rarely": 0, "never": 0}}); at != ".Words[always]" {
			t.Fatalf("%q differs first", at)
		}
	}
}

// Whatever can be formatted says what it said, and is in form from then on.
func FuzzFormat(f *testing.F) {
	for _, pattern := range []string{"testdata/bad/*.txtar", "testdata/format/*.txtar", "testdata/bad_cases/*.txtar"} {
		seeds(f, pattern)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		out, err := rulebase.Format("own.yaml", text)
		var problems *rulebase.Problems
		if err != nil {
			if !errors.As(err, &problems) {
				t.Fatalf("an error that is no problem of the file: %v", err)
			}
			return
		}
		again, err := rulebase.Format("own.yaml", out)
		if err != nil || string(again) != string(out) {
			t.Fatalf("formatting again gives something else: %v\n%s", err, cmp.Diff(string(out), string(again)))
		}
		load := func(text []byte) (*rulebase.Base, error) {
			return rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"own.yaml": {Data: text}}})
		}
		before, err := load(text)
		if err != nil {
			return
		}
		after, err := load(out)
		if err != nil {
			t.Fatalf("in form it no longer loads: %v\n%s", err, out)
		}
		if at := rulebase.FirstDifference(before, after); at != "" {
			t.Fatalf("%s differs:\n%s", at, out)
		}
	})
}

// Shipped files are in form, but for those listed; the list may only shrink.
func TestShippedFilesAreInForm(t *testing.T) {
	support.Alone(t)
	list, err := os.ReadFile("testdata/not_in_form.txt")
	if err != nil {
		t.Fatal(err)
	}
	files, err := fs.Glob(rulebase.Shipped(), "*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal(files, err)
	}
	for _, file := range append(files, "../../cmd/downdrop/starter/over/own_cause.yaml", "../../cmd/downdrop/starter/over/own_cause_test.yaml", "../../cmd/downdrop/starter/alone/rulebase.yaml") {
		text, err := os.ReadFile(filepath.Join("drop", file))
		if err != nil {
			t.Fatal(err)
		}
		out, err := rulebase.Format(file, text)
		if err != nil {
			t.Fatal(err)
		}
		if string(out) != string(text) && !strings.Contains("\n"+string(list), "\n"+file+"\n") {
			t.Errorf("%s is not in form; go run ./cmd/downdrop rulebase format rulebase/drop/%s mends it:\n%s", file, file, cmp.Diff(string(text), string(out)))
		}
	}
}
