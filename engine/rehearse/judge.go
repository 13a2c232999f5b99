package rehearse

import (
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Verdict says how right a course was.
type Verdict struct {
	True  engine.ToDo // what there truly is to do at the end
	Right bool        // the advised set of remedies is that (field, bench), or the disposition is right (phone)
	Part  bool        // field, bench: not right, but all that was advised was needed
	// Stated is how likely the advice called itself.
	Stated float64
	// Cheapest is, by phone, how the call truly ends most cheaply.
	Cheapest      engine.Sending
	NeedlessVisit bool // by phone: somebody is sent whom nobody needs
	Ends          bool // by phone: what is said or brought ends the case; what is not listed, whoever comes does
	SecondVisit   bool // by phone: who comes lacks the hands, the part or the unit

	Bad           bool // a unit was bad when the case began
	Condemned     bool // a unit was pulled, or is advised to be
	DeclaredGood  bool // the unit is bad, still there, and the advice wrongly leaves it
	NeedlessTries int  // remedies tried that took nothing away
	Tests         int
	// Forbidden counts steps that were not on offer, or that nobody may be asked for by phone.
	Forbidden int
}

// WronglyCondemned says that the unit that was pulled is good.
func (v *Verdict) WronglyCondemned() bool { return v.Condemned && !v.Bad }

func judge(c *Course, w *world) Verdict {
	v := Verdict{True: engine.ToDo{Outside: true}}
	if !w.outside {
		v.True = c.Final.ToDo(w.now)
	}
	v.Bad = slices.ContainsFunc(c.Causes, w.unitBad)
	v.countTurns(c)
	if !c.Final.Possible {
		return v
	}
	remedies := c.Final.Advice.Lead.Remedies
	lead := c.Final.Advice.Lead
	v.Stated = lead.Probability
	if c.Place == rulebase.Phone {
		remedies = c.Final.Disposition.Remedies
		v.Stated = c.Final.Disposition.Probability
		if c.Final.Disposition.Kind != engine.SendUnit {
			remedies = nil
		}
		v.judgeCall(c, w)
	} else {
		v.Right = lead.Same(v.True)
		v.Part = !v.Right && !lead.Outside && !v.True.Outside && !lead.Nothing() && subset(lead.Lists, v.True.Lists)
	}
	if c.End == Advised {
		pulls := slices.ContainsFunc(remedies, func(r int) bool { return w.base.Remedies[r].EndsAs == rulebase.UnitOut })
		v.Condemned = v.Condemned || pulls
		still := slices.ContainsFunc(w.now, func(cause uint16) bool { return w.unitBad(int(cause)) })
		v.DeclaredGood = c.Place != rulebase.Phone && !v.Right && still && !v.Condemned && !leadsToUnit(w.base, lead)
	}
	return v
}

func (v *Verdict) countTurns(c *Course) {
	for _, t := range c.Turns {
		if t.Forbidden {
			v.Forbidden++
		}
		if t.Step.Kind == rulebase.KindTest {
			v.Tests++
		} else {
			if t.Step.EndsAs == rulebase.UnitOut {
				v.Condemned = true
			}
			if !t.Helped {
				v.NeedlessTries++
			}
		}
	}
}

func subset(some, all []string) bool {
	return !slices.ContainsFunc(some, func(s string) bool { return !slices.Contains(all, s) })
}

// unitBad says whether a cause is a bad unit: no remedy but one that ends with the
// unit out would take it away.
func (w *world) unitBad(cause int) bool {
	bad := false
	for _, h := range w.base.Causes[cause].Remedies {
		if !w.helps[[2]int{cause, h.Remedy}] {
			continue
		}
		if w.base.Remedies[h.Remedy].EndsAs != rulebase.UnitOut {
			return false
		}
		bad = true
	}
	return bad
}

// leadsToUnit says whether a unit is to come out at the end of a list, if nothing
// before it helps.
func leadsToUnit(base *rulebase.Base, t engine.ToDo) bool {
	for _, list := range t.Lists {
		for _, id := range strings.Fields(list) {
			if ref, ok := base.Lookup(id); ok && ref.Kind == rulebase.KindRemedy && base.Remedies[ref.Index].EndsAs == rulebase.UnitOut {
				return true
			}
		}
	}
	return false
}

// judgeCall compares the disposition with the cheapest that ends the case, given the
// true causes.
func (v *Verdict) judgeCall(c *Course, w *world) {
	d := c.Final.Disposition
	caller := c.Final.CallerCan()
	open := func(r int) bool { return !w.done(c, r) }
	endsWith := func(may func(r int) bool) bool {
		return !w.outside && !slices.ContainsFunc(w.now, func(cause uint16) bool {
			return !slices.ContainsFunc(w.base.Causes[cause].Remedies, func(h rulebase.Helps) bool {
				return open(h.Remedy) && may(h.Remedy) && w.helps[[2]int{int(cause), h.Remedy}]
			})
		})
	}
	field := func(r int) bool { return engine.FieldWork(&w.base.Remedies[r]) }
	switch {
	case endsWith(func(r int) bool { return caller[r] }):
		v.Cheapest = engine.SolveNow
	case endsWith(func(r int) bool { return caller[r] || field(r) && w.base.Remedies[r].EndsAs != rulebase.UnitOut }):
		v.Cheapest = engine.SendSomebody
	case endsWith(func(r int) bool { return caller[r] || field(r) }):
		v.Cheapest = engine.SendUnit
	default:
		v.Cheapest = engine.SendSomebody // not listed, or no remedy: somebody has to look
	}
	ends := endsWith(func(r int) bool { return slices.Contains(d.Remedies, r) })
	v.Ends = ends || w.outside && d.Kind != engine.SolveNow
	v.Right = d.Kind == v.Cheapest && (ends || w.outside)
	v.NeedlessVisit = d.Kind != engine.SolveNow && v.Cheapest == engine.SolveNow
	v.SecondVisit = d.Kind != engine.SolveNow && !ends
}

// done says whether a remedy was done in the course.
func (w *world) done(c *Course, remedy int) bool {
	return slices.ContainsFunc(c.Turns, func(t Turn) bool { return t.Step == &w.base.Remedies[remedy] })
}
