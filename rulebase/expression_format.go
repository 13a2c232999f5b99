package rulebase

import (
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// How tightly a term holds together, as in expr's grammar.
const (
	bindsOr = iota
	bindsAnd
	bindsNot
	bindsComparison
	bindsSum
	bindsProduct
	bindsSign
	bindsWord
)

var joints = map[Op]string{OpAnd: " and ", OpOr: " or ", OpEqual: " == ", OpNotEqual: " != ", OpLess: " < ", OpLessEqual: " <= ",
	OpGreater: " > ", OpGreaterEqual: " >= ", OpSameFlag: " == ", OpOtherFlag: " != ", OpSameWord: " == ", OpOtherWord: " != ",
	OpIs: " == ", OpIsNot: " != ", OpIn: " in ", OpNotIn: " not in ", OpInNumbers: " in ", OpNotInNumbers: " not in ",
	OpAdd: " + ", OpSubtract: " - ", OpMultiply: " * ", OpDivide: " / "}

var functions = map[Op]string{OpMin: "min", OpMax: "max", OpAbs: "abs"}

// Format prints the expression in the words of the rulebase; names is
// Base.Names. What it prints reads back to the same meaning.
func (e *Expression) Format(names []Name) string { return e.Root.Format(names) }

// Format prints a term in the words of the rulebase.
func (t *Term) Format(names []Name) string {
	text, _ := t.format(names)
	return text
}

// format prints a term, and says how tightly it holds together.
func (t *Term) format(names []Name) (text string, binds int) {
	switch t.Op {
	case OpTrue:
		return "true", bindsWord
	case OpFalse:
		return "false", bindsWord
	case OpRead, OpReading:
		return names[t.Name].ID, bindsWord
	case OpKnown:
		return "known(" + names[t.Name].ID + ")", bindsWord
	case OpConstant:
		return formatNumber(t.Number), bindsWord
	case OpIs, OpIsNot:
		return names[t.Name].ID + joints[t.Op] + formatWord(names, t.Name, t.Words[0]), bindsComparison
	case OpIn, OpNotIn:
		return names[t.Name].ID + joints[t.Op] + list(t.Words, func(w int32) string { return formatWord(names, t.Name, w) }), bindsComparison
	case OpSameWord, OpOtherWord:
		return names[t.Name].ID + joints[t.Op] + names[t.Other].ID, bindsComparison
	case OpInNumbers, OpNotInNumbers:
		return t.Args[0].within(names, bindsSum) + joints[t.Op] + list(t.Numbers, formatNumber), bindsComparison
	case OpNot:
		return "not " + t.Args[0].within(names, bindsWord), bindsNot
	case OpNegate:
		return "-" + t.Args[0].within(names, bindsWord), bindsSign
	case OpMin, OpMax, OpAbs:
		return functions[t.Op] + "(" + strings.Join(t.parts(names, bindsOr, bindsOr), ", ") + ")", bindsWord
	case OpAnd:
		// Brackets that the grammar does not need, but a reader does: an or inside an and, and the other way round.
		return strings.Join(t.parts(names, bindsNot, bindsNot), joints[t.Op]), bindsAnd
	case OpOr:
		return strings.Join(t.parts(names, bindsNot, bindsNot), joints[t.Op]), bindsOr
	case OpAdd, OpSubtract:
		return strings.Join(t.parts(names, bindsSum, bindsProduct), joints[t.Op]), bindsSum
	case OpMultiply, OpDivide:
		return strings.Join(t.parts(names, bindsProduct, bindsSign), joints[t.Op]), bindsProduct
	case OpSameFlag, OpOtherFlag:
		return strings.Join(t.parts(names, bindsWord, bindsWord), joints[t.Op]), bindsComparison
	}
	return strings.Join(t.parts(names, bindsSum, bindsSum), joints[t.Op]), bindsComparison
}

// parts prints the terms below: the first in brackets unless it binds at least
// so much, the others likewise.
func (t *Term) parts(names []Name, first, others int) []string {
	parts := make([]string, len(t.Args))
	for i, a := range t.Args {
		parts[i] = a.within(names, others)
		if i == 0 {
			parts[i] = a.within(names, first)
		}
	}
	return parts
}

// within prints a term inside another that needs it to bind so much.
func (t *Term) within(names []Name, binds int) string {
	text, has := t.format(names)
	if has < binds || t.Op == OpConstant && t.Number < 0 && binds > bindsSum {
		return "(" + text + ")"
	}
	return text
}

func list[T any](items []T, format func(T) string) string {
	all := make([]string, len(items))
	for i, item := range items {
		all[i] = format(item)
	}
	return "[" + strings.Join(all, ", ") + "]"
}

// formatNumber prints a number as the grammar takes it.
func formatNumber(x float64) string {
	text := strconv.FormatFloat(x, 'f', -1, 64)
	if len(text) > 16 {
		return strconv.FormatFloat(x, 'g', -1, 64)
	}
	return text
}

var plainWord = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]*$`) })

// formatWord prints a value: without quotes where it can stand so.
func formatWord(names []Name, name int, w int32) string {
	if names[name].Type == Flag {
		return []string{"false", "true"}[w-1]
	}
	word := names[name].Words[w-1]
	isID := func(n Name) bool { return n.ID == word }
	if !plainWord().MatchString(word) || slices.Contains(notIDs, word) || slices.ContainsFunc(names, isID) {
		return strconv.Quote(word)
	}
	return word
}

// Missing lists, for an expression that is not true, the parts that keep it from
// that, as they read: those that are wrong, and those that are not known. Where
// any one of several would do, they are one part.
func (e *Expression) Missing(slots []Slot, names []Name) (wrong, unknown []string) {
	var walk func(t *Term, want Truth)
	walk = func(t *Term, want Truth) {
		is := EvalTerm(t, slots)
		switch {
		case is == want:
		case t.Op == OpNot:
			walk(t.Args[0], 2-want)
		case t.Op == OpAnd && want == True || t.Op == OpOr && want == False:
			for _, a := range t.Args {
				walk(a, want)
			}
		default:
			text := t.Format(names)
			if want == False {
				text = "not " + t.within(names, bindsWord)
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

// WhyNot says in a few words why the expression is not true; "" where it is.
func (e *Expression) WhyNot(slots []Slot, names []Name) string {
	wrong, unknown := e.Missing(slots, names)
	var says []string
	if len(wrong) > 0 {
		says = append(says, "not so: "+strings.Join(wrong, "; "))
	}
	if len(unknown) > 0 {
		says = append(says, "not known: "+strings.Join(unknown, "; "))
	}
	return strings.Join(says, ". ")
}
