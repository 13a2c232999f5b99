package cases_test

import (
	"context"
	"math"
	"testing"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// Ten forecasts of Brier's score, with Murphy's parts, as worked out for the checks of
// calibration (Brier 1950; Murphy 1973).
func TestScoreOfTenForecasts(t *testing.T) {
	p := []float64{.9, .8, .7, .6, .4, .3, .2, .1, .9, .1}
	y := []bool{true, true, false, true, false, true, false, false, true, false}
	var all []*cases.Replayed
	for i := range p {
		all = append(all, &cases.Replayed{Causes: []string{"x"}, First: p[i], Right: y[i], True: p[i], Ranks: []int{2, 1}, KnownFrom: 1})
	}
	all = append(all, &cases.Replayed{Unknown: true})
	s := cases.Sum(all)
	if math.Abs(s.Brier-.142) > 1e-12 || s.Cases != 10 || s.Unknown != 1 || s.First != 10 || s.ByCause["x"].Cases != 10 {
		t.Errorf("%+v", s)
	}
	n := 0
	for _, b := range s.Bins {
		n += b.Cases
	}
	if n != 10 {
		t.Errorf("%d forecasts in bins", n)
	}
}

// A case goes through the rulebase entry by entry; what was taken back does not count, and what another
// rulebase knew is passed over.
func TestReplayGoesAsTheCaseWent(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	var w writer
	w.write(t,
		draft(cases.KindOpened, cases.Opening{Location: "Weir"}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "of_another_rulebase", Value: cases.ValueBody{Word: "x"}}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "lit"}}), // e3
		draft(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "dark"}}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "fuse_sign", Value: cases.ValueBody{Word: "shows_blown"}}))
	back := draft(cases.KindTakenBack, cases.Reason{})
	back.Corrects = "e3"
	w.write(t, back, draft(cases.KindClosed, cases.Closing{Causes: []string{"supply_fuse_blown"}, How: "read open", Outcome: "part_replaced"}))
	r, err := cases.Replay(context.Background(), engine.Prepare(base), cases.Fold(w.events))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Ranks) != 4 || r.Last() != 1 || !r.Right || r.Unknown || r.True != r.First {
		t.Errorf("%+v", r)
	}
	open := cases.Fold(w.events[:5])
	if r, err := cases.Replay(context.Background(), engine.Prepare(base), open); err != nil || !r.Unknown {
		t.Errorf("a case that is not closed: %+v, %v", r, err)
	}
}

func BenchmarkReplay(b *testing.B) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		b.Fatal(err)
	}
	var w writer
	w.write(b, draft(cases.KindOpened, cases.Opening{}))
	for i := 0; i < len(base.Symptoms) && len(w.events) < 13; i += 3 {
		if s := &base.Symptoms[i]; s.Weighs && !s.Banded() {
			w.write(b, draft(cases.KindFinding, cases.FindingBody{Symptom: s.ID, Value: cases.ValueBody{Word: s.Values[0]}}))
		}
	}
	w.write(b, draft(cases.KindClosed, cases.Closing{Causes: []string{base.Causes[0].ID}}))
	c, p := cases.Fold(w.events), engine.Prepare(base)
	for b.Loop() {
		if _, err := cases.Replay(context.Background(), p, c); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "cases/s")
}
