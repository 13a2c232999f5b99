package chain

import (
	"math"
	"slices"

	"downdrop/rulebase"
)

// A network is a program laid out for a Memory: in which order rules and names
// settle, and what each change of a name can do to the rules that read it.
type network struct {
	rules    []netRule
	gifts    []gift          // by rule, side by side
	readers  [][]reader      // by name
	values   []rulebase.Slot // all that rules can give, those of one name side by side
	first    []int32         // by name, and one more: its first place in values
	circles  []circle
	circleOf []int32 // by name: the circle it is a member of, -1: none
	levels   int
}

// A netRule is a rule of a network.
type netRule struct {
	when      *rulebase.Expression
	from, end int32 // what it gives, in network.gifts
	level     int32 // above all that it reads
	circle    int32 // -1: none
	screened  bool  // its condition is its screens: it is true where they are all open
}

// A gift is a value that a rule gives to a name.
type gift struct {
	name, value int32 // value is a place in network.values
}

// A circle is rules and names that support one another. Its members have one level.
type circle struct {
	rules, names []int32
}

func newNetwork(p *Program) *network {
	n := &network{rules: make([]netRule, len(p.base.Rules))}
	n.arrange(rulebase.SettlingOrder(p.base), p)
	n.listValues(p.base)
	n.listReaders(p)
	return n
}

// arrange gives rules and names their levels: a rule stands one above all that
// it reads, a name with the highest rule that sets it, a circle one above all
// outside that it reads or that sets names it reads.
func (n *network) arrange(groups []rulebase.Group, p *Program) {
	b := p.base
	nameLevel := make([]int32, len(b.Names))
	n.circleOf = make([]int32, len(b.Names))
	for i := range nameLevel {
		nameLevel[i], n.circleOf[i] = -1, -1 // of a name that no rule sets
	}
	for _, g := range groups {
		level := int32(0)
		for _, r := range g.Rules {
			for _, name := range p.reads[r] {
				level = max(level, nameLevel[name]+1)
			}
		}
		at := int32(-1)
		if g.Circle() {
			at = int32(len(n.circles))
			n.circles = append(n.circles, circle{})
		}
		for _, r := range g.Rules {
			n.rules[r] = netRule{when: b.Rules[r].When, level: level, circle: at}
			n.levels = max(n.levels, int(level)+1)
			for _, a := range b.Rules[r].Then {
				nameLevel[a.Name] = max(nameLevel[a.Name], level)
			}
		}
		if at >= 0 {
			n.circles[at] = circle{narrow(g.Rules), narrow(g.Names)}
			for _, name := range g.Names {
				n.circleOf[name] = at
			}
		}
	}
}

func narrow(wide []int) []int32 {
	all := make([]int32, len(wide))
	for i, x := range wide {
		all[i] = int32(x)
	}
	return all
}

// listValues numbers the values that rules can give.
func (n *network) listValues(b *rulebase.Base) {
	byName := make([][]rulebase.Slot, len(b.Names))
	for i := range b.Rules {
		for _, a := range b.Rules[i].Then {
			if !slices.ContainsFunc(byName[a.Name], func(s rulebase.Slot) bool { return same(s, a.Value) }) {
				a.Value.Rank = rulebase.FromRules
				byName[a.Name] = append(byName[a.Name], a.Value)
			}
		}
	}
	for _, values := range byName {
		n.first = append(n.first, int32(len(n.values)))
		n.values = append(n.values, values...)
	}
	n.first = append(n.first, int32(len(n.values)))
	for i := range b.Rules {
		n.rules[i].from = int32(len(n.gifts))
		for _, a := range b.Rules[i].Then {
			at := slices.IndexFunc(byName[a.Name], func(s rulebase.Slot) bool { return same(s, a.Value) })
			n.gifts = append(n.gifts, gift{int32(a.Name), n.first[a.Name] + int32(at)})
		}
		n.rules[i].end = int32(len(n.gifts))
	}
}

// A reader is a rule that reads a name, with a screen: a test of the name's slot
// alone. Where the rule's condition is a row of parts joined by `and`, and a part
// reads this name only, the condition cannot be true unless that part is. A rule
// of which some screen is shut need not be evaluated to be known not to hold, and
// a change that leaves a screen open or shut as it was changes nothing for the
// rule: these are Dowling and Gallier's counts of what is still wanted, taken
// wherever a condition is so simple. Most are, from end to end: then it need not
// be evaluated at all.
type reader struct {
	rule   int32
	screen screenKind
	passes uint64  // byTable: bit 2·Word + (1 where known(name)) is set if the part is true
	lo, hi float64 // byRange: the part is true from lo to hi, both included
}

type screenKind uint8

const (
	noScreen screenKind = iota
	byTable
	byRange
)

// lets says whether the screen is open: the part of the condition is true.
func (r *reader) lets(s rulebase.Slot) bool {
	if r.screen == byRange {
		return r.lo <= s.Number && s.Number <= r.hi
	}
	at := uint(s.Word) << 1
	if s.Rank > rulebase.FromDefault {
		at |= 1
	}
	return r.passes>>at&1 == 1
}

func (n *network) listReaders(p *Program) {
	n.readers = make([][]reader, len(p.base.Names))
	s := screener{base: p.base, slots: make([]rulebase.Slot, len(p.base.Names))}
	for i := range s.slots {
		s.slots[i] = unknown
	}
	for i := range p.base.Rules {
		parts := []*rulebase.Term{p.base.Rules[i].When.Root}
		if parts[0].Op == rulebase.OpAnd {
			parts = parts[0].Args
		}
		screened := 0 // parts
		for _, name := range p.reads[i] {
			r, of := s.screen(parts, name)
			r.rule = int32(i)
			n.readers[name] = append(n.readers[name], r)
			screened += of
		}
		n.rules[i].screened = screened == len(parts)
	}
}

// A screener makes screens; slots is where it tries values out, all unknown.
type screener struct {
	base  *rulebase.Base
	slots []rulebase.Slot
}

// screen joins the screens of all parts that read a name, and says how many parts
// that is; there is none where one of the parts has none or two are of different
// kinds.
func (s *screener) screen(parts []*rulebase.Term, name int) (all reader, of int) {
	for _, t := range parts {
		reads := (&rulebase.Expression{Root: t}).Reads()
		if !slices.Contains(reads, name) {
			continue
		}
		var one reader
		if len(reads) == 1 {
			one = s.part(t, name)
		}
		switch {
		case one.screen == noScreen || all.screen != noScreen && all.screen != one.screen:
			return reader{}, 0
		case all.screen == noScreen:
			all = one
		default:
			all.passes &= one.passes
			all.lo, all.hi = max(all.lo, one.lo), min(all.hi, one.hi)
		}
		of++
	}
	return all, of
}

// part is the screen of a part that reads one name only.
func (s *screener) part(t *rulebase.Term, name int) reader {
	words := len(s.base.Names[name].Words)
	switch {
	case comparesReading(t):
		return rangeOf(t)
	case readsNumber(t) || words > 31:
		return reader{}
	}
	r := reader{screen: byTable}
	for word := range words + 1 {
		for known, rank := range []rulebase.Rank{rulebase.FromDefault, rulebase.FromPerson} {
			s.slots[name] = rulebase.Slot{Word: int32(word), Number: math.NaN(), Rank: rank}
			if rulebase.EvalTerm(t, s.slots) == rulebase.True {
				r.passes |= 1 << (2*word + known)
			}
		}
	}
	s.slots[name] = unknown
	return r
}

func readsNumber(t *rulebase.Term) bool {
	return t.Op == rulebase.OpReading || slices.ContainsFunc(t.Args, readsNumber)
}

// comparesReading says whether a term is a reading against a constant.
func comparesReading(t *rulebase.Term) bool {
	switch t.Op {
	case rulebase.OpEqual, rulebase.OpLess, rulebase.OpLessEqual, rulebase.OpGreater, rulebase.OpGreaterEqual:
		return t.Args[0].Op == rulebase.OpReading && t.Args[1].Op == rulebase.OpConstant
	}
	return false
}

// rangeOf is where a reading's comparison with a constant is true. It ends at the
// largest numbers there are: what is infinite is not known.
func rangeOf(t *rulebase.Term) reader {
	c := t.Args[1].Number
	r := reader{screen: byRange, lo: -math.MaxFloat64, hi: math.MaxFloat64}
	switch t.Op {
	case rulebase.OpLess:
		r.hi = math.Nextafter(c, math.Inf(-1))
	case rulebase.OpLessEqual:
		r.hi = c
	case rulebase.OpGreater:
		r.lo = math.Nextafter(c, math.Inf(1))
	case rulebase.OpGreaterEqual:
		r.lo = c
	case rulebase.OpEqual:
		r.lo, r.hi = c, c
	}
	return r
}
