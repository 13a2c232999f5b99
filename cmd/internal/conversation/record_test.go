package conversation_test

import (
	"fmt"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// What the same person says again of the same thing in the same state of work takes the place of
// what was said before; all else stands beside it.
func TestWhatIsSaidAgain(t *testing.T) {
	_, talk := smallTalk(t)
	for _, c := range []struct{ entries, findings, heard string }{
		{"power light dark; power light lit", "power_light=lit", "power light: lit, instead of dark"},
		{"power light dark; power light dark", "power_light=dark", "power light: dark"},
		{"power light dark; run light dark", "power_light=dark run_light=dark", "run light: dark"},
		{"he says power light dark; I saw it myself, power light lit", "power_light=dark power_light=lit", "power light: lit"},
		{"he says power light dark; she says power light lit", "power_light=lit", "power light: lit, says the caller, instead of dark"},
		{"this is drop 3; drop 4: power light dark. power light lit", "power_light=dark at 4 power_light=lit", "power light: lit"},
		{"this is drop 3; drop 4: power light dark. drop 4: power light lit", "power_light=lit at 4", "drop 4, power light: lit (kept beside, not weighed), instead of dark"},
		{"power light dark; done replace_fuse; power light lit", "power_light=dark power_light=lit after replace_fuse", "power light: lit, after replace fuse"},
		{"drop volts 24 V; drop volts 2 V", "drop_volts=2 V", "drop volts: 2 V, instead of 24 V"},
		{"drop_works=dead; drop_works=working", "drop_works=working", "drop works: working, instead of dead"},
		{"dead; ask drop_works; working", "drop_works=working", "drop works: working, instead of dead"},
		{"dead; 5 dead", "drop_works=dead", "this is about drop 5"},
		{"5 dead", "drop_works=dead", "drop works: dead"},
		{"5 comes and goes", "drop_works=comes_and_goes", "drop works: comes and goes"},
		{"done replace_fuse; still down; 5 dead", "", "this is about drop 5"},
		{"dead; works now", "drop_works=dead drop_works=working", "drop works: working"}, // how the case began stays beside it
		{"still down; works now; still down", "drop_works=dead drop_works=working drop_works=dead", "drop works: dead"},
		{"drop 5: drop works dead", "drop_works=dead", "drop works: dead"},
		{"this is drop 4; drop 5: drop works dead", "drop_works=dead at 5", "drop 5, drop works: dead (kept beside, not weighed)"},
		{"drop 5: drop works working", "drop_works=working at 5", "drop 5, drop works: working (kept beside, not weighed)"},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter(strings.Split(c.entries, "; ")...)
		if got := strings.TrimSpace(symptomsOf(w.state.Situation)); got != c.findings {
			t.Errorf("> %s\nare %s", c.entries, got)
		}
		if h := w.reply.Heard; len(h) == 0 || h[len(h)-1].Means != c.heard {
			t.Errorf("> %s\nis heard as %+v", c.entries, h)
		}
	}
	for _, c := range []struct{ entries, givens, heard string }{
		{"after storm; no storm", "after_storm=false", "after storm: no, instead of yes"},
		{"after storm; after storm", "after_storm=true", "after storm: yes"},
		{"after storm; after work on this panel", "after_storm=true after_work=true", "after work: yes"},
		{"terminator 120; terminator 150 ohm, I think", "terminator=150 ohm", "terminator: 150 ohm, instead of 120 ohm"},
		{"I think after storm", "after_storm=true", "after storm: yes (taken as certain: how sure can only be said of what was seen)"},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter(strings.Split(c.entries, "; ")...)
		var all []string
		for _, g := range w.state.Situation.Givens {
			all = append(all, g.ID+"="+g.Value.Word)
		}
		if got := strings.Join(all, " "); got != c.givens || w.reply.Heard[0].Means != c.heard {
			t.Errorf("> %s\nare %s, heard is %+v", c.entries, got, w.reply.Heard)
		}
	}
}

// How sure is said of what was heard last, else of what follows; doubt never makes anything surer.
func TestHowSureIsSaid(t *testing.T) {
	_, talk := smallTalk(t)
	for entry, want := range map[string]string{
		"power light dark":                            "",
		"power light dark, I think":                   "0.8",
		"power light dark, not sure":                  "0.6",
		"power light dark, I am sure":                 "1",
		"I think, power light dark":                   "0.8",
		"maybe, power light dark, I am quite certain": "1",
		"power_light=dark@0.25":                       "0.25",
		"power_light=dark@1":                          "1",
		"at the bench; power light dark, I think":     "0.8",
		"he thinks power light dark":                  "0.8",
		"he thinks power light dark, maybe":           "0.6",
		"drop_volts=24 V@0.99":                        "0.95", // a measurement by phone is no surer than any
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter("on the phone", entry)
		got := ""
		if f := w.state.Situation.Findings; len(f) != 1 {
			t.Errorf("> %s\nis %v", entry, f)
		} else if f[0].Sure != nil {
			got = fmt.Sprint(*f[0].Sure)
		}
		if got != want {
			t.Errorf("> %s\nis sure %s", entry, got)
		}
	}
}

// The complaint by itself says nothing of other drops, and nothing is said of how much is down.
func TestTheComplaintSaysNothingOfOtherDrops(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	w := &walk{t: t, talk: talk, state: state}
	w.enter("dead")
	w.says(conversation.PartNotice)
	if w.state.Situation.Drop != 0 {
		t.Errorf("this is drop %d", w.state.Situation.Drop)
	}
	w.enter("undo", "drop 5: drop works dead")
	w.says(conversation.PartNotice, "How much is down cannot be said yet. Say how the other drops are.")
}

// A remedy after which the drop works is to be proved, once; one without a proof, and a drop that
// is still down, are not.
func TestWhatIsToBeProved(t *testing.T) {
	talk := changed(t, "replace_plug: {do: Fit a new bus plug, minutes: 15, at: [field], who: technician, ends_as: part_replaced, proof: {watch: drop_works, minutes: 10}}", "replace_plug: {do: Fit a new bus plug, minutes: 15, at: [field], who: technician, ends_as: part_replaced}")
	for entries, want := range map[string]string{
		"done reseat_plug, works now":                               "proof reseat_plug",
		"done replace_plug, works now":                              "end",
		"done reseat_plug; works now":                               "proof reseat_plug",
		"done reseat_plug; don't know; works now":                   "proof reseat_plug",
		"done reseat_plug, works now; still works":                  "end",
		"done reseat_plug, works now; don't know":                   "end",
		"done reseat_plug, works now; don't know; down again":       "",
		"done reseat_plug, works now; down again; works now":        "proof reseat_plug",
		"done reseat_plug, works now; don't know; works now":        "end",
		"done replace_fuse, still down; done reseat_plug, it works": "proof reseat_plug",
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		w := &walk{t: t, talk: talk, state: state}
		w.enter("technician at the drop, not alone; dead; this drop alone; any tool; outputs_hold=off")
		w.enter(strings.Split(entries, "; ")...)
		q := w.state.Pending
		if got := strings.TrimSpace(string(q.Kind) + " " + q.ID); got != want && (want != "" || q.Kind == conversation.AskProof || q.Kind == conversation.AskEnd) {
			t.Errorf("> %s\nasks %s", entries, got)
		}
	}
}
