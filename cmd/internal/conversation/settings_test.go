package conversation_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// sheetTalk is a talk about a kept case whose unit is about to be exchanged.
func sheetTalk(t *testing.T, sheet *conversation.Sheet) *walk {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	state.Sheet = sheet
	w := &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, not alone; power light lit; I have a spare unit; outputs_hold=off")
	w.enter("do exchange_unit")
	return w
}

type walk struct {
	t     *testing.T
	talk  *conversation.Talk
	state conversation.State
	reply conversation.Reply
}

func (w *walk) enter(entries ...string) string {
	for _, e := range entries {
		w.state, w.reply = w.talk.Step(context.Background(), w.state, e)
		w.t.Logf("> %s\n%s", e, strings.Join(w.reply.Lines(), "\n"))
	}
	return strings.Join(w.reply.Lines(), "\n")
}

func (w *walk) asked(kind conversation.QuestionKind, id string) {
	w.t.Helper()
	if q := w.state.Pending; q.Kind != kind || id != "" && q.ID != id {
		w.t.Fatalf("asked is %s %q, not %s %q\n%s", q.Kind, q.ID, kind, id, strings.Join(w.reply.Lines(), "\n"))
	}
}

// Before a unit is worked on its settings are asked for, line by line; each can be passed over, the
// rest in one entry; what was seen meanwhile is still heard.
func TestSettingsAreAskedBeforeWorkOnTheUnit(t *testing.T) {
	w := sheetTalk(t, &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}})
	w.asked(conversation.AskFound, "address")
	if out := w.enter("why"); !strings.Contains(out, "as it was") {
		t.Errorf("why: %s", out)
	}
	if out := w.enter("5"); !strings.Contains(out, "address as found: 5") {
		t.Error(out)
	}
	w.asked(conversation.AskFound, "rate")
	w.enter("-")
	w.asked(conversation.AskFound, "terminator")
	w.enter("a")
	if w.state.Sheet.Found["terminator"] != "on" {
		t.Error(w.state.Sheet)
	}
	w.asked(conversation.AskFound, "bias")
	w.enter("run light dark")
	w.asked(conversation.AskFound, "bias")
	if !slices.ContainsFunc(w.state.Situation.Findings, func(f rulebase.Finding) bool { return f.Symptom == "run_light" }) {
		t.Error("what was seen meanwhile was taken for a setting")
	}
	w.enter("undo", "undo")
	if _, ok := w.state.Sheet.Found["terminator"]; ok {
		t.Error("undo kept a setting")
	}
	w.asked(conversation.AskFound, "terminator")
	w.enter(strings.Repeat("x", 300))
	w.asked(conversation.AskFound, "terminator")
	if out := w.enter("--"); !strings.Contains(out, "not read") {
		t.Error(out)
	}
	w.asked(conversation.AskConfirm, "machine_can_start")
	if out := w.enter("known"); !strings.Contains(out, "address as found: 5") {
		t.Error(out)
	}
	w.enter("confirm machine_can_start", "done exchange_unit, works now", "still works")
	w.asked(conversation.AskLeft, "address") // what was not read cannot be compared, and is not asked for
	if out := w.enter("6"); !strings.Contains(out, "found as 5") {
		t.Error(out)
	}
	w.asked(conversation.AskEnd, "")
	got := w.state.Sheet.Changes(&cases.Case{Settings: map[string]cases.Setting{
		"found rate": {Name: "rate", When: "found", Value: "9600"}, "found address": {Name: "address", When: "found", Value: "5"},
	}})
	want := []cases.Setting{{Name: "rate", When: "found"}, {Name: "address", When: "left", Value: "6"}}
	if !slices.Equal(got, want) {
		t.Errorf("changes %v, want %v", got, want)
	}
}

// Before the bus stops the settings are asked for as well: whoever takes the line apart unplugs units. What is
// passed over then is asked once more before the unit itself is worked on.
func TestSettingsAreAskedBeforeTheBusStops(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	state.Sheet = &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}}
	w := &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, not alone; power light lit; with everything; outputs_hold=off")
	if out := w.enter("do fit_terminator"); !strings.Contains(out, "before the bus stops") {
		t.Error(out)
	}
	w.asked(conversation.AskFound, "address")
	w.enter("-")
	w.asked(conversation.AskFound, "rate")
	w.enter("9600", "--")
	if w.state.Pending.Kind == conversation.AskFound {
		t.Error("asked for once more though all was passed over")
	}
	again, reply := talk.Resume(context.Background(), w.state.Situation, w.state.Sheet, w.state.Memory())
	if again.Pending.Kind == conversation.AskFound {
		t.Errorf("taken up again, it asks for what was passed over: %v", reply.Lines())
	}
	w.enter("done fit_terminator, still down", "do exchange_unit")
	w.asked(conversation.AskFound, "address")
	w.enter("--", "confirm machine_can_start", "done exchange_unit, works now", "still works")
	w.asked(conversation.AskLeft, "rate")
}

// Without a kept case nobody keeps settings; and what was read is not asked for again.
func TestSettingsAreNotAskedForNothing(t *testing.T) {
	sheetTalk(t, nil).asked(conversation.AskConfirm, "machine_can_start")
	all := map[string]string{}
	for _, name := range cases.SettingNames {
		all[name] = "x"
	}
	sheetTalk(t, &conversation.Sheet{Found: all, Left: map[string]string{}}).asked(conversation.AskConfirm, "machine_can_start")
	w := sheetTalk(t, &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}})
	w.enter("--", "confirm machine_can_start", "done exchange_unit, still down", "do exchange_unit")
	if w.state.Pending.Kind == conversation.AskFound {
		t.Error("as found is asked for after the work")
	}
}

// What a test puts in is asked for once its results are in, and once more at the end; what is undone is
// forgotten with it.
func TestWhatWasPutInIsAskedFor(t *testing.T) {
	base, talk := smallTalk(t)
	st := base.Step("swap_unit")
	if st == nil {
		t.Fatal("the small rulebase has no such test")
	}
	was := st.PutsIn
	st.PutsIn = "other"
	defer func() { st.PutsIn = was }()
	state, _ := talk.Begin(rulebase.Situation{})
	state.Sheet = &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}}
	w := &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, not alone; power light dark; with everything; outputs_hold=off")
	w.enter("done swap_unit, still down")
	if !slices.Equal(w.state.Sheet.In, []string{"swap_unit"}) {
		t.Fatalf("in place is %v", w.state.Sheet.In)
	}
	for range 3 {
		if w.state.Pending.Kind == conversation.AskOut {
			break
		}
		w.enter("skip")
	}
	w.asked(conversation.AskOut, "swap_unit")
	w.enter("skip")
	if w.state.Pending.Kind == conversation.AskOut || len(w.state.Sheet.In) != 1 {
		t.Error("asked again at once, or forgotten")
	}
	w.enter("undo")
	w.asked(conversation.AskOut, "swap_unit")
	if out := w.enter("why"); !strings.Contains(out, "cannot be closed") {
		t.Error(out)
	}
	w.enter("1")
	if len(w.state.Sheet.In) != 0 {
		t.Error("it is out again and still listed")
	}
	w.enter("undo", "skip", "works now")
	w.asked(conversation.AskOut, "swap_unit")
}

// A setting of 200 bytes is taken in, one of 201 is not: the rest goes into a note.
func TestTheLongestSetting(t *testing.T) {
	for n, want := range map[int]bool{200: true, 201: false} {
		w := sheetTalk(t, &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}})
		w.asked(conversation.AskFound, "address")
		out := w.enter(strings.Repeat("x", n))
		if got := len(w.state.Sheet.Found["address"]) == n; got != want || strings.Contains(out, "too long for a setting") == want {
			t.Errorf("of %d bytes: taken in is %v\n%s", n, got, out)
		}
	}
}

// At a line of the sheet a word is its value, and a sentence that says something of the drop is that.
func TestAValueOrAFinding(t *testing.T) {
	for entry, want := range map[string]string{"dark": "dark", "run light dark": "", "power_light=dark": "", "off": "off", "set to 5 by hand": "set to 5 by hand", "run light dark, set to 5": "run light dark, set to 5", "5 dead": "", "a": "a"} {
		w := sheetTalk(t, &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}})
		w.asked(conversation.AskFound, "address")
		w.enter(entry)
		if got := w.state.Sheet.Found["address"]; got != want {
			t.Errorf("> %s\nthe address is %q", entry, got)
		}
	}
	w := sheetTalk(t, &conversation.Sheet{Found: map[string]string{}, Left: map[string]string{}})
	var all []string
	for range cases.SettingNames {
		all = append(all, asks(w.state.Pending))
		w.enter("x")
	}
	want := []string{"found address exchange_unit | skip; leave the sheet", "found rate exchange_unit | skip; leave the sheet", "found terminator exchange_unit | on; off; none fitted; skip; leave the sheet", "found bias exchange_unit | on; off; skip; leave the sheet",
		"found outputs_on_loss exchange_unit | off; hold; preset; skip; leave the sheet", "found module_order exchange_unit | skip; leave the sheet", "found revision exchange_unit | skip; leave the sheet", "found jumpers exchange_unit | skip; leave the sheet", "found ports_and_wires exchange_unit | skip; leave the sheet"}
	if !slices.Equal(all, want) {
		t.Errorf("the sheet asks\n%s", strings.Join(all, "\n"))
	}
	w.asked(conversation.AskConfirm, "machine_can_start")
	w.enter("confirm machine_can_start", "done exchange_unit, works now", "still works")
	w.asked(conversation.AskLeft, "address")
	if got := asks(w.state.Pending); got != "left address | x; skip; leave the sheet" {
		t.Errorf("as left it asks %s", got)
	}
	w.enter("=") // as it was found
	if w.state.Sheet.Left["address"] != "x" {
		t.Errorf("left is %q", w.state.Sheet.Left)
	}
	w.enter("--")
	w.asked(conversation.AskEnd, "")
}
