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
