package review

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// A setting is one way the givens can be that conditions and rows read: a kind of
// line, a place. In it all is settled for no cause, for every single cause and
// for every pair.
type setting struct {
	says    string // "where line is token_pair"; "" where nothing but causes is read
	known   bool   // every given that is read has a value
	settled *hypothesis.Settled
	rows    [][][]uint64 // by symptom and row: the worlds in which its condition holds
	p       [][][]float64

	compared int // symptoms that overlap went through since it was last asked
}

func (s *setting) takeCompared() int {
	n := s.compared
	s.compared = 0
	return n
}

// mostSettings bounds how many ways of the givens are gone through. Where there
// would be more, each given is changed alone and two at a time.
const mostSettings = 256

// mostPairs is up to how many causes pairs are gone through; beyond, single ones.
const mostPairs = 1000

// settingsOf goes through the values of all givens that conditions and rows read.
func (r *reviewer) settingsOf() []setting {
	b := r.b
	read := givensReadDownward(b)
	worlds := 1 + len(b.Causes)
	if size(b) == 2 {
		worlds += len(b.Causes) * (len(b.Causes) - 1) / 2
	}
	r.spend(worlds)
	each := perSetting(b, (worlds+63)/64)
	space := hypothesis.Enumerate(len(b.Causes), size(b)).Ready()
	var all []setting
	seen := map[string]bool{}
	for _, ways := range waysOf(b, read) {
		r.spend(len(b.Names))
		slots := make([]rulebase.Slot, len(b.Names))
		for i := range slots {
			slots[i].Number = math.NaN()
		}
		s := setting{known: true}
		var says []string
		for i, v := range ways {
			slots[read[i]] = v
			s.known = s.known && v.Rank != rulebase.NotKnown
			says = append(says, valueSays(b, read[i], v))
		}
		down := engine.Suppose(b, slots)
		if seen[down.Key] {
			continue
		}
		seen[down.Key] = true
		if len(says) > 0 {
			s.says = " where " + strings.Join(says, " and ")
		}
		r.spend(each)
		s.settle(b, down, space)
		all = append(all, s)
	}
	return all
}

// perSetting is the work of one setting: a word of a column for each term that is worked out,
// eight for each that is kept, and as much for each chance that is kept.
func perSetting(b *rulebase.Base, words int) int {
	columns, terms, chances := len(b.Conditions), 0, 0
	count := func(e *rulebase.Expression) {
		if e != nil {
			each(e.Root, func(*rulebase.Term) { terms++ })
		}
	}
	for i := range b.Conditions {
		count(b.Conditions[i].When)
	}
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		for _, row := range s.Shows {
			count(row.When)
		}
		columns += len(s.Shows)
		if s.Weighs {
			chances += (len(b.Causes) + 1) * (3 + len(s.Values))
		}
	}
	return words*(terms+8*columns) + 4*chances
}

func size(b *rulebase.Base) int {
	if len(b.Causes) > mostPairs {
		return 1
	}
	return 2
}

func valueSays(b *rulebase.Base, name int, v rulebase.Slot) string {
	if v.Rank == rulebase.NotKnown {
		return b.Names[name].ID + " is not known"
	}
	return fmt.Sprintf("%s is %s", b.Names[name].ID, b.SlotText(name, v))
}

func (s *setting) settle(b *rulebase.Base, down *engine.Downward, space *hypothesis.Space) {
	s.settled = hypothesis.NewSystem(down.Conditions).Settle(space)
	s.rows = make([][][]uint64, len(b.Symptoms))
	s.p = make([][][]float64, len(b.Symptoms))
	for i, formulas := range down.Rows {
		s.rows[i] = make([][]uint64, len(formulas))
		for j, f := range formulas {
			s.rows[i][j] = make([]uint64, space.Words())
			s.settled.Evaluate(f, s.rows[i][j])
		}
		if b.Symptoms[i].Weighs {
			s.p[i] = make([][]float64, len(b.Causes)+1)
			for world := range s.p[i] {
				s.p[i][world] = s.chances(&b.Symptoms[i], s.rows[i], world)
			}
		}
	}
}

func holds(column []uint64, world int) bool { return column[world>>6]>>(world&63)&1 == 1 }

// chances are how a symptom shows in a world: none is world 0, cause c alone c+1.
func (s *setting) chances(symptom *rulebase.Symptom, rows [][]uint64, world int) []float64 {
	if symptom.Independent {
		yes := slices.Index(symptom.Values, "yes")
		no := 1.0
		for j, column := range rows {
			if holds(column, world) {
				no *= 1 - symptom.Shows[j].P[yes]
			}
		}
		p := []float64{no, no}
		p[yes] = 1 - no
		return p
	}
	for j, column := range rows {
		if holds(column, world) {
			return symptom.Shows[j].P
		}
	}
	p := make([]float64, len(symptom.Values))
	for i := range p {
		p[i] = 1 / float64(len(p))
	}
	return p
}

// none is the world without a cause; alone the world of one cause.
const none = 0

func alone(cause int) int { return cause + 1 }

// givensReadDownward are the names that parts of conditions and rows read which
// are decided once for a session.
func givensReadDownward(b *rulebase.Base) []int {
	var read []int
	note := func(e *rulebase.Expression) {
		if e == nil {
			return
		}
		for _, n := range e.Reads() {
			if b.Names[n].Kind == rulebase.KindGiven {
				read = append(read, n)
			}
		}
	}
	for i := range b.Conditions {
		note(b.Conditions[i].When)
	}
	for i := range b.Symptoms {
		for _, row := range b.Symptoms[i].Shows {
			note(row.When)
		}
	}
	slices.Sort(read)
	return slices.Compact(read)
}

// waysOf are the combinations of values of some names.
func waysOf(b *rulebase.Base, names []int) [][]rulebase.Slot {
	domains := make([][]rulebase.Slot, len(names))
	count := 1
	for i, n := range names {
		domains[i] = domainOf(b, n, numbersBeside(b, n))
		count = min(count*len(domains[i]), mostSettings+1)
	}
	var ways [][]rulebase.Slot
	if count <= mostSettings {
		product(domains, func(way []rulebase.Slot) bool {
			ways = append(ways, slices.Clone(way))
			return true
		})
		return ways
	}
	usual := make([]rulebase.Slot, len(names))
	for i := range names {
		usual[i] = domains[i][0]
	}
	ways = append(ways, usual)
	for i := range names {
		for _, v := range domains[i][1:] {
			way := slices.Clone(usual)
			way[i] = v
			ways = append(ways, way)
			for j := i + 1; j < len(names); j++ {
				for _, w := range domains[j][1:] {
					if len(ways) > 16*mostSettings {
						return ways
					}
					two := slices.Clone(way)
					two[j] = w
					ways = append(ways, two)
				}
			}
		}
	}
	return ways
}

// product calls visit with every combination, until it says that it has enough.
func product(domains [][]rulebase.Slot, visit func([]rulebase.Slot) bool) {
	way := make([]rulebase.Slot, len(domains))
	var from func(i int) bool
	from = func(i int) bool {
		if i == len(domains) {
			return visit(way)
		}
		for _, v := range domains[i] {
			way[i] = v
			if !from(i + 1) {
				return false
			}
		}
		return true
	}
	from(0)
}

// domainOf are values that a name can have, one for each way an expression can
// tell them apart, the usual one first and "not known" last. The numbers are
// those that it is compared with.
func domainOf(b *rulebase.Base, name int, numbers []float64) []rulebase.Slot {
	n := &b.Names[name]
	var all []rulebase.Slot
	if n.Kind == rulebase.KindGiven {
		if d := b.Givens[n.Index].Default; d != nil {
			all = append(all, *d)
		}
	}
	if n.Type == rulebase.Number {
		if g := rangeOf(b, n); g != nil {
			numbers = append(numbers, g[0], g[1])
		}
		for _, x := range around(numbers) {
			if g := rangeOf(b, n); g == nil || x >= g[0] && x <= g[1] {
				all = append(all, rulebase.Slot{Number: x, Rank: rulebase.FromPerson})
			}
		}
	}
	for i := range n.Words {
		all = append(all, rulebase.Slot{Word: int32(i + 1), Number: math.NaN(), Rank: rulebase.FromPerson})
	}
	return append(all, rulebase.Slot{Number: math.NaN()})
}

// rangeOf is what is plausible of a given, nil where nothing is said.
func rangeOf(b *rulebase.Base, n *rulebase.Name) *[2]float64 {
	if n.Kind != rulebase.KindGiven {
		return nil
	}
	return b.Givens[n.Index].Range
}

// around are numbers on each side of some limits, and the limits themselves.
func around(limits []float64) []float64 {
	if len(limits) == 0 {
		return []float64{1}
	}
	slices.Sort(limits)
	limits = slices.Compact(limits)
	all := []float64{limits[0] - 1 - math.Abs(limits[0])}
	for i, x := range limits {
		all = append(all, x)
		if i+1 < len(limits) {
			all = append(all, (x+limits[i+1])/2)
		}
	}
	last := limits[len(limits)-1]
	return append(all, last+1+math.Abs(last))
}

// numbersBeside are the numbers that conditions and rows compare a name with.
func numbersBeside(b *rulebase.Base, name int) []float64 {
	var all []float64
	note := func(e *rulebase.Expression) {
		if e != nil {
			all = append(all, constantsBeside(e, name)...)
		}
	}
	for i := range b.Conditions {
		note(b.Conditions[i].When)
	}
	for i := range b.Symptoms {
		for _, row := range b.Symptoms[i].Shows {
			note(row.When)
		}
	}
	return all
}

// constantsBeside are the numbers in the comparisons that read a name.
func constantsBeside(e *rulebase.Expression, name int) []float64 {
	var all []float64
	each(e.Root, func(t *rulebase.Term) {
		if t.Op < rulebase.OpInNumbers || t.Op > rulebase.OpGreaterEqual {
			return
		}
		reads, numbers := false, slices.Clone(t.Numbers)
		each(t, func(x *rulebase.Term) {
			reads = reads || x.Op == rulebase.OpReading && x.Name == name
			if x.Op == rulebase.OpConstant {
				numbers = append(numbers, x.Number)
			}
		})
		if reads {
			all = append(all, numbers...)
		}
	})
	return all
}

// each calls visit with every term of a tree.
func each(t *rulebase.Term, visit func(*rulebase.Term)) {
	visit(t)
	for _, a := range t.Args {
		each(a, visit)
	}
}
