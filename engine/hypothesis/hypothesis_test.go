package hypothesis_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"downdrop/engine/hypothesis"
	"downdrop/testdata/support"
)

// randomFormula makes a formula over causes and the conditions allowed; a
// negation is only put before what stands in negatable.
func randomFormula(r *rand.Rand, causes int, conditions, negatable []int, depth int) *hypothesis.Formula {
	leaf := func() *hypothesis.Formula {
		if len(conditions) > 0 && r.IntN(3) == 0 {
			return hypothesis.Condition(conditions[r.IntN(len(conditions))])
		}
		return hypothesis.Cause(r.IntN(causes))
	}
	switch k := r.IntN(10); {
	case depth == 0 || k < 3:
		if r.IntN(12) == 0 {
			return hypothesis.Constant(r.IntN(2) == 0)
		}
		return leaf()
	case k < 5:
		return hypothesis.Not(randomFormula(r, causes, negatable, negatable, depth-1))
	default:
		args := make([]*hypothesis.Formula, 1+r.IntN(3))
		for i := range args {
			args[i] = randomFormula(r, causes, conditions, negatable, depth-1)
		}
		if k < 8 {
			return hypothesis.Or(args...)
		}
		return hypothesis.And(args...)
	}
}

// slowly settles one world by repeating all conditions until nothing changes,
// level by level, so that a negation only reads what is settled.
func slowly(set []uint16, conditions []*hypothesis.Formula, level []int) []bool {
	holds := make([]bool, len(conditions))
	cause := func(n int) bool { return slices.Contains(set, uint16(n)) }
	condition := func(n int) bool { return holds[n] }
	for l := range slices.Max(level) + 1 {
		for changed := true; changed; {
			changed = false
			for i, f := range conditions {
				if level[i] == l && !holds[i] && f.Holds(cause, condition) {
					holds[i], changed = true, true
				}
			}
		}
	}
	return holds
}

// randomSystem makes conditions in levels: positive circles within a level,
// negation only of lower ones.
func randomSystem(r *rand.Rand, causes, n int) (conditions []*hypothesis.Formula, level []int) {
	level = make([]int, n)
	for i := range level {
		level[i] = i * 3 / n
	}
	for i := range n {
		var upTo, below []int
		for j := range n {
			if level[j] <= level[i] {
				upTo = append(upTo, j)
			}
			if level[j] < level[i] {
				below = append(below, j)
			}
		}
		conditions = append(conditions, randomFormula(r, causes, upTo, below, 3))
	}
	return conditions, level
}

func TestSettlingAgreesWithRepeatingUntilNothingChanges(t *testing.T) {
	for seed := range support.Deep(t, 300) {
		r := rand.New(rand.NewPCG(uint64(seed), 1))
		causes, k := 1+r.IntN(9), 1+r.IntN(4)
		conditions, level := randomSystem(r, causes, 3+r.IntN(12))
		system := hypothesis.NewSystem(conditions)
		if c := system.Circle(); c != nil {
			t.Fatalf("seed %d: circle %v in a system without one", seed, c)
		}
		space := hypothesis.Enumerate(causes, k)
		settled := system.Settle(space)
		for i := range space.Len() {
			want := slowly(space.Set(i), conditions, level)
			for n := range conditions {
				got := settled.Column(n)[i>>6]>>(i&63)&1 == 1
				if got != want[n] {
					t.Fatalf("seed %d: condition %d in %v is %v, want %v", seed, n, space.Set(i), got, want[n])
				}
			}
		}
	}
}

func TestEnumerate(t *testing.T) {
	for _, c := range []struct{ n, k, want int }{{0, 3, 1}, {3, 0, 1}, {4, 2, 11}, {5, 9, 32}, {100, 3, 166751}, {20, 20, 1 << 20}} {
		if got := hypothesis.Count(c.n, c.k); got != c.want {
			t.Errorf("Count(%d, %d) = %d, want %d", c.n, c.k, got, c.want)
		}
		if c.want > 200000 {
			continue
		}
		s := hypothesis.Enumerate(c.n, c.k)
		seen := map[string]bool{}
		for i := range s.Len() {
			set := s.Set(i)
			if !slices.IsSorted(set) || len(set) > c.k {
				t.Fatalf("set %v", set)
			}
			seen[fmt.Sprint(set)] = true
		}
		if len(seen) != c.want {
			t.Errorf("Enumerate(%d, %d) holds %d different sets, want %d", c.n, c.k, len(seen), c.want)
		}
	}
	if hypothesis.Count(400, 40) != math.MaxInt {
		t.Error("a count beyond all bounds should say so")
	}
}

// A circle through a negation is named, each member reading the next.
func TestCircleThroughNegation(t *testing.T) {
	c := hypothesis.Condition
	system := hypothesis.NewSystem([]*hypothesis.Formula{
		hypothesis.Or(hypothesis.Cause(0), c(1)),
		hypothesis.And(c(2), hypothesis.Cause(1)),
		hypothesis.Not(c(0)),
		c(3), // a positive circle is fine
	})
	got := system.Circle()
	slices.Sort(got)
	if !slices.Equal(got, []int{0, 1, 2}) {
		t.Errorf("circle %v, want 0 1 2 in some order", got)
	}
	alone := hypothesis.NewSystem([]*hypothesis.Formula{hypothesis.Not(c(0))})
	if got := alone.Circle(); !slices.Equal(got, []int{0}) {
		t.Errorf("circle %v, want 0", got)
	}
}

// Of sets that were given nobody knows that each is there once; of those that were enumerated it is known.
func TestWhichSpacesAreDistinct(t *testing.T) {
	if hypothesis.Of(3, [][]int{{1}, {1}}).Distinct() {
		t.Error("what was given twice is taken for distinct")
	}
	for k := range 3 {
		if !hypothesis.Enumerate(3, k).Distinct() {
			t.Errorf("sets of up to %d are not taken for distinct", k)
		}
	}
}

func TestTakeDividesWorlds(t *testing.T) {
	s := hypothesis.Of(4, [][]int{{}, {1}, {0, 1, 2}})
	left, branches := s.Take([]hypothesis.Taking{{Cause: 0, Chance: 1}, {Cause: 1, Chance: 0.25}, {Cause: 2, Chance: 0.5}})
	want := []struct {
		from   int32
		set    []uint16
		chance float64
	}{
		{0, []uint16{}, 1},
		{1, []uint16{1}, 0.75}, {1, []uint16{}, 0.25},
		{2, []uint16{1, 2}, 0.375}, {2, []uint16{2}, 0.125}, {2, []uint16{1}, 0.375}, {2, []uint16{}, 0.125},
	}
	if left.Len() != len(want) {
		t.Fatalf("%d worlds, want %d", left.Len(), len(want))
	}
	for i, w := range want {
		if branches[i].From != w.from || branches[i].Chance != w.chance || !slices.Equal(left.Set(i), w.set) {
			t.Errorf("world %d: from %d, %v, %v; want %v", i, branches[i].From, left.Set(i), branches[i].Chance, w)
		}
	}
	if _, branches := s.Take([]hypothesis.Taking{{Cause: 1, Chance: 1}}); branches != nil {
		t.Error("sure work divides nothing")
	}
}

func TestSumsAgreeWithCountingOneByOne(t *testing.T) {
	for seed := range support.Deep(t, 50) {
		r := rand.New(rand.NewPCG(uint64(seed), 2))
		s := hypothesis.Enumerate(1+r.IntN(9), r.IntN(5))
		weight := make([]float64, s.Len())
		for i := range weight {
			weight[i] = float64(r.IntN(1000))
		}
		sums := s.Sums(weight)
		for c := range sums {
			want := 0.0
			for i, w := range weight {
				if slices.Contains(s.Set(i), uint16(c)) {
					want += w
				}
			}
			if sums[c] != want || hypothesis.SumColumn(s.Column(c), weight) != want {
				t.Fatalf("seed %d: cause %d sums to %v and %v, want %v", seed, c, sums[c], hypothesis.SumColumn(s.Column(c), weight), want)
			}
		}
	}
}

// BenchmarkSettle settles all sets of at most three of 100 causes through 80
// conditions; the peer evaluates each condition for each set.
func BenchmarkSettle(b *testing.B) {
	r := rand.New(rand.NewPCG(7, 7))
	conditions, level := randomSystem(r, 100, 80)
	system := hypothesis.NewSystem(conditions)
	space := hypothesis.Enumerate(100, 3).Ready()
	b.ResetTimer()
	for range b.N {
		system.Settle(space)
	}
	fast := float64(b.Elapsed().Nanoseconds()) / float64(b.N)
	b.StopTimer()
	sample := 200
	start := time.Now()
	for i := range sample {
		slowly(space.Set(i*space.Len()/sample), conditions, level)
	}
	slow := float64(time.Since(start).Nanoseconds()) * float64(space.Len()) / float64(sample)
	b.ReportMetric(slow/fast, "x-faster-than-set-by-set")
}

// A formula is a constant where a constant decides it, and only there.
func TestConstant(t *testing.T) {
	a, k, yes, no := hypothesis.Cause(0), hypothesis.Condition(0), hypothesis.Constant(true), hypothesis.Constant(false)
	for _, c := range []struct {
		name            string
		f               *hypothesis.Formula
		holds, constant bool
	}{
		{"yes", yes, true, true}, {"no", no, false, true}, {"not yes", hypothesis.Not(yes), false, true}, {"not no", hypothesis.Not(no), true, true},
		{"a or yes", hypothesis.Or(a, yes), true, true}, {"k and no", hypothesis.And(k, no), false, true}, {"nothing and", hypothesis.And(), true, true}, {"nothing or", hypothesis.Or(), false, true},
		{"a", a, false, false}, {"k", k, false, false}, {"not a", hypothesis.Not(a), false, false}, {"a and yes", hypothesis.And(a, yes), false, false}, {"a or k or no", hypothesis.Or(a, k, no), false, false},
	} {
		if holds, constant := c.f.Constant(); holds != c.holds || constant != c.constant {
			t.Errorf("%s: holds %t, constant %t", c.name, holds, constant)
		}
	}
}

// A space may hold one world, or none.
func TestSpaceOfFewWorlds(t *testing.T) {
	for n, sets := range [][][]int{nil, {{2}}, {{}, {0, 2}}} {
		if got := hypothesis.Of(3, sets); got.Len() != n {
			t.Errorf("%d worlds of %v", got.Len(), sets)
		}
	}
}
