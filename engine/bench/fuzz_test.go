package bench_test

import (
	"errors"
	"strings"
	"testing"
	"time"

	"downdrop/engine/bench"
	"downdrop/testdata/support/shipped"
)

// Whatever is typed at the bench is taken in, or answered by what to type instead; and a run
// is the same from its events alone at any time.
func FuzzTyped(f *testing.F) {
	for _, typed := range []string{"bench-2\nno\nno\nread\nAB-1\nok\nundo\nundo\nundo", "stop", "note \x00\nnot done: no time\nnot done no meter", "bench 2\nyes\nyes\n24.1 V\nOL\n4k7\nmin 1 max 2\n0 of 1000\n\xff\nNaN", "x\nno\nno\nread\nout\nfit\n1e999 V\n-0 V\n,"} {
		f.Add(typed, false)
		f.Add(typed, true)
	}
	base := shipped.Base(f)
	procedures, err := base.Procedures()
	if err != nil {
		f.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, typed string, last bool) {
		procedure, profile := procedures[0], profiles[0]
		if last {
			procedure, profile = procedures[len(procedures)-1], profiles[len(profiles)-1]
		}
		events := []bench.Event{bench.Append(nil, bench.Event{Kind: bench.Begun}, noon)}
		for i, entry := range strings.SplitN(typed, "\n", 60) {
			s, err := bench.Run(procedure, profile, events)
			if err != nil {
				t.Fatal(err)
			}
			draft, err := s.Enter(entry)
			var asked *bench.Asked
			switch {
			case errors.Is(err, bench.ErrStop):
				continue
			case errors.As(err, &asked) && asked.Says != "":
				continue
			case err != nil:
				t.Fatalf("%q is answered by %v", entry, err)
			}
			events = append(events, bench.Append(events, draft, noon.Add(time.Duration(i)*time.Minute)))
		}
		if err := bench.Check(events); err != nil {
			t.Fatal(err)
		}
		if _, err := bench.Run(procedure, profile, events); err != nil {
			t.Fatalf("what was taken in is no run: %v", err)
		}
	})
}
