package belief

import (
	"cmp"
	"math"
	"slices"
)

// A Bearing is what one observation can do to a set that is not held.
type Bearing struct {
	// Causes are those that can change the observation's probability.
	Causes map[int]bool
	// Base is its probability where none of them is present, Most the largest any set can give it.
	Base, Most float64
}

// Bear works out the bearing of an observation. influence is the causes behind
// each condition (hypothesis.System.Influence); base the observation's
// probability in the empty set.
func Bear(o Observation, influence []map[int]bool, base float64) Bearing {
	causes := map[int]bool{}
	o.Symptom.Reads(func(n int) { causes[n] = true }, func(n int) {
		for c := range influence[n] {
			causes[c] = true
		}
	})
	most := unsure(o.Symptom.most(o.Value), o.Sure, o.Symptom.values)
	return Bearing{causes, base, max(base, most)}
}

// told is how many observations the bound tells apart; for the others it takes
// the largest probability whatever the set.
const told = 12

// LeftOut bounds from above the mass, after the observations, of all sets of
// from to atMost causes, before scaling (as [TotalPrior]).
//
// In a set none of whose causes bears on an observation its probability is that
// in the empty set; in any other at most the largest of any set. So what
// matters of a set is which observations its causes bear on, and the prior mass
// of the sets of m causes that bear on exactly the observations F is a sum that
// grows cause by cause: a table over m and F, as in the trigger sweep for noisy
// ors. No set is looked at by itself, so the cost does not grow with their number.
func LeftOut(odds []float64, together float64, from, atMost int, bearings []Bearing) float64 {
	if from > atMost {
		return 0
	}
	always := 1.0
	ranked := slices.Clone(bearings)
	slices.SortStableFunc(ranked, func(a, b Bearing) int { return cmp.Compare(gap(b), gap(a)) })
	for len(ranked) > told {
		always *= ranked[len(ranked)-1].Most
		ranked = ranked[:len(ranked)-1]
	}
	size := 1 << len(ranked)
	mass := make([][]float64, atMost+1)
	for m := range mass {
		mass[m] = make([]float64, size)
	}
	mass[0][0] = 1
	for c, o := range odds {
		bears := 0
		for i, r := range ranked {
			if r.Causes[c] {
				bears |= 1 << i
			}
		}
		for m := atMost; m > 0; m-- {
			for f, below := range mass[m-1] {
				if below != 0 {
					mass[m][f|bears] += float64(below * o)
				}
			}
		}
	}
	sum := 0.0
	for m := from; m <= atMost; m++ {
		tied := math.Pow(together, float64(max(m-1, 0)))
		for f, w := range mass[m] {
			if w != 0 {
				sum += float64(w * tied * ceiling(ranked, f))
			}
		}
	}
	return sum * always * (1 + 1e-9) // more than its rounding can lose
}

// gap is how much is lost by taking an observation's largest probability for every set.
func gap(b Bearing) float64 {
	if b.Base == 0 {
		return math.Inf(1)
	}
	return b.Most / b.Base
}

func ceiling(ranked []Bearing, f int) float64 {
	p := 1.0
	for i, r := range ranked {
		if f>>i&1 == 1 {
			p *= r.Most
		} else {
			p *= r.Base
		}
	}
	return p
}
