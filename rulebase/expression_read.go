package rulebase

import "slices"

// each visits a term and all below it.
func (t *Term) each(visit func(*Term)) {
	visit(t)
	for _, a := range t.Args {
		a.each(visit)
	}
}

// Reads is the names that the expression reads, those under known() included,
// rising and each once.
func (e *Expression) Reads() []int {
	var names []int
	e.Root.each(func(t *Term) {
		switch t.Op {
		case OpRead, OpKnown, OpIs, OpIsNot, OpIn, OpNotIn, OpReading:
			names = append(names, t.Name)
		case OpSameWord, OpOtherWord:
			names = append(names, t.Name, t.Other)
		}
	})
	slices.Sort(names)
	return slices.Compact(names)
}

// A KnownRead is a known(x) in an expression.
type KnownRead struct {
	Name     int
	Negative bool // more known of x can make the expression false
}

// KnownReads is every known(x) with its polarity. Below a comparison of two
// truth values it counts as both.
func (e *Expression) KnownReads() []KnownRead {
	var reads []KnownRead
	var walk func(t *Term, positive, negative bool)
	walk = func(t *Term, positive, negative bool) {
		switch t.Op {
		case OpKnown:
			if positive {
				reads = append(reads, KnownRead{t.Name, false})
			}
			if negative {
				reads = append(reads, KnownRead{t.Name, true})
			}
		case OpNot:
			positive, negative = negative, positive
		case OpSameFlag, OpOtherFlag:
			positive, negative = true, true
		}
		for _, a := range t.Args {
			walk(a, positive, negative)
		}
	}
	walk(e.Root, true, false)
	return reads
}
