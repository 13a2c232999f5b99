package plan_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/engine/plan"
	"downdrop/testdata/support"
)

// What drawn breakdowns cost by every policy, how their steps rank at any width, what a search opens, and what
// steps may show and cost, is what it was.
func TestPlansStayAsTheyAre(t *testing.T) {
	support.Alone(t)
	var b strings.Builder
	for seed := range uint64(25) {
		m := randomBreakdown(rand.New(rand.NewPCG(seed, 711))).model()
		steps := make([]int, len(m.Steps))
		for i := range steps {
			steps[i] = i
		}
		fmt.Fprintf(&b, "== %d: acting %.6g, greedy %.6g, rollout %.6g\n%s", seed, m.Value(plan.Acting), m.Value(plan.Greedy), m.Value(plan.Rollout), support.Figures(plan.Search(m, 500)))
		for _, w := range []plan.Width{plan.Whole, {Likely: 1}, {Telling: 1}, {Likely: 2, Telling: 1, Tests: 1}, {Tests: 2, Depth: 1}, {Depth: 2}} {
			ranks, end := m.Ranks(steps, w)
			fmt.Fprintf(&b, "%+v: end %.6g", w, end)
			for _, r := range ranks {
				fmt.Fprintf(&b, "; %d %.6g %v %v %v", r.Step, r.Minutes, r.Ahead, r.Best, r.Tells)
			}
			b.WriteString("\n")
		}
	}
	for seed := range uint64(25) {
		r := rand.New(rand.NewPCG(seed, 712))
		s := newScenario(r, 2+r.IntN(4), 1+r.IntN(3), 4)
		scene := plan.New(s.belief, s.system, s.m)
		fmt.Fprintf(&b, "== %d: %.6g bits\n", seed, scene.CallEntropy())
		for i, a := range s.actions(r) {
			gain, call := scene.Gains(a)
			minutes, changes := scene.Minutes(a)
			fmt.Fprintf(&b, "%d: gains %.6g and %.6g, %.6g min, %v %v\n", i, gain, call, minutes, changes, scene.Changes(a))
		}
		for _, least := range []float64{0, 0.01, 0.2} {
			outcomes, outside := scene.Outcomes(least)
			fmt.Fprintf(&b, "from %v: outside %.6g\n%s", least, outside, support.Figures(outcomes))
		}
	}
	support.Kept(t, "drawn.txt", b.String())
}
