package rulebase

import (
	"math"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase/quantity"
)

var whoWords = []string{"", "operator", "electrician", "technician", "engineer"}

// String is the word for a person; "" for Anybody.
func (w Who) String() string { return whoWords[w] }

// WhoOf is the person a word stands for.
func WhoOf(word string) (Who, bool) {
	i := slices.Index(whoWords, word)
	return Who(max(i, 0)), i > 0
}

var stopsWords = []string{"nothing", "drop", "bus"}

// PutsInWords are what a step can put in, force, lower or loosen that has to be undone.
var PutsInWords = []string{"force", "jumper", "feed", "terminator", "rate", "skipped_drop", "loose_wire", "other"}

// String is the word for what is stopped.
func (s Stops) String() string { return stopsWords[s] }

var hazardWords = []string{"unknown", "live", "mains", "motion", "stored", "static", "spark"}

// Words are the words for a set of hazards, none for the empty set.
func (h Hazard) Words() []string {
	var words []string
	for i, w := range hazardWords {
		if h>>i&1 == 1 {
			words = append(words, w)
		}
	}
	return words
}

// HazardOf is the hazard a word stands for.
func HazardOf(word string) (Hazard, bool) {
	i := slices.Index(hazardWords, word)
	if i < 0 {
		return 0, false
	}
	return 1 << i, true
}

// SlotOf is the slot that holds a value of a name, without rank; false where the
// name cannot have that value. A banded name takes a reading or a band's name;
// a reading is not sorted into its band here, since the limits may not be known.
func (b *Base) SlotOf(name int, v Value) (Slot, bool) {
	n := &b.Names[name]
	s := Slot{Number: math.NaN()}
	if v.IsNumber {
		s.Number = v.Number
		return s, n.Type == Number || n.Type == Banded
	}
	word := v.Word
	if n.Type == Flag {
		switch strings.ToLower(word) {
		case "true", "yes":
			word = "true"
		case "false", "no":
			word = "false"
		}
	}
	s.Word = int32(slices.Index(n.Words, word) + 1)
	return s, s.Word > 0
}

// SlotText is a slot's value in words: the word, or the number with its unit; "" where unknown.
func (b *Base) SlotText(name int, s Slot) string {
	n := &b.Names[name]
	number := ""
	if !math.IsNaN(s.Number) && (n.Type == Number || n.Type == Banded) {
		number = strconv.FormatFloat(s.Number, 'g', -1, 64)
		if n.Unit != "" {
			number += " " + n.Unit
		}
	}
	if s.Word <= 0 || int(s.Word) > len(n.Words) {
		return number
	}
	word := n.Words[s.Word-1]
	if number != "" {
		return number + " (" + word + ")"
	}
	return word
}

// Read is a value of the given from a text with its unit, as a file would write
// it. ok is false where the text is none: another unit, or no number.
func (g *Given) Read(text string) (v Value, ok bool) {
	if g.Type != Number {
		return Value{Word: text}, text != ""
	}
	x, err := quantity.Parse(text, g.Unit)
	return Value{Word: text, IsNumber: true, Number: x}, err == nil
}
