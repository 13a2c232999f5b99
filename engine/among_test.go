package engine_test

import (
	"context"
	"math"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// One of two values, not known which, weighs as the two weigh together: the chances
// after it are those after each, mixed by how likely each value was.
func TestAmongIsAMixture(t *testing.T) {
	support.Alone(t)
	base := shipped.Base(t)
	p := engine.Prepare(base)
	diagnose := func(f ...rulebase.Finding) *engine.Diagnosis {
		d, err := engine.Diagnose(context.Background(), p, rulebase.Situation{Findings: f}, engine.Options{BeliefOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	looked := 0
	for i := range base.Symptoms {
		s := &base.Symptoms[i]
		if !s.Weighs || s.Independent || len(s.Values) < 3 || s.Banded() {
			continue
		}
		looked++
		word := func(v int) rulebase.Finding {
			return rulebase.Finding{Symptom: s.ID, Value: rulebase.Value{Word: s.Values[v]}}
		}
		a, b := diagnose(word(0)), diagnose(word(2))
		got := diagnose(rulebase.Finding{Symptom: s.ID, Among: []string{s.Values[0], s.Values[2]}})
		if !(math.Abs(got.Evidence-a.Evidence-b.Evidence) <= 1e-9) {
			t.Errorf("%s: evidence %v, not %v + %v", s.ID, got.Evidence, a.Evidence, b.Evidence)
		}
		want := (a.UnitOut*a.Evidence + b.UnitOut*b.Evidence) / (a.Evidence + b.Evidence)
		if !(math.Abs(got.UnitOut-want) <= 1e-9) {
			t.Errorf("%s: unit %v, not %v", s.ID, got.UnitOut, want)
		}
		var all []string
		all = append(all, s.Values...)
		whole, none := diagnose(rulebase.Finding{Symptom: s.ID, Among: all}), diagnose()
		if !(math.Abs(whole.UnitOut-none.UnitOut) <= 1e-9) {
			t.Errorf("%s: any of all values tells something", s.ID)
		}
		if len(got.Conflicts) > 0 {
			t.Errorf("%s: %v", s.ID, got.Conflicts)
		}
	}
	if looked < 30 {
		t.Errorf("only %d symptoms were looked at", looked)
	}
}
