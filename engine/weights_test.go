package engine_test

import (
	"math"
	"testing"

	"downdrop/engine"
)

// The weight of a finding is the factor by which it moves the odds of the first
// cause against the second; with one cause at a time and nothing between them it
// is the ratio of their likelihoods, and the product of all is what separates
// the posterior odds from the prior ones (Bayes' rule in odds form).
func TestWeightsAreLikelihoodRatios(t *testing.T) {
	b, err := load(`
rulebase: {name: weights, faults_at_most: 1, outside_per_thousand: 0}
causes:
  a: {name: A, part: unit, per_thousand: 200, source: common_practice}
  b: {name: B, part: unit, per_thousand: 100, source: common_practice}
  c: {name: C, part: unit, per_thousand: 1, source: common_practice}
symptoms:
  s: {ask: s, by: asking, values: [x, y], shows: [{when: a, x: 0.9}, {when: b, x: 0.3}, {x: 0.5}]}
  t: {ask: t, by: asking, values: [x, y], shows: [{when: a, x: 0.2}, {when: b, x: 0.6}, {x: 0.5}]}
rules:
  tells: {when: s == x, then: {seen: true}, rules_out: [], tell: Told., source: common_practice}
`)
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.ReadCase("case", []byte("findings: [{symptom: s, value: x}, {symptom: t, value: x, sure: 0.8}]"))
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	d := diagnose(t, p, s, engine.Options{Weights: true})
	want := map[string]float64{"s": 0.9 / 0.3, "t": (0.8*0.2 + 0.1) / (0.8*0.6 + 0.1)}
	if len(d.Weights) != 2 {
		t.Fatalf("weights %v", d.Weights)
	}
	product := 1.0
	for _, w := range d.Weights {
		if !(math.Abs(w.Factor-want[w.Finding]) <= 1e-12) {
			t.Errorf("%s weighs %v, want %v", w.Finding, w.Factor, want[w.Finding])
		}
		product *= w.Factor
	}
	odds := d.Causes[0].Probability / d.Causes[1].Probability
	if prior := (0.2 / 0.8) / (0.1 / 0.9); !(math.Abs(odds-prior*product) <= 1e-12) {
		t.Errorf("odds %v, prior odds times weights %v", odds, prior*product)
	}
	// Against another cause than the second; the first against itself is against the second.
	for against, want := range map[string]float64{"c": 0.9 / 0.5, "a": 0.9 / 0.3, "": 0.9 / 0.3} {
		d := diagnose(t, p, s, engine.Options{Weights: true, Against: against})
		if got := d.Weights[0].Factor; d.Weights[0].Finding != "s" || !(math.Abs(got-want) <= 1e-12) {
			t.Errorf("against %q s weighs %v, want %v", against, got, want)
		}
	}
	// Any two that are named, whichever is likelier: turned round, each factor is the other's inverse.
	for _, c := range []struct {
		weighed, against string
		want             float64
	}{{"c", "b", 0.5 / 0.3}, {"b", "c", 0.3 / 0.5}, {"b", "", 0.3 / 0.9}, {"b", "b", 0.3 / 0.9}, {"nobody", "c", 0.9 / 0.5}} {
		d := diagnose(t, p, s, engine.Options{Weights: true, Weighed: c.weighed, Against: c.against})
		if got := d.Weights[0].Factor; !(math.Abs(got-c.want) <= 1e-12) {
			t.Errorf("%q against %q: s weighs %v, want %v", c.weighed, c.against, got, c.want)
		}
		if first := b.Causes[d.Weighed[0]].ID; first != c.weighed && c.weighed != "nobody" {
			t.Errorf("%q against %q: weighed is %s", c.weighed, c.against, first)
		}
	}
	// One to which nothing is added gives the same, and nothing continues from it.
	last := diagnose(t, p, s, engine.Options{Weights: true, Last: true})
	if len(last.Weights) != 2 || last.Causes[0] != d.Causes[0] || len(last.Fired) != 1 || b.Rules[last.Fired[0]].ID != "tells" {
		t.Errorf("weights %v, causes %v, fired %v", last.Weights, last.Causes, last.Fired)
	}
	if at, ok := b.Lookup("s"); !ok || last.Known[b.Symptoms[at.Index].Slot].Word != 1 {
		t.Errorf("known %v", last.Known)
	}
	s.Findings = append(s.Findings, s.Findings[0])
	if after := diagnose(t, p, s, engine.Options{Earlier: last}); after.Causes[0] != d.Causes[0] {
		t.Errorf("after one that keeps nothing: %v", after.Causes)
	}
	if d := diagnose(t, p, s, engine.Options{}); d.Weights != nil {
		t.Error("weights that nobody asked for")
	}
}
