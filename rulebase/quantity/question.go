package quantity

import "strings"

// A Doubt says why a text was not taken as a reading.
type Doubt string

// The doubts.
const (
	NoReading    Doubt = "no-reading" // no number can be found
	DoubtNumber  Doubt = "number"     // a number not written as one: two marks, a leading zero, an exponent
	DoubtMark    Doubt = "mark"       // a comma or point that parts decimals or thousands
	DoubtPrefix  Doubt = "prefix"     // m or M, or a prefix in one half only
	DoubtUnit    Doubt = "unit"       // another unit than the one asked for
	DoubtCurrent Doubt = "current"    // AC where DC was asked, or the other way round
	DoubtRange   Doubt = "range"      // outside what is plausible
	DoubtCounter Doubt = "counter"    // a counter that went down, or was read at one time only
)

// A Question is the error of [Read] where a text has no one meaning: what to ask
// back, with the unit, and what to choose from.
type Question struct {
	Doubt   Doubt
	Text    string   // as typed
	Unit    string   // asked for
	Says    string   // the question, or what to write instead
	Answers []Answer // may be empty: then there is nothing to choose from
}

// An Answer is one meaning that a text can have.
type Answer struct {
	Reading Reading
	Entry   string // a text that [Read] takes in this meaning only
}

// Error is the question with its answers.
func (q *Question) Error() string {
	if len(q.Answers) == 0 {
		return q.Says
	}
	parts := make([]string, len(q.Answers))
	for i, a := range q.Answers {
		parts[i] = a.Reading.String()
	}
	return q.Says + " Do you mean " + strings.Join(parts, ", or ") + "?"
}
