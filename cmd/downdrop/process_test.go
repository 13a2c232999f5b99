//go:build unix

package main

import (
	"bytes"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"
)

// command is this binary as downdrop, in a process of its own.
func command(t *testing.T, args ...string) *exec.Cmd {
	t.Helper()
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), asCommand+"=1")
	return cmd
}

func TestInterruptionEndsAtOnce(t *testing.T) {
	for signal, want := range map[syscall.Signal]int{syscall.SIGINT: 130, syscall.SIGTERM: 143} {
		cmd := command(t, "diagnose", "-")
		stdin, err := cmd.StdinPipe() // never closed before the end
		if err != nil {
			t.Fatal(err)
		}
		var said bytes.Buffer
		cmd.Stderr = &said
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		// The command listens for signals before it reads, so once it takes input it listens.
		if _, err := io.WriteString(stdin, strings.Repeat("#\n", 1<<17)); err != nil {
			t.Fatal(err)
		}
		if err := cmd.Process.Signal(signal); err != nil {
			t.Fatal(err)
		}
		err = cmd.Wait()
		stdin.Close()
		if got := cmd.ProcessState.ExitCode(); got != want || said.Len() > 0 {
			t.Errorf("%v: exit code %d, want %d (%v), said %q", signal, got, want, err, said.String())
		}
	}
}

func TestReaderThatLeavesIsNoError(t *testing.T) {
	cmd := command(t, "diagnose", "--rulebase", "testdata/small", "--detail")
	read, write, err := os.Pipe()
	if err != nil {
		t.Fatal(err)
	}
	var said bytes.Buffer
	cmd.Stdout, cmd.Stderr = write, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	read.Close()
	write.Close()
	_ = cmd.Wait() // whichever way it ends, it says nothing
	if said.Len() > 0 {
		t.Errorf("said %q", said.String())
	}
}

// Every command waits for what all packages make before main begins. A table of the
// words of a format is little; expressions, templates and the like are made when first
// needed. What is counted is what they allocate: it is the same on every machine.
func TestPackagesMakeLittleBeforeMain(t *testing.T) {
	cmd := command(t, "version")
	cmd.Env = append(cmd.Env, "GODEBUG=inittrace=1")
	said, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, said)
	}
	seen := 0
	for _, m := range regexp.MustCompile(`(?m)^init (downdrop/\S+) .* (\d+) bytes, (\d+) allocs$`).FindAllStringSubmatch(string(said), -1) {
		if strings.Contains(m[1], "testdata") {
			continue
		}
		seen++
		most := 12 << 10
		switch m[1] {
		case "downdrop/rulebase": // the words of expressions and of the sections
			most = 20 << 10
		case "downdrop/cmd/downdrop": // words of help and of completion, and what these tests make
			most = 70 << 10
		}
		if n, _ := strconv.Atoi(m[2]); n > most {
			t.Errorf("%s makes %d bytes before main, at most %d are wanted: make it when it is first needed (sync.OnceValue)", m[1], n, most)
		}
	}
	if seen < 10 {
		t.Errorf("only %d packages of ours were traced:\n%s", seen, said)
	}
}

// BenchmarkCold is what somebody waits for who types a command: a new process that
// reads the shipped rulebase and a case, and answers. Beside it runs a bare
// program with cobra, built in the same run: what no program of this kind can go
// below.
func BenchmarkCold(b *testing.B) {
	examples, err := filepath.Glob("../../cases/examples/*.yaml")
	if err != nil || len(examples) == 0 {
		b.Fatalf("no examples: %v", err)
	}
	dir := b.TempDir()
	ours, hello := build(b, dir, "."), build(b, dir, "./testdata/hello")
	for _, example := range examples {
		b.Run(strings.TrimSuffix(filepath.Base(example), ".yaml"), func(b *testing.B) {
			var cold, floor, busy, memory []float64
			for b.Loop() {
				a := startOf(b, ours, "diagnose", example)
				cold, busy, memory = append(cold, a.ms), append(busy, a.busy), append(memory, a.mib)
				floor = append(floor, startOf(b, hello).ms)
			}
			b.ReportMetric(median(cold), "ms")
			b.ReportMetric(median(busy), "cpu-ms")
			b.ReportMetric(median(floor), "hello-ms")
			b.ReportMetric(median(cold)/median(floor), "times-hello")
			b.ReportMetric(slices.Max(memory), "MiB")
		})
	}
}

func build(b *testing.B, dir, pkg string) string {
	b.Helper()
	out := filepath.Join(dir, filepath.Base(pkg)+".bin")
	cmd := exec.Command("go", "build", "-trimpath", "-o", out, pkg)
	cmd.Env = append(os.Environ(), "CGO_ENABLED=0") // as it is given away
	if text, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	return out
}

// A start is what running a program once took: wall time and processor time in
// milliseconds, and its largest resident set in MiB. Processor time hardly moves
// when the machine has other work.
type start struct{ ms, busy, mib float64 }

func startOf(b *testing.B, name string, args ...string) start {
	b.Helper()
	cmd := exec.Command(name, args...)
	begin := time.Now()
	if text, err := cmd.CombinedOutput(); err != nil {
		b.Fatalf("%v: %s", err, text)
	}
	wall, state := time.Since(begin), cmd.ProcessState
	return start{
		ms:   wall.Seconds() * 1000,
		busy: (state.UserTime() + state.SystemTime()).Seconds() * 1000,
		mib:  float64(state.SysUsage().(*syscall.Rusage).Maxrss) / 1024, // KiB on Linux
	}
}

func median(all []float64) float64 {
	all = slices.Sorted(slices.Values(all))
	return all[len(all)/2]
}
