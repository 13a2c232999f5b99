package review

import (
	"encoding/binary"
	"math"
	"math/bits"
	"slices"
)

// A Table is which tests tell which faults apart, by number, each fault present alone.
type Table struct {
	Rate  []float64                     // of each fault; only ratios count
	Cost  []float64                     // of each test
	Apart func(test int, f, g int) bool // the test tells fault f from g; either may be Nothing. Symmetric; no fault is apart from itself
	Do    []int                         // by fault: what is done about it, faults with the same need not be told apart; nil: each its own
}

// With is the table in which something else is done about the faults.
func (t *Table) With(do []int) *Table {
	u := *t
	u.Do = do
	return &u
}

// Nothing stands for no fault at all.
const Nothing = -1

// A Share is a part of some faults: of their rates, and of their number.
type Share struct{ ByRate, ByCount float64 }

// Testability is how well tests tell faults apart. The definitions are those of
// tests that are sure, from memory of IEEE Std 1522-2004 and MIL-STD-2165 (1985),
// whose texts were not read. A fault is seen if some test tells it from nothing.
// A group is seen faults of which each is linked to the next by a pair that no
// test tells apart; with the usual table these are the faults with equal results.
// The size of a group is the number of different things that are done about it.
type Testability struct {
	Seen, Unseen []int
	SeenShare    Share    // of all faults
	Groups       [][]int  // in the order of their first faults
	Useless      []int    // tests that tell nothing from nothing else
	Redundant    [][2]int // pairs of tests that tell the same apart
	Masked       int      // ordered pairs of seen faults of which the second hides the first: tests tell them apart, but none that sees the first does

	t     *Table
	alike [][]set // by test and fault: the faults that the test does not tell from it
	sees  []set   // by test: the faults that it tells from nothing
}

// Testability works the figures out.
func (t *Table) Testability() *Testability {
	x := &Testability{t: t}
	x.relate()
	all := newSet(len(t.Rate))
	for f := range t.Rate {
		all.add(f)
		if slices.ContainsFunc(x.sees, func(s set) bool { return s.has(f) }) {
			x.Seen = append(x.Seen, f)
		} else {
			x.Unseen = append(x.Unseen, f)
		}
	}
	x.SeenShare = t.share(x.Seen, all.members())
	x.group()
	for a := range t.Cost {
		if x.sees[a].empty() && !slices.ContainsFunc(x.alike[a], func(s set) bool { return !slices.Equal(s, all) }) {
			x.Useless = append(x.Useless, a)
		}
		for b := a + 1; b < len(t.Cost); b++ {
			if slices.Equal(x.sees[a], x.sees[b]) && slices.EqualFunc(x.alike[a], x.alike[b], slices.Equal[set]) {
				x.Redundant = append(x.Redundant, [2]int{a, b})
			}
		}
	}
	for _, f := range x.Seen {
		for _, g := range x.Seen {
			if x.hides(g, f) {
				x.Masked++
			}
		}
	}
	return x
}

// relate asks every test about every pair, once.
func (x *Testability) relate() {
	n := len(x.t.Rate)
	for test := range x.t.Cost {
		sees, alike := newSet(n), make([]set, n)
		for f := range n {
			alike[f] = newSet(n)
			if x.t.Apart(test, f, Nothing) {
				sees.add(f)
			}
			for g := range n {
				if !x.t.Apart(test, f, g) {
					alike[f].add(g)
				}
			}
		}
		x.sees, x.alike = append(x.sees, sees), append(x.alike, alike)
	}
}

// group finds the groups by going from fault to fault that no test tells apart.
func (x *Testability) group() {
	open := newSet(len(x.t.Rate))
	for _, f := range x.Seen {
		open.add(f)
	}
	for _, f := range x.Seen {
		if !open.has(f) {
			continue
		}
		group, at := newSet(len(x.t.Rate)), []int{f}
		open.remove(f)
		for len(at) > 0 {
			f, at = at[0], at[1:]
			group.add(f)
			for _, g := range x.same(f).and(open).members() {
				open.remove(g)
				at = append(at, g)
			}
		}
		x.Groups = append(x.Groups, group.members())
	}
}

// same are the faults that no test tells from f, itself among them.
func (x *Testability) same(f int) set {
	same := newSet(len(x.t.Rate))
	for i := range same {
		same[i] = ^uint64(0)
	}
	for test := range x.alike {
		same = same.and(x.alike[test][f])
	}
	return same
}

// hides says that where g is there, too, nothing is left by which f would be known.
func (x *Testability) hides(g, f int) bool {
	told := false
	for test := range x.alike {
		apart := !x.alike[test][f].has(g)
		if apart && x.sees[test].has(f) {
			return false
		}
		told = told || apart
	}
	return told
}

func (t *Table) rate(faults []int) float64 {
	sum := 0.0
	for _, f := range faults {
		sum += t.Rate[f]
	}
	return sum
}

func (t *Table) share(some, all []int) Share {
	if len(all) == 0 {
		return Share{}
	}
	return Share{t.rate(some) / t.rate(all), float64(len(some)) / float64(len(all))}
}

func (t *Table) do(fault int) int {
	if t.Do == nil {
		return fault
	}
	return t.Do[fault]
}

// size is the number of different things that are done about some faults.
func (t *Table) size(faults []int) int {
	things := map[int]bool{}
	for _, f := range faults {
		things[t.do(f)] = true
	}
	return len(things)
}

// Isolated is the share, of the faults that are seen, of those in groups of at
// most a size.
func (x *Testability) Isolated(atMost int) Share {
	var in []int
	for _, g := range x.Groups {
		if x.t.size(g) <= atMost {
			in = append(in, g...)
		}
	}
	return x.t.share(in, x.Seen)
}

// MeanSize is the mean size of the group that a seen fault lies in, by rate, and
// the mean size of the groups; 0 where nothing is seen.
func (x *Testability) MeanSize() (byRate, byGroup float64) {
	if len(x.Groups) == 0 {
		return 0, 0
	}
	for _, g := range x.Groups {
		byRate += x.t.rate(g) * float64(x.t.size(g))
		byGroup += float64(x.t.size(g))
	}
	return byRate / x.t.rate(x.Seen), byGroup / float64(len(x.Groups))
}

// entropy is that of what is to be done about faults of which one is there, in bits.
func (t *Table) entropy(faults []int) float64 {
	things := map[int]float64{}
	var order []int
	for _, f := range faults {
		if _, known := things[t.do(f)]; !known {
			order = append(order, t.do(f))
		}
		things[t.do(f)] += t.Rate[f]
	}
	total, sum := t.rate(faults), 0.0
	for _, d := range order {
		if p := things[d] / total; p > 0 {
			sum -= p * math.Log2(p)
		}
	}
	return sum
}

// A state is how far isolating has come: the faults that may still be there, and
// the tests that could narrow them down and were made already. With the usual
// table there are none of those: a test that was made narrows nothing any more.
type state struct {
	left set
	made set
}

func (s state) key() string {
	return s.left.key() + s.made.key()
}

// begin is all seen faults, and no test made.
func (x *Testability) begin() state {
	return state{x.setOf(x.Seen), newSet(len(x.t.Cost))}
}

// next are the tests that may narrow a state down; none where it is known what to do.
func (x *Testability) next(s state) []int {
	left := s.left.members()
	if x.t.size(left) == 1 {
		return nil
	}
	var tests []int
	for test := range x.alike {
		if !s.made.has(test) && x.narrows(test, left, s.left) {
			tests = append(tests, test)
		}
	}
	return tests
}

func (x *Testability) narrows(test int, left []int, set set) bool {
	return slices.ContainsFunc(left, func(f int) bool { return !slices.Equal(x.alike[test][f].and(set), set) })
}

// after is the state after a test, if fault f is there: what the test does not
// tell from it is left.
func (x *Testability) after(s state, test, f int) state {
	n := state{x.alike[test][f].and(s.left), newSet(len(x.t.Cost))}
	left := n.left.members()
	for _, m := range append(s.made.members(), test) {
		if x.narrows(m, left, n.left) {
			n.made.add(m)
		}
	}
	return n
}

// slack is how much better a test must be to be taken before an earlier one.
const slack = 1e-12

// leastCost stands for the cost of a test that is free, where gains are compared by cost.
const leastCost = 1e-9

// GreedyCost is the mean cost, given that one of the seen faults is there, of
// narrowing down to what is to be done, or until no test narrows further: at
// each point the test that gains most bits for its cost is made, of equal ones
// the first. A test leaves what it does not tell from the fault that is there.
func (x *Testability) GreedyCost() float64 {
	if len(x.Seen) == 0 {
		return 0
	}
	chosen := map[string]int{}
	sum := 0.0
	for _, f := range x.Seen {
		for s := x.begin(); ; {
			key := s.key()
			test, known := chosen[key]
			if !known {
				test = x.greediest(s)
				chosen[key] = test
			}
			if test < 0 {
				break
			}
			sum += float64(x.t.Rate[f] * x.t.Cost[test])
			s = x.after(s, test, f)
		}
	}
	return sum / x.t.rate(x.Seen)
}

// greediest is the test that gains most for its cost; -1 where none narrows.
func (x *Testability) greediest(s state) int {
	best, most := -1, math.Inf(-1)
	left := s.left.members()
	total, entropy := x.t.rate(left), x.t.entropy(left)
	for _, test := range x.next(s) {
		gain, known := entropy, map[string]float64{}
		for _, f := range left {
			after := x.alike[test][f].and(s.left)
			key := after.key()
			h, ok := known[key]
			if !ok {
				h = x.t.entropy(after.members())
				known[key] = h
			}
			gain -= float64(x.t.Rate[f] / total * h)
		}
		if gain /= max(x.t.Cost[test], leastCost); gain > most+slack {
			best, most = test, gain
		}
	}
	return best
}

// OptimalCost is the least mean cost of the same, by looking at every order of
// tests. It is not known where that would take more than so many states.
func (x *Testability) OptimalCost(most int) (cost float64, known bool) {
	if len(x.Seen) == 0 {
		return 0, true
	}
	costs := map[string]float64{}
	var least func(s state, there []int) float64 // cost times rate, of the faults that lead here
	least = func(s state, there []int) float64 {
		key := s.key() + x.setOf(there).key()
		if c, known := costs[key]; known || len(costs) > most {
			return c
		}
		tests := x.next(s)
		best := 0.0
		if len(tests) > 0 {
			best = math.Inf(1)
		}
		for _, test := range tests {
			own := float64(x.t.Cost[test] * x.t.rate(there))
			ways, order := map[string][]int{}, []string{}
			for _, f := range there {
				way := x.alike[test][f].and(s.left).key()
				if ways[way] == nil {
					order = append(order, way)
				}
				ways[way] = append(ways[way], f)
			}
			for _, way := range order {
				if own >= best || len(costs) > most {
					break
				}
				own += least(x.after(s, test, ways[way][0]), ways[way])
			}
			best = min(best, own)
		}
		costs[key] = best
		return best
	}
	cost = least(x.begin(), x.Seen) / x.t.rate(x.Seen)
	if len(costs) > most {
		return 0, false
	}
	return cost, true
}

func (x *Testability) setOf(faults []int) set {
	s := newSet(len(x.t.Rate))
	for _, f := range faults {
		s.add(f)
	}
	return s
}

// A set of small numbers, a bit for each.
type set []uint64

func newSet(n int) set { return make(set, (n+63)/64) }

func (s set) add(i int)      { s[i>>6] |= 1 << (i & 63) }
func (s set) remove(i int)   { s[i>>6] &^= 1 << (i & 63) }
func (s set) has(i int) bool { return s[i>>6]>>(i&63)&1 == 1 }
func (s set) empty() bool    { return !slices.ContainsFunc(s, func(w uint64) bool { return w != 0 }) }

func (s set) key() string {
	b := make([]byte, 0, 8*len(s))
	for _, w := range s {
		b = binary.LittleEndian.AppendUint64(b, w)
	}
	return string(b)
}

func (s set) and(t set) set {
	u := make(set, len(s))
	for i, w := range s {
		u[i] = w & t[i]
	}
	return u
}

// members are the numbers in the set, rising.
func (s set) members() []int {
	var all []int
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			all = append(all, i*64+bits.TrailingZeros64(w))
		}
	}
	return all
}
