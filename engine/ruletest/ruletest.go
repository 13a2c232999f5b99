// Package ruletest runs rule tests: cases that say what a rulebase should make
// of them. It returns what it found and prints nothing.
package ruletest

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"maps"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Result is what became of one case.
type Result struct {
	Case        string
	Pos         rulebase.Position // of the case
	Differences []string          // whole sentences; none: the case passed
	About       string            // the cause that the first difference is about; "": it is about none
	// Diagnosis is without what to do where the case expects nothing of that; of a
	// case that differs it is whole, with the weights of the first cause against About.
	Diagnosis *engine.Diagnosis
}

// Passed says whether everything expected came out.
func (r *Result) Passed() bool { return len(r.Differences) == 0 }

// Expected is where what was expected stands, or else where the case does.
func (r *Result) Expected() rulebase.Position {
	if x := r.Diagnosis.Situation.Expect; x != nil {
		return x.Pos
	}
	return r.Pos
}

// Ranking is a sentence that says which causes came first, or why there are none.
func (r *Result) Ranking() string {
	if !r.Diagnosis.Possible {
		at := slices.IndexFunc(r.Diagnosis.Conflicts, func(x engine.Conflict) bool { return x.Kind == engine.ConflictImpossible })
		if at < 0 {
			return "Nothing listed allows what was found."
		}
		return r.Diagnosis.Conflicts[at].Says
	}
	var parts []string
	for _, b := range r.Diagnosis.Causes[:min(4, len(r.Diagnosis.Causes))] {
		parts = append(parts, fmt.Sprintf("%s %.3g", r.Diagnosis.Base.Causes[b.Cause].ID, b.Probability))
	}
	return fmt.Sprintf("It gave %s; outside %.3g.", strings.Join(parts, ", "), r.Diagnosis.Outside)
}

// Run runs cases against a rulebase, on all cores, and gives the results in the
// order of the cases. A case that expects nothing passes. The error is only ever
// ctx's.
func Run(ctx context.Context, p *engine.Prepared, cases []rulebase.Situation) ([]Result, error) {
	results, errs := make([]Result, len(cases)), make([]error, len(cases))
	var next atomic.Int64
	var bug atomic.Pointer[any]
	var group sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(cases)) {
		group.Go(func() {
			defer func() { // a panic goes on where the caller can catch it
				if x := recover(); x != nil {
					bug.Store(&x)
				}
			}()
			for i := int(next.Add(1)) - 1; i < len(cases); i = int(next.Add(1)) - 1 {
				results[i], errs[i] = runCase(ctx, p, cases[i])
			}
		})
	}
	group.Wait()
	if x := bug.Load(); x != nil {
		panic(*x)
	}
	if err := errors.Join(errs...); err != nil {
		return nil, context.Cause(ctx)
	}
	return results, nil
}

// runCase diagnoses a case. One that differs is diagnosed again, to say what
// spoke for and against.
func runCase(ctx context.Context, p *engine.Prepared, s rulebase.Situation) (Result, error) {
	r := Result{Case: s.Case, Pos: s.Pos}
	var err error
	// All cores are busy with cases; what to do is most of a diagnosis's work.
	o := engine.Options{Last: true, OneCore: true, BeliefOnly: s.Expect == nil || !expectsSteps(s.Expect)}
	if r.Diagnosis, err = engine.Diagnose(ctx, p, s, o); err != nil || s.Expect == nil {
		return r, err
	}
	c := check{d: r.Diagnosis, x: s.Expect}
	c.run()
	if r.Differences, r.About = c.differences, c.about; len(r.Differences) > 0 {
		r.Diagnosis, err = engine.Diagnose(ctx, p, s, engine.Options{Last: true, OneCore: true, Weights: true, Against: r.About})
	}
	return r, err
}

// expectsSteps says that something is expected of what can be offered.
func expectsSteps(x *rulebase.Expectation) bool {
	return x.Next != "" || x.NotOffered != nil || x.GainBits != nil
}

type check struct {
	d           *engine.Diagnosis
	x           *rulebase.Expectation
	differences []string
	about       string
}

// differAbout notes a difference about a cause, or a condition.
func (c *check) differAbout(id, format string, args ...any) {
	if len(c.differences) == 0 && c.place(id) >= 0 {
		c.about = id
	}
	c.differ(format, args...)
}

func (c *check) differ(format string, args ...any) {
	c.differences = append(c.differences, fmt.Sprintf(format, args...))
}

func (c *check) run() {
	c.causes()
	c.steps()
	for _, text := range c.x.Says {
		if !c.says(text) {
			c.differ("Nothing says %q.", text)
		}
	}
	if c.x.Outcome != "" {
		if got := Outcome(c.d); got != c.x.Outcome {
			c.differ("The case would end as %s, expected %s.", got, c.x.Outcome)
		}
	}
	c.numbers()
}

func (c *check) causeID(i int) string { return c.d.Base.Causes[c.d.Causes[i].Cause].ID }

// place is a cause's place in the ranking, from 0; -1 where there is none.
func (c *check) place(id string) int {
	return slices.IndexFunc(c.d.Causes, func(b engine.CauseBelief) bool { return c.d.Base.Causes[b.Cause].ID == id })
}

func (c *check) causes() {
	if c.x.First != "" && (len(c.d.Causes) == 0 || c.causeID(0) != c.x.First) {
		c.differAbout(c.x.First, "%s should come first.", c.x.First)
	}
	for _, n := range slices.Sorted(maps.Keys(c.x.InFirst)) {
		for _, id := range c.x.InFirst[n] {
			if at := c.place(id); at < 0 || at >= n {
				c.differAbout(id, "%s should be in the first %d; it is in place %d.", id, n, at+1)
			}
		}
	}
	for _, id := range slices.Sorted(maps.Keys(c.x.AtLeast)) {
		if p := c.probability(id); p < c.x.AtLeast[id] {
			c.differAbout(id, "%s should have at least %v; it has %.4g.", id, c.x.AtLeast[id], p)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(c.x.AtMost)) {
		if p := c.probability(id); p > c.x.AtMost[id] {
			c.differAbout(id, "%s should have at most %v; it has %.4g.", id, c.x.AtMost[id], p)
		}
	}
}

// probability is that of a cause, or of a condition.
func (c *check) probability(id string) float64 {
	if at := c.place(id); at >= 0 {
		return c.d.Causes[at].Probability
	}
	for _, b := range c.d.Conditions {
		if c.d.Base.Conditions[b.Condition].ID == id {
			return b.Probability
		}
	}
	return 0
}

func (c *check) steps() {
	if c.x.Next != "" && (len(c.d.Next) == 0 || c.d.Next[0].Step.ID != c.x.Next) {
		got := "nothing"
		if len(c.d.Next) > 0 {
			got = c.d.Next[0].Step.ID
		}
		c.differ("The next step should be %s; it is %s. %s", c.x.Next, got, c.whyNotNext())
	}
	for _, id := range c.x.NotOffered {
		if slices.ContainsFunc(c.d.Next, func(p engine.Proposal) bool { return p.Step.ID == id }) {
			c.differ("%s should not be offered, and is.", id)
		}
	}
}

// whyNotNext says why the step that was expected is not the next one.
func (c *check) whyNotNext() string {
	for i := range c.d.NotOffered {
		w := &c.d.NotOffered[i]
		switch {
		case w.Step.ID != c.x.Next:
		case w.Detail == "":
			return fmt.Sprintf("It is not offered (%s).", w.Why)
		default:
			return fmt.Sprintf("It is not offered (%s: %s).", w.Why, w.Detail)
		}
	}
	for i, p := range c.d.Next {
		if p.Step.ID == c.x.Next {
			return fmt.Sprintf("It comes in place %d: with it the case is expected to take %.4g minutes, with %s %.4g.", i+1, p.ExpectedMinutes, c.d.Next[0].Step.ID, c.d.Next[0].ExpectedMinutes)
		}
	}
	return "It is neither offered nor withheld."
}

// says looks for a text, in any capitals, in the advice, the conflicts, and what
// the conditions that are more likely than not say.
func (c *check) says(text string) bool {
	has := func(s string) bool { return strings.Contains(strings.ToLower(s), strings.ToLower(text)) }
	for _, t := range c.d.Tells {
		if has(t.Says) {
			return true
		}
	}
	for _, x := range c.d.Conflicts {
		if has(x.Says) {
			return true
		}
	}
	return slices.ContainsFunc(c.d.Conditions, func(b engine.ConditionBelief) bool {
		return b.Probability >= 0.5 && has(c.d.Base.Conditions[b.Condition].Says)
	})
}

// Outcome is how a case ends as things stand. The format leaves open what one
// word says of many causes; this is how it is read here:
//
//   - outside or nothing_found, where that is likelier than any cause;
//   - where the drop is well: as the work that was done ended the likeliest
//     cause, by the remedy that takes it, or, taken by a test, by its last remedy;
//   - else as the first remedy not yet done would end the cause likeliest to be
//     there now, and escalate where it has none left.
func Outcome(d *engine.Diagnosis) rulebase.Outcome {
	if len(d.Causes) == 0 {
		return rulebase.Escalate
	}
	if engine.IsWell(d) {
		if ended := endedBy(d, d.Causes[0].Cause); ended != "" {
			return ended
		}
	}
	first := slices.MaxFunc(d.Causes, func(a, b engine.CauseBelief) int { return cmp.Compare(a.Now, b.Now) })
	switch {
	case d.Outside > first.Now && d.Outside >= d.None:
		return rulebase.OutsideList
	case d.None > first.Now:
		return rulebase.NothingFound
	case first.Remedy < 0:
		return rulebase.Escalate
	}
	return d.Base.Remedies[first.Remedy].EndsAs
}

// endedBy is how the last piece of work that takes a cause ended it, "" where
// none takes it.
func endedBy(d *engine.Diagnosis, cause int) rulebase.Outcome {
	own := d.Base.Causes[cause].Remedies
	for _, done := range slices.Backward(d.Situation.Done) {
		ref, _ := d.Base.Lookup(done.ID)
		switch ref.Kind {
		case rulebase.KindRemedy:
			r := &d.Base.Remedies[ref.Index]
			its := slices.ContainsFunc(own, func(h rulebase.Helps) bool { return h.Remedy == ref.Index }) || slices.Contains(r.PutsRight, cause)
			if its && !r.Temporary {
				return r.EndsAs
			}
		case rulebase.KindTest:
			if slices.Contains(d.Base.Tests[ref.Index].PutsRight, cause) && len(own) > 0 {
				return d.Base.Remedies[own[len(own)-1].Remedy].EndsAs
			}
		}
	}
	return ""
}

// tolerance is what exact numbers are held to: absolute, and relative for evidence.
const tolerance = 1e-9

func (c *check) numbers() {
	causes, now, conditions, gains := map[string]float64{}, map[string]float64{}, map[string]float64{}, map[string]float64{}
	for i, b := range c.d.Causes {
		causes[c.causeID(i)], now[c.causeID(i)] = b.Probability, b.Now
	}
	for _, b := range c.d.Conditions {
		conditions[c.d.Base.Conditions[b.Condition].ID] = b.Probability
	}
	for _, p := range c.d.Next {
		gains[p.Step.ID] = p.GainBits
	}
	for _, w := range c.d.NotOffered {
		gains[w.Step.ID] = w.GainBits
	}
	c.all("probability", c.x.Causes, causes)
	c.all("probability now", c.x.Now, now)
	c.all("probability", c.x.Conditions, conditions)
	c.all("gain", c.x.GainBits, gains)
	c.one("none", c.x.None, c.d.None, 1)
	c.one("outside", c.x.Outside, c.d.Outside, 1)
	c.one("unit_out", c.x.UnitOut, c.d.UnitOut, 1)
	if c.x.Evidence != nil {
		c.one("evidence", c.x.Evidence, c.d.Evidence, math.Abs(*c.x.Evidence))
	}
	c.top()
}

func (c *check) all(what string, want, got map[string]float64) {
	for _, id := range slices.Sorted(maps.Keys(want)) {
		if g, ok := got[id]; !ok || !(math.Abs(g-want[id]) <= tolerance) {
			c.differ("The %s of %s should be %.12g; it is %.12g.", what, id, want[id], g)
		}
	}
}

func (c *check) one(what string, want *float64, got, scale float64) {
	if want != nil && !(math.Abs(got-*want) <= tolerance*scale) {
		c.differ("%s should be %.12g; it is %.12g.", what, *want, got)
	}
}

// top compares the likeliest set; of sets equally likely any will do.
func (c *check) top() {
	if c.x.Top == nil {
		return
	}
	want := slices.Sorted(slices.Values(c.x.Top.Causes))
	for _, e := range c.d.Explanations {
		ids := make([]string, len(e.Causes))
		for i, cause := range e.Causes {
			ids[i] = c.d.Base.Causes[cause].ID
		}
		slices.Sort(ids)
		if slices.Equal(ids, want) {
			c.one("the likeliest set's probability", &c.x.Top.Probability, e.Probability, 1)
			if c.d.Explanations[0].Probability > e.Probability+tolerance {
				c.differ("The likeliest set should be %v; another is likelier, with %.12g.", want, c.d.Explanations[0].Probability)
			}
			return
		}
	}
	c.differ("The likeliest set should be %v; it is not among the first.", want)
}
