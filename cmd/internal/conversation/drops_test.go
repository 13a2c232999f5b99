package conversation_test

import (
	"context"
	"fmt"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// A drop has one supply: named with others it leaves those it was named with before.
func TestADropLeavesTheSupplyItWasOn(t *testing.T) {
	_, talk := smallTalk(t)
	for entry, want := range map[string]string{
		"supply 1 3":                           "[[1 3]]",
		"supply 1 3; supply 5":                 "[[1 3] [5]]",
		"supply 1 3; supply 1 5":               "[[3] [1 5]]",
		"supply 1; supply 1 3":                 "[[1 3]]",
		"supply 1 3; supply 5 7; supply 3 5 9": "[[1] [7] [3 5 9]]",
		"1 and 3 share a supply":               "[[1 3]]",
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		state, _ = talk.Step(context.Background(), state, entry)
		if got := fmt.Sprint(state.Situation.Supplies); got != want {
			t.Errorf("> %s\nare on one supply: %s", entry, got)
		}
	}
}

// The only drop that is not good is the one in question, and what was seen there is seen at this one.
func TestTheOnlyDropThatIsDownIsThisOne(t *testing.T) {
	_, talk := smallTalk(t)
	for entry, want := range map[string]int{"1-4 good, 5 dead": 5, "1-4 good, 5 comes and goes": 5, "1-5 good": 0, "5, 6 dead": 0, "this is drop 4; 5 dead": 4} {
		state, _ := talk.Begin(rulebase.Situation{})
		state, _ = talk.Step(context.Background(), state, entry)
		if state.Situation.Drop != want {
			t.Errorf("> %s\nis about drop %d", entry, state.Situation.Drop)
		}
	}
	state, _ := talk.Begin(rulebase.Situation{})
	for _, entry := range []string{"drop 5: power light dark; drop 6: power light lit", "5 dead"} {
		state, _ = talk.Step(context.Background(), state, entry)
	}
	if got := symptomsOf(state.Situation); got != "power_light=dark power_light=lit at 6 drop_works=dead " {
		t.Errorf("seen are %s", got)
	}
}

func symptomsOf(s rulebase.Situation) string {
	out := ""
	for _, f := range s.Findings {
		out += f.Symptom + "=" + f.Value.Word
		if f.Drop != 0 {
			out += fmt.Sprintf(" at %d", f.Drop)
		}
		if f.After != "" {
			out += " after " + f.After
		}
		out += " "
	}
	return out
}

// The word for what is down is no command where that is asked; elsewhere it is one.
func TestEverythingIsDown(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	w := &walk{t: t, talk: talk, state: state}
	if w.enter("dead", "everything"); w.reply.Kind != conversation.Detailed {
		t.Errorf("everything is %s", w.reply.Kind)
	}
	w.enter("technician at the drop, not alone")
	w.asked(conversation.AskDrops, "")
	if w.enter("everything"); len(w.state.Situation.Givens) != 1 || w.state.Situation.Givens[0].Value.Word != rulebase.ExtentAll {
		t.Errorf("given are %v", w.state.Situation.Givens)
	}
}
