// Package support is what tests of several packages need.
package support

import (
	"bytes"
	"os"
	"os/exec"
	"runtime/debug"
	"strconv"
	"sync"
	"testing"
)

// Tests have memory to spare: an eighth of their time went into collecting it. Programs that they
// start collect as they do.
func init() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(400)
	}
}

// A Buffer may be written by one and read by another at the same time.
type Buffer struct {
	mu sync.Mutex
	b  bytes.Buffer
}

func (b *Buffer) Write(p []byte) (int, error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.Write(p)
}

func (b *Buffer) String() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.b.String()
}

// Alone passes a test over in which nothing runs at once where tests are short, as under the race
// detector, which finds nothing there and is very slow.
func Alone(t testing.TB) {
	t.Helper()
	if testing.Short() {
		t.Skip("nothing runs at once here")
	}
}

// Deep is how many random trials to make: n, times the environment's
// DOWNDROP_DEEP where that is set. With -short, as under the race detector, which
// is ten times slower and finds a race in the first trials or not at all, it is a
// fifth.
func Deep(t testing.TB, n int) int {
	t.Helper()
	if testing.Short() {
		return max(1, n/5)
	}
	text := os.Getenv("DOWNDROP_DEEP")
	if text == "" {
		return n
	}
	factor, err := strconv.Atoi(text)
	if err != nil || factor < 1 {
		t.Fatalf("DOWNDROP_DEEP is %q; a whole number from 1 is wanted", text)
	}
	return n * factor
}

// Need is the path of a program that a test cannot do without. Where it is
// lacking the test is skipped, but never in CI.
func Need(t testing.TB, program string) string {
	t.Helper()
	path, err := exec.LookPath(program)
	if err == nil {
		return path
	}
	if os.Getenv("CI") != "" {
		t.Fatalf("%s is needed and not there: %v", program, err)
	}
	t.Skipf("%s is needed and not there", program)
	return ""
}

// NeedVariable is an environment variable that a test cannot do without, such as the
// address of a server. Where it is not set the test is skipped, but never in CI.
func NeedVariable(t testing.TB, name string) string {
	t.Helper()
	value := os.Getenv(name)
	if value == "" {
		if os.Getenv("CI") != "" {
			t.Fatalf("%s has to be set", name)
		}
		t.Skipf("%s is not set", name)
	}
	return value
}

// Says compares sentences, each as it comes out and as it has to be.
func Says(t testing.TB, rows [][2]string) {
	t.Helper()
	for _, r := range rows {
		if r[0] != r[1] {
			t.Errorf("says  %q\nwants %q", r[0], r[1])
		}
	}
}
