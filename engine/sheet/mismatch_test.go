package sheet_test

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

const pond = "sheet: Pond\nline: token_pair\nrate: 153.6 kbaud\ncable: [{length: 240 m, impedance: 120 ohm, velocity: 66 %}]\n" +
	"terminators: [{at: host, ohm: 120 ohm}]\nstubs: [{at: 50 m, length: 2 m}, {at: 150 m, length: 20 m}]\n" +
	"drops: [{drop: sluice, at: 90 m, address: 1}, {drop: gate, at: 200 m, address: 2}]\nbias: {at: host, volts: 5 V, up: 650 ohm, down: 650 ohm}\n"

// Where an echo comes from, by where the probe was and how far away it is.
func TestSpots(t *testing.T) {
	s := read(t, pond)
	for _, c := range []struct {
		probe, distance float64
		want            string
	}{
		{0, 240, "end 240 m, no terminator"},
		{0, 150, "end 240 m, no terminator; 150 m"}, // from sluice, which sends from 90 m; or a break
		{240, 240, "host 0 m, terminator"},
		{200, 200, "host 0 m, terminator"},
		{90, 150, "end 240 m, no terminator"},
		{90, 60, "150 m; 30 m"},
		{90, 40, "end 240 m, no terminator; 130 m; 50 m"}, // from gate
		{0, 600, ""},
	} {
		var got []string
		for _, spot := range sheet.Spots(s, c.probe, c.distance, 3) {
			text := fmt.Sprintf("%.0f m", spot.AtM)
			if spot.End != "" {
				text = spot.End + " " + text + ", " + map[bool]string{true: "terminator", false: "no terminator"}[spot.Terminated]
			}
			got = append(got, text)
		}
		if strings.Join(got, "; ") != c.want {
			t.Errorf("%v m from a probe at %v m: %q, expected %q", c.distance, c.probe, got, c.want)
		}
	}
	// A device that sends anew ends what a wave sees.
	split := read(t, strings.Replace(pond, "stubs:", "inline: [{kind: repeater, at: 120 m}]\nstubs:", 1))
	for _, spot := range sheet.Spots(split, 0, 120, 3) {
		if spot.AtM > 121 {
			t.Errorf("an echo comes from %v m, beyond the repeater", spot.AtM)
		}
	}
	// Beyond it the ends of its own segment are seen, with the terminators that stand there, counted from the host.
	ended := read(t, strings.NewReplacer("stubs:", "inline: [{kind: repeater, at: 120 m}]\nstubs:", "ohm: 120 ohm}]", "ohm: 120 ohm}, {at: end, ohm: 120 ohm}]").Replace(pond))
	for at, fitted := range map[*rulebase.Sheet]bool{split: false, ended: true} {
		if spots := sheet.Spots(at, 200, 40, 3); len(spots) == 0 || spots[0].End != "end" || spots[0].AtM != 240 || spots[0].Terminated != fitted {
			t.Errorf("behind the repeater, terminator %v: %+v", fitted, spots)
		}
	}
	if spots := sheet.Spots(split, 0, 240, 3); len(spots) > 0 {
		t.Errorf("an echo from beyond the repeater: %+v", spots)
	}
}

func TestStubsOf(t *testing.T) {
	s := read(t, pond)
	for _, c := range []struct {
		length, slack float64
		at            []float64
		fits          bool
	}{{20, 3, []float64{150}, true}, {2, 3, []float64{50}, true}, {11, 10, []float64{50, 150}, true}, {60, 5, []float64{150, 50}, false}} {
		stubs, fits := sheet.StubsOf(s, c.length, c.slack)
		var at []float64
		for _, x := range stubs {
			at = append(at, x.AtM)
		}
		slices.Sort(at)
		slices.Sort(c.at)
		if fits != c.fits || !slices.Equal(at, c.at) {
			t.Errorf("a stub of %v m: %v %v, expected %v %v", c.length, at, fits, c.at, c.fits)
		}
	}
}

func TestDelayAndIdleOfASheet(t *testing.T) {
	s := read(t, pond)
	if d, said := sheet.Delay(s); !said || !(math.Abs(float64(d)*1e9-5.054) <= 1e-3) { // 66 % of the speed of light (textbook)
		t.Errorf("delay %v, said %v", d, said)
	}
	if d, said := sheet.Delay(read(t, strings.Replace(pond, ", velocity: 66 %", "", 1))); said || float64(d) != 5e-9 {
		t.Errorf("the usual delay is %v, said %v", d, said)
	}
	// 5 V over 2 × 650 ohm and 120 ohm parallel to three inputs of 24 kohm.
	across := 1 / (1/120.0 + 3/24000.0)
	if v, ok := sheet.Idle(s, 90); !ok || !(math.Abs(float64(v)-5*across/(across+1300)) <= 1e-9) {
		t.Errorf("idle %v %v", v, ok)
	}
}
