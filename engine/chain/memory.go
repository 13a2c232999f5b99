package chain

import (
	"slices"

	"downdrop/rulebase"
)

// A Memory keeps what follows from an input while the input changes: only the
// rules that read something changed are looked at again. After any changes it
// holds what a fresh Run of the same input would.
//
// Each rule counts the parts of its condition that are not true, and each value
// that rules give a name counts the rules that give it; it falls when the last
// of them does. Rules are worked through in the order of their levels, so that
// each is looked at once (the incremental form of Dowling and Gallier 1984, from
// memory). Rules that support one another in a circle cannot be counted so:
// counts inside a circle never reach zero. When anything of a circle changes it
// is settled anew from what stands outside it. While rules disagree, a fresh run
// answers: that is rare, and starting again without the names in dispute is
// simplest from nothing.
//
// A Memory must not be used by two goroutines at once.
type Memory struct {
	p   *Program
	net *network
	in  Input

	slots  []rulebase.Slot // what is known now
	rules  []ruleState
	count  []int32   // by value: the rules that give it
	live   []int32   // by name: its values that a rule gives
	queue  [][]int32 // by level: rules to look at
	marks  []int32   // names whose values changed at this level
	marked []bool    // by name
	visits int

	settling int32   // the circle being settled, -1: none
	work     []int32 // its rules to look at

	changed     bool    // something is queued
	disagreeing int     // names to which rules give different values, nobody outranking them
	fresh       *Result // answers while any do
	broken      bool    // counts no longer tell: start from nothing
}

// A ruleState is what a memory knows of one rule, in one place: with thousands of
// rules it is the way to main memory that takes the time.
type ruleState struct {
	shut   int32 // how many of its screens are shut
	holds  bool  // its condition is true
	queued bool
}

// NewMemory makes a memory of an input.
func (p *Program) NewMemory(in Input) *Memory {
	p.once.Do(func() { p.net = newNetwork(p) })
	names, rules := len(p.base.Names), len(p.base.Rules)
	m := &Memory{
		p: p, net: p.net, in: Input{Slots: slices.Clone(in.Slots), State: make([]int, names)},
		slots: make([]rulebase.Slot, names), rules: make([]ruleState, rules),
		count: make([]int32, len(p.net.values)), live: make([]int32, names),
		queue: make([][]int32, p.net.levels), marked: make([]bool, names), settling: -1,
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
	return m.rules[rule].holds
}

// Visits is how many times a rule was looked at since the memory was made.
func (m *Memory) Visits() int {
	m.follow()
	return m.visits
}

// Result is everything that follows, with its reasons: a fresh run.
func (m *Memory) Result() *Result { return m.p.Run(m.in) }

// rebuild starts from nothing.
func (m *Memory) rebuild() {
	m.fresh, m.disagreeing, m.broken = nil, 0, false
	clear(m.count)
	clear(m.live)
	for rule := range m.rules {
		m.rules[rule].shut, m.rules[rule].holds = 0, false
		m.look(int32(rule))
	}
	for name := range m.slots {
		m.slots[name] = m.effective(name)
		for i := range m.net.readers[name] {
			if r := &m.net.readers[name][i]; r.screen != noScreen && !r.lets(m.slots[name]) {
				m.rules[r.rule].shut++
			}
		}
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

// touch takes up what is known of a name now.
func (m *Memory) touch(name int) {
	now, was := m.effective(name), m.slots[name]
	if now.Rank == was.Rank && same(now, was) {
		return
	}
	if c := m.net.circleOf[name]; c >= 0 {
		// Even where its readers see no difference: what was said may be all
		// that the circle stood on.
		m.look(m.net.circles[c].rules[0])
	}
	m.assign(name, now)
}

// assign gives a name a slot and queues the rules to which that makes a
// difference.
func (m *Memory) assign(name int, now rulebase.Slot) {
	was := m.slots[name]
	m.slots[name] = now
	for i := range m.net.readers[name] {
		r := &m.net.readers[name][i]
		rule := &m.rules[r.rule]
		if r.screen != noScreen {
			switch lets := r.lets(now); {
			case lets == r.lets(was):
				continue
			case lets:
				rule.shut--
			default:
				rule.shut++
			}
		}
		if rule.holds || rule.shut == 0 {
			m.look(r.rule)
		}
	}
}

// look queues a rule: in the circle that is being settled, or at its level.
func (m *Memory) look(rule int32) {
	if m.rules[rule].queued {
		return
	}
	m.rules[rule].queued = true
	r := &m.net.rules[rule]
	if r.circle >= 0 && r.circle == m.settling {
		m.work = append(m.work, rule)
		return
	}
	m.queue[r.level] = append(m.queue[r.level], rule)
	m.changed = true
}

// propagate works through the levels, lowest first. Whatever a level changes is
// read only by higher ones.
func (m *Memory) propagate() {
	for level, queue := range m.queue {
		for _, rule := range queue {
			switch c := m.net.rules[rule].circle; {
			case !m.rules[rule].queued: // settled already, with its circle
			case c >= 0:
				m.settle(c)
			default:
				m.rules[rule].queued = false
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

// reconsider finds out whether a rule holds now and moves its support.
func (m *Memory) reconsider(at int32) {
	m.visits++
	rule := &m.rules[at]
	holds := rule.shut == 0
	if r := &m.net.rules[at]; holds && !r.screened {
		holds = r.when.Eval(m.slots) == rulebase.True
	}
	if holds == rule.holds {
		return
	}
	rule.holds = holds
	if holds {
		m.support(at, 1)
	} else {
		m.support(at, -1)
	}
}

// support adds a rule's word for what it gives, or takes it back.
func (m *Memory) support(rule, by int32) {
	r := &m.net.rules[rule]
	for _, g := range m.net.gifts[r.from:r.end] {
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
	m.settling = at
	m.work = append(m.work[:0], c.rules...)
	for _, rule := range c.rules {
		m.rules[rule].queued = true
		if m.rules[rule].holds {
			m.rules[rule].holds = false
			m.support(rule, -1)
		}
	}
	for _, name := range c.names {
		m.assign(int(name), m.effective(int(name)))
	}
	for len(m.work) > 0 {
		rule := m.work[len(m.work)-1]
		m.work = m.work[:len(m.work)-1]
		m.rules[rule].queued = false
		if m.rules[rule].holds {
			continue
		}
		if m.reconsider(rule); !m.rules[rule].holds {
			continue
		}
		for _, g := range m.net.gifts[m.net.rules[rule].from:m.net.rules[rule].end] {
			if m.net.circleOf[g.name] == at {
				m.assign(int(g.name), m.effective(int(g.name)))
			}
		}
	}
	m.settling = -1
}
