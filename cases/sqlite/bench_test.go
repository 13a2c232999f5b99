package sqlite_test

import (
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

// benchCases is how many invented cases, of some 20 events each, the benchmarks
// work on: DOWNDROP_BENCH_CASES, or a tenth of what a large shop has in years.
func benchCases() int {
	if n, err := strconv.Atoi(os.Getenv("DOWNDROP_BENCH_CASES")); err == nil && n > 0 {
		return n
	}
	return 10_000
}

// big is a filled store, made once and kept in the temporary folder.
func big(b *testing.B) *sqlstore.Store {
	b.Helper()
	path := filepath.Join(os.TempDir(), fmt.Sprintf("downdrop-bench-%d-schema%d.db", benchCases(), sqlstore.SchemaNow))
	s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "quarry"})
	if err != nil {
		b.Fatal(err)
	}
	b.Cleanup(func() { s.Close() })
	n, err := s.Count(ctx)
	if err != nil {
		b.Fatal(err)
	}
	if n == 0 {
		begin := time.Now()
		done, err := s.Import(ctx, storetest.Invented("quarry", benchCases(), 1))
		if err != nil {
			b.Fatal(err)
		}
		b.Logf("%d events came in within %v", done.Added, time.Since(begin).Round(time.Millisecond))
	}
	return s
}

// median of what a benchmark measured, since one slow sync says nothing.
func median(all []time.Duration) time.Duration {
	slices.Sort(all)
	return all[len(all)/2]
}

// BenchmarkAppend writes one event at a time to a large store, and beside it, in the same folder, as many
// bytes as a page, synced: the floor that the disk sets.
func BenchmarkAppend(b *testing.B) {
	s := big(b)
	floor, err := os.CreateTemp(filepath.Dir(s.Where()), "floor-*")
	if err != nil {
		b.Fatal(err)
	}
	defer os.Remove(floor.Name())
	defer floor.Close()
	var events, syncs []time.Duration
	page := make([]byte, 4096)
	run := strconv.FormatInt(time.Now().UnixNano(), 36)
	drafts := storetest.InventedDrafts(b.N/15+1, uint64(time.Now().UnixNano()))
	n := 0
	for _, one := range drafts {
		for _, d := range one {
			if n == b.N {
				break
			}
			n++
			d.ID, d.Subject.ID, d.At = run+d.ID, run+d.Subject.ID, time.Now()
			begin := time.Now()
			if _, err := floor.Write(page); err != nil {
				b.Fatal(err)
			}
			if err := floor.Sync(); err != nil {
				b.Fatal(err)
			}
			middle := time.Now()
			if _, err := s.Append(ctx, d); err != nil {
				b.Fatal(err)
			}
			syncs, events = append(syncs, middle.Sub(begin)), append(events, time.Since(middle))
		}
	}
	e, f := median(events), median(syncs)
	b.ReportMetric(float64(e.Microseconds()), "µs/event")
	b.ReportMetric(float64(f.Microseconds()), "µs/sync")
	b.ReportMetric(float64(e)/float64(f), "×sync")
}

// BenchmarkFind asks what people ask.
func BenchmarkFind(b *testing.B) {
	s := big(b)
	some, err := s.Find(ctx, cases.Query{Limit: 1, Text: "storm"})
	if err != nil || len(some) == 0 {
		b.Fatal(err, some)
	}
	for name, q := range map[string]cases.Query{
		"newest": {}, "open": {Unsettled: true}, "serial": {Serial: some[0].Serial}, "looks_like": {LooksLike: some[0].Serial}, "location": {Location: some[0].Location},
		"cause": {Cause: "unit_dead"}, "symptom": {Symptom: "hum"}, "common_word": {Text: "storm"}, "two_words": {Text: "storm kiln"}, "part_of_a_word": {Text: "torm"},
		"part_of_a_serial": {Text: some[0].Serial[2:6]}, "one_letter": {Text: "q"}, "no_such_word": {Text: "xyzzy"}, "all_at_once": {Text: "night crane", Cause: "fuse_blown", State: cases.StateClosed, Symptom: "hum"},
		"rare_and_common": {Text: some[0].Serial + " storm"}, "month": {From: some[0].Opened.AddDate(0, 0, -30), To: some[0].Opened}, "reference": {Reference: "W-123456"},
	} {
		b.Run(name, func(b *testing.B) {
			var found []cases.Summary
			for b.Loop() {
				if found, err = s.Find(ctx, q); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/find")
			b.ReportMetric(float64(len(found)), "found")
		})
	}
}

// BenchmarkCase reads a case.
func BenchmarkCase(b *testing.B) {
	s := big(b)
	some, err := s.Find(ctx, cases.Query{Limit: 50})
	if err != nil {
		b.Fatal(err)
	}
	i := 0
	for b.Loop() {
		if _, err := s.Case(ctx, some[i%len(some)].ID); err != nil {
			b.Fatal(err)
		}
		i++
	}
}

// BenchmarkVerify goes over the whole store.
func BenchmarkVerify(b *testing.B) {
	s := big(b)
	events, used := 0, support.ProcessorTime()
	for b.Loop() {
		v, err := s.Verify(ctx)
		if err != nil || len(v.Damage) > 0 {
			b.Fatal(err, v.Damage)
		}
		events = v.Events
	}
	per := 1e5 / float64(events) / float64(b.N)
	b.ReportMetric(b.Elapsed().Seconds()*per, "s/100k-events")
	b.ReportMetric((support.ProcessorTime()-used).Seconds()*per, "cpu-s/100k-events") // of all cores: what others do does not count
	b.ReportMetric(peak(), "MiB-peak")
}

// BenchmarkExport writes the whole store out.
func BenchmarkExport(b *testing.B) {
	s := big(b)
	events := 0
	for b.Loop() {
		m, err := cases.Export(ctx, s, nothing{}, cases.ExportOptions{})
		if err != nil {
			b.Fatal(err)
		}
		events = m.Events
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)*1e5/float64(events), "s/100k-events")
	b.ReportMetric(peak(), "MiB-peak")
}

type nothing struct{}

func (nothing) Write(p []byte) (int, error) { return len(p), nil }

// peak is the most memory that the process has had, where the system tells.
func peak() float64 {
	text, err := os.ReadFile("/proc/self/status")
	if err != nil {
		var m runtime.MemStats
		runtime.ReadMemStats(&m)
		return float64(m.Sys) / (1 << 20)
	}
	for line := range strings.Lines(string(text)) {
		if f := strings.Fields(line); len(f) > 1 && f[0] == "VmHWM:" {
			kib, _ := strconv.ParseFloat(f[1], 64)
			return kib / 1024
		}
	}
	return 0
}
