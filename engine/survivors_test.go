package engine_test

import (
	"fmt"
	"math"
	"strings"
	"sync"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// The promises here are those that a bug planted on purpose could break without
// any other test noticing.

func mustLoad(t *testing.T, text string) *rulebase.Base {
	t.Helper()
	b, err := load(text)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func caseOf(t *testing.T, b *rulebase.Base, text string) rulebase.Situation {
	t.Helper()
	s, err := b.ReadCase("case", []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

const storms = `
rulebase: {name: storms, faults_at_most: 2, outside_per_thousand: 20}
givens: {storm: {default: false}}
causes:
  a: {name: A, part: unit, per_thousand: 100, source: common_practice, remedy: mend_a, more_likely: [{when: storm, times: 5}]}
  b: {name: B, part: unit, per_thousand: 90, source: common_practice, remedies: [{do: mend_b, helps: 0.6}]}
symptoms:
  s: {ask: s, by: asking, values: [x, y], shows: [{when: a, x: 0.9}, {when: b, x: 0.3}, {x: 0.5}]}
  t: {ask: t, by: asking, values: [x, y], shows: [{when: a, x: 0.2}, {when: b, x: 0.7}, {x: 0.5}]}
remedies:
  mend_a: {do: mend a, minutes: 5, ends_as: adjusted}
  mend_b: {do: mend b, minutes: 5, ends_as: adjusted}
`

// From an earlier diagnosis the answer is the one from nothing, whatever has
// changed since: a given, a finding of an earlier state of work, what was done,
// how sure somebody is.
func TestContinuedIsAsFromNothing(t *testing.T) {
	b := mustLoad(t, storms)
	p := engine.Prepare(b)
	for _, c := range []struct{ before, after string }{
		{"findings: [{symptom: s, value: x}]", "{givens: {storm: true}, findings: [{symptom: s, value: x}]}"},
		{"{givens: {storm: true}}", "{givens: {storm: false}, findings: [{symptom: s, value: x}]}"},
		{"{done: [{id: mend_b}], findings: [{symptom: s, value: x}]}", "{done: [{id: mend_b}], findings: [{symptom: s, value: x}, {symptom: t, value: x}]}"},
		{"{done: [{id: mend_b}], findings: [{symptom: s, value: x}]}", "{done: [{id: mend_a}], findings: [{symptom: s, value: x}]}"},
		{"{done: [{id: mend_b}]}", "{done: [{id: mend_b}, {id: mend_b}]}"},
		{"findings: [{symptom: s, value: x}]", "findings: [{symptom: s, value: x, sure: 0.6}]"},
		{"findings: [{symptom: s, value: x}]", "findings: [{symptom: s, value: y}]"},
		{"findings: [{symptom: s, value: x}]", "findings: [{symptom: t, value: x}]"},
		{"{done: [{id: mend_b}], findings: [{symptom: s, value: x}]}", "{done: [{id: mend_b}], findings: [{symptom: s, value: x}, {symptom: s, value: x, after: mend_b}]}"},
	} {
		earlier := diagnose(t, p, caseOf(t, b, c.before), engine.Options{})
		s := caseOf(t, b, c.after)
		fresh := asAnswer(diagnose(t, p, s, engine.Options{}))
		continued := asAnswer(diagnose(t, p, s, engine.Options{Earlier: earlier}))
		if diff := differences(continued, fresh, true, 1); len(diff) > 0 {
			t.Errorf("%s, then %s: %v", c.before, c.after, diff)
		}
	}
}

// An earlier diagnosis may be continued any number of times: it never changes.
func TestEarlierIsLeftAsItIs(t *testing.T) {
	b := mustLoad(t, storms)
	p := engine.Prepare(b)
	earlier := diagnose(t, p, caseOf(t, b, "{}"), engine.Options{})
	for range 3 {
		for _, text := range []string{"findings: [{symptom: s, value: x}]", "findings: [{symptom: t, value: x}]", "{}"} {
			s := caseOf(t, b, text)
			fresh := asAnswer(diagnose(t, p, s, engine.Options{}))
			continued := asAnswer(diagnose(t, p, s, engine.Options{Earlier: earlier}))
			if diff := differences(continued, fresh, true, 1); len(diff) > 0 {
				t.Errorf("%s: %v", text, diff)
			}
		}
	}
}

// Several goroutines may diagnose with one prepared rulebase, and continue from
// one earlier diagnosis: also from one of which nothing has been asked since
// work was done, and one that nothing listed allows. (The race detector sees
// what the numbers do not.)
func TestManyAtOnce(t *testing.T) {
	b := mustLoad(t, strings.Replace(storms, "symptoms:", "conditions:\n  k: {when: a and not b}\nsymptoms:", 1)+"")
	sharp := mustLoad(t, strings.NewReplacer("outside_per_thousand: 20", "outside_per_thousand: 0",
		"[{when: a, x: 0.9}, {when: b, x: 0.3}, {x: 0.5}]", "[{when: k, y: 1}, {y: 1}]",
		"symptoms:", "conditions:\n  k: {when: a and not b}\nsymptoms:").Replace(storms))
	for _, base := range []*rulebase.Base{b, sharp, mustLoad(t, storms)} {
		p := engine.Prepare(base)
		before := caseOf(t, base, "{done: [{id: mend_b}], findings: [{symptom: s, value: x}]}")
		after := caseOf(t, base, "{done: [{id: mend_b}], findings: [{symptom: s, value: x}, {symptom: s, value: y, after: mend_b}, {symptom: t, value: y, after: mend_b}]}")
		earlier := diagnose(t, p, before, engine.Options{})
		want := asAnswer(diagnose(t, engine.Prepare(base), after, engine.Options{}))
		var group sync.WaitGroup
		for i := range 8 {
			group.Go(func() {
				o := engine.Options{Weights: true}
				if i%2 == 0 {
					o.Earlier = earlier
				}
				if diff := differences(asAnswer(diagnose(t, p, after, o)), want, true, 1); len(diff) > 0 {
					t.Errorf("%v", diff)
				}
			})
		}
		group.Wait()
	}
}

// Odd rulebases and odd situations give an answer whose numbers are numbers.
func TestOddInput(t *testing.T) {
	zero := 0.0
	head := "rulebase: {name: odd, faults_at_most: 7, complaint: {symptom: works, bad: dead, well: fine}}\n"
	works := "  works: {ask: works, values: [fine, dead], shows: [{dead: 0.9}]}\n"
	bases := map[string]string{
		"no causes":             head + "symptoms:\n" + works + "remedies: {m: {do: m, minutes: 0, ends_as: adjusted}}\n",
		"no symptoms":           "rulebase: {name: odd, faults_at_most: 3}\ncauses: {a: {name: A, part: unit, per_thousand: 100, source: common_practice, remedy: m}}\nremedies: {m: {do: m, minutes: 0, ends_as: adjusted}}\n",
		"nothing":               "rulebase: {name: odd}\n",
		"a prior of 0":          head + "causes: {a: {name: A, part: unit, per_thousand: 0, source: common_practice, remedy: m}}\nsymptoms:\n" + works + "remedies: {m: {do: m, minutes: 0, ends_as: unit_out}}\n",
		"no remedies":           head + "causes: {a: {name: A, part: unit, per_thousand: 100, source: common_practice}}\nsymptoms:\n" + works,
		"complaint weighs none": head + "causes: {a: {name: A, part: unit, per_thousand: 100, source: common_practice, remedy: m}}\nsymptoms:\n  works: {ask: works, values: [fine, dead]}\nremedies: {m: {do: m, minutes: 0, ends_as: unit_out}}\n",
		"outside nearly all":    strings.Replace(head, "faults_at_most: 7", "faults_at_most: 7, outside_per_thousand: 999", 1) + "causes: {a: {name: A, part: unit, per_thousand: 999, source: common_practice, remedy: m}}\nsymptoms:\n" + works + "remedies: {m: {do: m, minutes: 0, ends_as: unit_out}}\n",
	}
	value := rulebase.Value{Word: "dead"}
	situations := []rulebase.Situation{
		{},
		{Done: []rulebase.Done{{ID: "m"}, {ID: "m", Drop: rulebase.StillDown}}},
		{Done: []rulebase.Done{{ID: "m", Drop: rulebase.Well}}, Findings: []rulebase.Finding{{Symptom: "works", Value: value, After: "m", Sure: &zero}}},
		{Done: []rulebase.Done{{ID: "a"}, {ID: "nothing_of_the_sort"}}, Findings: []rulebase.Finding{{Symptom: "works", Value: value, After: "not_done"}}},
		{Findings: []rulebase.Finding{{Symptom: "works", Value: value, Sure: &zero}, {Symptom: "works", Value: rulebase.Value{Word: "fine"}, Drop: 9}}},
		{Drop: 3, Findings: []rulebase.Finding{{Symptom: "works", Value: value, Drop: 3}}, Tools: []string{}, Effort: &rulebase.Effort{}},
	}
	for name, text := range bases {
		b := mustLoad(t, text)
		p := engine.Prepare(b)
		var earlier *engine.Diagnosis
		for i, s := range situations {
			d := diagnose(t, p, s, engine.Options{Weights: true, Earlier: earlier})
			numbers := []float64{d.None, d.Outside, d.UnitOut, d.Evidence, d.LeftOut}
			for _, c := range d.Causes {
				numbers = append(numbers, c.Probability, c.Now)
			}
			for _, n := range d.Next {
				numbers = append(numbers, n.ExpectedMinutes, n.GainBits, n.Price)
			}
			for _, w := range d.Weights {
				numbers = append(numbers, w.Factor)
			}
			for _, x := range numbers {
				if math.IsNaN(x) || math.IsInf(x, 0) {
					t.Errorf("%s, situation %d: a number is %v: %s", name, i, x, fmt.Sprint(numbers))
					break
				}
			}
			earlier = d
		}
	}
}
