package rulebase

import "math"

// An Expression is a `when`: expr-lang's grammar, parsed once into a small typed
// tree of our own. The tree is the only thing the rest of the program reads:
// closures, word operations, why-not and checks are all made from it.
type Expression struct {
	Text string
	Pos  Position
	Root *Term

	truth  func([]Slot) Truth
	number func([]Slot) float64
}

// Truth is a value of Kleene's strong three-valued logic. Not is 2 - t, and is
// the smaller, or the larger.
type Truth uint8

// The truth values.
const (
	False Truth = iota
	Unknown
	True
)

// An Op is what a Term does.
type Op uint8

// The operations of a Term.
const (
	OpTrue Op = iota
	OpFalse
	OpRead      // Name as a truth value (a flag, a cause, a condition)
	OpNot       // Args[0]
	OpAnd       // all Args (two or more, flattened)
	OpOr        // any of Args
	OpKnown     // known(Name)
	OpIs        // Name's word is Words[0]
	OpIsNot     // Name's word is not Words[0]
	OpIn        // Name's word is one of Words
	OpNotIn     // Name's word is none of Words
	OpInNumbers // Args[0] is one of Numbers
	OpNotInNumbers
	OpEqual // Args[0] and Args[1], numbers
	OpNotEqual
	OpLess
	OpLessEqual
	OpGreater
	OpGreaterEqual
	OpSameFlag // Args[0] and Args[1], truth values, are equal
	OpOtherFlag
	OpSameWord // Name and Other hold the same word (by spelling)
	OpOtherWord

	// number-valued
	OpConstant // Number
	OpReading  // Name's number
	OpAdd
	OpSubtract
	OpMultiply
	OpDivide
	OpNegate
	OpMin
	OpMax
	OpAbs
)

// A Term is a node of an expression's tree.
type Term struct {
	Op      Op
	Args    []*Term
	Name    int       // OpRead, OpKnown, OpIs.., OpIn, OpNotIn, OpReading, OpSameWord: place in Base.Names
	Other   int       // OpSameWord, OpOtherWord
	Words   []int32   // as in Slot.Word
	Number  float64   // OpConstant
	Numbers []float64 // OpInNumbers
	Column  int       // of this term in the text, from 1

	// GivensOnly says that the term reads givens (or nothing) and no cause or
	// condition: on the way down it is evaluated once per session and counts as
	// false where the result is unknown.
	GivensOnly bool
}

// Eval gives the expression's truth from what is known; Unknown for one that was
// read as a number. It allocates nothing.
func (e *Expression) Eval(slots []Slot) Truth { return e.truth(slots) }

// Value gives a number-valued expression's number, NaN where it is not known or
// not finite, and for one that was read as a truth value.
func (e *Expression) Value(slots []Slot) float64 { return e.number(slots) }

// A Scope says which names an expression may read, and what it is to give.
type Scope struct {
	Names  []Name
	ByID   map[string]int
	Allow  []Kind // kinds of names that may be read here
	Where  string // "a condition", for messages
	Number bool   // a number is wanted, not a truth value

	// Kinds says what every id of the rulebase is, so that a test or a rule that
	// is read by mistake is called by its name. It may be nil.
	Kinds map[string]Kind
}

// compile makes the closures from the tree, of which the root says whether it is a
// truth value or a number.
func (e *Expression) compile() {
	e.truth, e.number = neverTruth, neverNumber
	if e.Root.Op >= OpConstant {
		e.number = compileNumber(e.Root)
	} else {
		e.truth = compileTruth(e.Root)
	}
}

// What an expression of the other sort gives: nothing is known.
func neverTruth([]Slot) Truth    { return Unknown }
func neverNumber([]Slot) float64 { return math.NaN() }

var kindWords = map[Kind]string{KindGiven: "given", KindSymptom: "symptom", KindFact: "plain fact", KindCause: "cause", KindCondition: "condition",
	KindRule: "rule", KindTest: "test", KindRemedy: "remedy", KindWarning: "warning", KindSource: "source"}
