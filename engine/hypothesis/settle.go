package hypothesis

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

// arrange finds the strongly connected components in the order in which they
// can be settled (Tarjan 1972, from memory: components come out after all that
// they depend on).
func (s *System) arrange() {
	n := len(s.conditions)
	index, low, on := make([]int, n), make([]int, n), make([]bool, n)
	var stack []int
	next := 1
	var visit func(v int)
	visit = func(v int) {
		index[v], low[v], on[v] = next, next, true
		next++
		stack = append(stack, v)
		self := false
		edges(s.conditions[v], false, func(w int, _ bool) {
			self = self || w == v
			if index[w] == 0 {
				visit(w)
				low[v] = min(low[v], low[w])
			} else if on[w] {
				low[v] = min(low[v], index[w])
			}
		})
		if low[v] != index[v] {
			return
		}
		var c component
		for {
			w := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			on[w] = false
			c.members = append(c.members, w)
			if w == v {
				break
			}
		}
		c.circular = self || len(c.members) > 1
		s.order = append(s.order, c)
		if c.circular && s.circle == nil {
			s.circle = s.negativeCircle(c.members)
		}
	}
	for v := range n {
		if index[v] == 0 {
			visit(v)
		}
	}
}

// negativeCircle looks inside a component for an edge through a negation and
// closes it to a circle by the shortest way back.
func (s *System) negativeCircle(members []int) []int {
	in := map[int]bool{}
	for _, m := range members {
		in[m] = true
	}
	for _, from := range members {
		var to []int
		edges(s.conditions[from], false, func(w int, negative bool) {
			if negative && in[w] {
				to = append(to, w)
			}
		})
		if len(to) > 0 {
			return append([]int{from}, s.way(to[0], from, in)...)
		}
	}
	return nil
}

// way is the shortest way from one condition to another inside a component, without the last.
func (s *System) way(from, to int, in map[int]bool) []int {
	if from == to {
		return nil
	}
	before := map[int]int{from: from}
	for queue := []int{from}; len(queue) > 0; queue = queue[1:] {
		v := queue[0]
		edges(s.conditions[v], false, func(w int, _ bool) {
			if _, seen := before[w]; !seen && in[w] {
				before[w] = v
				queue = append(queue, w)
			}
		})
		if _, found := before[to]; found {
			break
		}
	}
	var back []int
	for v := before[to]; ; v = before[v] {
		back = append(back, v)
		if v == from {
			break
		}
	}
	for i, j := 0, len(back)-1; i < j; i, j = i+1, j-1 {
		back[i], back[j] = back[j], back[i]
	}
	return back
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
