package conversation

import (
	"slices"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// hearWhoIsThere takes in who is there, where, alone or not, and with what tools.
// It holds only where the piece says nothing else: "23.8 V at the drop" is a
// reading.
func (l *listener) hearWhoIsThere(text, rest string, how manner) bool {
	if how.drop != 0 {
		return false
	}
	w := l.whoIsThere(rest)
	if w == nil {
		return l.unclearTool(text, rest)
	}
	if q, doubtful := l.partOrTool(text, rest, w); doubtful {
		l.unclear(text, q)
		return true
	}
	s := &l.state.Situation
	var means []string
	if w.place != "" {
		s.At = w.place
		means = append(means, sayPlace(w.place))
		l.answered(AskPlace, "")
	}
	if w.who != rulebase.Anybody {
		s.Who = w.who
		means = append(means, sayWho(w.who))
		l.answered(AskWho, "")
	}
	if w.alone != nil {
		s.Alone = *w.alone
		l.state.settle("alone")
		means = append(means, sayAlone(*w.alone))
	}
	if w.tools != nil || w.anyTool {
		if s.Tools = w.tools; len(w.tools) == len(l.t.words.tools) {
			s.Tools = nil // what was lacking is there: as where nothing was said
		}
		means = append(means, sayTools(s.Tools, l.t.words.tools))
	}
	l.understood(text, strings.Join(means, ", "))
	if w.tools != nil {
		l.tools = len(l.heard)
	}
	return true
}

// partOrTool asks back what "no terminator" or "fuse" means that nothing in the entry makes a tool: causes
// tell of a part that is called the same. Behind what was said of tools it is one more of them.
func (l *listener) partOrTool(text, rest string, w *who) (q Question, doubtful bool) {
	if w.place != "" || w.who != rulebase.Anybody || w.alone != nil || w.anyTool || len(l.heard) > 0 && l.tools == len(l.heard) {
		return q, false
	}
	tool, no := "", false
	var said []string // stems of its name
	tokens := tokenize(rest)
	for i := 0; i < len(tokens); {
		id, n := l.toolAt(tokens[i:])
		switch {
		case n > 0 && tool != "":
			return q, false // a list of tools
		case n > 0:
			tool = id
			for _, tok := range tokens[i : i+n] {
				said = append(said, tok.stem)
			}
			i += n
			continue
		case tokens[i].low == "no":
			no = true
		case having(tokens[i].low):
			return q, false
		}
		i++
	}
	isPart := func(c thing) bool {
		return !slices.ContainsFunc(said, func(stem string) bool { return !slices.Contains(c.asWords, stem) })
	}
	if tool == "" || !slices.ContainsFunc(l.t.words.causes, isPart) {
		return q, false
	}
	answers := []Answer{{Says: sayToolHere(tool), Entry: "I have " + tool}}
	if no {
		answers = []Answer{{Says: sayToolNotHere(tool), Entry: "without " + tool}}
	}
	for _, about := range l.t.Search(l.state.Situation, plain(tool), mostParts) {
		answers = append(answers, Answer{Says: firstOf(about.Says), Entry: "ask " + about.ID})
	}
	return whichQuestion(text, answers), true
}

// mostParts is how many questions are offered beside a tool that may be a part.
const mostParts = 3

// SettledCall stands among what is settled once it was agreed with a caller who can switch
// off, when to call back, and whom to call if the caller does not answer any more.
const SettledCall = "call"

// hearTakenOver takes in that somebody else takes over: what the one before saw to be so, and what was
// agreed with them, stands no longer, and who is there now is asked where the entry does not say it.
func (l *listener) hearTakenOver(text, rest string, how manner) bool {
	if how.drop != 0 || !takenOverRE.MatchString(rest) {
		return false
	}
	s := l.state
	s.Situation.Who, s.Acknowledged = rulebase.Anybody, nil
	s.confirmed()
	for _, settled := range []string{string(AskWho), string(AskAlone), SettledCall} {
		s.unsettle(settled)
	}
	l.understood(text, sayTakenOver)
	return true
}

// TakeOverEntry is the entry by which somebody else takes over.
func TakeOverEntry(who rulebase.Who, alone bool) string {
	return strings.Join([]string{"somebody else takes over", whoNames[who], sayAlone(alone)}, ", ")
}

// who is what a piece says of the persons, the place and the tools.
type who struct {
	place   rulebase.Place
	who     rulebase.Who
	alone   *bool
	tools   []string // nil: not said
	anyTool bool
}

// whoIsThere takes a piece for who is there; nil where it says anything else, or nothing.
func (l *listener) whoIsThere(text string) *who {
	w, said := &who{}, false
	strip := func(re *quantity.Pattern) bool {
		if !re.MatchString(text) {
			return false
		}
		text, said = re.ReplaceAllString(text, " "), true
		return true
	}
	if yes, no := true, false; strip(notAloneRE) {
		w.alone = &no
	} else if strip(aloneRE) {
		w.alone = &yes
	}
	if strip(bareRE) {
		w.tools = []string{}
	} else if strip(anyToolRE) {
		w.anyTool = true
	}
	for _, p := range placePhrases {
		if strip(p.re) {
			w.place = p.place
		}
	}
	for _, p := range whoPhrases {
		if strip(p.re) {
			w.who = max(w.who, p.who)
		}
	}
	tools, ok := l.toolsIn(text)
	if !ok || !said && tools == nil {
		return nil
	}
	if tools != nil {
		w.tools = tools
	}
	return w
}

// toolsIn gives the tools at hand after a text that names tools and says nothing
// else; nil where it names none, false where it says anything else. Naming a first
// tool means that there are no others: a tool that nobody named is not at hand.
func (l *listener) toolsIn(text string) (tools []string, ok bool) {
	have, named := l.state.Situation.Tools, false
	without := false
	tokens := tokenize(text)
	for i := 0; i < len(tokens); {
		without = without || tokens[i].low == "without" || tokens[i].low == "no"
		tool, n := l.toolAt(tokens[i:])
		switch {
		case n > 0:
			have, named = withTool(have, tool, !without, l.t.words.tools), true
			i += n
		case tokens[i].filler() || presence(tokens[i].low):
			i++
		default:
			return nil, false
		}
	}
	if !named {
		return nil, !without
	}
	return have, true
}

// unclearTool asks back which tool a piece means that says somebody has one.
func (l *listener) unclearTool(text, rest string) bool {
	if !havingRE.MatchString(rest) {
		return false
	}
	var answers []Answer
	for _, tok := range tokenize(rest) {
		if tok.filler() || presence(tok.low) {
			continue
		}
		fits := l.toolsLike(tok)
		if len(fits) == 0 {
			return false
		}
		for _, id := range fits {
			answers = append(answers, Answer{Says: plain(id), Entry: "I have " + id})
		}
	}
	if len(answers) == 0 {
		return false
	}
	l.unclear(text, whichQuestion(text, answers))
	return true
}

// toolsLike gives the tools that one word may stand for, as meter does for multimeter.
func (l *listener) toolsLike(tok token) []string {
	var fits []string
	for _, th := range l.t.words.tools {
		if slices.ContainsFunc(th.idWords, func(w string) bool {
			return strings.HasSuffix(w, tok.stem) || len(th.idWords) == 1 && strings.HasPrefix(w, tok.stem)
		}) {
			fits = append(fits, th.id)
		}
	}
	return fits
}

// toolAt gives the tool that the words begin with, and how many words name it. One
// word may be the end of a tool's name, as meter is of multimeter.
func (l *listener) toolAt(tokens []token) (tool string, n int) {
	for _, th := range l.t.words.tools {
		k := 0
		for k < len(th.idWords) && k < len(tokens) && tokens[k].stem == th.idWords[k] {
			k++
		}
		if k == len(th.idWords) && k > n {
			tool, n = th.id, k
		}
		if tokens[0].low == th.id && n == 0 {
			return th.id, 1
		}
	}
	if id := everydayTools[tokens[0].low]; n == 0 && slices.ContainsFunc(l.t.words.tools, func(th thing) bool { return th.id == id }) {
		return id, 1
	}
	if n > 0 || tokens[0].filler() || len(tokens[0].low) < 4 {
		return tool, n
	}
	fits := l.toolsLike(tokens[0])
	if len(fits) != 1 {
		return "", 0
	}
	return fits[0], 1
}

// withTool adds a tool to those at hand, or takes it away. Where no tools were
// said, any may be at hand; then taking one away leaves the others as they were, and the
// first that is named is the only one.
func withTool(have []string, tool string, at bool, all []thing) []string {
	if !at && have == nil {
		for _, th := range all {
			have = append(have, th.id)
		}
	}
	named := slices.Contains(have, tool)
	have = slices.DeleteFunc(slices.Clone(have), func(t string) bool { return t == tool })
	if at && named && 8*(len(all)-len(have)) < len(all) { // nobody named those: only what is lacking was said
		return []string{tool}
	}
	if at {
		return append(have, tool)
	}
	if have == nil {
		return []string{}
	}
	return have
}
