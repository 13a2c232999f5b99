package conversation

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// A reading is what a text says of a thing that takes readings: what an instrument
// showed, or what has to be asked back about it.
type reading struct {
	text    string // as typed
	words   uint64 // the words it takes up in the piece
	hasUnit bool
	value   quantity.Reading
	ask     *quantity.Question // not nil: it has no one meaning
}

// says is the reading in words, with its unit.
func (r *reading) says() string {
	if r.ask != nil {
		return r.text
	}
	return r.value.String()
}

// want is what a thing asks for.
func (l *listener) want(th *thing) quantity.Want {
	w := quantity.Want{Unit: th.unit}
	ask := ""
	if th.kind == rulebase.KindGiven {
		w.Range, ask = l.t.base.Givens[th.index].Range, l.t.base.Givens[th.index].Ask
	} else {
		ask = l.t.base.Symptoms[th.index].Ask
	}
	switch m := currentRE.FindString(ask); m {
	case "DC":
		w.Current = quantity.DC
	case "AC":
		w.Current = quantity.AC
	}
	return w
}

var currentRE = quantity.NewPattern(`\b(?:AC|DC)\b`)

// readAll reads a whole text as a reading of a thing; nil where it is none.
func (l *listener) readAll(th *thing, text string) *reading {
	read := text
	if th.unit == "kbaud" && usualBaud(strings.TrimSpace(text)) {
		read += " baud"
	}
	v, err := quantity.Read(read, l.want(th))
	r := &reading{text: strings.TrimSpace(text), value: v}
	// Hours and days are minutes without a doubt, and how often it fails is said in them; what they come to is
	// read as minutes are, within what can be: what is not plausible has "really" before it as an answer.
	if th.unit == "min" && longTimeRE.MatchString(r.text) && errors.As(err, &r.ask) && len(r.ask.Answers) == 1 {
		r.value, err = quantity.Read(strings.TrimPrefix(r.ask.Answers[0].Entry, "really "), l.want(th))
		r.ask = nil
	}
	if err != nil && (!errors.As(err, &r.ask) || r.ask.Doubt == quantity.NoReading) {
		return nil
	}
	r.hasUnit = saysUnit(text)
	return r
}

// usualBaud are rates that everybody says in baud and without the unit, also where kbaud are asked for: no
// line of the trade runs at as many kbaud (common practice, no source).
var usualBaud = wordSet("1200 2400 4800 9600 19200 38400 57600 115200")

var longTimeRE = quantity.NewPattern(`(?i)^\d+(?:\.\d+)?\s*(?:h|hrs?|hours?|days?|weeks?)$`)

// everyRE is how often it fails where no figure says it.
var everyRE = quantity.NewPattern(`(?i)\b(?:about |roughly |almost )?(?:every|once (?:an?|every)) (other |two |three |four |six )?(hour|day|week)s?\b`)

var everySo = map[string]string{"": "1", "other": "2", "two": "2", "three": "3", "four": "4", "six": "6"}

// inFigures says with a figure what was said of how often it fails without one: every 1 day.
func inFigures(entry string) string {
	return everyRE.RE().ReplaceAllStringFunc(entry, func(said string) string {
		m := everyRE.FindStringSubmatch(said)
		return "every " + everySo[strings.ToLower(strings.TrimSpace(m[1]))] + " " + m[2]
	})
}

// saysUnit says whether a reading names its unit: then it is none in some other unit.
func saysUnit(text string) bool {
	for _, unit := range []string{"V", "ohm"} {
		var q *quantity.Question
		if _, err := quantity.Read(text, quantity.Want{Unit: unit}); errors.As(err, &q) && (q.Doubt == quantity.DoubtUnit || q.Doubt == quantity.DoubtCurrent) {
			return true
		}
	}
	return false
}

// widestReading is the most words that one reading takes up: a counter read twice, with its times.
const widestReading = 12

var overRE = quantity.NewPattern(`(?i)^(?:[o0]\.?l|over-?range|over-?load|infinite|infinity|∞)$`)

// findReading finds the longest run of words that is a reading of a thing; nil
// where there is none. Another unit than the thing's makes it no reading of it. A
// run with one meaning goes before one that has to be asked back, unless it is part of that.
func (l *listener) findReading(th *thing, text string, tokens []token) *reading {
	if !slices.ContainsFunc(tokens, func(t token) bool { return t.numeric() || overRE.MatchString(t.low) }) {
		return nil
	}
	var doubtful []*reading
	for n := min(len(tokens), widestReading); n > 0; n-- {
		for i := 0; i+n <= len(tokens); i++ {
			r := l.readRun(th, text, tokens[i:i+n])
			if r == nil || i+n < len(tokens) && l.otherUnit(th, text, tokens[i:i+n+1]) {
				continue
			}
			r.words = (1<<n - 1) << i
			if r.ask != nil {
				doubtful = append(doubtful, r)
				continue
			}
			for _, d := range doubtful {
				if d.words&r.words == r.words {
					return d // a part of what is doubtful is no clear reading
				}
			}
			return r
		}
	}
	if len(doubtful) == 0 {
		return nil
	}
	return doubtful[0]
}

// readRun reads a run of words; nil where it does not begin like a reading or is none.
func (l *listener) readRun(th *thing, text string, run []token) *reading {
	if !startsReading(run[0]) || !slices.ContainsFunc(run, func(t token) bool { return t.numeric() || overRE.MatchString(t.low) }) {
		return nil
	}
	r := l.cachedRead(th, withSign(text, run[0].start, run[len(run)-1].end))
	if r == nil || r.ask != nil && r.ask.Doubt == quantity.DoubtUnit {
		return nil
	}
	return r
}

// otherUnit says whether a run of words is a reading in another unit than the
// thing's: then the number in it is none of the thing either.
func (l *listener) otherUnit(th *thing, text string, run []token) bool {
	r := l.cachedRead(th, text[run[0].start:run[len(run)-1].end])
	return r != nil && r.ask != nil && r.ask.Doubt == quantity.DoubtUnit
}

// cachedRead is readAll, remembering for the length of an entry what was read: many
// things ask in the same unit.
func (l *listener) cachedRead(th *thing, text string) *reading {
	w := l.want(th)
	key := fmt.Sprint(w.Unit, w.Range, w.Current, text)
	if w.Range != nil {
		key = fmt.Sprint(w.Unit, *w.Range, w.Current, text)
	}
	r, ok := l.reads[key]
	if !ok {
		if r = l.readAll(th, text); l.reads == nil {
			l.reads = map[string]*reading{}
		}
		l.reads[key] = r
	}
	if r == nil {
		return nil
	}
	c := *r
	return &c
}

var leadWords = wordSet(`below under less lower at more above over higher greater better not up max maximum min minimum low lowest high highest between from
	jumps jump jumping hops swings swing varies wanders drifts fluctuates bounces moves goes changes switches about approximately approx around roughly minus really`)

func startsReading(t token) bool {
	return t.numeric() || leadWords(t.low) || overRE.MatchString(t.low)
}

// withSign gives a part of a text together with the sign that stands before it.
func withSign(text string, start, end int) string {
	head := strings.TrimRight(text[:start], " ")
	for _, sign := range []string{"<=", ">=", "<", ">", "≤", "≥", "~", "±"} {
		if strings.HasSuffix(head, sign) {
			return sign + " " + text[start:end]
		}
	}
	return text[start:end]
}

// unitWords are words of ids that a unit stands for.
var unitWords = map[string][]string{"V": {"volt", "voltag"}, "mV": {"volt"}, "ohm": {"ohm", "resistanc"}, "kohm": {"ohm"}, "Mohm": {"ohm"},
	"A": {"amp", "current"}, "mA": {"amp", "current"}, "Hz": {"hertz", "frequency"}, "m": {"length"}, "%": {"percent"}, "degC": {"degre", "temperatur"}}

// byUnit counts the words of a thing's id that the unit of its reading stands for.
func (m *match) byUnit() {
	if m.reading == nil || !m.reading.hasUnit {
		return
	}
	for i, w := range m.th.idWords {
		if slices.Contains(unitWords[m.th.unit], w) {
			m.ids |= 1 << i
		}
	}
}

// takeReading records a reading, or asks back.
func (l *listener) takeReading(th *thing, r *reading, text string, how manner) bool {
	if r.ask != nil {
		l.unclearReading(th, r, text, how)
		return true
	}
	if x, ok := r.value.Value(); ok {
		v := rulebase.Value{Word: quantity.Format(x, th.unit), IsNumber: true, Number: x}
		l.record(th, v, r.text, text, how)
		return true
	}
	if th.kind == rulebase.KindGiven {
		l.asks = append(l.asks, l.t.questionAbout(l.state, th))
		l.note(text, Unclear, sayOneNumber(th))
		return true
	}
	limits := l.limits(th)
	if band, ok := r.value.Band(limits); ok && limits != nil {
		l.record(th, rulebase.Value{Word: th.values[band].text}, r.text, text, how)
		return true
	}
	l.whichBand(th, r, limits, text, how)
	return true
}

// unclearReading asks back a reading that has more than one meaning, or none.
func (l *listener) unclearReading(th *thing, r *reading, text string, how manner) {
	how.read = cmp.Or(how.read, r.text)
	var answers []Answer
	for _, a := range r.ask.Answers {
		if th.kind == rulebase.KindGiven && r.ask.Doubt == quantity.DoubtRange {
			break // a case file does not take it either
		}
		answers = append(answers, Answer{Says: th.name + ": " + a.Reading.String(), Entry: entryFor(th.id, a.Entry, how)})
	}
	if len(answers) == 0 {
		l.asks = append(l.asks, l.t.questionAbout(l.state, th))
		l.note(text, Unclear, r.ask.Says)
		return
	}
	q := whichQuestion(text, answers)
	q.Says = []string{th.name + ": " + r.ask.Says}
	l.unclear(text, q)
}

// whichBand asks back a reading that lies in more than one band, or in bands whose
// limits are not known.
func (l *listener) whichBand(th *thing, r *reading, limits []float64, text string, how manner) {
	how.read = cmp.Or(how.read, r.text)
	var answers []Answer
	for i, w := range th.values {
		if limits != nil && (i > 0 && r.value.High < limits[i-1] || i < len(limits) && r.value.Low >= limits[i]) {
			continue
		}
		answers = append(answers, Answer{Says: th.name + ": " + sayBand(th, i, limits), Entry: entryFor(th.id, w.text, how)})
	}
	q := whichQuestion(text, answers)
	q.Says = []string{saySpans(th, r.value.String(), limits != nil)}
	l.unclear(text, q)
}

// limits are the limits of a banded symptom's bands with what is known of the
// givens, nil where they are not known. They may hang on what rules derive, so the
// facts of a diagnosis are read.
func (l *listener) limits(th *thing) []float64 {
	sy := &l.t.base.Symptoms[th.index]
	slots := make([]rulebase.Slot, len(l.t.base.Names))
	for i := range slots {
		slots[i].Number = math.NaN()
	}
	if l.t.diagnose == nil {
		l.saidGivens(slots)
	} else {
		d, err := l.t.diagnose(l.ctx, l.state.Situation, brief)
		if err != nil {
			return nil
		}
		for _, f := range d.Facts {
			if g := l.t.words.thing(f.ID); g != nil && g.kind == rulebase.KindGiven {
				slots[l.t.base.Givens[g.index].Name] = l.slot(g, f.Value)
			}
		}
	}
	limits := make([]float64, len(sy.Limits))
	for i, e := range sy.Limits {
		limits[i] = e.Value(slots)
		if math.IsNaN(limits[i]) || i > 0 && limits[i] <= limits[i-1] {
			return nil
		}
	}
	return limits
}

// saidGivens sets the slots of givens to what was said of them, or else to what is taken where nobody says otherwise:
// a Talk that only hears (Hear) has no diagnosis to ask.
func (l *listener) saidGivens(slots []rulebase.Slot) {
	for i := range l.t.base.Givens {
		if g := &l.t.base.Givens[i]; g.Default != nil {
			slots[g.Name] = *g.Default
		}
	}
	for _, v := range l.state.Situation.Givens {
		if g := l.t.words.thing(v.ID); g != nil && g.kind == rulebase.KindGiven {
			if s, ok := l.t.base.SlotOf(l.t.base.Givens[g.index].Name, v.Value); ok {
				slots[l.t.base.Givens[g.index].Name] = s
			}
		}
	}
}

// slot is the slot of a given's value as a fact tells it.
func (l *listener) slot(g *thing, text string) rulebase.Slot {
	v := rulebase.Value{Word: text}
	if g.typ == rulebase.Number {
		x, err := quantity.Parse(text, g.unit)
		if err != nil {
			return rulebase.Slot{Number: math.NaN()}
		}
		v.IsNumber, v.Number = true, x
	}
	s, ok := l.t.base.SlotOf(l.t.base.Givens[g.index].Name, v)
	if !ok {
		return rulebase.Slot{Number: math.NaN()}
	}
	s.Rank = rulebase.FromPerson
	return s
}
