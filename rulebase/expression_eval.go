package rulebase

import (
	"math"
	"slices"
)

// EvalTerm evaluates a truth-valued term by walking the tree: what is done once
// per session, and the slow peer of the compiled closures.
func EvalTerm(t *Term, slots []Slot) Truth {
	switch t.Op {
	case OpTrue:
		return True
	case OpFalse:
		return False
	case OpRead:
		return flagOf(slots[t.Name].Word)
	case OpNot:
		return 2 - EvalTerm(t.Args[0], slots)
	case OpAnd:
		r := True
		for _, a := range t.Args {
			r = min(r, EvalTerm(a, slots))
		}
		return r
	case OpOr:
		r := False
		for _, a := range t.Args {
			r = max(r, EvalTerm(a, slots))
		}
		return r
	case OpKnown:
		return truthOf(slots[t.Name].Rank > FromDefault)
	case OpIs, OpIn:
		return oneOf(slots[t.Name].Word, t.Words)
	case OpIsNot, OpNotIn:
		return 2 - oneOf(slots[t.Name].Word, t.Words)
	case OpSameWord:
		return sameWord(t, slots)
	case OpOtherWord:
		return 2 - sameWord(t, slots)
	case OpSameFlag, OpOtherFlag:
		a, b := EvalTerm(t.Args[0], slots), EvalTerm(t.Args[1], slots)
		if a == Unknown || b == Unknown {
			return Unknown
		}
		return truthOf((a == b) == (t.Op == OpSameFlag))
	case OpInNumbers, OpNotInNumbers:
		x := TermValue(t.Args[0], slots)
		if !finite(x) {
			return Unknown
		}
		return truthOf(slices.Contains(t.Numbers, x) == (t.Op == OpInNumbers))
	}
	return compare(t.Op, TermValue(t.Args[0], slots), TermValue(t.Args[1], slots))
}

func truthOf(b bool) Truth {
	if b {
		return True
	}
	return False
}

// flagOf turns a flag's word (0 unknown, 1 false, 2 true) into a truth value.
func flagOf(word int32) Truth {
	switch word {
	case 1:
		return False
	case 2:
		return True
	}
	return Unknown
}

func oneOf(word int32, words []int32) Truth {
	if word == 0 {
		return Unknown
	}
	return truthOf(slices.Contains(words, word))
}

func sameWord(t *Term, slots []Slot) Truth {
	a, b := slots[t.Name].Word, slots[t.Other].Word
	if a == 0 || b == 0 {
		return Unknown
	}
	return truthOf(t.Words[a-1] == b)
}

// finite is false for NaN and the infinities: what is not a number is not known.
func finite(x float64) bool { return x-x == 0 }

func compare(op Op, a, b float64) Truth {
	if !finite(a) || !finite(b) {
		return Unknown
	}
	switch op {
	case OpEqual:
		return truthOf(a == b)
	case OpNotEqual:
		return truthOf(a != b)
	case OpLess:
		return truthOf(a < b)
	case OpLessEqual:
		return truthOf(a <= b)
	case OpGreater:
		return truthOf(a > b)
	}
	return truthOf(a >= b)
}

// TermValue evaluates a number-valued term by walking the tree; NaN where it is
// not known or not finite.
func TermValue(t *Term, slots []Slot) float64 {
	x := math.NaN()
	switch t.Op {
	case OpConstant:
		x = t.Number
	case OpReading:
		x = slots[t.Name].Number
	case OpNegate:
		x = -TermValue(t.Args[0], slots)
	case OpAbs:
		x = math.Abs(TermValue(t.Args[0], slots))
	case OpMin, OpMax:
		x = extreme(t, slots)
	default:
		x = calculate(t.Op, TermValue(t.Args[0], slots), TermValue(t.Args[1], slots))
	}
	if !finite(x) {
		return math.NaN()
	}
	return x
}

func calculate(op Op, a, b float64) float64 {
	switch op {
	case OpAdd:
		return a + b
	case OpSubtract:
		return a - b
	case OpMultiply:
		return a * b
	}
	return a / b
}

func extreme(t *Term, slots []Slot) float64 {
	x := TermValue(t.Args[0], slots)
	for _, a := range t.Args[1:] {
		if t.Op == OpMin {
			x = min(x, TermValue(a, slots))
		} else {
			x = max(x, TermValue(a, slots))
		}
	}
	return x
}

// compileTruth makes a closure for a term. The common shapes (a slot against a
// constant, two or three terms joined) have closures of their own, so that a
// condition costs a few nanoseconds and no allocation.
func compileTruth(t *Term) func([]Slot) Truth {
	switch t.Op {
	case OpNot:
		f := compileTruth(t.Args[0])
		return func(s []Slot) Truth { return 2 - f(s) }
	case OpAnd, OpOr:
		return compileJoin(t)
	case OpRead:
		name := t.Name
		return func(s []Slot) Truth { return flagOf(s[name].Word) }
	case OpKnown:
		name := t.Name
		return func(s []Slot) Truth { return truthOf(s[name].Rank > FromDefault) }
	case OpIs:
		name, word := t.Name, t.Words[0]
		return func(s []Slot) Truth {
			switch s[name].Word {
			case word:
				return True
			case 0:
				return Unknown
			}
			return False
		}
	case OpIn, OpIsNot, OpNotIn:
		return compileWords(t)
	case OpInNumbers, OpNotInNumbers:
		return compileNumbers(t)
	case OpEqual, OpNotEqual, OpLess, OpLessEqual, OpGreater, OpGreaterEqual:
		return compileComparison(t)
	}
	return func(s []Slot) Truth { return EvalTerm(t, s) }
}

func compileWords(t *Term) func([]Slot) Truth {
	name, words := t.Name, t.Words
	positive := t.Op == OpIn
	return func(s []Slot) Truth {
		w := s[name].Word
		if w == 0 {
			return Unknown
		}
		for _, x := range words {
			if x == w {
				return truthOf(positive)
			}
		}
		return truthOf(!positive)
	}
}

func compileNumbers(t *Term) func([]Slot) Truth {
	f, numbers, positive := compileNumber(t.Args[0]), t.Numbers, t.Op == OpInNumbers
	return func(s []Slot) Truth {
		x := f(s)
		if !finite(x) {
			return Unknown
		}
		for _, n := range numbers {
			if n == x {
				return truthOf(positive)
			}
		}
		return truthOf(!positive)
	}
}

func compileJoin(t *Term) func([]Slot) Truth {
	fs := make([]func([]Slot) Truth, len(t.Args))
	for i, a := range t.Args {
		fs[i] = compileTruth(a)
	}
	// stop is what decides the join whatever else holds.
	stop := False
	if t.Op == OpOr {
		stop = True
	}
	switch len(fs) {
	case 2:
		a, b := fs[0], fs[1]
		if t.Op == OpAnd {
			return func(s []Slot) Truth {
				if x := a(s); x != False {
					return min(x, b(s))
				}
				return False
			}
		}
		return func(s []Slot) Truth {
			if x := a(s); x != True {
				return max(x, b(s))
			}
			return True
		}
	case 3:
		a, b, c := fs[0], fs[1], fs[2]
		if t.Op == OpAnd {
			return func(s []Slot) Truth {
				x := a(s)
				if x == False {
					return False
				}
				if x = min(x, b(s)); x == False {
					return False
				}
				return min(x, c(s))
			}
		}
	}
	return func(s []Slot) Truth {
		x := fs[0](s)
		for _, f := range fs[1:] {
			if x == stop {
				return x
			}
			if y := f(s); y == stop || y == Unknown {
				x = y
			}
		}
		return x
	}
}

func compileComparison(t *Term) func([]Slot) Truth {
	if t.Args[0].Op == OpReading && t.Args[1].Op == OpConstant {
		if f := compileAgainst(t.Op, t.Args[0].Name, t.Args[1].Number); f != nil {
			return f
		}
	}
	a, b, op := compileNumber(t.Args[0]), compileNumber(t.Args[1]), t.Op
	return func(s []Slot) Truth { return compare(op, a(s), b(s)) }
}

// compileAgainst is a reading against a constant.
func compileAgainst(op Op, name int, c float64) func([]Slot) Truth {
	switch op {
	case OpLess:
		return func(s []Slot) Truth {
			if x := s[name].Number; finite(x) {
				return truthOf(x < c)
			}
			return Unknown
		}
	case OpLessEqual:
		return func(s []Slot) Truth {
			if x := s[name].Number; finite(x) {
				return truthOf(x <= c)
			}
			return Unknown
		}
	case OpGreater:
		return func(s []Slot) Truth {
			if x := s[name].Number; finite(x) {
				return truthOf(x > c)
			}
			return Unknown
		}
	case OpGreaterEqual:
		return func(s []Slot) Truth {
			if x := s[name].Number; finite(x) {
				return truthOf(x >= c)
			}
			return Unknown
		}
	}
	return nil
}

func compileNumber(t *Term) func([]Slot) float64 {
	switch t.Op {
	case OpConstant:
		x := t.Number
		return func([]Slot) float64 { return x }
	case OpReading:
		name := t.Name
		return func(s []Slot) float64 { return s[name].Number }
	case OpAdd, OpSubtract, OpMultiply, OpDivide:
		a, b, op := compileNumber(t.Args[0]), compileNumber(t.Args[1]), t.Op
		return func(s []Slot) float64 {
			x := calculate(op, a(s), b(s))
			if !finite(x) {
				return math.NaN()
			}
			return x
		}
	}
	return func(s []Slot) float64 { return TermValue(t, s) }
}
