package cases_test

import (
	"fmt"
	"math/rand/v2"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/cases"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// In which order closed cases stand in a store or an export is an accident: no score, no interval and no share that
// chance alone explains may follow from it.
func TestScoresKnowNoOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(21, 3))
	last := cmpopts.EquateApprox(1e-12, 1e-12)
	for i := range support.Deep(t, 6) {
		var all []*cases.Replayed
		for n := range 1 + r.IntN(60) {
			x := &cases.Replayed{ID: fmt.Sprint("c", n), Causes: []string{fmt.Sprint("cause", r.IntN(4))}, Ranks: []int{1 + r.IntN(5), 1 + r.IntN(3)}, KnownFrom: r.IntN(3) - 1, TestsEarlier: r.IntN(3), Acted: r.IntN(3) - 1,
				First: float64(r.IntN(11)) / 10, FirstCause: fmt.Sprint("cause", r.IntN(4)), Right: r.IntN(2) == 0, True: r.Float64(), Brier: r.Float64(), Unknown: r.IntN(10) == 0}
			if r.IntN(2) == 0 {
				x.First = r.Float64()
			}
			all = append(all, x)
		}
		score := func() *cases.Score {
			var tally cases.Tally
			for _, x := range all {
				tally.Add(x)
			}
			return tally.Score()
		}
		one := score()
		r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		if d := cmp.Diff(one, score(), last); d != "" {
			t.Fatalf("trial %d: another order of the cases, another score:\n%s", i, d)
		}
		gain := func() [2]float64 {
			var v cases.Versus
			for _, x := range all {
				after := *x
				after.True = 1 - x.True
				v.Add(x, &after)
			}
			mean, half := v.Gain()
			return [2]float64{mean, half}
		}
		before := gain()
		r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
		if d := cmp.Diff(before, gain(), cmpopts.EquateApprox(1e-9, 1e-9)); d != "" {
			t.Fatalf("trial %d: another order of the cases, another gain:\n%s", i, d)
		}
	}
}

// Two places go on with one case and take in what the other wrote, each in its own order and more than once, with
// what was taken back: it is one case to both, and no order of its events is another one.
func TestACaseOfTwoPlacesKnowsNoOrder(t *testing.T) {
	r := rand.New(rand.NewPCG(22, 3))
	for i := range support.Deep(t, 40) {
		heads, orders := map[string]cases.Head{}, map[string]int64{}
		held := map[string][]cases.Event{}
		n := 0
		write := func(site string, d cases.Draft) {
			n++
			d.ID, d.Subject, d.At = fmt.Sprintf("e%d", n), cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 5, 4, 3, r.IntN(60), n, 0, time.UTC)
			e, err := cases.Seal(d, site, heads[site], orders[site]+1)
			if err != nil {
				t.Fatal(err)
			}
			heads[site], orders[site] = cases.Head{Seq: e.Seq, Hash: e.Hash}, e.Order
			held[site] = append(held[site], e)
		}
		take := func(to, from string) {
			held[to] = append(held[to], held[from]...)
			orders[to] = max(orders[to], orders[from])
		}
		write("mill", draft(cases.KindOpened, cases.Opening{Location: "Tide mill"}))
		take("weir", "mill")
		for range 4 + r.IntN(12) {
			site := []string{"mill", "weir"}[r.IntN(2)]
			known := held[site]
			switch r.IntN(8) {
			case 0:
				take(site, map[string]string{"mill": "weir", "weir": "mill"}[site])
			case 1:
				write(site, cases.Correct(cases.KindTakenBack, known[r.IntN(len(known))].ID, cases.Reason{}))
			case 2:
				write(site, draft(cases.KindSituation, cases.Circumstances{At: rulebase.Field, Drop: r.IntN(3)}))
			case 3:
				write(site, draft(cases.KindDone, cases.DoneBody{ID: "seat_plug", Drop: rulebase.StillDown}))
			case 4:
				write(site, draft(cases.KindPutIn, cases.PutIn{Test: "bridge"}))
			case 5:
				write(site, cases.Correct(cases.KindTakenOut, known[r.IntN(len(known))].ID, cases.Reason{}))
			case 6:
				write(site, draft([]cases.Kind{cases.KindClosed, cases.KindReopened, cases.KindWaiting}[r.IntN(3)], struct{}{}))
			default:
				write(site, draft(cases.KindFinding, cases.FindingBody{Symptom: fmt.Sprint("s", r.IntN(3)), Value: cases.ValueBody{Word: "lit"}}))
			}
		}
		take("mill", "weir")
		take("weir", "mill")
		one := cases.Fold(held["mill"])
		same := cmp.Options{cmpopts.IgnoreUnexported(cases.Case{}), cmpopts.EquateEmpty()}
		if d := cmp.Diff(one, cases.Fold(held["weir"]), same); d != "" {
			t.Fatalf("trial %d: two cases at two places:\n%s", i, d)
		}
		mixed := append([]cases.Event{}, held["weir"]...)
		r.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
		if d := cmp.Diff(one, cases.Fold(mixed), same); d != "" {
			t.Fatalf("trial %d: another order, another case:\n%s", i, d)
		}
		parts, _, err := cases.HandOverText(one, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		read, _, err := cases.ReadHandOver(fmt.Sprint(parts))
		if err != nil {
			t.Fatalf("trial %d: %v", i, err)
		}
		if d := cmp.Diff(one, cases.Fold(read), same); d != "" {
			t.Fatalf("trial %d: handed over it is another case:\n%s", i, d)
		}
	}
}
