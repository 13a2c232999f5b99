package rulebase

import (
	"slices"
	"strconv"
	"strings"
)

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

// Format prints a term in the words of the rulebase; names gives Base.Names.
func (t *Term) Format(names []Name) string {
	word := func(name int, w int32) string {
		if names[name].Type == Flag {
			return []string{"false", "true"}[w-1]
		}
		return strconv.Quote(names[name].Words[w-1])
	}
	words := func() string {
		all := make([]string, len(t.Words))
		for i, w := range t.Words {
			all[i] = word(t.Name, w)
		}
		return strings.Join(all, ", ")
	}
	switch t.Op {
	case OpTrue:
		return "true"
	case OpFalse:
		return "false"
	case OpRead, OpReading:
		return names[t.Name].ID
	case OpKnown:
		return "known(" + names[t.Name].ID + ")"
	case OpIs:
		return names[t.Name].ID + " == " + words()
	case OpIsNot:
		return names[t.Name].ID + " != " + words()
	case OpIn:
		return names[t.Name].ID + " in [" + words() + "]"
	case OpNotIn:
		return names[t.Name].ID + " not in [" + words() + "]"
	case OpSameWord:
		return names[t.Name].ID + " == " + names[t.Other].ID
	case OpOtherWord:
		return names[t.Name].ID + " != " + names[t.Other].ID
	case OpConstant:
		return strconv.FormatFloat(t.Number, 'g', -1, 64)
	case OpInNumbers, OpNotInNumbers:
		return t.formatNumbers(names)
	}
	return t.formatJoin(names)
}

func (t *Term) formatNumbers(names []Name) string {
	all := make([]string, len(t.Numbers))
	for i, n := range t.Numbers {
		all[i] = strconv.FormatFloat(n, 'g', -1, 64)
	}
	in := " in ["
	if t.Op == OpNotInNumbers {
		in = " not in ["
	}
	return t.Args[0].within(names) + in + strings.Join(all, ", ") + "]"
}

var joints = map[Op]string{OpAnd: " and ", OpOr: " or ", OpEqual: " == ", OpNotEqual: " != ", OpLess: " < ", OpLessEqual: " <= ",
	OpGreater: " > ", OpGreaterEqual: " >= ", OpSameFlag: " == ", OpOtherFlag: " != ", OpAdd: " + ", OpSubtract: " - ", OpMultiply: " * ", OpDivide: " / "}

func (t *Term) formatJoin(names []Name) string {
	parts := make([]string, len(t.Args))
	for i, a := range t.Args {
		parts[i] = a.within(names)
	}
	if j, ok := joints[t.Op]; ok {
		return strings.Join(parts, j)
	}
	switch t.Op {
	case OpNot:
		return "not " + parts[0]
	case OpNegate:
		return "-" + parts[0]
	}
	for i, a := range t.Args {
		parts[i] = a.Format(names)
	}
	return map[Op]string{OpMin: "min", OpMax: "max", OpAbs: "abs"}[t.Op] + "(" + strings.Join(parts, ", ") + ")"
}

// within prints a term inside another: in brackets, unless it is one word or a call.
func (t *Term) within(names []Name) string {
	switch t.Op {
	case OpTrue, OpFalse, OpRead, OpReading, OpKnown, OpMin, OpMax, OpAbs:
		return t.Format(names)
	case OpConstant:
		if t.Number >= 0 {
			return t.Format(names)
		}
	}
	return "(" + t.Format(names) + ")"
}

// Format prints the expression in the words of the rulebase.
func (e *Expression) Format(names []Name) string { return e.Root.Format(names) }

// Missing lists, for an expression that is not true, its parts that are false
// or unknown, as they read.
func (e *Expression) Missing(slots []Slot, names []Name) (wrong, unknown []string) {
	var walk func(t *Term, want Truth)
	walk = func(t *Term, want Truth) {
		is := EvalTerm(t, slots)
		if is == want {
			return
		}
		switch {
		case t.Op == OpNot:
			walk(t.Args[0], 2-want)
		case t.Op == OpAnd || t.Op == OpOr:
			for _, a := range t.Args {
				walk(a, want)
			}
		default:
			text := t.Format(names)
			if want == False {
				text = "not (" + text + ")"
			}
			if is == Unknown {
				unknown = append(unknown, text)
			} else {
				wrong = append(wrong, text)
			}
		}
	}
	walk(e.Root, True)
	return wrong, unknown
}
