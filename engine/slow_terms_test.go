package engine_test

import (
	"math"
	"slices"

	"downdrop/rulebase"
)

// Expressions by walking the tree, and what a set of causes brings about. Nothing
// here calls an evaluation of package rulebase: its closures are one of the
// things the reference is there to check.

// truth is a term's value in Kleene's logic, from what is known of the names.
func (q *reference) truth(t *rulebase.Term) rulebase.Truth {
	slot := func() rulebase.Slot { return q.known[t.Name] }
	switch t.Op {
	case rulebase.OpTrue:
		return rulebase.True
	case rulebase.OpFalse:
		return rulebase.False
	case rulebase.OpNot:
		return 2 - q.truth(t.Args[0])
	case rulebase.OpAnd, rulebase.OpOr:
		return q.joined(t)
	case rulebase.OpKnown:
		return yesIf(slot().Rank > rulebase.FromDefault)
	case rulebase.OpRead:
		return unlessUnknown(slot().Word == 0, slot().Word == 2)
	case rulebase.OpIs:
		return unlessUnknown(slot().Word == 0, slot().Word == t.Words[0])
	case rulebase.OpIsNot:
		return unlessUnknown(slot().Word == 0, slot().Word != t.Words[0])
	case rulebase.OpIn:
		return unlessUnknown(slot().Word == 0, slices.Contains(t.Words, slot().Word))
	case rulebase.OpNotIn:
		return unlessUnknown(slot().Word == 0, !slices.Contains(t.Words, slot().Word))
	case rulebase.OpSameWord, rulebase.OpOtherWord:
		a, b := q.word(t.Name), q.word(t.Other)
		return unlessUnknown(a == "" || b == "", (a == b) == (t.Op == rulebase.OpSameWord))
	case rulebase.OpSameFlag, rulebase.OpOtherFlag:
		a, b := q.truth(t.Args[0]), q.truth(t.Args[1])
		return unlessUnknown(a == rulebase.Unknown || b == rulebase.Unknown, (a == b) == (t.Op == rulebase.OpSameFlag))
	case rulebase.OpInNumbers, rulebase.OpNotInNumbers:
		x := q.number(t.Args[0])
		return unlessUnknown(math.IsNaN(x), slices.Contains(t.Numbers, x) == (t.Op == rulebase.OpInNumbers))
	}
	return q.compared(t.Op, q.number(t.Args[0]), q.number(t.Args[1]))
}

func (q *reference) joined(t *rulebase.Term) rulebase.Truth {
	result := q.truth(t.Args[0])
	for _, a := range t.Args[1:] {
		if t.Op == rulebase.OpAnd {
			result = min(result, q.truth(a))
		} else {
			result = max(result, q.truth(a))
		}
	}
	return result
}

func (q *reference) compared(op rulebase.Op, a, b float64) rulebase.Truth {
	holds := map[rulebase.Op]bool{
		rulebase.OpEqual: a == b, rulebase.OpNotEqual: a != b, rulebase.OpLess: a < b,
		rulebase.OpLessEqual: a <= b, rulebase.OpGreater: a > b, rulebase.OpGreaterEqual: a >= b,
	}
	return unlessUnknown(math.IsNaN(a) || math.IsNaN(b), holds[op])
}

func yesIf(b bool) rulebase.Truth { return unlessUnknown(false, b) }

func unlessUnknown(unknown, value bool) rulebase.Truth {
	switch {
	case unknown:
		return rulebase.Unknown
	case value:
		return rulebase.True
	}
	return rulebase.False
}

// word is the spelling of a name's value, "" where it is not known.
func (q *reference) word(name int) string {
	if w := q.known[name].Word; w > 0 {
		return q.b.Names[name].Words[w-1]
	}
	return ""
}

// number is a term's number, NaN where it is not known. NaN spreads by itself.
func (q *reference) number(t *rulebase.Term) float64 {
	args := make([]float64, len(t.Args))
	for i, a := range t.Args {
		if args[i] = q.number(a); math.IsNaN(args[i]) {
			return math.NaN()
		}
	}
	switch t.Op {
	case rulebase.OpConstant:
		return t.Number
	case rulebase.OpReading:
		return q.known[t.Name].Number
	case rulebase.OpAdd:
		return args[0] + args[1]
	case rulebase.OpSubtract:
		return args[0] - args[1]
	case rulebase.OpMultiply:
		return args[0] * args[1]
	case rulebase.OpDivide:
		return args[0] / args[1]
	case rulebase.OpNegate:
		return -args[0]
	case rulebase.OpMin:
		return slices.Min(args)
	case rulebase.OpMax:
		return slices.Max(args)
	}
	return math.Abs(args[0])
}

// A reading of a name in a term; crossed says that it stands under an odd number
// of negations, or where both senses count.
type readName struct {
	name           int
	crossed, known bool
}

// reads lists the names in a term.
func reads(t *rulebase.Term, crossed bool) (all []readName) {
	switch t.Op {
	case rulebase.OpRead, rulebase.OpIs, rulebase.OpIsNot, rulebase.OpIn, rulebase.OpNotIn, rulebase.OpReading:
		all = append(all, readName{t.Name, crossed, false})
	case rulebase.OpKnown:
		all = append(all, readName{t.Name, crossed, true})
	case rulebase.OpSameWord, rulebase.OpOtherWord:
		all = append(all, readName{t.Name, crossed, false}, readName{t.Other, crossed, false})
	}
	for _, a := range t.Args {
		switch t.Op {
		case rulebase.OpNot:
			all = append(all, reads(a, !crossed)...)
		case rulebase.OpSameFlag, rulebase.OpOtherFlag:
			all = append(all, append(reads(a, true), reads(a, false)...)...)
		default:
			all = append(all, reads(a, crossed)...)
		}
	}
	return all
}

// ---- down, on what is supposed

// A bitset is a set of small numbers, mostly causes: i by 1<<i.
type bitset uint64

func (c bitset) has(i int) bool       { return c>>i&1 == 1 }
func (c bitset) with(i int) bitset    { return c | 1<<i }
func (c bitset) without(i int) bitset { return c &^ (1 << i) }
func (q *reference) members(c bitset) (all []int) {
	for i := range q.b.Causes {
		if c.has(i) {
			all = append(all, i)
		}
	}
	return all
}

func (q *reference) readsCauses(t *rulebase.Term) bool {
	return slices.ContainsFunc(reads(t, false), func(r readName) bool {
		k := q.b.Names[r.name].Kind
		return k == rulebase.KindCause || k == rulebase.KindCondition
	})
}

// supposed is whether a `when` of a condition or row holds. What reads givens
// only is decided in Kleene's logic, as a whole, and unknown counts as false.
func (q *reference) supposed(t *rulebase.Term, c bitset, conditions []bool) bool {
	if !q.readsCauses(t) {
		return q.truth(t) == rulebase.True
	}
	switch t.Op {
	case rulebase.OpRead:
		if n := q.b.Names[t.Name]; n.Kind == rulebase.KindCause {
			return c.has(n.Index)
		}
		return conditions[q.b.Names[t.Name].Index]
	case rulebase.OpNot:
		return !q.supposed(t.Args[0], c, conditions)
	case rulebase.OpAnd:
		for _, a := range t.Args {
			if !q.supposed(a, c, conditions) {
				return false
			}
		}
		return true
	case rulebase.OpOr:
		for _, a := range t.Args {
			if q.supposed(a, c, conditions) {
				return true
			}
		}
		return false
	}
	panic("causes and conditions are joined by and, or, not only")
}

// heights ranks conditions so that what one reads under a negation is lower.
func (q *reference) heights() []int {
	height := make([]int, len(q.b.Conditions))
	for range len(height) + 1 {
		for i := range q.b.Conditions {
			for _, r := range reads(q.b.Conditions[i].When.Root, false) {
				if n := q.b.Names[r.name]; n.Kind == rulebase.KindCondition {
					least := height[n.Index]
					if r.crossed {
						least++
					}
					height[i] = max(height[i], least)
				}
			}
		}
	}
	return height
}

// brings is the least fixpoint of the conditions for a set of causes.
func (q *reference) brings(c bitset) []bool {
	if known, ok := q.brought[c]; ok {
		return known
	}
	holds := make([]bool, len(q.b.Conditions))
	height := q.heights()
	for level := range len(holds) + 1 {
		for changed := true; changed; {
			changed = false
			for i := range holds {
				if height[i] == level && !holds[i] && q.supposed(q.b.Conditions[i].When.Root, c, holds) {
					holds[i], changed = true, true
				}
			}
		}
	}
	q.brought[c] = holds
	return holds
}

// shows is how likely each value of a symptom is for a set of causes.
func (q *reference) shows(symptom int, c bitset) []float64 {
	s := &q.b.Symptoms[symptom]
	holds := func(r rulebase.Row) bool { return r.When == nil || q.supposed(r.When.Root, c, q.brings(c)) }
	p := make([]float64, len(s.Values))
	if s.Independent {
		yes, no := slices.Index(s.Values, "yes"), slices.Index(s.Values, "no")
		p[no] = 1
		for _, r := range s.Shows {
			if holds(r) {
				p[no] *= 1 - r.P[yes]
			}
		}
		p[yes] = 1 - p[no]
		return p
	}
	for _, r := range s.Shows {
		if holds(r) {
			return r.P
		}
	}
	for i := range p {
		p[i] = 1 / float64(len(p))
	}
	return p
}
