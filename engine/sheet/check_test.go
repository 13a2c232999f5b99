package sheet_test

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

const example = "../../cases/examples/sheets/tide_mill.yaml"

func read(t testing.TB, text string) *rulebase.Sheet {
	t.Helper()
	s, err := rulebase.ReadSheet("sheet.yaml", []byte(text), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func exampleText(t testing.TB) string {
	t.Helper()
	text, err := os.ReadFile(example)
	if err != nil {
		t.Fatal(err)
	}
	return string(text)
}

func verdict(results []sheet.Result, rule, where string) (sheet.Result, bool) {
	for _, r := range results {
		if r.Rule == rule && (where == "" || r.Where == where) {
			return r, true
		}
	}
	return sheet.Result{}, false
}

// passesAskForNothing holds that what passes is left as it is.
func passesAskForNothing(t *testing.T, name string, results []sheet.Result) {
	t.Helper()
	for _, r := range results {
		if r.Verdict == sheet.Pass && r.Do != "" {
			t.Errorf("%s: %s %s passes, and is to be changed: %q, %q", name, r.Rule, r.Where, r.Says, r.Do)
		}
	}
}

// A cable is long for 24 V beyond 500 m, not at it (common practice, no source).
func TestALongFeedIsOdd(t *testing.T) {
	for length, want := range map[string]bool{"499 m": false, "500 m": false, "501 m": true} {
		text := strings.Replace(exampleText(t), "length: 60 m, conductor: 1.5 mm2 flexible", "length: "+length+", conductor: 1.5 mm2 flexible", 1)
		r, odd := verdict(sheet.Check(read(t, text)), "odd_value", "supply S1")
		if odd != want || odd && !strings.Contains(r.Says, "sluice is 501 m long") {
			t.Errorf("%s: odd %v, %s", length, odd, r.Says)
		}
	}
}

// The example as it is, then with one thing wrong at a time: the rule that has to
// see it, and what it was before.
func TestRules(t *testing.T) {
	text := exampleText(t)
	for _, c := range []struct {
		name, old, new string
		rule, where    string
		was, is        sheet.Verdict // was "": the rule did not speak
	}{
		{"the map is too long", "", "", "map_length", "drop wheel pit", sheet.Fail, sheet.Fail},
		{"a rate nobody uses", "rate: 153.6 kbaud\nlength_limit", "rate: 150 kbaud\nlength_limit", "rate", "", sheet.Pass, sheet.Marginal},
		{"the controller at half the rate", "controller:\n  rate: 153.6 kbaud", "controller:\n  rate: 76.8 kbaud", "rate_differs", "the controller", sheet.Pass, sheet.Fail},
		{"a drop at another rate", "    address: 2\n", "    address: 2\n    rate: 76.8 kbaud\n", "rate_differs", "drop sluice", "", sheet.Fail},
		{"too long", "length_limit: 600 m", "length_limit: 400 m", "length", "", sheet.Pass, sheet.Fail},
		{"no length known", "length_limit: 600 m ", "#", "length", "", sheet.Pass, sheet.Open},
		{"a repeater halves it", "length_limit: 600 m             # what this line's own papers allow\n", "length_limit: 400 m\ninline: [{kind: repeater, at: 200 m}]\n", "length", "segment 2", "", sheet.Pass},
		{"too many units", "units_limit: 32", "units_limit: 4", "units", "", sheet.Pass, sheet.Fail},
		{"one address twice", "    address: 3\n", "    address: 2\n", "address_twice", "drop wheel pit", "", sheet.Fail},
		{"a terminator is missing", "  - {at: end, ohm: 150 ohm}\n", "", "terminator_missing", "", "", sheet.Fail},
		{"three terminators", "  - {at: end, ohm: 150 ohm}\n", "  - {at: end, ohm: 150 ohm}\n  - {at: 418 m, ohm: 150 ohm}\n", "terminators_too_many", "", "", sheet.Fail},
		{"one in the middle", "  - {at: end, ohm: 150 ohm}\n", "  - {at: end, ohm: 150 ohm}\n  - {at: 180 m, ohm: 150 ohm}\n", "terminator_in_the_middle", "", "", sheet.Fail},
		{"120 for 150 is borne", "{at: end, ohm: 150 ohm}", "{at: end, ohm: 120 ohm}", "terminator_value", "the terminator at 420 m", sheet.Pass, sheet.Pass},
		{"100 for 150 is not quite", "{at: end, ohm: 150 ohm}", "{at: end, ohm: 105 ohm}", "terminator_value", "the terminator at 420 m", sheet.Pass, sheet.Marginal},
		{"75 for 150 is not", "{at: end, ohm: 150 ohm}", "{at: end, ohm: 75 ohm}", "terminator_value", "the terminator at 420 m", sheet.Pass, sheet.Fail},
		{"a long stub", "length: 1.5 m}", "length: 5 m}", "stub_by_rise_time", "", sheet.Pass, sheet.Marginal},
		{"a very long stub", "length: 1.5 m}", "length: 9 m}", "stub_by_rise_time", "", sheet.Pass, sheet.Fail},
		{"weak bias", "up: 650 ohm, down: 650 ohm", "up: 1200 ohm, down: 1200 ohm", "idle_volts", "", sheet.Pass, sheet.Fail},
		{"bias just enough", "up: 650 ohm, down: 650 ohm", "up: 850 ohm, down: 850 ohm", "idle_volts", "", sheet.Pass, sheet.Marginal},
		{"no bias given", "bias: {at: host, volts: 5 V, up: 650 ohm, down: 650 ohm}\n", "", "idle_volts", "", sheet.Pass, sheet.Open},
		{"thin cable", "length: 240 m, conductor: AWG 22", "length: 240 m, loop_per_km: 8000 ohm", "far_end_volts", "", sheet.Pass, sheet.Fail},
		{"no cable data", "length: 240 m, conductor: AWG 22", "length: 240 m", "far_end_volts", "", sheet.Pass, sheet.Open},
		{"a drop nobody mapped", "    - {address: 4, first: 97, points: 16}\n", "", "drop_not_in_map", "drop upper pond", "", sheet.Fail},
		{"a mapped drop nobody fitted", "    address: 4\n", "    address: 9\n", "map_without_drop", "address 4", "", sheet.Fail},
		{"overlap in the map", "{address: 3, first: 49, points: 48}", "{address: 3, first: 40, points: 48}", "map_overlap", "", "", sheet.Fail},
		{"an address twice in the map", "{address: 4, first: 97, points: 16}", "{address: 3, first: 97, points: 16}", "map_address_twice", "", "", sheet.Fail},
		{"volts marginal", "", "", "supply_volts", "drop sluice", sheet.Marginal, sheet.Marginal},
		{"volts too low", "length: 140 m, conductor: 1.5 mm2 flexible", "length: 160 m, conductor: 1.5 mm2 flexible", "supply_volts", "drop upper pond", sheet.Marginal, sheet.Fail},
		{"no operating point", "length: 140 m, conductor: 1.5 mm2 flexible", "length: 900 m, conductor: 1.5 mm2 flexible", "no_operating_point", "supply S2", "", sheet.Fail},
		{"a conductor nobody knows", "length: 140 m, conductor: 1.5 mm2 flexible", "length: 140 m, conductor: 1.4 mm2", "supply_volts", "drop upper pond", sheet.Marginal, sheet.Open},
		{"a small supply", "most: 5 A", "most: 2 A", "supply_current", "supply S2", sheet.Pass, sheet.Fail},
		{"a small fuse", "fuse: 4 A", "fuse: 2.5 A", "fuse_current", "the fuse of supply S2", sheet.Pass, sheet.Marginal},
		{"a small carrier", "carrier_most: 4 A", "carrier_most: 1 A", "carrier_current", "", sheet.Pass, sheet.Fail},
		{"cables apart", "apart: 40 mm", "apart: 60 mm", "separation", "", sheet.Fail, sheet.Pass},
		{"cables just apart", "apart: 40 mm", "apart: 52 mm", "separation", "", sheet.Fail, sheet.Marginal},
		{"no clocks on the sheet", "", "", "clock_tolerance", "", sheet.Open, sheet.Open},
		{"messages of this line", "rise_time: 200 ns\n", "rise_time: 200 ns\nmessages: {overhead: 14, turnaround: 1 ms, wanted: 30 ms}\n", "scan_time", "", sheet.Open, sheet.Pass},
		{"hot copper", "temperature: 35 C", "temperature: 65 C", "conductor_temperature", "", sheet.Pass, sheet.Marginal},
		{"copper too hot", "temperature: 35 C", "temperature: 75 C", "conductor_temperature", "", sheet.Pass, sheet.Fail},
		{"no temperature", "temperature: 35 C\n", "", "conductor_temperature", "", sheet.Pass, sheet.Open},
		{"an odd bias", "up: 650 ohm, down: 650 ohm", "up: 650 ohm, down: 1300 ohm", "odd_value", "the bias", "", sheet.Marginal},
		{"an odd cable", "length: 180 m, conductor: AWG 22, impedance: 150 ohm", "length: 180 m, conductor: AWG 22, impedance: 75 ohm", "odd_value", "the cable", "", sheet.Marginal},
		{"slow edges", "rise_time: 200 ns", "rise_time: 3000 ns", "odd_value", "", "", sheet.Marginal},
		{"an odd supply", "supply: S1\n    volts: 24 V", "supply: S1\n    volts: 48 V", "odd_value", "supply S1", "", sheet.Marginal},
		{"no shield", "delay_per_m: 5 ns, shielded: yes}\n\nterm", "delay_per_m: 5 ns, shielded: no}\n\nterm", "shield", "", sheet.Pass, sheet.Fail},
		{"shield nowhere", "bonded: one_end", "bonded: nowhere", "shield", "", sheet.Pass, sheet.Fail},
	} {
		before, spoke := verdict(sheet.Check(read(t, text)), c.rule, c.where)
		if spoke != (c.was != "") || before.Verdict != c.was {
			t.Errorf("%s: %s was %q in the example, expected %q", c.name, c.rule, before.Verdict, c.was)
		}
		changed := strings.Replace(text, c.old, c.new, 1)
		if c.old != "" && changed == text {
			t.Fatalf("%s: the example no longer holds %q", c.name, c.old)
		}
		checked := sheet.Check(read(t, changed))
		passesAskForNothing(t, c.name, checked)
		after, spoke := verdict(checked, c.rule, c.where)
		if !spoke || after.Verdict != c.is {
			t.Errorf("%s: %s is %q, expected %q: %s", c.name, c.rule, after.Verdict, c.is, after.Says)
		}
		if after.Verdict == sheet.Fail && (after.Do == "" || after.Source == "" || after.Says == "") {
			t.Errorf("%s: a failure without what to do, its source or its sentence: %+v", c.name, after)
		}
	}
}

// Where a supply cannot carry its loads, what they ask for is said in watts: each drop's power, and its current at the
// volts of the supply. By hand.
func TestWhatLoadsAskFor(t *testing.T) {
	const text = "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 100 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\n" +
		"drops: [{drop: a, at: 50 m, address: 1, power: 30 W}, {drop: b, at: 100 m, address: 2, current: 1 A}]\n" +
		"supplies:\n  - supply: P\n    volts: 24 V\n    most: 20 A\n    feeds:\n" +
		"      - {drop: a, length: 900 m, conductor: 0.5 mm2}\n      - {drop: b, length: 900 m, conductor: 0.5 mm2}\n"
	r, ok := verdict(sheet.Check(read(t, text)), "no_operating_point", "")
	if !ok || !(math.Abs(r.Figure-(30+24*1)) <= 1e-9) || !(r.Limit < r.Figure) || !(r.Limit > 0) {
		t.Errorf("%+v", r)
	}
}

// A drop's volts are held against the end of the supply's window that they are near to: 24 V less 15 %, or plus
// 20 % (the window of the programmable controllers' standard, from memory).
func TestVoltsAreHeldAgainstTheirEndOfTheWindow(t *testing.T) {
	const text = "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 100 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\n" +
		"drops: [{drop: a, at: 50 m, address: 1, current: 10 mA}]\n" +
		"supplies: [{supply: P, volts: %v V, most: 20 A, feeds: [{drop: a, length: 1 m, conductor: 1.5 mm2}]}]\n"
	for _, c := range []struct {
		volts, limit float64
		is           sheet.Verdict
	}{{18, 20.4, sheet.Fail}, {20, 20.4, sheet.Marginal}, {24, 20.4, sheet.Pass}, {29, 28.8, sheet.Marginal}, {31, 28.8, sheet.Fail}} {
		r, ok := verdict(sheet.Check(read(t, fmt.Sprintf(text, c.volts))), "supply_volts", "drop a")
		if !ok || r.Verdict != c.is || !(math.Abs(r.Limit-c.limit) <= 1e-9) || !(math.Abs(r.Figure-c.volts) <= 0.01) {
			t.Errorf("%v V: %+v; wanted %s against %v V", c.volts, r, c.is, c.limit)
		}
	}
}

// What only the open standards ask for.
func TestKindsOfLine(t *testing.T) {
	const modbus = "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 900 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\nterminators: [{at: host}, {at: end}]\nshield: {bonded: one_end}\nbias: {at: host, volts: 5 V, up: 650 ohm, down: 650 ohm}\ndrops: [{drop: a, at: 10 m, address: 1}]\n"
	const profibus = "sheet: p\nline: profibus_dp\nrate: 1.5 Mbaud\ncable: [{length: 150 m, loop_per_km: 110 ohm, impedance: 150 ohm, shielded: yes}]\nterminators: [{at: host, powered: yes}, {at: end, powered: yes}]\nshield: {bonded: both_ends}\nstubs: [{at: 50 m, length: 6.55 m}]\ndrops: [{drop: a, at: 10 m, address: 3}]\n"
	const can = "sheet: c\nline: can\nrate: 500 kbaud\ncable: [{length: 90 m, conductor: 0.75 mm2, impedance: 120 ohm, shielded: yes}]\nterminators: [{at: host}, {at: end}]\nshield: {bonded: one_end}\nstubs: [{at: 50 m, length: 3 m}]\ndrops: [{drop: a, at: 10 m, address: 3}]\n"
	for _, c := range []struct {
		name, text, old, new, rule string
		is                         sheet.Verdict
	}{
		{"MB-8: 29 units where the line is biased", modbus, "drops: [{drop: a, at: 10 m, address: 1}]", "units_limit: 28\ndrops: [{drop: a, at: 10 m, address: 1, unit_load: 28}]", "units", sheet.Fail},
		{"Modbus 1000 m", modbus, "", "", "length", sheet.Pass},
		{"Modbus over 1000 m", modbus, "900 m", "1100 m", "length", sheet.Fail},
		{"MB-11: address 248", modbus, "address: 1}", "address: 248}", "address", sheet.Fail},
		{"MB-7: a derivation over 20 m", modbus, "drops:", "stubs: [{at: 5 m, length: 21 m}]\ndrops:", "stub", sheet.Fail},
		{"MB-7: eight on one tap", modbus, "drops:", "stubs: [{at: 5 m, length: 6 m, tapped: 8}]\ndrops:", "stub", sheet.Fail},
		{"a Modbus shield at both ends", modbus, "one_end", "both_ends", "shield", sheet.Marginal},
		{"PB-7: 200 m at 1.5 Mbit/s", profibus, "", "", "length", sheet.Pass},
		{"PB-7: over 200 m at 1.5 Mbit/s", profibus, "150 m", "210 m", "length", sheet.Fail},
		{"PB-8: stubs of 6.55 m", profibus, "", "", "stubs_together", sheet.Pass},
		{"PB-8: stubs of 7.05 m", profibus, "6.55 m", "7.05 m", "stubs_together", sheet.Fail},
		{"PB-9: address 126", profibus, "address: 3", "address: 126", "address", sheet.Marginal},
		{"PB-4: a terminator without supply", profibus, "{at: end, powered: yes}", "{at: end, powered: no}", "terminator_not_fed", sheet.Fail},
		{"PB-3: fed terminators hold the line", profibus, "", "", "idle_volts", sheet.Pass},
		{"CAN 100 m at 500 kbit/s", can, "", "", "length", sheet.Pass},
		{"CAN over 100 m at 500 kbit/s", can, "90 m", "110 m", "length", sheet.Fail},
		{"CAN-3: there and back before the sample", can, "", "", "round_trip", sheet.Pass},
		{"CAN round trip too long", can, "90 m", "200 m", "round_trip", sheet.Fail},
		{"CAN-8: ten stubs of 3 m", can, "stubs: [{at: 50 m, length: 3 m}]", "stubs: [" + strings.Repeat("{at: 50 m, length: 3 m}, ", 10) + "]", "stubs_together", sheet.Fail},
		{"CAN-9b: 0.25 mm2 and 100 nodes go 150 m", can, "rate: 500 kbaud\ncable: [{length: 90 m, conductor: 0.75 mm2", "rate: 50 kbaud\ncable: [{length: 190 m, conductor: 0.25 mm2", "length_for_wire", sheet.Pass},
		{"CAN-9b: a thin wire too long", can, "rate: 500 kbaud\ncable: [{length: 90 m, conductor: 0.75 mm2", "rate: 50 kbaud\ncable: [{length: 210 m, conductor: 0.25 mm2", "length_for_wire", sheet.Fail},
		{"CAN far end", can, "", "", "far_end_volts", sheet.Pass},
		{"CAN far end on a long thin cable", can, "rate: 500 kbaud\ncable: [{length: 90 m, conductor: 0.75 mm2", "rate: 10 kbaud\ncable: [{length: 2000 m, conductor: 0.5 mm2", "far_end_volts", sheet.Fail},
		{"CAN clocks at 1.58 % each", can, "drops:", "clock_tolerance: 1.58 %\ndrops:", "clock_tolerance", sheet.Marginal},
		{"CAN clocks at 2 % each", can, "drops:", "clock_tolerance: 2 %\ndrops:", "clock_tolerance", sheet.Fail},
		{"Modbus clocks by the standard, 1 % each", modbus, "", "", "clock_tolerance", sheet.Pass},
		{"clocks at 2 % each, over the recommended 1.5 %", modbus, "drops:", "clock_tolerance: 2 %\ndrops:", "clock_tolerance", sheet.Marginal},
		{"UART-1: clocks at 2.5 % each, over 4.76 % together", modbus, "drops:", "clock_tolerance: 2.5 %\ndrops:", "clock_tolerance", sheet.Fail},
		{"MB-5: one unit of 16 inputs within 26 ms", modbus, "drops:", "messages: {wanted: 26 ms}\ndrops:", "scan_time", sheet.Pass},
		{"MB-5: one unit of 16 inputs within 25.3 ms", modbus, "drops:", "messages: {wanted: 25.3 ms}\ndrops:", "scan_time", sheet.Marginal},
		{"MB-5: one unit of 16 inputs within 25 ms", modbus, "drops:", "messages: {wanted: 25 ms}\ndrops:", "scan_time", sheet.Fail},
		{"a drop that takes its time", modbus, "drops:", "messages: {turnaround: 5 ms, wanted: 26 ms}\ndrops:", "scan_time", sheet.Fail},
		{"PROFIBUS: what is around the points is not known", profibus, "", "", "scan_time", sheet.Open},
		{"PROFIBUS: the points alone take too long", profibus, "drops:", "messages: {wanted: 10 us}\ndrops:", "scan_time", sheet.Fail},
		{"PROFIBUS with its messages", profibus, "drops:", "messages: {overhead: 20, wanted: 1 ms}\ndrops:", "scan_time", sheet.Pass},
		{"CAN-10: a message at 500 kbit/s", can, "drops:", "messages: {wanted: 300 us}\ndrops:", "scan_time", sheet.Pass},
		{"CAN-10: a message at 500 kbit/s, too slow", can, "drops:", "messages: {wanted: 260 us}\ndrops:", "scan_time", sheet.Fail},
		{"a trunk as long as it may be", modbus, "900 m", "1000 m", "length", sheet.Marginal},
		{"MB-10: a capacitor in series leaves the bias its volts", modbus, "terminators: [{at: host}, {at: end}]", "terminators: [{at: host, ohm: 120 ohm, blocks_dc: yes}, {at: end, ohm: 120 ohm, blocks_dc: yes}]", "idle_volts", sheet.Pass},
		{"CAN node 0", can, "address: 3", "address: 0", "address", sheet.Fail},
	} {
		text := strings.Replace(c.text, c.old, c.new, 1)
		results := sheet.Check(read(t, text))
		passesAskForNothing(t, c.name, results)
		if r, ok := verdict(results, c.rule, ""); !ok || r.Verdict != c.is {
			t.Errorf("%s: %s is %q, expected %q: %s", c.name, c.rule, r.Verdict, c.is, r.Says)
		}
	}
}

// Where the advice names a figure, whoever follows it has a sheet that passes, and a little beyond it does not.
func TestAdviceWithFiguresHolds(t *testing.T) {
	modbus := func(up string, near string) string {
		return "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 900 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\nterminators: [{at: host, ohm: " + near + " ohm}, {at: end, ohm: 120 ohm}]\nbias: {at: host, volts: 5 V, up: " + up + " ohm, down: " + up + " ohm}\ndrops: [{drop: a, at: 10 m, address: 1, unit_load: 1}]\n"
	}
	can := func(length string) string {
		return "sheet: c\nline: can\nrate: 500 kbaud\ncable: [{length: " + length + " m, conductor: 0.75 mm2, impedance: 120 ohm}]\ninline: [{name: I, kind: isolator, at: 10 m, delay: 50 ns}]\nterminators: [{at: host}, {at: end}]\ndrops: [{drop: a, at: 20 m, address: 3}]\n"
	}
	fed := func(length string) string {
		return "sheet: f\nline: can\ncable: [{length: 20 m}]\ndrops: [{drop: a, at: 20 m, address: 3, power: 20 W}]\nsupplies: [{supply: S, volts: 24 V, feeds: [{drop: a, length: " + length + " m, conductor: 0.75 mm2 flexible}]}]\n"
	}
	advice := func(text, rule, pattern string) []string {
		t.Helper()
		r, ok := verdict(sheet.Check(read(t, text)), rule, "")
		m := regexp.MustCompile(pattern).FindStringSubmatch(r.Do)
		if !ok || r.Verdict == sheet.Pass || m == nil {
			t.Fatalf("%s: %q, advised to %q", rule, r.Verdict, r.Do)
		}
		return m[1:]
	}
	is := func(text, rule string) sheet.Result {
		t.Helper()
		r, _ := verdict(sheet.Check(read(t, text)), rule, "")
		return r
	}
	beyond := func(figure string, more float64) string {
		x, err := strconv.ParseFloat(figure, 64)
		if err != nil {
			t.Fatal(err)
		}
		return strconv.FormatFloat(x+more, 'f', -1, 64)
	}

	bias := advice(modbus("3000", "120"), "idle_volts", `at most (\d+) ohm hold 0.25 V, the terminator beside them raised to (\d+) ohm`)
	if r := is(modbus(bias[0], bias[1]), "idle_volts"); r.Verdict != sheet.Pass || !(math.Abs(r.Figure-0.25) <= 0.001) {
		t.Errorf("bias of %v: %q, %g V", bias, r.Verdict, r.Figure)
	}
	trunk := advice(can("300"), "round_trip", `may be (\d+) m long`)[0]
	if a, b := is(can(trunk), "round_trip"), is(can(beyond(trunk, 1)), "round_trip"); a.Verdict == sheet.Fail || b.Verdict != sheet.Fail {
		t.Errorf("a trunk of %s m: %q, and of a metre more %q", trunk, a.Verdict, b.Verdict)
	}
	feed := advice(fed("100"), "supply_volts", `the last stretch may be ([0-9.]+) m long`)[0]
	if a, b := is(fed(feed), "supply_volts"), is(fed(beyond(feed, 0.1)), "supply_volts"); a.Verdict != sheet.Pass || b.Verdict == sheet.Pass {
		t.Errorf("%s m of supply cable: %q, and of a tenth more %q", feed, a.Verdict, b.Verdict)
	}
	// The limit that is named is the one that is passed.
	for volts, limit := range map[string]float64{"24": 20.4, "29": 28.8, "19": 20.4} {
		if r := is(strings.Replace(fed("1"), "24 V", volts+" V", 1), "supply_volts"); !(math.Abs(r.Limit-limit) <= 1e-9) {
			t.Errorf("at %s V the limit is %v V, not %v", volts, r.Limit, limit)
		}
	}
	// Fed by way of another: its own stretch is what is shortened, and none would do where too little comes so far.
	chain := func(first, last string) string {
		return strings.NewReplacer("drops: [", "drops: [{drop: b, at: 5 m, address: 4, current: 0.1 A}, ", "feeds: [", "feeds: [{drop: b, length: "+first+" m, conductor: 0.75 mm2 flexible}, ", "{drop: a, length", "{drop: a, from: b, length").Replace(fed(last))
	}
	drop := func(text string) sheet.Result {
		r, _ := verdict(sheet.Check(read(t, text)), "supply_volts", "drop a")
		return r
	}
	last := regexp.MustCompile(`the last stretch may be ([0-9.]+) m long`).FindStringSubmatch(drop(chain("20", "100")).Do)
	if last == nil {
		t.Fatalf("fed by way of another: %+v", drop(chain("20", "100")))
	}
	if a, b := drop(chain("20", last[1])), drop(chain("20", beyond(last[1], 0.1))); a.Verdict != sheet.Pass || b.Verdict == sheet.Pass {
		t.Errorf("%s m behind another drop: %q, and a tenth more %q", last[1], a.Verdict, b.Verdict)
	}
	if r := drop(chain("80", "5")); r.Verdict == sheet.Pass || strings.Contains(r.Do, "may be") {
		t.Errorf("too little comes so far: %q, %s", r.Verdict, r.Do)
	}
}

// A whole trunk of 32 drops, every rule.
func BenchmarkCheck32Drops(b *testing.B) {
	var text strings.Builder
	text.WriteString("sheet: long\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 960 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\nterminators: [{at: host}, {at: end}]\nshield: {bonded: one_end}\nbias: {at: host, volts: 5 V, up: 650 ohm, down: 650 ohm}\ndrops:\n")
	feeds, mapped := "", ""
	for i := range 32 {
		n := string(rune('a'+i%26)) + string(rune('a'+i/26))
		text.WriteString("  - {drop: " + n + ", at: " + strconv.Itoa(30*(i+1)) + " m, address: " + strconv.Itoa(i+1) + ", power: 3 W, modules: [{points: 16, kind: output, each: 0.01 A}]}\n")
		from := ""
		if i > 0 {
			from = ", from: " + string(rune('a'+(i-1)%26)) + string(rune('a'+(i-1)/26))
		}
		feeds += "      - {drop: " + n + from + ", length: 2 m, conductor: 2.5 mm2}\n"
		mapped += "    - {address: " + strconv.Itoa(i+1) + ", first: " + strconv.Itoa(16*i+1) + ", points: 16}\n"
	}
	text.WriteString("supplies:\n  - supply: S\n    volts: 24 V\n    feeds:\n" + feeds + "controller:\n  drops:\n" + mapped)
	s := read(b, text.String())
	if r, ok := verdict(sheet.Check(s), "supply_volts", "drop fb"); !ok || r.Figure == 0 {
		b.Fatalf("the last drop has no figure: %+v", r)
	}
	for b.Loop() {
		sheet.Check(s)
	}
}

// What the checks were asked to go over, in the words of the trade, and the rules
// that do: none may be left out, and each speaks on one sheet or the other.
func TestEveryRuleIsThere(t *testing.T) {
	asked := []struct {
		what  string
		rules []string
	}{
		{"length against rate", []string{"length", "length_for_wire"}},
		{"stub rules, the variant named", []string{"stub", "stub_by_rise_time", "stubs_together"}},
		{"number, place and value of terminators", []string{"terminators", "terminator_missing", "terminators_too_many", "terminator_in_the_middle", "terminator_value", "terminator_not_fed"}},
		{"expected ohms", []string{"expected_ohms"}},
		{"unit loads and bias", []string{"units", "idle_volts"}},
		{"far-end level", []string{"far_end_volts"}},
		{"propagation and reflection", []string{"echo_time", "round_trip"}}, // the lattice itself is [sheet.EchoOf]
		{"rate against clock tolerance", []string{"rate", "rate_differs", "clock_tolerance"}},
		{"frame and scan time", []string{"frame_time", "scan_time"}},
		{"address clashes and illegal addresses", []string{"address", "address_twice", "map_address_twice"}},
		{"map length against modules, overlaps", []string{"map_length", "map_overlap", "map_without_drop", "drop_not_in_map"}},
		{"24 V at every drop", []string{"supply_volts", "no_operating_point"}},
		{"current budget of supply, carrier and fuse", []string{"supply_current", "carrier_current", "fuse_current"}},
		{"conductor temperature", []string{"conductor_temperature"}},
		{"separation and shield", []string{"separation", "shield"}},
		{"odd values", []string{"odd_value"}},
	}
	spoken := map[string]bool{}
	text := exampleText(t)
	for _, change := range [][2]string{
		{"", ""}, {"  - {at: end, ohm: 150 ohm}\n", ""}, {"  - {at: end, ohm: 150 ohm}\n", "  - {at: end, ohm: 150 ohm}\n  - {at: 180 m, ohm: 150 ohm}\n"},
		{"    address: 3\n", "    address: 2\n"}, {"{address: 3, first: 49", "{address: 2, first: 40"}, {"    address: 4\n", "    address: 9\n"},
		{"length: 140 m, conductor: 1.5 mm2 flexible", "length: 900 m, conductor: 1.5 mm2 flexible"},
	} {
		for _, r := range sheet.Check(read(t, strings.Replace(text, change[0], change[1], 1))) {
			spoken[r.Rule] = true
		}
	}
	for _, text := range []string{
		"sheet: p\nline: profibus_dp\nrate: 1.5 Mbaud\ncable: [{length: 150 m}]\nterminators: [{at: host, powered: no}]\nstubs: [{at: 50 m, length: 6 m}]\ndrops: [{drop: a, at: 10 m}]\n",
		"sheet: c\nline: can\ncable: [{length: 90 m}]\nrate: 500 kbaud\n",
	} {
		for _, r := range sheet.Check(read(t, text)) {
			spoken[r.Rule] = true
		}
	}
	for _, a := range asked {
		for _, rule := range a.rules {
			if !spoken[rule] {
				t.Errorf("%s: no sheet made the rule %s speak", a.what, rule)
			}
			delete(spoken, rule)
		}
	}
	delete(spoken, "map") // only left open
	for rule := range spoken {
		t.Errorf("the rule %s is on no list of what is asked for", rule)
	}
}

// A device that sends anew ends one pair and begins another: each has its own
// length, units, terminators and ohms, and a meter sees no farther.
func TestSegments(t *testing.T) {
	const text = "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 1500 m, conductor: AWG 24, impedance: 120 ohm, shielded: yes}]\n" +
		"inline: [{kind: repeater, at: 900 m, name: R}]\nterminators: [{at: host}, {at: 900 m}, {at: 900 m}, {at: end}]\n" +
		"drops: [{drop: a, at: 300 m, address: 1}, {drop: b, at: 1200 m, address: 2}]\n"
	results := sheet.Check(read(t, text))
	for _, c := range []struct {
		rule, where string
		is          sheet.Verdict
		figure      float64
	}{
		{"length", "segment 1", sheet.Pass, 900},
		{"length", "segment 2", sheet.Pass, 600},
		{"units", "segment 1", sheet.Pass, 3}, // host, one drop, repeater
		{"units", "segment 2", sheet.Pass, 2}, // repeater, one drop
		{"terminators", "segment 1", sheet.Pass, 2},
		{"terminators", "segment 2", sheet.Pass, 2},
		{"expected_ohms", "the host's end", sheet.Pass, 83.23}, // 120 || (120 + 900 m of 168.4 ohm per km, both wires)
		{"expected_ohms", "the far end", sheet.Pass, 77.76},    // 120 || (120 + 600 m of it)
		{"echo_time", "segment 2", sheet.Pass, 100 * 6000e-9 / (1 / 9600.0)},
	} {
		r, ok := verdict(results, c.rule, c.where)
		if !ok || r.Verdict != c.is || !(math.Abs(r.Figure-c.figure) <= 0.005*c.figure) {
			t.Errorf("%s of %s: %+v, expected %v %v", c.rule, c.where, r, c.is, c.figure)
		}
	}
	if _, said := verdict(results, "terminator_in_the_middle", ""); said {
		t.Error("the terminators at the repeater are taken for ones in the middle")
	}
	missing := strings.Replace(text, "{at: 900 m}, {at: 900 m}", "{at: 900 m}", 1)
	if r, ok := verdict(sheet.Check(read(t, missing)), "terminator_missing", "segment 2"); !ok || r.Says != "The near end has no terminator." {
		t.Errorf("one terminator at the repeater: %+v", r)
	}
	s := read(t, text)
	all := sheet.Explain(s, 0, 120, false)
	if len(all) == 0 || all[0].Kind != sheet.FarMissing && all[0].Kind != sheet.CutAt {
		t.Fatalf("120 ohm at the host: %+v", all)
	}
	for _, st := range all {
		if st.AtM > 900.001 {
			t.Errorf("a meter at the host sees through the repeater: %+v", st)
		}
	}
	for _, st := range sheet.Explain(s, 1500, 5, false) {
		if st.Kind == sheet.ShortAt && strings.Join(st.Lost, " ") != "b" {
			t.Errorf("a short behind the repeater takes %v", st.Lost)
		}
	}
	facts, sums := sheet.Facts(s, "", sheet.Check(s))
	if facts["line.length"] != "900 m" || sums["line.length"] != "the longest of 2 segments" || facts["line.units_allowed"] != "64 units" {
		t.Errorf("facts of two segments: %v, %v", facts, sums)
	}
}

// What fails on paper under a name of its own still is the worst of its family.
func TestMissingTerminatorFailsOnPaper(t *testing.T) {
	text := strings.Replace(exampleText(t), "  - {at: end, ohm: 150 ohm}\n", "", 1)
	s := read(t, text)
	if facts, _ := sheet.Facts(s, "", sheet.Check(s)); facts["line.check_terminators"] != "fail" {
		t.Errorf("a missing terminator is %q on paper", facts["line.check_terminators"])
	}
}

// A capacitor in series with the terminators hides them from a meter, and from the bias.
func TestTerminatorsThatBlockDC(t *testing.T) {
	const text = "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 100 m, conductor: AWG 24}]\n" +
		"terminators: [{at: host, ohm: 120 ohm, blocks_dc: yes}, {at: end, ohm: 120 ohm, blocks_dc: yes}]\nbias: {at: host, volts: 5 V, up: 650 ohm, down: 650 ohm}\n" +
		"drops: [{drop: a, at: 50 m, unit_load: 31}]\n"
	results := sheet.Check(read(t, text))
	if r, _ := verdict(results, "expected_ohms", ""); !strings.Contains(r.Says, "reads over-range with every unit off") {
		t.Errorf("expected ohms: %s", r.Says)
	}
	// MB-10: 1.829 V with 32 unit loads and no path for direct current (Modbus over Serial Line V1.02; figure computed).
	if r, _ := verdict(results, "idle_volts", ""); !(math.Abs(r.Figure-1.829) <= 1e-3) {
		t.Errorf("idle volts: %v, expected 1.829", r.Figure)
	}
}

// Of a trunk of two cables only the stretch beside the power cable must have a shield.
func TestShieldOfTheStretchBeside(t *testing.T) {
	const text = "sheet: m\nline: token_pair\ncable: [{length: 100 m, shielded: no}, {length: 100 m, shielded: yes}]\nbeside: [{from: %s, to: %s, apart: 60 mm}]\n"
	for _, c := range []struct {
		from, to string
		is       sheet.Verdict
	}{{"110 m", "150 m", sheet.Pass}, {"90 m", "150 m", sheet.Fail}, {"10 m", "100 m", sheet.Fail}} {
		text := strings.Replace(strings.Replace(text, "%s", c.from, 1), "%s", c.to, 1)
		if r, _ := verdict(sheet.Check(read(t, text)), "separation", ""); r.Verdict != c.is {
			t.Errorf("from %s to %s: %s", c.from, c.to, r.Verdict)
		}
	}
}

// sums are what a sheet comes to, without the names of who came first.
func sums(s *rulebase.Sheet) (all []string) {
	for _, r := range sheet.Check(s) {
		all = append(all, fmt.Sprintf("%s %s %.9g of %.9g %s", r.Rule, r.Verdict, r.Figure, r.Limit, r.Unit))
	}
	slices.Sort(all)
	return all
}

// The order in which terminators, stubs, supplies and the like are written down makes no difference.
func TestOrderOnASheetMakesNoDifference(t *testing.T) {
	text := exampleText(t)
	text = strings.Replace(text, "beside:\n", "beside:\n  - {from: 10 m, to: 60 m, apart: 20 mm}\n", 1)
	for _, more := range []string{"", "inline: [{kind: repeater, at: 150 m}, {kind: repeater, at: 60 m, delay: 200 ns}]\n"} {
		s, turned := read(t, text+more), read(t, text+more)
		if len(s.Beside) != 2 {
			t.Fatalf("beside it are %v", s.Beside)
		}
		slices.Reverse(turned.Inline)
		slices.Reverse(turned.Terminators)
		slices.Reverse(turned.Stubs)
		slices.Reverse(turned.Supplies)
		slices.Reverse(turned.Beside)
		if d := cmp.Diff(sums(s), sums(turned)); d != "" {
			t.Errorf("the other way round:\n%s", d)
		}
	}
}

// What a result is about is shown on the trunk where the sheet has it.
func TestResultsStandWhereTheirEntryIs(t *testing.T) {
	s := read(t, exampleText(t)+"inline: [{kind: repeater, at: 150 m}]\n")
	at := map[rulebase.Position]sheet.Stretch{}
	for _, d := range s.Drops {
		at[d.Pos] = sheet.Stretch{FromM: d.AtM, ToM: d.AtM}
	}
	for _, x := range s.Terminators {
		at[x.Pos] = sheet.Stretch{FromM: x.AtM, ToM: x.AtM}
	}
	for _, x := range s.Stubs {
		at[x.Pos] = sheet.Stretch{FromM: x.AtM, ToM: x.AtM}
	}
	for _, x := range s.Beside {
		at[x.Pos] = sheet.Stretch{FromM: x.FromM, ToM: x.ToM}
	}
	seen := map[sheet.Stretch]bool{}
	for _, r := range sheet.Check(s) {
		want, known := at[r.Pos]
		if name, ofDrop := strings.CutPrefix(r.Where, "drop "); ofDrop {
			i := slices.IndexFunc(s.Drops, func(d rulebase.SheetDrop) bool { return d.Name == name })
			want, known = sheet.Stretch{FromM: s.Drops[i].AtM, ToM: s.Drops[i].AtM}, true
		}
		if !known || r.Verdict == sheet.Open {
			continue
		}
		if r.Along == nil || *r.Along != want {
			t.Errorf("%s %s, written in line %d, stands at %v, wanted %v", r.Rule, r.Where, r.Pos.Line, r.Along, want)
		}
		seen[want] = true
	}
	if len(seen) < 6 {
		t.Errorf("results stood at %v", seen)
	}
}

func TestHowFarApartCablesLie(t *testing.T) {
	r, ok := verdict(sheet.Check(read(t, exampleText(t))), "separation", "200 m to 290 m")
	if !ok || !strings.Contains(r.Says, "40 mm") || !strings.Contains(r.Says, quantity.FormatRounded(1000*r.Limit, "mm", 4)) {
		t.Errorf("says %q of %v within %v m", r.Says, r.Figure, r.Limit)
	}
}

func TestAScanNamesItsDrops(t *testing.T) {
	one := "sheet: m\nline: tia485_polled\nrate: 9600 baud\ncable: [{length: 90 m}]\ndrops: [{drop: a, at: 10 m, address: 1}]\n"
	for text, says := range map[string]string{one: "the one drop", strings.Replace(one, "address: 1}", "address: 1}, {drop: b, at: 20 m, address: 2}", 1): "both drops",
		strings.Replace(one, "address: 1}", "address: 1}, {drop: b, at: 20 m, address: 2}, {drop: c, at: 30 m, address: 3}", 1): "all 3 drops"} {
		r, ok := verdict(sheet.Check(read(t, text)), "scan_time", "")
		if !ok || !strings.Contains(r.Says, " "+says) {
			t.Errorf("says %q, wanted %q", r.Says, says)
		}
	}
}
