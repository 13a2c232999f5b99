package engine_test

import (
	"context"
	"sync"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A prepared rulebase serves goroutines at once, also while what a session keeps is
// first made: each gets what it would get alone.
func TestPreparedServesGoroutinesAtOnce(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	situations := make([]rulebase.Situation, 4)
	for i := range situations {
		s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
		for _, see := range []string{"power_light=lit", "run_light=dark", "traffic_light=dark"}[:i%4] {
			f, err := base.ReadSee(see)
			if err != nil {
				t.Fatal(err)
			}
			s.Findings = append(s.Findings, f)
		}
		if i == 3 {
			s.Done = []rulebase.Done{{ID: "restart_drop", Drop: rulebase.StillDown}}
		}
		situations[i] = s
	}
	together := make([]*engine.Diagnosis, len(situations))
	shared := engine.Prepare(base)
	var group sync.WaitGroup
	for i, s := range situations {
		group.Go(func() {
			together[i], _ = engine.Diagnose(context.Background(), shared, s, engine.Options{NoMinutes: true})
		})
	}
	group.Wait()
	for i, s := range situations {
		alone := diagnose(t, engine.Prepare(base), s, engine.Options{NoMinutes: true, OneCore: true})
		for n := range alone.Next {
			a, b := &alone.Next[n], &together[i].Next[n]
			if a.Step.ID != b.Step.ID || a.GainBits != b.GainBits || a.Planned != b.Planned {
				t.Fatalf("situation %d, place %d: %s %v %v alone, %s %v %v together", i, n, a.Step.ID, a.GainBits, a.Planned, b.Step.ID, b.GainBits, b.Planned)
			}
		}
	}
}
