//go:build unix

// Package failures_test holds those rows of the failure catalogue that want the built program for
// themselves, as people start it: killed while it answers (F13), short of memory (F15), without
// terminal, home or reader (F16), among clients that mean no good (F17). The other rows, and where
// to find them, stand in DEVELOPERS.md.
package failures_test

import (
	"io"
	"net/http"
	"net/url"
	"regexp"
	"syscall"
	"testing"

	"downdrop/testdata/support/built"
)

func TestMain(m *testing.M) { built.Main(m) }

// inShort passes a test over in short runs, as under the race detector: nothing runs at once in the program there, or
// it is about memory and time, which the detector takes for itself.
func inShort(t *testing.T) {
	t.Helper()
	if testing.Short() {
		t.Skip("it says nothing under the race detector")
	}
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
func traces(t *testing.T, s *built.Server) string {
	t.Helper()
	if err := s.Cmd.Process.Signal(syscall.SIGQUIT); err != nil {
		t.Fatal(err)
	}
	_ = s.Cmd.Wait() // by that signal
	return s.Said.String()
}
