package waveform_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine/line"
	"downdrop/engine/waveform"
	"downdrop/testdata/support"
)

// A played is a drawn case: a plant with one fault, or none, and how it was caught.
type played struct {
	fault    string // none, wrong_rate, open_end, stub, low_end
	rate     float64
	plant    *plant
	seconds  float64
	in       instrument
	delay    float64 // seconds of the first echo, by the sender that shows it latest
	allowed  bool    // delay over two samples and over the rise time
	distance float64 // metres that are to be found
}

func (c *played) String() string {
	return fmt.Sprintf("%s at %v bit/s, %.0f m of trunk, scope at %.0f m (on stub %d), senders %v, stubs %v, %d points every %.3g s, echo after %.3g s, allowed %v",
		c.fault, c.rate, c.plant.trunk, c.plant.scopeAt, c.plant.scopeOn, senderPlaces(c.plant), c.plant.stubs, c.in.points, c.in.step, c.delay, c.allowed)
}

func senderPlaces(p *plant) []string {
	var all []string
	for _, t := range p.talkers {
		all = append(all, fmt.Sprintf("%.0f m, %.0f ohm, %.0f ns", t.at, t.ohm, t.rise*1e9))
	}
	return all
}

// draw makes a case by its seed: trunks as long as their rate allows, two or three
// senders, the scope at any of the places where people stand.
func draw(seed uint64, fault string) *played {
	r := rand.New(rand.NewPCG(seed, 11))
	c := &played{fault: fault, rate: rates[r.IntN(len(rates))]}
	bit := 1 / c.rate
	longest := min(1000, 1e8/c.rate)
	p := &plant{z0: []float64{120, 150}[r.IntN(2)], delay: 4.8e-9 + 0.4e-9*r.Float64(), loss: 0.75 + 0.25*r.Float64(), bias: 5, biasOhm: 1300}
	p.trunk = longest * (0.3 + 0.7*r.Float64())
	p.hostOhm, p.endOhm = p.z0, p.z0
	rise := min(0.25*bit, []float64{20e-9, 50e-9, 150e-9, 400e-9}[r.IntN(4)])
	for i := range 2 + r.IntN(2) {
		t := talker{volts: 2.2 + 0.6*float64(i) + 0.3*r.Float64(), ohm: 25 + 30*r.Float64(), rise: rise}
		if i > 0 {
			t.at = p.trunk * (0.05 + 0.9*r.Float64())
		}
		p.talkers = append(p.talkers, t)
	}
	p.scopeAt = []float64{0, p.trunk * r.Float64(), p.talkers[1].at, p.trunk}[r.IntN(4)]
	c.plant = p
	at := 15 * bit
	for i := range p.talkers {
		m := message{from: at, bit: bit, bits: characters(r, 2+r.IntN(3))}
		if fault == "wrong_rate" && i == len(p.talkers)-1 {
			for m.bit == bit {
				m.bit = 1 / rates[max(0, min(len(rates)-1, int(math.Round(float64(indexOf(c.rate))+3*r.Float64()-1.5))))]
			}
		}
		p.talkers[i].sends = []message{m}
		at = m.end() + (20+20*r.Float64())*max(bit, m.bit)
	}
	c.seconds = at
	c.in = instrument{points: 2000 + r.IntN(8001), bandwidth: 10e6 + 10e6*r.Float64(), range_: 16, bits: 8, noise: 0.01 + 0.04*r.Float64(), hum: 0.1 * r.Float64(), humHz: 50}
	c.in.step = at / float64(c.in.points)
	p.stepHint = max(5e-9, c.in.step/8)
	switch fault {
	case "open_end":
		p.endOhm = 0
		for _, t := range p.talkers {
			c.delay = max(c.delay, 2*(p.trunk-max(t.at, p.scopeAt))*p.delay)
		}
		c.distance = c.delay / 2 / p.delay
	case "low_end":
		at := p.trunk * (0.2 + 0.8*r.Float64())
		p.extra = []across{{at, p.z0}}
		for _, t := range p.talkers {
			switch { // seen from the sender's side only: beyond it all of the wave has passed it
			case t.at < at && p.scopeAt < at:
				c.delay = max(c.delay, 2*(at-max(t.at, p.scopeAt))*p.delay)
			case t.at > at && p.scopeAt > at:
				c.delay = max(c.delay, 2*(min(t.at, p.scopeAt)-at)*p.delay)
			}
		}
	case "stub":
		long := longest * (0.03 + 0.2*r.Float64())
		p.stubs = []stub{{at: p.trunk * (0.1 + 0.8*r.Float64()), length: long}}
		if r.IntN(4) == 0 {
			p.scopeAt, p.scopeOn = p.stubs[0].at, 1
		}
		c.delay, c.distance = 2*long*p.delay, long
	}
	seen := math.Hypot(rise, 0.35/c.in.bandwidth)
	c.allowed = fault == "none" || fault == "wrong_rate" || c.delay > 2*c.in.step && c.delay > seen
	return c
}

func indexOf(rate float64) int {
	for i, r := range rates {
		if r == rate {
			return i
		}
	}
	return 0
}

// play catches a case and has it measured.
func (c *played) play(t *testing.T, seed uint64) *waveform.Reading {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 12))
	volts, h := c.plant.run(c.seconds)
	capture, err := waveform.Read("made", file(c.in.step, c.in.sample(r, volts, h)), waveform.Units{})
	if err != nil {
		t.Fatal(err)
	}
	return waveform.Measure(capture, waveform.Options{Bandwidth: c.in.bandwidth})
}

// told is what a reading says of the three faults: one of them, none, or that it
// cannot be told.
func told(r *waveform.Reading) string {
	says := "none"
	for _, trouble := range r.Troubles() {
		switch trouble {
		case waveform.RatesDiffer, waveform.RateNotSet:
			return "wrong_rate"
		case waveform.EndOpen:
			says = "open_end"
		case waveform.LongStub:
			says = "stub"
		case waveform.EndLow:
			says = "low_end"
		case waveform.EchoOfSome:
			says = "cannot tell"
		}
	}
	return says
}

// A wrong rate, a missing terminator and a long stub are told apart wherever the
// capture allows it: a refusal where it does is as wrong as a mistake. Where it
// does not, neither is claimed.
func TestFaultsAreToldApart(t *testing.T) {
	faults := []string{"wrong_rate", "open_end", "stub", "none"}
	type tally struct{ right, all int }
	allowed, refused := map[string]*tally{}, &tally{}
	sum := &tally{}
	var off []float64
	for i := range uint64(support.Deep(t, 28)) {
		c := draw(i, faults[i%4])
		r := c.play(t, i)
		says := told(r)
		if !c.allowed {
			refused.all++
			if says == "none" || says == "cannot tell" {
				refused.right++
			} else {
				t.Logf("case %d: %s, and it may not be claimed: %v", i, says, c)
			}
			continue
		}
		a := allowed[c.fault]
		if a == nil {
			a = &tally{}
			allowed[c.fault] = a
		}
		a.all++
		sum.all++
		if says != c.fault {
			t.Logf("case %d: %s for %v (misfit %.3f, first %.2f, settled %.2f)", i, says, c, r.Echo.Misfit, r.Echo.First, r.Echo.Settled)
			continue
		}
		a.right++
		sum.right++
		if c.distance > 0 {
			off = append(off, math.Abs(r.Echo.Distance.Value/c.distance-1))
		}
	}
	for _, fault := range faults {
		if a := allowed[fault]; a != nil {
			t.Logf("%s: %d of %d", fault, a.right, a.all)
		}
	}
	t.Logf("refused where the capture forbids it: %d of %d", refused.right, refused.all)
	close := 0
	for _, x := range off {
		if x < 0.25 {
			close++
		}
	}
	t.Logf("distance within a quarter: %d of %d", close, len(off))
	if !testing.Short() && 100*sum.right < 95*sum.all { // of the few cases of -short one says too much
		t.Errorf("told apart: %d of %d, less than 95 of 100", sum.right, sum.all)
	}
	// The rule for what may be claimed is sharp, what a capture shows is not: a few
	// echoes just short of the limit are told, most of them rightly.
	if all := sum.all + refused.all; 100*(sum.right+refused.right) < 95*all {
		t.Errorf("told apart or refused: %d of %d, less than 95 of 100", sum.right+refused.right, all)
	}
	if 4*close < 3*len(off) {
		t.Errorf("distance within a quarter: %d of %d", close, len(off))
	}
}

// One terminator too many is the harder to tell: its echo is a third at most, and
// from beyond it there is none. It must not pass for a missing one.
func TestOneTerminatorTooMany(t *testing.T) {
	right, missing, all := 0, 0, 0
	for i := range uint64(support.Deep(t, 16)) {
		c := draw(5000+i, "low_end")
		if !c.allowed {
			continue
		}
		all++
		switch says := told(c.play(t, i)); says {
		case "low_end":
			right++
		case "open_end":
			missing++
			fallthrough
		default:
			t.Logf("case %d: %s for %v", i, says, c)
		}
	}
	t.Logf("told: %d of %d; taken for a missing one: %d", right, all, missing)
	if 10*right < 9*all || 20*missing > all {
		t.Errorf("told: %d of %d; taken for a missing one: %d", right, all, missing)
	}
}

// Where three faults are at once nothing that is looked for fits. The nearest of it is not claimed then, however
// much likelier it is than the next.
func TestThreeFaultsAtOnceAreNoneOfThem(t *testing.T) {
	for _, seed := range []uint64{6, 12} { // of forty drawn the two that fit worst, their echoes far enough away
		c := draw(9000+seed, "stub")
		p := c.plant
		p.endOhm = []float64{0, p.z0 / 4, p.z0}[seed%3]
		p.extra = []across{{p.trunk * 0.35, p.z0 / 3}}
		p.stubs = append(p.stubs, stub{at: p.trunk * 0.6, length: p.stubs[0].length * 2})
		if e := c.play(t, seed).Echo; e.Misfit <= 4 || e.Kind != "" || e.Why != waveform.EchoAmbiguous {
			t.Errorf("plant %d: misfit %.2f, and it is said to be %q (%q)", seed, e.Misfit, e.Kind, e.Why)
		}
	}
}

// A rate is held against the one that is set: by as much as the two can be told apart.
func TestTheRateThatIsSet(t *testing.T) {
	for seed := range uint64(6) {
		c := draw(seed, "none")
		r := rand.New(rand.NewPCG(seed, 12))
		volts, h := c.plant.run(c.seconds)
		capture, err := waveform.Read("made", file(c.in.step, c.in.sample(r, volts, h)), waveform.Units{})
		if err != nil {
			t.Fatal(err)
		}
		for by, wrong := range map[float64]bool{1: false, 2: true, 0.5: true, 1.2: true, 0.8: true} {
			set := line.BitPerSecond(c.rate * by)
			reading := waveform.Measure(capture, waveform.Options{Bandwidth: c.in.bandwidth})
			reading.Set = set
			if got := slices.Contains(reading.Troubles(), waveform.RateNotSet); got != wrong {
				t.Errorf("%v: %v bit/s is set, measured %v: told as another: %v", c, float64(set), reading.Rate, got)
			}
			want := map[bool]string{false: "within_two_percent", true: "off_by_more"}[wrong]
			if on := reading.Findings(true); len(on) != 1 || on[0].Symptom != "bench_bit_time" || on[0].Word != want {
				t.Errorf("%v: %v bit/s is set, measured %v: on the bench %v, wanted %s", c, float64(set), reading.Rate, on, want)
			}
		}
	}
}

// With the probe's legs swapped everything is the other way up, and reads the same.
func TestSwappedLegsReadTheSame(t *testing.T) {
	faults := []string{"wrong_rate", "open_end", "stub", "none"}
	for i := range uint64(support.Deep(t, 4)) {
		c := draw(i, faults[i%4])
		r := rand.New(rand.NewPCG(i, 12))
		volts, h := c.plant.run(c.seconds)
		capture, err := waveform.Read("made", file(c.in.step, c.in.sample(r, volts, h)), waveform.Units{})
		if err != nil {
			t.Fatal(err)
		}
		one := waveform.Measure(capture, waveform.Options{Bandwidth: c.in.bandwidth})
		turned := *capture
		turned.Volts = make([]float64, len(capture.Volts))
		for k, v := range capture.Volts {
			turned.Volts[k] = -v
		}
		other := waveform.Measure(&turned, waveform.Options{Bandwidth: c.in.bandwidth})
		if !slices.Equal(one.Troubles(), other.Troubles()) || len(one.Talkers) != len(other.Talkers) || !(math.Abs(one.Rate.Value-other.Rate.Value) <= 1e-6*one.Rate.Value) || !(math.Abs(one.Idle.Value+other.Idle.Value) <= 1e-6) {
			t.Errorf("%v: %v at %v, idle %v; with the legs swapped %v at %v, idle %v", c, one.Troubles(), one.Rate, one.Idle, other.Troubles(), other.Rate, other.Idle)
		}
	}
}
