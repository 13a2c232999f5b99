package sheet

import (
	"fmt"
	"math"
	"slices"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// A Segment is what is one pair to a meter and to a wave: the whole trunk, or a
// stretch of it between devices that send every message anew.
type Segment struct {
	Name        string // "segment 2"; "" where the trunk is one
	FromM, ToM  float64
	First, Last bool
	Sheet       *rulebase.Sheet // of this stretch alone; its places are counted from FromM
}

// parting are the devices in the line that end one pair and begin another. What
// merely hangs on the pair, a surge arrester, does not.
var parting = []string{"repeater", "isolator", "converter"}

// Segments are the stretches of a trunk, from the host outwards.
func Segments(s *rulebase.Sheet) []Segment {
	ends := []float64{0}
	for _, d := range s.Inline {
		if slices.Contains(parting, d.Kind) && d.AtM > 0 && d.AtM < s.TrunkM() {
			ends = append(ends, d.AtM)
		}
	}
	slices.Sort(ends)
	ends = append(slices.Compact(ends), s.TrunkM())
	if len(ends) == 2 {
		return []Segment{{ToM: s.TrunkM(), First: true, Last: true, Sheet: s}}
	}
	var all []Segment
	for i, from := range ends[:len(ends)-1] {
		seg := Segment{Name: fmt.Sprintf(nameSegment, i+1), FromM: from, ToM: ends[i+1], First: i == 0, Last: i == len(ends)-2}
		seg.Sheet = stretch(s, seg)
		all = append(all, seg)
	}
	return all
}

// segmentAt is the segment that a place lies in; a device's own place is the end
// of the one before it.
func segmentAt(s *rulebase.Sheet, atM float64) Segment {
	all := Segments(s)
	for _, seg := range all {
		if atM <= seg.ToM {
			return seg
		}
	}
	return all[len(all)-1]
}

// stretch is a sheet of one segment: its cable and all that lies across or along
// it. Supplies, map and surroundings are the whole trunk's and left out.
func stretch(s *rulebase.Sheet, seg Segment) *rulebase.Sheet {
	part := *s
	part.Cable, part.Inline, part.Terminators, part.Stubs, part.Drops, part.Bias = nil, nil, nil, nil, nil, nil
	part.Supplies, part.Beside, part.Controller = nil, nil, nil
	at := 0.0
	for _, k := range s.Cable {
		over := math.Min(seg.ToM, at+k.LengthM) - math.Max(seg.FromM, at)
		at += k.LengthM
		if over > 0 {
			k.LengthM = over
			part.Cable = append(part.Cable, k)
		}
	}
	within := func(m float64) bool { return m >= seg.FromM && (m < seg.ToM || seg.Last) }
	for _, d := range s.Inline {
		if !slices.Contains(parting, d.Kind) && within(d.AtM) {
			d.AtM -= seg.FromM
			part.Inline = append(part.Inline, d)
		}
	}
	// Of terminators at a device's own place the first on the sheet closes the
	// segment before it, the second the one behind.
	met := map[float64]int{}
	for _, t := range s.Terminators {
		before := t.AtM == seg.ToM && !seg.Last
		if t.AtM == seg.FromM && !seg.First || before {
			met[t.AtM]++
			if before != (met[t.AtM] == 1) {
				continue
			}
		} else if !within(t.AtM) {
			continue
		}
		t.AtM -= seg.FromM
		part.Terminators = append(part.Terminators, t)
	}
	for _, x := range s.Stubs {
		if within(x.AtM) {
			x.AtM -= seg.FromM
			part.Stubs = append(part.Stubs, x)
		}
	}
	for _, d := range s.Drops {
		if within(d.AtM) {
			d.AtM -= seg.FromM
			part.Drops = append(part.Drops, d)
		}
	}
	if s.Bias != nil && within(s.Bias.AtM) {
		bias := *s.Bias
		bias.AtM -= seg.FromM
		part.Bias = &bias
	}
	return &part
}

// pair is the segment as an ohmmeter sees it, power off: [Pair], with the input
// of the device that ends it.
func (seg Segment) pair(with Connected) (p *line.Pair, ok bool) {
	p, ok = Pair(seg.Sheet, with)
	if with.Units && !seg.Last {
		p.Across = append(p.Across, line.Shunt{At: p.Length(), Ohm: line.Inputs(1)})
	}
	return p, ok
}
