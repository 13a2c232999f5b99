package engine_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// A chart never does what may not be done: by phone nothing of motion, mains, spark,
// stored energy or unknown danger and nothing that stops the bus; nothing above the
// person; alone nothing of mains or motion; and whatever is gravely dangerous only
// where no harmless step on offer could still change what to do. Stated again here,
// apart from the engine's own table.
func TestChartsKeepPermission(t *testing.T) {
	base := shipped.Base(t)
	p := engine.Prepare(base)
	nodes, graves := 0, 0
	places := 12
	everywhere := []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}
	if testing.Short() {
		everywhere, places = everywhere[1:2], 5
	}
	deep := support.Deep(t, 1) > 1
	for i, at := range everywhere {
		for j, who := range []rulebase.Who{rulebase.Operator, rulebase.Electrician, rulebase.Engineer} {
			for _, alone := range []bool{false, true} {
				if !deep && alone == ((i+j)%2 == 0) {
					continue // each place and each person with one of the two
				}
				g, _ := base.ReadGiven("loss_of_bus=off")
				s := rulebase.Situation{At: at, Who: who, Alone: alone, Givens: []rulebase.GivenValue{g}}
				tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{Nodes: places})
				if err != nil {
					t.Fatal(err)
				}
				n, met := permitted(t, p, s, tree)
				nodes, graves = nodes+n, graves+met
			}
		}
	}
	t.Logf("%d places, %d of them gravely dangerous", nodes, graves)
	if nodes < 40 && !testing.Short() {
		t.Error("too few places were looked at")
	}
}

// A step of motion tells all in a minute, a harmless look half of it in ten. The look
// comes first wherever it can still change what to do; where it was taken, the step
// is done. Both charts meet it.
func TestChartsWaitForHarmlessSteps(t *testing.T) {
	const waits = `
rulebase: {name: waits, faults_at_most: 1, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
causes:
  wire: {name: Wire off, part: wiring, per_thousand: 100, source: common_practice, remedy: fix_wire}
  load: {name: Load open, part: field_device, per_thousand: 100, source: common_practice, remedy: change_load}
  point: {name: Point dead, part: module, per_thousand: 100, source: common_practice, remedy: change_module}
conditions: {down: {when: wire or load or point}}
symptoms:
  works: {ask: works, values: [fine, dead], shows: [{when: down, dead: 1}, {fine: 1}]}
  seen: {ask: seen, values: [loose, tight], by: looking, shows: [{when: wire, loose: 0.95}, {tight: 0.95}]}
  moved: {ask: moved, values: [no, a_little, yes], by: looking, shows: [{when: wire, no: 0.98}, {when: load, a_little: 0.98}, {yes: 0.98}]}
tests:
  look: {do: Look along the wire, minutes: 10, yields: [seen], at: [field]}
  drive: {do: Drive the point, minutes: 1, yields: [moved], at: [field], hazard: [motion], who: technician, warnings: [clear]}
remedies:
  fix_wire: {do: Fix the wire, minutes: 30, at: [field], ends_as: rewired}
  change_load: {do: Change the load, minutes: 90, at: [field], ends_as: part_replaced}
  change_module: {do: Change the module, minutes: 60, at: [field], ends_as: module_out}
warnings: {clear: {level: danger, says: "Nobody inside the guard.", source: common_practice}}
sources: {common_practice: {says: Common practice, kind: practice}}
`
	b, err := load(waits)
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Confirmed: []string{"clear"}}
	for _, looked := range []bool{false, true} {
		if looked {
			s.Findings = append(s.Findings, rulebase.Finding{Symptom: "seen", Value: rulebase.Value{Word: "tight"}})
		}
		tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{})
		if err != nil {
			t.Fatal(err)
		}
		if _, graves := permitted(t, p, s, tree); graves == 0 {
			t.Errorf("looked %v: the chart never drives the point", looked)
		}
		if first := tree.Root.Step; first == nil || looked != (first.Step.ID == "drive") {
			t.Errorf("looked %v: the chart begins with %v", looked, first)
		}
	}
	// Where nothing else can be done any more and nobody confirmed the warning yet, the place at which the point is
	// driven says that it has to be.
	if b, err = load(strings.ReplaceAll(waits, "at: [field], ends_as", "at: [bench], ends_as")); err != nil {
		t.Fatal(err)
	}
	p, s.Confirmed = engine.Prepare(b), nil
	tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if first := tree.Root.Step; first == nil || first.Step.ID != "drive" || !slices.Equal(tree.Root.Confirm, []string{"clear"}) {
		t.Errorf("nothing is confirmed: it begins with %v, to be confirmed %v", tree.Root.Step, tree.Root.Confirm)
	}
}

// permitted looks a chart over: how many places have a step, and how many of these are
// gravely dangerous.
func permitted(t *testing.T, p *engine.Prepared, s rulebase.Situation, tree *engine.ChartTree) (nodes, graves int) {
	t.Helper()
	const grave = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark
	at, who, alone := s.At, s.Who, s.Alone
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
	return nodes, graves
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
