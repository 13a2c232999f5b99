package engine_test

import (
	"context"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
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
		gain: map[string]float64{}, minutes: map[string]float64{}, price: map[string]float64{}, why: map[string]string{}, remedy: map[string]string{},
		facts: map[string]string{}, conflicts: map[string]bool{}}
	for _, c := range d.Causes {
		id := d.Base.Causes[c.Cause].ID
		a.causes[id], a.now[id] = c.Probability, c.Now
		if c.Remedy >= 0 {
			a.remedy[id] = d.Base.Remedies[c.Remedy].ID
		}
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
	for _, c := range d.Conflicts {
		switch c.Kind {
		case engine.ConflictImpossible:
			a.conflicts[fmt.Sprint("impossible ", len(c.Members))] = true
		case engine.ConflictRules, engine.ConflictLimits, engine.ConflictFindings:
			a.conflicts[string(c.Kind)+" "+c.Members[0]] = true
		}
	}
	for _, f := range d.Facts {
		a.facts[f.ID] = f.Value
	}
	return a
}

// differences lists where two answers differ by more than a tolerance.
func differences(got, want answer, explanations bool, tolerance float64) (all []string) {
	one := func(what string, g, w, scale float64) {
		if !(math.Abs(g-w) <= tolerance*scale) {
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
	if !maps.Equal(got.conflicts, want.conflicts) {
		all = append(all, fmt.Sprintf("conflicts %v, want %v", got.conflicts, want.conflicts))
	}
	if !want.possible {
		return all
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
	for id, r := range want.remedy {
		if got.remedy[id] != r {
			all = append(all, fmt.Sprintf("the remedy of %s is %q, want %q", id, got.remedy[id], r))
		}
	}
	// What is offered; in which order is the planner's, whose own tests stand in engine/plan.
	if g, w := slices.Sorted(slices.Values(got.next)), slices.Sorted(slices.Values(want.next)); !slices.Equal(g, w) {
		all = append(all, fmt.Sprintf("next %v, want %v", g, w))
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
// probability, gain, price, reason and conflict. What the random cases
// must between them bring about is counted, so that none of it goes untried.
func TestEngineAgreesWithTheSlowVersion(t *testing.T) {
	tried := map[string]int{}
	rulebases := 0
	for seed := 0; rulebases < support.Deep(t, 400); seed++ {
		r := rand.New(rand.NewPCG(uint64(seed), 11))
		w, text := randomRulebase(r)
		b, err := load(text)
		if err != nil {
			if seed > 50 && rulebases < seed/2 {
				t.Fatalf("most random rulebases do not load: %v\n%s", err, text)
			}
			continue
		}
		rulebases++
		p := engine.Prepare(b)
		for range 2 {
			file := w.randomCase()
			s, err := b.ReadCase("case", []byte(file))
			if err != nil {
				t.Fatalf("seed %d: %v\n%s", seed, err, file)
			}
			for i := range s.Findings {
				s.Findings[i].Now = w.chance(10) // as a flag on the command line is
			}
			d, want := diagnose(t, p, s, engine.Options{}), slow(b, s)
			if diff := differences(asAnswer(d), want, true, 1e-9); len(diff) > 0 {
				t.Fatalf("seed %d:\n%s\n%s\n%s", seed, strings.Join(diff, "\n"), text, file)
			}
			checkSorted(t, d)
			tally(tried, &want, &s)
		}
	}
	for _, what := range strings.Fields("known done place tools person phone phone_stops alone loss_of_bus only_if unconfirmed harmless well rules limits findings impossible nothing offered test_done twice_done outside") {
		if tried[what] < 5 && !testing.Short() {
			t.Errorf("%s was tried %d times", what, tried[what])
		}
	}
}

// tally counts what a case brought about.
func tally(tried map[string]int, a *answer, s *rulebase.Situation) {
	for _, why := range a.why {
		tried[why]++
	}
	for c := range a.conflicts {
		kind, _, _ := strings.Cut(c, " ")
		tried[kind]++
	}
	if !a.possible {
		tried["nothing"]++
	}
	if a.outside > 0.5 {
		tried["outside"]++
	}
	if len(a.next) > 2 {
		tried["offered"]++
	}
	done := map[string]bool{}
	for _, d := range s.Done {
		if strings.HasPrefix(d.ID, "t") {
			tried["test_done"]++
		}
		if done[d.ID] {
			tried["twice_done"]++
		}
		done[d.ID] = true
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
