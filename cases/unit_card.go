package cases

import (
	"slices"
	"time"

	"downdrop/rulebase"
)

// A Card is what the events about a unit add up to: each time that it came in, and what
// became of it.
type Card struct {
	ID      string // UnitKey
	Unit    Unit   // as last said
	Stays   []*Stay
	Notes   []Said[Note]
	Refers  []Reference
	Events  []Event // all of them, in order
	Unfit   []Event // changes that the table does not allow where they stand: two people moved it at once, or one was taken back
	Unknown []Event // of kinds not known here, or whose body does not fit
	Void    map[string]bool
	Lacking []Lack           // changes that stand though Refuses would not have let them: written elsewhere, or before what they rest on was put right
	Runs    []Said[BenchRun] // gone through at the bench
	Records []Said[Record]   // bench records issued
}

// A Lack is a change of state that something was lacking for.
type Lack struct {
	Event Event
	Why   Refusal
}

// A Stay is a unit in the shop from its receipt on.
type Stay struct {
	Receipt Said[Receipt]
	Came    time.Time
	State   ShopState
	Since   time.Time // in State
	Verdict string    // on the unit as it came in, as last given; "" none yet
	Steps   []Step    // all changes of state, the receipt first
	Ended   time.Time // when it first came to a state that ends the stay; zero: not yet
	EndedAs ShopState
	// Asked is how long it waited for the customer, until it ended or, where it waits now, until Since.
	Asked     time.Duration
	Statement *Said[Contamination]
	Work      []Said[Work]
	Offers    []Offered
}

// A Step is a change of state. At is when, by the writer's clock, but never before the
// change that it followed.
type Step struct {
	Event Event
	At    time.Time
	Move  Move
}

// An Offered is an offer with what the customer said.
type Offered struct {
	Event  Event
	Offer  Offer
	Answer *Said[Answer]
	Late   bool // the answer came after the offer's last day
}

// Agreed is the way that the customer chose in time, "" where none was.
func (o *Offered) Agreed() string {
	if o == nil || o.Answer == nil || o.Late {
		return ""
	}
	return o.Answer.Body.Way
}

// Offer is the offer that counts, the last one; nil: none was made.
func (s *Stay) Offer() *Offered {
	if len(s.Offers) == 0 {
		return nil
	}
	return &s.Offers[len(s.Offers)-1]
}

// Stay is the last one; nil: the unit was never here.
func (c *Card) Stay() *Stay {
	if len(c.Stays) == 0 {
		return nil
	}
	return c.Stays[len(c.Stays)-1]
}

// State is where the unit stands; "" it was never here.
func (c *Card) State() ShopState {
	if s := c.Stay(); s != nil {
		return s.State
	}
	return ""
}

// FoldUnit adds events about one unit up. They may come in any order; an event given
// twice counts once. FoldUnit of no event is nil.
//
// A correction of the kind of what it corrects stands in its place and at its time: a
// reason put right months later moves no date. One that is taken back is as if it
// had not been said.
func FoldUnit(events []Event) *Card {
	if len(events) == 0 {
		return nil
	}
	c := &Card{ID: events[0].Subject.ID, Void: map[string]bool{}}
	c.Unit.Type, c.Unit.Serial = KeyParts(c.ID)
	c.Events = slices.Clone(events)
	slices.SortStableFunc(c.Events, Compare)
	seen := make(map[string]bool, len(events))
	c.Events = slices.DeleteFunc(c.Events, func(e Event) bool {
		again := seen[e.ID]
		seen[e.ID] = true
		return again
	})
	for _, e := range c.counting() {
		if err := c.take(e); err != nil {
			c.Unknown = append(c.Unknown, e.Event)
		}
	}
	return c
}

// placed is an event at the time of what it corrects.
type placed struct {
	Event
	at time.Time
}

// counting are the events that count, each in its place.
func (c *Card) counting() []placed {
	var out []placed
	at := map[string]int{} // an event's id to its place
	gone := map[int]bool{}
	for _, e := range c.Events {
		i, known := at[e.Corrects]
		switch {
		case e.Corrects == "" || !known:
			out = append(out, placed{e, e.At})
			at[e.ID] = len(out) - 1
		case e.Kind == out[i].Kind: // it stands for what it corrects
			c.Void[out[i].ID] = true
			out[i].Event, gone[i] = e, false
			at[e.ID] = i
		default: // it takes it back, and says nothing else that stands in its place
			if out[i].ID == e.Corrects {
				gone[i] = true
			}
			c.Void[e.Corrects] = true
			out = append(out, placed{e, e.At})
			at[e.ID] = len(out) - 1
		}
	}
	n := 0
	for i, e := range out {
		if !gone[i] {
			out[n] = e
			n++
		}
	}
	return out[:n]
}

func (c *Card) take(e placed) error {
	if e.Version != 1 {
		return errUnknownKind
	}
	stay := c.Stay()
	unfit := func() { c.Unfit = append(c.Unfit, e.Event) }
	switch e.Kind {
	case KindTakenBack, KindClockJump:
		return nil
	case KindReceived:
		return read(&e.Event, func(b Receipt) {
			if !c.State().mayReceive() {
				unfit()
				return
			}
			c.receive(e, b)
		})
	case KindMoved:
		return read(&e.Event, func(b Move) {
			if stay == nil || !slices.Contains(shopMoves[stay.State], b.To) {
				unfit()
				return
			}
			if why := c.Refuses(b); why != "" {
				c.Lacking = append(c.Lacking, Lack{e.Event, why})
			}
			stay.move(e, b)
		})
	case KindNote:
		return keep(&e.Event, &c.Notes)
	case KindReference:
		return collect(&e.Event, &c.Refers)
	case KindBenchRun:
		return keep(&e.Event, &c.Runs)
	case KindRecord:
		return keep(&e.Event, &c.Records)
	}
	if stay == nil {
		switch e.Kind {
		case KindContamination, KindWork, KindOffer, KindAnswer:
			unfit()
			return nil
		}
		return errUnknownKind
	}
	switch e.Kind {
	case KindContamination:
		return read(&e.Event, func(b Contamination) { stay.Statement = &Said[Contamination]{e.Event, b} })
	case KindWork:
		return keep(&e.Event, &stay.Work)
	case KindOffer:
		return read(&e.Event, func(b Offer) { stay.Offers = append(stay.Offers, Offered{Event: e.Event, Offer: b}) })
	case KindAnswer:
		return read(&e.Event, func(b Answer) {
			if o := stay.Offer(); o != nil && (o.Event.ID == b.Offer || o.Event.Corrects == b.Offer) {
				o.Answer, o.Late = &Said[Answer]{e.Event, b}, o.Offer.LateOn(e.at, e.Zone)
			} else {
				unfit() // to an offer that another one has replaced
			}
		})
	}
	return errUnknownKind
}

// LateOn says whether a moment is after the offer's last day, by the calendar of an
// offset from UTC in minutes.
func (o *Offer) LateOn(at time.Time, zone int) bool {
	return at.In(time.FixedZone("", zone*60)).Format(time.DateOnly) > o.Until
}

func (c *Card) receive(e placed, b Receipt) {
	if b.Unit.Type != "" {
		c.Unit.Type = b.Unit.Type
	}
	if b.Unit.Serial != "" {
		c.Unit.Serial = b.Unit.Serial
	}
	if b.Unit.Revision != "" {
		c.Unit.Revision = b.Unit.Revision
	}
	s := &Stay{Receipt: Said[Receipt]{e.Event, b}}
	if before := c.Stay(); before != nil {
		s.Since = before.Since
	}
	s.move(e, Move{To: ShopReceived})
	s.Came = s.Since
	c.Stays = append(c.Stays, s)
}

func (s *Stay) move(e placed, m Move) {
	at := e.at
	if at.Before(s.Since) {
		at = s.Since
	}
	if s.State == ShopAwaiting && s.Ended.IsZero() {
		s.Asked += at.Sub(s.Since)
	}
	if m.Verdict != "" && (s.Verdict == "" || !s.Repaired()) {
		s.Verdict = m.Verdict
	}
	s.State, s.Since = m.To, at
	if s.Ended.IsZero() && m.To.ends() {
		s.Ended, s.EndedAs = at, m.To
	}
	s.Steps = append(s.Steps, Step{e.Event, at, m})
}

// Repaired says whether the unit was in repair in this stay: what it proves to be from then on says nothing of what it
// was as it came in.
func (s *Stay) Repaired() bool {
	return slices.ContainsFunc(s.Steps, func(step Step) bool { return step.Move.To == ShopInRepair })
}

// MayCome says whether the unit can come in: it was never here, or went out.
func (c *Card) MayCome() bool { return c.State().mayReceive() }

// StateAt is where the unit stood at a moment; "" it was not here yet.
func (c *Card) StateAt(at time.Time) (ShopState, time.Time) {
	var state ShopState
	var since time.Time
	for _, s := range c.Stays {
		for _, step := range s.Steps {
			if step.At.After(at) {
				return state, since
			}
			state, since = step.Move.To, step.At
		}
	}
	return state, since
}

// A Refusal is why a change of a unit cannot be: the table, or what is lacking.
type Refusal string

// The refusals.
const (
	RefusedByTable   Refusal = "table"     // the state does not follow the one it is in
	RefusedNoWhy     Refusal = "no_reason" // a change wants its reason
	RefusedUnstated  Refusal = "unstated"  // nobody has said whether it is contaminated
	RefusedDirty     Refusal = "contaminated"
	RefusedNoVerdict Refusal = "no_verdict"
	RefusedNotGood   Refusal = "not_good"  // released untested, though it was not found good
	RefusedNoAnswer  Refusal = "no_answer" // to the offer that was made
	RefusedDeclined  Refusal = "declined"
	RefusedAsItCame  Refusal = "as_it_came" // a verdict on the unit as it came in, after its repair
	RefusedLate      Refusal = "late"       // the answer came after the offer's last day
)

// Refuses says why a unit may not move so; "" it may. What a customer agreed to (Consent)
// stands in for a missing answer and for a unit that is released though nothing proves it
// good; it stands in for no statement on contamination.
func (c *Card) Refuses(m Move) Refusal {
	s := c.Stay()
	switch {
	case s == nil || !slices.Contains(shopMoves[s.State], m.To):
		return RefusedByTable
	case m.Why == "":
		return RefusedNoWhy
	}
	if m.To == ShopEvaluated || m.To == ShopInRepair || m.To == ShopInTest { // the unit is opened
		switch {
		case s.Statement == nil:
			return RefusedUnstated
		case s.Statement.Body.State == Contaminated:
			return RefusedDirty
		}
	}
	known := s.Verdict != "" && s.Repaired()
	switch {
	case m.To == ShopEvaluated && m.Verdict == "" && !known:
		return RefusedNoVerdict
	case known && m.Verdict != "" && m.Verdict != s.Verdict:
		return RefusedAsItCame
	}
	if m.To == ShopReleased && m.Consent == "" {
		verdict := m.Verdict
		if verdict == "" {
			verdict = s.Verdict
		}
		switch {
		case verdict == "":
			return RefusedNoVerdict
		case s.State != ShopInTest && verdict != string(rulebase.UnitGood):
			return RefusedNotGood
		}
	}
	if o := s.Offer(); m.To == ShopInRepair && o != nil && m.Consent == "" && s.EndedAs != CoreAccepted {
		switch {
		case o.Answer == nil:
			return RefusedNoAnswer
		case o.Answer.Body.Way == "":
			return RefusedDeclined
		case o.Late:
			return RefusedLate
		}
	}
	return ""
}
