package conversation_test

import (
	"context"
	"errors"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

func (w *walk) kinds() string {
	var kinds []string
	for _, p := range w.reply.Parts {
		kinds = append(kinds, string(p.Kind))
	}
	return strings.Join(kinds, " ")
}

// That something lapsed is said behind what was heard, and before all else.
func TestWhatLapsedIsSaidBehindWhatWasHeard(t *testing.T) {
	for entry, want := range map[string]string{
		"":                                    "notice summary question answers",
		"run light lit":                       "heard notice summary",
		"run light lit, it squeaks":           "heard not_heard notice summary",
		"it squeaks":                          "not_heard notice",
		"why":                                 "notice explanation",
		"confirm live_terminals, it squeaks":  "heard not_heard notice warning question answers",
		strings.Repeat("x", 4001):             "not_heard notice",
		"1-4 good, 5 dead, stop the press":    "heard not_heard notice",
		"somebody else takes over, operator.": "heard notice",
	} {
		w, now := clocked(t)
		w.enter("do measure_volts", "confirm live_terminals")
		*now = now.Add(conversation.ConfirmedFor + time.Second)
		w.enter(entry)
		if got := w.kinds(); !strings.HasPrefix(got, want) {
			t.Errorf("> %.50s\nsays %s, not %s", entry, got, want)
		}
	}
}

// An entry of 4000 bytes is listened to, one of 4001 is refused whole.
func TestTheLongestEntry(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	const says = "power light dark"
	for n, want := range map[int]int{3999: 1, 4000: 1, 4001: 0} {
		entry := says + strings.Repeat(" ", n-len(says))
		if next, _ := talk.Step(context.Background(), state, entry); len(next.Situation.Findings) != want {
			t.Errorf("of %d bytes %d findings are heard", n, len(next.Situation.Findings))
		}
		if s, heard := talk.Hear(rulebase.Situation{}, entry); len(s.Findings) != want || len(heard) != 1 || (heard[0].Outcome == conversation.Understood) != (want == 1) {
			t.Errorf("of %d bytes by itself %v is heard", n, heard)
		}
	}
}

// What is passed over is not asked again, and what it led up to is left alone.
func TestPassingOver(t *testing.T) {
	const nothing = "there is nothing here to pass over"
	for name, c := range map[string]struct {
		entries []string // before
		kind    conversation.QuestionKind
		pass    string
		says    string
		next    string // what is asked then
	}{
		"the place":         {[]string{"dead"}, conversation.AskPlace, "don't know", "not known where you are", "who"},
		"who":               {[]string{"dead", "at the drop"}, conversation.AskWho, "5", "not known whose hands are on the equipment", "alone"},
		"alone":             {[]string{"dead", "technician at the drop"}, conversation.AskAlone, "skip", "not known whether somebody is with you", "drops"},
		"the drops":         {[]string{"dead", "technician at the drop, not alone"}, conversation.AskDrops, "c", "not known how the other drops are", "symptom run_light"},
		"which drop":        {[]string{"5, 6 dead"}, conversation.AskThisDrop, "c", "not known which drop it is", "symptom drop_works"},
		"the complaint":     {[]string{""}, conversation.AskSymptom, "-", "drop works: not known", "place"},
		"a given":           {[]string{"ask terminator"}, conversation.AskGiven, "no idea", "terminator: not known", "symptom drop_works"},
		"a fact":            {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "do measure_volts"}, conversation.AskConfirm, "1", "not confirmed; measure volts is left alone", "symptom run_light"},
		"a step":            {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "do reseat_plug"}, conversation.AskStep, "3", `not now; "what else" keeps it on the list`, "symptom run_light"},
		"what was meant":    {[]string{"lights dark"}, conversation.AskWhich, "none", "left out: lights dark", "symptom drop_works"},
		"what was meant, 3": {[]string{"lights dark"}, conversation.AskWhich, "3", "left out: lights dark", "symptom drop_works"},
		"the others":        {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "what else"}, conversation.AskElse, "none", "going on", "symptom run_light"},
		"how it is now":     {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "done reseat_plug"}, conversation.AskDropNow, "3", "not known what the drop does after reseat plug", "given"},
		"the proof":         {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "done reseat_plug, works now"}, conversation.AskProof, "3", "not watched after reseat plug", "end"},
		"the end":           {[]string{"technician at the drop, not alone; dead; this drop alone; any tool", "done reseat_plug, works now", "still works"}, conversation.AskEnd, "skip", nothing, "end"},
		"none, elsewhere":   {[]string{"dead"}, conversation.AskPlace, "none", `Does "none" mean this?`, "which"},
		"go on, elsewhere":  {[]string{"dead"}, conversation.AskPlace, "go on", `What does "go on" mean?`, "which"},
	} {
		_, talk := smallTalk(t)
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter(c.entries...)
		w.asked(c.kind, "")
		was := w.state.Pending
		if out := w.enter(c.pass); !strings.Contains(out, c.says) {
			t.Errorf("%s: says\n%s", name, out)
		}
		if q := w.state.Pending; strings.TrimSpace(string(q.Kind)+" "+map[bool]string{true: q.ID}[q.Kind == conversation.AskSymptom]) != c.next {
			t.Errorf("%s: asks then %s %s", name, q.Kind, q.ID)
		}
		for range 3 { // nor later
			if w.enter("run light lit", "undo", "run light lit"); c.next != "end" && c.says != nothing && !strings.Contains(name, "elsewhere") && w.state.Pending.Kind == was.Kind && w.state.Pending.ID == was.ID {
				t.Errorf("%s: asked again", name)
			}
		}
	}
	w := from(t, atTheDrop(), func(bend) {})
	if w.asked(conversation.AskMore, ""); !strings.Contains(w.enter("skip"), nothing) {
		t.Errorf("where nothing is asked: %v", w.reply.Lines())
	}
	w = from(t, atTheDrop(), func(b bend) { b.enough(); b.next("power_light", 0.5) })
	w.asked(conversation.AskMore, "")
	if out := w.enter("go on asking"); !strings.Contains(out, "going on") {
		t.Error(out)
	}
	w.asked(conversation.AskSymptom, "power_light")
}

// A number that is no answer is refused with those there are; at the question for the drops it
// may be one of them.
func TestNumbersThatAreNoAnswer(t *testing.T) {
	_, talk := smallTalk(t)
	for _, c := range []struct {
		entries []string
		number  string
		says    string
	}{
		{[]string{"dead"}, "0", "there are answers from 1 to 4 here"},
		{[]string{"dead"}, "5", "there are answers from 1 to 4 here"},
		{[]string{"dead"}, "#99.", "there are answers from 1 to 4 here"},
		{[]string{"dead"}, "#2.", "you are at the drop"},
		{[]string{"dead"}, "at the bench", "you are at the bench"},
		{[]string{"dead", "technician at the drop, not alone"}, "7", `if it is a drop, say how it is: "7 dead"; the answers are a to c`},
		{[]string{"dead", "technician at the drop, not alone"}, "A", "down: this drop alone"},
		{[]string{"dead", "technician at the drop, not alone"}, "every drop", "down: every drop"},
		{[]string{"ask drop_volts"}, "7", "drop volts: 7 V"},
		{[]string{"ask drop_volts"}, "c", "drop volts: good"},
		{nil, "7", "it fits nothing asked here"},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter(c.entries...)
		if out := w.enter(c.number); !strings.Contains(out, c.says) {
			t.Errorf("> %q\n> %s\nsays\n%s\nnot %q", c.entries, c.number, out, c.says)
		}
	}
}

// What is a command by itself, with or without a mark behind it.
func TestCommandsWithMarks(t *testing.T) {
	_, talk := smallTalk(t)
	for entry, want := range map[string]conversation.ReplyKind{
		"why?": conversation.Explained, "Help!": conversation.Explained, "??": conversation.Explained, "what else is there?": conversation.Explained, "details.": conversation.Detailed, "known": conversation.Explained,
		"list light": conversation.Explained, "save hill-7.yaml": conversation.Saved, "quit": conversation.Stopped, "why not": conversation.AskedBack, "why now": conversation.AskedBack, "?": conversation.Asked,
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		if w.enter("dead", entry); w.reply.Kind != want {
			t.Errorf("> %s\nis %s:\n%s", entry, w.reply.Kind, strings.Join(w.reply.Lines(), "\n"))
		}
	}
}

// Which steps may be meant where it is not said what was done: those on offer; where it is said how
// the drop is since, those that can have changed it.
func TestWhatWasDoneIsAskedBack(t *testing.T) {
	all := func(b bend) {
		for _, id := range strings.Fields("power_light measure_volts swap_unit reseat_plug") {
			b.next(id, 0.5)
		}
	}
	for _, c := range []struct {
		change func(bend)
		entry  string
		want   string
		says   string
	}{
		{all, "done", "which done | done measure_volts; done swap_unit; done reseat_plug; none of these", `What does "done" mean?`},
		{all, "done, works now", "which done, works now | done swap_unit, works now; done reseat_plug, works now; none of these", ""},
		{all, "done, still down.", "which done, still down. | done swap_unit, still down; done reseat_plug, still down; none of these", ""},
		{all, "did it begin after a storm", "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know", "after storm: yes"},
		{all, "tried it", "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know", `Not understood: "tried it"`},
		{func(b bend) { b.next("power_light", 0.5) }, "done", "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know", "no step is in hand"},
		{func(b bend) { b.next("measure_volts", 0.5); b.next("power_light", 0.5) }, "done, works now", "confirm live_terminals measure_volts | not now; confirm live_terminals", "no step is in hand"},
		{all, "done reseat plug, works now", "proof reseat_plug | still works; down again; don't know", "after \"reseat plug\" the drop works"},
		{all, "done reseat plug, no change", "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know", "after \"reseat plug\" the drop is still down"},
		{all, "no change", "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know", "the same as what?"},
		{all, "done swap_unit", "symptom drop_works swap_unit | drop_works=working; drop_works=dead; drop_works=comes_and_goes; don't know", "done: Put a spare unit in"},
	} {
		w := from(t, atTheDrop(), c.change)
		out := w.enter(c.entry)
		if got := asks(w.state.Pending); got != c.want || !strings.Contains(out, c.says) {
			t.Errorf("> %s\nasks  %s\nwanted %s\n%s", c.entry, got, c.want, out)
		}
	}
	w := from(t, atTheDrop(), all)
	w.enter("done swap_unit")
	if out := w.enter("done"); !strings.Contains(out, "it was done already, and what it showed is asked for here") {
		t.Error(out)
	}
	w.enter("done reseat_plug") // another one
	w.asked(conversation.AskSymptom, "drop_works")
	if len(w.state.Situation.Done) != 2 {
		t.Errorf("done is %v", w.state.Situation.Done)
	}
}

// A step that was taken up and cannot be offered any more is forgotten; why is said, but where it was done or
// the drop works.
func TestAStepTakenUpIsForgottenWhereItCannotBeDone(t *testing.T) {
	for name, c := range map[string]struct {
		why  engine.Why
		want string // "": it goes on waiting
		says bool
	}{
		"tools": {engine.WhyTools, "symptom", true}, "well": {engine.WhyWell, "symptom", false}, "done": {engine.WhyDone, "symptom", false}, "unconfirmed": {engine.WhyUnconfirmed, "confirm", false}, "gone": {"", "symptom", false},
	} {
		seen := false
		w := from(t, atTheDrop(), func(b bend) {
			b.next("power_light", 0.5)
			switch {
			case !seen:
				b.next("measure_volts", 0.4)
			case c.why != "":
				b.withhold("measure_volts", c.why, "live_terminals", 0.4)
			}
		})
		w.enter("do measure_volts", "confirm live_terminals")
		w.asked(conversation.AskStep, "measure_volts")
		seen = true
		out := w.enter("run light dark")
		if q := w.state.Pending; string(q.Kind) != c.want || strings.Contains(out, "Not offered: ") != c.says {
			t.Errorf("%s: asks %s %s\n%s", name, q.Kind, q.ID, out)
		}
	}
}

// One result of a test leads to the question for its others; a swap, and what is seen at another
// drop, lead to none.
func TestTheOtherResultsAreAskedFor(t *testing.T) {
	for _, c := range []struct{ step, entry, want string }{
		{"look_at_controller", "run", "symptom hum look_at_controller"},
		{"look_at_controller", "no hum", "symptom controller_mode look_at_controller"},
		{"look_at_controller", "no hum, controller run", "symptom power_light "},
		{"look_at_controller", "run light lit", "step look_at_controller "},
		{"look_at_controller", "drop 4: hum yes", "step look_at_controller "},
	} {
		w := from(t, atTheDrop(), func(b bend) { b.next("power_light", 0.5); b.next("look_at_controller", 0.4) })
		w.enter("do "+c.step, c.entry)
		if q := w.state.Pending; string(q.Kind)+" "+q.ID+" "+q.For != c.want {
			t.Errorf("> %s\nasks %s %s for %q", c.entry, q.Kind, q.ID, q.For)
		}
	}
}

// What does not fit, and advice, is told once; the summary is left out where it says the same, and an
// empty entry shows it.
func TestNothingIsToldTwice(t *testing.T) {
	w := from(t, atTheDrop(), func(b bend) {
		b.next("power_light", 0.5)
		if len(b.d.Situation.Findings) > 1 {
			b.d.Conflicts = []engine.Conflict{{Says: "power_light and run_light do not fit."}}
			b.d.Tells = []engine.Tell{{Says: "Ask the shift."}, {Says: "Ask the shift."}}
		}
		b.likely("reseat_plug", 0, 0.3)
		if len(b.d.Situation.Findings) > 3 {
			b.likely("reseat_plug", 0, 0.6)
		}
	})
	w.enter("run light lit")
	w.says(conversation.PartNotice, "Does not fit: power light and run light do not fit.", "Note: Ask the shift.")
	if !strings.Contains(w.kinds(), "summary") {
		t.Error("no summary")
	}
	w.enter("hum no")
	w.says(conversation.PartNotice)
	if strings.Contains(w.kinds(), "summary") {
		t.Error("the summary is said again")
	}
	if w.enter(""); w.kinds() != "summary question answers" {
		t.Errorf("an empty entry shows %s", w.kinds())
	}
	w.enter("controller run")
	if !strings.Contains(w.kinds(), "summary") {
		t.Error("a summary that says something else is left out")
	}
}

// The summary that an empty line begins with is not said again by the next entry.
func TestTheFirstSummaryIsNotSaidTwice(t *testing.T) {
	talk := bent(t, func(d *engine.Diagnosis) {
		d.Causes = slices.Clone(d.Causes)
		b := bend{d, d.Base}
		b.clear()
		b.next("power_light", 0.5)
		d.Outside, d.None, d.UnitOut = 0, 0, 0
	})
	s := atTheDrop()
	s.Alone = true
	state, _ := talk.Begin(s)
	w := &walk{t: t, talk: talk, state: state}
	if w.enter(""); w.kinds() != "summary question answers" {
		t.Errorf("an empty line shows %s", w.kinds())
	}
	if w.enter("hum no"); w.kinds() != "heard question answers" {
		t.Errorf("the next entry shows %s", w.kinds())
	}
}

// Where no diagnosis can be made nothing of an entry counts, and the reply says so.
func TestADiagnosisThatFails(t *testing.T) {
	base, err := small()
	if err != nil {
		t.Fatal(err)
	}
	fails := errors.New("no room left")
	talk := conversation.New(base, func(context.Context, rulebase.Situation, engine.Options) (*engine.Diagnosis, error) {
		return nil, fails
	})
	_, sound := smallTalk(t)
	state, _ := sound.Begin(rulebase.Situation{})
	state, _ = sound.Step(context.Background(), state, "technician at the drop, not alone; dead; this drop alone")
	state, _ = sound.Step(context.Background(), state, "run light lit")
	for _, entry := range []string{"power light dark", "", "why", "why not reseat_plug", "why not supply_fuse_open", "what else", "what would you need", "details", "do reseat_plug", "done", "done reseat_plug", "skip", "undo", "ask hum", "1"} {
		next, reply := talk.Step(context.Background(), state, entry)
		if says := strings.Join(reply.Lines(), "\n"); !strings.Contains(says, "That did not work: no room left.") || reply.Kind != conversation.AskedBack {
			t.Errorf("> %s\nis %s:\n%s", entry, reply.Kind, says)
		}
		if len(next.Situation.Findings) != len(state.Situation.Findings) || len(next.Situation.Done) > 0 || len(next.Waiting) != len(state.Waiting) {
			t.Errorf("> %s\ncounts all the same", entry)
		}
	}
	if _, reply := talk.Resume(context.Background(), state.Situation, nil, state.Memory()); !strings.Contains(strings.Join(reply.Lines(), "\n"), "That did not work: no room left.") {
		t.Errorf("taken up again: %v", reply.Lines())
	}
}

// What is passed over is that alone: other results of the test, and other steps taken up, go on waiting.
func TestWhatElseWaitsGoesOnWaiting(t *testing.T) {
	w := from(t, atTheDrop(), func(b bend) {
		b.next("power_light", 0.5)
		b.next("look_at_controller", 0.4)
		b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.4)
		b.withhold("swap_unit", engine.WhyUnconfirmed, "machine_can_start", 0.3)
	})
	w.enter("done look_at_controller")
	w.asked(conversation.AskSymptom, "controller_mode")
	before := w.state
	w.enter("run")
	w.asked(conversation.AskSymptom, "hum")
	w.state = before
	w.enter("no hum") // of the other
	w.asked(conversation.AskSymptom, "controller_mode")
	w.state = before
	w.enter("skip")
	w.asked(conversation.AskSymptom, "hum")
	w.enter("ask terminator")
	w.asked(conversation.AskGiven, "terminator")
	w.enter("skip")
	w.asked(conversation.AskSymptom, "hum")
	w.enter("skip", "do swap_unit", "do measure_volts")
	w.asked(conversation.AskConfirm, "live_terminals")
	w.enter("not now")
	w.asked(conversation.AskConfirm, "machine_can_start")
	w.enter("not now")
	w.asked(conversation.AskSymptom, "power_light")
}

// Only a question that is there is asked for by its name.
func TestAskingForAQuestion(t *testing.T) {
	for entry, want := range map[string]string{"ask hum": "about hum", "ASK Hum": "about hum", "ask xyzzy": "Not understood: \"ask xyzzy\"", "hum": "hum: yes", "run_light": "Is the run light lit?"} {
		w := from(t, atTheDrop(), func(b bend) { b.next("power_light", 0.5) })
		if out := w.enter(entry); !strings.Contains(out, want) {
			t.Errorf("> %s\nsays\n%s", entry, out)
		}
	}
}

// An answer to what an entry meant counts, though what was kept of the talk asks for it no more.
func TestAnAnswerToAnAskBackThatIsGone(t *testing.T) {
	_, talk := smallTalk(t)
	about := conversation.About{Kind: conversation.AskWhich, ID: "lights dark"}
	state, _ := talk.Answer(context.Background(), atTheDrop(), nil, conversation.Memory{}, about, "run_light=dark", true)
	if f := state.Situation.Findings; len(f) != 2 || f[1].Symptom != "run_light" {
		t.Errorf("taken in is %v", f)
	}
	about = conversation.About{Kind: conversation.AskSymptom, ID: "gone"} // a rulebase that knows it no more
	state, _ = talk.Answer(context.Background(), atTheDrop(), nil, conversation.Memory{}, about, "run light dark", false)
	if f := state.Situation.Findings; len(f) != 2 || f[1].Symptom != "run_light" {
		t.Errorf("taken in is %v", f)
	}
}
