// Package sheet goes over an installation sheet: every rule of the line with
// its figure, its limit, where the limit comes from, and what to do. The sums
// are in engine/line; this package knows what to sum.
//
// A rule whose inputs the sheet does not give is not guessed at: it is left
// open, and says which entry it lacks.
package sheet

import (
	"fmt"
	"math"
	"slices"
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
	c := &checker{s: s, seg: Segment{ToM: s.TrunkM(), First: true, Last: true, Sheet: s}}
	for _, k := range line.Kinds {
		if k.ID == s.Line {
			c.kind = k
		}
	}
	return c
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

type checker struct {
	s     *rulebase.Sheet // of the whole trunk, or of one segment
	kind  *line.Kind
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

// ---- rate, length, units, addresses

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

// ---- terminators and what a meter reads

// terminators are those of the sheet with their places resolved.
func (c *checker) terminators() {
	trunk := c.s.TrunkM()
	near, far := 0, 0
	for _, t := range c.s.Terminators {
		ohm := t.Ohm
		if ohm == 0 {
			ohm = float64(c.kind.Terminator)
		}
		where := "the terminator at " + c.place(t.AtM)
		slack := max(2, trunk/100) // "near each end": common practice, no source
		switch {
		case t.AtM <= slack:
			near++
		case t.AtM >= trunk-slack:
			far++
		default:
			c.add(Result{Rule: "terminator_in_the_middle", Where: where, Verdict: Fail, Figure: t.AtM, Unit: "m", Source: sourceTermination, Pos: t.Pos,
				Says: fmt.Sprintf(sayTerminatorMiddle, upperFirst(where), c.place(0), c.place(trunk)), Do: doTerminatorMiddle})
		}
		c.terminatorValue(t, where, ohm)
	}
	if n := len(c.s.Terminators); n == 0 {
		c.open("terminators", "", "terminators")
		return
	}
	r := Result{Rule: "terminators", Verdict: Pass, Figure: float64(len(c.s.Terminators)), Limit: 2, Source: sourceTermination, Pos: c.s.Pos, Says: sayTerminatorsGood}
	switch {
	case near == 0 || far == 0:
		end := endNames[[2]bool{near == 0, near == 0 && c.seg.First || near > 0 && c.seg.Last}]
		r.Verdict, r.Rule, r.Says, r.Do = Fail, "terminator_missing", fmt.Sprintf(sayTerminatorMissing, end), doTerminatorMissing
		at := 0.0
		if near > 0 {
			at = trunk
		}
		r.Along = &Stretch{at, at}
	case near > 1 || far > 1 || len(c.s.Terminators) > 2:
		r.Verdict, r.Rule, r.Says, r.Do = Fail, "terminators_too_many", fmt.Sprintf(sayTerminatorsMany, len(c.s.Terminators)), doTerminatorsMany
	}
	c.add(r)
}

// terminatorValue holds a terminator against the cable it ends.
func (c *checker) terminatorValue(t rulebase.SheetTerminator, where string, ohm float64) {
	if t.Powered != nil && !*t.Powered {
		c.add(Result{Rule: "terminator_not_fed", Where: where, Verdict: Fail, Pos: t.Pos, Source: sourceTermination, Says: fmt.Sprintf(sayTerminatorNotFed, upperFirst(where)), Do: doTerminatorNotFed})
	}
	impedance, source := c.impedance(), sourceSheet
	wave := line.Ohm(ohm)
	if c.kind == &line.Profibus {
		wave = line.ProfibusTerminator.Wave() // what is across is not what a wave meets
	}
	if impedance == 0 {
		impedance, source = c.kind.Terminator, c.kind.Source
		if c.kind == &line.Profibus {
			impedance = 150
		}
	}
	g := line.Reflection(wave, impedance)
	const little, much = 0.15, 0.25 // of a wave sent back: common practice, no source
	v := Pass
	switch {
	case math.Abs(g) > much:
		v = Fail
	case math.Abs(g) > little:
		v = Marginal
	}
	r := Result{Rule: "terminator_value", Where: where, Verdict: v, Figure: ohm, Limit: float64(impedance), Unit: "ohm", Source: source, Pos: t.Pos,
		Says: fmt.Sprintf(sayTerminatorValue, upperFirst(where), say(ohm, "ohm"), say(float64(impedance), "ohm"), say(100*g, "%"))}
	if v != Pass {
		r.Do = doTerminatorValue
	}
	c.add(r)
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

// Connected says what else lies across the pair while somebody measures, power off.
type Connected struct {
	Units bool // the units' inputs were left on
	Bias  bool // the bias network is seen: its dead supply clamps it to common
}

// Pair is the trunk as an ohmmeter sees it, power off. ok is false where a
// stretch's resistance is not known; it then counts as nothing.
func Pair(s *rulebase.Sheet, with Connected) (p *line.Pair, ok bool) {
	p, ok = &line.Pair{}, true
	var kind *line.Kind
	for _, k := range line.Kinds {
		if k.ID == s.Line {
			kind = k
		}
	}
	for _, k := range s.Cable {
		loop, known := Loop(k, s.Celsius)
		ok = ok && known
		p.Cable = append(p.Cable, line.Cable{Length: line.Metre(k.LengthM), Loop: loop})
	}
	for _, t := range s.Terminators {
		ohm := line.Ohm(t.Ohm)
		if ohm == 0 && kind != nil {
			ohm = kind.Terminator
		}
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

// unitLoad of a drop; a whole one where the sheet does not say.
func unitLoad(d rulebase.SheetDrop) float64 {
	if d.UnitLoad > 0 {
		return d.UnitLoad
	}
	return 1
}

func (c *checker) expectedOhms() {
	if len(c.s.Terminators) == 0 {
		return
	}
	bare, known := c.seg.pair(Connected{})
	full, _ := c.seg.pair(Connected{Units: true, Bias: true})
	if !known {
		c.open("expected_ohms", "", "conductor or loop_per_km of every stretch of cable")
	}
	for _, at := range []struct {
		where string
		m     float64
	}{{c.endName(true), 0}, {c.endName(false), c.s.TrunkM()}} {
		b, f := float64(bare.Seen(line.Metre(at.m))), float64(full.Seen(line.Metre(at.m)))
		c.add(Result{Rule: "expected_ohms", Where: at.where, Sum: c.sumOfOhms(bare, line.Metre(at.m)), Verdict: Pass, Figure: b, Limit: f, Unit: "ohm", Source: sourceComputed, Pos: c.s.Pos,
			Says: fmt.Sprintf(sayExpectedOhms, at.where, sayOhms(b), sayOhms(f))})
	}
}

// sayOhms is a reading across the pair; with nothing across it a meter shows over-range.
func sayOhms(ohm float64) string {
	if math.IsInf(ohm, 1) {
		return overRange
	}
	return say(ohm, "ohm")
}

// endName says which end of the segment is meant.
func (c *checker) endName(near bool) string {
	switch {
	case near && c.seg.First:
		return "the host's end"
	case !near && c.seg.Last:
		return "the far end"
	case near:
		return fmt.Sprintf(nameBehindDevice, c.place(0))
	}
	return fmt.Sprintf(nameBeforeDevice, c.place(c.s.TrunkM()))
}

// ---- stubs, levels, echoes

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
		ohm := line.Ohm(t.Ohm)
		if ohm == 0 {
			ohm = c.kind.Terminator
		}
		if !t.BlocksDC {
			all = append(all, ohm)
		}
	}
	for _, d := range c.s.Drops {
		all = append(all, line.Inputs(unitLoad(d)))
	}
	return line.Parallel(all...)
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
		r.Verdict, r.Do = Fail, doIdle
	case volts < line.Sensitivity*1.1: // nothing left for noise
		r.Verdict, r.Do = Marginal, doIdle
	}
	c.add(r)
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
	trip := line.RoundTrip(line.Metre(c.s.TrunkM()), c.delay())
	for _, d := range c.s.Inline {
		trip += line.Second(2 * d.DelayNS * 1e-9)
	}
	limit := float64(line.CANSample(rate))
	r := Result{Rule: "round_trip", Sum: c.sumOfTrip(), Verdict: atMost(float64(trip), limit), Figure: float64(trip), Limit: limit, Unit: "s", Source: "CAN System Engineering, tables 4.1 and 4.2", Pos: c.s.Pos,
		Says: fmt.Sprintf(sayCANTrip, say(float64(trip), "s"), say(limit, "s"))}
	r.Do = doing(r.Verdict, doLength)
	c.add(r)
}

// ---- map and scan

func (d mapped) pointsFitted() int {
	sum := 0
	for _, m := range d.drop.Modules {
		sum += m.Points
	}
	return sum
}

type mapped struct {
	drop rulebase.SheetDrop
	to   rulebase.SheetMapped
}

func (c *checker) points() {
	k := c.s.Controller
	if k == nil || len(k.Drops) == 0 {
		c.open("map", "", "controller, with its drops, addresses and points")
		return
	}
	byAddress := map[int]rulebase.SheetDrop{}
	for _, d := range c.s.Drops {
		if d.HasAddr {
			byAddress[d.Address] = d
		}
	}
	listed := map[int]bool{}
	for _, m := range k.Drops {
		listed[m.Address] = true
		d, ok := byAddress[m.Address]
		if !ok {
			c.add(Result{Rule: "map_without_drop", Where: fmt.Sprintf("address %d", m.Address), Verdict: Fail, Figure: float64(m.Address), Source: sourceSheet, Pos: m.Pos,
				Says: fmt.Sprintf(sayMapNoDrop, m.Address), Do: doMapNoDrop})
			continue
		}
		if fitted := (mapped{d, m}).pointsFitted(); fitted > 0 && m.Points > 0 {
			r := Result{Rule: "map_length", Where: "drop " + d.Name, Verdict: Pass, Figure: float64(m.Points), Limit: float64(fitted), Source: "points of the modules fitted; common practice, no source", Pos: m.Pos,
				Says: fmt.Sprintf(sayMapLength, d.Name, m.Points, fitted)}
			if fitted != m.Points {
				r.Verdict, r.Do = Fail, doMapLength
			}
			c.add(r)
		}
	}
	for _, d := range c.s.Drops {
		if d.HasAddr && !listed[d.Address] {
			c.add(Result{Rule: "drop_not_in_map", Where: "drop " + d.Name, Verdict: Fail, Figure: float64(d.Address), Source: sourceSheet, Pos: d.Pos,
				Says: fmt.Sprintf(sayNotInMap, d.Name, d.Address), Do: doNotInMap})
		}
	}
	c.overlaps(k)
}

func (c *checker) overlaps(k *rulebase.SheetController) {
	for i, a := range k.Drops {
		for _, b := range k.Drops[:i] {
			if a.Address == b.Address {
				c.add(Result{Rule: "map_address_twice", Where: fmt.Sprintf("address %d", a.Address), Verdict: Fail, Figure: float64(a.Address), Source: sourceSheet, Pos: a.Pos,
					Says: fmt.Sprintf(sayMapTwice, a.Address), Do: doMapTwice})
			}
			if a.First > 0 && b.First > 0 && a.First < b.First+b.Points && b.First < a.First+a.Points {
				c.add(Result{Rule: "map_overlap", Where: fmt.Sprintf("addresses %d and %d", b.Address, a.Address), Verdict: Fail, Source: sourceSheet, Pos: a.Pos,
					Says: fmt.Sprintf(sayMapOverlap, b.Address, b.First, b.First+b.Points-1, a.Address, a.First, a.First+a.Points-1), Do: doMapOverlap})
			}
		}
	}
}

// frame is how long the smallest whole thing takes on the line: a character, on
// CAN the longest message.
func (c *checker) frame() {
	rate := c.baud()
	if rate == 0 {
		return
	}
	const character = 11 // bits: start, eight, parity or a second stop, stop
	bits, says, source := character, sayCharacter, sourceCharacter
	if c.kind == &line.CAN {
		const most = 8 // bytes of a classic message
		bits, says, source = line.CANFrame(most), sayCANFrame, sourceCANFrame
	}
	time := rate.Character(bits)
	c.add(Result{Rule: "frame_time", Verdict: Pass, Figure: float64(time), Unit: "s", Source: source, Pos: c.s.Pos, Sum: fmt.Sprintf(sumBits, bits, say(float64(rate), "bit/s")),
		Says: fmt.Sprintf(says, say(float64(time), "s"), bits)})
}

// scan is how long it takes to ask every drop once. Where the length of messages is
// not known it is what the points alone take, which only shows what cannot go.
func (c *checker) scan() {
	rate := c.baud()
	if rate == 0 || len(c.s.Drops) == 0 {
		return
	}
	m := c.s.Messages
	if m == nil {
		m = &rulebase.SheetMessages{Character: 11, Pos: c.s.Pos}
	}
	r := Result{Rule: "scan_time", Verdict: Pass, Unit: "s", Limit: m.Wanted, Pos: m.Pos, Source: sourceScan}
	known := true
	switch {
	case c.kind == &line.CAN:
		r.Source = sourceCANFrame
		r.Figure, r.Sum = c.round(func(points int) line.Second { return rate.Character(line.CANFrame(8)) * line.Second((points+63)/64) }, m.Turnaround)
		r.Says = fmt.Sprintf(sayScanCAN, len(c.s.Drops), say(r.Figure, "s"))
	case c.kind == &line.Modbus && !m.HasOver:
		r.Source = sourceModbusScan
		r.Figure, r.Sum = c.round(func(points int) line.Second { return line.InputsPoll(rate, points, 0) }, m.Turnaround)
		r.Says = fmt.Sprintf(sayScan, len(c.s.Drops), say(r.Figure, "s"))
	default:
		known = m.HasOver
		var gaps line.Second
		if c.kind == &line.Modbus {
			_, between := line.Silences(rate)
			gaps = 2 * between
		}
		r.Figure, r.Sum = c.round(func(points int) line.Second {
			return rate.Character(m.Character*(m.Overhead+(points+7)/8)) + gaps
		}, m.Turnaround)
		r.Says = fmt.Sprintf(sayScan, len(c.s.Drops), say(r.Figure, "s"))
		if !known {
			r.Says = fmt.Sprintf(sayScanLeast, len(c.s.Drops), say(r.Figure, "s"))
		}
	}
	if m.Wanted > 0 {
		r.Source = sourceSheet
		r.Verdict = atMost(r.Figure, m.Wanted)
		r.Says += " " + fmt.Sprintf(sayScanWanted, say(m.Wanted, "s"))
		r.Do = doing(r.Verdict, doScan)
	}
	if !known && r.Verdict != Fail {
		r.Verdict, r.Do = Open, ""
	}
	c.add(r)
}

// round adds up one exchange with each drop, by its points, and says how.
func (c *checker) round(exchange func(points int) line.Second, turnaround float64) (seconds float64, sum string) {
	var all line.Second
	var parts []string
	for _, d := range c.s.Drops {
		n := (mapped{drop: d}).pointsFitted()
		if n == 0 {
			n = line.PointsPerModule // the sheet gives no modules
		}
		one := exchange(n) + line.Second(turnaround)
		all += one
		parts = append(parts, say(float64(one), "s"))
	}
	if len(slices.Compact(slices.Clone(parts))) == 1 {
		return float64(all), fmt.Sprintf(sumRound, len(parts), parts[0])
	}
	return float64(all), strings.Join(parts, " + ")
}

// ---- supply

func (c *checker) supplies() {
	fed := map[string]bool{}
	for _, p := range c.s.Supplies {
		c.supply(p)
		for _, f := range p.Feeds {
			fed[f.Drop] = true
		}
	}
	c.openFor("supply_volts", lackFeed, func(d rulebase.SheetDrop) bool { return !fed[d.Name] })
	for _, p := range c.s.Supplies {
		if p.MostA == 0 || p.FuseA == 0 {
			c.open("supply_current", "supply "+p.Name, fmt.Sprintf(lackMost, p.Name))
		}
	}
}

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

// Takes is what a drop draws: its own, and its modules'.
func Takes(d rulebase.SheetDrop) line.Load {
	load := line.Load{Power: line.Watt(d.Watt), Current: line.Ampere(d.Ampere)}
	for _, m := range d.Modules {
		load.Current += moduleTakes(m)
	}
	return load
}

func moduleTakes(m rulebase.SheetModule) line.Ampere {
	return line.Ampere(m.Ampere + m.EachAmpere*float64(m.On))
}

func (c *checker) supply(p rulebase.SheetSupply) {
	where := "supply " + p.Name
	celsius := p.Celsius
	if celsius == nil {
		celsius = c.s.Celsius
	}
	feed := line.Feed{Supply: line.Volt(p.Volt)}
	node := map[string]int{"": -1}
	for i, f := range p.Feeds {
		r, ok := Conductor(f.Conductor, celsius)
		if !ok {
			c.open("supply_volts", "drop "+f.Drop, "a conductor that the tables know ("+textOf(f.Conductor)+")")
			return
		}
		at := slices.IndexFunc(c.s.Drops, func(d rulebase.SheetDrop) bool { return d.Name == f.Drop })
		feed.Nodes = append(feed.Nodes, line.Node{Parent: node[f.From], Loop: r.Loop().Over(line.Metre(f.LengthM)), Load: Takes(c.s.Drops[at])})
		node[f.Drop] = i
	}
	volts, err := feed.Solve()
	if err != nil {
		asked, most := powerOf(feed)
		c.add(Result{Rule: "no_operating_point", Where: where, Verdict: Fail, Figure: asked, Limit: most, Unit: "W", Source: sourceComputed, Pos: p.Pos, Says: fmt.Sprintf(sayNoOperatingPoint, p.Name, say(asked, "W"), say(most, "W")), Do: doSupply})
		return
	}
	var total line.Ampere
	currents := feed.Currents(volts)
	sums := sumsOfFeed(p, feed, currents)
	for i, v := range volts {
		f := p.Feeds[i]
		if feed.Nodes[i].Parent < 0 {
			total += currents[i]
		}
		limit := float64(line.SupplyLow)
		if v > line.SupplyHigh {
			limit = float64(line.SupplyHigh)
		}
		r := Result{Rule: "supply_volts", Where: "drop " + f.Drop, Sum: sums[i], Verdict: verdicts[line.SupplyVerdict(v)], Figure: float64(v), Limit: limit, Unit: "V", Source: sourceSupply, Pos: f.Pos,
			Says: fmt.Sprintf(saySupply, f.Drop, say(float64(v), "V"), say(float64(currents[i]), "A"))}
		if r.Verdict != Pass {
			r.Do = doSupply
		}
		c.add(r)
	}
	var parts []string
	for i := range p.Feeds {
		if feed.Nodes[i].Parent < 0 {
			parts = append(parts, say(float64(currents[i]), "A"))
		}
	}
	sum := ""
	if len(parts) > 1 {
		sum = strings.Join(parts, " + ")
	}
	c.budget(Result{Rule: "supply_current", Where: where, Figure: float64(total), Sum: sum, Source: sourceSheet, Pos: p.Pos}, p.MostA, 1)
	c.budget(Result{Rule: "fuse_current", Where: "the fuse of " + where, Figure: float64(total), Sum: sum, Source: sourceFuse, Pos: p.Pos}, p.FuseA, fuseShare)
}

// powerOf is what the loads of a feed ask for at its supply's volts, and the most
// that its cable brings to them in the same proportions: what is asked for, taken
// down until there is an operating point.
func powerOf(feed line.Feed) (asked, most float64) {
	for _, n := range feed.Nodes {
		asked += float64(n.Load.Power) + float64(n.Load.Current)*float64(feed.Supply)
	}
	low, high := 0.0, 1.0
	for range 30 {
		share := (low + high) / 2
		part := line.Feed{Supply: feed.Supply, Nodes: slices.Clone(feed.Nodes)}
		for i := range part.Nodes {
			part.Nodes[i].Load.Power *= line.Watt(share)
			part.Nodes[i].Load.Current *= line.Ampere(share)
		}
		if _, err := part.Solve(); err != nil {
			high = share
		} else {
			low = share
		}
	}
	return asked, asked * low
}

func textOf(k *rulebase.SheetConductor) string {
	if k == nil {
		return ""
	}
	return k.Text
}

// fuseShare is how much of its rating a small fuse carries for good (from memory).
const fuseShare = 0.75

// budget holds a current against a share of what may be drawn: over that share it
// barely goes, over the whole not at all. Of a supply or carrier the last tenth is
// kept free too (common practice, no source).
func (c *checker) budget(r Result, most, share float64) {
	if most == 0 {
		return
	}
	r.Verdict, r.Limit, r.Unit = Pass, most*share, "A"
	r.Says = fmt.Sprintf(sayBudget, r.Where, say(r.Figure, "A"), say(most*share, "A"))
	switch {
	case r.Figure > most:
		r.Verdict, r.Do = Fail, doBudget
	case r.Figure > most*share || r.Figure > 0.9*most:
		r.Verdict, r.Do = Marginal, doBudget
	}
	c.add(r)
}

func (c *checker) carriers() {
	for _, d := range c.s.Drops {
		var sum line.Ampere
		var parts []string
		for _, m := range d.Modules {
			sum += moduleTakes(m)
			parts = append(parts, say(float64(moduleTakes(m)), "A"))
		}
		c.budget(Result{Rule: "carrier_current", Where: "the carrier of drop " + d.Name, Figure: float64(sum), Sum: strings.Join(parts, " + "), Source: sourceSheet, Pos: d.Pos}, d.MostA, 1)
	}
	c.openFor("carrier_current", lackCarrier, func(d rulebase.SheetDrop) bool { return len(d.Modules) > 0 && d.MostA == 0 })
}

// ---- surroundings

// temperatures says at which temperature copper was reckoned, and holds it against
// what the usual insulation bears.
func (c *checker) temperatures() {
	told := false
	one := func(where string, celsius *float64, pos rulebase.Position) {
		if celsius == nil {
			return
		}
		told = true
		factor := float64(line.ConductorOhmPerKm(1).At(line.Celsius(*celsius)))
		r := Result{Rule: "conductor_temperature", Where: where, Verdict: Pass, Figure: *celsius, Limit: insulationHottest, Unit: "C", Source: sourceInsulation, Pos: pos,
			Sum:  fmt.Sprintf(sumCopper, say(*celsius, "")),
			Says: fmt.Sprintf(sayTemperature, say(*celsius, ""), say(factor, ""))}
		switch {
		case *celsius > insulationHottest:
			r.Verdict, r.Do = Fail, doTemperature
		case *celsius > insulationHottest-insulationSpare:
			r.Verdict, r.Do = Marginal, doTemperature
		}
		c.add(r)
	}
	one("", c.s.Celsius, c.s.Pos)
	for _, p := range c.s.Supplies {
		one("the cable of supply "+p.Name, p.Celsius, p.Pos)
	}
	if !told {
		c.open("conductor_temperature", "", lackTemperature)
	}
}

// What common PVC insulation bears for good, in degrees Celsius, and how close to
// it is nothing to spare (70 C from memory; the ten common practice, no source).
const (
	insulationHottest = 70.0
	insulationSpare   = 10.0
)

func (c *checker) separation() {
	for _, b := range c.s.Beside {
		shielded := c.shieldedAlong(b.FromM, b.ToM)
		screen := map[[2]bool]line.Screen{{false, false}: line.NeitherScreened, {true, false}: line.DataScreened, {false, true}: line.PowerScreened, {true, true}: line.BothScreened}[[2]bool{shielded, b.PowerScreened}]
		divider := map[string]line.Divider{"none": line.NoDivider, "aluminium": line.AluminiumDivider, "steel": line.SteelDivider}[b.Divider]
		limit := float64(line.Separation(screen, divider))
		r := Result{Rule: "separation", Where: fmt.Sprintf("%s to %s", say(b.FromM, "m"), say(b.ToM, "m")), Verdict: Pass, Figure: b.ApartM, Limit: limit, Unit: "m", Source: "EN 50174-2:2000 table 1, as quoted; later editions replace it", Pos: b.Pos,
			Says: fmt.Sprintf(saySeparation, say(1000*b.ApartM, "mm"), say(1000*limit, "mm"))}
		switch {
		case b.ApartM < limit:
			r.Verdict, r.Do = Fail, doSeparation
		case b.ApartM < 1.1*limit: // cables lie as they fall (common practice, no source)
			r.Verdict, r.Do = Marginal, doSeparation
		}
		c.add(r)
	}
}

// shieldedAlong says whether every stretch of the trunk between two places has a shield.
func (c *checker) shieldedAlong(from, to float64) bool {
	at := 0.0
	for _, k := range c.s.Cable {
		begin := at
		at += k.LengthM
		if begin < to && at > from && (k.Shielded == nil || !*k.Shielded) {
			return false
		}
	}
	return true
}

func (c *checker) shield() {
	at, bare := 0.0, false
	for _, k := range c.s.Cable {
		from := at
		at += k.LengthM
		if k.Shielded != nil && !*k.Shielded {
			bare = true
			c.add(Result{Rule: "shield", Where: fmt.Sprintf("%s to %s", say(from, "m"), say(at, "m")), Verdict: Fail, Source: sourceShield, Pos: k.Pos, Says: fmt.Sprintf(sayNoShield, say(from, "m"), say(at, "m")), Do: doNoShield})
		}
	}
	if bare {
		return
	}
	if c.s.Shield == nil {
		c.open("shield", "", "shield, with where it is bonded")
		return
	}
	wanted := map[*line.Kind]string{&line.Modbus: "one_end", &line.Profibus: "both_ends"}[c.kind]
	source := map[*line.Kind]string{&line.Modbus: "Modbus over Serial Line V1.02, 3.6", &line.Profibus: "PROFIBUS, from memory"}[c.kind]
	r := Result{Rule: "shield", Verdict: Pass, Source: source, Pos: c.s.Shield.Pos, Says: fmt.Sprintf(sayShield, bondedWords[c.s.Shield.Bonded])}
	switch {
	case c.s.Shield.Bonded == "nowhere":
		r.Verdict, r.Do, r.Source = Fail, doShieldNowhere, "common practice, no source"
	case wanted == "":
		r.Source = "common practice, no source"
	case wanted != c.s.Shield.Bonded:
		r.Verdict, r.Do = Marginal, fmt.Sprintf(doShieldOther, bondedWords[wanted])
	}
	c.add(r)
}
