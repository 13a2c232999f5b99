package kept

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/conversation"
)

// The lines of a question are parted into what is asked, the letters of its steps, and what can hurt.
func TestTheLinesOfAQuestion(t *testing.T) {
	var s Sorted
	s.ask([]string{"Next: measure.", "  A. Find the terminals.", "  AB. Not a letter.", "  A.close", "  A", "type it"}, conversation.Question{Kind: conversation.AskStep, Typed: []string{"type it"}})
	want := []Line{{Says: "Next: measure.", Lead: true}, {Mark: "A", Says: "Find the terminals."}, {Says: "AB. Not a letter."}, {Says: "A.close"}, {Says: "A"}}
	if diff := cmp.Diff(want, s.Asks); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	s = Sorted{}
	s.ask([]string{"DANGER: live parts", "Is it so?"}, conversation.Question{Kind: conversation.AskConfirm})
	if len(s.Warnings) != 1 || s.Warnings[0] != (Warning{"DANGER", "live parts"}) || len(s.Asks) != 1 || !s.Asks[0].Lead {
		t.Errorf("%+v", s)
	}
	s = Sorted{}
	s.ask([]string{"DANGER: live parts"}, conversation.Question{Kind: conversation.AskStep})
	if len(s.Warnings) != 0 || len(s.Asks) != 1 {
		t.Errorf("beside a step its warnings stand apart already: %+v", s)
	}
}
