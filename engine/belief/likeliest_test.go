package belief_test

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"downdrop/engine/belief"
	"downdrop/testdata/support"
)

func randomWeights(r *rand.Rand) (weight []float64, total float64) {
	for range 1 + r.IntN(60) {
		w := 0.0
		switch r.IntN(6) {
		case 0:
		case 1:
			w = 0.25
		case 2:
			w = math.Ldexp(1+float64(r.IntN(3)), -r.IntN(60))
		default:
			w = r.Float64() * math.Pow(10, -14*r.Float64())
		}
		weight = append(weight, w)
		total += w
	}
	return weight, total
}

// The likeliest are the heaviest, equals by place, and no more than are needed
// for the share; compared with sorting them all.
func TestLikeliestAreTheFewestThatHoldTheShare(t *testing.T) {
	for seed := range support.Deep(t, 300) {
		r := rand.New(rand.NewPCG(uint64(seed), 11))
		weight, total := randomWeights(r)
		var want []int32
		for i, w := range weight {
			if w > 0 {
				want = append(want, int32(i))
			}
		}
		slices.SortFunc(want, func(a, b int32) int { return cmp.Or(cmp.Compare(weight[b], weight[a]), cmp.Compare(a, b)) })
		share := []float64{0.5, 0.9, 0.999, 1}[r.IntN(4)]
		if sum := 0.0; share < 1 {
			for n, i := range want {
				if sum += weight[i]; sum >= total*share {
					want = want[:n+1]
					break
				}
			}
		}
		b := &belief.Belief{Weight: weight}
		if got := b.Likeliest(share); !slices.Equal(got, want) {
			t.Fatalf("seed %d: share %v of %v: %v, want %v", seed, share, weight, got, want)
		}
	}
}

// What does not matter weighs, all together, no more than the share; what does
// is in order, and nothing left out is heavier than something that is not.
func TestMatterLeavesOutLittle(t *testing.T) {
	for seed := range support.Deep(t, 300) {
		r := rand.New(rand.NewPCG(uint64(seed), 12))
		weight, total := randomWeights(r)
		share := math.Pow(10, -12*r.Float64())
		kept := belief.Matter(weight, share)
		left, heaviest, lightest := 0.0, 0.0, math.Inf(1)
		for i, w := range weight {
			if slices.Contains(kept, int32(i)) {
				lightest = min(lightest, w)
			} else {
				left += w
				heaviest = max(heaviest, w)
			}
		}
		if left > total*share || !slices.IsSorted(kept) || lightest == 0 || heaviest > lightest {
			t.Fatalf("seed %d: of %v, %v are kept; %v is left out of %v", seed, weight, kept, left, total)
		}
	}
}
