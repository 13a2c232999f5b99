package cases

import (
	"encoding/json"
	"errors"
	"maps"
	"slices"
	"strings"
	"time"

	"downdrop/rulebase"
)

// A State is where a case stands.
type State string

// The states of a case.
const (
	StateOpen     State = "open"
	StateWaiting  State = "waiting"  // for whom: Case.WaitingFor
	StateWatching State = "watching" // a remedy is done and its proof is running
	StateClosed   State = "closed"
)

// A Case is what the events about it add up to. Situation holds what a diagnosis
// needs; the rest is what people and auditors need.
type Case struct {
	ID        string
	Code      string
	Opened    time.Time
	Changed   time.Time // the latest of its events by the writers' clocks
	Opening   Opening
	Situation rulebase.Situation
	State     State
	Waiting   WaitingFor
	Watching  Watching
	Closing   *Closing // nil: not closed now

	Proposed    []Proposed
	Rankings    []Ranking
	Disposition *Disposed
	Money       []Money
	References  []Reference
	Notes       []Said[Note]
	Files       []Said[Attachment]
	Proofs      []string           // of Situation.Done, in its order: what was watched; "" not said
	Settings    map[string]Setting // by SettingKey
	PutIn       []Said[PutIn]      // that still stand, accepted or not
	Accepted    []Said[Accepted]
	Joined      []Joined
	Talked      *Said[Talked] // where its conversation stands; nil: there was none
	HandedTo    rulebase.Place
	ReturnNote  *ReturnNote // what goes with the unit to the shop; nil: none was written
	Rulebases   []string    // digests in use, in order of first use

	Events  []Event // all of them, in order
	Unknown []Event // of kinds not known here, or whose body does not fit

	// Which event each entry of the situation came from.
	givens, findings, done []string
	last                   map[Kind]string // the events of the entries that replace each other
}

// Said is an entry with the event that it came from.
type Said[T any] struct {
	Event Event
	Body  T
}

// SettingKey is the key of a setting in Case.Settings.
func SettingKey(when, name string) string { return when + " " + name }

// Setting is a line of the settings sheet as found or left; "" was not read.
func (c *Case) Setting(when, name string) string { return c.Settings[SettingKey(when, name)].Value }

// SettingNames are the lines of the case's settings sheet: the usual ones, then its own.
func (c *Case) SettingNames() []string {
	names := slices.Clone(SettingNames)
	for _, key := range slices.Sorted(maps.Keys(c.Settings)) {
		if name := c.Settings[key].Name; !slices.Contains(names, name) {
			names = append(names, name)
		}
	}
	return names
}

// EverPutIn says whether something was put in for a step at any time, out again or not.
func (c *Case) EverPutIn(step string) bool {
	return slices.ContainsFunc(c.Events, func(e Event) bool {
		var p PutIn
		return e.Kind == KindPutIn && json.Unmarshal(e.Body, &p) == nil && p.Test == step
	})
}

// Fold adds events up to a case. They may come in any order; an event given twice
// counts once. Fold of no event is nil.
func Fold(events []Event) *Case {
	if len(events) == 0 {
		return nil
	}
	events = slices.Clone(events)
	slices.SortStableFunc(events, Compare)
	seen := make(map[string]bool, len(events))
	events = slices.DeleteFunc(events, func(e Event) bool {
		again := seen[e.ID] // two sites may have taken the same draft in
		seen[e.ID] = true
		return again
	})
	void := map[string]bool{}
	for i := range events {
		e := &events[i]
		if e.Corrects != "" && e.Kind != KindTakenOut {
			void[e.Corrects] = true
		}
	}
	c := &Case{ID: events[0].Subject.ID, State: StateOpen, Events: events}
	for i := range events {
		c.note(&events[i])
		if !void[events[i].ID] {
			c.add(&events[i])
		}
	}
	return c
}

// note keeps what every event says, also one that was taken back.
func (c *Case) note(e *Event) {
	if c.Opened.IsZero() {
		c.Opened = e.At
	}
	if e.At.After(c.Changed) {
		c.Changed = e.At
	}
	if e.Rulebase != "" && !slices.Contains(c.Rulebases, e.Rulebase) {
		c.Rulebases = append(c.Rulebases, e.Rulebase)
	}
}

// add takes one event in.
func (c *Case) add(e *Event) {
	err := errUnknownKind
	if e.Version == 1 {
		err = c.take(e)
	}
	if err != nil {
		c.Unknown = append(c.Unknown, *e)
	}
}

var errUnknownKind = errors.New("a kind that is not known here")

// read decodes a body and hands it on; what is not there keeps its zero.
func read[T any](e *Event, take func(T)) error {
	var body T
	if err := json.Unmarshal(e.Body, &body); err != nil {
		return err
	}
	take(body)
	return nil
}

// collect is read for bodies of which there are several.
func collect[T any](e *Event, list *[]T) error {
	return read(e, func(b T) { *list = append(*list, b) })
}

func keep[T any](e *Event, list *[]Said[T]) error {
	return read(e, func(b T) { *list = append(*list, Said[T]{*e, b}) })
}

func (c *Case) take(e *Event) error {
	s := &c.Situation
	switch e.Kind {
	case KindOpened, KindAbout:
		return read(e, c.about)
	case KindSituation:
		return read(e, func(b Circumstances) { b.into(s); c.remember(e) })
	case KindGiven:
		return read(e, func(b GivenBody) {
			s.Givens = append(s.Givens, rulebase.GivenValue{ID: b.ID, Value: b.Value.value()})
			c.givens = append(c.givens, e.ID)
		})
	case KindFinding:
		return read(e, func(b FindingBody) {
			s.Findings = append(s.Findings, b.finding())
			c.findings = append(c.findings, e.ID)
		})
	case KindDone:
		return read(e, func(b DoneBody) {
			s.Done = append(s.Done, rulebase.Done{ID: b.ID, Drop: b.Drop})
			c.Proofs = append(c.Proofs, b.Proof)
			c.done = append(c.done, e.ID)
		})
	case KindTakenBack, KindClockJump:
		return nil
	case KindProposed:
		return collect(e, &c.Proposed)
	case KindRanking:
		return collect(e, &c.Rankings)
	case KindDisposition:
		return read(e, func(b Disposed) { c.Disposition = &b })
	case KindMoney:
		return collect(e, &c.Money)
	case KindReference:
		return collect(e, &c.References)
	case KindNote:
		return keep(e, &c.Notes)
	case KindFile:
		return keep(e, &c.Files)
	case KindSetting:
		return read(e, c.setting)
	case KindPutIn:
		return keep(e, &c.PutIn)
	case KindTakenOut:
		c.PutIn = slices.DeleteFunc(c.PutIn, func(p Said[PutIn]) bool { return p.Event.ID == e.Corrects })
		return nil
	case KindAccepted:
		return keep(e, &c.Accepted)
	case KindReturnNote:
		return read(e, func(b ReturnNote) { c.ReturnNote = &b })
	case KindJoined:
		return collect(e, &c.Joined)
	case KindTalked:
		return read(e, func(b Talked) { c.Talked = &Said[Talked]{*e, b} })
	default:
		return c.move(e)
	}
}

// move takes in what changes the state of the case.
func (c *Case) move(e *Event) error {
	switch e.Kind {
	case KindWaiting:
		return read(e, func(b WaitingFor) { c.to(StateWaiting); c.Waiting = b })
	case KindWatching:
		return read(e, func(b Watching) { c.to(StateWatching); c.Watching = b })
	case KindResumed, KindReopened:
		c.to(StateOpen)
		return nil
	case KindHandedOver:
		return read(e, func(b HandOver) { c.HandedTo = b.To })
	case KindClosed:
		return read(e, func(b Closing) { c.to(StateClosed); c.Closing = &b })
	default:
		return errUnknownKind
	}
}

func (c *Case) to(s State) {
	c.State, c.Waiting, c.Watching, c.Closing = s, WaitingFor{}, Watching{}, nil
}

func (c *Case) remember(e *Event) {
	if c.last == nil {
		c.last = map[Kind]string{}
	}
	c.last[e.Kind] = e.ID
}

func (c *Case) about(o Opening) {
	fill := func(to *string, from string) {
		if from != "" {
			*to = from
		}
	}
	if isCode(o.Code) { // it stands in links, file names and commands to be typed, and may come from elsewhere
		c.Code, c.Opening.Code = o.Code, o.Code
	}
	fill(&c.Opening.Location, o.Location)
	fill(&c.Opening.Unit.Type, o.Unit.Type)
	fill(&c.Opening.Unit.Serial, o.Unit.Serial)
	fill(&c.Opening.Unit.Revision, o.Unit.Revision)
	fill(&c.Opening.Complaint, o.Complaint)
	fill(&c.Opening.CallBack, o.CallBack)
	if o.Drop != 0 {
		c.Opening.Drop = o.Drop
	}
}

func (c *Case) setting(b Setting) {
	key := SettingKey(b.When, b.Name)
	if b.Value == "" {
		delete(c.Settings, key)
		return
	}
	if c.Settings == nil {
		c.Settings = map[string]Setting{}
	}
	c.Settings[key] = b
}

// Standing are the things still in place that nobody has accepted.
func (c *Case) Standing() []Said[PutIn] {
	var out []Said[PutIn]
	for _, p := range c.PutIn {
		if !slices.ContainsFunc(c.Accepted, func(a Said[Accepted]) bool { return a.Body.Event == p.Event.ID }) {
			out = append(out, p)
		}
	}
	return out
}

// An OpenPoint keeps a case from being closed.
type OpenPoint struct {
	Event   string // of a thing still in place
	Symptom string // of an abnormal finding that the proven causes do not explain
	PutIn   PutIn
}

// OpenPoints are what stands against closing: things still in place that nobody
// accepted, and of the unexplained symptoms those that nobody accepted.
func (c *Case) OpenPoints(unexplained []string) []OpenPoint {
	var out []OpenPoint
	for _, p := range c.Standing() {
		out = append(out, OpenPoint{Event: p.Event.ID, PutIn: p.Body})
	}
	for _, symptom := range unexplained {
		if !slices.ContainsFunc(c.Accepted, func(a Said[Accepted]) bool { return a.Body.Symptom == symptom }) {
			out = append(out, OpenPoint{Symptom: symptom})
		}
	}
	return out
}

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
			if !slices.Contains(before.Confirmed, id) { // what an entry only carries on was left out for a reason, and stays out
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

// Summary is the case on one line.
func (c *Case) Summary() Summary {
	s := Summary{
		ID: c.ID, Code: c.Code, Location: c.Opening.Location, Drop: c.Opening.Drop, Type: c.Opening.Unit.Type, Serial: c.Opening.Unit.Serial,
		State: c.State, WaitingFor: c.Waiting.For, Opened: c.Opened, Changed: c.Changed, Complaint: c.Opening.Complaint, InPlace: len(c.PutIn),
	}
	if c.Closing != nil {
		s.Causes, s.Outcome, s.UnitVerdict = c.Closing.Causes, c.Closing.Outcome, c.Closing.UnitVerdict
	}
	return s
}

// UnitKey is the subject id of a unit: its type and serial, since a serial says
// nothing without its type. Case and blanks do not count; letters that look like
// digits do (see SerialLooksLike).
func UnitKey(u Unit) string { return typeKey(u.Type) + "/" + plainKey(u.Serial) }

// LocationKey is the subject id of a location.
func LocationKey(location string) string { return plainKey(location) }

func plainKey(s string) string { return strings.ToUpper(strings.Join(strings.Fields(s), " ")) }

// tellsUnits says whether a serial tells units apart: one of dashes or blanks alone was
// written to say that there is none.
func tellsUnits(serial string) bool { return SerialLooksLike(serial) != "" }

// SerialLooksLike writes a serial as the eye confuses it: 0 for O, 1 for I and l, 8
// for B, 5 for S, 2 for Z, without blanks and dashes. Two serials that differ and look alike
// are asked about and never taken for one.
func SerialLooksLike(serial string) string {
	return strings.Map(func(r rune) rune {
		switch r {
		case 'O', 'Q', 'D':
			return '0'
		case 'I', 'L', '|':
			return '1'
		case 'B':
			return '8'
		case 'S':
			return '5'
		case 'Z':
			return '2'
		case ' ', '-', '.', '/', '_':
			return -1
		}
		return r
	}, strings.ToUpper(serial))
}
