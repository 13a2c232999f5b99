package review_test

import (
	"context"
	"math"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// An invented rulebase, small enough to be told apart by hand.
const mill = `
rulebase:
  name: mill
  complaint: {symptom: works, bad: dead, well: working}
  sure: {phone: 0.75, field: 1}
givens:
  user_place: {ask: Where are you, one_of: [phone, field, bench], filled_by: at}
  damp_room: {ask: Is the room damp, default: false}
  loss: {ask: What do outputs do, one_of: ["off", hold], filled_by: loss_of_bus}
warnings: {care: {level: warning, says: Take care.}}
causes:
  fuse:  {name: Fuse blown, part: supply, per_thousand: 200, source: common_practice, remedy: new_fuse}
  wire:  {name: Wire off, part: line, per_thousand: 100, source: common_practice, remedy: rewire}
  screw: {name: Screw loose, part: line, per_thousand: 50, source: common_practice, remedy: rewire, more_likely: [{when: damp_room, times: 2}]}
  unit:  {name: Unit dead, part: unit, per_thousand: 100, source: common_practice, remedy: swap}
  ghost: {name: Nothing shows it, part: unit, per_thousand: 20, source: common_practice, remedy: swap}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: fuse or wire or screw or unit, dead: 1}, {working: 1}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: 1}, {lit: 1}]}
  ohms:  {ask: Which ohms, unit: ohm, bands: [{low: 10}, high], shows: [{when: wire or screw, high: 1}, {low: 1}]}
  pull:  {ask: Does it move, values: [moves, firm], shows: [{when: screw, moves: 0.8}, {firm: 1}]}
  smell: {ask: Does it smell, by: asking, values: ["yes", "no"], shows: [{when: unit, yes: 0.6}, {no: 1}]}
  fog:   {ask: Does it fog over, values: ["yes", "no"], shows: [{when: unit, yes: 0.6}, {no: 1}]}
  noise: {ask: Is there a noise, by: asking, values: ["yes", "no"], shows: [{yes: 0.5}]}
tests:
  measure: {do: Measure the ohms, yields: [ohms], minutes: 10, at: [field], needs: [multimeter], stops: drop}
  pull_it: {do: Pull at the wire, yields: [pull], minutes: 3, at: [field], who: technician, hazard: [live], warnings: [care]}
  swap_it: {do: Try another unit, yields: [works], minutes: 20, at: [field, bench], puts_right: [unit], stops: drop}
  damp_it: {do: Breathe on it, yields: [fog], minutes: 1, only_if: damp_room}
remedies:
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
  swap:     {do: Exchange it, minutes: 20, ends_as: unit_out}
`

func millBase(t *testing.T) *rulebase.Base {
	t.Helper()
	b, err := rulebase.Load(rulebase.Layer{Name: "mill", FS: fstest.MapFS{"mill.yaml": {Data: []byte(mill)}}})
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func names(b *rulebase.Base, causes []int) []string {
	ids := []string{}
	for _, c := range causes {
		ids = append(ids, b.Causes[c].ID)
	}
	return ids
}

func TestDistinguishByHand(t *testing.T) {
	b := millBase(t)
	p := engine.Prepare(b)
	type answer struct {
		Tests, Unseen, Useless, Splits []string
		Groups                         [][]string
		Seen, One, OneDo               float64 // by rate
		Minutes                        float64
	}
	for name, c := range map[string]struct {
		s     rulebase.Situation
		right float64
		want  answer
	}{
		// The wire and the screw differ by pulling alone: 0.8 apart, right 9 in 10.
		// A smell is 0.6 apart: right 8 in 10, just enough; in doubt the swap tells.
		"everything is possible": {rulebase.Situation{}, 0.8, answer{
			Tests: []string{"measure", "pull_it", "swap_it", "light", "smell", "noise"}, Unseen: []string{"ghost"}, Useless: []string{"noise"},
			Groups: [][]string{{"fuse"}, {"wire"}, {"screw"}, {"unit"}}, Seen: 450.0 / 470, One: 1, OneDo: 1,
			// The light first (1 minute), then the smell (1), then pulling (3): unit at 2, wire and screw at 5.
			Minutes: (200*1 + 100*2 + 100*5 + 50*5) / 450.0,
		}},
		"right nine times in ten": {rulebase.Situation{}, 0.9, answer{
			Tests: []string{"measure", "pull_it", "swap_it", "light", "smell", "noise"}, Unseen: []string{"ghost"}, Useless: []string{"smell", "noise"},
			Groups: [][]string{{"fuse"}, {"wire"}, {"screw"}, {"unit"}}, Seen: 450.0 / 470, One: 1, OneDo: 1,
			// Light 1, pulling 3, then measuring, at 10 minutes and 5 for the stop, rather than 25 for the swap.
			Minutes: (200*1 + 50*4 + 100*19 + 100*19) / 450.0,
		}},
		// By phone findings are three quarters sure, so only what is 1 apart makes right 7 in 8.
		"by phone": {rulebase.Situation{At: rulebase.Phone}, 0.875, answer{
			Tests: []string{"light", "smell", "noise"}, Unseen: []string{"wire", "screw", "unit", "ghost"}, Useless: []string{"smell", "noise"},
			Groups: [][]string{{"fuse"}}, Seen: 200.0 / 470, One: 1, OneDo: 1, Minutes: 0,
		}},
		"by phone nothing is surer than that": {rulebase.Situation{At: rulebase.Phone}, 0.88, answer{
			Tests: []string{"light", "smell", "noise"}, Unseen: []string{"fuse", "wire", "screw", "unit", "ghost"}, Useless: []string{"light", "smell", "noise"},
		}},
		// An operator does not pull at live wires: wire and screw stay together, and are put right alike.
		"an operator, the room damp": {rulebase.Situation{At: rulebase.Field, Who: rulebase.Operator, Givens: []rulebase.GivenValue{{ID: "damp_room", Value: rulebase.Value{Word: "true"}}}}, 0.8, answer{
			Tests: []string{"measure", "swap_it", "damp_it", "light", "smell", "noise"}, Unseen: []string{"ghost"}, Useless: []string{"noise"},
			Groups: [][]string{{"fuse"}, {"wire", "screw"}, {"unit"}}, Seen: (400.0 + 2000.0/21) / (420.0 + 2000.0/21), One: 300 / (400.0 + 2000.0/21), OneDo: 1,
			Minutes: (200*1 + (200.0+2000.0/21)*2) / (400.0 + 2000.0/21),
		}},
		// Bare hands do not measure, and at the bench nobody pulls.
		"bare hands at the bench": {rulebase.Situation{At: rulebase.Bench, Tools: []string{}}, 0.85, answer{
			Tests: []string{"swap_it", "light", "smell", "noise"}, Unseen: []string{"wire", "screw", "ghost"}, Useless: []string{"smell", "noise"},
			Groups: [][]string{{"fuse"}, {"unit"}}, Seen: 300.0 / 470, One: 1, OneDo: 1, Minutes: 1,
		}},
	} {
		x, err := review.Distinguish(context.Background(), p, c.s, c.right)
		if err != nil {
			t.Fatal(err)
		}
		got := answer{Unseen: names(b, x.Causes.Unseen), Seen: x.Causes.SeenShare.ByRate, One: x.Causes.Isolated(1).ByRate, OneDo: x.Do.Isolated(1).ByRate}
		for _, s := range x.Tests {
			got.Tests = append(got.Tests, s.ID)
		}
		for _, i := range x.Causes.Useless {
			got.Useless = append(got.Useless, x.Tests[i].ID)
		}
		for _, g := range x.Causes.Groups {
			got.Groups = append(got.Groups, names(b, g))
		}
		for _, s := range x.Splits {
			got.Splits = append(got.Splits, s.Step.ID)
		}
		var least bool
		if got.Minutes, least = x.Minutes(x.Causes); !least {
			t.Errorf("%s: the least time is not known", name)
		}
		if diff := cmp.Diff(c.want, got, cmpopts.EquateApprox(0, 1e-9), cmpopts.EquateEmpty()); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// What would split the largest group, and why it is not on offer.
func TestDistinguishNamesWhatWouldSplit(t *testing.T) {
	b := millBase(t)
	for i := range b.Causes { // the screw is put right otherwise, so it has to be told from the wire
		if b.Causes[i].ID == "screw" {
			ref, _ := b.Lookup("new_fuse")
			b.Causes[i].Remedies = []rulebase.Helps{{Remedy: ref.Index, Chance: 1}}
		}
	}
	x, err := review.Distinguish(context.Background(), engine.Prepare(b), rulebase.Situation{At: rulebase.Field, Who: rulebase.Operator}, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	if got := names(b, x.Largest); !slices.Equal(got, []string{"wire", "screw"}) {
		t.Fatalf("the largest group is %v", got)
	}
	if len(x.Splits) != 1 || x.Splits[0].Step.ID != "pull_it" || x.Splits[0].Why != engine.WhyPerson || x.Splits[0].Detail != "technician" || len(x.Splits[0].Leaves) != 2 || !(math.Abs(x.Splits[0].Left-1) <= 1e-9) {
		t.Errorf("split by %+v", x.Splits)
	}
	if one := x.Do.Isolated(1).ByRate; !(math.Abs(one-300.0/450) <= 1e-9) {
		t.Errorf("singled out %v", one)
	}
}

// Of groups as large, the one that is met more often is named, wherever it stands.
func TestDistinguishNamesTheOftenerOfLargestGroups(t *testing.T) {
	cause := func(id, n string) string {
		return "  " + id + ": {name: It is " + id + ", part: vane, per_thousand: " + n + ", source: common_practice}\n"
	}
	seldom, often := cause("ash", "10")+cause("birch", "10"), cause("cedar", "30")+cause("fir", "30")
	for _, causes := range []string{seldom + often, often + seldom} {
		b, err := rulebase.Load(rulebase.Layer{Name: "grove", FS: fstest.MapFS{"grove.yaml": {Data: []byte("rulebase: {name: grove}\ncauses:\n" + causes + `symptoms:
  leaf: {ask: "Are there leaves?", values: [leaves, needles, none], by: looking, shows: [{when: cedar or fir, needles: always}, {when: ash or birch, none: always}, {leaves: always}]}
`)}}})
		if err != nil {
			t.Fatal(err)
		}
		x, err := review.Distinguish(context.Background(), engine.Prepare(b), rulebase.Situation{}, 0.8)
		if err != nil {
			t.Fatal(err)
		}
		if got := names(b, x.Largest); !slices.Equal(got, []string{"cedar", "fir"}) {
			t.Errorf("the largest group is %v", got)
		}
	}
}

// How many are left of the largest group by what would split it is a mean over how often each is met: of three,
// met 10, 20 and 30 times, the look leaves the first alone and the others together, and those are met 50 times of 60.
func TestHowManyASplitLeaves(t *testing.T) {
	b, err := rulebase.Load(rulebase.Layer{Name: "grove", FS: fstest.MapFS{"grove.yaml": {Data: []byte(`
rulebase: {name: grove}
causes:
  ash:   {name: It is an ash, part: vane, per_thousand: 10, source: common_practice, remedy: fell_ash}
  cedar: {name: It is a cedar, part: vane, per_thousand: 20, source: common_practice, remedy: fell_cedar}
  fir:   {name: It is a fir, part: vane, per_thousand: 30, source: common_practice, remedy: fell_fir}
symptoms:
  stands: {ask: "Does a tree stand?", values: ["yes", "no"], by: looking, shows: [{when: ash or cedar or fir, yes: always}, {no: always}]}
  leaf: {ask: "Are there leaves?", values: [leaves, needles], by: looking, shows: [{when: cedar or fir, needles: always}, {leaves: always}]}
tests: {climb: {do: Climb up and look, yields: [leaf], minutes: 10, at: [field], who: engineer}}
remedies:
  fell_ash:   {do: Fell the ash, minutes: 20, ends_as: adjusted}
  fell_cedar: {do: Fell the cedar, minutes: 20, ends_as: adjusted}
  fell_fir:   {do: Fell the fir, minutes: 20, ends_as: adjusted}
`)}}})
	if err != nil {
		t.Fatal(err)
	}
	x, err := review.Distinguish(context.Background(), engine.Prepare(b), rulebase.Situation{At: rulebase.Field, Who: rulebase.Operator}, 0.8)
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Splits) != 1 || x.Splits[0].Step.ID != "climb" || !(math.Abs(x.Splits[0].Left-(10*1+50*2)/60.) <= 1e-9) {
		t.Errorf("split by %+v, of %v", x.Splits, names(b, x.Largest))
	}
}

// Pair by pair, from the rows' own chances, for the shipped rulebase in the field.
func TestDistinguishShippedPairByPair(t *testing.T) {
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	x, err := review.Distinguish(context.Background(), engine.Prepare(b), rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, review.RightAtLeast)
	if err != nil {
		t.Fatal(err)
	}
	if len(x.Tests) < 50 || len(x.Causes.Seen) < len(b.Causes)*9/10 {
		t.Errorf("%d tests see %d of %d causes", len(x.Tests), len(x.Causes.Seen), len(b.Causes))
	}
	for _, s := range x.Tests {
		if len(s.At) > 0 && !slices.Contains(s.At, rulebase.Field) || s.Who > rulebase.Technician {
			t.Errorf("%s is not for a technician in the field", s.ID)
		}
	}
	for _, g := range x.Causes.Groups {
		if len(g) == 1 {
			continue
		}
		for _, f := range g { // each is linked to another of its group
			if !slices.ContainsFunc(g, func(h int) bool { return h != f && !x.Tells(f, h) }) {
				t.Errorf("%s is told from all of its group", b.Causes[f].ID)
			}
		}
	}
	for _, f := range x.Causes.Unseen {
		if x.Tells(f, review.Nothing) {
			t.Errorf("%s is seen", b.Causes[f].ID)
		}
	}
}

// The shipped rulebase in the field: the figures, and the greedy order of tests,
// which is most of it. The floor is one diagnosis, with which it begins.
func BenchmarkDistinguishShipped(b *testing.B) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		b.Fatal(err)
	}
	p, s := engine.Prepare(base), rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	x, err := review.Distinguish(context.Background(), p, s, review.RightAtLeast)
	if err != nil {
		b.Fatal(err)
	}
	b.Run("figures", func(b *testing.B) {
		for b.Loop() {
			if _, err := review.Distinguish(context.Background(), p, s, review.RightAtLeast); err != nil {
				b.Fatal(err)
			}
		}
	})
	b.Run("greedy", func(b *testing.B) {
		for b.Loop() {
			x.Causes.GreedyCost()
		}
	})
	b.Run("floor", func(b *testing.B) {
		for b.Loop() {
			if _, err := engine.Diagnose(context.Background(), p, s, engine.Options{}); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// Which place a cause or a test has in its file changes nothing of what is told apart.
func TestOrderOfEntriesTellsNothingApart(t *testing.T) {
	told := func(text string, s rulebase.Situation, right float64) []any {
		b, err := rulebase.Load(rulebase.Layer{Name: "mill", FS: fstest.MapFS{"mill.yaml": {Data: []byte(text)}}})
		if err != nil {
			t.Fatal(err)
		}
		x, err := review.Distinguish(context.Background(), engine.Prepare(b), s, right)
		if err != nil {
			t.Fatal(err)
		}
		all := []any{math.Round(1e9 * x.Causes.SeenShare.ByRate), math.Round(1e9 * x.Do.Isolated(1).ByRate)}
		for _, groups := range [][][]int{x.Causes.Groups, x.Do.Groups, {x.Causes.Unseen}} {
			var parts [][]string
			for _, g := range groups {
				ids := names(b, g)
				slices.Sort(ids)
				parts = append(parts, ids)
			}
			slices.SortFunc(parts, slices.Compare)
			all = append(all, parts)
		}
		var splits []string
		for _, s := range x.Splits {
			splits = append(splits, s.Step.ID)
		}
		return append(all, splits)
	}
	for _, s := range []rulebase.Situation{{}, {At: rulebase.Phone}, {At: rulebase.Field, Who: rulebase.Operator}, {At: rulebase.Bench, Tools: []string{}}} {
		for _, right := range []float64{0.8, 0.9} {
			if d := cmp.Diff(told(mill, s, right), told(support.EntriesTurned(mill), s, right)); d != "" {
				t.Errorf("%v, right %v: the other way round\n%s", s, right, d)
			}
		}
	}
}

// What would split a group is judged as it would be done where somebody is, if it can be done there, and at
// its own place otherwise. A test that can be done anywhere may need another person.
func TestWhatWouldSplitIsJudgedWhereItIsDone(t *testing.T) {
	for at, want := range map[string]struct {
		from   rulebase.Place
		splits bool
	}{
		"":                       {rulebase.Field, true}, // anywhere, so here
		"at: [phone, field], ":   {rulebase.Field, true},
		"at: [bench, phone], ":   {rulebase.Field, true}, // at the bench, which is as sure
		"at: [phone, bench], ":   {rulebase.Field, false},
		"at: [field, phone], ":   {rulebase.Bench, true},
		"at: [phone, field],   ": {rulebase.Bench, false}, // not here: as by phone, which comes first
	} {
		text := `
rulebase: {name: two, complaint: {symptom: works, bad: dead, well: working}, sure: {phone: 0.6, field: 1, bench: 1}}
givens: {user_place: {ask: Where are you, one_of: [phone, field, bench], filled_by: at}}
causes:
  wire:  {name: Wire off, part: line, per_thousand: 100, source: common_practice, remedy: rewire}
  screw: {name: Screw loose, part: line, per_thousand: 50, source: common_practice, remedy: tighten}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: wire or screw, dead: 1}, {working: 1}]}
  pull:  {ask: Does it move, values: [moves, firm], shows: [{when: screw, moves: 1}, {firm: 1}]}
  hum:   {ask: Is there a hum, by: asking, values: ["yes", "no"], shows: [{when: wire or screw, yes: 1}, {no: 1}]}
tests: {pull_it: {do: Pull at the wire, yields: [pull], minutes: 3, ` + at + `who: engineer}}
remedies:
  rewire:  {do: Rewire it, minutes: 20, ends_as: rewired}
  tighten: {do: Tighten it, minutes: 20, ends_as: adjusted}
`
		b, err := rulebase.Load(rulebase.Layer{Name: "two", FS: fstest.MapFS{"two.yaml": {Data: []byte(text)}}})
		if err != nil {
			t.Fatal(err)
		}
		x, err := review.Distinguish(context.Background(), engine.Prepare(b), rulebase.Situation{At: want.from, Who: rulebase.Operator}, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		if got := len(x.Splits) == 1 && x.Splits[0].Step.ID == "pull_it"; got != want.splits {
			t.Errorf("%q, from %v: it would split: %v", at, want.from, got)
		}
	}
}
