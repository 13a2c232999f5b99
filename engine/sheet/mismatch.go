package sheet

import (
	"cmp"
	"math"
	"slices"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// A Spot is a place on the trunk that an echo can come from.
type Spot struct {
	AtM        float64
	End        string // "host" or "end" where it is an end of the trunk or its segment; "": in between
	Terminated bool   // of an end: the sheet has a terminator there
	OffM       float64
}

// Spots are where an echo from a distance can come from, the likeliest first. A wave
// is sent back to the probe from what lies beyond both it and the sender, so the
// distance counts from the probe, or from a sender that is nearer: the host or a
// drop. Ends within the slack come first, since an end without its terminator is
// commoner than a break.
func Spots(s *rulebase.Sheet, probeM, distanceM, slackM float64) []Spot {
	seg := segmentAt(s, probeM)
	var all []Spot
	end := func(name string, atM float64) {
		off := math.Abs(math.Abs(atM-probeM) - distanceM)
		for _, from := range senders(seg) {
			if (from-probeM)*(atM-probeM) > 0 && math.Abs(atM-from) < math.Abs(atM-probeM) { // between probe and end
				off = min(off, math.Abs(math.Abs(atM-from)-distanceM))
			}
		}
		if off <= slackM {
			all = append(all, Spot{AtM: atM, End: name, Terminated: terminated(seg, atM), OffM: off})
		}
	}
	end("host", seg.FromM)
	end("end", seg.ToM)
	slices.SortStableFunc(all, func(a, b Spot) int { return cmp.Compare(a.OffM, b.OffM) })
	for _, at := range []float64{probeM + distanceM, probeM - distanceM} {
		near := slices.ContainsFunc(all, func(p Spot) bool { return math.Abs(p.AtM-at) <= slackM })
		if at > seg.FromM && at < seg.ToM && !near {
			all = append(all, Spot{AtM: at})
		}
	}
	return all
}

// senders are the places that sends into a segment come from.
func senders(seg Segment) []float64 {
	all := []float64{seg.FromM}
	if !seg.Last {
		all = append(all, seg.ToM)
	}
	for _, d := range seg.Sheet.Drops {
		all = append(all, d.AtM+seg.FromM)
	}
	return all
}

// terminated says whether a segment has a terminator near a place of the trunk.
func terminated(seg Segment, atM float64) bool {
	slack := endSlackM(seg.Sheet)
	return slices.ContainsFunc(seg.Sheet.Terminators, func(t rulebase.SheetTerminator) bool {
		return math.Abs(t.AtM+seg.FromM-atM) <= slack
	})
}

// StubsOf are the stubs of a sheet by how near their length comes to one that was
// measured, those within the slack; all of them else.
func StubsOf(s *rulebase.Sheet, lengthM, slackM float64) (stubs []rulebase.SheetStub, fits bool) {
	off := func(x rulebase.SheetStub) float64 { return math.Abs(x.LengthM - lengthM) }
	stubs = slices.SortedStableFunc(slices.Values(s.Stubs), func(a, b rulebase.SheetStub) int { return cmp.Compare(off(a), off(b)) })
	if n := slices.IndexFunc(stubs, func(x rulebase.SheetStub) bool { return off(x) > slackM }); n > 0 || n < 0 && len(stubs) > 0 {
		if n > 0 {
			stubs = stubs[:n]
		}
		return stubs, true
	}
	return stubs, false
}

// Delay is that of a sheet's cable, one way; said is false where the sheet does not
// give it and the usual one stands for it.
func Delay(s *rulebase.Sheet) (d line.SecondPerMetre, said bool) {
	said = slices.ContainsFunc(s.Cable, func(k rulebase.SheetCable) bool { return k.DelayNSPerM > 0 || k.VelocityShare > 0 })
	return (&checker{s: s}).delay(), said
}

// Idle is what the sums of a sheet leave across the idle pair at a place.
func Idle(s *rulebase.Sheet, atM float64) (line.Volt, bool) {
	name := segmentAt(s, atM).Name
	for _, r := range Check(s) {
		if r.Rule == "idle_volts" && r.Verdict != Open && r.Where == name {
			return line.Volt(r.Figure), true
		}
	}
	return 0, false
}
