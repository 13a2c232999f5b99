package chain

import (
	"slices"

	"downdrop/rulebase"
)

// A Memory keeps what follows from an input while the input changes: only the
// rules that read something changed are looked at again. After any changes it
// holds what a fresh Run of the same input would.
//
// Each value that rules give a name is counted by the rules that give it, and a
// name falls when its last support does. Rules and names are worked through in
// the order of their levels, so that each is looked at once (the incremental
// form of Dowling and Gallier 1984, from memory). Rules that support one another
// in a circle cannot be counted so: counts inside a circle never reach zero.
// They are one level, and when anything of it changes the circle is settled anew
// from what stands outside it. While rules disagree, a fresh run answers.
//
// A Memory must not be used by two goroutines at once.
type Memory struct {
	p   *Program
	net *network
	in  Input

	slots   []rulebase.Slot // what is known now
	holds   []bool          // by rule
	support [][]backing     // by name: values that rules give it
	queue   [][]int32       // by level: rules to look at
	queued  []bool
	pending int     // how many rules are queued
	marks   []int32 // names whose support changed at this level
	marked  []bool
	visits  int

	disagreeing int     // names to which rules give different values, nobody outranking them
	fresh       *Result // answers while any do
	broken      bool    // counts no longer tell: start from nothing
}

// backing is a value and how many rules give it.
type backing struct {
	value rulebase.Slot
	rules int32
}

// A network is the order in which rules and names are worked through.
type network struct {
	when      []*rulebase.Expression  // by rule, side by side
	then      [][]rulebase.Assignment // by rule
	readers   [][]int32               // by name: the rules that read it
	ruleLevel []int32
	nameLevel []int32 // that of the highest rule that sets it; -1 where none does
	levels    int
	circle    []int32   // by level: which circle, -1: none
	circles   [][]int32 // the rules of each circle
	of        []int32   // by name: the circle that sets it, -1: none
}

// NewMemory makes a memory of an input.
func (p *Program) NewMemory(in Input) *Memory {
	m := &Memory{p: p, net: p.network(), in: Input{Slots: slices.Clone(in.Slots), State: make([]int, len(in.Slots))}}
	copy(m.in.State, in.State)
	m.rebuild()
	return m
}

// network is worked out once for a program.
func (p *Program) network() *network {
	p.once.Do(func() { p.net = newNetwork(p) })
	return p.net
}

func newNetwork(p *Program) *network {
	b := p.base
	n := &network{readers: make([][]int32, len(b.Names)), ruleLevel: make([]int32, len(b.Rules)), nameLevel: make([]int32, len(b.Names))}
	for i, reads := range p.reads {
		n.when = append(n.when, b.Rules[i].When)
		n.then = append(n.then, b.Rules[i].Then)
		for _, name := range reads {
			n.readers[name] = append(n.readers[name], int32(i))
		}
	}
	groups := rulebase.RuleGroups(b)
	n.of = make([]int32, len(b.Names))
	for i := range n.nameLevel {
		n.nameLevel[i], n.of[i] = -1, -1
	}
	// Groups come after all that they read: a group's level is one above them.
	for _, g := range groups {
		level := int32(0)
		for _, r := range g {
			for _, name := range p.reads[r] {
				level = max(level, n.nameLevel[name]+1)
			}
		}
		if len(g) > 1 || p.readsOwn(int(g[0])) {
			// A circle has a level to itself.
			level = int32(max(n.levels, int(level)))
			for len(n.circle) <= int(level) {
				n.circle = append(n.circle, -1)
			}
			n.circle[level] = int32(len(n.circles))
			for _, r := range g {
				for _, a := range b.Rules[r].Then {
					n.of[a.Name] = int32(len(n.circles))
				}
			}
			n.circles = append(n.circles, g)
		}
		for int(level) < len(n.circle) && n.circle[level] >= 0 && len(g) == 1 && !p.readsOwn(int(g[0])) {
			level++
		}
		n.levels = max(n.levels, int(level)+1)
		for len(n.circle) < n.levels {
			n.circle = append(n.circle, -1)
		}
		for _, r := range g {
			n.ruleLevel[r] = level
			for _, a := range b.Rules[r].Then {
				n.nameLevel[a.Name] = max(n.nameLevel[a.Name], level)
			}
		}
	}
	return n
}

func (p *Program) readsOwn(rule int) bool {
	return slices.ContainsFunc(p.base.Rules[rule].Then, func(a rulebase.Assignment) bool { return slices.Contains(p.reads[rule], a.Name) })
}

// rebuild starts from nothing.
func (m *Memory) rebuild() {
	n := len(m.p.base.Names)
	m.fresh, m.disagreeing, m.broken = nil, 0, false
	m.slots = make([]rulebase.Slot, n)
	m.holds = make([]bool, len(m.p.base.Rules))
	m.support = make([][]backing, n)
	m.queue, m.pending, m.marks = make([][]int32, m.net.levels), 0, nil
	m.queued, m.marked = make([]bool, len(m.holds)), make([]bool, n)
	for name := range m.slots {
		m.slots[name] = m.effective(name)
	}
	for r := range m.holds {
		m.look(int32(r))
	}
	m.propagate()
	m.settle()
}

// effective is what is known of a name: what was observed, else what rules give
// it, else its default.
func (m *Memory) effective(name int) rulebase.Slot {
	observed := m.in.Slots[name]
	if observed.Rank > rulebase.FromRules {
		return observed
	}
	if s := m.support[name]; len(s) == 1 {
		v := s[0].value
		v.Rank = rulebase.FromRules
		return v
	}
	if observed.Rank == rulebase.NotKnown {
		if n := &m.p.base.Names[name]; n.Kind == rulebase.KindGiven {
			if d := m.p.base.Givens[n.Index].Default; d != nil {
				return *d
			}
		}
	}
	return observed
}

// Set gives a name the value observed, in a state of work.
func (m *Memory) Set(name int, v rulebase.Slot, state int) {
	m.in.Slots[name], m.in.State[name] = v, state
	m.changed(name)
}

// Retract takes the observed value of a name back.
func (m *Memory) Retract(name int) {
	m.in.Slots[name], m.in.State[name] = unknown, 0
	m.changed(name)
}

// changed notes a change of what was observed. What follows is worked out when
// it is next asked for, once for any number of changes.
func (m *Memory) changed(name int) {
	if m.fresh != nil || len(m.support[name]) > 1 {
		m.broken = true // rules disagree, or did about this name
		return
	}
	m.touch(name)
}

// follow works out what follows from the changes since it was last asked.
func (m *Memory) follow() {
	switch {
	case m.broken:
		m.rebuild()
	case m.pending > 0:
		m.propagate()
		m.settle()
	}
}

// touch takes up a new effective value and queues the rules that read it.
func (m *Memory) touch(name int) {
	now := m.effective(name)
	if now.Rank == m.slots[name].Rank && same(now, m.slots[name]) {
		return
	}
	m.slots[name] = now
	for _, r := range m.net.readers[name] {
		m.look(r)
	}
}

func (m *Memory) look(rule int32) {
	if !m.queued[rule] {
		m.queued[rule] = true
		level := m.net.ruleLevel[rule]
		m.queue[level] = append(m.queue[level], rule)
		m.pending++
	}
}

// propagate works through the levels, lowest first.
func (m *Memory) propagate() {
	for level := range m.queue {
		if len(m.queue[level]) == 0 {
			continue
		}
		if c := m.net.circle[level]; c >= 0 {
			m.pending -= len(m.queue[level])
			for _, r := range m.queue[level] {
				m.queued[r] = false
			}
			m.queue[level] = m.queue[level][:0]
			m.settleCircle(m.net.circles[c])
		} else {
			for _, r := range m.queue[level] {
				m.queued[r] = false
				m.reconsider(r)
			}
			m.pending -= len(m.queue[level])
			m.queue[level] = m.queue[level][:0]
		}
		for _, name := range m.marks {
			m.marked[name] = false
			m.touch(int(name))
		}
		m.marks = m.marks[:0]
	}
}

// reconsider evaluates a rule again and moves its support.
func (m *Memory) reconsider(rule int32) {
	m.visits++
	holds := m.net.when[rule].Eval(m.slots) == rulebase.True
	if holds == m.holds[rule] {
		return
	}
	m.holds[rule] = holds
	by := int32(-1)
	if holds {
		by = 1
	}
	then := m.net.then[rule]
	for i := range then {
		m.back(&then[i], by)
		// A circle that loses support from outside may have nothing left but itself.
		if c := m.net.of[then[i].Name]; c >= 0 && by < 0 {
			if first := m.net.circles[c][0]; m.net.ruleLevel[first] != m.net.ruleLevel[rule] {
				m.look(first)
			}
		}
	}
}

// back adds or takes one rule's support for a value.
func (m *Memory) back(a *rulebase.Assignment, by int32) {
	s := m.support[a.Name]
	at := -1
	for i := range s {
		if same(s[i].value, a.Value) {
			at = i
		}
	}
	was := len(s)
	switch {
	case at < 0:
		s = append(s, backing{a.Value, by})
	case s[at].rules+by == 0:
		s[at] = s[len(s)-1]
		s = s[:len(s)-1]
	default:
		s[at].rules += by
	}
	m.support[a.Name] = s
	if len(s) != was {
		if m.in.Slots[a.Name].Rank <= rulebase.FromRules {
			m.disagreeing += btoi(len(s) > 1) - btoi(was > 1)
		}
		if !m.marked[a.Name] {
			m.marked[a.Name] = true
			m.marks = append(m.marks, int32(a.Name))
		}
	}
}

func btoi(b bool) int {
	if b {
		return 1
	}
	return 0
}

// settleCircle settles rules that support one another: all their support is
// taken away, and they fire again, round by round, from what stands outside.
func (m *Memory) settleCircle(rules []int32) {
	names := map[int]rulebase.Slot{}
	for _, r := range rules {
		then := m.p.base.Rules[r].Then
		for i := range then {
			names[then[i].Name] = m.slots[then[i].Name]
			if m.holds[r] {
				m.back(&then[i], -1)
			}
		}
		m.holds[r] = false
	}
	for name := range names {
		m.slots[name] = m.effective(name)
	}
	for again := true; again; {
		again = false
		for _, r := range rules {
			if m.holds[r] {
				continue
			}
			if m.reconsider(r); m.holds[r] {
				again = true
			}
		}
		for name := range names {
			m.slots[name] = m.effective(name)
		}
	}
	// Its own names are settled; those outside see what is different from before.
	for name := range names {
		m.marked[name] = false
	}
	m.marks = slices.DeleteFunc(m.marks, func(name int32) bool { _, own := names[int(name)]; return own })
	for name, before := range names {
		now := m.effective(name)
		if now.Rank == before.Rank && same(now, before) {
			continue
		}
		m.slots[name] = now
		for _, r := range m.net.readers[name] {
			if !slices.Contains(rules, r) {
				m.look(r)
			}
		}
	}
}

// settle asks a fresh run where rules disagree.
func (m *Memory) settle() {
	if m.disagreeing > 0 {
		m.fresh = m.p.Run(m.in)
		m.visits += m.fresh.Visits
	}
}

// Slot is what is known of a name now.
func (m *Memory) Slot(name int) rulebase.Slot {
	m.follow()
	if m.fresh != nil {
		return m.fresh.Slots[name]
	}
	return m.slots[name]
}

// Holds says whether a rule's condition is true now.
func (m *Memory) Holds(rule int) bool {
	m.follow()
	if m.fresh != nil {
		_, ok := slices.BinarySearch(m.fresh.Fired, rule)
		return ok
	}
	return m.holds[rule]
}

// Visits is how many conditions were evaluated since the memory was made.
func (m *Memory) Visits() int {
	m.follow()
	return m.visits
}

// Result is everything that follows, with its reasons: a fresh run.
func (m *Memory) Result() *Result { return m.p.Run(m.in) }
