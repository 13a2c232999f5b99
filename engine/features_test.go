package engine_test

import (
	"context"
	"math"
	"os"
	"path/filepath"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

func near(got, want float64) bool { return math.Abs(got-want) <= 1e-9*math.Max(1, math.Abs(want)) }

func checkOne(t *testing.T, p *engine.Prepared, s rulebase.Situation) {
	t.Helper()
	b := p.Base()
	d, err := engine.Diagnose(context.Background(), p, s, engine.Options{})
	if err != nil {
		t.Fatal(err)
	}
	x := s.Expect
	got := map[string]float64{}
	now := map[string]float64{}
	for _, c := range d.Causes {
		got[b.Causes[c.Cause].ID] = c.Probability
		now[b.Causes[c.Cause].ID] = c.Now
	}
	cond := map[string]float64{}
	for _, c := range d.Conditions {
		cond[b.Conditions[c.Condition].ID] = c.Probability
	}
	gain := map[string]float64{}
	for _, n := range d.Next {
		gain[n.Step.ID] = n.GainBits
	}
	for _, n := range d.NotOffered {
		gain[n.Step.ID] = n.GainBits
	}
	cmp := func(what string, want, got map[string]float64) {
		for k, w := range want {
			if !near(got[k], w) {
				t.Errorf("%s: %s %s = %.12g, want %.12g", s.Case, what, k, got[k], w)
			}
		}
	}
	cmp("causes", x.Causes, got)
	cmp("now", x.Now, now)
	cmp("conditions", x.Conditions, cond)
	cmp("gain", x.GainBits, gain)
	one := func(what string, want *float64, got float64) {
		if want != nil && !near(got, *want) {
			t.Errorf("%s: %s = %.12g, want %.12g", s.Case, what, got, *want)
		}
	}
	one("none", x.None, d.None)
	one("outside", x.Outside, d.Outside)
	one("unit_out", x.UnitOut, d.UnitOut)
	one("evidence", x.Evidence, d.Evidence)
	if x.Top != nil && len(d.Explanations) > 0 && !near(d.Explanations[0].Probability, x.Top.Probability) {
		t.Errorf("%s: top %v, want %v", s.Case, d.Explanations[0], x.Top)
	}
}

func TestFolders(t *testing.T) {
	for _, pattern := range []string{"asia/rulebase", "noisy_or/*/rulebase", "features/*/rulebase"} {
		folders, _ := filepath.Glob(filepath.Join("../testdata/checks", pattern))
		for _, folder := range folders {
			base, err := rulebase.LoadFolder(folder)
			if err != nil {
				t.Fatal(err)
			}
			p := engine.Prepare(base)
			files, _ := filepath.Glob(filepath.Join(filepath.Dir(folder), "case*.yaml"))
			for _, f := range files {
				text, _ := os.ReadFile(f)
				var all []rulebase.Situation
				if filepath.Base(f) == "cases.yaml" {
					all, err = base.ReadCases(f, text)
				} else {
					var one rulebase.Situation
					one, err = base.ReadCase(f, text)
					all = append(all, one)
				}
				if err != nil {
					t.Fatal(err)
				}
				for _, s := range all {
					checkOne(t, p, s)
				}
			}
		}
	}
}
