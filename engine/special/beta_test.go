package special_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mathext"

	"downdrop/engine/special"
	"downdrop/testdata/support"
)

// integral is the incomplete beta function by its definition: the integral of t^(a-1) (1-t)^(b-1) up to x, over
// that up to 1, by the midpoint rule on a scale that is dense at both ends.
func integral(x, a, b float64) float64 {
	const steps = 200_000
	part, whole := 0.0, 0.0
	for i := range steps {
		u := (float64(i) + 0.5) / steps
		at := u * u * (3 - 2*u)
		w := math.Exp((a-1)*math.Log(at)+(b-1)*math.Log((1-u)*(1-u)*(1+2*u))) * 6 * u * (1 - u)
		whole += w
		if at <= x {
			part += w
		}
	}
	return part / whole
}

func TestBetaIsItsIntegral(t *testing.T) {
	for _, row := range []struct{ x, a, b float64 }{{0.3, 2, 5}, {0.5, 1, 1}, {0.01, 3, 400}, {0.9, 7.5, 1.5}, {0.2, 0.7, 0.8}} {
		if got, want := special.Beta(row.x, 1-row.x, row.a, row.b), integral(row.x, row.a, row.b); !(math.Abs(got-want) <= 1e-4) {
			t.Errorf("%+v: %.8f, by its integral %.8f", row, got, want)
		}
	}
}

// Of whole numbers it is a sum of the binomial law: I(p; k, n-k+1) is the chance of at least k of n (Abramowitz and
// Stegun 26.5.24, from memory).
func TestBetaIsASumOfTheBinomialLaw(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	for range support.Deep(t, 300) {
		n, p := 1+r.IntN(300), r.Float64()
		k := 1 + r.IntN(n)
		sum := 0.0
		for i := k; i <= n; i++ {
			a, _ := math.Lgamma(float64(n + 1))
			b, _ := math.Lgamma(float64(i + 1))
			c, _ := math.Lgamma(float64(n - i + 1))
			sum += math.Exp(a - b - c + float64(i)*math.Log(p) + float64(n-i)*math.Log1p(-p))
		}
		if got := special.Beta(p, 1-p, float64(k), float64(n-k+1)); !(math.Abs(got-sum) <= 1e-11) {
			t.Errorf("at least %d of %d at %g: %.15f, summed %.15f", k, n, p, got, sum)
		}
	}
}

// A library has the same, over many orders of magnitude.
func TestBetaAgreesWithALibrary(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range support.Deep(t, 2000) {
		a, b, x := math.Exp(r.Float64()*14-4), math.Exp(r.Float64()*14-4), r.Float64()
		if got, want := special.Beta(x, 1-x, a, b), mathext.RegIncBeta(a, b, x); !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("I(%g; %g, %g) = %.15g, a library has %.15g", x, a, b, got, want)
		}
	}
	for _, row := range []struct{ x, y, want float64 }{{0, 1, 0}, {-1, 2, 0}, {1, 0, 1}, {2, -1, 1}} {
		if got := special.Beta(row.x, row.y, 2, 3); got != row.want {
			t.Errorf("at %g: %g", row.x, got)
		}
	}
	// Where y is tiny its own digits count: I(1-y; 1, b) = 1 - y^b.
	if got, want := 1-special.Beta(1-1e-18, 1e-18, 1, 0.5), 1e-9; !(math.Abs(got-want) <= 1e-15) {
		t.Errorf("%g, want %g", got, want)
	}
}
