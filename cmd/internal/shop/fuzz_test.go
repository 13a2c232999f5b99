package shop

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"slices"
	"testing"
	"time"

	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

var noon = time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)

// mendedRun chains the events of a run's file anew, so that what is fuzzed is what they say.
func mendedRun(text []byte) []byte {
	var out bytes.Buffer
	var events []bench.Event
	for line := range bytes.Lines(text) {
		var e bench.Event
		if json.Unmarshal(line, &e) != nil || len(events) > 100 {
			out.Write(line)
			continue
		}
		events = append(events, bench.Append(events, e, e.At))
		sealed, err := json.Marshal(events[len(events)-1])
		if err != nil {
			return text
		}
		out.Write(append(sealed, '\n'))
	}
	return out.Bytes()
}

// Whatever a file holds, it is a run that goes on, or refused in words; reading it changes
// nothing, and opening it takes away at most a last line that was cut off.
func FuzzRun(f *testing.F) {
	base := shipped.Base(f)
	procedures, err := base.Procedures()
	if err != nil {
		f.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		f.Fatal(err)
	}
	p := slices.MinFunc(procedures, func(a, b *rulebase.Procedure) int { return len(a.Text) - len(b.Text) })
	events := []bench.Event{bench.Append(nil, Begun(base, p, profiles[0], "test"), noon)}
	for range 3 {
		s, err := bench.Run(p, profiles[0], events)
		if err != nil {
			f.Fatal(err)
		}
		draft, err := s.Enter("no")
		if err != nil {
			break
		}
		events = append(events, bench.Append(events, draft, noon))
	}
	var text []byte
	for _, e := range events {
		line, err := json.Marshal(e)
		if err != nil {
			f.Fatal(err)
		}
		text = append(append(text, line...), '\n')
	}
	f.Add(text)
	f.Add(text[:len(text)-5])
	f.Add([]byte(`{"seq":1,"kind":"begun","values":{"procedure_text":"procedure: x","unit_text":"unit: y"}}` + "\n"))
	f.Add([]byte("\n\n"))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, text []byte) {
		for _, text := range [][]byte{text, mendedRun(text)} {
			name := filepath.Join(dir, "run.jsonl")
			if err := os.WriteFile(name, text, 0o600); err != nil {
				t.Fatal(err)
			}
			r, err := ReadRun(name)
			opened, of := OpenRun(name)
			if (err == nil) != (of == nil) {
				t.Fatalf("read %v, opened %v", err, of)
			}
			if err != nil {
				if err.Error() == "" {
					t.Fatal("nothing was said")
				}
				continue
			}
			opened.Close()
			if left, err := os.ReadFile(name); err != nil || !bytes.Equal(left, r.Text) || !bytes.HasPrefix(text, left) {
				t.Fatalf("opening left other lines than it read: %v", err)
			}
			s, err := r.State(base)
			if err != nil {
				if err.Error() == "" {
					t.Fatal("nothing was said")
				}
				continue
			}
			_, _ = s.Enter("24 V")
			s.Counted()
		}
	})
}

// An amount is a number, or there is a sentence that says how to write it; parts are read or the
// first bad one is named.
func FuzzAmount(f *testing.F) {
	for _, text := range []string{"12.50", "30%", "1e400", "1/0", "0x1p99999", "1_000", "-3", "100.000000001 %", "2 x relay@lot 17", " x @", "99999999999999999999 x fuse"} {
		for _, name := range []string{"bad", "downtime", "spares", "age"} {
			f.Add(name, text)
		}
	}
	f.Fuzz(func(t *testing.T, name, text string) {
		x, err := Amount(name, text)
		if (x == nil) == (err == nil) || err != nil && err.Error() == "" {
			t.Fatalf("%v, %v", x, err)
		}
		if parts, bad, ok := ReadParts([]string{text}); ok && len(parts) != 1 || !ok && bad != text {
			t.Fatalf("%q: %v, %q", text, parts, bad)
		}
	})
}
