//go:build unix

package failures_test

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"syscall"
	"testing"
	"time"

	"downdrop/testdata/support/built"
)

// ran is how a program ended and what it wrote.
type ran struct {
	code      int // 128 plus the number of a signal
	out, said string
}

func (r ran) String() string { return fmt.Sprintf("exit code %d, said %.300q", r.code, r.said) }

// run runs a program to its end.
func run(t *testing.T, cmd *exec.Cmd) ran {
	t.Helper()
	var out, said bytes.Buffer
	if cmd.Stdout == nil {
		cmd.Stdout = &out
	}
	cmd.Stderr = &said
	err := cmd.Run()
	var ended *exec.ExitError
	if err != nil && !errors.As(err, &ended) {
		t.Fatal(err)
	}
	return ran{codeOf(cmd), out.String(), said.String()}
}

func codeOf(cmd *exec.Cmd) int {
	if status, ok := cmd.ProcessState.Sys().(syscall.WaitStatus); ok && status.Signaled() {
		return 128 + int(status.Signal())
	}
	return cmd.ProcessState.ExitCode()
}

// calm holds that nothing of the program's inside is shown to people.
func (r ran) calm(t *testing.T, where string) {
	t.Helper()
	for _, word := range []string{"panic", "goroutine", "bug", "runtime error", "SIG"} {
		if strings.Contains(r.said, word) {
			t.Errorf("%s: %v", where, r)
		}
	}
}

// F16: wherever the program is run, it does its work or says what is lacking: without a home or
// with one that cannot be written, without a time zone, a locale, a terminal's width or a
// folder for what is passing.
func TestF16OddPlaces(t *testing.T) {
	t.Parallel() // most of it is waiting
	inShort(t)
	dir := t.TempDir()
	list := filepath.Join(dir, "returns.csv")
	if err := os.WriteFile(list, []byte("Serial,Complaint\nA1,power light dark\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	const noStore, anywhere = "needs a store", ""
	commands := []struct {
		args  string
		needs string
	}{
		{"diagnose --at phone --see power_light=dark", anywhere},
		{"diagnose --at phone --see power_light=dark --json", anywhere},
		{"chart --at field --see power_light=lit --places 5", anywhere},
		{"triage " + list, anywhere},
		{"bench list", anywhere},
		{"line --help", anywhere},
		{"rulebase schema", anywhere},
		{"help files", anywhere},
		{"help environment", anywhere},
		{"completion bash", anywhere},
		{"version", anywhere},
		{"case open --location Nowhere --complaint dark", noStore},
		{"case list", noStore},
		{"unit list", noStore},
	}
	home := "HOME=" + filepath.Join(dir, "home")
	for _, place := range []struct {
		name  string
		env   []string
		store bool // a store can be kept there
	}{
		{"no environment", nil, false},
		{"a home", []string{home}, true},
		{"a home that is not written", []string{"HOME=/proc/self"}, false},
		{"a home that is a device", []string{"HOME=/dev/null"}, false},
		{"a home named by a path that is none", []string{"HOME=relative"}, true},
		{"an unknown time zone", []string{home, "TZ=Nowhere/At_All", "ZONEINFO=/nowhere"}, true},
		{"a time zone that is no name", []string{home, "TZ=\x01:../../etc/passwd"}, true},
		{"the locale C", []string{home, "LC_ALL=C", "LANG=C"}, true},
		{"a locale that there is not", []string{home, "LC_ALL=xx_YY.none"}, true},
		{"twenty columns", []string{home, "COLUMNS=20"}, true},
		{"one column", []string{home, "COLUMNS=1"}, true},
		{"no number of columns", []string{home, "COLUMNS=99999999999999999999"}, true},
		{"a terminal that there is not", []string{home, "TERM=none", "NO_COLOR=1"}, true},
		{"no folder for what is passing", []string{home, "TMPDIR=/nowhere"}, true},
	} {
		for _, c := range commands {
			// All commands where nothing is set and where lines are short; elsewhere one of each kind.
			everything := len(place.env) == 0 || place.name == "twenty columns"
			if first, _, _ := strings.Cut(c.args, " "); !everything && !slices.Contains([]string{"triage", "case"}, first) {
				continue
			}
			cmd := exec.Command(built.Program, strings.Fields(c.args)...)
			cmd.Dir, cmd.Env = dir, append([]string{"PATH=" + os.Getenv("PATH")}, place.env...)
			r := run(t, cmd)
			where := place.name + ": " + c.args
			r.calm(t, where)
			want := 0
			if c.needs == noStore && !place.store {
				want = 6
			}
			if r.code != want {
				t.Errorf("%s: want %d, %v", where, want, r)
			}
			if want == 6 && !strings.Contains(r.said, "--store") {
				t.Errorf("%s: it is not said what to do: %v", where, r)
			}
			if want == 0 && r.out == "" {
				t.Errorf("%s: nothing came out: %v", where, r)
			}
		}
	}
}

// F16: a reader that leaves, a result that cannot be written and an input that is closed are
// told by the exit code, and by a sentence where somebody can read it.
func TestF16NobodyReads(t *testing.T) {
	t.Parallel() // most of it is waiting
	sh := func(line string) ran {
		t.Helper()
		cmd := exec.Command("bash", "-c", line, built.Program)
		cmd.Env = built.Environment("DOWNDROP_STORE=" + filepath.Join(t.TempDir(), "cases.db"))
		r := run(t, cmd)
		r.calm(t, line)
		return r
	}
	for _, args := range []string{"diagnose --at phone --see power_light=dark --detail", "help environment", "rulebase schema"} {
		if r := sh(`"$0" ` + args + ` | head -n 1 >/dev/null; exit ${PIPESTATUS[0]}`); r.code != 0 && r.code != 128+int(syscall.SIGPIPE) || r.said != "" {
			t.Errorf("%s | head: %v", args, r)
		}
		if _, err := os.Stat("/dev/full"); err != nil {
			continue
		}
		if r := sh(`"$0" ` + args + ` >/dev/full`); r.code != 6 || strings.Count(r.said, "\n") != 1 {
			t.Errorf("%s >/dev/full: want 6 and one sentence, %v", args, r)
		}
	}
	for line, want := range map[string]int{
		`"$0" diagnose - </dev/null`:    0, // an empty case
		`"$0" diagnose - <&-`:           0,
		`"$0" <&-`:                      8,
		`"$0" </dev/null`:               8,
		`"$0" triage - <&-`:             4,
		`"$0" diagnose nowhere 2>&-`:    5,
		`"$0" diagnose --nonsense 2>&-`: 3,
	} {
		if r := sh(line); r.code != want {
			t.Errorf("%s: want %d, %v", line, want, r)
		}
	}
}

// F16: a terminal that vanishes ends a command as an interruption does, and a server after what it
// was doing; one that was told to outlive it does.
func TestF16TerminalVanishes(t *testing.T) {
	cmd := exec.Command(built.Program, "diagnose", "-")
	cmd.Env = built.Environment()
	in, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	cmd.Stderr = &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := io.WriteString(in, strings.Repeat("#\n", 1<<17)); err != nil { // it listens for signals before it reads
		t.Fatal(err)
	}
	if err := cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	_ = cmd.Wait()
	if got := codeOf(cmd); got != 129 || said.Len() > 0 {
		t.Errorf("a command: exit code %d, want 129, said %q", got, said.String())
	}

	store := filepath.Join(t.TempDir(), "cases.db")
	s := built.Serve(t, store)
	if err := s.Cmd.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	_ = s.Cmd.Wait()
	if got := codeOf(s.Cmd); got != 129 && got != 0 || s.Said.String() != "" {
		t.Errorf("a server: exit code %d, said %q", got, s.Said)
	}

	trapped := exec.Command("bash", "-c", `trap "" HUP; exec "$0" serve --store "$1" --listen 127.0.0.1:0`, built.Program, store)
	trapped.Env = built.Environment()
	out, err := trapped.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := trapped.Start(); err != nil {
		t.Fatal(err)
	}
	defer func() { _ = trapped.Process.Kill(); _ = trapped.Wait() }()
	line := make([]byte, 4096)
	n, err := out.Read(line)
	if err != nil {
		t.Fatal(err)
	}
	at := httpAt.FindString(string(line[:n]))
	if err := trapped.Process.Signal(syscall.SIGHUP); err != nil {
		t.Fatal(err)
	}
	time.Sleep(100 * time.Millisecond)
	r, err := http.Get(at + "/style.css")
	if err != nil {
		t.Fatalf("a server that was told to go on: %v", err)
	}
	r.Body.Close()
}

// runFor runs the program with arguments.
func runFor(t *testing.T, args ...string) ran {
	t.Helper()
	cmd := exec.Command(built.Program, args...)
	cmd.Env = built.Environment()
	return run(t, cmd)
}
