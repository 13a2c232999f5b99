package plan

import (
	"encoding/binary"
	"math"
	"slices"
)

// An AO* search (Pattipati and Alexandridis 1990): what is known is a graph of
// places, each with a lower and an upper bound per unit of mass. The best way by
// lower bounds is followed to the place where the gap is widest, which is opened.
type search struct {
	m      *Model
	places map[string]*place
	key    []byte
	opened int
	root   *place
	first  []int // the steps that may come first; nil: all
}

type place struct {
	n          *node
	lower      float64 // minutes, per unit of mass
	upper      float64
	options    []option
	open, done bool
	first      act // what upper does
}

type option struct {
	step  int
	price float64 // with what ends as well and comes back, per unit of mass
	to    []branchTo
}

type branchTo struct {
	*place
	share float64
}

// Found is what a search found.
type Found struct {
	Step   int // the best first step; Nothing: the case ends
	Lower  float64
	Upper  float64 // minutes, of a policy that is known
	Opened int
}

// Proven says that nothing is cheaper.
func (f Found) Proven() bool { return f.Upper-f.Lower <= 1e-9*math.Max(1, f.Upper) }

// Search looks for the cheapest policy, from the beginning. It stops when that is
// proven or when budget places have been opened. Where first is given, only these
// steps may come first, or the end.
func Search(m *Model, budget int, first ...int) Found {
	m.Ready()
	if s, ok := newSure(m); ok && (len(first) == 0 || len(first) == len(m.Steps)) {
		return s.found()
	}
	s := &search{m: m, places: map[string]*place{}, first: first}
	root := s.place(m.root())
	if s.root = root; first != nil && !m.Identify {
		e, cost := m.end(root.n.w)
		root.first, root.upper, root.done = act{Nothing, e}, cost/root.n.mass, false
		root.settle()
	}
	return s.run(root, budget)
}

func (s *search) run(root *place, budget int) Found {
	for !root.done && s.opened < budget {
		s.descend(root)
	}
	return Found{root.first.step, root.lower, root.upper, s.opened}
}

// place finds or makes the place of a node. Two ways to the same belief and the same
// things left to do are one place.
func (s *search) place(n *node) *place {
	key := s.key[:0]
	for i := range 4 {
		key = binary.LittleEndian.AppendUint64(key, n.seen[i])
		key = binary.LittleEndian.AppendUint64(key, n.done[i])
	}
	visited := byte(0)
	if n.visited {
		visited = 1
	}
	key = append(key, visited)
	for _, w := range n.w {
		key = binary.LittleEndian.AppendUint64(key, uint64(math.Round(w/n.mass*(1<<44))))
	}
	s.key = key
	if p, ok := s.places[string(key)]; ok {
		return p
	}
	p := &place{n: n, lower: s.m.least(n) / n.mass}
	s.places[string(key)] = p
	first, upper := greedy{width: 1}.choose(s.m, n)
	if s.m.Identify {
		upper = s.m.value(greedy{}, n)
	}
	p.first, p.upper = first, upper/n.mass
	p.settle()
	return p
}

func (p *place) settle() {
	if p.upper-p.lower <= 1e-11*math.Max(1, math.Abs(p.upper)) {
		p.done = true
	}
}

// open makes a place's options.
func (s *search) open(p *place) {
	p.open = true
	s.opened++
	for _, i := range s.m.choices(p.n) {
		if p == s.root && s.first != nil && !slices.Contains(s.first, i) {
			continue
		}
		o := option{step: i, price: s.m.price(p.n, i)}
		bound := o.price * p.n.mass
		ways := s.m.ways(p.n, i)
		for _, k := range ways {
			if !k.well {
				bound += s.m.least(k.node)
			}
		}
		if bound/p.n.mass >= p.upper {
			continue
		}
		for _, k := range ways {
			if k.well {
				o.price += s.m.back(k.node) / p.n.mass
				continue
			}
			o.to = append(o.to, branchTo{s.place(k.node), k.node.mass / p.n.mass})
		}
		p.options = append(p.options, o)
	}
}

// descend follows the option with the least lower bound to where the gap is widest,
// opens that place, and sets the bounds on the way back anew.
func (s *search) descend(p *place) {
	if !p.open {
		s.open(p)
		s.back(p)
		return
	}
	best, least := -1, math.Inf(1)
	for i := range p.options {
		if l := p.options[i].lower(); l < least {
			best, least = i, l
		}
	}
	if best >= 0 {
		var to *place
		widest := 0.0
		for _, b := range p.options[best].to {
			if gap := b.share * (b.upper - b.lower); !b.done && gap > widest {
				to, widest = b.place, gap
			}
		}
		if to != nil {
			s.descend(to)
		}
	}
	s.back(p)
}

func (o *option) lower() float64 {
	sum := o.price
	for _, b := range o.to {
		sum += b.share * b.lower
	}
	return sum
}

func (o *option) upper() float64 {
	sum := o.price
	for _, b := range o.to {
		sum += b.share * b.upper
	}
	return sum
}

func (s *search) back(p *place) {
	lower := math.Inf(1)
	if !s.m.Identify {
		e, cost := s.m.end(p.n.w)
		if cost /= p.n.mass; cost < p.upper {
			p.upper, p.first = cost, act{Nothing, e}
		}
		lower = cost
	}
	for i := range p.options {
		o := &p.options[i]
		lower = math.Min(lower, o.lower())
		if u := o.upper(); u < p.upper {
			p.upper, p.first = u, act{o.step, -1}
		}
	}
	p.options = slices.DeleteFunc(p.options, func(o option) bool {
		return o.lower() > p.upper*(1+1e-12) && o.step != p.first.step
	})
	if len(p.options) == 0 && math.IsInf(lower, 1) {
		lower = p.upper // for Identify: nothing to choose
	}
	p.lower = math.Max(p.lower, math.Min(lower, p.upper))
	p.settle()
}
