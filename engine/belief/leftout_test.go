package belief_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
	"downdrop/testdata/support"
)

// randomRows are rows whose conditions switch on and off with causes and
// two conditions, some always hold.
func randomRows(r *rand.Rand, causes int, p func() []float64) []belief.Row {
	var rows []belief.Row
	for range 1 + r.IntN(4) {
		f := hypothesis.Cause(r.IntN(causes))
		switch r.IntN(5) {
		case 0:
			f = hypothesis.Not(f)
		case 1:
			f = hypothesis.Condition(r.IntN(2))
		case 2:
			f = hypothesis.Not(hypothesis.Condition(r.IntN(2)))
		case 3:
			f = hypothesis.And(f, hypothesis.Not(hypothesis.Cause(r.IntN(causes))))
		}
		rows = append(rows, belief.Row{When: f, P: p()})
	}
	return rows
}

func randomSymptom(r *rand.Rand, causes int) *belief.Symptom {
	if r.IntN(2) == 0 {
		rows := randomRows(r, causes, func() []float64 { p := r.Float64(); return []float64{p, 1 - p} })
		return belief.Independent(0, append(rows, belief.Row{When: hypothesis.Constant(true), P: []float64{0.1, 0.9}}))
	}
	return belief.FirstMatch(3, randomRows(r, causes, func() []float64 {
		a, b := r.Float64(), r.Float64()
		return []float64{a * b, a * (1 - b), 1 - a}
	}))
}

// The bound is no lower than the mass of the sets left out, each looked at by
// itself: symptoms of both kinds, rows that causes switch on and off, more
// observations than the bound tells apart, one of them made with a share of doubt, some of
// several values of which one was seen.
func TestLeftOutIsABound(t *testing.T) {
	for seed := range support.Deep(t, 300) {
		r := rand.New(rand.NewPCG(uint64(seed), 8))
		const causes = 7
		odds := make([]float64, causes)
		for c := range odds {
			odds[c] = r.Float64()
		}
		system := hypothesis.NewSystem([]*hypothesis.Formula{
			hypothesis.Or(hypothesis.Cause(0), hypothesis.Condition(1)), // the two support one another
			hypothesis.Or(hypothesis.Condition(0), hypothesis.And(hypothesis.Cause(1), hypothesis.Cause(2))),
		})
		from, atMost, together := 1+r.IntN(3), 3+r.IntN(2), 0.1+r.Float64()
		prior := belief.Prior(system, system.Settle(hypothesis.Enumerate(causes, atMost)), odds, together, 0, 1, &belief.Desk{})
		empty := system.Settle(hypothesis.Of(causes, [][]int{{}}))
		var bearings []belief.Bearing
		for range r.IntN(18) {
			s := randomSymptom(r, causes)
			sure := []float64{1, 1, 0.8}[r.IntN(3)]
			o := belief.Seen(s, r.IntN(s.Values()), sure)
			if s.Values() == 3 && r.IntN(3) == 0 { // not of independent rows
				o = belief.SeenAmong(s, 1+r.Uint64N(1<<s.Values()-1), sure)
			}
			bearings = append(bearings, belief.Bear(o, system.Influence(), empty))
			prior.Observe(o)
		}
		truth := 0.0
		for i, w := range prior.Weight {
			if len(prior.Began.Set(i)) >= from {
				truth += w
			}
		}
		truth = math.Ldexp(truth, prior.Exponent)
		if bound := belief.LeftOut(odds, together, from, atMost, bearings); bound < truth {
			t.Fatalf("seed %d: the bound %v is below the truth %v", seed, bound, truth)
		} else if len(bearings) == 0 && bound > truth*(1+1e-6) {
			t.Fatalf("seed %d: nothing was seen, but the bound is %v, the truth %v", seed, bound, truth)
		}
	}
}

// Observations that every cause bears on alike, more than the bound tells apart:
// it is the truth, to its margin.
func TestLeftOutIsTheTruthWhereAllBearAlike(t *testing.T) {
	const causes, seen = 4, 15
	odds := []float64{0.1, 0.2, 0.3, 0.4}
	system := hypothesis.NewSystem(nil)
	empty := system.Settle(hypothesis.Of(causes, [][]int{{}}))
	some := hypothesis.Or(hypothesis.Cause(0), hypothesis.Cause(1), hypothesis.Cause(2), hypothesis.Cause(3))
	s := belief.FirstMatch(2, []belief.Row{{When: some, P: []float64{0.9, 0.1}}, {When: hypothesis.Constant(true), P: []float64{0.2, 0.8}}})
	var bearings []belief.Bearing
	for range seen {
		bearings = append(bearings, belief.Bear(belief.Seen(s, 0, 1), nil, empty))
	}
	truth := (belief.TotalPrior(odds, 0.5, 4) - belief.TotalPrior(odds, 0.5, 1)) * math.Pow(0.9, seen)
	if bound := belief.LeftOut(odds, 0.5, 2, 4, bearings); bound < truth*(1-1e-12) || bound > truth*(1+1e-6) {
		t.Errorf("the bound is %v, the truth %v", bound, truth)
	}
}

// Where one of two values was seen, and not for sure, the bound is the truth too: of three values the two have
// 0.9 together where anything is wrong, and a report that nobody means is either of them two times in three.
func TestLeftOutIsTheTruthOfValuesNotToldApart(t *testing.T) {
	odds := []float64{0.1, 0.2, 0.3}
	empty := hypothesis.NewSystem(nil).Settle(hypothesis.Of(3, [][]int{{}}))
	some := hypothesis.Or(hypothesis.Cause(0), hypothesis.Cause(1), hypothesis.Cause(2))
	s := belief.FirstMatch(3, []belief.Row{{When: some, P: []float64{0.3, 0.6, 0.1}}, {When: hypothesis.Constant(true), P: []float64{0.1, 0.2, 0.7}}})
	bearing := belief.Bear(belief.SeenAmong(s, 0b011, 0.8), nil, empty)
	// Two of the causes at once, or all three.
	truth := (0.1*0.2 + 0.1*0.3 + 0.2*0.3 + 0.1*0.2*0.3) * (0.8*0.9 + 0.2*2/3)
	if bound := belief.LeftOut(odds, 1, 2, 3, []belief.Bearing{bearing}); bound < truth*(1-1e-12) || bound > truth*(1+1e-6) {
		t.Errorf("the bound is %v, the truth %v", bound, truth)
	}
}
