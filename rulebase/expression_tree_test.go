package rulebase

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/expr-lang/expr/ast"
	"github.com/expr-lang/expr/file"
	"github.com/expr-lang/expr/parser"
	peer "github.com/expr-lang/expr/parser/lexer"

	"downdrop/testdata/support"
)

// What our grammar takes of a text is what expr-lang's own parser makes of it: of texts
// drawn token by token, most of them wrong, the same are read, with the same parts at the
// same places. (Texts that are refused word by word never come to a parser.)
func TestTreeIsThatOfExprsParser(t *testing.T) {
	vocabulary := strings.Split(`a b bc nil true false 0 1 12 1.5 2e3 10E-2 .5 007 'x' "y" "q\"\n\u00e9" 'é' ´r´ known( min( max( abs( ( ( ) ) ) [ [ ] ] ] , , ,`+
		` not not and and or or == != < <= > >= in in in + - * / not§in = && é µ`, " ")
	read, refused := 0, 0
	for seed := range uint64(support.Deep(t, 60_000)) {
		rng := rand.New(rand.NewPCG(seed, 7))
		var b strings.Builder
		for range 1 + rng.IntN(12) {
			b.WriteString(strings.NewReplacer("´", "`", "§", " ").Replace(vocabulary[rng.IntN(len(vocabulary))]))
			if rng.IntN(8) > 0 {
				b.WriteString([]string{" ", " ", "  ", "\n", " /* c */ "}[max(0, rng.IntN(40)-35)])
			}
		}
		p := &expressionParser{text: b.String(), runes: []rune(b.String()), scope: &Scope{}}
		if !p.lex() || !p.vet() {
			refused++
			continue
		}
		ours, theirs := "", ""
		if n := p.tree(); n != nil {
			ours = shape(n)
		}
		if tree, err := parser.Parse(p.text); err == nil {
			theirs = shapeOfPeer(tree.Node)
		}
		if ours != theirs {
			t.Fatalf("seed %d: %q is to us %q, to expr's parser %q", seed, p.text, ours, theirs)
		}
		if (ours == "") != (len(p.problems) > 0) {
			t.Fatalf("seed %d: %q: %q with problems %v", seed, p.text, ours, p.problems)
		}
		if ours != "" {
			read++
		}
	}
	if read < 200 || refused < 200 {
		t.Errorf("%d were read and %d refused: too few to say anything", read, refused)
	}
}

func shape(n node) string {
	at := n.place().from
	list := func(nodes []node) string {
		var b strings.Builder
		for _, n := range nodes {
			b.WriteString(" " + shape(n))
		}
		return b.String()
	}
	switch n := n.(type) {
	case *numberNode:
		return fmt.Sprintf("%d:%v/%v", at, n.value, n.whole)
	case *signNode:
		return fmt.Sprintf("%d:(%s %s)", at, n.text, shape(n.of))
	case *pairNode:
		return fmt.Sprintf("%d:(%s %s %s)", at, n.text, shape(n.left), shape(n.right))
	case *callNode:
		return fmt.Sprintf("%d:%s(%s)", at, n.text, list(n.args))
	case *listNode:
		return fmt.Sprintf("%d:[%s]", at, list(n.items))
	case *textNode:
		return fmt.Sprintf("%d:%q", at, n.text)
	}
	return fmt.Sprintf("%d:%s", at, n.place().text)
}

func shapeOfPeer(n ast.Node) string {
	at := n.Location().From
	list := func(nodes []ast.Node) string {
		var b strings.Builder
		for _, n := range nodes {
			b.WriteString(" " + shapeOfPeer(n))
		}
		return b.String()
	}
	switch n := n.(type) {
	case *ast.IntegerNode:
		return fmt.Sprintf("%d:%v/true", at, float64(n.Value))
	case *ast.FloatNode:
		return fmt.Sprintf("%d:%v/false", at, n.Value)
	case *ast.UnaryNode:
		return fmt.Sprintf("%d:(%s %s)", at, n.Operator, shapeOfPeer(n.Node))
	case *ast.BinaryNode:
		return fmt.Sprintf("%d:(%s %s %s)", at, n.Operator, shapeOfPeer(n.Left), shapeOfPeer(n.Right))
	case *ast.CallNode:
		return fmt.Sprintf("%d:%s(%s)", at, n.Callee.(*ast.IdentifierNode).Value, list(n.Arguments))
	case *ast.BuiltinNode:
		return fmt.Sprintf("%d:%s(%s)", at, n.Name, list(n.Arguments))
	case *ast.ArrayNode:
		return fmt.Sprintf("%d:[%s]", at, list(n.Nodes))
	case *ast.StringNode:
		return fmt.Sprintf("%d:%q", at, n.Value)
	case *ast.BoolNode:
		return fmt.Sprintf("%d:%v", at, n.Value)
	case *ast.NilNode:
		return fmt.Sprintf("%d:nil", at)
	case *ast.IdentifierNode:
		return fmt.Sprintf("%d:%s", at, n.Value)
	}
	return fmt.Sprintf("%d:%T", at, n)
}

// And the tokens are those of its lexer: kinds, places and texts of texts drawn sign by
// sign. An open comment is told as a comment, where there it is an error of its own.
func TestTokensAreThoseOfExprsLexer(t *testing.T) {
	signs := strings.Split("a|b|é|_|$|not|in|0|1|9|x|X|.|..|e|E|+|-|*|**|/|<|=|==|!|&|&&|'|\"|`|\\|n|u00e9|x41|101|?|?.|:|::|;|,|(|)|[|]|{|}|%|^|~|@|µ|\t| | |\n", "|")
	kinds := map[peer.Kind]tokenKind{peer.Identifier: tokenName, peer.Number: tokenNumber, peer.String: tokenText, peer.Bytes: tokenBytes, peer.Operator: tokenSign, peer.Bracket: tokenBraces, peer.EOF: tokenEnd}
	both, neither := 0, 0
	for seed := range uint64(support.Deep(t, 60_000)) {
		rng := rand.New(rand.NewPCG(seed, 8))
		var b strings.Builder
		for range 1 + rng.IntN(9) {
			b.WriteString(signs[rng.IntN(len(signs))])
		}
		text := b.String()
		if strings.Contains(text, "/*") {
			continue
		}
		p := &expressionParser{text: text, runes: []rune(text), scope: &Scope{}}
		ok := p.lex()
		theirs, err := peer.Lex(file.NewSource(text))
		if ok != (err == nil) {
			t.Fatalf("seed %d: %q: our tokens %v %v, theirs %v", seed, text, p.tokens, p.problems, err)
		}
		if !ok {
			neither++
			continue
		}
		both++
		same := len(theirs) == len(p.tokens)
		for i := 0; same && i < len(theirs); i++ {
			a, b := p.tokens[i], theirs[i]
			same = a.kind == kinds[b.Kind] && (a.kind == tokenEnd || a.from == b.From && a.to == b.To && (a.text == b.Value || a.kind == tokenBytes))
		}
		if !same {
			t.Fatalf("seed %d: %q: our tokens %v, theirs %v", seed, text, p.tokens, theirs)
		}
	}
	if both < 200 || neither < 200 {
		t.Errorf("%d were divided and %d refused: too few to say anything", both, neither)
	}
}
