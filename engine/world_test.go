package engine_test

import (
	"context"
	"slices"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// The row that counts is the one whose chances the world shows.
func TestRowIsTheOneThatShows(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Givens: []rulebase.GivenValue{{ID: "line", Value: rulebase.Value{Word: "can"}}}}
	d, err := engine.Diagnose(context.Background(), engine.Prepare(base), s, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	taken := map[int]bool{}
	for c := range base.Causes {
		world := []uint16{uint16(c)}
		if c%7 == 0 && c+1 < len(base.Causes) {
			world = append(world, uint16(c+1))
		}
		for i := range base.Symptoms {
			if base.Symptoms[i].Weighs {
				row := d.Row(i, world)
				if row < 0 || !slices.Equal(base.Symptoms[i].Shows[row].P, d.Shows(i, world)) {
					t.Fatalf("%s in %v: row %d", base.Symptoms[i].ID, world, row)
				}
				taken[row] = true
			}
		}
	}
	if len(taken) < 5 {
		t.Error("hardly any row was taken")
	}
}

// Of what is said only what counts is a report.
func TestReportsAreWhatCounts(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	see := func(flags ...string) (s rulebase.Situation) {
		s = rulebase.Situation{At: rulebase.Phone, Done: []rulebase.Done{{ID: "replace_supply_fuse", Drop: rulebase.StillDown}}}
		for _, f := range flags {
			one, err := base.ReadSee(f)
			if err != nil {
				t.Fatal(err)
			}
			s.Findings = append(s.Findings, one)
		}
		s.Findings[len(s.Findings)-1].After = "replace_supply_fuse"
		return s
	}
	s := see("power_light=dark@0.9", "power_light=lit@0.6", "volts_at_drop=0.3 V", "power_light=lit")
	for i := range s.Findings[:3] {
		s.Findings[i].Now = false
	}
	d, err := engine.Diagnose(context.Background(), engine.Prepare(base), s, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, r := range d.Reports() {
		got = append(got, base.Symptoms[r.Symptom].ID+" "+base.Symptoms[r.Symptom].Values[r.Value]+map[int]string{0: "", 1: " after"}[r.State])
	}
	slices.Sort(got)
	if want := []string{"power_light dark", "power_light lit after", "volts_at_drop no_volts"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
}
