package engine_test

import (
	"context"
	"slices"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A blown fuse explains a dark power light; it does not explain a wrong rate.
func TestWhatProvenCausesDoNotExplain(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	prepared := engine.Prepare(base)
	see := func(texts ...string) *engine.Diagnosis {
		var s rulebase.Situation
		for _, text := range texts {
			f, err := base.ReadSee(text)
			if err != nil {
				t.Fatal(err)
			}
			s.Findings = append(s.Findings, f)
		}
		d, err := engine.Diagnose(context.Background(), prepared, s, engine.Options{BeliefOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for name, c := range map[string]struct {
		see, causes, want []string
	}{
		"the fuse and a dark light":       {[]string{"power_light=dark"}, []string{"supply_fuse_blown"}, nil},
		"nothing proven, a dark light":    {[]string{"power_light=dark"}, nil, []string{"power_light"}},
		"a lit light is nothing abnormal": {[]string{"power_light=lit"}, nil, nil},
		"hardly sure of it":               {[]string{"power_light=dark@0.4"}, nil, nil},
		"a rate that differs as well":     {[]string{"power_light=dark", "switches_look=rate_differs"}, []string{"supply_fuse_blown"}, []string{"switches_look"}},
	} {
		if got := see(c.see...).Unexplained(c.causes); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, not %q", name, got, c.want)
		}
	}
}
