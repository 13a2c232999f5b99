package main

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"time"
)

// Most faults are noticed by a test that takes no time. Those tests are asked first, by
// themselves: what a test takes is measured once a start, without a fault. Not kept from one start to the next, since
// tests that fail for another reason, a database that is down, would be taken for faults that were noticed.
const (
	quick    = 300 * time.Millisecond // a test that takes no longer may be asked first
	quickAll = 5 * time.Second        // as may as many as take this together
)

var errNoticed = errors.New("a test failed")

// A noticedBy says the first test that failed: one that needs a browser or a clock may have failed for another reason,
// and is asked again by hand.
type noticedBy string

func (n noticedBy) Error() string        { return "failed: " + string(n) }
func (n noticedBy) Is(target error) bool { return target == errNoticed }

// A measured package has the names of its tests that take little, the quickest first.
type measured map[string][]string

// ask runs the tests of package t with the fault that overlay lays over. The error is errNoticed
// where they notice it, and the context's where their time ran out.
func (all measured) ask(overlay, t string, within time.Duration) error {
	first, err := all.quickTests(t, within)
	if err != nil {
		return err
	}
	bin := filepath.Join(filepath.Dir(overlay), "fault.test")
	if _, err := command(overlay, within, ".", "go", "test", "-c", "-vet=off", "-o", bin, "./"+t); err != nil {
		return errNoticed // the package compiles, its tests no longer do
	}
	these := "^(" + strings.Join(first, "|") + ")$"
	if len(first) > 0 {
		if _, err := command(overlay, within, t, bin, "-test.v", "-test.failfast", "-test.run="+these); err != nil {
			return err
		}
	}
	_, err = command(overlay, within, t, bin, "-test.v", "-test.failfast", "-test.skip="+these)
	return err
}

var failed = regexp.MustCompile(`(?m)^ *--- FAIL: (\S+)`)

var took = regexp.MustCompile(`(?m)^--- PASS: (\w+) \(([0-9.]+)s\)$`)

// quickTests are the tests of package t that take little, the quickest first. A package whose tests do
// not pass without a fault is an error.
func (all measured) quickTests(t string, within time.Duration) ([]string, error) {
	if names, known := all[t]; known {
		return names, nil
	}
	out, err := command("", within, ".", "go", "test", "-v", "-vet=off", "-count=1", "./"+t)
	if err != nil {
		return nil, fmt.Errorf("%s without a fault: %w\n%s", t, err, out)
	}
	seconds := map[string]float64{}
	for _, m := range took.FindAllSubmatch(out, -1) {
		seconds[string(m[1])], _ = strconv.ParseFloat(string(m[2]), 64)
	}
	names := slices.Sorted(keys(seconds))
	slices.SortStableFunc(names, func(a, b string) int { return cmp.Compare(seconds[a], seconds[b]) })
	sum := 0.
	for i, n := range names {
		sum += seconds[n]
		if seconds[n] > quick.Seconds() || sum > quickAll.Seconds() {
			names = names[:i]
			break
		}
	}
	all[t] = names
	return names, nil
}

// command runs a program in a folder with the fault laid over, and ends all that it started. The
// first test that fails ends it too: -failfast waits for those that run beside it.
func command(overlay string, within time.Duration, folder, name string, args ...string) ([]byte, error) {
	ctx, cancel := context.WithTimeout(context.Background(), within)
	defer cancel()
	c := exec.CommandContext(ctx, name, args...)
	c.Dir, c.Env = folder, os.Environ()
	if overlay != "" {
		c.Env = append(c.Env, "GOFLAGS=-overlay="+overlay, "TMPDIR="+filepath.Dir(overlay)) // what a test that is ended leaves goes with it
	}
	c.SysProcAttr = &syscall.SysProcAttr{Setpgid: true}
	c.WaitDelay = 10 * time.Second
	c.Cancel = func() error { return syscall.Kill(-c.Process.Pid, syscall.SIGKILL) }
	var out bytes.Buffer
	noticed := false
	both := &watched{to: &out, failed: func() { noticed = true; cancel() }}
	c.Stdout, c.Stderr = both, both // one writer, so that one goroutine writes
	err := c.Run()
	switch {
	case err == nil:
		return out.Bytes(), nil
	case !noticed && ctx.Err() != nil:
		return out.Bytes(), ctx.Err()
	}
	first := ""
	if m := failed.FindSubmatch(out.Bytes()); m != nil {
		first = string(m[1])
	}
	return out.Bytes(), noticedBy(first)
}

// watched keeps what is printed and says when a test, however deep, has failed.
type watched struct {
	to     *bytes.Buffer
	failed func()
	line   []byte
}

func (w *watched) Write(p []byte) (int, error) {
	w.to.Write(p)
	w.line = append(w.line, p...)
	for {
		end := bytes.IndexByte(w.line, '\n')
		if end < 0 {
			return len(p), nil
		}
		if bytes.HasPrefix(bytes.TrimLeft(w.line[:end], " "), []byte("--- FAIL: ")) {
			w.failed()
		}
		w.line = w.line[end+1:]
	}
}
