package conversation_test

import (
	"context"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// A caller is an invented person at an invented drop in which one cause is there.
// The caller answers what that cause most likely shows, does as told, and knows
// nothing of causes.
type caller struct {
	base   *rulebase.Base
	cause  int
	slots  []rulebase.Slot
	fixed  bool // the cause was taken away
	wrong  int  // remedies that changed nothing
	asked  int
	givens map[string]string
}

func newCaller(base *rulebase.Base, cause int) *caller {
	c := &caller{base: base, cause: cause, givens: map[string]string{"loss_of_bus": "off", "classified_area": "no", "harmless_points": "yes", "line": "token_pair"}}
	c.slots = make([]rulebase.Slot, len(base.Names))
	for i := range c.slots {
		c.slots[i].Number = math.NaN()
	}
	for i := range base.Givens {
		if d := base.Givens[i].Default; d != nil {
			c.slots[base.Givens[i].Name] = *d
		}
	}
	for i := range base.Causes {
		c.slots[base.Causes[i].Slot] = rulebase.Slot{Word: 1, Rank: rulebase.FromPerson}
	}
	c.slots[base.Causes[cause].Slot].Word = 2
	for i := range base.Conditions {
		c.slots[base.Conditions[i].Slot] = rulebase.Slot{Word: 1, Rank: rulebase.FromPerson}
	}
	for range base.Conditions { // what would be true: the least fixpoint, slowly
		for i := range base.Conditions {
			if base.Conditions[i].When.Eval(c.slots) == rulebase.True {
				c.slots[base.Conditions[i].Slot].Word = 2
			}
		}
	}
	return c
}

// shows is the value of a symptom that the cause most likely shows; "" where it has no rows.
func (c *caller) shows(symptom int) string {
	s := &c.base.Symptoms[symptom]
	for _, row := range s.Shows {
		if row.When == nil || row.When.Eval(c.slots) == rulebase.True {
			best := 0
			for v, p := range row.P {
				if p > row.P[best] {
					best = v
				}
			}
			return s.Values[best]
		}
	}
	return ""
}

// takes says whether a step takes the cause away.
func (c *caller) takes(id string) bool {
	for _, h := range c.base.Causes[c.cause].Remedies {
		if c.base.Remedies[h.Remedy].ID == id {
			return true
		}
	}
	ref, _ := c.base.Lookup(id)
	return ref.Kind == rulebase.KindTest && slices.Contains(c.base.Tests[ref.Index].PutsRight, c.cause)
}

// answer is what the caller enters at a question.
func (c *caller) answer(q conversation.Question) string {
	c.asked++
	switch q.Kind {
	case conversation.AskSymptom:
		ref, _ := c.base.Lookup(q.ID)
		if v := c.shows(ref.Index); v != "" {
			return q.ID + "=" + v
		}
	case conversation.AskGiven:
		if v, ok := c.givens[q.ID]; ok {
			return q.ID + "=" + v
		}
	case conversation.AskMore:
		for _, a := range q.Answers { // somebody comes, or brings something
			if strings.HasSuffix(a.Entry, "is here") || strings.HasPrefix(a.Entry, "I have") {
				return a.Key
			}
		}
		return "quit"
	case conversation.AskConfirm:
		return "confirm " + q.ID
	case conversation.AskDropNow, conversation.AskProof:
		if c.fixed = c.fixed || c.takes(q.ID); c.fixed {
			return "works now"
		}
		return "still down"
	case conversation.AskStep:
		ref, _ := c.base.Lookup(q.ID)
		if ref.Kind != rulebase.KindRemedy {
			return "done"
		}
		if c.fixed = c.takes(q.ID); c.fixed {
			return "done, works now"
		}
		c.wrong++
		return "done, still down"
	}
	return "don't know"
}

// followsTheEngine holds that no test is asked for once the engine says that it is
// enough, as long as a remedy that it then advises is on offer.
func followsTheEngine(t *testing.T, reply conversation.Reply) {
	t.Helper()
	d := reply.Diagnosis
	if d == nil || !d.Possible || !d.Advice.Enough || engine.IsWell(d) || reply.Question.Kind != conversation.AskStep {
		return
	}
	lead := func(st *rulebase.Step) bool {
		return slices.ContainsFunc(d.Advice.Lead.Remedies, func(r int) bool { return &d.Base.Remedies[r] == st })
	}
	if !slices.ContainsFunc(d.Next, func(p engine.Proposal) bool { return lead(p.Step) }) {
		return
	}
	ref, _ := d.Base.Lookup(reply.Question.ID)
	if ref.Kind != rulebase.KindRemedy || !lead(&d.Base.Remedies[ref.Index]) {
		t.Errorf("the engine says that it is enough, %v; the conversation asks for %s", d.Advice.Lead.Lists, reply.Question.ID)
	}
	if text := strings.Join(reply.Lines(), "\n"); !strings.Contains(text, "Enough is known") {
		t.Errorf("it is not said that it is enough:\n%s", text)
	}
}

// TestLedToTheCause lets callers be led, each from "it does not work" to a working
// drop: by default for every fortieth cause of the shipped rulebase, with
// DOWNDROP_DEEP for every one, with -short for two.
func TestLedToTheCause(t *testing.T) {
	base := shipped.Base(t)
	talk := talkOver(base)
	every := 40
	switch {
	case testing.Short(): // with the race detector each caller takes many seconds
		every = 100
	case os.Getenv("DOWNDROP_DEEP") != "":
		every = 1
	}
	led, all, wrong, asked := 0, 0, 0, 0
	for cause := 0; cause < len(base.Causes); cause += every {
		c := newCaller(base, cause)
		state, _ := talk.Begin(rulebase.Situation{})
		state, reply := talk.Step(context.Background(), state, "technician at the drop, not alone, it does not work")
		for c.asked < 90 && reply.Kind != conversation.Finished && reply.Kind != conversation.Stopped {
			state, reply = talk.Step(context.Background(), state, c.answer(reply.Question))
			followsTheEngine(t, reply)
		}
		all++
		if reply.Kind == conversation.Finished && c.fixed {
			led, wrong, asked = led+1, wrong+c.wrong, asked+c.asked
		} else {
			t.Logf("%s: not led there after %d entries and %d remedies in vain; asked last: %s %s", base.Causes[cause].ID, c.asked, c.wrong, reply.Question.Kind, reply.Question.ID)
		}
	}
	t.Logf("%d of %d callers led to a working drop, with %.1f entries and %.2f remedies in vain each", led, all, float64(asked)/float64(max(1, led)), float64(wrong)/float64(max(1, led)))
	if led*10 < all*8 {
		t.Errorf("only %d of %d callers were led to a working drop", led, all)
	}
}
