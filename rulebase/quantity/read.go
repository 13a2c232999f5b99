package quantity

import (
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
)

// A Form says what sort of reading it is.
type Form uint8

// The forms of readings.
const (
	Exact Form = iota // Low is the value
	Below             // below High
	Above             // above Low
	Over              // the instrument showed that it is over its range
	Span              // between Low and High: a least and a most, or a reading that jumps
	Rate              // a counter read twice: Low is its change per minute
)

// A Reading is what an instrument showed, in the unit asked for.
type Reading struct {
	Form      Form
	Low, High float64
	Unit      string
	Current   string // "DC" or "AC" where it was said
}

// Value is the reading as one number; false where it is not one.
func (r Reading) Value() (float64, bool) { return r.Low, r.Form == Exact || r.Form == Rate }

// Band is the band in which all of the reading lies: band i holds what is below
// limits[i] and not in a band before, the last one all above. It is false where
// the reading spans bands.
func (r Reading) Band(limits []float64) (band int, ok bool) {
	switch r.Form {
	case Over:
		return len(limits), true
	case Below:
		// All below High lies in the first band or in several.
		return 0, len(limits) == 0 || r.High <= limits[0]
	case Above:
		return len(limits), len(limits) == 0 || r.Low >= limits[len(limits)-1]
	case Span:
		low, high := bandOf(limits, r.Low), bandOf(limits, r.High)
		return low, low == high
	}
	return bandOf(limits, r.Low), true
}

func bandOf(limits []float64, x float64) int {
	for i, l := range limits {
		if x < l {
			return i
		}
	}
	return len(limits)
}

// String is the reading in words, with its unit.
func (r Reading) String() string {
	current := ""
	if r.Current != "" {
		current = " " + r.Current
	}
	switch r.Form {
	case Below:
		return "below " + Format(r.High, r.Unit) + current
	case Above:
		return "above " + Format(r.Low, r.Unit) + current
	case Over:
		return "over the instrument's range"
	case Span:
		return "between " + Format(r.Low, r.Unit) + " and " + Format(r.High, r.Unit) + current
	case Rate:
		return Format(r.Low, "") + " a minute"
	}
	return Format(r.Low, r.Unit) + current
}

// A Want says what sort of reading is wanted.
type Want struct {
	Unit      string
	Low, High float64 // what is plausible; both 0: not known
	Current   string  // "DC" or "AC" where only one makes sense
}

// plausible says that a value could be meant; without a range every value could.
func (w Want) plausible(x float64) bool {
	return w.Low == 0 && w.High == 0 || x >= w.Low && x <= w.High
}

// A Choice is one way to understand an entry.
type Choice struct {
	Text    string
	Reading Reading
}

// An Ask is an entry that could mean several things, or not what is wanted: the
// question to ask back, and what can be answered. It is an error.
type Ask struct {
	Question string
	Choices  []Choice
}

func (a *Ask) Error() string { return a.Question }

var (
	blanks    = strings.NewReplacer("\u00a0", " ", "\u2009", " ", "\u202f", " ", "\t", " ")
	overRange = regexp.MustCompile(`(?i)^(ol|o\.l\.?|0l|over ?load|over ?range|over|inf(inite|inity)?|open|-+ ?ol ?-*)( [a-zµ]+)?$`)
	belowText = regexp.MustCompile(`(?i)^(?:<|below|under|less than|smaller than|at most|not more than|up to)\s*(.+)$`)
	aboveText = regexp.MustCompile(`(?i)^(?:>|above|over|more than|greater than|at least|beyond)\s*(.+)$`)
	spanText  = regexp.MustCompile(`(?i)^(?:jumps|swings|moves|wanders|varies|flickers|between|from)?\s*(?:between|from)?\s*(\S.*?)\s*(?:\bto\b|\band\b|\.\.+|–|—)\s*(\S.*)$`)
	minMax    = regexp.MustCompile(`(?i)^min(?:imum)?\.?\s*[:=]?\s*(.+?)[\s,;/]+max(?:imum)?\.?\s*[:=]?\s*(.+)$`)
	maxMin    = regexp.MustCompile(`(?i)^max(?:imum)?\.?\s*[:=]?\s*(.+?)[\s,;/]+min(?:imum)?\.?\s*[:=]?\s*(.+)$`)
	counted   = regexp.MustCompile(`(?i)^(\d+)\s*(?:at|@)\s*(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?\s*(?:,|;|then|and)?\s*(\d+)\s*(?:at|@)\s*(\d{1,2})[:.h](\d{2})(?:[:.](\d{2}))?$`)
	current   = regexp.MustCompile(`(?i)^(.*?)\s*(v|a|mv|ma|kv|volts?|amps?)?\s*\(?(dc|ac|=|~)\)?(?:\s*(v|a|mv|ma))?$`)
)

// Read reads what somebody types of an instrument, in the conversation's wide
// form: units and prefixes, a decimal comma, 4k7, OL, below and above, a least
// and a most, a reading that jumps, AC or DC, a counter read twice. What could
// mean two things comes back as an *Ask; what is no reading as another error.
func Read(text string, want Want) (Reading, error) {
	s := strings.TrimSpace(blanks.Replace(text))
	s = strings.TrimSuffix(strings.Join(strings.Fields(s), " "), ".")
	if s == "" || len(s) > 200 {
		return Reading{}, noReading(text, want)
	}
	if m := counted.FindStringSubmatch(s); m != nil {
		return readCounter(m, want)
	}
	if overRange.MatchString(s) && !hasDigit(s[1:]) {
		return Reading{Form: Over, Unit: want.Unit}, nil
	}
	for _, p := range []struct {
		re   *regexp.Regexp
		form Form
	}{{belowText, Below}, {aboveText, Above}} {
		if m := p.re.FindStringSubmatch(s); m != nil {
			return readBound(m[1], p.form, want)
		}
	}
	if m := minMax.FindStringSubmatch(s); m != nil {
		return readSpan(m[1], m[2], want)
	}
	if m := maxMin.FindStringSubmatch(s); m != nil {
		return readSpan(m[2], m[1], want)
	}
	if m := spanText.FindStringSubmatch(s); m != nil && hasDigit(m[1]) && hasDigit(m[2]) {
		return readSpan(m[1], m[2], want)
	}
	return readOne(s, want)
}

func hasDigit(s string) bool { return strings.ContainsAny(s, "0123456789") }

func noReading(text string, want Want) error {
	if want.Unit == "" {
		return fmt.Errorf("%q is not a reading; give a number, as the instrument shows it", text)
	}
	return fmt.Errorf("%q is not a reading; give it as the instrument shows it, in %s", text, want.Unit)
}

func readBound(text string, form Form, want Want) (Reading, error) {
	r, err := readOne(text, want)
	if err != nil {
		if ask, ok := err.(*Ask); ok {
			for i, c := range ask.Choices {
				ask.Choices[i].Reading = bound(c.Reading, form)
			}
		}
		return r, err
	}
	return bound(r, form), nil
}

func bound(r Reading, form Form) Reading {
	x := r.Low
	r.Form, r.Low, r.High = form, 0, 0
	if form == Below {
		r.High = x
	} else {
		r.Low = x
	}
	return r
}

// readSpan reads a least and a most; the first takes the unit and prefix of the
// second where it has none ("3 to 40 kohm").
func readSpan(low, high string, want Want) (Reading, error) {
	b, err := readOne(high, want)
	if err != nil {
		return b, err
	}
	if plainDigits.MatchString(low) {
		low += suffixOf(high)
	}
	a, err := readOne(low, want)
	if err != nil {
		return a, err
	}
	lo, hi := min(a.Low, b.Low), max(a.Low, b.Low)
	if lo == hi {
		return a, nil
	}
	return Reading{Form: Span, Low: lo, High: hi, Unit: want.Unit, Current: b.Current}, nil
}

var plainDigits = regexp.MustCompile(`^[-+]?[0-9]+([.,][0-9]+)?$`)

var digitsFirst = regexp.MustCompile(`^[0-9][0-9 '’.,]*`)

func suffixOf(s string) string {
	s = strings.TrimLeft(s, "+-")
	return strings.TrimPrefix(s, digitsFirst.FindString(s))
}

// readCounter makes a rate of a counter read twice.
func readCounter(m []string, want Want) (Reading, error) {
	n := func(i int) float64 { x, _ := strconv.ParseFloat("0"+m[i], 64); return x }
	minutes := (n(6)*60 + n(7) + n(8)/60) - (n(2)*60 + n(3) + n(4)/60)
	if minutes < 0 {
		minutes += 24 * 60 // past midnight
	}
	if minutes == 0 {
		return Reading{}, fmt.Errorf("the two times are the same; a rate needs some minutes between them")
	}
	if n(5) < n(1) {
		return Reading{}, fmt.Errorf("the counter went down, from %s to %s; was it reset between the two readings?", m[1], m[5])
	}
	return Reading{Form: Rate, Low: (n(5) - n(1)) / minutes, Unit: want.Unit}, nil
}

// readOne reads one number with its unit.
func readOne(s string, want Want) (Reading, error) {
	s = strings.TrimSpace(s)
	r := Reading{Unit: want.Unit}
	if m := current.FindStringSubmatch(s); m != nil && hasDigit(m[1]) {
		r.Current = map[string]string{"dc": "DC", "=": "DC", "ac": "AC", "~": "AC"}[strings.ToLower(m[3])]
		s = strings.TrimSpace(m[1] + " " + m[2] + m[4])
	}
	sign := 1.0
	if rest, ok := strings.CutPrefix(s, "-"); ok {
		sign, s = -1, strings.TrimSpace(rest)
	} else if rest, ok := strings.CutPrefix(s, "−"); ok {
		sign, s = -1, strings.TrimSpace(rest)
	}
	s = strings.TrimSpace(strings.TrimPrefix(s, "+"))
	if x, ok := readCoded(s, want.Unit); ok {
		r.Low = sign * x
		return r, wrongCurrent(r, want)
	}
	digits := strings.TrimSpace(digitsFirst.FindString(s))
	if digits == "" {
		return Reading{}, noReading(s, want)
	}
	digits = strings.TrimRight(digits, " .,'’")
	factor, err := suffix(strings.TrimSpace(strings.TrimPrefix(s, digits)), want)
	if err != nil {
		return Reading{}, err
	}
	values, err := numbers(digits, want)
	if err != nil {
		return Reading{}, err
	}
	var choices []Choice
	for _, x := range values {
		r.Low = sign * x * factor
		if math.IsInf(r.Low, 0) {
			return Reading{}, noReading(s, want)
		}
		choices = append(choices, Choice{r.String(), r})
	}
	if len(choices) == 2 {
		a, b := choices[0], choices[1]
		if pa, pb := want.plausible(a.Reading.Low), want.plausible(b.Reading.Low); pa != pb {
			if pb {
				a = b
			}
			return a.Reading, wrongCurrent(a.Reading, want)
		}
		return Reading{}, &Ask{fmt.Sprintf("Is %q %s or %s?", s, a.Text, b.Text), choices}
	}
	return r, wrongCurrent(r, want)
}

func wrongCurrent(r Reading, want Want) error {
	if want.Current == "" || r.Current == "" || r.Current == want.Current {
		return nil
	}
	meant := r
	meant.Current = want.Current
	return &Ask{fmt.Sprintf("%s is wanted here, in %s, and the reading says %s. Was the meter set to %s?", want.Current, want.Unit, r.Current, r.Current),
		[]Choice{{"the meter was right: " + meant.String(), meant}}}
}

// coded is the mark for resistance in place of the decimal point: 4k7, 0R15 (IEC 60062, from memory).
var coded = regexp.MustCompile(`^([0-9]+)([RkKMGmuµ])([0-9]+)\s*(.*)$`)

func readCoded(s, unit string) (float64, bool) {
	m := coded.FindStringSubmatch(s)
	if m == nil || m[4] != "" && !sameUnit(m[4], unit) {
		return 0, false
	}
	factor, ok := map[string]float64{"R": 1, "K": 1e3}[m[2]]
	if !ok {
		factor = prefixes[m[2]]
	}
	if m[2] == "R" && unit != "ohm" {
		return 0, false
	}
	x, err := strconv.ParseFloat(m[1]+"."+m[3], 64)
	return x * factor, err == nil
}

// unitWords are other ways to write a unit, in small letters.
var unitWords = map[string]string{"ohms": "ohm", "ω": "ohm", "r": "ohm", "volt": "V", "volts": "V", "v": "V", "amp": "A", "amps": "A", "ampere": "A", "a": "A",
	"meter": "m", "meters": "m", "metre": "m", "metres": "m", "minutes": "min", "minute": "min", "percent": "%", "per cent": "%", "bd": "baud", "bit/s": "baud", "bps": "baud",
	"degc": "C", "°c": "C", "c": "C", "deg": "C", "degrees": "C", "y": "years", "year": "years", "yr": "years", "yrs": "years"}

func sameUnit(word, unit string) bool {
	return word == unit || strings.EqualFold(word, unit) && len(unit) > 1 || unitWords[strings.ToLower(word)] == unit
}

// suffix is the factor that a unit with a prefix stands for.
func suffix(word string, want Want) (float64, error) {
	if word == "" || sameUnit(word, want.Unit) {
		return 1, nil
	}
	if want.Unit == "m" && (word == "ft" || word == "feet" || word == "foot") {
		return 0.3048, nil // exact: international foot
	}
	for p, factor := range prefixes {
		if rest, ok := strings.CutPrefix(word, p); ok && (rest == "" || sameUnit(strings.TrimSpace(rest), want.Unit)) {
			return factor, nil
		}
	}
	if rest, ok := strings.CutPrefix(word, "K"); ok && (rest == "" || sameUnit(strings.TrimSpace(rest), want.Unit)) {
		return 1e3, nil
	}
	if want.Unit == "" {
		return 0, fmt.Errorf("a bare number is wanted here, without %q", word)
	}
	return 0, &Ask{Question: fmt.Sprintf("The reading is wanted in %s; what does %q mean?", want.Unit, word)}
}

// numbers are the values that digits with marks can mean: one, or two where a
// single mark with three digits behind it may be a decimal mark or a group mark.
func numbers(digits string, want Want) ([]float64, error) {
	plain := strings.NewReplacer(" ", "", "'", "", "’", "").Replace(digits)
	if plain != digits && !grouped.MatchString(digits) {
		return nil, noReading(digits, want)
	}
	marks := strings.Count(plain, ",") + strings.Count(plain, ".")
	switch {
	case marks == 0:
		x, err := strconv.ParseFloat(plain, 64)
		return []float64{x}, err
	case marks > 1:
		return nil, &Ask{Question: fmt.Sprintf("%q has more than one mark; write it with one decimal mark and no group marks, in %s.", digits, unitWord(want.Unit))}
	}
	at := strings.IndexAny(plain, ",.")
	x, err := strconv.ParseFloat(strings.Replace(plain, ",", ".", 1), 64)
	if err != nil {
		return nil, noReading(digits, want)
	}
	// 0,150 and 0.150 cannot be groups; 1.500 with a point is only doubtful where both make sense.
	if len(plain)-at-1 != 3 || at > 3 || at == 0 || plain[0] == '0' || plain != digits {
		return []float64{x}, nil
	}
	whole, err := strconv.ParseFloat(plain[:at]+plain[at+1:], 64)
	return []float64{x, whole}, err
}

var grouped = regexp.MustCompile(`^[0-9]{1,3}([ '’][0-9]{3})*([.,][0-9]+)?$`)

func unitWord(unit string) string {
	if unit == "" {
		return "plain numbers"
	}
	return unit
}

// Format prints a value for people: up to four significant digits more than
// whole numbers need, an SI prefix where the number is large or small.
func Format(v float64, unit string) string {
	prefix := ""
	if math.Abs(v) < 1e-12 {
		v = 0 // no instrument of the trade shows it
	}
	if unit != "" && !unprefixed[unit] {
		v, prefix = scale(v)
	}
	text := strconv.FormatFloat(v, 'g', 6, 64)
	if strings.ContainsAny(text, "e") {
		text = strconv.FormatFloat(v, 'f', -1, 64)
	}
	if unit == "" {
		return text
	}
	return text + " " + prefix + unit
}

// unprefixed are units that take no prefix in the trade's mouth.
var unprefixed = map[string]bool{"%": true, "C": true, "min": true, "years": true, "h": true, "points": true, "drops": true, "m": true, "minutes": true}

func scale(v float64) (float64, string) {
	a := math.Abs(v)
	for _, p := range []struct {
		at     float64
		prefix string
	}{{1e9, "G"}, {1e6, "M"}, {1e3, "k"}} {
		if a >= p.at {
			return v / p.at, p.prefix
		}
	}
	if a > 0 && a < 0.1 {
		if a < 1e-4 {
			return v * 1e6, "u"
		}
		return v * 1e3, "m"
	}
	return v, ""
}
