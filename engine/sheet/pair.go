package sheet

import (
	"downdrop/engine/line"
	"downdrop/rulebase"
)

// Connected says what else lies across the pair while somebody measures, power off.
type Connected struct {
	Units bool // the units' inputs were left on
	Bias  bool // the bias network is seen: its dead supply clamps it to common
}

// Pair is the trunk as an ohmmeter sees it, power off. ok is false where a
// stretch's resistance is not known; it then counts as nothing.
func Pair(s *rulebase.Sheet, with Connected) (p *line.Pair, ok bool) {
	p, ok = &line.Pair{}, true
	kind := line.KindOf(s.Line)
	for _, k := range s.Cable {
		loop, known := Loop(k, s.Celsius)
		ok = ok && known
		p.Cable = append(p.Cable, line.Cable{Length: line.Metre(k.LengthM), Loop: loop})
	}
	for _, t := range s.Terminators {
		ohm := terminatorOhm(t, kind)
		if t.BlocksDC {
			ohm = line.Open
		}
		p.Across = append(p.Across, line.Shunt{At: line.Metre(t.AtM), Ohm: ohm})
	}
	if with.Bias && s.Bias != nil && s.Bias.Up > 0 && s.Bias.Down > 0 {
		b := line.Bias{PullUp: line.Ohm(s.Bias.Up), PullDown: line.Ohm(s.Bias.Down)}
		p.Across = append(p.Across, line.Shunt{At: line.Metre(s.Bias.AtM), Ohm: b.Across()})
	}
	if with.Units {
		p.Across = append(p.Across, line.Shunt{At: 0, Ohm: line.Inputs(1)})
		for _, d := range s.Drops {
			if load := unitLoad(d); load > 0 {
				p.Across = append(p.Across, line.Shunt{At: line.Metre(d.AtM), Ohm: line.Inputs(load)})
			}
		}
	}
	return p, ok
}

// terminatorOhm is what a terminator has: what the sheet says, else what the kind of line
// has; 0 where neither is known.
func terminatorOhm(t rulebase.SheetTerminator, kind *line.Kind) line.Ohm {
	if t.Ohm == 0 && kind != nil {
		return kind.Terminator
	}
	return line.Ohm(t.Ohm)
}

// endSlackM is how near to an end of the trunk a thing counts as being at that end, in
// metres: a hundredth of the trunk, 2 m at least (common practice, no source).
func endSlackM(s *rulebase.Sheet) float64 { return max(2, s.TrunkM()/100) }

// unitLoad of a drop; a whole one where the sheet does not say.
func unitLoad(d rulebase.SheetDrop) float64 {
	if d.UnitLoad > 0 {
		return d.UnitLoad
	}
	return 1
}

// Loop is the resistance of both conductors of a stretch per km; ok is false
// where the sheet does not say, or the table lacks the conductor.
func Loop(k rulebase.SheetCable, celsius *float64) (line.LoopOhmPerKm, bool) {
	if k.LoopOhmPerKm > 0 {
		return line.LoopOhmPerKm(k.LoopOhmPerKm), true
	}
	r, ok := Conductor(k.Conductor, celsius)
	return r.Loop(), ok
}

var strands = map[string]line.Stranding{"solid": line.Solid, "flexible": line.Flexible, "flexible_tinned": line.FlexibleTinned}

// Conductor is the resistance of one conductor per km, at a temperature.
func Conductor(k *rulebase.SheetConductor, celsius *float64) (r line.ConductorOhmPerKm, ok bool) {
	if k == nil {
		return 0, false
	}
	if k.AWG > 0 {
		r, ok = line.ByGauge(k.AWG)
	} else {
		r, ok = line.ByArea(k.MM2, strands[k.Strand])
	}
	if ok && celsius != nil {
		r = r.At(line.Celsius(*celsius))
	}
	return r, ok
}

// impedance is that of the trunk's cable; 0 where the sheet does not say.
func (c *checker) impedance() line.Ohm {
	for _, k := range c.s.Cable {
		if k.ImpedanceOhm > 0 {
			return line.Ohm(k.ImpedanceOhm)
		}
	}
	return 0
}

// usualDelay of a pair, 5 ns/m (ECSS glossary quoting CiA 301; common elsewhere).
const usualDelay line.SecondPerMetre = 5e-9

func (c *checker) delay() line.SecondPerMetre {
	for _, k := range c.s.Cable {
		switch {
		case k.DelayNSPerM > 0:
			return line.SecondPerMetre(k.DelayNSPerM * 1e-9)
		case k.VelocityShare > 0:
			return line.Delay(k.VelocityShare)
		}
	}
	return usualDelay
}

// across is all that lies across the pair, cable resistance left out: what an
// idle driver sees.
func (c *checker) across() line.Ohm {
	all := []line.Ohm{line.Inputs(1)}
	for _, t := range c.s.Terminators {
		if !t.BlocksDC {
			all = append(all, terminatorOhm(t, c.kind))
		}
	}
	for _, d := range c.s.Drops {
		all = append(all, line.Inputs(unitLoad(d)))
	}
	return line.Parallel(all...)
}
