package engine

import (
	"cmp"
	"fmt"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"

	"downdrop/engine/hypothesis"
	"downdrop/engine/plan"
	"downdrop/rulebase"
)

// A candidate is a step with what it is worth and whether it may be offered.
type candidate struct {
	step    *rulebase.Step
	remedy  int // its place among the remedies; -1 for a test
	price   float64
	gain    float64
	call    float64 // by phone: what it tells of how the call ends, in bits
	saves   float64 // by phone: minutes
	minutes float64
	changes bool // some result of it makes another remedy the first to try
	refused *refusal
	action  *plan.Action
	planned plan.Rank // what the planner makes of it
}

// idle says that a step tells next to nothing, and is none that could help.
func (c *candidate) idle() bool { return c.remedy < 0 && c.gain < Idle }

// propose values every step and sorts them into what can be offered and what
// cannot.
func (d *Diagnosis) propose(w *weighing) {
	may := w.k.permission()
	all := w.candidates(may)
	if w.lean {
		all = w.leanOn(d, all)
	}
	matters := w.k.matters(w.ses, may)
	if d.Situation.At == rulebase.Phone {
		matters.Calls, matters.Helps = w.k.calls(may), w.k.helps()
	}
	scene := w.values(all, matters)
	if w.hurried && slices.ContainsFunc(all, func(c candidate) bool { return c.refused == nil && c.step.Hazard&grave != 0 }) {
		w.decides(scene, all)
	}
	wait(all)
	if w.lean && !w.waits {
		all = slices.DeleteFunc(all, func(c candidate) bool { return c.refused == nil && c.idle() })
	}
	d.order(w, scene, all)
	outcomes, outside := scene.Outcomes(smallest)
	if d.Situation.At == rulebase.Phone {
		d.Disposition = d.dispose(w, outcomes, outside)
		saves(all, d.Disposition.ToKnow, scene.CallEntropy())
	}
	d.sortOffers(all, may)
	d.advise(w, outcomes, outside)
}

// candidates are all steps, each with the first line of the permission table
// that fails and that needs no worth to be known.
func (w *weighing) candidates(may *permission) []candidate {
	var all []candidate
	well := w.k.well()
	add := func(step *rulebase.Step, remedy int) {
		c := candidate{step: step, remedy: remedy, price: w.k.price(step)}
		switch {
		case well:
			c.refused = &refusal{WhyWell, ""}
		default:
			c.refused = may.first(step)
		}
		all = append(all, c)
	}
	for i := range w.p.base.Tests {
		add(&w.p.base.Tests[i], -1)
	}
	for i := range w.p.base.Remedies {
		add(&w.p.base.Remedies[i], i)
	}
	return all
}

// leanOn leaves out tests that were looked at already in this state of work, unless
// they can keep a grave hazard waiting.
func (w *weighing) leanOn(d *Diagnosis, all []candidate) []candidate {
	w.waits = slices.ContainsFunc(all, func(c candidate) bool { return c.refused == nil && c.step.Hazard&grave != 0 })
	if w.waits {
		return all
	}
	return slices.DeleteFunc(all, func(c candidate) bool {
		return c.refused == nil && c.step.Kind == rulebase.KindTest && !d.Fresh(c.step)
	})
}

// worthSharing is from how many worlds on the steps are valued on all cores.
const worthSharing = 1000

// values works out what every step is worth, and gives a scene for what else is
// asked of the belief. Each step's worth depends on nothing but the belief, so
// the number of cores changes no digit.
func (w *weighing) values(all []candidate, m *plan.Matters) *plan.Scene {
	cores := 1
	if len(w.belief.Weight) >= worthSharing && !w.oneCore {
		cores = min(runtime.GOMAXPROCS(0), 8)
	}
	first := plan.New(w.belief, w.ses.system, m)
	first.Ready()
	var next atomic.Int64
	var group sync.WaitGroup
	scenes := []*plan.Scene{first} // all made before any is used: forking readies what they share
	for len(scenes) < cores {
		scenes = append(scenes, first.Fork())
	}
	for _, scene := range scenes {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(all); i = int(next.Add(1)) - 1 {
				w.value(scene, &all[i])
			}
		})
	}
	group.Wait()
	return first
}

// well says that the latest complaint finding is well.
func (k *known) well() bool {
	if k.base.Complaint == nil {
		return false
	}
	state, value := -1, -1
	for _, r := range k.counting {
		if r.symptom == k.base.Complaint.Symptom && r.state > state {
			state, value = r.state, r.value
		}
	}
	return value == k.base.Complaint.Well
}

// decides looks, where nothing has its minutes, for a harmless test that a grave
// hazard has to wait for: the one that tells most is enough.
func (w *weighing) decides(scene *plan.Scene, all []candidate) {
	var tests []*candidate
	for i := range all {
		if c := &all[i]; c.mayDecide() && (c.gain > 0 || len(c.action.Takes) > 0) {
			tests = append(tests, c)
		}
	}
	slices.SortStableFunc(tests, byGain)
	for _, c := range tests {
		if c.changes = scene.Changes(c.action); c.changes {
			return
		}
	}
}

func (c *candidate) mayDecide() bool {
	return c.refused == nil && harmless(c.step) && c.step.Kind == rulebase.KindTest
}

// byGain puts what tells most first.
func byGain(a, b *candidate) int {
	return cmp.Or(cmp.Compare(rounded(b.gain), rounded(a.gain)), cmp.Compare(a.step.ID, b.step.ID))
}

// wait is the rest of line 5 of the table: a grave hazard waits while a harmless
// step on offer can still change what to do. Of several it waits for the one that
// tells most.
func wait(all []candidate) {
	var first *candidate
	for i := range all {
		if c := &all[i]; c.mayDecide() && c.changes && (first == nil || byGain(c, first) < 0) {
			first = c
		}
	}
	deciding := ""
	if first != nil {
		deciding = first.step.ID
	}
	for i := range all {
		if all[i].refused == nil {
			all[i].refused = waits(all[i].step, deciding)
		}
	}
}

// saves says how many minutes each step on offer saves in the end of a call. Knowing
// what there is to do would save toKnow minutes; a step saves the share of them that it
// tells of that. It is an estimate: what a question saves by itself is often nothing
// until the next one is answered as well.
func saves(all []candidate, toKnow, entropy float64) {
	if entropy <= 0 {
		return
	}
	for i := range all {
		all[i].saves = toKnow * all[i].call / entropy
	}
}

// calls gives, by cause, a number for how a call about it has to end: causes about which
// the caller can do the same share a number, and so do those for which somebody has to
// come, and those for which somebody has to come with a unit.
func (k *known) calls(may *permission) []int {
	const somebody, unit = 0, 1
	numbers := map[string]int{}
	all := make([]int, len(k.base.Causes))
	for c := range all {
		now, field, left := "", false, false
		for _, h := range k.base.Causes[c].Remedies {
			r := &k.base.Remedies[h.Remedy]
			if k.isDone(r.ID) {
				continue
			}
			left = true
			field = field || FieldWork(r) && r.EndsAs != rulebase.UnitOut
			if may.caller(r) {
				now += r.ID + " "
			}
		}
		switch {
		case now != "":
			if _, ok := numbers[now]; !ok {
				numbers[now] = unit + 1 + len(numbers)
			}
			all[c] = numbers[now]
		case left && !field:
			all[c] = unit
		default:
			all[c] = somebody // with a cause that nothing is left for somebody has to look, too
		}
	}
	return all
}

// matters collects what a step's worth depends on.
func (k *known) matters(ses *session, may *permission) *plan.Matters {
	m := &plan.Matters{Visit: k.effort().Visit, GiveUp: k.base.GiveUp}
	lists := map[string]int{}
	for c := range k.base.Causes {
		key := k.list(c)
		if _, ok := lists[key]; !ok {
			lists[key] = len(lists)
		}
		m.Lists = append(m.Lists, lists[key])
		m.Cures = append(m.Cures, k.cures(c))
	}
	for i := range k.base.Remedies {
		r := &k.base.Remedies[i]
		_, done := k.last[r.ID]
		price := k.price(r) + r.ProofMinutes()
		m.Remedies = append(m.Remedies, plan.Remedy{Price: price, Rate: price, Away: may.away(r), Open: !done})
	}
	if c := k.base.Complaint; c != nil && ses.symptoms[c.Symptom] != nil {
		m.Complaint = &plan.Complaint{Symptom: ses.symptoms[c.Symptom], Reported: k.reported(), Well: c.Well}
	}
	m.ByID = k.remediesByID()
	return m
}

// helps gives, by cause, a number for what is left to be done about it and how often that helps.
func (k *known) helps() []int {
	numbers := map[string]int{}
	all := make([]int, len(k.base.Causes))
	for c := range all {
		key := k.list(c)
		for _, h := range k.base.Causes[c].Remedies {
			if !k.isDone(k.base.Remedies[h.Remedy].ID) {
				key += fmt.Sprint(" ", h.Chance)
			}
		}
		if _, ok := numbers[key]; !ok {
			numbers[key] = len(numbers)
		}
		all[c] = numbers[key]
	}
	return all
}

// list names what there is to do about a cause: its remedies not yet done, in
// order, or the cause itself where none is left.
func (k *known) list(cause int) string {
	var open []string
	for _, h := range k.base.Causes[cause].Remedies {
		if id := k.base.Remedies[h.Remedy].ID; !k.isDone(id) {
			open = append(open, id)
		}
	}
	if len(open) == 0 {
		return k.base.Causes[cause].ID
	}
	return strings.Join(open, " ")
}

func (k *known) isDone(id string) bool {
	_, done := k.last[id]
	return done
}

// remediesByID are the remedies in the order of their ids.
func (k *known) remediesByID() []int {
	order := make([]int, len(k.base.Remedies))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Compare(k.base.Remedies[a].ID, k.base.Remedies[b].ID) })
	return order
}

func (k *known) cures(cause int) []plan.Cure {
	var all []plan.Cure
	for i := range k.base.Remedies {
		r := &k.base.Remedies[i]
		if _, done := k.last[r.ID]; done {
			continue
		}
		if chance := takes(k.base, r, cause); chance > 0 {
			all = append(all, plan.Cure{Remedy: i, Chance: chance})
		}
	}
	return all
}

// effort is the user's own figures, or the rulebase's.
func (k *known) effort() rulebase.Effort {
	if k.s.Effort != nil {
		return *k.s.Effort
	}
	return k.base.Effort
}

// price is a step's minutes, with those added for what it stops.
func (k *known) price(step *rulebase.Step) float64 { return k.effort().Price(step) }

// value works out what a step is worth. The base policy's minutes order nothing; where
// they are not asked for, only a grave hazard that may have to wait needs them.
func (w *weighing) value(scene *plan.Scene, c *candidate) {
	if w.lean && c.refused != nil && c.refused.why != WhyUnconfirmed {
		return
	}
	a := plan.Action{Price: c.price, Remedy: c.remedy}
	if c.remedy < 0 {
		a.Views = w.views(c.step)
		a.Watched = len(c.step.PutsRight) > 0
	} else {
		a.Price += c.step.ProofMinutes()
		a.Watched = true
	}
	for cause := range w.p.base.Causes {
		if chance := takes(w.p.base, c.step, cause); chance > 0 {
			a.Takes = append(a.Takes, hypothesis.Taking{Cause: cause, Chance: chance})
		}
	}
	c.action = &a
	if c.remedy < 0 {
		c.gain, c.call = scene.Gains(&a)
	}
	if c.refused == nil && !w.hurried {
		c.minutes, c.changes = scene.Minutes(&a)
	}
}

// views are the symptoms a test yields that weigh and are not known for sure in
// this state of work. One whose bands are not known tells nothing.
func (w *weighing) views(step *rulebase.Step) []plan.View {
	var views []plan.View
	for _, s := range step.Yields {
		symptom := w.ses.symptoms[s]
		if symptom == nil || w.p.base.Symptoms[s].Banded() && w.k.limits[s] == nil {
			continue
		}
		v := plan.View{Symptom: symptom, Report: -1}
		v.Keeps = w.p.base.Complaint != nil && s == w.p.base.Complaint.Symptom && len(w.k.s.Done) > 0
		certain := false
		for _, r := range w.k.counting {
			if r.symptom == s && r.state == len(w.k.s.Done) && r.value >= 0 {
				certain = r.sure == 1
				v.Report, v.Sure = r.value, r.sure
			}
		}
		if !certain {
			views = append(views, v)
		}
	}
	return views
}

// sortOffers writes Next and NotOffered.
func (d *Diagnosis) sortOffers(all []candidate, may *permission) {
	slices.SortStableFunc(all, func(a, b candidate) int {
		return cmp.Or(cmp.Compare(a.tier(), b.tier()), cmp.Compare(a.expected(), b.expected()), cmp.Compare(a.step.ID, b.step.ID))
	})
	var open []candidate
	for _, c := range all {
		if c.refused == nil {
			open = append(open, c)
			continue
		}
		d.NotOffered = append(d.NotOffered, Withheld{c.step, c.refused.why, c.refused.detail, c.gain})
	}
	slices.SortStableFunc(d.NotOffered, func(a, b Withheld) int {
		return cmp.Or(cmp.Compare(rounded(b.GainBits), rounded(a.GainBits)), cmp.Compare(a.Step.ID, b.Step.ID))
	})
	for len(open) > 0 {
		at := safest(open)
		d.Next = append(d.Next, d.proposal(&open[at], may))
		open = slices.Delete(open, at, at+1)
	}
}

// Tiers of the steps on offer: the planner's words about a step are good for an order
// among those that it looked at as closely.
const (
	tierBest     = iota // what a search found
	tierFollowed        // by what follows it
	tierLooked          // by what it costs to act at once after it
	tierBehind          // takes nothing away and tells next to nothing, or nothing new
)

func (c *candidate) tier() int {
	switch {
	case c.planned.Best:
		return tierBest
	case c.planned.Ahead:
		return tierFollowed
	case c.planned.Tells:
		return tierLooked
	}
	return tierBehind
}

// expected is what a step is sorted by within its tier: minutes, or behind what it
// costs for each bit.
func (c *candidate) expected() float64 {
	if c.tier() == tierBehind {
		return rounded(c.price / max(c.gain, 1e-9))
	}
	return rounded(c.planned.Minutes)
}

// near is by how much the planner's minutes have to differ to be told apart: where
// there is much to look at they are estimates (a choice of ours).
const near = 0.01

// safest is the step to put first of those open: the best one, or a harmless one
// within a minute of it. Of harmless tests whose minutes the planner does not tell
// apart it is the one that tells most per minute.
func safest(open []candidate) int {
	tier := open[0].tier()
	if tier == tierBest || tier == tierBehind {
		return 0
	}
	followed := tier == tierFollowed
	best := -1
	for i := range open {
		c := &open[i]
		if c.tier() != tier || c.expected() > open[0].expected()+1 && (!followed || c.expected() > open[0].expected()*(1+near)) {
			break
		}
		switch {
		case !harmless(c.step):
		case best < 0:
			best = i
		case followed && c.remedy < 0 && open[best].remedy < 0 && c.expected() <= open[best].expected()*(1+near) && perMinute(c) > perMinute(&open[best]):
			best = i
		}
	}
	return max(best, 0)
}

func (d *Diagnosis) proposal(c *candidate, may *permission) Proposal {
	p := Proposal{Step: c.step, Minutes: c.step.Minutes, Price: c.price, GainBits: c.gain, Saves: c.saves, ExpectedMinutes: c.minutes, Planned: c.planned.Minutes, AskFirst: may.askFirst(c.step)}
	for _, w := range c.step.Warnings {
		p.Warnings = append(p.Warnings, d.Base.Warnings[w].ID)
	}
	return p
}
