package engine_test

import (
	"fmt"
	"math"
	"slices"

	"downdrop/rulebase"
)

// The slow version: the whole numeric meaning of the rulebase format, written
// from the format's page by plain enumeration. It shares with the engine nothing
// but the loaded rulebase and the spelling of its values; expressions, the order
// of rules and all that follows are worked out here anew. It is the second of two
// ways that must agree.

// An answer is what the slow version gives, by id.
type answer struct {
	possible                         bool
	causes, now, conditions          map[string]float64
	none, outside, unitOut, evidence float64
	explanations                     map[string]float64 // by the set's ids, sorted, with blanks between
	gain, minutes, price             map[string]float64 // by step
	why                              map[string]string  // by step: why it is refused, "" where it may be offered
	next                             []string
	remedy                           map[string]string // by cause: its first remedy not yet done, "" where none is left
	entropy                          float64           // bits: of what to do
	facts                            map[string]string
	conflicts                        map[string]bool // "rules NAME", "limits SYMPTOM", "findings SYMPTOM", "impossible" and how many members that has
}

// A reference answers one situation.
type reference struct {
	b *rulebase.Base
	s rulebase.Situation

	known   []rulebase.Slot    // what is known of each name, for rules and only_if
	newest  []int              // by name: state of work of the newest finding its value rests on
	derived map[int]conclusion // by name, also where somebody outranks the rules
	banned  map[int]bool       // names about which rules disagree
	reports []sighting         // every finding of this drop
	counts  []sighting         // one per symptom and state of work: what is weighed
	fired   []int              // rules
	worlds  []world
	brought map[bitset][]bool

	smallest int // how many members the smallest contradiction has; 0: there is none
}

// A sighting is a finding that counts, or a value that rules derived.
type sighting struct {
	symptom int
	state   int // how much of Done was carried out when it was seen
	value   rulebase.Value
	at      int // place in Symptom.Values; -1 where limits leave the band unknown
	sure    float64
}

// A world is one way things can be.
type world struct {
	outside bool
	present []bitset // by state of work: present[0] is how the case began
	unit    bool     // a cause was taken by a remedy that ends as unit_out
	p       float64
}

func (w *world) now() bitset { return w.present[len(w.present)-1] }

func slow(b *rulebase.Base, s rulebase.Situation) answer {
	q := &reference{b: b, s: s, brought: map[bitset][]bool{}}
	q.observe()
	q.suppose()
	q.weigh()
	return q.answer()
}

// ---- what was observed

func (q *reference) observe() {
	q.counts = q.counting()
	q.banned = map[int]bool{}
	for !q.followRules() {
	}
	q.countDerived()
	for i := range q.counts {
		q.counts[i].at = q.place(q.counts[i].symptom, q.counts[i].value)
	}
}

// seenAfter is the state of work in which a finding was made.
func (q *reference) seenAfter(f rulebase.Finding) int {
	state := 0
	for i, d := range q.s.Done {
		if f.Now || d.ID == f.After {
			state = i + 1
		}
	}
	return state
}

// usualSureness is that of a finding about which nothing is said.
func (q *reference) usualSureness(symptom int, at rulebase.Place) float64 {
	sure := q.b.Sure
	if own := q.b.Symptoms[symptom].Sure; own != nil {
		sure = *own
	}
	if sure.ByPlace == nil {
		return sure.Everywhere
	}
	if p, ok := sure.ByPlace[at]; ok {
		return p
	}
	return 1
}

// counting lists the findings that count: of one symptom in one state of work the
// surest, of equally sure ones the last.
func (q *reference) counting() []sighting {
	var all []sighting
	for _, f := range q.s.Findings {
		if f.Drop != 0 && f.Drop != q.s.Drop {
			continue
		}
		ref, _ := q.b.Lookup(f.Symptom)
		at := f.At
		if at == "" {
			at = q.s.At
		}
		x := sighting{symptom: ref.Index, state: q.seenAfter(f), value: f.Value, sure: q.usualSureness(ref.Index, at)}
		if f.Sure != nil {
			x.sure = *f.Sure
		}
		all = append(all, x)
	}
	q.reports = q.withComplaint(all)
	return onePerState(q.reports)
}

func onePerState(all []sighting) []sighting {
	var out []sighting
	for _, x := range all {
		i := slices.IndexFunc(out, func(o sighting) bool { return o.symptom == x.symptom && o.state == x.state })
		switch {
		case i < 0:
			out = append(out, x)
		case x.sure >= out[i].sure:
			out[i] = x
		}
	}
	return out
}

// withComplaint adds what every case holds, and what the drop did after work.
func (q *reference) withComplaint(all []sighting) []sighting {
	c := q.b.Complaint
	if c == nil {
		return all
	}
	values := q.b.Symptoms[c.Symptom].Values
	first := slices.IndexFunc(onePerState(all), func(x sighting) bool { return x.symptom == c.Symptom && x.state == 0 })
	begun := rulebase.Value{Word: values[c.Bad]}
	if first >= 0 {
		begun = onePerState(all)[first].value
	} else {
		all = append(all, sighting{symptom: c.Symptom, value: begun, sure: 1})
	}
	for i, d := range q.s.Done {
		switch d.Drop {
		case rulebase.Well:
			all = append(all, sighting{symptom: c.Symptom, state: i + 1, value: rulebase.Value{Word: values[c.Well]}, sure: 1})
		case rulebase.StillDown:
			all = append(all, sighting{symptom: c.Symptom, state: i + 1, value: begun, sure: 1})
		}
	}
	return all
}

// limits are a banded symptom's, nil where one is unknown or they do not rise.
func (q *reference) limits(s *rulebase.Symptom) []float64 {
	limits := []float64{}
	for i, e := range s.Limits {
		x := q.number(e.Root)
		if math.IsNaN(x) || math.IsInf(x, 0) || i > 0 && x <= limits[i-1] {
			return nil
		}
		limits = append(limits, x)
	}
	return limits
}

// place is where a value stands among its symptom's values, -1 where that cannot be told.
func (q *reference) place(symptom int, v rulebase.Value) int {
	s := &q.b.Symptoms[symptom]
	if !v.IsNumber {
		return slices.Index(s.Values, v.Word)
	}
	limits := q.limits(s)
	if limits == nil {
		return -1
	}
	at := 0
	for at < len(limits) && v.Number >= limits[at] {
		at++
	}
	return at
}

// ---- up, on what was observed

// said is what is known before any rule: givens and findings that are facts.
func (q *reference) said() {
	q.known = make([]rulebase.Slot, len(q.b.Names))
	q.newest = make([]int, len(q.b.Names))
	for i := range q.known {
		q.known[i].Number = math.NaN()
	}
	for _, g := range q.b.Givens {
		if g.Default != nil {
			q.known[g.Name] = *g.Default
			q.known[g.Name].Rank = rulebase.FromDefault
		}
		if word := q.filled(g.FilledBy); word != "" {
			q.say(g.Name, rulebase.Value{Word: word}, rulebase.FromFilled)
		}
	}
	for _, v := range q.s.Givens {
		ref, _ := q.b.Lookup(v.ID)
		q.say(q.b.Givens[ref.Index].Name, v.Value, rulebase.FromPerson)
	}
	q.sayFindings()
}

func (q *reference) filled(by string) string {
	switch by {
	case "at":
		return string(q.s.At)
	case "who":
		return map[rulebase.Who]string{rulebase.Operator: "operator", rulebase.Electrician: "electrician", rulebase.Technician: "technician", rulebase.Engineer: "engineer"}[q.s.Who]
	case "alone":
		return fmt.Sprint(q.s.Alone)
	}
	return ""
}

// say puts down a value, where the name has it.
func (q *reference) say(name int, v rulebase.Value, rank rulebase.Rank) {
	if slot, ok := q.b.SlotOf(name, v); ok {
		slot.Rank = rank
		q.known[name] = slot
	}
}

// sayFindings puts down the latest finding of each symptom that is sure enough
// to be a fact. Bands follow the limits as far as these are known by now.
func (q *reference) sayFindings() {
	for i := range q.b.Symptoms {
		latest := -1
		for _, x := range q.counts {
			if x.symptom != i || x.sure < q.b.FactFrom || x.state <= latest {
				continue
			}
			latest = x.state
			slot := rulebase.Slot{Word: int32(q.place(i, x.value) + 1), Rank: rulebase.FromPerson, Number: math.NaN()}
			if x.value.IsNumber {
				slot.Number = x.value.Number
			}
			q.known[q.b.Symptoms[i].Slot], q.newest[q.b.Symptoms[i].Slot] = slot, x.state
		}
	}
}

// setters lists the rules that can set a name. With limits, also those that set
// the givens by which a reading becomes a band: known() does not ask for the band.
func (q *reference) setters(name int, limits bool) (rules []int) {
	for i := range q.b.Rules {
		if slices.ContainsFunc(q.b.Rules[i].Then, func(a rulebase.Assignment) bool { return a.Name == name }) {
			rules = append(rules, i)
		}
	}
	if n := q.b.Names[name]; limits && n.Kind == rulebase.KindSymptom {
		for _, limit := range q.b.Symptoms[n.Index].Limits {
			for _, r := range reads(limit.Root, false) {
				rules = append(rules, q.setters(r.name, false)...)
			}
		}
	}
	return rules
}

// ranks orders rules: one that reads known(x) in a negative position comes after
// all that can set x.
func (q *reference) ranks() []int {
	rank := make([]int, len(q.b.Rules))
	for range len(rank) + 1 {
		for i := range q.b.Rules {
			for _, r := range reads(q.b.Rules[i].When.Root, false) {
				for _, other := range q.setters(r.name, !r.known) {
					least := rank[other]
					if r.known && r.crossed {
						least++
					}
					rank[i] = max(rank[i], least)
				}
			}
		}
	}
	return rank
}

// A conclusion is a value that rules give a name.
type conclusion struct {
	value rulebase.Slot
	state int // of the newest finding it rests on
}

// followRules runs the rules to a fixpoint; false where they contradicted one
// another and have to start again without the facts now banned.
func (q *reference) followRules() bool {
	q.said()
	q.fired, q.derived = nil, map[int]conclusion{}
	rank := q.ranks()
	for level := range len(rank) + 1 {
		for {
			var round []int
			for i := range q.b.Rules {
				if rank[i] <= level && !slices.Contains(q.fired, i) && q.truth(q.b.Rules[i].When.Root) == rulebase.True {
					round = append(round, i)
				}
			}
			if len(round) == 0 {
				break
			}
			q.fired = append(q.fired, round...)
			if !q.conclude(round) {
				return false
			}
			q.sayFindings()
		}
	}
	return true
}

// restsOn is the state of work of the newest finding among all names a rule reads.
func (q *reference) restsOn(rule int) int {
	state := 0
	for _, r := range reads(q.b.Rules[rule].When.Root, false) {
		state = max(state, q.newest[r.name])
	}
	return state
}

// conclude puts down what the rules of one round say, all at once; false where
// something of it contradicts the rest or what was derived before. A value that
// several rules of the round give belongs to the oldest of their states.
func (q *reference) conclude(round []int) bool {
	all := map[int][]conclusion{}
	for _, i := range round {
		for _, a := range q.b.Rules[i].Then {
			all[a.Name] = append(all[a.Name], conclusion{a.Value, q.restsOn(i)})
		}
	}
	fits := true
	for name, list := range all {
		if q.banned[name] {
			continue
		}
		one, before := q.derived[name]
		if !before {
			one = list[0]
		}
		for _, c := range list {
			if !alike(c.value, one.value) {
				q.banned[name], fits = true, false
			}
			if !before {
				one.state = min(one.state, c.state)
			}
		}
		q.derived[name] = one
		if q.known[name].Rank < rulebase.FromRules {
			q.known[name], q.newest[name] = one.value, one.state
			q.known[name].Rank = rulebase.FromRules
		}
	}
	return fits
}

func alike(a, b rulebase.Slot) bool {
	return a.Word == b.Word && (a.Number == b.Number || math.IsNaN(a.Number) && math.IsNaN(b.Number))
}

// countDerived adds derived symptoms to what counts, except where a person gave
// the symptom in that state of work.
func (q *reference) countDerived() {
	for i := range q.b.Symptoms {
		c, ok := q.derived[q.b.Symptoms[i].Slot]
		if !ok || slices.ContainsFunc(q.counts, func(o sighting) bool { return o.symptom == i && o.state == c.state }) {
			continue
		}
		v := rulebase.Value{IsNumber: true, Number: c.value.Number}
		if c.value.Word > 0 {
			v = rulebase.Value{Word: q.b.Symptoms[i].Values[c.value.Word-1]}
		}
		q.counts = append(q.counts, sighting{symptom: i, state: c.state, value: v, sure: q.usualSureness(i, q.s.At)})
	}
}
