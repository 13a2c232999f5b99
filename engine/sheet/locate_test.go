package sheet_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"downdrop/engine/line"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// trunk is a sheet of a token-passing pair without a bias, loop 110 ohm/km.
func trunk(t *testing.T, metres string, drops ...string) *rulebase.Sheet {
	t.Helper()
	text := "sheet: test\nline: token_pair\ncable: [{length: " + metres + ", loop_per_km: 110 ohm}]\n" +
		"terminators: [{at: host, ohm: 150 ohm}, {at: end, ohm: 150 ohm}]\ndrops:\n"
	for i, d := range drops {
		text += "  - {drop: d" + string(rune('1'+i)) + ", at: " + d + ", unit_load: 0.001}\n"
	}
	s, err := rulebase.ReadSheet("sheet.yaml", []byte(text), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Published readings (TIA-485-A or common practice; figures computed): what must
// come first, and what must not be said.
func TestReadingsExplained(t *testing.T) {
	long := trunk(t, "400 m", "100 m", "300 m")
	for _, c := range []struct {
		id      string
		atM     float64
		reading float64
		open    bool
		first   sheet.StateKind
	}{
		{"485-M4: 84.6 ohm on 400 m of cable is as drawn, not a missing terminator", 0, 84.6, false, sheet.AsDrawn},
		{"two terminators read from the middle", 200, 86, false, sheet.AsDrawn},
		{"150 ohm at the host: nothing beyond", 0, 150, false, sheet.FarMissing},
		{"194 ohm at the host: only the far one, through the cable", 0, 194, false, sheet.NearMissing},
		{"50 ohm: one too many near the host", 0, 54, false, sheet.OneMore},
		{"a short far away", 0, 18, false, sheet.ShortAt},
		{"over-range", 0, math.Inf(1), true, sheet.BothMissing},
	} {
		all := sheet.Explain(long, c.atM, c.reading, c.open)
		if len(all) == 0 || all[0].Kind != c.first {
			t.Errorf("%s: %+v", c.id, all)
			continue
		}
		sum := 0.0
		for _, st := range all {
			sum += st.Probability
		}
		if !(math.Abs(sum-1) <= 1e-9) {
			t.Errorf("%s: the states sum to %v", c.id, sum)
		}
	}
	if all := sheet.Explain(long, 0, 5000, false); len(all) != 0 {
		t.Errorf("5 kohm is explained: %+v", all)
	}
}

// 485-M6 and M7: the distance to a short by loop resistance, and the mistake of
// leaving the near terminator on.
func TestToShort(t *testing.T) {
	text := "sheet: t\nline: token_pair\ncable: [{length: 50 m, conductor: AWG 24}, {length: 150 m, conductor: AWG 24}]\n"
	s, err := rulebase.ReadSheet("t.yaml", []byte(text), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	if m, ok := sheet.ToShort(s, 16.84, false); !ok || !(math.Abs(m-100) <= 0.1) {
		t.Errorf("485-M6: %v m, %v; expected 100 m (AWG 24, computed)", m, ok)
	}
	if m, ok := sheet.ToShort(s, float64(line.Parallel(150, 16.84)), false); !ok || !(math.Abs(m-89.9) <= 0.1) {
		t.Errorf("485-M7: %v m, %v; expected 89.9 m (computed)", m, ok)
	}
	if _, ok := sheet.ToShort(s, 40, false); ok {
		t.Error("a short beyond the trunk was placed on it")
	}
	if m, ok := sheet.ToShort(s, 16.84, true); !ok || !(math.Abs(m-100) <= 0.1) {
		t.Errorf("485-M6 from the far end of 200 m: %v m, %v; expected 100 m", m, ok)
	}
	if m, ok := sheet.ToShort(s, 8.42, true); !ok || !(math.Abs(m-150) <= 0.1) {
		t.Errorf("half of 485-M6 from the far end of 200 m: %v m, %v; expected 150 m", m, ok)
	}
}

// A short that is measured with the near terminator lifted is as far away as its loop alone says, with the
// terminator on farther, since 150 ohm lie beside it: 30 ohm are 272.7 m of 110 ohm per km, or 37.5 ohm and 340.9 m.
func TestShortWithTheNearTerminatorLifted(t *testing.T) {
	want := map[sheet.StateKind]float64{sheet.ShortNearLifted: 30 / 0.110, sheet.ShortAt: 37.5 / 0.110}
	for _, st := range sheet.Explain(trunk(t, "400 m", "100 m", "300 m"), 0, 30, false) {
		if at, asked := want[st.Kind]; asked {
			if !(math.Abs(st.AtM-at) <= 4) { // the middle of what goes with the reading, which beside 150 ohm reaches farther beyond
				t.Errorf("%s: at %v m, wanted %v", st.Kind, st.AtM, at)
			}
			delete(want, st.Kind)
		}
	}
	if len(want) > 0 {
		t.Errorf("not said: %v", want)
	}
}

// What a meter reads in a segment, by hand, at 200 ohm per km. A device that sends anew has an input of 24 kohm (two
// legs of 12, TIA-485-A) at the end of the segment before it, as the host has at its begin; with nothing left on it has none.
func TestExpectedBesideARepeater(t *testing.T) {
	s := read(t, "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 1500 m, loop_per_km: 200 ohm}]\n"+
		"inline: [{kind: repeater, at: 900 m, name: R}]\nterminators: [{at: host, ohm: 120 ohm}, {at: 900 m, ohm: 120 ohm}, {at: 900 m, ohm: 120 ohm}, {at: end, ohm: 120 ohm}]\n"+
		"drops: [{drop: a, at: 300 m, address: 1}, {drop: b, at: 1200 m, address: 2}]\n")
	beside := func(ohms ...float64) float64 {
		sum := 0.0
		for _, r := range ohms {
			sum += 1 / r
		}
		return 1 / sum
	}
	const input = 24000
	for _, c := range []struct{ atM, off, on float64 }{
		{0, beside(120, 180+120), beside(120, input, 60+beside(input, 120+beside(120, input)))},
		{1500, beside(120, 120+120), beside(120, 60+beside(input, 60+beside(120, input)))},
	} {
		ways, known := sheet.Expected(s, c.atM, nil, nil)
		if !known || len(ways) != 2 {
			t.Fatalf("at %v m: %+v, known %t", c.atM, ways, known)
		}
		for _, w := range ways {
			want := c.off
			if w.Units {
				want = c.on
			}
			if !(math.Abs(w.Low-want) <= 1e-9*want) {
				t.Errorf("at %v m: %+v, wanted %v", c.atM, w, want)
			}
		}
	}
}

// A reading made by the sums themselves, of a state drawn at random, is explained
// by that state, and a cut or short is placed where it is as far as the reading
// can tell.
func TestExplainFindsItsState(t *testing.T) {
	right, n := 0, support.Deep(t, 100)
	for seed := range uint64(n) {
		r := rand.New(rand.NewPCG(seed, 8))
		s := trunk(t, "500 m", "90 m", "210 m", "330 m", "450 m")
		p, _ := sheet.Pair(s, sheet.Connected{})
		at := line.Metre(r.IntN(501))
		var want []sheet.StateKind
		switch place := line.Metre(r.IntN(499)) + 0.5; r.IntN(4) {
		case 0:
			p.Across = p.Across[:1]
			want = []sheet.StateKind{sheet.FarMissing}
		case 1:
			p.Across = p.Across[1:]
			want = []sheet.StateKind{sheet.NearMissing}
		case 2:
			p.Cuts = append(p.Cuts, place)
			want = []sheet.StateKind{sheet.CutAt}
		case 3:
			p.Across = append(p.Across, line.Shunt{At: place, Ohm: 0})
			want = []sheet.StateKind{sheet.ShortAt}
		}
		ohm := float64(p.Seen(at))
		if all := sheet.Explain(s, float64(at), ohm, math.IsInf(ohm, 1)); slices.ContainsFunc(all, func(st sheet.State) bool { return st.Kind == want[0] && st.Probability > 0.03 }) {
			right++
		} else {
			t.Logf("seed %d, %v read at %v m is not explained by %v: %+v", seed, ohm, at, want, all)
		}
	}
	if right < n*97/100 {
		t.Errorf("%d of %d states are among the explanations of their own reading", right, n)
	}
}

func TestLostAndHalve(t *testing.T) {
	s := trunk(t, "500 m", "90 m", "210 m", "330 m", "450 m")
	if got := strings.Join(sheet.Lost(s, 250), " "); got != "d3 d4" {
		t.Errorf("a break at 250 m takes %q", got)
	}
	if got := sheet.Lost(s, 480); len(got) != 0 {
		t.Errorf("a break beyond the last drop takes %q", got)
	}
	if d, m, ok := sheet.Halve(s, 0, 500); !ok || d != "d2" && d != "d3" {
		t.Errorf("half of the trunk: %v at %v m, %v", d, m, ok)
	}
	if _, _, ok := sheet.Halve(s, 211, 329); ok {
		t.Error("halving found a drop where there is none")
	}
}
