// Package wording holds what every screen says alike and in few words: chances, minutes,
// and what stands in place. It stands apart from package report so that a program in a browser
// says the same without the printers of paper and pages.
package wording

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/rulebase"
)

// A chanceWord is how a probability is said from its least value on.
type chanceWord struct {
	from float64
	says string
}

// chanceWords, the largest first. They are coarse on purpose: the weights behind
// them are estimates, and nobody acts differently on 62 and 64 percent. The steps
// of the rare end lie between neighbours in ratio, not in difference. Nothing is
// ever said to be certain.
var chanceWords = []chanceWord{
	{0.985, "almost certain"},
	{0.95, "about 19 in 20"},
	{0.85, "about 9 in 10"},
	{0.75, "about 8 in 10"},
	{0.65, "about 7 in 10"},
	{0.55, "about 6 in 10"},
	{0.45, "about 5 in 10"},
	{0.35, "about 4 in 10"},
	{0.25, "about 3 in 10"},
	{0.15, "about 2 in 10"},
	{0.08, "about 1 in 10"},
	{0.041, "about 1 in 20"},
	{0.026, "about 1 in 30"},
	{0.014, "about 1 in 50"},
	{0.0095, "about 1 in 100"},
	{math.SmallestNonzeroFloat64, "less than 1 in 100"},
}

// Chance says a probability in words, rounded.
func Chance(p float64) string {
	for _, w := range chanceWords {
		if p >= w.from {
			return w.says
		}
	}
	return "ruled out"
}

// Minutes says a time in words, rounded to what a plan needs.
func Minutes(m float64) string {
	switch {
	case m < 0.5:
		return "less than a minute"
	case m < 1.5:
		return "about 1 minute"
	case m < 90:
		return fmt.Sprintf("about %.0f minutes", m)
	case m < 48*60:
		return fmt.Sprintf("about %s hours", strconv.FormatFloat(math.Round(m/30)/2, 'g', -1, 64))
	}
	return fmt.Sprintf("about %.0f days", m/(24*60))
}

// IsUnit answers in a word or two whether it is the unit, by the chance that it has to be
// repaired or exchanged.
func IsUnit(p float64) string {
	switch {
	case p >= 0.95:
		return "Yes"
	case p >= 0.65:
		return "Probably"
	case p >= 0.35:
		return "Not settled"
	case p >= 0.1:
		return "Probably not"
	}
	return "Hardly"
}

// Stopgap says of a temporary remedy that it ends no case, what else it does, and when it has
// to be undone.
func Stopgap(s *rulebase.Step) []string {
	lines := []string{"This is only a stopgap: it takes no cause away, and the case stays open."}
	if s.SideEffects != "" {
		lines = append(lines, "While it lasts: "+strings.TrimRight(s.SideEffects, ".")+".")
	}
	if s.Days > 0 {
		return append(lines, "It ends after "+days(s.Days)+" at the latest: write the date down, with who sees to it.")
	}
	return append(lines, "Write down the date on which it ends, and who sees to it.")
}

func days(n float64) string {
	if n == 1 {
		return "1 day"
	}
	return strconv.FormatFloat(n, 'g', -1, 64) + " days"
}

// Quiet says how long a fault that comes and goes has to stay away before that means
// something: times as long as it took from one failure to the next, which by chance alone
// happens with the given share, if failures come at random. every and quiet are times in
// words, "" where nobody has said how often it comes.
func Quiet(times, share float64, every, quiet string) string {
	once := 1 / share
	if every == "" {
		return fmt.Sprintf("It comes and goes: quiet means something only once it has lasted %.1f times as long as it was from one failure to the next on average (ln %.0f = %.1f, if failures come at random).", times, once, times)
	}
	return fmt.Sprintf("It comes and goes, on average every %s. By chance alone it is quiet for %.1f times as long, %s, only once in %.0f times (ln %.0f = %.1f, if failures come at random): so long quiet has to last to mean something.",
		every, times, quiet, once, once, times)
}

// Condition is an expression as it is read aloud.
func Condition(expression string) string {
	return Plain(strings.NewReplacer(" == ", " is ", " != ", " is not ", " not in [", " is none of [", " in [", " is one of [").Replace(expression))
}

// InSentence makes a text that stands by itself part of a sentence.
func InSentence(text string) string { return LowerFirst(strings.TrimRight(text, ".")) }

// LowerFirst begins a text with a small letter, as inside a sentence, unless it begins with a
// short form or with "I".
func LowerFirst(text string) string {
	first, n := utf8.DecodeRuneInString(text)
	next, _ := utf8.DecodeRuneInString(text[n:])
	if unicode.IsLower(next) || first == 'A' && next == ' ' {
		return string(unicode.ToLower(first)) + text[n:]
	}
	return text
}

// UpperFirst begins a text with a capital.
func UpperFirst(text string) string {
	first, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return text
	}
	return string(unicode.ToUpper(first)) + text[n:]
}

// OneLine is what somebody typed without what cannot be seen: no control signs, no signs that turn
// the direction of writing, and one space between words.
func OneLine(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Cf, r):
			return -1
		}
		return r
	}, strings.ToValidUTF8(text, "?"))
	return strings.Join(strings.Fields(text), " ")
}

// Day is a day that was typed as 2026-11-05 as every other day is said: 5 November 2026. Another text stays
// as it is.
func Day(typed string) string {
	day, err := time.Parse(time.DateOnly, typed)
	if err != nil {
		return typed
	}
	return day.Format("2 January 2006")
}

// NameOf is what a step asks to be done; a symptom offered by itself is its question.
func NameOf(b *rulebase.Base, s *rulebase.Step) string {
	if s.Implied && len(s.Yields) > 0 {
		return b.Symptoms[s.Yields[0]].Ask
	}
	return s.Do
}

// Counted is a number of things.
func Counted(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	if stem, ok := strings.CutSuffix(what, "ry"); ok {
		return fmt.Sprintf("%d %sries", n, stem)
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// PutIn says what was put in, loosened or forced, and where.
func PutIn(p cases.PutIn, accepted bool) string {
	text := p.Where
	if p.What != "other" {
		text = strings.ReplaceAll(p.What, "_", " ") + ", " + p.Where
	}
	if p.Until != "" {
		text += ", until " + p.Until
	}
	if accepted {
		text += " (accepted)"
	}
	return text
}

// PutInBy is what a remedy for the time being puts in, and until when.
func PutInBy(b *rulebase.Base, r *rulebase.Step) (what, until string) {
	what = strings.TrimSuffix(InSentence(NameOf(b, r)), ".")
	if r.Days > 0 {
		until = days(r.Days) + " from then at the latest"
	}
	return what, until
}

// StandingLines are the things still in place, accepted or not, in their order.
func StandingLines(c *cases.Case) []string {
	var lines []string
	standing := c.Standing()
	for _, s := range c.PutIn {
		accepted := !slices.ContainsFunc(standing, func(x cases.Said[cases.PutIn]) bool { return x.Event.ID == s.Event.ID })
		lines = append(lines, PutIn(s.Body, accepted))
	}
	return lines
}

// InPlaceLines are the same, each with its number.
func InPlaceLines(c *cases.Case) []string {
	lines := StandingLines(c)
	for i := range lines {
		lines[i] = fmt.Sprintf("%d. %s", i+1, lines[i])
	}
	return lines
}

// Plain is an id as words.
func Plain(id string) string { return strings.ReplaceAll(id, "_", " ") }

// PlainAll are ids as words.
func PlainAll(ids []string) []string {
	words := make([]string, len(ids))
	for i, id := range ids {
		words[i] = Plain(id)
	}
	return words
}

// List joins words with commas, the last two with a word.
func List(last string, words []string) string {
	if len(words) < 2 {
		return strings.Join(words, "")
	}
	n := len(words) - 1
	return strings.Join(words[:n], ", ") + " " + last + " " + words[n]
}

// Person is the word for somebody with its article.
func Person(who string) string {
	if who != "" && strings.ContainsRune("aeiou", rune(who[0])) {
		return "an " + who
	}
	return "a " + who
}

// Witness is who saw something, in a sentence: the caller, the shift leader; an id, which no
// word is, stands as it is.
func Witness(by string) string {
	for _, r := range by {
		if r != ' ' && !unicode.IsLower(r) {
			return by
		}
	}
	return "the " + by
}

// PlaceNames say where a step can be done.
var PlaceNames = map[rulebase.Place]string{rulebase.Phone: "by phone", rulebase.Field: "at the drop", rulebase.Bench: "on the bench"}

// HazardNames say each hazard of a rulebase in words.
var HazardNames = map[string]string{
	"live":   "live parts",
	"mains":  "mains voltage",
	"motion": "machinery that may move",
	"stored": "stored energy",
	"static": "static electricity, which kills electronics",
	"spark":  "sparks",
}

// Hazards says what can hurt in a step; "" where nothing can.
func Hazards(h rulebase.Hazard) string {
	if h == 0 {
		return ""
	}
	if h&rulebase.HazardUnknown != 0 {
		return "Its hazards are not known: take it as the worst."
	}
	var names []string
	for _, w := range h.Words() {
		names = append(names, HazardNames[w])
	}
	return "Hazards: " + List("and", names) + "."
}

// Stops says what a step stops; "" where that is nothing.
func Stops(s rulebase.Stops) string {
	switch s {
	case rulebase.StopsDrop:
		return "It stops this drop while it lasts."
	case rulebase.StopsBus:
		return "It stops every drop on the line while it lasts."
	}
	return ""
}

// Where says which drop a case is about: its address, place and unit, as far as they are known.
func Where(c *cases.Case) string {
	var words []string
	if drop := cmp.Or(c.Opening.Drop, c.Situation.Drop); drop != 0 {
		words = append(words, fmt.Sprintf("drop %d", drop))
	}
	if c.Opening.Location != "" {
		words = append(words, c.Opening.Location)
	}
	if u := c.Opening.Unit; u.Type+u.Serial != "" {
		words = append(words, strings.TrimSpace("unit "+strings.TrimSpace(u.Type+" "+u.Serial)))
	}
	return strings.Join(words, ", ")
}

// Aside says what else it can be than the causes listed.
func Aside(outside, none float64) string {
	return fmt.Sprintf("Something not listed here: %s. Nothing wrong with the drop: %s.", Chance(outside), Chance(none))
}
