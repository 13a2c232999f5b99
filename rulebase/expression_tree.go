//go:build !js

package rulebase

import "strconv"

// A node is a part of an expression as it is written, before it is known what its names
// stand for. Its place is that of its sign, or of its first rune where it has none.
type node interface{ place() token }

type (
	nameNode   struct{ token }
	nilNode    struct{ token }
	textNode   struct{ token }
	truthNode  struct{ token }
	numberNode struct {
		token
		value float64
		whole bool
	}
	signNode struct { // not, - and + before what they belong to
		token
		of node
	}
	pairNode struct { // two sides of an operator
		token
		left, right node
	}
	callNode struct {
		token
		args []node
	}
	listNode struct {
		token
		items []node
	}
)

func (t token) place() token { return t }

// How strongly operators bind, as in expr-lang's grammar: 0 is none.
const (
	notBinds  = 50
	signBinds = 90
)

func binds(operator string) int {
	switch operator {
	case "or":
		return 10
	case "and":
		return 15
	case "==", "!=", "<", "<=", ">", ">=", "in":
		return 20
	case "+", "-":
		return 30
	case "*", "/":
		return 60
	}
	return 0
}

// tree reads all tokens as one expression, by precedence climbing (T. Norvell, Parsing
// Expressions by Recursive Descent, 1999): nil where they are none, with a problem said.
// What it may meet was vetted: no other signs, brackets in pairs, not too deep.
func (p *expressionParser) tree() node {
	n := p.operand(0)
	if n != nil && p.token().kind != tokenEnd {
		return p.unexpected()
	}
	return n
}

func (p *expressionParser) token() token { return p.tokens[p.next] }

// unexpected says that the token at hand cannot stand there.
func (p *expressionParser) unexpected() node {
	if t := p.token(); t.kind == tokenEnd {
		p.problem(t.from, 1, "expression", "", "the expression ends too early; something is missing behind this")
	} else {
		p.problem(t.from, 1, "expression", "", "%s is not expected here", t.text)
	}
	return nil
}

// operand reads an operand and all operators behind it that bind at least so strongly.
func (p *expressionParser) operand(least int) node {
	left := p.primary()
	for left != nil {
		t := p.token()
		negated := t.is(tokenSign, "not")
		if negated {
			if t = p.tokens[p.next+1]; !t.is(tokenSign, "in") {
				p.next++
				return p.unexpected()
			}
		}
		strength := binds(t.text)
		if t.kind != tokenSign || strength == 0 || strength < least {
			return left
		}
		if p.next++; negated {
			p.next++
		}
		right := p.operand(strength + 1)
		if right == nil {
			return nil
		}
		left = &pairNode{t, left, right}
		if negated {
			left = &signNode{token{tokenSign, t.from, t.to, "not"}, left}
		}
	}
	return nil
}

func (p *expressionParser) primary() node {
	t := p.token()
	switch {
	case t.kind == tokenSign && (t.text == "not" || t.text == "-" || t.text == "+"):
		p.next++
		strength := signBinds
		if t.text == "not" {
			strength = notBinds
		}
		if of := p.operand(strength); of != nil {
			return &signNode{t, of}
		}
		return nil
	case t.is(tokenBraces, "("):
		p.next++
		n := p.operand(0)
		if n != nil && !p.token().is(tokenBraces, ")") {
			return p.unexpected()
		}
		p.next++
		return n
	case t.is(tokenBraces, "["):
		p.next++
		if items, ok := p.list("]"); ok {
			return &listNode{t, items}
		}
		return nil
	case t.kind == tokenName:
		p.next++
		if t.text == "true" || t.text == "false" {
			return &truthNode{t}
		}
		if t.text == "nil" {
			return &nilNode{t}
		}
		if !p.token().is(tokenBraces, "(") {
			return &nameNode{t}
		}
		p.next++
		if args, ok := p.list(")"); ok {
			return &callNode{t, args}
		}
		return nil
	case t.kind == tokenText:
		p.next++
		return &textNode{t}
	case t.kind == tokenNumber:
		p.next++
		value, _ := strconv.ParseFloat(t.text, 64) // vetted
		return &numberNode{t, value, wholeText(t.text)}
	}
	return p.unexpected()
}

// list reads parts up to a closing bracket, with commas between them; one behind the
// last may stand.
func (p *expressionParser) list(end string) (parts []node, ok bool) {
	for !p.token().is(tokenBraces, end) {
		if len(parts) > 0 {
			if !p.token().is(tokenSign, ",") {
				p.unexpected()
				return nil, false
			}
			if p.next++; p.token().is(tokenBraces, end) {
				break
			}
		}
		part := p.operand(0)
		if part == nil {
			return nil, false
		}
		parts = append(parts, part)
	}
	p.next++
	return parts, true
}
