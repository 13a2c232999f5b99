package plan

import (
	"encoding/binary"
	"slices"

	"downdrop/engine/hypothesis"
)

// outcomes numbers what there is to do in the worlds at the places given: the
// set of their causes' lists of remedies.
func outcomes(space *hypothesis.Space, places []int32, lists []int) []int32 {
	if space.Distinct() && allDiffer(lists) {
		of := make([]int32, len(places))
		for i := range of {
			of[i] = int32(i)
		}
		return of
	}
	packed := map[uint64]int32{}
	spelled := map[string]int32{}
	next := int32(0)
	var key []int
	var text []byte
	of := make([]int32, len(places))
	for i, w := range places {
		key = key[:0]
		for _, c := range space.Set(int(w)) {
			if at, twice := slices.BinarySearch(key, lists[c]); !twice {
				key = slices.Insert(key, at, lists[c])
			}
		}
		n, ok := int32(0), false
		if len(key) <= 4 && (len(key) == 0 || key[len(key)-1] < 1<<16-1) {
			p := uint64(0)
			for _, l := range key {
				p = p<<16 | uint64(l+1)
			}
			if n, ok = packed[p]; !ok {
				packed[p] = next
			}
		} else {
			text = text[:0]
			for _, l := range key {
				text = binary.LittleEndian.AppendUint32(text, uint32(l))
			}
			if n, ok = spelled[string(text)]; !ok {
				spelled[string(text)] = next
			}
		}
		if !ok {
			n = next
			next++
		}
		of[i] = n
	}
	return of
}

func allDiffer(lists []int) bool {
	seen := map[int]bool{}
	for _, l := range lists {
		if seen[l] {
			return false
		}
		seen[l] = true
	}
	return true
}

// byOutcome puts places in the order of their outcomes, so that a gain is one
// walk along the worlds; class is the outcome of each, in that order.
func byOutcome(space *hypothesis.Space, places []int32, lists []int) (sorted, class []int32) {
	of := outcomes(space, places, lists)
	most := int32(-1)
	for _, c := range of {
		most = max(most, c)
	}
	at := make([]int32, most+2)
	for _, c := range of {
		at[c+1]++
	}
	for c := range most + 1 {
		at[c+1] += at[c]
	}
	sorted, class = make([]int32, len(places)), make([]int32, len(places))
	for i, c := range of {
		sorted[at[c]], class[at[c]] = places[i], c
		at[c]++
	}
	return sorted, class
}

func (s *Scene) outcomeEntropy() float64 {
	mass := []float64{s.wide.outside}
	for i, w := range s.wide.weight {
		if i == 0 || s.class[i] != s.class[i-1] {
			mass = append(mass, 0)
		}
		mass[len(mass)-1] += w
	}
	return bits(mass)
}

// Gain is the mutual information between what to do and what the action shows,
// in bits: H(results) - sum over outcomes P(o) H(results given o). That needs
// no logarithm for each world: within an outcome whose worlds are all of one
// kind the conditional entropy is that kind's, known beforehand.
func (s *Scene) Gain(a *Action) float64 {
	if len(a.Views) == 0 && !a.Watched {
		return 0
	}
	s.forGains()
	r := s.results(s.wide, a)
	class := s.class
	if r.from != nil {
		// Branches stand in the order of the worlds they come from.
		class = make([]int32, len(r.from))
		for i, f := range r.from {
			class[i] = s.class[f]
		}
	}
	mass := make([]float64, len(r.p))
	for i, k := range r.kind {
		mass[k] += r.stage.weight[i]
	}
	all := make([]float64, r.n)
	for k, m := range mass {
		for v, p := range r.p[k] {
			all[v] += float64(m * p)
		}
	}
	for v, p := range r.outside {
		all[v] += float64(r.stage.outside * p)
	}
	gain := bits(all) - r.within(class) - float64(r.stage.outside*bits(r.outside))
	return min(max(gain, 0), s.entropy)
}

// within is the mean entropy of the results given the outcome, listed outcomes only.
func (r *results) within(class []int32) float64 {
	sum := 0.0
	mix := make([]float64, r.n)
	byKind := make([]float64, len(r.p))
	var kinds []int32
	weight, kind := r.stage.weight, r.kind
	for from := 0; from < len(class); {
		c, k := class[from], kind[from]
		to := from + 1
		for to < len(class) && class[to] == c && kind[to] == k {
			to++
		}
		mass := 0.0
		for _, w := range weight[from:to] {
			mass += w
		}
		if to == len(class) || class[to] != c {
			sum += float64(mass * r.entropy[k])
			from = to
			continue
		}
		// Several kinds: their masses first, then one mixture.
		kinds = append(kinds[:0], k)
		byKind[k] = mass
		for ; to < len(class) && class[to] == c; to++ {
			if byKind[kind[to]] == 0 {
				kinds = append(kinds, kind[to])
			}
			byKind[kind[to]] += weight[to]
		}
		sum += r.mixture(kinds, byKind, mix)
		for _, k := range kinds {
			byKind[k] = 0
		}
		from = to
	}
	return sum
}

// mixture is the entropy of a mixture of kinds, times its mass.
func (r *results) mixture(kinds []int32, byKind, mix []float64) float64 {
	if len(kinds) == 1 {
		return byKind[kinds[0]] * r.entropy[kinds[0]]
	}
	clear(mix)
	mass := 0.0
	for _, k := range kinds {
		w := byKind[k]
		mass += w
		for v, p := range r.p[k] {
			mix[v] += float64(w * p)
		}
	}
	return scaledBits(mix, mass)
}
