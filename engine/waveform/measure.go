package waveform

import (
	"cmp"
	"math"
	"slices"

	"downdrop/engine/line"
)

// A Figure is what was measured, or the reason why it cannot be seen.
type Figure struct {
	Value float64
	Plus  float64 // uncertainty, one standard deviation, in the unit of Value
	Why   Unseen  // "": it was seen
}

// Seen says whether the capture shows the figure.
func (f Figure) Seen() bool { return f.Why == "" }

// Unseen is a reason why a capture cannot show something.
type Unseen string

// The reasons.
const (
	NothingMoves    Unseen = "nothing_moves"     // no sender in the capture
	FewEdges        Unseen = "few_edges"         // too few changes of the bit to lay a grid through
	FewSamples      Unseen = "few_samples"       // too few points in a bit
	NoGrid          Unseen = "no_grid"           // the edges lie on no grid of bits
	NoSilence       Unseen = "no_silence"        // somebody sends all the time
	TooShort        Unseen = "too_short"         // the capture is shorter than what is looked for
	FasterThanScope Unseen = "faster_than_scope" // the edge is as fast as the instrument
	FasterThanStep  Unseen = "faster_than_step"  // the edge is over within two points
	OneChannel      Unseen = "one_channel"       // each leg against common was not caught
	NoEcho          Unseen = "no_echo"           // there is none above the noise
	EchoTooClose    Unseen = "echo_too_close"    // an echo would come within two points, or within the edge
	EchoUnsettled   Unseen = "echo_unsettled"    // the bits of one sender are too few to tell an echo from them
	EchoAmbiguous   Unseen = "echo_ambiguous"    // an echo is there, and more than one cause fits it
	LeftTheScreen   Unseen = "left_the_screen"   // the trace ran against the end of the range
)

// Options are what is known beside the capture.
type Options struct {
	Rate      line.BitPerSecond   // that the bus is set to; 0: not known
	Delay     line.SecondPerMetre // of the cable, one way; 0: UsualDelay
	Bandwidth float64             // of instrument and probe, hertz; 0: as the capture says
}

// UsualDelay of a twisted pair, the figure of CiA 301 V4.2.0 as quoted; real ones
// lie between 4.2 and 5.7 ns/m.
const UsualDelay line.SecondPerMetre = 5e-9

// A Reading is all that a capture shows.
type Reading struct {
	Points    int
	Step      float64 // seconds
	Length    float64 // seconds
	Legs      bool    // each leg had a channel
	Quantum   float64 // volts; 0: none seen
	Bandwidth float64 // hertz; 0: not known
	Clipped   bool
	Set       line.BitPerSecond // what the bus is said to be set to; 0: not said
	Delay     line.SecondPerMetre

	Bit     Figure // seconds, of most of the bits
	Rate    Figure // bit/s
	Nearest Nearest
	Idle    Figure // volts across the pair while nobody sends
	Noise   Figure // volts rms, without hum
	Hum     Figure // volts, amplitude across the pair
	HumHz   float64
	Common  Figure // volts, the farthest from zero of the legs' mean; Plus is the quantum
	Talkers []Talker
	Echo    Echo

	Bursts []Span // for a plot
	scan   *scan
}

// A Span is a stretch of the capture, seconds from its first point.
type Span struct {
	From, To float64
	Talker   int // index into Talkers
}

// Nearest is the rate of a kind of line that is nearest to a measured one.
type Nearest struct {
	Rate    line.BitPerSecond
	Kinds   []*line.Kind // that have it
	Differs float64      // share by which the measured one is higher
}

// A Talker is a sender, or several that are alike in height and rate.
type Talker struct {
	Bursts    int
	Bits      int    // in all its bursts, as far as they lie on the grid
	High, Low Figure // volts across the pair
	Height    Figure // volts: half the swing where both levels have their own sign, else the whole
	Bit       Figure // seconds
	Rate      Figure // bit/s
	Nearest   Nearest
	Rise      Figure // seconds, 10 to 90 %, less the instrument's own where that is known
	RiseRaw   float64
	Overshoot Figure // share of the swing by which the trace goes beyond its level
	Echo      Echo

	bursts   []*burst
	response response
	echoes   []Echo
}

// humOver is the part of a mains cycle that a capture must hold for its hum.
const humOver = 0.6

// Measure measures what a capture shows.
func Measure(c *Capture, o Options) *Reading {
	r := &Reading{
		Points: len(c.Volts), Step: c.Step, Length: c.Length(), Legs: c.Common != nil,
		Quantum: c.Quantum, Bandwidth: c.Bandwidth, Clipped: c.Clipped, Set: o.Rate, Delay: o.Delay,
	}
	if o.Bandwidth > 0 {
		r.Bandwidth = o.Bandwidth
	}
	if r.Delay == 0 {
		r.Delay = UsualDelay
	}
	s := newScan(c)
	r.scan = s
	r.quiet(c, s)
	r.common(c)
	for _, group := range s.groups() {
		r.Talkers = append(r.Talkers, r.talker(s, group))
	}
	// Most bits first: they are the bus, the others its guests.
	slices.SortStableFunc(r.Talkers, func(a, b Talker) int { return b.Bits - a.Bits })
	for i, t := range r.Talkers {
		for _, b := range t.bursts {
			r.Bursts = append(r.Bursts, Span{float64(b.from) * c.Step, float64(b.to) * c.Step, i})
		}
	}
	slices.SortFunc(r.Bursts, func(a, b Span) int { return cmp.Compare(a.From, b.From) })
	r.Rate, r.Bit = r.rate(s)
	if r.Rate.Seen() {
		r.Nearest = nearest(r.Rate.Value)
	}
	var echoes []Echo
	for _, t := range r.Talkers {
		echoes = append(echoes, t.echoes...)
	}
	r.Echo = r.decide(echoes)
	if len(r.Talkers) == 0 {
		r.Echo.Why = NothingMoves
	}
	return r
}

// rate is that of the sender with most bits.
func (r *Reading) rate(s *scan) (rate, bit Figure) {
	for _, t := range r.Talkers {
		if t.Rate.Seen() {
			return t.Rate, t.Bit
		}
	}
	why := NothingMoves
	if len(r.Talkers) > 0 {
		why = r.Talkers[0].Rate.Why
	} else if s.moves() {
		why = FewEdges
	}
	return Figure{Why: why}, Figure{Why: why}
}

// moves says whether there is more than noise in a capture.
func (s *scan) moves() bool { return quantile(s.v, 0.999)-quantile(s.v, 0.001) > 10*s.noise }

// nearest is the standard rate next to a measured one, by ratio.
func nearest(rate float64) Nearest {
	var n Nearest
	far := math.Inf(1)
	for _, k := range line.Kinds {
		for _, r := range k.Rates {
			off := math.Abs(math.Log(rate / float64(r)))
			switch {
			case r == n.Rate:
				n.Kinds = append(n.Kinds, k)
			case off < far:
				far, n = off, Nearest{Rate: r, Kinds: []*line.Kind{k}}
			}
		}
	}
	n.Differs = rate/float64(n.Rate) - 1
	return n
}

// talker measures one sender.
func (r *Reading) talker(s *scan, group []*burst) Talker {
	t := Talker{Bursts: len(group), bursts: group}
	var high, low, bit []float64
	var weight, sum, samples float64
	edges := 0
	for _, b := range group {
		high, low = append(high, b.high), append(low, b.low)
		edges += len(b.edges)
		samples += float64(b.to - b.from)
		if b.fits {
			w := 1 / (b.grid.sigma * b.grid.sigma)
			weight, sum = weight+w, sum+w*b.grid.bit
			bit = append(bit, b.grid.bit)
		}
	}
	spread := max(s.noise/math.Sqrt(max(1, samples/4)), r.Quantum/math.Sqrt(12))
	t.High, t.Low = Figure{Value: mean(high), Plus: spread}, Figure{Value: mean(low), Plus: spread}
	t.Height = Figure{Value: t.High.Value - t.Low.Value, Plus: math.Sqrt2 * spread}
	if t.High.Value > 0 && t.Low.Value < -0.15*t.High.Value {
		t.Height = Figure{Value: t.Height.Value / 2, Plus: t.Height.Plus / 2}
	}
	if r.Clipped {
		t.High.Why, t.Low.Why, t.Height.Why = LeftTheScreen, LeftTheScreen, LeftTheScreen
	}
	switch {
	case len(bit) == 0 && edges < 6:
		t.Rate.Why = FewEdges
	case len(bit) == 0:
		t.Rate.Why = NoGrid
	case sum/weight < fewestInBit:
		t.Rate.Why = FewSamples
	default:
		n := sum / weight
		t.Bit = Figure{Value: n * r.Step, Plus: r.Step / math.Sqrt(weight)}
		t.Rate = Figure{Value: 1 / t.Bit.Value, Plus: t.Bit.Plus / (t.Bit.Value * t.Bit.Value)}
		t.Nearest = nearest(t.Rate.Value)
		t.Bits = int(samples / n)
	}
	t.Bit.Why = t.Rate.Why
	all := respond(s, group, sum/max(weight, 1e-30))
	t.response = all[0]
	r.edge(&t)
	for i := range all {
		t.echoes = append(t.echoes, r.echo(s, &all[i]))
	}
	t.Echo = r.decide(t.echoes)
	return t
}

// fewestInBit is how many samples a bit must have: with fewer an edge can hide
// between two of them.
const fewestInBit = 4
