package bench_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// No error in 30,000 messages proves fewer than one in 10,000, at 95 %; in 29,956 they do
// as well and in 29,955 they do not.
func TestNoErrorsProveABound(t *testing.T) {
	if got := bench.Above(0, 30_000); got >= 1e-4 || got < 0.998e-4 {
		t.Errorf("0 of 30,000 shows under %g", got)
	}
	// (1 - p)^n = 0.05 by hand: n = ln 0.05 / ln(1 - 0.0001) = 29955.8.
	if n := bench.Needed(0, 1e-4); n != 29_956 {
		t.Errorf("needed %d messages", n)
	}
	// The rule of three (Hanley and Lippman-Hand, JAMA 249, 1983, from memory): 3/n is nearly it, and never below.
	for _, n := range []int{30, 100, 1000, 30_000, 1_000_000} {
		if got, three := bench.Above(0, n), 3/float64(n); got > three || got < 0.95*three {
			t.Errorf("0 of %d: %g, rule of three %g", n, got, three)
		}
	}
}

// One-sided 95 % bounds from tables of the binomial law (upper bounds for 10 and 20 trials
// as printed in statistics textbooks, from memory) to their four digits.
func TestBoundsOfTables(t *testing.T) {
	for _, row := range []struct {
		wrong, of int
		above     float64
	}{{0, 10, 0.2589}, {1, 10, 0.3942}, {2, 10, 0.5069}, {3, 10, 0.6066}, {5, 10, 0.7776}, {9, 10, 0.9949}, {0, 20, 0.1391}, {1, 20, 0.2161}, {2, 20, 0.2826}} {
		if got := bench.Above(row.wrong, row.of); !(math.Abs(got-row.above) <= 0.00006) {
			t.Errorf("%d of %d: %.5f, table %.4f", row.wrong, row.of, got, row.above)
		}
		// What so many wrong ones do not exceed, the right ones reach.
		if got, want := bench.Below(row.of-row.wrong, row.of), 1-row.above; !(math.Abs(got-want) <= 0.00006) {
			t.Errorf("%d of %d reach %.5f, table %.4f", row.of-row.wrong, row.of, got, want)
		}
	}
}

// slowAtMost sums the binomial law term by term.
func slowAtMost(k, n int, p float64) float64 {
	sum := 0.0
	for i := 0; i <= k; i++ {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(i + 1))
		c, _ := math.Lgamma(float64(n - i + 1))
		sum += math.Exp(a - b - c + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
	}
	return sum
}

// At the bound the chance of so few wrong ones is what is left of the confidence.
func TestBoundsAgreeWithSums(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range support.Deep(t, 300) {
		n := 1 + r.IntN(100_000)
		k := r.IntN(min(n, 60))
		if p := bench.Above(k, n); !(math.Abs(slowAtMost(k, n, p)-0.05) <= 1e-6) {
			t.Errorf("%d of %d: above %g leaves %g", k, n, p, slowAtMost(k, n, p))
		}
		if p := bench.Below(k, n); k > 0 && !(math.Abs(1-slowAtMost(k-1, n, p)-0.05) <= 1e-6) {
			t.Errorf("%d of %d: below %g leaves %g", k, n, p, 1-slowAtMost(k-1, n, p))
		}
		share := math.Exp(-2 - 9*r.Float64())
		if n := bench.Needed(k, share); bench.Above(k, n) >= share || n > k+1 && bench.Above(k, n-1) < share {
			t.Errorf("%d wrong, share %g: %d messages are not the least", k, share, n)
		}
	}
}

// Of a unit of which nothing is said nothing follows that is no number: without a rate a bit has no length.
func TestNothingFollowsFromNothing(t *testing.T) {
	for name, x := range bench.Derived(&rulebase.Profile{}) {
		if math.IsInf(x, 0) || math.IsNaN(x) {
			t.Errorf("%s is %v", name, x)
		}
	}
}
