package engine

import (
	"math"
	"slices"

	"downdrop/engine/plan"
	"downdrop/rulebase"
)

// A Sending is how a call ends.
type Sending string

// The ways a call ends.
const (
	SolveNow     Sending = "solve_now"     // the caller does it
	SendSomebody Sending = "send_somebody" // somebody comes, with what it takes
	SendUnit     Sending = "send_unit"     // somebody comes with a unit to exchange
)

// A Disposition is how a call ends: the cheapest way in minutes, on the mean over
// what there may be to do.
type Disposition struct {
	Kind        Sending
	Enough      bool                // nothing that can still be asked is worth its minutes
	Who         rulebase.Who        // the least person who can do it
	Remedies    []int               // what the caller does, or whoever comes is ready for; places in Base.Remedies, by id
	Tools       []string            // what these need, by name
	Probability float64             // that it ends the case, and nothing cheaper would have
	Minutes     float64             // its mean cost
	Wrong       float64             // the chance that another end of the call would have been right
	InVain      float64             // the minutes that it then costs on the mean: a second visit, a visit or a unit for nothing
	Chances     map[Sending]float64 // that each kind is the cheapest that ends the case
	ToKnow      float64             // the minutes that knowing for sure what there is to do would save, on the mean
	Further     *Proposal           // the question on offer that would save most, or cost least; nil where none tells
}

// What goes wrong costs minutes beside a visit's own (estimates of this project): each
// wrong end costs about as much as the other, so that the likelier one is chosen, but
// for a good unit pulled, which costs half as much again: it has to be likelier by that.
const (
	secondCall     = 90.0  // the caller did what was said, and the drop stands still until the next call
	needlessUnit   = 180.0 // a good unit travels, is tested, and nobody trusts it: half as much again as a visit
	carried        = 0.5   // a part or tool more in the van
	electricianOdd = 5.0   // finding an electrician rather than whoever is free
	technicianOdd  = 5.0
	engineerOdd    = 30.0
	// talking is what a minute of a call costs: two people are on the telephone. Played
	// breakdowns cost least in all, the call and what its end costs, from one and a half to three.
	talking = 2.0
)

// odd is what it costs to find a person.
func odd(w rulebase.Who) float64 {
	switch w {
	case rulebase.Electrician:
		return electricianOdd
	case rulebase.Technician:
		return electricianOdd + technicianOdd
	case rulebase.Engineer:
		return engineerOdd
	}
	return 0
}

// CallCosts are the minutes that the end of a call costs, once it is known whether it ended
// the case and whether a unit was brought needlessly; visit are a visit's. What the
// caller did counts with the call.
func CallCosts(kind Sending, ends, needless bool, visit float64) float64 {
	minutes := 0.0
	switch {
	case kind != SolveNow:
		minutes = visit
		if !ends {
			minutes += visit
		}
	case !ends:
		minutes = secondCall + visit
	}
	if needless {
		minutes += needlessUnit
	}
	return minutes
}

// A dispatch works out one disposition.
type dispatch struct {
	w        *weighing
	caller   []bool // by remedy: the caller can do it
	outcomes []plan.Outcome
	parts    []plan.Part // of all outcomes
	outside  float64
	visit    float64
}

// dispose chooses how a call ends.
func (d *Diagnosis) dispose(w *weighing, outcomes []plan.Outcome, outside float64) *Disposition {
	x := &dispatch{w: w, outcomes: outcomes, outside: outside, visit: w.k.effort().Visit}
	for i := range outcomes {
		x.parts = append(x.parts, outcomes[i].Parts...)
	}
	x.caller = d.CallerCan()
	best := x.solve()
	if len(best.Remedies) == 0 && x.nothing() < Likely {
		best.Minutes = math.Inf(1) // nothing to do is no advice, unless nothing is wrong
	}
	for who := rulebase.Operator; who <= rulebase.Engineer; who++ {
		for _, unit := range []bool{false, true} {
			if one := x.send(who, unit); one.Minutes < best.Minutes {
				best = one
			}
		}
	}
	best.Chances = x.chances()
	best.ToKnow = max(0, best.Minutes-x.informed())
	return best
}

// informed is the mean of the minutes if what there is to do were known: what is lost
// between it and the best end of the call is what knowing is worth.
func (x *dispatch) informed() float64 {
	sum, left := float64(x.outside*x.visit), 1-x.outside
	for i := range x.outcomes {
		o := &x.outcomes[i]
		left -= o.Chance
		if len(o.Causes) > 0 {
			sum += float64(o.Chance * x.cheapest(o))
		}
	}
	return sum + float64(max(0, left)*x.visit)
}

// cheapest are the minutes of the cheapest end of a call for what is known to be.
func (x *dispatch) cheapest(o *plan.Outcome) float64 {
	can := func(r int) bool { return x.caller[r] }
	chance, price, _ := x.firsts(o, can)
	best := price + float64((1-chance)*(secondCall+x.visit))
	for _, unit := range []bool{false, true} {
		for who := rulebase.Operator; who <= rulebase.Engineer; who++ {
			can := func(r int) bool {
				step := &x.base().Remedies[r]
				return personFor(step) <= who && FieldWork(step) && (unit || step.EndsAs != rulebase.UnitOut)
			}
			chance, _, tools := x.firsts(o, can)
			minutes := x.visit + odd(who) + float64((1-chance)*x.visit) + carried*float64(tools)
			if unit {
				without, _, _ := x.firsts(o, func(r int) bool {
					return x.caller[r] || FieldWork(&x.base().Remedies[r]) && x.base().Remedies[r].EndsAs != rulebase.UnitOut
				})
				minutes += float64(needlessUnit * without)
			}
			best = min(best, minutes)
		}
	}
	return best
}

// firsts are, of the remedies that may be done, the first of each cause up to one that
// surely takes it away: the chance that they take all causes of an outcome away, with their
// minutes, each on the mean, and how many tools they need at the most.
func (x *dispatch) firsts(o *plan.Outcome, may func(remedy int) bool) (chance, minutes float64, tools int) {
	for i := range o.Parts {
		part, did := &o.Parts[i], map[int]bool{}
		all, price, needs := 1.0, 0.0, 0
		for _, c := range part.Causes {
			left := 1.0
			for _, h := range x.base().Causes[c].Remedies {
				step := &x.base().Remedies[h.Remedy]
				if left == 0 || !may(h.Remedy) || x.w.k.isDone(step.ID) {
					continue
				}
				left *= 1 - h.Chance
				if did[h.Remedy] {
					continue // for another cause
				}
				did[h.Remedy] = true
				price += x.w.k.price(step) + step.ProofMinutes()
				needs += len(step.Needs)
			}
			all *= 1 - left
		}
		share := part.Chance / o.Chance
		chance += float64(share * all)
		minutes += float64(share * price)
		tools = max(tools, needs)
	}
	return chance, minutes, tools
}

// nothing is the chance that nothing is wrong any more.
func (x *dispatch) nothing() float64 {
	for _, o := range x.outcomes {
		if len(o.Causes) == 0 {
			return o.Chance
		}
	}
	return 0
}

// CallerCan says, by remedy, what the person at the other end of the telephone can
// do now: not done yet, and allowed there, with those tools and those hands.
func (d *Diagnosis) CallerCan() []bool {
	may := d.working.known.permission()
	can := make([]bool, len(d.Base.Remedies))
	for i := range can {
		can[i] = may.caller(&d.Base.Remedies[i])
	}
	return can
}

// caller says whether the person at the other end of the telephone can do a remedy now.
func (p *permission) caller(step *rulebase.Step) bool {
	return !step.Temporary && p.useful(step) == nil && p.able(step) == nil && p.here(step) == nil && p.apt(step) == nil
}

func (x *dispatch) base() *rulebase.Base { return x.w.p.base }

// ends is the chance that a set of remedies, by remedy, takes all causes of a part of
// an outcome away.
func (x *dispatch) ends(part *plan.Part, with []bool) float64 {
	all := 1.0
	for _, c := range part.Causes {
		left := 1.0
		for _, h := range x.base().Causes[c].Remedies {
			if with[h.Remedy] && !x.w.k.isDone(x.base().Remedies[h.Remedy].ID) {
				left *= 1 - h.Chance
			}
		}
		all *= 1 - left
	}
	return all
}

// mean is the chance that a set of remedies ends the case.
func (x *dispatch) mean(with []bool) float64 {
	sum := 0.0
	for i := range x.parts {
		sum += float64(x.parts[i].Chance * x.ends(&x.parts[i], with))
	}
	return sum
}

// wanted is, by remedy, the chance that it is the first that surely takes a cause
// that is there away, among those that may be done.
func (x *dispatch) wanted(may func(remedy int) bool) []float64 {
	p := make([]float64, len(x.base().Remedies))
	counted := make([]int, len(p)) // the last part that counted a remedy, from 1
	for i := range x.parts {
		for _, c := range x.parts[i].Causes {
			for _, h := range x.base().Causes[c].Remedies {
				if !may(h.Remedy) || x.w.k.isDone(x.base().Remedies[h.Remedy].ID) {
					continue
				}
				if counted[h.Remedy] != i+1 {
					counted[h.Remedy] = i + 1
					p[h.Remedy] += x.parts[i].Chance
				}
				if h.Chance == 1 {
					break
				}
			}
		}
	}
	return p
}

// solve has the caller do what is worth its minutes.
func (x *dispatch) solve() *Disposition {
	with, minutes := make([]bool, len(x.caller)), 0.0
	for r, p := range x.wanted(func(r int) bool { return x.caller[r] }) {
		step := &x.base().Remedies[r]
		if price := x.w.k.price(step) + step.ProofMinutes(); p*(secondCall+x.visit) > price {
			with[r] = true
			minutes += price
		}
	}
	p := x.mean(with)
	one := x.disposition(SolveNow, rulebase.Operator, with, minutes+float64((1-p)*(secondCall+x.visit)), p)
	one.wrong(1-p, float64((1-p)*(secondCall+x.visit)))
	return one
}

// send has somebody come, with or without a unit.
func (x *dispatch) send(who rulebase.Who, unit bool) *Disposition {
	can := func(r int) bool {
		step := &x.base().Remedies[r]
		return personFor(step) <= who && FieldWork(step) && (unit || step.EndsAs != rulebase.UnitOut)
	}
	with := make([]bool, len(x.caller))
	for r, p := range x.wanted(can) {
		step := &x.base().Remedies[r]
		with[r] = can(r) && (p*x.visit > carried*float64(len(step.Needs)) || unit && step.EndsAs == rulebase.UnitOut)
	}
	p := x.mean(with)
	short := max(0, 1-p-x.outside) // whoever comes does not end it; what is not listed somebody has to look at, whoever it is
	minutes := x.visit + odd(who) + float64((1-p-x.outside)*x.visit)
	cheaper := x.mean(x.caller)
	lost := float64((short + cheaper) * x.visit)
	kind := SendSomebody
	if unit {
		kind = SendUnit
		cheaper = x.mean(x.withoutUnit())
		minutes += float64(needlessUnit * cheaper)
		lost = float64(short*x.visit) + float64(cheaper*needlessUnit)
	}
	right := max(0, p-cheaper)
	if !unit {
		right += x.outside // somebody has to come
	}
	one := x.disposition(kind, who, with, minutes, right)
	one.Minutes += carried * float64(len(one.Tools))
	one.wrong(short+cheaper, lost)
	return one
}

// leastWrong is the chance below which an end of a call is not wrong at all but for the rounding of sums, of
// which a mean would be made of nothing.
const leastWrong = 1e-12

// wrong notes the chance that another end is right, and what that costs, times the chance.
func (d *Disposition) wrong(chance, lost float64) {
	if chance >= leastWrong {
		d.Wrong = min(chance, 1)
		d.InVain = lost / d.Wrong
	}
}

// withoutUnit are, by remedy, those that the caller or a visit without a unit can do.
func (x *dispatch) withoutUnit() []bool {
	with := slices.Clone(x.caller)
	for r := range with {
		step := &x.base().Remedies[r]
		with[r] = with[r] || FieldWork(step) && step.EndsAs != rulebase.UnitOut
	}
	return with
}

// FieldWork says whether a remedy can be done at the drop, on a visit.
func FieldWork(step *rulebase.Step) bool {
	return !step.Temporary && (len(step.At) == 0 || slices.Contains(step.At, rulebase.Field))
}

// chances are those of each kind being the cheapest that ends the case; outside
// somebody has to come.
func (x *dispatch) chances() map[Sending]float64 {
	now, visit := x.mean(x.caller), x.mean(x.withoutUnit())
	return map[Sending]float64{SolveNow: now, SendSomebody: visit - now + x.outside, SendUnit: max(0, 1-visit-x.outside)}
}

func (x *dispatch) disposition(kind Sending, who rulebase.Who, with []bool, minutes, p float64) *Disposition {
	d := &Disposition{Kind: kind, Who: who, Minutes: minutes, Probability: p, Remedies: []int{}, Tools: []string{}}
	for _, r := range x.w.k.remediesByID() {
		if with[r] {
			d.Remedies = append(d.Remedies, r)
			d.Tools = append(d.Tools, x.base().Remedies[r].Needs...)
		}
	}
	slices.Sort(d.Tools)
	d.Tools = slices.Compact(d.Tools)
	return d
}
