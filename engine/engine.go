// Package engine turns what is known of a drop into a diagnosis.
//
// [Diagnose] is a pure function of a prepared rulebase and a situation: no clock,
// no chance, no files. Stops on the way: engine/chain follows the rules up from
// what was observed; engine/hypothesis settles what would be true under every
// set of causes; engine/belief weighs the findings; engine/plan says what to do
// next. It says nothing about causes that the rulebase does not name, except
// how likely it is that the trouble is one of those.
package engine

import (
	"downdrop/rulebase"
)

// A Diagnosis is the answer to a situation. It is never changed once made.
// Slices are sorted as they are printed: by falling probability or worth, then id.
type Diagnosis struct {
	Base      *rulebase.Base
	Situation rulebase.Situation
	Policy    string // what ordered Next
	Possible  bool   // false: no listed hypothesis allows the findings and outside is 0: there are no probabilities

	Causes       []CauseBelief
	Conditions   []ConditionBelief
	None         float64 // the empty set, when the case began
	Outside      float64 // something not listed
	UnitOut      float64 // at least this: the unit has to be repaired or exchanged
	Evidence     float64 // mass left after findings, work done, rules_out and establishes
	LeftOut      float64 // bound on the posterior mass of the sets not held
	Explanations []Explanation

	Plan       Planned
	Next       []Proposal
	NotOffered []Withheld

	Known        []rulebase.Slot // what is known of every name once the rules have run, by place in Base.Names
	Fired        []int           // the rules that fired, rising: indices into Base.Rules
	Advice       Advice          // whether enough is known, and what to do then
	Proven       []int           // once the drop is well: the causes that what was done most likely took, rising; places in Base.Causes
	NotExplained []string        // and the symptoms with an abnormal finding that these do not explain (see Unexplained)
	Disposition  *Disposition    // by phone: how the call ends; nil elsewhere

	Facts     []Fact
	Tells     []Tell
	Conflicts []Conflict
	Weights   []Weight // what each finding did to one cause against another (Options.Weighed, Against)
	Weighed   [2]int   // the two causes that Weights are about, by their places in Base.Causes
	Work      Work

	working *working // for a later diagnosis with more known
}

// Planned is what the planner makes of a situation.
type Planned struct {
	Minutes float64 // expected, if the first step of Next comes next; to identify: of tests
	Bound   float64 // no policy has fewer; 0 where none was worked out
	Proven  bool    // Bound is reached, by what the planner can tell apart
	Stop    bool    // nothing on offer is worth doing: what to do is certain, nothing tells more, or handing over is cheaper
}

// A CauseBelief is how likely a cause is.
type CauseBelief struct {
	Cause       int     // index into Base.Causes
	Probability float64 // of having been there when the case began
	Now         float64 // of still being there
	Remedy      int     // the first remedy not yet done, index into Base.Remedies; -1: none
}

// A ConditionBelief is how likely a condition is, as of now.
type ConditionBelief struct {
	Condition   int
	Probability float64
}

// An Explanation is a set of causes when the case began; the empty set is "nothing wrong".
type Explanation struct {
	Causes      []int
	Probability float64
}

// A Proposal is a step that can be offered, with what it is worth.
type Proposal struct {
	Step            *rulebase.Step
	Minutes         float64  // hands-on
	Price           float64  // minutes, with what it stops
	GainBits        float64  // expected drop of the entropy over what to do; 0 for remedies
	Saves           float64  // by phone: minutes that it saves in the end of the call, an estimate; 0 elsewhere
	Planned         float64  // minutes by the policy that orders Next; 0 where it was not looked at
	ExpectedMinutes float64  // its price, plus the mean over its results of the base policy's minutes
	Warnings        []string // ids, to be shown before the step
	AskFirst        []string // givens not known that could forbid it
}

// A Withheld is a step that cannot be offered, and why.
type Withheld struct {
	Step     *rulebase.Step
	Why      Why
	Detail   string // the tool, warning, given or place it lacks
	GainBits float64
}

// Why names the first line of the permission table (rulebase format, "May it be offered?") that fails.
type Why string

// The reasons a step is not offered, in the order of the permission table.
const (
	WhyKnown       Why = "known"       // all it yields is known for sure in this state of work
	WhyDone        Why = "done"        // the remedy is done already
	WhyPlace       Why = "place"       // not at this place
	WhyTools       Why = "tools"       // Detail: the tool that is not at hand
	WhyPerson      Why = "person"      // Detail: who it needs
	WhyPhone       Why = "phone"       // too dangerous to ask for by phone
	WhyPhoneStops  Why = "phone_stops" // stops the bus, by phone
	WhyAlone       Why = "alone"       // mains or motion, working alone
	WhyLossOfBus   Why = "loss_of_bus" // not known what the outputs do on loss of bus
	WhyOnlyIf      Why = "only_if"     // its only_if is false, or for a hazardous step not known to be true; Detail: the expression
	WhyUnconfirmed Why = "unconfirmed" // Detail: the warning not confirmed
	WhyHarmless    Why = "harmless"    // Detail: a harmless step that can still change what to do
	WhyWell        Why = "well"        // the drop is well
	WhyImpossible  Why = "impossible"  // nothing listed allows what was found
)

// A Fact is something known on the way up, with its reasons.
type Fact struct {
	ID      string
	Value   string
	Because []string // ids of rules, or said, default, filled
	Why     []string // the chain in words, down to what a person said: one line each, indented by two blanks per level
}

// A Tell is advice from a rule.
type Tell struct {
	Rule string
	Says string
	Why  []string
}

// A Conflict is something that cannot all be true, or cannot be weighed.
type Conflict struct {
	Kind    ConflictKind
	Says    string   // a whole sentence
	Members []string // ids of findings, givens and rules that cannot go together
	Why     []string // rules that disagree: the chain of each value in words, down to what a person said, as Fact.Why
}

// A ConflictKind says what sort of conflict it is.
type ConflictKind string

// The kinds of conflict.
const (
	ConflictRules      ConflictKind = "rules"      // rules give different values to one fact
	ConflictFindings   ConflictKind = "findings"   // differing findings of one symptom in one state of work
	ConflictDerived    ConflictKind = "derived"    // a rule and a person differ about a symptom
	ConflictImpossible ConflictKind = "impossible" // a smallest set that cannot go together
	ConflictLimits     ConflictKind = "limits"     // a reading that cannot be sorted into bands; names the given to ask
)

// A Weight is how far one finding moved the first cause against another.
type Weight struct {
	Finding string // symptom id
	Value   string
	Rule    string  // the rule that derived it; "": somebody saw it
	Factor  float64 // odds of the first of Weighed against the other are multiplied by this; above 1 speaks for the first
}

// Work counts what a diagnosis did. Limits in downdrop are counts of work, never time.
type Work struct {
	Visits     int // rules looked at
	Hypotheses int // sets of causes held, with the outcomes of remedies that may not have helped
	Nodes      int // nodes of search
}
