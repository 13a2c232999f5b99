package engine

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// Options are what a caller may ask of a diagnosis beyond the situation.
type Options struct {
	// Weights asks for the weight of every finding: one more weighing for each.
	Weights bool
	// Weighed is the id of the cause that is weighed against another; "": the first.
	Weighed string
	// Against is the id of the cause that it is weighed against; "", or its own: the likeliest other.
	Against string
	// Last says that nothing will be added to this diagnosis, and that nobody will
	// ask it for its worlds. It then keeps none of what is as long as the list of
	// sets of causes.
	Last bool
	// Earlier is a diagnosis of the same drop with less known. Where the new
	// situation only adds findings as of now, only those are weighed; the answer
	// is the same as from nothing, to 1e-12.
	Earlier *Diagnosis
	// OneCore asks for no help of other cores: for whoever keeps them busy with
	// other diagnoses. It changes no digit.
	OneCore bool
	// NoMinutes leaves out the expected minutes by the base policy, which order
	// nothing: for whoever does not show them and has somebody waiting. All else is
	// the same.
	NoMinutes bool
	// Lean values only what decides the next step: nothing has its expected minutes by
	// the base policy, what is withheld, but for want of a confirmation, has no gain,
	// and a test that was looked at already in this
	// state of work, or gains less than Idle, need not be among what is offered. The
	// order of the rest is the same.
	Lean bool
	// Identify orders what is offered for finding out what to do, by tests alone, and
	// not for a working drop.
	Identify bool
	// Optimal looks for the best next step as far as it can be proven, opening at most
	// so many places of the search; 0: the default policy.
	Optimal int
	// BeliefOnly leaves out what to do: nothing is offered, withheld or advised.
	BeliefOnly bool
	// CausesOnly leaves out all but the causes and what is outside the list, for whoever ranks
	// many cases: no explanations, conditions or bound, and nothing to do. Its numbers are the same, and
	// it must not be gone on with by several goroutines at once.
	CausesOnly bool
}

// working is what a diagnosis keeps for a later one.
type working struct {
	prepared *Prepared
	session  *session
	known    *known
	pieces   []piece
	belief   *belief.Belief
	units    []bool
	done     []rulebase.Done
}

// Diagnose answers a situation. The situation's ids and values are taken as
// checked (see rulebase.ReadCase); what the rulebase does not know is passed
// over. The error is only ever ctx's.
func Diagnose(ctx context.Context, p *Prepared, s rulebase.Situation, o Options) (*Diagnosis, error) {
	d := &Diagnosis{Base: p.base, Situation: s.Clone(), Policy: policyRollout}
	k := p.learn(&d.Situation)
	d.Work.Visits = k.result.Visits
	d.tellFacts(k)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	ses := p.session(k.result.Slots)
	w := &weighing{p: p, k: k, ses: ses, pieces: k.evidence(), oneCore: o.OneCore, lean: o.Lean, causesOnly: o.CausesOnly, hurried: o.Lean || o.NoMinutes, identify: o.Identify, budget: o.Optimal}
	if !w.continues(o.Earlier) {
		w.fromNothing(w.pieces)
	}
	d.Work.Hypotheses = len(w.belief.Weight)
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d.conclude(w)
	if o.Weights && d.Possible {
		d.Weights = w.weights(d, o.Weighed, o.Against)
	}
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	d.working = &working{p, ses, k, w.pieces, w.belief, w.units, d.Situation.Done}
	if d.Possible && !o.BeliefOnly && !o.CausesOnly {
		d.propose(w)
		d.proves(w)
	}
	if o.Last {
		d.working = &working{known: k}
		return d, nil
	}
	if !o.CausesOnly {
		w.belief.Ready()
	}
	return d, nil
}

// A weighing goes from evidence to belief.
type weighing struct {
	p      *Prepared
	k      *known
	ses    *session
	pieces []piece
	belief *belief.Belief // now
	units  []bool         // by world: a cause that was taken away ended as unit_out; nil: none did

	oneCore, lean bool
	causesOnly    bool
	hurried       bool // nothing has its minutes by the base policy
	identify      bool
	budget        int  // places that a search for the best may open
	waits         bool // lean: a step of grave hazard may have to wait
}

func (w *weighing) prior() *belief.Belief {
	base := w.p.base
	total := 0.0
	if w.truncated() {
		total = belief.TotalPrior(w.ses.odds, base.Together, min(base.FaultsAtMost, len(base.Causes)))
	}
	return belief.Prior(w.ses.system, w.ses.settled.Fork(), w.ses.odds, base.Together, base.Outside, total, &belief.Desk{}).Use(w.ses.sorting)
}

func (w *weighing) truncated() bool {
	return w.p.atMost < min(w.p.base.FaultsAtMost, len(w.p.base.Causes))
}

// fromNothing weighs pieces from the prior on, state of work by state of work.
func (w *weighing) fromNothing(pieces []piece) {
	b := w.prior()
	w.units = nil
	at := 0
	for state := 0; ; state++ {
		for ; at < len(pieces) && pieces[at].state == state; at++ {
			w.weigh(b, &pieces[at])
		}
		if state == len(w.k.s.Done) {
			break
		}
		b = w.work(b, w.k.s.Done[state].ID)
	}
	w.belief = b
}

func (w *weighing) weigh(b *belief.Belief, p *piece) {
	switch {
	case p.outs:
		b.Forbid(p.cause)
	case p.settles:
		b.Require(p.cause)
	default:
		b.Observe(w.k.observation(w.ses, p))
	}
}

// work goes on to the state after an entry of the work done, and notes in which
// worlds a cause was taken that ends as unit_out: by the remedy that took it,
// or, where a test did, by its last remedy.
func (w *weighing) work(b *belief.Belief, id string) *belief.Belief {
	after := b.Work(takings(w.p.base, id))
	step := w.p.base.Step(id)
	units := make([]bool, len(after.Weight))
	some := false
	for i := range units {
		from := i
		if after.From != nil {
			from = int(after.From[i])
		}
		units[i] = w.units != nil && w.units[from] || w.unitTaken(step, b.Now.Set(from), after.Now.Set(i))
		some = some || units[i]
	}
	w.units = nil
	if some {
		w.units = units
	}
	return after
}

func (w *weighing) unitTaken(step *rulebase.Step, before, after []uint16) bool {
	for _, c := range before {
		if slices.Contains(after, c) {
			continue
		}
		if step.Kind == rulebase.KindRemedy && step.EndsAs == rulebase.UnitOut || step.Kind == rulebase.KindTest && w.p.ends[c] {
			return true
		}
	}
	return false
}

// continues starts from an earlier diagnosis where that one weighed a part of
// what is to be weighed now and the rest is as of now.
func (w *weighing) continues(earlier *Diagnosis) bool {
	if earlier == nil || earlier.working == nil || earlier.working.belief == nil {
		return false
	}
	e := earlier.working
	if e.prepared != w.p || e.session != w.ses || !slices.EqualFunc(e.done, w.k.s.Done, func(a, b rulebase.Done) bool { return a.ID == b.ID && a.Drop == b.Drop }) {
		return false
	}
	old := e.pieces
	var fresh []piece
	for _, p := range w.pieces {
		if len(old) > 0 && samePiece(old[0], p) {
			old = old[1:]
		} else if p.state == len(w.k.s.Done) {
			fresh = append(fresh, p)
		} else {
			return false
		}
	}
	if len(old) > 0 {
		return false
	}
	w.belief, w.units = e.belief.Copy(), e.units
	for i := range fresh {
		w.weigh(w.belief, &fresh[i])
	}
	return true
}

func samePiece(a, b piece) bool {
	return a.symptom == b.symptom && a.state == b.state && a.value == b.value && a.among == b.among && a.sure == b.sure &&
		a.cause == b.cause && a.outs == b.outs && a.settles == b.settles && a.rule == b.rule
}

// conclude reads the numbers off the belief.
func (d *Diagnosis) conclude(w *weighing) {
	b := w.belief
	listed := 0.0
	for _, x := range b.Weight {
		listed += x
	}
	if listed == 0 {
		d.contradiction(w)
	}
	total := b.Total()
	d.Possible = total > 0
	if !d.Possible {
		return
	}
	d.Evidence = b.Evidence()
	d.Outside = b.Outside / total
	began, now := b.Causes()
	d.rank(w.k, began, now)
	if w.causesOnly {
		return
	}
	for n, p := range b.Gathered().Conditions() {
		d.Conditions = append(d.Conditions, ConditionBelief{n, p})
	}
	slices.SortStableFunc(d.Conditions, func(x, y ConditionBelief) int {
		return cmp.Or(cmp.Compare(rounded(y.Probability), rounded(x.Probability)), cmp.Compare(d.Base.Conditions[x.Condition].ID, d.Base.Conditions[y.Condition].ID))
	})
	d.explain(b, total)
	d.UnitOut = w.unitOut() / total
	if w.truncated() {
		d.LeftOut = w.leftOut()
	}
}

// rank lists the causes by falling chance.
func (d *Diagnosis) rank(k *known, began, now []float64) {
	keys := make([]float64, len(began)) // by cause
	d.Causes = make([]CauseBelief, len(began))
	for c := range d.Base.Causes {
		keys[c] = rounded(began[c])
		d.Causes[c] = CauseBelief{c, began[c], now[c], k.nextRemedy(c)}
	}
	slices.SortStableFunc(d.Causes, func(x, y CauseBelief) int {
		return cmp.Or(cmp.Compare(keys[y.Cause], keys[x.Cause]), cmp.Compare(d.Base.Causes[x.Cause].ID, d.Base.Causes[y.Cause].ID))
	})
}

// nextRemedy is a cause's first remedy not yet done, -1 where none is left.
func (k *known) nextRemedy(cause int) int {
	for _, h := range k.base.Causes[cause].Remedies {
		if _, done := k.last[k.base.Remedies[h.Remedy].ID]; !done {
			return h.Remedy
		}
	}
	return -1
}

// rounded is a number at 12 significant digits: what lists are sorted by, so
// that rounding decides no order.
func rounded(x float64) float64 {
	if x == 0 || math.IsInf(x, 0) || math.IsNaN(x) {
		return x
	}
	scale := math.Pow(10, 11-math.Floor(math.Log10(math.Abs(x))))
	if math.IsInf(scale, 0) {
		return x
	}
	return math.Round(x*scale) / scale
}

// shown is how many explanations are kept.
const shown = 10

// explain lists the likeliest sets of causes when the case began. Worlds that
// differ only in what work helped are one set.
func (d *Diagnosis) explain(b *belief.Belief, total float64) {
	weight := b.Weight
	if b.Root != nil {
		weight = make([]float64, int(slices.Max(b.Root))+1)
		for i, r := range b.Root {
			weight[r] += b.Weight[i]
		}
	}
	set := func(i int) []uint16 { return b.Began.Set(i) }
	if b.Root != nil {
		first := map[int]int{}
		for i, r := range b.Root {
			if _, ok := first[int(r)]; !ok {
				first[int(r)] = i
			}
		}
		set = func(i int) []uint16 { return b.Began.Set(first[i]) }
	}
	d.None = weight[0] / total
	floor := nthLargest(weight, shown) * (1 - 1e-11)
	for i, x := range weight {
		if x < floor || x == 0 {
			continue
		}
		e := Explanation{Probability: x / total, Causes: []int{}}
		for _, c := range set(i) {
			e.Causes = append(e.Causes, int(c))
		}
		d.Explanations = append(d.Explanations, e)
	}
	slices.SortStableFunc(d.Explanations, func(x, y Explanation) int {
		return cmp.Or(cmp.Compare(rounded(y.Probability), rounded(x.Probability)), strings.Compare(d.setID(x.Causes), d.setID(y.Causes)))
	})
	d.Explanations = d.Explanations[:min(shown, len(d.Explanations))]
}

func (d *Diagnosis) setID(causes []int) string {
	ids := make([]string, len(causes))
	for i, c := range causes {
		ids[i] = d.Base.Causes[c].ID
	}
	slices.Sort(ids)
	return strings.Join(ids, " ")
}

// nthLargest is the n-th largest of the weights, or the smallest where there are fewer.
func nthLargest(weight []float64, n int) float64 {
	var top []float64
	for _, w := range weight {
		if len(top) == n && w <= top[n-1] {
			continue
		}
		at, _ := slices.BinarySearchFunc(top, w, func(e, t float64) int { return cmp.Compare(t, e) })
		top = slices.Insert(top, at, w)
		top = top[:min(n, len(top))]
	}
	if len(top) == 0 {
		return 0
	}
	return top[len(top)-1]
}

// unitOut is the mass of the worlds in which some cause ends as unit_out: one
// that was taken, or one still there by its last remedy.
func (w *weighing) unitOut() float64 {
	b := w.belief
	mask := make([]uint64, b.Now.Words())
	for c, ends := range w.p.ends {
		if !ends {
			continue
		}
		for j, word := range b.Now.Column(c) {
			mask[j] |= word
		}
	}
	for i, taken := range w.units {
		if taken {
			mask[i>>6] |= 1 << (i & 63)
		}
	}
	return hypothesis.SumColumn(mask, b.Weight)
}

// leftOut bounds the posterior mass of the sets that are not held.
func (w *weighing) leftOut() float64 {
	base := w.p.base
	empty := w.ses.system.Settle(hypothesis.Of(len(base.Causes), [][]int{{}}))
	influence := w.ses.system.Influence()
	var bearings []belief.Bearing
	for i := range w.pieces {
		if !w.pieces[i].isReport() {
			continue // forbidding only takes mass away: leaving it out keeps a bound
		}
		bearings = append(bearings, belief.Bear(w.k.observation(w.ses, &w.pieces[i]), influence, empty))
	}
	atMost := min(base.FaultsAtMost, len(base.Causes))
	rest := belief.LeftOut(w.ses.odds, base.Together, w.p.atMost+1, atMost, bearings)
	rest *= (1 - base.Outside) / belief.TotalPrior(w.ses.odds, base.Together, atMost)
	if held := w.belief.Evidence(); held > 0 {
		return rest / (held + rest)
	}
	return 1
}

// searchNodes bounds the search for a smallest contradiction.
const searchNodes = 1_000_000

// contradiction names a smallest set of findings and conclusions that no listed
// set of causes allows.
func (d *Diagnosis) contradiction(w *weighing) {
	prior := w.prior()
	search := belief.NewSearch(prior)
	b, at := prior, 0
	for state := 0; ; state++ {
		for ; at < len(w.pieces) && w.pieces[at].state == state && at < belief.MostItems; at++ {
			p := &w.pieces[at]
			switch {
			case p.outs:
				search.Forbid(at, p.cause)
			case p.settles:
				search.Require(at, p.cause)
			default:
				search.Observe(at, w.k.observation(w.ses, p))
			}
		}
		if state == len(w.k.s.Done) {
			break
		}
		b = b.Work(takings(w.p.base, w.k.s.Done[state].ID))
		search.Work(b)
	}
	items, nodes := search.Smallest(func(i int) bool { return b.Weight[i] > 0 }, searchNodes)
	d.Work.Nodes += nodes
	if items == nil {
		return
	}
	var members, says []string
	for _, i := range items {
		p := &w.pieces[i]
		if p.isReport() {
			members = append(members, w.k.id(p.symptom))
			says = append(says, w.k.id(p.symptom)+" "+w.k.value(p.seen))
			continue
		}
		members = append(members, d.Base.Rules[p.rule].ID)
		says = append(says, "what the rule "+d.Base.Rules[p.rule].ID+" concludes")
	}
	d.Conflicts = append(d.Conflicts, Conflict{Kind: ConflictImpossible, Members: members,
		Says: fmt.Sprintf("Nothing listed allows all of this together: %s.", strings.Join(says, "; "))})
}

// weights says, for every piece of evidence, by what factor it moved the odds of
// one cause against another: the odds with all evidence, divided by those
// with all but this piece. Findings' order does not matter to it.
func (w *weighing) weights(d *Diagnosis, weighed, against string) []Weight {
	if len(d.Causes) < 2 {
		return nil
	}
	at := func(id string) int {
		return slices.IndexFunc(d.Causes, func(b CauseBelief) bool { return d.Base.Causes[b.Cause].ID == id })
	}
	this, other := max(0, at(weighed)), at(against)
	if other < 0 || other == this {
		if other = 0; this == 0 {
			other = 1
		}
	}
	d.Weighed = [2]int{d.Causes[this].Cause, d.Causes[other].Cause}
	if d.Causes[this].Probability == 0 || d.Causes[other].Probability == 0 {
		return nil
	}
	first, second := d.Weighed[0], d.Weighed[1]
	odds := d.Causes[this].Probability / d.Causes[other].Probability
	var all []Weight
	for i := range w.pieces {
		p := &w.pieces[i]
		a, b := w.without(i, first, second)
		one := Weight{Factor: odds * b / a}
		if p.rule >= 0 {
			one.Rule = d.Base.Rules[p.rule].ID
		}
		if p.isReport() {
			one.Finding, one.Value = w.k.id(p.symptom), w.k.value(p.seen)
		}
		all = append(all, one)
	}
	return all
}

// without is the mass of two causes, when the case began, with all evidence but
// one piece. Where that piece belongs to this state of work and excludes nothing,
// its probabilities are divided out; else the rest is weighed from nothing.
func (w *weighing) without(i, first, second int) (a, b float64) {
	if p := &w.pieces[i]; p.isReport() && p.state == len(w.k.s.Done) {
		if weight := w.belief.Without(w.k.observation(w.ses, p)); weight != nil {
			began := w.belief.Began
			return hypothesis.SumColumn(began.Column(first), weight), hypothesis.SumColumn(began.Column(second), weight)
		}
	}
	rest := weighing{p: w.p, k: w.k, ses: w.ses}
	rest.fromNothing(slices.Delete(slices.Clone(w.pieces), i, i+1))
	began, _ := rest.belief.Causes()
	return began[first], began[second]
}
