package conversation_test

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// clocked is a talk at the drop with a clock of the test's own.
func clocked(t *testing.T) (w *walk, now *time.Time) {
	_, talk := smallTalk(t)
	at := time.Date(2031, 5, 28, 8, 0, 0, 0, time.UTC)
	talk = talk.WithClock(func() time.Time { return at })
	state, _ := talk.Begin(rulebase.Situation{})
	w = &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, drop 5, not alone; drop dead; power light lit; run light dark; hum no; controller run; I have a multimeter; outputs_hold=off", "this drop alone")
	return w, &at
}

func (w *walk) confirmed(want string) {
	w.t.Helper()
	if got := strings.Join(w.state.Situation.Confirmed, " "); got != want {
		w.t.Errorf("confirmed is %q, %q is wanted", got, want)
	}
}

// twoThatMove is a talk over a rulebase with two remedies that bring a unit back, and nothing harmless to be waited for.
func twoThatMove(t *testing.T) *walk {
	talk := changed(t, "part: unit, per_thousand: 20, source: practice, remedy: exchange_unit, more_likely", "part: unit, per_thousand: 20, source: practice, remedies: [{do: exchange_card, helps: often}, exchange_unit], more_likely",
		"stops: drop, hazard: [motion], ends_as", "stops: drop, brings_back: true, ends_as",
		"remedies:\n  replace_fuse", "remedies:\n  exchange_card: {do: Exchange the line card, minutes: 9, at: [field], who: technician, brings_back: true, ends_as: part_replaced, proof: {watch: drop_works, minutes: 10}, warnings: [machine_can_start]}\n  replace_fuse")
	state, _ := talk.Begin(rulebase.Situation{}) // nobody knows the time
	return &walk{t: t, talk: talk, state: state}
}

// Before each step that moves something its fact is asked anew: for another step, and for the
// same one again.
func TestAMotionStepIsConfirmedEachTime(t *testing.T) {
	w := twoThatMove(t)
	w.enter("technician at the drop, not alone; power light lit; I have a spare unit; outputs_hold=off")
	w.enter("do exchange_unit")
	w.asked(conversation.AskConfirm, "machine_can_start")
	if says := w.state.Pending.Answers[1].Says; !strings.Contains(says, "Nobody is in reach of the machine") {
		t.Errorf("the answer does not name the fact: %q", says)
	}
	w.enter("confirm machine_can_start")
	w.asked(conversation.AskStep, "exchange_unit")
	w.enter("do exchange_card")
	w.asked(conversation.AskConfirm, "machine_can_start") // it was confirmed for the other
	w.enter("do exchange_unit")
	w.asked(conversation.AskStep, "exchange_unit") // it still is
	w.enter("done, still down")
	w.confirmed("")
	w.enter("do exchange_card")
	w.asked(conversation.AskConfirm, "machine_can_start")
	w.enter("confirm machine_can_start", "run light lit") // somebody looked meanwhile
	w.confirmed("")
	w.enter("do exchange_card")
	w.asked(conversation.AskConfirm, "machine_can_start")
	w.enter("confirm machine_can_start")
	w.asked(conversation.AskStep, "exchange_card")
	w.enter("cannot be done now")
	w.confirmed("")
	w.enter("undo")
	w.asked(conversation.AskStep, "exchange_card")
	w.confirmed("machine_can_start")
}

// Other facts are asked once for each state of isolation.
func TestOtherFactsStandUntilTheIsolationChanges(t *testing.T) {
	w, _ := clocked(t)
	w.enter("do measure_volts")
	w.asked(conversation.AskConfirm, "live_terminals")
	w.enter("confirm live_terminals", "24 V", "run light lit", "do measure_volts")
	w.asked(conversation.AskStep, "measure_volts")
	w.confirmed("live_terminals")
	w.enter("do measure_pair") // it stops the bus, and wants no word for that here: nothing grave is in it
	w.asked(conversation.AskStep, "measure_pair")
	w.enter("60 ohm")
	w.confirmed("")
	w.enter("do measure_volts")
	w.asked(conversation.AskConfirm, "live_terminals")
}

// None stands for longer than half an hour, for another person, or at another drop.
func TestConfirmedLapses(t *testing.T) {
	const says = "has to be confirmed anew"
	w, now := clocked(t)
	w.enter("do measure_volts", "confirm live_terminals")
	*now = now.Add(conversation.ConfirmedFor)
	if out := w.enter(""); strings.Contains(out, says) {
		t.Error("it lapsed at the half hour")
	}
	w.asked(conversation.AskStep, "measure_volts")
	*now = now.Add(time.Second)
	if out := w.enter(""); !strings.Contains(out, says) {
		t.Errorf("nothing says that it lapsed:\n%s", out)
	}
	w.asked(conversation.AskConfirm, "live_terminals")
	w.confirmed("")
	w.enter("confirm live_terminals")
	w.asked(conversation.AskStep, "measure_volts")
	if out := w.enter("the electrician is here now"); !strings.Contains(out, says) {
		t.Errorf("nothing says that it lapsed for another person:\n%s", out)
	}
	w.confirmed("")
	w.enter("do measure_volts", "confirm live_terminals")
	w.confirmed("live_terminals")
	*now = now.Add(-2 * cases.MaxClockJump) // a clock that was set back says nothing of how long ago it was
	w.enter("")
	w.confirmed("")
	w.enter("confirm live_terminals", "this is drop 6")
	if w.state.Situation.Drop == 6 {
		w.confirmed("")
	} else {
		t.Errorf("drop %d", w.state.Situation.Drop)
	}
}

// A kept case says of its conversation what stood confirmed, from the terminal to the page and back;
// what was confirmed before it was handed over does not stand.
func TestConfirmedIsKeptWithTheCase(t *testing.T) {
	w, now := clocked(t)
	w.enter("do measure_volts", "confirm live_terminals")
	var events []cases.Event
	say := func(kind cases.Kind, body any) {
		e, err := cases.Seal(cases.Draft{ID: fmt.Sprint("e", len(events)), Subject: cases.Subject{Kind: cases.AboutCase, ID: "c"}, Kind: kind, Version: 1, At: *now, Body: cases.Body(body)},
			"yard", cases.Head{Seq: int64(len(events))}, int64(len(events)+1))
		if err != nil {
			t.Fatal(err)
		}
		events = append(events, e)
	}
	s := &w.state.Situation
	say(cases.KindSituation, cases.Circumstances{At: s.At, Who: s.Who.String(), Drop: s.Drop, Confirmed: s.Confirmed})
	say(cases.KindTalked, cases.Talked{Memory: cases.Body(w.state.Memory())})
	stands := func() []string {
		c := cases.Fold(events)
		m, err := conversation.MemoryOf(c)
		if err != nil {
			t.Fatal(err)
		}
		got := w.talk.Standing(c.Situation, m).Confirmed
		if state, _ := w.talk.Resume(context.Background(), c.Situation, nil, m); !slices.Equal(state.Situation.Confirmed, got) {
			t.Errorf("gone on with, %v stand; else %v", state.Situation.Confirmed, got)
		}
		return got
	}
	if got := stands(); !slices.Equal(got, []string{"live_terminals"}) {
		t.Fatalf("kept are %v", got)
	}
	*now = now.Add(time.Minute)
	say(cases.KindSituation, cases.Circumstances{At: s.At, Who: s.Who.String(), Drop: s.Drop, Confirmed: append(slices.Clone(s.Confirmed), "bus_stops")}) // by another door
	if got := stands(); len(got) != 2 {
		t.Errorf("with what another door said: %v", got)
	}
	*now = now.Add(conversation.ConfirmedFor - 30*time.Second)
	if got := stands(); !slices.Equal(got, []string{"bus_stops"}) {
		t.Errorf("after half an hour: %v", got)
	}
	say(cases.KindHandedOver, cases.HandOver{To: rulebase.Field})
	if got := stands(); len(got) != 0 {
		t.Errorf("handed over: %v", got)
	}
	*now = now.Add(time.Second)
	say(cases.KindSituation, cases.Circumstances{At: s.At, Who: "engineer", Drop: s.Drop, Confirmed: []string{"live_terminals", "bus_stops"}})
	if got := stands(); len(got) != 0 {
		t.Errorf("for another person: %v", got)
	}
	var m conversation.Memory // one written before acknowledgements were kept
	if err := json.Unmarshal([]byte(`{"settled":["hum"]}`), &m); err != nil || len(w.talk.Standing(rulebase.Situation{Confirmed: []string{"bus_stops"}}, m).Confirmed) != 0 {
		t.Errorf("what nobody remembers confirming stands: %v", err)
	}
}

// Whoever takes over did not see what was confirmed: it is asked anew, with who is there and whether they are
// alone where that was not said.
func TestTakingOverLapses(t *testing.T) {
	w, _ := clocked(t)
	w.enter("confirm machine_can_start")
	w.confirmed("machine_can_start")
	before := w.state
	w.enter("somebody else takes over")
	w.confirmed("")
	w.asked(conversation.AskWho, "")
	w.enter("electrician")
	w.asked(conversation.AskAlone, "")
	w.state = before
	w.enter(conversation.TakeOverEntry(rulebase.Technician, true)) // of the same craft, and at the same place
	w.confirmed("")
	if s := w.state.Situation; s.Who != rulebase.Technician || !s.Alone || s.At != rulebase.Field || len(s.Findings) != len(before.Situation.Findings) {
		t.Errorf("then it is %+v", s)
	}
	if w.state.Pending.Kind == conversation.AskWho || w.state.Pending.Kind == conversation.AskAlone {
		t.Errorf("asked again: %s", w.state.Pending.Kind)
	}
}

// What was confirmed for one of two such steps is taken back with that one alone.
func TestPassingOverTakesBackWhatWasConfirmedForIt(t *testing.T) {
	w := twoThatMove(t)
	w.enter("technician at the drop, not alone; power light lit; I have a spare unit; outputs_hold=off")
	w.enter("do exchange_unit", "confirm machine_can_start", "do exchange_card", "confirm machine_can_start", "cannot be done now")
	w.confirmed("machine_can_start")
	w.enter("do exchange_unit")
	w.asked(conversation.AskStep, "exchange_unit")
	w.enter("do exchange_card")
	w.asked(conversation.AskConfirm, "machine_can_start")
}

// A step that names two facts asks for both; the first question says that the other comes, and one
// entry can name both.
func TestAStepAsksForAllItsFacts(t *testing.T) {
	talk := changed(t, "warnings: [machine_can_start]", "warnings: [machine_can_start, isolate_first, bus_stops]", "stops: drop, hazard: [motion], ends_as", "stops: drop, brings_back: true, ends_as")
	state, _ := talk.Begin(rulebase.Situation{})
	w := &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, not alone; drop dead; power light lit; run light dark; hum no; controller run; I have a spare unit; outputs_hold=off", "this drop alone")
	both := func(says ...string) {
		w.t.Helper()
		if typed := strings.Join(w.state.Pending.Typed, " "); typed != strings.Join(says, " ") {
			t.Errorf("says %q", typed)
		}
	}
	w.enter("do exchange_unit")
	w.asked(conversation.AskConfirm, "machine_can_start")
	both("If that is so, name it: \"confirm machine_can_start\". If not, leave the step alone.", "Then this step asks for isolate_first, bus_stops; one entry can name several.")
	before := w.state
	w.enter("confirm machine_can_start")
	w.asked(conversation.AskConfirm, "isolate_first")
	both("If that is so, name it: \"confirm isolate_first\". If not, leave the step alone.", "Then this step asks for bus_stops; one entry can name several.")
	w.enter("confirm isolate_first")
	w.asked(conversation.AskConfirm, "bus_stops")
	both("If that is so, name it: \"confirm bus_stops\". If not, leave the step alone.")
	facts := w.talk.Facts(w.state.Situation, w.state.Memory(), w.state.Pending)
	var all []string
	for _, f := range facts {
		all = append(all, fmt.Sprint(f.Warning, " ", f.Word, " ", f.Stands))
	}
	if got := strings.Join(all, "; "); got != "machine_can_start DANGER true; isolate_first WARNING true; bus_stops WARNING false" {
		t.Errorf("the facts are %s", got)
	}
	if says := facts[0].Says; says != "Nobody is in reach of the machine and it is locked out by the site's rules. Outputs can come on when the unit starts." {
		t.Errorf("the fact says %q", says)
	}
	for _, q := range []conversation.Question{{Kind: conversation.AskStep, ID: "exchange_unit", For: "exchange_unit"}, {Kind: conversation.AskConfirm, ID: "isolate_first", For: "gone"}} {
		if facts := w.talk.Facts(w.state.Situation, w.state.Memory(), q); facts != nil {
			t.Errorf("%s for %s has the facts %v", q.Kind, q.For, facts)
		}
	}
	w.enter("confirm bus_stops")
	w.asked(conversation.AskStep, "exchange_unit")
	w.state = before
	w.enter(conversation.ConfirmEntry([]string{"machine_can_start", "isolate_first", "bus_stops"}))
	w.asked(conversation.AskStep, "exchange_unit")
	w.confirmed("machine_can_start isolate_first bus_stops")
}

// Work that switches something takes back what stands; other work does not.
func TestWorkThatSwitchesTakesBackWhatStands(t *testing.T) {
	for done, want := range map[string]string{"fit_terminator": "", "exchange_unit": "", "reseat_plug": "live_terminals", "replace_fuse": "live_terminals"} {
		w, _ := clocked(t)
		w.enter("do measure_volts", "confirm live_terminals", "done "+done+", still down")
		if len(w.state.Situation.Done) != 1 {
			t.Fatalf("%s is not done: %v", done, w.reply.Lines())
		}
		w.confirmed(want)
	}
}

// Which of what was confirmed stands: for half an hour, at the clock's slack, and for who stood where.
func TestWhatStands(t *testing.T) {
	_, talk := smallTalk(t)
	now := time.Date(2031, 5, 28, 8, 0, 0, 0, time.UTC)
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Drop: 5}
	for name, c := range map[string]struct {
		a    conversation.Acknowledgement
		want bool
	}{
		"just now":                  {conversation.Acknowledgement{At: now}, true},
		"half an hour ago":          {conversation.Acknowledgement{At: now.Add(-conversation.ConfirmedFor)}, true},
		"longer ago":                {conversation.Acknowledgement{At: now.Add(-conversation.ConfirmedFor - 1)}, false},
		"by a clock before":         {conversation.Acknowledgement{At: now.Add(cases.MaxClockJump)}, true},
		"by a clock far before":     {conversation.Acknowledgement{At: now.Add(cases.MaxClockJump + 1)}, false},
		"here":                      {conversation.Acknowledgement{At: now, Drop: 5, Place: rulebase.Field, Who: rulebase.Technician}, true},
		"at another drop":           {conversation.Acknowledgement{At: now, Drop: 4, Place: rulebase.Field, Who: rulebase.Technician}, false},
		"at another place":          {conversation.Acknowledgement{At: now, Drop: 5, Place: rulebase.Phone, Who: rulebase.Technician}, false},
		"by another person":         {conversation.Acknowledgement{At: now, Drop: 5, Place: rulebase.Field, Who: rulebase.Engineer}, false},
		"before the drop was known": {conversation.Acknowledgement{At: now, Place: rulebase.Field, Who: rulebase.Technician}, true},
	} {
		c.a.Warning = "bus_stops"
		got := talk.WithClock(func() time.Time { return now }).Standing(s, conversation.Memory{Acknowledged: []conversation.Acknowledgement{c.a}})
		if (len(got.Confirmed) == 1) != c.want {
			t.Errorf("%s: stands %v", name, got.Confirmed)
		}
	}
	old := conversation.Memory{Acknowledged: []conversation.Acknowledgement{{Warning: "bus_stops", At: now.Add(-999 * time.Hour)}}}
	if got := talk.Standing(s, old); len(got.Confirmed) != 1 {
		t.Error("it lapsed by a time that nobody knows")
	}
}

// Where the same fact still stands for another step nothing is said of the one that lapsed.
func TestNothingIsSaidWhereAFactStillStands(t *testing.T) {
	_, talk := smallTalk(t)
	now := time.Date(2031, 5, 28, 8, 0, 0, 0, time.UTC)
	talk = talk.WithClock(func() time.Time { return now })
	for later, want := range map[time.Duration]bool{0: false, -29 * time.Minute: false, -31 * time.Minute: true} {
		m := conversation.Memory{Acknowledged: []conversation.Acknowledgement{{Warning: "machine_can_start", For: "swap_unit", At: now.Add(-time.Hour)}, {Warning: "machine_can_start", For: "exchange_unit", At: now.Add(later)}}}
		_, reply := talk.Resume(context.Background(), atTheDrop(), nil, m)
		if said := strings.Contains(strings.Join(reply.Lines(), "\n"), "has to be confirmed anew"); said != want {
			t.Errorf("confirmed %s ago: said is %v", -later, said)
		}
	}
}

// A case whose conversation left nothing behind, or nothing that can be read.
func TestTheMemoryOfACase(t *testing.T) {
	talked := func(text string) *cases.Case {
		c := &cases.Case{Code: "hill-7"}
		if text != "none" {
			c.Talked = &cases.Said[cases.Talked]{}
			c.Talked.Body.Memory = json.RawMessage(text)
		}
		return c
	}
	for text, want := range map[string]int{"none": 0, "": 0, `{"acknowledged":[{"warning":"bus_stops"},{"warning":"bus_stops","for":"fit_terminator"}]}`: 2} {
		c := talked(text)
		if text == "" {
			c.Talked.Body.Memory = nil
		}
		if m, err := conversation.MemoryOf(c); err != nil || len(m.Acknowledged) != want {
			t.Errorf("%q: %v, %v", text, m, err)
		}
	}
	if _, err := conversation.MemoryOf(talked("{")); err == nil || !strings.Contains(err.Error(), "the conversation of case hill-7: ") {
		t.Errorf("what cannot be read: %v", err)
	}
}

// What is likely to be done, but not by whoever is there, is named with what it waits for.
func TestTheLikelyRemedyThatIsNotForThisHand(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	w := &walk{t: t, talk: talk, state: state}
	w.enter("operator at the drop, drop 5, alone; drop dead; power light dark; run light dark; drop_volts=none; hum no; controller run; outputs_hold=off", "this drop alone")
	for range 20 { // what can still be asked is passed over
		if q := w.state.Pending; q.Kind == conversation.AskMore {
			if says := strings.Join(q.Says, " "); q.For != "replace_fuse" || !strings.Contains(says, "Replace the fuse") || !strings.Contains(says, "electrician") {
				t.Errorf("for %q it says\n%s", q.For, says)
			}
			return
		}
		w.enter("skip")
	}
	t.Error("it goes on asking")
}
