package waveform_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine/waveform"
	"downdrop/testdata/support"
)

// The rates of the table in bit/s.
var rates = []float64{9600, 19200, 38400, 57600, 76800, 93750, 115200, 153600, 187500, 500e3, 1500e3}

// matched is a trunk in order: nothing comes back.
func matched(r *rand.Rand, rate float64, chars int) (p *plant, seconds float64) {
	bit := 1 / rate
	p = &plant{
		z0: 120, delay: 5e-9, trunk: 40, hostOhm: 120, endOhm: 120, scopeAt: 20, bias: 5, biasOhm: 1300,
		talkers: []talker{
			{at: 0, volts: 2.5 + 2*r.Float64(), ohm: 30 + 30*r.Float64(), rise: 0.2 * bit * r.Float64()},
			{at: 40, volts: 1.5 + r.Float64(), ohm: 50, rise: 0.2 * bit * r.Float64()},
		},
		stepHint: min(bit/200, 50e-9),
	}
	at := 20 * bit
	for i := range p.talkers {
		m := message{from: at, bit: bit, bits: characters(r, chars)}
		p.talkers[i].sends = []message{m}
		at = m.end() + (25+20*r.Float64())*bit
	}
	return p, at
}

func TestRateOfCleanAndNoisyCaptures(t *testing.T) {
	for _, noisy := range []bool{false, true} {
		most := 0.0
		for _, rate := range append(slices.Clone(rates), 12e6) {
			for i := range support.Deep(t, 2) {
				r := rand.New(rand.NewPCG(uint64(rate), uint64(i)))
				p, seconds := matched(r, rate, 2+r.IntN(4))
				volts, h := p.run(seconds)
				in := instrument{points: 1000 + r.IntN(9000), bandwidth: 20e6, range_: 8, bits: 8, noise: 0.01, hum: 0.05, humHz: 50}
				in.step = seconds / float64(in.points)
				if noisy {
					in.noise = 0.2 // a tenth of the 2 V or so that arrive
				}
				c, err := waveform.Read("made", file(in.step, in.sample(r, volts, h)), waveform.Units{})
				if err != nil {
					t.Fatal(err)
				}
				got := waveform.Measure(c, waveform.Options{})
				if !got.Rate.Seen() {
					t.Errorf("%v bit/s, noisy %v, %d points: %s", rate, noisy, in.points, got.Rate.Why)
					continue
				}
				off := math.Abs(got.Rate.Value/rate - 1)
				most = max(most, off)
				allowed := 0.005
				if noisy {
					allowed = 0.02
				}
				if !(off <= allowed) {
					t.Errorf("%v bit/s, noisy %v, %d points: %v, off by %.2f %%", rate, noisy, in.points, got.Rate.Value, 100*off)
				}
			}
		}
		t.Logf("noisy %v: off by %.3f %% at most", noisy, 100*most)
	}
}

// Where one end is open and 30 ohm lie across the other an edge runs to and fro and passes the middle by itself: edges
// that nobody sent. A sender whose echoes do so is held against the other, and has its rate, not several times that.
func TestRateWhereEchoesPassTheMiddle(t *testing.T) {
	for _, c := range []struct {
		rate              float64
		trunk, end, probe float64
		ohms              [2]float64
		second            float64 // metres to the second sender
		seed              uint64
	}{
		{500e3, 36, 30, 23, [2]float64{24, 14}, 31, 6},
		{153600, 216, 30, 81, [2]float64{30, 36}, 92, 6},
		{153600, 49, 30, 8, [2]float64{33, 37}, 37, 1},
		{153600, 49, 30, 8, [2]float64{33, 37}, 37, 9},
	} {
		r := rand.New(rand.NewPCG(c.seed, 78))
		bit := 1 / c.rate
		p := &plant{z0: 120, delay: 5e-9, trunk: c.trunk, endOhm: c.end, scopeAt: c.probe, bias: 5, biasOhm: 1300, stepHint: bit / 200}
		at := 20 * bit
		for k := range 2 {
			m := message{from: at, bit: bit, bits: characters(r, 4)}
			p.talkers = append(p.talkers, talker{at: float64(k) * c.second, volts: 2.5 + float64(k), ohm: c.ohms[k], rise: 0.02 * bit, sends: []message{m}})
			at = m.end() + 30*bit
		}
		got := caught(t, r, p, at, instrument{points: 8000, range_: 8, bits: 8, noise: 0.02, bandwidth: 20e6}, waveform.Options{Bandwidth: 20e6})
		for _, one := range got.Talkers {
			near(t, "rate", one.Rate, c.rate, 0.01*c.rate)
		}
		if troubles := got.Troubles(); len(got.Talkers) == 0 || slices.Contains(troubles, waveform.RatesDiffer) || slices.Contains(troubles, waveform.RateNotSet) {
			t.Errorf("%v bit/s, %v m: %d senders, %v", c.rate, c.trunk, len(got.Talkers), troubles)
		}
	}
}
