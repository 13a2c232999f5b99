package engine

import (
	"encoding/binary"
	"math"
	"sync"

	"downdrop/engine/belief"
	"downdrop/engine/chain"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// Prepared is a rulebase made ready for diagnoses. It may be shared by
// goroutines: what it remembers between diagnoses is only what every diagnosis
// with the same givens would compute again.
type Prepared struct {
	base   *rulebase.Base
	rules  *chain.Program
	space  *hypothesis.Space
	atMost int    // largest sets held; below base.FaultsAtMost where more would not fit
	ends   []bool // by cause: its last remedy ends as unit_out

	mu       sync.Mutex
	sessions []*session // the newest first
}

// kept is how many sessions are remembered.
const kept = 4

// Prepare makes a rulebase ready.
func Prepare(base *rulebase.Base) *Prepared {
	p := &Prepared{base: base, rules: chain.Compile(base), atMost: min(base.FaultsAtMost, len(base.Causes))}
	for hypothesis.Count(len(base.Causes), p.atMost) > hypothesis.Most {
		p.atMost--
	}
	p.space = hypothesis.Enumerate(len(base.Causes), p.atMost).Ready()
	p.ends = make([]bool, len(base.Causes))
	for i, c := range base.Causes {
		if n := len(c.Remedies); n > 0 {
			p.ends[i] = base.Remedies[c.Remedies[n-1].Remedy].EndsAs == rulebase.UnitOut
		}
	}
	return p
}

// Base is the rulebase that was prepared.
func (p *Prepared) Base() *rulebase.Base { return p.base }

// A session is the part of a diagnosis that only the givens decide: prior odds,
// conditions settled for all sets, symptoms with their rows. But for
// what is sorted when first asked for, it is never changed once made.
type session struct {
	key      string
	givens   string // what was known of the givens when it was last asked for: see givensKey
	odds     []float64
	system   *hypothesis.System
	settled  *hypothesis.Settled
	sorting  *belief.Sorting   // how every set shows every symptom; nil where that is too much to keep
	symptoms []*belief.Symptom // nil where a symptom has no shows
}

// session finds or makes the session for what is known. Sub-expressions over
// givens alone are evaluated here, once, and count as false where unknown.
func (p *Prepared) session(slots []rulebase.Slot) *session {
	givens := p.givensKey(slots)
	p.mu.Lock()
	s := p.remembered(func(s *session) bool { return s.givens == givens })
	p.mu.Unlock()
	if s != nil {
		return s
	}
	c := converter{base: p.base, slots: slots}
	odds := c.odds()
	conditions := make([]*hypothesis.Formula, len(p.base.Conditions))
	for i := range conditions {
		conditions[i] = c.formula(p.base.Conditions[i].When)
	}
	symptoms := make([]*belief.Symptom, len(p.base.Symptoms))
	for i := range symptoms {
		symptoms[i] = c.symptom(&p.base.Symptoms[i])
	}
	key := string(c.truths)
	p.mu.Lock()
	defer p.mu.Unlock()
	s = p.remembered(func(s *session) bool { return s.key == key })
	if s == nil {
		s = &session{key: key, odds: odds, system: hypothesis.NewSystem(conditions), symptoms: symptoms}
		s.settled = s.system.Settle(p.space)
		s.sorting = belief.NewSorting(s.settled)
		p.sessions = append([]*session{s}, p.sessions...)
		p.sessions = p.sessions[:min(kept, len(p.sessions))]
	}
	s.givens = givens
	return s
}

// remembered finds a session and makes it the newest; nil: none is. The lock is held.
func (p *Prepared) remembered(is func(*session) bool) *session {
	for i, s := range p.sessions {
		if is(s) {
			copy(p.sessions[1:i+1], p.sessions[:i])
			p.sessions[0] = s
			return s
		}
	}
	return nil
}

// givensKey is all that a session follows from: what is known of each given. Where it
// is the same, no formula has to be made to find out that the session is.
func (p *Prepared) givensKey(slots []rulebase.Slot) string {
	b := make([]byte, 0, 13*len(p.base.Givens))
	for i := range p.base.Givens {
		s := &slots[p.base.Givens[i].Name]
		b = append(b, byte(s.Rank))
		b = binary.LittleEndian.AppendUint32(b, uint32(s.Word))
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(s.Number))
	}
	return string(b)
}

// A converter turns expressions into formulas for one session, and notes every
// truth that the givens decided: the same truths make the same session.
type converter struct {
	base   *rulebase.Base
	slots  []rulebase.Slot
	truths []byte
}

func (c *converter) given(t rulebase.Truth) bool {
	c.truths = append(c.truths, '0'+byte(t))
	return t == rulebase.True
}

func (c *converter) odds() []float64 {
	odds := make([]float64, len(c.base.Causes))
	for i, cause := range c.base.Causes {
		odds[i] = cause.Prior / (1 - cause.Prior)
		for _, l := range cause.MoreLikely {
			if c.given(l.When.Eval(c.slots)) {
				odds[i] *= l.Times
			}
		}
	}
	return odds
}

func (c *converter) formula(e *rulebase.Expression) *hypothesis.Formula {
	if e == nil {
		return hypothesis.Constant(true)
	}
	return c.term(e.Root)
}

func (c *converter) term(t *rulebase.Term) *hypothesis.Formula {
	if t.GivensOnly {
		return hypothesis.Constant(c.given(rulebase.EvalTerm(t, c.slots)))
	}
	args := make([]*hypothesis.Formula, len(t.Args))
	for i, a := range t.Args {
		args[i] = c.term(a)
	}
	switch t.Op {
	case rulebase.OpNot:
		return hypothesis.Not(args[0])
	case rulebase.OpAnd:
		return hypothesis.And(args...)
	case rulebase.OpOr:
		return hypothesis.Or(args...)
	case rulebase.OpRead:
		n := c.base.Names[t.Name]
		if n.Kind == rulebase.KindCause {
			return hypothesis.Cause(n.Index)
		}
		return hypothesis.Condition(n.Index)
	}
	panic("engine: causes and conditions are joined by and, or, not only")
}

func (c *converter) symptom(s *rulebase.Symptom) *belief.Symptom {
	if !s.Weighs {
		return nil
	}
	rows := make([]belief.Row, len(s.Shows))
	for i, r := range s.Shows {
		rows[i] = belief.Row{When: c.formula(r.When), P: r.P}
	}
	if !s.Independent {
		return belief.FirstMatch(len(s.Values), rows)
	}
	for i, v := range s.Values {
		if v == "yes" {
			return belief.Independent(i, rows)
		}
	}
	return belief.Independent(0, rows)
}
