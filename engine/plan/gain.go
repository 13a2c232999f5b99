package plan

import (
	"slices"
)

// outcomeKey packs the different remedy lists of a world's causes, rising, into
// one number where they fit, else into text.
type outcomeKey struct {
	packed uint64
	text   string
}

func (s *Scene) outcome(set []uint16, lists []int) (outcomeKey, []int) {
	lists = lists[:0]
	for _, c := range set {
		l := s.m.Lists[c]
		at, found := slices.BinarySearch(lists, l)
		if !found {
			lists = slices.Insert(lists, at, l)
		}
	}
	key := outcomeKey{}
	if len(lists) <= 4 && (len(lists) == 0 || lists[len(lists)-1] < 1<<16-1) {
		for _, l := range lists {
			key.packed = key.packed<<16 | uint64(l+1)
		}
		return key, lists
	}
	text := make([]byte, 0, len(lists)*4)
	for _, l := range lists {
		text = append(text, byte(l>>24), byte(l>>16), byte(l>>8), byte(l))
	}
	key.text = string(text)
	return key, lists
}

// sortByOutcome numbers the outcomes of the wide stage's worlds and lists the
// worlds outcome by outcome, so that a gain is one walk along the list.
func (s *Scene) sortByOutcome() {
	n := s.wide.space.Len()
	s.classes = make([]int32, n)
	number := map[outcomeKey]int32{}
	var size []int32
	var lists []int
	var key outcomeKey
	for i := range n {
		key, lists = s.outcome(s.wide.space.Set(i), lists)
		c, ok := number[key]
		if !ok {
			c = int32(len(size))
			number[key] = c
			size = append(size, 0)
		}
		s.classes[i] = c
		size[c]++
	}
	at := make([]int32, len(size))
	for c, sum := 0, int32(0); c < len(size); c++ {
		at[c] = sum
		sum += size[c]
	}
	s.ranked = make([]int32, n)
	for i, c := range s.classes {
		s.ranked[at[c]] = int32(i)
		at[c]++
	}
}

func (s *Scene) outcomeEntropy() float64 {
	var mass []float64
	for _, i := range s.ranked {
		c := int(s.classes[i])
		for len(mass) <= c {
			mass = append(mass, 0)
		}
		mass[c] += s.wide.weight[i]
	}
	return bits(append(mass, s.wide.outside))
}

// Gain is the mutual information between what to do and what the action shows,
// in bits: H(results) - sum over outcomes P(o) H(results given o). That needs
// no logarithm for each world: within an outcome whose worlds are all of one
// kind the conditional entropy is that kind's, known beforehand.
func (s *Scene) Gain(a *Action) float64 {
	if len(a.Views) == 0 && !a.Watched {
		return 0
	}
	r := s.results(s.wide, a)
	class, order := s.classes, s.ranked
	if r.from != nil {
		class, order = s.branched(r.from)
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
	gain := bits(all) - r.within(class, order) - float64(r.stage.outside*bits(r.outside))
	return min(max(gain, 0), s.entropy)
}

// branched carries outcomes and their order over to worlds that divided.
func (s *Scene) branched(from []int32) (class, order []int32) {
	class = make([]int32, len(from))
	first := make([]int32, s.wide.space.Len()+1)
	for i, f := range from {
		class[i] = s.classes[f]
		first[f+1] = int32(i + 1)
	}
	order = make([]int32, 0, len(from))
	for _, f := range s.ranked {
		for i := first[f]; i < first[f+1]; i++ {
			order = append(order, i)
		}
	}
	return class, order
}

// within is the mean entropy of the results given the outcome, listed outcomes only.
func (r *results) within(class, order []int32) float64 {
	sum := 0.0
	mix := make([]float64, r.n)
	for from := 0; from < len(order); {
		to := from + 1
		c, k := class[order[from]], r.kind[order[from]]
		one, mass := true, r.stage.weight[order[from]]
		for ; to < len(order) && class[order[to]] == c; to++ {
			one = one && r.kind[order[to]] == k
			mass += r.stage.weight[order[to]]
		}
		if one {
			sum += float64(mass * r.entropy[k])
		} else {
			sum += r.mixture(order[from:to], mix, mass)
		}
		from = to
	}
	return sum
}

func (r *results) mixture(worlds []int32, mix []float64, mass float64) float64 {
	clear(mix)
	for at := 0; at < len(worlds); {
		// Worlds of one kind often stand together: their weights are added first.
		k, w := r.kind[worlds[at]], 0.0
		for at < len(worlds) && r.kind[worlds[at]] == k {
			w += r.stage.weight[worlds[at]]
			at++
		}
		for v, p := range r.p[k] {
			mix[v] += float64(w * p)
		}
	}
	return scaledBits(mix, mass)
}
