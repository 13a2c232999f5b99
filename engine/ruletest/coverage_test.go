package ruletest_test

import (
	"context"
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// gapText is a gap in words that do not change when lines move.
func gapText(g *ruletest.Gap) string {
	says := fmt.Sprintf("%s %s", g.Kind, g.ID)
	if g.Row > 0 {
		says += " when " + g.When
	}
	if !g.Speaks {
		says += ": never speaks"
	}
	if !g.Silent {
		says += ": never silent"
	}
	return says
}

func texts(c *ruletest.Coverage) []string {
	all := []string{}
	for i := range c.Gaps {
		all = append(all, gapText(&c.Gaps[i]))
	}
	return all
}

func cover(t *testing.T, base *rulebase.Base, cases []rulebase.Situation) *ruletest.Coverage {
	t.Helper()
	results, err := ruletest.Run(context.Background(), engine.Prepare(base), cases)
	if err != nil {
		t.Fatal(err)
	}
	return ruletest.Cover(base, results, 0)
}

// Every entry of the shipped rulebase speaks in one rule test and is silent in
// another: whoever adds an entry adds its cases.
func TestShippedRulesAreCoveredBothWays(t *testing.T) {
	support.Alone(t)
	results, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	c := ruletest.Cover(results[0].Diagnosis.Base, results, 0)
	for i := range c.Gaps {
		at := c.Gaps[i].Pos
		t.Errorf("%s:%d: %s; add a case beside it (downdrop rulebase test --help says what counts)", at.File, at.Line, gapText(&c.Gaps[i]))
	}
	t.Logf("%d cases cover causes %v, rules %v, rows %v, more_likely %v", c.Cases, c.Causes, c.Rules, c.Rows, c.MoreLikely)
	if c.Causes.Entries < 92 || c.Rows.Entries < 542 {
		t.Errorf("hardly anything was looked for: causes %v, rows %v", c.Causes, c.Rows)
	}
}

const handmade = `
rulebase: {name: hand, complaint: {symptom: works, bad: dead, well: working}}
givens:
  storm: {ask: Was there a storm, default: false}
  old:   {ask: Is it old}
  limit: {ask: Which limit, unit: V, range: [1, 50]}
causes:
  fuse: {name: Fuse blown, part: supply, per_thousand: 50, source: common_practice, remedy: mend, more_likely: [{when: storm, times: 2}, {when: old, times: 3}]}
  wire: {name: Wire off, part: line, per_thousand: 20, source: common_practice, remedy: mend}
  damp: {name: Damp inside, part: line, per_thousand: 20, source: common_practice, remedy: mend}
conditions:
  down: {when: fuse or wire or damp}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: down, dead: 0.99}, {working: 0.99}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse and storm, dark: 0.9}, {when: fuse or wire, dark: 0.8}, {lit: 0.99}]}
  hum:   {ask: Is there a hum, by: looking, combine: independent, values: ["yes", "no"], shows: [{when: fuse, yes: 0.5}, {when: down, yes: 0.3}, {yes: 0.1}]}
  volts: {ask: Which volts, unit: V, bands: [{low: limit}, high], shows: [{when: wire, low: 0.9}, {high: 0.9}]}
  smell: {ask: Does it smell, by: looking, values: ["yes", "no"], shows: [{when: damp, "yes": 0.9}, {"no": 0.9}]}
  seen:  {ask: What was seen, by: looking, values: [water, dust]}
rules:
  water: {when: seen == water, then: {smell: "yes"}, because: It says so., source: common_practice}
  storm_said: {when: storm, tell: Look outside., because: It says so., source: common_practice}
remedies:
  mend: {do: Mend it, minutes: 1, ends_as: adjusted}
`

// By hand: what a handful of cases covers, and what not.
func TestCoverageByHand(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "hand", FS: fstest.MapFS{"hand.yaml": {Data: []byte(handmade)}}})
	if err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		cases string
		want  []string
	}{
		"nothing is expected, so nothing is covered": {`
- findings: [{symptom: light, value: dark}]
`, []string{
			"cause fuse: never speaks: never silent", "cause wire: never speaks: never silent", "cause damp: never speaks: never silent",
			"rule water: never speaks: never silent", "rule storm_said: never speaks: never silent",
			"row works when down: never speaks: never silent", "row works when : never speaks: never silent",
			"row light when fuse and storm: never speaks: never silent", "row light when fuse or wire: never speaks: never silent", "row light when : never speaks: never silent",
			"row hum when fuse: never speaks: never silent", "row hum when down: never speaks: never silent", "row hum when : never speaks",
			"row volts when wire: never speaks: never silent", "row volts when : never speaks: never silent",
			"row smell when damp: never speaks: never silent", "row smell when : never speaks: never silent",
			"more_likely fuse when storm: never speaks: never silent", "more_likely fuse when old: never speaks: never silent",
		}},
		"everything": {`
- {givens: {storm: true, limit: 5}, findings: [{symptom: light, value: dark}, {symptom: hum, value: "yes"}, {symptom: volts, value: 3 V}], expect: {first: fuse, at_most: {wire: 0.49, damp: 0.1}}}
- {givens: {old: true, limit: 5}, findings: [{symptom: light, value: dark}, {symptom: hum, value: "no"}, {symptom: volts, value: low}], expect: {first: wire, at_most: {fuse: 0}}}
- {findings: [{symptom: light, value: dark}, {symptom: smell, value: "no"}], expect: {first: fuse}}
- {findings: [{symptom: light, value: lit}, {symptom: seen, value: water}], expect: {first: damp}}
- {findings: [{symptom: works, value: working}, {symptom: hum, value: "no"}], expect: {top: {causes: [], probability: 1}}}
`, []string{}},
		"a half is not silent; what is another drop's, after work or in no band is no finding; top outranks first": {`
- {drop: 2, givens: {storm: true}, findings: [{symptom: light, value: dark, drop: 5}, {symptom: hum, value: "yes", after: mend}, {symptom: volts, value: 3 V}, {symptom: seen, value: water}], done: [mend], expect: {first: fuse, top: {causes: [wire], probability: 1}, at_most: {fuse: 0.5, wire: 0.3}}}
- {findings: [{symptom: light, value: dark}], expect: {at_most: {damp: 0.1}}}
`, []string{
			"cause fuse: never silent", "cause damp: never speaks",
			"row works when down: never silent", "row works when : never speaks",
			"row light when fuse and storm: never speaks: never silent", "row light when fuse or wire: never speaks: never silent", "row light when : never speaks: never silent",
			"row hum when fuse: never speaks: never silent", "row hum when down: never speaks: never silent", "row hum when : never speaks",
			"row volts when wire: never speaks: never silent", "row volts when : never speaks: never silent",
			"row smell when damp: never speaks: never silent", "row smell when : never speaks: never silent",
			"more_likely fuse when old: never speaks",
		}},
	} {
		cases, err := base.ReadCases("cases", []byte(c.cases))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if diff := cmp.Diff(c.want, texts(cover(t, base, cases))); diff != "" {
			t.Errorf("%s (-want +got):\n%s", name, diff)
		}
	}
}

// Rows by another way: every cause and condition is written into the slots that
// expressions read, conditions are gone through until none changes, and each
// row's tree is walked.
func TestRowsAgreeWithWalkingTheTrees(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	random := rand.New(rand.NewPCG(7, 1))
	var cases []rulebase.Situation
	for range support.Deep(t, 30) {
		cases = append(cases, randomCase(random, base))
	}
	results, err := ruletest.Run(context.Background(), engine.Prepare(base), cases)
	if err != nil {
		t.Fatal(err)
	}
	type row struct{ symptom, row int }
	speaks, silent := map[row]bool{}, map[row]bool{}
	for i := range results {
		d := results[i].Diagnosis
		holds := slowly(base, d.Known, d.Situation.Expect.First)
		seen := []string{base.Symptoms[base.Complaint.Symptom].ID}
		for _, f := range d.Situation.Findings {
			seen = append(seen, f.Symptom)
		}
		for _, id := range seen {
			ref, _ := base.Lookup(id)
			s := &base.Symptoms[ref.Index]
			taken := false
			for j, r := range s.Shows {
				takes := (r.When == nil || holds(r.When.Root)) && (s.Independent || !taken)
				taken = taken || takes
				speaks[row{ref.Index, j}] = speaks[row{ref.Index, j}] || takes
				silent[row{ref.Index, j}] = silent[row{ref.Index, j}] || !takes
			}
		}
	}
	want := map[string]bool{}
	for i := range base.Symptoms {
		for j, r := range base.Symptoms[i].Shows {
			always := r.When == nil && (j == 0 || base.Symptoms[i].Independent)
			if !speaks[row{i, j}] || !silent[row{i, j}] && !always {
				want[fmt.Sprintf("%s %d %v %v", base.Symptoms[i].ID, j+1, speaks[row{i, j}], silent[row{i, j}] || always)] = true
			}
		}
	}
	got := map[string]bool{}
	c := ruletest.Cover(base, results, 0)
	for _, g := range c.Of(ruletest.GapRow) {
		got[fmt.Sprintf("%s %d %v %v", g.ID, g.Row, g.Speaks, g.Silent)] = true
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-slow +fast):\n%s", diff)
	}
	if len(speaks) == 0 || len(want) == c.Rows.Entries || c.Rows.Covered+len(got) != c.Rows.Entries {
		t.Errorf("nothing was compared: %+v", c.Rows)
	}
}

// randomCase has random givens and findings and supposes a random cause.
func randomCase(random *rand.Rand, base *rulebase.Base) rulebase.Situation {
	s := rulebase.Situation{At: []rulebase.Place{"", rulebase.Phone, rulebase.Field, rulebase.Bench}[random.IntN(4)]}
	for i := range base.Givens {
		g := &base.Givens[i]
		if random.IntN(2) == 0 && g.FilledBy == "" {
			switch g.Type {
			case rulebase.Flag:
				s.Givens = append(s.Givens, rulebase.GivenValue{ID: g.ID, Value: rulebase.Value{Word: []string{"true", "false"}[random.IntN(2)]}})
			case rulebase.Choice:
				s.Givens = append(s.Givens, rulebase.GivenValue{ID: g.ID, Value: rulebase.Value{Word: g.OneOf[random.IntN(len(g.OneOf))]}})
			}
		}
	}
	for i := range base.Symptoms {
		x := &base.Symptoms[i]
		if x.Weighs && !x.Banded() && random.IntN(3) == 0 {
			s.Findings = append(s.Findings, rulebase.Finding{Symptom: x.ID, Value: rulebase.Value{Word: x.Values[random.IntN(len(x.Values))]}})
		}
	}
	s.Expect = &rulebase.Expectation{First: base.Causes[random.IntN(len(base.Causes))].ID}
	return s
}

// slowly gives a walk over trees in the world of one cause.
func slowly(base *rulebase.Base, known []rulebase.Slot, cause string) func(*rulebase.Term) bool {
	there := make([]bool, len(base.Names))
	for i, n := range base.Names {
		there[i] = n.Kind == rulebase.KindCause && n.ID == cause
	}
	var holds func(*rulebase.Term) bool
	holds = func(t *rulebase.Term) bool {
		if t.GivensOnly {
			return rulebase.EvalTerm(t, known) == rulebase.True
		}
		switch t.Op {
		case rulebase.OpRead:
			return there[t.Name]
		case rulebase.OpNot:
			return !holds(t.Args[0])
		case rulebase.OpAnd:
			return !slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return !holds(a) })
		}
		return slices.ContainsFunc(t.Args, holds)
	}
	for changed := true; changed; {
		changed = false
		for i := range base.Conditions {
			x := &base.Conditions[i]
			if now := holds(x.When.Root); now != there[x.Slot] {
				there[x.Slot], changed = now, true
			}
		}
	}
	return holds
}

// The results stand in the order of the cases however many cores there are, and a
// run that is interrupted gives none.
func TestRunKeepsOrderAndStops(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "hand", FS: fstest.MapFS{"hand.yaml": {Data: []byte(handmade)}}})
	if err != nil {
		t.Fatal(err)
	}
	var cases []rulebase.Situation
	for i := range 100 {
		cases = append(cases, rulebase.Situation{Case: fmt.Sprint(i)})
	}
	results, err := ruletest.Run(context.Background(), engine.Prepare(base), cases)
	if err != nil {
		t.Fatal(err)
	}
	for i := range results {
		if results[i].Case != fmt.Sprint(i) {
			t.Errorf("result %d is that of case %s", i, results[i].Case)
		}
	}
	func() {
		defer func() {
			if recover() == nil {
				t.Error("a panic was lost")
			}
		}()
		if _, err := ruletest.Run(context.Background(), nil, cases); err != nil {
			t.Error(err)
		}
	}()
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if results, err := ruletest.Run(ctx, engine.Prepare(base), cases); err == nil || results != nil {
		t.Errorf("interrupted: %v, %d results", err, len(results))
	}
}
