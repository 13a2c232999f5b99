package chain

import (
	"slices"

	"downdrop/rulebase"
)

// A Memory keeps what follows from an input while the input changes: only the
// rules that read something changed are looked at again. After any changes it
// holds what a fresh Run of the same input would.
//
// Each value that rules give a name is counted by the rules that give it, and
// falls when the last of them does. Rules are worked through in the order of
// their levels, so that each is looked at once (the incremental form of Dowling
// and Gallier 1984, from memory). Rules that support one another in a circle
// cannot be counted so: counts inside a circle never reach zero. When anything of
// a circle changes it is settled anew from what stands outside it. While rules
// disagree, a fresh run answers: that is rare, and starting again without the
// names in dispute is simplest from nothing.
//
// A Memory must not be used by two goroutines at once.
type Memory struct {
	p   *Program
	net *network
	in  Input

	slots  []rulebase.Slot // what is known now
	holds  []bool          // by rule: its condition is true
	count  []int32         // by value: the rules that give it
	live   []int32         // by name: its values that a rule gives
	queue  [][]int32       // by level: rules to look at
	queued []bool          // by rule
	marks  []int32         // names whose values changed at this level
	marked []bool          // by name
	work   []int32         // rules of a circle to look at
	before []rulebase.Slot // of a circle's names
	visits int

	changed     bool    // something is queued
	disagreeing int     // names to which rules give different values, nobody outranking them
	fresh       *Result // answers while any do
	broken      bool    // counts no longer tell: start from nothing
}

// NewMemory makes a memory of an input.
func (p *Program) NewMemory(in Input) *Memory {
	p.once.Do(func() { p.net = newNetwork(p) })
	names, rules := len(p.base.Names), len(p.base.Rules)
	m := &Memory{
		p: p, net: p.net, in: Input{Slots: slices.Clone(in.Slots), State: make([]int, names)},
		slots: make([]rulebase.Slot, names), holds: make([]bool, rules),
		count: make([]int32, len(p.net.values)), live: make([]int32, names),
		queue: make([][]int32, p.net.levels), queued: make([]bool, rules), marked: make([]bool, names),
	}
	copy(m.in.State, in.State)
	m.rebuild()
	return m
}

// Set gives a name the value observed, in a state of work. What follows is worked
// out when it is next asked for, once for any number of changes.
func (m *Memory) Set(name int, v rulebase.Slot, state int) {
	m.in.Slots[name], m.in.State[name] = v, state
	if m.fresh != nil || m.live[name] > 1 {
		m.broken = true // rules disagree, or did about this name
		return
	}
	m.touch(name)
}

// Retract takes the observed value of a name back.
func (m *Memory) Retract(name int) { m.Set(name, unknown, 0) }

// Slot is what is known of a name now.
func (m *Memory) Slot(name int) rulebase.Slot {
	m.follow()
	if m.fresh != nil {
		return m.fresh.Slots[name]
	}
	return m.slots[name]
}

// Known says whether a person, the program or a rule gave a name a value.
func (m *Memory) Known(name int) bool { return m.Slot(name).Rank > rulebase.FromDefault }

// Holds says whether a rule's condition is true now.
func (m *Memory) Holds(rule int) bool {
	m.follow()
	if m.fresh != nil {
		return m.fresh.round[rule] > 0
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

// rebuild starts from nothing.
func (m *Memory) rebuild() {
	m.fresh, m.disagreeing, m.broken = nil, 0, false
	clear(m.holds)
	clear(m.count)
	clear(m.live)
	for name := range m.slots {
		m.slots[name] = m.effective(name)
	}
	for rule := range m.holds {
		m.look(int32(rule))
	}
	m.propagate()
}

// follow works out what follows from the changes since it was last asked.
func (m *Memory) follow() {
	switch {
	case m.broken:
		m.rebuild()
	case m.changed:
		m.propagate()
	}
}

// effective is what is known of a name: what was observed, else what rules give
// it, else its default.
func (m *Memory) effective(name int) rulebase.Slot {
	if given := m.in.Slots[name]; given.Rank > rulebase.FromRules {
		return given
	}
	if m.live[name] != 1 {
		return m.p.observed(name, m.in.Slots[name])
	}
	value := m.net.first[name]
	for m.count[value] == 0 {
		value++
	}
	return m.net.values[value]
}

// touch takes up what is known of a name now and queues the rules to which that
// can make a difference.
func (m *Memory) touch(name int) {
	now, was := m.effective(name), m.slots[name]
	if now.Rank == was.Rank && same(now, was) {
		return
	}
	m.slots[name] = now
	if c := m.net.circleOf[name]; c >= 0 {
		// Even where its readers see no difference: what was said may be all
		// that the circle stood on.
		m.look(m.net.circles[c].rules[0])
	}
	m.announce(name)
}

// announce queues the rules to which the value of a name can make a difference.
// Those of the name's own circle are settled with it.
func (m *Memory) announce(name int) {
	own := m.net.circleOf[name]
	readers := m.net.readers[name]
	for i := range readers {
		r := &readers[i]
		if r.screen != noScreen && r.lets(m.slots[name]) == m.holds[r.rule] {
			continue
		}
		if own < 0 || m.net.rules[r.rule].circle != own {
			m.look(r.rule)
		}
	}
}

func (m *Memory) look(rule int32) {
	if !m.queued[rule] {
		m.queued[rule], m.changed = true, true
		level := m.net.rules[rule].level
		m.queue[level] = append(m.queue[level], rule)
	}
}

// propagate works through the levels, lowest first. Whatever a level changes is
// read only by higher ones.
func (m *Memory) propagate() {
	for level, queue := range m.queue {
		for _, rule := range queue {
			switch c := m.net.rules[rule].circle; {
			case !m.queued[rule]: // settled already, with its circle
			case c >= 0:
				m.settle(c)
			default:
				m.queued[rule] = false
				m.reconsider(rule)
			}
		}
		m.queue[level] = queue[:0]
		for _, name := range m.marks {
			m.marked[name] = false
			m.touch(int(name))
		}
		m.marks = m.marks[:0]
	}
	m.changed = false
	if m.disagreeing > 0 {
		m.fresh = m.p.Run(m.in)
		m.visits += m.fresh.Visits
	}
}

// reconsider evaluates a rule again and moves its support.
func (m *Memory) reconsider(rule int32) {
	m.visits++
	holds := m.net.rules[rule].when.Eval(m.slots) == rulebase.True
	if holds == m.holds[rule] {
		return
	}
	m.holds[rule] = holds
	if holds {
		m.support(rule, 1)
	} else {
		m.support(rule, -1)
	}
}

// support adds a rule's word for what it gives, or takes it back.
func (m *Memory) support(rule, by int32) {
	r := &m.net.rules[rule]
	for _, g := range r.then {
		m.count[g.value] += by
		// A circle that loses support from outside may have nothing left but itself.
		if c := m.net.circleOf[g.name]; c >= 0 && by < 0 && c != r.circle {
			m.look(m.net.circles[c].rules[0])
		}
		if now := m.count[g.value]; now == 0 || now == 1 && by > 0 {
			m.enliven(g.name, by)
		}
	}
}

// enliven notes that a name has one value more, or less, that a rule gives.
func (m *Memory) enliven(name, by int32) {
	several := m.live[name] > 1
	m.live[name] += by
	if now := m.live[name] > 1; now != several && m.in.Slots[name].Rank <= rulebase.FromRules {
		m.disagreeing += int(by)
	}
	if !m.marked[name] {
		m.marked[name] = true
		m.marks = append(m.marks, name)
	}
}

// settle settles a circle: its rules take all support back and give it again, one
// by one as they come true, from what stands outside.
func (m *Memory) settle(at int32) {
	c := &m.net.circles[at]
	m.before = m.before[:0]
	for _, name := range c.names {
		m.before = append(m.before, m.slots[name])
	}
	for _, rule := range c.rules {
		if m.holds[rule] {
			m.holds[rule] = false
			m.support(rule, -1)
		}
		m.queued[rule] = true
	}
	for _, name := range c.names {
		m.slots[name] = m.effective(int(name))
	}
	m.work = append(m.work[:0], c.rules...)
	for len(m.work) > 0 {
		rule := m.work[len(m.work)-1]
		m.work = m.work[:len(m.work)-1]
		m.queued[rule] = false
		if m.reconsider(rule); m.holds[rule] {
			m.spread(rule, at)
		}
	}
	for i, name := range c.names {
		if now := m.slots[name]; now.Rank != m.before[i].Rank || !same(now, m.before[i]) {
			m.announce(int(name))
		}
	}
}

// spread takes up what a rule of a circle gives to the circle's names, and queues
// the circle's rules that can come true by it.
func (m *Memory) spread(rule, circle int32) {
	for _, g := range m.net.rules[rule].then {
		if m.net.circleOf[g.name] != circle {
			continue
		}
		m.slots[g.name] = m.effective(int(g.name))
		for i := range m.net.readers[g.name] {
			r := &m.net.readers[g.name][i]
			if m.net.rules[r.rule].circle == circle && !m.holds[r.rule] && !m.queued[r.rule] {
				m.queued[r.rule] = true
				m.work = append(m.work, r.rule)
			}
		}
	}
}
