//go:build unix

// Package failures_test holds those rows of the failure catalogue that want the built program for
// themselves, as people start it: killed while it answers (F13), short of memory (F15), without
// terminal, home or reader (F16), among clients that mean no good (F17). The other rows, and where
// to find them, stand in DEVELOPERS.md.
package failures_test

import (
	"bufio"
	"bytes"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"
)

// command is the program, built once.
var command string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "downdrop-failures")
	if err == nil {
		command = filepath.Join(dir, "downdrop")
		build := exec.Command("go", "build", "-o", command, "downdrop/cmd/downdrop")
		build.Stderr = os.Stderr
		err = build.Run()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "build the program:", err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// inShort passes a test over that says nothing under the race detector, which does not see into another process.
func inShort(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("it is about another process")
	}
}

// plain is an environment in which nothing of ours is set, with what a test adds.
func plain(add ...string) []string {
	return append([]string{"PATH=" + os.Getenv("PATH"), "HOME=" + os.Getenv("HOME"), "TMPDIR=" + os.TempDir()}, add...)
}

// A server is the program serving a store.
type server struct {
	t    testing.TB
	at   string // http://127.0.0.1:PORT
	key  string // lets one browser in
	run  *exec.Cmd
	said *said
}

// said is what the program writes to its standard error.
type said struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (s *said) Write(p []byte) (int, error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.Write(p)
}

func (s *said) String() string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.b.String()
}

// serve starts the program over a store.
func serve(t testing.TB, store string, env ...string) *server {
	t.Helper()
	s := &server{t: t, said: &said{}}
	s.run = exec.Command(command, "serve", "--store", store, "--listen", "127.0.0.1:0")
	s.run.Env, s.run.Stderr = plain(env...), s.said
	out, err := s.run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := s.run.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.kill)
	lines := bufio.NewReader(out)
	for s.at == "" {
		line, err := lines.ReadString('\n')
		if err != nil {
			t.Fatalf("no link was shown: %v\n%s", err, s.said)
		}
		if u, err := url.Parse(strings.TrimSpace(line)); err == nil && u.Host != "" {
			s.at, s.key = "http://"+u.Host, u.Query().Get("key")
		}
	}
	go io.Copy(io.Discard, lines) //nolint:errcheck // it ends with the program
	return s
}

// kill ends the program as a cut of power would.
func (s *server) kill() {
	if s.run.ProcessState == nil {
		_ = s.run.Process.Kill() // it may have ended
		_ = s.run.Wait()
	}
}

// client is a browser that was let in.
func (s *server) client() *http.Client {
	s.t.Helper()
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	c := &http.Client{Jar: jar, Timeout: time.Minute, Transport: &http.Transport{MaxIdleConnsPerHost: 64}}
	r, err := c.PostForm(s.at+"/enter", url.Values{"key": {s.key}})
	if err != nil {
		s.t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		s.t.Fatalf("entering: %s", r.Status)
	}
	return c
}

// post sends a form and gives the answer, or why there is none.
func post(c *http.Client, to string, form url.Values) (status int, body string, err error) {
	r, err := c.PostForm(to, form)
	if err != nil {
		return 0, "", err
	}
	defer r.Body.Close()
	text, err := io.ReadAll(r.Body)
	return r.StatusCode, string(text), err
}

var (
	codeRE = regexp.MustCompile(`/case/([0-9A-Z]{6})`)
	httpAt = regexp.MustCompile(`http://127\.0\.0\.1:[0-9]+`)
)

// traces asks the program for a trace of all that runs in it, which ends it.
func (s *server) traces() string {
	s.t.Helper()
	if err := s.run.Process.Signal(syscall.SIGQUIT); err != nil {
		s.t.Fatal(err)
	}
	_ = s.run.Wait() // by that signal
	return s.said.String()
}
