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

// A chart of the shipped rulebase for a silent drop with its power light lit: it
// settles a third of the cases with 200 places, every answer leads somewhere, and the ends add up.
func TestChartOfTheShippedRulebaseSettlesAThird(t *testing.T) {
	base := shipped.Base(t)
	nodes := 40
	switch {
	case testing.Short():
		nodes = 10
	case support.Deep(t, 1) > 1:
		nodes = 200
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	g, err := base.ReadGiven("loss_of_bus=off")
	if err != nil {
		t.Fatal(err)
	}
	lit, err := base.ReadSee("power_light=lit")
	if err != nil {
		t.Fatal(err)
	}
	s.Givens, s.Findings = append(s.Givens, g), append(s.Findings, lit)
	tree, err := engine.Chart(context.Background(), engine.Prepare(base), s, engine.ChartOptions{Nodes: nodes})
	if err != nil {
		t.Fatal(err)
	}
	t.Logf("%d places, settled %.3f, too rare %.3f, cut %.3f, %.0f minutes", tree.Nodes, tree.Settled, tree.TooRare, tree.Cut, tree.Root.Minutes)
	if tree.Nodes > nodes || !(math.Abs(tree.Settled+tree.TooRare+tree.Cut+ends(tree.Root, engine.ChartCannotTell)+ends(tree.Root, engine.ChartImpossible)-1) <= 1e-6) {
		t.Errorf("%d places; the ends do not add up to 1", tree.Nodes)
	}
	if nodes >= 40 && tree.Settled < 0.3 {
		t.Errorf("settled %.3f", tree.Settled)
	}
	var walk func(n *engine.ChartNode)
	walk = func(n *engine.ChartNode) {
		if n.End != engine.ChartGoesOn {
			return
		}
		sum, values := 0.0, 0
		for _, w := range n.Ways {
			sum += w.Chance
			values += len(w.Values)
			walk(w.Node)
		}
		if !(math.Abs(sum-1) <= 1e-6) || len(n.Ways) < 2 && n.Step.Step.Kind == rulebase.KindTest && n.Symptom >= 0 {
			t.Errorf("%s: %d ways of %v together", n.Step.Step.ID, len(n.Ways), sum)
		}
		if n.Symptom >= 0 && values != len(base.Symptoms[n.Symptom].Values) {
			t.Errorf("%s: %d of the %d values of %s lead on", n.Step.Step.ID, values, len(base.Symptoms[n.Symptom].Values), base.Symptoms[n.Symptom].ID)
		}
	}
	walk(tree.Root)
}

func ends(n *engine.ChartNode, end engine.ChartEnd) float64 {
	sum := 0.0
	if n.End == end {
		sum += n.Share
	}
	for _, w := range n.Ways {
		sum += ends(w.Node, end)
	}
	return sum
}

// BenchmarkChartShipped is a whole chart of 12 levels and 200 places.
func BenchmarkChartShipped(b *testing.B) {
	base := shipped.Base(b)
	lit, _ := base.ReadSee("power_light=lit")
	g, _ := base.ReadGiven("loss_of_bus=off")
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Findings: []rulebase.Finding{lit}, Givens: []rulebase.GivenValue{g}}
	p := engine.Prepare(base)
	for b.Loop() {
		if _, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{}); err != nil {
			b.Fatal(err)
		}
	}
}
