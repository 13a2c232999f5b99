package conversation

import (
	"math"
	"strconv"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// A reading is what a text says of a thing that takes readings.
type reading struct {
	text    string // as typed
	words   uint64 // the words it takes up in the piece
	hasUnit bool
	value   rulebase.Value
}

// readAll reads a whole text as a reading of a thing; nil where it is none.
func (l *listener) readAll(th *thing, text string) *reading {
	x, err := quantity.Parse(text, th.unit)
	if err != nil {
		return nil
	}
	return &reading{text: text, hasUnit: strings.ContainsAny(text, "abcdefghijklmnopqrstuvwxyz"), value: rulebase.Value{Word: text, IsNumber: true, Number: x}}
}

// findReading finds the longest run of words that is a reading of a thing.
func (l *listener) findReading(th *thing, text string, tokens []token) *reading {
	return nil
}

// takeReading records a reading.
func (l *listener) takeReading(th *thing, r *reading, text string, how manner) bool {
	l.record(th, r.value, r.text, text, how)
	return true
}

// sayValue says a value in words, with its unit.
func sayValue(th *thing, v rulebase.Value) string {
	if !v.IsNumber || math.IsNaN(v.Number) {
		return yesFor(v.Word)
	}
	return strings.TrimSpace(strconv.FormatFloat(v.Number, 'g', 6, 64) + " " + th.unit)
}
