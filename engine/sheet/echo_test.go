package sheet_test

import (
	"math"
	"strings"
	"testing"

	"downdrop/engine/sheet"
)

// A driver of 60 ohm with a terminator of 120 ohm at each end of a cable of 120
// ohm: the two in parallel are 40 ohm, which halve 2 V behind them with the cable
// to 1.5 V, and nothing comes back. Without the far one the wave doubles (lattice,
// computed).
func TestEcho(t *testing.T) {
	const text = "sheet: s\nline: tia485_polled\ncable: [{length: 200 m, impedance: 120 ohm, delay_per_m: 5 ns}]\nterminators: [{at: host, ohm: 120 ohm}, {at: end, ohm: 120 ohm}]\n"
	closed, ok := sheet.EchoOf(read(t, text), 8)
	if !ok {
		t.Fatal("no echo")
	}
	if got := float64(closed.AtEnd[0].Volt); !(math.Abs(got-1.5) <= 0.01) {
		t.Errorf("first arrival %v V, expected 1.5 V (one unit load beside the terminator)", got)
	}
	if got := float64(closed.AtEnd[0].At); !(math.Abs(got-1e-6) <= 1e-12) {
		t.Errorf("arrives after %v s, expected 1 us", got)
	}
	if o := closed.Overshoot(); o > 0.01 {
		t.Errorf("a closed line swings %v past its rest", o)
	}
	open, _ := sheet.EchoOf(read(t, strings.Replace(text, ", {at: end, ohm: 120 ohm}", "", 1)), 8)
	if got := float64(open.AtEnd[0].Volt); !(math.Abs(got-3) <= 0.03) {
		t.Errorf("first arrival at an open end %v V, expected about 3 V", got)
	}
	if o := open.Overshoot(); o < 0.3 {
		t.Errorf("an open line swings only %v past its rest", o)
	}
	for _, a := range [][2]float64{{float64(open.AtEnd[len(open.AtEnd)-1].Volt), float64(open.Step.Final())}} {
		if !(math.Abs(a[0]-a[1]) <= 0.3*a[1]) {
			t.Errorf("after eight runs %v V, rests at %v V", a[0], a[1])
		}
	}
}
