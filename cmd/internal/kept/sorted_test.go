package kept_test

import (
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
)

// A question's first line leads, its steps lose their indent and carry their letter apart.
func TestLinesOfAQuestion(t *testing.T) {
	reply := conversation.Reply{Parts: []conversation.Part{{Kind: conversation.PartQuestion, Lines: []string{
		"Do this next:", "  a. Open the isolator.", "  b.c as it stands", "  a.", "  Then look again.", "a. not indented", "  x, y",
	}}}}
	want := []kept.Line{
		{Says: "Do this next:", Lead: true}, {Mark: "a", Says: "Open the isolator."}, {Says: "b.c as it stands"}, {Says: "a."},
		{Says: "Then look again."}, {Says: "a. not indented"}, {Says: "x, y"},
	}
	if diff := cmp.Diff(want, kept.Sort(reply).Asks); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}
