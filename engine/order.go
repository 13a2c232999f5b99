package engine

import (
	"cmp"
	"math"
	"runtime"
	"slices"

	"downdrop/engine/plan"
	"downdrop/rulebase"
)

// The policies that order Next.
const (
	policyRollout  = "rollout"          // one step of rollout over a greedy policy, to a working drop
	policyIdentify = "rollout_identify" // the same, to find out what to do
	policySearch   = "search"           // the best that a search found
	policyOptimal  = "optimal"          // nothing is better, by what the planner can tell apart
)

// How much the planner looks at, where there is more than it can (choices of ours,
// for an answer while somebody waits; measured by BenchmarkNextStep).
const (
	plannedWorlds   = 32 // worlds that are states of their own
	plannedOutcomes = 64 // states that stand for the other worlds with one outcome
	plannedTests    = 24 // tests, those that tell most per minute
)

var plannedWidth = plan.Width{Likely: 4, Telling: 3, Tests: 2, Depth: 2}

// fewSteps is up to how many steps, and twice as many states, a problem is looked at
// as a whole.
const fewSteps = 8

// placesOfSure is how many places a search opens at most whose tests are sure: some ten
// thousand prove thirty of them on as many states.
const placesOfSure = 50_000

// order says what the planner makes of the steps on offer.
func (d *Diagnosis) order(w *weighing, scene *plan.Scene, all []candidate) {
	chosen := w.plannable(d, all)
	d.Policy = policyRollout
	if w.identify {
		d.Policy = policyIdentify
	}
	d.Plan.Stop = true
	if len(chosen) == 0 {
		return
	}
	trials := make([]plan.Trial, len(chosen))
	steps := make([]int, len(chosen))
	for i, c := range chosen {
		trials[i], steps[i] = w.trial(c), i
	}
	m := scene.Model(trials, plannedWorlds, plannedOutcomes)
	if w.identify {
		m.ToIdentify(Settled, Idle)
	}
	width := plannedWidth
	if w.identify && m.Sure() || few(w, m, chosen) && len(m.Weight) <= 2*fewSteps {
		width = plan.Whole
	}
	if !w.oneCore {
		width.Cores = min(runtime.GOMAXPROCS(0), 8)
	}
	ranks, end := m.Ranks(steps, width)
	for _, r := range ranks {
		chosen[r.Step].planned = r
	}
	best := ranks[0]
	d.Plan = Planned{Minutes: min(best.Minutes, end), Stop: !best.Ahead || end <= best.Minutes}
	if d.Plan.Stop && w.identify {
		d.Plan.Minutes = 0
	}
	if w.budget > 0 {
		d.search(w, m, steps, chosen)
	}
}

// few says whether there are few steps. To identify, what would have to be done then
// is none of them.
func few(w *weighing, m *plan.Model, chosen []*candidate) bool {
	if w.identify {
		return len(chosen) <= fewSteps
	}
	return len(m.Steps) <= fewSteps
}

// search looks for the best first step. To identify by tests that are not sure it has
// no bound to go by, and is not tried on more than a few; by sure ones it is quick.
func (d *Diagnosis) search(w *weighing, m *plan.Model, steps []int, chosen []*candidate) {
	budget := w.budget
	switch {
	case w.identify && m.Sure():
		budget = max(budget, placesOfSure)
	case w.identify && !few(w, m, chosen):
		return
	}
	f := plan.Search(m, budget, first(chosen, steps)...)
	d.Policy = policySearch
	if f.Proven() {
		d.Policy = policyOptimal
	}
	d.Plan = Planned{Minutes: f.Upper, Bound: f.Lower, Proven: f.Proven(), Stop: f.Step == plan.Nothing}
	for i, c := range chosen {
		c.planned.Best = i == f.Step
		if c.planned.Best {
			c.planned.Minutes, c.planned.Ahead = f.Upper, true
		}
	}
}

// first are the steps that are on offer now.
func first(chosen []*candidate, steps []int) []int {
	return slices.DeleteFunc(slices.Clone(steps), func(i int) bool { return chosen[i].refused != nil })
}

// plannable are the steps on offer that the planner looks at: remedies that take
// something away, and the tests that tell most per minute of those whose answer is
// not known yet. Where there are few and the best is looked for,
// or what to do, also those that tell nothing by themselves.
func (w *weighing) plannable(d *Diagnosis, all []candidate) []*candidate {
	var tests, chosen []*candidate
	idleToo := (w.identify || w.budget > 0) && len(w.p.base.Tests) <= plannedTests
	for i := range all {
		c := &all[i]
		switch {
		case w.budget > 0 && w.again(d, c):
			chosen = append(chosen, c) // cannot come first, but after work
		case c.refused != nil || c.action == nil:
		case c.remedy >= 0:
			if len(c.action.Takes) > 0 && !w.identify {
				chosen = append(chosen, c)
			}
		case w.identify && len(c.action.Takes) > 0:
		case d.Fresh(c.step) && (idleToo || !c.idle()):
			tests = append(tests, c)
		}
	}
	slices.SortStableFunc(tests, func(a, b *candidate) int {
		return cmp.Or(cmp.Compare(perMinute(b), perMinute(a)), cmp.Compare(a.step.ID, b.step.ID))
	})
	tests = tests[:min(len(tests), plannedTests)]
	slices.SortStableFunc(chosen, func(a, b *candidate) int { return cmp.Compare(a.step.ID, b.step.ID) }) // of two that help as often per minute the first is tried
	return append(tests, d.likeliest(chosen, plan.MostSteps-len(tests))...)
}

// likeliest are at most so many steps: those that take away what is most likely still there. A
// rulebase may have more remedies than a model holds steps; the others stand behind, as what the planner
// did not look at.
func (d *Diagnosis) likeliest(steps []*candidate, most int) []*candidate {
	if len(steps) <= most {
		return steps
	}
	now := map[int]float64{}
	for _, c := range d.Causes {
		now[c.Cause] = c.Now
	}
	takes := func(c *candidate) float64 {
		sum := 0.0
		for _, t := range c.action.Takes {
			sum += float64(t.Chance * now[t.Cause])
		}
		return sum
	}
	slices.SortStableFunc(steps, func(a, b *candidate) int {
		return cmp.Or(cmp.Compare(rounded(takes(b)), rounded(takes(a))), cmp.Compare(a.step.ID, b.step.ID))
	})
	return steps[:most]
}

func perMinute(c *candidate) float64 {
	if c.price == 0 {
		return math.Inf(1)
	}
	return rounded(c.gain / c.price)
}

// again says whether a test is of no use now, all it shows having been seen in this
// state of work, but can be again after work.
func (w *weighing) again(d *Diagnosis, c *candidate) bool {
	if c.step.Kind != rulebase.KindTest || c.action == nil || len(c.action.Takes) > 0 || w.identify {
		return false
	}
	return (c.refused == nil || c.refused.why == WhyKnown) && !d.Fresh(c.step) && !w.once(c.step, c.step.Yields[0])
}

// once says that a test asks for what somebody remembers: work does not change it.
func (w *weighing) once(step *rulebase.Step, symptom int) bool {
	return step.Implied && w.p.base.Symptoms[symptom].By == rulebase.ByAsking
}

// trial is a candidate as the planner needs it.
func (w *weighing) trial(c *candidate) plan.Trial {
	if w.budget > 0 && len(c.action.Takes) == 0 {
		return w.wholeTrial(c)
	}
	t := plan.Trial{Action: c.action, Seen: make([]bool, len(c.action.Views))}
	symptom := 0
	for _, v := range c.action.Views {
		for w.ses.symptoms[c.step.Yields[symptom]] != v.Symptom {
			symptom++
		}
		s := c.step.Yields[symptom]
		t.Sure = append(t.Sure, w.p.base.SureOf(s, w.k.s.At))
		t.Once = append(t.Once, w.once(c.step, s))
	}
	return t
}

// wholeTrial is a test with all that it shows, also what was seen already in this
// state of work.
func (w *weighing) wholeTrial(c *candidate) plan.Trial {
	a := *c.action
	a.Views = nil
	t := plan.Trial{Action: &a}
	for _, s := range c.step.Yields {
		symptom := w.ses.symptoms[s]
		if symptom == nil || w.p.base.Symptoms[s].Banded() && w.k.limits[s] == nil {
			continue
		}
		v := plan.View{Symptom: symptom, Report: -1}
		v.Keeps = w.p.base.Complaint != nil && s == w.p.base.Complaint.Symptom && len(w.k.s.Done) > 0
		a.Views = append(a.Views, v)
		t.Sure = append(t.Sure, w.p.base.SureOf(s, w.k.s.At))
		t.Once = append(t.Once, w.once(c.step, s))
		t.Seen = append(t.Seen, slices.ContainsFunc(w.k.counting, func(r seen) bool {
			return r.symptom == s && (r.value >= 0 || r.among != 0) && (r.state == len(w.k.s.Done) || w.once(c.step, s))
		}))
	}
	return t
}
