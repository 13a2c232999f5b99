package learn

import (
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"
)

// How rare what was seen is, against all ways in which so few trials can come out; and where the normal
// distribution stands for the exact one, against that.
func TestTailAgreesWithEnumeration(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 8))
	for range 60 {
		each := make([]float64, 1+r.IntN(12))
		for i := range each {
			each[i] = r.Float64() * r.Float64()
		}
		hits := r.IntN(len(each) + 1)
		few, many := 0.0, 0.0
		for set := range 1 << len(each) {
			p := 1.0
			for i := range each {
				if set>>i&1 == 1 {
					p *= each[i]
				} else {
					p *= 1 - each[i]
				}
			}
			if bits.OnesCount(uint(set)) <= hits {
				few += p
			}
			if bits.OnesCount(uint(set)) >= hits {
				many += p
			}
		}
		if got := tail(each, hits); !(math.Abs(got-min(few, many)) <= 1e-12) {
			t.Errorf("%v, %d hits: %g, want %g and %g", each, hits, got, few, many)
		}
	}
	each := make([]float64, manyTrials)
	for i := range each {
		each[i] = 0.1 + 0.2*r.Float64()
	}
	for _, hits := range []int{370, 385, 400, 415, 430} {
		exact, normal := tail(each, hits), tail(append(each, 0), hits)
		if !(math.Abs(normal/exact-1) <= 0.1) {
			t.Errorf("%d hits: %g, by the normal distribution %g", hits, exact, normal)
		}
	}
}

// Integrated, sure reports give what the textbook gives; and unsure ones what plain enumeration of
// which reports were true gives.
func TestUnsureReportsAgreeWithOthers(t *testing.T) {
	r := rand.New(rand.NewPCG(8, 8))
	for range 40 {
		prior := Beta{0.1 + 20*r.Float64(), 0.1 + 20*r.Float64()}
		hits, misses := float64(r.IntN(30)), float64(r.IntN(30))
		want := prior.Add(hits, hits+misses)
		low, high := want.Interval(0.9)
		m, l, h := unsure(prior, []trials{{1, hits, misses}}, 3, 0.9)
		if !(math.Abs(m-want.Mean())+math.Abs(l-low)+math.Abs(h-high) <= 2e-4) {
			t.Errorf("%+v, %g of %g: %g from %g to %g, want %g from %g to %g", prior, hits, hits+misses, m, l, h, want.Mean(), low, high)
		}
	}
	for range 30 {
		prior := Beta{0.5 + 5*r.Float64(), 0.5 + 5*r.Float64()}
		hits, misses, sure, values := r.IntN(8), r.IntN(8), 0.5+r.Float64()/2, 2+r.IntN(4)
		mean := enumerated(prior, hits, misses, sure, values)
		if m, _, _ := unsure(prior, []trials{{sure, float64(hits), float64(misses)}}, values, 0.9); !(math.Abs(m-mean) <= 1e-5) {
			t.Errorf("%+v, %d hits, %d misses, sure %g of %d values: %g, want %g", prior, hits, misses, sure, values, m, mean)
		}
	}
}

// enumerated goes over how many of the hits and of the misses were true reports: each such history
// is a beta update of its own.
func enumerated(prior Beta, hits, misses int, sure float64, values int) float64 {
	wrong := (1 - sure) / float64(values)
	sum, total := 0.0, 0.0
	for i := range hits + 1 {
		for j := range misses + 1 {
			d := Dirichlet{prior.A, prior.B}
			counts := []float64{float64(i), float64(j)}
			w := math.Exp(logChance(d, counts)) * choose(hits, i) * choose(misses, j) *
				math.Pow(sure, float64(i+j)) * math.Pow(wrong, float64(hits-i)) * math.Pow(1-sure-wrong, float64(misses-j))
			total += w
			sum += w * d.Add(counts).Of(0).Mean()
		}
	}
	return sum / total
}

// logChance is the logarithm of the chance of one sequence with these counts, in whatever order.
func logChance(d Dirichlet, counts []float64) float64 {
	ratio := func(a, n float64) float64 {
		more, _ := math.Lgamma(a + n)
		less, _ := math.Lgamma(a)
		return more - less
	}
	sum := 0.0
	for i, n := range counts {
		sum += ratio(d[i], n)
	}
	return sum - ratio(d.Total(), Dirichlet(counts).Total())
}

func choose(n, k int) float64 {
	c := 1.0
	for i := range k {
		c = c * float64(n-i) / float64(i+1)
	}
	return c
}
