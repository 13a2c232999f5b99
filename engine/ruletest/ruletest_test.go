package ruletest_test

import (
	"context"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/fstest"

	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func run(t *testing.T, p *engine.Prepared, cases []rulebase.Situation) {
	t.Helper()
	results, err := ruletest.Run(context.Background(), p, cases)
	if err != nil {
		t.Fatal(err)
	}
	tell(t, results)
}

func tell(t *testing.T, results []ruletest.Result) {
	t.Helper()
	for _, r := range results {
		for _, d := range r.Differences {
			t.Errorf("%s:%d %s: %s %s", r.Pos.File, r.Pos.Line, r.Case, d, r.Ranking())
		}
	}
}

// shipped runs the rule tests that lie beside the shipped rules, once.
var shipped = sync.OnceValues(func() ([]ruletest.Result, error) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		return nil, err
	}
	cases, err := base.RuleTests()
	if err != nil {
		return nil, err
	}
	return ruletest.Run(context.Background(), engine.Prepare(base), cases)
})

// The rule tests that lie beside the shipped rules.
func TestShippedRules(t *testing.T) {
	support.Alone(t)
	results, err := shipped()
	if err != nil {
		t.Fatal(err)
	}
	tell(t, results)
	files, err := fs.Glob(rulebase.Shipped(), "*_test.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		if !slices.ContainsFunc(results, func(r ruletest.Result) bool { return r.Pos.File == "drop/"+file }) {
			t.Errorf("no case of %s was run", file)
		}
	}
}

// The copies of the checks with known answers: the chest clinic (Lauritzen and
// Spiegelhalter 1988), noisy-or networks in exact arithmetic, and rulebases that
// use everything in the format, answered by an independent implementation.
func TestChecks(t *testing.T) {
	n := 0
	for _, pattern := range []string{"asia/rulebase", "noisy_or/*/rulebase", "features/*/rulebase"} {
		folders, err := filepath.Glob(filepath.Join("../../testdata/checks", pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, folder := range folders {
			base, err := rulebase.LoadFolder(folder)
			if err != nil {
				t.Fatal(err)
			}
			cases := readAll(t, base, filepath.Dir(folder))
			n += len(cases)
			t.Run(folder, func(t *testing.T) { run(t, engine.Prepare(base), cases) })
		}
	}
	if n != 14+11+20 {
		t.Errorf("%d cases were run, want 45", n)
	}
}

func readAll(t *testing.T, base *rulebase.Base, folder string) []rulebase.Situation {
	t.Helper()
	if text, err := os.ReadFile(filepath.Join(folder, "cases.yaml")); err == nil {
		cases, err := base.ReadCases("cases.yaml", text)
		if err != nil {
			t.Fatal(err)
		}
		return cases
	}
	text, err := os.ReadFile(filepath.Join(folder, "case.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := base.ReadCase("case.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return []rulebase.Situation{s}
}

const small = `
rulebase: {name: small, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: working}}
causes:
  fuse: {name: Fuse blown, part: supply, per_thousand: 50, source: common_practice, remedy: new_fuse}
  wire: {name: Wire off, part: line, per_thousand: 20, source: common_practice, remedy: rewire}
conditions: {down: {when: fuse or wire, says: the drop is down}}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: down, dead: always}, {working: always}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: always}, {lit: always}]}
  smell: {ask: Does it smell, values: ["yes", "no"], shows: [{when: wire, "yes": often}, {"no": often}]}
rules:
  hint: {when: light == dark, then: {no_power: true}, tell: Look for the reason first., source: common_practice}
tests: {look: {do: Look, yields: [light], minutes: 2}, sniff: {do: Sniff, yields: [smell], minutes: 1, at: [bench]}}
remedies:
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
`

// Every expectation can fail, and what it says then names what was wrong.
func TestEveryExpectationCanFail(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "small", FS: fstest.MapFS{"small.yaml": {Data: []byte(small)}}})
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	for _, c := range []struct{ expect, says string }{
		{"{first: fuse}", ""}, {"{first: wire}", "wire should come first"},
		{"{in_first: {1: [fuse]}}", ""}, {"{in_first: {1: [wire]}}", "place 2"},
		{"{at_least: {fuse: 0.9}}", ""}, {"{at_least: {wire: 0.9}}", "at least 0.9"},
		{"{at_most: {wire: 0.1}}", ""}, {"{at_most: {fuse: 0.1}}", "at most 0.1"},
		{"{at_least: {down: 0.9}}", ""}, {"{at_most: {down: 0.5}}", "at most 0.5"},
		{"{outcome: part_replaced}", ""}, {"{outcome: rewired}", "end as part_replaced"},
		{"{next: new_fuse}", ""}, {"{next: rewire}", "should be rewire; it is new_fuse. It comes in place"}, {"{next: look}", "It is not offered (known)"}, {"{next: sniff}", "It is not offered (place: bench)"},
		{"{not_offered: [look]}", ""}, {"{not_offered: [rewire]}", "should not be offered"},
		{"{says: [the reason first]}", ""}, {"{says: [drop is down]}", ""}, {"{says: [nonsense]}", `"nonsense"`},
		{"{causes: {fuse: 0.5}}", "probability of fuse should be 0.5"}, {"{now: {fuse: 0.5}}", "probability now"}, {"{conditions: {down: 0.5}}", "of down"},
		{"{none: 0.5}", "none should be"}, {"{outside: 0}", ""}, {"{outside: 0.5}", "outside should be"}, {"{unit_out: 0}", ""}, {"{unit_out: 1}", "unit_out should be"}, {"{evidence: 1}", "evidence should be"},
		{"{top: {causes: [wire], probability: 0.9}}", "likeliest set"}, {"{gain_bits: {look: 0}}", ""}, {"{gain_bits: {look: 1}}", "gain of look"},
	} {
		s, err := base.ReadCase("case", []byte("at: field\nfindings: [{symptom: light, value: dark}]\nexpect: "+c.expect))
		if err != nil {
			t.Fatalf("%s: %v", c.expect, err)
		}
		results, err := ruletest.Run(context.Background(), p, []rulebase.Situation{s})
		if err != nil {
			t.Fatal(err)
		}
		got := strings.Join(results[0].Differences, "\n")
		if c.says == "" && got != "" || c.says != "" && !strings.Contains(got, c.says) {
			t.Errorf("%s: differences %q, want %q in them", c.expect, got, c.says)
		}
	}
}

// Of a case that nothing listed allows the result says which findings do not go together, else what
// came first and by how much.
func TestRanking(t *testing.T) {
	const sure = `
rulebase: {name: sure, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: working}}
causes:
  fuse: {name: Fuse blown, part: supply, per_thousand: 50, source: common_practice, remedy: new_fuse}
  wire: {name: Wire off, part: line, per_thousand: 20, source: common_practice, remedy: rewire}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: fuse or wire, dead: 1}, {working: 1}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: 1}, {lit: 1}]}
remedies:
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
`
	base, err := rulebase.Load(rulebase.Layer{Name: "sure", FS: fstest.MapFS{"sure.yaml": {Data: []byte(sure)}}})
	if err != nil {
		t.Fatal(err)
	}
	for findings, want := range map[string]string{
		"[{symptom: works, value: working, sure: 1}, {symptom: light, value: dark, sure: 1}]": "Nothing listed allows all of this together: works working; light dark.",
		"[{symptom: works, value: dead, sure: 1}, {symptom: light, value: dark, sure: 1}]":    "It gave fuse 1, wire 0.02; outside 0.",
	} {
		s, err := base.ReadCase("case", []byte("findings: "+findings))
		if err != nil {
			t.Fatal(err)
		}
		results, err := ruletest.Run(context.Background(), engine.Prepare(base), []rulebase.Situation{s})
		if err != nil {
			t.Fatal(err)
		}
		if got := results[0].Ranking(); got != want {
			t.Errorf("%s: %q, want %q", findings, got, want)
		}
	}
}
