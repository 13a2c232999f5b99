package cases

import (
	"encoding/json"
	"time"

	"downdrop/rulebase"
)

// The kinds of events about a case, all of version 1, with what their bodies hold.
// A body that does not fit its kind is kept and shown as a note that cannot be read.
const (
	KindOpened      Kind = "opened"      // Opening
	KindAbout       Kind = "about"       // Opening: what is said of location, unit, complaint later; keys left out stay
	KindSituation   Kind = "situation"   // Circumstances
	KindGiven       Kind = "given"       // GivenBody
	KindFinding     Kind = "finding"     // FindingBody
	KindDone        Kind = "done"        // DoneBody
	KindTakenBack   Kind = "taken_back"  // Reason; Corrects says which
	KindProposed    Kind = "proposed"    // Proposed
	KindRanking     Kind = "ranking"     // Ranking
	KindDisposition Kind = "disposition" // Disposed
	KindMoney       Kind = "money"       // Money
	KindReference   Kind = "reference"   // Reference
	KindNote        Kind = "note"        // Note
	KindFile        Kind = "file"        // Attachment
	KindSetting     Kind = "setting"     // Setting
	KindPutIn       Kind = "put_in"      // PutIn
	KindTakenOut    Kind = "taken_out"   // Reason; Corrects is the id of the put_in event
	KindAccepted    Kind = "accepted"    // Accepted
	KindWaiting     Kind = "waiting"     // WaitingFor
	KindWatching    Kind = "watching"    // Watching
	KindResumed     Kind = "resumed"     // Reason: neither waiting nor watching any longer
	KindHandedOver  Kind = "handed_over" // HandOver
	KindClosed      Kind = "closed"      // Closing
	KindReopened    Kind = "reopened"    // Reason
	KindJoined      Kind = "joined"      // Joined
	KindClockJump   Kind = "clock_jump"  // ClockJump
	KindTalked      Kind = "talked"      // Talked
)

// Opening is what a case begins with.
type Opening struct {
	Code      string `json:"code,omitempty"` // short code, read out within one store; see NewCode
	Location  string `json:"location,omitempty"`
	Drop      int    `json:"drop,omitempty"`
	Unit      Unit   `json:"unit,omitzero"`
	Complaint string `json:"complaint,omitempty"` // in the caller's words
	CallBack  string `json:"call_back,omitempty"` // whom to call back: the id of a person (see Store.SetName), never a name or a number, which could not be erased
}

// A Unit is a bus-interface unit as its plate says it.
type Unit struct {
	Type     string `json:"type,omitempty"`
	Serial   string `json:"serial,omitempty"`
	Revision string `json:"revision,omitempty"`
}

// Circumstances is what a Situation holds beside its lists, whole: the last one counts.
type Circumstances struct {
	Name      string                `json:"name,omitempty"`
	At        rulebase.Place        `json:"at,omitempty"`
	Who       string                `json:"who,omitempty"` // a word of rulebase.Who; "" anybody
	Tools     []string              `json:"tools"`         // null: everything possible
	Alone     bool                  `json:"alone,omitempty"`
	Confirmed []string              `json:"confirmed,omitempty"`
	Drop      int                   `json:"drop,omitempty"`
	Drops     map[int]string        `json:"drops,omitempty"`
	Order     []int                 `json:"order,omitempty"`
	Supplies  [][]int               `json:"supplies,omitempty"`
	Sheet     string                `json:"sheet,omitempty"`
	SheetFile string                `json:"sheet_file,omitempty"` // digest of the sheet as it was
	Paper     map[string]string     `json:"paper,omitempty"`
	Sums      map[string]string     `json:"sums,omitempty"`    // how the sheet comes to what is on Paper
	Checked   []rulebase.PaperCheck `json:"checked,omitempty"` // what on the sheet does not go, or barely
	Effort    map[string]float64    `json:"effort,omitempty"`  // minutes: stops_drop, stops_bus, visit
}

// ValueBody is a rulebase.Value.
type ValueBody struct {
	Word   string   `json:"word,omitempty"`
	Number *float64 `json:"number,omitempty"` // in the unit of the thing asked
}

// GivenBody is a given with its value.
type GivenBody struct {
	ID    string    `json:"id"`
	Value ValueBody `json:"value"`
}

// FindingBody is a finding; who saw it and how sure they were.
type FindingBody struct {
	Symptom string         `json:"symptom"`
	Value   ValueBody      `json:"value"`
	Sure    *float64       `json:"sure,omitempty"`
	At      rulebase.Place `json:"at,omitempty"`
	By      string         `json:"by,omitempty"`
	After   string         `json:"after,omitempty"`
	Now     bool           `json:"now,omitempty"`
	Drop    int            `json:"drop,omitempty"`
	Read    string         `json:"read,omitempty"`
}

// DoneBody is a remedy tried, or a test done that put something right.
type DoneBody struct {
	ID    string           `json:"id"`
	Drop  rulebase.DropNow `json:"drop,omitempty"`
	Proof string           `json:"proof,omitempty"` // what was watched, for how long, under what load
}

// Reason is why something was taken back, taken out, reopened.
type Reason struct {
	Why string `json:"why,omitempty"`
}

// Proposed is a test or remedy that was offered first.
type Proposed struct {
	Kind string `json:"kind"` // test, remedy
	ID   string `json:"id"`
}

// Ranking is what was shown: the likeliest causes as they stood.
type Ranking struct {
	Policy  string       `json:"policy,omitempty"`
	Causes  []RankedBody `json:"causes"`
	UnitOut float64      `json:"unit_out"`
	Outside float64      `json:"outside"`
}

// RankedBody is one line of a ranking.
type RankedBody struct {
	ID          string  `json:"id"`
	Probability float64 `json:"probability"`
}

// Disposed is what is to be done with the drop and its unit.
type Disposed struct {
	What string `json:"what"` // one of Dispositions
	Why  string `json:"why,omitempty"`
}

// Dispositions are what can become of a drop and its unit.
var Dispositions = []string{"leave", "send_technician", "send_unit", "pull", "exchange", "repair", "buy", "put_back", "scrap"}

// Money is an amount in exact decimals.
type Money struct {
	For      string `json:"for"`      // one of MoneyNames, or the shop's own
	Amount   string `json:"amount"`   // "1250.00"
	Currency string `json:"currency"` // three letters
}

// A Reference is a number in somebody else's books.
type Reference struct {
	Kind string `json:"kind"` // one of ReferenceKinds
	Text string `json:"text"`
}

// ReferenceKinds are the kinds of references.
var ReferenceKinds = []string{"work_order", "return", "purchase", "other"}

// A Note is free text.
type Note struct {
	Text string `json:"text"`
}

// An Attachment is a picture or file, kept by its content.
type Attachment struct {
	Name   string `json:"name"`
	Media  string `json:"media"` // image/jpeg ...
	Digest string `json:"digest"`
	Bytes  int    `json:"bytes"`
}

// A Setting is one line of the settings sheet. What has no event was not read.
type Setting struct {
	Name  string `json:"name"`  // one of SettingNames, or the shop's own
	When  string `json:"when"`  // AsFound, AsLeft
	Value string `json:"value"` // as read; "" takes the line back to not read
}

// When a setting was read.
const (
	AsFound = "found" // before anybody worked on the unit
	AsLeft  = "left"
)

// SettingNames are the lines of a settings sheet, in their order.
var SettingNames = []string{"address", "rate", "terminator", "bias", "outputs_on_loss", "module_order", "revision", "jumpers", "ports_and_wires"}

// PutIn is something put in, loosened, forced or lowered for a test.
type PutIn struct {
	What  string `json:"what"` // one of PutInKinds
	Where string `json:"where"`
	Until string `json:"until,omitempty"` // a day, or an event: what ends it
	Test  string `json:"test,omitempty"`  // the test or remedy it was for
}

// PutInKinds are what may still be in place after a test.
var PutInKinds = rulebase.PutsInWords

// Accepted says that something open is left so, and why: a thing still in place
// (Event), or an abnormal finding that the proven causes do not explain (Symptom).
type Accepted struct {
	Event   string `json:"event,omitempty"`
	Symptom string `json:"symptom,omitempty"`
	Why     string `json:"why"`
}

// WaitingFor is whom or what a case waits for.
type WaitingFor struct {
	For   string `json:"for"` // customer, part, technician, access, supplier ...
	Until string `json:"until,omitempty"`
}

// Watching is a remedy done whose proof is running.
type Watching struct {
	Remedy string `json:"remedy,omitempty"`
	Until  string `json:"until,omitempty"`
	What   string `json:"what,omitempty"`
}

// HandOver is a case given to another place.
type HandOver struct {
	To rulebase.Place `json:"to"`
}

// Closing is what it turned out to be.
type Closing struct {
	Causes      []string `json:"causes"`            // proven; empty: see Outcome
	How         string   `json:"how"`               // how they were proven
	Outcome     string   `json:"outcome"`           // a rulebase.Outcome
	UnitVerdict string   `json:"verdict,omitempty"` // good, bad, not_proven; "" the unit was not in question
}

// The verdicts on a unit and the outcomes of a case, which are the rulebase's, as texts of bodies.
const (
	UnitGood      = string(rulebase.UnitGood)
	UnitBad       = string(rulebase.UnitBad)
	UnitNotProven = string(rulebase.UnitNotProven)
)

// UnitVerdicts and Outcomes are all there are.
var (
	UnitVerdicts = rulebase.Words(rulebase.Verdicts)
	Outcomes     = rulebase.Words(rulebase.Outcomes)
)

// Joined says that the case is one of several with one origin, as after a storm.
type Joined struct {
	Event string `json:"event"` // an id that all of them share
	Name  string `json:"name,omitempty"`
}

// ClockJump is a writer's clock that moved by more than MaxClockJump against the
// event before.
type ClockJump struct {
	Seconds float64 `json:"seconds"`
}

// MaxClockJump is how far a clock may move backwards, from one event of a site to the next,
// before that is said.
const MaxClockJump = 2 * time.Minute

// Body makes the body of a draft.
func Body(v any) json.RawMessage {
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // bodies are the plain types above
	}
	return text
}

// Talked is one entry of a conversation, and what the conversation has to know to go
// on from there at another place or on another day: what was passed over and what is
// still to be asked. It holds nothing that is believed. The last one counts.
type Talked struct {
	Memory json.RawMessage `json:"memory,omitempty"` // in the conversation's own form
	Said   json.RawMessage `json:"said,omitempty"`   // what was answered to the entry, for whoever did not see it
	Before string          `json:"before,omitempty"` // the event of the entry before; "" for the first
	Is     string          `json:"is,omitempty"`     // an entry was taken back: the event of the entry where the conversation stands again, or TalkBegun
}

// TalkBegun stands in Talked.Is where every entry was taken back.
const TalkBegun = "begun"
