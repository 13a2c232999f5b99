package kept

import (
	"fmt"
	"slices"

	"downdrop/cmd/internal/conversation"
)

// Ticked is the answer that what is ticked is so. [ConfirmTicked] makes an entry of it.
const Ticked = "confirm what is ticked"

// What a screen says of facts that are ticked.
const (
	SayNoneTicked = "Nothing was ticked, so nothing is confirmed. Tick each line that somebody there has just seen to be so."
	sayTickedSo   = "what is ticked is so (all %d are asked for)"
	sayNotNow     = "not now: leave the step alone"
)

// Tick has all facts before a step asked for on one screen, each to be ticked by itself and beside the
// warning that it belongs to. One alone has a button that names it.
func (s *Sorted) Tick(facts []conversation.Fact) {
	var open, stands []conversation.Fact
	for _, f := range facts {
		if f.Stands {
			stands = append(stands, f)
		} else {
			open = append(open, f)
		}
	}
	if len(open) < 2 {
		return
	}
	s.Warnings, s.Facts, s.Confirmed = []Warning{}, open, stands
	s.Answers = []conversation.Answer{{Key: "1", Says: fmt.Sprintf(sayTickedSo, len(open)), Entry: Ticked}, {Key: "2", Says: sayNotNow, Entry: "not now"}}
}

// ConfirmTicked is the entry that names the facts that were ticked; "" where none was.
func ConfirmTicked(facts []string) string {
	if facts = slices.DeleteFunc(slices.Clone(facts), func(f string) bool { return f == "" }); len(facts) == 0 {
		return ""
	}
	return conversation.ConfirmEntry(facts)
}
