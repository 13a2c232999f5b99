package quantity

import (
	"math"
	"strings"
)

// A Shape says what sort of reading somebody has.
type Shape uint8

// The shapes of readings.
const (
	Exact     Shape = iota // one number
	Below                  // below High
	Above                  // above Low
	OverRange              // above what the instrument can show
	Span                   // from Low to High: the least and the most seen
)

// A Current says whether a voltage or current was read as direct or alternating.
type Current uint8

// The kinds of current.
const (
	NotSaid Current = iota
	DC
	AC
)

// String is the mark as it is written; "" where it was not said.
func (c Current) String() string { return [...]string{"", "DC", "AC"}[c] }

// A Reading is what an instrument showed, as far as one reading can be put into
// numbers. Low and High are in Unit and bound what is known: equal where Exact;
// -Inf, or 0 for what cannot be negative, where nothing bounds it from below;
// +Inf where nothing bounds it from above.
type Reading struct {
	Shape     Shape
	Low, High float64
	Touching  bool // Below and Above: the bound itself is possible (at most, at least)
	Jumps     bool // Span: it was said to move between the two
	Rate      bool // Exact: worked out from a counter read twice
	About     bool // somebody said "about"
	Current   Current
	Unit      string
	Text      string // as typed
}

// Value is the number of an exact reading.
func (r Reading) Value() (x float64, ok bool) { return r.Low, r.Shape == Exact }

// Band is the band that all of the reading lies in, where band i holds what is
// below limits[i] (and not below limits[i-1]) and the last one the rest. ok is
// false where the reading spans bands, or the limits do not rise. What is above
// the instrument's range lies in the top band.
func (r Reading) Band(limits []float64) (band int, ok bool) {
	for i, l := range limits {
		if math.IsNaN(l) || i > 0 && l <= limits[i-1] {
			return 0, false
		}
	}
	if r.Shape == OverRange {
		return len(limits), true
	}
	if math.IsNaN(r.Low) || math.IsNaN(r.High) {
		return 0, false
	}
	low, high := 0, 0 // in how many limits' bands or above each end lies
	for _, l := range limits {
		if r.Low >= l {
			low++
		}
		// Below x reaches up to x but does not hold it.
		if r.High > l || r.High == l && (r.Shape != Below || r.Touching) {
			high++
		}
	}
	return low, low == high
}

// String echoes the reading for the eye, with its unit: 23.8 V DC, below 2 ohm.
func (r Reading) String() string {
	return r.say(func(x float64) string { return Format(x, r.Unit) + r.perMinute() })
}

// perMinute is what the unit of a rate lacks where a bare number was asked for.
func (r Reading) perMinute() string {
	if r.Rate && r.Unit == "" {
		return " per minute"
	}
	return ""
}

// Spoken is the reading in words to be read back over a phone: prefixes and
// units in full, so that nobody can hear milli for mega.
func (r Reading) Spoken() string {
	said := r.say(func(x float64) string { return spoken(x, r.Unit) + r.perMinute() })
	return strings.NewReplacer(" DC", " direct current", " AC", " alternating current").Replace(said)
}

// Entry is the reading as a text that Read takes in one way only.
func (r Reading) Entry() string {
	return r.say(func(x float64) string { return unmistakable(x, r.Unit) })
}

// atMost and atLeast, rather than "not above": short words for a phone.
func (r Reading) say(number func(float64) string) string {
	var text string
	switch r.Shape {
	case Exact:
		text = number(r.Low)
	case Below:
		text = map[bool]string{false: "below ", true: "at most "}[r.Touching] + number(r.High)
	case Above:
		text = map[bool]string{false: "above ", true: "at least "}[r.Touching] + number(r.Low)
	case OverRange:
		text = "over-range"
	case Span:
		text = "between " + number(r.Low) + " and " + r.top(number)
		if r.Jumps {
			text = "jumps " + text
		}
	}
	if r.About {
		text = "about " + text
	}
	if r.Current != NotSaid {
		text += " " + r.Current.String()
	}
	return text
}

// top is the upper end of a span, which can be beyond the instrument.
func (r Reading) top(number func(float64) string) string {
	if math.IsInf(r.High, 1) {
		return "over-range"
	}
	return number(r.High)
}

func spoken(x float64, symbol string) string {
	d := decimalOf(x)
	_, power := d.prefix(symbol)
	d.point -= power
	u := unitOf(symbol)
	if word := u.inWords(power+u.power, d.digits == "1" && d.point == 1); word != "" {
		return d.plain() + " " + word
	}
	return d.plain()
}

// unmistakable writes a number without a prefix, and never with three decimals,
// which could be taken for a group of thousands.
func unmistakable(x float64, symbol string) string {
	d := decimalOf(x)
	text := d.plain()
	if len(d.digits)-d.point == 3 {
		text += "0"
	}
	return text + withBlank(symbol)
}
