package bench

import (
	"math"
	"slices"

	"downdrop/engine/line"
	"downdrop/rulebase"
)

// facts fills the slots of a procedure's names from a profile: what it says, and what
// follows from it by the sums of the line.
func facts(p *rulebase.Procedure, unit *rulebase.Profile) []rulebase.Slot {
	slots := make([]rulebase.Slot, len(p.Names))
	for i, n := range p.Names {
		slots[i].Number = math.NaN()
		if s, ok := unit.Facts[n.ID]; ok && n.Kind == rulebase.KindGiven {
			slots[i] = s
		}
	}
	for name, x := range Derived(unit) {
		if i := slices.IndexFunc(p.Names, func(n rulebase.Name) bool { return n.ID == name }); i >= 0 && slots[i].Rank == rulebase.NotKnown {
			slots[i] = rulebase.Slot{Rank: rulebase.FromDefault, Number: x}
		}
	}
	return slots
}

// Derived are the facts that follow from a profile (rulebase.BenchDerived), and the
// figures of the kind of line where the profile has none of its own.
func Derived(unit *rulebase.Profile) map[string]float64 {
	d := map[string]float64{}
	number := func(fact string, otherwise float64) float64 {
		if s, ok := unit.Facts[fact]; ok {
			return s.Number
		}
		return otherwise
	}
	word := func(fact string, words []string) string {
		if s, ok := unit.Facts[fact]; ok && s.Word > 0 {
			return words[s.Word-1]
		}
		return ""
	}
	kind := line.KindOf(word("line_kind", rulebase.LineKinds))
	if kind == nil {
		kind = line.Kinds[0]
	}
	terminator := line.Ohm(number("line_terminator", float64(kind.Terminator)))
	d["line_terminator"] = float64(terminator)
	d["line_driver_least"] = float64(line.DriverLeast)
	d["line_receiver"] = float64(line.Sensitivity)

	inputs := line.Inputs(number("line_unit_load", 1))
	d["pair_ohms"] = float64(inputs)
	if word("line_own_terminator", []string{"none", "switched", "fitted"}) == "fitted" {
		d["pair_ohms"] = float64(line.Parallel(terminator, inputs))
	}
	d["bus_ohms"] = float64(line.Parallel(terminator, terminator, inputs))
	if rate := number("line_rate", 0); rate > 0 {
		d["bit_time"] = float64(line.BitPerSecond(rate).Bit()) * 1e6
	}
	label := number("supply_current", 0)
	d["first_limit"] = 1.5 * label
	all := line.Ampere(label)
	for _, m := range unit.Modules {
		d["modules"]++
		d["points"] += float64(m.Points)
		d[m.Kind+"_points"] += float64(m.Points)
		takes := line.Module{Electronics: line.Ampere(m.Amps)}
		if m.Kind == "input" {
			takes.InputsOn, takes.InputEach = m.Points, line.Ampere(m.EachAmps)
		} else {
			takes.OutputsOn, takes.OutputEach = m.Points, line.Ampere(m.EachAmps)
		}
		all += takes.Takes()
	}
	for _, name := range []string{"modules", "points", "input_points", "output_points"} {
		d[name] += 0
	}
	d["all_on_current"] = float64(all)
	return d
}
