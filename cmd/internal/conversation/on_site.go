package conversation

import (
	"regexp"
	"slices"
	"strings"
	"sync"
	"unicode"

	"downdrop/rulebase"
)

// What the site calls things: said after the plain words, and understood where it
// can only mean one thing.

// inQuotes finds what stands in quotes within a name: of "message 'LOST STATION' in
// the controller" a person says the message.
var inQuotes = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?:^|[\s(])['"‘“]([^'"’”]+)['"’”]`) })

// phrases are the stems of the word sequences that stand for a name: the whole, and
// what stands in quotes in it.
func phrases(name string) [][]string {
	texts := []string{name}
	for _, m := range inQuotes().FindAllStringSubmatch(name, -1) {
		texts = append(texts, m[1])
	}
	var all [][]string
	for _, text := range texts {
		var stems []string
		for _, tok := range tokenize(text) {
			stems = append(stems, tok.stem)
		}
		if len(stems) > 0 {
			all = append(all, stems)
		}
	}
	return all
}

// codes are the words of a name that nobody says of anything else: H4, X1.
func codes(name string) [][]string {
	var all [][]string
	for _, tok := range tokenize(name) {
		if unicode.IsLetter([]rune(tok.text)[0]) && tok.numeric() && !slices.ContainsFunc(all, func(o []string) bool { return o[0] == tok.stem }) {
			all = append(all, []string{tok.stem})
		}
	}
	return all
}

// addSite adds what the site calls the things and their values. What it calls two
// of them by names neither.
func (l *lexicon) addSite(b *rulebase.Base) {
	named := map[string]int{}
	for i := range l.things {
		t := &l.things[i]
		here := b.SiteName(t.id)
		if t.kind != rulebase.KindSymptom || here.ID == "" {
			continue
		}
		t.here = here.Text()
		t.site = append(phrases(here.Called), codes(here.Called)...)
		for _, p := range t.site {
			named[strings.Join(p, " ")]++
		}
		said := map[string]int{}
		for v := range t.values {
			w := &t.values[v]
			w.here = here.Values[w.text]
			w.site = phrases(w.here)
			for _, p := range w.site {
				said[strings.Join(p, " ")]++
			}
		}
		for v := range t.values {
			t.values[v].site = onlyOnce(t.values[v].site, said)
		}
	}
	for i := range l.things {
		t := &l.things[i]
		t.site = slices.DeleteFunc(onlyOnce(t.site, named), func(p []string) bool { return l.namesAnother(t.id, p) })
	}
}

// namesAnother says whether words name something else by its id and question: who
// says them may mean that, whatever the site calls so.
func (l *lexicon) namesAnother(id string, stems []string) bool {
	for i := range l.things {
		o := &l.things[i]
		if o.id == id {
			continue
		}
		foreign := func(s string) bool {
			return !fillers(s) && !slices.Contains(o.idWords, s) && !slices.Contains(o.asWords, s)
		}
		if !slices.ContainsFunc(stems, foreign) {
			return true
		}
	}
	return false
}

func onlyOnce(all [][]string, count map[string]int) [][]string {
	return slices.DeleteFunc(all, func(p []string) bool { return count[strings.Join(p, " ")] > 1 })
}

// begins says how many words at the start of tokens are one of the phrases, the
// longest; 0 where none is.
func begins(tokens []token, all [][]string) int {
	longest := 0
	for _, p := range all {
		if len(p) > longest && len(p) <= len(tokens) && slices.EqualFunc(tokens[:len(p)], p, func(t token, stem string) bool { return t.stem == stem }) {
			longest = len(p)
		}
	}
	return longest
}

// nameOnSite finds the site's name of a thing. Nothing else is called so here, so
// it names the thing as its id does.
func (m *match) nameOnSite(tokens []token) {
	for i := range tokens {
		if n := begins(tokens[i:], m.th.site); n > 0 {
			m.named |= (1<<n - 1) << i
			m.ids = 1<<len(m.th.idWords) - 1
			m.quality += n * fitID
			m.strong = true
			return
		}
	}
}
