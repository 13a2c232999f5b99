// Package special holds the special functions of mathematics that more than one part of the program
// needs: what a count at the bench proves and what closed cases say of a chance rest on the same one.
package special

import "math"

// Beta is the regularised incomplete beta function I(x; a, b) for a and b above 0, with y = 1 - x given
// apart so that neither loses digits where it is small: by its continued fraction (Abramowitz and Stegun 1964,
// 26.5.8, from memory).
func Beta(x, y, a, b float64) float64 {
	if x <= 0 {
		return 0
	}
	if y <= 0 {
		return 1
	}
	if x > (a+1)/(a+b+2) { // it converges fast only up to here
		return 1 - Beta(y, x, b, a)
	}
	la, _ := math.Lgamma(a)
	lb, _ := math.Lgamma(b)
	lab, _ := math.Lgamma(a + b)
	front := math.Exp(lab - la - lb + a*logOf(x, y) + b*logOf(y, x))
	return front * betaFraction(x, a, b) / a
}

// logOf is the logarithm of x = 1 - y, exact where y is small.
func logOf(x, y float64) float64 {
	if y < 0.5 {
		return math.Log1p(-y)
	}
	return math.Log(x)
}

func betaFraction(x, a, b float64) float64 {
	return Fraction(func(n int) (num, den float64) {
		if n == 1 {
			return 1, 1
		}
		m := float64((n - 1) / 2)
		if n%2 == 0 { // the odd coefficients
			return -(a + m) * (a + b + m) * x / ((a + 2*m) * (a + 2*m + 1)), 1
		}
		return m * (b - m) * x / ((a + 2*m - 1) * (a + 2*m)), 1
	})
}

// Fraction is the continued fraction n1/(d1 + n2/(d2 + ...)) of terms from 1 on, by Lentz's method as
// Thompson and Barnett 1986 have it (from memory).
func Fraction(term func(n int) (num, den float64)) float64 {
	const tiny, enough, most = 1e-300, 1e-16, 100_000
	f, c, d := tiny, tiny, 0.0
	for n := 1; n < most; n++ {
		num, den := term(n)
		if d = den + num*d; d == 0 {
			d = tiny
		}
		if c = den + num/c; c == 0 {
			c = tiny
		}
		d = 1 / d
		f *= c * d
		if math.Abs(c*d-1) < enough {
			break
		}
	}
	return f
}
