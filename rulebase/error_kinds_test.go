package rulebase_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strconv"
	"strings"
	"testing"

	"downdrop/rulebase"
)

// Each kind of error that reading can find is said to mean something, and no other.
func TestErrorKindsAreTheReaders(t *testing.T) {
	found := map[string]bool{}
	for _, pattern := range []string{"*.go", "source/*.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") || name == "error_kinds.go" || name == "shipped_compiled.go" {
				continue
			}
			file, err := parser.ParseFile(token.NewFileSet(), name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
					if text, err := strconv.Unquote(lit.Value); err == nil {
						found[text] = true
					}
				}
				if call, ok := n.(*ast.CallExpr); ok && len(call.Args) > 1 {
					s, isField := call.Fun.(*ast.SelectorExpr)
					lit, isText := call.Args[1].(*ast.BasicLit)
					if isField && s.Sel.Name == "Problem" && isText {
						if kind, _ := strconv.Unquote(lit.Value); rulebase.ErrorKinds[kind] == "" {
							t.Errorf("%s: the kind %s means nothing in ErrorKinds", name, kind)
						}
					}
				}
				return true
			})
		}
	}
	for kind, says := range rulebase.ErrorKinds {
		if !found[kind] {
			t.Errorf("nothing finds the kind %s", kind)
		}
		if !strings.HasSuffix(says, ".") {
			t.Errorf("%s: %q is no sentence", kind, says)
		}
	}
}
