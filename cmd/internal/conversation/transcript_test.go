package conversation_test

import (
	"bufio"
	"context"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// A transcript is a talk written down: lines beginning with "> " are entries; the
// lines after one are lines of its reply, in order, though not every line of the
// reply need stand there. A line beginning with "! " must not be in the reply,
// not even as a part of a line; "case: " lines must be in the case saved.
type exchange struct {
	entry string
	want  []string
	line  int
}

func readTranscript(t *testing.T, path string) (opening []string, exchanges []exchange) {
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	sc := bufio.NewScanner(f)
	for n := 1; sc.Scan(); n++ {
		line := strings.TrimRight(sc.Text(), " ")
		entry, isEntry := strings.CutPrefix(line, ">")
		switch {
		case line == "" || strings.HasPrefix(line, "#"):
		case isEntry:
			exchanges = append(exchanges, exchange{entry: strings.TrimSpace(entry), line: n})
		case len(exchanges) == 0:
			opening = append(opening, line)
		default:
			last := &exchanges[len(exchanges)-1]
			last.want = append(last.want, line)
		}
	}
	return opening, exchanges
}

// follow plays a transcript and gives the last state.
func follow(t *testing.T, talk *conversation.Talk, path string) conversation.State {
	t.Helper()
	opening, exchanges := readTranscript(t, path)
	state, reply := talk.Begin(rulebase.Situation{})
	compare(t, path, exchange{entry: "(opening)", want: opening}, reply)
	for _, e := range exchanges {
		state, reply = talk.Step(context.Background(), state, e.entry)
		compare(t, path, e, reply)
	}
	return state
}

// compare looks for the wanted lines, in order, in a reply.
func compare(t *testing.T, path string, e exchange, reply conversation.Reply) {
	t.Helper()
	lines := append(reply.Lines(), prefixed("case: ", reply.CaseText)...)
	at := 0
	for _, want := range e.want {
		if no, ok := strings.CutPrefix(want, "! "); ok {
			if strings.Contains(strings.Join(lines, "\n"), no) {
				t.Errorf("%s:%d: > %s\nsays %q, which it must not:\n%s", filepath.Base(path), e.line, e.entry, no, strings.Join(lines, "\n"))
			}
			continue
		}
		found := false
		for ; at < len(lines) && !found; at++ {
			found = strings.TrimSpace(lines[at]) == strings.TrimSpace(want)
		}
		if !found {
			t.Fatalf("%s:%d: > %s\nwant the line\n%s\nin order in\n%s", filepath.Base(path), e.line, e.entry, want, strings.Join(lines, "\n"))
		}
	}
}

func prefixed(head, text string) []string {
	var out []string
	for line := range strings.Lines(text) {
		out = append(out, head+strings.TrimRight(line, "\n"))
	}
	return out
}

// TestTranscripts plays every transcript on the small rulebase.
func TestTranscripts(t *testing.T) {
	paths, err := filepath.Glob("testdata/*.txt")
	if err != nil || len(paths) == 0 {
		t.Fatal("no transcripts", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			_, talk := smallTalk(t)
			follow(t, talk, path)
		})
	}
}

// TestShippedTranscripts plays talks on the shipped rulebase. They hold no chances:
// those move with every better number, and the words of a talk do not.
func TestShippedTranscripts(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	paths, err := filepath.Glob("testdata/shipped/*.txt")
	if err != nil || len(paths) == 0 {
		t.Fatal("no transcripts", err)
	}
	for _, path := range paths {
		t.Run(strings.TrimSuffix(filepath.Base(path), ".txt"), func(t *testing.T) {
			follow(t, talkOver(base), path)
		})
	}
}

// A given that nobody can be asked for is in no list of what could be said.
func TestWhatElseListsQuestionsOnly(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	talk := talkOver(base)
	state, _ := talk.Begin(rulebase.Situation{})
	_, reply := talk.Step(context.Background(), state, "what else is there?")
	text := strings.Join(reply.Lines(), "\n")
	if strings.Contains(text, "address_allowed") || strings.Contains(text, "  (") {
		t.Errorf("a line without a question:\n%s", text)
	}
}
