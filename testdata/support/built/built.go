// Package built has the program as people start it: built once for the tests of a package, then run to
// its end or serving a store, in a process of its own.
package built

import (
	"bufio"
	"bytes"
	"fmt"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/testdata/support"
)

// Program is the path of the program, there once Main has built it.
var Program string

// Main builds the program, runs a package's tests, does what is left to do after them and ends; it is all that
// a TestMain does.
func Main(m *testing.M, after ...func()) {
	dir, err := os.MkdirTemp("", "downdrop-built")
	if err == nil {
		err = sourcesLookedAt()
	}
	if err == nil {
		Program = filepath.Join(dir, "downdrop")
		build := exec.Command("go", slices.Concat([]string{"build"}, detector, []string{"-o", Program, "downdrop/cmd/downdrop"})...)
		build.Stderr = os.Stderr
		err = build.Run()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "build the program:", err)
		os.Exit(1)
	}
	code := m.Run()
	for _, do := range after {
		do()
	}
	os.RemoveAll(dir)
	os.Exit(code)
}

// sourcesLookedAt looks at everything that the program is made of. The tests of a package are not run again
// where nothing was changed that they looked at, and what the go command reads they did not.
func sourcesLookedAt() error {
	root, err := os.Getwd()
	if err != nil {
		return err
	}
	for {
		if _, err := os.Stat(filepath.Join(root, "go.mod")); err == nil {
			break
		}
		if root == filepath.Dir(root) {
			return fmt.Errorf("no go.mod above the tests")
		}
		root = filepath.Dir(root)
	}
	for _, part := range []string{"go.mod", "go.sum", "cmd", "engine", "rulebase", "cases"} {
		err := filepath.WalkDir(filepath.Join(root, part), func(path string, d os.DirEntry, err error) error {
			switch {
			case err != nil:
				return err
			case d.Name() == "testdata":
				return filepath.SkipDir
			case d.IsDir() || strings.HasSuffix(path, "_test.go"):
				return nil
			}
			_, err = os.Stat(path)
			return err
		})
		if err != nil {
			return err
		}
	}
	return nil
}

// Environment is that of the tests with nothing in it that the program would read of whoever runs
// them, and what a test adds.
func Environment(add ...string) []string {
	env := slices.DeleteFunc(os.Environ(), func(v string) bool {
		return strings.HasPrefix(v, "DOWNDROP_") || strings.HasPrefix(v, "COLUMNS=")
	})
	return append(env, add...)
}

// Command is the program with arguments, where only what is added is set of its variables.
func Command(add []string, args ...string) *exec.Cmd {
	cmd := exec.Command(Program, args...)
	cmd.Env = Environment(add...)
	return cmd
}

// Output runs a command that has to go well and gives what it prints.
func Output(t testing.TB, cmd *exec.Cmd) string {
	t.Helper()
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Run(); err != nil {
		t.Fatalf("downdrop %s: %v\n%s%s", strings.Join(cmd.Args[1:], " "), err, &out, &said)
	}
	return out.String()
}

// A Process is the program while it runs.
type Process struct {
	Cmd  *exec.Cmd
	Said *support.Buffer // what it writes to its standard error; shown where the test fails

	t   testing.TB
	out *bufio.Reader
}

// Start starts a command, which is ended with its test.
func Start(t testing.TB, cmd *exec.Cmd) *Process {
	t.Helper()
	p := &Process{Cmd: cmd, Said: &support.Buffer{}, t: t}
	cmd.Stderr = p.Said
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	p.out = bufio.NewReader(out)
	t.Cleanup(func() {
		p.Kill()
		if strings.Contains(p.Said.String(), "DATA RACE") {
			t.Errorf("two do the same at once in the program")
		}
		if said := p.Said.String(); t.Failed() && said != "" {
			t.Logf("it said: %s", said)
		}
	})
	return p
}

// Line gives the next line that is printed and has words in it, as it stands there.
func (p *Process) Line(words string) string {
	p.t.Helper()
	for {
		line, err := p.out.ReadString('\n')
		if err != nil {
			p.t.Fatalf("%q was never printed: %v\n%s", words, err, p.Said)
		}
		if strings.Contains(line, words) {
			return line
		}
	}
}

// PID is the system's number for it.
func (p *Process) PID() int { return p.Cmd.Process.Pid }

// Kill ends the program as a cut of power would.
func (p *Process) Kill() {
	if p.Cmd.ProcessState == nil {
		_ = p.Cmd.Process.Kill() // it may have ended
		_ = p.Cmd.Wait()         // killed
	}
}

// A Server is the program serving a store to this machine.
type Server struct {
	*Process
	Store string
	At    string // http://127.0.0.1:PORT
	key   string // lets one browser in
}

// Serve starts the program over a store, with variables added.
func Serve(t testing.TB, store string, add ...string) *Server {
	t.Helper()
	s := &Server{Process: Start(t, Command(add, "serve", "--store", store, "--listen", "127.0.0.1:0")), Store: store}
	link := s.Link()
	s.At, s.key = "http://"+link.Host, link.Query().Get("key")
	return s
}

// Link is the next link that is shown; each lets one browser in.
func (s *Server) Link() *url.URL {
	s.t.Helper()
	for {
		line := strings.TrimSpace(s.Line("http://"))
		if u, err := url.Parse(line); err == nil && u.Host != "" {
			return u
		}
	}
}

// Client is a browser that the first link let in. It is there once.
func (s *Server) Client() *http.Client {
	s.t.Helper()
	c := Stranger(s.t)
	s.Enter(c, s.key)
	return c
}

// Enter lets a browser in by a key.
func (s *Server) Enter(c *http.Client, key string) {
	s.t.Helper()
	r, err := c.PostForm(s.At+"/enter", url.Values{"key": {key}})
	if err != nil {
		s.t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		s.t.Fatalf("entering: %s", r.Status)
	}
}

// Stranger is a browser that was let in nowhere. It keeps connections for many requests at once.
func Stranger(t testing.TB) *http.Client {
	t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		t.Fatal(err)
	}
	c := &http.Client{Jar: jar, Timeout: time.Minute, Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
	t.Cleanup(c.CloseIdleConnections)
	return c
}
