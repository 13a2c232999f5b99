package sheet

import (
	"fmt"
	"math"
	"slices"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

func (c *checker) rate() {
	rate := c.baud()
	if rate == 0 {
		c.open("rate", "", "rate")
		return
	}
	r := Result{Rule: "rate", Verdict: Pass, Figure: float64(rate), Unit: "bit/s", Source: c.kind.Source, Pos: c.s.Pos,
		Says: fmt.Sprintf(sayRateListed, say(float64(rate), "bit/s"), c.kind.Name)}
	if !slices.Contains(c.kind.Rates, rate) {
		r.Verdict, r.Says, r.Do = Marginal, fmt.Sprintf(sayRateUnlisted, say(float64(rate), "bit/s"), c.kind.Name), doRateUnlisted
	}
	c.add(r)
	differ := func(where string, is float64, pos rulebase.Position) {
		if is == 0 {
			return
		}
		off := math.Abs(is/float64(rate) - 1)
		bound := line.RateBound(11)
		r := Result{Rule: "rate_differs", Where: where, Figure: off * 100, Limit: bound * 100, Unit: "%", Source: sourceRateBound, Pos: pos, Verdict: Pass,
			Says: fmt.Sprintf(sayRateSame, where, say(is, "bit/s"))}
		if off > 0 {
			r.Verdict, r.Do = Fail, doRateDiffers
			r.Says = fmt.Sprintf(sayRateDiffers, where, say(is, "bit/s"), say(float64(rate), "bit/s"), say(line.Drift(line.BitPerSecond(is), rate, 11), ""))
			if off <= bound {
				r.Verdict = Marginal
			}
		}
		c.add(r)
	}
	if k := c.s.Controller; k != nil {
		differ("the controller", k.Baud, k.Pos)
	}
	for _, d := range c.s.Drops {
		differ("drop "+d.Name, d.Baud, d.Pos)
	}
}

// clock holds what two units' clocks may be off together against what a receiver
// bears that starts anew at each character, on CAN at each change of the bit.
func (c *checker) clock() {
	each, source := c.s.ClockPercent, sourceSheet
	if each == 0 && c.kind == &line.Modbus {
		each, source = 1, sourceModbusClock
	}
	if each == 0 {
		c.open("clock_tolerance", "", lackClock)
		return
	}
	bits := 11
	if c.s.Messages != nil {
		bits = c.s.Messages.Character
	}
	limit, easy := 100*line.RateBound(bits), 2*recommendedClock[bits]
	r := Result{Rule: "clock_tolerance", Figure: 2 * each, Unit: "%", Verdict: Pass, Pos: c.s.Pos, Sum: fmt.Sprintf(sumClock, say(each, "%"), say(each, "%"), source)}
	r.Source, r.Says = sourceClock, fmt.Sprintf(sayClock, say(2*each, "%"), bits, say(limit, "%"))
	if c.kind == &line.CAN {
		limit, easy = 2*canClock, 2*canClock*nearly
		r.Source, r.Says = sourceCANClock, fmt.Sprintf(sayCANClock, say(2*each, "%"), say(limit, "%"))
	}
	if easy == 0 {
		easy = limit * nearly
	}
	r.Limit = limit
	switch {
	case r.Figure > limit:
		r.Verdict, r.Do = Fail, doClock
	case r.Figure > easy:
		r.Verdict, r.Do = Marginal, doClock
	}
	c.add(r)
}

// recommendedClock is how far each end may be off by a receiver that looks 16 times
// in a bit, in %, by the bits of a character (general microcontroller documentation).
var recommendedClock = map[int]float64{10: 2.0, 11: 1.5}

// canClock is the most that a CAN unit's clock may be off at best, in % (CAN FD
// specification 1.0, section 8: up to 125 kbit/s and 40 m).
const canClock = 1.58

func (c *checker) length() {
	length := c.s.TrunkM()
	longest, source, ok := lengthLimit(c.s)
	if !ok {
		c.open("length", "", "length_limit (no length is published for this line and rate)")
		return
	}
	r := Result{Rule: "length", Sum: sumOfCable(c.s), Figure: length, Limit: longest, Unit: "m", Source: source, Pos: c.s.Pos,
		Verdict: atMost(length, longest), Says: fmt.Sprintf(sayLength, say(length, "m"), say(longest, "m"), say(float64(c.baud()), "bit/s"))}
	r.Do = doing(r.Verdict, doLength)
	c.add(r)
}

// wire is the length that CAN's conductor allows for so many units: its resistance
// may take no more of a level.
func (c *checker) wire() {
	if c.kind != &line.CAN {
		return
	}
	thinnest := math.Inf(1)
	for _, k := range c.s.Cable {
		if k.Conductor == nil || k.Conductor.MM2 == 0 {
			c.open("length_for_wire", "", lackSection)
			return
		}
		thinnest = min(thinnest, k.Conductor.MM2)
	}
	units := len(c.s.Drops) + 1
	limit, err := line.CANWireLength(thinnest, units)
	if err != nil {
		c.open("length_for_wire", "", lackSection)
		return
	}
	length := c.s.TrunkM()
	v := atMost(length, float64(limit))
	c.add(Result{Rule: "length_for_wire", Sum: sumOfCable(c.s), Figure: length, Limit: float64(limit), Unit: "m", Source: sourceCANWire, Pos: c.s.Pos, Verdict: v,
		Says: fmt.Sprintf(sayWire, say(length, "m"), say(float64(limit), "m"), say(thinnest, "mm2"), units), Do: doing(v, doWire)})
}

func (c *checker) units() {
	limit, source := unitsLimit(c.s)
	if limit == 0 {
		c.open("units", "", "units_limit (no number of units is published for this line)")
		return
	}
	n, loads, says := len(c.s.Drops)+1, 1.0, sayUnits // the host is one, or the device that begins the segment
	if !c.seg.Last {
		n, loads = n+1, loads+1 // and the one that ends it
	}
	if c.seg.Name != "" {
		says = sayUnitsOfSegment
	}
	for _, d := range c.s.Drops {
		if d.UnitLoad > 0 {
			loads += d.UnitLoad
		} else {
			loads++
		}
	}
	r := Result{Rule: "units", Sum: c.sumOfUnits(), Figure: loads, Limit: float64(limit), Source: source, Pos: c.s.Pos, Verdict: atMost(loads, float64(limit)),
		Says: fmt.Sprintf(says, n, say(loads, ""), limit)}
	r.Do = doing(r.Verdict, doUnits)
	c.add(r)
}

func (c *checker) addresses() {
	seen := map[int]string{}
	for _, d := range c.s.Drops {
		if !d.HasAddr {
			continue
		}
		r := Result{Rule: "address", Where: "drop " + d.Name, Figure: float64(d.Address), Source: c.kind.Source, Pos: d.Pos,
			Verdict: verdicts[c.kind.AddressVerdict(d.Address)], Says: fmt.Sprintf(sayAddress, d.Name, d.Address)}
		switch other := seen[d.Address]; {
		case other != "":
			r.Rule, r.Verdict, r.Source = "address_twice", Fail, "Modbus over Serial Line V1.02, 4.2.1; elsewhere common practice, no source"
			r.Says, r.Do = fmt.Sprintf(sayAddressTwice, other, d.Name, d.Address), doAddressTwice
		case r.Verdict == Fail:
			r.Says, r.Do = fmt.Sprintf(sayAddressIllegal, d.Name, d.Address, c.kind.Addresses[0], c.kind.Addresses[1]), doAddress
		case r.Verdict == Marginal:
			r.Says, r.Do = fmt.Sprintf(sayAddressUnassigned, d.Name, d.Address), doAddress
		}
		if r.Verdict == Pass && c.kind.Addresses == [2]int{} {
			r.Source = "" // nobody publishes a range
		}
		seen[d.Address] = d.Name
		c.add(r)
	}
	c.openFor("address", lackAddress, func(d rulebase.SheetDrop) bool { return !d.HasAddr })
}
