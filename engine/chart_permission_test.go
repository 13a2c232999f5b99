package engine_test

import (
	"context"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A chart never does what may not be done: by phone nothing of motion, mains, spark,
// stored energy or unknown danger and nothing that stops the bus; nothing above the
// person; alone nothing of mains or motion; and whatever is gravely dangerous only
// where no harmless step on offer could still change what to do. Stated again here,
// apart from the engine's own table.
func TestChartsKeepPermission(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	const grave = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark
	nodes, graves := 0, 0
	places := 30
	everywhere := []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}
	if testing.Short() {
		everywhere, places = everywhere[1:2], 5
	}
	for _, at := range everywhere {
		for _, who := range []rulebase.Who{rulebase.Operator, rulebase.Electrician, rulebase.Engineer} {
			for _, alone := range []bool{false, true} {
				g, _ := base.ReadGiven("loss_of_bus=off")
				s := rulebase.Situation{At: at, Who: who, Alone: alone, Givens: []rulebase.GivenValue{g}}
				tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{Nodes: places})
				if err != nil {
					t.Fatal(err)
				}
				var walk func(n *engine.ChartNode)
				walk = func(n *engine.ChartNode) {
					for _, w := range n.Ways {
						walk(w.Node)
					}
					if n.Step == nil {
						return
					}
					nodes++
					step := n.Step.Step
					say := func(what string) { t.Errorf("%s, %s, alone %v: %s %s", at, who, alone, step.ID, what) }
					if step.Who > who {
						say("is above the person")
					}
					if at == rulebase.Phone && (step.Hazard&(grave|rulebase.HazardStored|rulebase.HazardUnknown) != 0 || step.Stops == rulebase.StopsBus) {
						say("is done by phone")
					}
					if alone && step.Hazard&(rulebase.HazardMains|rulebase.HazardMotion) != 0 {
						say("is done alone")
					}
					if step.Hazard&grave == 0 {
						return
					}
					graves++
					for _, other := range n.Diagnosis.Next {
						if o := other.Step; o.Kind == rulebase.KindTest && o.Hazard == 0 && o.Stops == rulebase.StopsNothing && n.Diagnosis.Fresh(o) && changes(t, p, n.Diagnosis, o) {
							say("comes before the harmless " + o.ID + ", which can change what to do")
							return
						}
					}
				}
				walk(tree.Root)
			}
		}
	}
	t.Logf("%d places, %d of them gravely dangerous", nodes, graves)
	if nodes < 100 && !testing.Short() {
		t.Error("too few places were looked at")
	}
}

// changes says whether some result of a test makes another remedy the first to try: the
// likeliest cause's next one.
func changes(t *testing.T, p *engine.Prepared, d *engine.Diagnosis, test *rulebase.Step) bool {
	t.Helper()
	first := leading(d)
	for _, symptom := range test.Yields {
		for _, value := range d.Base.Symptoms[symptom].Values {
			s := d.Situation.Clone()
			f := rulebase.Finding{Symptom: d.Base.Symptoms[symptom].ID, Value: rulebase.Value{Word: value}}
			if n := len(s.Done); n > 0 {
				f.After = s.Done[n-1].ID
			}
			s.Findings = append(s.Findings, f)
			after, err := engine.Diagnose(context.Background(), p, s, engine.Options{BeliefOnly: true})
			if err != nil {
				t.Fatal(err)
			}
			if after.Possible && leading(after) != first {
				return true
			}
		}
	}
	return false
}

// leading is the remedy of the outcome that is likeliest.
func leading(d *engine.Diagnosis) int {
	weight := map[int]float64{}
	for _, c := range d.Causes {
		weight[c.Remedy] += c.Now
	}
	best := -1
	for r, w := range weight {
		if best < 0 || w > weight[best] || w == weight[best] && r < best {
			best = r
		}
	}
	return best
}
