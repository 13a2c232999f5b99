package cases

import (
	"encoding/json"
	"slices"
	"time"
)

// ConfirmedFor is how long a confirmed fact stands for: "it is switched off" is true of
// the moment at which somebody looked. A choice of ours, no source.
const ConfirmedFor = 30 * time.Minute

// Confirmed are the warnings whose facts still stand confirmed at a moment. One lapses
// after ConfirmedFor, and at once where the case goes on at another drop or place, or
// with another person: what somebody saw there, nobody saw here.
func (c *Case) Confirmed(now time.Time) []string {
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
	var out []string
	for _, id := range c.Situation.Confirmed {
		at, ok := since[id]
		if age := now.Sub(at); ok && age <= ConfirmedFor && age >= -MaxClockJump {
			out = append(out, id)
		}
	}
	return out
}
