package rulebase

// A Situation is all that is known of one drop: what was given, seen and done,
// where the user is and with whose hands and tools. Case file, flags,
// conversation, rule test and hand-over all become this one type. It is a value:
// whoever adds to one makes a new one (see [Situation.Clone]).
type Situation struct {
	Case      string
	At        Place    // "": everything possible
	Who       Who      // Anybody: everything possible
	Tools     []string // nil: everything possible; empty and not nil: bare hands
	Alone     bool
	Confirmed []string // warnings that were confirmed, by id

	Givens   []GivenValue // in the order given; the last of one id counts
	Findings []Finding    // in the order given
	Done     []Done       // in the order done

	Drop      int               // which drop this is, by address; 0 not said
	Drops     map[int]string    // state of each drop by address: good, dead, comes_and_goes
	Order     []int             // drops in the order along the cable, from the host; never guessed from addresses
	Supplies  [][]int           // drops that share a supply
	Sheet     string            // installation sheet
	SheetFile string            // the sheet's text as a store keeps it, by its digest; filled in by whoever keeps it there
	Paper     map[string]string // what the sheet says, by the names of filled_by, as text with units; filled in by whoever reads the sheet
	Sums      map[string]string // how the sheet comes to it, by the same names, as it is told; filled in likewise
	Checked   []PaperCheck      // what on the sheet does not go, or barely; filled in by whoever reads the sheet
	Effort    *Effort           // the user's own figures

	Expect *Expectation // what a rule test expects; a diagnosis ignores it
	Pos    Position
}

// A PaperCheck is something on an installation sheet that does not go, or barely,
// with its arithmetic.
type PaperCheck struct {
	Rule   string `json:"rule"`            // what was found, like trunk_too_long
	Fails  bool   `json:"fails,omitempty"` // false: barely goes
	Says   string `json:"says"`            // a whole sentence with the figure and the limit
	Sum    string `json:"sum,omitempty"`   // how the figure comes about, where it is a sum
	Do     string `json:"do,omitempty"`
	Source string `json:"source,omitempty"` // where the limit comes from
}

// A Value is what somebody entered: a word, or a number in the unit of the thing asked for.
type Value struct {
	Word     string // the word, or the text of a number
	IsNumber bool
	Number   float64
}

// A GivenValue is a given with its value.
type GivenValue struct {
	ID    string
	Value Value
	Pos   Position
}

// A Finding is a symptom with the value somebody saw.
type Finding struct {
	Symptom string
	Value   Value
	Among   []string // one of these values was seen, and it is not known which; Value is then empty
	Sure    *float64 // nil: the symptom's or the rulebase's own
	At      Place    // "": the situation's
	By      string   // who saw it
	After   string   // seen after everything done up to the last entry of this id; "": before any work
	Now     bool     // seen as of now, after everything done so far; overrides After
	Drop    int      // another drop's: kept and shown, not weighed; 0: this drop's
	Read    string   // the text as typed
	Pos     Position
}

// Done is a remedy, or a test that puts something right, that was carried out.
type Done struct {
	ID   string
	Drop DropNow // what the drop did afterwards
	Pos  Position
}

// DropNow is what a drop did after something was done.
type DropNow string

// What a drop did after something was done.
const (
	NotSaid   DropNow = ""
	StillDown DropNow = "still_down"
	Well      DropNow = "well"
)

// SilentBelow is the chance that a case must expect a cause to stay below for the
// cause to count as silent in it.
const SilentBelow = 0.5

// An Expectation is what a rule test asks of a diagnosis. Maps that are nil and
// pointers that are nil ask nothing.
type Expectation struct {
	First      string
	InFirst    map[int][]string
	AtLeast    map[string]float64
	AtMost     map[string]float64
	Outcome    Outcome
	Next       string
	NotOffered []string
	Says       []string

	// To 1e-9.
	Causes, Now, Conditions          map[string]float64
	None, Outside, UnitOut, Evidence *float64
	Top                              *TopSet
	GainBits                         map[string]float64
	Pos                              Position
}

// TopSet is the likeliest set of causes and its probability.
type TopSet struct {
	Causes      []string
	Probability float64
}

// Clone makes a copy that shares nothing with the original that either may append to.
func (s Situation) Clone() Situation {
	c := s
	c.Tools = append([]string(nil), s.Tools...)
	if s.Tools != nil && c.Tools == nil {
		c.Tools = []string{}
	}
	c.Confirmed = append([]string(nil), s.Confirmed...)
	c.Givens = append([]GivenValue(nil), s.Givens...)
	c.Findings = append([]Finding(nil), s.Findings...)
	c.Done = append([]Done(nil), s.Done...)
	c.Order = append([]int(nil), s.Order...)
	c.Supplies = append([][]int(nil), s.Supplies...)
	if s.Drops != nil {
		c.Drops = make(map[int]string, len(s.Drops))
		for k, v := range s.Drops {
			c.Drops[k] = v
		}
	}
	return c
}
