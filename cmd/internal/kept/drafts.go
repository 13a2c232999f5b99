// Package kept leads a conversation that is kept with its case: what an entry says becomes
// events of the case, and the conversation goes on from those events on whatever screen comes
// next. It knows no store, no terminal and no page: it makes drafts, and whoever
// keeps the case writes them.
package kept

import (
	"cmp"
	"slices"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// AsOfNow ties findings made as of now to the work done by now: in a case, now goes on.
func AsOfNow(s rulebase.Situation) rulebase.Situation {
	for i := range s.Findings {
		if f := &s.Findings[i]; f.Now {
			f.Now = false
			if len(s.Done) > 0 {
				f.After = s.Done[len(s.Done)-1].ID
			}
		}
	}
	return s
}

// PutInBy is what a step puts in that has to be undone: it stands until somebody takes it out.
func PutInBy(b *rulebase.Base, step string) []cases.Draft {
	st := b.Step(step)
	if st == nil || st.PutsIn == "" && !st.Temporary {
		return nil
	}
	where, until := wording.PutInBy(b, st)
	return []cases.Draft{cases.Say(cases.KindPutIn, cases.PutIn{What: cmp.Or(st.PutsIn, "other"), Where: where, Until: until, Test: step})}
}

// Beside is what an entry changed beside the situation: settings that were read, and what
// was put in and is out again.
func Beside(b *rulebase.Base, c *cases.Case, after conversation.State) []cases.Draft {
	drafts := putInChanges(b, c, after.Sheet)
	for _, setting := range after.Sheet.Changes(c) {
		drafts = append(drafts, cases.Say(cases.KindSetting, setting))
	}
	return drafts
}

// putInChanges is what was put in by steps since, and what is out again or was taken back.
func putInChanges(b *rulebase.Base, c *cases.Case, sheet *conversation.Sheet) []cases.Draft {
	var out []cases.Draft
	before := conversation.SheetOf(c).In
	for _, id := range sheet.In {
		if !slices.Contains(before, id) {
			out = append(out, PutInBy(b, id)...)
		}
	}
	for _, p := range c.PutIn {
		if p.Body.Test != "" && !slices.Contains(sheet.In, p.Body.Test) {
			out = append(out, cases.Correct(cases.KindTakenOut, p.Event.ID, cases.Reason{}))
		}
	}
	return out
}

// shownCauses is how many causes of a ranking are kept.
const shownCauses = 5

// Shown is what was put before somebody's eyes: the ranking, and the step proposed first.
func Shown(d *engine.Diagnosis) []cases.Draft {
	r := cases.Ranking{Policy: d.Policy, UnitOut: d.UnitOut, Outside: d.Outside, Causes: []cases.RankedBody{}}
	for _, cause := range d.Causes[:min(shownCauses, len(d.Causes))] {
		r.Causes = append(r.Causes, cases.RankedBody{ID: d.Base.Causes[cause.Cause].ID, Probability: cause.Probability})
	}
	out := []cases.Draft{cases.Say(cases.KindRanking, r)}
	if i := slices.IndexFunc(d.Next, func(p engine.Proposal) bool { return p.Step != nil }); i >= 0 {
		kind := "test"
		if d.Next[i].Step.Kind == rulebase.KindRemedy {
			kind = "remedy"
		}
		out = append(out, cases.Say(cases.KindProposed, cases.Proposed{Kind: kind, ID: d.Next[i].Step.ID}))
	}
	return out
}

// ShownNow are the causes of a diagnosis that are shown with a bar: the likeliest, as far as they
// have any weight.
func ShownNow(d *engine.Diagnosis, most int) []engine.CauseBelief {
	causes := d.Causes[:min(most, len(d.Causes))]
	if i := slices.IndexFunc(causes, func(c engine.CauseBelief) bool { return c.Now < leastShown }); i >= 0 {
		causes = causes[:i]
	}
	return causes
}

// leastShown is the chance from which on a cause has a bar.
const leastShown = 0.005
