//go:build !js

package rulebase

import (
	"errors"
	"math"
	"slices"
	"strconv"
	"strings"
)

// insteadOf are the words for signs that expr-lang also takes, or that people write.
var insteadOf = map[string]string{"&&": "and", "||": "or", "!": "not", "&": "and", "|": "or", "=": "=="}

var comparisons = []string{"==", "!=", "<", "<=", ">", ">=", "in"}

var opposite = map[string]string{"==": "!=", "!=": "==", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}

// A vetting goes over the words and signs before they are parsed.
type vetting struct {
	*expressionParser
	open     []token // brackets not closed yet
	run      int     // signs and nots that stand one behind the other
	compared []bool  // by bracket: a comparison since the last and, or, comma
}

// vet refuses, before they are parsed, words and signs that are not allowed,
// nesting that is too deep, comparisons in a chain, and comments.
func (p *expressionParser) vet() bool {
	v := &vetting{expressionParser: p, compared: []bool{false}}
	last := 0
	for i, t := range p.tokens {
		from, to := t.from, t.to
		if t.kind == tokenEnd {
			from, to = len(p.runes), len(p.runes)
		}
		if gap := string(p.runes[min(last, from):from]); strings.TrimSpace(gap) != "" {
			p.problem(last, from-last, "expression", "", "a comment cannot stand in an expression; write a note beside it")
		}
		last = to
		v.token(i, t)
		if len(v.open)+v.run > mostExpressionDepth {
			p.problem(t.from, t.to-t.from, "expression-too-deep", "", "the expression is nested deeper than %d", mostExpressionDepth)
			return false
		}
	}
	for _, t := range v.open {
		p.problem(t.from, 1, "expression", "", "this bracket is not closed")
	}
	return len(p.problems) == 0
}

func (v *vetting) token(i int, t token) {
	if t.kind == tokenSign && v.before(i) && (t.text == "not" || t.text == "-" || t.text == "+") {
		v.run++
		return
	}
	v.run = 0
	switch t.kind {
	case tokenNumber:
		v.number(t)
	case tokenBytes:
		v.problem(t.from, t.to-t.from, "expression", "", "%s is not allowed here", string(v.runes[t.from:t.to]))
	case tokenBraces:
		v.bracket(i, t)
	case tokenSign:
		v.operator(t)
	}
}

// before says that token i stands before what it belongs to, not between two things.
func (v *vetting) before(i int) bool {
	if i == 0 {
		return true
	}
	last := v.tokens[i-1]
	return last.kind == tokenSign || last.text == "(" || last.text == "["
}

// plainNumber says that a number is written in the one way that is taken here.
func plainNumber(text string) bool {
	whole := strings.TrimLeft(text, "0123456789")
	digits := len(text) - len(whole)
	fraction, isFraction := strings.CutPrefix(whole, ".")
	behind := strings.TrimLeft(fraction, "0123456789")
	exponent := behind
	if behind != "" && strings.ContainsRune("eE", rune(behind[0])) {
		exponent = strings.TrimLeft(strings.TrimPrefix(strings.TrimPrefix(behind[1:], "+"), "-"), "0123456789")
	}
	return digits > 0 && (digits == 1 || text[0] != '0') && (!isFraction || len(behind) < len(fraction)) &&
		exponent == "" && (behind == "" || strings.ContainsAny(behind[len(behind)-1:], "0123456789"))
}

// wholeText says that a number is written without a point and an exponent.
func wholeText(text string) bool { return !strings.ContainsAny(text, ".eE") }

func (v *vetting) number(t token) {
	if !plainNumber(t.text) {
		v.problem(t.from, t.to-t.from, "number", "", "%s is not a number as written here; write digits, without a leading zero, with a decimal point if need be", t.text)
		return
	}
	_, err := strconv.ParseFloat(t.text, 64)
	if wholeText(t.text) {
		whole, wholeErr := strconv.ParseUint(t.text, 10, 64)
		err = errors.Join(err, wholeErr)
		if whole > mostWhole {
			err = strconv.ErrRange
		}
	}
	if err != nil {
		v.problem(t.from, t.to-t.from, "number", "", "%s is too large a number", t.text)
	}
}

func (v *vetting) bracket(i int, t token) {
	switch t.text {
	case "[":
		if !v.before(i) {
			v.problem(t.from, 1, "expression", "", "a bracket like this stands only behind in, around a list of values")
		}
		fallthrough
	case "(":
		v.open = append(v.open, t)
		v.compared = append(v.compared, false)
	case ")", "]":
		if len(v.open) == 0 {
			v.problem(t.from, 1, "expression", "", "this bracket closes none")
			return
		}
		v.open = v.open[:len(v.open)-1]
		v.compared = v.compared[:len(v.compared)-1]
	default:
		v.problem(t.from, 1, "expression", "", "braces are not allowed in an expression")
	}
}

func (v *vetting) operator(t token) {
	last := len(v.compared) - 1
	switch {
	case t.text == "=":
		v.problem(t.from, 1, "expression", "==", "two values are compared by ==, not by =")
	case insteadOf[t.text] != "":
		v.problem(t.from, t.to-t.from, "expression", insteadOf[t.text], "write %s in words, not as %s", insteadOf[t.text], t.text)
	case t.text == "," && len(v.open) == 0:
		v.problem(t.from, 1, "expression", "", "a comma parts the values of a list and of min and max only; a number has a decimal point")
	case t.text == "and" || t.text == "or" || t.text == ",":
		v.compared[last] = false
	case slices.Contains(comparisons, t.text):
		if v.compared[last] {
			v.problem(t.from, t.to-t.from, "chained-comparison", "", "comparisons cannot be chained; write a < b and b < c")
		}
		v.compared[last] = true
	case slices.Contains([]string{"not", "+", "-", "*", "/"}, t.text):
	default:
		v.problem(t.from, t.to-t.from, "expression", "", "%s is not allowed here; an expression has and, or, not, comparisons, in, + - * /, known(x), min, max, abs", t.text)
	}
}

// tokenAt is the place among the tokens of the one that begins at a rune.
func (p *expressionParser) tokenAt(from int) int {
	return slices.IndexFunc(p.tokens, func(t token) bool { return t.from == from })
}

func (p *expressionParser) wordAt(from int) string {
	if i := p.tokenAt(from); i >= 0 {
		return p.tokens[i].text
	}
	return ""
}

// inBrackets says that a bracket opens right before one rune and closes before another.
func (p *expressionParser) inBrackets(from, before int) bool {
	i := p.tokenAt(from)
	if i < 1 || p.tokens[i-1].text != "(" {
		return false
	}
	open := 0
	for _, t := range p.tokens[i-1:] {
		switch {
		case t.kind == tokenBraces && (t.text == "(" || t.text == "["):
			open++
		case t.kind == tokenBraces:
			if open--; open == 0 {
				return t.from < before
			}
		}
	}
	return false
}

// turnedRound is a comparison with not before it, as it was probably meant.
func (p *expressionParser) turnedRound(from int, n *pairNode) string {
	i, odd := p.tokenAt(from), false
	for ; i >= 0 && i < len(p.tokens) && p.tokens[i].text == "not"; i++ {
		odd = !odd
	}
	middle := p.tokenAt(at(n))
	end, open := middle+1, 0
	for ; end < len(p.tokens) && p.tokens[end].kind != tokenEnd; end++ {
		t := p.tokens[end]
		if t.kind == tokenBraces && (t.text == "(" || t.text == "[") {
			open++
		}
		if t.kind == tokenBraces && (t.text == ")" || t.text == "]") {
			open--
		}
		if open < 0 || open == 0 && t.kind == tokenSign && (t.text == "and" || t.text == "or" || t.text == ",") {
			break
		}
	}
	if i < 0 || i >= middle || middle+1 >= end {
		return ""
	}
	text := func(a, b int) string { return string(p.runes[p.tokens[a].from:p.tokens[b-1].to]) }
	operator := n.text
	switch {
	case odd && operator == "in":
		operator = "not in"
	case odd:
		operator = opposite[operator]
	}
	return text(i, middle) + " " + operator + " " + text(middle+1, end)
}

// mostWhole is the largest number to which all whole numbers are held exactly.
const mostWhole = 1 << 53

// wholeNumbers refuses whole numbers whose sums or products a float64 no longer
// holds exactly: expr-lang works them out as 64-bit integers, and the two would differ.
// It gives the largest amount that can be held as an integer here, NaN where
// what it holds is no integer.
func (p *expressionParser) wholeNumbers(n node) float64 {
	most := math.NaN()
	switch n := n.(type) {
	case *numberNode:
		if n.whole {
			most = math.Abs(n.value)
		}
	case *signNode:
		most = p.wholeNumbers(n.of)
	case *pairNode:
		a, b := p.wholeNumbers(n.left), p.wholeNumbers(n.right)
		switch n.text {
		case "+", "-":
			most = a + b
		case "*":
			most = a * b
		}
	case *listNode:
		for _, item := range n.items {
			p.wholeNumbers(item)
		}
	default:
		name, args := call(n)
		for _, arg := range args {
			a := p.wholeNumbers(arg)
			if (name == "min" || name == "max" || name == "abs") && !(most >= a) && !math.IsNaN(a) {
				most = a
			}
		}
	}
	if most > mostWhole {
		p.problem(at(n), widthOf(n), "number", "", "this number grows too large to be exact")
		return math.NaN()
	}
	return most
}
