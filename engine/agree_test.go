package engine_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func diagnose(t testing.TB, p *engine.Prepared, s rulebase.Situation, o engine.Options) *engine.Diagnosis {
	t.Helper()
	d, err := engine.Diagnose(context.Background(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// asAnswer puts a diagnosis into the slow version's form.
func asAnswer(d *engine.Diagnosis) answer {
	a := answer{possible: d.Possible, none: d.None, outside: d.Outside, unitOut: d.UnitOut, evidence: d.Evidence,
		causes: map[string]float64{}, now: map[string]float64{}, conditions: map[string]float64{}, explanations: map[string]float64{},
		gain: map[string]float64{}, minutes: map[string]float64{}, price: map[string]float64{}, why: map[string]string{}, facts: map[string]string{}}
	for _, c := range d.Causes {
		a.causes[d.Base.Causes[c.Cause].ID], a.now[d.Base.Causes[c.Cause].ID] = c.Probability, c.Now
	}
	for _, c := range d.Conditions {
		a.conditions[d.Base.Conditions[c.Condition].ID] = c.Probability
	}
	for _, e := range d.Explanations {
		set := map[string]bool{}
		for _, c := range e.Causes {
			set[d.Base.Causes[c].ID] = true
		}
		a.explanations[setText(set)] = e.Probability
	}
	for _, n := range d.Next {
		id := n.Step.ID
		a.gain[id], a.minutes[id], a.price[id], a.why[id] = n.GainBits, n.ExpectedMinutes, n.Price, ""
		a.next = append(a.next, id)
	}
	for _, n := range d.NotOffered {
		a.gain[n.Step.ID], a.why[n.Step.ID] = n.GainBits, string(n.Why)
	}
	for _, f := range d.Facts {
		a.facts[f.ID] = f.Value
	}
	return a
}

// differences lists where two answers differ.
func differences(got, want answer, explanations bool) (all []string) {
	one := func(what string, g, w, scale float64) {
		if !(math.Abs(g-w) <= 1e-9*scale) {
			all = append(all, fmt.Sprintf("%s: %.15g, want %.15g", what, g, w))
		}
	}
	many := func(what string, g, w map[string]float64, scale float64) {
		for _, k := range sortedKeys(w) {
			one(what+" "+k, g[k], w[k], scale)
		}
		for _, k := range sortedKeys(g) {
			if _, ok := w[k]; !ok {
				one(what+" "+k, g[k], 0, scale)
			}
		}
	}
	if got.possible != want.possible {
		return []string{fmt.Sprintf("possible %v, want %v", got.possible, want.possible)}
	}
	if !want.possible {
		return nil
	}
	many("cause", got.causes, want.causes, 1)
	many("now", got.now, want.now, 1)
	many("condition", got.conditions, want.conditions, 1)
	many("gain", got.gain, want.gain, 1)
	one("none", got.none, want.none, 1)
	one("outside", got.outside, want.outside, 1)
	one("unit_out", got.unitOut, want.unitOut, 1)
	one("evidence", got.evidence, want.evidence, want.evidence)
	for _, id := range got.next {
		one("minutes of "+id, got.minutes[id], want.minutes[id], math.Max(1, want.minutes[id]))
		one("price of "+id, got.price[id], want.price[id], 1)
	}
	for _, id := range sortedKeys(want.why) {
		if got.why[id] != want.why[id] {
			all = append(all, fmt.Sprintf("%s is refused as %q, want %q", id, got.why[id], want.why[id]))
		}
	}
	if !slices.Equal(got.next, want.next) {
		all = append(all, fmt.Sprintf("next %v, want %v", got.next, want.next))
	}
	if explanations {
		for k, p := range got.explanations {
			one("explanation "+k, p, want.explanations[k], 1)
		}
	}
	for k, v := range want.facts {
		if got.facts[k] != v {
			all = append(all, fmt.Sprintf("fact %s is %q, want %q", k, got.facts[k], v))
		}
	}
	return all
}

// The engine agrees with the slow version on random rulebases and cases: every
// probability, gain, price, reason and order.
func TestEngineAgreesWithTheSlowVersion(t *testing.T) {
	tried := 0
	for seed := 0; tried < support.Deep(t, 200); seed++ {
		r := rand.New(rand.NewPCG(uint64(seed), 11))
		w, text := randomRulebase(r)
		b, err := load(text)
		if err != nil {
			if seed < 40 {
				t.Logf("seed %d: %v", seed, err)
			}
			if seed > 50 && tried < seed/3 {
				t.Fatalf("most random rulebases do not load: %v\n%s", err, text)
			}
			continue
		}
		tried++
		p := engine.Prepare(b)
		for range 2 {
			file := w.randomCase()
			s, err := b.ReadCase("case", []byte(file))
			if err != nil {
				t.Fatalf("seed %d: %v\n%s", seed, err, file)
			}
			d := diagnose(t, p, s, engine.Options{})
			if diff := differences(asAnswer(d), slow(b, s), true); len(diff) > 0 {
				t.Fatalf("seed %d:\n%v\n%s\n%s", seed, diff, text, file)
			}
			checkSorted(t, d)
		}
	}
}

// checkSorted holds the order of lists: by falling probability or gain, then id.
func checkSorted(t *testing.T, d *engine.Diagnosis) {
	t.Helper()
	for i := 1; i < len(d.Causes); i++ {
		a, b := d.Causes[i-1], d.Causes[i]
		if x, y := twelve(a.Probability), twelve(b.Probability); x < y || x == y && d.Base.Causes[a.Cause].ID > d.Base.Causes[b.Cause].ID {
			t.Errorf("causes are not in order: %v before %v", a, b)
		}
	}
	for i := 1; i < len(d.Explanations); i++ {
		if twelve(d.Explanations[i-1].Probability) < twelve(d.Explanations[i].Probability) {
			t.Errorf("explanations are not in order")
		}
	}
}
