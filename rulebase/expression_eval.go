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

// finite is false for NaN and the infinities: what is not a number is not known. (x-x == 0
// would be shorter, but where x is a product a processor that fuses, such as arm64, takes it
// from itself unrounded: 0.2 * 120 was not finite there.)
func finite(x float64) bool { return math.Abs(x) <= math.MaxFloat64 }

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
	var x float64
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
	return finiteOrNaN(x)
}

func finiteOrNaN(x float64) float64 {
	if finite(x) {
		return x
	}
	return math.NaN()
}

func calculate(op Op, a, b float64) float64 {
	switch op {
	case OpAdd:
		return a + b
	case OpSubtract:
		return a - b
	case OpMultiply:
		return float64(a * b) // never fused with a sum
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
