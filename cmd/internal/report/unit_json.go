package report

import (
	"io"
	"math"
	"time"

	"downdrop/cases"
)

// Schemas of units.
const (
	UnitSchema       = "downdrop.unit/1"
	UnitsSchema      = "downdrop.units/1"
	MonthSchema      = "downdrop.shop_month/1"
	ReturnNoteSchema = "downdrop.return_note/1"
)

type unitJSON struct {
	ID          string  `json:"id"`
	Type        string  `json:"type"`
	Serial      string  `json:"serial"`
	Revision    string  `json:"revision"`
	State       string  `json:"state"`
	Since       string  `json:"since"`
	DaysInState float64 `json:"days_in_state"`
	DaysInHouse float64 `json:"days_in_house"`
	Verdict     string  `json:"unit"`
	From        string  `json:"from"`
	Complaint   string  `json:"complaint"`
	OfferUntil  string  `json:"offer_until"`
	Answer      string  `json:"answer"`
	Unfit       int     `json:"do_not_fit"`
}

func stamp(t time.Time) string {
	if t.IsZero() {
		return ""
	}
	return t.UTC().Format(time.RFC3339)
}

// inDays is a duration in days, to the tenth.
func inDays(d time.Duration) float64 { return math.Round(d.Hours()/24*10) / 10 }

func unitOf(c *cases.Card, now time.Time) unitJSON {
	u := unitJSON{ID: c.ID, Type: c.Unit.Type, Serial: c.Unit.Serial, Revision: c.Unit.Revision, Unfit: len(c.Unfit)}
	s := c.Stay()
	if s == nil {
		return u
	}
	until := now
	if !s.State.InShop() {
		until = s.Since
	}
	u.State, u.Since, u.Verdict, u.From, u.Complaint = string(s.State), stamp(s.Since), s.Verdict, s.Receipt.Body.From, s.Receipt.Body.Complaint
	u.DaysInState, u.DaysInHouse = inDays(now.Sub(s.Since)), inDays(until.Sub(s.Came))
	if o := s.Offer(); o != nil {
		u.OfferUntil, u.Answer = o.Offer.Until, answerOf(o)
	}
	return u
}

// answerOf is what a customer said: a way, declined, late, or "" nothing yet.
func answerOf(o *cases.Offered) string {
	switch {
	case o.Answer == nil:
		return ""
	case o.Answer.Body.Way == "":
		return "declined"
	case o.Late:
		return "late"
	}
	return o.Answer.Body.Way
}

// A unitListJSON is a list of units.
type unitListJSON struct {
	Schema string     `json:"schema"`
	Units  []unitJSON `json:"units"`
}

// UnitsJSON writes a list of units.
func UnitsJSON(w io.Writer, list []*cases.Card, now time.Time) error {
	out := unitListJSON{UnitsSchema, []unitJSON{}}
	for _, c := range list {
		out.Units = append(out.Units, unitOf(c, now))
	}
	return writeJSON(w, out)
}

type stepJSON struct {
	To      string `json:"to"`
	At      string `json:"at"`
	By      string `json:"by"`
	Why     string `json:"why"`
	Record  string `json:"record"`
	Verdict string `json:"unit"`
	Consent string `json:"consent"`
	Entry   string `json:"entry"`
}

type stayJSON struct {
	Came      string               `json:"came"`
	Ended     string               `json:"ended"`
	EndedAs   string               `json:"ended_as"`
	Verdict   string               `json:"unit"`
	Core      bool                 `json:"core"`
	From      string               `json:"from"`
	Complaint string               `json:"complaint"`
	Condition string               `json:"condition"`
	Cases     []string             `json:"cases"`
	Statement *cases.Contamination `json:"contamination"` // null: nobody stated anything
	Steps     []stepJSON           `json:"steps"`
	Work      []unitWorkJSON       `json:"work"`
	Offers    []offeredJSON        `json:"offers"`
}

type unitWorkJSON struct {
	At string `json:"at"`
	By string `json:"by"`
	cases.Work
	Entry string `json:"entry"`
}

type offeredJSON struct {
	At string `json:"at"`
	By string `json:"by"`
	cases.Offer
	Answer     string `json:"answer"` // a way, declined, late, or "": none yet
	AnsweredAt string `json:"answered_at"`
	How        string `json:"how"`
	Order      string `json:"order"`
	Entry      string `json:"entry"`
}

// A unitCardJSON is a unit with all that is kept of it.
type unitCardJSON struct {
	Schema  string          `json:"schema"`
	Unit    unitJSON        `json:"unit"`
	MayGo   []string        `json:"may_go_to"`
	Stays   []stayJSON      `json:"stays"`
	Notes   []string        `json:"notes"`
	Records []recordOfJSON  `json:"records"`
	Unfit   []string        `json:"unfit"` // ids of entries
	Entries []caseEntryJSON `json:"entries"`
}

// UnitJSON writes a unit: where it stands, every stay, every entry.
func UnitJSON(w io.Writer, c *cases.Card, now time.Time) error {
	out := unitCardJSON{Schema: UnitSchema, Unit: unitOf(c, now), MayGo: []string{}, Stays: []stayJSON{}, Notes: []string{}, Records: []recordOfJSON{}, Unfit: []string{}, Entries: []caseEntryJSON{}}
	for _, s := range c.State().MayFollow() {
		out.MayGo = append(out.MayGo, string(s))
	}
	for _, s := range c.Stays {
		out.Stays = append(out.Stays, stayOf(s))
	}
	for _, n := range c.Notes {
		out.Notes = append(out.Notes, n.Body.Text)
	}
	for _, r := range c.Records {
		out.Records = append(out.Records, recordOfJSON{stamp(r.Event.At), r.Body.Number, r.Body.Issue, r.Body.Verdict, r.Body.Digest})
	}
	for _, e := range c.Unfit {
		out.Unfit = append(out.Unfit, e.ID)
	}
	for _, e := range c.Events {
		out.Entries = append(out.Entries, entryOf(e))
	}
	return writeJSON(w, out)
}

type recordOfJSON struct {
	At      string `json:"at"`
	Number  string `json:"number"`
	Issue   int    `json:"issue"`
	Verdict string `json:"unit"`
	Digest  string `json:"digest"`
}

func stayOf(s *cases.Stay) stayJSON {
	b := s.Receipt.Body
	out := stayJSON{Came: stamp(s.Came), Ended: stamp(s.Ended), EndedAs: string(s.EndedAs), Verdict: s.Verdict, Core: b.Core, From: b.From, Complaint: b.Complaint, Condition: b.Condition,
		Cases: listed(b.Cases), Steps: []stepJSON{}, Work: []unitWorkJSON{}, Offers: []offeredJSON{}}
	if s.Statement != nil {
		out.Statement = &s.Statement.Body
	}
	for _, x := range s.Steps {
		out.Steps = append(out.Steps, stepJSON{string(x.Move.To), stamp(x.At), x.Event.By, x.Move.Why, x.Move.Record, x.Move.Verdict, x.Move.Consent, x.Event.ID})
	}
	for _, x := range s.Work {
		if x.Body.Parts == nil {
			x.Body.Parts = []cases.Part{}
		}
		out.Work = append(out.Work, unitWorkJSON{stamp(x.Event.At), x.Event.By, x.Body, x.Event.ID})
	}
	for i := range s.Offers {
		o := &s.Offers[i]
		j := offeredJSON{At: stamp(o.Event.At), By: o.Event.By, Offer: o.Offer, Answer: answerOf(o), Entry: o.Event.ID}
		if a := o.Answer; a != nil {
			j.AnsweredAt, j.How, j.Order = stamp(a.Event.At), a.Body.How, a.Body.Order
		}
		if j.Ways == nil {
			j.Ways = []cases.OfferedWay{}
		}
		out.Offers = append(out.Offers, j)
	}
	return out
}

type monthRowJSON struct {
	Type       string   `json:"type"`
	Received   int      `json:"received"`
	Repeats    int      `json:"repeats"`
	Finished   int      `json:"finished"`
	Good       int      `json:"no_fault_found"`
	Bad        int      `json:"bad"`
	Unproven   int      `json:"not_proven"`
	Unjudged   int      `json:"not_judged"`
	Released   int      `json:"released"`
	Returned   int      `json:"returned_unrepaired"`
	Scrapped   int      `json:"scrapped"`
	Core       int      `json:"core_accepted"`
	Refused    int      `json:"core_refused"`
	Turnaround *float64 `json:"turnaround_days"` // median; null where nothing ended
	Asked      *float64 `json:"customer_days"`
	InShop     int      `json:"in_shop"`
	Waiting    int      `json:"waiting"`
	Longest    *float64 `json:"longest_wait_days"`
}

func monthOf(r *cases.MonthRow) monthRowJSON {
	out := monthRowJSON{Type: r.Type, Received: r.Received, Repeats: r.Repeats, Finished: r.Finished, Good: r.Good, Bad: r.Bad, Unproven: r.Unproven, Unjudged: r.Unjudged,
		Released: r.Released, Returned: r.Returned, Scrapped: r.Scrapped, Core: r.Core, Refused: r.Refused, InShop: r.InShop, Waiting: r.Waiting}
	of := func(d time.Duration) *float64 { x := inDays(d); return &x }
	if r.Finished > 0 {
		out.Turnaround, out.Asked = of(r.Turnaround), of(r.Asked)
	}
	if r.Waiting > 0 {
		out.Longest = of(r.Longest)
	}
	return out
}

// A monthJSON is a month in the shop.
type monthJSON struct {
	Schema     string         `json:"schema"`
	From       string         `json:"from"`
	To         string         `json:"to"` // not included
	RepeatDays int            `json:"repeat_days"`
	All        monthRowJSON   `json:"all"`
	Types      []monthRowJSON `json:"types"`
}

// MonthJSON writes the monthly table.
func MonthJSON(w io.Writer, m *cases.Month) error {
	out := monthJSON{MonthSchema, m.From.Format(time.RFC3339), m.To.Format(time.RFC3339), cases.RepeatDays, monthOf(&m.All), []monthRowJSON{}}
	for i := range m.Types {
		out.Types = append(out.Types, monthOf(&m.Types[i]))
	}
	return writeJSON(w, out)
}
