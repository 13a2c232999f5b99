package sheet

import (
	"fmt"
	"math"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

func (c *checker) stubs() {
	if len(c.s.Stubs) == 0 {
		return
	}
	var sum float64
	for _, s := range c.s.Stubs {
		sum += s.LengthM
		where := "the stub at " + c.place(s.AtM)
		if rule, ok := c.kind.Stubs(c.baud(), s.Tapped); ok {
			r := Result{Rule: "stub", Where: where, Figure: s.LengthM, Limit: float64(rule.Each), Unit: "m", Source: rule.Source, Pos: s.Pos,
				Verdict: atMost(s.LengthM, float64(rule.Each)), Says: fmt.Sprintf(sayStub, upperFirst(where), say(s.LengthM, "m"), say(float64(rule.Each), "m"))}
			r.Do = doing(r.Verdict, doStub)
			c.add(r)
		}
		c.stubByRise(s, where)
	}
	if rule, ok := c.kind.Stubs(c.baud(), 1); ok && rule.Sum > 0 {
		r := Result{Rule: "stubs_together", Sum: sumOfStubs(c.s), Figure: sum, Limit: float64(rule.Sum), Unit: "m", Source: rule.Source, Pos: c.s.Pos,
			Verdict: atMost(sum, float64(rule.Sum)), Says: fmt.Sprintf(sayStubsTogether, say(sum, "m"), say(float64(rule.Sum), "m"))}
		r.Do = doing(r.Verdict, doStub)
		c.add(r)
	}
}

// stubByRise goes by the drivers' edges, where the sheet says how fast they are.
// The rules in use differ by three times: over the shortest is marginal, over
// the longest a failure, and the sentence names both.
func (c *checker) stubByRise(s rulebase.SheetStub, where string) {
	if c.s.RiseTimeNS == 0 {
		return
	}
	limits := line.Stubs(line.Second(c.s.RiseTimeNS*1e-9), c.delay())
	r := Result{Rule: "stub_by_rise_time", Where: where, Verdict: Pass, Figure: s.LengthM, Limit: float64(limits.RoundTripTenth), Unit: "m", Source: sourceStubRise, Pos: s.Pos,
		Says: fmt.Sprintf(sayStubRise, upperFirst(where), say(s.LengthM, "m"), say(c.s.RiseTimeNS, "ns"), say(float64(limits.RoundTripTenth), "m"), say(float64(limits.CriticalThird), "m"))}
	switch {
	case s.LengthM > float64(limits.CriticalThird):
		r.Verdict, r.Limit, r.Do = Fail, float64(limits.CriticalThird), doStub
	case s.LengthM > float64(limits.RoundTripTenth):
		r.Verdict, r.Do = Marginal, doStub
	}
	c.add(r)
}

func (c *checker) idle() {
	var volts line.Volt
	var sum string
	switch {
	case c.kind == &line.CAN:
		return // rests at 0 V by design
	case c.kind == &line.Profibus:
		fed, notFed := 0, 0
		for _, t := range c.s.Terminators {
			if t.Powered != nil && !*t.Powered {
				notFed++
			} else {
				fed++
			}
		}
		if fed+notFed == 0 {
			return
		}
		volts, sum = line.ProfibusTerminator.IdleOf(fed, notFed), fmt.Sprintf(sumFed, fed, notFed)
	case c.s.Bias == nil || c.s.Bias.Up == 0 || c.s.Bias.Down == 0 || c.s.Bias.Volt == 0:
		c.open("idle_volts", "", "bias (or its volts, up and down)")
		return
	default:
		sum = fmt.Sprintf(sumIdle, say(c.s.Bias.Volt, "V"), say(float64(c.across()), "ohm"), say(float64(c.across()), "ohm"), say(c.s.Bias.Up, "ohm"), say(c.s.Bias.Down, "ohm"))
		volts = line.Bias{Supply: line.Volt(c.s.Bias.Volt), PullUp: line.Ohm(c.s.Bias.Up), PullDown: line.Ohm(c.s.Bias.Down)}.Idle(c.across())
	}
	r := Result{Rule: "idle_volts", Sum: sum, Verdict: Pass, Figure: float64(volts), Limit: float64(line.Sensitivity), Unit: "V", Source: sourceSensitivity, Pos: c.s.Pos,
		Says: fmt.Sprintf(sayIdle, say(float64(volts), "V"), say(float64(line.Sensitivity), "V"))}
	switch {
	case volts < line.Sensitivity:
		r.Verdict, r.Do = Fail, c.doIdle()
	case volts < line.Sensitivity*1.1: // nothing left for noise
		r.Verdict, r.Do = Marginal, c.doIdle()
	}
	c.add(r)
}

// wantedIdle is what a bias is laid out for: what a receiver needs, and 50 mV for noise, as the example of
// TIA's guide has it.
const wantedIdle line.Volt = 0.25

// doIdle says, where there is a bias network of plain resistors, which ones would do.
func (c *checker) doIdle() string {
	if c.kind == &line.Profibus || c.s.Bias == nil {
		return doIdle
	}
	impedance := c.impedance()
	if impedance == 0 {
		impedance = c.kind.Terminator
	}
	units := 1.0 // the host
	for _, d := range c.s.Drops {
		units += unitLoad(d)
	}
	resistor := line.Ohm(math.Floor(float64(line.BiasFor(line.Volt(c.s.Bias.Volt), wantedIdle, impedance, units))))
	if 2*resistor <= impedance {
		return doIdle
	}
	return fmt.Sprintf(doBias, doIdle, say(float64(resistor), "ohm"), say(float64(wantedIdle), "V"), say(math.Round(float64(line.Companion(impedance, resistor))), "ohm"))
}

func (c *checker) farEnd() {
	if len(c.s.Terminators) == 0 {
		return
	}
	bare, ok := Pair(c.s, Connected{})
	if !ok {
		c.open("far_end_volts", "", "conductor or loop_per_km of every stretch of cable")
		return
	}
	load := c.kind.Terminator
	if c.kind == &line.Profibus {
		load = 150
	}
	needed, source := line.Sensitivity, sourceSensitivity
	if c.kind == &line.CAN {
		needed, source = canDominant, sourceCANLevels
	}
	volts := line.FarEnd(line.DriverLeast, bare.Between(0, bare.Length()), load)
	r := Result{Rule: "far_end_volts", Sum: fmt.Sprintf(sumFarEnd, say(float64(line.DriverLeast), "V"), say(float64(load), "ohm"), say(float64(load), "ohm"), say(float64(bare.Between(0, bare.Length())), "ohm")), Verdict: Pass, Figure: float64(volts), Limit: float64(needed), Unit: "V", Source: source, Pos: c.s.Pos,
		Says: fmt.Sprintf(sayFarEnd, say(float64(line.DriverLeast), "V"), say(float64(volts), "V"), say(float64(needed), "V"))}
	switch {
	case volts < needed:
		r.Verdict, r.Do = Fail, doFarEnd
	case volts < needed+noiseRoom:
		r.Verdict, r.Do = Marginal, doFarEnd
	}
	c.add(r)
}

// canDominant is what a CAN receiver must take for dominant (ISO 11898-2, from
// memory). noiseRoom is what is left for noise (common practice, no source).
const (
	canDominant line.Volt = 0.9
	noiseRoom   line.Volt = 0.1
)

func (c *checker) echo() {
	rate := c.baud()
	if rate == 0 || c.kind == &line.CAN {
		return
	}
	trip := line.RoundTrip(line.Metre(c.s.TrunkM()), c.delay())
	share := float64(trip) / float64(rate.Bit())
	says := sayEchoShort
	if share > 0.5 {
		says = sayEchoLong
	}
	c.add(Result{Rule: "echo_time", Sum: c.sumOfTrip(), Verdict: Pass, Figure: share * 100, Limit: 50, Unit: "%", Source: sourceComputed, Pos: c.s.Pos,
		Says: fmt.Sprintf(says, say(float64(trip), "s"), say(share*100, "%"))})
}

// roundTrip is that of a bit on CAN, where every unit answers within it, through
// every device in the line.
func (c *checker) roundTrip() {
	rate := c.baud()
	if rate == 0 || c.kind != &line.CAN {
		return
	}
	var devices line.Second
	for _, d := range c.s.Inline {
		devices += line.Second(d.DelayNS * 1e-9)
	}
	trip := line.RoundTrip(line.Metre(c.s.TrunkM()), c.delay()) + 2*devices
	limit := float64(line.CANSample(rate))
	r := Result{Rule: "round_trip", Sum: c.sumOfTrip(), Verdict: atMost(float64(trip), limit), Figure: float64(trip), Limit: limit, Unit: "s", Source: "CAN System Engineering, tables 4.1 and 4.2", Pos: c.s.Pos,
		Says: fmt.Sprintf(sayCANTrip, say(float64(trip), "s"), say(limit, "s"))}
	r.Do = doing(r.Verdict, doLength)
	if longest := math.Floor(float64(line.CANLongest(rate, devices, c.delay()))); r.Verdict == Fail && longest > 0 {
		r.Do = fmt.Sprintf(doCANLength, r.Do, say(longest, "m"))
	}
	c.add(r)
}
