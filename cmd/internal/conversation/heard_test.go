package conversation_test

import (
	"context"
	"fmt"
	"os"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"

	"github.com/google/go-cmp/cmp"
)

// TestHeard goes through testdata/heard.entries: after `# at ENTRY; ENTRY` come
// entries made at that point of a talk, each with what it is taken to mean: `+` is
// understood, `?` is asked back, `-` is not understood. Written and judged by hand;
// DOWNDROP_WRITE=1 writes it anew, to be judged again.
func TestHeard(t *testing.T) {
	const name = "testdata/heard.entries"
	text, err := os.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	start := state
	var out strings.Builder
	n := 0
	for line := range strings.Lines(string(text)) {
		line = strings.TrimRight(line, "\n")
		if entries, ok := strings.CutPrefix(line, "# at "); ok {
			state = start
			for e := range strings.SplitSeq(entries, " ;; ") {
				state, _ = talk.Step(context.Background(), state, e)
			}
		}
		entry, ok := strings.CutPrefix(line, "> ")
		switch {
		case ok:
			_, reply := talk.Step(context.Background(), state, entry)
			out.WriteString(line + "\n" + heardLines(reply))
			n++
		case line == "" || line[0] == '#':
			out.WriteString(line + "\n")
		}
	}
	if os.Getenv("DOWNDROP_WRITE") != "" {
		if err := os.WriteFile(name, []byte(out.String()), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	if d := cmp.Diff(strings.Split(string(text), "\n"), strings.Split(out.String(), "\n")); d != "" {
		t.Errorf("what is heard is not what was judged right:\n%s", d)
	}
	if n < 100 {
		t.Errorf("only %d entries", n)
	}
}

func heardLines(r conversation.Reply) string {
	var out strings.Builder
	for _, h := range r.Heard {
		sign := map[conversation.HeardOutcome]string{conversation.Understood: "+ ", conversation.Unclear: "? ", conversation.NotUnderstood: "- "}[h.Outcome]
		out.WriteString(sign + h.Means + "\n")
		if h.Outcome == conversation.Unclear {
			for _, a := range r.Question.Answers {
				out.WriteString("    " + a.Says + "\n")
			}
		}
	}
	return out.String()
}

// What is a tool to some step and a part of the line to a cause is asked back, where nothing in the entry makes
// it the one or the other: "no terminator" is no word about what somebody has with them.
func TestAPartOrATool(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for entry, want := range map[string]string{
		"no terminator": "without terminator", "terminator": "I have terminator", "the fuse": "I have fuse", "no cable here": "without cable", "technician, no terminator": "without terminator",
		"scope": "", "no multimeter": "", "spare unit": "", "I have a fuse": "", "without terminator": "", "no tools": "", "I have a scope, fuse and terminator": "", "multimeter, fuse": "", "technician with a terminator": "",
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		after, reply := talk.Step(context.Background(), state, entry)
		q := reply.Question
		switch {
		case want == "" && (q.Kind == conversation.AskWhich || after.Situation.Tools == nil):
			t.Errorf("%q is asked back, or makes no tool:\n%s", entry, strings.Join(reply.Lines(), "\n"))
		case want == "":
		case q.Kind != conversation.AskWhich || q.Answers[0].Entry != want || after.Situation.Tools != nil || len(q.Answers) < 3 || !strings.HasPrefix(q.Answers[1].Entry, "ask "):
			t.Errorf("%q is not asked back:\n%s", entry, strings.Join(reply.Lines(), "\n"))
		default:
			tool, _ := talk.Step(context.Background(), after, q.Answers[0].Key)
			if tool.Situation.Tools == nil || tool.Pending.Kind == conversation.AskWhich {
				t.Errorf("%q: %q makes %v", entry, want, tool.Situation.Tools)
			}
			part, _ := talk.Step(context.Background(), after, q.Answers[1].Key)
			if id := strings.TrimPrefix(q.Answers[1].Entry, "ask "); part.Situation.Tools != nil || part.Pending.ID != id {
				t.Errorf("%q: %s is asked as %s, with the tools %v", entry, id, part.Pending.ID, part.Situation.Tools)
			}
		}
	}
}

// A reading where words are asked for is no word: "0 V on both sides" is not "both sides", nor is "0 V before and
// after" "before the fuse only". It is asked back, with every answer there; and "before", left over, is no
// "returned before".
func TestAReadingWhereAWordIsAsked(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	at := map[string]string{"": "", "fuses": "technician, at the drop, not alone, classified_area=no ;; not working ;; do measure_across_fuses ;; confirm no_live_in_classified_area, live_work"}
	for _, c := range []struct{ at, entry, want string }{
		{"fuses", "both sides", "both_sides"}, {"fuses", "both", "both_sides"}, {"fuses", "neither", "on_neither_side"}, {"fuses", "only before", "before_the_fuse_only"}, {"fuses", "before", "before_the_fuse_only"},
		{"fuses", "before the fuse only", "before_the_fuse_only"}, {"fuses", "24 V on both sides", "both_sides"}, {"fuses", "24 V before, 0 V after", "before_the_fuse_only"},
		{"fuses", "0 V on both sides", ""}, {"fuses", "0 both sides", ""}, {"fuses", "0.0 V both", ""}, {"fuses", "zero on both sides", ""}, {"fuses", "0 V before and after", ""}, {"fuses", "24 V before and after", ""},
		{"fuses", "24 before 0 after", ""}, {"fuses", "nothing either side", ""}, {"fuses", "24V both", ""},
		{"", "0 V before", ""}, {"", "24 V before, 0 V after", ""}, {"", "0 both sides", ""}, {"", "24", ""},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		for e := range strings.SplitSeq(at[c.at], " ;; ") {
			if e != "" {
				state, _ = talk.Step(context.Background(), state, e)
			}
		}
		before := len(state.Situation.Findings)
		after, reply := talk.Step(context.Background(), state, c.entry)
		got := ""
		for _, f := range after.Situation.Findings[before:] {
			got += f.Value.Word
		}
		if got != c.want {
			t.Errorf("at %q %q makes %q, not %q:\n%s", c.at, c.entry, got, c.want, strings.Join(reply.Lines(), "\n"))
		}
		if c.at != "" && c.want == "" && (reply.Kind != conversation.AskedBack || after.Pending.ID != state.Pending.ID || len(after.Pending.Answers) < 3) {
			t.Errorf("at %q %q: what was asked is not asked again, but %v %s", c.at, c.entry, after.Pending.Kind, after.Pending.ID)
		}
	}
}

// A meter is the one that everybody carries, unless more is said of it.
func TestAMeterIsAMultimeter(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for entry, want := range map[string]string{
		"meter": "multimeter", "I have a meter": "multimeter", "technician at drop 5, alone, meter": "multimeter", "with a dmm": "multimeter", "meter and scope": "multimeter scope",
		"clamp meter": "clamp_meter", "I have a clamp meter and a meter": "clamp_meter multimeter", "thermometer": "thermometer",
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		state, reply := talk.Step(context.Background(), state, entry)
		if got := strings.Join(state.Situation.Tools, " "); got != want {
			t.Errorf("%q puts %q at hand:\n%s", entry, got, strings.Join(reply.Lines(), "\n"))
		}
	}
}

// Who says that the others are fine has said how much is down.
func TestHowMuchIsDownWasSaid(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for entry, want := range map[string]bool{"drop 5 is dead, the others are fine": false, "drop 5 is dead, only this drop": false, "drop 5 is dead": true} {
		state, _ := talk.Begin(rulebase.Situation{})
		state, reply := talk.Step(context.Background(), state, entry)
		_, known := talk.Step(context.Background(), state, "known")
		for what, lines := range map[string][]string{entry: reply.Lines(), entry + ", known": known.Lines()} {
			if strings.Contains(strings.Join(lines, "\n"), "cannot be said yet") != want {
				t.Errorf("%s:\n%s", what, strings.Join(lines, "\n"))
			}
		}
	}
}

// "No" to a fact that has to be so leaves the step alone.
func TestNoToAFactLeavesTheStep(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, entry := range []string{"no", "No.", "n", "not now", "no, not yet"} {
		state, _ := talk.Begin(rulebase.Situation{})
		for _, e := range []string{"technician, at the drop, not alone, classified_area=no", "not working", "do measure_across_fuses"} {
			state, _ = talk.Step(context.Background(), state, e)
		}
		if state.Pending.Kind != conversation.AskConfirm {
			t.Fatalf("no fact is asked for, but %v", state.Pending)
		}
		after, reply := talk.Step(context.Background(), state, entry)
		if after.Pending.Kind == conversation.AskConfirm || len(after.Acknowledged) > 0 || reply.Kind == conversation.AskedBack {
			t.Errorf("%q:\n%s", entry, strings.Join(reply.Lines(), "\n"))
		}
	}
}

// What could be something else is no finding: one word of a long value, a rate that everybody says in baud, and a
// number with decimals behind "at drop".
func TestWhatIsNoFinding(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for _, c := range []struct{ entry, want string }{
		{"handheld dead", "handheld_here=does_not_start"}, {"red light on the unit", ""}, {"fault light is red and blinking", "fault_light=blinking_count"}, {"redundant", "redundant=true"}, {"red", ""}, {"isolator closed", "isolator_position=closed_and_in"}, {"began after the storm", "began_after=storm_near"}, {"volts at drop 23.8", "volts_at_drop=23.8 V"}, {"volts at drop 23,8 V", "volts_at_drop=23.8 V"},
		{"rate 9600", "rate=9.6 kbaud"}, {"rate=9600", "rate=9.6 kbaud"}, {"rate 19200", "rate=19.2 kbaud"}, {"rate 500", "rate=500 kbaud"}, {"rate 12000", "rate=12000 kbaud"}, {"rate 9600 baud", "rate=9.6 kbaud"},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		state, reply := talk.Step(context.Background(), state, c.entry)
		got := ""
		for _, f := range state.Situation.Findings {
			got += f.Symptom + "=" + f.Value.Word + fmt.Sprintf("%.0d", f.Drop)
		}
		for _, g := range state.Situation.Givens {
			got += g.ID + "=" + g.Value.Word
		}
		if got != c.want {
			t.Errorf("%q makes %q, not %q:\n%s", c.entry, got, c.want, strings.Join(reply.Lines(), "\n"))
		}
	}
}
