package conversation_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// found lists what an entry made of a fresh talk's state, as id=value; asked back, what may be chosen.
func found(talk *conversation.Talk, entries ...string) (findings, choices []string, reply conversation.Reply) {
	state, _ := talk.Begin(rulebase.Situation{})
	for _, e := range entries[:len(entries)-1] {
		state, _ = talk.Step(context.Background(), state, e)
	}
	before := len(state.Situation.Findings)
	state, reply = talk.Step(context.Background(), state, entries[len(entries)-1])
	for _, f := range state.Situation.Findings[before:] {
		findings = append(findings, f.Symptom+"="+f.Value.Word)
	}
	if reply.Question.Kind == conversation.AskWhich {
		for _, a := range reply.Question.Answers {
			choices = append(choices, a.Entry)
		}
	}
	return findings, choices, reply
}

// Whatever the shipped rulebase says that people say is heard: as its value, or, where it means several, as one to
// choose.
func TestEverySayingIsHeard(t *testing.T) {
	base := shipped.Base(t)
	talk, n := talkOver(base), 0
	for i := range base.Symptoms {
		s := &base.Symptoms[i]
		for _, says := range s.HeardAs {
			want := s.ID + "=" + says.Value
			for _, words := range says.Words {
				n++
				heard, _ := talk.Hear(rulebase.Situation{}, words)
				if len(heard.Findings) == 1 && heard.Findings[0].Symptom == s.ID && heard.Findings[0].Value.Word == says.Value {
					continue
				}
				findings, choices, reply := found(talk, words)
				if len(findings) > 0 || !slices.ContainsFunc(choices, func(c string) bool { return strings.HasPrefix(c, want) }) {
					t.Errorf("%q makes %q, not %s:\n%s", words, findings, want, strings.Join(reply.Lines(), "\n"))
				}
			}
		}
	}
	if n < 150 {
		t.Errorf("only %d sayings", n)
	}
}

// How people on the telephone say it; what is half of a saying, or denies one, is none.
func TestSayings(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, c := range []struct{ entry, want string }{
		{"There are no lights on it at all", "power_light=dark"},
		{"I think the PLC is in stop", "controller_mode=stop"},
		{"he says the handheld is dead", "handheld_here=does_not_start"},
		{"no lights, and the breaker is off", "power_light=dark isolator_position=open_or_out"},
		{"no lights and module light on", "power_light=dark"},
		{"It happens when the motor starts", "how_it_fails=when_motors_start"},
		{"drop 5 and drop 9 have the same address", "same_address_elsewhere=yes"},
		{"drops 5 and 9 both have the same address", "same_address_elsewhere=yes"},
		{"the cable is not cut", ""},
		{"not the same address twice", "same_address_elsewhere=no"},
		{"fuse blown", ""},
		{"they worked on it", "began_after=work_here"},
		{"never worked", "began_after=never_worked"},
	} {
		findings, _, reply := found(talk, c.entry)
		if got := strings.Join(findings, " "); got != c.want {
			t.Errorf("%q makes %q, not %q:\n%s", c.entry, got, c.want, strings.Join(reply.Lines(), "\n"))
		}
	}
	if _, choices, _ := found(talk, "blown fuse"); len(choices) != 4 {
		t.Errorf("a blown fuse can be %q", choices)
	}
	if got, _, _ := found(talk, "blown fuse", "2"); !slices.Equal(got, []string{"fuse_sign=shows_blown"}) {
		t.Errorf("the second is %q", got)
	}
}

// What was asked is answered before a saying of something else is heard.
func TestAnAnswerIsNoSaying(t *testing.T) {
	base := shipped.Base(t)
	for i := range base.Symptoms {
		if s := &base.Symptoms[i]; s.ID == "supply_light" {
			s.HeardAs = append(s.HeardAs, rulebase.Saying{Value: "dark", Words: []string{"dark"}})
			defer func() { s.HeardAs = s.HeardAs[:len(s.HeardAs)-1] }()
		}
	}
	talk := talkOver(base)
	if got, _, _ := found(talk, "dark"); !slices.Equal(got, []string{"supply_light=dark"}) {
		t.Errorf("unasked: %q", got)
	}
	if got, _, _ := found(talk, "ask run_light", "dark"); !slices.Equal(got, []string{"run_light=dark"}) {
		t.Errorf("asked for the run light: %q", got)
	}
}

// What was so before is not taken for what is so now.
func TestYesterdayIsNotNow(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for entry, want := range map[string]string{
		"it worked yesterday": "", "it worked until this morning": "", "it was fine two days ago": "", "it was fine yesterday, power light dark now": "power_light=dark",
		"the power light was lit until yesterday": "", "power light dark since yesterday": "power_light=dark", "it works": "drop_works=working",
	} {
		findings, choices, reply := found(talk, entry)
		if got := strings.Join(findings, " "); got != want {
			t.Errorf("%q makes %q, not %q:\n%s", entry, got, want, strings.Join(reply.Lines(), "\n"))
		}
		if strings.Contains(entry, "works") && len(choices) > 0 {
			t.Errorf("%q is asked back: %q", entry, choices)
		}
	}
}

// Two values of one light in one breath are asked back, and which of them comes last says nothing.
func TestTwoValuesInOneBreath(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, entry := range []string{"power light lit and dark", "power light dark and lit", "power light dark and pulsing"} {
		findings, choices, reply := found(talk, entry)
		if len(findings) > 0 || len(choices) != 3 {
			t.Errorf("%q makes %q and asks %q:\n%s", entry, findings, choices, strings.Join(reply.Lines(), "\n"))
		}
	}
}

// A thing named whole is no other thing whose question holds the same words.
func TestAModuleLightIsNoFieldPowerLight(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, entry := range []string{"module light is on", "the module's light is lit", "module light lit", "module light dark"} {
		findings, _, reply := found(talk, entry)
		if len(findings) > 0 || reply.Question.ID != "module_light" {
			t.Errorf("%q makes %q:\n%s", entry, findings, strings.Join(reply.Lines(), "\n"))
		}
	}
	for _, entry := range []string{"field power light lit", "field-power light of the module is lit"} {
		if findings, _, _ := found(talk, entry); !slices.Equal(findings, []string{"field_power_light=lit"}) {
			t.Errorf("%q makes %q", entry, findings)
		}
	}
}

// What would end a case is taken in only where nothing else was said: that something else works, or that the drop works
// on a condition, is asked back, and so is "ok" as an answer to another question.
func TestWellIsOnlyWhatIsSaidOfTheDrop(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, entry := range []string{"the PLC works", "the pump works", "the light works", "it hardly works", "works sometimes", "it only works when cold", "it works when I disconnect drop 7",
		"nobody worked on it", "the power supply works fine", "does it work?"} {
		if findings, _, reply := found(talk, entry); slices.Contains(findings, "drop_works=working") {
			t.Errorf("%q:\n%s", entry, strings.Join(reply.Lines(), "\n"))
		}
	}
	for _, ask := range []string{"isolator_position", "power_light", "host_says", "damage_look", "volts_at_drop", "module_light"} {
		for _, entry := range []string{"ok", "it is fine", "good", "all ok"} {
			if findings, _, reply := found(talk, "ask "+ask, entry); slices.Contains(findings, "drop_works=working") {
				t.Errorf("%s: %q:\n%s", ask, entry, strings.Join(reply.Lines(), "\n"))
			}
		}
	}
	for _, entry := range []string{"it works", "it works again", "the drop works", "it is fine"} {
		if findings, _, _ := found(talk, entry); !slices.Equal(findings, []string{"drop_works=working"}) {
			t.Errorf("%q makes %q", entry, findings)
		}
	}
	for _, entry := range []string{"it stopped working", "the drop stopped working", "it has stopped working this morning"} {
		if findings, _, _ := found(talk, entry); !slices.Equal(findings, []string{"drop_works=not_working"}) {
			t.Errorf("%q makes %q", entry, findings)
		}
	}
}

// A question is no statement, what was put right is not so now, and who leaves something out says each by itself.
func TestQuestionsAndWhatWasPutRight(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, entry := range []string{"is the breaker tripped?", "was the unit replaced?", "should the power light be on?", "I'm not sure whether the power light is on",
		"the breaker was tripped but I reset it", "the plug was loose and I tightened it", "the controller was in stop but we put it back in run",
		"all lights off except power", "not all lights are on", "everything but the power light is off", "drop 5 is dead ;; same on drop 6"} {
		entries := strings.Split(entry, " ;; ")
		if findings, _, reply := found(talk, entries...); len(findings) > 0 {
			t.Errorf("%q makes %q:\n%s", entry, findings, strings.Join(reply.Lines(), "\n"))
		}
	}
	if findings, _, _ := found(talk, "it was dead but now it works"); !slices.Equal(findings, []string{"drop_works=working"}) {
		t.Errorf("it works now: %q", findings)
	}
	state, _ := talk.Begin(rulebase.Situation{})
	for _, e := range []string{"drop 5 is dead", "modules 3 and 4 are dead"} {
		state, _ = talk.Step(context.Background(), state, e)
	}
	if len(state.Situation.Drops) != 1 {
		t.Errorf("modules are taken for drops: %v", state.Situation.Drops)
	}
}
