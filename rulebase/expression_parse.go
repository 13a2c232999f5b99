//go:build !js

package rulebase

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/conf"
	"github.com/expr-lang/expr/parser"
	"github.com/expr-lang/expr/parser/lexer"

	"downdrop/rulebase/source"
)

// Limits on one expression, checked before expr's parser sees it: a text of two
// megabytes of brackets would overflow its stack, which nothing can catch.
const (
	mostExpressionBytes = 4 << 10
	mostExpressionDepth = 100
)

// The one configuration of expr's parser: its own default copies a table of functions,
// which every start would wait for. (Neither the parser nor the lexer can be kept as well:
// used a second time, the lexer of v1.17.8 goes on where the first text ended.)
var parserConfig = &conf.Config{}

// ParseExpression reads an expression. pos is the place of the text's first
// character in its file. Where problems come back the expression is nil.
func ParseExpression(text string, pos Position, scope *Scope) (*Expression, []Problem) {
	p := &expressionParser{text: text, pos: pos, scope: scope, runes: []rune(text)}
	root := p.parse()
	if len(p.problems) > 0 {
		return nil, p.problems
	}
	e := &Expression{Text: text, Pos: pos, Root: root}
	e.compile()
	return e, nil
}

type expressionParser struct {
	text     string
	pos      Position
	scope    *Scope
	problems []Problem
	runes    []rune // of text: places in it count runes
	tokens   []lexer.Token
}

// problem keeps what is wrong with some runes of the text. In a text of several
// lines it stands at the start of its line.
func (p *expressionParser) problem(at, width int, kind, meant, format string, args ...any) {
	pos := p.pos
	if lines := strings.Count(string(p.runes[:min(at, len(p.runes))]), "\n"); lines > 0 {
		pos.Line += lines
	} else if pos.Line > 0 {
		pos.Column += at
	}
	p.problems = append(p.problems, Problem{Position: pos, Kind: kind, Meant: meant, Says: fmt.Sprintf(format, args...), Width: max(1, width)})
}

func (p *expressionParser) parse() *Term {
	switch {
	case len(p.text) > mostExpressionBytes:
		p.problem(0, 1, "expression-too-long", "", "the expression is longer than %d bytes; split it into conditions", mostExpressionBytes)
		return nil
	case strings.TrimSpace(p.text) == "":
		p.problem(0, 1, "expression", "", "an expression is missing here")
		return nil
	}
	if !p.lex() || !p.vet() {
		return nil
	}
	tree, err := parser.ParseWithConfig(p.text, parserConfig)
	if err != nil {
		p.parseError(err)
		return nil
	}
	p.wholeNumbers(tree.Node)
	if p.scope.Number {
		return p.number(tree.Node)
	}
	return p.truth(tree.Node)
}

func at(n ast.Node) int { return n.Location().From }

func widthOf(n ast.Node) int { return max(1, n.Location().To-n.Location().From) }

// truth reads a node that gives a truth value.
func (p *expressionParser) truth(n ast.Node) *Term {
	switch n := n.(type) {
	case *ast.BoolNode:
		if n.Value {
			return &Term{Op: OpTrue, Column: at(n) + 1, GivensOnly: true}
		}
		return &Term{Op: OpFalse, Column: at(n) + 1, GivensOnly: true}
	case *ast.IdentifierNode:
		return p.readFlag(n)
	case *ast.UnaryNode:
		if n.Operator == "not" || n.Operator == "!" {
			return p.not(n)
		}
	case *ast.BinaryNode:
		switch {
		case n.Operator == "and" || n.Operator == "or" || n.Operator == "&&" || n.Operator == "||":
			return p.join(n)
		case slices.Contains(comparisons, n.Operator):
			return p.comparison(n)
		}
	case *ast.CallNode, *ast.BuiltinNode:
		if name, args := call(n); name == "known" {
			return p.known(n, args)
		}
	}
	return p.unsuited(n, "a condition is wanted here, true or false")
}

func (p *expressionParser) unsuited(n ast.Node, wanted string) *Term {
	says := wanted
	name, _ := call(n)
	switch n.(type) {
	case *ast.MemberNode, *ast.SliceNode:
		says = "brackets cannot follow a name; a list stands behind in"
	case *ast.NilNode:
		says = "nil is not allowed; what is not known is not known(x)"
	case *ast.CallNode, *ast.BuiltinNode:
		if name != "known" && name != "min" && name != "max" && name != "abs" {
			says = fmt.Sprintf("%s() is not known here; the functions are known, min, max and abs", name)
		}
	}
	p.problem(at(n), widthOf(n), "expression", "", "%s", says)
	return nil
}

func call(n ast.Node) (string, []ast.Node) {
	switch n := n.(type) {
	case *ast.CallNode:
		if id, ok := n.Callee.(*ast.IdentifierNode); ok {
			return id.Value, n.Arguments
		}
		return "this", n.Arguments
	case *ast.BuiltinNode:
		return n.Name, n.Arguments
	}
	return "", nil
}

func (p *expressionParser) not(n *ast.UnaryNode) *Term {
	a := p.truth(n.Node)
	if a == nil {
		return nil
	}
	switch a.Op { // a not in [...] is what the author wrote
	case OpIn:
		a.Op = OpNotIn
		return a
	case OpInNumbers:
		a.Op = OpNotInNumbers
		return a
	}
	return &Term{Op: OpNot, Args: []*Term{a}, Column: at(n) + 1, GivensOnly: a.GivensOnly}
}

func (p *expressionParser) join(n *ast.BinaryNode) *Term {
	op := OpOr
	if n.Operator == "and" || n.Operator == "&&" {
		op = OpAnd
	}
	a, b := p.truth(n.Left), p.truth(n.Right)
	if a == nil || b == nil {
		return nil
	}
	t := &Term{Op: op, Column: at(n) + 1, GivensOnly: a.GivensOnly && b.GivensOnly}
	for _, x := range []*Term{a, b} {
		// A part that the givens decide alone stays one term, so that it is evaluated as one.
		if x.Op == op && (t.GivensOnly || !x.GivensOnly) {
			t.Args = append(t.Args, x.Args...)
		} else {
			t.Args = append(t.Args, x)
		}
	}
	return t
}

// name finds what an identifier stands for; -1 with a problem said, or silently
// where quiet.
func (p *expressionParser) name(n *ast.IdentifierNode, quiet bool) int {
	i, ok := p.scope.ByID[n.Value]
	if kind := p.scope.Kinds[n.Value]; !ok && kind != KindNone {
		if !quiet {
			p.problem(at(n), widthOf(n), "not-readable-here", "", "%s is a %s; %s reads only %s", n.Value, kindWords[kind], p.scope.Where, p.allowed())
		}
		return -1
	}
	if !ok {
		if !quiet {
			p.problem(at(n), widthOf(n), "unknown-name", source.NearestOf(n.Value, p.readable), "%s is not known: no section declares it and no rule sets it", n.Value)
		}
		return -1
	}
	if !slices.Contains(p.scope.Allow, p.scope.Names[i].Kind) {
		if !quiet {
			p.problem(at(n), widthOf(n), "not-readable-here", "", "%s is a %s; %s reads only %s", n.Value, kindWords[p.scope.Names[i].Kind], p.scope.Where, p.allowed())
		}
		return -1
	}
	return i
}

func (p *expressionParser) allowed() string {
	words := make([]string, len(p.scope.Allow))
	for i, k := range p.scope.Allow {
		words[i] = kindWords[k] + "s"
	}
	if len(words) == 1 {
		return words[0]
	}
	return strings.Join(words[:len(words)-1], ", ") + " and " + words[len(words)-1]
}

// readable goes through the names that may be read here.
func (p *expressionParser) readable(yield func(id string) bool) {
	for i := range p.scope.Names {
		if n := &p.scope.Names[i]; slices.Contains(p.scope.Allow, n.Kind) && !yield(n.ID) {
			return
		}
	}
}

func (p *expressionParser) givensOnly(name int) bool {
	k := p.scope.Names[name].Kind
	return k != KindCause && k != KindCondition
}

func (p *expressionParser) readFlag(n *ast.IdentifierNode) *Term {
	i := p.name(n, false)
	if i < 0 {
		return nil
	}
	if name := p.scope.Names[i]; name.Type != Flag {
		example := name.ID + " > 0"
		if len(name.Words) > 0 {
			example = name.ID + " == " + name.Words[0]
		}
		p.problem(at(n), widthOf(n), "type", "", "%s is not true or false by itself; compare it, as in %s", n.Value, example)
		return nil
	}
	return &Term{Op: OpRead, Name: i, Column: at(n) + 1, GivensOnly: p.givensOnly(i)}
}

func (p *expressionParser) known(n ast.Node, args []ast.Node) *Term {
	if len(args) == 1 {
		if id, ok := args[0].(*ast.IdentifierNode); ok {
			i := p.name(id, false)
			if i < 0 {
				return nil
			}
			if !p.givensOnly(i) {
				p.problem(at(id), widthOf(id), "type", "", "known() asks what is known of a given, a symptom or a fact; %s is a %s", id.Value, kindWords[p.scope.Names[i].Kind])
				return nil
			}
			return &Term{Op: OpKnown, Name: i, Column: at(n) + 1, GivensOnly: true}
		}
	}
	return p.unsuited(n, "known() takes one name, as in known(length)")
}

// comparison reads == != < <= > >= and in.
func (p *expressionParser) comparison(n *ast.BinaryNode) *Term {
	if u, ok := leftmost(n.Left).(*ast.UnaryNode); ok && u.Operator == "not" && p.wordAt(at(u)) == "not" && !p.inBrackets(at(u), at(n)) {
		p.problem(at(u), 3, "not-before-comparison", p.turnedRound(at(u), n), "not stands before a comparison and would only hold for its left side; turn the comparison round")
		return nil
	}
	if n.Operator == "in" {
		return p.in(n)
	}
	if p.unreadable(n) {
		return nil
	}
	if n.Operator == "==" || n.Operator == "!=" {
		if t, done := p.equality(n); done {
			return t
		}
	}
	a, b := p.number(n.Left), p.number(n.Right)
	if a == nil || b == nil {
		return nil
	}
	return &Term{Op: numberComparisons[n.Operator], Args: []*Term{a, b}, Column: at(n) + 1, GivensOnly: a.GivensOnly && b.GivensOnly}
}

var numberComparisons = map[string]Op{"==": OpEqual, "!=": OpNotEqual, "<": OpLess, "<=": OpLessEqual, ">": OpGreater, ">=": OpGreaterEqual}

// leftmost is what a side of a comparison begins with. (The not of a not in [...]
// has the place of its in.)
func leftmost(n ast.Node) ast.Node {
	for {
		b, ok := n.(*ast.BinaryNode)
		if !ok || arithmetic[b.Operator] == 0 {
			return n
		}
		n = b.Left
	}
}

// unreadable says of a comparison which of its sides are names that cannot be
// read. A word that may be a value of the other side is not called unknown beside it.
func (p *expressionParser) unreadable(n *ast.BinaryNode) bool {
	l, leftID := n.Left.(*ast.IdentifierNode)
	r, rightID := n.Right.(*ast.IdentifierNode)
	leftBad := leftID && p.name(l, true) < 0
	rightBad := rightID && p.name(r, true) < 0
	equality := n.Operator == "==" || n.Operator == "!="
	near := func(n *ast.IdentifierNode) bool {
		return p.isName(n) || source.NearestOf(n.Value, p.readable) != ""
	}
	switch {
	case leftBad && rightBad && equality && near(l) != near(r):
		leftBad, rightBad = near(l), near(r)
	case leftBad && rightBad && equality && !near(l):
		rightBad = false
	case equality && leftBad && p.worded(n.Right) >= 0:
		leftBad = p.isName(l)
	case equality && rightBad && p.worded(n.Left) >= 0:
		rightBad = p.isName(r)
	}
	if leftBad {
		p.name(l, false)
	}
	if rightBad {
		p.name(r, false)
	}
	return leftBad || rightBad
}

// isName says that a word is an id of the rulebase, readable here or not.
func (p *expressionParser) isName(n *ast.IdentifierNode) bool {
	_, ok := p.scope.ByID[n.Value]
	return ok
}

// worded is a name of words (choice, banded symptom, flag) on one side, -1 where there is none.
func (p *expressionParser) worded(n ast.Node) int {
	if id, ok := n.(*ast.IdentifierNode); ok {
		if i := p.name(id, true); i >= 0 && p.scope.Names[i].Type != Number {
			return i
		}
	}
	return -1
}

// equality reads == and != where a side is a word or a flag. done is false where
// both sides are numbers.
func (p *expressionParser) equality(n *ast.BinaryNode) (t *Term, done bool) {
	l, r := p.worded(n.Left), p.worded(n.Right)
	negative := n.Operator == "!="
	switch {
	case l >= 0 && r >= 0:
		return p.twoNames(n, l, r, negative), true
	case r >= 0 && (l < 0):
		return p.against(n, r, n.Left, negative)
	case l >= 0:
		return p.against(n, l, n.Right, negative)
	}
	if p.truthy(n.Left) || p.truthy(n.Right) {
		a, b := p.truth(n.Left), p.truth(n.Right)
		return p.sameFlag(n, a, b, negative), true
	}
	for _, side := range []ast.Node{n.Left, n.Right} {
		if text, ok := side.(*ast.StringNode); ok {
			p.problem(at(side), widthOf(side), "type", "", "%q is a word, and no name of words stands on the other side", text.Value)
			return nil, true
		}
	}
	return nil, false
}

// truthy says that a node can only be a truth value.
func (p *expressionParser) truthy(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.BoolNode:
		return true
	case *ast.UnaryNode:
		return n.Operator == "not"
	case *ast.BinaryNode:
		return n.Operator == "and" || n.Operator == "or" || slices.Contains(comparisons, n.Operator)
	case *ast.CallNode, *ast.BuiltinNode:
		name, _ := call(n)
		return name == "known"
	}
	return false
}

func (p *expressionParser) sameFlag(n ast.Node, a, b *Term, negative bool) *Term {
	if a == nil || b == nil {
		return nil
	}
	if !a.GivensOnly || !b.GivensOnly {
		p.problem(at(n), widthOf(n), "type", "", "causes and conditions are joined by and, or and not only")
		return nil
	}
	op := OpSameFlag
	if negative {
		op = OpOtherFlag
	}
	return &Term{Op: op, Args: []*Term{a, b}, Column: at(n) + 1, GivensOnly: true}
}

func (p *expressionParser) twoNames(n *ast.BinaryNode, l, r int, negative bool) *Term {
	a, b := p.scope.Names[l], p.scope.Names[r]
	if a.Type == Flag && b.Type == Flag {
		return p.sameFlag(n, p.truth(n.Left), p.truth(n.Right), negative)
	}
	for _, side := range []struct {
		of Name
		n  ast.Node
	}{{a, n.Right}, {b, n.Left}} {
		if id := side.n.(*ast.IdentifierNode); slices.Contains(side.of.Words, id.Value) {
			p.notAValue(side.of, id)
			return nil
		}
	}
	if a.Type == Banded && b.Type == Banded || a.Type == Flag || b.Type == Flag {
		p.problem(at(n), widthOf(n), "type", "", "%s and %s cannot be compared by %s", a.ID, b.ID, n.Operator)
		return nil
	}
	if !slices.ContainsFunc(a.Words, func(w string) bool { return slices.Contains(b.Words, w) }) {
		p.problem(at(n), widthOf(n), "type", "", "%s and %s have no value in common", a.ID, b.ID)
		return nil
	}
	op := OpSameWord
	if negative {
		op = OpOtherWord
	}
	return &Term{Op: op, Name: l, Other: r, Words: translation(a.Words, b.Words), Column: at(n) + 1, GivensOnly: true}
}

// translation gives, for each word of a, its number among b's words (from 1), 0 where b lacks it.
func translation(a, b []string) []int32 {
	t := make([]int32, len(a))
	for i, w := range a {
		t[i] = int32(slices.Index(b, w) + 1)
	}
	return t
}

// against compares a name of words with a literal, or with something else.
func (p *expressionParser) against(n *ast.BinaryNode, name int, other ast.Node, negative bool) (*Term, bool) {
	as := p.scope.Names[name]
	if as.Type == Flag {
		b, ok := other.(*ast.BoolNode)
		if !ok && p.truthy(other) {
			return p.sameFlag(n, p.truth(n.Left), p.truth(n.Right), negative), true
		}
		if !ok {
			word, _ := p.word(other)
			p.problem(at(other), widthOf(other), "type", map[string]string{"yes": "true", "no": "false"}[strings.ToLower(word)], "%s is true or false; compare it with one of these", as.ID)
			return nil, true
		}
		if !p.givensOnly(name) {
			p.problem(at(n), widthOf(n), "type", "", "causes and conditions are joined by and, or and not only; write %s or not %s", as.ID, as.ID)
			return nil, true
		}
		t := &Term{Op: OpIs, Name: name, Words: []int32{1}, Column: at(n) + 1, GivensOnly: true}
		if b.Value {
			t.Words[0] = 2
		}
		if negative {
			t.Op = OpIsNot
		}
		return t, true
	}
	word, ok := p.word(other)
	if !ok {
		p.notAValue(as, other)
		return nil, true
	}
	w, ok := p.value(name, word, other)
	if !ok {
		return nil, true
	}
	op := OpIs
	if negative {
		op = OpIsNot
	}
	return &Term{Op: op, Name: name, Words: []int32{w}, Column: at(n) + 1, GivensOnly: p.givensOnly(name)}, true
}

// notAValue says what is wrong with the other side of a name of words.
func (p *expressionParser) notAValue(as Name, other ast.Node) {
	text := string(p.runes[at(other):max(at(other), min(other.Location().To, len(p.runes)))])
	id, isID := other.(*ast.IdentifierNode)
	switch {
	case slices.Contains(as.Words, text) && isID:
		p.problem(at(other), widthOf(other), "type", "'"+id.Value+"'", "%s is a value of %s but also an id of its own; put the value in quotes", id.Value, as.ID)
	case slices.Contains(as.Words, text):
		p.problem(at(other), widthOf(other), "type", "'"+text+"'", "the value %s of %s has to stand in quotes here", text, as.ID)
	case as.Type == Banded:
		p.problem(at(other), widthOf(other), "type", "", "for == and in, %s is its band (%s); compare its reading by < <= > >=", as.ID, strings.Join(as.Words, ", "))
	default:
		p.problem(at(other), widthOf(other), "type", "", "%s is compared with one of its values: %s", as.ID, strings.Join(as.Words, ", "))
	}
}

// word is a literal word: a text in quotes, or an unquoted word that is no id.
func (p *expressionParser) word(n ast.Node) (string, bool) {
	switch n := n.(type) {
	case *ast.StringNode:
		return n.Value, true
	case *ast.IdentifierNode:
		_, isID := p.scope.ByID[n.Value]
		return n.Value, !isID
	}
	return "", false
}

func (p *expressionParser) value(name int, word string, n ast.Node) (int32, bool) {
	as := p.scope.Names[name]
	w := int32(slices.Index(as.Words, word) + 1)
	if w == 0 {
		p.problem(at(n), widthOf(n), "unknown-value", source.Nearest(word, as.Words), "%s is not a value of %s (%s)", word, as.ID, strings.Join(as.Words, ", "))
	}
	return w, w > 0
}

func (p *expressionParser) in(n *ast.BinaryNode) *Term {
	list, ok := n.Right.(*ast.ArrayNode)
	if !ok || len(list.Nodes) == 0 {
		p.problem(at(n.Right), widthOf(n.Right), "expression", "", "in takes a list of values, as in line in [token_pair, tia485_polled]")
		return nil
	}
	if name := p.worded(n.Left); name >= 0 && p.scope.Names[name].Type != Flag {
		return p.inWords(n, name, list)
	}
	if p.worded(n.Left) >= 0 {
		p.problem(at(n.Left), widthOf(n.Left), "type", "", "%s is true or false; it needs no list", n.Left.(*ast.IdentifierNode).Value)
		return nil
	}
	a := p.number(n.Left)
	if a == nil {
		return nil
	}
	t := &Term{Op: OpInNumbers, Args: []*Term{a}, Column: at(n) + 1}
	for _, item := range list.Nodes {
		x, ok := literal(item)
		if !ok {
			p.problem(at(item), widthOf(item), "type", "", "a number is wanted in this list")
			continue
		}
		t.Numbers = append(t.Numbers, x)
	}
	t.GivensOnly = a.GivensOnly
	return t
}

func (p *expressionParser) inWords(n *ast.BinaryNode, name int, list *ast.ArrayNode) *Term {
	t := &Term{Op: OpIn, Name: name, Column: at(n) + 1, GivensOnly: p.givensOnly(name)}
	for _, item := range list.Nodes {
		word, ok := p.word(item)
		if !ok {
			p.notAValue(p.scope.Names[name], item)
			continue
		}
		if w, ok := p.value(name, word, item); ok {
			t.Words = append(t.Words, w)
		}
	}
	return t
}

// literal is a number as written, with its sign.
func literal(n ast.Node) (float64, bool) {
	switch n := n.(type) {
	case *ast.IntegerNode:
		return float64(n.Value), true
	case *ast.FloatNode:
		return n.Value, !math.IsInf(n.Value, 0)
	case *ast.UnaryNode:
		x, ok := literal(n.Node)
		if n.Operator == "-" {
			x = -x
		}
		return x, ok && (n.Operator == "-" || n.Operator == "+")
	}
	return 0, false
}

var arithmetic = map[string]Op{"+": OpAdd, "-": OpSubtract, "*": OpMultiply, "/": OpDivide}

// number reads a node that gives a number.
func (p *expressionParser) number(n ast.Node) *Term {
	if x, ok := literal(n); ok {
		return &Term{Op: OpConstant, Number: x, Column: at(n) + 1, GivensOnly: true}
	}
	switch n := n.(type) {
	case *ast.IdentifierNode:
		i := p.name(n, false)
		if i < 0 {
			return nil
		}
		if name := p.scope.Names[i]; name.Type != Number && name.Type != Banded {
			p.problem(at(n), widthOf(n), "type", "", "%s is not a number", n.Value)
			return nil
		}
		return &Term{Op: OpReading, Name: i, Column: at(n) + 1, GivensOnly: p.givensOnly(i)}
	case *ast.UnaryNode:
		a := p.number(n.Node)
		if a == nil || n.Operator == "+" {
			return a
		}
		if n.Operator == "-" {
			return &Term{Op: OpNegate, Args: []*Term{a}, Column: at(n) + 1, GivensOnly: a.GivensOnly}
		}
	case *ast.BinaryNode:
		if op, ok := arithmetic[n.Operator]; ok {
			a, b := p.number(n.Left), p.number(n.Right)
			if op == OpDivide && b != nil && b.Op == OpConstant && b.Number == 0 {
				p.problem(at(n.Right), widthOf(n.Right), "type", "", "nothing can be divided by 0")
				return nil
			}
			if a == nil || b == nil {
				return nil
			}
			return &Term{Op: op, Args: []*Term{a, b}, Column: at(n) + 1, GivensOnly: a.GivensOnly && b.GivensOnly}
		}
	case *ast.CallNode, *ast.BuiltinNode:
		return p.function(n)
	}
	return p.unsuited(n, "a number is wanted here")
}

var functionOps = map[string]Op{"min": OpMin, "max": OpMax, "abs": OpAbs}

func (p *expressionParser) function(n ast.Node) *Term {
	name, args := call(n)
	op, ok := functionOps[name]
	switch {
	case name == "known":
		return p.unsuited(n, "a number is wanted here; known() is true or false")
	case !ok || len(args) == 0 || op == OpAbs && len(args) != 1:
		return p.unsuited(n, "min and max take one number or more, abs takes one")
	}
	t := &Term{Op: op, Column: at(n) + 1, GivensOnly: true}
	for _, arg := range args {
		a := p.number(arg)
		if a == nil {
			return nil
		}
		t.Args = append(t.Args, a)
		t.GivensOnly = t.GivensOnly && a.GivensOnly
	}
	return t
}
