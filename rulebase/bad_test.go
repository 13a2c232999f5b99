package rulebase_test

import (
	"errors"
	"flag"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"

	"downdrop/rulebase"
)

var update = flag.Bool("update", false, "write what is said into the golden files")

// layersOf are the layers of an archive: files in a folder of their own are laid
// over those in none. Without a rulebase.yaml the good rulebase lies below.
func layersOf(t testing.TB, a *txtar.Archive) []rulebase.Layer {
	t.Helper()
	folders := map[string]fstest.MapFS{".": {}}
	order := []string{"."}
	for _, f := range a.Files {
		if f.Name == "says" {
			continue
		}
		folder, name := path.Split(f.Name)
		folder = path.Clean(folder)
		if folders[folder] == nil {
			folders[folder] = fstest.MapFS{}
			order = append(order, folder)
		}
		folders[folder][name] = &fstest.MapFile{Data: f.Data}
	}
	if folders["."]["rulebase.yaml"] == nil {
		good, err := os.ReadFile("testdata/good/rulebase.yaml")
		if err != nil {
			t.Fatal(err)
		}
		folders["."]["rulebase.yaml"] = &fstest.MapFile{Data: good}
	}
	var layers []rulebase.Layer
	for _, folder := range order {
		layers = append(layers, rulebase.Layer{Name: folder, FS: folders[folder]})
	}
	return layers
}

// golden compares what is said with the archive's part "says", or writes it there.
func golden(t *testing.T, file string, a *txtar.Archive, says string) {
	t.Helper()
	last := len(a.Files) - 1
	if last < 0 || a.Files[last].Name != "says" {
		a.Files = append(a.Files, txtar.File{Name: "says"})
		last++
	}
	if *update {
		a.Files[last].Data = []byte(says)
		if err := os.WriteFile(file, txtar.Format(a), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if d := cmp.Diff(string(a.Files[last].Data), says); d != "" {
		t.Error(d)
	}
}

func archives(t testing.TB, pattern string, least int) []string {
	t.Helper()
	files, err := filepath.Glob(pattern)
	if err != nil || len(files) < least {
		t.Fatalf("%d files at %s: %v", len(files), pattern, err)
	}
	return files
}

// Each file of testdata/bad is what is added to the good rulebase, and what is
// said of it, whole.
func TestBadRulebasesAreExplained(t *testing.T) {
	for _, file := range archives(t, "testdata/bad/*.txtar", 60) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			base, err := rulebase.Load(layersOf(t, a)...)
			var problems *rulebase.Problems
			if !errors.As(err, &problems) || base != nil {
				t.Fatalf("loaded, or not read at all: %v", err)
			}
			golden(t, file, a, err.Error()+"\n")
			for _, p := range problems.List {
				if p.Kind == "" || p.Says == "" || strings.Contains(p.Says, "%!") {
					t.Errorf("a problem without kind or words: %+v", p)
				}
			}
		})
	}
}

// Each file of testdata/bad_cases is a case file against the good rulebase.
func TestBadCasesAreExplained(t *testing.T) {
	base, err := rulebase.LoadFolder("testdata/good")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range archives(t, "testdata/bad_cases/*.txtar", 20) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			_, err = base.ReadCase(a.Files[0].Name, a.Files[0].Data)
			var problems *rulebase.Problems
			if !errors.As(err, &problems) {
				t.Fatalf("read, or not read at all: %v", err)
			}
			golden(t, file, a, err.Error()+"\n")
		})
	}
}

// No word stands for nobody in particular: who does not say who it is has said nothing.
func TestNoWordStandsForAnybody(t *testing.T) {
	for word, known := range map[string]bool{"": false, "nobody": false, "operator": true, "engineer": true} {
		if who, ok := rulebase.WhoOf(word); ok != known || ok && who.String() != word {
			t.Errorf("%q: %v %t", word, who, ok)
		}
	}
}

// Remarks are said of a rulebase that loads.
func TestRemarks(t *testing.T) {
	for _, file := range archives(t, "testdata/remarks/*.txtar", 5) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			base, err := rulebase.Load(layersOf(t, a)...)
			if err != nil {
				t.Fatal(err)
			}
			says := ""
			for _, r := range base.Remarks() {
				says += r.String() + "\n"
			}
			golden(t, file, a, says)
		})
	}
}

func TestGoodRulebasesHaveNoProblem(t *testing.T) {
	for _, folder := range []string{"testdata/good", "testdata/example"} {
		base, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Errorf("%s:\n%v", folder, err)
			continue
		}
		if folder == "testdata/good" {
			for _, r := range base.Remarks() {
				t.Errorf("remark: %v", r)
			}
		}
	}
}

// A cause speaks in every row that reads it, whatever stands before it there.
func TestACauseThatASecondRowReadsShows(t *testing.T) {
	base, err := loadTexts(t, map[string]string{"own.yaml": `
rulebase: {name: ford}
causes:
  wire:  {name: Wire off, part: line, per_thousand: 10, source: common_practice, remedy: screw_on}
  screw: {name: Screw loose, part: line, per_thousand: 5, source: common_practice, remedy: screw_on}
  fuse:  {name: Fuse blown, part: supply, per_thousand: 5, source: common_practice, remedy: screw_on}
symptoms:
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: wire, dark: 0.9}, {when: wire and screw, dark: 0.8}, {lit: 1}]}
remedies:
  screw_on: {do: Screw it on, minutes: 5, ends_as: adjusted}
`})
	if err != nil {
		t.Fatal(err)
	}
	var nowhere []string
	for _, r := range base.Remarks() {
		if r.Kind == "shows-nowhere" {
			nowhere = append(nowhere, r.Says)
		}
	}
	if want := []string{"no symptom depends on fuse: nothing seen can ever speak for it"}; !slices.Equal(nowhere, want) {
		t.Errorf("%q", nowhere)
	}
}

func TestFolderThatIsNone(t *testing.T) {
	for _, folder := range []string{"testdata/nothing_here", "testdata/good/rulebase.yaml"} {
		base, err := rulebase.LoadFolder(folder)
		if base != nil || err == nil || !strings.Contains(err.Error(), folder) {
			t.Errorf("%s: %v, %v", folder, base, err)
		}
	}
	if base, err := rulebase.LoadFolder(); base != nil || err == nil {
		t.Errorf("no folder at all: %v, %v", base, err)
	}
	if _, err := rulebase.LoadFolder("testdata/nothing_here"); !errors.Is(err, fs.ErrNotExist) {
		t.Error(err)
	}
}

// Each file of testdata/bad_sheets is an installation sheet.
func TestBadSheets(t *testing.T) {
	for _, file := range archives(t, "testdata/bad_sheets/*.txtar", 20) {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			_, err = rulebase.ReadSheet(a.Files[0].Name, a.Files[0].Data, sheetKinds)
			var problems *rulebase.Problems
			if !errors.As(err, &problems) {
				t.Fatalf("it is read: %v", err)
			}
			golden(t, file, a, problems.Error()+"\n")
		})
	}
}

// sheetKinds are kinds of line for tests of sheets.
var sheetKinds = []string{"token_pair", "can"}

// No sheet makes the reader panic, and one that is read holds no number that
// cannot be reckoned with.
func FuzzSheet(f *testing.F) {
	seeds(f, "testdata/bad_sheets/*.txtar")
	everything, err := os.ReadFile("testdata/sheet_with_everything.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(everything)
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := rulebase.ReadSheet("sheet.yaml", text, sheetKinds)
		var problems *rulebase.Problems
		if err != nil && !errors.As(err, &problems) {
			t.Fatalf("an error that is no problem of the file: %v", err)
		}
		if err == nil && !(s.TrunkM() >= 0 && s.TrunkM() < 1e9) {
			t.Fatalf("a trunk of %v m was read", s.TrunkM())
		}
	})
}

// A sheet is of any of the kinds of line that there are, the first and the last too.
func TestSheetsOfEveryKind(t *testing.T) {
	for _, kind := range sheetKinds {
		s, err := rulebase.ReadSheet("sheet.yaml", []byte("sheet: own\nline: "+kind+"\ncable: [{length: 10 m}]\n"), sheetKinds)
		if err != nil {
			t.Fatal(err)
		}
		if s.Line != kind {
			t.Errorf("%s was read as %q", kind, s.Line)
		}
	}
}
