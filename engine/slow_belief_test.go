package engine_test

import (
	"fmt"
	"maps"
	"math"
	"math/bits"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
)

// How likely every set of causes is, one world after another.

// prior is a cause's chance before anything was seen.
func (q *reference) prior(cause int) float64 {
	c := &q.b.Causes[cause]
	odds := c.Prior / (1 - c.Prior)
	for _, l := range c.MoreLikely {
		if q.truth(l.When.Root) == rulebase.True {
			odds *= l.Times
		}
	}
	return odds / (1 + odds)
}

// suppose lists every world with its weight before the findings.
func (q *reference) suppose() {
	total := 0.0
	for set := bitset(0); set < 1<<len(q.b.Causes); set++ {
		k := len(q.members(set))
		if k > q.b.FaultsAtMost {
			continue
		}
		p := math.Pow(q.b.Together, float64(max(k-1, 0)))
		for i := range q.b.Causes {
			if set.has(i) {
				p *= q.prior(i)
			} else {
				p *= 1 - q.prior(i)
			}
		}
		total += p
		q.worlds = append(q.worlds, world{present: []bitset{set}, p: p})
	}
	for i := range q.worlds {
		q.worlds[i].p *= (1 - q.b.Outside) / total
	}
	q.worlds = append(q.worlds, world{outside: true, present: []bitset{0}, p: q.b.Outside})
	for _, d := range q.s.Done {
		var next []world
		for _, w := range q.worlds {
			next = append(next, q.workOn(w, d.ID)...)
		}
		q.worlds = next
	}
}

// takes is the chance that a step takes a cause away that is there.
func (q *reference) takes(step string, cause int) float64 {
	s := q.step(step)
	if s.Temporary {
		return 0
	}
	if slices.Contains(s.PutsRight, cause) {
		return 1
	}
	if s.Kind == rulebase.KindRemedy {
		for _, h := range q.b.Causes[cause].Remedies {
			if q.b.Remedies[h.Remedy].ID == step {
				return h.Chance
			}
		}
	}
	return 0
}

func (q *reference) step(id string) *rulebase.Step {
	for _, list := range [][]rulebase.Step{q.b.Tests, q.b.Remedies} {
		for i := range list {
			if list[i].ID == id {
				return &list[i]
			}
		}
	}
	panic("no step is called " + id)
}

// A leaving is what may be left of a set of causes after a step.
type leaving struct {
	left bitset
	unit bool // something was taken that ends as unit_out
	p    float64
}

// leavings lists what a step can leave: one branch for each cause that it may or may not take.
func (q *reference) leavings(set bitset, step string) []leaving {
	all := []leaving{{left: set, p: 1}}
	for _, c := range q.members(set) {
		chance := q.takes(step, c)
		var next []leaving
		for _, l := range all {
			if chance > 0 {
				next = append(next, leaving{l.left.without(c), l.unit || q.endsAs(c, step) == rulebase.UnitOut, l.p * chance})
			}
			if chance < 1 {
				next = append(next, leaving{l.left, l.unit, l.p * (1 - chance)})
			}
		}
		all = next
	}
	return all
}

// endsAs is how a cause ends: by the remedy that took it, else ("" or a test) by its last one.
func (q *reference) endsAs(cause int, by string) rulebase.Outcome {
	if by != "" && q.step(by).Kind == rulebase.KindRemedy {
		return q.step(by).EndsAs
	}
	if own := q.b.Causes[cause].Remedies; len(own) > 0 {
		return q.b.Remedies[own[len(own)-1].Remedy].EndsAs
	}
	return ""
}

func (q *reference) workOn(w world, step string) (all []world) {
	for _, l := range q.leavings(w.now(), step) {
		all = append(all, world{outside: w.outside, present: append(slices.Clone(w.present), l.left), unit: w.unit || l.unit, p: w.p * l.p})
	}
	return all
}

// begun is the complaint's value when the case began, -1 without one.
func (q *reference) begun() int {
	for _, x := range q.counts {
		if q.isComplaint(x.symptom) && x.state == 0 {
			return x.at
		}
	}
	return -1
}

func (q *reference) isComplaint(symptom int) bool {
	return q.b.Complaint != nil && q.b.Complaint.Symptom == symptom
}

// values is how likely each value of a symptom is in a world, with these causes
// present in this state of work.
func (q *reference) values(symptom int, w *world, present bitset, state int) []float64 {
	if !w.outside {
		return q.shows(symptom, present)
	}
	n := len(q.b.Symptoms[symptom].Values)
	p := make([]float64, n)
	for i := range p {
		p[i] = 1 / float64(n)
		if q.isComplaint(symptom) && state > 0 {
			p[i] = 0
		}
	}
	if q.isComplaint(symptom) && state > 0 {
		p[q.begun()] = 1
	}
	return p
}

// seeing is how likely a sighting is in a world; 1 where it is not weighed.
func (q *reference) seeing(x sighting, w *world) float64 {
	s := &q.b.Symptoms[x.symptom]
	if !s.Weighs || x.at < 0 {
		return 1
	}
	return x.sure*q.values(x.symptom, w, w.present[x.state], x.state)[x.at] + (1-x.sure)/float64(len(s.Values))
}

// A verdict is a rule's word that a cause is there, or that it is not.
type verdict struct {
	cause, state int
	there        bool
}

func (q *reference) verdicts() (all []verdict) {
	for _, rule := range q.fired {
		for _, c := range q.b.Rules[rule].RulesOut {
			all = append(all, verdict{c, q.restsOn(rule), false})
		}
		for _, c := range q.b.Rules[rule].Establishes {
			all = append(all, verdict{c, q.restsOn(rule), true})
		}
	}
	return all
}

// allows says whether a verdict leaves a world. Outside holds no cause.
func (v verdict) allows(w *world) bool {
	if w.outside {
		return !v.there
	}
	return w.present[v.state].has(v.cause) == v.there
}

func (q *reference) weigh() {
	q.smallest = q.smallestContradiction()
	for i := range q.worlds {
		w := &q.worlds[i]
		for _, x := range q.counts {
			w.p *= q.seeing(x, w)
		}
		for _, v := range q.verdicts() {
			if !v.allows(w) {
				w.p = 0
			}
		}
	}
}

// smallestContradiction is how many sightings and verdicts together leave no
// listed world, at the least; 0 where all of them together leave one.
func (q *reference) smallestContradiction() int {
	var excludes []bitset // by listed world: the sightings and verdicts that it cannot go with, as a set of numbers
	verdicts := q.verdicts()
	for i := range q.worlds {
		w := &q.worlds[i]
		if w.outside || w.p == 0 {
			continue
		}
		by := bitset(0)
		for j, x := range q.counts {
			if q.seeing(x, w) == 0 {
				by = by.with(j)
			}
		}
		for j, v := range verdicts {
			if !v.allows(w) {
				by = by.with(len(q.counts) + j)
			}
		}
		if by == 0 {
			return 0
		}
		excludes = append(excludes, by)
	}
	smallest := 0
	for set := range bitset(1) << (len(q.counts) + len(verdicts)) {
		n := bits.OnesCount64(uint64(set))
		if (smallest == 0 || n < smallest) && !slices.ContainsFunc(excludes, func(by bitset) bool { return by&set == 0 }) {
			smallest = n
		}
	}
	return smallest
}

func sortedKeys[V any](m map[string]V) []string { return slices.Sorted(maps.Keys(m)) }

func setText(set map[string]bool) string { return strings.Join(sortedKeys(set), " ") }

// twelve is a number to 12 significant digits: what counts as equal in an order.
func twelve(x float64) float64 {
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 11, 64), 64)
	return y
}

func (q *reference) names(set bitset) map[string]bool {
	ids := map[string]bool{}
	for _, c := range q.members(set) {
		ids[q.b.Causes[c].ID] = true
	}
	return ids
}

func (q *reference) answer() answer {
	a := answer{causes: map[string]float64{}, now: map[string]float64{}, conditions: map[string]float64{}, explanations: map[string]float64{},
		gain: map[string]float64{}, minutes: map[string]float64{}, price: map[string]float64{}, why: map[string]string{}, remedy: map[string]string{},
		facts: map[string]string{}, conflicts: q.conflicts()}
	for i, n := range q.b.Names {
		if q.known[i].Rank != rulebase.NotKnown {
			a.facts[n.ID] = q.b.SlotText(i, q.known[i])
		}
	}
	for _, w := range q.worlds {
		a.evidence += w.p
	}
	if a.possible = a.evidence > 0; !a.possible {
		return a
	}
	for i := range q.worlds {
		q.worlds[i].p /= a.evidence
		q.count(&a, &q.worlds[i])
	}
	for i, c := range q.b.Causes {
		a.remedy[c.ID], _, _ = strings.Cut(q.notDone(i), ",")
	}
	a.none = a.explanations[""]
	q.steps(&a)
	return a
}

// count adds one world to the sums.
func (q *reference) count(a *answer, w *world) {
	if w.outside {
		a.outside += w.p
		return
	}
	unit := w.unit
	for _, c := range q.members(w.present[0]) {
		a.causes[q.b.Causes[c].ID] += w.p
	}
	for _, c := range q.members(w.now()) {
		a.now[q.b.Causes[c].ID] += w.p
		unit = unit || q.endsAs(c, "") == rulebase.UnitOut
	}
	if unit {
		a.unitOut += w.p
	}
	for i, holds := range q.brings(w.now()) {
		if holds {
			a.conditions[q.b.Conditions[i].ID] += w.p
		}
	}
	a.explanations[setText(q.names(w.present[0]))] += w.p
}

// conflicts names what cannot all be true, or cannot be weighed.
func (q *reference) conflicts() map[string]bool {
	all := map[string]bool{}
	if q.smallest > 0 {
		all[fmt.Sprint("impossible ", q.smallest)] = true
	}
	for name := range q.banned {
		all["rules "+q.b.Names[name].ID] = true
	}
	for _, x := range q.counts {
		if s := q.b.Symptoms[x.symptom]; x.at < 0 && s.Weighs {
			all["limits "+s.ID] = true
		}
	}
	for _, x := range q.reports {
		for _, y := range q.reports {
			if x.symptom == y.symptom && x.state == y.state && q.place(x.symptom, x.value) != q.place(y.symptom, y.value) {
				all["findings "+q.b.Symptoms[x.symptom].ID] = true
			}
		}
	}
	return all
}
