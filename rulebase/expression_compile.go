package rulebase

import (
	"math"
	"slices"
)

// compileTruth makes a closure for a term. The common shapes (a slot against a
// constant, two or three terms joined) have closures of their own, so that a
// condition costs a few nanoseconds and no allocation. What has none is walked as
// a tree.
func compileTruth(t *Term) func([]Slot) Truth {
	switch t.Op {
	case OpNot:
		f := compileTruth(t.Args[0])
		return func(s []Slot) Truth { return 2 - f(s) }
	case OpAnd:
		return compileAnd(compileAll(t.Args))
	case OpOr:
		return compileOr(compileAll(t.Args))
	case OpRead:
		name := t.Name
		return func(s []Slot) Truth { return flagOf(s[name].Word) }
	case OpKnown:
		name := t.Name
		return func(s []Slot) Truth { return truthOf(s[name].Rank > FromDefault) }
	case OpIs, OpIsNot:
		return compileWord(t)
	case OpIn, OpNotIn:
		return compileWords(t)
	case OpInNumbers, OpNotInNumbers:
		return compileNumbers(t)
	case OpEqual, OpNotEqual, OpLess, OpLessEqual, OpGreater, OpGreaterEqual:
		return compileComparison(t)
	}
	return func(s []Slot) Truth { return EvalTerm(t, s) }
}

func compileAll(terms []*Term) []func([]Slot) Truth {
	fs := make([]func([]Slot) Truth, len(terms))
	for i, t := range terms {
		fs[i] = compileTruth(t)
	}
	return fs
}

// compileAnd joins closures: the least of them, and none after one that is false.
func compileAnd(fs []func([]Slot) Truth) func([]Slot) Truth {
	switch len(fs) {
	case 2:
		a, b := fs[0], fs[1]
		return func(s []Slot) Truth {
			if x := a(s); x != False {
				return min(x, b(s))
			}
			return False
		}
	case 3:
		a, b, c := fs[0], fs[1], fs[2]
		return func(s []Slot) Truth {
			x := a(s)
			if x == False {
				return False
			}
			y := b(s)
			if y == False {
				return False
			}
			return min(x, y, c(s))
		}
	}
	return func(s []Slot) Truth {
		x := True
		for _, f := range fs {
			if x = min(x, f(s)); x == False {
				break
			}
		}
		return x
	}
}

// compileOr joins closures: the largest of them, and none after one that is true.
func compileOr(fs []func([]Slot) Truth) func([]Slot) Truth {
	switch len(fs) {
	case 2:
		a, b := fs[0], fs[1]
		return func(s []Slot) Truth {
			if x := a(s); x != True {
				return max(x, b(s))
			}
			return True
		}
	case 3:
		a, b, c := fs[0], fs[1], fs[2]
		return func(s []Slot) Truth {
			x := a(s)
			if x == True {
				return True
			}
			y := b(s)
			if y == True {
				return True
			}
			return max(x, y, c(s))
		}
	}
	return func(s []Slot) Truth {
		x := False
		for _, f := range fs {
			if x = max(x, f(s)); x == True {
				break
			}
		}
		return x
	}
}

func compileWord(t *Term) func([]Slot) Truth {
	name, word := t.Name, t.Words[0]
	yes, no := True, False
	if t.Op == OpIsNot {
		yes, no = False, True
	}
	return func(s []Slot) Truth {
		switch s[name].Word {
		case word:
			return yes
		case 0:
			return Unknown
		}
		return no
	}
}

func compileWords(t *Term) func([]Slot) Truth {
	name, words := t.Name, t.Words
	yes, no := True, False
	if t.Op == OpNotIn {
		yes, no = False, True
	}
	return func(s []Slot) Truth {
		w := s[name].Word
		if w == 0 {
			return Unknown
		}
		for _, x := range words {
			if x == w {
				return yes
			}
		}
		return no
	}
}

func compileNumbers(t *Term) func([]Slot) Truth {
	numbers := t.Numbers
	yes, no := True, False
	if t.Op == OpNotInNumbers {
		yes, no = False, True
	}
	if a := t.Args[0]; a.Op == OpReading {
		name := a.Name
		return func(s []Slot) Truth {
			x := s[name].Number
			if !finite(x) {
				return Unknown
			}
			for _, n := range numbers {
				if n == x {
					return yes
				}
			}
			return no
		}
	}
	f := compileNumber(t.Args[0])
	return func(s []Slot) Truth {
		x := f(s)
		if !finite(x) {
			return Unknown
		}
		if slices.Contains(numbers, x) {
			return yes
		}
		return no
	}
}

var mirrored = map[Op]Op{OpEqual: OpEqual, OpNotEqual: OpNotEqual, OpLess: OpGreater, OpLessEqual: OpGreaterEqual, OpGreater: OpLess, OpGreaterEqual: OpLessEqual}

func compileComparison(t *Term) func([]Slot) Truth {
	a, b := t.Args[0], t.Args[1]
	switch {
	case a.Op == OpReading && b.Op == OpConstant:
		return compileAgainst(t.Op, a.Name, b.Number)
	case a.Op == OpConstant && b.Op == OpReading:
		return compileAgainst(mirrored[t.Op], b.Name, a.Number)
	}
	f, g, op := compileNumber(a), compileNumber(b), t.Op
	return func(s []Slot) Truth { return compare(op, f(s), g(s)) }
}

// compileAgainst is a reading against a constant. NaN fails every comparison, so
// whether the reading is known is only asked where the comparison fails; an
// infinite one, which no file can hold, is not known either.
func compileAgainst(op Op, name int, c float64) func([]Slot) Truth {
	failed := func(x float64) Truth {
		if finite(x) {
			return False
		}
		return Unknown
	}
	switch op {
	case OpLess:
		return func(s []Slot) Truth {
			if x := s[name].Number; x >= -math.MaxFloat64 && x < c {
				return True
			} else {
				return failed(x)
			}
		}
	case OpLessEqual:
		return func(s []Slot) Truth {
			if x := s[name].Number; x >= -math.MaxFloat64 && x <= c {
				return True
			} else {
				return failed(x)
			}
		}
	case OpGreater:
		return func(s []Slot) Truth {
			if x := s[name].Number; x <= math.MaxFloat64 && x > c {
				return True
			} else {
				return failed(x)
			}
		}
	case OpGreaterEqual:
		return func(s []Slot) Truth {
			if x := s[name].Number; x <= math.MaxFloat64 && x >= c {
				return True
			} else {
				return failed(x)
			}
		}
	}
	return func(s []Slot) Truth { return compare(op, s[name].Number, c) }
}

func compileNumber(t *Term) func([]Slot) float64 {
	switch t.Op {
	case OpConstant:
		x := t.Number
		return func([]Slot) float64 { return x }
	case OpReading:
		name := t.Name
		return func(s []Slot) float64 { return finiteOrNaN(s[name].Number) }
	case OpMultiply:
		// A limit such as 0.42 * terminator.
		if a, b := t.Args[0], t.Args[1]; a.Op == OpConstant && b.Op == OpReading {
			c, name := a.Number, b.Name
			return func(s []Slot) float64 { return finiteOrNaN(float64(c * finiteOrNaN(s[name].Number))) }
		}
	}
	if len(t.Args) == 2 && t.Op >= OpAdd && t.Op <= OpDivide {
		a, b, op := compileNumber(t.Args[0]), compileNumber(t.Args[1]), t.Op
		return func(s []Slot) float64 { return finiteOrNaN(calculate(op, a(s), b(s))) }
	}
	return func(s []Slot) float64 { return TermValue(t, s) }
}
