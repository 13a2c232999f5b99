package engine_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// sureTests is a problem of testdata/checks/testseq_cases.json: one state is true, and
// every test says for sure which of its outcomes the state has.
type sureTests struct {
	ID       string
	Tests    int
	Outcomes int
	Prior    []float64 `json:"prior_float"`
	Cost     []float64
	Outcome  [][]int // by state, by test
	Optimal  float64 `json:"optimal_cost"`
}

// rulebase writes the problem as a rulebase: the first state is that nothing is wrong.
func (x *sureTests) rulebase() string {
	var out strings.Builder
	fmt.Fprintf(&out, "rulebase: {name: ford, faults_at_most: 1, outside_per_thousand: 0, sure: {phone: 1, field: 1, bench: 1}}\ncauses:\n")
	for s := 1; s < len(x.Prior); s++ {
		fmt.Fprintf(&out, "  s%d: {name: s%d, part: other, per_thousand: %.17g, source: common_practice, remedy: fix_s%d}\n", s, s, 1000*x.Prior[s]/(x.Prior[0]+x.Prior[s]), s)
	}
	out.WriteString("symptoms:\n")
	for t := range x.Tests {
		var rows, values []string
		for o := range x.Outcomes {
			values = append(values, fmt.Sprintf("o%d", o))
			var states []string
			for s := 1; s < len(x.Prior); s++ {
				if x.Outcome[s][t] == o && o != x.Outcome[0][t] {
					states = append(states, fmt.Sprintf("s%d", s))
				}
			}
			if len(states) > 0 {
				rows = append(rows, fmt.Sprintf("{when: %s, o%d: 1}", strings.Join(states, " or "), o))
			}
		}
		rows = append(rows, fmt.Sprintf("{o%d: 1}", x.Outcome[0][t]))
		fmt.Fprintf(&out, "  r%d: {ask: test %d, values: [%s], shows: [%s]}\n", t, t, strings.Join(values, ", "), strings.Join(rows, ", "))
	}
	out.WriteString("tests:\n")
	for t := range x.Tests {
		fmt.Fprintf(&out, "  t%d: {do: test %d, yields: [r%d], minutes: %.17g, stops: nothing, hazard: none}\n", t, t, t, x.Cost[t])
	}
	out.WriteString("remedies:\n")
	for s := 1; s < len(x.Prior); s++ {
		fmt.Fprintf(&out, "  fix_s%d: {do: fix %d, minutes: 1, ends_as: adjusted}\n", s, s)
	}
	return out.String()
}

// The published table and fourteen seeded problems of sure tests, whose best expected
// cost was found by exact dynamic programming: a chart to identify proves it, and by
// the default policy comes near it.
func TestChartsOfSureTestsAreTheBest(t *testing.T) {
	text, err := os.ReadFile("../testdata/checks/testseq_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct{ Cases []sureTests }
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	over, worst := 0.0, 0.0
	for _, x := range file.Cases {
		base, err := load(x.rulebase())
		if err != nil {
			t.Fatalf("%s: %v\n%s", x.ID, err, x.rulebase())
		}
		p := engine.Prepare(base)
		tree := chartOf(t, p, rulebase.Situation{At: rulebase.Field}, engine.ChartOptions{Identify: true, Optimal: true, Nodes: 1000, Levels: 50})
		if !tree.Root.Proven || !(math.Abs(tree.Root.Minutes-x.Optimal) <= 1e-9*x.Optimal) {
			t.Errorf("%s: %v minutes, at least %v, proven %t, policy %s; want %v", x.ID, tree.Root.Minutes, tree.Root.Bound, tree.Root.Proven, tree.Policy, x.Optimal)
		}
		usual := chartOf(t, p, rulebase.Situation{At: rulebase.Field}, engine.ChartOptions{Identify: true, Nodes: 1000, Levels: 50}).Root.Minutes/x.Optimal - 1
		over, worst = over+usual/float64(len(file.Cases)), max(worst, usual)
	}
	t.Logf("the default policy takes %.2f%% more on the mean, %.2f%% at worst", 100*over, 100*worst)
	if len(file.Cases) < 15 || over > 0.01 || worst > 0.08 {
		t.Errorf("of %d problems the default policy takes %v more on the mean, %v at worst", len(file.Cases), over, worst)
	}
}
