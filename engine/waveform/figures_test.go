package waveform_test

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine/waveform"
)

// caught is a plant as an instrument shows it.
func caught(t *testing.T, r *rand.Rand, p *plant, seconds float64, in instrument, o waveform.Options) *waveform.Reading {
	t.Helper()
	volts, h := p.run(seconds)
	in.step = seconds / float64(in.points)
	c, err := waveform.Read("made", file(in.step, in.sample(r, volts, h)), waveform.Units{})
	if err != nil {
		t.Fatal(err)
	}
	return waveform.Measure(c, o)
}

func near(t *testing.T, what string, got waveform.Figure, want, within float64) {
	t.Helper()
	if !got.Seen() || !(math.Abs(got.Value-want) <= within) {
		t.Errorf("%s: %.4g ± %.2g (%s), want %.4g within %.2g", what, got.Value, got.Plus, got.Why, want, within)
	}
}

// Heights, idle level, edges, noise and hum are those of the circuit, by Ohm's law
// and by what was added.
func TestFiguresAreThoseOfTheCircuit(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 3))
		p, seconds := matched(r, 153600, 3)
		for i := range p.talkers {
			p.talkers[i].rise = 0.3e-6 + 0.4e-6*r.Float64()
		}
		p.stepHint = 10e-9
		in := instrument{points: 9000, bandwidth: 10e6, range_: 8, bits: 8, noise: 0.02}
		got := caught(t, r, p, seconds, in, waveform.Options{Bandwidth: in.bandwidth})
		load := 1 / (1/p.hostOhm + 1/p.endOhm + 1/p.biasOhm + 1/1e5 + 1/24e3)
		idle := p.bias * load / p.biasOhm
		near(t, "idle", got.Idle, idle, 0.02)
		near(t, "noise", got.Noise, math.Hypot(in.noise, 8./256/math.Sqrt(12)), 0.006)
		height := func(sender talker) float64 { return sender.volts / (1/load + 1/sender.ohm) / sender.ohm }
		if a, b := height(p.talkers[0]), height(p.talkers[1]); math.Abs(a/b-1) < 0.1 {
			continue // two as loud as each other are one
		}
		if len(got.Talkers) != 2 {
			t.Errorf("seed %d: %d senders, want 2", seed, len(got.Talkers))
			continue
		}
		for _, sender := range p.talkers {
			height := height(sender)
			i := 0
			if math.Abs(got.Talkers[1].Height.Value-height) < math.Abs(got.Talkers[0].Height.Value-height) {
				i = 1
			}
			near(t, "height", got.Talkers[i].Height, height, 0.03*height)
			near(t, "rise", got.Talkers[i].Rise, sender.rise, 0.15*sender.rise)
		}
	}
}

func TestHumOfALongCapture(t *testing.T) {
	for _, hz := range []float64{50, 60} {
		r := rand.New(rand.NewPCG(uint64(hz), 4))
		p, seconds := matched(r, 9600, 12)
		in := instrument{points: 10000, range_: 8, bits: 8, noise: 0.02, hum: 0.3, humHz: hz}
		got := caught(t, r, p, seconds, in, waveform.Options{})
		near(t, "hum", got.Hum, 0.3, 0.05)
		if got.HumHz != hz {
			t.Errorf("hum of %v Hz, made with %v", got.HumHz, hz)
		}
	}
}

// One sender that follows another after a few bits is not taken for the same.
func TestSendersThatFollowEachOtherAtOnce(t *testing.T) {
	for seed := range uint64(8) {
		r := rand.New(rand.NewPCG(seed, 5))
		p, _ := matched(r, 153600, 4)
		p.talkers[0].volts, p.talkers[1].volts = 3.6, 2.4
		a, b := &p.talkers[0].sends[0], &p.talkers[1].sends[0]
		b.from = a.end() + 4*a.bit
		got := caught(t, r, p, b.end()+30*a.bit, instrument{points: 6000, range_: 8, bits: 8, noise: 0.02, bandwidth: 20e6}, waveform.Options{})
		if len(got.Talkers) != 2 {
			t.Errorf("seed %d: %d senders, want 2", seed, len(got.Talkers))
		}
		near(t, "rate", got.Rate, 153600, 0.005*153600)
	}
}

// A capture that shows nothing, or too little, says why.
func TestWhatCannotBeSeen(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	flat := &waveform.Capture{Step: 1e-6, Volts: make([]float64, 1000)}
	for i := range flat.Volts {
		flat.Volts[i] = 0.3 + 0.01*r.NormFloat64()
	}
	if got := waveform.Measure(flat, waveform.Options{}); got.Rate.Why != waveform.NothingMoves || got.Hum.Why != waveform.TooShort || got.Common.Why != waveform.OneChannel {
		t.Errorf("rate %v, hum %v, common %v", got.Rate.Why, got.Hum.Why, got.Common.Why)
	}
	steps := &waveform.Capture{Step: 1e-6, Quantum: 0.12, Volts: slices.Repeat([]float64{0.24}, 1000)}
	if got := waveform.Measure(steps, waveform.Options{}).Idle; got.Value != 0.24 || !(math.Abs(got.Plus-0.12/math.Sqrt(12)) <= 1e-12) { // an even spread over a step
		t.Errorf("what never leaves one step of the instrument is at %v ± %v", got.Value, got.Plus)
	}
	held := &waveform.Capture{Step: 1e-6, Volts: make([]float64, 1000)}
	for i := range held.Volts {
		held.Volts[i] = 2.1 + 0.01*r.NormFloat64()
	}
	if all := waveform.Measure(held, waveform.Options{}).Troubles(); len(all) == 0 || all[0] != waveform.HeldAtLevel {
		t.Errorf("held: %v", all)
	}
	p, seconds := matched(r, 153600, 40)
	if got := caught(t, r, p, seconds, instrument{points: 2000, range_: 8, bits: 8}, waveform.Options{}); got.Rate.Seen() {
		t.Errorf("rate %v from %.1f points in a bit", got.Rate.Value, 1/153600./got.Step)
	}
}

// One sender many times slower than the loudest is heard as one, and whoever sends behind it is heard too.
func TestASenderMuchSlowerThanTheOthers(t *testing.T) {
	for _, seed := range []uint64{1, 2, 5} {
		r := rand.New(rand.NewPCG(seed, 8))
		const fast, slow = 153600, 19200
		p, _ := matched(r, fast, 4)
		p.talkers[0].volts = 3.8
		first := &p.talkers[0].sends[0]
		p.talkers[1].volts, p.talkers[1].sends = 2.7, []message{{from: first.end() + 40./fast, bit: 1. / slow, bits: characters(r, 3)}}
		between := p.talkers[1].sends[0]
		last := message{from: between.end() + 40./fast, bit: 1. / fast, bits: characters(r, 4)}
		p.talkers = append(p.talkers, talker{at: 20, volts: 1.9, ohm: 50, rise: 0.1e-6, sends: []message{last}})
		got := caught(t, r, p, last.end()+40./fast, instrument{points: 20000, range_: 8, bits: 8, noise: 0.02, bandwidth: 20e6}, waveform.Options{})
		var heard []float64
		for _, one := range got.Talkers { // one edge by itself, at the slow one's end, has no rate
			if one.Rate.Seen() {
				heard = append(heard, one.Rate.Value)
			}
		}
		slices.Sort(heard)
		if len(heard) != 3 || !(math.Abs(heard[0]/slow-1) <= 0.02) || !(math.Abs(heard[1]/fast-1) <= 0.02) || !(math.Abs(heard[2]/fast-1) <= 0.02) {
			t.Errorf("seed %d: heard at %v bit/s, sent by two at %v and one at %v", seed, heard, fast, slow)
		}
		if !slices.Contains(got.Troubles(), waveform.RatesDiffer) {
			t.Errorf("seed %d: %v", seed, got.Troubles())
		}
	}
}

// Where somebody sends all the time there is no idle level and no hum; the noise is told, and how sure it is.
func TestNoSilenceAtAll(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	p, _ := matched(r, 153600, 12)
	first := p.talkers[0].sends[0]
	in := instrument{points: 600, range_: 8, bits: 8, noise: 0.05, bandwidth: 20e6}
	seconds := first.end()
	in.step = seconds / float64(in.points)
	volts, h := p.run(seconds)
	c, err := waveform.Read("made", file(in.step, in.sample(r, volts, h)), waveform.Units{})
	if err != nil {
		t.Fatal(err)
	}
	from, to := int((first.from+3*first.bit)/in.step), int((first.end()-3*first.bit)/in.step)
	c.Volts = c.Volts[from:to]
	got := waveform.Measure(c, waveform.Options{Bandwidth: in.bandwidth})
	if got.Idle.Why != waveform.NoSilence || got.Hum.Why != waveform.NoSilence {
		t.Errorf("idle %+v, hum %+v", got.Idle, got.Hum)
	}
	if !got.Noise.Seen() || got.Noise.Value < 0.02 || got.Noise.Value > 0.1 || got.Noise.Plus > 0.2*got.Noise.Value {
		t.Errorf("noise %v ± %v, made with %v", got.Noise.Value, got.Noise.Plus, in.noise)
	}
}

// A probe between a sender and a stub sees the stub's begin first and its end later: how long it is follows from
// the time between the two, wherever the probe is. The sender is of the cable's own impedance and sends nothing back.
func TestHowLongAStubIsThatLiesBeyondTheProbe(t *testing.T) {
	for _, c := range []struct{ probe, at, long float64 }{{400, 460, 40}, {300, 330, 60}, {350, 450, 50}} {
		r := rand.New(rand.NewPCG(uint64(c.long), 10))
		const bit = 1 / 153600.
		m := message{from: 15 * bit, bit: bit, bits: characters(r, 3)}
		p := &plant{
			z0: 120, delay: 5e-9, trunk: 600, endOhm: 120, scopeAt: c.probe, stubs: []stub{{at: c.at, length: c.long}},
			talkers: []talker{{volts: 5, ohm: 120, rise: 50e-9, sends: []message{m}}},
		}
		got := caught(t, r, p, m.end()+20*bit, instrument{points: 18000, range_: 8, bits: 8, noise: 0.01, bandwidth: 20e6}, waveform.Options{Bandwidth: 20e6})
		if got.Echo.Kind != waveform.Stub {
			t.Errorf("from %v m, a stub of %v m at %v m: %q %q, misfit %v", c.probe, c.long, c.at, got.Echo.Kind, got.Echo.Why, got.Echo.Misfit)
			continue
		}
		near(t, "stub", got.Echo.Distance, c.long, 0.15*c.long)
	}
}
