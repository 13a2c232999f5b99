//go:build !js

package rulebase

import (
	"errors"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser/lexer"
)

func (p *expressionParser) lex() bool {
	tokens, err := lexer.Lex(file.NewSource(p.text))
	if err != nil {
		p.parseError(err)
		return false
	}
	p.tokens = tokens
	return true
}

var (
	badNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^bad number syntax: "(.*)"$`) })
	badToken  = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^unexpected token [A-Z][a-z]+\((".*")\)$`) })
	badRune   = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^unrecognized character: U\+[0-9A-F]+(?: '(.+)')?$`) })
)

// parseError puts what expr's parser says into our words.
func (p *expressionParser) parseError(err error) {
	at, says := 0, err.Error()
	if e, ok := err.(*file.Error); ok {
		at, says = e.From, e.Message
	}
	at = min(max(at, 0), len(p.runes))
	word := func(m []string) string {
		if text, err := strconv.Unquote(m[1]); err == nil {
			return text
		}
		return m[1]
	}
	switch {
	case badNumber().MatchString(says):
		number := word(badNumber().FindStringSubmatch(says))
		p.problem(max(0, at+1-len([]rune(number))), len([]rune(number)), "number", "", "%s is not a number as written here; a number has no unit and no prefix here: it is in the unit of what it is compared with", number)
	case badToken().MatchString(says):
		p.problem(at, 1, "expression", "", "%s is not expected here", word(badToken().FindStringSubmatch(says)))
	case strings.HasPrefix(says, "unexpected token EOF") || strings.HasPrefix(says, "unexpected end"):
		p.problem(max(0, len(p.runes)-1), 1, "expression", "", "the expression ends too early; something is missing behind this")
	case badRune().MatchString(says):
		p.problem(at, 1, "expression", "", "%s cannot stand in an expression", strconv.Quote(string(p.runes[at:min(at+1, len(p.runes))])))
	case strings.HasPrefix(says, "literal not terminated"):
		p.problem(max(0, len(p.runes)-1), 1, "expression", "", "a quote is not closed")
	default:
		p.problem(at, 1, "expression", "", "the expression cannot be read here: %s", strings.ReplaceAll(says, "Token ", ""))
	}
}

// insteadOf are the words for signs that expr would also take, or that people write.
var insteadOf = map[string]string{"&&": "and", "||": "or", "!": "not", "&": "and", "|": "or", "=": "=="}

var comparisons = []string{"==", "!=", "<", "<=", ">", ">=", "in"}

var opposite = map[string]string{"==": "!=", "!=": "==", "<": ">=", "<=": ">", ">": "<=", ">=": "<"}

var plainNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(0|[1-9][0-9]*)(\.[0-9]+)?([eE][-+]?[0-9]+)?$`) })

// A vetting goes over the words and signs before expr parses them.
type vetting struct {
	*expressionParser
	open     []lexer.Token // brackets not closed yet
	run      int           // signs and nots that stand one behind the other
	compared []bool        // by bracket: a comparison since the last and, or, comma
}

// vet refuses, before they are parsed, words and signs that are not allowed,
// nesting that is too deep, comparisons in a chain, and comments.
func (p *expressionParser) vet() bool {
	v := &vetting{expressionParser: p, compared: []bool{false}}
	last := 0
	for i, t := range p.tokens {
		from, to := t.From, t.To
		if t.Kind == lexer.EOF {
			from, to = len(p.runes), len(p.runes)
		}
		if gap := string(p.runes[min(last, from):from]); strings.TrimSpace(gap) != "" {
			p.problem(last, from-last, "expression", "", "a comment cannot stand in an expression; write a note beside it")
		}
		last = to
		v.token(i, t)
		if len(v.open)+v.run > mostExpressionDepth {
			p.problem(t.From, t.To-t.From, "expression-too-deep", "", "the expression is nested deeper than %d", mostExpressionDepth)
			return false
		}
	}
	for _, t := range v.open {
		p.problem(t.From, 1, "expression", "", "this bracket is not closed")
	}
	return len(p.problems) == 0
}

func (v *vetting) token(i int, t lexer.Token) {
	if t.Kind == lexer.Operator && v.before(i) && (t.Value == "not" || t.Value == "-" || t.Value == "+") {
		v.run++
		return
	}
	v.run = 0
	switch t.Kind {
	case lexer.Number:
		v.number(t)
	case lexer.Bytes:
		v.problem(t.From, t.To-t.From, "expression", "", "%s is not allowed here", string(v.runes[t.From:t.To]))
	case lexer.Bracket:
		v.bracket(i, t)
	case lexer.Operator:
		v.operator(t)
	}
}

// before says that token i stands before what it belongs to, not between two things.
func (v *vetting) before(i int) bool {
	if i == 0 {
		return true
	}
	last := v.tokens[i-1]
	return last.Kind == lexer.Operator || last.Value == "(" || last.Value == "["
}

func (v *vetting) number(t lexer.Token) {
	if !plainNumber().MatchString(t.Value) {
		v.problem(t.From, t.To-t.From, "number", "", "%s is not a number as written here; write digits, without a leading zero, with a decimal point if need be", t.Value)
		return
	}
	_, err := strconv.ParseFloat(t.Value, 64)
	if !strings.ContainsAny(t.Value, ".eE") {
		whole, wholeErr := strconv.ParseUint(t.Value, 10, 64)
		err = errors.Join(err, wholeErr)
		if whole > mostWhole {
			err = strconv.ErrRange
		}
	}
	if err != nil {
		v.problem(t.From, t.To-t.From, "number", "", "%s is too large a number", t.Value)
	}
}

func (v *vetting) bracket(i int, t lexer.Token) {
	switch t.Value {
	case "[":
		if !v.before(i) {
			v.problem(t.From, 1, "expression", "", "a bracket like this stands only behind in, around a list of values")
		}
		fallthrough
	case "(":
		v.open = append(v.open, t)
		v.compared = append(v.compared, false)
	case ")", "]":
		if len(v.open) == 0 {
			v.problem(t.From, 1, "expression", "", "this bracket closes none")
			return
		}
		v.open = v.open[:len(v.open)-1]
		v.compared = v.compared[:len(v.compared)-1]
	default:
		v.problem(t.From, 1, "expression", "", "braces are not allowed in an expression")
	}
}

func (v *vetting) operator(t lexer.Token) {
	last := len(v.compared) - 1
	switch {
	case t.Value == "=":
		v.problem(t.From, 1, "expression", "==", "two values are compared by ==, not by =")
	case insteadOf[t.Value] != "":
		v.problem(t.From, t.To-t.From, "expression", insteadOf[t.Value], "write %s in words, not as %s", insteadOf[t.Value], t.Value)
	case t.Value == "," && len(v.open) == 0:
		v.problem(t.From, 1, "expression", "", "a comma parts the values of a list and of min and max only; a number has a decimal point")
	case t.Value == "and" || t.Value == "or" || t.Value == ",":
		v.compared[last] = false
	case slices.Contains(comparisons, t.Value):
		if v.compared[last] {
			v.problem(t.From, t.To-t.From, "chained-comparison", "", "comparisons cannot be chained; write a < b and b < c")
		}
		v.compared[last] = true
	case slices.Contains([]string{"not", "+", "-", "*", "/"}, t.Value):
	default:
		v.problem(t.From, t.To-t.From, "expression", "", "%s is not allowed here; an expression has and, or, not, comparisons, in, + - * /, known(x), min, max, abs", t.Value)
	}
}

// tokenAt is the place among the tokens of the one that begins at a rune.
func (p *expressionParser) tokenAt(from int) int {
	return slices.IndexFunc(p.tokens, func(t lexer.Token) bool { return t.From == from })
}

func (p *expressionParser) wordAt(from int) string {
	if i := p.tokenAt(from); i >= 0 {
		return p.tokens[i].Value
	}
	return ""
}

// inBrackets says that a bracket opens right before one rune and closes before another.
func (p *expressionParser) inBrackets(from, before int) bool {
	i := p.tokenAt(from)
	if i < 1 || p.tokens[i-1].Value != "(" {
		return false
	}
	open := 0
	for _, t := range p.tokens[i-1:] {
		switch {
		case t.Kind == lexer.Bracket && (t.Value == "(" || t.Value == "["):
			open++
		case t.Kind == lexer.Bracket:
			if open--; open == 0 {
				return t.From < before
			}
		}
	}
	return false
}

// turnedRound is a comparison with not before it, as it was probably meant.
func (p *expressionParser) turnedRound(from int, n *ast.BinaryNode) string {
	i, odd := p.tokenAt(from), false
	for ; i >= 0 && i < len(p.tokens) && p.tokens[i].Value == "not"; i++ {
		odd = !odd
	}
	middle := p.tokenAt(at(n))
	end, open := middle+1, 0
	for ; end < len(p.tokens) && p.tokens[end].Kind != lexer.EOF; end++ {
		t := p.tokens[end]
		if t.Kind == lexer.Bracket && (t.Value == "(" || t.Value == "[") {
			open++
		}
		if t.Kind == lexer.Bracket && (t.Value == ")" || t.Value == "]") {
			open--
		}
		if open < 0 || open == 0 && t.Kind == lexer.Operator && (t.Value == "and" || t.Value == "or" || t.Value == ",") {
			break
		}
	}
	if i < 0 || i >= middle || middle+1 >= end {
		return ""
	}
	text := func(a, b int) string { return string(p.runes[p.tokens[a].From:p.tokens[b-1].To]) }
	operator := n.Operator
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
// holds exactly: expr works them out as 64-bit integers, and the two would differ.
// It gives the largest amount that expr can hold as an integer here, NaN where
// what it holds is no integer.
func (p *expressionParser) wholeNumbers(n ast.Node) float64 {
	most := math.NaN()
	switch n := n.(type) {
	case *ast.IntegerNode:
		most = math.Abs(float64(n.Value))
	case *ast.UnaryNode:
		most = p.wholeNumbers(n.Node)
	case *ast.BinaryNode:
		a, b := p.wholeNumbers(n.Left), p.wholeNumbers(n.Right)
		switch n.Operator {
		case "+", "-":
			most = a + b
		case "*":
			most = a * b
		}
	case *ast.ArrayNode:
		for _, item := range n.Nodes {
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
