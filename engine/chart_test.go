package engine_test

import (
	"fmt"
	"math"
	"path/filepath"
	"runtime"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
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
	support.Alone(t)
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
				if !(math.Abs(w.Node.Share-n.Share*w.Chance) <= 1e-12) {
					t.Errorf("%s: a way of %s has share %v, want %v", at, n.Step.Step.ID, w.Node.Share, n.Share*w.Chance)
				}
			}
			if !(math.Abs(sum-1) <= 1e-9) {
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
		if !(math.Abs(ends-1) <= 1e-9) {
			t.Errorf("%s: the ends add up to %v", at, ends)
		}
	}
}

// The published table of Pattipati and Alexandridis 1990: 2.18 tests to know what is
// wrong, when the best is asked for, and by the default policy.
func TestChartIdentifiesThePublishedTable(t *testing.T) {
	base, err := rulebase.LoadFolder("../testdata/checks/sequencing/rulebase")
	if err != nil {
		t.Fatal(err)
	}
	for _, optimal := range []bool{false, true} {
		tree := chartOf(t, engine.Prepare(base), rulebase.Situation{}, engine.ChartOptions{Identify: true, Optimal: optimal, Least: -1})
		if !(math.Abs(tree.Root.Minutes-2.18) <= 1e-9) || !(math.Abs(tree.Settled-1) <= 1e-9) {
			t.Errorf("optimal %t: %v minutes, settled %v, want 2.18 and 1", optimal, tree.Root.Minutes, tree.Settled)
		}
		if optimal && (!tree.Root.Proven || !(math.Abs(tree.Root.Bound-2.18) <= 1e-9) || tree.Policy != "optimal") {
			t.Errorf("bound %v, proven %t, policy %s", tree.Root.Bound, tree.Root.Proven, tree.Policy)
		}
	}
}

// A small invented problem whose tree is proven: what the tree costs, walked way by
// way, is what the search says, and the default policy is not below it.
func TestChartReachesWhatTheSearchProves(t *testing.T) {
	base, err := load(`
rulebase: {name: ford, faults_at_most: 1, outside_per_thousand: 0, give_up_minutes: 120, complaint: {symptom: works, bad: dead, well: fine}, sure: {phone: 1, field: 1, bench: 1}}
causes:
  fuse_open: {name: Fuse open, part: supply, per_thousand: 30, source: common_practice, remedy: new_fuse}
  plug_off: {name: Plug off, part: trunk, per_thousand: 20, source: common_practice, remedy: seat_plug}
  unit_dead: {name: Unit dead, part: unit, per_thousand: 10, source: common_practice, remedy: new_unit}
symptoms:
  works: {ask: "Does it work?", values: [fine, dead], shows: [{when: fuse_open or plug_off or unit_dead, dead: 1}, {fine: 1}]}
  light: {ask: "Is the light lit?", values: [lit, dark], by: looking, shows: [{when: fuse_open, dark: 0.9}, {when: unit_dead, dark: 0.5}, {lit: 0.95}]}
  traffic: {ask: "Is there traffic?", values: [some, none], by: looking, shows: [{when: plug_off, none: 0.95}, {some: 0.6}]}
remedies:
  new_fuse: {do: Fit a fuse, minutes: 12, ends_as: part_replaced, proof: {watch: works, minutes: 2}}
  seat_plug: {do: Seat the plug, minutes: 8, ends_as: adjusted, proof: {watch: works, minutes: 2}}
  new_unit: {do: Exchange the unit, minutes: 40, ends_as: unit_out, proof: {watch: works, minutes: 5}}
`)
	if err != nil {
		t.Fatal(err)
	}
	f, err := base.ReadSee("works=dead")
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{Findings: []rulebase.Finding{f}}
	tree := chartOf(t, engine.Prepare(base), s, engine.ChartOptions{Optimal: true, Least: -1, Levels: 30, Nodes: 5000})
	root := tree.Root
	if !root.Proven || !(math.Abs(root.Minutes-root.Bound) <= 1e-9*root.Bound) || tree.Cut > 0 {
		t.Errorf("the tree costs %v, the search has %v, proven %t, cut %v", root.Minutes, root.Bound, root.Proven, tree.Cut)
	}
	walk(root, 0, func(n *engine.ChartNode, _ int) {
		if n.End == engine.ChartGoesOn && !n.Goes && (!n.Proven || !(math.Abs(n.Minutes-n.Bound) <= 1e-9*n.Bound)) {
			t.Errorf("%s costs %v, the search has %v", n.Step.Step.ID, n.Minutes, n.Bound)
		}
	})
	// Of a tree that was cut nothing is claimed.
	for _, o := range []engine.ChartOptions{{Optimal: true, Least: -1, Nodes: 1}, {Optimal: true, Least: -1, Levels: 1}, {Optimal: true, Least: 0.4}, {Optimal: true, Identify: true, Least: -1, Nodes: 1}} {
		if cut := chartOf(t, engine.Prepare(base), s, o); cut.Cut+cut.TooRare > 0 && cut.Root.Proven || cut.Root.Bound > cut.Root.Minutes*(1+1e-9) {
			t.Errorf("%+v: proven %t, bound %v, %v minutes, of which %v is cut", o, cut.Root.Proven, cut.Root.Bound, cut.Root.Minutes, cut.Cut+cut.TooRare)
		}
	}
	plain := diagnose(t, engine.Prepare(base), s, engine.Options{})
	if plain.Plan.Minutes < root.Bound-1e-9 || plain.Plan.Minutes > 1.02*root.Bound {
		t.Errorf("the default policy expects %v minutes, the best %v", plain.Plan.Minutes, root.Bound)
	}
}

// What a chart says of the best there is is never refuted by itself: no bound is above
// its minutes, and what is proven is whole and reaches its bound. Twenty rulebases that use the whole format.
func TestChartsSayNoMoreThanIsProven(t *testing.T) {
	folders, err := filepath.Glob("../testdata/checks/features/*/rulebase")
	if err != nil || len(folders) < 20 {
		t.Fatalf("%d folders, %v", len(folders), err)
	}
	every := 3
	switch {
	case testing.Short():
		folders = folders[:4]
	case support.Deep(t, 1) > 1:
		every = 1
	}
	proven := 0
	for i := 0; i < len(folders); i += every {
		folder := folders[i]
		base, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, least := range []float64{0, 0.05} { // whole, and with ways cut off
			tree := chartOf(t, engine.Prepare(base), rulebase.Situation{}, engine.ChartOptions{Identify: true, Optimal: true, Least: least, Nodes: 60})
			root := tree.Root
			if root.Bound > root.Minutes*(1+1e-9) {
				t.Errorf("%s: at least %v minutes, yet the chart takes %v", folder, root.Bound, root.Minutes)
			}
			if !root.Proven {
				continue
			}
			proven++
			if tree.Cut > 0 || tree.TooRare > 0 || !(math.Abs(root.Minutes-root.Bound) <= 1e-9*root.Minutes) {
				t.Errorf("%s: proven, but %v is cut, %v too rare, and %v minutes stand against %v", folder, tree.Cut, tree.TooRare, root.Minutes, root.Bound)
			}
		}
	}
	if proven < 5/every && !testing.Short() {
		t.Errorf("only %d are proven", proven)
	}
}

// What is thought about beside a place changes nothing: a chart is the same on one
// core and on many.
func TestChartIsTheSameOnAnyNumberOfCores(t *testing.T) {
	p, s := shippedStart(t, rulebase.Field)
	tell := func(cores int) string {
		defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(cores))
		var out strings.Builder
		tree := chartOf(t, p, s, engine.ChartOptions{Nodes: map[bool]int{true: 10, false: 20}[testing.Short()]})
		walk(tree.Root, 0, func(n *engine.ChartNode, level int) {
			step := ""
			if n.Step != nil {
				step = n.Step.Step.ID
			}
			fmt.Fprintln(&out, level, n.Share, n.End, step, n.Symptom, n.Goes, n.Minutes, len(n.Ways))
		})
		return out.String()
	}
	if one, many := tell(1), tell(5); one != many {
		t.Errorf("on one core:\n%son five:\n%s", one, many)
	}
}

// A chart is trimmed by the place that settles least, until nothing is left of it, and
// adds up all the way.
func TestChartIsTrimmedByWhatSettlesLeast(t *testing.T) {
	support.Alone(t)
	for _, at := range []rulebase.Place{rulebase.Phone, rulebase.Field} {
		p, s := shippedStart(t, at)
		tree := chartOf(t, p, s, engine.ChartOptions{Nodes: 12})
		for tree.Nodes > 0 {
			before, least, loss := tree.Settled, 1.0, 0.0
			var size func(*engine.ChartNode) float64 // every other time all are alike
			if tree.Nodes%2 == 0 {
				size = func(n *engine.ChartNode) float64 { return 1 + float64(len(n.Step.Step.ID)%5) }
			}
			walk(tree.Root, 0, func(n *engine.ChartNode, _ int) {
				settled, last := 0.0, n.Step != nil
				for _, w := range n.Ways {
					last = last && w.Node.Step == nil
					if w.Node.End == engine.ChartWell || w.Node.End == engine.ChartEnough || w.Node.End == engine.ChartNothingWrong || w.Node.End == engine.ChartDisposition && w.Node.Diagnosis.Disposition.Enough {
						settled += w.Node.Share
					}
				}
				by := 1.0
				if last && size != nil {
					by = size(n)
				}
				if last && settled/by < least {
					least, loss = settled/by, settled
				}
			})
			places := tree.Nodes
			if !tree.Trim(size) || tree.Nodes != places-1 {
				t.Fatalf("%s: %d places became %d", at, places, tree.Nodes)
			}
			if !(math.Abs(before-tree.Settled-loss) <= 1e-9) {
				t.Errorf("%s: %v settled became %v, the least loss for its size is %v", at, before, tree.Settled, loss)
			}
			steps, ends := 0, 0.0
			walk(tree.Root, 0, func(n *engine.ChartNode, _ int) {
				if n.Step != nil {
					steps++
				} else {
					ends += n.Share
				}
			})
			if steps != tree.Nodes || !(math.Abs(ends-1) <= 1e-9) {
				t.Errorf("%s: %d steps of %d, ends of %v", at, steps, tree.Nodes, ends)
			}
		}
		if tree.Trim(nil) || tree.Root.Step != nil {
			t.Errorf("%s: something is left", at)
		}
	}
}

// Once enough is known a chart does what the advice says. Answers from which the same follows are one way,
// as likely as they are together: where both a and b mean that it is switched off, that is a third of the
// cases, and what a and b are in the others, counted on paper.
func TestChartDoesWhatTheAdviceSays(t *testing.T) {
	text := strings.NewReplacer("calls, faults", "calls, sure: 1, faults", "[a, b, c]", "[a, b, c, d]", "a: 0.98", "a: 0.49, b: 0.49", "b: 0.98", "c: 0.98", "{c: 0.98}", "{d: 0.98}").Replace(calls)
	b := mustLoad(t, text+"tests: {see: {do: See, minutes: 1, yields: [tells], at: [field]}}\n")
	tree := chartOf(t, engine.Prepare(b), rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, engine.ChartOptions{})
	if tree.Root.Step == nil || tree.Root.Step.Step.ID != "see" {
		t.Fatalf("the chart begins with %+v", tree.Root)
	}
	got := map[string]float64{}
	for _, w := range tree.Root.Ways {
		var values []string
		for _, v := range w.Values {
			values = append(values, b.Symptoms[tree.Root.Symptom].Values[v])
		}
		next := string(w.Node.End)
		if w.Node.Step != nil {
			next = w.Node.Step.Step.ID
		}
		got[strings.Join(values, "+")+" "+next] = w.Chance
	}
	// The 0.02 that a row leaves are shared by the values it does not name: two of them, or three.
	third := func(off, fuse, board float64) float64 { return (off + fuse + board) / 3 }
	other := 0.02 / 3
	want := map[string]float64{"a+b switch_on": third(0.98, 2*other, 2*other), "c replace_fuse": third(0.01, 0.98, other), "d exchange": third(0.01, other, 0.98)}
	for key, p := range want {
		if !(math.Abs(got[key]-p) <= 1e-9) || len(got) != len(want) {
			t.Errorf("%s: %v, want %v of %v", key, got[key], p, got)
		}
	}
}

// Of a test that shows several things the most telling is read first, also where each tells next to nothing
// and only both together are worth the look: of two faults as likely as each other 8 in 100 more of the one
// show dust, and 10 in 100 more of the one hum.
func TestChartReadsTheMostTellingFirst(t *testing.T) {
	b := mustLoad(t, `
rulebase: {name: faint, sure: 1, faults_at_most: 1, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
causes:
  wire: {name: Wire off, part: line, per_thousand: 100, source: common_practice, remedy: fix_wire}
  fuse: {name: Fuse blown, part: supply, per_thousand: 100, source: common_practice, remedy: fix_fuse}
conditions: {down: {when: wire or fuse}}
symptoms:
  dust: {ask: Is there dust, values: ["none", some], by: looking, shows: [{when: wire, some: 0.58}, {some: 0.5}]}
  hum: {ask: Does it hum, values: ["none", some], by: looking, shows: [{when: wire, some: 0.6}, {some: 0.5}]}
  works: {ask: works, values: [fine, dead], shows: [{when: down, dead: 1}, {fine: 1}]}
tests: {look: {do: Look, minutes: 1, yields: [dust, hum], at: [field]}}
remedies:
  fix_wire: {do: Fix the wire, minutes: 30, at: [field], ends_as: rewired}
  fix_fuse: {do: Fix the fuse, minutes: 30, at: [field], ends_as: part_replaced}
sources: {common_practice: {says: Common practice, kind: practice}}
`)
	tree := chartOf(t, engine.Prepare(b), rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, engine.ChartOptions{Identify: true, Least: -1})
	if s := tree.Root.Symptom; s < 0 || b.Symptoms[s].ID != "hum" {
		t.Errorf("the chart begins with %+v", tree.Root)
	}
}
