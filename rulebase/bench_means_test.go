package rulebase_test

import (
	"slices"
	"testing"

	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// What an outcome of a reading at the bench means to a diagnosis stands there as it is written, the rulebase's first
// symptom and its first value too.
func TestWhatOutcomesMean(t *testing.T) {
	base := shipped.Base(t)
	all, err := base.Procedures()
	if err != nil {
		t.Fatal(err)
	}
	want := []rulebase.BenchMeaning{{"agree", "bench_papers", "papers_agree"}, {"other_serial", "bench_papers", "other_serial_number"}, {"other_type", "bench_papers", "other_type"}}
	if first := base.Symptoms[0].ID; first != "bench_papers" {
		t.Fatalf("the first symptom is %s now: put it into this test", first)
	}
	found := false
	for _, p := range all {
		for _, s := range p.Steps {
			for _, r := range s.Readings {
				if len(r.Means) > 0 && r.Means[0].Symptom == "bench_papers" {
					found = true
					if !slices.Equal(r.Means, want) {
						t.Errorf("%s means %v", r.ID, r.Means)
					}
				}
			}
		}
	}
	if !found {
		t.Error("no reading means anything of the papers")
	}
}
