package line

// Reflection is the share of a wave that a load sends back on a cable: 1 from an
// open end, -1 from a short, 0 from a matched one.
func Reflection(load, impedance Ohm) float64 {
	if load == Open {
		return 1
	}
	return float64(load-impedance) / float64(load+impedance)
}

// A Step is a voltage step sent into a cable, seen as waves that run to and fro.
type Step struct {
	Source    Volt // behind SourceOhm
	SourceOhm Ohm
	Impedance Ohm
	Load      Ohm
	Transit   Second // from one end to the other
}

// An Arrival is a wave passing a place: the voltage there from then on.
type Arrival struct {
	At   Second
	Volt Volt
}

// First is the wave that sets out: the source divided over its own resistance
// and the cable's impedance.
func (s Step) First() Volt {
	return Volt(float64(s.Source) * float64(s.Impedance) / float64(s.Impedance+s.SourceOhm))
}

// Final is where it all settles: the source divided over its resistance and the load.
func (s Step) Final() Volt {
	if s.Load == Open {
		return s.Source
	}
	return Volt(float64(s.Source) * float64(s.Load) / float64(s.Load+s.SourceOhm))
}

// Lattice is the voltage at a place, a share of the way from source to load,
// after each of the first so many transits. At either end a wave arrives and is
// sent back in the same moment: one arrival, not two.
func (s Step) Lattice(place float64, transits int) []Arrival {
	atSource, atLoad := Reflection(s.SourceOhm, s.Impedance), Reflection(s.Load, s.Impedance)
	wave, sum := float64(s.First()), 0.0
	var all []Arrival
	for n := range transits {
		outward := n%2 == 0
		reach := place
		if !outward {
			reach = 1 - place
		}
		passes, back := wave, atLoad
		if !outward {
			back = atSource
		}
		switch reach {
		case 1: // the end it runs to
			passes *= 1 + back
		case 0: // the end it left: counted when it arrived there, but for the first
			if n > 0 {
				passes = 0
			}
		}
		if passes != 0 {
			sum += passes
			all = append(all, Arrival{Second((float64(n) + reach) * float64(s.Transit)), Volt(sum)})
		}
		wave *= back
	}
	return all
}

// StubLimits are the longest stub by three rules in use, which differ by more
// than three times; name the one that is meant.
type StubLimits struct {
	RoundTripTenth Metre // there and back in a tenth of the rise time (transceiver guides)
	OneWayTenth    Metre // one way in a tenth of the rise time (the formula usually printed)
	CriticalThird  Metre // a third of the length whose round trip is the rise time (CiA 301 V4.2.0 as quoted)
}

// Stubs are the limits for a driver's rise time. It is the rise time, not the
// rate, that sets them.
func Stubs(rise Second, delay SecondPerMetre) StubLimits {
	reach := Metre(float64(rise) / float64(delay))
	return StubLimits{RoundTripTenth: reach / 20, OneWayTenth: reach / 10, CriticalThird: reach / 6}
}

// RoundTrip is how long an echo from the end of a length takes.
func RoundTrip(length Metre, delay SecondPerMetre) Second {
	return Second(2 * float64(length) * float64(delay))
}
