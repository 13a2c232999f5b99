package engine_test

import (
	"math"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

func chartOf(t *testing.T, p *engine.Prepared, s rulebase.Situation, o engine.ChartOptions) *engine.ChartTree {
	t.Helper()
	tree, err := engine.Chart(t.Context(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

// walk visits every node with its level.
func walk(n *engine.ChartNode, level int, visit func(n *engine.ChartNode, level int)) {
	visit(n, level)
	for _, w := range n.Ways {
		walk(w.Node, level+1, visit)
	}
}

func shippedStart(t *testing.T, at rulebase.Place) (*engine.Prepared, rulebase.Situation) {
	t.Helper()
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: at, Who: rulebase.Technician}
	for _, see := range []string{"power_light=lit", "drop_works=not_working"} {
		f, err := base.ReadSee(see)
		if err != nil {
			t.Fatal(err)
		}
		s.Findings = append(s.Findings, f)
	}
	return engine.Prepare(base), s
}

// Chances add up, what ends is counted, and no step is taken that is not on offer
// where it is taken; by phone none that could hurt anybody, and no stop of the bus.
func TestChartKeepsToWhatMayBeOffered(t *testing.T) {
	const grave = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown
	for _, at := range []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench} {
		p, s := shippedStart(t, at)
		o := engine.ChartOptions{Levels: 6, Nodes: 25}
		tree := chartOf(t, p, s, o)
		steps, ends := 0, 0.0
		walk(tree.Root, 0, func(n *engine.ChartNode, level int) {
			if n.End != engine.ChartGoesOn {
				ends += n.Share
				if n.Step != nil || len(n.Ways) > 0 {
					t.Errorf("%s: an end of kind %s goes on", at, n.End)
				}
				return
			}
			steps++
			sum := 0.0
			for _, w := range n.Ways {
				sum += w.Chance
				if math.Abs(w.Node.Share-n.Share*w.Chance) > 1e-12 {
					t.Errorf("%s: a way of %s has share %v, want %v", at, n.Step.Step.ID, w.Node.Share, n.Share*w.Chance)
				}
			}
			if math.Abs(sum-1) > 1e-9 {
				t.Errorf("%s: the ways of %s add up to %v", at, n.Step.Step.ID, sum)
			}
			if level >= o.Levels {
				t.Errorf("%s: %s stands at level %d", at, n.Step.Step.ID, level)
			}
			if at == rulebase.Phone && (n.Step.Step.Hazard&grave != 0 || n.Step.Step.Stops == rulebase.StopsBus) {
				t.Errorf("by phone the chart asks for %s", n.Step.Step.ID)
			}
			if n.Goes {
				return // more of a test that was on offer
			}
			offered := false
			for _, next := range n.Diagnosis.Next {
				offered = offered || next.Step == n.Step.Step
			}
			if !offered {
				t.Errorf("%s: %s is not on offer where the chart takes it", at, n.Step.Step.ID)
			}
		})
		if steps != tree.Nodes || steps == 0 || steps > o.Nodes {
			t.Errorf("%s: %d steps, said to be %d", at, steps, tree.Nodes)
		}
		if math.Abs(ends-1) > 1e-9 {
			t.Errorf("%s: the ends add up to %v", at, ends)
		}
	}
}
