package sheet_test

import (
	"context"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

func TestFacts(t *testing.T) {
	s := read(t, exampleText(t))
	want := map[string]string{
		"line.kind": "token_pair", "line.rate": "153.6 kbaud", "line.length": "420 m", "line.length_allowed": "600 m",
		"line.terminator": "150 ohm", "line.drops": "4 drops", "loss_of_bus": "off",
		"line.check_addresses": "pass", "line.check_feed": "pass", "line.check_length": "pass", "line.check_map": "fail", "line.check_stubs": "pass", "line.check_supply": "pass", "line.check_terminators": "pass", "line.check_units": "pass",
		"line.drop_address": "3", "line.modules": "2 modules", "line.points_mapped": "48 points",
		"line.loop_ohms": "47.1024 ohm", "line.bias_ohms": "1300 ohm", "line.stub_allowed": "2 m", "line.units_allowed": "32 units",
		"line.idle_volts": "0.268757 V", "line.feed_volts": "22.8582 V",
	}
	got, sums := sheet.Facts(s, "wheel pit", sheet.Check(s))
	for name, want := range map[string]string{
		"line.length":       "180 m + 240 m",
		"line.loop_ohms":    "180 m × 112.1 ohm per km + 240 m × 112.1 ohm per km, copper at 35 C",
		"line.bias_ohms":    "650 ohm + 650 ohm",
		"line.stub_allowed": "there and back in a tenth of an edge of 200 ns, at 5 ns per metre",
		"line.idle_volts":   "5 V × 73.85 ohm of all across the pair / (73.85 ohm + 650 ohm + 650 ohm)",
		"line.feed_volts":   "24 V − 2.027 A × 0.5634 ohm (20 m of 1.5 mm2 flexible)",
	} {
		if sums[name] != want {
			t.Errorf("%s is told as %q, expected %q", name, sums[name], want)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	attic, _ := sheet.Facts(s, "attic", sheet.Check(s))
	if _, ok := attic["line.drop_address"]; ok {
		t.Error("a drop that is not on the sheet has an address")
	}
	if attic["line.feed_volts"] != "" {
		t.Error("a drop that is not on the sheet has volts")
	}
	if third, _ := sheet.Facts(s, "3", sheet.Check(s)); third["line.points_mapped"] != "48 points" {
		t.Errorf("the drop by its address has %q mapped", third["line.points_mapped"])
	}
}

// A case with a sheet is weighed with what should be read on that line: 118 ohm
// through 132 ohm of cable are two terminators, which without the cable would be
// one. Persons outrank the paper.
func TestSheetReachesTheDiagnosis(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	chance := func(situation rulebase.Situation, cause string) float64 {
		t.Helper()
		see, err := base.ReadSee("pair_ohms=118 ohm")
		if err != nil {
			t.Fatal(err)
		}
		situation.Findings = append(situation.Findings, see)
		d, err := engine.Diagnose(context.Background(), engine.Prepare(base), situation, engine.Options{})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range d.Causes {
			if base.Causes[c.Cause].ID == cause {
				return c.Probability
			}
		}
		return 0
	}
	with := rulebase.Situation{At: rulebase.Field, Drop: 3}
	sheet.Lay(read(t, exampleText(t)), &with)
	if diff := cmp.Diff([]int{1, 2, 3, 4}, with.Order); diff != "" {
		t.Errorf("order: %s", diff)
	}
	if diff := cmp.Diff([][]int{{1, 2}, {3, 4}}, with.Supplies); diff != "" {
		t.Errorf("supplies: %s", diff)
	}
	long := with
	long.Paper = map[string]string{"line.kind": "token_pair", "line.loop_ohms": "132 ohm"}
	bare, through := chance(rulebase.Situation{At: rulebase.Field}, "end_terminator_missing"), chance(long, "end_terminator_missing")
	if through >= bare {
		t.Errorf("118 ohm with 132 ohm of cable speaks for a missing terminator (%.3f) as without (%.3f)", through, bare)
	}
	person, err := base.ReadGiven("loop_ohms=0 ohm")
	if err != nil {
		t.Fatal(err)
	}
	long.Givens = append(long.Givens, person)
	if got := chance(long, "end_terminator_missing"); got != bare {
		t.Errorf("what a person says does not outrank the sheet: %.6f, expected %.6f", got, bare)
	}
}

// What a sheet's sums find goes into the diagnosis under the name of the finding,
// with its arithmetic as the why; so does each figure that the sheet fills in, and
// what rests on it.
func TestArithmeticIsTheWhy(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	text := "sheet: far\nline: token_pair\nrate: 153.6 kbaud\nlength_limit: 600 m\ncable: [{length: 500 m, conductor: AWG 22}, {length: 312 m, conductor: AWG 22}]\n" +
		"drops: [{drop: a, at: 100 m, address: 1, power: 24 W}]\nsupplies: [{supply: S, volts: 24 V, feeds: [{drop: a, length: 60 m, conductor: 1.5 mm2 flexible}]}]\n"
	s := rulebase.Situation{Drop: 1, At: rulebase.Field}
	sheet.Lay(read(t, text), &s)
	see, err := base.ReadSee("volts_at_drop=19.5 V")
	if err != nil {
		t.Fatal(err)
	}
	s.Findings = append(s.Findings, see)
	d, err := engine.Diagnose(context.Background(), engine.Prepare(base), s, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	tells := map[string]engine.Tell{}
	for _, x := range d.Tells {
		tells[x.Rule] = x
	}
	long := tells["sheet.trunk_too_long"]
	if diff := cmp.Diff([]string{"by the installation sheet", "  500 m + 312 m", "  limit: the installation's own papers"}, long.Why); diff != "" {
		t.Errorf("why the trunk is too long (-want +got):\n%s", diff)
	}
	const says = "By the installation sheet: The cable is 812 m; at most 600 m is allowed at 153.6 kbit/s. Lower the rate of the whole bus, or put in a repeater."
	if long.Says != says {
		t.Errorf("it is told as %q", long.Says)
	}
	if _, twice := tells["longer_than_allowed"]; twice {
		t.Error("the sheet has said that the trunk is too long, and a rule says it again")
	}
	// DC-11: 24 W through 60 m of 1.5 mm2 flexible leave 22.281 V.
	want := []string{
		"by the rule volts_below_the_sums: The sums take every load as on, so a sound feed gives at least as much.",
		"  feed_expected is 22.2809 V: by the installation sheet, 24 V − 1.077 A × 1.596 ohm (60 m of 1.5 mm2 flexible)",
		"  volts_at_drop is 19.5 V (low_volts): said",
	}
	if diff := cmp.Diff(want, tells["volts_below_the_sums"].Why); diff != "" {
		t.Errorf("why the volts are too low (-want +got):\n%s", diff)
	}
}
