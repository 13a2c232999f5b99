package shop

import "downdrop/cases"

// A Kind says what a refusal is about.
type Kind int

// The kinds of refusals.
const (
	Usage   Kind = iota // what was asked for cannot be followed
	Input               // what was given is not valid
	Damaged             // something kept was changed after it was written
	Output              // something could not be kept
)

// A Refusal says why something of the shop cannot be, and what to do.
type Refusal struct {
	Kind Kind
	Says string
}

func (e Refusal) Error() string { return e.Says }

// Is says what a refusal is to whoever sorts errors.
func (e Refusal) Is(t error) bool { return e.Kind == Damaged && t == cases.ErrIntegrity }

// The sentences of runs.
const (
	sayRunTooLong  = "%s is longer than any run at the bench: it is another file."
	sayRunNoEvent  = "%s:%d: this line is no event of a run at the bench: it is another file, or was changed by hand."
	sayRunChanged  = "%s is not as it was written: %v. Do not rely on it; test the unit again."
	sayRunEmpty    = "%s holds no run: name the file of a run at the bench."
	sayRunShared   = "%s was written by somebody else meanwhile; \"downdrop bench resume\" reads it anew."
	sayMonthToCome = "%s has not begun, so nothing is to be added up. Name a month that has, or none for the last whole one."
	sayRunUnread   = "%s cannot be gone on with: %v. Begin a new run."
)
