package belief

import (
	"math/bits"
	"slices"
)

// MostItems is how many pieces of evidence a [Search] for a contradiction tells apart.
const MostItems = 256

// Items is a set of pieces of evidence, by number.
type Items [MostItems / 64]uint64

func (s *Items) add(n int)          { s[n>>6] |= 1 << (n & 63) }
func (s Items) within(t Items) bool { return s[0]&^t[0]|s[1]&^t[1]|s[2]&^t[2]|s[3]&^t[3] == 0 }
func (s Items) meets(t Items) bool  { return s[0]&t[0]|s[1]&t[1]|s[2]&t[2]|s[3]&t[3] != 0 }
func (s Items) empty() bool         { return s == Items{} }
func (s Items) union(t Items) Items { return Items{s[0] | t[0], s[1] | t[1], s[2] | t[2], s[3] | t[3]} }
func (s Items) without(n int) Items { s[n>>6] &^= 1 << (n & 63); return s }
func (s Items) with(n int) Items    { s.add(n); return s }
func (s Items) len() (n int) {
	for _, w := range s {
		n += bits.OnesCount64(w)
	}
	return n
}

func (s Items) each(visit func(n int)) {
	for i, w := range s {
		for ; w != 0; w &= w - 1 {
			visit(i<<6 | bits.TrailingZeros64(w))
		}
	}
}

// A Search remembers which pieces of evidence exclude which worlds, so that,
// where together they exclude all, a smallest set that does so can be named.
// Call its methods in the order in which the evidence is weighed.
type Search struct {
	belief   *Belief
	excluded []Items
}

// NewSearch begins with a prior belief; worlds without prior weight do not count.
func NewSearch(prior *Belief) *Search {
	return &Search{belief: prior, excluded: make([]Items, prior.Now.Len())}
}

// Observe notes which worlds an observation excludes.
func (s *Search) Observe(item int, o Observation) {
	for i, f := range o.Symptom.factors(s.belief.Settled, s.belief.desk, o) {
		if f == 0 {
			s.excluded[i].add(item)
		}
	}
}

// Forbid notes the worlds that hold the cause now; Require those that lack it.
func (s *Search) Forbid(item, cause int) { s.mark(item, cause, true) }

// Require notes the worlds that lack the cause now.
func (s *Search) Require(item, cause int) { s.mark(item, cause, false) }

func (s *Search) mark(item, cause int, present bool) {
	for i := range s.excluded {
		if holds(s.belief.Now, i, cause) == present {
			s.excluded[i].add(item)
		}
	}
}

// Work goes on to the state after the work that next is the belief of.
func (s *Search) Work(next *Belief) {
	if next.From != nil {
		excluded := make([]Items, len(next.From))
		for i, from := range next.From {
			excluded[i] = s.excluded[from]
		}
		s.excluded = excluded
	}
	s.belief = next
}

// Smallest is a smallest set of pieces of evidence that together exclude every
// world with prior weight, rising; nil where some world is left. It is the
// smallest hitting set of the worlds' excluders (Reiter 1987), found by trying
// sizes upward, always branching on a world with the fewest excluders left.
// Within nodes steps of search it is proven smallest; after that the set it
// gives is still contradictory, and none of its members can be spared. used is
// the steps that it took.
func (s *Search) Smallest(weight func(world int) bool, nodes int) (items []int, used int) {
	rows := s.rows(weight)
	if len(rows) == 0 || rows[0].empty() {
		return nil, 0
	}
	h := hitting{rows: rows, nodes: nodes}
	for size := 1; size <= MostItems && h.nodes > 0; size++ {
		if found, ok := h.try(Items{}, size); ok {
			return list(found), nodes - h.nodes
		}
	}
	return list(h.spare()), nodes
}

// rows are the different sets of excluders, without those that hold another one, the smallest first.
func (s *Search) rows(weight func(world int) bool) []Items {
	seen := map[Items]bool{}
	for i, x := range s.excluded {
		if weight(i) {
			seen[x] = true
		}
	}
	all := make([]Items, 0, len(seen))
	for x := range seen {
		all = append(all, x)
	}
	slices.SortFunc(all, func(a, b Items) int {
		if d := a.len() - b.len(); d != 0 {
			return d
		}
		return slices.Compare(a[:], b[:])
	})
	var least []Items
	for _, x := range all {
		if !slices.ContainsFunc(least, func(l Items) bool { return l.within(x) }) {
			least = append(least, x)
		}
	}
	return least
}

type hitting struct {
	rows  []Items
	nodes int
}

// try looks for a hitting set that adds at most more items to chosen.
func (h *hitting) try(chosen Items, more int) (Items, bool) {
	h.nodes--
	var open Items
	for _, r := range h.rows {
		if !r.meets(chosen) && (open.empty() || r.len() < open.len()) {
			open = r
		}
	}
	if open.empty() {
		return chosen, true
	}
	if more == 0 || h.nodes <= 0 {
		return chosen, false
	}
	found, ok := chosen, false
	open.each(func(n int) {
		if !ok {
			found, ok = h.try(chosen.with(n), more-1)
		}
	})
	return found, ok
}

// spare takes every item and drops, one by one, those that can be spared.
func (h *hitting) spare() Items {
	var all Items
	for _, r := range h.rows {
		all = all.union(r)
	}
	for _, n := range list(all) {
		less := all.without(n)
		if !slices.ContainsFunc(h.rows, func(r Items) bool { return !r.meets(less) }) {
			all = less
		}
	}
	return all
}

func list(s Items) (out []int) {
	s.each(func(n int) { out = append(out, n) })
	return out
}
