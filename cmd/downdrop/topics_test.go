package main

import (
	"bytes"
	"context"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/spf13/cobra"

	"downdrop/testdata/support"
)

// helped is what a command line of help prints.
func helped(t *testing.T, args ...string) string {
	t.Helper()
	env, out, said := testEnvironment()
	if code := run(context.Background(), env, args); code != 0 || said.Len() > 0 {
		t.Fatalf("%v: exit code %d, said %q", args, code, said)
	}
	return out.String()
}

// No line of help is wider than a screen.
func TestHelpFitsAScreen(t *testing.T) {
	env, _, _ := testEnvironment()
	everyCommand(newRootCmd(env), func(path string, cmd *cobra.Command) {
		args := append([]string{"help"}, strings.Fields(path)...)
		if path == "downdrop" {
			args = args[:1]
		}
		for line := range strings.Lines(helped(t, args...)) {
			if n := len([]rune(strings.TrimRight(line, "\n"))); n > 80 {
				t.Errorf("help %s: %d columns: %s", path, n, line)
			}
		}
	})
}

// Every command stands in one group, so that whoever reads help finds their own first.
func TestEveryCommandIsInOneGroup(t *testing.T) {
	env, _, _ := testEnvironment()
	root := newRootCmd(env)
	listed := map[string]int{}
	for _, g := range helpGroups {
		for _, name := range g.commands {
			listed[name]++
		}
	}
	for _, c := range root.Commands() {
		if c.IsAdditionalHelpTopicCommand() {
			continue
		}
		if listed[c.Name()] != 1 {
			t.Errorf("%s stands in %d groups", c.Name(), listed[c.Name()])
		}
		delete(listed, c.Name())
	}
	for name := range listed {
		t.Errorf("there is no command %s", name)
	}
}

// ownFiles calls do for each of our Go files that is part of the program.
func ownFiles(t *testing.T, do func(name string, file *ast.File)) {
	t.Helper()
	root := os.DirFS("../..")
	err := fs.WalkDir(root, ".", func(name string, d fs.DirEntry, err error) error {
		switch {
		case err != nil:
			return err
		case d.IsDir() && (d.Name() == "testdata" || strings.HasPrefix(d.Name(), ".") && name != "." || d.Name() == "storetest" || d.Name() == "materials"): // the last is a program of its own, of the release
			return fs.SkipDir
		case !strings.HasSuffix(name, ".go"), strings.HasSuffix(name, "_test.go"), strings.HasSuffix(name, "shipped_compiled.go"):
			return nil
		}
		text, err := fs.ReadFile(root, name)
		if err != nil {
			return err
		}
		file, err := parser.ParseFile(token.NewFileSet(), name, text, 0)
		if err != nil {
			return err
		}
		do(name, file)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
}

// calls calls do for each call of a function, here, of a package or of a field: create,
// os.Getenv or env.variable, with the function that it stands in.
func calls(file *ast.File, do func(in, name string, call *ast.CallExpr)) {
	for _, d := range file.Decls {
		in := ""
		if f, ok := d.(*ast.FuncDecl); ok {
			in = f.Name.Name
		}
		ast.Inspect(d, func(n ast.Node) bool {
			call, ok := n.(*ast.CallExpr)
			if !ok {
				return true
			}
			switch s := call.Fun.(type) {
			case *ast.Ident:
				do(in, s.Name, call)
			case *ast.SelectorExpr:
				if x, ok := s.X.(*ast.Ident); ok {
					do(in, x.Name+"."+s.Sel.Name, call)
				} else {
					do(in, "."+s.Sel.Name, call)
				}
			}
			return true
		})
	}
}

// readByOthers are the variables that a function of a library reads for us: those of
// the Go library by its documentation, those of pgx by its ParseConfig.
var readByOthers = map[string][]string{
	"os.UserCacheDir": {"XDG_CACHE_HOME", "HOME"}, "os.UserConfigDir": {"HOME"},
	"os.CreateTemp": {"TMPDIR"}, "os.MkdirTemp": {"TMPDIR"}, "os.TempDir": {"TMPDIR"},
	"pgx.ParseConfig": {"PGHOST", "PGPORT", "PGDATABASE", "PGUSER", "PGPASSWORD", "PGPASSFILE", "PGSERVICE", "PGSERVICEFILE", "PGSSLMODE", "PGSSLCERT", "PGSSLKEY", "PGSSLCERTMODE",
		"PGSSLROOTCERT", "PGSSLPASSWORD", "PGSSLSNI", "PGSSLNEGOTIATION", "PGCHANNELBINDING", "PGREQUIREAUTH", "PGMINPROTOCOLVERSION", "PGMAXPROTOCOLVERSION",
		"PGAPPNAME", "PGCONNECT_TIMEOUT", "PGTARGETSESSIONATTRS", "PGTZ", "PGOPTIONS"},
}

// "help environment" names each variable that the program reads, and no other.
func TestEnvironmentIsListed(t *testing.T) {
	read := map[string]string{}
	ownFiles(t, func(name string, file *ast.File) {
		calls(file, func(_, function string, call *ast.CallExpr) {
			for _, v := range readByOthers[function] {
				read[v] = name
			}
			if !strings.HasSuffix(function, ".Getenv") && !strings.HasSuffix(function, ".LookupEnv") && !strings.HasSuffix(function, ".variable") {
				return
			}
			lit, ok := call.Args[0].(*ast.BasicLit)
			if !ok {
				t.Errorf("%s reads a variable whose name is not written there", name)
				return
			}
			v, _ := strconv.Unquote(lit.Value)
			read[v] = name
		})
	})
	listed := map[string]bool{"PATH": true, "TMP": true, "TEMP": true} // named to explain others, or by Windows
	for _, v := range regexp.MustCompile(`\b[A-Z][A-Z_]{2,}\b`).FindAllString(longEnvironment, -1) {
		if !listed[v] && read[v] == "" {
			t.Errorf("help environment lists %s, which nothing reads", v)
		}
		listed[v] = true
	}
	for v, name := range read {
		if !listed[v] {
			t.Errorf("help environment does not list %s, which %s reads", v, name)
		}
	}
}

// The variables of a PostgreSQL store are those that the library has.
func TestVariablesOfPostgresAreTheLibrarys(t *testing.T) {
	dir, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/jackc/pgx/v5").Output()
	if err != nil {
		t.Fatal(err) // whoever built the test has the library
	}
	text, err := os.ReadFile(filepath.Join(strings.TrimSpace(string(dir)), "pgconn", "config.go"))
	if err != nil {
		t.Fatal(err) // whoever built the test has the library
	}
	for _, m := range regexp.MustCompile(`"(PG[A-Z_]+)":`).FindAllStringSubmatch(string(text), -1) {
		if !slices.Contains(readByOthers["pgx.ParseConfig"], m[1]) {
			t.Errorf("the library reads %s too", m[1])
		}
	}
}

// placesWritten are the functions that make or change a file, with the words of "help
// files" that say so. A new one is decided here.
var placesWritten = map[string]string{
	"cases/sqlite/sqlite.go create":                   "made by the first command that keeps something", // beside it, under another name first
	"cases/sqlite/sqlite.go unwritable":               ".downdrop-",
	"cases/sqlite/sqlite.go copyAside":                "gone when the command ends",
	"cases/sqlite/sqlite.go copyFile":                 "gone when the command ends",
	"cases/sqlite/salvage.go mendHeader":              "gone when the command ends", // of a copy there
	"cmd/internal/shop/run.go NewRun":                 "run: PROCEDURE-DATE-TIME.run.jsonl",
	"cmd/internal/shop/run.go OpenRun":                "resume adds",
	"cmd/downdrop/cases_alike.go keepIndex":           "downdrop/alike-",
	"cmd/downdrop/cases_show.go codes":                "hand-over --file and --qr",
	"cmd/downdrop/cases_show.go fetch":                "show --fetch",
	"cmd/downdrop/chart.go runChart":                  "chart               --output",
	"cmd/downdrop/decide.go print":                    "decide              --plot",
	"cmd/downdrop/help_man.go runMan":                 "help man            the folder",
	"cmd/downdrop/learn.go runLearn":                  "learn               --patch",
	"cmd/downdrop/line_echo.go runLineEcho":           "echo --svg",
	"cmd/downdrop/line_new.go runLineNew":             "line                new FILE",
	"cmd/downdrop/line_waveform.go runLineWaveform":   "waveform --svg",
	"cmd/downdrop/record.go issue":                    "make: NUMBER.html and NUMBER.pdf",
	"cmd/downdrop/rehearse.go comparePolicies":        "rehearse            --svg",
	"cmd/downdrop/replay.go print":                    "replay              --junit, --plot",
	"cmd/downdrop/rulebase_format.go replaceFile":     "format",
	"cmd/downdrop/rulebase_handbook.go writeFiles":    "handbook --to",
	"cmd/downdrop/rulebase_new.go emptyFolder":        "new DIR",
	"cmd/downdrop/rulebase_new.go runNew":             "new DIR",
	"cmd/downdrop/rulebase_schema.go writeSchemas":    "schema --to",
	"cmd/downdrop/rulebase_testing.go printRuleTests": "test --junit",
	"cmd/downdrop/store_commands.go writeCopy":        "backup FILE",
	"cmd/downdrop/store_commands.go exportOf":         "gone when the command ends",
	"cmd/downdrop/talk.go save":                       "writes NAME.yaml",
	"cmd/downdrop/triage.go opener":                   "gone when the command ends",
	"cmd/downdrop/triage.go rejecter":                 "triage              --rejects",
	"cmd/downdrop/unit.go paper":                      "offer --html, show --offer-html, return-note --html",
	"cmd/internal/page/shop_bench.go begin":           "cases-runs",
	"cmd/internal/triage/spill.go layDown":            "gone when the command ends",
}

// "help files" says every place that the program writes to.
func TestEveryPlaceWrittenIsListed(t *testing.T) {
	writes := regexp.MustCompile(`^os\.(Create|CreateTemp|OpenFile|WriteFile|Mkdir|MkdirAll|MkdirTemp|Rename|Link|Symlink)$`)
	ways := regexp.MustCompile(`^(newFile|create|createNew|writeResult|inPlaceOf)$|\.into$`) // those of writing.go: who takes one is asked
	found := map[string]bool{}
	ownFiles(t, func(name string, file *ast.File) {
		if name == "cmd/downdrop/writing.go" {
			return
		}
		calls(file, func(in, function string, _ *ast.CallExpr) {
			if !writes.MatchString(function) && !(strings.HasPrefix(name, "cmd/downdrop/") && ways.MatchString(function)) {
				return
			}
			at := name + " " + in
			found[at] = true
			if says, ok := placesWritten[at]; !ok {
				t.Errorf("%s writes (%s): say where in help files, and in this table", at, function)
			} else if !strings.Contains(longFiles, says) {
				t.Errorf("help files does not say %q, for %s", says, at)
			}
		})
	})
	for at := range placesWritten {
		if !found[at] {
			t.Errorf("%s writes nothing any more", at)
		}
	}
}

// Each exit code that help lists is reached by some script, and each that a script
// asks for is listed.
func TestExitCodesAreReached(t *testing.T) {
	scripts, err := filepath.Glob("testdata/script/*.txtar")
	if err != nil {
		t.Fatal(err)
	}
	asked := map[int]bool{0: true, // every "exec"
		exitBug:         true, // TestPanicBecomesASentence and TestUnknownErrorIsOurBug: no script may reach it
		exitSignal + 2:  true, // TestInterruptionEndsAtOnce
		exitSignal + 15: true}
	for _, name := range scripts {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range regexp.MustCompile(`(?m)^(?:\[[^]]*\] )?exits (\d+) `).FindAllStringSubmatch(string(text), -1) {
			code, _ := strconv.Atoi(m[1])
			asked[code] = true
		}
	}
	listed := map[int]bool{}
	for _, c := range exitCodes {
		listed[c.code] = true
		if !asked[c.code] {
			t.Errorf("no script reaches exit code %d", c.code)
		}
	}
	for code := range asked {
		if !listed[code] {
			t.Errorf("help exit-codes does not list %d", code)
		}
	}
}

// Manual pages say what help says, and the formatter has nothing against them.
func TestManualPages(t *testing.T) {
	groff := support.Need(t, "groff")
	dir := filepath.Join(t.TempDir(), "man1")
	env, out, said := testEnvironment()
	if code := run(context.Background(), env, []string{"help", "man", "--out", dir}); code != 0 {
		t.Fatalf("exit code %d, said %q", code, said)
	}
	pages := 0
	everyCommand(newRootCmd(env), func(path string, cmd *cobra.Command) {
		pages++
		if pages%3 > 0 && support.Deep(t, 1) == 1 {
			return // all of them in a step of CI
		}
		name := filepath.Join(dir, strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1")
		var says, complains bytes.Buffer
		page := exec.Command(groff, "-man", "-Tutf8", "-ww", "-rLL=100n", "-P-cbou", name)
		page.Stdout, page.Stderr = &says, &complains
		if err := page.Run(); err != nil || complains.Len() > 0 {
			t.Fatalf("%s: %v %s", name, err, &complains)
		}
		// Lines are broken anew, words at a hyphen of the page's own.
		squeeze := strings.NewReplacer("‐", "", "-", "", "−", "", " ", "", "\n", "", "’", "'")
		plain := squeeze.Replace(says.String())
		for _, want := range append(exampleLines(cmd.Example), "SYNOPSIS", cmd.Short) {
			if !strings.Contains(strings.ReplaceAll(plain, "\\", ""), squeeze.Replace(want)) {
				t.Errorf("%s does not say %q:\n%s", name, want, &says)
			}
		}
	})
	if want := strconv.Itoa(pages) + " manual pages are in " + dir + ".\n"; out.String() != want {
		t.Errorf("said %q, want %q", out, want)
	}
}
