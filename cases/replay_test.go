package cases_test

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"
	"testing/fstest"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// Scores of forecasts, from testdata/checks/calibration_cases.json: Brier 1950, the parts of Murphy 1973,
// worked out in fractions; how far from calibrated chance alone makes right forecasts look, by simulation.
type calibrationCases struct {
	Binary struct {
		P      []float64
		Y      []int
		Brier  float64 `json:"brier_float"`
		Log    float64 `json:"log_score_nats"`
		Skill  float64 `json:"brier_skill"`
		Murphy struct {
			Reliability float64 `json:"reliability_float"`
			Resolution  float64 `json:"resolution_float"`
			Uncertainty float64 `json:"uncertainty_float"`
		}
		Bins []struct {
			N     int
			MeanP float64 `json:"mean_p"`
			Freq  float64
		} `json:"bins_5"`
		ECE     float64 `json:"ece_5"`
		Largest float64 `json:"mce_5"`
	}
	Multi struct {
		P     [][]float64
		Truth []int
		Brier float64 `json:"brier_sum_form_float"`
		Log   float64 `json:"log_score_nats"`
		Ranks []int
		Top1  float64
		Top2  float64
		Mean  float64 `json:"mean_reciprocal_rank"`
	}
	Edge []struct {
		P     []float64
		Truth int
		Brier float64
	}
	Chance []struct {
		N    int
		Mean float64 `json:"mean_ece10"`
		P95  float64 `json:"p95_ece10"`
	} `json:"ece_of_a_perfect_forecaster"`
}

func readCheck(t *testing.T, name string, into any) {
	t.Helper()
	text, err := os.ReadFile("../testdata/checks/" + name)
	if err == nil {
		err = json.Unmarshal(text, into)
	}
	if err != nil {
		t.Fatal(err)
	}
}

func close9(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 2e-9*max(1, math.Abs(want))) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

func TestPublishedScores(t *testing.T) {
	var x calibrationCases
	readCheck(t, "calibration_cases.json", &x)
	var all []cases.Forecast
	for i, p := range x.Binary.P {
		all = append(all, cases.Forecast{P: p, True: x.Binary.Y[i] == 1})
	}
	c := cases.Calibrate(all, 5)
	close9(t, "Brier", c.Brier, x.Binary.Brier)
	close9(t, "log score", c.Log, x.Binary.Log)
	close9(t, "skill", c.Skill, x.Binary.Skill)
	close9(t, "ECE", c.ECE, x.Binary.ECE)
	close9(t, "largest gap", c.Largest, x.Binary.Largest)
	for i, b := range x.Binary.Bins {
		if c.Bins[i].Cases != b.N || !(math.Abs(c.Bins[i].Forecast-b.MeanP) <= 1e-9) || !(math.Abs(c.Bins[i].Frequency-b.Freq) <= 1e-9) {
			t.Errorf("bin %d: %+v, want %+v", i, c.Bins[i], b)
		}
	}
	// With one bin for each distinct forecast Murphy's parts are exact.
	fine := cases.Calibrate(all, 10)
	close9(t, "reliability", fine.Reliability, x.Binary.Murphy.Reliability)
	close9(t, "resolution", fine.Resolution, x.Binary.Murphy.Resolution)
	close9(t, "uncertainty", fine.Uncertainty, x.Binary.Murphy.Uncertainty)
	close9(t, "within", fine.Within, 0)
}

// What chance does is drawn from the forecasts themselves; for forecasts anywhere alike it is the published table.
func TestChanceTable(t *testing.T) {
	var x calibrationCases
	readCheck(t, "calibration_cases.json", &x)
	for _, row := range x.Chance {
		r := rand.New(rand.NewPCG(uint64(row.N), 1))
		var mean, high float64
		const lists = 20
		for range lists {
			all := make([]cases.Forecast, row.N)
			for i := range all {
				all[i].P = r.Float64()
			}
			c := cases.Calibrate(all, 10)
			mean += c.ByChance / lists
			high += c.ByChanceHigh / lists
		}
		if !(math.Abs(mean/row.Mean-1) <= 0.05) || !(math.Abs(high/row.P95-1) <= 0.08) {
			t.Errorf("%d cases: mean %.4f, 95 %% below %.4f, want %.4f and %.4f", row.N, mean, high, row.Mean, row.P95)
		}
	}
}

// Right forecasts lie within their bars as often as the bars say, and wrong ones do not.
func TestBars(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 2))
	inside, all, wrong := 0, 0, 0
	for range 60 {
		var right, overdone []cases.Forecast
		for range 300 {
			p := r.Float64()
			right = append(right, cases.Forecast{P: p, True: r.Float64() < p})
			overdone = append(overdone, cases.Forecast{P: p, True: r.Float64() < 0.5})
		}
		for _, b := range cases.Calibrate(right, 10).Bins {
			all++
			if b.Low <= b.Frequency && b.Frequency <= b.High {
				inside++
			}
		}
		if c := cases.Calibrate(overdone, 10); c.ECE < c.ByChanceHigh {
			wrong++
		}
	}
	if share := float64(inside) / float64(all); share < 0.93 || share > 0.99 || wrong > 0 {
		t.Errorf("%.3f inside their bars; %d wrong ones pass", share, wrong)
	}
}

func TestSumOfReplayedCases(t *testing.T) {
	one := func(id, cause string, ranks []int, known int, first float64, right bool) *cases.Replayed {
		return &cases.Replayed{ID: id, Causes: []string{cause}, Ranks: ranks, KnownFrom: known, First: first, FirstCause: "x", Right: right, True: 0.5, Acted: 1}
	}
	all := []*cases.Replayed{one("a", "x", []int{4, 1, 1, 1}, 1, 0.8, true), one("b", "y", []int{9, 3, 2, 5}, -1, 0.6, false), {ID: "c", Unknown: true}}
	s := sumOf(all)
	if s.Cases != 2 || s.Unknown != 1 || s.First != 1 || s.InThree != 1 || s.Ever != 1 || s.Earlier != 1 || s.ActedFirst != 1 || s.Acted != 2 {
		t.Errorf("%+v", s)
	}
	if c := s.ByCause["y"]; c.Cases != 1 || c.First != 0 || c.Instead["x"] != 1 {
		t.Errorf("%+v", c)
	}
	after := []*cases.Replayed{one("b", "y", []int{9, 3, 2, 1}, 3, 0.6, true), one("a", "x", []int{4, 2, 1, 1}, 2, 0.8, true), one("new", "x", []int{1}, 0, 0.8, true)}
	v := against(all, after)
	if v.Cases != 2 || len(v.Better) != 1 || v.Better[0].After.ID != "b" || len(v.Worse) != 1 || v.Worse[0].After.ID != "a" {
		t.Errorf("%+v", v)
	}
}

// The mean gain and its interval, summed as cases come, are those of the plain way, which looks at all of them twice.
func TestGainAgreesWithThePlainWay(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	for n := range 40 {
		var before, after []*cases.Replayed
		var gains []float64
		for i := range n {
			b, a := &cases.Replayed{ID: fmt.Sprint(i), True: r.Float64()}, &cases.Replayed{ID: fmt.Sprint(i), True: r.Float64() * float64(i%3)}
			before, after = append(before, b), append(after, a)
			gains = append(gains, math.Log(max(a.True, cases.LeastChance)/b.True))
		}
		mean, sum := 0.0, 0.0
		for _, g := range gains {
			mean += g / float64(n)
		}
		for _, g := range gains {
			sum += (g - mean) * (g - mean)
		}
		half := 0.0
		if n > 1 {
			half = 1.96 * math.Sqrt(sum/float64(n-1)/float64(n))
		}
		gotMean, gotHalf := against(before, after).Gain()
		if !(math.Abs(gotMean-mean) <= 1e-9) || !(math.Abs(gotHalf-half) <= 1e-9) {
			t.Errorf("%d cases: %g ± %g, want %g ± %g", n, gotMean, gotHalf, mean, half)
		}
	}
}

// A case goes through the rulebase entry by entry; what was taken back does not count, and what another
// rulebase knew is passed over.
func TestReplayGoesAsTheCaseWent(t *testing.T) {
	base := shipped.Base(t)
	var w writer
	w.write(t,
		draft(cases.KindOpened, cases.Opening{Location: "Weir"}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "of_another_rulebase", Value: cases.ValueBody{Word: "x"}}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "lit"}}),        // e3
		draft(cases.KindFinding, cases.FindingBody{Symptom: "supply_fuse_blown", Value: cases.ValueBody{Word: "true"}}), // a cause here
		draft(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "dark"}}),
		draft(cases.KindFinding, cases.FindingBody{Symptom: "fuse_sign", Value: cases.ValueBody{Word: "shows_blown"}}))
	back := draft(cases.KindTakenBack, cases.Reason{})
	back.Corrects = "e3"
	w.write(t, back, draft(cases.KindClosed, cases.Closing{Causes: []string{"supply_fuse_blown"}, How: "read open", Outcome: "part_replaced"}))
	r, err := cases.Replay(context.Background(), engine.Prepare(base), cases.Fold(w.events))
	if err != nil {
		t.Fatal(err)
	}
	if len(r.Ranks) != 5 || r.Last() != 1 || !r.Right || r.Unknown || r.True != r.First {
		t.Errorf("%+v", r)
	}
	for _, f := range cases.Began(base, cases.Fold(w.events)).Findings {
		if f.Symptom != "power_light" && f.Symptom != "fuse_sign" {
			t.Errorf("%s is no symptom here, and is seen", f.Symptom)
		}
	}
	open := cases.Fold(w.events[:5])
	if r, err := cases.Replay(context.Background(), engine.Prepare(base), open); err != nil || !r.Unknown {
		t.Errorf("a case that is not closed: %+v, %v", r, err)
	}
}

// What came after the rank of the truth was first for good is counted in tests and work: what one test shows is one test,
// and what is had by asking is none.
func TestTestsAfterTheTruthWasKnown(t *testing.T) {
	const known = `
rulebase: {name: known, version: 1, complaint: {symptom: works, bad: dead, well: working}, outside_per_thousand: 1}
causes:
  fuse: {name: The fuse is open, part: supply, per_thousand: 50, source: common_practice, remedy: new_fuse}
  wire: {name: A wire is broken, part: line, per_thousand: 90, source: common_practice, remedy: rewire}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: fuse or wire, dead: 0.99}, {working: 0.99}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: 0.99}, {lit: 0.99}]}
  volts: {ask: Are there volts, values: [some, none], shows: [{when: fuse, none: 0.99}, {some: 0.99}]}
  amps:  {ask: Are there amps, values: [some, none], shows: [{when: fuse, none: 0.99}, {some: 0.99}]}
  ohms:  {ask: Does it read open, values: [closed, open], shows: [{when: fuse, open: 0.99}, {closed: 0.99}]}
tests:
  meter:   {do: Measure volts and amps, minutes: 5, yields: [volts, amps]}
  take_out: {do: Take it out and measure it, minutes: 5, yields: [ohms]}
remedies:
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
`
	base, err := rulebase.Load(rulebase.Layer{Name: "known", FS: fstest.MapFS{"known.yaml": {Data: []byte(known)}}})
	if err != nil {
		t.Fatal(err)
	}
	dark, none, noAmps, open := [2]string{"light", "dark"}, [2]string{"volts", "none"}, [2]string{"amps", "none"}, [2]string{"ohms", "open"}
	for _, c := range []struct {
		seen [][2]string // light dark makes it known
		want int
	}{
		{[][2]string{dark}, 0},
		{[][2]string{dark, none}, 1},
		{[][2]string{dark, none, noAmps}, 1},
		{[][2]string{dark, none, noAmps, open}, 2},
		{[][2]string{dark, none, open, noAmps}, 3},
		{[][2]string{none, dark}, 0}, // known from the volts; the light is asked
		{[][2]string{none, dark, noAmps}, 1},
	} {
		var w writer
		w.write(t, draft(cases.KindOpened, cases.Opening{Location: "Weir"}))
		for _, s := range c.seen {
			w.write(t, draft(cases.KindFinding, cases.FindingBody{Symptom: s[0], Value: cases.ValueBody{Word: s[1]}}))
		}
		w.write(t, draft(cases.KindClosed, cases.Closing{Causes: []string{"fuse"}, How: "read open", Outcome: "part_replaced"}))
		r, err := cases.Replay(context.Background(), engine.Prepare(base), cases.Fold(w.events))
		if err != nil {
			t.Fatal(err)
		}
		if r.TestsEarlier != c.want {
			t.Errorf("%v: %d tests earlier, want %d; known from %d of %v", c.seen, r.TestsEarlier, c.want, r.KnownFrom, r.Ranks)
		}
	}
}

// BenchmarkReplay takes the example cases through the shipped rulebase on one core: every case has
// its own givens, and all are ranked after every entry.
func BenchmarkReplay(b *testing.B) {
	base := shipped.Base(b)
	p, all := engine.Prepare(base), closedCases(b)
	n, entries, used := 0, 0, support.ProcessorTime()
	for b.Loop() {
		r, err := cases.Replay(context.Background(), p, all[n%len(all)])
		if err != nil {
			b.Fatal(err)
		}
		n++
		entries += len(r.Ranks)
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds(), "cases/s")
	if used = support.ProcessorTime() - used; used > 0 { // what others do on the machine does not count
		b.ReportMetric(float64(n)/used.Seconds(), "cases/cpu-s")
	}
	b.ReportMetric(float64(entries)/float64(n), "rankings/case")
}

// sumOf adds replayed cases up.
func sumOf(all []*cases.Replayed) *cases.Score {
	var t cases.Tally
	for _, r := range all {
		t.Add(r)
	}
	return t.Score()
}

// against pairs the cases that both know, by id.
func against(before, after []*cases.Replayed) *cases.Versus {
	v, old := &cases.Versus{}, cases.ByID(before)
	for _, r := range after {
		v.Add(old[r.ID], r)
	}
	return v
}

// A cause that is first before anything is seen, and stays so, was known from the beginning; one that
// falls behind once was known from when it came back.
func TestKnownFrom(t *testing.T) {
	const sure = `
rulebase: {name: sure, outside_per_thousand: 10, complaint: {symptom: works, bad: dead, well: working}}
causes:
  fuse: {name: Fuse blown, part: supply, per_thousand: 200, source: common_practice, remedy: new_fuse}
  wire: {name: Wire off, part: line, per_thousand: 20, source: common_practice, remedy: rewire}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: fuse or wire, dead: 0.99}, {working: 0.99}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: 0.99}, {lit: 0.99}]}
  fan: {ask: Does the fan turn, by: looking, values: [turns, stands], shows: [{when: fuse, stands: 0.999}, {turns: 0.999}]}
remedies:
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
`
	base, err := rulebase.Load(rulebase.Layer{Name: "sure", FS: fstest.MapFS{"sure.yaml": {Data: []byte(sure)}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		from int
		seen [][2]string
	}{
		{0, [][2]string{{"works", "dead"}, {"fan", "stands"}}},
		{2, [][2]string{{"light", "lit"}, {"fan", "stands"}}},
	} {
		var w writer
		w.write(t, draft(cases.KindOpened, cases.Opening{Location: "Weir"}))
		for _, s := range c.seen {
			w.write(t, draft(cases.KindFinding, cases.FindingBody{Symptom: s[0], Value: cases.ValueBody{Word: s[1]}}))
		}
		w.write(t, draft(cases.KindClosed, cases.Closing{Causes: []string{"fuse"}, How: "read open", Outcome: "part_replaced"}))
		r, err := cases.Replay(context.Background(), engine.Prepare(base), cases.Fold(w.events))
		if err != nil {
			t.Fatal(err)
		}
		if r.KnownFrom != c.from {
			t.Errorf("%v: known from %d, want %d; ranks %v", c.seen, r.KnownFrom, c.from, r.Ranks)
		}
	}
}
