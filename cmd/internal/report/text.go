package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// TextOptions say how much of a diagnosis a person wants to see.
type TextOptions struct {
	Width  int  // columns; 0, or more than Columns: Columns
	Detail bool // also every step in full, facts with their why, all numbers with all digits
	Hints  bool // also what to type next on the command line
}

// How much is shown without details. A person at a machine reads a screen, not a list.
const (
	shownCauses   = 3
	shownElse     = 4
	shownWithheld = 2 // of each reason
	shownWeights  = 3
	shownTools    = 8

	shownReasons = 5

	worthALine = 0.1  // bits: what "helps a little" begins with; a test of less gets no line
	worthATry  = 0.02 // chance that what a remedy is for is there; one of less gets no line
)

// Text writes a diagnosis for people. What matters first stands first: whether it
// is the unit, what is likely, what does not fit, and what to do now, with what
// can hurt before the step.
func Text(w io.Writer, d *engine.Diagnosis, o TextOptions) error {
	t := &text{page: newPage(o.Width), d: d, o: o, well: isWell(d)}
	if d.Possible {
		t.verdict()
		t.advice()
		t.likely()
		t.unexplained()
	} else {
		t.say(sayImpossible)
	}
	t.conflicts()
	if d.Possible {
		t.next()
		t.tells()
		t.why()
		t.others()
		t.withheld()
	} else {
		t.gap()
		t.say(sayImpossibleDo)
		t.tells()
	}
	t.unweighed()
	if o.Detail {
		t.detail()
	}
	t.gap()
	t.say(sayCase(d.Situation.Case, d.Base))
	return t.writeTo(w)
}

type text struct {
	*page
	d    *engine.Diagnosis
	o    TextOptions
	well bool
}

func isWell(d *engine.Diagnosis) bool {
	return len(d.Next) == 0 && slices.ContainsFunc(d.NotOffered, func(w engine.Withheld) bool { return w.Why == engine.WhyWell })
}

// verdict says whether it is the unit; a rulebase that knows no units to exchange says nothing.
func (t *text) verdict() {
	if t.well {
		t.say(sayWell)
	}
	if !slices.ContainsFunc(t.d.Base.Remedies, func(s rulebase.Step) bool { return s.EndsAs == rulebase.UnitOut }) {
		return
	}
	says := sayUnit(t.d.UnitOut, t.well)
	if t.d.Outside >= 0.2 && t.d.UnitOut < 0.65 {
		says += " " + sayUnitOutside
	}
	t.say(says)
}

// advice says whether enough is known, by phone how the call ends. A remedy is
// never named without what can hurt before it.
func (t *text) advice() {
	a := &t.d.Advice
	switch x := t.d.Disposition; {
	case t.well:
	case x != nil && x.Enough:
		if x.Kind == engine.SolveNow && !t.isBelow(x.Remedies) {
			t.hurts(x.Remedies)
		}
		t.say(sayDisposition(t.d.Base, x, t.isBelow(x.Remedies)) + " " + sayIfWrong(t.d, x.Wrong, x.InVain))
	case x == nil && a.Enough && t.isBelow(a.Lead.Remedies) && !a.Lead.Elsewhere:
		t.say(sayEnoughBelow(a.Lead.Probability) + " " + sayIfWrong(t.d, a.Wrong, a.InVain))
	case x == nil && a.Enough:
		t.hurts(a.Lead.Remedies)
		t.say(sayEnough(t.d.Base, a.Lead) + " " + sayIfWrong(t.d, a.Wrong, a.InVain))
	case x == nil && a.CannotTell:
		t.say(sayCannotTell(t.d.Base, a))
	}
	if len(a.Sure) > 0 && !t.well && !a.Enough && (t.d.Disposition == nil || !t.d.Disposition.Enough) {
		t.say(saySure(t.d.Base, a.Sure))
	}
}

// isBelow says whether one remedy is all there is to do, and is told in full below.
func (t *text) isBelow(remedies []int) bool {
	return len(remedies) == 1 && len(t.d.Next) > 0 && t.d.Next[0].Step == &t.d.Base.Remedies[remedies[0]]
}

// hurts says what can hurt in remedies that are about to be named, each thing once.
func (t *text) hurts(remedies []int) {
	var all []*rulebase.Warning
	var hazards rulebase.Hazard
	for _, r := range remedies {
		all = append(all, warningsOf(t.d.Base, &t.d.Base.Remedies[r])...)
		hazards |= t.d.Base.Remedies[r].Hazard
	}
	if len(all) == 0 && hazards == 0 {
		return
	}
	t.say(sayEnoughHurts)
	said := map[*rulebase.Warning]bool{}
	for _, level := range levels {
		for _, w := range all {
			if w.Level == level && !said[w] {
				said[w] = true
				t.item(fmt.Sprintf("  %-8s ", signalWord(w.Level)), sayWarning(w))
			}
		}
	}
	if hazards != 0 {
		t.item("  ", wording.Hazards(hazards))
	}
}

// An answer is one line of what is likely.
type answer struct {
	says   string
	chance float64
}

// still says that what counts is what is wrong now, after work that did not end the case.
func (t *text) still() bool { return len(t.d.Situation.Done) > 0 && !t.well }

// ranked are the causes as answers, the likeliest first.
func (t *text) ranked() []answer {
	var all []answer
	for _, c := range t.d.Causes {
		a := answer{causeHere(t.d.Base, c.Cause), c.Probability}
		if t.still() {
			a.chance = c.Now
		}
		if a.chance > 0 {
			all = append(all, a)
		}
	}
	slices.SortStableFunc(all, byChance)
	return all
}

func byChance(a, b answer) int { return cmp.Compare(b.chance, a.chance) }

func (t *text) likely() {
	head, none := sayLikely, sayNone
	switch {
	case t.well:
		head, none = sayLikelyWas, sayWasNone
	case t.still():
		head, none = sayLikelyStill, sayWasNone
	}
	causes := t.ranked()
	shown := slices.Clone(causes[:min(shownCauses, len(causes))])
	if t.d.Base.Outside > 0 || t.d.Outside > 0 {
		shown = append(shown, answer{sayOutside, t.d.Outside})
	}
	if t.d.None >= 0.0095 {
		shown = append(shown, answer{none, t.d.None})
	}
	slices.SortStableFunc(shown, byChance)
	t.gap()
	if len(shown) == 0 {
		t.say(sayNoneLikely)
		return
	}
	t.say(head)
	for _, a := range shown {
		t.item(fmt.Sprintf("  %-18s  ", Chance(a.chance)), a.says)
	}
	if more := causes[min(shownCauses, len(causes)):]; len(more) > 0 {
		t.say(sayMoreCauses(len(more), more[0].chance))
	}
	t.together()
	t.putRight()
	if t.d.LeftOut >= 0.01 {
		t.say(sayLeftOut(t.d.LeftOut))
	}
}

// unexplained names, once the drop is well, what that does not explain.
func (t *text) unexplained() {
	if !t.well {
		return
	}
	if len(t.d.Situation.Done) == 0 {
		t.gap()
		t.say(sayWellByItself)
	}
	if len(t.d.NotExplained) == 0 {
		return
	}
	t.gap()
	t.say(sayUnexplainedHead)
	for _, says := range sayNotExplained(t.d) {
		t.item("  - ", says)
	}
}

// together says when the likeliest set of causes has more than one.
func (t *text) together() {
	if len(t.d.Explanations) == 0 || len(t.d.Explanations[0].Causes) < 2 {
		return
	}
	var names []string
	for _, c := range t.d.Explanations[0].Causes {
		names = append(names, t.d.Base.Causes[c].Name)
	}
	t.say(sayTogether(names, t.d.Explanations[0].Probability))
}

// putRight names the causes that the work done has probably taken away.
func (t *text) putRight() {
	if !t.still() {
		return
	}
	headed := false
	for _, c := range t.d.Causes {
		if c.Probability-c.Now < 0.05 {
			continue
		}
		if !headed {
			t.say(sayPutRight)
			headed = true
		}
		t.item(fmt.Sprintf("  %-18s  ", Chance(c.Probability)), causeHere(t.d.Base, c.Cause))
	}
}

func (t *text) conflicts() {
	if len(t.d.Conflicts) == 0 {
		return
	}
	t.gap()
	t.say(sayDoesNotFit)
	for _, c := range t.d.Conflicts {
		t.item("  - ", c.Says)
		for _, line := range c.Why {
			said := strings.TrimLeft(line, " ")
			t.item(strings.Repeat(" ", 6+len(line)-len(said)), said)
		}
		if c.Kind != engine.ConflictImpossible {
			continue
		}
		for _, m := range c.Members {
			t.item("      ", sayMember(t.d.Base, m))
		}
	}
}

func (t *text) next() {
	t.gap()
	if len(t.d.Next) == 0 {
		if !t.well {
			t.say(sayNothingNext)
		}
		return
	}
	if t.d.Outside >= 0.5 {
		t.say(sayOutsideLikely)
		t.gap()
	}
	p := &t.d.Next[0]
	t.say(sayNextHead(t.d.Base, p.Step, len(p.Step.Warnings) > 0 || p.Step.Hazard != 0))
	t.step(p)
}

var levels = []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel}

// warningsOf are the warnings of a step, the gravest first.
func warningsOf(b *rulebase.Base, s *rulebase.Step) []*rulebase.Warning {
	var all []*rulebase.Warning
	for _, i := range s.Warnings {
		all = append(all, &b.Warnings[i])
	}
	slices.SortStableFunc(all, func(x, y *rulebase.Warning) int {
		return cmp.Compare(slices.Index(levels, x.Level), slices.Index(levels, y.Level))
	})
	return all
}

// signalWord is the word that a warning of a level begins with.
func signalWord(l rulebase.Level) string { return strings.ToUpper(string(l)) }

// step writes a step in full: what can hurt, then what to do, then what it is worth.
func (t *text) step(p *engine.Proposal) {
	b, s := t.d.Base, p.Step
	for _, w := range warningsOf(b, s) {
		t.item(fmt.Sprintf("  %-8s ", signalWord(w.Level)), sayWarning(w))
	}
	if s.Hazard != 0 {
		t.item("  ", wording.Hazards(s.Hazard))
	}
	for _, id := range p.AskFirst {
		if g := givenOf(b, id); g != nil {
			t.item("  ", sayAskFirst(g))
			t.hint(hintGiven(g))
		}
	}
	if len(s.Warnings) > 0 || s.Hazard != 0 || len(p.AskFirst) > 0 {
		t.gap()
	}
	t.item("  ", sentence(nameOf(b, s)))
	for _, says := range sayOnSite(b, s) {
		t.item("  ", says)
	}
	if s.Implied {
		t.item("  ", sayAnswers(&b.Symptoms[s.Yields[0]]))
	}
	for i, do := range s.Steps {
		t.item(fmt.Sprintf("  %3d. ", i+1), do)
	}
	if !s.Implied {
		t.item("  ", sayPrice(s))
	}
	t.worth(p)
	t.gap()
}

func (t *text) worth(p *engine.Proposal) {
	b, s := t.d.Base, p.Step
	if s.Kind == rulebase.KindTest {
		t.item("  ", sayGain(p.GainBits))
		if len(s.PutsRight) > 0 {
			t.item("  ", sayMayPutRight(causeNames(b, s.PutsRight)))
		}
		t.hintSee(s)
		return
	}
	if s.Temporary {
		for _, says := range wording.Stopgap(s) {
			t.item("  ", says)
		}
	} else if name, chance := serves(t.d, s); name != "" {
		t.item("  ", sayFor(name, chance))
	}
	if s.Proof != nil {
		for _, says := range sayProof(b, t.d.ProofOf(s)) {
			t.item("  ", says)
		}
	}
	t.hint(hintDone(s))
}

// hintSee says how to enter what a test shows.
func (t *text) hintSee(s *rulebase.Step) {
	if len(s.Yields) == 1 {
		t.hint(hintSee(&t.d.Base.Symptoms[s.Yields[0]]))
		return
	}
	t.hint(hintSeeEach)
	for _, y := range s.Yields {
		if t.o.Hints {
			t.item("    - ", hintEach(&t.d.Base.Symptoms[y]))
		}
	}
}

func (t *text) hint(says string) {
	if t.o.Hints {
		t.item("  ", says)
	}
}

// serves is the likeliest cause that a remedy takes, by what is still there.
func serves(d *engine.Diagnosis, s *rulebase.Step) (name string, chance float64) {
	for _, c := range d.Causes {
		cause := &d.Base.Causes[c.Cause]
		takes := slices.ContainsFunc(cause.Remedies, func(h rulebase.Helps) bool { return d.Base.Remedies[h.Remedy].ID == s.ID })
		if takes && c.Now > chance {
			name, chance = cause.Name, c.Now
		}
	}
	return name, chance
}

func causeNames(b *rulebase.Base, causes []int) []string {
	names := make([]string, len(causes))
	for i, c := range causes {
		names[i] = b.Causes[c].Name
	}
	return names
}

func nameOf(b *rulebase.Base, s *rulebase.Step) string { return wording.NameOf(b, s) }

func givenOf(b *rulebase.Base, id string) *rulebase.Given {
	i := slices.IndexFunc(b.Givens, func(g rulebase.Given) bool { return g.ID == id })
	if i < 0 {
		return nil
	}
	return &b.Givens[i]
}

func (t *text) tells() {
	if len(t.d.Tells) == 0 {
		return
	}
	t.gap()
	t.say(sayKeepInMind)
	for _, tell := range t.d.Tells {
		t.item("  - ", tell.Says)
	}
}

// weights are those that moved something, the strongest first.
func weights(d *engine.Diagnosis) []engine.Weight {
	all := slices.Clone(d.Weights)
	strength := func(w *engine.Weight) float64 {
		if math.IsNaN(w.Factor) {
			return 0
		}
		return math.Abs(math.Log(w.Factor))
	}
	slices.SortStableFunc(all, func(a, b engine.Weight) int { return cmp.Compare(strength(&b), strength(&a)) })
	return all
}

// why says what all this rests on, and what spoke for the first cause against the
// second. Once the first is put right, nobody asks that any more.
func (t *text) why() {
	t.restsOn()
	if len(t.d.Causes) < 2 || t.still() && t.d.Causes[0].Now < t.d.Causes[0].Probability/2 {
		return
	}
	var said []engine.Weight
	for _, w := range weights(t.d) {
		if len(said) < shownWeights && (w.Factor >= 1.1 || w.Factor <= 1/1.1) {
			said = append(said, w)
		}
	}
	if len(said) == 0 {
		return
	}
	t.say(sayWhy(t.d.Base.Causes[t.d.Causes[0].Cause].Name, t.d.Base.Causes[t.d.Causes[1].Cause].Name))
	for i := range said {
		t.item("  - ", sayWeight(&said[i]))
	}
}

// worthSaying says whether a step deserves a line where there is room for a few.
func worthSaying(d *engine.Diagnosis, p *engine.Proposal) bool {
	if p.Step.Kind == rulebase.KindTest {
		return p.GainBits >= worthALine
	}
	_, chance := serves(d, p.Step)
	return p.Step.Temporary || chance >= worthATry
}

func (t *text) others() {
	if len(t.d.Next) < 2 || t.o.Detail { // details show every step in full
		return
	}
	marked, shown := false, 0
	for i := range t.d.Next {
		p := &t.d.Next[i]
		if i == 0 || shown == shownElse || !worthSaying(t.d, p) {
			continue
		}
		if shown++; shown == 1 {
			t.gap()
			t.say(sayElse)
		}
		says := sayElseStep(t.d, p)
		if w := warningsOf(t.d.Base, p.Step); len(w) > 0 {
			says, marked = signalWord(w[0].Level)+": "+says, true
		}
		t.item("  - ", says)
	}
	if more := len(t.d.Next) - 1 - shown; shown == 0 {
		t.gap()
		t.say(sayLittleElse(more))
	} else if more > 0 {
		t.say(sayMoreSteps(more))
	}
	if marked {
		t.say(sayElseMarked)
	}
}

// restsOn repeats what was said, so that a slip is noticed.
func (t *text) restsOn() {
	var said []string
	for i := range t.d.Situation.Findings {
		if f := &t.d.Situation.Findings[i]; t.weighs(f) {
			said = append(said, sayFinding(t.d.Base, f))
		}
	}
	for i := range t.d.Situation.Done {
		said = append(said, sayDone(&t.d.Situation.Done[i]))
	}
	t.gap()
	if len(said) == 0 {
		t.say(saySaidNothing)
		return
	}
	t.say(sayRestsOn(said))
}

// weighs says whether a finding can move a chance at all.
func (t *text) weighs(f *rulebase.Finding) bool {
	at := slices.IndexFunc(t.d.Base.Symptoms, func(s rulebase.Symptom) bool { return s.ID == f.Symptom })
	return !t.anotherDrops(f) && at >= 0 && t.d.Base.Symptoms[at].Weighs
}

func (t *text) anotherDrops(f *rulebase.Finding) bool {
	return f.Drop != 0 && f.Drop != t.d.Situation.Drop
}

// A reason is a group of steps withheld for the same reason.
type reason struct {
	engine.Withheld
	steps []*engine.Withheld
}

// quiet are the reasons that ask nothing of anybody: a count will do.
func quiet(w engine.Why) bool {
	return w == engine.WhyKnown || w == engine.WhyDone || w == engine.WhyWell
}

// inOneSentence are the reasons that come in many variants: one sentence counts them.
func inOneSentence(w engine.Why) bool { return w == engine.WhyTools || w == engine.WhyPlace }

func (t *text) withheld() {
	var reasons []reason
	count := map[engine.Why]int{}
	for i := range t.d.NotOffered {
		w := &t.d.NotOffered[i]
		if quiet(w.Why) && !t.o.Detail {
			count[w.Why]++
			continue
		}
		at := slices.IndexFunc(reasons, func(r reason) bool {
			return r.Why == w.Why && (r.Detail == w.Detail || inOneSentence(w.Why) && !t.o.Detail)
		})
		if at < 0 {
			at = len(reasons)
			reasons = append(reasons, reason{Withheld: *w})
		}
		reasons[at].steps = append(reasons[at].steps, w)
	}
	if len(reasons) > 0 {
		t.gap()
		t.say(sayNotOffered)
	}
	for i := range reasons {
		if i < shownReasons || t.o.Detail {
			t.reason(&reasons[i])
		}
	}
	if more := len(reasons) - shownReasons; more > 0 && !t.o.Detail {
		t.item("  ", sayMoreReasons(more))
	}
	if known, done, well := count[engine.WhyKnown], count[engine.WhyDone], count[engine.WhyWell]; known+done+well > 0 {
		t.gap()
		t.say(sayQuiet(known, done, well))
	}
}

func (t *text) reason(r *reason) {
	if inOneSentence(r.Why) && !t.o.Detail {
		t.item("  ", sayTogetherWithheld(t.d.Base, r.Why, r.steps))
		return
	}
	t.item("  ", sayWithheld(t.d.Base, &r.Withheld, len(r.steps)))
	shown := r.steps
	if !t.o.Detail {
		shown = shown[:min(shownWithheld, len(shown))]
	}
	for _, w := range shown {
		says := nameOf(t.d.Base, w.Step)
		if t.o.Detail {
			says += " [" + w.Step.ID + ", " + figure(w.GainBits) + " bit]"
		}
		t.item("    - ", says)
	}
	if more := len(r.steps) - len(shown); more > 0 {
		t.item("    - ", sayAndMore(more))
	}
}

// unweighed says which findings were noted and move nothing.
func (t *text) unweighed() {
	var says []string
	for i := range t.d.Situation.Findings {
		f := &t.d.Situation.Findings[i]
		switch {
		case t.anotherDrops(f):
			says = append(says, sayOtherDrop(f))
		case !t.weighs(f):
			says = append(says, sayWeighsNothing(f))
		}
	}
	if len(says) == 0 {
		return
	}
	t.gap()
	t.say(sayNotWeighed)
	for _, s := range says {
		t.item("  - ", s)
	}
}

// figure is a number that orders steps, to three figures: nobody reads more, and a
// program gets all of them. Chances keep theirs, for 0.9999 is not 1.
func figure(x float64) string { return strconv.FormatFloat(x, 'g', 3, 64) }

// digits is a number with every digit it has.
func digits(x float64) string { return strconv.FormatFloat(x, 'g', -1, 64) }

// sentence ends a text with a full stop where it has no end of its own.
func sentence(s string) string {
	if s == "" || slices.Contains([]byte(".?!:"), s[len(s)-1]) {
		return s
	}
	return s + "."
}
