package plan

import (
	"math"
	"slices"
	"sync"
)

// A Model is a problem of acting with few enough states to look ahead in. What it
// means stands in the package comment.
type Model struct {
	Weight  []float64 // by state: how likely it is, to any scale
	Outcome []int     // by state: what there is to do in it
	Open    []bool    // by state: a cause is present, so that a case that ends as well comes back; nil: nowhere
	Well    []float64 // by state: the chance that the drop is found well in it; nil: never
	Many    []int     // states that each stand for many that are not listed one by one
	Signs   []Sign
	Seen    []int // signs that were seen when it begins, and are seen anew only after work
	Steps   []Step
	Ends    []End
	Visit   float64 // minutes, once, before the first step that is away
	Return  float64 // minutes that a case costs that ends as well with a cause still present

	// Identify asks for tests only, until what to do is certain or no test can tell
	// more; then nothing more is paid.
	Identify bool
	// Certain is how likely an outcome has to be to count as certain; 0 is 1.
	Certain float64
	// Idle is the gain in bits from which on a test counts as telling more; 0: any.
	Idle float64

	needed [2][]float64 // see bounds
	runs   []run
	unsure [][]float64 // by sign: the entropy of its values in each state
	moved  [][]float64 // by step: the chance in each state that it changes the state
	sure   bool        // every sign is sure in every state that is likely at all

	works   []int     // the steps that are work
	cures   [][]cure  // by state: the work that changes it
	typical []float64 // by state: what it costs if it is known; where nobody can say, as much as others do on average
	guesses bool      // some end does not cost the same in all states

	stays     []float64  // by state: the chance that the drop is not found well in it
	comesBack []float64  // by state: the chance that it is, with a cause still present
	moving    [][]int32  // by step: the states that it moves
	lines     *sync.Pool // of *line, to be used again
}

// A Sign is something that can be seen. What is seen twice in one state of work is
// seen as it was the first time.
type Sign struct {
	P    [][]float64 // by value, by state
	Once bool        // it is not seen anew after work
}

// A Step is a test or a remedy.
type Step struct {
	Price float64 // minutes, with what it stops and its proof
	Shows []int   // signs, seen in the state the step finds
	// Moves is, by state, where work leads; nil for a step that changes nothing, and for
	// a state that stays as it is. Work is done at most once, and the drop is watched
	// after it: well ends the case.
	Moves [][]Move
	Away  bool // somebody has to come
}

// A Move is one way in which work can turn out.
type Move struct {
	To     int
	Chance float64
}

// An End is an act that ends the case whatever it was: handing over, or an act that
// costs what the state makes it cost.
type End struct {
	Cost []float64 // minutes, by state
}

type cure struct {
	step   int
	chance float64
}

type run struct{ states []int32 }

// bits256 is a set of small numbers.
type bits256 [4]uint64

func (b *bits256) has(i int) bool { return b[i>>6]&(1<<(i&63)) != 0 }
func (b *bits256) add(i int)      { b[i>>6] |= 1 << (i & 63) }

// MostSteps is how many steps, and how many signs, a model may have.
const MostSteps = 256

// A node is where one stands: how likely each state is together with all that was
// seen on the way, what was seen in this state of work, and what was done.
type node struct {
	w       []float64
	mass    float64
	seen    bits256
	done    bits256
	visited bool
}

// Ready works out what is used again and again. It is called by everything that
// takes a model; a model must not be changed afterwards.
func (m *Model) Ready() {
	if m.unsure != nil {
		return
	}
	m.groups()
	m.sure = true
	m.unsure = make([][]float64, len(m.Signs))
	for i := range m.Signs {
		m.unsure[i] = make([]float64, len(m.Weight))
		for x := range m.Weight {
			for _, p := range m.Signs[i].P {
				if p[x] > 0 && p[x] < 1 {
					m.sure = m.sure && m.Weight[x] == 0
					m.unsure[i][x] -= p[x] * math.Log2(p[x])
				}
			}
		}
	}
	m.stays, m.comesBack = make([]float64, len(m.Weight)), make([]float64, len(m.Weight))
	for x := range m.Weight {
		m.stays[x] = 1 - m.wellIn(x)
		if m.Open != nil && m.Open[x] {
			m.comesBack[x] = m.wellIn(x)
		}
	}
	m.lines = &sync.Pool{New: func() any {
		n := len(m.Weight)
		return &line{m: m, w: make([]float64, n), next: make([]float64, n), score: make([]float64, len(m.Steps))}
	}}
	m.moving = make([][]int32, len(m.Steps))
	m.moved = make([][]float64, len(m.Steps))
	m.cures = make([][]cure, len(m.Weight))
	for i := range m.Steps {
		if m.Steps[i].Moves == nil {
			continue
		}
		m.moved[i] = make([]float64, len(m.Weight))
		for x, moves := range m.Steps[i].Moves {
			if moves != nil {
				m.moving[i] = append(m.moving[i], int32(x))
			}
			for _, mv := range moves {
				if mv.To != x {
					m.moved[i][x] += mv.Chance
				}
			}
			if m.moved[i][x] > 0 {
				m.cures[x] = append(m.cures[x], cure{i, m.moved[i][x]})
			}
		}
		m.works = append(m.works, i)
	}
	for i := range m.Ends {
		m.guesses = m.guesses || slices.Max(m.Ends[i].Cost) > slices.Min(m.Ends[i].Cost)
	}
	m.bounds()
	m.typify()
}

// groups puts states of one outcome together.
func (m *Model) groups() {
	at := map[int]int{}
	for x, o := range m.Outcome {
		n, ok := at[o]
		if !ok {
			n = len(m.runs)
			at[o] = n
			m.runs = append(m.runs, run{})
		}
		m.runs[n].states = append(m.runs[n].states, int32(x))
	}
}

func (m *Model) root() *node {
	m.Ready()
	n := &node{w: m.Weight}
	for _, w := range m.Weight {
		n.mass += w
	}
	for _, sign := range m.Seen {
		n.seen.add(sign)
	}
	return n
}

// offered says whether a step can be taken: a test that shows something not seen
// yet, work not done yet.
func (m *Model) offered(n *node, step int) bool {
	s := &m.Steps[step]
	if s.Moves != nil {
		return !m.Identify && !n.done.has(step)
	}
	for _, sign := range s.Shows {
		if !n.seen.has(sign) {
			return true
		}
	}
	return false
}

// price is what a step costs here, for each unit of mass.
func (m *Model) price(n *node, step int) float64 {
	if m.Steps[step].Away && !n.visited {
		return m.Steps[step].Price + m.Visit
	}
	return m.Steps[step].Price
}

// A way is one result of a step: where it leads, and what was seen.
type way struct {
	node   *node
	values []int // by sign of the step, -1 where it had been seen before
	well   bool  // the case ended: node holds what is left of the belief
}

// ways are the results of a step that can be. Their masses sum to the node's.
func (m *Model) ways(n *node, step int) []way {
	s := &m.Steps[step]
	all := []way{{node: &node{w: n.w, mass: n.mass, seen: n.seen, done: n.done, visited: n.visited || s.Away}, values: []int{}}}
	for _, sign := range s.Shows {
		if n.seen.has(sign) {
			for i := range all {
				all[i].values = append(all[i].values, -1)
			}
			continue
		}
		var next []way
		for _, a := range all {
			for v, p := range m.Signs[sign].P {
				w := make([]float64, len(p))
				mass := 0.0
				for x, q := range p {
					w[x] = a.node.w[x] * q
					mass += w[x]
				}
				if mass <= 0 {
					continue
				}
				k := &node{w: w, mass: mass, seen: a.node.seen, done: n.done, visited: a.node.visited}
				k.seen.add(sign)
				next = append(next, way{node: k, values: append(append(make([]int, 0, len(s.Shows)), a.values...), v)})
			}
		}
		all = next
	}
	if s.Moves == nil {
		return all
	}
	var next []way
	for _, a := range all {
		down, well := m.work(a.node, step)
		for i, k := range []*node{well, down} {
			if k.mass > 0 {
				next = append(next, way{k, a.values, i == 0})
			}
		}
	}
	return next
}

// work is what a remedy leaves, where the drop is found still down, and well.
func (m *Model) work(n *node, step int) (down, well *node) {
	down = &node{w: make([]float64, len(n.w)), done: n.done, visited: n.visited || m.Steps[step].Away}
	down.done.add(step)
	for i := range m.Signs {
		if m.Signs[i].Once && n.seen.has(i) {
			down.seen.add(i)
		}
	}
	well = &node{w: make([]float64, len(n.w)), done: down.done, seen: down.seen, visited: down.visited}
	for x, w := range n.w {
		if w == 0 {
			continue
		}
		moves := m.Steps[step].Moves[x]
		if moves == nil {
			moves = []Move{{x, 1}}
		}
		for _, mv := range moves {
			q := w * mv.Chance
			good := q * m.wellIn(mv.To)
			well.w[mv.To] += good
			well.mass += good
			down.w[mv.To] += q - good
			down.mass += q - good
		}
	}
	return down, well
}

// wellIn is the chance that the drop is found well in a state.
func (m *Model) wellIn(x int) float64 {
	if m.Well == nil {
		return 0
	}
	return m.Well[x]
}

// back is what the mass that ended as well still costs.
func (m *Model) back(n *node) float64 {
	if m.Return == 0 || m.Open == nil {
		return 0
	}
	sum := 0.0
	for x, w := range n.w {
		if m.Open[x] {
			sum += w
		}
	}
	return sum * m.Return
}

// end is the cheapest act that ends the case, and its cost times mass; -1 where
// there is none.
func (m *Model) end(w []float64) (best int, cost float64) {
	best, cost = -1, math.Inf(1)
	mass := 0.0
	if !m.guesses {
		for _, x := range w {
			mass += x
		}
	}
	for i := range m.Ends {
		if !m.guesses {
			if sum := m.Ends[i].Cost[0] * mass; sum < cost {
				best, cost = i, sum
			}
			continue
		}
		sum := 0.0
		for x, c := range m.Ends[i].Cost {
			if w[x] > 0 {
				sum += w[x] * c
			}
		}
		if sum < cost {
			best, cost = i, sum
		}
	}
	return best, cost
}

// certain says that what to do is certain.
func (m *Model) certain(n *node) bool {
	least := m.Certain
	if least == 0 {
		least = 1 - 1e-12
	}
	for _, r := range m.runs {
		sum := 0.0
		for _, x := range r.states {
			sum += n.w[x]
		}
		if sum >= least*n.mass {
			return true
		}
	}
	return false
}

// tells says whether a test can tell more: its results depend on the state.
func (m *Model) tells(n *node, step int) bool {
	if m.Idle > 0 {
		return m.gain(n, step) >= m.Idle
	}
	for _, sign := range m.Steps[step].Shows {
		if n.seen.has(sign) {
			continue
		}
		first := -1
		for x, w := range n.w {
			if w <= 1e-14*n.mass {
				continue
			}
			if first < 0 {
				first = x
				continue
			}
			for _, p := range m.Signs[sign].P {
				if math.Abs(p[x]-p[first]) > 1e-12 {
					return true
				}
			}
		}
	}
	return false
}

// choices are the steps worth considering. For Identify there are none once what to
// do is certain.
func (m *Model) choices(n *node) []int {
	if m.Identify && m.certain(n) {
		return nil
	}
	var all []int
	for i := range m.Steps {
		if !m.offered(n, i) {
			continue
		}
		if m.Steps[i].Moves == nil {
			if !m.tells(n, i) {
				continue
			}
		} else if !m.changes(n, i) {
			continue
		}
		all = append(all, i)
	}
	return all
}

// changes says whether work can change anything here, or show it.
func (m *Model) changes(n *node, step int) bool {
	for x, w := range n.w {
		if w > 0 && (m.moved[step][x] > 0 || m.wellIn(x) > 0) {
			return true
		}
	}
	return false
}

// gain is the mutual information, in bits, between what to do and what a test
// shows here, both as they are seen jointly.
func (m *Model) gain(n *node, step int) float64 {
	var fresh []int
	for _, sign := range m.Steps[step].Shows {
		if !n.seen.has(sign) {
			fresh = append(fresh, sign)
		}
	}
	if len(fresh) == 1 {
		return m.gainOfOne(n, fresh[0])
	}
	// H(outcome) - sum over results of P(result) H(outcome given result).
	g := m.outcomeBits(n.w)
	for _, k := range m.ways(n, step) {
		g -= m.outcomeBits(k.node.w)
	}
	return max(g/n.mass, 0)
}

// outcomeBits is the entropy of the outcomes times the mass.
func (m *Model) outcomeBits(w []float64) float64 {
	h, total := 0.0, 0.0
	for _, r := range m.runs {
		sum := 0.0
		for _, x := range r.states {
			sum += w[x]
		}
		if sum > 0 {
			total += sum
			h -= sum * math.Log(sum)
		}
	}
	if total > 0 {
		h += total * math.Log(total)
	}
	return h * (1 / math.Ln2)
}

// gainOfOne is H(values) - sum over outcomes of P(outcome) H(values given outcome),
// which needs no logarithm for an outcome with one state.
func (m *Model) gainOfOne(n *node, sign int) float64 {
	p := m.Signs[sign].P
	var space [16]float64
	all := space[:0]
	for _, q := range p {
		sum := 0.0
		for x, w := range n.w {
			sum += w * q[x]
		}
		all = append(all, sum)
	}
	h := scaledBits(all, n.mass)
	within := 0.0
	var mixed [16]float64
	for _, r := range m.runs {
		live, one := 0, int32(0)
		for _, x := range r.states {
			if n.w[x] > 0 {
				live, one = live+1, x
			}
		}
		switch live {
		case 0:
		case 1:
			within += n.w[one] * m.unsure[sign][one]
		default:
			mix, sum := mixed[:0], 0.0
			for v, q := range p {
				mix = append(mix, 0)
				for _, x := range r.states {
					mix[v] += n.w[x] * q[x]
				}
				sum += mix[v]
			}
			within += scaledBits(mix, sum)
		}
	}
	return max((h-within)/n.mass, 0)
}

// bounds works out, for every state, what it costs at least if it is known: the
// least over ends and remedies, each remedy as often as one likes, which only makes
// it cheaper. Iterates rise towards the fixpoint, so that any is a lower bound. Work
// that is repeated until it helps costs its price by the number of times that this
// takes on average, which leaves few rounds to do: what is left of it leads only to
// states with fewer causes.
func (m *Model) bounds() {
	for visited := range 2 {
		m.needed[visited] = make([]float64, len(m.Weight))
	}
	if m.Identify {
		return
	}
	const rounds = 200
	for visited := 1; visited >= 0; visited-- {
		for range rounds {
			changed := false
			for x := range m.Weight {
				if best := m.leastOf(x, visited); best > m.needed[visited][x]*(1+1e-9) {
					m.needed[visited][x], changed = best, true
				}
			}
			if !changed {
				break
			}
		}
	}
}

func (m *Model) leastOf(x, visited int) float64 {
	best := math.Inf(1)
	for i := range m.Ends {
		best = min(best, m.Ends[i].Cost[x])
	}
	if m.wellIn(x) > 0 { // any work may show that it is well
		for _, i := range m.works {
			if m.moved[i][x] == 0 {
				best = min(best, m.knownCost(i, x, visited))
			}
		}
	}
	for _, q := range m.cures[x] {
		best = min(best, m.knownCost(q.step, x, visited))
	}
	return best
}

// knownCost is what work costs in a state that is known, repeated while it changes
// nothing, with what follows it.
func (m *Model) knownCost(step, x, visited int) float64 {
	s := &m.Steps[step]
	cost, later := s.Price, visited
	if s.Away && visited == 0 {
		cost, later = cost+m.Visit, 1
	}
	stays := 0.0
	moves := s.Moves[x]
	if moves == nil {
		moves = []Move{{x, 1}}
	}
	for _, mv := range moves {
		well := m.wellIn(mv.To)
		if m.Open != nil && m.Open[mv.To] {
			cost += mv.Chance * well * m.Return
		}
		down := mv.Chance * (1 - well)
		if mv.To == x && later == visited {
			stays += down
			continue
		}
		cost += down * m.needed[later][mv.To]
	}
	return cost / (1 - stays)
}

// typify sets what a state costs if it is known. A state that no work changes costs
// as much to bring to its end as handing over does, which says nothing for a state
// that stands for many (see [Scene.Model]): it is given the mean of the others.
func (m *Model) typify() {
	m.typical = slices.Clone(m.needed[0])
	if len(m.Many) == 0 {
		return
	}
	sum, mass := 0.0, 0.0
	for x, w := range m.Weight {
		if len(m.cures[x]) > 0 {
			sum, mass = sum+w*m.needed[0][x], mass+w
		}
	}
	for _, x := range m.Many {
		if mass > 0 {
			m.typical[x] = sum / mass
		}
	}
}

// least is a lower bound on what lies ahead, times mass: every state known.
func (m *Model) least(n *node) float64 {
	if m.Identify {
		return 0
	}
	visited := 0
	if n.visited {
		visited = 1
	}
	sum := 0.0
	for x, w := range n.w {
		if w > 0 {
			sum += w * m.needed[visited][x]
		}
	}
	return sum
}
