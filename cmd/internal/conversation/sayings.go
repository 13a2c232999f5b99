package conversation

import (
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
)

// A meant is what a saying of the rulebase stands for: a value, by its place in thing.values.
type meant struct {
	id    string
	value int
	when  bool // "when the motor starts", "everything from here on": of "the motor starts" and "everything is on" it is not meant
}

// addSayings lists what people say (heard_as of a symptom) by the words that tell. The same words under two symptoms
// are kept twice: they are asked back.
func (l *lexicon) addSayings(b *rulebase.Base) {
	l.sayings = map[string][]meant{}
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		for _, says := range s.HeardAs {
			for _, words := range says.Words {
				key := telling(tokenize(words))
				m := meant{s.ID, slices.Index(s.Values, says.Value), whenRE.MatchString(words)}
				if key != "" && !slices.Contains(l.sayings[key], m) {
					l.sayings[key] = append(l.sayings[key], m)
				}
			}
		}
	}
}

// telling is what is left of a saying without the words that say nothing: "there are no lights on at all" and "no
// lights on" are one.
func telling(tokens []token) string {
	var words []string
	for _, tok := range tokens {
		if !tok.filler() && tok.low != "all" {
			words = append(words, tok.stem)
		}
	}
	return strings.Join(words, " ")
}

// saying is what a text means that is a saying from end to end. What two drops have, and that it is these two, is said in
// one: "drop 5 and drop 9 have the same address".
func (l *lexicon) saying(text string) []meant {
	return l.sayings[telling(tokenize(twoDropsRE.ReplaceAllString(text, "")))]
}

// denied is what a text means that denies a saying of a question of yes or no: "no smoke". Of what has other answers
// a denial says none, and open is what it leaves open: "it has not stopped working" is not yet "it works".
func (l *lexicon) denied(text string) (all []meant, open *thing) {
	tokens := tokenize(text)
	n := len(tokens)
	tokens = slices.DeleteFunc(tokens, token.negates)
	all = l.sayings[telling(tokens)]
	if n-len(tokens) != 1 || len(all) != 1 {
		return nil, nil
	}
	if th := l.thing(all[0].id); !th.yesNo() {
		return nil, th
	}
	return []meant{{id: all[0].id, value: 1 - all[0].value}}, nil
}

// passesOver says whether an entry, as it was heard, says nothing of what a saying in it means: "no lights and module
// light on", heard as one, is not what somebody meant who says "no lights".
func (l *listener) passesOver(saying []meant) bool {
	return len(saying) > 0 && !slices.ContainsFunc(saying, func(m meant) bool {
		for key := range l.said {
			if id, _, _ := strings.Cut(key, " "); id == m.id {
				return true
			}
		}
		return false
	})
}

// hearSaying takes in a piece that is one of the rulebase's sayings from end to end: half of one may be the contrary.
// What is an answer to what was asked is no saying of something else.
func (l *listener) hearSaying(text, rest string, how manner) bool {
	all, open := l.t.words.saying(rest), (*thing)(nil)
	if len(all) == 0 {
		all, open = l.t.words.denied(rest)
	}
	if open != nil {
		l.unclear(text, l.t.questionAbout(l.state, open))
		return true
	}
	all = slices.DeleteFunc(slices.Clone(all), func(m meant) bool {
		return m.when && !whenRE.MatchString(l.entry) && !slices.Contains(l.focus, m.id)
	})
	if len(all) == 0 || l.answersBetter(rest, all) || l.state.Pending.Kind == AskDrops && allOfThemRE.MatchString(rest) {
		return false
	}
	how.drop = l.headed
	if len(all) == 1 {
		th := l.t.words.thing(all[0].id)
		l.record(th, l.wordValue(th, all[0].value), text, text, how)
		return true
	}
	var answers []Answer
	for _, m := range all {
		th := l.t.words.thing(m.id)
		w := th.values[m.value].text
		answers = append(answers, Answer{Says: th.name + ": " + plain(w), Entry: entryFor(m.id, w, how)})
	}
	l.unclear(text, whichQuestion(text, answers))
	return true
}

// answersBetter says whether a piece answers what was asked. The opening asks nothing: "they worked on it" is not "it
// works".
func (l *listener) answersBetter(rest string, all []meant) bool {
	tokens := tokenize(rest)
	if len(l.focus) == 0 || l.state.Pending.Kind == AskOpening || len(tokens) > maxTokens {
		return false
	}
	found := l.matches(rest, tokens)
	if len(found) == 0 || !found[0].focused || slices.ContainsFunc(all, func(m meant) bool { return m.id == found[0].th.id }) {
		return false
	}
	return l.overs(tokens, found[0].covered) == "" && found[0].certain(tokens, "")
}

// isQuestion says whether a piece asks: whoever asks whether the breaker is tripped has not said that it is.
func isQuestion(p string) bool {
	p = strings.TrimSpace(p)
	return strings.HasSuffix(p, "?") && len(tokenize(p)) > 1 || whetherRE.MatchString(p)
}

// past are words of a time that is over. What was so then may be so no longer.
var past = wordSet("yesterday ago until till formerly earlier previously used")

// isPast says whether words that belong to nothing put what was said into the past: "it worked until yesterday". Of
// what began then and goes on, "dark since yesterday", they do not.
func isPast(tokens []token, covered uint64) bool {
	over := false
	for i, tok := range tokens {
		if tok.low == "since" {
			return false
		}
		over = over || covered&(1<<i) == 0 && (past(tok.low) || tok.low == "before" && i == len(tokens)-1) // "it was on before"
	}
	return over
}

// isPastOnly says whether words are of time and no more, as in "since yesterday".
func isPastOnly(over string) bool {
	return !slices.ContainsFunc(tokenize(over), func(t token) bool { return !past(t.low) })
}

// well says whether a match says that the drop works: of yesterday nobody has to be asked what that means.
func (l *listener) well(m match) bool {
	return l.t.base.Complaint != nil && l.says(m, l.t.base.Complaint.Well)
}

// ill says whether a match is the complaint.
func (l *listener) ill(m match) bool {
	return l.t.base.Complaint != nil && l.says(m, l.t.base.Complaint.Bad)
}

func (l *listener) says(m match, value int) bool {
	s := &l.t.base.Symptoms[l.t.base.Complaint.Symptom]
	return len(m.values) == 1 && m.th.id == s.ID && m.th.values[m.values[0]].text == s.Values[value]
}

// fuller is a match that words name whole where the best is named only in part by the same words: "module light" is the
// light of a module and no field-power light, though that has both words in its question.
func fuller(best match, found []match, tokens []token) *match {
	if best.focused || best.idFull() || best.named == 0 || best.reading != nil {
		return nil
	}
	for i := range found {
		m := &found[i]
		if len(m.th.idWords) > 1 && m.idFull() && m.inFull(tokens) && m.said&^m.named == 0 && m.reading == nil && best.named&^best.said&^m.named == 0 {
			return m
		}
	}
	return nil
}

// keyOf tells findings of one entry apart: two that differ in the value only contradict one another.
func keyOf(f rulebase.Finding) string {
	return strings.Join([]string{f.Symptom, f.After, f.By, strconv.Itoa(f.Drop)}, " ")
}
