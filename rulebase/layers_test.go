package rulebase_test

import (
	"os"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/rulebase"
)

// meaning compares what two rulebases say, wherever it stands in their files.
var meaning = []cmp.Option{cmpopts.IgnoreTypes(rulebase.Position{}), cmpopts.IgnoreUnexported(rulebase.Base{}, rulebase.Expression{}), cmpopts.EquateNaNs(),
	cmpopts.IgnoreFields(rulebase.Base{}, "Digest", "Layers", "Name"), cmpopts.IgnoreFields(rulebase.Expression{}, "Text"), cmpopts.IgnoreFields(rulebase.Term{}, "Column"),
	cmpopts.IgnoreFields(rulebase.Symptom{}, "ShowsFirst")} // where a row stands, as a position

// An entry that changes one of a lower layer means what the two written into one
// would mean; what a layer adds to a list comes before what stood there.
func TestChangedEntriesAreTheTwoInOne(t *testing.T) {
	lower := `
rulebase: {name: lower}
causes:
  a: {name: A, part: one, per_thousand: 10, source: common_practice, remedy: mend, look_alikes: [b]}
  b: {name: B, part: one, per_thousand: 20, source: common_practice}
  c: {name: C, part: two, per_thousand: 30, source: common_practice}
conditions:
  down: {when: a, says: it is down}
symptoms:
  light: {ask: "Is it lit?", values: [lit, dark], by: looking, shows: [{when: down, dark: always}, {lit: usually}]}
remedies:
  mend: {do: Mend it, minutes: 5}
  swap: {do: Swap it, minutes: 9}
`
	layers := []rulebase.Layer{site("lower", lower), site("upper", `
rulebase: {name: upper, extends: lower}
causes:
  a: {changes: true, per_thousand: 40, remedies: [swap, {do: mend, helps: half}]}
conditions:
  down: {changes: true, also_when: b}
symptoms:
  light: {changes: true, ask: "Is the light lit?", shows_first: [{when: c, dark: 0.7}]}
`), site("top", `
rulebase: {name: top, extends: upper}
conditions:
  down: {changes: true, also_when: [c and not a]}
symptoms:
  light: {changes: true, shows_first: [{when: b and c, dark: 0.8}]}
`)}
	got, err := rulebase.Load(layers...)
	if err != nil {
		t.Fatal(err)
	}
	want, err := rulebase.Load(site("one", `
rulebase: {name: one}
causes:
  a: {name: A, part: one, per_thousand: 40, source: common_practice, remedies: [swap, {do: mend, helps: half}], look_alikes: [b]}
  b: {name: B, part: one, per_thousand: 20, source: common_practice}
  c: {name: C, part: two, per_thousand: 30, source: common_practice}
conditions:
  down: {when: a or (c and not a) or b, says: it is down}
symptoms:
  light: {ask: "Is the light lit?", values: [lit, dark], by: looking, shows: [{when: b and c, dark: 0.8}, {when: c, dark: 0.7}, {when: down, dark: always}, {lit: usually}]}
remedies:
  mend: {do: Mend it, minutes: 5}
  swap: {do: Swap it, minutes: 9}
`))
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(want, got, meaning...); d != "" {
		t.Error(d)
	}
}

// What stands for what, and which keys differ, is remembered entry by entry.
func TestEntriesRememberWhatTheyReplace(t *testing.T) {
	base := loadOverGood(t, site("own", `
rulebase: {name: own, extends: small, faults_at_most: 2, words: {often: 0.7}, effort: {visit: 90}, complaint: {symptom: drop_works, bad: dead, well: working}}
causes:
  relay_stuck: {name: A relay is stuck, part: unit, per_thousand: 3, source: handbook}
  fuse_open: {replaces: true, name: Supply fuse is open, part: supply, per_thousand: 55, source: common_practice}
symptoms:
  power_light: {changes: true, mistaken_for: [the light of the next unit], shows_first: [{when: relay_stuck, dark: half}]}
  hum: {changes: true, by: asking}
`), site("top", `
rulebase: {name: top, extends: own, effort: {visit: 80, stops_bus: 10}}
causes:
  fuse_open: {changes: true, per_thousand: 60}
symptoms:
  power_light: {changes: true, shows_first: [{when: fuse_open, dark: half}]}
on_site:
  hum: {called: the hum of cabinet 3}
`))
	var got []rulebase.Entry
	for _, e := range base.Entries() {
		if e.Layer > 0 {
			got = append(got, e)
		}
	}
	at := func(file string, line int) rulebase.Position {
		return rulebase.Position{File: file, Line: line, Column: 3}
	}
	want := []rulebase.Entry{
		{"causes", "relay_stuck", at("own/site.yaml", 4), 1, nil},
		{"causes", "fuse_open", at("own/site.yaml", 5), 1, &rulebase.Overlaid{Pos: at("good/rulebase.yaml", 9), Layer: 0, Whole: true, Fields: []rulebase.KeyChange{
			{Key: "per_thousand", Old: "40", New: "55"}, {Key: "remedy", Old: "replace_fuse"}}, Repeats: []string{"name", "part", "source"}}},
		{"symptoms", "power_light", at("own/site.yaml", 7), 1, &rulebase.Overlaid{Pos: at("good/rulebase.yaml", 16), Layer: 0, Fields: []rulebase.KeyChange{
			{Key: "mistaken_for", New: "[the light of the next unit]"}, {Key: "shows_first", New: "[{when: relay_stuck, dark: half}]"}}}},
		{"symptoms", "hum", at("own/site.yaml", 8), 1, &rulebase.Overlaid{Pos: at("good/rulebase.yaml", 18), Layer: 0}}, // it says nothing new
		{"causes", "fuse_open", at("top/site.yaml", 4), 2, &rulebase.Overlaid{Pos: at("own/site.yaml", 5), Layer: 1, Fields: []rulebase.KeyChange{{Key: "per_thousand", Old: "55", New: "60"}}}},
		{"symptoms", "power_light", at("top/site.yaml", 6), 2, &rulebase.Overlaid{Pos: at("own/site.yaml", 7), Layer: 1, Fields: []rulebase.KeyChange{
			{Key: "shows_first", Old: "[{when: relay_stuck, dark: half}]", New: "[{when: fuse_open, dark: half}, {when: relay_stuck, dark: half}]", Came: []string{"{when: fuse_open, dark: half}"}}}}},
		{"on_site", "hum", at("top/site.yaml", 8), 2, nil},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	for layer, want := range [][]rulebase.KeyChange{nil,
		{{Key: "faults_at_most", New: "2"}, {Key: "words.often", New: "0.7"}, {Key: "effort.visit", New: "90"}},
		{{Key: "effort.visit", Old: "90", New: "80"}, {Key: "effort.stops_bus", New: "10"}}} {
		if d := cmp.Diff(want, base.HeaderChanges(layer)); d != "" {
			t.Errorf("layer %d: %s", layer, d)
		}
	}
	turned := loadOverGood(t, site("turned", `
rulebase: {name: turned, extends: small, complaint: {symptom: drop_works, bad: working, well: dead}}
`))
	want1 := []rulebase.KeyChange{{Key: "complaint", Old: "{symptom: drop_works, bad: dead, well: working}", New: "{symptom: drop_works, bad: working, well: dead}"}}
	if d := cmp.Diff(want1, turned.HeaderChanges(1)); d != "" { // as a whole: only some maps are added to key by key
		t.Error(d)
	}
	if n := base.Overlays(); n != 5 {
		t.Errorf("%d entries stand for others, not 5", n)
	}
}

// A layer that adds one word to a condition of the shipped rulebase is all that a
// site's own cause needs.
func TestOwnCauseOverShipped(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "own", FS: fstest.MapFS{"own.yaml": {Data: []byte(`
rulebase: {name: own, extends: drop}
causes:
  feed_relay_open: {name: The relay in the feed has not pulled in, part: supply, per_thousand: 2, source: common_practice}
conditions:
  no_volts_at_drop: {changes: true, also_when: feed_relay_open}
`)}}})
	if err != nil {
		t.Fatal(err)
	}
	ref, _ := base.Lookup("no_volts_at_drop")
	read := base.Conditions[ref.Index].When.Reads()
	own, _ := base.Lookup("feed_relay_open")
	if !slices.Contains(read, base.Causes[own.Index].Slot) || len(read) < 3 {
		t.Errorf("it reads %v", read)
	}
}

// Whatever a layer holds, it is laid over whole or not at all, and every entry that
// stands for another says which.
func FuzzLayers(f *testing.F) {
	seeds(f, "testdata/bad/*.txtar")
	f.Add([]byte("conditions: {down: {changes: true, also_when: [hum]}}\nsymptoms: {power_light: {changes: true, shows_first: [{when: down, dark: 1}]}}"))
	f.Add([]byte("on_site: {hum: {called: a, values: {yes: b}}}\ncauses: {fuse_open: {replaces: true}}"))
	f.Fuzz(func(t *testing.T, text []byte) {
		base, err := rulebase.Load(rulebase.Layer{Name: "good", FS: os.DirFS("testdata/good")}, rulebase.Layer{Name: "own", FS: fstest.MapFS{
			"a.yaml": {Data: []byte("rulebase: {name: own, extends: small}\n")}, "b.yaml": {Data: text}}})
		if err != nil {
			return
		}
		for _, e := range base.Entries() {
			if e.Over != nil && (e.Over.Layer >= e.Layer || e.Over.Pos.File == "") {
				t.Fatalf("%+v stands for %+v", e, e.Over)
			}
		}
		base.HeaderChanges(1)
	})
}
