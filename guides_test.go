package downdrop_test

import (
	"go/scanner"
	"go/token"
	"io/fs"
	"os"
	"path"
	"regexp"
	"strings"
	"testing"
)

// Every file, folder and name in code that the guides name is there: whoever follows a
// guide must not come to a door that was walled up.
func TestWhatTheGuidesNameIsThere(t *testing.T) {
	files, known := tree(t)
	span := regexp.MustCompile("`([^`\n]+)`")
	looksLikePath := regexp.MustCompile(`^[A-Za-z0-9_.*-]*(/[A-Za-z0-9_.*-]+)*(/|\.(go|yaml|css|js|html|json|jsonl|md|txt|sql|svg|txtar))$|^(rulebase|engine|cases|cmd|testdata|\.ci)(/[A-Za-z0-9_.*-]+)*$`)
	looksLikeName := regexp.MustCompile(`^[A-Za-z]\w*(\.[A-Za-z]\w*)?(\(\))?$`)
	paths, names := 0, 0
	for _, guide := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile(guide)
		if err != nil {
			t.Fatal(err)
		}
		for n, line := range strings.Split(string(text), "\n") {
			for _, m := range span.FindAllStringSubmatch(line, -1) {
				switch said := m[1]; {
				case looksLikePath.MatchString(said):
					paths++
					if !named(files, said) && !written[said] {
						t.Errorf("%s:%d: there is no %s", guide, n+1, said)
					}
				case guide == "DEVELOPERS.md" && looksLikeName.MatchString(said) && camel.MatchString(said):
					names++
					for _, word := range strings.FieldsFunc(said, func(r rune) bool { return r == '.' || r == '(' || r == ')' }) {
						if !known[word] && !written[word] && !tested(known, word) {
							t.Errorf("%s:%d: nothing is called %s", guide, n+1, said)
						}
					}
				}
			}
		}
	}
	if paths < 100 || names < 50 {
		t.Errorf("only %d paths and %d names were found in the guides", paths, names)
	}
}

// camel is a name with a small letter and a capital: not a word of a format, and not a
// placeholder or a variable of the environment.
var camel = regexp.MustCompile(`[a-z].*[A-Z]|[A-Z].*[a-z]`)

// written are names that whoever follows a guide fills in.
var written = map[string]bool{"xJSON": true, "cases/sqlstore/migrations/NNNN_what.sql": true}

// tested says whether a name is a part of a test's or a benchmark's, as -run and -bench take it.
func tested(known map[string]bool, part string) bool {
	for name := range known {
		if (strings.HasPrefix(name, "Test") || strings.HasPrefix(name, "Benchmark")) && strings.Contains(name, part) {
			return true
		}
	}
	return false
}

// tree lists the files and folders of the tree, each with a slash before it, and the names
// in its Go files, comments left out.
func tree(t *testing.T) (files []string, names map[string]bool) {
	t.Helper()
	names = map[string]bool{}
	err := fs.WalkDir(os.DirFS("."), ".", func(file string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && d.Name() == ".git":
			return fs.SkipDir
		}
		files = append(files, "/"+file)
		if path.Ext(file) != ".go" || file == "rulebase/shipped_compiled.go" {
			return nil
		}
		text, err := os.ReadFile(file)
		if err != nil {
			return err
		}
		var s scanner.Scanner
		s.Init(token.NewFileSet().AddFile(file, -1, len(text)), text, nil, 0)
		for {
			_, tok, name := s.Scan()
			if tok == token.EOF {
				return nil
			} else if tok == token.IDENT {
				names[name] = true
			}
		}
	})
	if err != nil {
		t.Fatal(err)
	}
	return files, names
}

// named says whether a path, or the end of one, stands for a file or folder. What is
// written in capitals stands for anything, as `*` does.
func named(files []string, said string) bool {
	pattern := regexp.QuoteMeta(strings.TrimSuffix(said, "/"))
	pattern = strings.ReplaceAll(pattern, `\*`, `[^/]*`)
	pattern = regexp.MustCompile(`[A-Z]{4,}`).ReplaceAllString(pattern, `[^/]*`)
	if strings.HasPrefix(said, ".") || strings.HasPrefix(said, "_") {
		pattern = `[^/]*` + pattern // an ending, as in `page.html`, `.css`
	}
	end := regexp.MustCompile(`/` + pattern + `$`)
	for _, f := range files {
		if end.MatchString(f) {
			return true
		}
	}
	return false
}
