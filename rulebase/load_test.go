package rulebase_test

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"flag"
	"io/fs"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"github.com/rogpeppe/go-internal/txtar"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// TestMain sets how much the random tests try: DOWNDROP_DEEP times the least.
func TestMain(m *testing.M) {
	if err := flag.Set("rapid.checks", strconv.Itoa(200*deep())); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

func deep() int {
	n, _ := strconv.Atoi(os.Getenv("DOWNDROP_DEEP"))
	return max(1, n)
}

// checkFolders are the rulebases with known answers, by folder.
func checkFolders(t testing.TB) []string {
	var folders []string
	for _, pattern := range []string{"asia/rulebase", "sequencing/rulebase", "noisy_or/*/rulebase", "features/*/rulebase"} {
		found, err := filepath.Glob(filepath.Join("../testdata/checks", pattern))
		if err != nil || len(found) == 0 {
			t.Fatalf("no rulebases at %s: %v", pattern, err)
		}
		folders = append(folders, found...)
	}
	return folders
}

func TestCheckRulebasesLoad(t *testing.T) {
	for _, folder := range checkFolders(t) {
		base, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Errorf("%s:\n%v", folder, err)
			continue
		}
		sound(t, base)
		cases, _ := filepath.Glob(filepath.Join(filepath.Dir(folder), "case*.yaml"))
		for _, file := range cases {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			read := func() error { _, err := base.ReadCase(file, text); return err }
			if filepath.Base(file) == "cases.yaml" {
				read = func() error { _, err := base.ReadCases(file, text); return err }
			}
			if err := read(); err != nil {
				t.Errorf("%s:\n%v", file, err)
			}
		}
	}
}

func TestShippedRulebaseLoads(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	sound(t, base)
}

// sound holds what is promised of every Base: numbers that fit their slices, rows
// that are complete, names in slot order.
func sound(t testing.TB, b *rulebase.Base) {
	t.Helper()
	last := rulebase.KindNone
	for i, n := range b.Names {
		// Slot order is givens, symptoms, plain facts, causes, conditions, as the kinds are numbered.
		if n.Kind < last {
			t.Errorf("%s stands behind a later kind", n.ID)
		}
		last = n.Kind
		ref, ok := b.Lookup(n.ID)
		if !ok || ref.Kind != n.Kind || n.Kind != rulebase.KindFact && ref.Index != n.Index || n.Kind == rulebase.KindFact && ref.Index != i {
			t.Errorf("%s is looked up as %+v", n.ID, ref)
		}
		if (n.Type == rulebase.Number) != (n.Words == nil) {
			t.Errorf("%s has the words %v", n.ID, n.Words)
		}
	}
	named := func(id string, name int) {
		if name < 0 || name >= len(b.Names) || b.Names[name].ID != id {
			t.Errorf("%s is not at %d", id, name)
		}
	}
	for i := range b.Givens {
		named(b.Givens[i].ID, b.Givens[i].Name)
	}
	for i := range b.Causes {
		c := &b.Causes[i]
		named(c.ID, c.Slot)
		if !(c.Prior >= 0 && c.Prior < 1) {
			t.Errorf("%s has the prior %v", c.ID, c.Prior)
		}
		for _, h := range c.Remedies {
			if h.Remedy < 0 || h.Remedy >= len(b.Remedies) || !(h.Chance >= 0 && h.Chance <= 1) {
				t.Errorf("%s has the remedy %+v", c.ID, h)
			}
		}
		for _, x := range c.MoreLikely {
			if x.When == nil || !(x.Times > 0) {
				t.Errorf("%s is more likely by %+v", c.ID, x)
			}
		}
	}
	for i := range b.Conditions {
		named(b.Conditions[i].ID, b.Conditions[i].Slot)
		if b.Conditions[i].When == nil {
			t.Errorf("%s has no when", b.Conditions[i].ID)
		}
	}
	for i := range b.Symptoms {
		soundSymptom(t, &b.Symptoms[i])
		named(b.Symptoms[i].ID, b.Symptoms[i].Slot)
	}
	for i := range b.Rules {
		r := &b.Rules[i]
		if r.When == nil || len(r.Then)+len(r.RulesOut)+len(r.Establishes) == 0 && r.Tell == "" {
			t.Errorf("%s concludes nothing", r.ID)
		}
		for _, a := range r.Then {
			if a.Name < 0 || a.Value.Word == 0 && math.IsNaN(a.Value.Number) {
				t.Errorf("%s sets %+v", r.ID, a)
			}
		}
	}
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			s := &steps[i]
			if (s.Hazard != 0 || s.BringsBack) && len(s.Warnings) == 0 || s.Who == rulebase.Anybody || !(s.Minutes >= 0) {
				t.Errorf("%+v", s)
			}
		}
	}
	b.Remarks()
}

func soundSymptom(t testing.TB, s *rulebase.Symptom) {
	t.Helper()
	if len(s.Values) < 2 || s.Banded() && len(s.Limits) != len(s.Values)-1 || slices.Contains(s.Limits, nil) {
		t.Errorf("%s has %d values and %d limits", s.ID, len(s.Values), len(s.Limits))
	}
	for _, row := range s.Shows {
		sum := 0.0
		for _, p := range row.P {
			if !(p >= 0 && p <= 1) {
				t.Errorf("%s has the row %v", s.ID, row.P)
			}
			sum += p
		}
		if len(row.P) != len(s.Values) || !(math.Abs(sum-1) <= 2e-9) {
			t.Errorf("%s has the row %v, which sums to %v", s.ID, row.P, sum)
		}
	}
}

func loadTexts(t testing.TB, files map[string]string) (*rulebase.Base, error) {
	t.Helper()
	folder := fstest.MapFS{}
	for name, text := range files {
		folder[name] = &fstest.MapFile{Data: []byte(text)}
	}
	return rulebase.Load(rulebase.Layer{Name: "x", FS: folder})
}

const header = "rulebase: {name: x}\n"

// What is left of a row is shared by the values not named; where all are named
// they are scaled. Words are numbers, and a rulebase can change them.
func TestRows(t *testing.T) {
	for row, want := range map[string][]float64{
		"{}":                                {0.25, 0.25, 0.25, 0.25},
		"{a: 1}":                            {1, 0, 0, 0},
		"{a: 0.4}":                          {0.4, 0.2, 0.2, 0.2},
		"{a: always}":                       {0.99, 0.01 / 3, 0.01 / 3, 0.01 / 3},
		"{b: often, c: sometimes}":          {0.025, 0.65, 0.3, 0.025},
		"{a: 0.5, b: 0.5}":                  {0.5, 0.5, 0, 0},
		"{a: 0.5, b: 0.5000000005}":         {0.5, 0.5000000005, 0, 0},
		"{a: 1, b: 1, c: 1, d: 1}":          {0.25, 0.25, 0.25, 0.25},
		"{a: .0e0, b: 0, c: 0, d: 0}":       nil,
		"{a: 0.6, b: 0, c: 0, d: 0}":        {1, 0, 0, 0},
		"{a: 0.5, b: 0.500000002}":          nil,
		"{d: mostly}":                       {0.1, 0.1, 0.1, 0.7},
		"{d: half, because: of a, note: b}": {0.5 / 3, 0.5 / 3, 0.5 / 3, 0.5},
	} {
		base, err := loadTexts(t, map[string]string{"x.yaml": "rulebase: {name: x, words: {mostly: 0.7}}\nsymptoms:\n  s: {ask: \"?\", values: [a, b, c, d], shows: [" + row + "]}\n"})
		if want == nil {
			if err == nil {
				t.Errorf("%s loads", row)
			}
			continue
		}
		if err != nil {
			t.Error(err)
			continue
		}
		if d := cmp.Diff(want, base.Symptoms[0].Shows[0].P, cmpopts.EquateApprox(0, 1e-15)); d != "" {
			t.Errorf("%s: %s", row, d)
		}
	}
}

func TestIndependentRows(t *testing.T) {
	base, err := loadTexts(t, map[string]string{"x.yaml": header + "symptoms:\n  s: {ask: \"?\", values: [no, yes], combine: independent, shows: [{yes: 0.3}, {yes: rarely}]}\n"})
	if err != nil {
		t.Fatal(err)
	}
	if got := base.Symptoms[0]; !got.Independent || !slices.Equal(got.Shows[0].P, []float64{0.7, 0.3}) || !slices.Equal(got.Shows[1].P, []float64{0.95, 0.05}) {
		t.Errorf("%+v", got)
	}
}

func TestDefaults(t *testing.T) {
	base, err := loadTexts(t, map[string]string{"x.yaml": header})
	if err != nil {
		t.Fatal(err)
	}
	got := []float64{float64(base.FaultsAtMost), base.Together, base.Outside, base.Sure.At(rulebase.Phone), base.FactFrom, base.Effort.StopsDrop, base.Effort.StopsBus, base.Effort.Visit, base.GiveUp, base.Words["always"], base.Words["never"]}
	if want := []float64{3, 1, 0.015, 1, 0.95, 5, 30, 120, 240, 0.99, 0.005}; !slices.Equal(got, want) {
		t.Errorf("%v, not %v", got, want)
	}
	if base.Complaint != nil || base.Name != "x" || base.Version != 0 {
		t.Errorf("%+v", base)
	}
}

// The example of the format, value by value where a value could be mistaken.
func TestExample(t *testing.T) {
	b, err := rulebase.LoadFolder("testdata/example")
	if err != nil {
		t.Fatal(err)
	}
	sound(t, b)
	pair, _ := b.Lookup("pair_ohms")
	s := b.Symptoms[pair.Index]
	if !slices.Equal(s.Values, []string{"short", "three_or_wrong_value", "two_fitted", "one_fitted", "none_fitted"}) || len(s.Limits) != 4 || !s.Banded() {
		t.Errorf("%+v", s)
	}
	slots := make([]rulebase.Slot, len(b.Names))
	slots[b.Givens[0].Name] = *b.Givens[0].Default
	if x := s.Limits[1].Value(slots); x != 0.42*150 {
		t.Errorf("the second limit is %v", x)
	}
	if b.Sure.At(rulebase.Bench) != 0.99 || b.Sure.At("") != 1 || b.Complaint.Bad != 1 || b.Complaint.Well != 0 || b.Version != 3 {
		t.Errorf("%+v %+v", b.Sure, b.Complaint)
	}
	test := b.Tests[0]
	if test.Who != rulebase.Technician || test.Stops != rulebase.StopsBus || test.Hazard != 0 || test.OnlyIf == nil || len(test.Steps) != 2 || !slices.Equal(test.At, []rulebase.Place{rulebase.Field, rulebase.Bench}) {
		t.Errorf("%+v", test)
	}
	if cause := b.Causes[0]; cause.Prior != 0.07 || cause.MoreLikely[0].Times != 2 || cause.Remedies[0] != (rulebase.Helps{Remedy: 0, Chance: 1}) {
		t.Errorf("%+v", cause)
	}
	if rule := b.Rules[0]; b.Names[rule.Then[0].Name].Kind != rulebase.KindFact || rule.Then[0].Value.Word != 2 || rule.Then[0].Value.Rank != rulebase.FromRules {
		t.Errorf("%+v", rule)
	}
	if proof := b.Remedies[0].Proof; proof == nil || b.Symptoms[proof.Watch].ID != "drop_works" || proof.Minutes != 10 {
		t.Errorf("%+v", proof)
	}
}

// A symptom that no test yields, and that asking or looking gives, is a test of its own.
func TestImpliedTests(t *testing.T) {
	b := goodBase(t)
	var implied []string
	for i := range b.Tests {
		if s := &b.Tests[i]; s.Implied {
			implied = append(implied, s.ID)
			if s.Minutes != 1 || s.At != nil || s.Hazard != 0 || s.Who != rulebase.Operator || s.Do == "" || b.Symptoms[s.Yields[0]].ID != s.ID {
				t.Errorf("%+v", s)
			}
		}
	}
	if !slices.Equal(implied, []string{"hum", "mode"}) { // power_light comes by swap_fuse
		t.Errorf("%v", implied)
	}
}

// A later layer adds, and replaces what it says it replaces.
func TestLayers(t *testing.T) {
	upper := fstest.MapFS{"own.yaml": &fstest.MapFile{Data: []byte(`
rulebase: {name: own, version: 7, extends: small, together: 0.2, words: {always: 0.999}}
causes:
  fuse_open: {replaces: true, name: A fuse is open, part: supply, per_thousand: 55, source: common_practice}
  relay_stuck: {name: A relay is stuck, part: unit, per_thousand: 3, source: handbook}
`)}}
	b, err := rulebase.Load(rulebase.Layer{Name: "lower", FS: os.DirFS("testdata/good")}, rulebase.Layer{Name: "upper", FS: upper})
	if err != nil {
		t.Fatal(err)
	}
	sound(t, b)
	if b.Name != "own" || b.Version != 7 || b.Together != 0.2 || !slices.Equal(b.Layers, []string{"small", "own"}) || b.Complaint == nil {
		t.Errorf("%s %d %v %v", b.Name, b.Version, b.Together, b.Layers)
	}
	ref, _ := b.Lookup("fuse_open")
	if c := b.Causes[ref.Index]; c.Prior != 0.055 || len(c.Remedies) != 0 || c.Pos.File != "upper/own.yaml" || ref.Index != 0 {
		t.Errorf("%+v", c)
	}
	if len(b.Causes) != 3 || b.Symptoms[0].Shows[0].P[1] != 0.999 {
		t.Errorf("%d causes, %v", len(b.Causes), b.Symptoms[0].Shows[0].P)
	}
}

// The digest is over base name, zero, bytes, zero of each file but the rule
// tests, in the order of their names, layer by layer.
func TestDigest(t *testing.T) {
	lower := fstest.MapFS{"b.yaml": &fstest.MapFile{Data: []byte(header)}, "a.yaml": &fstest.MapFile{Data: []byte("causes: {}\n")}, "a_test.yaml": &fstest.MapFile{Data: []byte("[]")}, "read.me": &fstest.MapFile{Data: []byte("no")}}
	upper := fstest.MapFS{"c.yaml": &fstest.MapFile{Data: []byte("rulebase: {name: y, extends: x}\n")}}
	b, err := rulebase.Load(rulebase.Layer{Name: "l", FS: lower}, rulebase.Layer{Name: "u", FS: upper})
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256([]byte("a.yaml\x00causes: {}\n\x00b.yaml\x00" + header + "\x00c.yaml\x00rulebase: {name: y, extends: x}\n\x00"))
	if want := hex.EncodeToString(sum[:]); b.Digest != want {
		t.Errorf("%s, not %s", b.Digest, want)
	}
}

// pieces cuts a file into its sections, each by itself.
func pieces(text string) []string {
	var all []string
	for _, line := range strings.SplitAfter(text, "\n") {
		if line == "" || line[0] == '#' {
			continue
		}
		if line[0] != ' ' {
			all = append(all, "")
		}
		all[len(all)-1] += line
	}
	return all
}

// However a rulebase is cut into files, and whatever they are called, it says the
// same; and so do the problems of a bad one.
func TestOrderOfFilesNeverMatters(t *testing.T) {
	text, err := os.ReadFile("testdata/good/rulebase.yaml")
	if err != nil {
		t.Fatal(err)
	}
	wrong := "\nconditions2:\n  x: 1\n"
	random := rand.New(rand.NewPCG(1, 2))
	var first, firstProblems []string
	for try := range 50 * deep() {
		parts := pieces(string(text))
		random.Shuffle(len(parts), func(i, j int) { parts[i], parts[j] = parts[j], parts[i] })
		files := map[string]string{}
		for i, p := range parts {
			files[strconv.Itoa(i)+".yaml"] = p
		}
		b, err := loadTexts(t, files)
		if err != nil {
			t.Fatalf("try %d: %v", try, err)
		}
		_, bad := loadTexts(t, map[string]string{"a" + strconv.Itoa(try%3) + ".yaml": header + "causes:\n  a: {name: a, per_thousand: x, source: common_practice}\n", "b" + strconv.Itoa(try%5) + ".yaml": "conditions:\n  c: {when: b}\n", "c.yaml": wrong})
		var problems *rulebase.Problems
		if !errors.As(bad, &problems) {
			t.Fatal("the bad one loads")
		}
		var says []string
		for _, p := range problems.List {
			says = append(says, p.Says)
		}
		slices.Sort(says)
		entries := entriesOf(b)
		if first == nil {
			first, firstProblems = entries, says
		}
		if d := cmp.Diff(first, entries); d != "" {
			t.Fatalf("try %d: %s", try, d)
		}
		if d := cmp.Diff(firstProblems, says); d != "" {
			t.Fatalf("try %d: %s", try, d)
		}
	}
}

// entriesOf says what a rulebase says, without places and digest.
func entriesOf(b *rulebase.Base) []string {
	var all []string
	for i := range b.Names {
		n := b.Names[i]
		all = append(all, n.ID+" "+strings.Join(n.Words, ",")+" "+n.Unit)
	}
	for i := range b.Causes {
		c := b.Causes[i]
		line := c.ID + " " + strconv.FormatFloat(c.Prior, 'g', -1, 64)
		for _, h := range c.Remedies {
			line += " " + b.Remedies[h.Remedy].ID
		}
		all = append(all, line)
	}
	for i := range b.Symptoms {
		for _, row := range b.Symptoms[i].Shows {
			line := b.Symptoms[i].ID
			if row.When != nil {
				line += " " + row.When.Format(b.Names)
			}
			for _, p := range row.P {
				line += " " + strconv.FormatFloat(p, 'g', -1, 64)
			}
			all = append(all, line)
		}
	}
	for i := range b.Tests {
		all = append(all, b.Tests[i].ID)
	}
	slices.Sort(all)
	return all
}

// seeds are the texts of testdata, for fuzzing.
func seeds(f *testing.F, pattern string) {
	for _, file := range archives(f, pattern, 1) {
		a, err := txtar.ParseFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(a.Files[0].Data)
	}
}

// Whatever a file holds, it loads whole or not at all, and says why.
func FuzzRulebase(f *testing.F) {
	seeds(f, "testdata/bad/*.txtar")
	for _, name := range []string{"testdata/good/rulebase.yaml", "testdata/example/example.yaml"} {
		text, err := os.ReadFile(name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text)
	}
	good, err := os.ReadFile("testdata/good/rulebase.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, folder := range []fstest.MapFS{{"a.yaml": &fstest.MapFile{Data: text}}, {"a.yaml": &fstest.MapFile{Data: text}, "rulebase.yaml": &fstest.MapFile{Data: good}}} {
			b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: folder})
			if (b == nil) != (err != nil) {
				t.Fatalf("half loaded: %v, %v", b, err)
			}
			if err != nil {
				if err.Error() == "" {
					t.Fatal("nothing was said")
				}
				continue
			}
			sound(t, b)
		}
	})
}

// Whatever a case file holds, it is read whole or not at all; and what was read is written and read back.
func FuzzCase(f *testing.F) {
	seeds(f, "testdata/bad_cases/*.txtar")
	text, err := os.ReadFile("testdata/case_with_everything.yaml")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(text)
	base := goodBase(f)
	f.Fuzz(func(t *testing.T, text []byte) {
		s, err := base.ReadCase("x.yaml", text)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("nothing was said")
			}
			return
		}
		written := base.WriteCase(s)
		again, err := base.ReadCase("x.yaml", written)
		if err != nil {
			t.Fatalf("%v\n%s", err, written)
		}
		if d := cmp.Diff(s, again, noPlaces, cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("%s\n%s", d, written)
		}
	})
}

func BenchmarkLoadShipped(b *testing.B) {
	names, err := fs.Glob(rulebase.Shipped(), "*.yaml")
	if err != nil {
		b.Fatal(err)
	}
	size := 0
	texts := map[string][]byte{}
	for _, n := range names {
		if rulebase.IsRuleFile(n) {
			text, err := fs.ReadFile(rulebase.Shipped(), n)
			if err != nil {
				b.Fatal(err)
			}
			texts[n] = text
			size += len(text)
		}
	}
	b.SetBytes(int64(size))
	b.ReportAllocs()
	var whole, floor time.Duration
	for b.Loop() {
		begin := time.Now()
		if _, err := rulebase.LoadShipped(); err != nil {
			b.Fatal(err)
		}
		middle := time.Now()
		r := source.NewReader()
		for _, n := range names {
			if text := texts[n]; text != nil {
				r.Read(n, text)
			}
		}
		whole += middle.Sub(begin)
		floor += time.Since(middle)
	}
	b.ReportMetric(float64(whole)/float64(floor), "x-reading-alone")
}

// A shop's folder that says it extends the shipped rulebase is laid over it,
// without the shop having its folder.
func TestAFolderMayExtendTheShippedRulebase(t *testing.T) {
	shop := rulebase.Layer{Name: "shop", FS: fstest.MapFS{"ours.yaml": {Data: []byte(`
rulebase: {name: shop, extends: drop}
causes:
  pump_room_flooded: {name: The pump room is flooded, part: environment, per_thousand: 1, source: common_practice, remedy: exchange_unit}
`)}}}
	base, err := rulebase.Load(shop)
	if err != nil {
		t.Fatal(err)
	}
	shipped, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	if got, want := len(base.Causes), len(shipped.Causes)+1; got != want || base.Name != "shop" || len(base.Layers) != 2 {
		t.Errorf("%d causes in %s over %v, want %d", got, base.Name, base.Layers, want)
	}
	if base.Digest == shipped.Digest {
		t.Error("the digest does not tell the two apart")
	}
	if _, err := rulebase.Load(rulebase.Layer{Name: "shop", FS: fstest.MapFS{"a.yaml": {Data: []byte("rulebase: {name: shop, extends: dorp}")}}}); err == nil {
		t.Error("a misspelt name was taken for the shipped rulebase")
	}
}

// A name takes what it can be: a number where it is measured, else one of its words, a flag in any spelling.
func TestSlotsHoldWhatANameCanBe(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "slots", FS: fstest.MapFS{"slots.yaml": {Data: []byte(`
rulebase: {name: slots}
givens:
  wet: {ask: "Is it wet?"}
  cable: {ask: "Which cable?", one_of: [thin, thick]}
  length: {ask: "How long is it?", unit: m}
symptoms:
  volts: {ask: "How many volts?", unit: V, bands: [{low: 20}, high]}
  light: {ask: "Is the light lit?", values: [lit, dark], by: looking}
`)}}})
	if err != nil {
		t.Fatal(err)
	}
	number := rulebase.Value{IsNumber: true, Number: 12}
	word := func(w string) rulebase.Value { return rulebase.Value{Word: w} }
	for _, c := range []struct {
		name string
		is   rulebase.Value
		slot int32 // its word; -1: a number; 0: it cannot be
	}{
		{"wet", word("yes"), 2}, {"wet", word("True"), 2}, {"wet", word("NO"), 1}, {"wet", word("false"), 1}, {"wet", word("wet"), 0}, {"wet", number, 0},
		{"cable", word("thin"), 1}, {"cable", word("thick"), 2}, {"cable", word("Thin"), 0}, {"cable", word("yes"), 0}, {"cable", number, 0},
		{"length", number, -1}, {"length", word("12"), 0},
		{"volts", number, -1}, {"volts", word("low"), 1}, {"volts", word("high"), 2}, {"volts", word("none"), 0},
		{"light", word("dark"), 2}, {"light", number, 0},
	} {
		at := slices.IndexFunc(base.Names, func(n rulebase.Name) bool { return n.ID == c.name })
		slot, ok := base.SlotOf(at, c.is)
		switch {
		case ok != (c.slot != 0), c.slot > 0 && (slot.Word != c.slot || !math.IsNaN(slot.Number)), c.slot < 0 && (slot.Word != 0 || slot.Number != 12), slot.Rank != rulebase.NotKnown:
			t.Errorf("%s as %+v: %+v, %v", c.name, c.is, slot, ok)
		}
	}
}

// Each word for a hazard stands for one, and a hazard is said in all of its words.
func TestHazardsByTheirWords(t *testing.T) {
	all := rulebase.Hazard(0)
	words := []string{"live", "mains", "motion", "spark", "static", "stored", "unknown"}
	for _, word := range words {
		h, ok := rulebase.HazardOf(word)
		if !ok || h == 0 || all&h != 0 || !slices.Equal(h.Words(), []string{word}) {
			t.Errorf("%s is the hazard %d: %v, %v", word, h, h.Words(), ok)
		}
		all |= h
	}
	said := all.Words()
	if slices.Sort(said); !slices.Equal(said, words) {
		t.Errorf("all of them are %v", said)
	}
	if h, ok := rulebase.HazardOf("none"); ok || h != 0 || len(rulebase.Hazard(0).Words()) > 0 {
		t.Errorf("none is the hazard %d, %v", h, ok)
	}
}
