package conversation

import (
	"slices"
	"sort"
	"strings"
	"unicode"
	"unicode/utf8"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// A lexicon is the words of a rulebase, ready for matching with the words of an
// entry.
type lexicon struct {
	things   []thing // givens, then symptoms, as written
	byID     map[string]int
	steps    []thing // tests that are not implied, then remedies
	stepByID map[string]*rulebase.Step
	warnings []thing
	causes   []thing
	tools    []thing
	sayings  map[string][]meant // by the words that tell
}

// A thing is something an entry can name, and what can be said of it.
type thing struct {
	id      string
	kind    rulebase.Kind
	index   int // into the section's slice of the Base
	name    string
	idWords []string // stems
	asWords []string // stems of the ask, without fillers
	initial string   // first letters of an id of two words or more
	values  []word   // choice and band names; yes and no for a flag
	typ     rulebase.Type
	extent  bool // how much is down, as the program itself works it out
	unit    string
	here    string     // what the site calls it, as said after its name
	site    [][]string // stems of what the site calls it, where that is nothing else's name
}

// A word is a value's name.
type word struct {
	text  string
	stems []string
	class []int // places in classes
	here  string
	site  [][]string // as of a thing
}

func newLexicon(b *rulebase.Base) *lexicon {
	l := &lexicon{byID: map[string]int{}, stepByID: map[string]*rulebase.Step{}}
	for i := range b.Givens {
		l.addGiven(&b.Givens[i], i)
	}
	for i := range b.Symptoms {
		l.addSymptom(&b.Symptoms[i], i)
	}
	l.addSite(b)
	l.addSayings(b)
	tools := map[string]bool{}
	for _, steps := range [][]rulebase.Step{b.Tests, b.Remedies} {
		for i := range steps {
			st := &steps[i]
			for _, tool := range st.Needs {
				tools[tool] = true
			}
			if st.Implied {
				continue
			}
			l.stepByID[st.ID] = st
			l.steps = append(l.steps, newThing(st.ID, st.Do, st.Kind, i))
		}
	}
	for i, w := range b.Warnings {
		l.warnings = append(l.warnings, newThing(w.ID, w.Says, rulebase.KindWarning, i))
	}
	for i, c := range b.Causes {
		l.causes = append(l.causes, newThing(c.ID, c.Name, rulebase.KindCause, i))
	}
	for id := range tools {
		l.tools = append(l.tools, newThing(id, "", rulebase.KindNone, 0))
	}
	sort.Slice(l.tools, func(i, j int) bool { return l.tools[i].id < l.tools[j].id })
	return l
}

func newThing(id, ask string, kind rulebase.Kind, index int) thing {
	t := thing{id: id, kind: kind, index: index, name: plain(id)}
	for _, w := range strings.Split(id, "_") {
		if w != "" && !fillers(w) {
			t.idWords = append(t.idWords, stem(w))
		}
		if w != "" {
			t.initial += w[:1]
		}
	}
	if len(t.idWords) == 0 {
		t.idWords = []string{stem(id)}
	}
	if len(t.idWords) < 2 {
		t.initial = ""
	}
	for _, tok := range tokenize(ask) {
		if !fillers(tok.low) && !soft(tok.low) {
			t.asWords = append(t.asWords, tok.stem)
		}
	}
	return t
}

func (l *lexicon) addGiven(g *rulebase.Given, index int) {
	t := newThing(g.ID, g.Ask, rulebase.KindGiven, index)
	t.typ, t.unit, t.extent = g.Type, g.Unit, g.FilledBy == "extent"
	values := g.OneOf
	if g.Type == rulebase.Flag {
		values = []string{"yes", "no"}
	}
	t.values = valueWords(values)
	l.add(t)
}

func (l *lexicon) addSymptom(s *rulebase.Symptom, index int) {
	t := newThing(s.ID, s.Ask, rulebase.KindSymptom, index)
	t.typ, t.unit = rulebase.Choice, s.Unit
	if s.Banded() {
		t.typ = rulebase.Banded
	}
	t.values = valueWords(s.Values)
	l.add(t)
}

func (l *lexicon) add(t thing) {
	l.byID[t.id] = len(l.things)
	l.things = append(l.things, t)
}

func (l *lexicon) thing(id string) *thing {
	if i, ok := l.byID[id]; ok {
		return &l.things[i]
	}
	return nil
}

// number is the place of a thing in the list of questions, from 1.
func (l *lexicon) number(id string) int { return l.byID[id] + 1 }

func valueWords(values []string) []word {
	words := make([]word, len(values))
	for i, v := range values {
		parts := strings.Split(strings.ToLower(v), "_")
		words[i] = word{text: v, class: valueClasses(parts)}
		for _, w := range parts {
			words[i].stems = append(words[i].stems, stem(w))
		}
	}
	return words
}

// valueClasses gives the classes of a value of one word, and of not with a word.
func valueClasses(parts []string) []int {
	switch {
	case len(parts) == 1:
		return classesOf(parts[0])
	case len(parts) > 2 || parts[0] != "not":
		return nil
	}
	var cs []int
	for _, c := range classesOf(parts[1]) {
		if o, ok := opposites[c]; ok {
			cs = append(cs, o)
		}
	}
	return cs
}

// yesNo says whether a thing is a question to be answered by yes or no.
func (t *thing) yesNo() bool {
	return len(t.values) == 2 && t.value("yes") >= 0 && t.value("no") >= 0
}

// reads says whether a thing takes readings.
func (t *thing) reads() bool { return t.typ == rulebase.Number || t.typ == rulebase.Banded }

func (t *thing) value(text string) int {
	return slices.IndexFunc(t.values, func(w word) bool { return w.text == text })
}

// plain makes an id readable.
func plain(id string) string { return wording.Plain(id) }

func classOf(w string) int {
	if cs := classesOf(w); len(cs) > 0 {
		return cs[0]
	}
	return -1
}

func classesOf(w string) []int {
	var cs []int
	for i, c := range classes {
		if slices.Contains(c, w) {
			cs = append(cs, i)
		}
	}
	return cs
}

// A token is a word of an entry, with its place in the text.
type token struct {
	text       string // as typed
	low        string
	stem       string
	start, end int // bytes in the text
}

// filler says whether a word says nothing by itself.
func (t token) filler() bool { return fillers(t.low) }

func (t token) negates() bool {
	return negations(t.low) || irregular()[t.low] == "not"
}

// tokenize cuts a text, which is valid UTF-8, into words. A point or comma between
// digits, a sign before a digit, an apostrophe or hyphen between letters, and an
// underscore belong to the word.
func tokenize(text string) []token {
	var out []token
	start := -1
	for i, r := range text + " " {
		before, after := ' ', ' '
		if start >= 0 {
			before, _ = utf8.DecodeLastRuneInString(text[start:i])
		}
		if end := i + utf8.RuneLen(r); end < len(text) {
			after, _ = utf8.DecodeRuneInString(text[end:])
		}
		switch inWord := partOfWord(before, r, after, start >= 0); {
		case inWord && start < 0:
			start = i
		case !inWord && start >= 0:
			out = append(out, newToken(text, start, i))
			start = -1
		}
	}
	return out
}

func partOfWord(before, r, after rune, inside bool) bool {
	letter := func(r rune) bool { return unicode.IsLetter(r) || unicode.IsMark(r) }
	switch {
	case letter(r) || unicode.IsDigit(r) || strings.ContainsRune("_%°", r):
		return true
	case r == '.' || r == ',':
		return inside && unicode.IsDigit(before) && unicode.IsDigit(after)
	case r == '\'' || r == '’' || r == '-':
		return inside && letter(before) && letter(after) || r == '-' && !inside && unicode.IsDigit(after)
	}
	return strings.ContainsRune("+−", r) && !inside && unicode.IsDigit(after)
}

func newToken(text string, start, end int) token {
	t := token{text: text[start:end], start: start, end: end}
	t.low = strings.ToLower(strings.ReplaceAll(t.text, "’", "'"))
	t.stem = stem(t.low)
	return t
}

func (t token) numeric() bool { return strings.ContainsFunc(t.text, unicode.IsDigit) }

// bareNumber says whether a word is a number and nothing else.
func (t token) bareNumber() bool { return strings.Trim(t.low, "0123456789.,+-") == "" }

// nought says whether a word is the number nought, with or without a unit behind it.
func (t token) nought() bool { return t.low == "zero" || noughtRE.MatchString(t.low) }

// stem takes the usual endings off a word, so that lights is light and flashing
// is flash. It need not be right, only the same for both sides.
func stem(w string) string {
	w = strings.ToLower(w)
	w = strings.TrimSuffix(strings.TrimSuffix(w, "'s"), "’s")
	if s, ok := irregular()[w]; ok {
		return s
	}
	for _, end := range []string{"ing", "ed", "es", "s", "e"} {
		if cut, ok := strings.CutSuffix(w, end); ok && len(cut) >= 3 && !strings.HasSuffix(w, "ss") {
			w = cut
			break
		}
	}
	if n := len(w); n > 3 && w[n-1] == w[n-2] && !strings.ContainsRune("aeiouls", rune(w[n-1])) {
		w = w[:n-1]
	}
	return strings.TrimSuffix(w, "e")
}
