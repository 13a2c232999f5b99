package rehearse_test

import (
	"context"
	"testing"

	"downdrop/engine/rehearse"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// Rivals are played against the same breakdowns; none ever takes a step that is not
// on offer, above the person, not to be asked for by phone, or gravely dangerous while a
// harmless one can still change what to do.
func TestRivalsKeepPermission(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	rivals := rehearse.Rivals()
	played := map[rulebase.Place]int{rulebase.Phone: 4, rulebase.Field: 6, rulebase.Bench: 2}
	if testing.Short() { // under the race detector one of each rival is enough
		played = map[rulebase.Place]int{rulebase.Field: 1}
	}
	for place, n := range played {
		c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: support.Deep(t, n), Seed: 528, Places: []rulebase.Place{place}, Variant: rehearse.Own}, rivals)
		if err != nil {
			t.Fatal(err)
		}
		for r := range rivals {
			for i := range c.Runs[r] {
				run := &c.Runs[r][i]
				if run.Forbidden > 0 || run.TooSoon > 0 {
					t.Errorf("%s, %s, breakdown %d: %d steps forbidden, %d too soon", place, rivals[r].Name, i, run.Forbidden, run.TooSoon)
				}
				if run.End == "" || run.Minutes < 0 || run.Needless > run.Removals || run.Vain > run.Remedies {
					t.Errorf("%s, %s, breakdown %d: %+v", place, rivals[r].Name, i, run)
				}
			}
			m := c.Of(r, func(x *rehearse.Run) float64 { return x.Minutes })
			t.Logf("%s %-16s %.0f minutes, %.1f tests, answers %.0f at the median", place, rivals[r].Name, m.Value, c.Of(r, func(x *rehearse.Run) float64 { return float64(x.Tests) }).Value, c.Median(r, func(x *rehearse.Run) float64 { return float64(x.Answers) }))
		}
	}
}
