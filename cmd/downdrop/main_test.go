package main

import (
	"bytes"
	"context"
	"errors"
	"flag"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"github.com/rogpeppe/go-internal/testscript"

	"downdrop/rulebase"
)

var update = flag.Bool("update", false, "write what the scripts compare with")

// asCommand in the environment makes this test binary the command itself: pipes
// and signals need a process of their own.
const asCommand = "DOWNDROP_TEST_AS_COMMAND"

// asTerminal beside it has the command take its input for a terminal.
const asTerminal = "DOWNDROP_TEST_AS_TERMINAL"

func TestMain(m *testing.M) {
	if os.Getenv(asTerminal) != "" {
		env := newEnvironment()
		env.terminal = true
		os.Exit(run(context.Background(), env, os.Args[1:]))
	}
	if os.Getenv(asCommand) != "" {
		main()
		return
	}
	testscript.Main(tidy{m}, map[string]func(){"downdrop": main})
}

// tidy removes, after the last test, what several of them share.
type tidy struct{ *testing.M }

func (t tidy) Run() int {
	defer func() { os.RemoveAll(shared.dir); os.RemoveAll(shared.bin) }()
	return t.M.Run()
}

// Every command and every documented error is a script that is typed and answered.
func TestScripts(t *testing.T) {
	small, err := filepath.Abs("testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	sheets, err := filepath.Abs("../../cases/examples/sheets")
	if err != nil {
		t.Fatal(err)
	}
	captures, err := filepath.Abs("../../cases/examples/captures")
	if err != nil {
		t.Fatal(err)
	}
	prices, err := filepath.Abs("../../cases/examples/prices")
	if err != nil {
		t.Fatal(err)
	}
	dir, files := "testdata/script", []string(nil)
	if testing.Short() { // under the race detector: those in which something runs at once
		dir = ""
		for _, name := range strings.Fields("check_untrusted full_disk replay_export serve store triage_input") {
			files = append(files, "testdata/script/"+name+".txtar")
		}
	}
	testscript.Run(t, testscript.Params{
		Dir: dir, Files: files,
		UpdateScripts:       *update,
		RequireExplicitExec: true,
		Setup: func(e *testscript.Env) error {
			e.Setenv("SMALL", small)
			e.Setenv("SHEETS", sheets)
			e.Setenv("CAPTURES", captures)
			e.Setenv("PRICES", prices)
			e.Setenv("RETURNS", filepath.Join(filepath.Dir(prices), "returns"))
			return nil
		},
		Cmds: map[string]func(*testscript.TestScript, bool, []string){"exits": exits, "opened": opened},
	})
}

// opened keeps the code of the case that was just opened in a variable: opened CASE.
func opened(ts *testscript.TestScript, neg bool, args []string) {
	m := openedCode.FindStringSubmatch(ts.ReadFile("stdout"))
	if neg || len(args) != 1 || m == nil {
		ts.Fatalf("usage: opened VARIABLE, after a case was opened")
	}
	ts.Setenv(args[0], m[1])
}

// exits runs a command and asks for its exit code: exits 3 downdrop ...
func exits(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: exits CODE COMMAND [ARG]...")
	}
	code := "0"
	var failed *exec.ExitError
	if err := ts.Exec(args[1], args[2:]...); errors.As(err, &failed) {
		code = strconv.Itoa(failed.ExitCode())
	}
	if code != args[0] {
		ts.Fatalf("exit code %s, want %s", code, args[0])
	}
}

// An environment for tests, with what was written.
func testEnvironment() (env *environment, out, said *bytes.Buffer) {
	out, said = &bytes.Buffer{}, &bytes.Buffer{}
	return &environment{
		in: strings.NewReader(""), out: out, err: said,
		width:    func() int { return 80 },
		variable: func(string) string { return "" },
		clock:    func() time.Time { return time.Time{} },
		shipped:  func() (*rulebase.Base, error) { return rulebase.LoadFolder("testdata/small") },
		folder:   rulebase.LoadFolder,
		stranger: rulebase.LoadUntrusted,
	}, out, said
}

func TestPanicBecomesASentence(t *testing.T) {
	env, _, said := testEnvironment()
	env.shipped = func() (*rulebase.Base, error) { panic("the moon is down") }
	if code := run(context.Background(), env, []string{"diagnose"}); code != 70 {
		t.Errorf("exit code %d", code)
	}
	if got := said.String(); strings.Count(got, "\n") != 1 || !strings.Contains(got, "the moon is down") || strings.Contains(got, "goroutine") {
		t.Errorf("said %q", got)
	}
}

func TestUnknownErrorIsOurBug(t *testing.T) {
	env, _, said := testEnvironment()
	env.shipped = func() (*rulebase.Base, error) { return nil, errors.New("no idea") }
	if code := run(context.Background(), env, []string{"diagnose"}); code != 70 || !strings.Contains(said.String(), "bug") {
		t.Errorf("exit code %d, said %q", code, said)
	}
}

// Help, version and the names of flags need no rulebase.
func TestNothingIsLoadedForHelp(t *testing.T) {
	for _, args := range [][]string{{"--help"}, {"help"}, {"help", "diagnose"}, {"diagnose", "--help"}, {"check", "-h"}, {"version"}, {"help", "exit-codes"}, {"completion", "bash"}, {"__complete", "diagnose", "--"}, {"__complete", "diagnose", "--at", ""}} {
		env, out, said := testEnvironment()
		env.shipped = func() (*rulebase.Base, error) { panic("loaded") }
		env.folder = func(...string) (*rulebase.Base, error) { panic("loaded") }
		if code := run(context.Background(), env, args); code != 0 || out.Len() == 0 {
			t.Errorf("%v: exit code %d, said %q", args, code, said)
		}
	}
}

// Every exit code of the table is documented once, and 2 never: Go itself ends with it.
func TestExitCodesAreDocumentedOnce(t *testing.T) {
	seen := map[int]bool{}
	for _, c := range exitCodes {
		if seen[c.code] || c.code == 2 || c.says == "" {
			t.Errorf("exit code %d: %q", c.code, c.says)
		}
		seen[c.code] = true
	}
	for _, code := range []int{0, 1, 3, 4, 5, 6, 7, 8, 70, 130, 143} {
		if !seen[code] {
			t.Errorf("exit code %d is not documented", code)
		}
	}
}

func TestErrorsBecomeCodes(t *testing.T) {
	path := &os.PathError{Op: "open", Path: "x", Err: os.ErrNotExist}
	for want, errs := range map[int][]error{
		0:   {nil},
		1:   {foundError{}},
		3:   {usageError{"x"}, errors.Join(inputError{"x"}, usageError{"y"})},
		4:   {&rulebase.Problems{}, inputError{"x"}},
		5:   {path},
		6:   {outputError{path}},
		8:   {errNoTerminal},
		70:  {errors.New("x")},
		130: {signalled{syscall.SIGINT}},
		143: {signalled{syscall.SIGTERM}},
	} {
		for _, err := range errs {
			if got := exitCode(err); got != want {
				t.Errorf("%v: exit code %d, want %d", err, got, want)
			}
		}
	}
}
