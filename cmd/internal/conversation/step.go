package conversation

import (
	"context"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// Begin opens a conversation on what is known already; usually nothing.
func (t *Talk) Begin(s rulebase.Situation) (State, Reply) {
	state := State{Situation: s.Clone(), Pending: openingQuestion(), Acknowledged: t.asSaid(&s)}
	reply := Reply{Kind: Asked, Question: state.Pending}
	reply.add(PartQuestion, state.Pending.Says...)
	return state, reply
}

// Step takes in one entry. It answers every entry, never changes s, and gives back
// s itself where nothing new was said; ctx only cancels the diagnosis, and the
// reply says so.
func (t *Talk) Step(ctx context.Context, s State, entry string) (State, Reply) {
	s, lapsed := t.lapse(s)
	next, reply := t.step(ctx, s, entry)
	if lapsed {
		at := slices.IndexFunc(reply.Parts, func(p Part) bool { return p.Kind != PartHeard && p.Kind != PartNotHeard })
		reply.Parts = slices.Insert(reply.Parts, max(at, 0), Part{PartNotice, []string{sayLapsed}})
	}
	return next, reply
}

func (t *Talk) step(ctx context.Context, s State, entry string) (State, Reply) {
	if len(entry) > maxEntry {
		return t.again(s, Heard{Text: entry, Outcome: NotUnderstood, Means: sayEntryTooLong})
	}
	entry = clean(entry)
	chosen, picked := s.Pending.chosen(entry)
	if !picked && s.Pending.wantsNumber() && numberRE.MatchString(entry) {
		return t.again(s, Heard{Text: entry, Outcome: NotUnderstood, Means: sayNoSuchAnswer(s.Pending)})
	}
	if !picked && s.Pending.Kind == AskDrops && numberRE.MatchString(entry) {
		return t.again(s, Heard{Text: entry, Outcome: NotUnderstood, Means: sayDropHow(entry, s.Pending)})
	}
	c := turn{t: t, ctx: ctx, s: s, entry: strings.TrimSpace(chosen), picked: picked}
	for _, command := range []func() (State, Reply, bool){c.empty, c.plainCommand, c.bareYes, c.noSheet, c.out, c.skip, c.done, c.takeUp, c.ask, c.setting} {
		if next, reply, ok := command(); ok {
			return next, reply
		}
	}
	return c.said()
}

// again repeats what is asked, after an entry that nothing was made of.
func (t *Talk) again(s State, h Heard) (State, Reply) {
	r := Reply{Kind: AskedBack, Heard: []Heard{h}, Question: s.Pending}
	r.addHeard()
	r.addQuestion(t, nil)
	return s, r
}

// A turn is one entry being taken in.
type turn struct {
	t      *Talk
	ctx    context.Context
	s      State // before
	entry  string
	picked bool // it was chosen by its number
}

// empty goes on from the opening, else repeats the question.
func (c *turn) empty() (State, Reply, bool) {
	if c.entry != "" {
		return State{}, Reply{}, false
	}
	if c.s.Pending.Kind == AskOpening {
		next := c.s.clone()
		s, r := c.goOn(next, nil)
		return s, r, true
	}
	s, r := c.present(c.s, Asked)
	return s, r, true
}

// plainCommand answers the commands that are a whole entry.
func (c *turn) plainCommand() (State, Reply, bool) {
	e := strings.TrimSpace(strings.TrimRight(c.entry, "?!. "))
	if e == "" {
		e = c.entry
	}
	q := c.s.inHand()
	if q.Kind == AskDrops && allOfThemRE.MatchString(e) || slices.ContainsFunc(c.t.words.saying(e), func(m meant) bool { return m.id == q.ID }) {
		return State{}, Reply{}, false // "everything" is what is down, and asks for no details
	}
	for _, command := range []struct {
		matches func(string) bool
		do      func(string) (State, Reply)
	}{
		{helpRE.MatchString, c.help},
		{undoRE.MatchString, c.undo},
		{whyRE.MatchString, c.why},
		{whyNotRE.MatchString, c.whyNot},
		{elseRE.MatchString, c.whatElse},
		{needRE.MatchString, c.whatNeed},
		{detailsRE.MatchString, c.details},
		{knownRE.MatchString, c.known},
		{listRE.MatchString, c.list},
		{saveRE.MatchString, c.save},
		{quitRE.MatchString, c.quit},
	} {
		if command.matches(e) {
			s, r := command.do(e)
			return s, r, true
		}
	}
	return State{}, Reply{}, false
}

// bareYes refuses a yes where a fact has to be named.
func (c *turn) bareYes() (State, Reply, bool) {
	if c.s.Pending.Kind != AskConfirm || !yesRE.MatchString(c.entry) && lower(c.entry) != "done" {
		return State{}, Reply{}, false
	}
	s, r := c.t.again(c.s, Heard{Text: c.entry, Outcome: Unclear, Means: sayNameTheFact(c.s.Pending.ID)})
	return s, r, true
}

// skip passes over what is asked.
func (c *turn) skip() (State, Reply, bool) {
	none := lower(c.entry) == "none" && (c.s.Pending.Kind == AskWhich || c.s.Pending.Kind == AskElse)
	goOn := goOnRE.MatchString(c.entry) && slices.ContainsFunc(c.s.Pending.Answers, func(a Answer) bool { return a.Entry == goOnEntry })
	no := c.s.Pending.Kind == AskConfirm && noRE.MatchString(strings.TrimRight(c.entry, "."))
	if !skipRE.MatchString(c.entry) && !none && !goOn && !no {
		return State{}, Reply{}, false
	}
	next := c.s.clone()
	q := c.s.Pending
	if goOn {
		next.settle(sent)
		s, r := c.goOn(next, &listener{heard: []Heard{{Text: c.entry, Outcome: Understood, Means: sayPassedOver(q)}}})
		return s, r, true
	}
	switch q.Kind {
	case AskSymptom, AskGiven:
		next.settle(q.ID)
	case AskStep:
		next.settle(q.ID)
		c.t.passOver(&next, q.ID)
	case AskPlace, AskWho, AskAlone, AskDrops, AskThisDrop:
		next.settle(string(q.Kind))
	case AskConfirm:
		next.settle(q.For)
		c.t.passOver(&next, q.For)
	case AskProof:
		next.settle("proof " + q.ID)
	case AskFound, AskLeft:
		next.settle(c.t.settingKey(q))
	case AskOut:
		next.settle(q.For)
	case AskMore, AskEnd:
		s, r := c.t.again(c.s, Heard{Text: c.entry, Outcome: NotUnderstood, Means: sayNothingToSkip})
		return s, r, true
	}
	next.Waiting = slices.DeleteFunc(next.Waiting, func(w Question) bool {
		return w.Kind == q.Kind && w.ID == q.ID || w.Kind == AskStep && w.ID == q.For && q.Kind == AskConfirm
	})
	s, r := c.goOn(next, &listener{heard: []Heard{{Text: c.entry, Outcome: Understood, Means: sayPassedOver(q)}}})
	return s, r, true
}

// inHand is what the conversation is about: the question asked, or where an entry
// was asked back, the one before that.
func (s *State) inHand() Question {
	for s.Before != nil && (s.Pending.Kind == AskWhich || s.Pending.Kind == AskElse) {
		s = s.Before
	}
	return s.Pending
}

// leaveOut forgets an ask-back that another entry came instead of, and says so.
func (l *listener) leaveOut(q Question) {
	if n := len(l.state.Waiting); n > 0 && q.Kind == AskWhich {
		l.state.dropWhich(q)
		if len(l.state.Waiting) < n {
			l.note(q.ID, NotUnderstood, sayLeftOut)
		}
	}
}

// listener makes the listener for this entry.
func (c *turn) listener(next *State) *listener {
	l := &listener{t: c.t, ctx: c.ctx, state: next, after: lastDone(&next.Situation)}
	switch q := c.s.inHand(); q.Kind {
	case AskSymptom:
		l.focus, l.after = []string{q.ID}, q.After
	case AskGiven:
		l.focus = []string{q.ID}
	case AskStep:
		if st := c.t.words.stepByID[q.ID]; st != nil {
			l.focusOn(st, lastDone(&next.Situation))
		}
	case AskOpening:
		if b := c.t.base; b.Complaint != nil {
			l.focus = []string{b.Symptoms[b.Complaint.Symptom].ID}
		}
	}
	return l
}

// done takes in that a step was carried out, with what it showed.
func (c *turn) done() (State, Reply, bool) {
	m := doneRE.FindStringSubmatch(c.entry)
	if m == nil {
		return State{}, Reply{}, false
	}
	if q := c.s.inHand(); q.Kind == AskSymptom && q.For != "" && m[1] == "" {
		s, r := c.t.again(c.s, Heard{Text: c.entry, Outcome: Unclear, Means: sayResultWanted})
		return s, r, true
	}
	next := c.s.clone()
	l := c.listener(&next)
	pieces := cut(m[1])
	text := strings.TrimSpace(strings.TrimSuffix(c.entry, m[1]))
	st := c.pendingStep()
	if len(pieces) > 0 {
		if named := c.stepNamed(pieces[0].text); named != nil {
			st, text, pieces = named, text+" "+pieces[0].text, pieces[1:]
		}
	}
	if st == nil {
		if m[1] != "" && !strings.HasPrefix(strings.ToLower(c.entry), "done") {
			return State{}, Reply{}, false // "did it begin ..." is no report
		}
		s, r := c.doneWhat(m[1])
		return s, r, true
	}
	l.leaveOut(c.s.Pending)
	l.carryOut(st, text)
	l.entry = c.entry
	l.parts(pieces)
	s, r := c.goOn(next, l)
	return s, r, true
}

// pendingStep is the step that is proposed, nil where none is.
func (c *turn) pendingStep() *rulebase.Step {
	if q := c.s.inHand(); q.Kind == AskStep {
		return c.t.words.stepByID[q.ID]
	}
	return nil
}

// stepNamed gives the step that a text names outright: by its id or by all words of its id.
func (c *turn) stepNamed(text string) *rulebase.Step {
	th := c.t.words.named(c.t.words.steps, text)
	if th == nil {
		return nil
	}
	m := match{th: th}
	m.name(tokenize(text))
	if !m.idFull() {
		return nil
	}
	return c.t.words.stepByID[th.id]
}

// doneWhat asks what was done.
func (c *turn) doneWhat(rest string) (State, Reply) {
	next := c.s.clone()
	l := c.listener(&next)
	l.leaveOut(c.s.Pending)
	d, err := c.t.diagnose(c.ctx, next.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	rest = strings.TrimRight(rest, " .!")
	var answers []Answer
	for _, p := range d.Next {
		if !p.Step.Implied && (dropNow(rest) == rulebase.NotSaid || p.Step.Kind == rulebase.KindRemedy || len(p.Step.PutsRight) > 0) {
			answers = append(answers, Answer{Says: p.Step.Do, Entry: strings.TrimRight("done "+p.Step.ID+", "+rest, ", ")})
		}
	}
	if len(answers) == 0 {
		return c.t.again(c.s, Heard{Text: c.entry, Outcome: NotUnderstood, Means: sayDoneWhat})
	}
	l.unclear(c.entry, whichQuestion(c.entry, answers))
	return c.goOn(next, l)
}

// takeUp takes up a step chosen by the person.
func (c *turn) takeUp() (State, Reply, bool) {
	m := chooseRE.FindStringSubmatch(c.entry)
	if m == nil {
		return State{}, Reply{}, false
	}
	th := c.t.words.named(c.t.words.steps, m[1])
	if th == nil {
		if strings.HasPrefix(lower(c.entry), "do ") {
			s, r := c.t.again(c.s, Heard{Text: c.entry, Outcome: NotUnderstood, Means: sayNoStepCalled})
			return s, r, true
		}
		return State{}, Reply{}, false
	}
	d, err := c.t.diagnose(c.ctx, c.s.Situation, brief)
	if err != nil {
		s, r := c.failed(err)
		return s, r, true
	}
	w := withheldOf(d, th.id)
	if w != nil && w.Why != engine.WhyUnconfirmed {
		s, r := c.explain(d, append([]string{sayWithheld(*w)}, c.t.unlockLines(*w)...)...)
		return s, r, true
	}
	next := c.s.clone()
	st := c.t.words.stepByID[th.id]
	l := c.listener(&next)
	l.leaveOut(c.s.Pending)
	next.settleStep(st)
	next.Waiting = slices.Insert(next.Waiting, 0, Question{Kind: AskStep, ID: th.id})
	l.note(c.entry, Understood, sayTakenUp(st))
	s, r := c.goOn(next, l)
	return s, r, true
}

// ask takes up a question chosen by the person.
func (c *turn) ask() (State, Reply, bool) {
	id, ok := strings.CutPrefix(strings.ToLower(c.entry), "ask ")
	th := c.t.words.thing(strings.TrimSpace(id))
	if !ok || th == nil {
		return State{}, Reply{}, false
	}
	next := c.s.clone()
	next.unsettle(th.id)
	l := c.listener(&next)
	if c.picked {
		next.dropWhich(c.s.Pending)
	} else {
		l.leaveOut(c.s.Pending)
	}
	next.Waiting = slices.Insert(next.Waiting, 0, c.t.questionAbout(&next, th))
	l.note(c.entry, Understood, sayAskAbout(th))
	s, r := c.goOn(next, l)
	return s, r, true
}

// dropWhich forgets an ask-back that has been answered.
func (s *State) dropWhich(q Question) {
	if q.Kind == AskWhich && len(s.Waiting) > 0 && s.Waiting[0].Kind == AskWhich && s.Waiting[0].ID == q.ID {
		s.Waiting = s.Waiting[1:]
	}
}

// said takes in everything else: what is known.
func (c *turn) said() (State, Reply) {
	next := c.s.clone()
	if c.picked {
		next.dropWhich(c.s.Pending)
	}
	l := c.listener(&next)
	if c.picked { // one answer, written so that it is never unclear
		l.piece(c.entry)
	} else {
		l.hear(c.entry)
	}
	l.theOnlyOne()
	l.complainFromDrops()
	if l.new {
		c.alsoAsk(l)
		if !c.picked {
			l.leaveOut(c.s.Pending)
		}
	}
	if !l.new && len(l.asks) == 0 && !c.picked {
		r := Reply{Kind: AskedBack, Heard: l.heard, Question: c.s.Pending}
		r.addHeard()
		r.addQuestion(c.t, nil)
		return c.s, r
	}
	return c.goOn(next, l)
}

// alsoAsk asks for the other results of the test in hand once one was given.
func (c *turn) alsoAsk(l *listener) {
	st := c.pendingStep()
	if st == nil {
		return
	}
	given := func(y int) bool {
		return slices.ContainsFunc(l.state.Situation.Findings, func(f rulebase.Finding) bool {
			return f.Symptom == c.t.base.Symptoms[y].ID && f.Drop == 0 && f.After == l.after
		})
	}
	if !slices.ContainsFunc(st.Yields, given) || len(st.PutsRight) > 0 {
		return
	}
	l.state.settleStep(st)
	for _, y := range st.Yields {
		if !given(y) {
			q := c.t.symptomQuestion(l.state, y)
			q.For, q.After = st.ID, l.after
			l.state.Waiting = append(l.state.Waiting, q)
		}
	}
}

// goOn diagnoses what is known now and says what is next.
func (c *turn) goOn(next State, l *listener) (State, Reply) {
	if l == nil {
		l = &listener{}
	}
	next.Waiting = append(slices.Clone(l.asks), next.Waiting...)
	c.putIn(&next)
	c.t.spend(&next, &c.s)
	next, lapsed := c.t.lapse(next)
	d, err := c.t.diagnose(c.ctx, next.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	r := Reply{Kind: Asked, Heard: l.heard, Diagnosis: d}
	for _, h := range l.heard {
		if h.Outcome != Understood {
			r.Kind = AskedBack
		}
	}
	if len(next.Waiting) > 0 {
		r.Question = next.Waiting[0]
	}
	r.addHeard()
	if lapsed {
		r.add(PartNotice, sayLapsed)
	}
	if l.drops {
		s := &next.Situation
		word, because := rulebase.Extent(s.Drop, s.Drops, s.Order, s.Supplies)
		if word != "" || c.t.wantsExtent(&next) { // who said how much is down is not told that it cannot be said
			r.add(PartNotice, sayExtent(word, because))
		}
	}
	r.add(PartNotice, c.prune(&next, d)...)
	r.add(PartNotice, next.news(d)...)
	next.Pending = c.t.choose(&next, d)
	r.Question = next.Pending
	if next.Pending.Kind != AskWhich {
		r.addSummary(c.t, &next, d)
		next.sayOnce(&r)
	}
	r.addQuestion(c.t, d)
	if next.Pending.Kind == AskEnd {
		r.Kind = Finished
	}
	return next, r
}

// prune forgets steps that were taken up and cannot be offered any more, and says so.
func (c *turn) prune(s *State, d *engine.Diagnosis) []string {
	var lines []string
	s.Waiting = slices.DeleteFunc(s.Waiting, func(q Question) bool {
		if q.Kind != AskStep || proposalOf(d, q.ID) != nil {
			return false
		}
		w := withheldOf(d, q.ID)
		if w != nil && w.Why == engine.WhyUnconfirmed {
			return false
		}
		if w != nil && w.Why != engine.WhyWell && w.Why != engine.WhyDone {
			lines = append(lines, sayWithheld(*w))
		}
		return true
	})
	return lines
}

// news gives conflicts and advice that were not told before, and notes them as told.
func (s *State) news(d *engine.Diagnosis) []string {
	var lines []string
	tell := func(line string) {
		if !slices.Contains(s.Told, line) {
			s.Told = append(s.Told, line)
			lines = append(lines, line)
		}
	}
	for _, c := range d.Conflicts {
		tell(sayConflict(c))
	}
	for _, a := range d.Tells {
		tell(sayAdvice(a))
	}
	return lines
}

// sayOnce leaves out a summary that says the same as the last one: who reads on a
// small screen, or aloud, is spared it. An empty entry still shows it.
func (s *State) sayOnce(r *Reply) {
	n := len(r.Parts) - 1
	if n < 0 || r.Parts[n].Kind != PartSummary {
		return
	}
	said := strings.Join(r.Parts[n].Lines, "\n")
	if said == s.Summary {
		r.Parts = r.Parts[:n]
	}
	s.Summary = said
}

// failed says that no diagnosis could be made; nothing of the entry counts then.
func (c *turn) failed(err error) (State, Reply) {
	r := Reply{Kind: AskedBack, Heard: []Heard{{Text: c.entry, Outcome: NotUnderstood, Means: sayNotCounted}}, Question: c.s.Pending}
	r.addHeard()
	r.add(PartNotice, sayFailed(err))
	return c.s, r
}

// present shows where the conversation stands: the summary and what is asked.
func (c *turn) present(s State, kind ReplyKind, first ...Part) (State, Reply) {
	r := Reply{Kind: kind, Parts: first, Question: s.Pending}
	if s.Pending.Kind == AskOpening {
		r.addQuestion(c.t, nil)
		return s, r
	}
	s, _ = c.t.lapse(s) // what was taken back may have stood for too long meanwhile
	r.Question = s.Pending
	if s.Pending.Kind == AskStep {
		if q, ok := c.t.unacknowledged(&s, c.t.words.stepByID[s.Pending.ID]); ok {
			s.Pending, r.Question = q, q
		}
	}
	d, err := c.t.diagnose(c.ctx, s.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	r.Diagnosis = d
	r.addSummary(c.t, &s, d)
	r.addQuestion(c.t, d)
	return s, r
}

// Hear takes in a text by itself, as if it had been said first of all, without a
// diagnosis and without asking back: what was understood of it is added to the
// situation. Commands are words like others here.
func (t *Talk) Hear(s rulebase.Situation, text string) (rulebase.Situation, []Heard) {
	if len(text) > maxEntry {
		return s, []Heard{{Text: text, Outcome: NotUnderstood, Means: sayEntryTooLong}}
	}
	state, _ := t.Begin(s)
	c := turn{t: t, ctx: context.Background(), s: state, entry: clean(text)}
	if c.entry == "" {
		return s, nil
	}
	next := state.clone()
	l := c.listener(&next)
	l.hear(c.entry)
	l.theOnlyOne()
	l.complainFromDrops()
	return next.Situation, l.heard
}
