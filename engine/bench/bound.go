package bench

import (
	"math"

	"downdrop/engine/special"
)

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
	return special.Beta(1-p, p, float64(n-k), float64(k+1))
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
