// Package quantity reads and prints readings: a number, an SI prefix, a unit.
//
// There are two ways in. [Parse] is the strict form for files, where one text
// has one meaning. [Read] takes what people type from a meter, and where that
// has two meanings it guesses neither: it comes back with a [*Question] that
// holds the alternatives. Slips by a factor of ten or a thousand are the ones
// that hurt (Thimbleby and Cairns 2010: an interface that blocks doubtful
// numbers halves them), hence no group marks that could be decimal marks, no m
// for M, and nothing outside what is plausible without asking back.
//
// Prefixes are applied to the decimal text, never by multiplying, so 4.7k is
// 4700 to the last bit.
package quantity

import (
	"fmt"
	"math"
	"strconv"
	"strings"
)

var strict = NewPattern(`^([-+]?)([0-9]+)(\.[0-9]+)?([eE][-+]?[0-9]+)?\s*(.*)$`)

// strictPrefixes are the prefixes of files, as powers of ten.
var strictPrefixes = map[string]int{"u": -6, "µ": -6, "m": -3, "k": 3, "M": 6, "G": 9}

// Parse reads a quantity as files write it: a number with a decimal point, an
// optional prefix (u m k M G), an optional unit. The result is in the unit. A
// suffix equal to the unit is the unit, never a prefix, so m is metre in a
// length. Anything else is an error that says what to write.
//
// A unit that has a prefix of its own (kbaud, mA) takes no other: 153.6k where
// kbaud is wanted would be a thousand times too much, and is refused.
func Parse(text, unit string) (float64, error) {
	text = strings.TrimSpace(text)
	m := strict.FindStringSubmatch(text)
	if m == nil || m[5] != "" && strings.Contains(".,_'0123456789", m[5][:1]) {
		return 0, notStrict(text, unit)
	}
	number, exponent, suffix := m[1]+m[2]+m[3], m[4], m[5]
	if len(m[2]) > 1 && m[2][0] == '0' {
		plain := strings.TrimLeft(m[2], "0")
		if plain == "" {
			plain = "0"
		}
		return 0, fmt.Errorf("%q begins with a zero; write %s", text, m[1]+plain+m[3]+m[4]+withBlank(suffix))
	}
	power, err := suffixPower(text, number, suffix, unit)
	if err != nil {
		return 0, err
	}
	x, ok := shifted(number+exponent, power)
	if !ok {
		return 0, fmt.Errorf("%q is out of all proportion", text)
	}
	return x, nil
}

// suffixPower is the power of ten of what follows a number in a file.
func suffixPower(text, number, suffix, unit string) (int, error) {
	if suffix == "" || suffix == unit {
		return 0, nil
	}
	of := unitOf(unit)
	for prefix, power := range strictPrefixes {
		rest, ok := strings.CutPrefix(suffix, prefix)
		if rest = strings.TrimSpace(rest); !ok || rest != "" && rest != unit {
			continue
		}
		if of.power != 0 || of.base == "min" {
			return 0, fmt.Errorf("%q has a prefix; write it in %s, like %s %s", text, unit, number, unit)
		}
		return power, nil
	}
	switch {
	case unit == "":
		return 0, fmt.Errorf("%q has a unit; a bare number is wanted, like %s", text, number)
	case strings.EqualFold(suffix, unit) || of.named(suffix):
		return 0, fmt.Errorf("%q is written %s %s here", text, number, unit)
	case strings.HasPrefix(suffix, "K"):
		return 0, fmt.Errorf("%q: kilo is a small k; write %s k%s", text, number, suffix[1:])
	case lettered.MatchString(text):
		m := lettered.FindStringSubmatch(text)
		return 0, fmt.Errorf("%q has a letter for its decimal point; write %s.%s%s", text, m[1]+m[2], m[4], withBlank(strings.Trim(m[3], "RrVvA")+unit))
	}
	return 0, fmt.Errorf("%q is not in %s; write a value in %s, like %s", text, unit, unit, Format(23.8, unit))
}

// notStrict says why a text is no number of a file.
func notStrict(text, unit string) error {
	switch lower := strings.ToLower(strings.TrimLeft(text, "+-")); {
	case text == "":
		return fmt.Errorf("a number is missing; write it like %s", Format(23.8, unit))
	case strings.Contains(text, ","):
		return fmt.Errorf("%q holds a comma; write a decimal point and no group marks, like %s", text, Format(23.8, unit))
	case strings.HasPrefix(lower, "."):
		return fmt.Errorf("%q lacks the zero before its point; write 0%s", text, lower)
	case strings.ContainsAny(text, "_' ") && strings.ContainsAny(text, "0123456789"):
		return fmt.Errorf("%q holds marks between its digits; write the digits without, like 1500%s", text, withBlank(unit))
	case strings.HasPrefix(lower, "nan") || strings.HasPrefix(lower, "inf"):
		return fmt.Errorf("%q is no number; write one like %s, or the name of a band", text, Format(23.8, unit))
	}
	return fmt.Errorf("%q is not a number; write it like %s", text, Format(23.8, unit))
}

// shifted is a decimal number times a power of ten, rounded once. ok is false
// where it is too large.
func shifted(decimal string, power int) (x float64, ok bool) {
	mantissa, exponent, found := strings.Cut(strings.ToLower(decimal), "e")
	if found {
		e, err := strconv.Atoi(exponent)
		if err != nil || e > 10_000 || e < -10_000 {
			return 0, false
		}
		power += e
	}
	x, err := strconv.ParseFloat(mantissa+"e"+strconv.Itoa(power), 64)
	return x, err == nil
}

// Format prints a number with its unit for people, with the prefix that suits
// it: 153.6 kbaud, 84.6 ohm, 4.7 kohm, 0.2 V. [Parse] reads it back to the same
// number. Only prefixes that nobody can misread are used: no milliohm beside
// the megohm, no megavolt beside the millivolt.
func Format(x float64, unit string) string {
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return strconv.FormatFloat(x, 'g', -1, 64) + withBlank(unit)
	}
	return decimalOf(x).format(unit)
}

// FormatRounded is Format with at most so many significant digits.
func FormatRounded(x float64, unit string, digits int) string {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', max(1, digits), 64), 64)
	if err != nil {
		rounded = x
	}
	return Format(rounded, unit)
}

// A decimal is a finite number as its shortest decimal digits: ±0.digits × 10^point.
type decimal struct {
	negative bool
	digits   string
	point    int
}

func decimalOf(x float64) decimal {
	text := strconv.FormatFloat(math.Abs(x), 'e', -1, 64)
	mantissa, exponent, _ := strings.Cut(text, "e")
	e, _ := strconv.Atoi(exponent)
	d := decimal{math.Signbit(x) && x != 0, strings.Replace(mantissa, ".", "", 1), e + 1}
	return d
}

// prefix chooses the prefix of a unit for the number, and its power.
func (d decimal) prefix(unit string) (string, int) {
	best, power := "", 0
	for _, p := range unitOf(unit).shown {
		if p.power > 0 && d.point > p.power || p.power < 0 && d.point <= p.power+2 {
			best, power = p.sign, p.power
		}
	}
	if d.digits == "0" {
		return "", 0
	}
	return best, power
}

// plain prints the digits without exponent.
func (d decimal) plain() string {
	sign := ""
	if d.negative {
		sign = "-"
	}
	switch n := len(d.digits); {
	case d.point <= 0:
		return sign + "0." + strings.Repeat("0", -d.point) + d.digits
	case d.point >= n:
		return sign + d.digits + strings.Repeat("0", d.point-n)
	default:
		return sign + d.digits[:d.point] + "." + d.digits[d.point:]
	}
}

func (d decimal) format(unit string) string {
	sign, power := d.prefix(unit)
	d.point -= power
	if d.point < -18 || d.point > 21 {
		e := d.point - 1
		d.point = 1
		return d.plain() + "e" + strconv.Itoa(e) + withBlank(sign+unit)
	}
	return d.plain() + withBlank(sign+unit)
}

func withBlank(unit string) string {
	if unit == "" {
		return ""
	}
	return " " + unit
}
