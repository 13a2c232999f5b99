package cases

import (
	"slices"
	"strings"
)

// The unit's way through the shop. A unit is a subject of its own: it outlives the cases
// in which it was suspected, and comes back. Its events are appended as those of a case
// are, and a [Card] is what they add up to.

// A ShopState is where a unit stands in the shop.
type ShopState string

// The states. They are those that nonconforming outputs go through (ISO 9001:2015, 8.7: identify,
// keep from unintended use, act, verify after correction), and two of the exchange trade, where the
// unit that comes back for one that went out is the core.
const (
	ShopReceived    ShopState = "received"
	ShopQuarantined ShopState = "quarantined" // kept apart: not to be opened or used until it is settled why
	ShopEvaluated   ShopState = "evaluated"   // looked at and tested; the verdict is known
	ShopAwaiting    ShopState = "awaiting_customer"
	ShopInRepair    ShopState = "in_repair"
	ShopInTest      ShopState = "in_test"
	ShopReleased    ShopState = "released"            // fit for use, and sent out or put on the shelf
	ShopReturned    ShopState = "returned_unrepaired" // sent back as it was
	ShopScrapped    ShopState = "scrapped"
	CoreAccepted    ShopState = "core_accepted" // the shop's own from here on
	CoreRefused     ShopState = "core_refused"  // not credited: still the sender's
)

// ShopStates are all there are, in the order in which a shop reads them.
var ShopStates = []ShopState{
	ShopReceived, ShopQuarantined, ShopEvaluated, ShopAwaiting, ShopInRepair, ShopInTest, CoreAccepted, CoreRefused, ShopReleased, ShopReturned, ShopScrapped,
}

// shopMoves is the one table of what may follow what. A unit comes to received by a receipt
// alone (see mayReceive). What was repaired is tested before it is released; a unit in
// quarantine is not repaired or tested before it was looked at.
var shopMoves = map[ShopState][]ShopState{
	ShopReceived:    {ShopQuarantined, ShopEvaluated, CoreAccepted, CoreRefused, ShopReturned},
	ShopQuarantined: {ShopEvaluated, CoreRefused, ShopReturned, ShopScrapped},
	ShopEvaluated:   {ShopQuarantined, ShopAwaiting, ShopInRepair, ShopInTest, CoreAccepted, CoreRefused, ShopReleased, ShopReturned, ShopScrapped},
	ShopAwaiting:    {ShopQuarantined, ShopInRepair, ShopInTest, CoreAccepted, CoreRefused, ShopReleased, ShopReturned, ShopScrapped},
	ShopInRepair:    {ShopQuarantined, ShopAwaiting, ShopInTest, ShopReturned, ShopScrapped},
	ShopInTest:      {ShopQuarantined, ShopEvaluated, ShopAwaiting, ShopInRepair, ShopReleased, ShopReturned, ShopScrapped},
	CoreAccepted:    {ShopQuarantined, ShopEvaluated, ShopInRepair, ShopInTest, ShopScrapped},
	CoreRefused:     {ShopQuarantined, ShopReturned, ShopScrapped},
	ShopReleased:    {},
	ShopReturned:    {},
	ShopScrapped:    {},
}

// MayFollow are the states that a unit may go to from one.
func (s ShopState) MayFollow() []ShopState { return slices.Clone(shopMoves[s]) }

// InShop says whether a unit in this state is in the house.
func (s ShopState) InShop() bool { return s != "" && len(shopMoves[s]) > 0 }

// ends says whether a state ends a stay: the sender's unit is sent out, gone, or the shop's own.
func (s ShopState) ends() bool { return !s.InShop() || s == CoreAccepted }

// mayReceive says whether a unit in this state can come in: one that was never here,
// or that went out. A scrapped one that comes in is a mistake, here or when it was scrapped.
func (s ShopState) mayReceive() bool { return s == "" || s == ShopReleased || s == ShopReturned }

// The kinds of events about a unit, all of version 1. Notes, references and entries taken
// back are those of cases.
const (
	KindReceived      Kind = "received"      // Receipt: begins a stay
	KindMoved         Kind = "moved"         // Move
	KindContamination Kind = "contamination" // Contamination
	KindWork          Kind = "work"          // Work
	KindOffer         Kind = "offer"         // Offer
	KindAnswer        Kind = "answer"        // Answer
	// KindReturnNote is about a case: what goes with the unit to the shop. Body: ReturnNote.
	KindReturnNote Kind = "return_note"
)

// A Receipt is a unit that came in.
type Receipt struct {
	Unit      Unit     `json:"unit"`
	From      string   `json:"from,omitempty"` // the sender: the id of a person or customer, never a name
	Complaint string   `json:"complaint,omitempty"`
	Condition string   `json:"condition,omitempty"` // as it looked: damage, what is missing, label against paper
	Core      bool     `json:"core,omitempty"`      // it comes back for an exchange unit that went out
	Cases     []string `json:"cases,omitempty"`     // ids of the cases in which it was suspected
}

// A Move is a change of state, with the reason for it.
type Move struct {
	To      ShopState `json:"to"`
	Why     string    `json:"why"`
	Record  string    `json:"record,omitempty"`  // what shows it: the number of a bench record
	Verdict string    `json:"verdict,omitempty"` // on the unit as it came in: a rulebase.Verdict
	// Consent is who agreed to what the rules would not allow: the customer's, for a
	// release that rests on a concession.
	Consent string `json:"consent,omitempty"`
}

// Contamination is the sender's statement, needed before anybody opens the unit.
type Contamination struct {
	State string `json:"state"`          // one of ContaminationStates
	With  string `json:"with,omitempty"` // what it was exposed to
	How   string `json:"how,omitempty"`  // it was cleaned
	From  string `json:"from,omitempty"` // where the statement stands: a return note, a letter
}

// The states of a statement.
const (
	NotExposed     = "not_exposed"    // to nothing that harms people
	Decontaminated = "decontaminated" // it was, and was cleaned
	Contaminated   = "contaminated"   // it may still be: not to be opened
)

// ContaminationStates are all there are.
var ContaminationStates = []string{NotExposed, Decontaminated, Contaminated}

// Work is an entry of the repair log.
type Work struct {
	Section string  `json:"section"` // one of UnitSections, or the shop's own
	Did     string  `json:"did"`     // in words
	As      string  `json:"as"`      // one of WorkKinds
	Parts   []Part  `json:"parts"`   // renewed
	Solder  string  `json:"solder"`  // one of Solders; "" nothing was soldered
	Minutes float64 `json:"minutes"` // at the bench; 0: not said
	Cause   string  `json:"cause"`   // of the rulebase; "" not said
}

// UnitSections are the sections of a unit in the usual order of a repair log.
var UnitSections = []string{"supply", "bus_port", "service_port", "processor", "memory", "settings", "module_bus", "connectors", "housing"}

// WorkKinds are the kinds of work on an assembly, in the sense of IPC-7711/7721: rework makes it
// again what its drawings say; a repair makes it work, not wholly as drawn; a
// modification makes something else of it, by a document.
var WorkKinds = []string{"rework", "repair", "modification"}

// Solders are what was soldered with: lead is not mixed with lead-free in a joint without a note.
var Solders = []string{"leaded", "lead_free"}

// A Part is a part that was renewed.
type Part struct {
	Name   string `json:"name"`
	Number int    `json:"number"`          // how many
	Trace  string `json:"trace,omitempty"` // lot, date code, supplier's number: where it came from
}

// An Offer is what a customer may choose, with its figures.
type Offer struct {
	Ways     []OfferedWay `json:"ways"`
	Currency string       `json:"currency"`
	Until    string       `json:"until"`  // the last day on which it holds, as 2031-05-28
	Prices   string       `json:"prices"` // name of the price sheet
	Digest   string       `json:"digest"` // of the sheet's text, kept as a file
	Bad      string       `json:"bad"`    // the chance that the unit is bad, on which Expected rests
	Note     string       `json:"note,omitempty"`
}

// An OfferedWay is one choice. Money is exact decimals, as the price sheet rounds them.
type OfferedWay struct {
	Way      string `json:"way"`                // a ways.Kind
	Price    string `json:"price"`              // to be paid for it
	Expected string `json:"expected"`           // what it comes to in all for the customer, on the mean
	Hours    string `json:"hours,omitempty"`    // until the drop has its unit
	Warranty string `json:"warranty,omitempty"` // months
}

// An Answer is what the customer says to an offer.
type Answer struct {
	Offer string `json:"offer"`           // the event's id
	Way   string `json:"way"`             // chosen; "" all were declined
	How   string `json:"how,omitempty"`   // by phone, by letter
	Order string `json:"order,omitempty"` // the customer's order number
}

// A ReturnNote is what is said when a unit is sent to the shop.
type ReturnNote struct {
	Contamination Contamination `json:"contamination,omitzero"`
	Packing       string        `json:"packing,omitempty"` // what is in the box, and how it was packed
}

// typeKey is a type within a unit's subject id: its slashes are written otherwise, so
// that the first slash of the id parts type and serial.
func typeKey(t string) string {
	return strings.NewReplacer("%", "%25", "/", "%2F").Replace(plainKey(t))
}

// KeyParts gives type and serial of a unit's subject id, as UnitKey folds them.
func KeyParts(key string) (unitType, serial string) {
	unitType, serial, _ = strings.Cut(key, "/")
	return strings.NewReplacer("%2F", "/", "%25", "%").Replace(unitType), serial
}
