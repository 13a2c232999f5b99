package downdrop_test

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"downdrop/rulebase"
)

// Case outcomes and unit verdicts are listed in one place, rulebase/rulebase.go. A second list is what
// goes its own way, so nobody else writes their words; `good` and `bad` are too
// plain to tell.
func TestOneListOfOutcomesAndVerdicts(t *testing.T) {
	words := slices.Concat(rulebase.Words(rulebase.Outcomes), rulebase.Words(rulebase.Verdicts))
	words = slices.DeleteFunc(words, func(w string) bool { return w == "good" || w == "bad" })
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && path != "."):
			return fs.SkipDir
		case !strings.HasSuffix(path, ".go"), strings.HasSuffix(path, "_test.go"), path == "rulebase/shipped_compiled.go", path == "rulebase/rulebase.go":
			return nil
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			return err
		}
		var met []string
		ast.Inspect(f, func(n ast.Node) bool {
			if x, ok := n.(*ast.BasicLit); ok && x.Kind == token.STRING {
				if text, err := strconv.Unquote(x.Value); err == nil && slices.Contains(words, text) && !slices.Contains(met, text) {
					met = append(met, text)
				}
			}
			return true
		})
		// These two are names of chances as well.
		if met = slices.DeleteFunc(met, func(w string) bool { return w == "unit_out" || w == "outside" }); len(met) > 0 {
			t.Errorf("%s writes %s itself; take them from rulebase.Outcomes and rulebase.Verdicts", path, strings.Join(met, ", "))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// What is not a number is neither above nor below anything: math.Abs(got-want) > 1e-9 holds for no NaN, and
// the test that asks so passes. Tests ask !(math.Abs(got-want) <= 1e-9).
func TestNotANumberFailsATest(t *testing.T) {
	distance := func(x ast.Expr) bool {
		found := false
		ast.Inspect(x, func(n ast.Node) bool {
			if call, ok := n.(*ast.CallExpr); ok {
				if f, ok := call.Fun.(*ast.SelectorExpr); ok && f.Sel.Name == "Abs" {
					if of, ok := f.X.(*ast.Ident); ok && of.Name == "math" {
						found = true
					}
				}
				return false // what a call makes of it is its own matter
			}
			return true
		})
		return found
	}
	err := filepath.WalkDir(".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		set := token.NewFileSet()
		f, err := parser.ParseFile(set, path, nil, 0)
		if err != nil {
			return err
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if x, ok := n.(*ast.BinaryExpr); ok && (x.Op == token.GTR || x.Op == token.GEQ) && distance(x.X) {
				t.Errorf("%s: no NaN is further away than anything: ask !(math.Abs(x) <= y)", set.Position(x.Pos()))
			}
			return true
		})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}
