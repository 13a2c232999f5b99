package plan

import (
	"cmp"
	"math"
	"slices"
)

// Nothing as a choice: the case ends here (see [Model.Ends]; for Identify: what to
// do is certain, or no test can tell more).
const Nothing = -1

// An act is what a policy does at a node: a step, or an end.
type act struct {
	step int // Nothing: it ends
	end  int // which end, -1 where there is none to pay
}

// Policies decide what to do, and say what they expect it to cost, times mass.
type chooser interface {
	choose(m *Model, n *node) (act, float64)
}

// acting tries remedies in falling order of the chance that they take something
// away, divided by their price, and hands over where that is cheaper.
type acting struct{}

// choose gives the first remedy, or an end. The order is set again after every
// remedy that did not help, and from all its stops the cheapest is taken.
func (acting) choose(m *Model, n *node) (act, float64) {
	e, best := m.end(n.w)
	first := act{Nothing, e}
	spent, begin := 0.0, Nothing
	for at := n; ; {
		step := m.likeliestPerMinute(at)
		if step < 0 {
			break
		}
		spent += m.price(at, step) * at.mass
		if begin == Nothing {
			begin = step
		}
		down, well := m.work(at, step)
		spent += m.back(well)
		if spent >= best {
			break
		}
		if down.mass <= 1e-15*n.mass {
			best, first = spent, act{begin, -1}
			break
		}
		if _, cost := m.end(down.w); spent+cost < best {
			best, first = spent+cost, act{begin, -1}
		}
		at = down
	}
	return first, best
}

func (m *Model) likeliestPerMinute(n *node) int {
	best, ratio := -1, 0.0
	for i := range m.Steps {
		if m.Steps[i].Moves == nil || n.done.has(i) {
			continue
		}
		p := 0.0
		moved := m.moved[i]
		for x, w := range n.w {
			p += w * moved[x]
		}
		if r := perMinute(p/n.mass, m.price(n, i)); p > 0 && r > ratio*(1+1e-12) {
			best, ratio = i, r
		}
	}
	return best
}

func perMinute(x, minutes float64) float64 {
	if minutes <= 0 {
		return math.Inf(1)
	}
	return x / minutes
}

// Greedy looks one test ahead: of the tests that tell most per minute it takes the
// one that leaves least to pay to whoever then only acts, where that is less than
// acting now. For Identify it takes the test that tells most per minute.
type greedy struct {
	width int     // how many tests are tried; 0: all
	least float64 // below this share of the mass it began with, it only acts; 0: never
	from  float64
}

func (g greedy) choose(m *Model, n *node) (act, float64) {
	if m.Identify {
		step := m.tellsMostPerMinute(n)
		return act{step, -1}, 0
	}
	first, best := acting{}.choose(m, n)
	if g.least > 0 && n.mass < g.least*g.from {
		return first, best
	}
	for _, t := range m.tellers(n, g.width) {
		cost := m.price(n, t) * n.mass
		for _, k := range m.ways(n, t) {
			if cost >= best {
				break
			}
			_, c := m.onlyAct(k)
			cost += c
		}
		if cost < best*(1-1e-12) {
			first, best = act{t, -1}, cost
		}
	}
	return first, best
}

func (m *Model) onlyAct(k way) (act, float64) {
	if k.well {
		return act{Nothing, -1}, m.back(k.node)
	}
	return acting{}.choose(m, k.node)
}

// tellers are the tests on offer, those that tell most per minute first.
func (m *Model) tellers(n *node, width int) []int {
	type teller struct {
		step  int
		ratio float64
	}
	var all []teller
	for i := range m.Steps {
		if m.Steps[i].Moves == nil && m.offered(n, i) && (width > 0 || m.tells(n, i)) {
			if width == 0 {
				all = append(all, teller{i, 0})
				continue
			}
			if g := m.gain(n, i); g > m.Idle {
				all = append(all, teller{i, perMinute(g, m.price(n, i))})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b teller) int { return cmp.Compare(b.ratio, a.ratio) })
	if width > 0 {
		all = all[:min(width, len(all))]
	}
	steps := make([]int, len(all))
	for i, t := range all {
		steps[i] = t.step
	}
	return steps
}

// tellsMostPerMinute gives Nothing where what to do is certain or no test tells.
func (m *Model) tellsMostPerMinute(n *node) int {
	best, ratio := Nothing, -1.0
	for _, i := range m.choices(n) {
		if r := perMinute(m.gain(n, i), m.price(n, i)); r > ratio+1e-12 {
			best, ratio = i, r
		}
	}
	return best
}

// value is what a policy costs from here, times mass: every way is followed to its end.
func (m *Model) value(p chooser, n *node) float64 {
	a, _ := p.choose(m, n)
	return m.valueOf(p, n, a)
}

func (m *Model) valueOf(p chooser, n *node, a act) float64 {
	if a.step == Nothing {
		if a.end < 0 {
			return 0
		}
		_, cost := m.end(n.w)
		return cost
	}
	cost := m.price(n, a.step) * n.mass
	for _, k := range m.ways(n, a.step) {
		if k.well {
			cost += m.back(k.node)
			continue
		}
		cost += m.value(p, k.node)
	}
	return cost
}

// ahead is one step of rollout over a base policy: of all steps it takes the one
// that costs least if the base policy is followed afterwards (Tu and Pattipati 2003).
type ahead struct{ base chooser }

func (r ahead) choose(m *Model, n *node) (act, float64) {
	best, cost := act{Nothing, -1}, math.Inf(1)
	if !m.Identify {
		best.end, cost = m.end(n.w)
	}
	for _, i := range m.choices(n) {
		if c := m.valueOf(r.base, n, act{i, -1}); c < cost*(1-1e-12) {
			best, cost = act{i, -1}, c
		}
	}
	if math.IsInf(cost, 1) {
		cost = 0
	}
	return best, cost
}

// A Policy says what to do, belief after belief.
type Policy int

// The policies.
const (
	Acting  Policy = iota // remedies only, by chance per minute
	Greedy                // one test ahead of that; to identify: gain per minute
	Rollout               // one step of rollout over Greedy: the default
)

func (p Policy) chooser() chooser {
	switch p {
	case Acting:
		return acting{}
	case Greedy:
		return greedy{}
	}
	return ahead{greedy{}}
}

// Value is what a policy costs from the beginning to the end, in minutes per unit of mass.
func (m *Model) Value(p Policy) float64 {
	n := m.root()
	return m.value(p.chooser(), n) / n.mass
}

// First is the step that a policy takes first; Nothing: the case ends.
func (m *Model) First(p Policy) int {
	a, _ := p.chooser().choose(m, m.root())
	return a.step
}
