package quantity

import (
	"slices"
	"strings"
)

// A unit is what is known of a unit that a rulebase asks in.
type unit struct {
	symbol string // as the rulebase writes it
	base   string // without its own prefix
	power  int    // of its own prefix: 3 for kbaud
	dimension
	shown []shownPrefix // what Format may use, from the smallest step to the largest, rising then falling
}

// A dimension is a base unit with the words people use for it.
type dimension struct {
	names    []string // small letters
	spoken   string   // in full, for several
	one      string   // in full, for one
	positive bool     // no reading of it can be negative
	mixed    []int    // powers that a doubtful m or M can stand for; the first is the likelier
	doubtful string   // which letters are doubtful: m, M or both
	electric bool     // AC or DC can be said of it
	counts   bool     // a plain word: nothing of it is small enough for milli
}

type shownPrefix struct {
	sign  string
	power int
}

var upward = []shownPrefix{{"k", 3}, {"M", 6}, {"G", 9}}
var upToKilo = []shownPrefix{{"k", 3}}
var downAndKilo = []shownPrefix{{"m", -3}, {"u", -6}, {"k", 3}}
var downward = []shownPrefix{{"m", -3}, {"u", -6}}

// The dimensions of the trade. A unit that is not here (drops, modules, years)
// is its own word, without prefixes when printed.
var dimensions = map[string]dimension{
	"V":   {names: []string{"v", "volt", "volts"}, spoken: "volts", one: "volt", mixed: []int{-3, 6}, doubtful: "M", electric: true},
	"A":   {names: []string{"a", "amp", "amps", "ampere", "amperes"}, spoken: "amperes", one: "ampere", mixed: []int{-3, 6}, doubtful: "M", electric: true},
	"W":   {names: []string{"w", "watt", "watts"}, spoken: "watts", one: "watt", mixed: []int{-3, 6}, doubtful: "M"},
	"ohm": {names: []string{"ohm", "ohms", "r"}, spoken: "ohms", one: "ohm", positive: true, mixed: []int{6, -3}, doubtful: "m"},
	"Hz":  {names: []string{"hz", "hertz"}, spoken: "hertz", one: "hertz", positive: true, mixed: []int{6, -3}, doubtful: "m"},
	// One bit a symbol, as people in the trade take it (common practice, no source).
	"baud":  {names: []string{"baud", "bauds", "bd", "bit/s", "bits/s", "bps", "bit per second", "bits per second"}, spoken: "baud", one: "baud", positive: true, mixed: []int{6, -3}, doubtful: "m"},
	"bit/s": {names: []string{"bit/s", "bits/s", "bps", "bit per second", "bits per second", "baud", "bd"}, spoken: "bits per second", one: "bit per second", positive: true, mixed: []int{6, -3}, doubtful: "m"},
	"m":     {names: []string{"m", "metre", "metres", "meter", "meters"}, spoken: "metres", one: "metre", positive: true, mixed: []int{-3, 6}, doubtful: "M"},
	"s":     {names: []string{"s", "sec", "secs", "second", "seconds"}, spoken: "seconds", one: "second", mixed: []int{-3}, doubtful: "M"},
	"min":   {names: []string{"min", "mins", "minute", "minutes"}, spoken: "minutes", one: "minute"},
	"h":     {names: []string{"h", "hr", "hrs", "hour", "hours"}, spoken: "hours", one: "hour"},
	"%":     {names: []string{"%", "percent", "per cent", "pct"}, spoken: "per cent", one: "per cent"},
	"C":     celsius,
	"degC":  celsius,
}

var celsius = dimension{names: []string{"degc", "deg c", "°c", "° c", "c", "celsius", "deg", "degree", "degrees", "degrees c", "degrees celsius", "°"},
	spoken: "degrees Celsius", one: "degree Celsius"}

var shown = map[string][]shownPrefix{"V": downAndKilo, "A": downAndKilo, "W": upToKilo, "ohm": upward, "Hz": upward, "baud": upward, "bit/s": upward, "s": downward}

var spokenPrefix = map[int]string{-6: "micro", -3: "milli", 0: "", 3: "kilo", 6: "mega", 9: "giga"}

func unitOf(symbol string) unit {
	if d, ok := dimensions[symbol]; ok {
		return unit{symbol: symbol, base: symbol, dimension: d, shown: shown[symbol]}
	}
	for _, prefix := range []string{"u", "m", "k", "M", "G"} {
		base, ok := strings.CutPrefix(symbol, prefix)
		if d, known := dimensions[base]; ok && known && base != "min" && base != "h" && base != "%" {
			return unit{symbol: symbol, base: base, power: strictPrefixes[prefix], dimension: d}
		}
	}
	return unit{symbol: symbol, base: symbol, dimension: counted(symbol)}
}

// counted is the dimension of a unit that is a plain word, such as drops or errors/min.
func counted(symbol string) dimension {
	lower := strings.ToLower(symbol)
	d := dimension{names: []string{lower}, spoken: symbol, one: symbol, counts: true}
	if lower == "" {
		d.names = nil
		return d
	}
	if head, tail, ok := splitTime(symbol); ok {
		d.names = append(d.names, strings.TrimSpace(head+" per "+tail.long), head+"/"+tail.short, "/"+tail.short, "per "+tail.long, "per "+tail.short, "a "+tail.long)
		d.spoken = strings.TrimSpace(head + " per " + tail.long)
		d.one = d.spoken
		return d
	}
	if lower == "years" {
		d.names = append(d.names, "y", "yr", "yrs")
	}
	if one, ok := strings.CutSuffix(lower, "s"); ok && len(one) > 1 {
		d.names = append(d.names, one)
		d.one = one
	} else {
		d.names = append(d.names, lower+"s")
	}
	return d
}

// A timePart is the time below the line of a rate.
type timePart struct {
	short, long string
	minutes     float64
}

var timeParts = []timePart{{"s", "second", 1.0 / 60}, {"min", "minute", 1}, {"h", "hour", 60}}

// splitTime takes a unit of a rate apart: errors/min, errors per minute, per hour.
func splitTime(symbol string) (head string, t timePart, ok bool) {
	words := strings.ReplaceAll(symbol, "_", " ")
	for _, t := range timeParts {
		for _, tail := range []string{"/" + t.short, "per " + t.long, "per " + t.short} {
			if head, ok := strings.CutSuffix(words, tail); ok {
				return strings.TrimSpace(head), t, true
			}
		}
	}
	return "", timePart{}, false
}

// named says that a word is one of the unit's own.
func (u unit) named(word string) bool { return slices.Contains(u.names, strings.ToLower(word)) }

// inWords is the unit in full, times a power of ten: kilohms, millivolt.
func (u unit) inWords(power int, one bool) string {
	word := u.spoken
	if one {
		word = u.one
	}
	if power == 3 && u.base == "ohm" {
		return "kil" + word
	}
	if power == 6 && u.base == "ohm" {
		return "meg" + word
	}
	return spokenPrefix[power] + word
}

// A conversion leads from a unit that was not asked for to one that was.
type conversion struct {
	to     string
	factor float64
	plus   float64
}

// Other units people may have on their tape or in their papers. A foot, inch,
// yard and mile are exact by the international yard and pound agreement of 1959.
var conversions = map[string]conversion{
	"ft": {"m", 0.3048, 0}, "feet": {"m", 0.3048, 0}, "foot": {"m", 0.3048, 0}, "'": {"m", 0.3048, 0},
	"in": {"m", 0.0254, 0}, "inch": {"m", 0.0254, 0}, "inches": {"m", 0.0254, 0},
	"yd": {"m", 0.9144, 0}, "yard": {"m", 0.9144, 0}, "yards": {"m", 0.9144, 0},
	"mile": {"m", 1609.344, 0}, "miles": {"m", 1609.344, 0},
	"f": {"degC", 5.0 / 9, -160.0 / 9}, "°f": {"degC", 5.0 / 9, -160.0 / 9}, "degf": {"degC", 5.0 / 9, -160.0 / 9}, "fahrenheit": {"degC", 5.0 / 9, -160.0 / 9},
	"degrees f": {"degC", 5.0 / 9, -160.0 / 9},
	"k":         {"degC", 1, -273.15}, "kelvin": {"degC", 1, -273.15},
	"min": {"s", 60, 0}, "mins": {"s", 60, 0}, "minute": {"s", 60, 0}, "minutes": {"s", 60, 0},
	"s": {"min", 1.0 / 60, 0}, "sec": {"min", 1.0 / 60, 0}, "seconds": {"min", 1.0 / 60, 0},
	"h": {"min", 60, 0}, "hr": {"min", 60, 0}, "hrs": {"min", 60, 0}, "hours": {"min", 60, 0}, "hour": {"min", 60, 0},
	"day": {"min", 1440, 0}, "days": {"min", 1440, 0}, "week": {"min", 10080, 0}, "weeks": {"min", 10080, 0},
	"months": {"years", 1.0 / 12, 0}, "month": {"years", 1.0 / 12, 0},
}

// foreign says which known unit a word is, where it is not the one asked for.
func foreign(word string) (string, bool) {
	lower := strings.ToLower(strings.TrimSpace(word))
	for _, symbol := range []string{"V", "A", "W", "ohm", "Hz", "baud", "bit/s", "m", "s", "min", "h", "%", "degC"} {
		names := dimensions[symbol].names
		if slices.Contains(names, lower) {
			return symbol, true
		}
		for _, p := range prefixWords {
			if rest, ok := cutPrefixWord(strings.TrimSpace(word), p.word); ok && slices.Contains(names, strings.ToLower(rest)) {
				return p.sign + symbol, true
			}
		}
	}
	return "", false
}
