package engine_test

import (
	"fmt"
	"math"
	"slices"
	"sort"
	"strings"

	"downdrop/rulebase"
)

// The whole numeric meaning of a rulebase, by plain enumeration: maps, loops, no
// bits, no caches, nothing shared with the engine but the parsed expressions.
// It is the second of two ways that must agree.

// answer is what the slow version gives.
type answer struct {
	possible                         bool
	causes, now, conditions          map[string]float64
	none, outside, unitOut, evidence float64
	explanations                     map[string]float64
	gain, minutes, price             map[string]float64
	why                              map[string]string // step → reason, "" where it may be offered
	next                             []string
	entropy                          float64
	facts                            map[string]string
}

// possibility is one way things can be: the causes at first, what is left in each state of work.
type possibility struct {
	outside bool
	began   map[string]bool
	states  []map[string]bool // by state of work: causes present
	units   bool              // some cause was taken that ends as unit_out
	weight  float64
}

type slowly struct {
	b       *rulebase.Base
	s       rulebase.Situation
	slots   []rulebase.Slot
	state   map[string]int // of names, for rules
	reports []report
	shadows map[int]shadow // derived values of names that a person gave, by name
	fired   []int
	all     []possibility
}

type shadow struct {
	value rulebase.Slot
	state int
}

type report struct {
	symptom string
	state   int
	value   string
	sure    float64
}

func (q *slowly) symptom(id string) *rulebase.Symptom {
	ref, _ := q.b.Lookup(id)
	return &q.b.Symptoms[ref.Index]
}

func slow(b *rulebase.Base, s rulebase.Situation) answer {
	q := &slowly{b: b, s: s}
	q.observe()
	q.enumerate()
	q.weigh()
	return q.answer()
}

// ---- what was observed

func (q *slowly) stateOf(f rulebase.Finding) int {
	if f.Now {
		return len(q.s.Done)
	}
	state := 0
	for i, d := range q.s.Done {
		if d.ID == f.After {
			state = i + 1
		}
	}
	return state
}

func (q *slowly) limits(s *rulebase.Symptom) []float64 {
	var limits []float64
	for _, e := range s.Limits {
		x := rulebase.TermValue(e.Root, q.slots)
		if math.IsNaN(x) || len(limits) > 0 && x <= limits[len(limits)-1] {
			return nil
		}
		limits = append(limits, x)
	}
	return limits
}

// valueOf is the value that a report means: a word, or the band of a reading; "" where it cannot be told.
func (q *slowly) valueOf(s *rulebase.Symptom, v rulebase.Value) string {
	if !v.IsNumber {
		return v.Word
	}
	limits := q.limits(s)
	if limits == nil {
		return ""
	}
	for i, l := range limits {
		if v.Number < l {
			return s.Values[i]
		}
	}
	return s.Values[len(s.Values)-1]
}

func (q *slowly) sureness(s *rulebase.Symptom, at rulebase.Place) float64 {
	own := q.b.Sure
	if s.Sure != nil {
		own = *s.Sure
	}
	if own.ByPlace == nil {
		return own.Everywhere
	}
	if p, ok := own.ByPlace[at]; ok {
		return p
	}
	return 1
}

// given writes persons' givens and what the program fills in.
func (q *slowly) given() {
	q.slots = make([]rulebase.Slot, len(q.b.Names))
	for i := range q.slots {
		q.slots[i].Number = math.NaN()
	}
	for _, g := range q.b.Givens {
		word := map[string]string{"at": string(q.s.At), "who": q.s.Who.String(), "alone": fmt.Sprint(q.s.Alone)}[g.FilledBy]
		if s, ok := q.b.SlotOf(g.Name, rulebase.Value{Word: word}); ok && word != "" {
			s.Rank = rulebase.FromFilled
			q.slots[g.Name] = s
		}
	}
	for _, v := range q.s.Givens {
		ref, _ := q.b.Lookup(v.ID)
		s, _ := q.b.SlotOf(q.b.Givens[ref.Index].Name, v.Value)
		s.Rank = rulebase.FromPerson
		q.slots[q.b.Givens[ref.Index].Name] = s
	}
	for _, g := range q.b.Givens {
		if q.slots[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			q.slots[g.Name] = *g.Default
		}
	}
}

func (q *slowly) observe() {
	q.given()
	before := ""
	// Limits may read givens that rules set from bands: repeat until it stands still.
	for range 20 {
		q.collect()
		q.chain()
		now := fmt.Sprint(q.reports)
		if now == before {
			break
		}
		before = now
		kept := slices.Clone(q.slots)
		q.given()
		for _, g := range q.b.Givens {
			if q.slots[g.Name].Rank == rulebase.NotKnown {
				q.slots[g.Name] = kept[g.Name]
			}
		}
	}
	q.derived()
}

func (q *slowly) collect() {
	best := map[string]report{}
	put := func(r report) {
		key := fmt.Sprint(r.symptom, r.state)
		if old, ok := best[key]; !ok || r.sure >= old.sure {
			best[key] = r
		}
	}
	complaintGiven := false
	for _, f := range q.s.Findings {
		s := q.symptom(f.Symptom)
		at := f.At
		if at == "" {
			at = q.s.At
		}
		r := report{f.Symptom, q.stateOf(f), q.valueOf(s, f.Value), q.sureness(s, at)}
		if f.Sure != nil {
			r.sure = *f.Sure
		}
		if q.b.Complaint != nil && f.Symptom == q.b.Symptoms[q.b.Complaint.Symptom].ID && r.state == 0 {
			complaintGiven = true
		}
		put(r)
	}
	if c := q.b.Complaint; c != nil {
		s := &q.b.Symptoms[c.Symptom]
		if !complaintGiven {
			put(report{s.ID, 0, s.Values[c.Bad], 1})
		}
		begun := best[fmt.Sprint(s.ID, 0)].value
		for i, d := range q.s.Done {
			switch d.Drop {
			case rulebase.Well:
				put(report{s.ID, i + 1, s.Values[c.Well], 1})
			case rulebase.StillDown:
				put(report{s.ID, i + 1, begun, 1})
			}
		}
	}
	q.reports = nil
	for _, key := range sortedKeys(best) {
		q.reports = append(q.reports, best[key])
	}
}

func sortedKeys[V any](m map[string]V) []string {
	keys := make([]string, 0, len(m))
	for k := range m {
		keys = append(keys, k)
	}
	sort.Strings(keys)
	return keys
}

// reading is the number of the report that counts, if it was one.
func (q *slowly) reading(symptom string, state int, sure float64) float64 {
	x := math.NaN()
	best := -1.0
	for _, f := range q.s.Findings {
		if f.Symptom != symptom || q.stateOf(f) != state {
			continue
		}
		s := q.symptom(symptom)
		at := f.At
		if at == "" {
			at = q.s.At
		}
		p := q.sureness(s, at)
		if f.Sure != nil {
			p = *f.Sure
		}
		if p >= best {
			best = p
			x = math.NaN()
			if f.Value.IsNumber && s.Banded() {
				x = f.Value.Number
			}
		}
	}
	if best != sure {
		return math.NaN()
	}
	return x
}

// chain follows rules up: all that hold at once, again and again.
func (q *slowly) chain() {
	base := slices.Clone(q.slots)
	states := make([]int, len(base))
	latest := map[string]report{}
	for _, r := range q.reports {
		if r.sure >= q.b.FactFrom {
			if l, ok := latest[r.symptom]; !ok || r.state > l.state {
				latest[r.symptom] = r
			}
		}
	}
	for id, r := range latest {
		s := q.symptom(id)
		base[s.Slot] = rulebase.Slot{Word: int32(slices.Index(s.Values, r.value) + 1), Number: q.reading(id, r.state, r.sure), Rank: rulebase.FromPerson}
		states[s.Slot] = r.state
	}
	levels, _ := rulebase.Strata(q.b)
	banned := map[int]bool{}
again:
	slots, st := slices.Clone(base), slices.Clone(states)
	fired := map[int]bool{}
	shadows := map[int]shadow{}
	for level := 0; level < 1+len(levels); level++ {
		for {
			next, nextSt := slices.Clone(slots), slices.Clone(st)
			fresh := map[int]bool{}
			changed, conflict := false, false
			for i := range q.b.Rules {
				if levels[i] != level || fired[i] || rulebase.EvalTerm(q.b.Rules[i].When.Root, slots) != rulebase.True {
					continue
				}
				fired[i], changed = true, true
				state := 0
				for _, n := range q.b.Rules[i].When.Reads() {
					state = max(state, st[n])
				}
				for _, a := range q.b.Rules[i].Then {
					old := next[a.Name]
					switch {
					case banned[a.Name]:
					case old.Rank > rulebase.FromRules:
						// A person said otherwise, perhaps in another state of work.
						if _, ok := shadows[a.Name]; !ok {
							shadows[a.Name] = shadow{a.Value, state}
						}
					case old.Rank == rulebase.FromRules && (old.Word != a.Value.Word || old.Number != a.Value.Number && !(math.IsNaN(old.Number) && math.IsNaN(a.Value.Number))):
						banned[a.Name], conflict = true, true
					case old.Rank == rulebase.FromRules:
						if fresh[a.Name] {
							nextSt[a.Name] = min(nextSt[a.Name], state)
						}
					default:
						next[a.Name], nextSt[a.Name], fresh[a.Name] = a.Value, state, true
					}
				}
			}
			if conflict {
				goto again
			}
			slots, st = next, nextSt
			if !changed {
				break
			}
		}
	}
	q.slots, q.shadows = slots, shadows
	q.state = map[string]int{}
	for i, n := range q.b.Names {
		q.state[n.ID] = st[i]
	}
	q.fired = nil
	for i := range q.b.Rules {
		if fired[i] {
			q.fired = append(q.fired, i)
		}
	}
}

// derived adds the symptoms that rules derived to the reports.
func (q *slowly) derived() {
	for i := range q.b.Symptoms {
		s := &q.b.Symptoms[i]
		slot, state := q.slots[s.Slot], q.state[s.ID]
		if x, ok := q.shadows[s.Slot]; ok {
			slot, state = x.value, x.state
		} else if slot.Rank != rulebase.FromRules {
			continue
		}
		if slot.Word > 0 && !slices.ContainsFunc(q.reports, func(r report) bool { return r.symptom == s.ID && r.state == state }) {
			q.reports = append(q.reports, report{s.ID, state, s.Values[slot.Word-1], q.sureness(s, q.s.At)})
		}
	}
}

// ---- what is supposed

func (q *slowly) prior(c *rulebase.Cause) float64 {
	odds := c.Prior / (1 - c.Prior)
	for _, l := range c.MoreLikely {
		if rulebase.EvalTerm(l.When.Root, q.slots) == rulebase.True {
			odds *= l.Times
		}
	}
	return odds / (1 + odds)
}

func (q *slowly) enumerate() {
	var sets []map[string]bool
	var extend func(i int, set map[string]bool)
	extend = func(i int, set map[string]bool) {
		if i == len(q.b.Causes) {
			sets = append(sets, set)
			return
		}
		extend(i+1, set)
		if len(set) < q.b.FaultsAtMost {
			with := map[string]bool{q.b.Causes[i].ID: true}
			for c := range set {
				with[c] = true
			}
			extend(i+1, with)
		}
	}
	extend(0, map[string]bool{})
	total := 0.0
	for _, set := range sets {
		w := math.Pow(q.b.Together, math.Max(float64(len(set)-1), 0))
		for i := range q.b.Causes {
			p := q.prior(&q.b.Causes[i])
			if !set[q.b.Causes[i].ID] {
				p = 1 - p
			}
			w *= p
		}
		q.all = append(q.all, possibility{began: set, states: []map[string]bool{set}, weight: w})
		total += w
	}
	for i := range q.all {
		q.all[i].weight *= (1 - q.b.Outside) / total
	}
	for _, d := range q.s.Done {
		var next []possibility
		for _, p := range q.all {
			next = append(next, q.work(p, d.ID)...)
		}
		q.all = next
	}
	states := make([]map[string]bool, len(q.s.Done)+1)
	q.all = append(q.all, possibility{outside: true, states: states, weight: q.b.Outside})
}

// takesAway is the chance that a step takes a cause away.
func (q *slowly) takesAway(id string, cause *rulebase.Cause) float64 {
	ref, _ := q.b.Lookup(id)
	if ref.Kind == rulebase.KindRemedy {
		if q.b.Remedies[ref.Index].Temporary {
			return 0
		}
		for _, h := range cause.Remedies {
			if q.b.Remedies[h.Remedy].ID == id {
				return h.Chance
			}
		}
		return 0
	}
	if ref.Kind != rulebase.KindTest {
		return 0 // a symptom offered by itself
	}
	for _, c := range q.b.Tests[ref.Index].PutsRight {
		if q.b.Causes[c].ID == cause.ID {
			return 1
		}
	}
	return 0
}

// work divides a possibility by what the work takes away.
func (q *slowly) work(p possibility, id string) []possibility {
	out := []possibility{{began: p.began, states: append(slices.Clone(p.states), map[string]bool{}), units: p.units, weight: p.weight}}
	n := len(p.states)
	for i := range q.b.Causes {
		c := &q.b.Causes[i]
		if !p.states[n-1][c.ID] {
			continue
		}
		chance := q.takesAway(id, c)
		var next []possibility
		for _, o := range out {
			if chance < 1 {
				stays := o
				stays.states = slices.Clone(o.states)
				stays.states[n] = with(o.states[n], c.ID)
				stays.weight *= 1 - chance
				next = append(next, stays)
			}
			if chance > 0 {
				goes := o
				goes.weight *= chance
				goes.units = o.units || q.endsAs(c, id) == rulebase.UnitOut
				next = append(next, goes)
			}
		}
		out = next
	}
	return out
}

func with(set map[string]bool, id string) map[string]bool {
	next := map[string]bool{id: true}
	for k := range set {
		next[k] = true
	}
	return next
}

// endsAs is how a cause ends that was taken by work, or, with "", is still there.
func (q *slowly) endsAs(c *rulebase.Cause, by string) rulebase.Outcome {
	if ref, ok := q.b.Lookup(by); ok && ref.Kind == rulebase.KindRemedy {
		return q.b.Remedies[ref.Index].EndsAs
	}
	if len(c.Remedies) == 0 {
		return ""
	}
	return q.b.Remedies[c.Remedies[len(c.Remedies)-1].Remedy].EndsAs
}

// holds evaluates a down-going expression for a set of causes.
func (q *slowly) holds(t *rulebase.Term, causes map[string]bool, conditions map[string]bool) bool {
	if t.GivensOnly {
		return rulebase.EvalTerm(t, q.slots) == rulebase.True
	}
	switch t.Op {
	case rulebase.OpRead:
		n := q.b.Names[t.Name]
		return n.Kind == rulebase.KindCause && causes[n.ID] || n.Kind == rulebase.KindCondition && conditions[n.ID]
	case rulebase.OpNot:
		return !q.holds(t.Args[0], causes, conditions)
	case rulebase.OpAnd:
		return !slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return !q.holds(a, causes, conditions) })
	}
	return slices.ContainsFunc(t.Args, func(a *rulebase.Term) bool { return q.holds(a, causes, conditions) })
}

// conditions is the least fixpoint for a set of causes: components that depend
// on one another are raised from nothing, one after another.
func (q *slowly) conditions(causes map[string]bool) map[string]bool {
	result := map[string]bool{}
	settled := map[string]bool{}
	reach := q.reach()
	for len(settled) < len(q.b.Conditions) {
		for i := range q.b.Conditions {
			id := q.b.Conditions[i].ID
			ready := !settled[id]
			for other := range reach[id] {
				ready = ready && (settled[other] || reach[other][id])
			}
			if !ready {
				continue
			}
			group := []int{}
			for j := range q.b.Conditions {
				if o := q.b.Conditions[j].ID; o == id || reach[id][o] && reach[o][id] {
					group = append(group, j)
				}
			}
			for changed := true; changed; {
				changed = false
				for _, j := range group {
					c := &q.b.Conditions[j]
					if !result[c.ID] && q.holds(c.When.Root, causes, result) {
						result[c.ID], changed = true, true
					}
				}
			}
			for _, j := range group {
				settled[q.b.Conditions[j].ID] = true
			}
		}
	}
	return result
}

// reach is, by condition, all conditions that it reads, directly or not.
func (q *slowly) reach() map[string]map[string]bool {
	all := map[string]map[string]bool{}
	for i := range q.b.Conditions {
		all[q.b.Conditions[i].ID] = map[string]bool{}
		for _, n := range q.b.Conditions[i].When.Reads() {
			if q.b.Names[n].Kind == rulebase.KindCondition {
				all[q.b.Conditions[i].ID][q.b.Names[n].ID] = true
			}
		}
	}
	for range q.b.Conditions {
		for a := range all {
			for b := range all[a] {
				for c := range all[b] {
					all[a][c] = true
				}
			}
		}
	}
	return all
}

// shows is the probabilities of a symptom's values, for a set of causes.
func (q *slowly) shows(s *rulebase.Symptom, causes map[string]bool) map[string]float64 {
	conditions := q.conditions(causes)
	p := map[string]float64{}
	if s.Independent {
		no := 1.0
		for _, r := range s.Shows {
			if r.When == nil || q.holds(r.When.Root, causes, conditions) {
				no *= 1 - r.P[slices.Index(s.Values, "yes")]
			}
		}
		return map[string]float64{"no": no, "yes": 1 - no}
	}
	for _, r := range s.Shows {
		if r.When == nil || q.holds(r.When.Root, causes, conditions) {
			for i, v := range s.Values {
				p[v] = r.P[i]
			}
			return p
		}
	}
	for _, v := range s.Values {
		p[v] = 1 / float64(len(s.Values))
	}
	return p
}

// likelihood is that of a report in a possibility.
func (q *slowly) likelihood(r report, p *possibility) float64 {
	s := q.symptom(r.symptom)
	n := float64(len(s.Values))
	value := 0.0
	switch {
	case !p.outside:
		value = q.shows(s, p.states[r.state])[r.value]
	case q.isComplaint(s) && r.state > 0:
		if r.value == q.begun() {
			value = 1
		}
	default:
		value = 1 / n
	}
	return r.sure*value + (1-r.sure)/n
}

func (q *slowly) isComplaint(s *rulebase.Symptom) bool {
	return q.b.Complaint != nil && q.b.Symptoms[q.b.Complaint.Symptom].ID == s.ID
}

func (q *slowly) begun() string {
	for _, r := range q.reports {
		if r.state == 0 && q.isComplaint(q.symptom(r.symptom)) {
			return r.value
		}
	}
	return ""
}

func (q *slowly) weigh() {
	for i := range q.all {
		p := &q.all[i]
		for _, r := range q.reports {
			if r.value != "" && q.symptom(r.symptom).Weighs {
				p.weight *= q.likelihood(r, p)
			}
		}
		for _, rule := range q.fired {
			state := 0
			for _, n := range q.b.Rules[rule].When.Reads() {
				state = max(state, q.state[q.b.Names[n].ID])
			}
			for _, c := range q.b.Rules[rule].RulesOut {
				if !p.outside && p.states[state][q.b.Causes[c].ID] {
					p.weight = 0
				}
			}
			for _, c := range q.b.Rules[rule].Establishes {
				if p.outside || !p.states[state][q.b.Causes[c].ID] {
					p.weight = 0
				}
			}
		}
	}
}

func (p *possibility) now() map[string]bool { return p.states[len(p.states)-1] }

func setText(set map[string]bool) string { return strings.Join(sortedKeys(set), " ") }

func (q *slowly) answer() answer {
	a := answer{causes: map[string]float64{}, now: map[string]float64{}, conditions: map[string]float64{}, explanations: map[string]float64{},
		gain: map[string]float64{}, minutes: map[string]float64{}, price: map[string]float64{}, why: map[string]string{}, facts: map[string]string{}}
	for i, n := range q.b.Names {
		if q.slots[i].Rank != rulebase.NotKnown {
			a.facts[n.ID] = q.b.SlotText(i, q.slots[i])
		}
	}
	for _, p := range q.all {
		a.evidence += p.weight
	}
	a.possible = a.evidence > 0
	if !a.possible {
		return a
	}
	for i := range q.all {
		q.all[i].weight /= a.evidence
		p := &q.all[i]
		if p.outside {
			a.outside += p.weight
			continue
		}
		for c := range p.began {
			a.causes[c] += p.weight
		}
		units := p.units
		for c := range p.now() {
			a.now[c] += p.weight
			ref, _ := q.b.Lookup(c)
			units = units || q.endsAs(&q.b.Causes[ref.Index], "") == rulebase.UnitOut
		}
		if units {
			a.unitOut += p.weight
		}
		for c := range q.conditions(p.now()) {
			a.conditions[c] += p.weight
		}
		a.explanations[setText(p.began)] += p.weight
	}
	a.none = a.explanations[""]
	q.steps(&a)
	return a
}
