// Package downdrop_test holds what is true of the whole module and of no single package.
package downdrop_test

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
)

const module = "downdrop"

// importTable is who may import whom, of ours: the four folders are the layers, and
// each imports only to its left. A package that is not here may not exist; one
// that is folded into its neighbour leaves this table with it. Test files may
// import more.
const importTable = `
rulebase/source           :
rulebase/quantity         :
rulebase/graph            :
rulebase                  : rulebase/source rulebase/quantity rulebase/graph
engine/line               : rulebase/quantity
engine/special            :
engine/hypothesis         : rulebase/graph
engine/belief             : engine/hypothesis
engine/plan               : engine/belief engine/hypothesis
engine/decide             :
engine/chain              : rulebase
engine/ways               : rulebase engine/decide
engine/bench              : rulebase rulebase/quantity engine/line engine/special
engine                    : rulebase engine/chain engine/hypothesis engine/belief engine/plan engine/decide engine/line
engine/sheet              : rulebase rulebase/quantity engine/line
engine/waveform           : rulebase/quantity engine/line
engine/ruletest           : rulebase rulebase/source rulebase/quantity engine engine/chain engine/hypothesis engine/belief engine/plan engine/decide engine/line
engine/review             : rulebase rulebase/source rulebase/quantity engine engine/chain engine/hypothesis engine/belief engine/plan engine/decide engine/line
engine/rehearse           : rulebase rulebase/source rulebase/quantity engine engine/chain engine/hypothesis engine/belief engine/plan engine/decide engine/line
cases                     : rulebase rulebase/source rulebase/quantity engine
cases/learn               : cases rulebase engine engine/belief engine/special
cases/alike               : cases rulebase engine
cases/sqlstore            : cases
cases/sqlite              : cases cases/sqlstore
cases/postgres            : cases cases/sqlstore
cases/storetest           : rulebase cases cases/sqlstore
cmd/internal/conversation : rulebase/... engine/... cases/... cmd/internal/wording
cmd/internal/wording      : rulebase cases
cmd/internal/kept         : rulebase engine cases cmd/internal/conversation cmd/internal/wording
cmd/internal/takealong/talk    : rulebase engine cases cmd/internal/conversation cmd/internal/kept cmd/internal/wording
cmd/internal/takealong/browser : cmd/internal/takealong/talk
cmd/internal/takealong    : rulebase cases cmd/internal/page
cmd/internal/triage       : rulebase/... engine/... cmd/internal/conversation cmd/internal/wording
cmd/internal/report       : rulebase/... engine/... cases/... cmd/internal/triage cmd/internal/wording
cmd/internal/materials    : –
cmd/internal/handbook     : rulebase/... engine/... cmd/internal/report cmd/internal/wording
cmd/internal/shop         : rulebase/... engine/... cases/... cmd/internal/report
cmd/internal/page         : rulebase/... engine/... cases/... cmd/internal/conversation cmd/internal/kept cmd/internal/report cmd/internal/shop cmd/internal/wording
cmd/downdrop              : ...
`

// libraryHomes are the only packages that import a library; all that is not named
// here is Go's own or refused.
const libraryHomes = `
gopkg.in/yaml.v3           : rulebase/source
github.com/expr-lang/expr  : rulebase
github.com/spf13/cobra     : cmd/downdrop
github.com/spf13/pflag     : cmd/downdrop
golang.org/x/term          : cmd/downdrop
golang.org/x/text          : cases cmd/internal/triage
modernc.org/sqlite         : cases/sqlite
modernc.org/libc           : cases/sqlite
github.com/jackc/pgx/v5    : cases/postgres
github.com/rogpeppe/go-internal/diff : cmd/downdrop
github.com/google/uuid     : cmd/downdrop
github.com/boombuler/barcode : cmd/internal/report
codeberg.org/go-pdf/fpdf   : cmd/internal/report
golang.org/x/image         : cmd/internal/report
golang.org/x/net/netutil   : cmd/internal/page
`

// testLibraries may be imported by tests only.
var testLibraries = []string{"gopkg.in/yaml.v3", "github.com/google/go-cmp", "github.com/rogpeppe/go-internal", "pgregory.net/rapid", "github.com/expr-lang/expr", "gonum.org/v1/gonum", "golang.org/x/net", "golang.org/x/tools/txtar", "github.com/yuin/goldmark", "github.com/santhosh-tekuri/jsonschema/v6", "github.com/chromedp/chromedp", "github.com/chromedp/cdproto", "github.com/piglig/go-qr"}

// table reads lines of "name : words".
func table(t *testing.T, text string) map[string][]string {
	t.Helper()
	rows := map[string][]string{}
	for line := range strings.Lines(strings.TrimSpace(text)) {
		name, words, ok := strings.Cut(line, ":")
		if !ok {
			t.Fatalf("not a row: %q", line)
		}
		rows[strings.TrimSpace(name)] = strings.Fields(words)
	}
	return rows
}

// An edge is an import: a file of one package names another.
type edge struct {
	from, to, file string
}

// imports gives every import of the module's own files.
func imports(t *testing.T) []edge {
	t.Helper()
	var all []edge
	err := filepath.WalkDir(".", func(name string, entry fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case entry.IsDir() && name != "." && (strings.HasPrefix(entry.Name(), ".") || entry.Name() == "testdata"):
			return filepath.SkipDir
		case entry.IsDir() || !strings.HasSuffix(name, ".go"):
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		for _, spec := range file.Imports {
			to, err := strconv.Unquote(spec.Path.Value)
			if err != nil {
				return err
			}
			all = append(all, edge{path.Dir(filepath.ToSlash(name)), to, name})
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// allowed says whether a row lets a package of ours be imported; "x/..." is x and all below it.
func allowed(row []string, to string) bool {
	return slices.ContainsFunc(row, func(word string) bool {
		if below, all := strings.CutSuffix(word, "..."); all {
			return strings.HasPrefix(to+"/", below)
		}
		return word == to
	})
}

func isTest(file string) bool { return strings.HasSuffix(file, "_test.go") }

func TestImportsGoOnlyToTheLeft(t *testing.T) {
	rows := table(t, importTable)
	for _, e := range imports(t) {
		to, ours := strings.CutPrefix(e.to, module+"/")
		if isTest(e.file) {
			continue
		}
		row, known := rows[e.from]
		switch {
		case !known:
			t.Errorf("%s: the package %s is not in the import table", e.file, e.from)
		case ours && !allowed(row, to):
			t.Errorf("%s: %s may not import %s", e.file, e.from, to)
		}
	}
}

func TestLibrariesStayAtHome(t *testing.T) {
	homes := table(t, libraryHomes)
	within := func(library, to string) bool { return to == library || strings.HasPrefix(to, library+"/") }
	for _, e := range imports(t) {
		first, _, _ := strings.Cut(e.to, "/")
		if first == module || !strings.Contains(first, ".") {
			continue // ours, or Go's own
		}
		atHome := slices.ContainsFunc(testLibraries, func(l string) bool { return isTest(e.file) && within(l, e.to) })
		for library, home := range homes {
			atHome = atHome || within(library, e.to) && slices.Contains(home, e.from)
		}
		if !atHome {
			t.Errorf("%s: %s may not import %s", e.file, e.from, e.to)
		}
	}
}

func TestTableCanRefuse(t *testing.T) {
	rows := table(t, importTable)
	for _, no := range [][2]string{{"engine/belief", "rulebase"}, {"rulebase", "engine"}, {"cmd/internal/report", "cmd/internal/conversation"}, {"engine", "cases"}} {
		if allowed(rows[no[0]], no[1]) {
			t.Errorf("%s may import %s", no[0], no[1])
		}
	}
	for _, yes := range [][2]string{{"engine/belief", "engine/hypothesis"}, {"cmd/internal/report", "rulebase"}, {"cmd/internal/report", "engine/line"}, {"cmd/downdrop", "cmd/internal/report"}} {
		if !allowed(rows[yes[0]], yes[1]) {
			t.Errorf("%s may not import %s", yes[0], yes[1])
		}
	}
}
