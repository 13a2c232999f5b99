package cases

import (
	"encoding/json"
	"slices"
	"time"
)

// ConfirmedSince are the warnings that a case has as confirmed, each with the time of
// the event that said so. Where the case went on at another drop or place, or with
// another person, what was confirmed before is left out: what somebody saw there, nobody
// saw here.
func (c *Case) ConfirmedSince() map[string]time.Time {
	since := map[string]time.Time{}
	var before Circumstances
	for i := range c.Events {
		e := &c.Events[i]
		var b Circumstances
		if e.Kind != KindSituation || json.Unmarshal(e.Body, &b) != nil {
			continue
		}
		moved := b.Drop != before.Drop && before.Drop != 0 || b.At != before.At && before.At != "" || b.Who != before.Who && before.Who != ""
		for id := range since {
			if moved || !slices.Contains(b.Confirmed, id) {
				delete(since, id)
			}
		}
		for _, id := range b.Confirmed {
			if _, known := since[id]; !known && !(moved && slices.Contains(before.Confirmed, id)) {
				since[id] = e.At
			}
		}
		before = b
	}
	for id := range since {
		if !slices.Contains(c.Situation.Confirmed, id) {
			delete(since, id)
		}
	}
	return since
}
