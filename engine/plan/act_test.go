package plan_test

import (
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"downdrop/engine/plan"
	"downdrop/testdata/support"
)

// sureTests makes states with exponential weights, each unlike every other, and sure
// tests of two results at prices from 1 to 10.
func sureTests(r *rand.Rand, states, tests int) *plan.Model {
	for {
		weight := make([]float64, states)
		for i := range weight {
			weight[i] = r.ExpFloat64()
		}
		m := one(weight)
		m.Identify = true
		codes := make([]string, states)
		for i := range tests {
			p := [][]float64{make([]float64, states), make([]float64, states)}
			density := 0.15 + 0.35*r.Float64()
			for x := range states {
				v := 0
				if r.Float64() < density {
					v = 1
				}
				p[v][x] = 1
				codes[x] += fmt.Sprint(v)
			}
			m.Signs = append(m.Signs, plan.Sign{P: p, Once: true})
			m.Steps = append(m.Steps, plan.Step{Price: float64(1 + r.IntN(10)), Shows: []int{i}})
		}
		slices.Sort(codes)
		if len(slices.Compact(codes)) == states {
			return m
		}
	}
}

// benchmarkSure proves the best sequence of sure tests on fresh models, one core.
func benchmarkSure(b *testing.B, n int) {
	r := rand.New(rand.NewPCG(uint64(n), 1990))
	var models []*plan.Model
	for range 41 {
		m := sureTests(r, n, n)
		m.Ready()
		models = append(models, m)
	}
	i, opened := 0, 0
	var times []float64
	for b.Loop() {
		start := time.Now()
		f := plan.Search(models[i%len(models)], 0)
		times = append(times, float64(time.Since(start).Nanoseconds())/1e6)
		if !f.Proven() {
			b.Fatal("not proven")
		}
		opened += f.Opened
		i++
	}
	slices.Sort(times)
	b.ReportMetric(times[len(times)/2], "ms-median")
	b.ReportMetric(times[len(times)*95/100], "ms-p95")
	b.ReportMetric(float64(opened)/float64(i), "opened/op")
}

func BenchmarkSureTests20(b *testing.B) { benchmarkSure(b, 20) }
func BenchmarkSureTests30(b *testing.B) { benchmarkSure(b, 30) }

// The search of sure tests and the search of anything agree, also where states have
// one outcome, cannot be told apart, or show more than two values.
func TestSureSearchAgreesWithTheGeneralOne(t *testing.T) {
	for seed := range support.Deep(t, 60) {
		r := rand.New(rand.NewPCG(uint64(seed), 11))
		m := sureTests(r, 3+r.IntN(6), 3+r.IntN(4))
		for i := range m.Outcome {
			if r.IntN(4) == 0 {
				m.Outcome[i] = m.Outcome[r.IntN(len(m.Outcome))]
			}
		}
		for range r.IntN(4) { // joint and three-valued tests
			m.Steps = append(m.Steps, plan.Step{Price: float64(1 + r.IntN(12)), Shows: []int{r.IntN(len(m.Signs)), r.IntN(len(m.Signs))}})
		}
		if r.IntN(3) == 0 {
			m.Steps = m.Steps[1:] // some states may no longer be told apart
		}
		got := plan.Search(m, 0)
		want := plan.SearchAnything(m, 1e6)
		if !want.Proven() || !(math.Abs(got.Upper-want.Upper) <= 1e-9*max(1, want.Upper)) {
			t.Fatalf("seed %d: %v, the general search has %v to %v", seed, got.Upper, want.Lower, want.Upper)
		}
	}
}

// Work away from here needs one visit, however often it is tried: three remedies that help nine times in
// ten cost the visit once, and what the search says of the least there can be is no more than that.
func TestWorkTriedAgainNeedsOneVisit(t *testing.T) {
	const helps, handOver = 0.9, 1000
	moves := [][]plan.Move{{{To: 1, Chance: helps}, {To: 0, Chance: 1 - helps}}, {{To: 1, Chance: 1}}}
	m := &plan.Model{
		Visit: 50, Weight: []float64{1, 0}, Outcome: []int{1, 0}, Open: []bool{true, false}, Well: []float64{0, 1},
		Ends: []plan.End{{Cost: []float64{handOver, handOver}}},
	}
	for range 3 {
		m.Steps = append(m.Steps, plan.Step{Price: 10, Away: true, Moves: moves})
	}
	want := 50 + 10 + (1-helps)*(10+(1-helps)*(10+(1-helps)*handOver))
	f := plan.Search(m, 10_000)
	if !(math.Abs(f.Upper-want) <= 1e-9*want) || f.Lower > f.Upper*(1+1e-9) || !f.Proven() {
		t.Errorf("between %g and %g, proven %t; %g is right", f.Lower, f.Upper, f.Proven(), want)
	}
}

// As many steps are followed to the end as a width says, of those that leave least to pay and of those
// that tell most per minute; with no width all that tell something.
func TestWidthOfRanks(t *testing.T) {
	for seed := range uint64(20) {
		r := rand.New(rand.NewPCG(seed, 6))
		m := sureTests(r, 6, 7)
		steps := make([]int, len(m.Steps))
		for i := range steps {
			steps[i] = i
		}
		followed := func(w plan.Width) (ahead map[int]bool, tell int) {
			ranks, _ := m.Ranks(steps, w)
			ahead = map[int]bool{}
			for _, k := range ranks {
				if k.Ahead {
					ahead[k.Step] = true
				}
				if k.Tells {
					tell++
				}
			}
			return ahead, tell
		}
		all, tell := followed(plan.Whole)
		if len(all) != tell {
			t.Errorf("seed %d: %d of %d are followed", seed, len(all), tell)
		}
		for n := 1; n <= 3; n++ {
			likely, _ := followed(plan.Width{Likely: n})
			telling, _ := followed(plan.Width{Telling: n})
			both, _ := followed(plan.Width{Likely: n, Telling: n})
			maps.Copy(likely, telling)
			if want := min(n, tell); len(telling) != want || len(likely) < want || !maps.Equal(both, likely) {
				t.Errorf("seed %d: of %d steps %d likely and telling ones: %v, by both %v, telling %v", seed, tell, n, likely, both, telling)
			}
		}
	}
}
