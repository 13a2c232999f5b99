package waveform

import (
	"cmp"
	"math"
	"slices"
)

// A Finding is what a reading says to a diagnosis, under the names of the shipped
// rulebase: a symptom, and the value it has: a word, or a number in its unit.
type Finding struct {
	Symptom string
	Word    string  // "": Number counts
	Number  float64 // in volts
}

// A Trouble is something in a reading that is not as it should be.
type Trouble string

// The troubles.
const (
	Silent       Trouble = "silent"        // no messages
	HeldAtLevel  Trouble = "held"          // no messages, and a sender's level across the pair all the time
	RatesDiffer  Trouble = "rates_differ"  // senders of different rates on one pair
	RateNotSet   Trouble = "rate_not_set"  // the rate is not the one that the bus is set to
	RateUnusual  Trouble = "rate_unusual"  // the rate is none of any kind of line
	EndOpen      Trouble = "end_open"      // an end without its terminator, or a break
	EndLow       Trouble = "end_low"       // a terminator too many or too low, or a leak
	LongStub     Trouble = "long_stub"     // a branch whose echoes reach into the bits
	EchoOfSome   Trouble = "echo_of_some"  // an echo that more than one cause fits
	Weak         Trouble = "weak"          // messages below 1 V
	Unusable     Trouble = "unusable"      // messages below 0.2 V
	IdleTooWeak  Trouble = "idle_too_weak" // less than 0.2 V while nobody sends
	LegsTooFar   Trouble = "legs_too_far"  // outside -7 to 12 V from common
	NoiseBetween Trouble = "noise_between" // movement that is no bits
)

// Limits, of TIA-485-A as far as they are its own.
const (
	receiverVolts = 0.2 // a receiver knows no level below
	weakVolts     = 1   // the shipped rulebase's own band: below it messages are weak
	lowestCommon  = -7
	highestCommon = 12

	// rateApart is how far rates may lie apart: Modbus over Serial Line V1.02, 3.2,
	// tolerates 2 % at the receiver.
	rateApart = 0.02
	// stillMoves is the noise between messages, rms, that is worth a finding.
	stillMoves = receiverVolts / 2
	// ringing is the overshoot that makes edges ringing ones.
	ringing = 0.15
	// heldVolts across a still pair are a sender's, not a bias's (-1.1 V to 1.1 V by
	// the terminators of PROFIBUS DP, the strongest there is).
	heldVolts = 1.4
)

// Troubles are what is not as it should be, the gravest first.
func (r *Reading) Troubles() []Trouble {
	var all []Trouble
	add := func(is bool, t Trouble) {
		if is {
			all = append(all, t)
		}
	}
	senders := r.senders()
	still := len(senders) == 0
	held := still && r.Idle.Seen() && math.Abs(r.Idle.Value) > heldVolts
	add(held, HeldAtLevel)
	add(still && !held, Silent)
	low, high := math.Inf(1), 0.0
	weakest := math.Inf(1)
	for _, t := range senders {
		low, high = min(low, t.Rate.Value), max(high, t.Rate.Value)
		weakest = min(weakest, t.Height.Value)
	}
	add(high > low*(1+rateApart), RatesDiffer)
	if r.Rate.Seen() {
		add(r.Set > 0 && math.Abs(r.Rate.Value/float64(r.Set)-1) > rateApart+2*r.Rate.Plus/r.Rate.Value, RateNotSet)
		add(r.Set == 0 && math.Abs(r.Nearest.Differs) > rateApart+2*r.Rate.Plus/r.Rate.Value, RateUnusual)
	}
	add(r.Echo.Kind == OpenEnd, EndOpen)
	add(r.Echo.Kind == LowEnd, EndLow)
	add(r.Echo.Kind == Stub, LongStub)
	add(r.Echo.Why == EchoAmbiguous, EchoOfSome)
	add(weakest < receiverVolts, Unusable)
	add(weakest >= receiverVolts && weakest < weakVolts, Weak)
	add(r.Common.Seen() && (r.Common.Value < lowestCommon || r.Common.Value > highestCommon), LegsTooFar)
	add(r.idleCounts() && !held && math.Abs(r.Idle.Value) < receiverVolts, IdleTooWeak)
	add(r.noisy(), NoiseBetween)
	return all
}

// senders are the talkers whose bits lie on a grid.
func (r *Reading) senders() []Talker {
	return slices.DeleteFunc(slices.Clone(r.Talkers), func(t Talker) bool { return !t.Rate.Seen() })
}

// idleCounts says whether the level between messages matters: not where senders
// only pull one way and leave the other level to the line, as on CAN.
func (r *Reading) idleCounts() bool {
	oneWay := func(t Talker) bool { return t.Low.Value > -receiverVolts || t.High.Value < receiverVolts }
	return r.Idle.Seen() && !slices.ContainsFunc(r.senders(), oneWay)
}

// noisy says whether something moves between the messages that is no message.
func (r *Reading) noisy() bool {
	if r.Idle.Seen() && r.Noise.Value > stillMoves {
		return true
	}
	return len(r.senders()) > 0 && slices.ContainsFunc(r.Talkers, func(t Talker) bool { return t.Rate.Why == NoGrid })
}

// Findings are what follows for a diagnosis. bench says that the unit was caught
// alone, on the bench.
func (r *Reading) Findings(bench bool) []Finding {
	var all []Finding
	word := func(symptom, is string) { all = append(all, Finding{Symptom: symptom, Word: is}) }
	volts := func(symptom string, f Figure) {
		if f.Seen() {
			all = append(all, Finding{Symptom: symptom, Number: round3(f.Value)})
		}
	}
	senders := r.senders()
	if bench {
		switch {
		case len(senders) == 0:
			word("bench_bit_time", "no_bits")
		case r.Set > 0 && slices.Contains(r.Troubles(), RateNotSet):
			word("bench_bit_time", "off_by_more")
		case r.Set > 0:
			word("bench_bit_time", "within_two_percent")
		}
		return all
	}
	word("line_on_scope", r.onScope())
	if len(senders) > 0 {
		weakest := slices.MinFunc(senders, func(a, b Talker) int { return cmp.Compare(a.Height.Value, b.Height.Value) })
		volts("signal_volts", weakest.Height)
	}
	if slices.Contains(r.Troubles(), RatesDiffer) {
		word("rates_on_pair", "rates_differ")
	} else if len(senders) > 1 {
		word("rates_on_pair", "one_rate")
	}
	if r.idleCounts() && !slices.Contains(r.Troubles(), HeldAtLevel) {
		volts("idle_pair_volts", r.Idle)
	}
	volts("common_mode_volts", r.Common)
	return all
}

// onScope is how the pair looks, the plainest fault first.
func (r *Reading) onScope() string {
	has := r.Troubles()
	any := func(of ...Trouble) bool {
		return slices.ContainsFunc(of, func(t Trouble) bool { return slices.Contains(has, t) })
	}
	switch {
	case any(HeldAtLevel):
		return "held_by_one_sender"
	case any(Silent):
		return "no_messages"
	case any(EndOpen, LongStub, EchoOfSome) || r.overshoots():
		return "ringing_edges"
	case any(Weak, Unusable, EndLow):
		return "weak_messages"
	case any(NoiseBetween):
		return "bursts_between"
	}
	return "clean_messages"
}

func (r *Reading) overshoots() bool {
	return slices.ContainsFunc(r.senders(), func(t Talker) bool {
		return t.Overshoot.Seen() && t.Overshoot.Value-3*t.Overshoot.Plus > ringing
	})
}

// round3 rounds to three digits, and to whole millivolts.
func round3(x float64) float64 {
	if x = math.Round(1000*x) / 1000; x == 0 {
		return 0
	}
	scale := math.Pow(10, 2-math.Floor(math.Log10(math.Abs(x))))
	return math.Round(x*scale) / scale
}

// Trace is what a plot needs: for each of so many columns the lowest and highest
// volts of the samples from one time to another.
func Trace(volts []float64, columns int) (low, high []float64) {
	for i := range columns {
		from, to := i*len(volts)/columns, (i+1)*len(volts)/columns
		to = min(len(volts), max(to, from+1))
		low, high = append(low, slices.Min(volts[from:to])), append(high, slices.Max(volts[from:to]))
	}
	return low, high
}

// Step is a talker's response to one clean edge: times in seconds from the edge,
// values as shares of the settled swing. Empty where none could be found.
func (t *Talker) Step(step float64) (at, share []float64) {
	p := &t.response
	for i, v := range p.s {
		at, share = append(at, float64(i-p.before)*p.fine*step), append(share, v)
	}
	return at, share
}
