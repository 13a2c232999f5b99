package engine

import (
	"slices"
	"strings"

	"downdrop/rulebase"
)

// grave are the hazards that need more than care: what they can do is not
// undone, or not known.
const grave = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown

// harmless says whether a step has no hazard at all.
func harmless(step *rulebase.Step) bool { return step.Hazard == 0 }

// A refusal is the first line of the permission table that fails (see [Why]).
type refusal struct {
	why    Why
	detail string
}

// A permission is what the table reads of a situation, besides the step.
type permission struct {
	base    *rulebase.Base
	s       *rulebase.Situation
	slots   []rulebase.Slot
	certain map[int]bool // symptoms known for sure in this state of work
	done    map[string]int
	loss    int // name of the given filled_by: loss_of_bus; -1: the rulebase has none
}

func (k *known) permission() *permission {
	p := &permission{base: k.base, s: k.s, slots: k.result.Slots, certain: map[int]bool{}, done: k.last, loss: -1}
	for _, r := range k.counting {
		if r.state == len(k.s.Done) && r.sure == 1 {
			p.certain[r.symptom] = true
		}
	}
	for i := range k.base.Givens {
		if k.base.Givens[i].FilledBy == "loss_of_bus" {
			p.loss = k.base.Givens[i].Name
		}
	}
	return p
}

// The table: the first line that fails is why a step is not offered. Lines 1
// to 4 and 6 stand here; line 5 needs to know which harmless steps are on offer
// (see waits).

// useful is line 1: it would tell or change something.
func (p *permission) useful(step *rulebase.Step) *refusal {
	if step.Kind == rulebase.KindRemedy {
		if _, done := p.done[step.ID]; done {
			return &refusal{WhyDone, ""}
		}
		return nil
	}
	if len(step.PutsRight) > 0 || slices.ContainsFunc(step.Yields, func(s int) bool { return !p.certain[s] }) {
		return nil
	}
	return &refusal{WhyKnown, ""}
}

// able is line 2: the place, the tools and the person are there.
func (p *permission) able(step *rulebase.Step) *refusal {
	if p.s.At != "" && len(step.At) > 0 && !slices.Contains(step.At, p.s.At) {
		places := make([]string, len(step.At))
		for i, a := range step.At {
			places[i] = string(a)
		}
		return &refusal{WhyPlace, strings.Join(places, " or ")}
	}
	if p.s.Tools != nil {
		for _, tool := range step.Needs {
			if !slices.Contains(p.s.Tools, tool) {
				return &refusal{WhyTools, tool}
			}
		}
	}
	least := personFor(step)
	if p.s.Who != rulebase.Anybody && p.s.Who < least {
		return &refusal{WhyPerson, least.String()}
	}
	return nil
}

// personFor is the least person for a step: what is live, or might be, is for a technician.
func personFor(step *rulebase.Step) rulebase.Who {
	if step.Hazard&(rulebase.HazardLive|rulebase.HazardUnknown) != 0 { // unknown counts as the worst
		return max(step.Who, rulebase.Technician)
	}
	return max(step.Who, rulebase.Operator)
}

// here is line 3: what may be asked for by phone, and of somebody alone.
func (p *permission) here(step *rulebase.Step) *refusal {
	if p.s.At == rulebase.Phone {
		if bad := step.Hazard & grave; bad != 0 {
			return &refusal{WhyPhone, strings.Join(bad.Words(), " and ")}
		}
		if step.Stops == rulebase.StopsBus {
			return &refusal{WhyPhoneStops, ""}
		}
	}
	if bad := step.Hazard & (rulebase.HazardMains | rulebase.HazardMotion | rulebase.HazardUnknown); p.s.Alone && bad != 0 {
		return &refusal{WhyAlone, strings.Join(bad.Words(), " and ")}
	}
	return nil
}

// bus is line 4: what the outputs do on loss of bus is known.
func (p *permission) bus(step *rulebase.Step) *refusal {
	if step.Stops == rulebase.StopsNothing || p.loss < 0 || p.slots[p.loss].Rank > rulebase.FromDefault {
		return nil
	}
	return &refusal{WhyLossOfBus, p.base.Names[p.loss].ID}
}

// agreed is the first part of line 5: for a grave hazard the condition is
// known to hold and every warning is confirmed.
func (p *permission) agreed(step *rulebase.Step) *refusal {
	if step.Hazard&grave == 0 {
		return nil
	}
	if step.OnlyIf != nil && step.OnlyIf.Eval(p.slots) != rulebase.True {
		return &refusal{WhyOnlyIf, step.OnlyIf.Text}
	}
	for _, w := range step.Warnings {
		if id := p.base.Warnings[w].ID; !slices.Contains(p.s.Confirmed, id) {
			return &refusal{WhyUnconfirmed, id}
		}
	}
	return nil
}

// apt is line 6: its condition is not known to fail.
func (p *permission) apt(step *rulebase.Step) *refusal {
	if step.OnlyIf != nil && step.OnlyIf.Eval(p.slots) == rulebase.False {
		return &refusal{WhyOnlyIf, step.OnlyIf.Text}
	}
	return nil
}

// askFirst are the givens that are not known and decide whether a step's
// condition holds.
func (p *permission) askFirst(step *rulebase.Step) []string {
	if step.OnlyIf == nil || step.OnlyIf.Eval(p.slots) != rulebase.Unknown {
		return nil
	}
	var ask []string
	for _, n := range step.OnlyIf.Reads() {
		if p.base.Names[n].Kind == rulebase.KindGiven && p.slots[n].Rank == rulebase.NotKnown {
			ask = append(ask, p.base.Names[n].ID)
		}
	}
	return ask
}

// first is the first line of the table that fails, but for the waiting of grave
// hazards; nil where none does.
func (p *permission) first(step *rulebase.Step) *refusal {
	for _, line := range []func(*rulebase.Step) *refusal{p.useful, p.able, p.here, p.bus, p.agreed, p.apt} {
		if r := line(step); r != nil {
			return r
		}
	}
	return nil
}

// Unconfirmed are the warnings of a step that nobody has confirmed yet, by id, in the
// order in which the step names them.
func (d *Diagnosis) Unconfirmed(step *rulebase.Step) []string {
	var ids []string
	for _, w := range step.Warnings {
		if id := d.Base.Warnings[w].ID; !slices.Contains(d.Situation.Confirmed, id) {
			ids = append(ids, id)
		}
	}
	return ids
}

// waits is the rest of line 5: a grave hazard waits while a harmless step on
// offer can still change what to do. deciding names such a step, "" where there is none.
func waits(step *rulebase.Step, deciding string) *refusal {
	if step.Hazard&grave == 0 || deciding == "" {
		return nil
	}
	return &refusal{WhyHarmless, deciding}
}

// away says that a remedy cannot be done from here: place, person or tools.
func (p *permission) away(step *rulebase.Step) bool { return p.able(step) != nil }
