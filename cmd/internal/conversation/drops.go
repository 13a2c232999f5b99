package conversation

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// The widest list of drops taken in: larger than any line in the trade carries
// (estimate, no source), small enough that a slip like 1-40000 is refused.
const (
	maxAddress = 9999
	maxDrops   = 300
)

// hearDrops takes in the states of drops, their order along the cable, who shares
// a supply, and which drop this is.
func (l *listener) hearDrops(text, rest string, how manner) bool {
	if how.drop != 0 {
		return false
	}
	for _, hears := range []func(text, rest string) bool{l.hearCorrection, l.hearStates, l.hearOthers, l.hearAlong, l.hearOrder, l.hearSupply, l.hearThisDrop, l.hearOnlyOrAll} {
		if hears(text, rest) {
			l.after = lastDone(&l.state.Situation)
			return true
		}
	}
	return false
}

func (l *listener) hearStates(text, rest string) bool {
	m, state, ok := statesRE.FindStringSubmatch(rest), "", false
	if m != nil {
		state, ok = dropStates[strings.ToLower(strings.TrimSpace(m[2]))]
	} else if m = lostRE.FindStringSubmatch(rest); m != nil {
		state, ok = rulebase.DropDead, true
	}
	if !ok {
		return false
	}
	addresses, ok := addresses(m[1])
	if !ok {
		l.note(text, NotUnderstood, sayBadAddress)
		return true
	}
	l.setDrops(text, addresses, state)
	return true
}

// hearOthers takes in the state of all drops not named. Which they are only the order along
// the cable tells.
func (l *listener) hearOthers(text, rest string) bool {
	m := othersRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	s := &l.state.Situation
	state, ok := dropStates[asWellRE.ReplaceAllString(strings.ToLower(strings.TrimSpace(m[2])), "")]
	if down := downDrops(s); !ok && len(down) == 1 && asWellRE.MatchString(" "+m[2]) && l.aboutExtent() {
		if m[1] == "" { // "drop 5 is dead, others too" is not all of them
			l.note(text, NotUnderstood, sayWhichOthers)
			return true
		}
		state, ok = s.Drops[down[0]], true
	}
	if !ok {
		return false
	}
	var others []int
	for _, a := range s.Order {
		if _, said := s.Drops[a]; !said && a != s.Drop {
			others = append(others, a)
		}
	}
	if len(others) == 0 {
		// Of "the others are fine" nothing is to be asked where one is down at most: it is this one alone.
		// Of "the others are dead" something is, where it was not said that this one is too.
		down := len(downDrops(s))
		if len(s.Order) == 0 && down < 2 && (l.hearOnlyOrAll(text, rest) || state == rulebase.DropGood && l.hearOnlyOrAll(text, "only this one") || state == rulebase.DropDead && down == 1 && l.hearOnlyOrAll(text, "all of them")) {
			return true
		}
		l.note(text, NotUnderstood, sayWhichOthers)
		return true
	}
	l.setDrops(text, others, state)
	return true
}

// hearAlong takes in the state of this drop's neighbours, and of all behind one: "everything behind drop 4 is dead". Which
// they are the order along the cable tells.
func (l *listener) hearAlong(text, rest string) bool {
	m := alongRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	state, ok := dropStates[asWellRE.ReplaceAllString(strings.ToLower(strings.TrimSpace(m[2])), "")]
	if !ok {
		return false
	}
	s := &l.state.Situation
	from, behind := s.Drop, m[1] != ""
	if down := downDrops(s); behind {
		from, _ = strconv.Atoi(m[1]) // what is too large is no drop of the order
	} else if from == 0 && len(down) == 1 {
		from = down[0] // the one in question, as far as this entry goes
	}
	var those []int
	if i := slices.Index(s.Order, from); i >= 0 && behind {
		those = s.Order[i+1:]
	} else if i >= 0 {
		those = slices.Concat(s.Order[max(0, i-1):i], s.Order[i+1:min(len(s.Order), i+2)])
	}
	if len(those) == 0 {
		l.note(text, NotUnderstood, sayWhichOthers)
		return true
	}
	l.setDrops(text, those, state)
	return true
}

func (l *listener) setDrops(text string, addresses []int, state string) {
	s := &l.state.Situation
	if s.Drops == nil {
		s.Drops = map[int]string{}
	}
	for _, a := range addresses {
		s.Drops[a] = state
	}
	l.drops = true
	l.understood(text, sayDrops(addresses, state))
	l.answered(AskDrops, "")
}

func (l *listener) hearOrder(text, rest string) bool {
	m := orderRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	order, ok := addresses(m[1])
	if !ok || len(order) != len(slices.Compact(slices.Sorted(slices.Values(order)))) {
		l.note(text, NotUnderstood, sayBadOrder)
		return true
	}
	l.state.Situation.Order = order
	l.drops = true
	l.understood(text, sayOrder(order))
	return true
}

// hearSupply takes in a group of drops on one supply. A drop has one supply: it
// leaves the group it was in before.
func (l *listener) hearSupply(text, rest string) bool {
	m := supplyRE.FindStringSubmatch(rest)
	if m == nil {
		m = shareRE.FindStringSubmatch(rest)
	}
	if m == nil {
		return false
	}
	group, ok := addresses(m[1])
	if !ok {
		return false
	}
	s := &l.state.Situation
	var supplies [][]int
	for _, g := range s.Supplies {
		g = slices.DeleteFunc(slices.Clone(g), func(a int) bool { return slices.Contains(group, a) })
		if len(g) > 0 {
			supplies = append(supplies, g)
		}
	}
	s.Supplies = append(supplies, group)
	l.drops = true
	l.understood(text, saySupply(group))
	return true
}

// aboutExtent says whether how much is down is what is talked about: at the opening, the complaint and the question for it.
func (l *listener) aboutExtent() bool {
	c, q := l.t.base.Complaint, l.state.Pending
	return q.Kind == AskOpening || q.Kind == AskDrops || c != nil && q.ID == l.t.base.Symptoms[c.Symptom].ID
}

// hearOnlyOrAll takes in "only this one" and "all of them", where how much is down is what is talked about.
func (l *listener) hearOnlyOrAll(text, rest string) bool {
	g, c, q := l.t.filled("extent"), l.t.base.Complaint, l.state.Pending
	if g < 0 || !l.aboutExtent() {
		return false
	}
	fitful := dropStates[lower(fitfulHeadRE.ReplaceAllString(rest, ""))] == rulebase.DropComesAndGoes
	if fitful && slices.Contains(l.t.base.Givens[g].OneOf, rulebase.ExtentComesAndGoes) && (c == nil || !slices.Contains(l.t.base.Symptoms[c.Symptom].Values, rulebase.DropComesAndGoes)) {
		l.recordGiven(l.t.words.thing(l.t.base.Givens[g].ID), rulebase.Value{Word: rulebase.ExtentComesAndGoes}, text, manner{})
		return true
	}
	for word, re := range map[string]*quantity.Pattern{rulebase.ExtentOne: onlyThisRE, rulebase.ExtentAll: allOfThemRE} {
		if word == rulebase.ExtentAll && q.Kind != AskDrops && allDarkRE.MatchString(rest) {
			continue
		}
		if re.MatchString(rest) && slices.Contains(l.t.base.Givens[g].OneOf, word) {
			l.recordGiven(l.t.words.thing(l.t.base.Givens[g].ID), rulebase.Value{Word: word}, text, manner{})
			return true
		}
	}
	return false
}

func (l *listener) hearThisDrop(text, rest string) bool {
	m := thisDropRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	a, err := strconv.Atoi(m[1] + m[2] + m[3])
	if err != nil || a < 1 || a > maxAddress {
		l.note(text, NotUnderstood, sayBadAddress)
		return true
	}
	s := &l.state.Situation
	if s.Drop != 0 && s.Drop != a && slices.ContainsFunc(s.Findings, func(f rulebase.Finding) bool { return f.Drop == a }) {
		l.note(text, NotUnderstood, sayOtherAlready(a, s.Drop))
		return true
	}
	if was := s.Drops[s.Drop]; was != "" && was != rulebase.DropGood && a != s.Drop && s.Drops[a] == "" && bareDropRE.MatchString(rest) {
		l.unclear(text, whichQuestion(text, []Answer{{Says: sayCorrected(a, s.Drop), Entry: "no, drop " + m[1]}, {Says: sayDrops([]int{a}, was), Entry: m[1] + " " + was}}))
		return true
	}
	l.setThisDrop(a)
	l.understood(text, sayThisDrop(a))
	return true
}

// setThisDrop says which drop this is; what was said of that drop before is
// said of this one.
func (l *listener) setThisDrop(address int) {
	s := &l.state.Situation
	s.Drop = address
	for i := range s.Findings {
		if s.Findings[i].Drop == address {
			s.Findings[i].Drop = 0
		}
	}
	l.drops = true
	l.answered(AskThisDrop, "")
}

// hearCorrection takes in "no, drop 6": what the entry before, or this one, said of one drop it meant of another.
func (l *listener) hearCorrection(text, rest string) bool {
	m := correctionRE.FindStringSubmatch(rest)
	if m == nil || l.state.Before == nil {
		return false
	}
	s, before := &l.state.Situation, l.state.Before
	meant := dropsSaid(s, &before.Situation)
	if len(meant) == 0 && before.Before != nil {
		meant = dropsSaid(s, &before.Before.Situation)
	}
	if len(meant) == 0 && s.Drop != 0 {
		meant = []int{s.Drop}
	}
	a, err := strconv.Atoi(m[1])
	if err != nil || a < 1 || a > maxAddress || len(meant) != 1 {
		l.note(text, NotUnderstood, sayWhichDropNot)
		return true
	}
	was := meant[0]
	if state, ok := s.Drops[was]; ok {
		delete(s.Drops, was)
		s.Drops[a] = state
	}
	for i := range s.Findings {
		if s.Findings[i].Drop == was {
			s.Findings[i].Drop = a
		}
	}
	if s.Drop == was || s.Drop == 0 && len(s.Drops) == 0 {
		l.setThisDrop(a)
	}
	l.drops = true
	l.understood(text, sayCorrected(a, was))
	return true
}

// dropsSaid are the drops of which something is said that was not said before.
func dropsSaid(now, before *rulebase.Situation) []int {
	said := map[int]bool{}
	for a, state := range now.Drops {
		said[a] = before.Drops[a] != state
	}
	for _, f := range now.Findings {
		said[f.Drop] = said[f.Drop] || f.Drop != 0 && !slices.ContainsFunc(before.Findings, func(o rulebase.Finding) bool {
			return o.Drop == f.Drop && o.Symptom == f.Symptom && o.Value == f.Value
		})
	}
	said[now.Drop] = said[now.Drop] || now.Drop != 0 && now.Drop != before.Drop
	maps.DeleteFunc(said, func(_ int, is bool) bool { return !is })
	return slices.Sorted(maps.Keys(said))
}

// theOnlyOne takes the only drop that is not good for the one in question.
func (l *listener) theOnlyOne() {
	s := &l.state.Situation
	if s.Drop != 0 {
		return
	}
	if down := downDrops(s); len(down) == 1 {
		l.setThisDrop(down[0])
		l.note("", Understood, sayThisDrop(down[0]))
	}
}

// downDrops gives the addresses of the drops that are not good, rising.
func downDrops(s *rulebase.Situation) []int {
	var down []int
	for a, state := range s.Drops {
		if state != rulebase.DropGood {
			down = append(down, a)
		}
	}
	slices.Sort(down)
	return down
}

// hearAtDrop takes in a finding at another drop: "drop 4: power light lit".
func (l *listener) hearAtDrop(text, rest string, how manner) bool {
	if how.drop != 0 {
		return false
	}
	number, said := "", ""
	if m := atDropRE.FindStringSubmatch(rest); m != nil && !unitRE.MatchString(m[2]+m[4]) {
		number, said = m[1]+m[3], m[2]+m[4]
	} else if m := ofDropRE.FindStringSubmatch(rest); m != nil && !unitRE.MatchString(m[3]) && !decimalsRE.MatchString(m[3]) {
		number, said = m[2], strings.TrimSpace(m[1]+" "+m[3])
	}
	a, err := strconv.Atoi(number)
	if err != nil || a < 1 || a > maxAddress {
		return false
	}
	if l.hearPersonAt(a, text, said) {
		return true
	}
	if how.drop = a; headRE.MatchString(rest) {
		l.headed = a
	}
	focus := l.focus
	l.focus = nil
	if !l.hearID(text, said, how) {
		l.hearWordsOf(text, said, how)
	}
	l.focus = focus
	return true
}

// hearPersonAt takes in "technician at drop 5": who stands there, and that this is the drop.
func (l *listener) hearPersonAt(address int, text, said string) bool {
	w, drop := l.whoIsThere(said), l.state.Situation.Drop
	if w == nil || w.who == rulebase.Anybody && w.alone == nil || drop != 0 && drop != address {
		return false
	}
	at := without(text, said)
	return l.hearWhoIsThere(said, said, manner{}) && l.hearThisDrop(at, "drop "+strconv.Itoa(address))
}

// hearWordsOf hears free words about another drop, of which the heading belongs to
// what is understood.
func (l *listener) hearWordsOf(text, said string, how manner) {
	before := len(l.heard)
	l.hearWords(said, said, how)
	if len(l.heard) == before {
		return
	}
	over := ""
	for _, h := range l.heard[before+1:] {
		over += " " + h.Text
	}
	l.heard[before].Text = without(text, over)
}

var addressRE = quantity.NewPattern(`\d+|-|–|to|through`)

// addresses reads a list of drops such as "1-4, 7 and 9"; false where it is not one.
func addresses(text string) (list []int, ok bool) {
	through := false
	for _, w := range addressRE.RE().FindAllString(text, -1) {
		a, err := strconv.Atoi(w)
		if err != nil {
			through = true
			continue
		}
		if a < 1 || a > maxAddress || len(list) >= maxDrops {
			return nil, false
		}
		if through && len(list) > 0 {
			for b := list[len(list)-1] + 1; b < a && len(list) < maxDrops; b++ {
				list = append(list, b)
			}
		}
		list, through = append(list, a), false
	}
	return list, len(list) > 0 && len(list) <= maxDrops
}
