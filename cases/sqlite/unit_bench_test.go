package sqlite_test

import (
	"fmt"
	"path/filepath"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
)

// BenchmarkMonth counts a month over five thousand units with six entries each. Its floor is
// the same count over units that are folded already.
func BenchmarkMonth(b *testing.B) {
	ctx := b.Context()
	day := time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC)
	s, err := sqlite.Open(ctx, filepath.Join(b.TempDir(), "units.db"), sqlstore.Options{Now: func() time.Time { return day }, Program: "bench"})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	const units = 5000
	var drafts []cases.Draft
	for i := range units {
		u := cases.Unit{Type: fmt.Sprint("type ", i%7), Serial: fmt.Sprint(i)}
		for n, d := range []cases.Draft{cases.Say(cases.KindReceived, cases.Receipt{Unit: u}), cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed}),
			cases.Say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Why: "tested", Verdict: cases.UnitBad}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopInRepair, Why: "agreed"}),
			cases.Say(cases.KindMoved, cases.Move{To: cases.ShopInTest, Why: "repaired"}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopReleased, Why: "passed"})} {
			d.ID, d.Subject, d.At = fmt.Sprintf("u%d-%d", i, n), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}, day.Add(time.Duration(i%600+n)*time.Hour)
			drafts = append(drafts, d)
		}
	}
	for len(drafts) > 0 {
		n := min(len(drafts), 600)
		if _, err := s.Append(ctx, drafts[:n]...); err != nil {
			b.Fatal(err)
		}
		drafts = drafts[n:]
	}
	var cards []*cases.Card
	count := func(add func(*cases.MonthTable) error) time.Duration {
		began := time.Now()
		table := cases.NewMonthTable(day, day.AddDate(0, 1, 0))
		if err := add(table); err != nil {
			b.Fatal(err)
		}
		if m := table.Month(); m.All.Received != units || len(m.Types) != 7 {
			b.Fatalf("%+v", m.All)
		}
		return time.Since(began)
	}
	if err := cases.Units(ctx, s, func(c *cases.Card) error { cards = append(cards, c); return nil }); err != nil {
		b.Fatal(err)
	}
	var whole, floor time.Duration
	for b.Loop() {
		whole += count(func(t *cases.MonthTable) error {
			return cases.Units(ctx, s, func(c *cases.Card) error { t.Add(c); return nil })
		})
		floor += count(func(t *cases.MonthTable) error {
			for _, c := range cards {
				t.Add(c)
			}
			return nil
		})
	}
	b.ReportMetric(float64(whole.Microseconds())/float64(b.N)/units, "µs/unit")
	b.ReportMetric(float64(whole)/float64(floor), "×floor")
}
