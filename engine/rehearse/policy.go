package rehearse

import (
	"slices"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Move is what to do next: a step on offer, or warnings to confirm so that more
// is offered. The zero Move has nothing left to do.
type Move struct {
	Step    *rulebase.Step
	Confirm []string
}

// A Policy says what to do next. It is shared by cases that are played at once.
type Policy interface {
	Next(d *engine.Diagnosis) Move
}

// Offered takes what the engine offers in the engine's order, as the conversation
// does: a remedy that nine times in ten takes a cause that is there goes first; what
// was looked at in this state of work, and tests that tell next to nothing, are
// passed over; while a remedy likelier than not waits for another person, place or
// tool, none is tried that helps less than once in ten. When nothing is left that
// tells, the warnings of the most telling step that waits for them are confirmed.
//
// Unlike the conversation it never pulls a unit or a module to see whether that
// helps, and when nothing tells any more it tries only what helps likelier than not.
type Offered struct{}

// As in the conversation.
const (
	likely = 0.5
	plenty = 0.9
)

// Next is the next move.
func (Offered) Next(d *engine.Diagnosis) Move {
	for i := range d.Next {
		if p := &d.Next[i]; worthTrying(d, p.Step, plenty) {
			return Move{Step: p.Step}
		}
	}
	atLeast := 0.0
	if likelyAway(d) >= likely {
		atLeast = 1 - plenty
	}
	tells := slices.ContainsFunc(d.Next, func(p engine.Proposal) bool { return d.WorthAsking(&p) })
	if !tells {
		if m := unlock(d); len(m.Confirm) > 0 {
			return m
		}
		atLeast = likely
	}
	for i := range d.Next {
		if p := &d.Next[i]; d.WorthAsking(p) || worthTrying(d, p.Step, atLeast) {
			return Move{Step: p.Step}
		}
	}
	return Move{}
}

// worthTrying says whether a remedy helps likely enough to be tried.
func worthTrying(d *engine.Diagnosis, step *rulebase.Step, atLeast float64) bool {
	return step.Kind == rulebase.KindRemedy && !step.Temporary && step.EndsAs != rulebase.UnitOut && step.EndsAs != rulebase.ModuleOut && takes(d, step) >= atLeast
}

// takes is how likely it is that a remedy takes a cause that is still there: an
// upper bound, the sum over the causes whose first remedy it is.
func takes(d *engine.Diagnosis, step *rulebase.Step) float64 {
	p := 0.0
	for _, c := range d.Causes {
		if c.Remedy >= 0 && &d.Base.Remedies[c.Remedy] == step {
			p += c.Now
		}
	}
	return min(p, 1)
}

// likelyAway is how likely the likeliest of the remedies is that cannot be done from here.
func likelyAway(d *engine.Diagnosis) float64 {
	most := 0.0
	for _, w := range d.NotOffered {
		if w.Step.Kind != rulebase.KindRemedy || w.Step.Temporary || w.Why == engine.WhyDone || w.Why == engine.WhyUnconfirmed || w.Why == engine.WhyHarmless {
			continue
		}
		most = max(most, takes(d, w.Step))
	}
	return most
}

// unlock confirms the warnings of the first step that waits for them, by falling gain.
func unlock(d *engine.Diagnosis) Move {
	for _, w := range d.NotOffered {
		useful := worthTrying(d, w.Step, likely) || w.Step.Kind == rulebase.KindTest && w.GainBits >= engine.Idle && d.Fresh(w.Step)
		if w.Why != engine.WhyUnconfirmed || !useful {
			continue
		}
		return Move{Confirm: d.Unconfirmed(w.Step)}
	}
	return Move{}
}
