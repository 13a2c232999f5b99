package main

import (
	"bytes"
	"context"
	"encoding/json"
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
// themselves: what a test takes is measured once, without a fault, and kept beside the results.
const (
	quick    = 300 * time.Millisecond // a test that takes no longer may be asked first
	quickAll = 5 * time.Second        // as may as many as take this together
)

var errNoticed = errors.New("a test failed")

// ask runs the tests of package t with the fault that overlay lays over. The error is errNoticed
// where they notice it, and the context's where their time ran out.
func ask(overlay, t string, within time.Duration, times string) error {
	first, err := quickTests(t, within, times)
	if err != nil {
		return err
	}
	bin := filepath.Join(filepath.Dir(overlay), "fault.test")
	if _, err := command(overlay, within, ".", "go", "test", "-c", "-vet=off", "-o", bin, "./"+t); err != nil {
		return errNoticed // the package compiles, its tests no longer do
	}
	these := "^(" + strings.Join(first, "|") + ")$"
	if len(first) > 0 {
		if _, err := command(overlay, within, t, bin, "-test.v", "-test.failfast", "-test.run", these); err != nil {
			return err
		}
	}
	_, err = command(overlay, within, t, bin, "-test.v", "-test.failfast", "-test.skip", these)
	return err
}

var took = regexp.MustCompile(`(?m)^--- PASS: (\w+) \(([0-9.]+)s\)$`)

// quickTests are the tests of package t that take little, the quickest first. A package whose tests do
// not pass without a fault is an error.
func quickTests(t string, within time.Duration, times string) ([]string, error) {
	known := map[string]map[string]float64{}
	if text, err := os.ReadFile(times); err == nil {
		if err := json.Unmarshal(text, &known); err != nil {
			return nil, fmt.Errorf("%s: %w", times, err)
		}
	} else if !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	if known[t] == nil {
		out, err := command("", within, ".", "go", "test", "-v", "-vet=off", "-count=1", "./"+t)
		if err != nil {
			return nil, fmt.Errorf("%s without a fault: %w\n%s", t, err, out)
		}
		known[t] = map[string]float64{}
		for _, m := range took.FindAllSubmatch(out, -1) {
			known[t][string(m[1])], _ = strconv.ParseFloat(string(m[2]), 64)
		}
		text, err := json.Marshal(known)
		if err != nil {
			return nil, err
		}
		if err := os.WriteFile(times, text, 0o666); err != nil {
			return nil, err
		}
	}
	names := slices.Sorted(keys(known[t]))
	slices.SortStableFunc(names, func(a, b string) int {
		switch x, y := known[t][a], known[t][b]; {
		case x < y:
			return -1
		case x > y:
			return 1
		}
		return 0
	})
	sum := 0.
	for i, n := range names {
		sum += known[t][n]
		if known[t][n] > quick.Seconds() || sum > quickAll.Seconds() {
			return names[:i], nil
		}
	}
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
	return out.Bytes(), errNoticed
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
