package conversation

import (
	"cmp"
	"context"
	"maps"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// maxEntry is the longest entry listened to, in bytes: a whole screen of text.
// Longer ones are refused whole rather than cut.
const maxEntry = 4000

// A listener hears one entry: piece by piece it changes the State being built and
// notes what became of each piece.
type listener struct {
	t     *Talk
	ctx   context.Context
	state *State   // the next State
	entry string   // the whole of it, as typed
	focus []string // ids of what bare values are taken for
	after string   // Finding.After of what is in focus
	by    string   // who says so, from here on in the entry
	heard []Heard
	asks  []Question // what has to be asked back
	new   bool       // something counts that did not before

	drops    bool                      // something was said of the drops along the line
	headed   int                       // the other drop that the parts up to the next full stop are about; 0: this one
	reads    map[string]*reading       // what was read in this entry, by what was wanted
	recorded bool                      // the last of the situation's findings was heard in this entry
	hedge    *float64                  // how sure the next finding is, said before it
	said     map[string]rulebase.Value // what this entry has put into findings, by keyOf
	against  bool                      // it said two things of one
	partly   bool                      // it said that the drop works, and beside it what does not
	tools    int                       // how many parts were heard when the last one about tools was
}

// manner is how a piece says what it says.
type manner struct {
	sure *float64
	by   string
	drop int    // another drop's; 0: this one's
	read string // the text as first typed, where an ask-back came between
}

// clean makes an entry one line of valid text.
func clean(entry string) string {
	entry = strings.ToValidUTF8(entry, "?")
	entry = strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\r':
			return ';'
		case unicode.IsSpace(r):
			return ' '
		case !unicode.IsPrint(r):
			return -1
		}
		return r
	}, entry)
	return strings.Trim(strings.Join(strings.Fields(entry), " "), " ;")
}

var (
	numbersOnlyRE = quantity.NewPattern(`^(?:and )?\d+(?:\s*(?:-|–|to|and|\s)\s*\d+)*$`)
	numberTooRE   = quantity.NewPattern(`^(?:and |then )*[+-]?\d+(?:[.,]\d+)?(?:\s*(?:-|–|to|and|then|\s)\s*\d+(?:[.,]\d+)?)*$`)
	listHeadRE    = quantity.NewPattern(`(?i)^(?:and |the )*(?:cable )?(?:order|suppl)`)
	addressListRE = quantity.NewPattern(`^(?:drops? )?\d[\d\s,–-]*$`)
)

// A part is a part of an entry between separators.
type part struct {
	text  string
	fresh bool // it begins the entry, or follows a semicolon, full stop or new line
}

// cut takes an entry apart at semicolons, commas and full stops. A comma between
// digits is left alone; numbers by themselves go with the list they belong to.
func cut(entry string) []part {
	var raw []part
	start, fresh := 0, true
	whole := unbrokenRE.RE().FindAllStringIndex(entry, -1)
	for i, r := range entry {
		if slices.ContainsFunc(whole, func(w []int) bool { return w[0] <= i && i < w[1] }) {
			continue
		}
		end := i + utf8.RuneLen(r)
		next := byte(' ')
		if end < len(entry) {
			next = entry[end]
		}
		digits := i > 0 && isDigit(entry[i-1]) && isDigit(next)
		if r == ';' || r == ',' && !digits || strings.ContainsRune(".!", r) && next == ' ' {
			raw = append(raw, part{entry[start:i], fresh})
			start, fresh = end, r != ','
		}
	}
	return joinLists(append(raw, part{entry[start:], fresh}))
}

func isDigit(b byte) bool { return b >= '0' && b <= '9' }

// unbrokenRE is what a comma does not part: a counter read twice, and min with max.
var unbrokenRE = quantity.NewPattern(`(?i)\d\s*(?:at|@)\s*\d{1,2}[:h]\d\d\s*[,;]\s*\d[\d ']*\s*(?:at|@)|\b(?:min|max)(?:imum)?\b[^,;]*,\s*(?:max|min)`)

// joinLists puts "order 3", "1", "5" together again, and "1", "2 good".
func joinLists(raw []part) []part {
	var out []part
	for _, p := range raw {
		p.text = strings.TrimSpace(strings.TrimRight(strings.TrimSpace(p.text), ".!"))
		if p.text == "" {
			continue
		}
		if n := len(out); n > 0 && (!p.fresh && continues(out[n-1].text, p.text) || correctionRE.MatchString(out[n-1].text+", "+p.text)) {
			out[n-1].text += ", " + p.text
			continue
		} else if n > 0 && wasRE.MatchString(out[n-1].text) && didRE.MatchString(p.text) {
			out[n-1].text += " and " + p.text // "the breaker was off, I switched it on"
			continue
		}
		out = append(out, p)
	}
	return out
}

// continues says whether a part goes on with the list of drops in the part before.
func continues(list, next string) bool {
	next = strings.TrimPrefix(next, "and ")
	switch {
	case listHeadRE.MatchString(list), addressListRE.MatchString(list):
		if numbersOnlyRE.MatchString(next) {
			return true
		}
		m := statesRE.FindStringSubmatch(next)
		return m != nil && addressListRE.MatchString(list) && dropStates[strings.ToLower(strings.TrimSpace(m[2]))] != ""
	}
	return false
}

// note records what became of a piece.
func (l *listener) note(text string, outcome HeardOutcome, means string) {
	l.heard = append(l.heard, Heard{Text: strings.TrimSpace(text), Outcome: outcome, Means: means})
}

// understood records a piece that counts from now on.
func (l *listener) understood(text, means string) {
	l.new = true
	l.note(text, Understood, means)
}

func (l *listener) unclear(text string, q Question) {
	l.asks = append(l.asks, q)
	l.note(text, Unclear, firstOf(q.Says))
}

func firstOf(lines []string) string {
	if len(lines) == 0 {
		return ""
	}
	return lines[0]
}

// hear takes in a whole entry.
func (l *listener) hear(entry string) {
	l.entry = entry
	if l.hearConfirms(entry) || l.hearPutRight(entry) || l.hearWhole(entry) {
		return
	}
	l.parts(cut(inFigures(restRE.ReplaceAllString(entry, "$1, $2"))))
}

// hearPutRight takes in "no, lit": what the entry before said of one thing was meant otherwise. What answers the question
// that is asked now is an answer to that.
func (l *listener) hearPutRight(entry string) bool {
	m := putRightRE.FindStringSubmatch(entry)
	if m == nil || l.state.Before == nil || l.state.Before.Before == nil {
		return false
	}
	for _, id := range l.focus {
		if th := l.t.words.thing(id); th != nil {
			answer := match{th: th, focused: true}
			if answer.say(tokenize(m[1])); th.yesNo() || th.reads() || answer.valued() {
				return false
			}
		}
	}
	old, now := l.state.Before.Before.Situation.Findings, l.state.Before.Situation.Findings
	now = slices.DeleteFunc(slices.Clone(now), func(f rulebase.Finding) bool {
		return slices.ContainsFunc(old, func(o rulebase.Finding) bool { return keyOf(o) == keyOf(f) && o.Value == f.Value })
	})
	if len(now) != 1 {
		return false
	}
	th := l.t.words.thing(now[0].Symptom)
	if th == nil || numberRE.MatchString(m[1]) && !th.reads() {
		return false // "no, 2" is an answer to what is asked now
	}
	return l.direct(th, m[1], entry, manner{by: now[0].By, drop: now[0].Drop})
}

// parts takes in the parts of an entry. A drop that a part was headed with holds
// for the parts after it up to the next full stop.
func (l *listener) parts(all []part) {
	for _, p := range all {
		if p.fresh {
			l.headed = 0
		}
		l.sentence(p.text)
	}
}

// hearWhole takes in an entry that must not be cut: a reading at a question for
// one, or id=reading, may hold commas of its own.
func (l *listener) hearWhole(entry string) bool {
	if len(l.focus) == 1 {
		if th := l.t.words.thing(l.focus[0]); th != nil && th.reads() && l.direct(th, entry, entry, manner{}) {
			return true
		}
	}
	id, value, ok := splitID(entry)
	if !ok || strings.ContainsAny(value, ";=") {
		return false
	}
	th := l.t.words.thing(id)
	return th != nil && th.reads() && strings.Contains(value, ",") && l.direct(th, value, entry, manner{})
}

var idRE = quantity.NewPattern(`(?i)^(?:([a-z][a-z0-9_]*)\s*(?:=|:)\s*|(q\d+)\s+)(.+)$`)

// splitID takes id=value and id: value apart.
func splitID(p string) (id, value string, ok bool) {
	m := idRE.FindStringSubmatch(p)
	if m == nil {
		return "", "", false
	}
	return strings.ToLower(m[1] + m[2]), m[3], true
}

// sentence takes in a piece that may hold an "and": whole where that is clear,
// else part by part where the parts are clearer.
func (l *listener) sentence(p string) {
	if exceptRE.MatchString(p) {
		l.note(p, NotUnderstood, sayEachByItself)
		return
	}
	if m := wasButRE.FindStringSubmatch(p); m != nil && !isQuestion(p) {
		rest := strings.TrimSpace(m[3])
		has := func(is func(string) bool) bool {
			return slices.ContainsFunc(tokenize(rest), func(t token) bool { return is(t.low) })
		}
		switch {
		case didRE.MatchString(rest) && !has(seeing):
			l.note(p, NotUnderstood, sayWasBefore)
			return
		case strings.ToLower(m[2]) != "and" || has(since): // "was dark and it smells burnt" says both of now
			l.note(strings.TrimSpace(m[1]), NotUnderstood, sayWasBefore)
			l.sentence(rest)
			return
		}
	}
	parts := splitAnd(p)
	states := statesRE.FindStringSubmatch(p)
	if moduleNumbersRE.MatchString(p) || states != nil && dropStates[lower(states[2])] != "" || lostRE.MatchString(p) {
		parts = []string{p} // "modules 1 and 2 are dead" is not drop 2, and "drop 5 and 6 dead" is two drops
	}
	if len(parts) == 1 || len(l.t.words.saying(p)) > 0 {
		l.piece(p)
		return
	}
	whole, split := l.tried([]string{p}), l.tried(parts)
	oneThing := len(whole.heard) == 1 && whole.heard[0].Outcome == Unclear && split.score() < 2*len(split.heard)
	passesOver := slices.ContainsFunc(parts, func(part string) bool { return whole.passesOver(l.t.words.saying(part)) })
	if !passesOver && !split.partly && (whole.drops || !split.drops) && (oneThing || whole.score() >= split.score()) {
		l.take(whole) // "lit and dark" is asked back as one, not half of it taken
	} else {
		l.take(split)
	}
}

var (
	andRE       = quantity.NewPattern(`(?i)\s+(?:and|but|then|while|also)\s+`)
	comeAndGoRE = quantity.NewPattern(`(?i)\b(com(?:es?|ing)|on|off) and (go|off|on)`)
)

// splitAnd parts at and, but not within "comes and goes".
func splitAnd(p string) []string {
	const unbroken = "\u00a0and\u00a0"
	parts := andRE.RE().Split(comeAndGoRE.ReplaceAllString(p, "${1}"+unbroken+"${2}"), -1)
	for i := range parts {
		parts[i] = strings.ReplaceAll(parts[i], unbroken, " and ")
	}
	return parts
}

// tried hears pieces on a copy of the state, so that two ways of cutting can be compared.
func (l *listener) tried(parts []string) *listener {
	state := l.state.clone()
	state.Before = l.state.Before
	c := *l
	c.state, c.heard, c.asks, c.said, c.against, c.partly = &state, nil, nil, maps.Clone(l.said), false, false
	for _, p := range parts {
		c.piece(p)
	}
	return &c
}

func (l *listener) take(c *listener) {
	*l.state = *c.state
	l.heard, l.asks = append(l.heard, c.heard...), append(l.asks, c.asks...)
	l.by, l.new, l.drops, l.headed, l.recorded, l.hedge, l.said = c.by, c.new, c.drops, c.headed, c.recorded, c.hedge, c.said
}

// score is higher the more clearly everything was understood.
func (l *listener) score() int {
	score := 0
	for _, h := range l.heard {
		switch h.Outcome {
		case Understood:
			score += 2
		case Unclear:
			score -= 3
		case NotUnderstood:
			score -= 4
		}
	}
	if l.against {
		score -= 8 // "lit and dark" is not dark: better asked back as one
	}
	return score
}

// piece takes in one piece.
func (l *listener) piece(p string) {
	p = strings.TrimSpace(p)
	if p == "" {
		return
	}
	if isQuestion(p) {
		l.note(p, NotUnderstood, sayAQuestion)
		return
	}
	rest, how := l.manner(p)
	if how.sure == nil && notSureRE.MatchString(p) {
		l.note(p, NotUnderstood, sayHowSure)
		return
	}
	if strings.Trim(rest, " ,.:") == "" {
		l.bareManner(p, how)
		return
	}
	for _, hears := range []func(text, rest string, how manner) bool{
		l.hearSaying, l.hearBareID, l.hearTakenOver, l.hearWent, l.hearNow, l.hearDrops, l.hearWhoIsThere, l.hearAtDrop, l.hearConfirm, l.hearHeadedID,
	} {
		if hears(p, rest, how) {
			return
		}
	}
	how.drop = l.headed
	l.hearWords(p, rest, how)
}

// manner takes off a piece how sure it is and who says so.
func (l *listener) manner(p string) (rest string, how manner) {
	rest = p
	if m := sureRE.FindStringSubmatch(rest); m != nil {
		if f, err := strconv.ParseFloat(m[1], 64); err == nil {
			how.sure, rest = &f, strings.TrimSpace(sureRE.ReplaceAllString(rest, ""))
		}
	}
	if m := readTailRE.FindStringSubmatch(rest); m != nil {
		how.read, rest = m[1], strings.TrimSpace(readTailRE.ReplaceAllString(rest, ""))
	}
	if m := byTailRE.FindStringSubmatch(rest); m != nil && l.speaker(m[1]) {
		how.by, rest = speakerName(m[1]), strings.TrimSpace(byTailRE.ReplaceAllString(rest, ""))
	}
	for _, m := range byRE.RE().FindAllStringSubmatch(rest, -1) {
		l.by = speakerName(m[1] + m[2])
	}
	rest = byRE.ReplaceAllString(rest, " ")
	if m := thinksRE.FindStringSubmatch(rest); m != nil {
		l.by = speakerName(m[1])
		s := sureThink
		how.sure, rest = &s, thinksRE.ReplaceAllString(rest, " ")
	}
	if selfRE.MatchString(rest) {
		l.by, rest = "", selfRE.ReplaceAllString(rest, " ")
	}
	if how.by == "" {
		how.by = l.by
	}
	how.sure = first(how.sure, l.hedge)
	if h := hedgeRE.FindString(rest); h != "" {
		s := sureThink
		if doubtRE.MatchString(h) {
			s = sureDoubt
		}
		how.sure, rest = &s, hedgeRE.ReplaceAllString(rest, " ")
	} else if certainRE.MatchString(rest) {
		s := sureQuite
		how.sure, rest = &s, certainRE.ReplaceAllString(rest, " ")
	}
	return strings.Trim(strings.Join(strings.Fields(rest), " "), " ,"), how
}

// speaker says whether a word after "by" is a person.
func (l *listener) speaker(w string) bool {
	return byRE.MatchString(w+" says") || w == l.by
}

func speakerName(w string) string {
	switch w = strings.ToLower(w); w {
	case "he", "she", "they":
		return "caller"
	}
	return w
}

// bareManner takes in a piece that says only who speaks or how sure it is: how sure
// holds for the finding before it in the entry, else for the one after it.
func (l *listener) bareManner(p string, how manner) {
	switch {
	case how.sure == nil:
		l.note(p, Understood, saySpeaker(l.by))
	case l.recorded:
		f := &l.state.Situation.Findings[len(l.state.Situation.Findings)-1]
		f.Sure = l.lowered(l.t.words.thing(f.Symptom), how.sure)
		l.understood(p, saySurer(plain(f.Symptom), f.Sure))
	default:
		l.hedge = how.sure
		l.note(p, Understood, sayHedgeNext)
	}
}

// lowered gives the sureness of a finding said in this manner. Doubt never makes a
// finding surer than a plain statement would be.
func (l *listener) lowered(th *thing, sure *float64) *float64 {
	if sure == nil || *sure == sureQuite || th == nil || th.kind != rulebase.KindSymptom {
		return sure
	}
	s := &l.t.base.Sure
	if own := l.t.base.Symptoms[th.index].Sure; own != nil {
		s = own
	}
	lower := min(*sure, s.At(l.state.Situation.At))
	return &lower
}

// hearHeadedID is hearID, of the drop that the part was headed with.
func (l *listener) hearHeadedID(text, rest string, how manner) bool {
	how.drop = l.headed
	return l.hearID(text, rest, how)
}

var bareIDRE = quantity.NewPattern(`(?i)^([a-z][a-z0-9_]*)\s*[=:]$`)

// hearBareID asks back where nothing, or only how sure somebody is, stands behind id= or id: "hum: not sure"
// does not say that there is a hum.
func (l *listener) hearBareID(text, rest string, _ manner) bool {
	m := bareIDRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	th := l.t.words.thing(strings.ToLower(m[1]))
	if th == nil {
		return false
	}
	l.asks = append(l.asks, l.t.questionAbout(l.state, th))
	l.note(text, Unclear, sayNoValueSaid(th))
	return true
}

// hearID takes in id=value and id: value.
func (l *listener) hearID(text, rest string, how manner) bool {
	id, value, ok := splitID(rest)
	if !ok {
		return false
	}
	th := l.t.words.thing(id)
	if n, err := strconv.Atoi(strings.TrimPrefix(id, "q")); err == nil && id[0] == 'q' && n >= 1 && n <= len(l.t.words.things) {
		th = &l.t.words.things[n-1]
	}
	if th == nil {
		return !strings.Contains(rest, " ") && l.hearUnknownID(text, id, value)
	}
	if !l.direct(th, value, text, how) {
		l.asks = append(l.asks, l.t.questionAbout(l.state, th))
		l.note(text, Unclear, sayNoValue(th, value))
	}
	return true
}

// hearUnknownID asks back after id=value with an id that does not exist.
func (l *listener) hearUnknownID(text, id, value string) bool {
	var answers []Answer
	for _, th := range l.t.words.things {
		if distance(id, th.id) <= 1+len(id)/4 {
			answers = append(answers, Answer{Says: th.name + ": " + value, Entry: th.id + "=" + value})
		}
	}
	if len(answers) == 0 {
		l.note(text, NotUnderstood, sayNoSuchID(id))
		return true
	}
	l.unclear(text, whichQuestion(text, answers))
	return true
}

// distance is the number of letters to change, put in or take out between two words.
func distance(a, b string) int {
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := range len(a) {
		diagonal := row[0]
		row[0] = i + 1
		for j := range len(b) {
			change := diagonal
			if a[i] != b[j] {
				change++
			}
			diagonal, row[j+1] = row[j+1], min(change, row[j]+1, row[j+1]+1)
		}
	}
	return row[len(b)]
}

// direct takes in what a text says of a thing that is certain; false where it says nothing.
func (l *listener) direct(th *thing, value, text string, how manner) bool {
	if rest, m := l.manner(value); m.sure != nil || m.by != "" || m.read != "" {
		value, how.sure, how.by = rest, first(how.sure, m.sure), m.by
		how.read = cmp.Or(how.read, m.read)
	}
	if v := th.value(strings.ToLower(strings.TrimSpace(value))); v >= 0 {
		l.record(th, l.wordValue(th, v), "", text, how)
		return true
	}
	if th.reads() {
		if r := l.readAll(th, value); r != nil {
			return l.takeReading(th, r, text, how)
		}
	}
	if n, err := strconv.Atoi(strings.TrimSpace(value)); err == nil && !th.reads() && n >= 1 && n <= len(th.values) {
		l.record(th, l.wordValue(th, n-1), "", text, how)
		return true
	}
	tokens := tokenize(value)
	if len(tokens) == 0 || len(tokens) > maxTokens {
		return false
	}
	m := match{th: th, focused: true}
	m.say(tokens)
	if len(m.values) != 1 || l.overs(tokens, m.covered) != "" {
		return false
	}
	l.record(th, l.wordValue(th, m.values[0]), m.typed(tokens), text, how)
	return true
}

func first(a, b *float64) *float64 {
	if a != nil {
		return a
	}
	return b
}

// overs gives the words that are neither used nor fillers. The last one of "it is not lit either" is too, put for a no.
func (l *listener) overs(tokens []token, covered uint64) string {
	var over []string
	for i, tok := range tokens {
		if i == len(tokens)-1 && tok.low == "either" && slices.ContainsFunc(tokens, token.negates) {
			break
		}
		if covered&(1<<i) == 0 && !tok.filler() && !soft(tok.low) {
			over = append(over, tok.text)
		}
	}
	return strings.Join(over, " ")
}

// wordValue is the value a word stands for.
func (l *listener) wordValue(th *thing, v int) rulebase.Value {
	w := th.values[v].text
	if th.kind == rulebase.KindGiven && th.typ == rulebase.Flag {
		w = map[string]string{"yes": "true", "no": "false"}[w]
	}
	return rulebase.Value{Word: w}
}

// filledOnly says whether a thing is something the program knows from who is there,
// so that words like phone and technician are not taken for answers to it.
func (l *listener) filledOnly(th *thing) bool {
	return th.kind == rulebase.KindGiven && slices.Contains([]string{"at", "who", "alone"}, l.t.base.Givens[th.index].FilledBy)
}

// hearWords takes in free words: the thing they fit best and what they say of it.
// Words left over are heard again as a piece of their own.
func (l *listener) hearWords(text, rest string, how manner) {
	tokens := tokenize(rest)
	if len(tokens) == 0 || len(tokens) > maxTokens {
		l.note(text, NotUnderstood, sayTooLong(len(tokens)))
		return
	}
	found := l.matches(rest, tokens)
	if len(found) == 0 {
		l.note(text, NotUnderstood, sayWhatFor)
		return
	}
	found = l.nothingElse(found, tokens)
	best := found[0]
	same := ties(found)
	over := l.overs(tokens, best.covered)
	full := fuller(best, found, tokens)
	switch {
	case over == "" && l.well(best) && l.notAllWell(text):
		l.note(text, NotUnderstood, sayNotAllWell)
		return
	case over != "" && l.ill(best) && slices.ContainsFunc(tokens, func(t token) bool { return t.low == "works" }) && !slices.ContainsFunc(tokens, token.negates):
		// "the drop works one output is dead"
		l.unclear(text, l.t.questionAbout(l.state, best.th))
		return
	case isPast(tokens, best.covered) && l.well(best):
		l.note(text, NotUnderstood, sayWasBefore)
		return
	case over != "" && l.well(best):
		// "the PLC works", "it hardly works", "it works if the cover is open": whatever else is said, it may not be that
		// the drop is well, and that ends a case.
		l.unclear(text, whichQuestion(text, l.candidates(same, how)))
		return
	case isPast(tokens, best.covered) && best.valued() && len(same) == 1:
		l.unclear(text, whichQuestion(text, l.candidates(same, how)))
		return
	case best.reading != nil && len(same) == 1 && numberTooRE.MatchString(over):
		l.unclear(text, l.t.questionAbout(l.state, best.th)) // "19 then 24" is two readings of one
		return
	case full != nil:
		l.asks = append(l.asks, l.t.questionAbout(l.state, full.th))
		l.note(text, Unclear, sayNoValueSaid(full.th))
		return
	case best.certain(tokens, over) && len(same) == 1:
		l.takeMatch(best, tokens, without(text, over), how)
	case best.focused && best.valued() && len(same) == 1 && best.doubtful(tokens, over):
		l.note(text, Unclear, sayNoValueSaid(best.th)) // what was asked stays asked, with all its answers
		return
	case best.valued():
		l.unclear(without(text, over), whichQuestion(without(text, over), l.candidates(same, how)))
	case !l.namesWell(best):
		l.note(text, NotUnderstood, sayWhatFor)
		return
	case len(same) == 1:
		l.asks = append(l.asks, l.t.questionAbout(l.state, best.th))
		l.note(without(text, over), Unclear, sayNoValueSaid(best.th))
	default:
		l.unclear(without(text, over), whichQuestion(without(text, over), namedOnly(same)))
	}
	l.hearOver(text, over, best, how)
}

// namesWell says whether words that say nothing of a thing name it well enough to
// ask for it: who says "off" or "lots out" did not ask to be asked about a reading.
func (l *listener) namesWell(m match) bool {
	return m.focused || m.strong || m.idFull()
}

// nothingElse puts what was asked for behind a thing that the words left over name:
// at a question for the run light, "the breaker is off" says nothing of the run light.
func (l *listener) nothingElse(found []match, tokens []token) []match {
	best := found[0]
	if !best.focused || best.named != 0 || best.reading != nil {
		return found
	}
	for _, m := range found[1:] {
		if !m.focused && m.strong && m.ids|m.named != 0 && m.named&^best.covered != 0 {
			rest := slices.DeleteFunc(slices.Clone(found), func(o match) bool { return o.focused && o.named == 0 })
			if len(rest) > 0 {
				return rest
			}
		}
	}
	return found
}

// hearOver hears the words that were left over.
func (l *listener) hearOver(text, over string, m match, how manner) {
	switch {
	case over == "", isPastOnly(over), over == "too":
	case !m.valued():
		l.note(over, NotUnderstood, sayNoValue(m.th, over))
	case m.said != 0 && slices.ContainsFunc(tokenize(text), token.negates):
		l.note(over, NotUnderstood, sayEachByItself) // of "no smell burnt" burnt is denied as well
	case l.hearSaying(over, over, how):
	default:
		focus := l.focus
		l.focus = nil // what was asked has been answered
		l.hearWords(over, over, how)
		l.focus = focus
	}
}

// ties gives the best matches, all that are as good as the first.
func ties(found []match) []match {
	n := 1
	for n < len(found) && found[n].compare(found[0]) == 0 && found[n].valued() == found[0].valued() {
		n++
	}
	return found[:n]
}

// certain says whether a match may count without asking back: it says one thing,
// and the thing is named outright or was asked for.
func (m match) certain(tokens []token, over string) bool {
	if m.fuzzy || !m.valued() || len(m.values) > 1 || m.doubtful(tokens, over) {
		return false
	}
	switch {
	case m.focused && m.named == 0 && m.reading == nil && m.headedByOther(tokens):
		return false // "pump off" at a question for a light
	case m.focused, m.named != 0 && m.idFull():
		return true
	case m.reading != nil && !m.reading.hasUnit:
		return false // a bare number belongs to what is named outright
	case m.reading != nil && m.named == 0:
		return over == ""
	}
	return over == "" && (m.whole || m.byName && m.strong || m.ids != 0 && !(m.part && m.idLess()) || m.quality >= 2*fitAsk)
}

// headedByOther says whether the first word that says anything is neither part of
// what is said nor a not: it may name something that is not known here.
func (m match) headedByOther(tokens []token) bool {
	for i, tok := range tokens {
		if !tok.filler() && !soft(tok.low) || m.covered&(1<<i) != 0 {
			return m.covered&(1<<i) == 0 && !tok.negates()
		}
	}
	return false
}

// takeMatch records a match that is certain.
func (l *listener) takeMatch(m match, tokens []token, text string, how manner) {
	if m.reading != nil {
		l.takeReading(m.th, m.reading, text, how)
		return
	}
	l.record(m.th, l.wordValue(m.th, m.values[0]), m.typed(tokens), text, how)
}

// without takes the words left over out of a text, so that each word is heard once.
func without(text, over string) string {
	words := strings.Fields(over)
	var keep []string
	for _, w := range strings.Fields(text) {
		if i := slices.IndexFunc(words, func(o string) bool { return strings.Trim(w, ".,:;!?()\"'") == o }); i >= 0 {
			words = slices.Delete(words, i, i+1)
			continue
		}
		keep = append(keep, w)
	}
	return strings.Join(keep, " ")
}

// candidates makes the answers of an ask-back from matches that say something.
func (l *listener) candidates(found []match, how manner) []Answer {
	var out []Answer
	for _, m := range found {
		if m.reading != nil {
			out = append(out, Answer{Says: m.th.name + ": " + m.reading.says(), Entry: entryFor(m.th.id, m.reading.text, how)})
			continue
		}
		for _, v := range m.values {
			w := m.th.values[v].text
			out = append(out, Answer{Says: m.th.name + ": " + plain(w), Entry: entryFor(m.th.id, w, how)})
		}
	}
	return out
}

func namedOnly(found []match) []Answer {
	var out []Answer
	for _, m := range found {
		out = append(out, Answer{Says: m.th.name, Entry: "ask " + m.th.id})
	}
	return out
}

// entryFor writes what was heard in a form that is never unclear.
func entryFor(id, value string, how manner) string {
	e := id + "=" + value
	if how.drop != 0 {
		e = "drop " + strconv.Itoa(how.drop) + ": " + e
	}
	if how.by != "" {
		e += " by " + how.by
	}
	if how.read != "" {
		e += ` read "` + strings.ReplaceAll(how.read, `"`, "'") + `"`
	}
	if how.sure != nil {
		e += "@" + strconv.FormatFloat(*how.sure, 'g', -1, 64)
	}
	return e
}
