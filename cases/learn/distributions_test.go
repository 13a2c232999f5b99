package learn_test

import (
	"encoding/json"
	"math"
	"math/big"
	"math/rand/v2"
	"os"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"downdrop/cases/learn"
)

// The published and worked-out figures of testdata/checks/learn_cases.json; its README names
// the sources. They are printed with ten digits.
type learnCases struct {
	FromTwo struct {
		A, B     float64
		Check600 float64 `json:"check_cdf_at_1_600"`
		Check250 float64 `json:"check_cdf_at_1_250"`
	} `json:"gamma_prior_from_two_mtbf"`
	Test struct {
		Prior      struct{ A, B float64 }
		Run        struct{ Hours, Failures float64 }
		Posterior  struct{ A, B float64 }
		TestTime   float64    `json:"test_time"`
		Median     float64    `json:"mtbf_median"`
		Lower80    float64    `json:"mtbf_lower80"`
		Interval80 [2]float64 `json:"mtbf_interval80"`
		OneOver    float64    `json:"one_over_mean"`
		Over600    float64    `json:"p_mtbf_over_600"`
	} `json:"gamma_mtbf_test"`
	Poisson []struct {
		A, B, Events, Exposure float64
		PostA                  float64 `json:"post_a"`
		PostB                  float64 `json:"post_b"`
		Mean, Sd               float64
		P05, P50, P95          float64
	} `json:"gamma_poisson"`
	Exponential struct {
		Prior     struct{ A, B float64 }
		N         float64
		TotalTime float64 `json:"total_time"`
		PostA     float64 `json:"post_a"`
		PostB     float64 `json:"post_b"`
		Mean      float64
		Median    float64
	} `json:"gamma_exponential"`
	Published struct {
		A, B, Mean, P05, P50, P95 float64
	} `json:"beta_published"`
	Binomial []struct {
		A, B, Hits, Trials  float64
		PostA               float64 `json:"post_a"`
		PostB               float64 `json:"post_b"`
		Mean, P05, P50, P95 float64
	} `json:"beta_binomial"`
	Dirichlet []struct {
		Alpha      []string
		Counts     []float64
		Predictive []string
	}
	Strength []struct {
		P         float64 `json:"prior_p"`
		Cases     float64 `json:"prior_cases"`
		Hits      float64
		Trials    float64
		Posterior float64
	} `json:"prior_strength"`
}

func near(t *testing.T, what string, got, want float64) {
	t.Helper()
	if !(math.Abs(got-want) <= 1e-9*max(1e-3, math.Abs(want))) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

func fraction(t *testing.T, text string) float64 {
	t.Helper()
	x, ok := new(big.Rat).SetString(text)
	if !ok {
		t.Fatalf("%q", text)
	}
	f, _ := x.Float64()
	return f
}

func TestPublishedUpdates(t *testing.T) {
	var x learnCases
	text, err := os.ReadFile("../../testdata/checks/learn_cases.json")
	if err == nil {
		err = json.Unmarshal(text, &x)
	}
	if err != nil {
		t.Fatal(err)
	}
	g := learn.Gamma{A: x.FromTwo.A, B: x.FromTwo.B}
	near(t, "two judgements, 600", g.CDF(1.0/600), 0.5)
	near(t, "two judgements, 250", g.CDF(1.0/250), 0.95)
	// The handbook's own check rounds first: a to 2.863, b to 1522.46, 1/600 to .001667.
	g = learn.Gamma{A: 2.863, B: 1522.46}
	near(t, "the handbook's check, 600", g.CDF(0.001667), x.FromTwo.Check600)
	near(t, "the handbook's check, 250", g.CDF(0.004), x.FromTwo.Check250)

	prior := learn.Gamma(x.Test.Prior)
	post := prior.Add(x.Test.Run.Failures, x.Test.Run.Hours)
	if post != learn.Gamma(x.Test.Posterior) {
		t.Errorf("%+v", post)
	}
	near(t, "test time", 600*learn.Gamma{A: 4, B: 1}.Quantile(0.8)-prior.B, x.Test.TestTime)
	near(t, "median", 1/post.Quantile(0.5), x.Test.Median)
	near(t, "lower 80 %", 1/post.Quantile(0.8), x.Test.Lower80)
	low, high := post.Interval(0.8)
	near(t, "80 % low", 1/high, x.Test.Interval80[0])
	near(t, "80 % high", 1/low, x.Test.Interval80[1])
	near(t, "1/mean", 1/post.Mean(), x.Test.OneOver)
	near(t, "over 600 h", post.CDF(1.0/600), x.Test.Over600)

	for _, row := range x.Poisson {
		post := learn.Gamma{A: row.A, B: row.B}.Add(row.Events, row.Exposure)
		if post.A != row.PostA || post.B != row.PostB {
			t.Errorf("%+v: %+v", row, post)
		}
		near(t, "mean", post.Mean(), row.Mean)
		near(t, "5 %", post.Quantile(0.05), row.P05)
		near(t, "50 %", post.Quantile(0.5), row.P50)
		near(t, "95 %", post.Quantile(0.95), row.P95)
	}
	e := learn.Gamma(x.Exponential.Prior).Add(x.Exponential.N, x.Exponential.TotalTime)
	near(t, "exponential, a", e.A, x.Exponential.PostA)
	near(t, "exponential, b", e.B, x.Exponential.PostB)
	near(t, "exponential, mean", e.Mean(), x.Exponential.Mean)
	near(t, "exponential, median", e.Quantile(0.5), x.Exponential.Median)

	b := learn.Beta{A: x.Published.A, B: x.Published.B}
	for _, c := range [][2]float64{{b.Mean(), x.Published.Mean}, {b.Quantile(0.05), x.Published.P05}, {b.Quantile(0.5), x.Published.P50}, {b.Quantile(0.95), x.Published.P95}} {
		near(t, "published beta", c[0], c[1])
	}
	for _, row := range x.Binomial {
		post := learn.Beta{A: row.A, B: row.B}.Add(row.Hits, row.Trials)
		if post.A != row.PostA || post.B != row.PostB {
			t.Errorf("%+v: %+v", row, post)
		}
		for _, c := range [][2]float64{{post.Mean(), row.Mean}, {post.Quantile(0.05), row.P05}, {post.Quantile(0.5), row.P50}, {post.Quantile(0.95), row.P95}} {
			near(t, "beta and binomial", c[0], c[1])
		}
	}
	for _, row := range x.Dirichlet {
		var d learn.Dirichlet
		for _, a := range row.Alpha {
			d = append(d, fraction(t, a))
		}
		for i := range d {
			near(t, "predictive", d.Add(row.Counts).Of(i).Mean(), fraction(t, row.Predictive[i]))
		}
	}
	for _, row := range x.Strength {
		d := learn.Prior([]float64{row.P, 1 - row.P}, row.Cases).Add([]float64{row.Hits, row.Trials - row.Hits})
		near(t, "worth some cases", d.Of(0).Mean(), row.Posterior)
	}
}

// integral of a density from 0 to x by Simpson's rule, on a scale that is dense at both ends.
func integral(density func(float64) float64, x float64) float64 {
	const steps = 20000
	// u from 0 to 1; y = x·u³(10 - 15u + 6u²), flat where the density may be steep
	f := func(u float64) float64 {
		y := x * u * u * u * (10 - 15*u + 6*u*u)
		if y <= 0 {
			return 0
		}
		return density(y) * x * 30 * u * u * (1 - u) * (1 - u)
	}
	sum := f(0) + f(1)
	for i := 1; i < steps; i++ {
		sum += f(float64(i)/steps) * float64(2+2*(i%2))
	}
	return sum / steps / 3
}

// Two others must agree: a library's quantiles, and plain integration of the density.
func TestIntervalsAgreeWithOthers(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 5))
	for range 300 {
		d := learn.Beta{A: math.Exp(r.Float64()*9 - 2.5), B: math.Exp(r.Float64()*9 - 2.5)}
		peer := distuv.Beta{Alpha: d.A, Beta: d.B}
		low, high := d.Interval(0.95)
		for _, x := range []float64{low, high} {
			if x > 1e-12 && x < 1-1e-12 && !(math.Abs(d.CDF(x)-peer.CDF(x)) <= 1e-10) {
				t.Errorf("%+v at %g: %g, the library has %g", d, x, d.CDF(x), peer.CDF(x))
			}
		}
		if got := d.CDF(high) - d.CDF(low); !(math.Abs(got-0.95) <= 1e-9) && high < 1-1e-9 {
			t.Errorf("%+v: from %g to %g lie %g", d, low, high, got)
		}
		if d.A > 0.6 && d.B > 0.6 {
			if sum := integral(peer.Prob, low); !(math.Abs(sum-0.025) <= 1e-5) {
				t.Errorf("%+v: below %g lie %g", d, low, sum)
			}
		}
		g := learn.Gamma{A: math.Exp(r.Float64()*6 - 1), B: math.Exp(r.Float64()*4 - 2)}
		gp := distuv.Gamma{Alpha: g.A, Beta: g.B}
		for _, q := range []float64{0.025, 0.5, 0.975} {
			if x := g.Quantile(q); !(math.Abs(gp.CDF(x)-q) <= 1e-9) {
				t.Errorf("%+v: the quantile %g is %g, and the library has %g there", g, q, x, gp.CDF(x))
			}
		}
	}
}

// One batch is the same cases one by one, in any order.
func TestUpdatesKnowNoOrder(t *testing.T) {
	d := learn.Prior([]float64{0.6, 0.3, 0.1}, 7)
	all := d.Add([]float64{2, 0, 3})
	one := d
	for _, v := range []int{2, 0, 2, 0, 2} {
		counts := make([]float64, 3)
		counts[v] = 1
		one = one.Add(counts)
	}
	for i := range all {
		near(t, "order", one[i], all[i])
	}
}
