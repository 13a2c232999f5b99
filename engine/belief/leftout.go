package belief

import (
	"cmp"
	"math"
	"math/bits"
	"slices"

	"downdrop/engine/hypothesis"
)

// A Bearing is what one observation can do to a set that is not held.
type Bearing struct {
	// Causes are those without one of which no set raises the observation's
	// probability above Base.
	Causes map[int]bool
	// Base is its probability where no cause is present, Most the largest any set can give it.
	Base, Most float64
}

// Bear works out the bearing of an observation. influence is the causes behind
// each condition (hypothesis.System.Influence); empty is the conditions settled
// for the empty set alone.
//
// For a set to give a value more than the empty set does, another row has to
// count: one that gives more and that the set switches on, or any, where the set
// switches off the row that counts for the empty set. So only causes behind
// those rows bear.
func Bear(o Observation, influence []map[int]bool, empty *hypothesis.Settled) Bearing {
	s := o.Symptom
	b := Bearing{Causes: map[int]bool{}}
	behind := func(f *hypothesis.Formula) {
		f.Reads(func(n int) { b.Causes[n] = true }, func(n int) {
			for c := range influence[n] {
				b.Causes[c] = true
			}
		})
	}
	holds := func(f *hypothesis.Formula) bool {
		return f.Holds(func(int) bool { return false }, func(n int) bool { return empty.Column(n)[0]&1 == 1 })
	}
	if o.Among != 0 {
		// The largest of a sum is at most the sum of the largest.
		low := (1 - o.Sure) * float64(bits.OnesCount64(o.Among)) / float64(s.values)
		b.Base, b.Most = low, low
		for rest := o.Among; rest != 0; rest &= rest - 1 {
			value, most := s.bear(bits.TrailingZeros64(rest), holds, behind)
			b.Base += float64(o.Sure * value)
			b.Most += float64(o.Sure * most)
		}
		b.Most = max(b.Base, min(b.Most, 1))
		return b
	}
	value, most := s.bear(o.Value, holds, behind)
	b.Base = unsure(value, o.Sure, s.values)
	b.Most = max(b.Base, unsure(most, o.Sure, s.values))
	return b
}

// bear gives a value's probability in the empty set and the largest that any set
// can give it, and calls behind for the rows that could raise it.
func (s *Symptom) bear(value int, holds func(*hypothesis.Formula) bool, behind func(*hypothesis.Formula)) (base, most float64) {
	if s.independent {
		no := 1.0
		for _, r := range s.rows {
			on := holds(r.When)
			if on {
				no *= 1 - r.P[s.yes]
			}
			// Yes is raised by switching rows on, no by switching rows off.
			if on != (value == s.yes) {
				behind(r.When)
			}
		}
		if value == s.yes {
			return 1 - no, s.most(value)
		}
		return no, s.most(value)
	}
	counts := 0
	for !holds(s.rows[counts].When) {
		counts++
	}
	base = s.rows[counts].P[value]
	for i, r := range s.rows {
		if i == counts {
			behind(r.When)
		} else if r.P[value] > base {
			behind(r.When)
		}
	}
	return base, s.most(value)
}

// told is how many observations the bound tells apart; for the others it takes
// the largest probability whatever the set.
const told = 12

// LeftOut bounds from above the mass, after the observations, of all sets of
// from to atMost causes, before scaling (as [TotalPrior]).
//
// In a set none of whose causes bears on an observation its probability is at
// most that in the empty set; in any other at most the largest of any set. So what
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
