package ruleload

import "sort"

// A Net is the compiled rulebase: atoms (input conditions) and derived facts share one literal space.
type Net struct {
	nAtoms, nDerived, nRules int
	// literal l < nAtoms is an input condition; nAtoms+k is derived fact k
	useStart []int32 // CSR: literal -> rules that have it
	use      []int32
	need     []int32 // rule -> number of antecedents
	head     []int32 // rule -> derived fact
	antStart []int32 // CSR: rule -> literals
	ant      []int32
	order    []int32 // rules in topological order
	level    []int32 // derived fact -> level
	nLevels  int
	inputs   map[string]int
	in       []NetInput
	names    []string
}

type NetInput struct {
	isBool bool
	atomT  int32 // literal "== true", or -1
	atomF  int32
	th     []float64 // sorted thresholds
	atomGE []int32   // literal "x >= th[i]" or -1
	atomLT []int32
}

func Compile(w *Workload) *Net {
	n := &Net{inputs: map[string]int{}, nDerived: len(w.Derived), nRules: len(w.Rules), names: w.Derived}
	for i, in := range w.Inputs {
		n.inputs[in.Name] = i
		n.in = append(n.in, NetInput{isBool: in.Kind == "bool", atomT: -1, atomF: -1})
	}
	// thresholds
	for _, r := range w.Rules {
		for _, c := range r.If {
			if c.Op != "==" {
				p := &n.in[n.inputs[c.F]]
				t := c.V.(float64)
				k := sort.SearchFloat64s(p.th, t)
				if k == len(p.th) || p.th[k] != t {
					p.th = append(p.th, 0)
					copy(p.th[k+1:], p.th[k:])
					p.th[k] = t
				}
			}
		}
	}
	for i := range n.in {
		p := &n.in[i]
		p.atomGE, p.atomLT = make([]int32, len(p.th)), make([]int32, len(p.th))
		for k := range p.th {
			p.atomGE[k], p.atomLT[k] = -1, -1
		}
	}
	derived := map[string]int32{}
	for i, d := range w.Derived {
		derived[d] = int32(i)
	}
	atom := func(slot *int32) int32 {
		if *slot < 0 {
			*slot = int32(n.nAtoms)
			n.nAtoms++
		}
		return *slot
	}
	const derivedBase = 1 << 28
	rules := make([][]int32, len(w.Rules))
	for i, r := range w.Rules {
		for _, c := range r.If {
			var l int32
			if d, ok := derived[c.F]; ok {
				l = derivedBase + d
			} else {
				p := &n.in[n.inputs[c.F]]
				switch {
				case p.isBool && c.V.(bool):
					l = atom(&p.atomT)
				case p.isBool:
					l = atom(&p.atomF)
				default:
					k := sort.SearchFloat64s(p.th, c.V.(float64))
					if c.Op == ">=" {
						l = atom(&p.atomGE[k])
					} else {
						l = atom(&p.atomLT[k])
					}
				}
			}
			rules[i] = append(rules[i], l)
		}
		n.head = append(n.head, derived[r.Then])
		n.need = append(n.need, int32(len(r.If)))
	}
	nl := n.nAtoms + n.nDerived
	cnt := make([]int32, nl+1)
	n.antStart = append(n.antStart, 0)
	for i := range rules {
		for j, l := range rules[i] {
			if l >= derivedBase {
				l = l - derivedBase + int32(n.nAtoms)
				rules[i][j] = l
			}
			cnt[l+1]++
			n.ant = append(n.ant, l)
		}
		n.antStart = append(n.antStart, int32(len(n.ant)))
	}
	for l := 0; l < nl; l++ {
		cnt[l+1] += cnt[l]
	}
	n.useStart = append([]int32(nil), cnt...)
	n.use = make([]int32, len(n.ant))
	fill := append([]int32(nil), cnt[:nl]...)
	for i := range rules {
		for _, l := range rules[i] {
			n.use[fill[l]] = int32(i)
			fill[l]++
		}
	}
	// levels by relaxation over the acyclic graph
	n.level = make([]int32, n.nDerived)
	for changed := true; changed; {
		changed = false
		for i := range rules {
			lv := int32(0)
			for _, l := range rules[i] {
				if int(l) >= n.nAtoms {
					lv = max(lv, n.level[int(l)-n.nAtoms]+1)
				}
			}
			if lv > n.level[n.head[i]] {
				n.level[n.head[i]] = lv
				changed = true
			}
		}
	}
	for _, l := range n.level {
		n.nLevels = max(n.nLevels, int(l)+1)
	}
	n.order = make([]int32, n.nRules)
	for i := range n.order {
		n.order[i] = int32(i)
	}
	sort.SliceStable(n.order, func(a, b int) bool { return n.level[n.head[n.order[a]]] < n.level[n.head[n.order[b]]] })
	return n
}

// SetAll writes the truth of every atom for a whole state.
func (n *Net) SetAll(bools []bool, nums []float64, val []uint8) {
	for i := range n.in {
		p := &n.in[i]
		if p.isBool {
			if p.atomT >= 0 {
				val[p.atomT] = b2u(bools[i])
			}
			if p.atomF >= 0 {
				val[p.atomF] = b2u(!bools[i])
			}
			continue
		}
		for k, t := range p.th {
			if p.atomGE[k] >= 0 {
				val[p.atomGE[k]] = b2u(nums[i] >= t)
			}
			if p.atomLT[k] >= 0 {
				val[p.atomLT[k]] = b2u(nums[i] < t)
			}
		}
	}
}

func b2u(b bool) uint8 {
	if b {
		return 1
	}
	return 0
}

type Floor struct {
	n       *Net
	val     []uint8 // literal truth
	left    []int32
	support []int32
	bools   []bool
	nums    []float64
	pending [][]int32 // by level: derived facts whose support changed
	queued  []bool
	sat     int
	touched int // rule visits, a machine-independent count
}

func NewFloor(n *Net) *Floor {
	s := &Floor{n: n, val: make([]uint8, n.nAtoms+n.nDerived), left: append([]int32(nil), n.need...), support: make([]int32, n.nDerived),
		bools: make([]bool, len(n.in)), nums: make([]float64, len(n.in)), pending: make([][]int32, n.nLevels), queued: make([]bool, n.nDerived)}
	return s
}

func (s *Floor) flip(l int32, up bool) {
	n := s.n
	us := n.use[n.useStart[l]:n.useStart[l+1]]
	s.touched += len(us)
	if up {
		s.val[l] = 1
		for _, r := range us {
			s.left[r]--
			if s.left[r] == 0 {
				s.sat++
				s.bump(n.head[r], 1)
			}
		}
		return
	}
	s.val[l] = 0
	for _, r := range us {
		if s.left[r] == 0 {
			s.sat--
			s.bump(n.head[r], -1)
		}
		s.left[r]++
	}
}

func (s *Floor) bump(h, by int32) {
	s.support[h] += by
	if !s.queued[h] {
		s.queued[h] = true
		lv := s.n.level[h]
		s.pending[lv] = append(s.pending[lv], h)
	}
}

func (s *Floor) Propagate() {
	n := s.n
	for lv := range s.pending {
		for _, h := range s.pending[lv] {
			s.queued[h] = false
			l := int32(n.nAtoms) + h
			if up := s.support[h] > 0; up != (s.val[l] == 1) {
				s.flip(l, up)
			}
		}
		s.pending[lv] = s.pending[lv][:0]
	}
}

func (s *Floor) Begin(bools []bool, nums []float64) {
	copy(s.bools, bools)
	copy(s.nums, nums)
	val := make([]uint8, len(s.val))
	s.n.SetAll(bools, nums, val)
	for l := 0; l < s.n.nAtoms; l++ {
		if val[l] == 1 {
			s.flip(int32(l), true)
		}
	}
	s.Propagate()
}

func (s *Floor) SetBool(i int, v bool) {
	if s.bools[i] == v {
		return
	}
	s.bools[i] = v
	p := &s.n.in[i]
	if p.atomT >= 0 {
		s.flip(p.atomT, v)
	}
	if p.atomF >= 0 {
		s.flip(p.atomF, !v)
	}
}

func (s *Floor) SetNum(i int, v float64) {
	old := s.nums[i]
	s.nums[i] = v
	p := &s.n.in[i]
	lo, hi, up := old, v, true // x >= t changes for t in (lo, hi]
	if v < old {
		lo, hi, up = v, old, false
	}
	k := sort.Search(len(p.th), func(k int) bool { return p.th[k] > lo })
	for ; k < len(p.th) && p.th[k] <= hi; k++ {
		if p.atomGE[k] >= 0 {
			s.flip(p.atomGE[k], up)
		}
		if p.atomLT[k] >= 0 {
			s.flip(p.atomLT[k], !up)
		}
	}
}

// Visits is how many antecedents were looked at since it began.
func (s *Floor) Visits() int { return s.touched }

// Satisfied is how many rules hold.
func (s *Floor) Satisfied() int { return s.sat }

// Holds says whether a derived fact holds.
func (s *Floor) Holds(derived int) bool { return s.val[s.n.nAtoms+derived] == 1 }

// Inputs is how many inputs there are.
func (n *Net) Inputs() int { return len(n.in) }

// Set gives an input its value, of which the kind decides what counts.
func (s *Floor) Set(input int, flag bool, number float64) {
	if s.n.in[input].isBool {
		s.SetBool(input, flag)
	} else {
		s.SetNum(input, number)
	}
}

// A Scratch works every session out from nothing: all rules once, in topological
// order, over flat arrays.
type Scratch struct {
	n   *Net
	val []uint8
}

// NewScratch makes one.
func NewScratch(n *Net) *Scratch { return &Scratch{n, make([]uint8, n.nAtoms+n.nDerived)} }

// Run works out what follows from a whole state.
func (s *Scratch) Run(bools []bool, nums []float64) {
	s.n.SetAll(bools, nums, s.val)
	d := s.val[s.n.nAtoms:]
	clear(d)
	for _, r := range s.n.order {
		ok := uint8(1)
		for _, l := range s.n.ant[s.n.antStart[r]:s.n.antStart[r+1]] {
			ok &= s.val[l]
		}
		d[s.n.head[r]] |= ok
	}
}

// Holds says whether a derived fact holds.
func (s *Scratch) Holds(derived int) bool { return s.val[s.n.nAtoms+derived] == 1 }

// Order is the rules' places in Workload.Rules, each behind all that derive what it reads.
func (n *Net) Order() []int32 { return n.order }
