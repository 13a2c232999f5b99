package engine_test

import (
	"fmt"
	"math"
	"slices"
	"sort"

	"downdrop/rulebase"
)

// What a step is worth and whether it may be offered, by plain enumeration.

// An ending is one way a step can turn out.
type ending struct {
	w    *world
	left bitset
	seen string // all it shows, in words
	well bool   // the complaint was last seen well
	p    float64
}

func (q *reference) isDone(id string) bool {
	return slices.ContainsFunc(q.s.Done, func(d rulebase.Done) bool { return d.ID == id })
}

// reported is the finding of a symptom that counts in this state of work.
func (q *reference) reported(symptom int) *sighting {
	for i := range q.counts {
		if q.counts[i].symptom == symptom && q.counts[i].state == len(q.s.Done) {
			return &q.counts[i]
		}
	}
	return nil
}

func (q *reference) knownForSure(symptom int) bool {
	r := q.reported(symptom)
	return r != nil && r.sure == 1
}

// endings lists all ways a step can turn out.
func (q *reference) endings(step *rulebase.Step) (all []ending) {
	for i := range q.worlds {
		if w := &q.worlds[i]; w.p > 0 {
			for _, l := range q.leavings(w.now(), step.ID) {
				all = append(all, q.looks(step, ending{w: w, left: l.left, p: w.p * l.p})...)
			}
		}
	}
	return all
}

// looks divides an ending by what is seen: what the step yields, in the state
// that it finds; then, where it may have put something right, the complaint's
// symptom, in the state that it leaves.
func (q *reference) looks(step *rulebase.Step, e ending) []ending {
	all := []ending{e}
	for _, symptom := range step.Yields {
		if q.informs(symptom) && !q.knownForSure(symptom) {
			all = q.divide(all, symptom, q.again(symptom, e.w))
		}
	}
	if c := q.b.Complaint; c != nil && q.informs(c.Symptom) && (step.Kind == rulebase.KindRemedy || len(step.PutsRight) > 0) {
		all = q.divide(all, c.Symptom, q.values(c.Symptom, e.w, e.left, len(q.s.Done)+1))
	}
	return all
}

// informs is whether seeing a symptom tells anything.
func (q *reference) informs(symptom int) bool {
	s := &q.b.Symptoms[symptom]
	return s.Weighs && (!s.Banded() || q.limits(s) != nil)
}

// divide splits endings by the values of a symptom. Once the latest finding of the
// complaint is well nothing is offered, so a look that shows it well is an end,
// whether a remedy, a swap or a mere look showed it; the last look decides.
func (q *reference) divide(all []ending, symptom int, p []float64) (out []ending) {
	for _, e := range all {
		for v, chance := range p {
			n := e
			n.seen += fmt.Sprint(symptom, "=", v, " ")
			n.p *= chance
			if q.isComplaint(symptom) {
				n.well = v == q.b.Complaint.Well
			}
			if n.p > 0 {
				out = append(out, n)
			}
		}
	}
	return out
}

// again is what a symptom shows in a world when it is looked at in this state of
// work, given an earlier report that was not sure.
func (q *reference) again(symptom int, w *world) []float64 {
	p := slices.Clone(q.values(symptom, w, w.now(), len(q.s.Done)))
	r := q.reported(symptom)
	if r == nil || r.at < 0 {
		return p
	}
	sum := 0.0
	for v := range p {
		weight := (1 - r.sure) / float64(len(p))
		if v == r.at {
			weight += r.sure
		}
		p[v] *= weight
		sum += p[v]
	}
	for v := range p {
		p[v] /= sum
	}
	return p
}

// whatToDo is the outcome of a world: by cause still present, its remedies not yet done.
func (q *reference) whatToDo(w *world) string {
	if w.outside {
		return "outside"
	}
	lists := map[string]bool{}
	for _, c := range q.members(w.now()) {
		list := q.notDone(c)
		if list == "" {
			list = "cause " + q.b.Causes[c].ID
		}
		lists[list] = true
	}
	return setText(lists)
}

// notDone is a cause's list of remedies not yet done, each with a comma behind it.
func (q *reference) notDone(cause int) (list string) {
	for _, h := range q.b.Causes[cause].Remedies {
		if id := q.b.Remedies[h.Remedy].ID; !q.isDone(id) {
			list += id + ","
		}
	}
	return list
}

// entropy is that of weights that need not sum to 1, in bits.
func entropy(weights map[string]float64) float64 {
	sum, h := 0.0, 0.0
	for _, k := range sortedKeys(weights) {
		sum += weights[k]
	}
	for _, k := range sortedKeys(weights) {
		if p := weights[k] / sum; p > 0 {
			h -= p * math.Log2(p)
		}
	}
	return h
}

func (q *reference) gainOf(step *rulebase.Step) float64 {
	before, after, mass := map[string]float64{}, map[string]map[string]float64{}, map[string]float64{}
	for _, e := range q.endings(step) {
		do := q.whatToDo(e.w)
		if after[e.seen] == nil {
			after[e.seen] = map[string]float64{}
		}
		before[do] += e.p
		after[e.seen][do] += e.p
		mass[e.seen] += e.p
	}
	gain := entropy(before)
	for _, seen := range sortedKeys(after) {
		gain -= mass[seen] * entropy(after[seen])
	}
	return gain
}

func (q *reference) efforts() rulebase.Effort {
	if q.s.Effort != nil {
		return *q.s.Effort
	}
	return q.b.Effort
}

func (q *reference) priceOf(step *rulebase.Step) float64 {
	switch step.Stops {
	case rulebase.StopsDrop:
		return step.Minutes + q.efforts().StopsDrop
	case rulebase.StopsBus:
		return step.Minutes + q.efforts().StopsBus
	}
	return step.Minutes
}

// withProof is the price of a remedy and of its proof.
func (q *reference) withProof(step *rulebase.Step) float64 {
	if step.Proof != nil {
		return q.priceOf(step) + step.Proof.Minutes
	}
	return q.priceOf(step)
}

// policy is the order in which the base policy tries the remedies not yet done,
// when these endings are possible.
func (q *reference) policy(endings []ending, without string) []*rulebase.Step {
	total := 0.0
	for _, e := range endings {
		total += e.p
	}
	worth := map[string]float64{}
	var order []*rulebase.Step
	for i := range q.b.Remedies {
		r := &q.b.Remedies[i]
		if r.ID == without || q.isDone(r.ID) {
			continue
		}
		takes := 0.0
		for _, e := range endings {
			none := 1.0
			for _, c := range q.members(e.left) {
				none *= 1 - q.takes(r.ID, c)
			}
			takes += e.p * (1 - none)
		}
		if takes > 0 {
			worth[r.ID] = twelve(takes / total / q.withProof(r))
		}
		order = append(order, r)
	}
	sort.Slice(order, func(i, j int) bool {
		a, b := order[i].ID, order[j].ID
		return worth[a] > worth[b] || worth[a] == worth[b] && a < b
	})
	return order
}

// carryOut is the mean of the minutes of the base policy: every branch of
// helped or not is walked to its end.
func (q *reference) carryOut(left bitset, lost bool, order []*rulebase.Step, visited bool) float64 {
	if left == 0 && !lost {
		return 0
	}
	if len(order) == 0 {
		return q.b.GiveUp
	}
	minutes := q.withProof(order[0])
	if !visited && q.unable(order[0]) != "" {
		visited = true
		minutes += q.efforts().Visit
	}
	for _, l := range q.leavings(left, order[0].ID) {
		minutes += l.p * q.carryOut(l.left, lost, order[1:], visited)
	}
	return minutes
}

// ahead is the minutes expected when a step comes next, and by result the remedy
// that would then be tried first.
func (q *reference) ahead(step *rulebase.Step) (minutes float64, firsts []string) {
	results := map[string][]ending{}
	for _, e := range q.endings(step) {
		results[e.seen] = append(results[e.seen], e)
	}
	minutes = q.priceOf(step)
	without := ""
	if step.Kind == rulebase.KindRemedy {
		minutes, without = q.withProof(step), step.ID
	}
	for _, seen := range sortedKeys(results) {
		order := q.policy(results[seen], without)
		firsts = append(firsts, firstID(order))
		for _, e := range results[seen] {
			if !e.well {
				minutes += e.p * q.carryOut(e.left, e.w.outside || e.left == 0, order, false)
			}
		}
	}
	return minutes, firsts
}

func firstID(order []*rulebase.Step) string {
	if len(order) == 0 {
		return ""
	}
	return order[0].ID
}

const (
	atItsWorst = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown
	needsSkill = rulebase.HazardLive | rulebase.HazardUnknown
	notAlone   = rulebase.HazardMains | rulebase.HazardMotion | rulebase.HazardUnknown
)

// unable is line 2 of the table: why a step cannot be done from here, "" where it can.
func (q *reference) unable(s *rulebase.Step) string {
	if q.s.At != "" && len(s.At) > 0 && !slices.Contains(s.At, q.s.At) {
		return "place"
	}
	for _, tool := range s.Needs {
		if q.s.Tools != nil && !slices.Contains(q.s.Tools, tool) {
			return "tools"
		}
	}
	if q.s.Who != rulebase.Anybody && (q.s.Who < s.Who || s.Hazard&needsSkill != 0 && q.s.Who < rulebase.Technician) {
		return "person"
	}
	return ""
}

// refused is the table without the harmless step of line 5: the first line that fails.
func (q *reference) refused(s *rulebase.Step) string {
	only := rulebase.True
	if s.OnlyIf != nil {
		only = q.truth(s.OnlyIf.Root)
	}
	byPhone, grave := q.s.At == rulebase.Phone, s.Hazard&atItsWorst != 0
	switch {
	case s.Kind == rulebase.KindTest && len(s.PutsRight) == 0 && !slices.ContainsFunc(s.Yields, func(y int) bool { return !q.knownForSure(y) }):
		return "known"
	case s.Kind == rulebase.KindRemedy && q.isDone(s.ID):
		return "done"
	case q.unable(s) != "":
		return q.unable(s)
	case byPhone && grave:
		return "phone"
	case byPhone && s.Stops == rulebase.StopsBus:
		return "phone_stops"
	case q.s.Alone && s.Hazard&notAlone != 0:
		return "alone"
	case s.Stops != rulebase.StopsNothing && q.lossOfBusUnknown():
		return "loss_of_bus"
	case grave && only != rulebase.True:
		return "only_if"
	case grave && !q.confirmed(s):
		return "unconfirmed"
	case only == rulebase.False:
		return "only_if"
	}
	return ""
}

func (q *reference) lossOfBusUnknown() bool {
	return slices.ContainsFunc(q.b.Givens, func(g rulebase.Given) bool {
		return g.FilledBy == "loss_of_bus" && q.known[g.Name].Rank <= rulebase.FromDefault
	})
}

func (q *reference) confirmed(s *rulebase.Step) bool {
	return !slices.ContainsFunc(s.Warnings, func(w int) bool { return !slices.Contains(q.s.Confirmed, q.b.Warnings[w].ID) })
}

func (q *reference) steps(a *answer) {
	var steps []*rulebase.Step
	for i := range q.b.Tests {
		steps = append(steps, &q.b.Tests[i])
	}
	for i := range q.b.Remedies {
		steps = append(steps, &q.b.Remedies[i])
	}
	canChange := false // a harmless test on offer can change which remedy is tried first
	for _, s := range steps {
		minutes, firsts := q.ahead(s)
		a.minutes[s.ID], a.price[s.ID], a.gain[s.ID], a.why[s.ID] = minutes, q.priceOf(s), 0, q.refused(s)
		if s.Kind == rulebase.KindTest {
			a.gain[s.ID] = q.gainOf(s)
			changes := slices.ContainsFunc(firsts, func(id string) bool { return id != q.firstRemedy() })
			canChange = canChange || s.Hazard == 0 && a.why[s.ID] == "" && changes
		}
	}
	for _, s := range steps {
		if a.why[s.ID] == "" && s.Hazard&atItsWorst != 0 && canChange {
			a.why[s.ID] = "harmless"
		}
		if q.isWell() {
			a.why[s.ID] = "well"
		}
	}
	q.order(a, steps)
	a.entropy = entropy(q.outcomes())
}

func (q *reference) outcomes() map[string]float64 {
	all := map[string]float64{}
	for i := range q.worlds {
		all[q.whatToDo(&q.worlds[i])] += q.worlds[i].p
	}
	return all
}

// firstRemedy is what the base policy tries first as things stand.
func (q *reference) firstRemedy() string {
	var now []ending
	for i := range q.worlds {
		now = append(now, ending{w: &q.worlds[i], left: q.worlds[i].now(), p: q.worlds[i].p})
	}
	return firstID(q.policy(now, ""))
}

// isWell is whether the latest complaint finding is well.
func (q *reference) isWell() bool {
	latest, well := -1, false
	for _, x := range q.counts {
		if q.isComplaint(x.symptom) && x.state > latest {
			latest, well = x.state, x.at == q.b.Complaint.Well
		}
	}
	return well
}

// order lists what is offered: rising minutes; from the top, of the steps within
// one minute of the best left, the first harmless one.
func (q *reference) order(a *answer, steps []*rulebase.Step) {
	open := slices.DeleteFunc(slices.Clone(steps), func(s *rulebase.Step) bool { return a.why[s.ID] != "" })
	sort.Slice(open, func(i, j int) bool {
		x, y := twelve(a.minutes[open[i].ID]), twelve(a.minutes[open[j].ID])
		return x < y || x == y && open[i].ID < open[j].ID
	})
	for len(open) > 0 {
		best := twelve(a.minutes[open[0].ID])
		pick := slices.IndexFunc(open, func(s *rulebase.Step) bool {
			return s.Hazard == 0 && twelve(a.minutes[s.ID]) <= best+1
		})
		pick = max(pick, 0)
		a.next = append(a.next, open[pick].ID)
		open = slices.Delete(open, pick, pick+1)
	}
}
