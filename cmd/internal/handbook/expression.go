package handbook

import (
	"strconv"

	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// expression says a condition in words, each name leading to its entry.
func (b *builder) expression(e *rulebase.Expression) Line {
	if e == nil {
		return nil
	}
	return b.term(e.Root, rulebase.OpTrue)
}

// brackets says whether a term needs brackets inside another: where the grammar
// does, and where only the reader does.
func brackets(t, inside rulebase.Op) bool {
	switch t {
	case rulebase.OpAnd, rulebase.OpOr:
		return inside == rulebase.OpAnd || inside == rulebase.OpOr || inside == rulebase.OpNot || inside == rulebase.OpSameFlag || inside == rulebase.OpOtherFlag
	case rulebase.OpAdd, rulebase.OpSubtract:
		return isSum(inside)
	case rulebase.OpMultiply, rulebase.OpDivide:
		return isSum(inside) && inside != rulebase.OpAdd && inside != rulebase.OpSubtract
	}
	return inside == rulebase.OpNot || inside == rulebase.OpSameFlag || inside == rulebase.OpOtherFlag
}

// term says a term that stands inside another (OpTrue: inside none).
func (b *builder) term(t *rulebase.Term, inside rulebase.Op) Line {
	switch t.Op {
	case rulebase.OpAnd:
		return b.join(t, wordAnd, inside)
	case rulebase.OpOr:
		return b.join(t, wordOr, inside)
	case rulebase.OpNot:
		if a := t.Args[0]; a.Op == rulebase.OpKnown {
			return Line{b.name(a.Name)}.then(wordIsNotKnown)
		}
		return append(say(wordNot), b.term(t.Args[0], t.Op)...)
	case rulebase.OpRead, rulebase.OpReading:
		return Line{b.name(t.Name)}
	case rulebase.OpKnown:
		return Line{b.name(t.Name)}.then(wordIsKnown)
	case rulebase.OpIs:
		return Line{b.name(t.Name)}.then(wordIs + b.word(t.Name, t.Words[0]))
	case rulebase.OpIsNot:
		return Line{b.name(t.Name)}.then(wordIsNot + b.word(t.Name, t.Words[0]))
	case rulebase.OpIn:
		return Line{b.name(t.Name)}.then(wordIs + orList(b.words(t)))
	case rulebase.OpNotIn:
		return Line{b.name(t.Name)}.then(wordIsNeither + norList(b.words(t)))
	case rulebase.OpSameWord:
		return append(Line{b.name(t.Name)}.then(wordIs), b.name(t.Other))
	case rulebase.OpOtherWord:
		return append(Line{b.name(t.Name)}.then(wordIsNot), b.name(t.Other))
	case rulebase.OpInNumbers, rulebase.OpNotInNumbers:
		is := wordIs
		if t.Op == rulebase.OpNotInNumbers {
			is = wordIsNeither
		}
		numbers := make([]string, len(t.Numbers))
		for i, x := range t.Numbers {
			numbers[i] = figure(x)
		}
		list := orList(numbers)
		if t.Op == rulebase.OpNotInNumbers {
			list = norList(numbers)
		}
		return b.term(t.Args[0], t.Op).then(is + list)
	case rulebase.OpConstant:
		return say(figure(t.Number))
	case rulebase.OpNegate:
		return append(say("-"), b.term(t.Args[0], t.Op)...)
	case rulebase.OpMin, rulebase.OpMax, rulebase.OpAbs:
		line := say(functionWords[t.Op])
		for i, a := range t.Args {
			if i > 0 {
				line = line.then(", ")
			}
			line = append(line, b.term(a, t.Op)...)
		}
		return line.then(")")
	}
	if sign, ok := signs[t.Op]; ok {
		return b.join(t, sign, inside)
	}
	return say(t.Format(b.base.Names)) // true and false
}

func isSum(o rulebase.Op) bool {
	return o == rulebase.OpAdd || o == rulebase.OpSubtract || o == rulebase.OpMultiply || o == rulebase.OpDivide || o == rulebase.OpNegate
}

func (b *builder) join(t *rulebase.Term, by string, inside rulebase.Op) Line {
	var line Line
	if brackets(t.Op, inside) {
		line = say("(")
	}
	for i, a := range t.Args {
		if i > 0 {
			line = line.then(by)
		}
		line = append(line, b.term(a, t.Op)...)
	}
	if brackets(t.Op, inside) {
		line = line.then(")")
	}
	return line
}

func (b *builder) name(n int) Span {
	id := b.base.Names[n].ID
	return b.ref(id, wording.Plain(id))
}

// word is a value of a name.
func (b *builder) word(name int, w int32) string {
	if b.base.Names[name].Type == rulebase.Flag {
		return []string{wordFalse, wordTrue}[w-1]
	}
	return wording.Plain(b.base.Names[name].Words[w-1])
}

func (b *builder) words(t *rulebase.Term) []string {
	words := make([]string, len(t.Words))
	for i, w := range t.Words {
		words[i] = b.word(t.Name, w)
	}
	return words
}

// figure prints a number as short as it can be without loss of what a reader needs.
func figure(x float64) string { return strconv.FormatFloat(x, 'g', 6, 64) }
