package main

import (
	"go/ast"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
)

// unscripted are sentences that no script and no test of the command makes it say, each
// for its reason.
var unscripted = map[string]string{
	"sayGoingOver":     "is shown while somebody watches a long list",
	"sayFormChanges":   "guards against a bug of the formatter",
	"sayHandOverEmpty": "a text whose check fits always holds an entry",
	"sayCannotListen":  "needs an address that another program has",
	"sayNeverReceived": "needs a unit that has a record and never came in",
	"sayRefusedLate":   "needs a clock that goes on past an offer's last day; cases/unit_test.go has it",
	"sayNoEcho":        "needs a sheet whose cable has no impedance; engine/sheet tests it",
	"sayNewLeftOut":    "is said between two questions of a conversation",
	"sayDocument":      "is a layout",
	"sayHowToHelp":     "is a layout", "sayUsage": "is a layout", "sayExamples": "is a layout", "sayFlags": "is a layout", "sayCommands": "is a layout",
}

// Every sentence of the command line stands in a script or a test, so that somebody has
// seen it said: three of its words in a row have to be there.
func TestEverySentenceIsSaidInATest(t *testing.T) {
	var said strings.Builder
	for _, pattern := range []string{"testdata/script/*.txtar", "*_test.go"} {
		files, err := filepath.Glob(pattern)
		if err != nil {
			t.Fatal(err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			said.Write(text)
		}
	}
	space := regexp.MustCompile(`\\s\+|\s+`)
	all := strings.ReplaceAll(space.ReplaceAllString(said.String(), " "), `\`, "")
	verb := regexp.MustCompile(`%(\[\d\])?[-+#0-9.*]*[a-zA-Z]`)
	sentences := 0
	ownFiles(t, func(name string, file *ast.File) {
		if filepath.Dir(name) != "cmd/downdrop" {
			return
		}
		ast.Inspect(file, func(n ast.Node) bool {
			spec, ok := n.(*ast.ValueSpec)
			if !ok || !strings.HasPrefix(spec.Names[0].Name, "say") || len(spec.Values) != 1 {
				return true
			}
			lit, ok := spec.Values[0].(*ast.BasicLit)
			if !ok {
				return true
			}
			text, err := strconv.Unquote(lit.Value)
			if err != nil {
				t.Fatal(err)
			}
			sentences++
			heard := false
			for _, part := range verb.Split(text, -1) {
				words := strings.Fields(part)
				n := min(3, len(words))
				for i := 0; n > 0 && i+n <= len(words); i++ {
					heard = heard || strings.Contains(all, strings.Trim(strings.Join(words[i:i+n], " "), `.,;:"`))
				}
			}
			if name := spec.Names[0].Name; !heard && unscripted[name] == "" {
				t.Errorf("no script makes downdrop say %s: %q", name, text)
			}
			return true
		})
	})
	if sentences < 200 {
		t.Errorf("only %d sentences were found", sentences)
	}
}

// The scripts of the built command are many: each section, begun by a comment that says
// what it is about, tries something of its own.
func TestThereAreManyScripts(t *testing.T) {
	files, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	sections := map[string]string{}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		script, _, _ := strings.Cut(string(text), "\n-- ")
		for _, part := range regexp.MustCompile(`(?m)^# `).Split(script, -1)[1:] {
			says, commands, _ := strings.Cut(part, "\n")
			if strings.Contains(commands, "downdrop ") {
				sections[name+": "+says] = name
			}
		}
	}
	if len(sections) < 150 {
		t.Errorf("%d sections of scripts; 150 are the least", len(sections))
	}
}
