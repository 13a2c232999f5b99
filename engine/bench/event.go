package bench

import (
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"time"
)

// A Kind says what an event is.
type Kind string

// The kinds of events.
const (
	Begun      Kind = "begun"      // procedure, profile and rulebase by digest, program version, record number
	Answered   Kind = "answered"   // Values: reading: text as typed
	NotDone    Kind = "not_done"   // of a whole step; Values: reason, and put_in: perhaps where nobody knows
	Resumed    Kind = "resumed"    // by another person or on another day: warnings are to be read again; Values: by
	Confirmed  Kind = "confirmed"  // the warnings before a step were read
	Instrument Kind = "instrument" // Values: kind, name, until
	Released   Kind = "released"   // Values: force
	Noted      Kind = "noted"      // Values: text
	Undone     Kind = "undone"     // Values: seq of the event taken back
	Printed    Kind = "printed"    // Values: form, issue, seal, sha256 of the file
)

// An Event is one thing that happened in a run. Events are only ever appended; what
// was wrong is taken back by another one.
type Event struct {
	Seq    int               `json:"seq"` // from 1
	Kind   Kind              `json:"kind"`
	Step   string            `json:"step"`
	Values map[string]string `json:"values"`
	At     time.Time         `json:"at"`
	Zone   int               `json:"zone,omitempty"` // minutes east of UTC at the bench; 0 also in runs from before it was kept
	Prev   string            `json:"prev"`           // hash of the event before; "" for the first
	Hash   string            `json:"hash"`           // SHA-256 of this one written as JSON with an empty hash
}

// seal gives the hash that belongs to an event. Keys of a map are written in their order,
// so that the same event always has the same text.
func seal(e Event) string {
	e.Hash = ""
	text, err := json.Marshal(e)
	if err != nil {
		panic(err) // texts, whole numbers and a time of our own
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:])
}

// Append adds what a [State] made of an entry to the events, and gives the new one.
func Append(events []Event, draft Event, at time.Time) Event {
	_, east := at.Zone()
	draft.Seq, draft.At, draft.Zone, draft.Prev = len(events)+1, at.UTC().Truncate(time.Second), east/60, ""
	if draft.Values == nil {
		draft.Values = map[string]string{}
	}
	if n := len(events); n > 0 {
		draft.Prev = events[n-1].Hash
	}
	draft.Hash = seal(draft)
	return draft
}

// Day is the day of the people at the bench when it happened, 2027-03-01: a certificate runs out by the
// calendar on their wall, also for whoever reads the run elsewhere.
func (e *Event) Day() string {
	return e.At.UTC().Add(time.Duration(e.Zone) * time.Minute).Format(time.DateOnly)
}

// Head is the hash of the last event; "" where there is none.
func Head(events []Event) string {
	if len(events) == 0 {
		return ""
	}
	return events[len(events)-1].Hash
}

// Check finds the first event that was changed, or does not follow the one before.
func Check(events []Event) error {
	prev := ""
	for i, e := range events {
		switch {
		case e.Seq != i+1:
			return fmt.Errorf("event %d stands where event %d should", e.Seq, i+1)
		case e.Prev != prev:
			return fmt.Errorf("event %d does not follow the one before it", e.Seq)
		case e.Hash != seal(e):
			return fmt.Errorf("event %d was changed after it was written", e.Seq)
		}
		prev = e.Hash
	}
	return nil
}

// standing are the events that were not taken back, in their order.
func standing(events []Event) []Event {
	gone := map[string]bool{}
	for _, e := range events {
		if e.Kind == Undone {
			gone[e.Values["seq"]] = true
		}
	}
	var all []Event
	for _, e := range events {
		if e.Kind != Undone && !gone[fmt.Sprint(e.Seq)] {
			all = append(all, e)
		}
	}
	return all
}
