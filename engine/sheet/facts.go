package sheet

import (
	"cmp"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// Facts is what a sheet says of the line and of one of its drops, by the names
// that a rulebase's givens take it under (filled_by): text with its unit, as a
// person would have entered it. What the sheet does not say is not there.
//
//	line.kind            the kind of line
//	line.rate            of the bus, in kbaud
//	line.length          of the trunk, in m; of its longest segment where devices send anew
//	line.length_allowed  for this line at this rate, in m
//	line.check_NAME      pass, marginal or fail: what the sheet's rules say of length, stubs, terminators, units, feed, supply, addresses, map
//	line.terminator      one terminator as a meter sees it, in ohm
//	line.loop_ohms       both wires of the trunk, in ohm, as far as a meter at the host sees
//	line.bias_ohms       both resistors of the bias together, in ohm
//	line.stub_allowed    for this line at this rate, or by its drivers' edges, in m
//	line.units_allowed   on one segment of this line
//	line.idle_volts      what should stand across the idle pair, in V
//	line.feed_volts      what the supply's cable should leave at this drop, in V
//	line.drops           how many drops there are
//	line.drop_address    the address that this drop is drawn with
//	line.modules         modules of this drop
//	line.points_mapped   points that the controller has for this drop
//	loss_of_bus          what outputs do on loss of bus
//
// sums says, by the same names, how the sheet comes to a figure, where it is one
// that was reckoned. drop is the drop's name on the drawing or its address; "" or a
// drop that the sheet does not have leaves out what is of one drop.
//
// results are what Check found.
func Facts(s *rulebase.Sheet, drop string, results []Result) (facts, sums map[string]string) {
	facts, sums = map[string]string{"line.kind": s.Line}, map[string]string{}
	number := func(name string, x float64, unit, sum string) {
		if x > 0 {
			facts[name] = strings.TrimSpace(strconv.FormatFloat(sixDigits(x), 'f', -1, 64) + " " + unit)
			if sum != "" {
				sums[name] = sum
			}
		}
	}
	number("line.rate", s.Baud/1000, "kbaud", "")
	segments := Segments(s)
	longest := slices.MaxFunc(segments, func(a, b Segment) int { return cmp.Compare(a.Sheet.TrunkM(), b.Sheet.TrunkM()) })
	sum := sumOfCable(longest.Sheet)
	if len(segments) > 1 {
		sum = fmt.Sprintf(sumLongest, len(segments))
	}
	number("line.length", longest.Sheet.TrunkM(), "m", sum)
	if limit, source, ok := lengthLimit(s); ok {
		number("line.length_allowed", limit, "m", source)
	}
	for _, t := range s.Terminators {
		number("line.terminator", t.Ohm, "ohm", "")
		break
	}
	host := segments[0] // what a meter at the host's end sees
	if pair, known := host.pair(Connected{}); known {
		number("line.loop_ohms", float64(pair.Between(0, pair.Length())), "ohm", sumOfLoop(host.Sheet))
	}
	if b := host.Sheet.Bias; b != nil && b.Up > 0 && b.Down > 0 {
		number("line.bias_ohms", b.Up+b.Down, "ohm", fmt.Sprintf(sumBias, say(b.Up, "ohm"), say(b.Down, "ohm")))
	}
	if limit, sum, ok := stubLimit(s); ok {
		number("line.stub_allowed", limit, "m", sum)
	}
	if limit, source := unitsLimit(s); limit > 0 {
		if len(segments) > 1 {
			source = fmt.Sprintf(sumUnitsEach, limit, len(segments), source)
		}
		number("line.units_allowed", float64(limit*len(segments)), "units", source)
	}
	number("line.drops", float64(len(s.Drops)), "drops", "")
	own, known := dropOf(s, drop)
	for _, r := range results {
		switch {
		case r.Verdict == Open:
		case r.Rule == "idle_volts":
			number("line.idle_volts", r.Figure, "V", r.Sum)
		case r.Rule == "supply_volts" && known && r.Where == "drop "+own.Name:
			number("line.feed_volts", r.Figure, "V", r.Sum)
		}
	}
	for name, verdict := range worst(concerning(results, s, drop)) {
		facts["line.check_"+name] = string(verdict)
	}
	if s.LossOfBus != "" {
		facts["loss_of_bus"] = s.LossOfBus
	}
	if known {
		ofDrop(s, own, facts, number)
	}
	return facts, sums
}

// ofDrop adds what the sheet says of one drop alone.
func ofDrop(s *rulebase.Sheet, d rulebase.SheetDrop, facts map[string]string, number func(name string, x float64, unit, sum string)) {
	number("line.modules", float64(len(d.Modules)), "modules", "")
	if !d.HasAddr {
		return
	}
	facts["line.drop_address"] = strconv.Itoa(d.Address)
	if s.Controller == nil {
		return
	}
	for _, m := range s.Controller.Drops {
		if m.Address == d.Address {
			number("line.points_mapped", float64(m.Points), "points", "")
		}
	}
}

// sixDigits rounds a figure that people will read: a cable is not known better.
func sixDigits(x float64) float64 {
	rounded, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 6, 64), 64)
	if err != nil {
		return x
	}
	return rounded
}

// stubLimit is the longest single stub that the kind of line allows at its rate,
// or, where it has no such rule, that the drivers' edges allow by the strict one.
func stubLimit(s *rulebase.Sheet) (metres float64, sum string, ok bool) {
	c := checkerOf(s)
	if c.kind == nil {
		return 0, "", false
	}
	if rule, ok := c.kind.Stubs(c.baud(), 1); ok {
		return float64(rule.Each), rule.Source, rule.Each > 0
	}
	if s.RiseTimeNS == 0 {
		return 0, "", false
	}
	strict := line.Stubs(line.Second(s.RiseTimeNS*1e-9), c.delay()).RoundTripTenth
	return float64(strict), fmt.Sprintf(sumStub, say(s.RiseTimeNS, "ns"), say(float64(c.delay())*1e9, "ns")), true
}

// unitsLimit is how many units a segment of this line may carry; 0: nobody says.
func unitsLimit(s *rulebase.Sheet) (limit int, source string) {
	c := checkerOf(s)
	switch {
	case s.UnitsLimit > 0:
		return s.UnitsLimit, sourceSheet
	case c.kind == nil:
		return 0, ""
	case c.kind == &line.Modbus:
		return line.ModbusUnits(s.Bias != nil), sourceModbusUnits
	}
	return c.kind.Units, c.kind.Source
}

// dropOf finds a drop by its name or its address.
func dropOf(s *rulebase.Sheet, drop string) (rulebase.SheetDrop, bool) {
	for _, d := range s.Drops {
		if drop != "" && (strings.EqualFold(d.Name, drop) || d.HasAddr && strconv.Itoa(d.Address) == drop) {
			return d, true
		}
	}
	return rulebase.SheetDrop{}, false
}

// lengthLimit is the longest trunk that the sheet's own papers or the kind of
// line allow, and where that stands.
func lengthLimit(s *rulebase.Sheet) (metres float64, source string, ok bool) {
	if s.LengthLimitM > 0 {
		return s.LengthLimitM, sourceSheet, true
	}
	c := checkerOf(s)
	if c.kind == nil {
		return 0, "", false
	}
	limit, ok := c.kind.LengthLimit(c.baud())
	return float64(limit.Longest), limit.Source, ok
}

// Lay adds what a sheet says to a situation: its facts, and, where the situation
// does not have them, the order of the drops along the cable and who shares a
// supply. Drops without an address are left out of both.
func Lay(s *rulebase.Sheet, on *rulebase.Situation) {
	drop := ""
	if on.Drop > 0 {
		drop = strconv.Itoa(on.Drop)
	}
	results := Check(s)
	on.Paper, on.Sums = Facts(s, drop, results)
	on.Checked = nil
	for _, r := range concerning(results, s, drop) {
		if r.Verdict == Fail || r.Verdict == Marginal {
			on.Checked = append(on.Checked, rulebase.PaperCheck{Rule: r.Finding(), Fails: r.Verdict == Fail, Says: r.Full(), Sum: r.Sum, Do: r.Do, Source: r.Source})
		}
	}
	if len(on.Order) == 0 {
		for _, d := range s.Drops {
			if d.HasAddr && d.Address > 0 {
				on.Order = append(on.Order, d.Address)
			}
		}
	}
	if len(on.Supplies) > 0 {
		return
	}
	for _, p := range s.Supplies {
		var group []int
		for _, f := range p.Feeds {
			if d, ok := dropOf(s, f.Drop); ok && d.HasAddr && d.Address > 0 {
				group = append(group, d.Address)
			}
		}
		if len(group) > 0 {
			on.Supplies = append(on.Supplies, group)
		}
	}
}

// families are the rules that speak of one thing; the worst of their verdicts is
// what the sheet says of it.
var families = map[string][]string{
	"length":      {"length", "length_for_wire", "round_trip", "far_end_volts"},
	"stubs":       {"stub", "stub_by_rise_time", "stubs_together"},
	"terminators": {"terminators", "terminator_missing", "terminators_too_many", "terminator_value", "terminator_in_the_middle", "terminator_not_fed"},
	"units":       {"units"},
	"feed":        {"supply_volts", "no_operating_point"},
	"supply":      {"supply_current", "fuse_current"},
	"addresses":   {"address", "address_twice", "map_address_twice"},
	"map":         {"map", "map_length", "map_overlap", "drop_not_in_map", "map_without_drop"},
}

// worst gives the worst verdict of each family that has one.
func worst(results []Result) map[string]Verdict {
	rank := map[Verdict]int{Pass: 1, Marginal: 2, Fail: 3}
	out := map[string]Verdict{}
	for name, rules := range families {
		for _, r := range results {
			if slices.Contains(rules, r.Rule) && rank[r.Verdict] > rank[out[name]] {
				out[name] = r.Verdict
			}
		}
	}
	return out
}

// concerning leaves out what is of another drop's own: its feed, map or address say
// nothing of this one. Without a drop all counts.
func concerning(results []Result, s *rulebase.Sheet, drop string) []Result {
	here, known := dropOf(s, drop)
	if !known {
		return results
	}
	return slices.DeleteFunc(slices.Clone(results), func(r Result) bool {
		other := strings.HasPrefix(r.Where, "drop ") && r.Where != "drop "+here.Name
		return other && !slices.Contains(families["addresses"], r.Rule) && !slices.Contains(families["stubs"], r.Rule)
	})
}
