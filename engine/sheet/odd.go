package sheet

import (
	"fmt"
	"math"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// oddities are figures that can be and hardly ever are: of ten, nine were
// mistyped. The bounds are common practice, no source; what cannot be at all is
// refused when the sheet is read.
func (c *checker) oddities() {
	odd := func(is bool, where, says string, pos rulebase.Position) {
		if is {
			c.add(Result{Rule: "odd_value", Where: where, Verdict: Marginal, Says: says, Source: sourceOdd, Do: doOdd, Pos: pos})
		}
	}
	outside := func(x, low, high float64) bool { return x > 0 && (x < low || x > high) }
	low, high := float64(c.kind.Impedance[0]), float64(c.kind.Impedance[1])
	for _, k := range c.s.Cable {
		odd(outside(k.ImpedanceOhm, 0.75*low, 1.25*high), "the cable", fmt.Sprintf(oddImpedance, say(k.ImpedanceOhm, "ohm"), c.kind.Name, say(low, "ohm"), say(high, "ohm")), k.Pos)
		odd(outside(k.DelayNSPerM, 4, 7), "the cable", fmt.Sprintf(oddDelay, say(k.DelayNSPerM, "ns")), k.Pos)
		if loop, ok := Loop(k, nil); ok {
			odd(outside(float64(loop), 5, 400), "the cable", fmt.Sprintf(oddLoop, say(float64(loop), "ohm")), k.Pos)
		}
	}
	for _, t := range c.s.Terminators {
		odd(outside(t.Ohm, 50, 400), "the terminator at "+c.place(t.AtM), fmt.Sprintf(oddTerminator, say(t.Ohm, "ohm")), t.Pos)
	}
	for _, x := range c.s.Stubs {
		odd(x.LengthM > 100 && x.LengthM > c.s.TrunkM()/4, "the stub at "+c.place(x.AtM), fmt.Sprintf(oddStub, say(x.LengthM, "m")), x.Pos)
	}
	for _, d := range c.s.Drops {
		odd(outside(d.UnitLoad, 0.03, 4), "drop "+d.Name, fmt.Sprintf(oddUnitLoad, say(d.UnitLoad, "")), d.Pos)
		odd(d.Watt > 100 || d.Ampere > 5, "drop "+d.Name, oddDrop, d.Pos)
		for _, m := range d.Modules {
			odd(m.Points > 64, "drop "+d.Name, fmt.Sprintf(oddPoints, m.Points), m.Pos)
		}
	}
	for _, p := range c.s.Supplies {
		odd(outside(p.Volt, float64(line.SupplyLow), float64(line.SupplyHigh)), "supply "+p.Name, fmt.Sprintf(oddSupply, say(p.Volt, "V")), p.Pos)
		for _, f := range p.Feeds {
			odd(f.LengthM > 500, "supply "+p.Name, fmt.Sprintf(oddFeed, f.Drop, say(f.LengthM, "m")), f.Pos)
		}
	}
	if b := c.s.Bias; b != nil {
		odd(outside(b.Up, 200, 50_000) || outside(b.Down, 200, 50_000), "the bias", oddBias, b.Pos)
		odd(b.Up > 0 && b.Down > 0 && math.Max(b.Up/b.Down, b.Down/b.Up) > 1.5, "the bias", oddBiasUneven, b.Pos)
	}
	if rate := c.baud(); rate > 0 {
		share := c.s.RiseTimeNS * 1e-9 / float64(rate.Bit())
		odd(share > 0.3, "", fmt.Sprintf(oddRise, say(c.s.RiseTimeNS, "ns"), say(100*share, "%")), c.s.Pos)
	}
}
