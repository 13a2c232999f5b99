package cases

import (
	"fmt"
	"strings"
)

// entryEnd is what the id of an entry's last event, its Talked, ends with; the others
// end with their number.
const entryEnd = "-t"

// Entry makes of what one entry of a conversation changed the drafts to be written as
// one: their ids follow from the entry's, so that an entry sent twice is one, and its
// events can be told from others. The last is its Talked, which names the entry before.
func (c *Case) Entry(id string, drafts []Draft, t Talked) []Draft {
	if t.Is == "" {
		t.Before = c.TalkStands()
	}
	drafts = append(drafts, Say(KindTalked, t))
	for i := range drafts {
		drafts[i].ID = fmt.Sprintf("%s-%d", id, i)
	}
	drafts[len(drafts)-1].ID = id + entryEnd
	return drafts
}

// TalkStands is the event of the entry where the case's conversation stands; "" before
// the first.
func (c *Case) TalkStands() string {
	switch t := c.Talked; {
	case t == nil, t.Body.Is == TalkBegun:
		return ""
	case t.Body.Is != "":
		return t.Body.Is
	default:
		return t.Event.ID
	}
}

// EntryOf is the entry that an event belongs to, by its id; "" where it looks like none.
func EntryOf(event string) string {
	if i := strings.LastIndexByte(event, '-'); i >= 0 {
		return event[:i]
	}
	return ""
}
