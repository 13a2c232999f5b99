package engine

import (
	"cmp"
	"runtime"
	"slices"

	"downdrop/engine/plan"
	"downdrop/rulebase"
)

// How much the planner looks at, where there is more than it can (choices of ours,
// for an answer while somebody waits; measured by BenchmarkNextStep).
const (
	plannedWorlds   = 32 // worlds that are states of their own
	plannedOutcomes = 64 // states that stand for the other worlds with one outcome
	plannedTests    = 24 // tests, those that tell most per minute
)

var plannedWidth = plan.Width{Likely: 4, Telling: 3, Tests: 2, Depth: 2}

// order says what the planner makes of the steps on offer.
func (d *Diagnosis) order(w *weighing, scene *plan.Scene, all []candidate) {
	chosen := w.plannable(d, all)
	if len(chosen) == 0 {
		return
	}
	trials := make([]plan.Trial, len(chosen))
	steps := make([]int, len(chosen))
	for i, c := range chosen {
		trials[i], steps[i] = w.trial(c), i
	}
	m := scene.Model(trials, plannedWorlds, plannedOutcomes)
	width := plannedWidth
	if !w.oneCore {
		width.Cores = min(runtime.GOMAXPROCS(0), 8)
	}
	ranks, _ := m.Ranks(steps, width)
	for _, r := range ranks {
		chosen[r.Step].planned = r
	}
}

// plannable are the steps on offer that the planner looks at: remedies that take
// something away, and the tests that tell most per minute of those whose answer is
// not known yet.
func (w *weighing) plannable(d *Diagnosis, all []candidate) []*candidate {
	var tests, chosen []*candidate
	for i := range all {
		c := &all[i]
		switch {
		case c.refused != nil || c.action == nil:
		case c.remedy >= 0:
			if len(c.action.Takes) > 0 {
				chosen = append(chosen, c)
			}
		case d.Fresh(c.step) && (!c.idle() || len(c.step.PutsRight) > 0):
			tests = append(tests, c)
		}
	}
	slices.SortStableFunc(tests, func(a, b *candidate) int {
		return cmp.Or(cmp.Compare(rounded(b.gain/b.price), rounded(a.gain/a.price)), cmp.Compare(a.step.ID, b.step.ID))
	})
	return append(tests[:min(len(tests), plannedTests)], chosen...)
}

// trial is a candidate as the planner needs it.
func (w *weighing) trial(c *candidate) plan.Trial {
	t := plan.Trial{Action: c.action}
	symptom := 0
	for _, v := range c.action.Views {
		for w.ses.symptoms[c.step.Yields[symptom]] != v.Symptom {
			symptom++
		}
		s := c.step.Yields[symptom]
		t.Sure = append(t.Sure, w.k.sure(s, w.k.s.At))
		t.Once = append(t.Once, c.step.Implied && w.p.base.Symptoms[s].By == rulebase.ByAsking)
	}
	return t
}
