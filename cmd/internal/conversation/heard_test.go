package conversation_test

import (
	"context"
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
