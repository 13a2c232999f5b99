//go:build linux

package failures_test

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/built"
)

// littleMemory is what the program has to do with. What the system would count against it is its
// own memory, without the program itself and files, which the system can let go of. A control
// group would end the program where it takes more, but not everybody may make one: the test looks
// at what it takes instead.
const littleMemory = 64 << 20

// halfOfIt is what Go's part of the program is told to keep to; the rest is for what Go does not count.
const halfOfIt = "GOMEMLIMIT=32MiB"

// anonymous follows the memory that a process has of its own (RssAnon) until stop, and gives the most.
func anonymous(pid int, stop <-chan struct{}) <-chan int {
	most := make(chan int, 1)
	go func() {
		highest := 0
		for {
			text, _ := os.ReadFile(fmt.Sprintf("/proc/%d/status", pid)) // it may have ended
			if _, rest, ok := bytes.Cut(text, []byte("RssAnon:")); ok {
				kB := 0
				_, _ = fmt.Sscan(string(rest), &kB)
				highest = max(highest, kB<<10)
			}
			select {
			case <-stop:
				most <- highest
				return
			case <-time.After(2 * time.Millisecond):
			}
		}
	}()
	return most
}

// within runs the program where memory is short and gives the most that it had.
func within(t *testing.T, args ...string) (ran, int) {
	t.Helper()
	cmd := exec.Command(built.Program, args...)
	cmd.Env = built.Environment(halfOfIt)
	var out, said bytes.Buffer
	cmd.Stdout, cmd.Stderr = &out, &said
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	stop := make(chan struct{})
	most := anonymous(cmd.Process.Pid, stop)
	_ = cmd.Wait() // its exit code tells
	close(stop)
	return ran{codeOf(cmd), out.String(), said.String()}, <-most
}

// F15: a store of many cases is listed, searched, checked, exported and served in 64 MiB.
func TestF15ManyCasesInLittleMemory(t *testing.T) {
	inShort(t)
	store := os.Getenv("DOWNDROP_BENCH_STORE") // of a hundred thousand cases, say
	if store == "" {
		store = filepath.Join(t.TempDir(), "cases.db")
		s, err := sqlite.Open(context.Background(), store, sqlstore.Options{Site: "mill"})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := s.Import(context.Background(), storetest.Invented("quarry", support.Deep(t, 200), 15)); err != nil {
			t.Fatal(err)
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	aside := filepath.Join(t.TempDir(), "copy.jsonl")
	for _, args := range []string{"case list --store " + store, "case find storm --store " + store, "store verify --store " + store, "store backup " + aside + " --store " + store} {
		r, most := within(t, strings.Fields(args)...)
		r.calm(t, args)
		if r.code != 0 || most > littleMemory {
			t.Errorf("%s: %v, %d MiB of memory", args, r, most>>20)
		}
		t.Logf("%s: %d MiB", strings.Fields(args)[:2], most>>20)
	}
	if os.Getenv("DOWNDROP_BENCH_STORE") != "" {
		return // what is written below would stay in it
	}
	s := built.Serve(t, store, halfOfIt)
	stop := make(chan struct{})
	most := anonymous(s.PID(), stop)
	c := s.Client()
	for i := range 20 {
		if status, _, err := post(c, s.At+"/open", url.Values{"form": {fmt.Sprintf("f%d", i)}, "story": {"technician at the drop, drop dead, power light dark"}}); err != nil || status != 200 {
			t.Fatal(status, err)
		}
		r, err := c.Get(s.At + "/")
		if err != nil {
			t.Fatal(err)
		}
		_, _ = io.Copy(io.Discard, r.Body)
		r.Body.Close()
	}
	close(stop)
	if got := <-most; got > littleMemory {
		t.Errorf("the page takes %d MiB", got>>20)
	} else {
		t.Logf("serve: %d MiB", got>>20)
	}
}

// F15: the largest rulebase that may come from elsewhere is looked over, or what is wrong with it told,
// in the memory that is promised for it; a case is diagnosed on the shipped one in 64 MiB.
func TestF15LargestRulebaseInLittleMemory(t *testing.T) {
	inShort(t)
	r, most := within(t, "diagnose", "--at", "phone", "--see", "power_light=dark")
	if r.calm(t, "diagnose"); r.code != 0 || most > littleMemory {
		t.Errorf("diagnose: %v, %d MiB of memory", r, most>>20)
	}
	t.Logf("diagnose on the shipped rulebase: %d MiB", most>>20)
	dir := t.TempDir()
	var b strings.Builder
	b.WriteString("rulebase: {name: x, version: 1}\ncauses:\n")
	for i := 0; b.Len() < rulebase.StrangersBytes-200 && i < rulebase.StrangersValues/6; i++ {
		fmt.Fprintf(&b, "  c%d: {name: \"the part of number %d is worn out, and nobody has looked at it for many years\", per_thousand: 1, source: common_practice}\n", i, i)
	}
	if err := os.WriteFile(filepath.Join(dir, "a.yaml"), []byte(b.String()), 0o600); err != nil {
		t.Fatal(err)
	}
	const promised = 256 << 20
	for _, args := range [][]string{{"check", "--untrusted", dir}, {"diagnose", "--rulebase", dir, "--see", "c1=yes"}} {
		r, most := within(t, args...)
		if r.calm(t, args[0]); r.code > 5 || r.out+r.said == "" || most > promised {
			t.Errorf("%v: %v, %d MiB of memory", args, r, most>>20)
		}
		t.Logf("%s of %d bytes: exit code %d, %d MiB", args[0], b.Len(), r.code, most>>20)
	}
}
