//go:build unix

package main

import (
	"bufio"
	"io"
	"path/filepath"
	"strings"
	"testing"

	"downdrop/testdata/support"
)

// The acceptance is killed at every step, each time while it waits there, and gone on with: it
// stands where it stood, and comes to the same end.
func TestKilledAtEveryStep(t *testing.T) {
	dir := t.TempDir()
	typed, steps := typedFor(t, "acceptance")
	file := filepath.Join(dir, "killed.jsonl")
	args := []string{"bench", "run", "acceptance", "--unit", "quay_24", "--file", file, "--answers", "-"}
	every := max(1, 4/support.Deep(t, 4)) // all of them, but under -short
	if testing.Short() {
		every = 8
	}
	kills := 0
	for at := 0; at < len(typed); {
		to := at + 1
		for to < len(typed) && (steps[to] == steps[at] || kills%every != 0) {
			to++
		}
		kills++
		cmd := command(t, args...)
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if _, err := io.WriteString(in, strings.Join(typed[at:to], "\n")+"\n"); err != nil {
			t.Fatal(err)
		}
		// One prompt more than there are entries: it waits for the next one, or it came to its end.
		read, prompts := bufio.NewReader(out), 0
		for prompts <= to-at {
			b, err := read.ReadByte()
			if err != nil {
				break
			}
			if b == '>' {
				if next, _ := read.Peek(1); len(next) == 1 && next[0] == ' ' {
					prompts++
				}
			}
		}
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		if r := resultOf(t, file); r.Events != to+1 {
			t.Fatalf("killed at %s: %d entries are kept of %d", steps[at], r.Events-1, to)
		}
		at = to
		args = []string{"bench", "resume", file, "--answers", "-"}
	}
	if r := resultOf(t, file); r.Verdict != "good" || len(r.InPlace) > 0 {
		t.Errorf("after %d kills: %+v", kills, r)
	}
	t.Logf("%d kills", kills)
}
