package quantity

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"
)

// Want is what a reading is asked for.
type Want struct {
	Unit    string
	Range   *[2]float64 // what is plausible, in Unit; nil: nothing is known
	Current Current     // DC or AC where it matters; a reading that does not say is taken
}

// longest is the longest text that can be a reading, in runes.
const longest = 120

// Read takes a reading as people type it from an instrument: 23.8 V, 23,8,
// 153.6k, 4k7, 0R15, 1 500 m, OL, below 2 ohm, >20M, min 18.2 max 24.1, jumps 3
// to 40 ohm, 24 VDC, 120 at 10:05, 380 at 10:15 (a rate per minute). The error
// is always a *Question. A text that begins with "really" is taken whatever is
// plausible.
func Read(text string, want Want) (Reading, error) {
	r := reader{text: text, want: want, unit: unitOf(want.Unit), current: NotSaid}
	if utf8.RuneCountInString(text) > longest {
		return Reading{}, r.question(NoReading, "That is too long for a reading.")
	}
	clean := r.marks(r.lead(normalise(text)))
	if r.doubt != nil {
		return Reading{}, r.doubt
	}
	found := r.shapes(clean)
	if r.doubt != nil {
		return Reading{}, r.doubt
	}
	return r.choose(found)
}

// A reader is the reading of one text.
type reader struct {
	text    string
	want    Want
	unit    unit
	current Current
	about   bool
	really  bool
	doubt   *Question // the first thing that cannot be taken
	why     Doubt     // why there are several candidates
	says    string
}

var spellings = strings.NewReplacer("−", "-", "–", "-", "—", "-", "µ", "u", "μ", "u", "Ω", "ohm", "Ω", "ohm", "≤", "<=", "≥", ">=", "±", "+-", "…", "..",
	"’", "'", "ʼ", "'", "′", "'", "‘", "'", "º", "°", "⩽", "<=", "⩾", ">=", "≈", "~", "∞", "infinite",
	"\u00a0", " ", "\u2002", " ", "\u2003", " ", "\u2004", " ", "\u2005", " ", "\u2006", " ", "\u2007", " ", "\u2008", " ", "\u2009", " ", "\u200a", " ", "\u202f", " ", "\t", " ", "\n", " ")

func normalise(text string) string {
	return strings.TrimRight(strings.TrimSpace(spellings.Replace(text)), " .,;!?")
}

var leads = NewPattern(`(?i)^(really|about|approximately|approx\.?|around|roughly|ca\.?|circa|~|=|:|it reads|reads|reading|it shows|shows|it is|it's|is|i get|exactly)(?:\s+|(~|=|:)|$|\b)`)

// lead takes the words before a reading away.
func (r *reader) lead(text string) string {
	for {
		m := leads.FindStringSubmatch(text)
		if m == nil {
			return text
		}
		text = strings.TrimSpace(text[len(m[1]):])
		switch word := strings.TrimRight(strings.ToLower(m[1]), "."); word {
		case "really":
			r.really = true
		case "about", "approximately", "approx", "around", "roughly", "ca", "circa", "~":
			r.about = true
		}
	}
}

var currents = NewPattern(`(?i)(^|[^a-z]|v|a|volts?|amps?)(ac|dc)($|[^a-z])`)

// marks takes AC and DC marks out of the text.
func (r *reader) marks(text string) string {
	if m := signs.FindStringSubmatch(text); m != nil && r.unit.electric {
		text = m[1] + map[string]string{"~": " AC", "=": " DC"}[m[2]]
	}
	for {
		at := currents.RE().FindStringSubmatchIndex(text)
		if at == nil {
			return strings.TrimSpace(text)
		}
		is := DC
		if strings.EqualFold(text[at[4]:at[5]], "ac") {
			is = AC
		}
		if r.current != NotSaid && r.current != is {
			r.refuse(DoubtCurrent, "%q says both AC and DC. Enter one reading at a time.", r.text)
		}
		r.current = is
		text = text[:at[4]] + " " + text[at[5]:]
		text = strings.Join(strings.Fields(text), " ")
	}
}

// signs are the marks ~ and = behind a voltage or current.
var signs = NewPattern(`^(.*[0-9].*[^-~=\s])\s*([~=])$`)

func (r *reader) refuse(doubt Doubt, format string, args ...any) {
	if r.doubt == nil {
		r.doubt = r.question(doubt, format, args...)
	}
}

func (r *reader) question(doubt Doubt, format string, args ...any) *Question {
	return &Question{Doubt: doubt, Text: r.text, Unit: r.want.Unit, Says: fmt.Sprintf(format, args...)}
}

// example is how a reading of the unit is written.
func (r *reader) example() string {
	if _, known := dimensions[r.unit.base]; !known {
		return Format(5, r.want.Unit)
	}
	return Format(23.8, r.want.Unit)
}

// ask keeps the reason why a text has several meanings.
func (r *reader) ask(doubt Doubt, format string, args ...any) {
	if r.why == "" {
		r.why, r.says = doubt, fmt.Sprintf(format, args...)
	}
}

var (
	overRange = NewPattern(`(?i)^(?:-* ?[o0]\.?l\.? ?-*|\.[o0]l|over[- ]?range|over[- ]?load|over[- ]?limit|over the range|out of range)$`)
	endless   = NewPattern(`(?i)^(?:infinite|infinity|open|open circuit|open line)$`)
	below     = NewPattern(`(?i)^(<=|<|(?:below|under|less than|lower than|smaller than|at most|not more than|up to|max(?:imum)?)\b)\s*[:=]?\s*(.+)$`)
	above     = NewPattern(`(?i)^(>=|>|(?:above|over|more than|greater than|higher than|beyond|at least|not less than|better than|min(?:imum)?)\b)\s*[:=]?\s*(.+)$`)
	orLess    = NewPattern(`(?i)^(.+?)\s*(?:or|and) (?:less|lower|below|under)$`)
	orMore    = NewPattern(`(?i)^(.+?)\s*(?:(?:or|and) (?:more|higher|above|over)|\+)$`)
)

// shapes finds what sort of reading the text is, and the readings it can mean.
func (r *reader) shapes(text string) []Reading {
	if text == "" {
		r.refuse(NoReading, "Type the reading%s, like %s.", r.inUnit(), r.example())
		return nil
	}
	if found, ok := r.overRange(text); ok {
		return found
	}
	if found, ok := r.counter(text); ok {
		return found
	}
	if found, ok := r.span(text); ok {
		return found
	}
	if m := below.FindStringSubmatch(text); m != nil {
		return r.bounded(m[2], Below, slices.Contains([]string{"<=", "at most", "not more than", "up to", "max", "maximum"}, strings.ToLower(m[1])))
	}
	if m := above.FindStringSubmatch(text); m != nil {
		return r.bounded(m[2], Above, slices.Contains([]string{">=", "at least", "not less than", "min", "minimum"}, strings.ToLower(m[1])))
	}
	if m := orLess.FindStringSubmatch(text); m != nil {
		return r.bounded(m[1], Below, true)
	}
	if m := orMore.FindStringSubmatch(text); m != nil {
		return r.bounded(m[1], Above, true)
	}
	var found []Reading
	for _, c := range r.numbers(text) {
		found = append(found, Reading{Shape: Exact, Low: c.x, High: c.x})
	}
	return found
}

// overRange is OL, with or without the unit that stands beside it on the display.
func (r *reader) overRange(text string) ([]Reading, bool) {
	head := text
	if i := strings.IndexByte(text, ' '); i > 0 && overRange.MatchString(text[:i]) {
		if _, ok := r.suffix(strings.TrimSpace(text[i:])); ok {
			head = text[:i]
		} else {
			r.doubt, r.why = nil, ""
		}
	}
	if overRange.MatchString(head) || r.unit.base == "ohm" && endless.MatchString(head) {
		return []Reading{{Shape: OverRange, Low: math.Inf(1), High: math.Inf(1)}}, true
	}
	return nil, false
}

func (r *reader) bounded(text string, shape Shape, touching bool) []Reading {
	var found []Reading
	for _, c := range r.numbers(text) {
		x := Reading{Shape: shape, Low: r.least(), High: math.Inf(1), Touching: touching}
		if shape == Below {
			if c.x < x.Low || c.x == x.Low && !touching {
				r.refuse(DoubtNumber, "%q: nothing in %s is below 0; type what was shown, like %s.", r.text, r.unitName(), r.example())
				return nil
			}
			x.High = c.x
		} else {
			x.Low = c.x
		}
		found = append(found, x)
	}
	return found
}

// least is the least that a reading of the unit can be.
func (r *reader) least() float64 {
	if r.unit.positive {
		return 0
	}
	return math.Inf(-1)
}

var (
	minMax    = NewPattern(`(?i)^(?:min(?:imum)?|low(?:est)?)\b\s*[:=]?\s*(.+?)[\s,;/]*\b(?:and\s+)?(?:max(?:imum)?|high(?:est)?)\b\s*[:=]?\s*(.+)$`)
	maxMin    = NewPattern(`(?i)^(?:max(?:imum)?|high(?:est)?)\b\s*[:=]?\s*(.+?)[\s,;/]*\b(?:and\s+)?(?:min(?:imum)?|low(?:est)?)\b\s*[:=]?\s*((?:minus\b|[-+.0-9o]).*)$`) // behind a number min can be minutes
	moving    = NewPattern(`(?i)^(?:it )?(?:jump|hop|swing|vari|vary|wander|drift|fluctuate|fluctuat|bounce|bounc|move|mov|flicker|goe|go|change|chang|switche|switch)(?:s|es|ing|ed)?\s+(.+)$`)
	within    = NewPattern(`(?i)^(?:anywhere )?(?:between|from)\s+(.+?)\s+(?:and|to|-|up to)\s+(.+)$`)
	upTo      = NewPattern(`(?i)^(.*?[0-9].*?|[o0]\.?l)\s*(?:\bto\b|\.\.+)\s*(.*[0-9].*|[o0]\.?l)$`)
	dash      = NewPattern(`^([-+]?[0-9][^-]*?)\s*-\s*([-+]?[0-9].*)$`)
	exponents = NewPattern(`[0-9][eE]-[0-9]`)
	bothOf    = NewPattern(`(?i)^(.+?)\s+and\s+(.+)$`)
	either    = NewPattern(`(?i)^(.+?)\s*(?:\+-|\+/-|plus or minus)\s*(.+)$`)
)

// span reads the least and the most that was seen.
func (r *reader) span(text string) ([]Reading, bool) {
	if m := minMax.FindStringSubmatch(text); m != nil {
		return r.between(m[1], m[2], false), true
	}
	if m := maxMin.FindStringSubmatch(text); m != nil {
		return r.between(m[2], m[1], false), true
	}
	jumps := false
	if m := moving.FindStringSubmatch(text); m != nil {
		jumps, text = true, m[1]
		if m := bothOf.FindStringSubmatch(text); m != nil && !within.MatchString(text) {
			return r.between(m[1], m[2], true), true
		}
	}
	if m := within.FindStringSubmatch(text); m != nil {
		return r.between(m[1], m[2], jumps), true
	}
	if m := either.FindStringSubmatch(text); m != nil {
		return r.plusMinus(m[1], m[2]), true
	}
	if m := upTo.FindStringSubmatch(text); m != nil {
		return r.between(m[1], m[2], jumps), true
	}
	if m := dash.FindStringSubmatch(text); m != nil && !exponents.MatchString(text) {
		return r.between(m[1], m[2], jumps), true
	}
	if jumps {
		r.refuse(NoReading, "Between which two values does it move? Type them%s, like jumps %s to %s.", r.inUnit(), Format(3, ""), Format(40, r.want.Unit))
	}
	return nil, jumps
}

// between reads both ends of a span. An end without a unit takes the other's;
// whether it also takes the prefix is asked, since 3 to 40 k can be both.
func (r *reader) between(a, b string, jumps bool) []Reading {
	if overRange.MatchString(a) {
		a, b = b, a
	}
	if overRange.MatchString(b) && !overRange.MatchString(a) {
		found := r.bounded(a, Above, true)
		for i := range found {
			found[i].Shape, found[i].Touching, found[i].Jumps = Span, false, jumps
		}
		return found
	}
	lows, highs := r.numbers(a), r.numbers(b)
	var found []Reading
	add := func(low, high float64) {
		if math.IsNaN(low) || math.IsNaN(high) {
			return
		}
		x := spanOf(low, high)
		x.Jumps = jumps && x.Shape == Span
		if !slices.Contains(found, x) {
			found = append(found, x)
		}
	}
	for i, l := range lows {
		for j, h := range highs {
			if len(lows) == len(highs) && i != j {
				continue // both ends are written in one way
			}
			if l.bare && h.other != nil {
				add(l.in(h), h.x)
				continue
			}
			if h.bare && l.other != nil {
				add(l.x, h.in(l))
				continue
			}
			if shared := l.times(h.power); l.bare && h.power != 0 && l.x != 0 {
				if shared <= h.x {
					add(shared, h.x)
				}
				if l.x <= h.x {
					add(l.x, h.x)
				}
				r.ask(DoubtPrefix, "%q has a prefix at one end only.", r.text)
				continue
			}
			if shared := h.times(l.power); h.bare && l.power != 0 && h.x != 0 {
				add(l.x, shared)
				r.ask(DoubtPrefix, "%q has a prefix at one end only.", r.text)
				continue
			}
			add(l.x, h.x)
		}
	}
	return found
}

// spanOf is the span between two ends, in whatever order they were seen.
func spanOf(a, b float64) Reading {
	if a == b {
		return Reading{Shape: Exact, Low: a, High: a}
	}
	return Reading{Shape: Span, Low: min(a, b), High: max(a, b)}
}

// around is the span of so much either way, without the dust of the sums: 0.3 +- 0.1 is what between 0.2 and 0.4 is.
func around(middle, off, least float64) Reading {
	return spanOf(max(round12(middle-off), least), round12(middle+off))
}

// plusMinus reads a middle and how far it goes either way.
func (r *reader) plusMinus(a, b string) []Reading {
	middles := r.numbers(a)
	var found []Reading
	if share, ok := strings.CutSuffix(b, "%"); ok && r.want.Unit != "%" {
		x, err := strconv.ParseFloat(strings.Replace(strings.TrimSpace(share), ",", ".", 1), 64)
		if err != nil || math.IsInf(x, 0) || math.IsNaN(x) {
			r.refuse(NoReading, "%q is no share in per cent.", b)
			return nil
		}
		for _, m := range middles {
			found = append(found, around(m.x, math.Abs(m.x*x/100), r.least()))
		}
		return found
	}
	add := func(middle, off float64) {
		if x := around(middle, off, r.least()); !math.IsNaN(middle) && !math.IsNaN(off) && !slices.Contains(found, x) {
			found = append(found, x)
		}
	}
	for _, m := range middles {
		for _, c := range r.numbers(b) {
			switch {
			case m.bare && c.other != nil:
				add(m.in(c), c.apart())
			case c.bare && m.other != nil:
				c.other = m.other
				add(m.x, c.apart())
			case m.bare && c.power != 0 && m.x != 0:
				add(m.in(c), c.apart())
				add(m.x, c.apart())
				r.ask(DoubtPrefix, "%q has a prefix at one number only.", r.text)
			case c.bare && m.power != 0 && c.x != 0:
				add(m.x, math.Abs(c.in(m)))
				add(m.x, c.apart())
				r.ask(DoubtPrefix, "%q has a prefix at one number only.", r.text)
			default:
				add(m.x, c.apart())
			}
		}
	}
	return found
}

// choose takes the one reading that is plausible, or asks.
func (r *reader) choose(found []Reading) (Reading, error) {
	if len(found) == 0 {
		return Reading{}, r.question(NoReading, "%q is no reading%s; type it like %s.", r.text, r.inUnit(), r.example())
	}
	for i := range found {
		found[i].Unit, found[i].Text, found[i].Current = r.want.Unit, r.text, r.current
		found[i].About = r.about && found[i].Shape != OverRange
	}
	if q := r.wrongCurrent(found); q != nil {
		return Reading{}, q
	}
	plausible := found
	if len(found) > 1 || !r.really {
		plausible = slices.DeleteFunc(slices.Clone(found), func(x Reading) bool { return !r.plausible(x) })
	}
	switch {
	case len(plausible) == 0 && len(found) == 1:
		return Reading{}, r.answers(DoubtRange, found, fmt.Sprintf("%s is outside what is plausible here, %s to %s. Look again at the point, the prefix and the range switch.",
			found[0], Format(r.want.Range[0], r.want.Unit), Format(r.want.Range[1], r.want.Unit)), nil)
	case len(plausible) == 0:
		return Reading{}, r.answers(r.why, found, r.says, nil)
	case len(plausible) > 1 || r.why != "" && r.why != DoubtMark && r.why != DoubtPrefix:
		return Reading{}, r.answers(r.why, plausible, r.says, nil)
	}
	return plausible[0], nil
}

// wrongCurrent asks back where AC or DC was said that does not go with what is wanted.
func (r *reader) wrongCurrent(found []Reading) *Question {
	switch {
	case r.current == NotSaid:
	case !r.unit.electric:
		return r.answers(DoubtCurrent, found, fmt.Sprintf("%q says %s, which does not go with %s.", r.text, r.current, r.unitName()), func(x *Reading) { x.Current = NotSaid })
	case r.want.Current != NotSaid && r.want.Current != r.current:
		return r.answers(DoubtCurrent, found, fmt.Sprintf("%q is marked %s; %s %s is asked for. Set the meter to %s and read again, or say if it was %s.",
			r.text, r.current, r.want.Unit, r.want.Current, r.want.Current, r.want.Current), func(x *Reading) { x.Current = r.want.Current })
	}
	return nil
}

func (r *reader) answers(doubt Doubt, found []Reading, says string, change func(*Reading)) *Question {
	q := r.question(doubt, "%s", says)
	for _, x := range found {
		if change != nil {
			change(&x)
		}
		if slices.ContainsFunc(q.Answers, func(a Answer) bool { return a.Reading == x }) {
			continue
		}
		entry := x.Entry()
		if !r.plausible(x) {
			entry = "really " + entry
		}
		q.Answers = append(q.Answers, Answer{x, entry})
	}
	return q
}

// plausible says that the ends of a reading that somebody read lie in the range.
func (r *reader) plausible(x Reading) bool {
	if r.want.Range == nil || x.Shape == OverRange {
		return true
	}
	low, high := r.want.Range[0], r.want.Range[1]
	inside := func(v float64) bool { return v >= low && v <= high }
	switch x.Shape {
	case Below:
		return inside(x.High)
	case Above:
		return inside(x.Low)
	}
	return inside(x.Low) && inside(x.High)
}

func (r *reader) unitName() string {
	if r.want.Unit == "" {
		return "a bare number"
	}
	return r.want.Unit
}

func (r *reader) inUnit() string {
	if r.want.Unit == "" {
		return ""
	}
	return " in " + r.want.Unit
}
