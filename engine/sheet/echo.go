package sheet

import (
	"downdrop/engine/line"
	"downdrop/rulebase"
)

// An Echo is a step sent from the host's end, seen as waves that run to and fro
// between the two ends of the trunk.
type Echo struct {
	Step         line.Step
	DelayPerM    line.SecondPerMetre
	ImpedanceOhm line.Ohm
	AtHost       []line.Arrival // from the moment the step is sent
	AtEnd        []line.Arrival
	Bit          line.Second // 0: the rate is not known
	LengthM      float64     // of the cable that the step runs along
	Device       bool        // it ends at a device in the line, not at the trunk's far end
}

// driverVolt and driverOhm stand for a driver: what it gives unloaded, and its own
// resistance both ways. Estimates, near what a driver with 1.5 V into 54 ohm is.
const (
	driverVolt line.Volt = 3
	driverOhm  line.Ohm  = 60
)

// EchoOf sends a step into the trunk of a sheet, whose ends are closed by what the
// sheet has there; up to the first device that sends anew, where there is one. ok is
// false where the kind of line is not known.
func EchoOf(s *rulebase.Sheet, transits int) (e Echo, ok bool) {
	first := Segments(s)[0]
	s = first.Sheet
	c := checkerOf(s)
	if c.kind == nil {
		return e, false
	}
	impedance := c.impedance()
	if impedance == 0 {
		impedance = (c.kind.Impedance[0] + c.kind.Impedance[1]) / 2
	}
	near, far := []line.Ohm{driverOhm}, []line.Ohm{line.Inputs(1)}
	slack := endSlackM(s)
	for _, t := range s.Terminators {
		ohm := terminatorOhm(t, c.kind)
		if c.kind == &line.Profibus {
			ohm = line.ProfibusTerminator.Wave()
		}
		switch {
		case t.AtM <= slack:
			near = append(near, ohm)
		case t.AtM >= s.TrunkM()-slack:
			far = append(far, ohm)
		}
	}
	delay := c.delay()
	source := line.Parallel(near...)
	e = Echo{DelayPerM: delay, ImpedanceOhm: impedance, LengthM: s.TrunkM(), Device: !first.Last, Step: line.Step{
		// The driver behind its own resistance, with the near terminator across:
		// the same as a smaller source behind both in parallel.
		Source:    line.Volt(float64(driverVolt) * float64(source) / float64(driverOhm)),
		SourceOhm: source, Impedance: impedance, Load: line.Parallel(far...),
		Transit: line.Second(s.TrunkM() * float64(delay)),
	}}
	if rate := c.baud(); rate > 0 {
		e.Bit = rate.Bit()
	}
	e.AtHost, e.AtEnd = e.Step.Lattice(0, transits), e.Step.Lattice(1, transits)
	return e, true
}

// Overshoot is how far the far end swings past where it settles, as a share of that.
func (e *Echo) Overshoot() float64 {
	most := 0.0
	final := float64(e.Step.Final())
	for _, a := range e.AtEnd {
		most = max(most, float64(a.Volt)/final-1)
	}
	return most
}
