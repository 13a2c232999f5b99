package conversation

import (
	"cmp"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
)

// record makes a given or finding of what was said of a thing.
func (l *listener) record(th *thing, v rulebase.Value, read, text string, how manner) {
	if th.kind == rulebase.KindGiven {
		l.recordGiven(th, v, text, how)
		return
	}
	f := rulebase.Finding{Symptom: th.id, Value: v, Sure: l.lowered(th, how.sure), By: how.by, After: lastDone(&l.state.Situation), Read: cmp.Or(how.read, read)}
	if slices.Contains(l.focus, th.id) {
		f.After = l.after
	}
	opens := how.drop != 0 && l.state.Situation.Drop == 0 && l.opensAt(how.drop, v)
	if opens || how.drop != 0 && l.state.Situation.Drop == 0 && l.complains(th, v) {
		// "Nothing works on drop 5", "drop 3's power light is off": that is the drop this is about.
		l.setThisDrop(how.drop)
	}
	if how.drop != 0 && how.drop != l.state.Situation.Drop {
		f.Drop, f.After = how.drop, ""
	}
	old := l.addFinding(f)
	if l.said == nil {
		l.said = map[string]rulebase.Value{}
	}
	if before, is := l.said[keyOf(f)]; is && before != v {
		l.against = true
	}
	l.said[keyOf(f)] = v
	l.understood(text, sayFinding(th, f, old))
	if opens && !l.complains(th, v) {
		l.note("", Understood, sayThisDrop(how.drop))
	}
	if f.Drop == 0 {
		l.answered(AskSymptom, th.id)
	}
}

// opensAt says whether a talk opens with what is dark or dead at one drop: of a light that is lit, it may be the good
// drop beside it.
func (l *listener) opensAt(drop int, v rulebase.Value) bool {
	s, cs := &l.state.Situation, classesOf(v.Word)
	return l.state.Pending.Kind == AskOpening && len(s.Drops) == 0 && len(s.Findings) == 0 && (slices.Contains(cs, classDark) || slices.Contains(cs, classDown)) &&
		!otherDropRE.MatchString(strings.ReplaceAll(lower(l.entry), "drop "+strconv.Itoa(drop), ""))
}

// complains says that something said is the complaint itself.
func (l *listener) complains(th *thing, v rulebase.Value) bool {
	c := l.t.base.Complaint
	if c == nil {
		return false
	}
	s := &l.t.base.Symptoms[c.Symptom]
	return th.id == s.ID && v.Word == s.Values[c.Bad]
}

// addFinding adds a finding. It takes the place of what the same person said of the
// same thing in the same state of work: that is a correction. What different
// persons say stands side by side, and the diagnosis shows where they differ.
func (l *listener) addFinding(f rulebase.Finding) (old string) {
	s := &l.state.Situation
	s.Findings = slices.DeleteFunc(s.Findings, func(o rulebase.Finding) bool {
		same := o.Symptom == f.Symptom && o.After == f.After && o.Drop == f.Drop && o.By == f.By && o.Now == f.Now
		if same && o.Value != f.Value {
			old = o.Value.Word
		}
		return same
	})
	s.Findings = append(s.Findings, f)
	l.recorded, l.hedge = true, nil
	return old
}

func (l *listener) recordGiven(th *thing, v rulebase.Value, text string, how manner) {
	s := &l.state.Situation
	var old string
	s.Givens = slices.DeleteFunc(s.Givens, func(g rulebase.GivenValue) bool {
		if g.ID == th.id && g.Value != v {
			old = g.Value.Word
		}
		return g.ID == th.id
	})
	s.Givens = append(s.Givens, rulebase.GivenValue{ID: th.id, Value: v})
	means := sayGiven(th, v, old)
	if how.sure != nil {
		means += sayGivenCertain
	}
	l.understood(text, means)
	l.answered(AskGiven, th.id)
}

// answered takes a question off the list of those waiting, and lets a thing that
// was passed over count as said.
func (l *listener) answered(kind QuestionKind, id string) {
	l.state.unsettle(id)
	l.state.Waiting = slices.DeleteFunc(l.state.Waiting, func(q Question) bool { return q.Kind == kind && q.ID == id })
}

// lastDone is what a finding made now was seen after: the last thing done.
func lastDone(s *rulebase.Situation) string {
	if n := len(s.Done); n > 0 {
		return s.Done[n-1].ID
	}
	return ""
}

// carryOut notes that a step was done. Remedies, and tests that put something
// right, begin a new state of work; what a test shows was seen before it.
func (l *listener) carryOut(st *rulebase.Step, text string) {
	before := lastDone(&l.state.Situation)
	s := &l.state.Situation
	means := sayDone(st)
	if st.Kind == rulebase.KindRemedy || len(st.PutsRight) > 0 {
		if slices.ContainsFunc(s.Done, func(d rulebase.Done) bool { return d.ID == st.ID }) {
			means += sayDoneAgain
		}
		s.Done = append(s.Done, rulebase.Done{ID: st.ID})
		l.state.Waiting = append(l.state.Waiting, l.t.dropNowQuestion(st))
	}
	l.state.settleStep(st)
	l.understood(text, means)
	var ask []Question
	for _, y := range st.Yields {
		q := l.t.symptomQuestion(l.state, y)
		q.For, q.After = st.ID, before
		ask = append(ask, q)
	}
	l.state.Waiting = append(ask, l.state.Waiting...)
	l.focusOn(st, before)
}

// focusOn takes bare values for results of a test.
func (l *listener) focusOn(st *rulebase.Step, after string) {
	l.focus, l.after = nil, after
	for _, y := range st.Yields {
		l.focus = append(l.focus, l.t.base.Symptoms[y].ID)
	}
}

// settleStep forgets the questions that led up to a step.
func (s *State) settleStep(st *rulebase.Step) {
	s.Waiting = slices.DeleteFunc(s.Waiting, func(q Question) bool {
		return q.For == st.ID || q.Kind == AskStep && q.ID == st.ID
	})
	s.unsettle(st.ID)
}

// hearNow takes in what the drop does now: "still down", "works now".
func (l *listener) hearNow(text, rest string, how manner) bool {
	now := dropNow(rest)
	if now == rulebase.NotSaid || how.drop != 0 || l.answersFocus(rest) || now == rulebase.Well && bareWellRE.MatchString(rest) && l.askedElse() {
		return false
	}
	if sameRE.MatchString(rest) && l.askedElse() && l.state.Pending.Kind != AskStep && !doneRE.MatchString(l.entry) {
		l.note(text, NotUnderstood, saySameAsWhat) // said of what was asked, and not of the drop
		return true
	}
	s := &l.state.Situation
	n := len(s.Done)
	switch {
	case now == rulebase.Well && l.notAllWell(text):
		l.partlyWell(text)
	case n > 0:
		s.Done[n-1].Drop = now
		l.understood(text, sayDropNow(now, s.Done[n-1].ID))
		l.answered(AskDropNow, s.Done[n-1].ID)
		l.answered(AskProof, s.Done[n-1].ID)
		l.state.proveIfWell(l.t, s.Done[n-1])
	case l.t.base.Complaint == nil:
		l.note(text, NotUnderstood, sayNoComplaint)
	default:
		l.complaintNow(text, now, how)
	}
	return true
}

// notAllWell says whether an entry that says that the drop works says beside it that something does not, or not always:
// "it works but fails every day" ends no case.
func (l *listener) notAllWell(text string) bool {
	before, after, _ := strings.Cut(l.entry, text)
	return fitfulRE.MatchString(before) || fitfulRE.MatchString(after) || butRE.MatchString(after)
}

// partlyWell puts nothing down, and asks no more whether the drop works.
func (l *listener) partlyWell(text string) {
	l.partly = true
	l.state.settle(l.t.base.Symptoms[l.t.base.Complaint.Symptom].ID)
	l.note(text, NotUnderstood, sayNotAllWell)
}

// askedElse says whether something else than how the drop is was asked: "ok" is then an answer to that.
func (l *listener) askedElse() bool {
	q, c := l.state.Pending, l.t.base.Complaint
	switch q.Kind {
	case AskSymptom, AskGiven, AskStep, AskDrops, AskWhich:
		return c == nil || q.ID != l.t.base.Symptoms[c.Symptom].ID
	}
	return false
}

// hearWent takes in "the drop went dark" or "no comms", and hears what follows it, such as when,
// as a piece of its own.
func (l *listener) hearWent(text, rest string, how manner) bool {
	head := wentRE.FindString(rest)
	if head == "" {
		head = noCommsRE.FindString(rest)
		if next, _, _ := strings.Cut(strings.TrimSpace(strings.TrimPrefix(rest, head)), " "); lamps(next) {
			return false // "no comms light" is said of a light
		}
	}
	if head == "" || lostRE.MatchString(rest) || how.drop != 0 || l.headed != 0 || l.t.base.Complaint == nil || l.answersFocus(rest) {
		return false
	}
	tail := strings.TrimSpace(strings.TrimPrefix(rest, head))
	said := strings.TrimSpace(strings.TrimSuffix(text, tail))
	if len(l.state.Situation.Done) == 0 {
		l.complaintNow(said, rulebase.StillDown, how)
	} else if !l.hearNow(said, "not working", how) {
		return false
	}
	if l.overs(tokenize(tail), 0) != "" {
		l.piece(tail)
	}
	return true
}

// complainFromDrops takes "5 dead", of the drop this is about, for the complaint too,
// where nobody made it yet: who has just said so is not asked for it.
func (l *listener) complainFromDrops() {
	s := &l.state.Situation
	if l.t.base.Complaint == nil || len(s.Done) > 0 || s.Drop == 0 || l.t.complained(l.state) {
		return
	}
	if state, ok := s.Drops[s.Drop]; ok && state != rulebase.DropGood {
		th := l.t.words.thing(l.t.base.Symptoms[l.t.base.Complaint.Symptom].ID)
		if v := th.value(state); v >= 0 { // a rulebase whose complaint tells one that comes and goes from one that is down
			l.record(th, l.wordValue(th, v), "", "", manner{by: l.by})
			return
		} else if state == rulebase.DropComesAndGoes {
			return // that it is down all the time nobody said
		}
		l.complaintNow("", rulebase.StillDown, manner{by: l.by})
	}
}

// answersFocus says whether a text is the whole of a value of what was asked for.
func (l *listener) answersFocus(text string) bool {
	if len(l.focus) == 0 || l.state.Pending.Kind == AskDropNow || l.state.Pending.Kind == AskProof {
		return false
	}
	return slices.ContainsFunc(l.focus, func(id string) bool {
		th := l.t.words.thing(id)
		tokens := tokenize(text)
		if th == nil || len(tokens) == 0 || len(tokens) > maxTokens {
			return false
		}
		m := match{th: th, focused: true}
		m.say(tokens)
		return len(m.values) == 1 && l.overs(tokens, m.covered) == ""
	})
}

func dropNow(text string) rulebase.DropNow {
	switch {
	case stillDownRE.MatchString(text):
		return rulebase.StillDown
	case wellRE.MatchString(text):
		return rulebase.Well
	}
	return rulebase.NotSaid
}

// complaintNow makes a finding of the complaint's symptom: the drop was found well,
// or down again, without anything having been done to it just now.
func (l *listener) complaintNow(text string, now rulebase.DropNow, how manner) {
	c := l.t.base.Complaint
	th := l.t.words.thing(l.t.base.Symptoms[c.Symptom].ID)
	v := c.Well
	if now == rulebase.StillDown {
		v = c.Bad
	}
	f := rulebase.Finding{Symptom: th.id, Value: l.wordValue(th, v), Sure: l.lowered(th, how.sure), By: how.by}
	s, old := &l.state.Situation, ""
	bad := func(f rulebase.Finding) bool { return f.Symptom == th.id && f.Value == l.wordValue(th, c.Bad) }
	if bad(f) && !slices.ContainsFunc(s.Findings, bad) {
		old = l.addFinding(f) // that it works was never so
	} else {
		s.Findings = append(s.Findings, f) // how the case began stays beside it
		l.recorded = true
	}
	l.understood(text, sayFinding(th, f, old))
	l.answered(AskSymptom, th.id)
}

// proveIfWell asks for the proof of the last remedy once the drop is said to be well.
func (s *State) proveIfWell(t *Talk, d rulebase.Done) {
	st := t.words.stepByID[d.ID]
	if d.Drop == rulebase.Well && st != nil && st.Proof != nil && !s.settled("proof "+d.ID) && s.Pending.Kind != AskProof {
		s.Waiting = append(s.Waiting, t.proofQuestion(st))
	}
}

// hearConfirm takes in that the fact a warning names holds. A bare yes is not
// enough: the entry has to name what is confirmed.
func (l *listener) hearConfirm(text, rest string, _ manner) bool {
	m := confirmRE.FindStringSubmatch(rest)
	if m == nil {
		return false
	}
	w := l.t.words.named(l.t.words.warnings, m[1])
	if w == nil {
		l.unclear(text, whichQuestion(text, l.t.confirmAnswers(l.state)))
		return true
	}
	l.t.acknowledge(l.state, w.id)
	l.understood(text, sayConfirm(&l.t.base.Warnings[w.index]))
	l.answered(AskConfirm, w.id)
	return true
}

// hearConfirms takes in an entry that names several facts: "confirm a, b and c".
func (l *listener) hearConfirms(entry string) bool {
	m := confirmRE.FindStringSubmatch(entry)
	if m == nil {
		return false
	}
	parts := confirmsRE.RE().Split(m[1], -1)
	if len(parts) < 2 || slices.ContainsFunc(parts, func(p string) bool { return l.t.words.named(l.t.words.warnings, p) == nil }) {
		return false
	}
	for _, p := range parts {
		l.hearConfirm(p, "confirm "+p, manner{})
	}
	l.heard[len(l.heard)-len(parts)].Text = strings.TrimSuffix(entry, m[1]) + parts[0]
	return true
}

// named finds the one entry of a list that a text names by its id or all words of
// it, or by words that fit no other; nil where there is none or more than one.
func (lx *lexicon) named(list []thing, text string) *thing {
	tokens := tokenize(text)
	if len(tokens) == 0 || len(tokens) > maxTokens {
		return nil
	}
	var best *thing
	var bestMatch match
	tied := false
	for i := range list {
		if list[i].id == tokens[0].low && len(tokens) == 1 {
			return &list[i]
		}
		m := match{th: &list[i]}
		m.name(tokens)
		if m.named == 0 || m.fuzzy {
			continue
		}
		c := 1
		if best != nil {
			c = m.compare(bestMatch)
		}
		if c > 0 {
			best, bestMatch = &list[i], m
		}
		tied = c == 0 || tied && c < 0
	}
	if tied {
		return nil
	}
	return best
}
