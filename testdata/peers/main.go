// Command peers runs downdrop's engine beside general-purpose libraries and beside
// floors: what hand-written Go, memory or the disk itself would take. None of the
// libraries is made for downdrop's job; each does one part of it for anybody.
//
// All entrants of a comparison answer the same questions, made from a seed, take
// turns within one run, and have to agree: a wrong answer ends the run. What is
// printed are ratios and growth with size; the times beside them say little on a
// machine that has other work, and its load average stands at the top and the end.
package main

import (
	"flag"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/sys/unix"
)

var (
	seed   = flag.Int64("seed", 1, "the seed of every workload")
	rounds = flag.Int("rounds", 9, "how often the entrants of a comparison take turns")
	large  = flag.Bool("large", false, "go up to 100,000 rules and 100,000 cases as well: minutes, and 2 GiB")
)

// A part is one comparison or several of one kind.
type part struct {
	name string
	run  func()
}

func main() {
	flag.Usage = func() {
		fmt.Fprintln(os.Stderr, "usage: peers [flags] [PART]...\n\nparts:", strings.Join(names(), " "))
		flag.PrintDefaults()
	}
	flag.Parse()
	for _, a := range flag.Args() {
		if !slices.Contains(names(), a) {
			fmt.Fprintf(os.Stderr, "no part %q; there are %s\n", a, strings.Join(names(), ", "))
			os.Exit(3)
		}
	}
	fmt.Printf("%s, %d cores, seed %d, load average %s\n", runtime.Version(), runtime.NumCPU(), *seed, loadAverage())
	for _, p := range parts {
		if flag.NArg() == 0 || slices.Contains(flag.Args(), p.name) {
			p.run()
			runtime.GC()
		}
	}
	fmt.Printf("\nload average at the end %s\n", loadAverage())
}

var parts = []part{{"condition", conditions}, {"rules", rules}, {"ready", ready}, {"asia", asia}, {"gains", gains}, {"trees", trees}, {"store", store}, {"joins", joins}, {"start", starts}}

func names() []string {
	var all []string
	for _, p := range parts {
		all = append(all, p.name)
	}
	return all
}

func loadAverage() string {
	text, err := os.ReadFile("/proc/loadavg")
	if err != nil {
		return "not known"
	}
	return strings.Join(strings.Fields(string(text))[:3], " ")
}

// must ends the run: figures beside a wrong answer are worth nothing.
func must(err error) {
	if err != nil {
		fmt.Fprintln(os.Stderr, "peers:", err)
		os.Exit(1)
	}
}

func mustBe(ok bool, format string, args ...any) {
	if !ok {
		must(fmt.Errorf(format, args...))
	}
}

// An entrant is one way of doing what a comparison is about.
type entrant struct {
	name  string
	reset func() // back to the beginning, not timed; nil: nothing to do
	run   func() // does it `per` times
	per   int
	// every says in which rounds it runs: each that it divides; 0 is 1. What is a
	// thousand times slower than the rest does not have to run nine times.
	every int
}

// took is nanoseconds for once, by entrant.
type took map[string]float64

// race lets all entrants take turns and prints processor time, that of collecting
// garbage included. Others on the machine can only add to it: what is compared is the
// least, and the median stands beside it to show how far off they were.
func race(title string, entrants ...entrant) took {
	return raceBy(processorTime, false, title, entrants)
}

// raceByClock is for what waits for a disk; medians are compared.
func raceByClock(title string, entrants ...entrant) took {
	begin := time.Now()
	return raceBy(func() time.Duration { return time.Since(begin) }, true, title, entrants)
}

func raceBy(clock func() time.Duration, medians bool, title string, entrants []entrant) took {
	times := map[string][]float64{}
	for round := range *rounds {
		for _, e := range entrants {
			if round%max(1, e.every) != 0 {
				continue
			}
			if e.reset != nil {
				e.reset()
			}
			start := clock()
			e.run()
			times[e.name] = append(times[e.name], float64(max(1, clock()-start))/float64(e.per))
		}
	}
	what := "processor time: least, median"
	if medians {
		what = "by the clock: median, most"
	}
	fmt.Printf("\n%s\n  %-52s %s\n", title, "", what)
	t := took{}
	for _, e := range entrants {
		all := times[e.name]
		slices.Sort(all)
		first, second := all[0], all[len(all)/2]
		if medians {
			first, second = second, all[len(all)-1]
		}
		t[e.name] = first
		fmt.Printf("  %-52s %10s %10s   x%.4g\n", e.name, short(first), short(second), first/t[entrants[0].name])
	}
	return t
}

// processorTime is what this process has used of all cores.
func processorTime() time.Duration {
	var t unix.Timespec
	must(unix.ClockGettime(unix.CLOCK_PROCESS_CPUTIME_ID, &t))
	return time.Duration(t.Nano())
}

func ratio(a, b float64) float64 { return a / max(1e-9, b) }

func short(ns float64) string {
	switch {
	case ns < 1e4:
		return fmt.Sprintf("%.4g ns", ns)
	case ns < 1e7:
		return fmt.Sprintf("%.4g us", ns/1e3)
	case ns < 1e10:
		return fmt.Sprintf("%.4g ms", ns/1e6)
	}
	return fmt.Sprintf("%.3g s", ns/1e9)
}

// goal prints what was reached beside what is wanted.
func goal(what string, measured, limit float64, atLeast bool) {
	met, sign := measured <= limit, "at most"
	if atLeast {
		met, sign = measured >= limit, "at least"
	}
	word := "met"
	if !met {
		word = "MISSED"
	}
	fmt.Printf("  goal: %s: %.4g, wanted %s %.4g: %s\n", what, measured, sign, limit, word)
}
