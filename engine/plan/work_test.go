package plan_test

import (
	"math/rand/v2"
	"testing"

	"downdrop/engine/plan"
)

// The search opens few places: counts stand for the time they take, and nothing else
// than the search can change them.
func TestSearchOpensFewPlaces(t *testing.T) {
	for _, c := range []struct{ size, most int }{{20, 261}, {30, 1234}} {
		r := rand.New(rand.NewPCG(uint64(c.size), 1990))
		opened := 0
		for range 41 {
			m := sureTests(r, c.size, c.size)
			m.Ready()
			f := plan.Search(m, 0)
			if !f.Proven() {
				t.Fatalf("%d states: not proven", c.size)
			}
			opened += f.Opened
		}
		if opened > 41*c.most {
			t.Errorf("%d states: %d places opened for 41 problems, at most %d were", c.size, opened, 41*c.most)
		}
	}
}
