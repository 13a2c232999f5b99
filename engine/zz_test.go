package engine_test

import (
	"downdrop/engine"
	"downdrop/rulebase"
	"fmt"
	"testing"
	"time"
)

func TestZZ(t *testing.T) {
	base, _ := rulebase.LoadShipped()
	p := engine.Prepare(base)
	for _, at := range []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench} {
		who := rulebase.Technician
		if at == rulebase.Phone {
			who = rulebase.Operator
		}
		s := rulebase.Situation{At: at, Who: who}
		for _, see := range []string{"power_light=lit", "run_light=dark", "traffic_light=dark"} {
			f, _ := base.ReadSee(see)
			s.Findings = append(s.Findings, f)
		}
		for _, o := range []engine.Options{{}, {Lean: true}, {BeliefOnly: true}} {
			best := time.Hour
			var d *engine.Diagnosis
			for range 9 {
				st := time.Now()
				d = diagnose2(t, p, s, o)
				best = min(best, time.Since(st))
			}
			fmt.Println(at, o.Lean, o.OneCore, o.BeliefOnly, best, d.Work.Hypotheses, len(d.Next))
			if o == (engine.Options{}) {
				for i, x := range d.Next {
					if i < 14 {
						fmt.Printf("   %s price %.1f gain %.3f exp %.0f plan %.1f\n", x.Step.ID, x.Price, x.GainBits, x.ExpectedMinutes, x.Planned)
					}
				}
			}
		}
	}
}
func diagnose2(t *testing.T, p *engine.Prepared, s rulebase.Situation, o engine.Options) *engine.Diagnosis {
	d, err := engine.Diagnose(t.Context(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}
