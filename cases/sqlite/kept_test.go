//go:build unix

package sqlite_test

import (
	"bytes"
	"compress/gzip"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"maps"
	"math"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/engine"
	"downdrop/rulebase"
)

// What a version of the program leaves behind, every later one reads and takes for the same. Each folder
// of testdata/kept holds what one version wrote, every kind of event with every key of its body among it:
//
//	store.db.gz      a store            export.jsonl  the same store exported
//	hand_over.txt    a case as text     rulebase.bin  a rulebase of two layers as a store keeps it
//	case.yaml, sheet.yaml, prices.yaml  what people write
//	folded.json      what all of it adds up to
//
// A folder is never touched again. Where a kind of event or a key of a body is new, or a format, write the next
// folder: say it in everythingSaid (kept_write_test.go), then go test ./cases/sqlite -run Kept -update.

func TestKeptFromEarlierVersions(t *testing.T) {
	if *update {
		writeKept(t)
	}
	folders := keptFolders(t)
	for _, folder := range folders {
		t.Run(filepath.Base(folder), func(t *testing.T) {
			want, err := os.ReadFile(filepath.Join(folder, "folded.json"))
			if err != nil {
				t.Fatal(err)
			}
			for _, lacks := range lacking("", decoded(t, want), decoded(t, foldKept(t, folder))) {
				t.Error(lacks)
			}
		})
	}
}

// An export brought into a new store is the store.
func TestKeptExportIsTheStore(t *testing.T) {
	for _, folder := range keptFolders(t) {
		text := keptFile(t, folder, "export.jsonl")
		m, err := cases.ReadManifest(bytes.NewReader(text))
		if err != nil {
			t.Fatal(err)
		}
		s, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "new.db"), sqlstore.Options{Site: m.Site})
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { s.Close() })
		if _, err := cases.ImportFrom(ctx, s, bytes.NewReader(text), true); err != nil {
			t.Fatal(err)
		}
		from := openKept(t, folder)
		for name, got := range map[string]string{"store.db.gz": storetest.Exported(t, from), "export.jsonl, read in,": storetest.Exported(t, s)} {
			if got != string(text) {
				t.Errorf("%s: %s is exported as\n%s", folder, name, got)
			}
		}
	}
}

// The newest folder has every kind of event and every key of its body that the code knows today.
func TestKeptHasEveryKind(t *testing.T) {
	folders := keptFolders(t)
	newest := folders[len(folders)-1]
	said := map[string]bool{}
	for e, err := range openKept(t, newest).All(ctx) {
		if err != nil {
			t.Fatal(err)
		}
		said[string(e.Kind)] = true
		for _, key := range keysOf(decoded(t, e.Body)) {
			said[string(e.Kind)+" "+key] = true
		}
	}
	inCode := kindsInCode(t, "..")
	if len(inCode) < 30 {
		t.Fatalf("only %d kinds were found in the code", len(inCode))
	}
	for kind, keys := range inCode {
		for _, key := range keys {
			if what := strings.TrimSpace(kind + " " + key); !said[what] {
				t.Errorf("no event of %s says %q, which the code knows: add it to everythingSaid (kept_write_test.go), and write the next folder with: go test ./cases/sqlite -run Kept -update", newest, what)
			}
		}
	}
}

// The comparison itself bites: each kind of change in what was folded is named.
func TestKeptComparisonBites(t *testing.T) {
	want := decoded(t, []byte(`{"a": {"b": [1, {"c": "x"}]}, "n": 0.25}`))
	for got, says := range map[string]string{
		`{"a": {"b": [1, {"c": "x"}], "new": 1}, "n": 0.2500000000001}`: "",
		`{"a": {"b": [1, {"c": "y"}]}, "n": 0.25}`:                      `a.b.1.c: "y", and was "x"`,
		`{"a": {"b": [1]}, "n": 0.25}`:                                  "a.b: 1 entries, and were 2",
		`{"a": {}, "n": 0.26}`:                                          `a.b: nothing, and was [1,{"c":"x"}]; n: 0.26, and was 0.25`,
	} {
		if text := strings.Join(lacking("", want, decoded(t, []byte(got))), "; "); text != says {
			t.Errorf("%s: %s, want %s", got, text, says)
		}
	}
}

func keptFolders(t *testing.T) []string {
	t.Helper()
	folders, err := filepath.Glob("testdata/kept/*")
	if err != nil || len(folders) == 0 {
		t.Fatal("nothing is kept of any version", err)
	}
	number := func(folder string) int { n, _ := strconv.Atoi(filepath.Base(folder)); return n }
	slices.SortFunc(folders, func(a, b string) int { return number(a) - number(b) })
	return folders
}

func keptFile(t *testing.T, folder, name string) []byte {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(folder, name))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// openKept opens a copy of the store of a folder.
func openKept(t *testing.T, folder string) *sqlstore.Store {
	t.Helper()
	z, err := gzip.NewReader(bytes.NewReader(keptFile(t, folder, "store.db.gz")))
	if err != nil {
		t.Fatal(err)
	}
	content, err := io.ReadAll(z)
	if err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(t.TempDir(), "kept.db")
	if err := os.WriteFile(path, content, 0o600); err != nil {
		t.Fatal(err)
	}
	s, err := sqlite.Open(ctx, path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// folded is what all that a folder holds adds up to.
type folded struct {
	Cases, Units any
	Locations    map[string][]string // kinds of their events
	NotRead      map[string]string   // how many events of each case and unit are of no known kind, or fit nowhere
	Found        []cases.Summary
	Month        *cases.Month
	Names        map[string]string
	Files        []string
	Heads        map[string]cases.Head
	HandedOver   any
	Sheet        string // that the hand-over carries
	CaseFile     rulebase.Situation
	Belief       map[string]float64 // of the case file, by the kept rulebase
	SheetFile    *rulebase.Sheet
	Prices       *rulebase.Prices
	Rulebase     []string // name, version, digest
}

// foldKept reads everything in a folder and adds it up.
func foldKept(t *testing.T, folder string) []byte {
	t.Helper()
	s := openKept(t, folder)
	if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
		t.Errorf("the store does not verify: %v %v", err, v.Damage)
	}
	f := folded{Locations: map[string][]string{}, NotRead: map[string]string{}, Names: map[string]string{}, Belief: map[string]float64{}}
	f.ofStore(t, s)
	events, sheet, err := cases.ReadHandOver(string(keptFile(t, folder, "hand_over.txt")))
	if err != nil {
		t.Fatal(err)
	}
	f.HandedOver, f.Sheet = withoutEvents(t, cases.Fold(events)), string(sheet)
	f.ofFiles(t, folder)
	if exported, err := cases.ExportedCases(bytes.NewReader(keptFile(t, folder, "export.jsonl"))); err != nil || !reflect.DeepEqual(withoutEvents(t, byID(exported)), f.Cases) {
		t.Errorf("the cases of the export are others than those of the store: %v", err)
	}
	text, err := json.MarshalIndent(withoutEvents(t, f), "", " ")
	if err != nil {
		t.Fatal(err)
	}
	return append(text, '\n')
}

func byID(list []*cases.Case) map[string]*cases.Case {
	all := map[string]*cases.Case{}
	for _, c := range list {
		all[c.ID] = c
	}
	return all
}

func (f *folded) ofStore(t *testing.T, s *sqlstore.Store) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	ids, err := s.Subjects(ctx, cases.AboutCase)
	must(err)
	var all []*cases.Case
	for _, id := range ids {
		c, err := s.Case(ctx, id)
		must(err)
		all = append(all, c)
		f.NotRead[id] = fmt.Sprint(len(c.Unknown))
	}
	f.Cases = withoutEvents(t, byID(all))
	units := map[string]*cases.Card{}
	table := cases.NewMonthTable(keptDay.AddDate(0, -1, 0), keptDay.AddDate(0, 1, 0))
	must(cases.Units(ctx, s, func(c *cases.Card) error {
		units[c.ID] = c
		f.NotRead[c.ID] = fmt.Sprint(len(c.Unknown), " unknown, ", len(c.Unfit), " unfit")
		table.Add(c)
		return nil
	}))
	f.Units, f.Month = withoutEvents(t, units), table.Month()
	places, err := s.Subjects(ctx, cases.AboutLocation)
	must(err)
	for _, place := range places {
		events, err := s.Events(ctx, cases.Subject{Kind: cases.AboutLocation, ID: place})
		must(err)
		for _, e := range events {
			f.Locations[place] = append(f.Locations[place], string(e.Kind))
		}
	}
	f.Found, err = s.Find(ctx, cases.Query{})
	must(err)
	f.Files, err = s.Files(ctx)
	must(err)
	f.Heads, err = s.Heads(ctx)
	must(err)
	people, err := s.Names(ctx)
	must(err)
	for _, id := range people {
		f.Names[id], err = s.Name(ctx, id)
		must(err)
	}
}

func (f *folded) ofFiles(t *testing.T, folder string) {
	t.Helper()
	base, err := rulebase.LoadBundle(keptFile(t, folder, "rulebase.bin"))
	if err != nil {
		t.Fatal(err)
	}
	f.Rulebase = []string{base.Name, fmt.Sprint(base.Version), base.Digest}
	if f.CaseFile, err = base.ReadCase("case.yaml", keptFile(t, folder, "case.yaml")); err != nil {
		t.Fatal(err)
	}
	d, err := engine.Diagnose(ctx, engine.Prepare(base), f.CaseFile, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range d.Causes {
		f.Belief[base.Causes[c.Cause].ID], f.Belief[base.Causes[c.Cause].ID+" now"] = c.Probability, c.Now
	}
	for _, c := range d.Conditions {
		f.Belief[base.Conditions[c.Condition].ID] = c.Probability
	}
	f.Belief["none"], f.Belief["outside"], f.Belief["evidence"] = d.None, d.Outside, d.Evidence
	if f.SheetFile, err = rulebase.ReadSheet("sheet.yaml", keptFile(t, folder, "sheet.yaml"), []string{"tia485_polled"}); err != nil {
		t.Fatal(err)
	}
	if f.Prices, err = rulebase.ReadPrices("prices.yaml", keptFile(t, folder, "prices.yaml")); err != nil {
		t.Fatal(err)
	}
}

// withoutEvents is a value as JSON has it, an event as its id alone and without what says nothing: what a
// later version knows besides then changes nothing.
func withoutEvents(t *testing.T, v any) any {
	t.Helper()
	text, err := json.Marshal(v)
	if err != nil {
		t.Fatal(err)
	}
	return bare(decoded(t, text))
}

func bare(v any) any {
	switch v := v.(type) {
	case []any:
		for i := range v {
			v[i] = bare(v[i])
		}
	case map[string]any:
		if v["hash"] != nil && v["subject"] != nil {
			return v["id"]
		}
		for key, item := range v {
			if v[key] = bare(item); key == "Events" || key == "Pos" || saysNothing(v[key]) {
				delete(v, key)
			}
		}
	}
	return v
}

func saysNothing(v any) bool {
	switch v := v.(type) {
	case nil:
		return true
	case []any:
		return len(v) == 0
	case map[string]any:
		return len(v) == 0
	}
	return v == false || v == "" || v == 0.0 || v == "0001-01-01T00:00:00Z"
}

func decoded(t *testing.T, text []byte) (v any) {
	t.Helper()
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// lacking is what one value has and another has not, or has otherwise. Keys that the other has besides, and
// digits behind the ninth, are no difference.
func lacking(at string, want, got any) (list []string) {
	short := func(v any) string {
		if v == nil {
			return "nothing"
		}
		text, _ := json.Marshal(v)
		return string(text[:min(len(text), 200)])
	}
	within := func(key string) string { return strings.TrimPrefix(at+"."+key, ".") }
	switch w := want.(type) {
	case map[string]any:
		if g, ok := got.(map[string]any); ok {
			for _, key := range slices.Sorted(maps.Keys(w)) {
				list = append(list, lacking(within(key), w[key], g[key])...)
			}
			return list
		}
	case []any:
		if g, ok := got.([]any); ok && len(g) != len(w) {
			return []string{fmt.Sprintf("%s: %d entries, and were %d", at, len(g), len(w))}
		} else if ok {
			for i := range w {
				list = append(list, lacking(within(fmt.Sprint(i)), w[i], g[i])...)
			}
			return list
		}
	case float64:
		if g, ok := got.(float64); ok && math.Abs(g-w) <= 1e-9*max(1, math.Abs(w)) {
			return nil
		}
	default:
		if want == got {
			return nil
		}
	}
	return []string{fmt.Sprintf("%s: %s, and was %s", at, short(got), short(want))}
}

// keysOf are the keys of a JSON value with those of what stands in it, "unit.serial".
func keysOf(v any) (keys []string) {
	switch v := v.(type) {
	case []any:
		for _, item := range v {
			keys = append(keys, keysOf(item)...)
		}
	case map[string]any:
		for key, item := range v {
			keys = append(keys, key)
			for _, below := range keysOf(item) {
				keys = append(keys, key+"."+below)
			}
		}
	}
	return keys
}

// kindsInCode are the kinds of events that the source of package cases declares, each with "" for itself and
// the keys of its body, the type that the comment of its constant names.
func kindsInCode(t *testing.T, folder string) map[string][]string {
	t.Helper()
	names, err := filepath.Glob(filepath.Join(folder, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	types := map[string]*ast.StructType{}
	kinds := map[string]string{} // and the comments that name their bodies
	for _, name := range names {
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ParseComments|parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		for _, decl := range file.Decls {
			d, ok := decl.(*ast.GenDecl)
			if !ok || strings.HasSuffix(name, "_test.go") {
				continue
			}
			for _, spec := range d.Specs {
				switch spec := spec.(type) {
				case *ast.TypeSpec:
					if s, ok := spec.Type.(*ast.StructType); ok {
						types[spec.Name.Name] = s
					}
				case *ast.ValueSpec:
					if of, ok := spec.Type.(*ast.Ident); ok && of.Name == "Kind" && d.Tok == token.CONST {
						kind, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
						if err != nil {
							t.Fatal(err)
						}
						kinds[kind] = spec.Comment.Text() + " " + spec.Doc.Text()
					}
				}
			}
		}
	}
	all := map[string][]string{}
	for kind, comment := range kinds {
		all[kind] = []string{""}
		for word := range strings.FieldsFuncSeq(comment, func(r rune) bool { return strings.ContainsRune(" :;.,\n", r) }) {
			if body := types[word]; body != nil {
				all[kind] = append(all[kind], keysOfStruct(body, types)...)
				break
			}
		}
	}
	return all
}

func keysOfStruct(s *ast.StructType, types map[string]*ast.StructType) (keys []string) {
	for _, field := range s.Fields.List {
		if field.Tag == nil {
			continue
		}
		key, _, _ := strings.Cut(reflect.StructTag(strings.Trim(field.Tag.Value, "`")).Get("json"), ",")
		keys = append(keys, key)
		of := field.Type
		for {
			if list, ok := of.(*ast.ArrayType); ok {
				of = list.Elt
			} else if pointer, ok := of.(*ast.StarExpr); ok {
				of = pointer.X
			} else {
				break
			}
		}
		if name, ok := of.(*ast.Ident); ok && types[name.Name] != nil {
			for _, below := range keysOfStruct(types[name.Name], types) {
				keys = append(keys, key+"."+below)
			}
		}
	}
	return keys
}

// keptDay is about when the events of the folders happened.
var keptDay = time.Date(2031, 5, 4, 8, 0, 0, 0, time.UTC)
