package engine

import (
	"cmp"
	"fmt"
	"math"
	"math/bits"
	"slices"
	"strings"

	"downdrop/engine/belief"
	"downdrop/engine/chain"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// A seen is one report of a symptom, as weighed.
type seen struct {
	symptom int
	state   int     // of work: 0 before any
	value   int     // index into the symptom's Values; -1: a reading that cannot be sorted into bands
	among   uint64  // value is -1, and one of these was seen, not known which: bit i is value i; 0: not so
	number  float64 // the reading; NaN where a band's name was given
	sure    float64
	place   int  // among all reports; a later one outranks an equally sure one
	rule    int  // the rule that derived it; -1: somebody saw it
	silent  bool // the complaint that nobody had to give, or what the drop did after work
}

// A piece is one piece of evidence in the order of weighing: a report, or a
// rule's word that a cause is there or is not.
type piece struct {
	seen
	cause   int // for rules_out and establishes
	outs    bool
	settles bool
}

func (p *piece) isReport() bool { return !p.outs && !p.settles }

// known is all that is known before anything is weighed.
type known struct {
	base      *rulebase.Base
	s         *rulebase.Situation
	reports   []seen // every report of this drop, as given
	counting  []seen // one for each symptom and state
	slots     []rulebase.Slot
	result    *chain.Result
	limits    [][]float64 // by symptom: limits in this session; nil where unknown, not rising or not banded
	conflicts []Conflict
	last      map[string]int // state after the last entry of an id
}

// learn goes from a situation to all that is known: reports, facts, limits.
func (p *Prepared) learn(s *rulebase.Situation) *known {
	k := &known{base: p.base, s: s, last: map[string]int{}}
	for i, d := range s.Done {
		k.last[d.ID] = i + 1
	}
	given := k.givens()
	from := k.onPaper()
	limits := k.sortLimits(given)
	// Limits depend on givens, which rules may derive from bands, which depend on
	// limits: repeated until nothing changes. Each round can only follow a given
	// that a rule set, so a few are enough; the number is capped all the same.
	for range 1 + len(p.base.Rules) {
		k.limits = limits
		k.gather()
		state := make([]int, len(k.slots))
		copy(k.slots, given)
		k.facts(state)
		k.result = p.rules.Run(chain.Input{Slots: k.slots, State: state, From: from})
		limits = k.sortLimits(k.result.Slots)
		if slices.EqualFunc(limits, k.limits, slices.Equal[[]float64]) {
			break
		}
	}
	k.derive()
	k.differing()
	return k
}

// givens writes what persons gave and what the program fills in itself.
func (k *known) givens() []rulebase.Slot {
	slots := make([]rulebase.Slot, len(k.base.Names))
	for i := range slots {
		slots[i].Number = math.NaN()
	}
	for i := range k.base.Givens {
		g := &k.base.Givens[i]
		if v, ok := k.filled(g); ok {
			if slot, ok := k.base.SlotOf(g.Name, v); ok {
				slot.Rank = rulebase.FromFilled
				slots[g.Name] = slot
			}
		}
	}
	for _, v := range k.s.Givens {
		if ref, ok := k.base.Lookup(v.ID); ok && ref.Kind == rulebase.KindGiven {
			name := k.base.Givens[ref.Index].Name
			if slot, ok := k.base.SlotOf(name, v.Value); ok {
				slot.Rank = rulebase.FromPerson
				slots[name] = slot
			}
		}
	}
	return slots
}

// onPaper says, by name, how the installation sheet comes to what it fills in.
func (k *known) onPaper() map[int]string {
	if len(k.s.Sums) == 0 {
		return nil
	}
	from := map[int]string{}
	for i := range k.base.Givens {
		g := &k.base.Givens[i]
		if sum := k.s.Sums[g.FilledBy]; sum != "" {
			from[g.Name] = "by the installation sheet, " + sum
		}
	}
	return from
}

// filled is what the program knows of itself.
func (k *known) filled(g *rulebase.Given) (rulebase.Value, bool) {
	if text, ok := k.s.Paper[g.FilledBy]; ok {
		return g.Read(text)
	}
	word := ""
	switch g.FilledBy {
	case "at":
		word = string(k.s.At)
	case "who":
		word = k.s.Who.String()
	case "alone":
		word = fmt.Sprint(k.s.Alone)
	case "extent":
		word, _ = rulebase.Extent(k.s.Drop, k.s.Drops, k.s.Order, k.s.Supplies)
	}
	return rulebase.Value{Word: word}, word != ""
}

// sortLimits evaluates the limits of all banded symptoms.
func (k *known) sortLimits(slots []rulebase.Slot) [][]float64 {
	// Defaults hold where nothing else is known.
	with := slices.Clone(slots)
	for i := range k.base.Givens {
		g := &k.base.Givens[i]
		if with[g.Name].Rank == rulebase.NotKnown && g.Default != nil {
			with[g.Name] = *g.Default
		}
	}
	all := make([][]float64, len(k.base.Symptoms))
	for i := range k.base.Symptoms {
		s := &k.base.Symptoms[i]
		if !s.Banded() {
			continue
		}
		limits := make([]float64, len(s.Limits))
		rising := true
		for j, e := range s.Limits {
			limits[j] = e.Value(with)
			rising = rising && limits[j] == limits[j] && (j == 0 || limits[j] > limits[j-1])
		}
		if rising {
			all[i] = limits
		}
	}
	return all
}

// gather reads all reports of this drop and picks those that count: for each
// symptom and state of work the surest, then the last given.
func (k *known) gather() {
	k.slots = make([]rulebase.Slot, len(k.base.Names))
	k.reports = k.reports[:0]
	for i := range k.s.Findings {
		f := &k.s.Findings[i]
		ref, ok := k.base.Lookup(f.Symptom)
		if !ok || ref.Kind != rulebase.KindSymptom || f.Drop != 0 && f.Drop != k.s.Drop {
			continue
		}
		k.report(ref.Index, f)
	}
	k.complain()
	k.counting = k.counting[:0]
	best := map[[2]int]int{}
	for _, r := range k.reports {
		key := [2]int{r.symptom, r.state}
		at, ok := best[key]
		if !ok {
			best[key] = len(k.counting)
			k.counting = append(k.counting, r)
		} else if r.sure >= k.counting[at].sure {
			k.counting[at] = r
		}
	}
}

func (k *known) report(symptom int, f *rulebase.Finding) {
	s := &k.base.Symptoms[symptom]
	r := seen{symptom: symptom, value: -1, number: math.NaN(), place: len(k.reports), rule: -1}
	if f.Now {
		r.state = len(k.s.Done)
	} else if f.After != "" {
		r.state = k.last[f.After]
	}
	if len(f.Among) > 0 {
		for _, word := range f.Among {
			if v := slices.Index(s.Values, word); v >= 0 {
				r.among |= 1 << v
			}
		}
	} else if s.Banded() && f.Value.IsNumber {
		r.number = f.Value.Number
		r.value = band(k.limits[symptom], r.number)
	} else {
		r.value = slices.Index(s.Values, f.Value.Word)
	}
	at := f.At
	if at == "" {
		at = k.s.At
	}
	r.sure = k.base.SureOf(symptom, at)
	if f.Sure != nil {
		r.sure = *f.Sure
	}
	k.reports = append(k.reports, r)
}

// band is the first band whose limit a reading is below; -1 where limits are not known.
func band(limits []float64, reading float64) int {
	if limits == nil {
		return -1
	}
	for i, l := range limits {
		if reading < l {
			return i
		}
	}
	return len(limits)
}

// complain adds the complaint that nobody had to give, and what the drop did
// after each piece of work. Both are sure.
func (k *known) complain() {
	c := k.base.Complaint
	if c == nil {
		return
	}
	began := slices.ContainsFunc(k.reports, func(r seen) bool { return r.symptom == c.Symptom && r.state == 0 })
	if !began {
		k.reports = append(k.reports, seen{symptom: c.Symptom, value: c.Bad, number: math.NaN(), sure: 1, place: len(k.reports), rule: -1, silent: true})
	}
	reported := k.reported()
	for i, d := range k.s.Done {
		value := -1
		switch d.Drop {
		case rulebase.Well:
			value = c.Well
		case rulebase.StillDown:
			value = reported
		default:
			continue
		}
		k.reports = append(k.reports, seen{symptom: c.Symptom, state: i + 1, value: value, number: math.NaN(), sure: 1, place: len(k.reports), rule: -1, silent: true})
	}
}

// reported is the complaint's value when the case began.
func (k *known) reported() int {
	c := k.base.Complaint
	value, sure := c.Bad, -1.0
	for _, r := range k.reports {
		if r.symptom == c.Symptom && r.state == 0 && r.value >= 0 && r.sure >= sure {
			value, sure = r.value, r.sure
		}
	}
	return value
}

// facts writes, for rules, the latest report of each symptom among those sure
// enough to be a fact, with its state of work.
func (k *known) facts(state []int) {
	latest := map[int]seen{}
	for _, r := range k.counting {
		if r.sure < k.base.FactFrom || r.among != 0 {
			continue
		}
		if l, ok := latest[r.symptom]; !ok || r.state > l.state {
			latest[r.symptom] = r
		}
	}
	for symptom, r := range latest {
		name := k.base.Symptoms[symptom].Slot
		k.slots[name] = rulebase.Slot{Word: int32(r.value + 1), Number: r.number, Rank: rulebase.FromPerson}
		state[name] = r.state
	}
}

// derive adds the symptoms that rules derived to what counts, unless a person
// gave the symptom in that state of work.
func (k *known) derive() {
	for _, d := range slices.Concat(k.result.Derivations, k.result.Overridden) {
		n := k.base.Names[d.Name]
		if n.Kind != rulebase.KindSymptom || len(d.Rules) == 0 {
			continue
		}
		if slices.ContainsFunc(k.counting, func(r seen) bool { return r.symptom == n.Index && r.state == d.State }) {
			continue
		}
		r := seen{symptom: n.Index, state: d.State, value: int(d.Value.Word) - 1, number: d.Value.Number, sure: k.base.SureOf(n.Index, k.s.At), rule: d.Rules[0]}
		if r.value < 0 && k.base.Symptoms[n.Index].Banded() {
			r.value = band(k.limits[n.Index], r.number)
		}
		k.counting = append(k.counting, r)
	}
}

// differing reports findings of one symptom in one state of work that differ,
// and readings that cannot be sorted into bands.
func (k *known) differing() {
	for i, r := range k.reports {
		for _, q := range k.reports[:i] {
			if q.symptom == r.symptom && q.state == r.state && q.value != r.value && q.among|r.among == 0 {
				k.conflict(ConflictFindings, fmt.Sprintf("%s was reported as %s and as %s in the same state of work; the surer report counts, then the later one.",
					k.id(r.symptom), k.value(q), k.value(r)), k.id(r.symptom))
				break
			}
		}
	}
	for _, r := range k.counting {
		if r.value < 0 && r.among == 0 && k.base.Symptoms[r.symptom].Weighs {
			ask := k.unknownLimits(r.symptom)
			k.conflict(ConflictLimits, fmt.Sprintf("The reading %s is kept but cannot be judged: its limits are not known, or not rising, with %s as given.",
				k.id(r.symptom), strings.Join(ask, ", ")), append([]string{k.id(r.symptom)}, ask...)...)
		}
	}
	for _, d := range k.result.Overridden {
		k.overridden(d)
	}
	for _, c := range k.result.Conflicts {
		k.conflict(ConflictRules, c.String(), c.Members()...)
		for _, chain := range c.Chains() {
			last := &k.conflicts[len(k.conflicts)-1]
			last.Why = append(last.Why, why(chain)...)
		}
	}
}

func (k *known) overridden(d chain.Derivation) {
	n := k.base.Names[d.Name]
	said := k.result.Slots[d.Name]
	if n.Kind == rulebase.KindSymptom {
		at := slices.IndexFunc(k.counting, func(r seen) bool { return r.symptom == n.Index && r.state == d.State })
		if at < 0 {
			return
		}
		said = rulebase.Slot{Word: int32(k.counting[at].value + 1), Number: k.counting[at].number}
	}
	if said.Word == d.Value.Word && (said.Word != 0 || said.Number == d.Value.Number) {
		return
	}
	rules := make([]string, len(d.Rules))
	for i, r := range d.Rules {
		rules[i] = k.base.Rules[r].ID
	}
	k.conflict(ConflictDerived, fmt.Sprintf("%s was answered with %s, but by the rule %s it would be %s; what was said counts.",
		k.question(n), k.base.SlotText(d.Name, said), strings.Join(rules, ", "), k.base.SlotText(d.Name, d.Value)), append([]string{n.ID}, rules...)...)
}

// question is what is asked for a given or a symptom, for the people who answered; of what nobody is asked the id.
func (k *known) question(n rulebase.Name) string {
	ask := ""
	switch n.Kind {
	case rulebase.KindGiven:
		ask = k.base.Givens[n.Index].Ask
	case rulebase.KindSymptom:
		ask = k.base.Symptoms[n.Index].Ask
	}
	if ask == "" {
		return n.ID
	}
	return `"` + ask + `"`
}

func (k *known) conflict(kind ConflictKind, says string, members ...string) {
	k.conflicts = append(k.conflicts, Conflict{Kind: kind, Says: says, Members: members})
}

func (k *known) id(symptom int) string { return k.base.Symptoms[symptom].ID }

func (k *known) value(r seen) string {
	if r.among != 0 {
		var words []string
		for v, word := range k.base.Symptoms[r.symptom].Values {
			if r.among&(1<<v) != 0 {
				words = append(words, word)
			}
		}
		return strings.Join(words, " or ")
	}
	return k.base.SlotText(k.base.Symptoms[r.symptom].Slot, rulebase.Slot{Word: int32(r.value + 1), Number: r.number})
}

// unknownLimits names the givens that a symptom's limits read.
func (k *known) unknownLimits(symptom int) []string {
	var ask []string
	for _, e := range k.base.Symptoms[symptom].Limits {
		for _, n := range e.Reads() {
			if id := k.base.Names[n].ID; !slices.Contains(ask, id) {
				ask = append(ask, id)
			}
		}
	}
	return ask
}

// evidence is everything to be weighed, in a fixed order: by state of work, then
// reports by symptom, then the rules' words by cause. What weighs nothing is left out.
func (k *known) evidence() []piece {
	var all []piece
	for _, r := range k.counting {
		if (r.value >= 0 || r.among != 0) && k.base.Symptoms[r.symptom].Weighs {
			all = append(all, piece{seen: r, cause: -1})
		}
	}
	for i, rule := range k.result.Fired {
		state := k.result.FiredState[i]
		for _, c := range k.base.Rules[rule].RulesOut {
			all = append(all, piece{seen: seen{rule: rule, state: state, symptom: -1}, cause: c, outs: true})
		}
		for _, c := range k.base.Rules[rule].Establishes {
			all = append(all, piece{seen: seen{rule: rule, state: state, symptom: -1}, cause: c, settles: true})
		}
	}
	slices.SortStableFunc(all, func(a, b piece) int {
		reportsFirst := func(p piece) int {
			if p.isReport() {
				return 0
			}
			return 1
		}
		return cmp.Or(cmp.Compare(a.state, b.state), cmp.Compare(reportsFirst(a), reportsFirst(b)),
			cmp.Compare(a.symptom, b.symptom), cmp.Compare(a.cause, b.cause), cmp.Compare(a.rule, b.rule))
	})
	return all
}

// observation is a report as it is weighed. Under outside every value is alike,
// but the complaint keeps, after work, the value reported when the case began.
func (k *known) observation(ses *session, p *piece) belief.Observation {
	values := uint64(1) << max(p.value, 0)
	var o belief.Observation
	if p.among != 0 {
		o, values = belief.SeenAmong(ses.symptoms[p.symptom], p.among, p.sure), p.among
	} else {
		o = belief.Seen(ses.symptoms[p.symptom], p.value, p.sure)
	}
	c := k.base.Complaint
	if c != nil && p.symptom == c.Symptom && p.state > 0 {
		o.Outside = (1 - p.sure) * float64(bits.OnesCount64(values)) / float64(o.Symptom.Values())
		if values&(1<<k.reported()) != 0 {
			o.Outside += p.sure
		}
	}
	return o
}

// takings are the causes that an entry of the work done takes away.
func takings(base *rulebase.Base, id string) []hypothesis.Taking {
	step := base.Step(id)
	if step == nil {
		return nil
	}
	var all []hypothesis.Taking
	for c := range base.Causes {
		if chance := takes(base, step, c); chance > 0 {
			all = append(all, hypothesis.Taking{Cause: c, Chance: chance})
		}
	}
	return all
}

// takes is the chance that a step takes a cause away.
func takes(base *rulebase.Base, step *rulebase.Step, cause int) float64 {
	if step.Temporary {
		return 0
	}
	if slices.Contains(step.PutsRight, cause) {
		return 1
	}
	if step.Kind == rulebase.KindRemedy {
		for _, h := range base.Causes[cause].Remedies {
			if &base.Remedies[h.Remedy] == step {
				return h.Chance
			}
		}
	}
	return 0
}
