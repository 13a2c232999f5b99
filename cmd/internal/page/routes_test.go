package page_test

import (
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

var routeRE = regexp.MustCompile(`"(GET|POST) (/[^"]*)":`)

// routes are the paths of a method, as the package's own source has them: one that is added later is
// in every test that goes over all of them.
func routes(t testing.TB, method, code string) []string {
	t.Helper()
	names, err := filepath.Glob("*.go")
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range routeRE.FindAllStringSubmatch(string(text), -1) {
			if m[1] == method {
				out = append(out, strings.NewReplacer("{code}", code, "{$}", "").Replace(m[2]))
			}
		}
	}
	slices.Sort(out)
	if out = slices.Compact(out); len(out) < 15 {
		t.Fatalf("only %d paths to %s were found: %v", len(out), method, out)
	}
	return out
}

// posts are all paths that change something.
func posts(t testing.TB, code string) []string { return routes(t, "POST", code) }
