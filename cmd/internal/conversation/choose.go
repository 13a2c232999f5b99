package conversation

import (
	"slices"
	"sort"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// choose says what to ask now; before work on the unit, its settings.
func (t *Talk) choose(s *State, d *engine.Diagnosis) Question {
	return t.sheetFirst(s, d, t.chooseNext(s, d))
}

// chooseNext says what leads on: what an entry left unclear and the results of a test
// first, then the complaint and who is there, then what the diagnosis puts first.
func (t *Talk) chooseNext(s *State, d *engine.Diagnosis) Question {
	if isWell(d) {
		s.Waiting = slices.DeleteFunc(s.Waiting, func(q Question) bool { return q.Kind != AskProof && q.Kind != AskWhich })
	}
	switch {
	case len(s.Waiting) > 0:
		return t.waiting(s, d)
	case isWell(d):
		return t.endQuestion(s)
	}
	if q, ok := t.opening(s); ok {
		return q
	}
	if q, ok := t.limitsQuestion(s, d); ok {
		return q
	}
	if q, ok := t.advised(s, d); ok {
		return q
	}
	if q, ok := t.lossOfBusQuestion(s, d); ok {
		return q
	}
	away, left := likelyAway(d), t.likelyLeftAlone(s, d)
	for _, p := range d.Next {
		if !p.Step.Temporary && !t.passedOver(s, p.Step) && worthDoing(&p) && (s.settled(sent) || worthAsking(d, &p)) && (away == nil && left == nil || !farFetched(d, &p)) {
			return t.lead(s, p.Step, p.AskFirst)
		}
	}
	if q, ok := t.unlock(s, d); ok {
		return q
	}
	return t.awayQuestion(s, d, away)
}

// isEnough says whether enough is known to stop looking: by phone, to say how the call
// ends. That is the engine's word; this package has no rule of its own.
func isEnough(d *engine.Diagnosis) bool {
	if !d.Possible {
		return false
	}
	if d.Disposition != nil {
		return d.Disposition.Enough
	}
	return d.Advice.Enough
}

// advisedRemedies are those to be done now that enough is known.
func advisedRemedies(d *engine.Diagnosis) []int {
	if d.Disposition != nil {
		return d.Disposition.Remedies
	}
	return d.Advice.Lead.Remedies
}

// isSure says whether a step is to be done whatever else is.
func isSure(d *engine.Diagnosis, st *rulebase.Step) bool {
	return slices.ContainsFunc(d.Advice.Sure, func(r int) bool { return &d.Base.Remedies[r] == st })
}

// advised puts what is advised to somebody, once enough is known: the remedies here,
// one after the other as they stand on offer, the facts that they wait for, or who has
// to come. Before that, what is to be done whatever else is. Where all of it was passed over, the talk goes on.
func (t *Talk) advised(s *State, d *engine.Diagnosis) (Question, bool) {
	if !isEnough(d) {
		for _, p := range d.Next {
			if isSure(d, p.Step) && !t.passedOver(s, p.Step) {
				return t.lead(s, p.Step, p.AskFirst), true
			}
		}
		return Question{}, false
	}
	if d.Disposition != nil && d.Disposition.Kind != engine.SolveNow {
		return t.moreQuestion(s, d, nil), !s.settled(sent)
	}
	remedies := advisedRemedies(d)
	if len(remedies) == 0 {
		return t.moreQuestion(s, d, nil), !s.settled(sent)
	}
	is := func(st *rulebase.Step) bool {
		return slices.ContainsFunc(remedies, func(r int) bool { return &d.Base.Remedies[r] == st })
	}
	for _, p := range d.Next {
		if is(p.Step) && !t.passedOver(s, p.Step) {
			return t.lead(s, p.Step, p.AskFirst), true
		}
	}
	var away *engine.Withheld
	for i := range d.NotOffered {
		w := &d.NotOffered[i]
		switch {
		case !is(w.Step) || w.Why == engine.WhyDone || s.settled(w.Step.ID):
		case w.Why == engine.WhyUnconfirmed:
			if q, ok := t.unconfirmed(s, *w); ok {
				return q, true
			}
		case w.Why != engine.WhyHarmless && away == nil:
			away = w
		}
	}
	if away != nil {
		return t.awayQuestion(s, d, away), true
	}
	return Question{}, false
}

// sent stands in what is settled once somebody went on after the word that a call can
// end, or that nothing is to be done.
const (
	sent      = "advice"
	goOnEntry = "go on"
)

// awayQuestion asks for the one given that a likely remedy waits for, else says
// what would help.
func (t *Talk) awayQuestion(s *State, d *engine.Diagnosis, away *engine.Withheld) Question {
	if away != nil {
		if a, ok := t.unlockAnswer(*away); ok {
			id, asks := strings.CutPrefix(a.Entry, "ask ")
			if th := t.words.thing(id); asks && th != nil && th.kind == rulebase.KindGiven && !s.settled(id) {
				return t.givenQuestion(th.index, away.Step.ID)
			}
		}
	}
	return t.moreQuestion(s, d, away)
}

// worthDoing says whether a step on offer can be put to somebody. What is not stays
// on the list of "what else".
func worthDoing(p *engine.Proposal) bool {
	return p.Step.Kind == rulebase.KindRemedy || len(p.Step.PutsRight) > 0 || p.GainBits >= engine.Idle
}

// worthAsking says whether a test tells enough for its minutes, and by phone saves as
// much in the end of the call. Whoever goes on after the word that it is enough is
// asked the rest as well.
func worthAsking(d *engine.Diagnosis, p *engine.Proposal) bool {
	return d.Disposition == nil || p.Step.Kind == rulebase.KindRemedy || d.WorthAsking(p)
}

// farFetched says that a remedy is not what anybody would try while the likely one
// only waits for another person or tool: it takes the cause less than once in ten.
func farFetched(d *engine.Diagnosis, p *engine.Proposal) bool {
	return p.Step.Kind == rulebase.KindRemedy && remedyProbability(d, p.Step.ID) < farOff
}

// likelyAway is the withheld remedy that is likelier than not the thing to do; nil
// where there is none. It is for another person or place, or for other tools.
func likelyAway(d *engine.Diagnosis) *engine.Withheld {
	var best *engine.Withheld
	p := halfLikely
	for i := range d.NotOffered {
		w := &d.NotOffered[i]
		if w.Step.Kind != rulebase.KindRemedy || w.Step.Temporary || w.Why == engine.WhyDone || w.Why == engine.WhyUnconfirmed || w.Why == engine.WhyHarmless {
			continue
		}
		if q := remedyProbability(d, w.Step.ID); q >= p {
			best, p = w, q
		}
	}
	return best
}

// likelyLeftAlone is the remedy that is likelier than not the thing to do, where it could be done here and
// somebody passed it over, or what its warnings ask for; nil where there is none.
func (t *Talk) likelyLeftAlone(s *State, d *engine.Diagnosis) (best *rulebase.Step) {
	p := halfLikely
	look := func(st *rulebase.Step) {
		if st.Kind != rulebase.KindRemedy || st.Temporary || !t.settledStep(s, st) {
			return
		}
		if q := remedyProbability(d, st.ID); q >= p {
			best, p = st, q
		}
	}
	for _, x := range d.Next {
		look(x.Step)
	}
	for _, w := range d.NotOffered {
		if w.Why == engine.WhyUnconfirmed {
			look(w.Step)
		}
	}
	return best
}

// moreQuestion says that nothing can be put to anybody here and now, and what would help.
func (t *Talk) moreQuestion(s *State, d *engine.Diagnosis, away *engine.Withheld) Question {
	q := Question{Kind: AskMore, Says: sayNothingLeft(t.anyPassed(s, d))}
	goOn, left := false, t.likelyLeftAlone(s, d)
	switch {
	case away != nil && isEnough(d):
		q.Says = append(sayRemedyAway(*away), sayIfWrong(d)...)
		q.For = away.Step.ID
	case away != nil:
		q.Says = sayLikelyAway(*away)
		q.For = away.Step.ID
	case (isEnough(d) || d.Possible && d.Disposition != nil && d.Disposition.Kind != engine.SolveNow) && !s.settled(sent):
		q.Says = append(sayAdvised(d), sayIfWrong(d)...)
		goOn = true
	case left != nil:
		q.Says = sayLikelyLeftAlone(left)
	case d.Possible && d.Advice.CannotTell:
		q.Says = sayCannotTell(d, t.anyPassed(s, d))
	}
	answers := t.moreAnswers(s, d, away)
	if goOn {
		answers = slices.Insert(answers, max(0, len(answers)-2), Answer{Says: sayGoOn, Entry: goOnEntry})
	}
	q.Answers = numbered(answers)
	return q
}

// anyPassed says whether something worth doing was passed over.
func (t *Talk) anyPassed(s *State, d *engine.Diagnosis) bool {
	return slices.ContainsFunc(d.Next, func(p engine.Proposal) bool { return worthDoing(&p) && t.settledStep(s, p.Step) })
}

// settledStep says whether somebody passed a step over, or the question it is.
func (t *Talk) settledStep(s *State, st *rulebase.Step) bool {
	return s.settled(st.ID) || st.Implied && s.settled(t.base.Symptoms[st.Yields[0]].ID)
}

// waiting gives the first question waiting; a step waits as the questions that lead up to it.
func (t *Talk) waiting(s *State, d *engine.Diagnosis) Question {
	q := s.Waiting[0]
	if st := t.words.stepByID[q.ID]; q.Kind == AskProof && st != nil && st.Proof != nil {
		q.Says = sayAskProof(d.ProofOf(st), &t.base.Symptoms[st.Proof.Watch])
	}
	if q.Kind != AskStep {
		return q
	}
	st := t.words.stepByID[q.ID]
	if p := proposalOf(d, q.ID); p != nil {
		return t.lead(s, st, p.AskFirst)
	}
	if w := withheldOf(d, q.ID); w != nil && w.Why == engine.WhyUnconfirmed {
		if c, ok := t.unconfirmed(s, *w); ok {
			return c
		}
	}
	return q
}

func proposalOf(d *engine.Diagnosis, id string) *engine.Proposal {
	for i := range d.Next {
		if d.Next[i].Step.ID == id && !d.Next[i].Step.Implied {
			return &d.Next[i]
		}
	}
	return nil
}

func withheldOf(d *engine.Diagnosis, id string) *engine.Withheld {
	for i := range d.NotOffered {
		if d.NotOffered[i].Step.ID == id && !d.NotOffered[i].Step.Implied {
			return &d.NotOffered[i]
		}
	}
	return nil
}

// Choices of ours: how likely a withheld remedy has to be to be named as what waits,
// and how unlikely one on offer, not to be tried meanwhile.
const (
	halfLikely = 0.5
	farOff     = 0.1
)

// isWell says whether the drop is well, by what was said last.
func isWell(d *engine.Diagnosis) bool { return engine.IsWell(d) }

// opening asks what every case has to know: which drop it is about where several are
// down, the complaint, then who is there.
func (t *Talk) opening(s *State) (Question, bool) {
	sit := &s.Situation
	switch {
	case sit.Drop == 0 && len(downDrops(sit)) > 1 && !s.settled("this_drop"):
		return thisDropQuestion(sit), true
	case t.base.Complaint != nil && !t.complained(s) && !t.fitful(sit):
		return t.symptomQuestion(s, t.base.Complaint.Symptom), true
	case sit.At == "" && !s.settled("place"):
		return placeQuestion(), true
	case sit.Who == rulebase.Anybody && !s.settled("who"):
		return whoQuestion(), true
	case sit.At == rulebase.Field && !sit.Alone && !s.settled("alone"):
		return aloneQuestion(), true
	case sit.At != rulebase.Bench && len(sit.Drops) == 0 && !s.settled("drops") && t.wantsExtent(s):
		return t.dropsQuestion(), true
	}
	return Question{}, false
}

// harmlessToAsk says whether a symptom can be asked for by itself. Where a test of its
// own gives it, that test's warnings belong before it.
func (t *Talk) harmlessToAsk(id string) bool {
	ref, ok := t.base.Lookup(id)
	if !ok || t.base.Complaint != nil && ref.Index == t.base.Complaint.Symptom {
		return ok
	}
	for i := range t.base.Tests {
		st := &t.base.Tests[i]
		if !st.Implied && len(st.Warnings) > 0 && slices.Contains(st.Yields, ref.Index) {
			return false
		}
	}
	return true
}

// complained says whether what is wrong with the drop was said or passed over.
func (t *Talk) complained(s *State) bool {
	id := t.base.Symptoms[t.base.Complaint.Symptom].ID
	return s.settled(id) || len(s.Situation.Done) > 0 || slices.ContainsFunc(s.Situation.Findings, func(f rulebase.Finding) bool { return f.Symptom == id && f.Drop == 0 })
}

// fitful says whether the drop was said to come and go: that is a complaint, and "does it work?" asks nothing then.
func (t *Talk) fitful(s *rulebase.Situation) bool {
	g := t.filled("extent")
	return s.Drops[s.Drop] == rulebase.DropComesAndGoes || g >= 0 && slices.ContainsFunc(s.Givens, func(v rulebase.GivenValue) bool {
		return v.ID == t.base.Givens[g].ID && v.Value.Word == rulebase.ExtentComesAndGoes
	})
}

// filled gives the given that the program fills by this name, -1 where there is none.
func (t *Talk) filled(by string) int {
	return slices.IndexFunc(t.base.Givens, func(g rulebase.Given) bool { return g.FilledBy == by })
}

// wantsExtent says whether the rulebase asks how much is down, and nobody said so outright.
func (t *Talk) wantsExtent(s *State) bool {
	g := t.filled("extent")
	return g >= 0 && !t.said(s, t.base.Givens[g].ID)
}

// limitsQuestion asks for the given without which a reading cannot be judged.
func (t *Talk) limitsQuestion(s *State, d *engine.Diagnosis) (Question, bool) {
	for _, c := range d.Conflicts {
		if c.Kind != engine.ConflictLimits {
			continue
		}
		for _, id := range c.Members {
			if th := t.words.thing(id); th != nil && th.kind == rulebase.KindGiven && !t.said(s, id) && !s.settled(id) {
				return t.givenQuestion(th.index, ""), true
			}
		}
	}
	return Question{}, false
}

// lossOfBusQuestion asks what the outputs do on loss of bus, where a step that tells
// more than all on offer waits for just that.
func (t *Talk) lossOfBusQuestion(s *State, d *engine.Diagnosis) (Question, bool) {
	g := t.filled("loss_of_bus")
	if g < 0 || s.settled(t.base.Givens[g].ID) || t.said(s, t.base.Givens[g].ID) {
		return Question{}, false
	}
	best := 0.0
	for _, p := range d.Next {
		best = max(best, p.GainBits)
	}
	for _, w := range d.NotOffered {
		if w.Why == engine.WhyLossOfBus && (w.GainBits > best || len(d.Next) == 0) {
			return t.givenQuestion(g, w.Step.ID), true
		}
	}
	return Question{}, false
}

// said says whether a person gave a given.
func (t *Talk) said(s *State, id string) bool {
	return slices.ContainsFunc(s.Situation.Givens, func(g rulebase.GivenValue) bool { return g.ID == id })
}

// passedOver says whether a step, or the symptom that an implied test asks for, was
// passed over.
//
// A test counts as passed over, too, once all it shows was said in this state of
// work: the engine would have a finding that is not sure looked at again, but
// who has just answered is not asked the same at once. "What else" still lists it.
func (t *Talk) passedOver(s *State, st *rulebase.Step) bool {
	if t.settledStep(s, st) {
		return true
	}
	if st.Implied && t.base.Symptoms[st.Yields[0]].By == rulebase.ByAsking && t.everSeen(s, st.Yields[0]) {
		return true // what somebody remembers does not change with work
	}
	return len(st.Yields) > 0 && len(st.PutsRight) == 0 && !slices.ContainsFunc(st.Yields, func(y int) bool { return !t.seenNow(s, y) })
}

// everSeen says whether a symptom of this drop was given at any time.
func (t *Talk) everSeen(s *State, symptom int) bool {
	id := t.base.Symptoms[symptom].ID
	return slices.ContainsFunc(s.Situation.Findings, func(f rulebase.Finding) bool { return f.Symptom == id && f.Drop == 0 })
}

// seenNow says whether a symptom of this drop was given in this state of work, or
// passed over.
func (t *Talk) seenNow(s *State, symptom int) bool {
	id, after := t.base.Symptoms[symptom].ID, lastDone(&s.Situation)
	return s.settled(id) || slices.ContainsFunc(s.Situation.Findings, func(f rulebase.Finding) bool {
		return f.Symptom == id && f.Drop == 0 && (f.Now || f.After == after)
	})
}

// lead leads up to a step: givens that could forbid it, then the facts its warnings
// name where it can hurt, then the step itself.
func (t *Talk) lead(s *State, st *rulebase.Step, askFirst []string) Question {
	for _, id := range askFirst {
		if th := t.words.thing(id); th != nil && !s.settled(id) {
			q := t.questionAbout(s, th)
			q.For = st.ID
			return q
		}
	}
	if st.Implied {
		return t.symptomQuestion(s, st.Yields[0])
	}
	if q, ok := t.unacknowledged(s, st); ok {
		return q
	}
	return t.stepQuestion(s, st)
}

// needsConfirming says whether the facts that a step's warnings name have to be
// confirmed: it can hurt somebody by itself, or by what it brings back to life.
func (t *Talk) needsConfirming(st *rulebase.Step) bool {
	return st.Hazard != 0 || st.BringsBack || slices.ContainsFunc(st.Warnings, func(w int) bool { return t.base.Warnings[w].Level == rulebase.DangerLevel })
}

// unlock asks for what would let a withheld step be offered, where one answer does:
// a fact to confirm. The step that tells most goes first.
func (t *Talk) unlock(s *State, d *engine.Diagnosis) (Question, bool) {
	for _, w := range worthwhile(d) {
		if w.Why != engine.WhyUnconfirmed || s.settled(w.Step.ID) {
			continue
		}
		if q, ok := t.unconfirmed(s, w); ok {
			return q, true
		}
	}
	return Question{}, false
}

// unconfirmed asks for the fact for want of which a step is withheld.
func (t *Talk) unconfirmed(s *State, w engine.Withheld) (Question, bool) {
	for _, i := range w.Step.Warnings {
		if t.base.Warnings[i].ID == w.Detail {
			return t.confirmQuestion(s, i, w.Step), true
		}
	}
	return Question{}, false
}

// worthwhile gives the withheld steps that could still tell something, and
// remedies, by falling gain.
func worthwhile(d *engine.Diagnosis) []engine.Withheld {
	var out []engine.Withheld
	for _, w := range d.NotOffered {
		switch w.Why {
		case engine.WhyKnown, engine.WhyDone, engine.WhyWell, engine.WhyImpossible:
			continue
		}
		if w.GainBits > 0.005 || w.Step.Kind == rulebase.KindRemedy && remedyProbability(d, w.Step.ID) > 0.01 {
			out = append(out, w)
		}
	}
	sort.SliceStable(out, func(i, j int) bool { return out[i].GainBits > out[j].GainBits })
	return out
}

// remedyProbability is how likely it is that a remedy takes a cause that is still
// there: an upper bound, the sum over the causes whose first remedy it is.
func remedyProbability(d *engine.Diagnosis, id string) float64 {
	p := 0.0
	for _, c := range d.Causes {
		if c.Remedy >= 0 && d.Base.Remedies[c.Remedy].ID == id {
			p += c.Now
		}
	}
	return min(p, 1)
}

// moreAnswers are the answers that would let something be offered again.
func (t *Talk) moreAnswers(s *State, d *engine.Diagnosis, away *engine.Withheld) []Answer {
	var out []Answer
	if away != nil {
		if a, ok := t.unlockAnswer(*away); ok {
			out = append(out, a)
		}
	}
	for _, p := range d.Next {
		if len(out) < 4 && t.settledStep(s, p.Step) && worthDoing(&p) {
			out = append(out, Answer{Says: sayAfterAll(p.Step), Entry: t.doEntry(p.Step)})
		}
	}
	stopgaps := 0
	for _, p := range d.Next {
		if p.Step.Temporary && stopgaps < 2 && !t.settledStep(s, p.Step) {
			out = append(out, Answer{Says: p.Step.Do, Entry: t.doEntry(p.Step)})
			stopgaps++
		}
	}
	for _, w := range worthwhile(d) {
		if w.Why == engine.WhyPlace && !slices.Contains(w.Step.At, rulebase.Field) {
			continue // a unit goes to the bench after the decision, not for a question
		}
		if a, ok := t.unlockAnswer(w); ok && len(out) < 5+stopgaps && !slices.ContainsFunc(out, func(o Answer) bool { return o.Entry == a.Entry }) {
			out = append(out, a)
		}
	}
	return append(out, Answer{Says: sayWhatNeed, Entry: "what would you need"}, Answer{Says: saySaveAnswer, Entry: "stop and save as a case file"})
}

// doEntry is the entry that takes up a step.
func (t *Talk) doEntry(st *rulebase.Step) string {
	if st.Implied {
		return "ask " + t.base.Symptoms[st.Yields[0]].ID
	}
	return "do " + st.ID
}

// unlockAnswer is the entry that takes away the reason why a step is withheld.
func (t *Talk) unlockAnswer(w engine.Withheld) (Answer, bool) {
	switch w.Why {
	case engine.WhyTools:
		return Answer{Says: sayHaveTool(w.Detail, w.Step), Entry: "I have " + plain(w.Detail)}, true
	case engine.WhyPerson:
		who := w.Step.Who
		if w.Step.Hazard&rulebase.HazardLive != 0 {
			who = max(who, rulebase.Technician)
		}
		return Answer{Says: sayWhoIsHere(who, w.Step), Entry: whoNames[who] + " is here"}, true
	case engine.WhyPlace:
		for _, p := range []rulebase.Place{rulebase.Field, rulebase.Bench} { // nobody goes to a phone for a step
			if slices.Contains(w.Step.At, p) {
				return Answer{Says: sayPlaceFor(p, w.Step), Entry: placeEntries[p]}, true
			}
		}
	case engine.WhyAlone:
		return Answer{Says: sayNotAloneFor(w.Step), Entry: "not alone"}, true
	case engine.WhyLossOfBus:
		if g := t.filled("loss_of_bus"); g >= 0 {
			return Answer{Says: sayGivenFor(t.base.Givens[g].Ask, w.Step), Entry: "ask " + t.base.Givens[g].ID}, true
		}
	case engine.WhyUnconfirmed:
		return Answer{Says: sayTakeUp(w.Step), Entry: "do " + w.Step.ID}, true
	case engine.WhyOnlyIf:
		for _, n := range w.Step.OnlyIf.Reads() {
			if name := t.base.Names[n]; name.Kind == rulebase.KindGiven && t.base.Givens[name.Index].Ask != "" {
				return Answer{Says: sayGivenFor(t.base.Givens[name.Index].Ask, w.Step), Entry: "ask " + name.ID}, true
			}
		}
	}
	return Answer{}, false
}
