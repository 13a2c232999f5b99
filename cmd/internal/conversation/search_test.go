package conversation_test

import (
	"context"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// shippedTalk is the conversation over the shipped rulebase.
func shippedTalk(t *testing.T) *conversation.Talk {
	t.Helper()
	base := shipped.Base(t)
	prepared := engine.Prepare(base)
	return conversation.New(base, func(ctx context.Context, s rulebase.Situation, o engine.Options) (*engine.Diagnosis, error) {
		return engine.Diagnose(ctx, prepared, s, o)
	})
}

func TestSearchFindsTheQuestion(t *testing.T) {
	talk := shippedTalk(t)
	for typed, want := range map[string]string{
		"power li": "power_light", "run lamp": "run_light", "pair ohms": "pair_ohms", "drop dead, fault": "fault_light", "powr light": "power_light", "volts at drop": "volts_at_drop", "isolator": "isolator_position",
	} {
		found := talk.Search(rulebase.Situation{}, typed, 6)
		var ids []string
		for _, q := range found {
			ids = append(ids, q.ID)
			if len(q.Answers) == 0 {
				t.Errorf("%s has no answers", q.ID)
			}
		}
		if !strings.Contains(" "+strings.Join(ids, " ")+" ", " "+want+" ") {
			t.Errorf("%q finds %v, not %s", typed, ids, want)
		}
	}
	for _, none := range []string{"", " ", "the", "qqq", "drop"} {
		if found := talk.Search(rulebase.Situation{}, none, 6); len(found) > 0 && none != "drop" {
			t.Errorf("%q finds %d", none, len(found))
		}
	}
}

// A conversation taken up from what was kept goes on as the one that was never put down.
func TestResumeGoesOnAsTheTalkItself(t *testing.T) {
	talk := shippedTalk(t)
	ctx := context.Background()
	entries := []string{
		"technician at the drop, not alone, 5 dead, 1-4 good", "what else", "skip", "power light dark", "don't know", "I have a multimeter", "blorp light sideways", "none of these", "skip", "done replace_fuse",
		"still down", "ask run_light", "dark", "don't know", "works now", "down again", "skip",
	}
	state, _ := talk.Begin(rulebase.Situation{})
	situation, memory, about := rulebase.Situation{}, conversation.Memory{}, conversation.About{Kind: conversation.AskOpening}
	for i, e := range entries {
		var reply, kept conversation.Reply
		state, reply = talk.Step(ctx, state, e)
		var next conversation.State
		next, kept = talk.Answer(ctx, situation, nil, memory, about, e, false)
		situation, memory = next.Situation, next.Memory()
		_, resumed := talk.Resume(ctx, situation, nil, memory)
		if reply.Question.Kind == conversation.AskElse {
			about = reply.Question.About()
			continue
		}
		about = resumed.Question.About()
		if strings.Join(reply.Question.Says, "\n") != strings.Join(resumed.Question.Says, "\n") || reply.Question.ID != resumed.Question.ID || reply.Question.Kind != resumed.Question.Kind {
			t.Fatalf("after entry %d, %q: the talk asks %s %s %q, taken up it asks %s %s %q", i, e, reply.Question.Kind, reply.Question.ID, reply.Question.Says, resumed.Question.Kind, resumed.Question.ID, resumed.Question.Says)
		}
		if len(kept.Heard) != len(reply.Heard) {
			t.Errorf("after entry %d, %q: heard %v, and taken up %v", i, e, reply.Heard, kept.Heard)
		}
	}
}
