package review

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"downdrop/engine"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// RightAtLeast is how often somebody is right who has to say from one symptom
// which of two causes it is, both equally likely beforehand, for the symptom to
// tell them apart, where nothing else is asked for.
const RightAtLeast = 0.8

// A Distinction is how well the tests that are on offer at a place tell the
// causes of a rulebase apart, each cause present alone.
//
// What a symptom shows under a cause, or where nothing is wrong, is a
// distribution. It tells two of them apart if whoever has to say from what was
// seen which of the two it is, both equally likely beforehand, is right at least
// so often ([RightAtLeast]): that is (1 + s·d)/2, with d the largest difference
// that the two give to any event (total variation), and s how sure a finding of
// the symptom is at the place. A test tells two apart if a symptom that it
// yields does, each by itself; or if it puts one of them right and not the other,
// and the drop's coming back shows it. The complaint itself tells nothing: it is
// known. Readings count as if the limits of their bands were known. The rate of a
// cause is its prior under the givens. A test costs its minutes and those for
// what it stops.
//
// A test is on offer if the place, the person, the tools and the phone allow it,
// and its condition is not known to fail. That the outputs' state on loss of bus
// has to be asked first, that warnings must be confirmed and that harmless steps
// come first does not count against it: none of these is of the place.
type Distinction struct {
	Base      *rulebase.Base
	Situation rulebase.Situation
	Right     float64
	Tests     []*rulebase.Step // on offer
	Causes    *Testability     // faults are causes by place in Base.Causes, tests by place in Tests
	Do        *Testability     // the same, but causes with the same remedies need not be told apart
	Largest   []int            // causes: the group with the most different remedies to try; nil where no group has two
	Splits    []Split          // what would split it, best first, and is not on offer
}

// A Split is a test that is not on offer and would split a group.
type Split struct {
	engine.Withheld
	Leaves [][]int // of the group, for each cause that may be there; what is left alike stands here once
	Left   float64 // how many causes are left, on the mean
}

// Distinguish works out how well a rulebase tells things apart in a situation, of
// which place, person, tools and givens count. The error is only ever ctx's.
func Distinguish(ctx context.Context, p *engine.Prepared, s rulebase.Situation, right float64) (*Distinction, error) {
	base := p.Base()
	s = rulebase.Situation{At: s.At, Who: s.Who, Tools: s.Tools, Alone: s.Alone, Givens: s.Givens, Effort: s.Effort}
	asked := s
	for i := range base.Warnings {
		asked.Confirmed = append(asked.Confirmed, base.Warnings[i].ID)
	}
	d, err := engine.Diagnose(ctx, p, asked, engine.Options{Last: true})
	if err != nil {
		return nil, err
	}
	x := &Distinction{Base: base, Situation: s, Right: right}
	var off []engine.Withheld
	for i := range base.Tests {
		t := &base.Tests[i]
		at := slices.IndexFunc(d.NotOffered, func(w engine.Withheld) bool { return w.Step == t })
		if at < 0 || momentary(d.NotOffered[at].Why) && !fails(t, d.Known) {
			x.Tests = append(x.Tests, t)
		} else if ofThePlace(d.NotOffered[at].Why) && !fails(t, d.Known) {
			off = append(off, d.NotOffered[at])
		}
	}
	v := newViews(base, d.Known, right)
	t := v.table(x.Tests, s)
	x.Causes = t.Testability()
	x.Do = t.With(outcomes(base)).Testability()
	x.split(v, off)
	return x, nil
}

// momentary are the reasons to withhold a test that pass at the place itself.
func momentary(why engine.Why) bool {
	return slices.Contains([]engine.Why{engine.WhyHarmless, engine.WhyUnconfirmed, engine.WhyLossOfBus, engine.WhyOnlyIf}, why)
}

// ofThePlace are the reasons that another place, person or tool would lift.
func ofThePlace(why engine.Why) bool {
	return slices.Contains([]engine.Why{engine.WhyPlace, engine.WhyTools, engine.WhyPerson, engine.WhyPhone, engine.WhyPhoneStops, engine.WhyAlone}, why)
}

func fails(t *rulebase.Step, known []rulebase.Slot) bool {
	return t.OnlyIf != nil && t.OnlyIf.Eval(known) == rulebase.False
}

// outcomes numbers causes by the list of their remedies.
func outcomes(b *rulebase.Base) []int {
	numbers := map[string]int{}
	all := make([]int, len(b.Causes))
	for i := range b.Causes {
		key := fmt.Sprint(remedies(&b.Causes[i]))
		if len(b.Causes[i].Remedies) == 0 {
			key = "cause " + b.Causes[i].ID
		}
		if _, known := numbers[key]; !known {
			numbers[key] = len(numbers)
		}
		all[i] = numbers[key]
	}
	return all
}

// views is what every symptom shows of no cause and of each cause alone.
type views struct {
	b        *rulebase.Base
	known    []rulebase.Slot
	distance float64 // total variation from which on two are apart
	s        setting
}

func newViews(b *rulebase.Base, known []rulebase.Slot, right float64) *views {
	v := &views{b: b, known: known, distance: 2*right - 1 - slack}
	v.s.settle(b, engine.Suppose(b, known), hypothesis.Enumerate(len(b.Causes), 1).Ready())
	return v
}

func (v *views) table(tests []*rulebase.Step, s rulebase.Situation) *Table {
	t := &Table{}
	for c := range v.b.Causes {
		t.Rate = append(t.Rate, v.rate(c))
	}
	effort := v.b.Effort
	if s.Effort != nil {
		effort = *s.Effort
	}
	for _, step := range tests {
		t.Cost = append(t.Cost, effort.Price(step))
	}
	t.Apart = func(test, f, g int) bool { return v.tells(tests[test], s.At, f, g) }
	return t
}

// rate is a cause's prior under the givens.
func (v *views) rate(cause int) float64 {
	c := &v.b.Causes[cause]
	odds := c.Prior / (1 - c.Prior)
	for _, l := range c.MoreLikely {
		if l.When.Eval(v.known) == rulebase.True {
			odds *= l.Times
		}
	}
	return odds / (1 + odds)
}

// tells says that a test tells two causes apart, or one from Nothing.
func (v *views) tells(t *rulebase.Step, at rulebase.Place, f, g int) bool {
	c := v.b.Complaint
	for _, symptom := range t.Yields {
		if !v.b.Symptoms[symptom].Weighs || c != nil && c.Symptom == symptom {
			continue
		}
		p := v.s.p[symptom]
		if apart(p[world(f)], p[world(g)])*v.b.SureOf(symptom, at) >= v.distance {
			return true
		}
	}
	return v.cured(t, f) != v.cured(t, g)
}

func world(cause int) int {
	if cause == Nothing {
		return none
	}
	return alone(cause)
}

// cured says that a test puts a cause right and that the drop's coming back shows it.
func (v *views) cured(t *rulebase.Step, cause int) bool {
	c := v.b.Complaint
	if cause == Nothing || c == nil || !v.b.Symptoms[c.Symptom].Weighs || !slices.Contains(t.PutsRight, cause) {
		return false
	}
	return apart(v.s.p[c.Symptom][none], v.s.p[c.Symptom][alone(cause)]) >= v.distance
}

// mostSplits is how many tests are named that would split the largest group.
const mostSplits = 3

// split finds the largest group, and what would split it.
func (x *Distinction) split(v *views, off []engine.Withheld) {
	t := x.Do.t
	for _, g := range x.Do.Groups {
		if n, most := t.size(g), t.size(x.Largest); n > 1 && (n > most || n == most && t.rate(g) > t.rate(x.Largest)) {
			x.Largest = g
		}
	}
	type worth struct {
		Split
		bits float64
	}
	var all []worth
	for _, w := range off {
		one := worth{Split: Split{Withheld: w}, bits: t.entropy(x.Largest)}
		for _, f := range x.Largest {
			left := slices.DeleteFunc(slices.Clone(x.Largest), func(g int) bool { return v.tells(w.Step, x.placeOf(w.Step), f, g) })
			one.bits -= t.Rate[f] / t.rate(x.Largest) * t.entropy(left)
			one.Left += t.Rate[f] / t.rate(x.Largest) * float64(len(left))
			if !slices.ContainsFunc(one.Leaves, func(p []int) bool { return slices.Equal(p, left) }) {
				one.Leaves = append(one.Leaves, left)
			}
		}
		if one.bits > slack {
			all = append(all, one)
		}
	}
	slices.SortStableFunc(all, func(a, b worth) int {
		if math.Abs(a.bits-b.bits) > slack {
			return cmp.Compare(b.bits, a.bits)
		}
		return cmp.Compare(a.Step.Minutes, b.Step.Minutes)
	})
	for _, w := range all[:min(mostSplits, len(all))] {
		x.Splits = append(x.Splits, w.Split)
	}
}

// mostExact is up to how many seen causes every order of tests is looked at, and
// mostStates how many states that may take.
const (
	mostExact  = 16
	mostStates = 20_000
)

// Minutes is the mean time to isolate a cause that is seen: the least, where the
// rulebase is small enough to look at every order, else that of the greedy order.
func (x *Distinction) Minutes(t *Testability) (minutes float64, least bool) {
	if len(t.Seen) <= mostExact {
		if m, known := t.OptimalCost(mostStates); known {
			return m, true
		}
	}
	return t.GreedyCost(), false
}

// Rate is a cause's prior under the givens, by which it weighs.
func (x *Distinction) Rate(cause int) float64 { return x.Causes.t.Rate[cause] }

// DifferentRemedies is the number of different lists of remedies of some causes.
func (x *Distinction) DifferentRemedies(causes []int) int { return x.Do.t.size(causes) }

// placeOf is where a test that is not on offer here would be done.
func (x *Distinction) placeOf(t *rulebase.Step) rulebase.Place {
	if len(t.At) == 0 || slices.Contains(t.At, x.Situation.At) {
		return x.Situation.At
	}
	return t.At[0]
}
