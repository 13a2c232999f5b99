package engine_test

import (
	"context"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

// The row that counts is the one whose chances the world shows.
func TestRowIsTheOneThatShows(t *testing.T) {
	support.Alone(t)
	base := shipped.Base(t)
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
	base := shipped.Base(t)
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

// Where only the causes are asked for they are the same, to the last digit, however often the givens
// change in between; and a session found again by its givens is the one that they make.
func TestCausesOnlyAreTheSame(t *testing.T) {
	base := shipped.Base(t)
	r := rand.New(rand.NewPCG(6, 1))
	kept := engine.Prepare(base)
	var all []rulebase.Situation
	for range 7 {
		s := rulebase.Situation{At: []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}[r.IntN(3)]}
		for i := range base.Givens {
			g := &base.Givens[i]
			if g.FilledBy == "at" || r.IntN(4) > 0 {
				continue
			}
			v := rulebase.Value{Word: "true"}
			if g.Type == rulebase.Choice {
				v.Word = g.OneOf[r.IntN(len(g.OneOf))]
			} else if g.Type == rulebase.Number {
				v = rulebase.Value{IsNumber: true, Number: float64(1 + r.IntN(300))}
			}
			s.Givens = append(s.Givens, rulebase.GivenValue{ID: g.ID, Value: v})
		}
		for range 5 {
			x := &base.Symptoms[r.IntN(len(base.Symptoms))]
			s.Findings = append(s.Findings, rulebase.Finding{Symptom: x.ID, Value: rulebase.Value{Word: x.Values[r.IntN(len(x.Values))]}})
		}
		if r.IntN(2) == 0 {
			s.Done = []rulebase.Done{{ID: base.Remedies[r.IntN(len(base.Remedies))].ID, Drop: rulebase.StillDown}}
		}
		all = append(all, s)
	}
	for range 30 {
		s := all[r.IntN(len(all))]
		got, err := engine.Diagnose(context.Background(), kept, s, engine.Options{CausesOnly: true, OneCore: true})
		if err != nil {
			t.Fatal(err)
		}
		want, err := engine.Diagnose(context.Background(), engine.Prepare(base), s, engine.Options{BeliefOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(got.Causes, want.Causes) || got.Outside != want.Outside || got.Possible != want.Possible {
			t.Fatalf("%+v: the causes differ", s)
		}
		if got.Conditions != nil || got.Explanations != nil || got.Next != nil {
			t.Error("more than the causes was worked out")
		}
	}
}
