//go:build !js

package rulebase

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"downdrop/rulebase/source"
)

// Limits on one expression, checked before it is parsed: a text of two megabytes of
// brackets would overflow the stack, which nothing can catch.
const (
	mostExpressionBytes = 4 << 10
	mostExpressionDepth = 100
)

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
	tokens   []token
	next     int // among them
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
	tree := p.tree()
	if tree == nil {
		return nil
	}
	p.wholeNumbers(tree)
	if p.scope.Number {
		return p.number(tree)
	}
	return p.truth(tree)
}

func at(n node) int { return n.place().from }

func widthOf(n node) int { return max(1, n.place().to-n.place().from) }

// truth reads a node that gives a truth value.
func (p *expressionParser) truth(n node) *Term {
	switch n := n.(type) {
	case *truthNode:
		if n.text == "true" {
			return &Term{Op: OpTrue, Column: at(n) + 1, GivensOnly: true}
		}
		return &Term{Op: OpFalse, Column: at(n) + 1, GivensOnly: true}
	case *nameNode:
		return p.readFlag(n)
	case *signNode:
		if n.text == "not" || n.text == "!" {
			return p.not(n)
		}
	case *pairNode:
		switch {
		case n.text == "and" || n.text == "or" || n.text == "&&" || n.text == "||":
			return p.join(n)
		case slices.Contains(comparisons, n.text):
			return p.comparison(n)
		}
	case *callNode:
		if name, args := call(n); name == "known" {
			return p.known(n, args)
		}
	}
	return p.unsuited(n, "a condition is wanted here, true or false")
}

func (p *expressionParser) unsuited(n node, wanted string) *Term {
	says := wanted
	name, _ := call(n)
	switch n.(type) {
	case *nilNode:
		says = "nil is not allowed; what is not known is not known(x)"
	case *callNode:
		if name != "known" && name != "min" && name != "max" && name != "abs" {
			says = fmt.Sprintf("%s() is not known here; the functions are known, min, max and abs", name)
		}
	}
	p.problem(at(n), widthOf(n), "expression", "", "%s", says)
	return nil
}

func call(n node) (string, []node) {
	if n, ok := n.(*callNode); ok {
		return n.text, n.args
	}
	return "", nil
}

func (p *expressionParser) not(n *signNode) *Term {
	a := p.truth(n.of)
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

func (p *expressionParser) join(n *pairNode) *Term {
	op := OpOr
	if n.text == "and" || n.text == "&&" {
		op = OpAnd
	}
	a, b := p.truth(n.left), p.truth(n.right)
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
func (p *expressionParser) name(n *nameNode, quiet bool) int {
	i, ok := p.scope.ByID[n.text]
	if kind := p.scope.Kinds[n.text]; !ok && kind != KindNone {
		if !quiet {
			p.problem(at(n), widthOf(n), "not-readable-here", "", "%s is a %s; %s reads only %s", n.text, kindWords[kind], p.scope.Where, p.allowed())
		}
		return -1
	}
	if !ok {
		if !quiet {
			p.problem(at(n), widthOf(n), "unknown-name", source.Nearest(n.text, p.readable()), "%s is not known: no section declares it and no rule sets it", n.text)
		}
		return -1
	}
	if !slices.Contains(p.scope.Allow, p.scope.Names[i].Kind) {
		if !quiet {
			p.problem(at(n), widthOf(n), "not-readable-here", "", "%s is a %s; %s reads only %s", n.text, kindWords[p.scope.Names[i].Kind], p.scope.Where, p.allowed())
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

func (p *expressionParser) readable() []string {
	var ids []string
	for _, n := range p.scope.Names {
		if slices.Contains(p.scope.Allow, n.Kind) {
			ids = append(ids, n.ID)
		}
	}
	return ids
}

func (p *expressionParser) givensOnly(name int) bool {
	k := p.scope.Names[name].Kind
	return k != KindCause && k != KindCondition
}

func (p *expressionParser) readFlag(n *nameNode) *Term {
	i := p.name(n, false)
	if i < 0 {
		return nil
	}
	if name := p.scope.Names[i]; name.Type != Flag {
		example := name.ID + " > 0"
		if len(name.Words) > 0 {
			example = name.ID + " == " + name.Words[0]
		}
		p.problem(at(n), widthOf(n), "type", "", "%s is not true or false by itself; compare it, as in %s", n.text, example)
		return nil
	}
	return &Term{Op: OpRead, Name: i, Column: at(n) + 1, GivensOnly: p.givensOnly(i)}
}

func (p *expressionParser) known(n node, args []node) *Term {
	if len(args) == 1 {
		if id, ok := args[0].(*nameNode); ok {
			i := p.name(id, false)
			if i < 0 {
				return nil
			}
			if !p.givensOnly(i) {
				p.problem(at(id), widthOf(id), "type", "", "known() asks what is known of a given, a symptom or a fact; %s is a %s", id.text, kindWords[p.scope.Names[i].Kind])
				return nil
			}
			return &Term{Op: OpKnown, Name: i, Column: at(n) + 1, GivensOnly: true}
		}
	}
	return p.unsuited(n, "known() takes one name, as in known(length)")
}

// comparison reads == != < <= > >= and in.
func (p *expressionParser) comparison(n *pairNode) *Term {
	if u, ok := leftmost(n.left).(*signNode); ok && u.text == "not" && p.wordAt(at(u)) == "not" && !p.inBrackets(at(u), at(n)) {
		p.problem(at(u), 3, "not-before-comparison", p.turnedRound(at(u), n), "not stands before a comparison and would only hold for its left side; turn the comparison round")
		return nil
	}
	if n.text == "in" {
		return p.in(n)
	}
	if p.unreadable(n) {
		return nil
	}
	if n.text == "==" || n.text == "!=" {
		if t, done := p.equality(n); done {
			return t
		}
	}
	a, b := p.number(n.left), p.number(n.right)
	if a == nil || b == nil {
		return nil
	}
	return &Term{Op: numberComparisons[n.text], Args: []*Term{a, b}, Column: at(n) + 1, GivensOnly: a.GivensOnly && b.GivensOnly}
}

var numberComparisons = map[string]Op{"==": OpEqual, "!=": OpNotEqual, "<": OpLess, "<=": OpLessEqual, ">": OpGreater, ">=": OpGreaterEqual}

// leftmost is what a side of a comparison begins with. (The not of a not in [...]
// has the place of its in.)
func leftmost(n node) node {
	for {
		b, ok := n.(*pairNode)
		if !ok || arithmetic[b.text] == 0 {
			return n
		}
		n = b.left
	}
}

// unreadable says of a comparison which of its sides are names that cannot be
// read. A word that may be a value of the other side is not called unknown beside it.
func (p *expressionParser) unreadable(n *pairNode) bool {
	l, leftID := n.left.(*nameNode)
	r, rightID := n.right.(*nameNode)
	leftBad := leftID && p.name(l, true) < 0
	rightBad := rightID && p.name(r, true) < 0
	equality := n.text == "==" || n.text == "!="
	near := func(n *nameNode) bool {
		return p.isName(n) || source.Nearest(n.text, p.readable()) != ""
	}
	switch {
	case leftBad && rightBad && equality && near(l) != near(r):
		leftBad, rightBad = near(l), near(r)
	case leftBad && rightBad && equality && !near(l):
		rightBad = false
	case equality && leftBad && p.worded(n.right) >= 0:
		leftBad = p.isName(l)
	case equality && rightBad && p.worded(n.left) >= 0:
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
func (p *expressionParser) isName(n *nameNode) bool {
	_, ok := p.scope.ByID[n.text]
	return ok
}

// worded is a name of words (choice, banded symptom, flag) on one side, -1 where there is none.
func (p *expressionParser) worded(n node) int {
	if id, ok := n.(*nameNode); ok {
		if i := p.name(id, true); i >= 0 && p.scope.Names[i].Type != Number {
			return i
		}
	}
	return -1
}

// equality reads == and != where a side is a word or a flag. done is false where
// both sides are numbers.
func (p *expressionParser) equality(n *pairNode) (t *Term, done bool) {
	l, r := p.worded(n.left), p.worded(n.right)
	negative := n.text == "!="
	switch {
	case l >= 0 && r >= 0:
		return p.twoNames(n, l, r, negative), true
	case r >= 0 && (l < 0):
		return p.against(n, r, n.left, negative)
	case l >= 0:
		return p.against(n, l, n.right, negative)
	}
	if p.truthy(n.left) || p.truthy(n.right) {
		a, b := p.truth(n.left), p.truth(n.right)
		return p.sameFlag(n, a, b, negative), true
	}
	for _, side := range []node{n.left, n.right} {
		if text, ok := side.(*textNode); ok {
			p.problem(at(side), widthOf(side), "type", "", "%q is a word, and no name of words stands on the other side", text.text)
			return nil, true
		}
	}
	return nil, false
}

// truthy says that a node can only be a truth value.
func (p *expressionParser) truthy(n node) bool {
	switch n := n.(type) {
	case *truthNode:
		return true
	case *signNode:
		return n.text == "not"
	case *pairNode:
		return n.text == "and" || n.text == "or" || slices.Contains(comparisons, n.text)
	case *callNode:
		name, _ := call(n)
		return name == "known"
	}
	return false
}

func (p *expressionParser) sameFlag(n node, a, b *Term, negative bool) *Term {
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

func (p *expressionParser) twoNames(n *pairNode, l, r int, negative bool) *Term {
	a, b := p.scope.Names[l], p.scope.Names[r]
	if a.Type == Flag && b.Type == Flag {
		return p.sameFlag(n, p.truth(n.left), p.truth(n.right), negative)
	}
	for _, side := range []struct {
		of Name
		n  node
	}{{a, n.right}, {b, n.left}} {
		if id := side.n.(*nameNode); slices.Contains(side.of.Words, id.text) {
			p.notAValue(side.of, id)
			return nil
		}
	}
	if a.Type == Banded && b.Type == Banded || a.Type == Flag || b.Type == Flag {
		p.problem(at(n), widthOf(n), "type", "", "%s and %s cannot be compared by %s", a.ID, b.ID, n.text)
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
func (p *expressionParser) against(n *pairNode, name int, other node, negative bool) (*Term, bool) {
	as := p.scope.Names[name]
	if as.Type == Flag {
		b, ok := other.(*truthNode)
		if !ok && p.truthy(other) {
			return p.sameFlag(n, p.truth(n.left), p.truth(n.right), negative), true
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
		if b.text == "true" {
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
func (p *expressionParser) notAValue(as Name, other node) {
	text := string(p.runes[at(other):max(at(other), min(other.place().to, len(p.runes)))])
	id, isID := other.(*nameNode)
	switch {
	case slices.Contains(as.Words, text) && isID:
		p.problem(at(other), widthOf(other), "type", "'"+id.text+"'", "%s is a value of %s but also an id of its own; put the value in quotes", id.text, as.ID)
	case slices.Contains(as.Words, text):
		p.problem(at(other), widthOf(other), "type", "'"+text+"'", "the value %s of %s has to stand in quotes here", text, as.ID)
	case as.Type == Banded:
		p.problem(at(other), widthOf(other), "type", "", "for == and in, %s is its band (%s); compare its reading by < <= > >=", as.ID, strings.Join(as.Words, ", "))
	default:
		p.problem(at(other), widthOf(other), "type", "", "%s is compared with one of its values: %s", as.ID, strings.Join(as.Words, ", "))
	}
}

// word is a literal word: a text in quotes, or an unquoted word that is no id.
func (p *expressionParser) word(n node) (string, bool) {
	switch n := n.(type) {
	case *textNode:
		return n.text, true
	case *nameNode:
		_, isID := p.scope.ByID[n.text]
		return n.text, !isID
	}
	return "", false
}

func (p *expressionParser) value(name int, word string, n node) (int32, bool) {
	as := p.scope.Names[name]
	w := int32(slices.Index(as.Words, word) + 1)
	if w == 0 {
		p.problem(at(n), widthOf(n), "unknown-value", source.Nearest(word, as.Words), "%s is not a value of %s (%s)", word, as.ID, strings.Join(as.Words, ", "))
	}
	return w, w > 0
}

func (p *expressionParser) in(n *pairNode) *Term {
	list, ok := n.right.(*listNode)
	if !ok || len(list.items) == 0 {
		p.problem(at(n.right), widthOf(n.right), "expression", "", "in takes a list of values, as in line in [token_pair, tia485_polled]")
		return nil
	}
	if name := p.worded(n.left); name >= 0 && p.scope.Names[name].Type != Flag {
		return p.inWords(n, name, list)
	}
	if p.worded(n.left) >= 0 {
		p.problem(at(n.left), widthOf(n.left), "type", "", "%s is true or false; it needs no list", n.left.(*nameNode).text)
		return nil
	}
	a := p.number(n.left)
	if a == nil {
		return nil
	}
	t := &Term{Op: OpInNumbers, Args: []*Term{a}, Column: at(n) + 1}
	for _, item := range list.items {
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

func (p *expressionParser) inWords(n *pairNode, name int, list *listNode) *Term {
	t := &Term{Op: OpIn, Name: name, Column: at(n) + 1, GivensOnly: p.givensOnly(name)}
	for _, item := range list.items {
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
func literal(n node) (float64, bool) {
	switch n := n.(type) {
	case *numberNode:
		return n.value, !math.IsInf(n.value, 0)
	case *signNode:
		x, ok := literal(n.of)
		if n.text == "-" {
			x = -x
		}
		return x, ok && (n.text == "-" || n.text == "+")
	}
	return 0, false
}

var arithmetic = map[string]Op{"+": OpAdd, "-": OpSubtract, "*": OpMultiply, "/": OpDivide}

// number reads a node that gives a number.
func (p *expressionParser) number(n node) *Term {
	if x, ok := literal(n); ok {
		return &Term{Op: OpConstant, Number: x, Column: at(n) + 1, GivensOnly: true}
	}
	switch n := n.(type) {
	case *nameNode:
		i := p.name(n, false)
		if i < 0 {
			return nil
		}
		if name := p.scope.Names[i]; name.Type != Number && name.Type != Banded {
			p.problem(at(n), widthOf(n), "type", "", "%s is not a number", n.text)
			return nil
		}
		return &Term{Op: OpReading, Name: i, Column: at(n) + 1, GivensOnly: p.givensOnly(i)}
	case *signNode:
		a := p.number(n.of)
		if a == nil || n.text == "+" {
			return a
		}
		if n.text == "-" {
			return &Term{Op: OpNegate, Args: []*Term{a}, Column: at(n) + 1, GivensOnly: a.GivensOnly}
		}
	case *pairNode:
		if op, ok := arithmetic[n.text]; ok {
			a, b := p.number(n.left), p.number(n.right)
			if op == OpDivide && b != nil && b.Op == OpConstant && b.Number == 0 {
				p.problem(at(n.right), widthOf(n.right), "type", "", "nothing can be divided by 0")
				return nil
			}
			if a == nil || b == nil {
				return nil
			}
			return &Term{Op: op, Args: []*Term{a, b}, Column: at(n) + 1, GivensOnly: a.GivensOnly && b.GivensOnly}
		}
	case *callNode:
		return p.function(n)
	}
	return p.unsuited(n, "a number is wanted here")
}

var functionOps = map[string]Op{"min": OpMin, "max": OpMax, "abs": OpAbs}

func (p *expressionParser) function(n node) *Term {
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
