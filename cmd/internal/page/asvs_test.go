package page_test

import (
	"go/parser"
	"go/token"
	"maps"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

// testsIn are the tests of each test file under a folder, by the file's path from the module's root.
func testsIn(t *testing.T, root, under string) map[string][]string {
	t.Helper()
	out := map[string][]string{}
	err := filepath.WalkDir(filepath.Join(root, under), func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, "_test.go") {
			return err
		}
		text, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		name, err := filepath.Rel(root, path)
		if err != nil {
			return err
		}
		for _, m := range testRE.FindAllStringSubmatch(string(text), -1) {
			out[filepath.ToSlash(name)] = append(out[filepath.ToSlash(name)], m[1])
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

var (
	testRE     = regexp.MustCompile(`(?m)^func (Test[A-Z]\w*)\(t \*testing\.T\)`)
	asvsPartRE = regexp.MustCompile("^(?:`?--cert`?: )?([a-z/]+)[ :]")
	asvsTestRE = regexp.MustCompile(`\bTest[A-Z]\w+`)
	asvsFileRE = regexp.MustCompile("`([a-z_/]+(?:\\.[a-z]+)?)`")
)

// Each row of the table about the security standard has an argument or names a test, and what it names is
// there: a test in the file or folder that stands before it, a file where it is said to be.
func TestTheSecurityTableNamesWhatIsThere(t *testing.T) {
	const root, here = "../../..", "cmd/internal/page/"
	text, err := os.ReadFile("testdata/asvs.md")
	if err != nil {
		t.Fatal(err)
	}
	tests := testsIn(t, root, "cmd")
	maps.Copy(tests, testsIn(t, root, "cases"))
	rows, named := 0, 0
	for line := range strings.Lines(string(text)) {
		cells := strings.Split(strings.TrimSpace(line), "|")
		if len(cells) != 6 || !regexp.MustCompile(`^ \d`).MatchString(cells[1]) {
			continue
		}
		rows++
		id, proof := strings.TrimSpace(cells[1]), strings.TrimSpace(cells[4])
		if proof == "" {
			t.Errorf("%s has neither a test nor an argument", id)
		}
		for part := range strings.SplitSeq(proof, "; ") {
			where := here
			if m := asvsPartRE.FindStringSubmatch(part); m != nil {
				switch {
				case tests[here+m[1]+"_test.go"] != nil:
					where = here + m[1] + "_test.go"
				case m[1] == "cases" || strings.HasPrefix(m[1], "cmd/"):
					where = m[1] + "/"
				}
			}
			for _, name := range asvsTestRE.FindAllString(part, -1) {
				named++
				if !isTest(tests, where, name) {
					t.Errorf("%s: there is no %s in %s", id, name, where)
				}
			}
		}
		for _, m := range asvsFileRE.FindAllStringSubmatch(cells[3]+cells[4], -1) {
			_, inRoot := os.Stat(filepath.Join(root, m[1]))
			if _, err := os.Stat(m[1]); err != nil && inRoot != nil && m[1] != "leave" {
				t.Errorf("%s: there is no %s", id, m[1])
			}
		}
	}
	if rows < 36 || named < 40 {
		t.Errorf("%d rows name %d tests: is it the table?", rows, named)
	}
}

// isTest says whether a test stands in a file, or in a file of a folder (which ends in a slash).
func isTest(tests map[string][]string, where, name string) bool {
	for file, names := range tests {
		if file == where || strings.HasSuffix(where, "/") && strings.HasPrefix(file, where) {
			if slices.Contains(names, name) {
				return true
			}
		}
	}
	return false
}

// What the page says of itself in the same table: no command of the system is started.
func TestThePageStartsNoProgram(t *testing.T) {
	files, err := filepath.Glob("*.go")
	if err != nil || len(files) < 10 {
		t.Fatal(err, files)
	}
	for _, name := range files {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			t.Fatal(err)
		}
		for _, i := range file.Imports {
			if i.Path.Value == `"os/exec"` || i.Path.Value == `"encoding/xml"` || i.Path.Value == `"text/template"` {
				t.Errorf("%s imports %s", name, i.Path.Value)
			}
		}
	}
}
