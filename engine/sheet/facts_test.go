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
		"line.loop_ohms": "47.1024",
	}
	got := sheet.Facts(s, "wheel pit")
	got["line.loop_ohms"] = got["line.loop_ohms"][:7] // AWG 22 at 35 C
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
	if _, ok := sheet.Facts(s, "attic")["line.drop_address"]; ok {
		t.Error("a drop that is not on the sheet has an address")
	}
	if got := sheet.Facts(s, "3")["line.points_mapped"]; got != "48 points" {
		t.Errorf("the drop by its address has %q mapped", got)
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
