// Package rulebase holds what is known about drops: the nouns of the trade, as
// the person who keeps the rulebase writes them, and the checking of what was
// written.
//
// This file is the glossary. A Base is what a folder of YAML files says once it
// has been read, checked and numbered: every reference between entries is an
// index into one of Base's slices, every probability is a number, every
// condition a typed [Expression]. A Base is never changed after loading, so any
// number of diagnoses may share one.
package rulebase

import (
	"slices"

	"downdrop/rulebase/source"
)

// Position is where an entry or value stands in its file.
type Position = source.Position

// A Base is one complete, checked rulebase.
type Base struct {
	Name    string
	Version int
	Digest  string   // hex SHA-256 over base name, NUL, bytes, NUL of each non-test file in name order, layer by layer
	Layers  []string // names of the rulebases laid over one another, the lowest first

	FaultsAtMost int     // largest set of causes considered together
	Together     float64 // factor on the prior for each cause after the first
	Outside      float64 // prior probability that the trouble is something not listed here
	Complaint    *Complaint
	Sure         Sureness // how sure a finding is when nothing is said
	FactFrom     float64  // a finding at least this sure is a fact for rules
	Effort       Effort   // minutes added to a price
	GiveUp       float64  // minutes: price of the last resort
	Words        map[string]float64
	Parts        []PartWeight // what the causes of each part should add up to; empty: not said

	Givens     []Given
	Causes     []Cause
	Conditions []Condition
	Symptoms   []Symptom
	Rules      []Rule
	Tests      []Step // tests as written, then the implied ones (Step.Implied)
	Remedies   []Step
	Warnings   []Warning
	Sources    []Source
	OnSite     []OnSite // what a site calls things, by id

	// Names is everything an expression can read, in slot order: givens,
	// symptoms, plain facts, causes, conditions. A []Slot of len(Names) holds
	// what is known of them.
	Names []Name

	index map[string]Ref

	// For remarks only: where things stand, and the sources that something rests on.
	positions   positions
	sourcesUsed map[string]bool
}

// A PartWeight is what the weights of all causes of one part add up to, as the
// header says it. No diagnosis reads it; a look over the rulebase compares.
type PartWeight struct {
	Part        string
	PerThousand float64
	Pos         Position
}

// A Kind says which section an id belongs to.
type Kind uint8

// The sections, and plain facts (which only rules set).
const (
	KindNone Kind = iota
	KindGiven
	KindSymptom
	KindFact
	KindCause
	KindCondition
	KindRule
	KindTest
	KindRemedy
	KindWarning
	KindSource
	KindOnSite
)

// A Ref is what an id stands for: an entry of a section. For KindFact, Index is
// the place in Base.Names; for all others the place in the section's slice. An
// implied test (a symptom offered by itself) is found under its symptom.
type Ref struct {
	Kind  Kind
	Index int
}

// Lookup says what an id stands for.
func (b *Base) Lookup(id string) (Ref, bool) {
	r, ok := b.index[id]
	return r, ok
}

// A Type is what kind of value a name holds.
type Type uint8

// The types of names.
const (
	Flag   Type = iota // true or false
	Choice             // one word of a list
	Number             // a number with a unit
	Banded             // a reading, and the band it lies in
)

// A Name is something an expression can read.
type Name struct {
	ID    string
	Kind  Kind // KindGiven, KindSymptom, KindFact, KindCause or KindCondition
	Index int  // place in the section's slice; for facts 0
	Type  Type
	Words []string // Choice: the values; Banded: the bands, rising; Flag: false, true
	Unit  string   // Number and Banded
}

// A Rank says who a value comes from; the higher outranks the lower.
type Rank uint8

// The ranks of a value.
const (
	NotKnown Rank = iota
	FromDefault
	FromRules  // derived
	FromFilled // the program knows it (place, person, installation sheet)
	FromPerson
)

// A Slot is what is known of one name.
//
//	Word   0 unknown, else 1 + the place in Name.Words (so a flag is 1 false, 2 true)
//	Number the number or reading; NaN where there is none
//	Rank   who it comes from; known(x) is Rank > FromDefault
type Slot struct {
	Word   int32
	Rank   Rank
	Number float64
}

// A Given is what is known about the installation or its history; no cause changes it.
type Given struct {
	ID       string
	Pos      Position
	Ask      string
	Type     Type // Flag, Choice or Number
	Unit     string
	Range    *[2]float64 // Number: what is plausible
	OneOf    []string    // Choice
	Default  *Slot       // nil: none
	FilledBy string      // what the program knows of itself: at, who, alone, loss_of_bus, extent, line.*
	Name     int         // its place in Base.Names
	Source   string
}

// A Cause is what can be wrong: a leaf that somebody can put right.
type Cause struct {
	ID         string
	Pos        Position
	Name       string // in plain words
	Part       string // supply, line, termination, ...
	Prior      float64
	Source     string // id of a Source
	MoreLikely []Likelier
	Remedies   []Helps // in the order to try
	LookAlikes []string
	Slot       int // its place in Base.Names
}

// Likelier multiplies a cause's prior odds by Times where When holds.
type Likelier struct {
	When  *Expression // reads givens only
	Times float64
}

// Helps is a remedy of a cause and the chance that it takes the cause away.
type Helps struct {
	Remedy int // index into Base.Remedies
	Chance float64
}

// A Condition is what causes do inside the system, on the way to what you see.
type Condition struct {
	ID   string
	Pos  Position
	When *Expression
	Says string
	Slot int // its place in Base.Names
}

// A Symptom is what a person can see, hear, read or measure; causes shape it.
type Symptom struct {
	ID     string
	Pos    Position
	Ask    string
	Unit   string
	Values []string      // the values, or the bands in rising order
	Limits []*Expression // for bands: one fewer than Values; band i holds readings below Limits[i]. Expressions over givens.

	Weighs      bool  // it has shows
	Independent bool  // combine: independent (Values are yes and no in some order)
	Shows       []Row // the first row that holds counts; with Independent every row that holds
	ShowsFirst  int   // how many of them stand under shows_first: a layer can add to these, not change them

	Sure        *Sureness // its own, replacing the rulebase's
	By          By
	MistakenFor []string
	HeardAs     []Saying // in the order of the file
	Slot        int      // its place in Base.Names
	Source      string
}

// A Saying is a value of a symptom in the words of people who know no name for it: "no lights at all" is a dark power
// light. It moves no number; a conversation hears it.
type Saying struct {
	Value string
	Words []string // each a whole saying
}

// Banded says whether the symptom is a reading sorted into bands.
func (s *Symptom) Banded() bool { return s.Limits != nil }

// A Row of a symptom: where When holds (nil: always), the values have these
// probabilities. P is complete and sums to 1, in the order of Symptom.Values.
type Row struct {
	Pos    Position
	When   *Expression
	P      []float64
	Source string
}

// By says how a symptom may be had without a test.
type By uint8

// Ways to have a symptom without a test.
const (
	ByNothing By = iota // it is only taken, never proposed
	ByAsking
	ByLooking
)

// Sureness is how sure a finding is when nothing is said: one number for all
// places, or one by place (a place that is lacking: 1).
type Sureness struct {
	Everywhere float64
	ByPlace    map[Place]float64 // nil: Everywhere holds
}

// At gives the sureness of a finding made at a place ("" counts as not known: 1 where places differ).
func (s *Sureness) At(p Place) float64 {
	if s.ByPlace == nil {
		return s.Everywhere
	}
	if v, ok := s.ByPlace[p]; ok {
		return v
	}
	return 1
}

// SureOf is how sure a finding of a symptom is that was made at a place and says nothing
// of it: the symptom's own sureness, else that of the whole rulebase.
func (b *Base) SureOf(symptom int, at Place) float64 {
	if own := b.Symptoms[symptom].Sure; own != nil {
		return own.At(at)
	}
	return b.Sure.At(at)
}

// A Complaint is how every case begins, and what "well again" means.
type Complaint struct {
	Symptom int
	Bad     int // index into the symptom's Values
	Well    int
}

// A Rule leads from findings and givens to further facts.
type Rule struct {
	ID          string
	Pos         Position
	When        *Expression
	Then        []Assignment
	RulesOut    []int // causes
	Establishes []int // causes
	Tell        string
	Because     string
	Source      string
	Again       bool // the same evidence may count twice, for the reason in Because
}

// An Assignment is a value that a rule gives to a given, a symptom or a plain fact.
type Assignment struct {
	Name  int // place in Base.Names
	Value Slot
	Text  string // as written
}

// A Step is a test or a remedy: something somebody does, at a price.
type Step struct {
	ID         string
	Kind       Kind // KindTest or KindRemedy
	Pos        Position
	Do         string
	Minutes    float64
	Needs      []string // tools
	At         []Place  // empty: any place
	Who        Who      // the least it needs
	Stops      Stops
	Hazard     Hazard
	PutsIn     string // one of PutsInWords: what somebody has to undo afterwards; ""
	PutsRight  []int  // causes that doing it takes away for sure
	BringsBack bool   // a silent drop may come on line
	OnlyIf     *Expression
	Warnings   []int
	Steps      []string
	Source     string

	Yields  []int // tests: symptoms
	Implied bool  // tests: a symptom offered by itself, because it says by: asking or by: looking

	EndsAs    Outcome // remedies
	Proof     *Proof  // remedies
	Temporary bool    // remedies: takes no cause away and never ends a case

	SideEffects string  // temporary remedies: what else they do
	Days        float64 // temporary remedies: after how many days they have to be undone at the latest; 0: nobody said
}

// SettingsFirst says whether the settings of the drop's unit have to be read before the step: it stops the
// drop or the whole bus, or puts another unit in.
func (s *Step) SettingsFirst() bool {
	return s != nil && (s.Stops != StopsNothing || s.EndsAs == UnitOut)
}

// Step is the test or remedy of an id; nil where there is none.
func (b *Base) Step(id string) *Step {
	switch ref, _ := b.Lookup(id); ref.Kind {
	case KindTest:
		return &b.Tests[ref.Index]
	case KindRemedy:
		return &b.Remedies[ref.Index]
	}
	return nil
}

// ProofMinutes is how long the drop is watched after a remedy; 0 where it names no proof.
func (s *Step) ProofMinutes() float64 {
	if s.Proof == nil {
		return 0
	}
	return s.Proof.Minutes
}

// Proof is how a remedy shows that it held.
type Proof struct {
	Watch   int // symptom
	Minutes float64
	Under   string // under what load; ""
}

// A Warning is what can hurt a person or the plant.
type Warning struct {
	ID      string
	Pos     Position
	Level   Level
	Says    string
	Fact    string // what somebody confirms before the step, in words that can only be true or not; "" where Says is that
	Because string
	Source  string
}

// Confirms is the fact that is named where the warning is confirmed.
func (w *Warning) Confirms() string {
	if w.Fact != "" {
		return w.Fact
	}
	return w.Says
}

// A Level is the signal word of a warning, the gravest first.
type Level string

// The signal words.
const (
	DangerLevel  Level = "danger"
	WarningLevel Level = "warning"
	CautionLevel Level = "caution"
	NoticeLevel  Level = "notice"
)

// A Source says where a fact comes from.
type Source struct {
	ID   string
	Pos  Position
	Says string
	Kind string // practice, standard, paper, estimate, ...
}

// A Place is where the user is.
type Place string

// The places. The empty Place means that none was said: every place is possible.
const (
	Phone Place = "phone"
	Field Place = "field"
	Bench Place = "bench"
)

// Who is whose hands are on the equipment, rising. Zero: not said, everything is possible.
type Who uint8

// The persons.
const (
	Anybody Who = iota
	Operator
	Electrician
	Technician
	Engineer
)

// Stops is what a step brings to a halt.
type Stops uint8

// What a step can stop.
const (
	StopsNothing Stops = iota
	StopsDrop
	StopsBus
)

// A Hazard is what a step can hurt somebody with: a set. The empty set is none.
type Hazard uint8

// The hazards.
const (
	HazardUnknown Hazard = 1 << iota // counts as the worst
	HazardLive
	HazardMains
	HazardMotion
	HazardStored
	HazardStatic
	HazardSpark
)

// Effort is the minutes added to a price for what a step stops, and for a visit.
type Effort struct {
	StopsDrop float64
	StopsBus  float64
	Visit     float64
}

// Price is a step's price in minutes: its own, and those for what it stops. A remedy's
// proof is not in it, see [Step.ProofMinutes].
func (e Effort) Price(s *Step) float64 {
	switch s.Stops {
	case StopsDrop:
		return s.Minutes + e.StopsDrop
	case StopsBus:
		return s.Minutes + e.StopsBus
	}
	return s.Minutes
}

// An Outcome is how a case ends.
type Outcome string

// The outcomes of a case. The last two are never a remedy's.
const (
	Adjusted     Outcome = "adjusted"
	Rewired      Outcome = "rewired"
	PartReplaced Outcome = "part_replaced"
	ModuleOut    Outcome = "module_out"
	UnitOut      Outcome = "unit_out"
	NotAFault    Outcome = "not_a_fault"
	Escalate     Outcome = "escalate"
	NothingFound Outcome = "nothing_found"
	OutsideList  Outcome = "outside"
)

// RemedyOutcomes are those that a remedy can have, Outcomes all there are: the only lists of them.
var (
	RemedyOutcomes = []Outcome{Adjusted, Rewired, PartReplaced, ModuleOut, UnitOut, NotAFault, Escalate}
	Outcomes       = append(slices.Clone(RemedyOutcomes), NothingFound, OutsideList)
)

// A Verdict is what a unit turned out to be.
type Verdict string

// The verdicts on a unit.
const (
	UnitGood      Verdict = "good"
	UnitBad       Verdict = "bad"
	UnitNotProven Verdict = "not_proven"
)

// Verdicts are all there are, and the only list of them.
var Verdicts = []Verdict{UnitGood, UnitBad, UnitNotProven}

// Words are the ids of outcomes or verdicts as plain texts.
func Words[T ~string](list []T) []string {
	out := make([]string, len(list))
	for i, x := range list {
		out[i] = string(x)
	}
	return out
}
