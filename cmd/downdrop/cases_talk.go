package main

import (
	"context"
	"reflect"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
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
		drafts := c.Changes(kept.AsOfNow(s.Situation.Clone()))
		if len(drafts) > 0 && reply.Diagnosis != nil {
			drafts = append(drafts, kept.Shown(reply.Diagnosis)...)
		}
		drafts = append(drafts, kept.Beside(d.base, c, s)...)
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
