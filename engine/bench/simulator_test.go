package bench_test

import (
	"math"
	"math/rand/v2"
)

// This file draws units as they come to a bench, and what instruments and people
// read from them. It was written before the procedures that it judges and knows
// nothing of them: it speaks of physical things by names of its own.
//
// What it does not draw: somebody who reads a display wrongly or looks at the wrong
// light, and two defects in one unit.

// A defect is what can be wrong with a unit that was sent in. Its weight is per
// thousand complaints; on the bench it counts times the chance that a unit is
// pulled for it. Both are estimates of a research note of this project (its groups
// K, L, I, J and M), bounded by parts-count shares: supply section 41 to 48 %, line side
// 22 %, logic 25 to 31 %.
type defect struct {
	name   string
	weight float64
	pulled float64
	spoil  func(u *unit, r *rand.Rand)
}

var defects = []defect{
	{"input_open", 12, 0.85, func(u *unit, r *rand.Rand) { u.has["supply_ohms"] = math.Inf(1); u.dead() }},
	{"input_shorted", 3, 0.85, func(u *unit, r *rand.Rand) {
		u.has["supply_ohms"] = between(r, 0, 6)
		u.dead()
		u.has["first_current"] = math.Inf(1)
	}},
	{"converter_dead", 12, 0.85, func(u *unit, r *rand.Rand) {
		u.dead()
		if chance(r, 0.5) { // in the limit instead of near nothing
			u.has["first_current"] = math.Inf(1)
		}
	}},
	// Shares seen at each test: the same estimates as in the rulebase's rows.
	{"capacitors_aged", 12, 0.85, func(u *unit, r *rand.Rand) {
		if chance(r, 0.8) {
			u.has["rail_ripple"] = between(r, 0.07, 0.4)
		}
		if chance(r, 0.72) {
			u.has["lowest_input"] = between(r, 20.9, 23.5)
		}
		if chance(r, 0.65) {
			u.coldStarts = 0.5
		}
		u.failsWarm = chance(r, 0.25)
		u.domed = chance(r, 0.45)
		u.comesAndGoes = 0.6
	}},
	{"line_driver_dead", 14, 0.85, func(u *unit, r *rand.Rand) {
		u.has["driver_level"] = between(r, 0, 0.9)
		u.errors = 1
		if chance(r, 0.5) {
			u.has["pair_ohms"] = between(r, 20, 900)
		}
	}},
	{"receiver_deaf", 6, 0.85, func(u *unit, r *rand.Rand) {
		u.has["receiver_threshold"] = between(r, 0.4, 3)
		u.errors = between(r, 0.01, 1)
	}},
	{"isolation_failed", 6, 0.85, func(u *unit, r *rand.Rand) {
		u.comesAndGoes = 0.5
		if chance(r, 0.5) {
			u.failsWarm = true
			return
		}
		u.has["driver_level"], u.errors = 0, 1
	}},
	{"logic_failed", 8, 0.85, func(u *unit, r *rand.Rand) { u.starts, u.coldStarts, u.talks, u.errors = false, 0, false, 1 }},
	{"clock_off", 2, 0.85, func(u *unit, r *rand.Rand) {
		u.has["bit_time_error"] = between(r, 0.025, 0.08)
		u.talks, u.errors = chance(r, 0.5), 0.3
	}},
	{"light_failed", 3, 0.85, func(u *unit, r *rand.Rand) { u.lightDark = true }},
	{"settings_lost", 8, 0.85, func(u *unit, r *rand.Rand) { u.keeps = false }},
	{"switch_bad", 6, 0.85, func(u *unit, r *rand.Rand) { u.readsBack = false }},
	{"cracked_joint", 7, 0.85, func(u *unit, r *rand.Rand) {
		u.comesAndGoes = 0.9
		u.failsWarm, u.failsTapped, u.jointSeen = chance(r, 0.5), chance(r, 0.55), chance(r, 0.2)
	}},
	{"connector_broken", 4, 0.85, func(u *unit, r *rand.Rand) { u.broken = true }},
	{"service_port_bad", 3, 0.85, func(u *unit, r *rand.Rand) { u.talks = false }},
	{"module_port_failed", 4, 0.85, func(u *unit, r *rand.Rand) { u.modulesMissing = 1 + r.IntN(4) }},
	{"wet_inside", 5, 0.7, func(u *unit, r *rand.Rand) { u.wet = true }},
	{"point_dead", 14, 0.8, func(u *unit, r *rand.Rand) { u.deadPoints = 1 + r.IntN(3) }},
	{"errors_now_and_then", 3, 0.85, func(u *unit, r *rand.Rand) { u.errors = between(r, 0.0004, 0.01) }},
}

// goodShare of the units that are pulled without triage proves good: 54 % by the
// note's own sum, at the upper edge of the published 19 to 53 %.
const goodShare = 0.54

// A unit is what is true of one, whether anybody finds it or not.
type unit struct {
	defect string // "": none
	has    map[string]float64

	starts, talks, keeps, readsBack           bool
	coldStarts                                float64 // chance of each start
	errors                                    float64 // chance that a message goes wrong
	failsWarm, failsTapped                    bool
	domed, jointSeen, wet, broken, lightDark  bool
	modulesMissing, deadPoints                int
	comesAndGoes                              float64 // chance that the complaint says so
	intermittentComplaint, second, reproduces bool
}

func (u *unit) dead() {
	u.starts, u.coldStarts, u.talks, u.errors, u.has["first_current"] = false, 0, false, 1, 0
}

// What the drawn units are built like. A test of a procedure writes its profile of them.
const (
	labelCurrent   = 0.35 // A at 24 V, the most on the label
	railNominal    = 5.0  // V
	ownTerminator  = 150.0
	inputAcrossOhm = 24000.0 // one unit load across the pair (TIA-485-A, working figure)
)

// draw makes one unit. Spreads of good ones are estimates: a rail within its regulator's
// 2 %, a driver well above the least of TIA-485-A, errors of a clean bench line once in ten
// million messages.
func draw(r *rand.Rand) *unit {
	u := good(r)
	if chance(r, goodShare) {
		u.intermittentComplaint = chance(r, 0.3)
		return u
	}
	sum := 0.0
	for _, d := range defects {
		sum += d.weight * d.pulled
	}
	at := r.Float64() * sum
	for _, d := range defects {
		if at -= d.weight * d.pulled; at < 0 {
			u.defect = d.name
			d.spoil(u, r)
			break
		}
	}
	u.intermittentComplaint = chance(r, u.comesAndGoes)
	u.reproduces = !u.intermittentComplaint || chance(r, 0.3)
	return u
}

// spoilt is a unit with one defect.
func spoilt(r *rand.Rand, name string) *unit {
	u := good(r)
	for _, d := range defects {
		if d.name == name {
			u.defect = name
			d.spoil(u, r)
			u.reproduces = true
			return u
		}
	}
	panic("no defect is called " + name)
}

func good(r *rand.Rand) *unit {
	u := &unit{starts: true, talks: true, keeps: true, readsBack: true, coldStarts: 1, errors: 1e-7, second: chance(r, 0.1)}
	current := labelCurrent * between(r, 0.7, 0.98)
	u.has = map[string]float64{
		"supply_ohms":        between(r, 2e3, 60e3),
		"first_current":      current,
		"input_current":      current,
		"rail_volts":         railNominal * (1 + trimmed(r, 0.005, 0.02)),
		"rail_ripple":        between(r, 0.008, 0.035),
		"lowest_input":       between(r, 14, 19),
		"pair_ohms":          inputAcrossOhm * between(r, 0.92, 1.1),
		"driver_level":       between(r, 1.9, 3.6),
		"receiver_threshold": between(r, 0.02, 0.17),
		"bit_time_error":     trimmed(r, 0.0005, 0.003),
		"strap_ohms":         between(r, 0.9e6, 5e6),
		"bulk_volts":         between(r, 0, 2),
	}
	return u
}

// An instrument reads with an error: a share of the value drawn once for the
// instrument and once for the reading, and counts. Figures are those of ordinary hand
// instruments within a year of calibration, from memory (estimate).
type instrument struct{ share, counts float64 }

var instruments = map[string]instrument{
	"volts":   {0.005, 0.01},
	"ohms":    {0.009, 0.2},
	"amperes": {0.010, 0.001},
	"scope":   {0.03, 0.001},
	"time":    {0.0002, 0},
	"megohms": {0.05, 1e4},
}

// how each quantity is measured.
var measuredBy = map[string]string{
	"supply_ohms": "ohms", "pair_ohms": "ohms", "strap_ohms": "megohms", "bulk_volts": "volts", "first_current": "amperes", "input_current": "amperes", "rail_volts": "volts",
	"rail_ripple": "scope", "lowest_input": "volts", "driver_level": "scope", "receiver_threshold": "volts", "bit_time_error": "time",
}

// read is what an instrument shows of a quantity. Instruments lie within their limits
// (uniformly: the usual assumption for a stated limit of error).
func (u *unit) read(r *rand.Rand, quantity string) float64 {
	x, in := u.has[quantity], instruments[measuredBy[quantity]]
	if math.IsInf(x, 0) {
		return x
	}
	if quantity == "bit_time_error" { // of the bit, not of the error
		return x + between(r, -1, 1)*in.share
	}
	return math.Max(0, x*(1+between(r, -1, 1)*in.share)+between(r, -1, 1)*in.counts)
}

// errorsIn is how many of n messages go wrong, by the Poisson law where they are
// few and by their mean where they are many.
func (u *unit) errorsIn(r *rand.Rand, n int) int {
	mean := u.errors * float64(n)
	if mean > 200 {
		return min(n, int(mean))
	}
	k, limit, p := 0, math.Exp(-mean), 1.0
	for {
		if p *= r.Float64(); p <= limit {
			return min(n, k)
		}
		k++
	}
}

// startsOf is how many of n cold starts succeed.
func (u *unit) startsOf(r *rand.Rand, n int) int {
	ok := 0
	for range n {
		if chance(r, u.coldStarts) {
			ok++
		}
	}
	return ok
}

func chance(r *rand.Rand, p float64) bool             { return r.Float64() < p }
func between(r *rand.Rand, low, high float64) float64 { return low + r.Float64()*(high-low) }

// trimmed is a normal deviate cut off at a most.
func trimmed(r *rand.Rand, sigma, most float64) float64 {
	return math.Max(-most, math.Min(most, r.NormFloat64()*sigma))
}
