package plan

import (
	"math"
	mathbits "math/bits"
	"slices"
)

// A sureSearch finds the best sequence of sure tests: what is known is a set of
// states, a machine word. Sets are searched from the whole down, each once; a test is
// left out where its price and the bounds of the sets that it leaves are no better
// than the best found (Pattipati and Alexandridis 1990). A set's bound is the
// entropy of its outcomes, in results, paid with the cheapest tests there are: no
// two tests of one sequence are the same, and their running sum is convex (Jensen).
type sureSearch struct {
	weight []float64 // by state; every weight is above 0
	place  []int     // by state: its place in the model
	groups []uint64  // sets of states that have to be told from others; nil: every state from every other
	same   []uint64  // by state: those of its outcome
	tests  []sureTest
	apart  []float64 // by pair of states: the price of the cheapest test between them; infinite where there is none
	paid   []float64 // what the first n of the cheapest tests cost
	radix  float64   // the most results of a test, in bits
	sums   [8][256]partSums
	table  sureTable
	rows   []sureOption // a stack
	opened int
}

type sureTest struct {
	step   int
	price  float64
	values []uint64 // the states that show each value
}

type partSums struct{ mass, plogp float64 }

type sureOption struct {
	lower float64
	test  int32
}

// newSure says whether a model asks for nothing but sure tests, few states enough.
func newSure(m *Model) (*sureSearch, bool) {
	if !m.Identify || !m.sure || m.Idle > 0 || m.Certain > 0 && m.Certain < 1 {
		return nil, false
	}
	s := &sureSearch{}
	for x, w := range m.Weight {
		if w > 0 {
			s.weight, s.place = append(s.weight, w), append(s.place, x)
		}
	}
	if len(s.weight) > 64 || len(s.weight) == 0 {
		return nil, false
	}
	for i := range m.Steps {
		if m.Steps[i].Moves == nil {
			s.test(m, i)
		}
	}
	s.prepare(m)
	return s, true
}

// test sorts the states by what a test shows.
func (s *sureSearch) test(m *Model, step int) {
	values := []uint64{s.all()}
	for _, sign := range m.Steps[step].Shows {
		var finer []uint64
		for _, p := range m.Signs[sign].P {
			shows := uint64(0)
			for i, x := range s.place {
				if p[x] == 1 {
					shows |= 1 << i
				}
			}
			for _, v := range values {
				if v&shows != 0 {
					finer = append(finer, v&shows)
				}
			}
		}
		values = finer
	}
	if len(values) > 1 {
		s.tests = append(s.tests, sureTest{step, m.Steps[step].Price, values})
		s.radix = max(s.radix, math.Log2(float64(len(values))))
	}
}

func (s *sureSearch) all() uint64 { return 1<<len(s.weight) - 1 } // 64 states: 0 - 1

func (s *sureSearch) prepare(m *Model) {
	n := len(s.weight)
	var prices []float64
	for _, t := range s.tests {
		prices = append(prices, t.price)
	}
	slices.Sort(prices)
	s.paid = []float64{0}
	for i, p := range prices {
		s.paid = append(s.paid, s.paid[i]+p)
	}
	s.apart = make([]float64, n*n)
	s.same = make([]uint64, n)
	for i := range n {
		for j := range n {
			s.apart[i*n+j] = math.Inf(1)
			if m.Outcome[s.place[i]] == m.Outcome[s.place[j]] {
				s.same[i] |= 1 << j
			}
		}
	}
	for _, t := range s.tests {
		of := make([]int, n)
		for v, set := range t.values {
			for ; set != 0; set &= set - 1 {
				of[mathbits.TrailingZeros64(set)] = v
			}
		}
		for i := range n {
			for j := range n {
				if of[i] != of[j] {
					s.apart[i*n+j] = min(s.apart[i*n+j], t.price)
				}
			}
		}
	}
	s.group()
	for i, w := range s.weight {
		part, bit := &s.sums[i>>3], 1<<(i&7)
		for set := range part {
			if set&bit != 0 {
				part[set].mass += w
				part[set].plogp += w * math.Log2(w)
			}
		}
	}
	s.table.grow(1 << 10)
}

// group puts together the states that need not, or cannot, be told apart: those of
// one outcome, and those that no test parts, and so on from one to the next. The
// sets that are left in the end lie each within one group.
func (s *sureSearch) group() {
	n := len(s.weight)
	left := s.all()
	for left != 0 {
		group := left & -left
		for grown := true; grown; {
			before := group
			for set := group; set != 0; set &= set - 1 {
				i := mathbits.TrailingZeros64(set)
				group |= s.same[i]
				for j := range n {
					if math.IsInf(s.apart[i*n+j], 1) {
						group |= 1 << j
					}
				}
			}
			grown = group != before
		}
		s.groups = append(s.groups, group)
		left &^= group
	}
	if len(s.groups) == n {
		s.groups = nil
	}
}

func (s *sureSearch) found() Found {
	total := s.total(s.all()).mass
	cost := s.solve(s.all(), math.Inf(1))
	step := Nothing
	if t := s.table.at(s.all()).test; t >= 0 {
		step = s.tests[t].step
	}
	return Found{step, cost / total, cost / total, s.opened}
}

func (s *sureSearch) total(set uint64) partSums {
	var sum partSums
	for i := 0; set != 0; i++ {
		p := &s.sums[i][set&255]
		sum.mass += p.mass
		sum.plogp += p.plogp
		set >>= 8
	}
	return sum
}

// lower bounds what is still to be paid for a set, times its mass.
func (s *sureSearch) lower(set uint64) float64 {
	n := len(s.weight)
	first := mathbits.TrailingZeros64(set)
	if set&^s.same[first] == 0 {
		return 0
	}
	rest := set & (set - 1)
	if rest&(rest-1) == 0 {
		c := s.apart[first*n+mathbits.TrailingZeros64(rest)]
		if math.IsInf(c, 1) {
			return 0
		}
		return c * (s.weight[first] + s.weight[mathbits.TrailingZeros64(rest)])
	}
	sum := s.total(set)
	h := sum.mass*math.Log2(sum.mass) - sum.plogp
	if s.groups != nil {
		h = sum.mass * math.Log2(sum.mass)
		for _, g := range s.groups {
			if g &= set; g != 0 {
				p := s.total(g).mass
				h -= p * math.Log2(p)
			}
		}
	}
	h /= sum.mass * s.radix
	if s.groups == nil && h < 1 {
		h = 1 // something has to be told apart
	}
	h *= 1 - 1e-12
	k := min(int(h), len(s.paid)-2)
	return sum.mass * (s.paid[k] + (h-float64(k))*(s.paid[k+1]-s.paid[k]))
}

// solve is the least cost of a set, times its mass, where that is below limit, and
// else a lower bound that is not.
func (s *sureSearch) solve(set uint64, limit float64) float64 {
	e := s.table.at(set)
	if !e.known {
		e.known, e.test = true, -1
		e.cost = s.lower(set)
		rest := set & (set - 1)
		e.exact = e.cost == 0 && s.groups == nil || rest&(rest-1) == 0 && rest != 0 && e.cost > 0 || rest == 0
		if e.exact && e.cost > 0 {
			e.test = s.cheapestApart(set)
		}
	}
	if e.exact || e.cost >= limit {
		return e.cost
	}
	s.opened++
	begin := len(s.rows)
	s.options(set)
	best, by, refused := limit, int32(-1), math.Inf(1)
	if len(s.rows) == begin {
		best, by = 0, -2 // nothing tells more
	}
	mass := s.total(set).mass
	for i := begin; i < len(s.rows); i++ {
		o := s.rows[i]
		if o.lower >= best {
			refused = min(refused, o.lower)
			break
		}
		cost := s.try(set, o, mass, best)
		if cost < best {
			best, by = cost, o.test
		} else {
			refused = min(refused, cost)
		}
	}
	s.rows = s.rows[:begin]
	e = s.table.at(set) // it may have moved
	if by == -1 {
		e.cost = max(e.cost, refused)
		return e.cost
	}
	e.cost, e.exact, e.test = best, true, max(by, -1)
	return best
}

func (s *sureSearch) cheapestApart(set uint64) int32 {
	best := int32(-1)
	for i := range s.tests {
		t := &s.tests[i]
		if set&t.values[0] != set && s.parts(t, set) && (best < 0 || t.price < s.tests[best].price) {
			best = int32(i)
		}
	}
	return best
}

func (s *sureSearch) parts(t *sureTest, set uint64) bool {
	for _, v := range t.values {
		if set&v != 0 {
			return set&v != set
		}
	}
	return false
}

// options puts the tests that part a set on the stack, by their bounds.
func (s *sureSearch) options(set uint64) {
	if set&^s.same[mathbits.TrailingZeros64(set)] == 0 {
		return
	}
	begin := len(s.rows)
	mass := s.total(set).mass
	for i := range s.tests {
		t := &s.tests[i]
		if !s.parts(t, set) {
			continue
		}
		lower := t.price * mass
		for _, v := range t.values {
			if v &= set; v != 0 && v&(v-1) != 0 {
				lower += s.known(v)
			}
		}
		s.rows = append(s.rows, sureOption{lower, int32(i)})
		for j := len(s.rows) - 1; j > begin && s.rows[j-1].lower > lower; j-- {
			s.rows[j-1], s.rows[j] = s.rows[j], s.rows[j-1]
		}
	}
}

// known is the best bound known for a set.
func (s *sureSearch) known(set uint64) float64 {
	if e := s.table.find(set); e != nil && e.known {
		return e.cost
	}
	return s.lower(set)
}

// try solves the sets that a test leaves, as long as they stay below best.
func (s *sureSearch) try(set uint64, o sureOption, mass, best float64) float64 {
	t := &s.tests[o.test]
	cost := t.price * mass
	for _, v := range t.values { // bounds may have risen since the options were put in order
		if v &= set; v != 0 && v&(v-1) != 0 {
			cost += s.known(v)
		}
	}
	for _, v := range t.values {
		if cost >= best {
			return cost
		}
		if v &= set; v == 0 || v&(v-1) == 0 {
			continue
		}
		bound := s.known(v)
		cost += s.solve(v, best-cost+bound) - bound
	}
	return cost
}

// A sureTable remembers sets: open addressing with linear probing.
type sureTable struct {
	entries []sureEntry
	used    int
}

type sureEntry struct {
	set          uint64 // 0: free
	cost         float64
	test         int32
	known, exact bool
}

func (t *sureTable) slot(set uint64) int {
	mask := uint64(len(t.entries) - 1)
	i := set * 0x9E3779B97F4A7C15 >> 20 & mask
	for t.entries[i].set != set && t.entries[i].set != 0 {
		i = (i + 1) & mask
	}
	return int(i)
}

func (t *sureTable) find(set uint64) *sureEntry {
	if e := &t.entries[t.slot(set)]; e.set != 0 {
		return e
	}
	return nil
}

// at finds or makes an entry. It is only good until the next is made.
func (t *sureTable) at(set uint64) *sureEntry {
	e := &t.entries[t.slot(set)]
	if e.set != 0 {
		return e
	}
	if 2*t.used >= len(t.entries) {
		t.grow(2 * len(t.entries))
		e = &t.entries[t.slot(set)]
	}
	t.used++
	e.set = set
	return e
}

func (t *sureTable) grow(size int) {
	old := t.entries
	t.entries = make([]sureEntry, size)
	for _, e := range old {
		if e.set != 0 {
			t.entries[t.slot(e.set)] = e
		}
	}
}
