package engine_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// plainRules set what steps read and nothing that is weighed.
const plainRules = `
  told: {when: mode == stop, then: {off: true}, source: made}
  one: {when: mode == run, then: {level: one}, source: made}
  two: {when: mode == stop, then: {level: two}, source: made}
`

// The factor a handbook prints is what a diagnosis does: odds with the value
// seen, over odds without.
func TestTellingIsWhatADiagnosisDoes(t *testing.T) {
	compared := 0
	for seed := range support.Deep(t, 150) {
		_, text := randomRulebase(rand.New(rand.NewPCG(uint64(seed), 91)))
		before, rest, ok := strings.Cut(text, "\nrules:\n")
		_, after, ok2 := strings.Cut(rest, "\ntests:\n")
		if !ok || !ok2 {
			t.Fatal("no rules to take out")
		}
		b, err := load(before + "\nrules:" + plainRules + "tests:\n" + after)
		if err != nil {
			continue // without its rules a condition may read its own negation
		}
		p := engine.Prepare(b)
		told := p.Telling(rulebase.Situation{})
		sure := 1.0
		odds := func(symptom int, value string) []float64 {
			s := rulebase.Situation{}
			if symptom >= 0 {
				s.Findings = []rulebase.Finding{{Symptom: b.Symptoms[symptom].ID, Value: rulebase.Value{Word: value}, Sure: &sure}}
			}
			d := diagnose(t, p, s, engine.Options{})
			all := make([]float64, len(b.Causes))
			for i := range all {
				all[i] = math.NaN()
			}
			for _, c := range d.Causes {
				all[c.Cause] = c.Probability / (1 - c.Probability)
			}
			return all
		}
		start := odds(-1, "")
		for i := range b.Symptoms {
			symptom := &b.Symptoms[i]
			if !told.Weighs(i) || symptom.Banded() {
				continue // a band may have no limits in this session, and is not weighed then
			}
			was, factor := start, func(v, c int) float64 { return told.Factor(i, v, c) }
			if b.Complaint != nil && b.Complaint.Symptom == i { // replaces the complaint: compare value with value
				was = odds(i, symptom.Values[0])
				factor = func(v, c int) float64 { return told.Factor(i, v, c) / told.Factor(i, 0, c) }
			}
			for v, word := range symptom.Values {
				for c, now := range odds(i, word) {
					want, got := now/was[c], factor(v, c)
					if math.IsNaN(want) || math.IsInf(want, 0) || want <= 0 || want > 1e9 || was[c] > 1e6 || was[c] < 1e-6 {
						continue
					}
					compared++
					if !(math.Abs(got-want) <= 1e-6*want) {
						t.Errorf("seed %d: %s %s for %s: factor %v, a diagnosis moves the odds by %v", seed, symptom.ID, word, b.Causes[c].ID, got, want)
					}
				}
			}
		}
	}
	if compared < 1000 {
		t.Errorf("only %d factors were compared", compared)
	}
}

// By hand: two causes, one at a time, nothing outside.
func TestTellingByHand(t *testing.T) {
	b, err := load(`
rulebase: {name: hand, faults_at_most: 1, outside_per_thousand: 0}
givens:
  length: {ask: "How long?", unit: m, range: [1, 100]}
  line: {ask: "Which line?", one_of: [short, long], default: short}
causes:
  a: {name: A, part: unit, per_thousand: 200, source: practice}
  b: {name: B, part: unit, per_thousand: 100, source: practice}
conditions:
  down: {when: b, says: it is down}
symptoms:
  s: {ask: s, values: [x, y], shows: [{when: a, x: 1}, {when: down, x: 0}, {x: 0.5}]}
  t: {ask: t, values: [x, y], shows: [{when: a, x: 0.9}, {when: b, x: 0.3}, {x: 0.5}]}
  far: {ask: far, unit: m, bands: [{near: length}, away]}
rules:
  short_line: {when: line == short, then: {length: 10}, because: x, source: practice}
tests:
  look: {do: Look, yields: [s], minutes: 1}
  look_on: {do: Look on, yields: [t, far], minutes: 1}
  look_twice: {do: Look twice, yields: [t, s], minutes: 1}
sources: {practice: {says: x, kind: practice}}
`)
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	told := p.Telling(rulebase.Situation{})
	// Prior odds 1/4 and 1/9: weights 36, 9 and 4 in 49. Without a: x by half of 36 and none of 4, in 40.
	if got, want := told.Factor(0, 0, 0), 1/(18.0/40); !(math.Abs(got-want) <= 1e-12) {
		t.Errorf("x speaks for a by %v, want %v", got, want)
	}
	if got := told.Factor(0, 0, 1); got != 0 {
		t.Errorf("x excludes b, and has factor %v", got)
	}
	if told.Alone(1, 0, 1) != 0.3 || told.Nothing(1, 0) != 0.5 || told.Weighs(2) {
		t.Error("chances are not those of the rows")
	}
	if len(told.Brings(0)) != 0 || len(told.Brings(1)) != 1 {
		t.Errorf("a brings %v, b %v", told.Brings(0), told.Brings(1))
	}
	if got := told.Apart(&b.Tests[0], 0, 1); !(math.Abs(got-1) <= 1e-12) {
		t.Errorf("look tells a from b by %v bits, want 1", got)
	}
	entropy := func(p float64) float64 { return -p*math.Log2(p) - (1-p)*math.Log2(1-p) }
	want := entropy(0.6) - (entropy(0.9)+entropy(0.3))/2
	if got := told.Apart(&b.Tests[1], 0, 1); !(math.Abs(got-want) <= 1e-12) {
		t.Errorf("look_on tells a from b by %v bits, want %v", got, want)
	}
	if got := told.Apart(&b.Tests[2], 0, 1); !(math.Abs(got-1) <= 1e-12) {
		t.Errorf("look_twice tells a from b by %v bits, want 1", got)
	}
	if got := p.Limits(rulebase.Situation{})[2]; len(got) != 1 || got[0] != 10 {
		t.Errorf("limits %v by default, want 10", got)
	}
	long := rulebase.Situation{Givens: []rulebase.GivenValue{{ID: "line", Value: rulebase.Value{Word: "long"}}}}
	if got := p.Limits(long)[2]; got != nil {
		t.Errorf("limits %v of a line whose length nobody said", got)
	}
}
