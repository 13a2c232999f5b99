package review_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// reviewed are the kinds found in a rulebase of one file: what loading refuses,
// or what a review finds and no comment accepts.
func reviewed(t *testing.T, s review.Sample) []string {
	t.Helper()
	files := fstest.MapFS{"rules.yaml": {Data: []byte(s.Rules)}}
	if s.Tests != "" {
		files["rules_test.yaml"] = &fstest.MapFile{Data: []byte(s.Tests)}
	}
	var kinds []string
	base, err := rulebase.Load(rulebase.Layer{Name: "sample", FS: files})
	var problems *rulebase.Problems
	if errors.As(err, &problems) {
		for _, p := range problems.List {
			kinds = append(kinds, p.Kind)
		}
		return kinds
	}
	if err != nil {
		t.Fatal(err)
	}
	tests, err := base.RuleTests()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range review.Within(base, tests, review.NoLimit).Found {
		if s.Tests == "" && f.Kind == "no-tests" {
			continue
		}
		if f.Accepted == "" {
			kinds = append(kinds, f.Kind)
			t.Logf("%v", f.Problem)
			if says := f.Says; says != strings.TrimSpace(says) || strings.Contains(says, "  ") || strings.Contains(says+" ", " where ,") || strings.HasSuffix(says, " where") {
				t.Errorf("it says %q", says)
			}
		}
	}
	slices.Sort(kinds)
	return slices.Compact(kinds)
}

// Every kind has a sample with it and one without, which differ in nothing else.
func TestSamplesShowTheirKind(t *testing.T) {
	for _, k := range review.Kinds() {
		t.Run(k.Name, func(t *testing.T) {
			bad, good := k.Samples()
			if bad.Rules == "" || good.Rules == "" {
				t.Fatal("a sample is lacking")
			}
			if got := reviewed(t, bad); !slices.Equal(got, []string{k.Name}) {
				t.Errorf("the bad sample gives %v", got)
			}
			if got := reviewed(t, good); len(got) > 0 {
				t.Errorf("the good sample gives %v", got)
			}
		})
	}
}

// The rule tests of the samples are sound themselves.
func TestRuleTestsOfSamplesPass(t *testing.T) {
	for _, k := range review.Kinds() {
		bad, good := k.Samples()
		for _, s := range []review.Sample{bad, good} {
			base, err := rulebase.Load(rulebase.Layer{Name: "sample", FS: fstest.MapFS{"rules.yaml": {Data: []byte(s.Rules)}, "rules_test.yaml": {Data: []byte(s.Tests)}}})
			if err != nil {
				continue // a sample that does not load, which is its kind
			}
			tests, err := base.RuleTests()
			if err != nil {
				t.Fatal(k.Name, err)
			}
			results, err := ruletest.Run(context.Background(), engine.Prepare(base), tests)
			if err != nil {
				t.Fatal(err)
			}
			for _, r := range results {
				for _, d := range r.Differences {
					t.Errorf("%s, case %s: %s", k.Name, r.Case, d)
				}
			}
		}
	}
}

// The shipped rulebase has no finding that nobody has argued.
func TestShippedRulebaseIsInOrder(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	tests, err := base.RuleTests()
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range review.Within(base, tests, review.NoLimit).Found {
		if f.Accepted == "" {
			t.Errorf("%v", f.Problem)
		}
	}
}

// Which place an entry has in its file changes nothing of what is found.
func TestOrderOfEntriesMakesNoDifference(t *testing.T) {
	for _, k := range review.Kinds() {
		bad, good := k.Samples()
		for what, s := range map[string]review.Sample{"bad": bad, "good": good} {
			turned := s
			turned.Rules = support.EntriesTurned(s.Rules)
			if one, other := reviewed(t, s), reviewed(t, turned); !slices.Equal(one, other) {
				t.Errorf("%s, the %s sample: found %v, with its entries the other way round %v\n%s", k.Name, what, one, other, turned.Rules)
			}
		}
	}
}

// A header that says what the causes of each part weigh says it of all parts: a cause of another one is
// found, one of a part that it weighs is not.
func TestCausesOfAPartThatTheHeaderLeavesOut(t *testing.T) {
	for _, c := range []struct {
		parts string
		want  []string
	}{
		{"", nil},
		{", parts: {line: 150, supply: 100}", nil},
		{", parts: {line: 150}", []string{"fuse is of the part supply, for which the header says no weight"}},
		{", parts: {supply: 100}", []string{"wire is of the part line, for which the header says no weight", "screw is of the part line, for which the header says no weight"}},
		{", parts: {line: 150, supply: 90}", []string{"the causes of the part supply add up to 100 in 1,000, and the header says 90"}},
	} {
		base, err := rulebase.Load(rulebase.Layer{Name: "sample", FS: fstest.MapFS{"rules.yaml": {Data: []byte(`
rulebase: {name: sample` + c.parts + `}
causes:
  wire:  {name: Wire off, part: line, per_thousand: 100, source: common_practice}
  screw: {name: Screw loose, part: line, per_thousand: 50, source: common_practice}
  fuse:  {name: Fuse blown, part: supply, per_thousand: 100, source: common_practice}
`)}}})
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, f := range review.Within(base, nil, review.NoLimit).Found {
			if f.Kind == "parts-do-not-add-up" {
				got = append(got, f.Says)
			}
		}
		if !slices.Equal(got, c.want) {
			t.Errorf("%q: found %q, want %q", c.parts, got, c.want)
		}
	}
}

// A case beside the rules that expects nothing counts neither for nor against those that do.
func TestACaseThatExpectsNothingCountsForNothing(t *testing.T) {
	for _, k := range review.Kinds() {
		if k.Name != "never-first" && k.Name != "never-silent" && k.Name != "rule-untested" {
			continue
		}
		bad, good := k.Samples()
		const nothing = "- case: nothing is expected here\n"
		bad.Tests, good.Tests = nothing+bad.Tests, nothing+good.Tests
		if got := reviewed(t, bad); !slices.Equal(got, []string{k.Name}) {
			t.Errorf("%s: the bad sample gives %v", k.Name, got)
		}
		if got := reviewed(t, good); len(got) > 0 {
			t.Errorf("%s: the good sample gives %v", k.Name, got)
		}
	}
}
