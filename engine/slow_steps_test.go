package engine_test

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"downdrop/rulebase"
)

// What a step is worth and whether it may be offered, by plain enumeration.

// turn is one way a step can turn out.
type turn struct {
	p       *possibility
	left    map[string]bool // causes present afterwards
	results string
	well    bool
	weight  float64
}

func (q *slowly) done(id string) bool {
	return slices.ContainsFunc(q.s.Done, func(d rulebase.Done) bool { return d.ID == id })
}

// reportNow is the report of a symptom in this state of work, nil where there is none.
func (q *slowly) reportNow(id string) *report {
	for i := range q.reports {
		if r := &q.reports[i]; r.symptom == id && r.state == len(q.s.Done) {
			return r
		}
	}
	return nil
}

// turns lists all ways a step can turn out, in every possibility.
func (q *slowly) turns(step *rulebase.Step) []turn {
	var all []turn
	for i := range q.all {
		p := &q.all[i]
		if p.weight == 0 {
			continue
		}
		lefts := []turn{{p: p, left: map[string]bool{}, weight: p.weight}}
		if !p.outside {
			for c := range q.b.Causes {
				cause := &q.b.Causes[c]
				if !p.now()[cause.ID] {
					continue
				}
				chance := q.takesAway(step.ID, cause)
				var next []turn
				for _, l := range lefts {
					if chance < 1 {
						next = append(next, turn{p: p, left: with(l.left, cause.ID), weight: l.weight * (1 - chance)})
					}
					if chance > 0 {
						next = append(next, turn{p: p, left: l.left, weight: l.weight * chance})
					}
				}
				lefts = next
			}
		}
		for _, l := range lefts {
			all = append(all, q.seen(step, l)...)
		}
	}
	return all
}

// seen divides a turn by what the step shows.
func (q *slowly) seen(step *rulebase.Step, l turn) []turn {
	out := []turn{l}
	split := func(id string, p map[string]float64, complaint bool) {
		var next []turn
		for _, o := range out {
			for _, v := range sortedKeys(p) {
				n := o
				n.results += id + "=" + v + ";"
				n.weight *= p[v]
				n.well = complaint && v == q.b.Symptoms[q.b.Complaint.Symptom].Values[q.b.Complaint.Well]
				next = append(next, n)
			}
		}
		out = next
	}
	for _, y := range step.Yields {
		s := &q.b.Symptoms[y]
		if !s.Weighs || s.Banded() && q.limits(s) == nil {
			continue
		}
		r := q.reportNow(s.ID)
		if r != nil && r.sure == 1 {
			continue
		}
		p := map[string]float64{}
		sum := 0.0
		for _, v := range s.Values {
			p[v] = 1 / float64(len(s.Values))
			if !l.p.outside {
				p[v] = q.shows(s, l.p.now())[v]
			}
			if r != nil && r.value != "" {
				w := (1 - r.sure) / float64(len(s.Values))
				if v == r.value {
					w += r.sure
				}
				p[v] *= w
			}
			sum += p[v]
		}
		for v := range p {
			p[v] /= sum
		}
		split(s.ID, p, false)
	}
	if q.b.Complaint != nil && (step.Kind == rulebase.KindRemedy || len(step.PutsRight) > 0) {
		s := &q.b.Symptoms[q.b.Complaint.Symptom]
		p := map[string]float64{q.begun(): 1}
		if !l.p.outside {
			p = q.shows(s, l.left)
		}
		split("after", p, true)
	}
	return out
}

func (q *slowly) outcome(p *possibility) string {
	if p.outside {
		return "outside"
	}
	lists := map[string]bool{}
	for c := range p.now() {
		ref, _ := q.b.Lookup(c)
		var open []string
		for _, h := range q.b.Causes[ref.Index].Remedies {
			if id := q.b.Remedies[h.Remedy].ID; !q.done(id) {
				open = append(open, id)
			}
		}
		if len(open) == 0 {
			lists["the cause "+c] = true
		} else {
			lists[strings.Join(open, ",")] = true
		}
	}
	return strings.Join(sortedKeys(lists), "|")
}

func entropy(m map[string]float64) (h, sum float64) {
	for _, x := range m {
		sum += x
	}
	for _, k := range sortedKeys(m) {
		if x := m[k]; x > 0 {
			h -= x / sum * math.Log2(x/sum)
		}
	}
	return h, sum
}

func (q *slowly) gain(step *rulebase.Step) float64 {
	joint, all := map[string]map[string]float64{}, map[string]float64{}
	for _, t := range q.turns(step) {
		o := q.outcome(t.p)
		if joint[t.results] == nil {
			joint[t.results] = map[string]float64{}
		}
		joint[t.results][o] += t.weight
		all[o] += t.weight
	}
	g, _ := entropy(all)
	for _, k := range sortedKeys(joint) {
		h, sum := entropy(joint[k])
		if sum > 0 {
			g -= sum * h
		}
	}
	return g
}

func (q *slowly) effort() rulebase.Effort {
	if q.s.Effort != nil {
		return *q.s.Effort
	}
	return q.b.Effort
}

func (q *slowly) price(step *rulebase.Step) float64 {
	return step.Minutes + map[rulebase.Stops]float64{rulebase.StopsDrop: q.effort().StopsDrop, rulebase.StopsBus: q.effort().StopsBus}[step.Stops]
}

func (q *slowly) paid(r *rulebase.Step) float64 {
	if r.Proof == nil {
		return q.price(r)
	}
	return q.price(r) + r.Proof.Minutes
}

// order is the base policy's order of remedies for the turns of one result.
func (q *slowly) order(turns []turn, without string) []*rulebase.Step {
	total := 0.0
	for _, t := range turns {
		total += t.weight
	}
	ratio := map[string]float64{}
	var order []*rulebase.Step
	for i := range q.b.Remedies {
		r := &q.b.Remedies[i]
		if r.ID == without || q.done(r.ID) {
			continue
		}
		p := 0.0
		for _, t := range turns {
			miss := 1.0
			for c := range t.left {
				ref, _ := q.b.Lookup(c)
				miss *= 1 - q.takesAway(r.ID, &q.b.Causes[ref.Index])
			}
			p += t.weight * (1 - miss)
		}
		x := 0.0
		if p > 0 {
			x = p / total / q.paid(r)
		}
		ratio[r.ID], _ = strconv.ParseFloat(fmt.Sprintf("%.11e", x), 64)
		order = append(order, r)
	}
	sort.SliceStable(order, func(i, j int) bool {
		if ratio[order[i].ID] != ratio[order[j].ID] {
			return ratio[order[i].ID] > ratio[order[j].ID]
		}
		return order[i].ID < order[j].ID
	})
	return order
}

// play is the expected minutes of the base policy in one turn.
func (q *slowly) play(t turn, order []*rulebase.Step) float64 {
	lost := t.p.outside || len(t.left) == 0
	alive := map[string]float64{} // chance that the cause is still there
	for c := range t.left {
		alive[c] = 1
	}
	present := func() float64 {
		if lost {
			return 1
		}
		none := 1.0
		for _, p := range alive {
			none *= 1 - p
		}
		return 1 - none
	}
	minutes, visited := 0.0, false
	for _, r := range order {
		if !visited && q.able(r) != "" {
			visited = true
			minutes += q.effort().Visit * present()
		}
		minutes += q.paid(r) * present()
		for c := range alive {
			ref, _ := q.b.Lookup(c)
			alive[c] *= 1 - q.takesAway(r.ID, &q.b.Causes[ref.Index])
		}
	}
	return minutes + q.b.GiveUp*present()
}

// minutes is what lies ahead when a step comes next, and the remedies that its results make the first.
func (q *slowly) minutes(step *rulebase.Step) (minutes float64, firsts map[string]bool) {
	byResult := map[string][]turn{}
	for _, t := range q.turns(step) {
		if t.weight > 0 {
			byResult[t.results] = append(byResult[t.results], t)
		}
	}
	without := ""
	minutes = q.price(step)
	if step.Kind == rulebase.KindRemedy {
		without = step.ID
		minutes = q.paid(step)
	}
	firsts = map[string]bool{}
	for _, k := range sortedKeys(byResult) {
		turns := byResult[k]
		order := q.order(turns, without)
		firsts[firstOf(order)] = true
		if turns[0].well {
			continue
		}
		for _, t := range turns {
			minutes += t.weight * q.play(t, order)
		}
	}
	return minutes, firsts
}

func firstOf(order []*rulebase.Step) string {
	if len(order) == 0 {
		return ""
	}
	return order[0].ID
}

// able is line 2 of the permission table: "" or the reason.
func (q *slowly) able(s *rulebase.Step) string {
	if q.s.At != "" && len(s.At) > 0 && !slices.Contains(s.At, q.s.At) {
		return "place"
	}
	if q.s.Tools != nil {
		for _, n := range s.Needs {
			if !slices.Contains(q.s.Tools, n) {
				return "tools"
			}
		}
	}
	least := s.Who
	if s.Hazard&(rulebase.HazardLive|rulebase.HazardUnknown) != 0 && least < rulebase.Technician {
		least = rulebase.Technician
	}
	if q.s.Who != rulebase.Anybody && q.s.Who < least {
		return "person"
	}
	return ""
}

const worst = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown

// lines are lines 1 to 4, the first half of 5, and 6.
func (q *slowly) lines(s *rulebase.Step) string {
	if s.Kind == rulebase.KindRemedy {
		if q.done(s.ID) {
			return "done"
		}
	} else if len(s.PutsRight) == 0 {
		news := false
		for _, y := range s.Yields {
			r := q.reportNow(q.b.Symptoms[y].ID)
			news = news || r == nil || r.sure < 1
		}
		if !news {
			return "known"
		}
	}
	if why := q.able(s); why != "" {
		return why
	}
	if q.s.At == rulebase.Phone && s.Hazard&worst != 0 {
		return "phone"
	}
	if q.s.At == rulebase.Phone && s.Stops == rulebase.StopsBus {
		return "phone_stops"
	}
	if q.s.Alone && s.Hazard&(rulebase.HazardMains|rulebase.HazardMotion|rulebase.HazardUnknown) != 0 {
		return "alone"
	}
	if s.Stops != rulebase.StopsNothing {
		for _, g := range q.b.Givens {
			if g.FilledBy == "loss_of_bus" && q.slots[g.Name].Rank <= rulebase.FromDefault {
				return "loss_of_bus"
			}
		}
	}
	only := rulebase.True
	if s.OnlyIf != nil {
		only = rulebase.EvalTerm(s.OnlyIf.Root, q.slots)
	}
	if s.Hazard&worst != 0 {
		if only != rulebase.True {
			return "only_if"
		}
		for _, w := range s.Warnings {
			if !slices.Contains(q.s.Confirmed, q.b.Warnings[w].ID) {
				return "unconfirmed"
			}
		}
	}
	if only == rulebase.False {
		return "only_if"
	}
	return ""
}

func (q *slowly) steps(a *answer) {
	var steps []*rulebase.Step
	for i := range q.b.Tests {
		steps = append(steps, &q.b.Tests[i])
	}
	for i := range q.b.Remedies {
		steps = append(steps, &q.b.Remedies[i])
	}
	outcomes := map[string]float64{}
	var now []turn
	for i := range q.all {
		outcomes[q.outcome(&q.all[i])] += q.all[i].weight
		if p := &q.all[i]; p.weight > 0 {
			left := p.now()
			if p.outside {
				left = map[string]bool{}
			}
			now = append(now, turn{p: p, left: left, weight: p.weight})
		}
	}
	a.entropy, _ = entropy(outcomes)
	first := firstOf(q.order(now, ""))
	deciding := false
	for _, s := range steps {
		minutes, firsts := q.minutes(s)
		a.minutes[s.ID], a.price[s.ID] = minutes, q.price(s)
		a.gain[s.ID] = 0
		if s.Kind == rulebase.KindTest {
			a.gain[s.ID] = q.gain(s)
		}
		a.why[s.ID] = q.lines(s)
		if a.why[s.ID] == "" && s.Hazard == 0 && s.Kind == rulebase.KindTest {
			for f := range firsts {
				deciding = deciding || f != first
			}
		}
	}
	for _, s := range steps {
		if a.why[s.ID] == "" && s.Hazard&worst != 0 && deciding {
			a.why[s.ID] = "harmless"
		}
		if q.wellNow() {
			a.why[s.ID] = "well"
		}
	}
	q.offer(a, steps)
}

func (q *slowly) wellNow() bool {
	state, value := -1, ""
	for _, r := range q.reports {
		if q.isComplaint(q.symptom(r.symptom)) && r.state > state {
			state, value = r.state, r.value
		}
	}
	return q.b.Complaint != nil && value == q.b.Symptoms[q.b.Complaint.Symptom].Values[q.b.Complaint.Well]
}

func twelve(x float64) float64 {
	y, _ := strconv.ParseFloat(fmt.Sprintf("%.11e", x), 64)
	return y
}

func (q *slowly) offer(a *answer, steps []*rulebase.Step) {
	var open []*rulebase.Step
	for _, s := range steps {
		if a.why[s.ID] == "" {
			open = append(open, s)
		}
	}
	sort.Slice(open, func(i, j int) bool {
		x, y := twelve(a.minutes[open[i].ID]), twelve(a.minutes[open[j].ID])
		return x < y || x == y && open[i].ID < open[j].ID
	})
	for len(open) > 0 {
		pick := 0
		for i, s := range open {
			if twelve(a.minutes[s.ID]) <= twelve(a.minutes[open[0].ID])+1 && s.Hazard == 0 {
				pick = i
				break
			}
		}
		a.next = append(a.next, open[pick].ID)
		open = slices.Delete(open, pick, pick+1)
	}
}
