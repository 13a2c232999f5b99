package report

import (
	"math"
	"testing"

	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func TestReadingsAtTheBenchAreSaid(t *testing.T) {
	nan, expr := math.NaN(), &rulebase.Expression{}
	volts := &rulebase.BenchReading{Kind: rulebase.ReadsNumber, Unit: "V", Ask: "Volts"}
	limited := *volts
	limited.Least = expr
	exact := *volts
	exact.Equal = expr
	word := &rulebase.BenchReading{Kind: rulebase.ReadsWord, OneOf: []string{"on", "off"}, Ask: "Is it on?"}
	many := &rulebase.BenchReading{Kind: rulebase.ReadsWord, OneOf: []string{"whole", "bent_pins", "wet"}, Ask: "How is it:"}
	points := &rulebase.BenchReading{Kind: rulebase.ReadsPoints, Ask: "Which points"}
	wrong := &rulebase.BenchReading{Kind: rulebase.ReadsErrors, Ask: "How many wrong?"}
	text := &rulebase.BenchReading{Kind: rulebase.ReadsText, Ask: "Serial"}
	ask := func(w bench.Wants) string { return sayBenchAsk(&bench.State{Wants: w}) }
	answer := func(g *rulebase.BenchReading, o bench.Outcome, change func(*bench.Result)) string {
		r := &bench.Result{Reading: g, Outcome: o, Low: nan, High: nan, Text: "24 V"}
		if change != nil {
			change(r)
		}
		return benchAnswer(r)
	}
	support.Says(t, [][2]string{
		{ask(bench.Wants{Reading: volts, Low: nan, High: nan}), "Volts:"},
		{ask(bench.Wants{Reading: &limited, Low: 20, High: 30}), "Volts (wanted: 20 V to 30 V):"},
		{ask(bench.Wants{Reading: word}), "Is it on? (on, off)"},
		{ask(bench.Wants{Reading: many}), "How is it (1 whole, 2 bent pins, 3 wet):"},
		{ask(bench.Wants{Reading: points, Count: 16}), "Which points (16 points; all pass, or exceptions: 7, 9-11):"},
		{ask(bench.Wants{Reading: wrong, Count: 3000}), "How many wrong? (as in: 0 of 3000)"},
		{ask(bench.Wants{Reading: text}), "Serial:"},
		{benchLimits(volts, nan, nan), ""},
		{benchLimits(&limited, nan, nan), "not in the unit profile"},
		{benchLimits(&rulebase.BenchReading{Kind: rulebase.ReadsNumber, Most: expr}, nan, nan), "not in the unit profile"},
		{benchLimits(&exact, nan, nan), "not in the unit profile"},
		{benchLimits(&exact, 5, 5), "exactly 5 V"},
		{benchLimits(volts, 1, nan), "at least 1 V"},
		{benchLimits(volts, nan, 2), "at most 2 V"},
		{benchLimits(wrong, nan, 0.001), "under 1 in 1,000 at 95 %"},
		{benchLimits(wrong, nan, nan), ""},
		{benchLimits(word, 1, 2), ""},
		{benchShare(0), "none"},
		{benchShare(-1), "none"},
		{benchShare(0.2), "1 in 5"},
		{benchShare(0.2001), "21 %"},
		{benchShare(1.0 / 3000), "1 in 3,000"},
		{benchShare(1.0 / 2999.5), "1 in 2,999"},
		{grouped(999), "999"},
		{grouped(1000), "1,000"},
		{grouped(1234567), "1,234,567"},
		{answer(volts, bench.Passed, nil), "Pass: 24 V."},
		{answer(&limited, bench.Failed, func(r *bench.Result) { r.Low, r.High = 20, 23 }), "FAIL: 24 V; wanted: 20 V to 23 V."},
		{answer(volts, bench.NotShown, nil), "Not shown: 24 V."},
		{answer(&limited, bench.NotShown, func(r *bench.Result) { r.Lacks = "supply_low_limit" }), "Not shown: 24 V; the unit profile gives no supply.low_limit to hold it against."},
		{answer(text, bench.Recorded, nil), "Noted: 24 V."},
		{answer(word, bench.Failed, func(r *bench.Result) { r.Word = "bent_pins" }), "FAIL: bent pins."},
		{answer(points, bench.Passed, func(r *bench.Result) { r.OutOf = 16 }), "Pass: all 16 points pass."},
		{answer(points, bench.Failed, func(r *bench.Result) { r.OutOf, r.Points = 16, []int{3, 7, 8, 9} }), "FAIL: 12 of 16 points pass; exceptions: 3, 7-9."},
		{answer(wrong, bench.NotShown, func(r *bench.Result) { r.Wrong, r.Of, r.High = 1, 3000, 0.001 }), "Not shown: 1 wrong of 3,000, which shows under 1 in 632 at 95 %."},
		{spans([]int{1}), "1"},
		{spans([]int{1, 2}), "1, 2"},
		{spans([]int{1, 2, 3, 5, 7, 8}), "1-3, 5, 7, 8"},
		{spans(nil), ""},
		{benchReadingSays(nil, many), "How is it (whole, bent pins, wet)"},
		{benchReadingSays(nil, &rulebase.BenchReading{Kind: rulebase.ReadsNumber, Ask: "Volts", With: "multimeter"}), "Volts (with the multimeter)"},
		{sayBenchInstrument(map[string]string{"name": "no. 3"}, "2031-05-20"), "no. 3, not calibrated: the record will say so."},
		{sayBenchInstrument(map[string]string{"name": "no. 3", "until": "2031-05-19"}, "2031-05-20"), "no. 3, whose calibration ended on 2031-05-19: the record will say so."},
		{sayBenchInstrument(map[string]string{"name": "no. 3", "until": "2031-05-20"}, "2031-05-20"), "no. 3, calibrated until 2031-05-20."},
		{benchOutcome(&bench.StepState{Outcome: bench.Skipped, Reason: "no time"}), "not done, no time"},
		{benchOutcome(&bench.StepState{Outcome: bench.Passed, Reason: "no time"}), "pass"},
		{benchOutcome(&bench.StepState{Outcome: bench.Failed, Reason: "no time"}), "FAIL, the rest not done: no time"},
	})
}

func TestAFailAtTheBenchIsWeighed(t *testing.T) {
	b := words()
	weighed := func(possible bool, chances ...float64) string {
		d := &engine.Diagnosis{Base: b, Possible: possible, UnitOut: 0.7}
		for i, p := range chances {
			d.Causes = append(d.Causes, engine.CauseBelief{Cause: i % 2, Probability: p})
		}
		return sayBenchDiagnosis(d)
	}
	support.Says(t, [][2]string{
		{weighed(false, 0.5), "The diagnosis has no cause for this that goes with the rest."},
		{weighed(true), "The diagnosis has no cause for this that goes with the rest."},
		{weighed(true, 0.099), "The diagnosis: that it is the unit is about 7 in 10."},
		{weighed(true, 0.1), "The diagnosis: that it is the unit is about 7 in 10. Likely: a fuse in the drop's feed is blown (about 1 in 10)."},
		{weighed(true, 0.5, 0.3, 0.2), "The diagnosis: that it is the unit is about 7 in 10. Likely: a fuse in the drop's feed is blown (about 5 in 10) and the unit's line driver is damaged (about 3 in 10)."},
	})
}

func TestTextsAreComparedLineByLine(t *testing.T) {
	support.Says(t, [][2]string{
		{linesOnlyIn("a\nb\na\n", "a\n"), "b\na\n"},
		{linesOnlyIn("a\nb\n", "b\na\n"), ""},
		{linesOnlyIn("", "a\n"), ""},
	})
}
