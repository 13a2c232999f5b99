package learn

import (
	"math"
	"sort"

	"downdrop/engine/special"
)

// A Beta is the distribution of a chance.
type Beta struct{ A, B float64 }

// Add is the distribution after trials of which some hit.
func (d Beta) Add(hits, trials float64) Beta { return Beta{d.A + hits, d.B + trials - hits} }

// Mean is its mean.
func (d Beta) Mean() float64 { return d.A / (d.A + d.B) }

// CDF is the chance of at most x: the regularized incomplete beta function.
func (d Beta) CDF(x float64) float64 {
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case d.A <= 0: // all of it at 0
		return 1
	case d.B <= 0:
		return 0
	}
	return special.Beta(x, 1-x, d.A, d.B)
}

// Quantile is where the CDF reaches q.
func (d Beta) Quantile(q float64) float64 { return solve(d.CDF, q, 0, 1) }

// Interval holds the level of the distribution, as much left out below as above.
func (d Beta) Interval(level float64) (low, high float64) {
	return d.Quantile((1 - level) / 2), d.Quantile((1 + level) / 2)
}

// solve finds where a rising function reaches q, by halving on the scale on which a
// double is dense: chances near 0 keep their digits.
func solve(cdf func(float64) float64, q, low, high float64) float64 {
	for range 2000 {
		mid := (low + high) / 2
		if low > 0 && high/low > 2 {
			mid = math.Sqrt(low * high)
		} else if low == 0 && high > 1e-300 {
			mid = high / 16
		}
		if mid <= low || mid >= high {
			break
		}
		if cdf(mid) < q {
			low = mid
		} else {
			high = mid
		}
	}
	return (low + high) / 2
}

// A Gamma is the distribution of a rate: A events in B of exposure.
type Gamma struct{ A, B float64 }

// Add is the distribution after so many events in so much more exposure.
func (d Gamma) Add(events, exposure float64) Gamma { return Gamma{d.A + events, d.B + exposure} }

// Mean is its mean.
func (d Gamma) Mean() float64 { return d.A / d.B }

// CDF is the chance of a rate of at most x: the regularized incomplete gamma function.
func (d Gamma) CDF(x float64) float64 {
	if x *= d.B; x <= 0 {
		return 0
	}
	g, _ := math.Lgamma(d.A)
	front := math.Exp(d.A*math.Log(x) - x - g)
	if x < d.A+1 { // the series of 6.5.29 of Abramowitz and Stegun, from memory
		sum, t := 1/d.A, 1/d.A
		for n := 1; n < 100_000 && t > 1e-17*sum; n++ {
			t *= x / (d.A + float64(n))
			sum += t
		}
		return front * sum
	}
	// The continued fraction of 6.5.31, in its even form.
	return 1 - front*special.Fraction(func(n int) (num, den float64) {
		k := float64(n - 1)
		if n == 1 {
			return 1, x + 1 - d.A
		}
		return -k * (k - d.A), x + 2*k + 1 - d.A
	})
}

// Quantile is where the CDF reaches q.
func (d Gamma) Quantile(q float64) float64 {
	high := (d.A + 1) / d.B
	for d.CDF(high) < q {
		high *= 2
	}
	return solve(d.CDF, q, 0, high)
}

// Interval holds the level of the distribution, as much left out below as above.
func (d Gamma) Interval(level float64) (low, high float64) {
	return d.Quantile((1 - level) / 2), d.Quantile((1 + level) / 2)
}

// A Dirichlet is the distribution of the chances of several things of which one happens.
type Dirichlet []float64

// Prior makes chances a distribution that is worth so many cases.
func Prior(p []float64, cases float64) Dirichlet {
	d := make(Dirichlet, len(p))
	for i, x := range p {
		d[i] = x * cases
	}
	return d
}

// Add is the distribution after so many more of each.
func (d Dirichlet) Add(counts []float64) Dirichlet {
	sum := make(Dirichlet, len(d))
	for i := range d {
		sum[i] = d[i] + counts[i]
	}
	return sum
}

// Total is what it is worth.
func (d Dirichlet) Total() float64 {
	sum := 0.0
	for _, a := range d {
		sum += a
	}
	return sum
}

// Of is the distribution of one of the chances.
func (d Dirichlet) Of(i int) Beta { return Beta{d[i], d.Total() - d[i]} }

// trials are reports of one sureness: so many of a value, so many of others.
type trials struct{ sure, hits, misses float64 }

// unsure is a chance after reports that may be wrong: mean and interval of the beta distribution
// times what the reports are likely to be, by the trapezoid rule on a scale that is dense at both ends.
func unsure(prior Beta, all []trials, values int, level float64) (mean, low, high float64) {
	const steps = 4000
	var xs, logs [steps - 1]float64
	most := math.Inf(-1)
	for i := range xs {
		u := float64(i+1) / steps
		x := u * u * u * (10 - 15*u + 6*u*u)
		rest := (1 - u) * (1 - u) * (1 - u) * (1 + 3*u + 6*u*u) // 1 - x, with all its digits
		log := (prior.A-1)*math.Log(x) + (prior.B-1)*math.Log(rest) + 2*math.Log(u*(1-u))
		for _, t := range all {
			wrong := (1 - t.sure) / float64(values)
			log += t.hits*math.Log(t.sure*x+wrong) + t.misses*math.Log(t.sure*rest+(1-t.sure)-wrong)
		}
		xs[i], logs[i] = x, log
		most = max(most, log)
	}
	var sums [steps]float64
	for i := range xs {
		w := math.Exp(logs[i] - most)
		mean += w * xs[i]
		sums[i+1] = sums[i] + w
	}
	total := sums[steps-1]
	at := func(q float64) float64 {
		i := sort.SearchFloat64s(sums[:], q*total) - 1 // the mass of i lies around xs[i]
		if i <= 0 {
			return xs[0]
		}
		part := (q*total - sums[i]) / (sums[i+1] - sums[i])
		before, here := (xs[i-1]+xs[i])/2, xs[i]
		if i+1 < len(xs) {
			here = (xs[i] + xs[i+1]) / 2
		}
		return before + part*(here-before)
	}
	return mean / total, at((1 - level) / 2), at((1 + level) / 2)
}

// manyTrials is from how many trials on the normal distribution stands for the exact one.
const manyTrials = 2000

// tail is how likely as few hits, or as many, are as were counted, whichever is less likely, where each
// trial hits with its own chance (the Poisson binomial distribution, by going over the trials).
func tail(each []float64, hits int) float64 {
	mean, variance := 0.0, 0.0
	for _, p := range each {
		mean += p
		variance += p * (1 - p)
	}
	if len(each) > manyTrials {
		if variance == 0 {
			return 1
		}
		distance := math.Max(0, math.Abs(float64(hits)-mean)-0.5)
		return math.Erfc(distance/math.Sqrt(2*variance)) / 2
	}
	below := make([]float64, hits+1) // by number of hits so far
	below[0] = 1
	for _, p := range each {
		for k := hits; k >= 0; k-- {
			below[k] *= 1 - p
			if k > 0 {
				below[k] += below[k-1] * p
			}
		}
	}
	few := 0.0
	for _, p := range below {
		few += p
	}
	return math.Min(few, math.Min(1, 1-few+below[hits]))
}
