package rulebase_test

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/engine/chain"
	"downdrop/engine/line"
	"downdrop/rulebase"
)

// What the loaded rulebase makes of published values, a row for each with its
// source. A reading in ohms that no source prints is worked out here from those
// that it does, by the plain sums of resistors in parallel.

// A reading is sorted into the band that the rulebase works out for a line.
type reading struct {
	givens  string // id=value, with commas between
	symptom string
	value   float64
	band    string
	source  string
}

const (
	given   = "common practice, no source: 150 ohm at each end of a token-passing pair"
	halves  = "equal resistors in parallel, 120 ohm at each end (TIA-485, Modbus and CAN pages); 10 % for resistor, contact and meter"
	halves2 = "equal resistors in parallel, " + given + "; 10 % for resistor, contact and meter"
	felser  = "PROFIBUS Manual (Felser): 390, 220 and 390 ohm, fed with 5 V"
	tia     = "TIA-485-A as printed in open articles: receivers to 0.2 V"
	modbus  = "Modbus over Serial Line V1.02"
	iec     = "IEC 61131-2, from memory: 24 V less 15 and plus 20 %"
	iso     = "ISO 11898-2, from memory: recessive below 0.5 V, dominant above 0.9 V"
)

func parallel(ohms ...float64) float64 {
	sum := 0.0
	for _, r := range ohms {
		sum += 1 / r
	}
	return 1 / sum
}

// idle is the volts across an idle pair: a bias resistor from the supply to one
// leg, the same from the other to common, and what lies across the pair.
func idle(supply, bias float64, across ...float64) float64 {
	r := parallel(across...)
	return supply * r / (r + 2*bias)
}

func readings() []reading {
	return []reading{
		// Across the dead pair: the windows of 0, 1, 2, 3 and 4 terminators.
		{"line=tia485_polled", "pair_ohms", 10000, "none_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 132, "one_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 120, "one_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 108, "one_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 66, "two_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 60, "two_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 54, "two_fitted", halves},
		{"line=tia485_polled", "pair_ohms", 44, "three_or_wrong_value", halves},
		{"line=tia485_polled", "pair_ohms", 40, "three_or_wrong_value", halves},
		{"line=tia485_polled", "pair_ohms", 36, "three_or_wrong_value", halves},
		{"line=tia485_polled", "pair_ohms", 30, "three_or_wrong_value", halves},
		{"line=tia485_polled", "pair_ohms", 5, "pair_short", halves},
		{"line=token_pair", "pair_ohms", 10000, "none_fitted", halves2},
		{"line=token_pair", "pair_ohms", 165, "one_fitted", halves2},
		{"line=token_pair", "pair_ohms", 150, "one_fitted", halves2},
		{"line=token_pair", "pair_ohms", 135, "one_fitted", halves2},
		{"line=token_pair", "pair_ohms", 82.5, "two_fitted", halves2},
		{"line=token_pair", "pair_ohms", 75, "two_fitted", halves2},
		{"line=token_pair", "pair_ohms", 67.5, "two_fitted", halves2},
		{"line=token_pair", "pair_ohms", 55, "three_or_wrong_value", halves2},
		{"line=token_pair", "pair_ohms", 50, "three_or_wrong_value", halves2},
		{"line=token_pair", "pair_ohms", 45, "three_or_wrong_value", halves2},
		{"line=token_pair", "pair_ohms", 37.5, "three_or_wrong_value", halves2},
		{"line=token_pair", "pair_ohms", 5, "pair_short", halves2},
		{"line=token_pair", "pair_ohms", parallel(120, 120), "three_or_wrong_value", given + "; 120 ohm fitted by mistake at both ends"},

		// The far terminator behind its cable, and what else is on the pair.
		{"line=token_pair,loop_ohms=44", "pair_ohms", parallel(150, 150+44), "two_fitted", "400 m at 110 ohm per km of both conductors (PROFIBUS cable type A, from memory): 84.6 ohm"},
		{"line=token_pair,loop_ohms=44", "pair_ohms", parallel(150, 44), "pair_short", "the same cable shorted at its far end: 34.0 ohm"},
		{"line=token_pair,loop_ohms=44", "pair_ohms", parallel(150, 150+22, 150+44), "three_or_wrong_value", "the same cable with a third terminator in its middle: 56.5 ohm"},
		{"line=token_pair,loop_ohms=16.84", "pair_ohms", parallel(150, 16.84), "pair_short", "100 m of AWG 24, 84.2 ohm per km of one conductor (wire table, HyperPhysics): 15.1 ohm"},
		{"line=tia485_polled,loop_ohms=267.8", "pair_ohms", parallel(120, 120+267.8), "two_fitted", "1000 m of AWG 26, 133.9 ohm per km of one conductor (the same table); " + modbus + ", 3.4.3 and 3.6"},
		{"line=token_pair,units_left_on=32", "pair_ohms", parallel(150, 150, 750), "two_fitted", "32 unit loads of 12 kohm from each leg to common (TIA-485): 750 ohm across the pair, 68.2 ohm in all"},
		{"line=token_pair,bias_ohms=1300", "pair_ohms", parallel(150, 150, 1300), "two_fitted", modbus + ", 3.4.6: bias of 650 ohm a leg: 70.9 ohm"},
		{"line=tia485_polled,units_left_on=24,unit_input=12000,bias_ohms=1120", "pair_ohms", parallel(120, 120, 500, 1120), "two_fitted", "24 units of 12 kohm and a bias of 560 ohm a leg, by the same sum: 51.1 ohm"},
		{"line=tia485_polled,units_left_on=24,unit_input=12000,bias_ohms=1120", "pair_ohms", parallel(120, 500, 1120), "one_fitted", "the same with one terminator: 89.1 ohm"},
		{"line=tia485_polled,units_left_on=24,unit_input=12000,bias_ohms=1120", "pair_ohms", parallel(120, 120, 120, 500, 1120), "three_or_wrong_value", "the same with three: 35.9 ohm"},
		{"line=profibus_dp", "pair_ohms", 220, "one_fitted", felser},
		{"line=profibus_dp", "pair_ohms", 110, "two_fitted", felser},
		{"line=profibus_dp", "pair_ohms", parallel(220, 220, 220), "three_or_wrong_value", felser},
		{"line=profibus_dp,loop_ohms=22", "pair_ohms", parallel(220, 220+22), "two_fitted", felser + "; 200 m of type A: 115.2 ohm"},
		{"line=profibus_dp,loop_ohms=132", "pair_ohms", parallel(220, 220+132), "two_fitted", felser + "; 1200 m of type A: 135.4 ohm"},
		{"line=can", "pair_ohms", 60, "two_fitted", "CAN physical layer tutorial: 120 ohm at each end"},
		{"line=can", "pair_ohms", 120, "one_fitted", "CAN physical layer tutorial: 120 ohm at each end"},
		{"line=can", "pair_ohms", 40, "three_or_wrong_value", "CAN physical layer tutorial: 120 ohm at each end"},
		{"line=can,loop_ohms=14", "pair_ohms", parallel(120, 120+14), "two_fitted", "100 m of 70 milliohm per metre of one conductor (CiA 303-1, from memory): 63.3 ohm"},

		// A terminator by itself.
		{"line=token_pair", "terminator_ohms", 150, "terminator_right", given},
		{"line=token_pair", "terminator_ohms", 120, "terminator_low", given},
		{"line=tia485_polled", "terminator_ohms", 120, "terminator_right", "TIA-485 pages: 120 ohm"},
		{"line=tia485_polled", "terminator_ohms", 150, "terminator_high", "TIA-485 pages: 120 ohm"},
		{"line=tia485_polled,terminator=150", "terminator_ohms", 150, "terminator_right", modbus + ", 3.4.5: 150 ohm 0.5 W"},
		{"line=profibus_dp", "terminator_ohms", 220, "terminator_right", felser},
		{"line=can", "terminator_ohms", 120, "terminator_right", "CAN physical layer tutorial: 120 ohm"},
		{"line=can", "terminator_ohms", 124, "terminator_right", "CiA 303-1, from memory: 124 ohm up to 40 m"},

		// Volts of an idle pair. A fed PROFIBUS pair has 1.1 V with one terminator as
		// with two, so only ohms tell them apart.
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 120, 120), "idle_good", tia + "; 650 ohm a leg, two of 120 ohm: 0.2206 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 120, 120, 750), "idle_good", tia + "; the same with 32 units: 0.2049 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 120, 120, 120), "too_weak", tia + "; a third terminator: 0.1493 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 450, 120, 120, 750), "idle_good", tia + "; 450 ohm a leg, 32 units: 0.2907 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 150, 150), "idle_good", modbus + ", 3.4.5 and 3.4.6: 0.2727 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 150, 150, 750), "idle_good", modbus + ", the same with 32 units: 0.2492 V"},
		{"line=tia485_polled", "idle_pair_volts", idle(5, 650, 750), "idle_good", modbus + ", terminators with a capacitor, 32 units: 1.829 V"},
		{"line=profibus_dp", "idle_pair_volts", idle(5, 390, 220), "idle_good", felser + ": 1.1 V with one fed terminator"},
		{"line=profibus_dp", "idle_pair_volts", idle(5, 195, 110), "idle_good", felser + ": 1.1 V with two"},
		{"line=profibus_dp", "idle_pair_volts", idle(5, 390, 110), "too_weak", felser + ": 0.618 V with one of two unfed"},

		// Volts of messages.
		{"line=tia485_polled", "signal_volts", 1.5, "signal_good", "TIA-485-A as printed: a driver gives 1.5 V or more into 54 ohm"},
		{"line=tia485_polled", "signal_volts", 1.5 * 150 / (150 + 267.8), "signal_weak", modbus + ", 1000 m of AWG 26, 150 ohm: 0.539 V at the far end, which a receiver takes"},
		{"line=profibus_dp", "signal_volts", 1.5 * 150 / (150 + 132), "signal_weak", "1200 m of PROFIBUS cable type A, 132 ohm: 0.798 V, which a receiver takes"},
		{"line=tia485_polled", "signal_volts", 0.19, "signal_unusable", tia},
		{"line=can", "signal_volts", 2, "signal_good", iso + "; dominant 2 V"},
		{"line=can", "signal_volts", 0.8, "signal_unusable", iso},
		{"line=can", "recessive_volts", 0.49, "recessive", iso},
		{"line=can", "recessive_volts", 0.7, "between_levels", iso},
		{"line=can", "recessive_volts", 0.91, "held_dominant", iso},
		{"", "common_mode_volts", -7.1, "below_range", "TIA-485-A as printed: -7 to +12 V"},
		{"", "common_mode_volts", -7, "inside_range", "TIA-485-A as printed: -7 to +12 V"},
		{"", "common_mode_volts", 11.9, "inside_range", "TIA-485-A as printed: -7 to +12 V"},
		{"", "common_mode_volts", 12.1, "above_range", "TIA-485-A as printed: -7 to +12 V"},

		// The supply and the inputs.
		{"", "volts_at_drop", 20.3, "low_volts", iec},
		{"", "volts_at_drop", 20.4, "volts_in_limits", iec},
		{"", "volts_at_drop", 28.7, "volts_in_limits", iec},
		{"", "volts_at_drop", 28.9, "volts_too_high", iec},
		{"", "supply_ripple_volts", 1.1, "ripple_small", "IEC 61131-2, from memory: 5 % of 24 V"},
		{"", "supply_ripple_volts", 1.3, "ripple_large", "IEC 61131-2, from memory: 5 % of 24 V"},
		{"", "input_volts", 5.1, "input_between", "IEC 61131-2 type 1, from memory: off to 5 V, on from 15 V"},
		{"", "input_volts", 15, "input_on_volts", "IEC 61131-2 type 1, from memory: off to 5 V, on from 15 V"},
		{"input_on_at=11", "input_volts", 11, "input_on_volts", "IEC 61131-2 types 2 and 3, from memory: on from 11 V"},
	}
}

// Every published reading lies in the band that it belongs to.
func TestPublishedReadings(t *testing.T) {
	b := shippedBase(t)
	p := engine.Prepare(b)
	for _, r := range readings() {
		ref, ok := b.Lookup(r.symptom)
		if !ok || ref.Kind != rulebase.KindSymptom {
			t.Errorf("there is no symptom %s", r.symptom)
			continue
		}
		limits := p.Limits(rulebase.Situation{Givens: givensOf(t, b, r.givens)})[ref.Index]
		if len(limits) == 0 {
			t.Errorf("where %s, %s has no limits", r.givens, r.symptom)
			continue
		}
		if got := b.Symptoms[ref.Index].Values[bandOf(limits, r.value)]; got != r.band {
			t.Errorf("where %s, %s of %.4g is %s, should be %s (limits %.4g; %s)", r.givens, r.symptom, r.value, got, r.band, limits, r.source)
		}
	}
}

// bandOf is the first band whose limit is above the value, else the last.
func bandOf(limits []float64, value float64) int {
	for i, limit := range limits {
		if value < limit {
			return i
		}
	}
	return len(limits)
}

// A CAN pair rests at no volts: its idle volts are not weighed as those of other lines.
func TestIdleVoltsAreNotCANs(t *testing.T) {
	b := shippedBase(t)
	ref, _ := b.Lookup("idle_pair_volts")
	if limits := engine.Prepare(b).Limits(rulebase.Situation{Givens: givensOf(t, b, "line=can")})[ref.Index]; limits != nil {
		t.Errorf("idle volts of a CAN pair have the limits %v", limits)
	}
}

// What follows from the kind of line and its rate, by the rules: "" where no source says.
func TestPublishedLimitsOfALine(t *testing.T) {
	const pages = "knowledge page on PROFIBUS cable length by rate, type A; 187.5 kbit/s is 1000 m and not 1200"
	const stubs = "PROFIBUS Competency Center Australia, 09/020, table 1"
	const tables = "CAN System Engineering, tables 4.1 and 4.2"
	b := shippedBase(t)
	for _, r := range []struct{ givens, name, value, source string }{
		{"line=token_pair", "terminator", "150", given},
		{"line=tia485_polled", "terminator", "120", "TIA-485 pages"},
		{"line=profibus_dp", "terminator", "220", felser},
		{"line=can", "terminator", "120", "CAN physical layer tutorial"},
		{"line=token_pair", "rate", "153.6", "common practice, no source"},
		{"line=tia485_polled", "rate", "19.2", modbus + ", 3.2: required, and the default"},
		{"line=profibus_dp", "rate", "", "no rate of PROFIBUS DP is the usual one"},
		{"line=can", "rate", "", "no rate of CAN is the usual one"},
		{"line=can,rate=125", "rate", "125", "what a person says outranks what follows"},
		{"line=tia485_polled,rate=9.6", "length_allowed", "1000", modbus + ", 3.4.3"},
		{"line=tia485_polled,rate=19.2", "length_allowed", "", modbus + " gives none above 9600 bit/s"},
		{"line=token_pair", "length_allowed", "", "no table is known; the installation says"},
		{"line=profibus_dp,rate=9.6", "length_allowed", "1200", pages},
		{"line=profibus_dp,rate=93.75", "length_allowed", "1200", pages},
		{"line=profibus_dp,rate=187.5", "length_allowed", "1000", pages},
		{"line=profibus_dp,rate=500", "length_allowed", "400", pages},
		{"line=profibus_dp,rate=1500", "length_allowed", "200", pages},
		{"line=profibus_dp,rate=3000", "length_allowed", "100", pages},
		{"line=profibus_dp,rate=12000", "length_allowed", "100", pages},
		{"line=can,rate=1000", "length_allowed", "25", tables + "; ISO 11898-2 has 40 m under other assumptions"},
		{"line=can,rate=800", "length_allowed", "50", tables},
		{"line=can,rate=500", "length_allowed", "100", tables},
		{"line=can,rate=250", "length_allowed", "250", tables},
		{"line=can,rate=125", "length_allowed", "500", tables},
		{"line=can,rate=50", "length_allowed", "1000", tables},
		{"line=can,rate=20", "length_allowed", "2500", tables},
		{"line=can,rate=10", "length_allowed", "5000", tables},
		{"line=tia485_polled", "stub_allowed", "20", modbus + ", 3.4.3: a derivation is never over 20 m"},
		{"line=profibus_dp,rate=19.2", "stub_allowed", "500", stubs},
		{"line=profibus_dp,rate=93.75", "stub_allowed", "100", stubs},
		{"line=profibus_dp,rate=187.5", "stub_allowed", "33.3", stubs},
		{"line=profibus_dp,rate=500", "stub_allowed", "20", stubs},
		{"line=profibus_dp,rate=1500", "stub_allowed", "6.67", stubs},
		{"line=profibus_dp,rate=3000", "stub_allowed", "0.1", stubs + ": none; 0.1 m is what a plug has inside"},
		{"line=can,rate=1000", "stub_allowed", "1.5", tables},
		{"line=can,rate=800", "stub_allowed", "2.5", tables},
		{"line=can,rate=500", "stub_allowed", "5.5", tables},
		{"line=can,rate=250", "stub_allowed", "11", tables},
		{"line=can,rate=125", "stub_allowed", "22", tables},
		{"line=can,rate=50", "stub_allowed", "55", tables},
		{"line=can,rate=20", "stub_allowed", "137.5", tables},
		{"line=can,rate=10", "stub_allowed", "275", tables},
		{"line=tia485_polled", "units_allowed", "32", modbus + ", 3.4.1"},
		{"line=profibus_dp", "units_allowed", "32", "PROFIBUS DP, from memory: 32 to a segment"},
		{"line=can", "units_allowed", "", "ISO 11898-2 has 30 at 1 Mbit/s, other rates none"},
		{"line=tia485_polled", "receiver_least", "0.2", tia},
		{"line=can", "receiver_least", "0.9", iso},

		// Addresses that a drop may have, and that it may not.
		{"line=tia485_polled,drop_address=0", "address_allowed", "false", modbus + ", 2.2: 0 speaks to all"},
		{"line=tia485_polled,drop_address=1", "address_allowed", "", modbus + ", 2.2"},
		{"line=tia485_polled,drop_address=247", "address_allowed", "", modbus + ", 2.2"},
		{"line=tia485_polled,drop_address=248", "address_allowed", "false", modbus + ", 2.2; 248 to 255 are kept free, from memory"},
		{"line=profibus_dp,drop_address=0", "address_allowed", "", "PROFIBUS DP, from memory: 0 to 126"},
		{"line=profibus_dp,drop_address=126", "address_allowed", "", "PROFIBUS DP, from memory: 126 is not given yet"},
		{"line=profibus_dp,drop_address=127", "address_allowed", "false", "PROFIBUS DP, from memory: 127 speaks to all"},
		{"line=can,drop_address=0", "address_allowed", "false", "CiA 301, from memory: 1 to 127"},
		{"line=can,drop_address=1", "address_allowed", "", "CiA 301, from memory: 1 to 127"},
		{"line=can,drop_address=127", "address_allowed", "", "CiA 301, from memory: 1 to 127"},
		{"line=can,drop_address=128", "address_allowed", "false", "CiA 301, from memory: 1 to 127"},
		{"line=token_pair,drop_address=200", "address_allowed", "", "no range is known"},

		// A map is sixteen points a module.
		{"modules_fitted=3,points_configured=48", "map_length_check", "lengths_agree", "common practice, no source: 16 points a module"},
		{"modules_fitted=3,points_configured=32", "map_length_check", "lengths_differ", "common practice, no source: 16 points a module"},
	} {
		if got := followed(t, b, r.givens)[r.name]; got != r.value {
			t.Errorf("where %s, %s is %q, should be %q (%s)", r.givens, r.name, got, r.value, r.source)
		}
	}
}

// The sums of the line and the rules of the rulebase have their tables from the
// same sources, and were written down apart: at every standard rate, and just
// above it, they must say the same.
func TestRulesAgreeWithTheSumsOfTheLine(t *testing.T) {
	b := shippedBase(t)
	compared := 0
	for _, kind := range line.Kinds {
		if got := followed(t, b, "line="+kind.ID)["terminator"]; got != fmt.Sprint(float64(kind.Terminator)) {
			t.Errorf("%s: terminators of %s and %v ohm", kind.ID, got, kind.Terminator)
		}
		for address := range 300 {
			allowed := followed(t, b, fmt.Sprintf("line=%s,drop_address=%d", kind.ID, address))["address_allowed"] != "false"
			if may := kind.AddressVerdict(address) != line.Fail; may != allowed {
				t.Errorf("%s: address %d is allowed: %v and %v", kind.ID, address, allowed, may)
			}
		}
		for _, rate := range kind.Rates {
			if rate < 1000 || kind == &line.Modbus && rate > 9600 {
				continue // a rule of thumb, which the rules leave to the installation
			}
			facts := followed(t, b, fmt.Sprintf("line=%s,rate=%v", kind.ID, float64(rate)/1000))
			if limit, ok := kind.LengthLimit(rate); ok {
				compared++
				if got := facts["length_allowed"]; got != fmt.Sprint(float64(limit.Longest)) {
					t.Errorf("%s at %v bit/s: %s m and %v m", kind.ID, float64(rate), got, limit.Longest)
				}
			}
			if rule, ok := kind.Stubs(rate, 1); ok {
				compared++
				got, each := metresOf(facts["stub_allowed"]), math.Max(float64(rule.Each), 0.1)
				if !(math.Abs(got-each) <= 0.002*each) {
					t.Errorf("%s at %v bit/s: stubs of %v m and %v m", kind.ID, float64(rate), got, each)
				}
			}
		}
	}
	if compared < 40 {
		t.Errorf("only %d limits were compared", compared)
	}
}

func metresOf(text string) float64 {
	var x float64
	if _, err := fmt.Sscan(text, &x); err != nil {
		return math.NaN()
	}
	return x
}

func shippedBase(t *testing.T) *rulebase.Base {
	t.Helper()
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func givensOf(t *testing.T, b *rulebase.Base, text string) []rulebase.GivenValue {
	t.Helper()
	var all []rulebase.GivenValue
	for _, flag := range strings.FieldsFunc(text, func(c rune) bool { return c == ',' }) {
		v, err := b.ReadGiven(flag)
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, v)
	}
	return all
}

// followed is what is known after all rules, by name; numbers without their unit.
func followed(t *testing.T, b *rulebase.Base, givens string) map[string]string {
	t.Helper()
	in := chain.Input{Slots: make([]rulebase.Slot, len(b.Names)), State: make([]int, len(b.Names))}
	for _, g := range givensOf(t, b, givens) {
		for name := range b.Names {
			if b.Names[name].ID != g.ID {
				continue
			}
			slot, ok := b.SlotOf(name, g.Value)
			if !ok {
				t.Fatalf("%s has no value %v", g.ID, g.Value)
			}
			slot.Rank = rulebase.FromPerson
			in.Slots[name] = slot
		}
	}
	facts := map[string]string{}
	for name, slot := range chain.Compile(b).Run(in).Slots {
		if slot.Rank != rulebase.NotKnown {
			text, _, _ := strings.Cut(b.SlotText(name, slot), " ")
			facts[b.Names[name].ID] = text
		}
	}
	return facts
}
