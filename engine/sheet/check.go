// Package sheet goes over an installation sheet: every rule of the line with
// its figure, its limit, where the limit comes from, and what to do. The sums
// are in engine/line; this package knows what to sum.
//
// A rule whose inputs the sheet does not give is not guessed at: it is left
// open, and says which entry it lacks.
package sheet

import (
	"fmt"
	"strings"

	"downdrop/engine/line"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// A Result is one rule at one place.
type Result struct {
	Rule    string // its name, for programs and for the rulebase's rules
	Where   string // "": the whole trunk; else a drop, an end, a supply
	Verdict Verdict
	Figure  float64
	Limit   float64
	Unit    string // of both
	Says    string // a whole sentence with the figure and the limit
	Sum     string // how the figure comes about, where it is more than what the sheet says
	Source  string // where the limit comes from
	Do      string // what to do; "" where it passes
	Pos     rulebase.Position
	Along   *Stretch // where on the trunk it is; nil: not at one place
}

// A Stretch of the trunk, in metres from the host's end.
type Stretch struct{ FromM, ToM float64 }

// A Verdict is how a figure stands to its limit.
type Verdict string

// The verdicts.
const (
	Pass     Verdict = "pass"
	Marginal Verdict = "marginal"
	Fail     Verdict = "fail"
	Open     Verdict = "open" // the sheet does not say enough
)

var verdicts = map[line.Verdict]Verdict{line.Pass: Pass, line.Marginal: Marginal, line.Fail: Fail}

// Kinds are the words for the kinds of line that a sheet may name.
func Kinds() []string {
	words := make([]string, len(line.Kinds))
	for i, k := range line.Kinds {
		words[i] = k.ID
	}
	return words
}

// Check goes over a sheet, rule by rule, in the order of the trunk's parts.
func Check(s *rulebase.Sheet) []Result {
	c := checkerOf(s)
	if c.kind == nil {
		return nil
	}
	rules := func(of ...func()) {
		for _, rule := range of {
			rule()
		}
	}
	rules(c.rate, c.clock)
	for _, seg := range Segments(s) {
		p := &checker{s: seg.Sheet, kind: c.kind, seg: seg}
		rules(p.length, p.wire, p.units, p.terminators, p.expectedOhms, p.stubs, p.idle, p.farEnd, p.echo)
		c.take(p.found, seg)
	}
	rules(c.roundTrip, c.addresses, c.points, c.frame, c.scan, c.supplies, c.carriers, c.temperatures, c.separation, c.shield, c.oddities)
	return c.found
}

// take takes in what was found in one segment, with places of the whole trunk.
func (c *checker) take(found []Result, seg Segment) {
	for _, r := range found {
		if r.Along != nil {
			r.Along = &Stretch{r.Along.FromM + seg.FromM, r.Along.ToM + seg.FromM}
		}
		if r.Where == "" {
			r.Where = seg.Name
		}
		c.found = append(c.found, r)
	}
}

func checkerOf(s *rulebase.Sheet) *checker {
	return &checker{s: s, kind: line.KindOf(s.Line), seg: Segment{ToM: s.TrunkM(), First: true, Last: true, Sheet: s}}
}

// findings name what is the matter where a rule's figure does not go, or barely.
var findings = map[string]string{
	"rate": "rate_not_usual", "length": "trunk_too_long", "units": "too_many_units", "address": "address_not_allowed",
	"terminator_value": "terminator_wrong_value", "stub": "stub_too_long", "stub_by_rise_time": "stub_too_long", "stubs_together": "stubs_too_long_together",
	"idle_volts": "idle_volts_too_low", "far_end_volts": "far_end_too_weak", "round_trip": "round_trip_too_long", "map_length": "map_wrong_length",
	"supply_volts": "drop_volts_out_of_limits", "supply_current": "supply_overloaded", "fuse_current": "fuse_overloaded", "carrier_current": "carrier_overloaded",
	"separation": "cables_too_close", "shield": "shield_not_as_asked", "conductor_temperature": "conductor_too_hot",
	"length_for_wire": "trunk_too_long_for_wire", "scan_time": "scan_too_slow", "clock_tolerance": "clocks_too_far_off",
}

// Finding names what was found, for a diagnosis and for programs: trunk_too_long
// for a length over its limit. "" where a rule passes or is open.
func (r Result) Finding() string {
	if r.Verdict != Fail && r.Verdict != Marginal {
		return ""
	}
	if name := findings[r.Rule]; name != "" {
		return name
	}
	return r.Rule
}

// Full is the sentence with its place, where it does not name it.
func (r Result) Full() string {
	if r.Where == "" || r.Verdict == Open || strings.Contains(strings.ToLower(r.Says), strings.ToLower(r.Where)) || r.Rule == "shield" {
		return r.Says
	}
	return upperFirst(r.Where) + ": " + strings.ToLower(r.Says[:1]) + r.Says[1:]
}

func upperFirst(text string) string { return strings.ToUpper(text[:1]) + text[1:] }

// A checker goes over a sheet, or one segment of it, and gathers what it finds.
type checker struct {
	s     *rulebase.Sheet // of the whole trunk, or of one segment
	kind  *line.Kind      // nil: the sheet's kind of line is none that is known
	seg   Segment
	found []Result
}

// place says where something of this segment lies on the whole trunk.
func (c *checker) place(m float64) string { return say(m+c.seg.FromM, "m") }

// add takes a result in, with its place on the trunk where its entry has one.
func (c *checker) add(r Result) {
	if r.Verdict != Open && r.Along == nil {
		r.Along = c.along(r)
	}
	c.found = append(c.found, r)
}

// along finds the place of a result by the entry of the sheet that it is about.
func (c *checker) along(r Result) *Stretch {
	at := func(from, to float64) *Stretch { return &Stretch{from, to} }
	for _, d := range c.s.Drops {
		if r.Pos == d.Pos || r.Where == "drop "+d.Name {
			return at(d.AtM, d.AtM)
		}
	}
	for _, t := range c.s.Terminators {
		if r.Pos == t.Pos {
			return at(t.AtM, t.AtM)
		}
	}
	for _, x := range c.s.Stubs {
		if r.Pos == x.Pos {
			return at(x.AtM, x.AtM)
		}
	}
	for _, b := range c.s.Beside {
		if r.Pos == b.Pos {
			return at(b.FromM, b.ToM)
		}
	}
	begin := 0.0
	for _, k := range c.s.Cable {
		if r.Pos == k.Pos {
			return at(begin, begin+k.LengthM)
		}
		begin += k.LengthM
	}
	return nil
}

// open says that a rule cannot be reckoned.
func (c *checker) open(rule, where, lacks string) {
	c.add(Result{Rule: rule, Where: where, Verdict: Open, Says: fmt.Sprintf(sayOpen, upperFirst(strings.ReplaceAll(rule, "_", " ")), lacks), Pos: c.s.Pos})
}

// nearly is the share of a limit from which on nothing is to spare: lengths on a
// drawing are known no better than to a hundredth (common practice, no source).
const nearly = 0.99

// atMost is the verdict of a figure that may be at most its limit.
func atMost(figure, limit float64) Verdict {
	switch {
	case figure > limit:
		return Fail
	case figure > nearly*limit:
		return Marginal
	}
	return Pass
}

// doing is what to do by how a figure stands to its limit.
func doing(v Verdict, do string) string {
	switch v {
	case Fail:
		return do
	case Marginal:
		return doNoMore
	}
	return ""
}

// baud is the rate to reckon with: the sheet's, else what the kind is delivered for.
func (c *checker) baud() line.BitPerSecond {
	if c.s.Baud > 0 {
		return line.BitPerSecond(c.s.Baud)
	}
	return c.kind.Usual
}

func say(x float64, unit string) string { return quantity.FormatRounded(x, unit, 4) }

// openFor says for which drops a rule cannot be reckoned.
func (c *checker) openFor(rule, lacks string, of func(rulebase.SheetDrop) bool) {
	var names []string
	for _, d := range c.s.Drops {
		if of(d) {
			names = append(names, d.Name)
		}
	}
	if names != nil {
		c.open(rule, "", fmt.Sprintf(lacks, strings.Join(names, ", ")))
	}
}
