package line

import (
	"cmp"
	"slices"
)

// A Pair is the signal pair with everything that lies across it, power off.
// Places are counted from the host's end.
type Pair struct {
	Cable  []Cable // from the host's end outwards
	Across []Shunt // terminators, inputs of units, bias networks, shorts; in any order
	Cuts   []Metre // where both conductors, or one of them, are open; a cut lies just beyond what is at its place
}

// A Cable is a stretch of one kind of cable.
type Cable struct {
	Length Metre
	Loop   LoopOhmPerKm
}

// A Shunt is a resistance across the pair.
type Shunt struct {
	At  Metre
	Ohm Ohm
}

// Length is that of the whole trunk.
func (p *Pair) Length() Metre {
	var sum Metre
	for _, c := range p.Cable {
		sum += c.Length
	}
	return sum
}

// Between is the resistance of both conductors between two places.
func (p *Pair) Between(a, b Metre) Ohm {
	a, b = min(a, b), max(a, b)
	var sum Ohm
	var from Metre
	for _, c := range p.Cable {
		to := from + c.Length
		if over := min(b, to) - max(a, from); over > 0 {
			sum += c.Loop.Over(over)
		}
		from = to
	}
	return sum
}

// Seen is what an ohmmeter reads across the pair at a place: the two sides of
// the cable and what lies there, in parallel. A side is folded up from its end:
// what lies across, then the cable in series, and so on towards the meter.
func (p *Pair) Seen(at Metre) Ohm {
	across := slices.SortedFunc(slices.Values(p.Across), func(a, b Shunt) int { return cmp.Compare(a.At, b.At) })
	left, right, here := Open, Open, Open
	place := Metre(0)
	for _, s := range across {
		if s.At >= at {
			break
		}
		left = Parallel(p.along(left, place, s.At), s.Ohm)
		place = s.At
	}
	left = p.along(left, place, at)
	place = p.Length()
	for _, s := range slices.Backward(across) {
		if s.At <= at {
			break
		}
		right = Parallel(p.along(right, place, s.At), s.Ohm)
		place = s.At
	}
	right = p.along(right, place, at)
	for _, s := range across {
		if s.At == at {
			here = Parallel(here, s.Ohm)
		}
	}
	return Parallel(left, here, right)
}

// along carries a resistance over the cable between two places; a cut between
// them leaves nothing of it.
func (p *Pair) along(r Ohm, from, to Metre) Ohm {
	a, b := min(from, to), max(from, to)
	for _, c := range p.Cuts {
		if a <= c && c < b {
			return Open
		}
	}
	return r + p.Between(a, b)
}
