package conversation

import (
	"math/bits"
	"slices"
	"sort"
	"strings"

	"downdrop/rulebase"
)

// A match is how well the words of a piece fit one thing: which words name it,
// and what they say of it.
type match struct {
	th      *thing
	covered uint64 // words used, by place in the piece
	named   uint64 // words that name the thing
	said    uint64 // words that say what it is
	ids     uint64 // words of its id that were met, by place in the id
	quality int
	focused bool  // the thing is what was asked for
	fuzzy   bool  // a word was taken for another, by a slip of one letter
	strong  bool  // a whole word names it that is not also what is said of things, like off
	byName  bool  // one value is said by its whole name
	whole   bool  // a value of two words or more is said by its whole name
	part    bool  // values are said by a part of their names only
	linked  bool  // nothing names it but a word like after, which says something beside a value only
	denied  bool  // of several values that words fit in part the others are what is left
	values  []int // what is said of it: places in th.values; more than one is unclear
	reading *reading
}

// valued says whether the piece says anything of the thing.
func (m match) valued() bool { return len(m.values) > 0 || m.reading != nil }

func (m match) idFull() bool { return bits.OnesCount64(m.ids) == len(m.th.idWords) }

// idLess says whether less than half of the id was said: with a value said in part, "lights are as always" is no "input
// light follows: always lit".
func (m match) idLess() bool { return 2*bits.OnesCount64(m.ids) < len(m.th.idWords) }

// compare orders matches, the better one above 0: the one that leaves fewer words over, then the thing
// that was asked for, then the one whose id is met best.
func (m match) compare(o match) int {
	share := func(m match) int { return 1000 * bits.OnesCount64(m.ids) / max(1, len(m.th.idWords)) }
	for _, d := range []int{
		bits.OnesCount64(m.covered) - bits.OnesCount64(o.covered),
		truth(m.focused) - truth(o.focused),
		truth(o.fuzzy) - truth(m.fuzzy),
		truth(m.idFull()) - truth(o.idFull()),
		share(m) - share(o),
		m.quality - o.quality,
	} {
		if d != 0 {
			return d
		}
	}
	return 0
}

func truth(b bool) int {
	if b {
		return 1
	}
	return 0
}

// How well a word fits a word of a thing's name.
const (
	fitNone   = iota
	fitSlip   // one letter wrong
	fitFirst  // first letters
	fitAsk    // a word of the question
	fitID     // a word of the id
	maxTokens = 60
)

// name finds the words of a piece that name a thing.
func (m *match) name(tokens []token) {
	m.nameOnSite(tokens)
	bare, links := m.named == 0, m.named == 0 // "24" by itself names nothing that has a 24 in its question, nor do "other drops too"
	others := slices.ContainsFunc(tokens, func(t token) bool { return t.stem == "other" })
	for i, tok := range tokens {
		if tok.filler() || tok.negates() {
			continue
		}
		fit, id := m.th.fit(tok)
		if fit == fitNone || soft(tok.low) && fit < fitID || colours(tok.low) && fit < fitAsk {
			continue
		}
		bare, links = bare && (tok.bareNumber() || colours(tok.low) || others && (everywhere(tok.low) || tok.low == "too")), links && (linking(tok.low) || tok.bareNumber())
		m.named |= 1 << i
		m.ids |= id
		m.quality += fit
		m.fuzzy = m.fuzzy || fit == fitSlip
		m.strong = m.strong || fit >= fitAsk && classOf(tok.low) < 0 && !everywhere(tok.low)
	}
	m.linked = links && !m.idFull()
	if bare {
		m.named, m.ids, m.quality, m.fuzzy, m.strong = 0, 0, 0, false, false
	}
	m.covered |= m.named
}

// fit says how well a word fits the thing's name, and which words of its id it stands for.
func (t *thing) fit(tok token) (fit int, ids uint64) {
	if tok.low == t.id {
		return fitID, 1<<len(t.idWords) - 1
	}
	if i := slices.Index(t.idWords, tok.stem); i >= 0 {
		return fitID, 1 << i
	}
	if slices.Contains(t.asWords, tok.stem) {
		return fitAsk, 0
	}
	if tok.numeric() {
		return fitNone, 0
	}
	if tok.low == t.initial {
		return fitFirst, 1<<len(t.idWords) - 1
	}
	for i, w := range t.idWords {
		if strings.HasPrefix(w, tok.low) && !soft(tok.low) && !leadWords(tok.low) { // "24 V is low" is not the lowest
			return fitFirst, 1 << i
		}
	}
	if len(tok.low) >= 3 && !leadWords(tok.low) && slices.ContainsFunc(t.asWords, func(w string) bool { return strings.HasPrefix(w, tok.low) }) {
		return fitFirst, 0
	}
	for i, w := range t.idWords {
		if len(w) >= 5 && oneSlip(w, tok.stem) {
			return fitSlip, 1 << i
		}
	}
	return fitNone, 0
}

// oneSlip says whether two words differ by one letter more, less, other or by two swapped.
func oneSlip(a, b string) bool {
	if len(a) > len(b) {
		a, b = b, a
	}
	i := 0
	for i < len(a) && a[i] == b[i] {
		i++
	}
	switch len(b) - len(a) {
	case 0:
		return i < len(a) && (a[i+1:] == b[i+1:] || i+1 < len(a) && a[i] == b[i+1] && a[i+1] == b[i] && a[i+2:] == b[i+2:])
	case 1:
		return a[i:] == b[i+1:]
	}
	return false
}

// How well words fit a value.
const (
	valueNone  = iota
	valuePart  // some words of its name, or its first letters
	valueClass // a word that means the same
	valueName  // its name
)

// say finds what the words of a piece say of a thing that has words for values.
// Words that name the thing count as values only where nothing else does.
func (m *match) say(tokens []token) {
	m.sayAmong(tokens, ^m.named)
	if len(m.values) == 0 && m.named != 0 && !m.th.yesNo() {
		m.sayAmong(tokens, m.named)
		m.denied = m.part // "error counters" is not "checksum errors"
	}
	m.sayBoth(tokens)
	m.negate(tokens)
}

// sayBoth adds a value that stands among the words of the question: "lit" names the light in "power light lit" as
// well, but in "power light lit and dark" it is the other half of what cannot both be.
func (m *match) sayBoth(tokens []token) {
	if len(m.values) != 1 || m.th.yesNo() {
		return
	}
	for i, tok := range tokens {
		if m.named&(1<<i) == 0 || m.said&(1<<i) != 0 || tok.negates() || slices.Contains(m.th.idWords, tok.stem) {
			continue
		}
		if i > 0 && tokens[i-1].negates() {
			continue
		}
		v := m.th.value(tok.low)
		if v >= 0 && v != m.values[0] {
			m.values, m.byName, m.whole = append(m.values, v), false, false
			m.said |= 1 << i
			return
		}
	}
}

// sayAmong looks for values among the words in a mask.
func (m *match) sayAmong(tokens []token, among uint64) {
	best, used := valueNone, uint64(0)
	hard := false
	for v := range m.th.values {
		how, words := m.th.values[v].fit(tokens, among, m.focused || m.idFull(), m.th.yesNo())
		isHard := hasHard(tokens, words)
		switch {
		case how == valueNone || how < best || how == best && hard && !isHard:
			continue
		case how > best || isHard && !hard || how == valueName && bits.OnesCount64(words) > bits.OnesCount64(used):
			m.values, used = nil, 0
		case how == valueName && bits.OnesCount64(words) < bits.OnesCount64(used):
			continue
		}
		best, hard = how, isHard
		m.values, used = append(m.values, v), used|words
	}
	m.byName = best == valueName && len(m.values) == 1
	m.part = best == valuePart
	m.whole = m.byName && (len(m.th.values[m.values[0]].stems) > 1 || bits.OnesCount64(used) > 1) && tells(tokens, used)
	m.covered |= used
	m.said |= used
}

// tells says whether some words of a piece can hardly be said of anything else: "others too" may be drops, or what
// hangs on their supply, and nothing can have been changed of the program.
func tells(tokens []token, words uint64) bool {
	told := false
	for i, tok := range tokens {
		if words&(1<<i) == 0 {
			continue
		}
		if tok.low == "nothing" {
			return false
		}
		told = told || !tok.filler() && !soft(tok.low) && !everywhere(tok.low) && !linking(tok.low)
	}
	return told
}

func hasHard(tokens []token, words uint64) bool {
	for i, tok := range tokens {
		if words&(1<<i) != 0 && !soft(tok.low) {
			return true
		}
	}
	return false
}

// fit says how well words of a piece, among those in a mask, fit a value.
func (w word) fit(tokens []token, among uint64, focused, yesNo bool) (how int, words uint64) {
	for i, tok := range tokens {
		if among&(1<<i) == 0 || yesNo && tok.negates() {
			continue
		}
		if n := max(w.startsAt(tokens[i:]), begins(tokens[i:], w.site)); n > 0 {
			return valueName, (1<<n - 1) << i
		}
	}
	for i, tok := range tokens {
		if among&(1<<i) == 0 || tok.negates() || yesNo && !focused && len(tok.low) == 1 {
			continue
		}
		for _, c := range w.class {
			if slices.Contains(classes[c], tok.low) {
				return valueClass, 1 << i
			}
		}
	}
	for i, tok := range tokens {
		if among&(1<<i) == 0 || tok.filler() || tok.negates() || tok.numeric() || soft(tok.low) || everywhere(tok.low) {
			continue
		}
		if slices.Contains(w.stems, tok.stem) || focused && strings.HasPrefix(strings.ToLower(w.text), tok.low) {
			how, words = valuePart, words|1<<i
		}
	}
	return how, words
}

// telling is how many words of a value's name say anything.
func (w word) telling() int {
	n := 0
	for _, s := range w.stems {
		if !fillers(s) && !soft(s) && !negations(s) {
			n++
		}
	}
	return n
}

// startsAt gives the number of words at the start of tokens that make the whole value, 0 where they do not.
func (w word) startsAt(tokens []token) int {
	if tokens[0].low == strings.ToLower(w.text) {
		return 1
	}
	if len(tokens) < len(w.stems) {
		return 0
	}
	for i, s := range w.stems {
		if tokens[i].stem != s {
			return 0
		}
	}
	return len(w.stems)
}

// negate turns what was said round, once for every not and no. A thing that is
// named and denied, or named and a question of yes or no, says no or yes by that.
func (m *match) negate(tokens []token) {
	odd, any := false, false
	for i, tok := range tokens {
		if m.covered&(1<<i) == 0 && (tok.negates() || m.th.yesNo() && classOf(tok.low) == classNo) {
			m.covered |= 1 << i
			m.said |= 1 << i
			odd, any = !odd, true
			next := slices.IndexFunc(tokens[i+1:], func(t token) bool { return !t.filler() }) + i + 1
			m.denied = m.denied || next > i && m.said&(1<<next) == 0 && m.th.value(tokens[next].low) >= 0 // "not lit, run light dark"
		}
	}
	if m.th.yesNo() && len(m.values) == 0 && (m.named != 0 && !m.linked && (m.focused || any || m.strong || m.inFull(tokens)) || m.focused && any) {
		m.values = []int{m.th.value("yes")}
	}
	if !odd || len(m.values) == 0 {
		return
	}
	if m.part && len(m.values) == 1 && slices.ContainsFunc(m.th.values[m.values[0]].stems, negations) {
		return // the no of "it does not answer" is that of "no answer"
	}
	m.denied = m.denied || len(m.values) > 1 || m.part && !m.focused && !m.idFull() // "no power on the supply"
	m.values = m.th.opposite(m.values)
}

// doubtful says whether what was made of the words may be the contrary of what was meant: "0 V on both sides" and
// "0 V before and after" are no "both sides" and no "before the fuse only", and "nothing on either side" denies two
// values at once.
func (m match) doubtful(tokens []token, over string) bool {
	if m.reading != nil {
		return false
	}
	for i, tok := range tokens {
		bit := uint64(1) << i
		if m.said&bit == 0 && tok.nought() && !(m.idFull() && m.named&bit != 0) || m.part && m.covered&bit == 0 && linking(tok.low) {
			return true
		}
	}
	if m.part && !m.focused && !m.idFull() && len(m.values) == 1 && 2*bits.OnesCount64(m.said) < m.th.values[m.values[0]].telling() {
		return true // "handheld dead" is no "handheld force: taken but load dead"
	}
	return m.denied || m.part && m.focused && m.named == 0 && over != ""
}

// inFull says whether every word of the thing's id was said as it is, or its first letters were: "red" is a
// colour, and says of nothing that it is redundant.
func (m match) inFull(tokens []token) bool {
	var ids uint64
	for _, tok := range tokens {
		if tok.low == m.th.initial {
			return true
		}
		if i := slices.IndexFunc(m.th.idWords, func(w string) bool { return w == tok.stem || w == tok.low }); i >= 0 {
			ids |= 1 << i
		}
	}
	return ids != 0 && ids == m.ids
}

// opposite gives what is left when a value is denied: all the others, or the one
// that means the contrary.
func (t *thing) opposite(values []int) []int {
	var others, contrary []int
	for v, w := range t.values {
		if slices.Contains(values, v) {
			continue
		}
		others = append(others, v)
		for _, c := range t.values[values[0]].class {
			if o, ok := opposites[c]; ok && slices.Contains(w.class, o) {
				contrary = append(contrary, v)
				break
			}
		}
	}
	if len(values) == 1 && len(contrary) == 1 {
		return contrary
	}
	return others
}

// typed is what was typed for the value, where that is not the value itself.
func (m match) typed(tokens []token) string {
	var words []string
	for i, tok := range tokens {
		if m.said&(1<<i) != 0 {
			words = append(words, tok.text)
		}
	}
	typed := strings.Join(words, " ")
	if typed == m.th.values[m.values[0]].text || typed == plain(m.th.values[m.values[0]].text) {
		return ""
	}
	return typed
}

// matches gives the things a piece may be about, the best first.
func (l *listener) matches(text string, tokens []token) []match {
	var out []match
	for i := range l.t.words.things {
		th := &l.t.words.things[i]
		if l.filledOnly(th) {
			continue
		}
		m := match{th: th, focused: slices.Contains(l.focus, th.id)}
		if th.reads() {
			l.matchReading(&m, text, tokens)
		} else {
			m.name(tokens)
		}
		if m.reading == nil {
			m.say(tokens)
		}
		if th.kind == rulebase.KindGiven && !m.focused && m.ids == 0 && m.reading == nil && !m.whole {
			continue // what the site is like is never read out of the words of a question alone
		}
		if m.valued() || m.named != 0 && !m.linked {
			out = append(out, m)
		}
	}
	bestFirst(out)
	return out
}

// bestFirst sorts matches; those that are as good as one another stay as they are. By package sort, here and elsewhere
// in this package: each type that slices sorts by is a kilobyte and a half more to be taken along to a telephone.
func bestFirst(all []match) {
	sort.SliceStable(all, func(i, j int) bool { return all[i].compare(all[j]) > 0 })
}

// matchReading finds a reading of the thing, and what names it beside that. A bare
// number is a reading only of a thing that is named or asked for.
func (l *listener) matchReading(m *match, text string, tokens []token) {
	m.reading = l.findReading(m.th, text, tokens)
	if m.reading == nil {
		m.name(tokens)
		return
	}
	m.name(maskOut(tokens, m.reading.words))
	if !m.reading.hasUnit && !m.focused && m.named == 0 {
		m.reading = nil
		return
	}
	m.covered |= m.reading.words
	m.byUnit()
}

// maskOut blanks the words that are used already.
func maskOut(tokens []token, used uint64) []token {
	out := slices.Clone(tokens)
	for i := range out {
		if used&(1<<i) != 0 {
			out[i] = token{low: "the"} // a filler
		}
	}
	return out
}
