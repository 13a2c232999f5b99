package hypothesis

import (
	"slices"

	"downdrop/rulebase/graph"
)

// A System is a list of conditions. It is never changed once made.
type System struct {
	conditions []*Formula
	order      []component
	circle     []int
}

// A component is conditions that depend on one another, or one that stands alone.
type component struct {
	members  []int
	circular bool
}

// NewSystem prepares conditions for settling: what depends on what, and in which order.
func NewSystem(conditions []*Formula) *System {
	s := &System{conditions: conditions}
	s.arrange()
	return s
}

// Len is the number of conditions.
func (s *System) Len() int { return len(s.conditions) }

// Circle is a circle of conditions that passes through a negation, each
// depending on the next and the last on the first; nil where there is none. A
// system with one must not be settled.
func (s *System) Circle() []int { return s.circle }

// edges are the conditions that f reads, and whether an odd number of nots stands before.
func edges(f *Formula, negative bool, visit func(n int, negative bool)) {
	switch f.op {
	case opCondition:
		visit(f.n, negative)
	case opNot:
		negative = !negative
	}
	for _, a := range f.args {
		edges(a, negative, visit)
	}
}

// arrange finds the order in which conditions can be settled, and a circle that forbids it.
func (s *System) arrange() {
	reads := make([][]graph.Edge, len(s.conditions))
	for v, f := range s.conditions {
		edges(f, false, func(w int, negative bool) { reads[v] = append(reads[v], graph.Edge{To: w, Negative: negative}) })
	}
	_, components := graph.Components(reads)
	for _, members := range components {
		v := members[0]
		alone := len(members) == 1 && !slices.ContainsFunc(reads[v], func(e graph.Edge) bool { return e.To == v })
		s.order = append(s.order, component{members: members, circular: !alone})
	}
	s.circle = graph.NegativeCircle(reads)
}

// Settled is what would be true in every world of a space: a column of bits for
// each condition.
type Settled struct {
	Space   *Space
	system  *System
	columns [][]uint64
	done    []bool // by component, for settling on demand
	where   []int  // component of a condition
	scratch [][]uint64
}

// Settle works out all conditions in all worlds.
func (s *System) Settle(space *Space) *Settled {
	t := s.Lazily(space)
	for i := range s.order {
		t.settle(i)
	}
	return t
}

// Lazily works out conditions only when they are asked for. The result must not
// be shared by goroutines.
func (s *System) Lazily(space *Space) *Settled {
	t := &Settled{Space: space, system: s, columns: make([][]uint64, len(s.conditions)), done: make([]bool, len(s.order)), where: make([]int, len(s.conditions))}
	for i, c := range s.order {
		for _, m := range c.members {
			t.where[m] = i
		}
	}
	return t
}

// Fork shares all columns of a system that Settle settled and may be used beside it by another goroutine.
func (t *Settled) Fork() *Settled {
	f := *t
	f.scratch = nil
	return &f
}

// Column is the worlds in which condition n holds. It must not be changed.
func (t *Settled) Column(n int) []uint64 {
	if !t.done[t.where[n]] {
		t.settle(t.where[n])
	}
	return t.columns[n]
}

func (t *Settled) settle(i int) {
	if t.done[i] {
		return
	}
	c := t.system.order[i]
	for _, m := range c.members {
		edges(t.system.conditions[m], false, func(w int, _ bool) {
			if t.where[w] != i {
				t.settle(t.where[w])
			}
		})
	}
	t.done[i] = true
	words := t.Space.Words()
	for _, m := range c.members {
		t.columns[m] = make([]uint64, words)
	}
	if !c.circular {
		t.Evaluate(t.system.conditions[c.members[0]], t.columns[c.members[0]])
		return
	}
	t.raise(c.members)
}

// raise brings the members of a circle from false to their least fixpoint.
func (t *Settled) raise(members []int) {
	fresh := make([]uint64, t.Space.Words())
	for changed := true; changed; {
		changed = false
		for _, m := range members {
			t.Evaluate(t.system.conditions[m], fresh)
			column := t.columns[m]
			for j, w := range fresh {
				if w != column[j] {
					column[j] = w
					changed = true
				}
			}
		}
	}
}

// block is how many words are worked on at a time, so that what is being
// combined stays in the first-level cache.
const block = 512

// Evaluate writes the worlds in which a formula holds to a column of
// Space.Words() words. Bits above the last world are 0.
func (t *Settled) Evaluate(f *Formula, column []uint64) {
	// All that f reads is settled first: settling uses the same scratch.
	edges(f, false, func(n int, _ bool) { t.Column(n) })
	for from := 0; from < len(column); from += block {
		to := min(from+block, len(column))
		t.evaluate(f, column[from:to], from, 0)
	}
	if n := t.Space.Len() & 63; n != 0 && len(column) > 0 {
		column[len(column)-1] &= 1<<n - 1
	}
}

// leaf is the column of a formula that needs no computing, or nil.
func (t *Settled) leaf(f *Formula, from, n int) []uint64 {
	switch f.op {
	case opCause:
		return t.Space.Column(f.n)[from : from+n]
	case opCondition:
		return t.Column(f.n)[from : from+n]
	}
	return nil
}

func (t *Settled) evaluate(f *Formula, out []uint64, from, depth int) {
	switch f.op {
	case opFalse:
		clear(out)
	case opTrue:
		for j := range out {
			out[j] = ^uint64(0)
		}
	case opCause, opCondition:
		copy(out, t.leaf(f, from, len(out)))
	case opNot:
		t.evaluate(f.args[0], out, from, depth)
		for j := range out {
			out[j] = ^out[j]
		}
	default:
		t.evaluate(f.args[0], out, from, depth)
		for _, a := range f.args[1:] {
			t.combine(f.op, a, out, from, depth)
		}
	}
}

// combine joins one more argument of an and or an or to what is there.
func (t *Settled) combine(o op, a *Formula, out []uint64, from, depth int) {
	negated := a.op == opNot
	if negated {
		a = a.args[0]
	}
	in := t.leaf(a, from, len(out))
	if in == nil {
		for len(t.scratch) <= depth {
			t.scratch = append(t.scratch, make([]uint64, block))
		}
		in = t.scratch[depth][:len(out)]
		t.evaluate(a, in, from, depth+1)
	}
	in = in[:len(out)]
	switch {
	case o == opAnd && !negated:
		for j, w := range in {
			out[j] &= w
		}
	case o == opAnd:
		for j, w := range in {
			out[j] &^= w
		}
	case !negated:
		for j, w := range in {
			out[j] |= w
		}
	default:
		for j, w := range in {
			out[j] |= ^w
		}
	}
}

// Influence gives, for every condition, the causes that can change it: all
// that it reads, directly and through other conditions.
func (s *System) Influence() []map[int]bool {
	reach := make([]map[int]bool, len(s.conditions))
	for _, c := range s.order {
		all := map[int]bool{}
		for _, m := range c.members {
			s.conditions[m].Reads(func(n int) { all[n] = true }, func(n int) {
				for k := range reach[n] {
					all[k] = true
				}
			})
		}
		for _, m := range c.members {
			reach[m] = all
		}
	}
	return reach
}
