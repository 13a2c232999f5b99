package bench

import "math"

// Confidence is that of every bound on a share of errors.
const Confidence = 0.95

// Above is the least share that so many wrong ones of n prove not to be exceeded, at the
// confidence: the exact one-sided bound of the binomial law (Clopper and Pearson,
// Biometrika 26, 1934, from memory). For none of n it is 1 - 0.05^(1/n), a little less than
// the trade's rule of three, 3/n.
func Above(wrong, n int) float64 {
	switch {
	case n <= 0 || wrong >= n:
		return 1
	case wrong == 0:
		return -math.Expm1(math.Log(1-Confidence) / float64(n))
	}
	return solve(func(p float64) bool { return atMost(wrong, n, p) > 1-Confidence })
}

// Below is the share that so many wrong ones of n prove to be reached.
func Below(wrong, n int) float64 {
	if wrong <= 0 || n <= 0 {
		return 0
	}
	return solve(func(p float64) bool { return 1-atMost(wrong-1, n, p) < 1-Confidence })
}

// solve finds the share up to which low holds, by halving, in the logarithm: shares of
// errors lie decades apart.
func solve(low func(p float64) bool) float64 {
	a, b := math.Log(1e-18), 0.0
	for range 200 {
		m := (a + b) / 2
		if low(math.Exp(m)) {
			a = m
		} else {
			b = m
		}
	}
	return math.Exp((a + b) / 2)
}

// atMost is the chance of at most k wrong ones of n, each with chance p: the incomplete
// beta function I(1-p; n-k, k+1).
func atMost(k, n int, p float64) float64 {
	return beta(1-p, p, float64(n-k), float64(k+1))
}

// beta is the regularised incomplete beta function at x, with y = 1 - x, by its
// continued fraction (Abramowitz and Stegun 26.5.8, from memory).
func beta(x, y, a, b float64) float64 {
	if x <= 0 {
		return 0
	}
	if y <= 0 {
		return 1
	}
	if x > (a+1)/(a+b+2) {
		return 1 - beta(y, x, b, a)
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	front := math.Exp(lab - la - lb + a*logOf(x, y) + b*logOf(y, x))
	return front * fraction(x, a, b) / a
}

// logOf is the logarithm of x = 1 - y, exact where y is small.
func logOf(x, y float64) float64 {
	if y < 0.5 {
		return math.Log1p(-y)
	}
	return math.Log(x)
}

// fraction is the continued fraction, by Lentz's way.
func fraction(x, a, b float64) float64 {
	const tiny = 1e-300
	guard := func(v float64) float64 {
		if math.Abs(v) < tiny {
			return tiny
		}
		return v
	}
	c := 1.0
	d := 1 / guard(1-(a+b)*x/(a+1))
	h := d
	for i := 1; i < 10_000; i++ {
		m := float64(i)
		even := m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m))
		d = 1 / guard(1+even*d)
		c = guard(1 + even/c)
		h *= d * c
		odd := -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1))
		d = 1 / guard(1+odd*d)
		c = guard(1 + odd/c)
		step := d * c
		if h *= step; math.Abs(step-1) < 1e-15 {
			break
		}
	}
	return h
}

// Needed is how many messages, with so many wrong ones, show that a share is not reached.
func Needed(wrong int, share float64) int {
	low, high := max(1, wrong+1), 1
	for high = low; Above(wrong, high) >= share && high < 1<<40; high *= 2 {
		low = high
	}
	for low < high {
		if m := (low + high) / 2; Above(wrong, m) >= share {
			low = m + 1
		} else {
			high = m
		}
	}
	return high
}
