package review_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/engine/review"
	"downdrop/testdata/support"
)

func near(x, y float64) bool { return math.Abs(x-y) <= 1e-9 }

// Eight faults and six tests, worked out by hand (definitions: IEEE Std 1522-2004
// and MIL-STD-2165, 1985, from memory).
func TestTestabilityByHand(t *testing.T) {
	x := (&review.Table{Rate: []float64{40, 25, 15, 8, 6, 3, 2, 1}, Cost: []float64{2, 5, 5, 10, 15, 4}, Apart: resultsOf([][]int{
		{1, 0, 1, 0, 0, 0}, {1, 1, 0, 0, 0, 0}, {1, 1, 0, 0, 0, 0}, {0, 0, 1, 1, 0, 0}, {0, 0, 0, 1, 1, 0}, {0, 0, 0, 1, 1, 0}, {0, 0, 0, 1, 1, 0}, {0, 0, 0, 0, 0, 0},
	})}).Testability()
	byRate, byGroup := x.MeanSize()
	cost, known := x.OptimalCost(1000)
	if !near(x.SeenShare.ByRate, 0.99) || !near(x.SeenShare.ByCount, 7.0/8) || !near(x.Isolated(1).ByRate, 16.0/33) || !near(x.Isolated(2).ByRate, 8.0/9) || !near(x.Isolated(3).ByRate, 1) ||
		!near(byRate, 161.0/99) || !near(byGroup, 1.75) || !known || !near(cost, 7) || !near(x.GreedyCost(), 7) || !slices.Equal(x.Useless, []int{5}) {
		t.Errorf("%+v: mean sizes %v %v, cost %v %v %v", x, byRate, byGroup, cost, known, x.GreedyCost())
	}
}

// The tables of testdata/checks, answered in exact fractions by another program.
func TestTestabilityChecks(t *testing.T) {
	text, err := os.ReadFile("../../testdata/checks/testability_cases.json")
	if err != nil {
		t.Fatal(err)
	}
	var file struct {
		Cases []struct {
			ID              string
			Rate            []float64
			D               [][]int
			Cost            []float64
			Detected        []int
			Undetected      []int
			Groups          [][]int
			FFD             string
			ByCount         float64 `json:"ffd_by_count"`
			FFI             map[int]string
			FFIByCount      map[int]float64 `json:"ffi_by_count"`
			ByRate          float64         `json:"mean_group_size_rate_weighted"`
			ByGroup         float64         `json:"mean_group_size_by_group"`
			Redundant       [][2]int        `json:"redundant_tests"`
			Useless         []int           `json:"useless_tests"`
			Masked          int             `json:"masked_pairs"`
			Optimal, Greedy float64
			CostOptimal     float64 `json:"mean_cost_to_isolate_optimal"`
			CostGreedy      float64 `json:"mean_cost_to_isolate_greedy"`
		}
	}
	if err := json.Unmarshal(text, &file); err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) != 5 {
		t.Errorf("%d tables", len(file.Cases))
	}
	fraction := func(text string) float64 {
		r, ok := new(big.Rat).SetString(text)
		if !ok {
			t.Fatalf("no fraction: %q", text)
		}
		f, _ := r.Float64()
		return f
	}
	same := func(id, what string, want, got any) {
		if diff := cmp.Diff(want, got, cmpopts.EquateEmpty(), cmpopts.EquateApprox(0, 1e-9)); diff != "" {
			t.Errorf("%s: %s (-want +got):\n%s", id, what, diff)
		}
	}
	for _, c := range file.Cases {
		x := (&review.Table{Rate: c.Rate, Cost: c.Cost, Apart: resultsOf(c.D)}).Testability()
		same(c.ID, "seen", c.Detected, x.Seen)
		same(c.ID, "not seen", c.Undetected, x.Unseen)
		same(c.ID, "groups", c.Groups, x.Groups)
		same(c.ID, "share seen", review.Share{ByRate: fraction(c.FFD), ByCount: c.ByCount}, x.SeenShare)
		for n, text := range c.FFI {
			same(c.ID, "isolated", review.Share{ByRate: fraction(text), ByCount: c.FFIByCount[n]}, x.Isolated(n))
		}
		byRate, byGroup := x.MeanSize()
		same(c.ID, "mean size", []float64{c.ByRate, c.ByGroup}, []float64{byRate, byGroup})
		same(c.ID, "redundant", c.Redundant, x.Redundant)
		same(c.ID, "useless", c.Useless, x.Useless)
		same(c.ID, "masked", c.Masked, x.Masked)
		cost, known := x.OptimalCost(10_000)
		same(c.ID, "least cost is known", true, known)
		same(c.ID, "costs", []float64{c.CostOptimal, c.CostGreedy}, []float64{cost, x.GreedyCost()})
		if _, known := x.OptimalCost(1); known {
			t.Errorf("%s: the least cost is known after one state", c.ID)
		}
	}
}

// A slowTable works everything out from the definitions, pair by pair and order by order.
type slowTable struct{ *review.Table }

func (s slowTable) told(f, g int) bool {
	for test := range s.Cost {
		if s.Apart(test, f, g) {
			return true
		}
	}
	return false
}

func (s slowTable) group(f int) []int {
	in := map[int]bool{f: true}
	for range s.Rate {
		for a := range s.Rate {
			for b := range s.Rate {
				if in[a] && !s.told(a, b) && s.told(b, review.Nothing) {
					in[b] = true
				}
			}
		}
	}
	var all []int
	for g := range s.Rate {
		if in[g] {
			all = append(all, g)
		}
	}
	return all
}

func (s slowTable) size(faults []int) int {
	n := 0
	for i, f := range faults {
		if !slices.ContainsFunc(faults[:i], func(g int) bool { return f == g || s.Do != nil && s.Do[f] == s.Do[g] }) {
			n++
		}
	}
	return n
}

func (s slowTable) without(faults []int, test, f int) []int {
	var left []int
	for _, g := range faults {
		if !s.Apart(test, f, g) {
			left = append(left, g)
		}
	}
	return left
}

func (s slowTable) entropy(faults []int) float64 {
	total, sum := 0.0, 0.0
	for _, f := range faults {
		total += s.Rate[f]
	}
	for i, f := range faults {
		alike := func(g int) bool { return f == g || s.Do != nil && s.Do[f] == s.Do[g] }
		if slices.ContainsFunc(faults[:i], alike) {
			continue
		}
		p := 0.0
		for _, g := range faults {
			if alike(g) {
				p += s.Rate[g] / total
			}
		}
		sum -= p * math.Log2(p)
	}
	return sum
}

// greedy is the cost, with one fault there, of the order that gains most for its cost.
func (s slowTable) greedy(faults []int, made []bool, there int) float64 {
	if s.size(faults) == 1 {
		return 0
	}
	total := 0.0
	for _, f := range faults {
		total += s.Rate[f]
	}
	best, most := -1, math.Inf(-1)
	for test := range s.Cost {
		gain := s.entropy(faults)
		for _, f := range faults {
			gain -= s.Rate[f] / total * s.entropy(s.without(faults, test, f))
		}
		if !made[test] && s.narrows(faults, test) && gain/s.Cost[test] > most+1e-12 {
			best, most = test, gain/s.Cost[test]
		}
	}
	if best < 0 {
		return 0
	}
	return s.Cost[best] + s.greedy(s.without(faults, best, there), with(made, best), there)
}

// least is the cost times the rate of the best order, with one of some faults there.
func (s slowTable) least(faults []int, made []bool, there []int) float64 {
	if s.size(faults) == 1 {
		return 0
	}
	rate := 0.0
	for _, f := range there {
		rate += s.Rate[f]
	}
	best := math.Inf(1)
	for test := range s.Cost {
		if made[test] || !s.narrows(faults, test) {
			continue
		}
		cost := s.Cost[test] * rate
		for i, f := range there {
			left := s.without(faults, test, f)
			same := func(g int) bool { return slices.Equal(s.without(faults, test, g), left) }
			if slices.ContainsFunc(there[:i], same) {
				continue
			}
			cost += s.least(left, with(made, test), slices.DeleteFunc(slices.Clone(there), func(g int) bool { return !same(g) }))
		}
		best = min(best, cost)
	}
	if math.IsInf(best, 1) {
		return 0
	}
	return best
}

func (s slowTable) narrows(faults []int, test int) bool {
	return slices.ContainsFunc(faults, func(f int) bool { return len(s.without(faults, test, f)) < len(faults) })
}

func with(made []bool, test int) []bool {
	now := slices.Clone(made)
	now[test] = true
	return now
}

// Random tables, half of them with results and half with pairs told apart at will,
// in which what a test leaves overlaps.
func TestTestabilityAgreesWithTheDefinitions(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 22))
	for trial := range support.Deep(t, 60) {
		faults, tests := 1+random.IntN(6), 1+random.IntN(4)
		table := &review.Table{Apart: randomApart(random, faults, tests, trial%2 == 0)}
		for range faults {
			table.Rate = append(table.Rate, float64(1+random.IntN(50)))
		}
		for range tests {
			table.Cost = append(table.Cost, float64(1+random.IntN(20)))
		}
		if random.IntN(2) == 0 {
			for range faults {
				table.Do = append(table.Do, random.IntN(3))
			}
		}
		s, x := slowTable{table}, table.Testability()
		var seen []int
		total, rate, sizes := 0.0, 0.0, 0.0
		for f := range faults {
			total += table.Rate[f]
			if s.told(f, review.Nothing) {
				seen = append(seen, f)
				rate += table.Rate[f]
				sizes += table.Rate[f] * float64(s.size(s.group(f)))
			}
		}
		if !slices.Equal(seen, x.Seen) || len(x.Seen)+len(x.Unseen) != faults || !near(x.SeenShare.ByRate, rate/total) || !near(x.SeenShare.ByCount, float64(len(seen))/float64(faults)) {
			t.Fatalf("trial %d: seen %v, want %v: %+v", trial, x.Seen, seen, x)
		}
		if len(seen) == 0 {
			if least, known := x.OptimalCost(1); x.GreedyCost() != 0 || least != 0 || !known || x.Isolated(1) != (review.Share{}) {
				t.Errorf("trial %d: something of nothing", trial)
			}
			continue
		}
		for _, g := range x.Groups {
			if !slices.Equal(g, s.group(g[0])) {
				t.Fatalf("trial %d: group %v, want %v", trial, g, s.group(g[0]))
			}
		}
		for n := 1; n <= 3; n++ {
			in, count := 0.0, 0
			for _, f := range seen {
				if s.size(s.group(f)) <= n {
					in += table.Rate[f]
					count++
				}
			}
			if got := x.Isolated(n); !near(got.ByRate, in/rate) || !near(got.ByCount, float64(count)/float64(len(seen))) {
				t.Errorf("trial %d: in groups of %d: %+v, want %v", trial, n, got, in/rate)
			}
		}
		if byRate, _ := x.MeanSize(); !near(byRate, sizes/rate) {
			t.Errorf("trial %d: mean size %v, want %v", trial, byRate, sizes/rate)
		}
		least, known := x.OptimalCost(100_000)
		if want := s.least(seen, make([]bool, tests), seen) / rate; !known || !near(least, want) {
			t.Errorf("trial %d: least cost %v (%v), want %v", trial, least, known, want)
		}
		greedy := 0.0
		for _, f := range seen {
			greedy += table.Rate[f] / rate * s.greedy(seen, make([]bool, tests), f)
		}
		if got := x.GreedyCost(); !near(got, greedy) || got < least-1e-9 {
			t.Errorf("trial %d: greedy cost %v, want %v; least %v", trial, got, greedy, least)
		}
		for test := range tests {
			tells := false
			for f := review.Nothing; f < faults; f++ {
				for g := range faults {
					tells = tells || table.Apart(test, f, g)
				}
			}
			if slices.Contains(x.Useless, test) == tells {
				t.Errorf("trial %d: useless %v, but test %d tells: %v", trial, x.Useless, test, tells)
			}
		}
	}
}

func randomApart(random *rand.Rand, faults, tests int, results bool) func(test, f, g int) bool {
	if results {
		shows := make([][]int, faults)
		for f := range shows {
			for range tests {
				shows[f] = append(shows[f], random.IntN(3))
			}
		}
		return resultsOf(shows)
	}
	apart := map[[3]int]bool{}
	for test := range tests {
		for f := range faults {
			for g := review.Nothing; g < f; g++ {
				apart[[3]int{test, f, g}] = random.IntN(2) == 0
			}
		}
	}
	return func(test, f, g int) bool { return apart[[3]int{test, max(f, g), min(f, g)}] }
}

// resultsOf makes Table.Apart of the usual table of testability: by fault and test
// the result, which is 0 where nothing is wrong.
func resultsOf(shows [][]int) func(test, f, g int) bool {
	of := func(test, f int) int {
		if f == review.Nothing {
			return 0
		}
		return shows[f][test]
	}
	return func(test, f, g int) bool { return of(test, f) != of(test, g) }
}
