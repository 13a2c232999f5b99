package line

// Figures of TIA-485-A.
const (
	// Sensitivity is the difference from which a receiver must know a level.
	// TIA-485-A as printed in an open journal article (EURASIP J. Embedded
	// Systems 2016, table 1).
	Sensitivity Volt = 0.2
	// DriverLeast is what a driver must give into 54 ohm (same table).
	DriverLeast Volt = 1.5
	// UnitLoadInput is the working figure of one unit load, from each leg to
	// common. Across the pair it is twice that.
	UnitLoadInput Ohm = 12000
	// UnitLoadsAllowed on one segment, beside two terminators.
	UnitLoadsAllowed = 32
)

// Inputs is what units of so many unit loads together put across the pair.
func Inputs(unitLoads float64) Ohm {
	return 2 * UnitLoadInput / Ohm(unitLoads) // of none: open
}

// Bias is the network that holds an idle pair: one resistor from a leg to a
// supply and one from the other leg to common.
type Bias struct {
	Supply           Volt
	PullUp, PullDown Ohm
}

// Idle is the difference between the legs while nobody sends: the supply divided
// over the two resistors and all that lies across the pair.
func (b Bias) Idle(across Ohm) Volt {
	if across == Open {
		return b.Supply
	}
	return Volt(float64(b.Supply) * float64(across) / float64(across+b.PullUp+b.PullDown))
}

// Across is what the network puts across the pair with its supply clamped to
// common, as an ohmmeter sees it with power off. With the supply floating it is
// not seen.
func (b Bias) Across() Ohm { return b.PullUp + b.PullDown }

// BiasFor is the resistor, the same twice, that still gives an idle difference
// with the least supply, a terminator of the cable's impedance at the far end
// and unit loads, where the terminator at the bias is raised to go with it
// ([Companion]).
func BiasFor(leastSupply, idle Volt, impedance Ohm, unitLoads float64) Ohm {
	perOhm := unitLoads/float64(UnitLoadInput) + 4/float64(impedance)
	return Ohm(float64(leastSupply) / (float64(idle) * perOhm))
}

// Companion is the terminator that, beside two bias resistors, makes up the
// cable's impedance.
func Companion(impedance, resistor Ohm) Ohm {
	return impedance * 2 * resistor / (2*resistor - impedance)
}

// A FedTerminator is a terminator that biases the pair as well: a resistor to
// a supply, one across the pair, one to common. PROFIBUS DP: 390, 220 and
// 390 ohm at 5 V (M. Felser, PROFIBUS Manual).
type FedTerminator struct {
	Supply             Volt
	Up, Between, Below Ohm
}

// ProfibusTerminator is the terminator of PROFIBUS DP.
var ProfibusTerminator = FedTerminator{Supply: 5, Up: 390, Between: 220, Below: 390}

// Wave is what a wave meets: the resistor across and the two others in series, in parallel.
func (t FedTerminator) Wave() Ohm { return Parallel(t.Between, t.Up+t.Below) }

// IdleOf is the idle difference on a pair with so many of these terminators fed
// and so many not fed, whose resistor across still loads the pair.
func (t FedTerminator) IdleOf(fed, notFed int) Volt {
	if fed == 0 {
		return 0
	}
	across := t.Between / Ohm(fed+notFed)
	return Bias{Supply: t.Supply, PullUp: t.Up / Ohm(fed), PullDown: t.Below / Ohm(fed)}.Idle(across)
}

// FarEnd is the level at the far end of a cable, for a level at its near end and
// the load at its far end: the cable's loop and the load divide it.
func FarEnd(level Volt, loop, load Ohm) Volt {
	return Volt(float64(level) * float64(load) / float64(load+loop))
}
