package main

import (
	"context"
	"reflect"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

func newCaseTalkCmd(env *environment) *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use: "talk CASE", Short: shortCaseTalk, Long: longCaseTalk, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			if !env.terminal {
				return errNoTerminal
			}
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error { return d.talk(ctx, c) })
		},
	}
	addStoreFlags(cmd, &o)
	return cmd
}

// talk goes on with a case in the conversation. What an entry changed is in the
// store before the next question stands on the screen: whoever is cut off loses
// nothing.
func (d *desk) talk(ctx context.Context, c *cases.Case) error {
	earlier, err := cases.LookBack(ctx, d.store, c)
	if err != nil {
		return err
	}
	if err := report.CaseOpened(d.env.out, d.env.width(), d.base, c, &earlier); err != nil {
		return written(err)
	}
	talk := newTalk(d.base).WithClock(d.env.clock)
	memory, err := conversation.MemoryOf(c)
	if err != nil {
		return err
	}
	t := &terminal{env: d.env, talk: talk, entries: entries(ctx, d.env.in)}
	t.keep = func(s conversation.State, reply conversation.Reply) error {
		drafts := c.Changes(asOfNow(s.Situation.Clone()))
		if len(drafts) > 0 && reply.Diagnosis != nil {
			drafts = append(drafts, shown(reply.Diagnosis)...)
		}
		drafts = append(drafts, d.beside(c, s)...)
		if len(drafts) == 0 && reflect.DeepEqual(s.Memory(), memory) {
			return nil
		}
		d.writer.Place = s.Situation.At
		after, err := d.write(ctx, c.ID, c.Entry(newID(), drafts, cases.Talked{Memory: cases.Body(s.Memory())})...)
		if err == nil {
			c, memory = after, s.Memory()
		}
		return err
	}
	state, reply := talk.Begin(c.Situation)
	state.Sheet, state.Acknowledged = conversation.SheetOf(c), memory.Acknowledged
	if c.Talked != nil { // it goes on where it stood, on whatever screen that was
		state, reply = talk.Resume(ctx, c.Situation, state.Sheet, memory)
	}
	if err := t.run(ctx, state, reply); err != nil || len(c.PutIn) == 0 {
		return err
	}
	return written(report.CaseLine(d.env.out, d.env.width(), d.base, c))
}

// beside is what an entry changed beside the situation: settings that were read, and what
// was put in and is out again.
func (d *desk) beside(c *cases.Case, after conversation.State) []cases.Draft {
	drafts := d.putInChanges(c, after.Sheet)
	for _, setting := range after.Sheet.Changes(c) {
		drafts = append(drafts, cases.Say(cases.KindSetting, setting))
	}
	return drafts
}

// putInChanges is what was put in by steps since, and what is out again or was taken back.
func (d *desk) putInChanges(c *cases.Case, sheet *conversation.Sheet) []cases.Draft {
	var out []cases.Draft
	before := conversation.SheetOf(c).In
	for _, id := range sheet.In {
		if !slices.Contains(before, id) {
			out = append(out, putInBy(d.base, id)...)
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

// shown is what was put before somebody's eyes: the ranking, and the step proposed first.
func shown(d *engine.Diagnosis) []cases.Draft {
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
