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

// A chooser decides what to do at a node, and says what it expects that to cost, times mass.
type chooser interface {
	choose(m *Model, n *node) (act, float64)
}

// acting tries remedies in falling order of the chance that they take something
// away, divided by their price (Kalagnanam and Henrion 1990; Heckerman, Breese and
// Rommelse 1995), and ends it where that is cheaper. An end that is as good as a
// remedy in some states and not in others may stand for the last remedy on the list,
// the one that is not tried because it is all that is left; which remedy that should
// be is not said by the order, so each is tried as the last.
type acting struct{}

// choose gives the first remedy, or an end.
func (acting) choose(m *Model, n *node) (act, float64) {
	first, best := m.inOrder(n, Nothing)
	if m.guesses {
		for i := range m.Steps {
			if m.Steps[i].Moves == nil || n.done.has(i) {
				continue
			}
			if a, cost := m.inOrder(n, i); cost < best*(1-1e-12) {
				first, best = a, cost
			}
		}
	}
	return first, best
}

// inOrder tries all remedies but one. The order is set again after every remedy that
// did not help, and from all stops the cheapest is taken.
func (m *Model) inOrder(n *node, but int) (act, float64) {
	e, best := m.end(n.w)
	first := act{Nothing, e}
	l := m.lines.Get().(*line)
	defer m.lines.Put(l)
	l.but, l.done, l.visited, l.mass = but, n.done, n.visited, n.mass
	copy(l.w, n.w)
	spent, begin := 0.0, Nothing
	for {
		step := l.likeliestPerMinute()
		if step < 0 {
			break
		}
		if begin == Nothing {
			begin = step
		}
		if spent += l.work(step); spent+l.least() >= best {
			break // nothing behind it can be cheaper
		}
		if l.mass <= 1e-15*n.mass {
			best, first = spent, act{begin, -1}
			break
		}
		if _, cost := m.end(l.w); spent+cost < best {
			best, first = spent+cost, act{begin, -1}
		}
	}
	return first, best
}

// A line is one remedy after the other, as long as the drop is still down.
type line struct {
	m       *Model
	but     int
	done    bits256
	visited bool
	w, next []float64
	mass    float64
	score   []float64
	taken   []float64
}

// least bounds what lies ahead, times mass.
func (l *line) least() float64 {
	needed := l.m.needed[0]
	if l.visited {
		needed = l.m.needed[1]
	}
	sum := 0.0
	for x, w := range l.w {
		sum += w * needed[x]
	}
	return sum
}

// likeliestPerMinute is the remedy not done yet with the greatest chance per minute
// that it takes something away; Nothing where none takes anything.
func (l *line) likeliestPerMinute() int {
	clear(l.score)
	for x, w := range l.w {
		if w > 0 {
			for _, q := range l.m.cures[x] {
				l.score[q.step] += w * q.chance
			}
		}
	}
	best, ratio := Nothing, 0.0
	for _, i := range l.m.works {
		if l.score[i] == 0 || l.done.has(i) || i == l.but {
			continue
		}
		price := l.m.Steps[i].Price
		if l.m.Steps[i].Away && !l.visited {
			price += l.m.Visit
		}
		if r := perMinute(l.score[i]/l.mass, price); r > ratio*(1+1e-12) {
			best, ratio = i, r
		}
	}
	return best
}

// work goes on to where the drop is still down after a remedy, and gives what that
// costs, times mass.
func (l *line) work(step int) float64 {
	s := &l.m.Steps[step]
	cost := s.Price * l.mass
	if s.Away && !l.visited {
		cost += l.m.Visit * l.mass
		l.visited = true
	}
	l.done.add(step)
	w, next, stays, back := l.w, l.next[:len(l.w)], l.m.stays[:len(l.w)], l.m.comesBack[:len(l.w)]
	l.taken = l.taken[:0]
	for _, x := range l.m.moving[step] {
		l.taken = append(l.taken, w[x])
		w[x] = 0
	}
	well := 0.0
	for x, q := range w {
		next[x] = q * stays[x]
		well += q * back[x]
	}
	for i, x := range l.m.moving[step] {
		if l.taken[i] == 0 {
			continue
		}
		for _, mv := range s.Moves[x] {
			q := l.taken[i] * mv.Chance
			next[mv.To] += q * stays[mv.To]
			well += q * back[mv.To]
		}
	}
	l.mass = 0
	for _, q := range next {
		l.mass += q
	}
	l.w, l.next = l.next, l.w
	return cost + well*l.m.Return
}

func perMinute(x, minutes float64) float64 {
	if minutes <= 0 {
		return math.Inf(1)
	}
	return x / minutes
}

// greedy looks one test ahead: of the tests that tell most per minute it takes the
// one that leaves least to pay to whoever then only acts, where that is less than
// acting now. For Identify it takes the test that tells most per minute.
type greedy struct {
	width  int     // how many tests are tried; 0: all
	depth  int     // how many of its steps are followed, what lies behind is estimated; 0: all
	perBit float64 // what a bit costs behind that
}

func (g greedy) choose(m *Model, n *node) (act, float64) {
	if m.Identify {
		step := m.tellsMostPerMinute(n)
		return act{step, -1}, 0
	}
	first, best := acting{}.choose(m, n)
	for _, t := range m.tellers(n, g.width) {
		cost := m.price(n, t) * n.mass
		for _, k := range m.ways(n, t) {
			if cost >= best {
				break
			}
			cost += m.onlyAct(k)
		}
		if cost < best*(1-1e-12) {
			first, best = act{t, -1}, cost
		}
	}
	return first, best
}

// roughly is what lies ahead of a place that is not followed further: finding out what
// is wrong at what a bit costs and doing just that, or acting at once.
func (g greedy) roughly(m *Model, n *node) float64 {
	if m.certain(n) && m.Identify {
		return 0
	}
	bits := m.outcomeBits(n.w) * g.perBit
	if m.Identify {
		return bits
	}
	for x, w := range n.w {
		bits += w * m.typical[x]
	}
	_, cost := acting{}.choose(m, n)
	return min(cost, bits)
}

// onlyAct is what a way still costs, times mass, if from there one only acts.
func (m *Model) onlyAct(k way) float64 {
	if k.well {
		return m.back(k.node)
	}
	_, cost := acting{}.choose(m, k.node)
	return cost
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
func (m *Model) value(p chooser, n *node) float64 { return m.valueBelow(p, n, math.Inf(1)) }

// valueBelow is that where it is below a limit; else it is some cost not below the
// limit, and what it takes to know more is not done.
func (m *Model) valueBelow(p chooser, n *node, limit float64) float64 {
	if g, ok := p.(greedy); ok && g.depth > 0 {
		if g.depth == 1 {
			return g.roughly(m, n)
		}
		g.depth--
		p = g
	}
	a, _ := p.choose(m, n)
	return m.valueOf(p, n, a, limit)
}

// valueOf is valueBelow, if the next thing done is a.
func (m *Model) valueOf(p chooser, n *node, a act, limit float64) float64 {
	if a.step == Nothing {
		if a.end < 0 {
			return 0
		}
		_, cost := m.end(n.w)
		return cost
	}
	cost := m.price(n, a.step) * n.mass
	if cost >= limit {
		return cost
	}
	for _, k := range m.ways(n, a.step) {
		if k.well {
			cost += m.back(k.node)
		} else {
			cost += m.valueBelow(p, k.node, limit-cost)
		}
		if cost >= limit {
			break
		}
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
		if c := m.valueOf(r.base, n, act{i, -1}, cost); c < cost*(1-1e-12) {
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
