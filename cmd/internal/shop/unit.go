package shop

import (
	"context"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"downdrop/cases"
)

// ByRecord fills in the verdict of a move from the bench record that it names, where the store
// has that: a verdict is never typed twice. It gives the record that speaks against the
// move; nil: none does. A number of other books stays as it is.
func ByRecord(c *cases.Card, m *cases.Move) (against *cases.Record) {
	var found *cases.Record
	for i := range c.Records {
		if r := &c.Records[i].Body; m.Record != "" && strings.EqualFold(r.Number, m.Record) && (found == nil || r.Issue > found.Issue) {
			found = r
		}
	}
	switch {
	case found == nil || found.Verdict == "":
		return nil
	case m.To == cases.ShopEvaluated && c.Stay() != nil && c.Stay().Repaired(): // the record is of what the repair made of it
	case m.To == cases.ShopEvaluated && m.Verdict == "":
		m.Verdict = found.Verdict
	case m.To == cases.ShopEvaluated && m.Verdict != found.Verdict:
		return found
	case m.To == cases.ShopReleased && found.Verdict == cases.UnitBad && m.Consent == "":
		return found
	}
	m.Record = found.Number
	return nil
}

// Earlier says whether the record of this number is one of an earlier stay: it was first issued before the unit came in
// again, and shows the unit as it was then.
func Earlier(c *cases.Card, number string) bool {
	var first time.Time
	for i := range c.Records {
		if r := &c.Records[i]; number != "" && strings.EqualFold(r.Body.Number, number) && (first.IsZero() || r.Event.At.Before(first)) {
			first = r.Event.At
		}
	}
	return len(c.Stays) > 1 && !first.IsZero() && first.Before(c.Stay().Came)
}

// LastRecord is the number of the last record of the unit's stay; "" there is none.
func LastRecord(c *cases.Card) string {
	for i := len(c.Records) - 1; i >= 0; i-- {
		if number := c.Records[i].Body.Number; !Earlier(c, number) {
			return number
		}
	}
	return ""
}

// Received are the drafts of a receipt with what its cases say: the complaint where none was
// said, and the statements of their return notes.
func Received(r cases.Receipt, linked []*cases.Case) []cases.Draft {
	for _, c := range linked {
		r.Cases = append(r.Cases, c.ID)
		if r.Complaint == "" {
			r.Complaint = c.Opening.Complaint
		}
	}
	drafts := []cases.Draft{cases.Say(cases.KindReceived, r)}
	for _, c := range linked {
		if n := c.ReturnNote; n != nil && n.Contamination.State != "" {
			b := n.Contamination
			b.From = strings.TrimPrefix(b.From+", return note of case "+c.Code, ", ")
			drafts = append(drafts, cases.Say(cases.KindContamination, b))
		}
	}
	return drafts
}

// numbered is a part with its number before it: "2 x relay", "2x relay", "2X relay", "2×relay". A size such as 5x20 is none.
var numbered = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^([0-9]+)\s*(?:[xX×]\s+(\S.*)|×(\pL.*))$`)
})

// ReadParts reads parts that were renewed, each as "2 x relay@lot 17"; ok is false where one
// has no name, which is then bad.
func ReadParts(texts []string) (parts []cases.Part, bad string, ok bool) {
	parts = []cases.Part{}
	for _, text := range texts {
		p := cases.Part{Number: 1, Name: strings.TrimSpace(text)}
		if m := numbered().FindStringSubmatch(p.Name); m != nil {
			if n, err := strconv.Atoi(m[1]); err == nil && n > 0 {
				p.Number, p.Name = n, m[2]+m[3]
			}
		}
		if i := strings.LastIndex(p.Name, "@"); i > 0 {
			p.Name, p.Trace = strings.TrimSpace(p.Name[:i]), strings.TrimSpace(p.Name[i+1:])
		}
		if p.Name == "" {
			return nil, text, false
		}
		parts = append(parts, p)
	}
	return parts, "", true
}

// Answer is what a customer says to the offer that counts: one of its ways, or "declined".
// choices are what can be said; ok is false where it is none of them.
func Answer(o *cases.Offered, said string) (a cases.Answer, choices []string, ok bool) {
	choices = []string{"declined"}
	for _, w := range o.Offer.Ways {
		choices = append(choices, w.Way)
	}
	way := strings.ReplaceAll(strings.ToLower(said), "-", "_")
	if !slices.Contains(choices, way) {
		return a, choices, false
	}
	a.Offer = o.Event.ID
	if a.Way = way; way == "declined" {
		a.Way = ""
	}
	return a, choices, true
}

// A Stands says why an entry of a unit cannot be put right or taken back.
type Stands int

// The reasons; NothingStands: it can be.
const (
	NothingStands Stands = iota
	NoEntry              // there is none of this number
	OtherKind            // it says something of another kind
	VoidEntry            // it no longer counts
	LaterRests           // a later one rests on it and would no longer fit
	TakesBack            // it takes another one back, which is entered anew
	Refused              // what is to stand in its place was not allowed there
)

// InsteadOf makes a draft stand for an earlier entry of its kind, or take one back, by its number
// from 1; against is why it cannot, and entry the number of the entry that is in the way. Where the draft
// itself is refused, why says what is lacking at its place: putting right opens no way that a plain change
// does not have.
func InsteadOf(c *cases.Card, draft cases.Draft, number int) (made cases.Draft, against Stands, entry int, why cases.Refusal) {
	if number < 1 || number > len(c.Events) {
		return draft, NoEntry, number, ""
	}
	switch e := &c.Events[number-1]; {
	case draft.Kind != cases.KindTakenBack && e.Kind != draft.Kind:
		return draft, OtherKind, number, ""
	case draft.Kind == cases.KindTakenBack && e.Kind == cases.KindTakenBack:
		return draft, TakesBack, number, ""
	}
	draft.Corrects = c.Events[number-1].ID
	if c.Void[draft.Corrects] {
		return draft, VoidEntry, number, ""
	}
	tried := draft
	tried.ID, tried.Subject = "tried", cases.Subject{Kind: cases.AboutUnit, ID: c.ID}
	last := c.Events[len(c.Events)-1]
	then := cases.FoldUnit(append(slices.Clone(c.Events), cases.Event{Draft: tried, Site: last.Site, Order: last.Order + 1}))
	for _, e := range then.Unfit {
		switch {
		case e.ID == tried.ID:
			return draft, Refused, number, cases.RefusedByTable
		case !slices.ContainsFunc(c.Unfit, func(x cases.Event) bool { return x.ID == e.ID }):
			return draft, LaterRests, entryOf(c, e.ID), ""
		}
	}
	for _, l := range then.Lacking {
		was := l.Event.ID
		if was == tried.ID {
			was = draft.Corrects
		}
		switch known := slices.ContainsFunc(c.Lacking, func(x cases.Lack) bool { return x.Event.ID == was && x.Why == l.Why }); {
		case known:
		case l.Event.ID == tried.ID:
			return draft, Refused, number, l.Why
		default:
			return draft, LaterRests, entryOf(c, l.Event.ID), ""
		}
	}
	return draft, NothingStands, 0, ""
}

// entryOf is an entry's number from 1.
func entryOf(c *cases.Card, id string) int {
	return 1 + slices.IndexFunc(c.Events, func(x cases.Event) bool { return x.ID == id })
}

// Month adds a month of the shop up: the one written as 2031-05, or with "" the last whole one
// before now. ok is false where the word is no month; one that has not begun is refused.
func Month(ctx context.Context, store cases.Store, word string, now time.Time) (m *cases.Month, ok bool, err error) {
	from := time.Date(now.Year(), now.Month(), 1, 0, 0, 0, 0, now.Location()).AddDate(0, -1, 0)
	if word != "" {
		if from, err = time.ParseInLocation("2006-01", word, now.Location()); err != nil {
			return nil, false, nil
		}
		if from.After(now) {
			return nil, true, Refusal{Input, fmt.Sprintf(sayMonthToCome, word)}
		}
	}
	table := cases.NewMonthTable(from, from.AddDate(0, 1, 0))
	if err := cases.Units(ctx, store, func(c *cases.Card) error { table.Add(c); return nil }); err != nil {
		return nil, true, err
	}
	return table.Month(), true, nil
}
