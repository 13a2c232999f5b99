package decide

import (
	"math"
	"math/big"
	"slices"
)

// A Stretch is a part of the way from 0 to 1 on which the same ways are cheapest.
type Stretch struct {
	From, To *big.Rat
	Ways     []int // more than one where they cost the same all along it
}

// Stretches divides the way from 0 to 1 by what is cheapest there, where every cost
// runs straight from its value at 0 to its value at 1. Where one stretch meets the
// next is a break-even point: both are a tie there.
func Stretches(at0, at1 []*big.Rat) []Stretch {
	bounds := []*big.Rat{new(big.Rat), big.NewRat(1, 1)}
	for i := range at0 {
		for j := range i {
			if x := meet(sub(at0[i], at0[j]), sub(at1[i], at1[j])); x != nil {
				bounds = append(bounds, x)
			}
		}
	}
	slices.SortFunc(bounds, (*big.Rat).Cmp)
	bounds = slices.CompactFunc(bounds, func(a, b *big.Rat) bool { return a.Cmp(b) == 0 })
	var all []Stretch
	for i := 1; i < len(bounds); i++ {
		middle := new(big.Rat).Add(bounds[i-1], bounds[i])
		ways := cheapest(Between(at0, at1, middle.Quo(middle, big.NewRat(2, 1)))).Ways
		if n := len(all); n > 0 && slices.Equal(all[n-1].Ways, ways) {
			all[n-1].To = bounds[i]
			continue
		}
		all = append(all, Stretch{bounds[i-1], bounds[i], ways})
	}
	return all
}

// Between is every cost at a place between 0 and 1.
func Between(at0, at1 []*big.Rat, x *big.Rat) []*big.Rat {
	all := make([]*big.Rat, len(at0))
	for i := range at0 {
		d := sub(at1[i], at0[i])
		all[i] = d.Add(d.Mul(d, x), at0[i])
	}
	return all
}

// meet is where a difference that runs straight from d0 to d1 is nought, strictly
// between 0 and 1; nil where it is not.
func meet(d0, d1 *big.Rat) *big.Rat {
	if d0.Sign()*d1.Sign() >= 0 {
		return nil
	}
	return new(big.Rat).Quo(d0, sub(d0, d1))
}

// A Turn is a value of an input at which another way becomes as cheap as the best.
type Turn struct {
	By  *big.Rat // what has to be added to the input; negative below it
	Way int      // that is cheaper beyond
}

// Turns gives the nearest turns below and above, for costs that are straight in an
// input: cost now, and what one unit of the input adds to each. Nil where there is
// none. best is the way that is held to now, one of the cheapest.
func Turns(cost, slope []*big.Rat, best int) (below, above *Turn) {
	for i := range cost {
		gap, bend := sub(cost[i], cost[best]), sub(slope[best], slope[i])
		if i == best || bend.Sign() == 0 {
			continue
		}
		t := &Turn{new(big.Rat).Quo(gap, bend), i}
		if bend.Sign() > 0 {
			if above == nil || t.By.Cmp(above.By) < 0 {
				above = t
			}
		} else if below == nil || t.By.Cmp(below.By) > 0 {
			below = t
		}
	}
	return below, above
}

// MoreThan is the chance that more than n of something happen where mean are
// expected, each for itself: S. D. Poisson's distribution. With the failures expected
// while a unit is away and the spares on the shelf, it is the risk of standing
// without one.
func MoreThan(n int, mean float64) float64 {
	if mean <= 0 || n < 0 {
		if n < 0 {
			return 1
		}
		return 0
	}
	// The tail is summed itself, from its first term on: 1 less the rest would lose
	// every digit of a small risk.
	lg, _ := math.Lgamma(float64(n) + 2)
	term := math.Exp(float64(n+1)*math.Log(mean) - mean - lg)
	if float64(n+1) < mean { // terms still rise: the rest is the shorter sum
		rest, t := 0.0, math.Exp(-mean)
		for k := 0; k <= n; k++ {
			rest += t
			t *= mean / float64(k+1)
		}
		return max(0, 1-rest)
	}
	total := 0.0
	for k := n + 2; term > total*1e-17 && k < n+1_000_000; k++ {
		total += term
		term *= mean / float64(k)
	}
	return min(1, total)
}
