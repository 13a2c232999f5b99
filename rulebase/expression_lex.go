//go:build !js

package rulebase

import (
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A tokenKind is what a token is by its look.
type tokenKind uint8

const (
	tokenEnd tokenKind = iota
	tokenName
	tokenNumber
	tokenText   // in quotes
	tokenBytes  // in quotes with a b before them: only refused
	tokenSign   // an operator, be it a sign or a word
	tokenBraces // a bracket of any kind
)

// A token is a piece of an expression: its runes, and its text, of quotes what stands in them.
type token struct {
	kind     tokenKind
	from, to int
	text     string
}

func (t token) is(kind tokenKind, text string) bool { return t.kind == kind && t.text == text }

// lex divides the text into tokens: those of expr-lang's grammar, also where they are
// refused afterwards, so that a sign from there is named as a whole.
func (p *expressionParser) lex() bool {
	p.tokens = make([]token, 0, 16)
	l := lexer{text: p.text, runes: p.runes}
	for l.space(); l.at < len(l.runes); l.space() {
		t, says := l.token()
		if says != "" {
			p.lexError(l, says)
			return false
		}
		p.tokens = append(p.tokens, t)
	}
	p.tokens = append(p.tokens, token{kind: tokenEnd, from: max(0, len(p.runes)-1), to: len(p.runes)})
	return true
}

// What a lexer says of text that is no token.
const (
	lexBadNumber = "number"
	lexBadRune   = "rune"
	lexBadEscape = "escape"
	lexNotClosed = "not closed"
)

func (p *expressionParser) lexError(l lexer, says string) {
	word := string(p.runes[l.start:l.at])
	switch says {
	case lexBadNumber:
		p.problem(l.start, l.at-l.start, "number", "", "%s is not a number as written here; a number has no unit and no prefix here: it is in the unit of what it is compared with", word)
	case lexBadRune:
		p.problem(l.start, 1, "expression", "", "%s cannot stand in an expression", strconv.Quote(word))
	case lexBadEscape:
		p.problem(l.at-1, 1, "expression", "", "what stands behind \\ in quotes is not known here")
	default:
		p.problem(max(0, len(p.runes)-1), 1, "expression", "", "a quote is not closed")
	}
}

type lexer struct {
	text      string
	runes     []rune // of the text
	start, at int    // of the token, and how far it is read
}

// peek is the rune at hand, -1 at the end.
func (l *lexer) peek() rune {
	if l.at < len(l.runes) {
		return l.runes[l.at]
	}
	return -1
}

// accept takes one rune if it is among some.
func (l *lexer) accept(some string) bool {
	if r := l.peek(); r < 0 || !strings.ContainsRune(some, r) {
		return false
	}
	l.at++
	return true
}

func (l *lexer) while(is func(rune) bool) {
	for l.at < len(l.runes) && is(l.runes[l.at]) {
		l.at++
	}
}

// space passes over blanks and comments.
func (l *lexer) space() {
	for {
		l.while(unicode.IsSpace)
		switch rest := l.runes[l.at:]; {
		case begins(rest, '/', '/'):
			l.while(func(r rune) bool { return r != '\n' })
		case begins(rest, '/', '*'):
			for l.at += 2; l.at < len(l.runes) && !begins(l.runes[l.at:], '*', '/'); l.at++ {
			}
			l.at = min(l.at+2, len(l.runes))
		default:
			return
		}
	}
}

func begins(runes []rune, a, b rune) bool { return len(runes) > 1 && runes[0] == a && runes[1] == b }

func partOfName(r rune) bool {
	return r == '_' || r == '$' || unicode.IsLetter(r) || unicode.IsDigit(r)
}

func (l *lexer) as(kind tokenKind) token {
	t := token{kind: kind, from: l.start, to: l.at}
	if len(l.text) == len(l.runes) { // plain ASCII, as nearly always
		t.text = l.text[l.start:l.at]
	} else {
		t.text = string(l.runes[l.start:l.at])
	}
	return t
}

// token reads the token at hand; says tells what is wrong where there is none.
func (l *lexer) token() (t token, says string) {
	l.start = l.at
	r := l.runes[l.at]
	l.at++
	switch {
	case r == '\'' || r == '"':
		return l.quoted(r)
	case r == '`':
		return l.raw()
	case (r == 'b' || r == 'B') && (l.peek() == '\'' || l.peek() == '"'):
		l.at++
		_, says := l.quoted(l.runes[l.at-1])
		return l.as(tokenBytes), says
	case '0' <= r && r <= '9':
		l.at--
		return l.number()
	case r == '.' && '0' <= l.peek() && l.peek() <= '9':
		return l.number()
	case strings.ContainsRune("()[]{}", r):
		return l.as(tokenBraces), ""
	case strings.ContainsRune(",;%+-^/", r):
		return l.as(tokenSign), ""
	case strings.ContainsRune("&!=*<>", r):
		l.accept("&=*")
		return l.as(tokenSign), ""
	case strings.ContainsRune("|:#.", r):
		l.accept(string(r))
		return l.as(tokenSign), ""
	case r == '?':
		l.accept(".?")
		return l.as(tokenSign), ""
	case partOfName(r):
		l.while(partOfName)
		return l.word(), ""
	}
	return t, lexBadRune
}

// word is a name, or an operator that is a word.
func (l *lexer) word() token {
	t := l.as(tokenName)
	switch t.text {
	case "not", "in", "or", "and", "matches", "contains", "startsWith", "endsWith", "let", "if", "else":
		t.kind = tokenSign
	}
	return t
}

func (l *lexer) number() (token, string) {
	digits := "0123456789_"
	if l.accept("0") {
		switch {
		case l.accept("xX"):
			digits = "0123456789abcdefABCDEF_"
		case l.accept("oO"):
			digits = "01234567_"
		case l.accept("bB"):
			digits = "01_"
		}
	}
	run := func() {
		for l.accept(digits) {
		}
	}
	run()
	if l.peek() == '.' && !begins(l.runes[l.at:], '.', '.') { // .. is a sign of its own
		l.at++
		run()
	}
	if l.accept("eE") {
		l.accept("+-")
		run()
	}
	if partOfName(l.peek()) {
		l.at++
		return token{}, lexBadNumber
	}
	return l.as(tokenNumber), ""
}

// quoted reads a text up to its closing quote; escapes are those of Go.
func (l *lexer) quoted(quote rune) (token, string) {
	var b strings.Builder
	for l.peek() != quote {
		r := l.peek()
		switch {
		case r < 0 || r == '\n':
			return token{}, lexNotClosed
		case r != '\\':
			b.WriteRune(r)
			l.at++
			continue
		}
		rest := string(l.runes[l.at:min(len(l.runes), l.at+10)]) // \U and eight digits
		r, multi, tail, err := strconv.UnquoteChar(rest, byte(quote))
		if err != nil {
			l.at = min(l.at+2, len(l.runes))
			return token{}, lexBadEscape
		}
		if multi || r < utf8.RuneSelf {
			b.WriteRune(r)
		} else {
			b.WriteByte(byte(r))
		}
		l.at += utf8.RuneCountInString(rest) - utf8.RuneCountInString(tail)
	}
	l.at++
	return token{kind: tokenText, from: l.start, to: l.at, text: b.String()}, ""
}

// raw reads a text between backquotes; two of them stand for one.
func (l *lexer) raw() (token, string) {
	for begin := l.at; ; l.at++ {
		switch {
		case l.at >= len(l.runes):
			return token{}, lexNotClosed
		case begins(l.runes[l.at:], '`', '`'):
			l.at++
		case l.runes[l.at] == '`':
			text := strings.ReplaceAll(string(l.runes[begin:l.at]), "``", "`")
			l.at++
			return token{kind: tokenText, from: l.start, to: l.at, text: text}, ""
		}
	}
}
