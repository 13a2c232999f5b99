package conversation_test

import (
	"context"
	"os"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"

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
