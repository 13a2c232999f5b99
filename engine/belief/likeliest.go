package belief

import (
	"cmp"
	"math"
	"slices"
)

// likeliest picks by exponent first: worlds are put into buckets by their power
// of two, and only the buckets that can matter are sorted.
func likeliest(weight []float64, share float64) []int32 {
	var mass [buckets]float64
	total := byExponent(weight, &mass)
	enough := total * share
	low, sum := len(mass)-1, 0.0
	for ; low >= 0; low-- {
		sum += mass[low]
		if share < 1 && sum >= enough {
			break
		}
	}
	places := placesFrom(weight, low)
	slices.SortFunc(places, func(a, b int32) int {
		return cmp.Or(cmp.Compare(weight[b], weight[a]), cmp.Compare(a, b))
	})
	if share >= 1 {
		return places
	}
	sum = 0
	for n, i := range places {
		sum += weight[i]
		if sum >= enough {
			return places[:n+1]
		}
	}
	return places
}

// bucket is the binary exponent of a positive number, from 0.
func bucket(w float64) int { return int(math.Float64bits(w)>>52) & (buckets - 1) }

// buckets is how many binary exponents a float64 can have.
const buckets = 0x800

// byExponent adds weights up, those of each bucket and all of them.
func byExponent(weight []float64, mass *[buckets]float64) (total float64) {
	for _, w := range weight {
		total += w
		if w > 0 {
			mass[bucket(w)] += w
		}
	}
	return total
}

// placesFrom are the places, in order, of the weights in a bucket and those above it.
func placesFrom(weight []float64, low int) []int32 {
	var places []int32
	for i, w := range weight {
		if w > 0 && bucket(w) >= low {
			places = append(places, int32(i))
		}
	}
	return places
}

// Matter gives the places of worlds, in order, leaving out those so unlikely
// that all left out together weigh at most the share of the total given.
func Matter(weight []float64, share float64) []int32 {
	var mass [buckets]float64
	total := byExponent(weight, &mass)
	low, sum := 0, 0.0
	for low < len(mass) && sum+mass[low] <= total*share {
		sum += mass[low]
		low++
	}
	return placesFrom(weight, low)
}
