package conversation

import (
	"math"
	"slices"
	"sort"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// mostWeights bounds what is said to have moved the first cause against the second.
const mostWeights = 6

// mostAgainst bounds what speaks against a cause: as much as fits on a phone.
const mostAgainst = 6

// mostNeeds bounds the steps listed under what they wait for.
const mostNeeds = 4

// mostReasons bounds what steps are said to wait for; the best of them go first.
const mostReasons = 6

// explain answers with lines and repeats what is asked.
func (c *turn) explain(d *engine.Diagnosis, lines ...string) (State, Reply) {
	r := Reply{Kind: Explained, Question: c.s.Pending, Diagnosis: d}
	r.add(PartExplanation, lines...)
	r.addQuestion(c.t, d)
	return c.s, r
}

func (c *turn) help(string) (State, Reply) { return c.explain(nil, sayHelp...) }

// undo goes back to the State before the last entry that changed something.
func (c *turn) undo(string) (State, Reply) {
	if c.s.Before == nil {
		return c.explain(nil, sayNothingToUndo)
	}
	return c.present(*c.s.Before, Asked, Part{PartHeard, []string{sayUndone}})
}

// why says why this is asked or proposed, and why the likeliest cause is that.
func (c *turn) why(string) (State, Reply) {
	d, err := c.t.diagnose(c.ctx, c.s.Situation, thorough)
	if err != nil {
		return c.failed(err)
	}
	lines := c.whyAsked(d)
	if len(d.Causes) > 0 && d.Possible {
		first := d.Base.Causes[d.Causes[0].Cause]
		lines = append(lines, sayLikeliest(first.Name, d.Causes[0].Probability))
		if len(d.Causes) > 1 {
			lines = append(lines, c.weights(d, d.Base.Causes[d.Causes[1].Cause].Name)...)
		}
	}
	for _, f := range d.Facts {
		if len(f.Why) > 0 && fromRule(d.Base, f) {
			lines = append(lines, sayDerived(f.Why)...)
		}
	}
	return c.explain(d, lines...)
}

// fromRule says whether a fact about this drop was derived. Givens are left out:
// what follows from the kind of line is no reason for anything yet.
func fromRule(b *rulebase.Base, f engine.Fact) bool {
	if ref, ok := b.Lookup(f.ID); ok && ref.Kind == rulebase.KindGiven {
		return false
	}
	return slices.ContainsFunc(f.Because, func(id string) bool {
		return slices.ContainsFunc(b.Rules, func(r rulebase.Rule) bool { return r.ID == id })
	})
}

// whyAsked says what the question or step in hand is good for.
func (c *turn) whyAsked(d *engine.Diagnosis) []string {
	q := c.s.Pending
	for i := range d.Next {
		p := &d.Next[i]
		if q.Kind == AskSymptom && q.For == "" && p.Step.Implied && c.t.base.Symptoms[p.Step.Yields[0]].ID == q.ID ||
			q.Kind == AskStep && p.Step.ID == q.ID && !p.Step.Implied {
			return append(sayWorth(p, remedyProbability(d, p.Step.ID)), sayGain(p)...)
		}
	}
	if b := c.t.base; q.Kind == AskSymptom && q.For == "" && (b.Complaint == nil || b.Symptoms[b.Complaint.Symptom].ID != q.ID) {
		return []string{sayNamedInEntry}
	}
	return sayWhyKind(q, c.t.stepDo(q.For))
}

func (t *Talk) stepDo(id string) string {
	if st := t.words.stepByID[id]; st != nil {
		return st.Do
	}
	return ""
}

// weights says what each finding did to the first cause against the second, the
// strongest first.
func (c *turn) weights(d *engine.Diagnosis, second string) []string {
	ws := slices.Clone(d.Weights)
	sort.SliceStable(ws, func(i, j int) bool { return math.Abs(math.Log(ws[i].Factor)) > math.Abs(math.Log(ws[j].Factor)) })
	lines := []string{sayAgainst(second)}
	for _, w := range ws {
		if len(lines) > mostWeights {
			break
		}
		if line := sayWeight(w); line != "" {
			lines = append(lines, line)
		}
	}
	if len(lines) == 1 {
		return []string{sayNoneMoved}
	}
	return lines
}

// whyNot says why a cause is not likelier, or a step is not offered or not first.
func (c *turn) whyNot(entry string) (State, Reply) {
	text := whyNotRE.FindStringSubmatch(entry)[1]
	d, err := c.t.diagnose(c.ctx, c.s.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	if st := c.stepNamed(text); st != nil {
		return c.explain(d, c.whyNotStep(d, st)...)
	}
	if th := c.t.words.named(c.t.words.causes, text); th != nil {
		return c.explain(d, c.whyNotCause(d, th.index)...)
	}
	if th := c.t.words.named(c.t.words.steps, text); th != nil {
		return c.explain(d, c.whyNotStep(d, c.t.words.stepByID[th.id])...)
	}
	var near []string
	for _, list := range [][]thing{c.t.words.causes, c.t.words.steps} {
		for i := range list {
			m := match{th: &list[i]}
			m.name(maskOut(tokenize(text), 0))
			if m.named != 0 && len(near) < 6 {
				near = append(near, list[i].id)
			}
		}
	}
	return c.explain(d, sayWhyNotWhat(text, near))
}

func (c *turn) whyNotStep(d *engine.Diagnosis, st *rulebase.Step) []string {
	if w := withheldOf(d, st.ID); w != nil {
		return append([]string{sayWithheld(*w)}, c.t.unlockLines(*w)...)
	}
	for i := range d.Next {
		if d.Next[i].Step.ID == st.ID {
			return append([]string{sayOffered(st, i)}, sayWorth(&d.Next[i], remedyProbability(d, st.ID))...)
		}
	}
	return []string{sayNoSuchStep(st)}
}

// unlockLines says how a step could be offered after all.
func (t *Talk) unlockLines(w engine.Withheld) []string {
	if a, ok := t.unlockAnswer(w); ok {
		return []string{sayUnlock(a)}
	}
	return nil
}

// whyNotCause finds what speaks against a cause by leaving out one finding, given
// or piece of work at a time: what makes the cause likelier by being left out
// speaks against it. That is slower than reading it off the weights, which hold
// only for the first cause against the second, and is right for any cause.
func (c *turn) whyNotCause(d *engine.Diagnosis, cause int) []string {
	name := d.Base.Causes[cause].Name
	p := probabilityOf(d, cause)
	lines := []string{sayCauseNow(name, p)}
	if !d.Possible {
		return append(lines, sayImpossible)
	}
	type against struct {
		says    string
		without float64
	}
	var all []against
	for _, o := range leaveOut(c.t, &c.s.Situation) {
		other, err := c.t.diagnose(c.ctx, o.s, brief)
		if err != nil {
			return append(lines, sayFailed(err))
		}
		if q := probabilityOf(other, cause); q > p+0.005 {
			all = append(all, against{o.says, q})
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].without > all[j].without })
	for i, a := range all {
		if i < mostAgainst {
			lines = append(lines, saySpeaksAgainst(a.says, a.without))
		}
	}
	if len(all) == 0 {
		lines = append(lines, sayNothingAgainst)
	}
	return lines
}

func probabilityOf(d *engine.Diagnosis, cause int) float64 {
	for _, c := range d.Causes {
		if c.Cause == cause {
			return c.Probability
		}
	}
	return 0
}

// A leftOut is a situation without one thing that was said.
type leftOut struct {
	says string
	s    rulebase.Situation
}

// mostLeftOut bounds the diagnoses that one why-not makes.
const mostLeftOut = 40

func leaveOut(t *Talk, s *rulebase.Situation) []leftOut {
	var out []leftOut
	for i, f := range s.Findings {
		if th := t.words.thing(f.Symptom); th != nil && f.Drop == 0 {
			c := s.Clone()
			c.Findings = slices.Delete(c.Findings, i, i+1)
			out = append(out, leftOut{sayFinding(th, f, ""), c})
		}
	}
	for i, g := range s.Givens {
		if th := t.words.thing(g.ID); th != nil {
			c := s.Clone()
			c.Givens = slices.Delete(c.Givens, i, i+1)
			out = append(out, leftOut{sayGiven(th, g.Value, ""), c})
		}
	}
	for i, done := range s.Done {
		if done.Drop == rulebase.StillDown {
			c := s.Clone()
			c.Done[i].Drop = rulebase.NotSaid
			out = append(out, leftOut{sayDropNow(done.Drop, done.ID), c})
		}
	}
	return out[:min(len(out), mostLeftOut)]
}

// whatElse gives the causes after the three that are always shown, the other steps
// on offer, and what nobody has said yet.
func (c *turn) whatElse(string) (State, Reply) {
	d, err := c.t.diagnose(c.ctx, c.s.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	var lines []string
	if rest := d.Causes[min(3, len(d.Causes)):]; len(rest) > 0 && d.Possible {
		lines = append(lines, sayOtherCauses(d.Base, rest[:min(5, len(rest))]))
	}
	lines = append(lines, wording.Aside(d.Outside, d.None))
	var answers []Answer
	for _, p := range d.Next {
		if len(answers) < 6 && p.Step.ID != c.s.Pending.ID {
			answers = append(answers, Answer{Says: sayOther(&p), Here: c.t.base.SiteName(p.Step.ID).Text(), Entry: c.t.doEntry(p.Step)})
		}
	}
	if unsaid := c.t.unsaid(&c.s, 6); len(unsaid) > 0 {
		lines = append(lines, sayUnsaid(unsaid)...)
	}
	s := c.s
	if len(answers) > 0 {
		answers = append(answers, Answer{Says: sayBackTo, Entry: "none of these"})
		s = c.s.clone()
		s.Pending = Question{Kind: AskElse, Says: []string{sayWhichElse}, Answers: numbered(answers)}
		s.Waiting = slices.Insert(s.Waiting, 0, s.Pending)
	}
	r := Reply{Kind: Explained, Question: s.Pending, Diagnosis: d}
	r.add(PartExplanation, lines...)
	r.addQuestion(c.t, d)
	return s, r
}

// unsaid gives the asks of givens that nobody has given, in the order of the rulebase.
func (t *Talk) unsaid(s *State, most int) []string {
	var out []string
	for i := range t.base.Givens {
		g := &t.base.Givens[i]
		asked := g.FilledBy == "" || strings.HasPrefix(g.FilledBy, "line.") // a sheet may say it, and so may a person
		if asked && g.Ask != "" && !t.said(s, g.ID) && len(out) < most {
			out = append(out, g.Ask+" ("+g.ID+")")
		}
	}
	return out
}

// whatNeed lists the steps that are withheld, why, and the entry that would let each be offered.
func (c *turn) whatNeed(string) (State, Reply) {
	d, err := c.t.diagnose(c.ctx, c.s.Situation, brief)
	if err != nil {
		return c.failed(err)
	}
	lines := c.t.needs(worthwhile(d))
	if len(lines) == 0 {
		lines = []string{sayNeedNothing}
	}
	return c.explain(d, lines...)
}

// needs lists withheld steps under what they wait for.
func (t *Talk) needs(all []engine.Withheld) []string {
	var heads []string
	steps := map[string][]string{}
	for _, w := range all {
		a, ok := t.unlockAnswer(w)
		head := sayNeeds(w, a, ok)
		if _, seen := steps[head]; !seen {
			heads = append(heads, head)
		}
		steps[head] = append(steps[head], "  "+w.Step.Do)
	}
	var lines []string
	for i, head := range heads {
		if i == mostReasons && len(heads) > mostReasons+1 {
			return append(lines, sayMoreReasons(len(heads)-mostReasons))
		}
		all := steps[head]
		lines = append(append(lines, head), all[:min(len(all), mostNeeds)]...)
		if more := len(all) - mostNeeds; more > 0 {
			lines = append(lines, sayMoreSteps(more))
		}
	}
	return lines
}

// details asks the skin to show the whole diagnosis.
func (c *turn) details(string) (State, Reply) {
	d, err := c.t.diagnose(c.ctx, c.s.Situation, thorough)
	if err != nil {
		return c.failed(err)
	}
	return c.s, Reply{Kind: Detailed, Question: c.s.Pending, Diagnosis: d, Parts: []Part{{PartQuestion, questionLines(c.t, c.s.Pending, d)}, {PartAnswers, answerLines(c.s.Pending)}}}
}

// known repeats all that was said.
func (c *turn) known(string) (State, Reply) {
	return c.explain(nil, append(sayKnown(c.t, &c.s.Situation), saySheet(c.s.Sheet)...)...)
}

// list gives the questions with their numbers, all or those that hold a word.
func (c *turn) list(entry string) (State, Reply) {
	word := strings.ToLower(listRE.FindStringSubmatch(entry)[1])
	var lines []string
	for i := range c.t.words.things {
		th := &c.t.words.things[i]
		line := sayListed(c.t, th)
		if word == "" || strings.Contains(strings.ToLower(line), word) {
			lines = append(lines, line)
		}
	}
	if len(lines) == 0 {
		lines = []string{sayNoneListed(word)}
	}
	return c.explain(nil, lines...)
}

// save ends the conversation with its case file.
func (c *turn) save(entry string) (State, Reply) {
	name := saveRE.FindStringSubmatch(entry)[1]
	s := c.s.Situation.Clone()
	if s.Case == "" {
		s.Case = strings.TrimSuffix(name, ".yaml")
	}
	r := Reply{Kind: Saved, CaseName: name, CaseText: string(c.t.base.WriteCase(s))}
	return c.s, r
}

func (c *turn) quit(string) (State, Reply) {
	r := Reply{Kind: Stopped}
	r.add(PartNotice, sayQuit)
	return c.s, r
}
