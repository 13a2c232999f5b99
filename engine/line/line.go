// Package line holds the sums of an installation: what the pair reads and
// carries, what arrives at the far end, what the supply leaves for each drop,
// how long a message takes. It works on numbers; sheets and rulebases are read
// elsewhere.
//
// Every quantity has its unit in its type, so that ohms for one conductor and
// ohms for both, which the trade's tables mix, cannot be exchanged unnoticed.
// Lengths are one way. Figures of standards carry their source beside them; one
// that was recalled and not opened says "from memory".
package line

import "math"

// Quantities, each in the unit of its name.
type (
	Ohm          float64
	Volt         float64
	Ampere       float64
	Watt         float64
	Metre        float64
	Second       float64
	Celsius      float64
	BitPerSecond float64

	// SecondPerMetre is the delay of a cable, one way.
	SecondPerMetre float64
)

// ConductorOhmPerKm is the resistance of one conductor, as conductor tables
// print it.
type ConductorOhmPerKm float64

// Loop is there and back.
func (r ConductorOhmPerKm) Loop() LoopOhmPerKm { return LoopOhmPerKm(2 * r) }

// LoopOhmPerKm is the resistance of both conductors of a pair, as some cable
// sheets print it and an ohmmeter at a shorted pair reads it.
type LoopOhmPerKm float64

// Over is the resistance of both conductors over a length.
func (r LoopOhmPerKm) Over(length Metre) Ohm { return Ohm(float64(r) * float64(length) / 1000) }

// Length is how much cable has this resistance of both conductors: how far away
// a short is.
func (r LoopOhmPerKm) Length(loop Ohm) Metre { return Metre(float64(loop) / float64(r) * 1000) }

// Open is a resistance without a path.
var Open = Ohm(math.Inf(1))

// Parallel is the resistance of all at one place. Of none it is open; a short
// makes it zero.
func Parallel(all ...Ohm) Ohm {
	var g float64
	for _, r := range all {
		if r == 0 {
			return 0
		}
		g += 1 / float64(r)
	}
	return Ohm(1 / g)
}

// SpeedOfLight in metres per second, exact by definition of the metre.
const SpeedOfLight = 299792458

// Delay is that of a cable whose waves travel at this share of the speed of light.
func Delay(velocityFactor float64) SecondPerMetre {
	return SecondPerMetre(1 / (velocityFactor * SpeedOfLight))
}
