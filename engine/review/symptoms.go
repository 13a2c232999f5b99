package review

import (
	"math"
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"downdrop/rulebase"
)

// What is read aloud over a telephone and shown on one.
const (
	longestQuestion = 120 // characters
	longestValue    = 24  // characters: what fits on a button
)

// A question is what somebody is asked, for a symptom or a given.
type question struct {
	id     string
	pos    rulebase.Position
	ask    string
	values []string

	lower, digits string // what askSame compares
	words         map[string]bool
}

func (r *reviewer) asked() []question {
	var all []question
	for i := range r.b.Symptoms {
		s := &r.b.Symptoms[i]
		all = append(all, question{id: s.ID, pos: s.Pos, ask: s.Ask, values: s.Values})
	}
	for i := range r.b.Givens {
		if g := &r.b.Givens[i]; g.Ask != "" {
			all = append(all, question{id: g.ID, pos: g.Pos, ask: g.Ask, values: g.OneOf})
		}
	}
	for i := range all {
		q := &all[i]
		q.lower, q.digits, q.words = strings.ToLower(q.ask), strings.Join(digits().FindAllString(q.ask, -1), " "), r.words(q.ask)
	}
	return all
}

// twoQuestions is a question that goes on with another one.
var twoQuestions = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)(\?.*\?|[,;]? and (also )?(is|are|was|were|does|do|did|has|have|had|can|could|will|what|which|who|how|where|when|why)\b)`)
})

// questions looks at what is asked.
func (r *reviewer) questions() {
	all := r.asked()
	for i, q := range all {
		if n := utf8.RuneCountInString(q.ask); n > longestQuestion {
			r.say(q.pos, "question-too-long", "the question of %s has %d characters; over a telephone %d can be kept in mind", q.id, n, longestQuestion)
		}
		if twoQuestions().MatchString(q.ask) {
			r.say(q.pos, "question-asks-two", "the question of %s asks two things at once, and one answer is taken for both", q.id)
		}
		for _, v := range q.values {
			if n := utf8.RuneCountInString(v); n > longestValue {
				r.say(q.pos, "value-too-long", "the value %s of %s has %d characters; a button has room for %d", v, q.id, n, longestValue)
			}
		}
		r.spend(8 * i)
		for j := range i {
			before := &all[j]
			if r.askSame(&q, before) {
				r.say(q.pos, "questions-alike", "%s asks nearly the same as %s: %q", q.id, before.id, before.ask)
				break // the others that are like it are mostly like that one, and are told of it
			}
		}
	}
}

var digits = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`[0-9]+`) })

// askSame says whether two questions have the same words, or differ by slips of
// the hand only: at most one in 20 letters.
func (r *reviewer) askSame(x, y *question) bool {
	if x.digits != y.digits {
		return false // terminal 3 is not terminal 4
	}
	if x.lower == y.lower {
		return true
	}
	if slips := min(len(x.ask), len(y.ask)) / 20; slips > 0 && max(len(x.ask), len(y.ask))-min(len(x.ask), len(y.ask)) <= 4*slips {
		r.spend(len(x.ask) * len(y.ask) / 4)
		if edits(x.lower, y.lower, slips) <= slips {
			return true
		}
	}
	r.spend(8 * len(x.words))
	return len(x.words) >= 2 && sameSet(x.words, y.words)
}

// usually is how likely a value must be with nothing wrong to be what is usual.
const usually = 0.75

// normal is the value that a symptom has where nothing is wrong, -1 where no
// setting says plainly.
func (r *reviewer) normal(symptom int) int {
	for _, s := range r.known() {
		if p := s.p[symptom]; p != nil {
			at := 0
			for v := range p[none] {
				if p[none][v] > p[none][at] {
					at = v
				}
			}
			if p[none][at] > usually {
				return at
			}
		}
	}
	return -1
}

// chances looks at the numbers of rows.
func (r *reviewer) chances() {
	for i := range r.b.Symptoms {
		s := &r.b.Symptoms[i]
		if s.Sure != nil {
			r.sureness(s)
		}
		for _, row := range s.Shows {
			for v, p := range row.P {
				if p == 0 && (!s.Independent || row.When == nil || s.Values[v] == "no") {
					r.say(row.Pos, "exact-chance", "the row of %s gives %s no chance at all: one wrong report then rules out every cause that the row stands for", s.ID, s.Values[v])
					break
				}
			}
		}
		r.looksBetter(i)
		r.deniesName(s)
		r.bands(s)
	}
}

// leastSure is how sure a finding must be to be worth asking for.
const leastSure = 0.6

func (r *reviewer) sureness(s *rulebase.Symptom) {
	least := s.Sure.Everywhere
	if s.Sure.ByPlace != nil {
		least = 1
		for _, v := range s.Sure.ByPlace {
			least = min(least, v)
		}
	}
	if least < leastSure {
		r.say(s.Pos, "hardly-sure", "a finding of %s is only %g sure: it says hardly more than nothing", s.ID, least)
	}
}

// better is by how much the odds of a sound look must rise to be remarked on: a
// cause that hides a symptom by a little is nothing strange.
const better = 3

// looksBetter looks for rows under which a symptom looks sounder than with
// nothing wrong at all. It is how chances written the wrong way round show.
func (r *reviewer) looksBetter(symptom int) {
	s := &r.b.Symptoms[symptom]
	v := r.normal(symptom)
	if v < 0 || s.Independent {
		return
	}
	sound := 0.0
	for _, set := range r.known() {
		sound = max(sound, set.p[symptom][none][v])
	}
	for _, row := range s.Shows {
		if row.When != nil && row.P[v] > sound && odds(row.P[v]) > better*odds(sound) {
			r.say(row.Pos, "looks-better", "with %q %s shows %s more surely (%.4g) than with nothing wrong (%.4g)", row.When.Text, s.ID, s.Values[v], row.P[v], sound)
		}
	}
}

// raised is by how much a row must raise the value that its condition is named after.
const raised = 1.5

// deniesName looks for rows whose condition shares a word with a single value
// (rate_wrong_on_drop with rate_differs) and that make this value no likelier
// than the last row does. It is how chances in the wrong row or column show.
func (r *reviewer) deniesName(s *rulebase.Symptom) {
	if len(s.Shows) == 0 || s.Shows[len(s.Shows)-1].When != nil || s.Independent {
		return
	}
	usual := s.Shows[len(s.Shows)-1].P
	for _, row := range s.Shows[:len(s.Shows)-1] {
		v := r.namedAfter(row.When, s.Values)
		if v >= 0 && usual[v] < slices.Max(usual) && row.P[v] < raised*usual[v] {
			r.say(row.Pos, "row-denies-its-name", "%q has its name from %s of %s, and the row gives that %.3g, where without it there is %.3g", row.When.Text, s.Values[v], s.ID, row.P[v], usual[v])
		}
	}
}

// namedAfter is the one value that shares a word with what an expression reads,
// where no other value has that word; -1 where there is none or more than one.
func (r *reviewer) namedAfter(e *rulebase.Expression, values []string) int {
	var ids []string
	for _, n := range e.Reads() {
		ids = append(ids, r.b.Names[n].ID)
	}
	reads := wordsOf(ids...)
	of := map[string]int{} // by word: in how many values
	for _, v := range values {
		for w := range wordsOf(v) {
			of[w]++
		}
	}
	found := -1
	for i, v := range values {
		for w := range wordsOf(v) {
			if of[w] == 1 && reads[w] {
				if found >= 0 && found != i {
					return -1
				}
				found = i
			}
		}
	}
	return found
}

func odds(p float64) float64 { return p / (1 - p) }

// widest is how many times a limit may be the one before it. More between
// neighbours is rather a slip of the decimal point than meant, but for the first
// limit: it often parts "nothing at all" from the rest.
const (
	widest      = 20
	widestFirst = 100
)

// bands looks at the limits of a reading, in every setting of the givens they read.
func (r *reviewer) bands(s *rulebase.Symptom) {
	if !s.Banded() {
		return
	}
	if s.Unit == "" {
		r.say(s.Pos, "bands-without-unit", "%s has bands but no unit: 0.5 may be volts or millivolts", s.ID)
	}
	falls, far := "", ""
	r.values(s.Limits, func(slots []rulebase.Slot) bool {
		before := math.NaN()
		for i, e := range s.Limits {
			limit := e.Value(slots)
			switch {
			case math.IsNaN(limit):
				continue
			case limit <= before && falls == "":
				falls = s.Values[i]
			case before > 0 && far == "" && (limit > widestFirst*before || i > 1 && limit > widest*before):
				far = s.Values[i]
			}
			before = limit
		}
		return falls == ""
	})
	if falls != "" {
		r.say(s.Pos, "limits-fall", "the limit of %s of %s can lie below the limit before it: the band then holds nothing", falls, s.ID)
	}
	if far != "" {
		r.say(s.Pos, "limit-far", "the limit of %s of %s is more than %d times the one before it: look whether a decimal point slipped", far, s.ID, widest)
	}
}

// evidence looks for what counts twice though it is seen once.
func (r *reviewer) evidence() {
	b := r.b
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		if !s.Weighs {
			continue
		}
		r.spend(4 * i)
		for j := range i {
			if o := &b.Symptoms[j]; o.Weighs && sameRows(s, o) {
				r.say(s.Pos, "same-evidence", "%s has the very rows of %s: what is seen once then counts twice", s.ID, o.ID)
			}
		}
		r.sameHistory(i)
	}
}

// sameRows says whether two symptoms read the same conditions with the same chances.
func sameRows(x, y *rulebase.Symptom) bool {
	if len(x.Shows) != len(y.Shows) || len(x.Shows) < 2 {
		return false
	}
	for i, row := range x.Shows {
		other := y.Shows[i]
		if (row.When == nil) != (other.When == nil) || row.When != nil && row.When.Text != other.When.Text || !slices.Equal(row.P, other.P) {
			return false
		}
	}
	return true
}

// sameHistory looks for a given that makes causes likelier and asks for what a
// symptom asks for, where that symptom shows the same cause.
func (r *reviewer) sameHistory(symptom int) {
	b, s := r.b, &r.b.Symptoms[symptom]
	words := r.words(s.Ask)
	for c := range b.Causes {
		for _, l := range b.Causes[c].MoreLikely {
			for _, n := range l.When.Reads() {
				g := &b.Givens[b.Names[n].Index]
				asks := r.words(g.Ask)
				shared := common(words, asks)
				if g.Ask == "" || shared < 3 || 5*shared < 4*min(len(words), len(asks)) || !r.shows(symptom, c) {
					continue
				}
				r.say(s.Pos, "same-evidence", "%s and the given %s ask for the same, and both speak for %s: the same history then counts twice", s.ID, g.ID, b.Causes[c].ID)
			}
		}
	}
}

// shows says whether a symptom depends on a cause taken alone, in some setting.
func (r *reviewer) shows(symptom, cause int) bool {
	return slices.ContainsFunc(r.known(), func(s *setting) bool {
		p := s.p[symptom]
		return p != nil && apart(p[none], p[alone(cause)]) > 0.05
	})
}
