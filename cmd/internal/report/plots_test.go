package report_test

import (
	"io"
	"math"
	"os"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/engine/waveform"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// Whatever is drawn lies on its paper, and no text of it on another.
func TestDrawingsAreTidy(t *testing.T) {
	for _, name := range []string{"no_end_terminator.csv", "two_rates.tsv"} {
		readDrawing(t, svgOf(t, measured(t, name, waveform.Options{Rate: 153600}).SVG), "").tidy(t, name)
	}
	for name, r := range map[string]*report.Replay{"replay": replayed(), "replay against": held()} {
		readDrawing(t, svgOf(t, r.SVG), "").tidy(t, name)
	}
	for bad, hour := range map[string]string{"0": "100000", "0.9": "0", "1": "20"} {
		d := &report.Decision{Decision: decided(prices(t, "tide_mill.yaml").With("downtime.per_hour", chance(hour)), ways.Case{Bad: chance(bad)})}
		readDrawing(t, svgOf(t, d.SVG), "").tidy(t, "costs at "+hour+" an hour, bad "+bad)
	}
	contest, err := os.ReadFile("testdata/contest.svg") // held to what is drawn as a golden
	if err != nil {
		t.Fatal(err)
	}
	readDrawing(t, string(contest), "").tidy(t, "contest")
	text, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet("tide_mill.yaml", text, sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	for _, n := range []int{1, 3, 8, 30} {
		e, _ := sheet.EchoOf(s, n)
		readDrawing(t, svgOf(t, func(w io.Writer) error { return report.EchoSVG(w, s, &e) }), "").tidy(t, "echoes")
	}
}

// A drawn capture has, read by the marks of its axes, the volts that were captured when they were, each
// sender over its burst, and below it what was measured of one edge.
func TestACaptureIsDrawnAsMeasured(t *testing.T) {
	seconds := map[string]float64{"ns": 1e-9, "µs": 1e-6, "ms": 1e-3, "s": 1}
	echoes := 0
	for _, name := range []string{"no_end_terminator.csv", "two_rates.tsv"} {
		w := measured(t, name, waveform.Options{Rate: 153600})
		d := readDrawing(t, svgOf(t, w.SVG), "")
		frames, traces := d.of("rect", "frame"), d.of("path", "trace")
		if len(frames) != 2 || len(traces) != 2 || len(traces[0].starts) != 1 || len(traces[1].starts) != 1 {
			t.Fatalf("%s: %d frames, and the traces %d; one stroke in each is wanted", name, len(frames), len(traces))
		}
		for i := range frames {
			if room := (box{frames[i].left, frames[i].top + 4, frames[i].right, frames[i].bottom - 4}); !traces[i].within(room) {
				t.Errorf("%s: a trace lies at %.0f in the frame %.0f", name, traces[i].box, frames[i].box)
			}
		}
		time, volts := d.axes(t, name, frames[0].box)
		after, share := d.axes(t, name, frames[1].box)
		if volts.unit != "V" || share.unit != "%" || seconds[time.unit] == 0 || seconds[after.unit] == 0 {
			t.Fatalf("%s: the units are %q, %q, %q and %q", name, time.unit, volts.unit, after.unit, share.unit)
		}
		pixel := math.Abs(volts.value(1) - volts.value(0))
		column := (time.value(1) - time.value(0)) * seconds[time.unit]
		lost := 0
		for i, v := range w.Capture.Volts {
			at, low, high := float64(i)*w.Capture.Step, math.Inf(1), math.Inf(-1)
			for _, p := range traces[0].points[max(0, 2*int(at/column)-4):min(len(traces[0].points), 2*int(at/column)+6)] {
				low, high = math.Min(low, volts.value(p[1])), math.Max(high, volts.value(p[1]))
			}
			if v < low-pixel || v > high+pixel {
				lost++
			}
		}
		if lost > 0 {
			t.Errorf("%s: of %d samples %d are not where the axes have them", name, len(w.Capture.Volts), lost)
		}
		if got, want := volts.value(traces[0].top), slices.Max(w.Capture.Volts); !(math.Abs(got-want) <= pixel) {
			t.Errorf("%s: the trace goes up to %.3f V, and %.3f were captured", name, got, want)
		}
		if got, want := volts.value(traces[0].bottom), slices.Min(w.Capture.Volts); !(math.Abs(got-want) <= pixel) {
			t.Errorf("%s: the trace goes down to %.3f V, and %.3f were captured", name, got, want)
		}
		inside := func(frame box, what []drawnThing) []drawnThing {
			return slices.DeleteFunc(what, func(x drawnThing) bool { return !x.within(frame) })
		}
		bars := inside(frames[0].box, d.of("line", "axis"))
		if len(bars) != len(w.Reading.Bursts) || len(bars) == 0 {
			t.Fatalf("%s: %d bursts are marked of %d", name, len(bars), len(w.Reading.Bursts))
		}
		for i, b := range w.Reading.Bursts {
			from, to := time.value(bars[i].left)*seconds[time.unit], time.value(bars[i].right)*seconds[time.unit]
			if !(math.Abs(from-b.From) <= column) || !(math.Abs(to-b.To) <= column) {
				t.Errorf("%s: a burst is marked from %g to %g s, and went from %g to %g", name, from, to, b.From, b.To)
			}
			letter := string(rune('A' + b.Talker))
			if !slices.ContainsFunc(d.of("text", ""), func(x drawnThing) bool {
				return x.says == letter && math.Abs(x.x-(bars[i].left+bars[i].right)/2) < 0.2 && x.top > bars[i].bottom && x.bottom < bars[i].bottom+25
			}) {
				t.Errorf("%s: no %s stands at the burst from %g s", name, letter, b.From)
			}
		}
		idle := inside(frames[0].box, d.of("line", "level"))
		if len(idle) != 1 || !(math.Abs(volts.value(idle[0].top)-w.Reading.Idle.Value) <= pixel) || idle[0].top != idle[0].bottom {
			t.Errorf("%s: the line at rest is drawn as %v, at %v V it was", name, idle, w.Reading.Idle.Value)
		}
		talker := slices.IndexFunc(w.Reading.Talkers, func(x waveform.Talker) bool { _, y := x.Step(w.Reading.Step); return len(y) > 0 })
		at, step := w.Reading.Talkers[talker].Step(w.Reading.Step)
		if len(traces[1].points) != len(step) {
			t.Fatalf("%s: %d points of an edge are drawn, %d there are", name, len(traces[1].points), len(step))
		}
		for i, p := range traces[1].points {
			x, y := after.value(p[0])*seconds[after.unit], share.value(p[1])
			if !(math.Abs(x-at[i]) <= at[len(at)-1]/500) || !(math.Abs(y-100*step[i]) <= 1) {
				t.Fatalf("%s: an edge is drawn with %.1f %% at %g s, and has %.1f at %g", name, y, x, 100*step[i], at[i])
			}
		}
		levels := inside(frames[1].box, d.of("line", "level"))
		if len(levels) == 0 || !(math.Abs(share.value(levels[0].top)-100) <= 0.5) || levels[0].left != frames[1].left || levels[0].right != frames[1].right {
			t.Errorf("%s: what it settles at is drawn as %v", name, levels)
		}
		e := w.Reading.Talkers[talker].Echo
		if told := strings.Contains(d.texts(), "first echo"); told != (e.Kind != "") || told != (len(levels) == 2) || told && !slices.ContainsFunc(d.of("text", ""), func(x drawnThing) bool {
			return x.says == "first echo" && x.left > levels[1].right && x.left < levels[1].right+15 && x.within(frames[1].box)
		}) {
			t.Errorf("%s: an echo is told: %v, with %d lines; it is %+v", name, told, len(levels), e)
		} else if told && !(math.Abs(after.value(levels[1].left)*seconds[after.unit]-e.Delay.Value) <= at[len(at)-1]/500) {
			t.Errorf("%s: the echo of %g s is marked at %g", name, e.Delay.Value, after.value(levels[1].left)*seconds[after.unit])
		} else if told {
			echoes++
		}
	}
	if echoes != 1 {
		t.Errorf("%d captures have an echo; one with and one without are wanted", echoes)
	}
}
