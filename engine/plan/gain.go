package plan

import (
	"cmp"
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
// walk along the worlds; ends are where the runs of one outcome end.
func byOutcome(space *hypothesis.Space, places []int32, lists []int) (sorted, ends []int32) {
	return inRuns(places, outcomes(space, places, lists))
}

// byCall puts places in the order of what they ask of a call, and within that of their
// outcomes; calls are where the runs that ask the same end. Worlds of one outcome ask
// for one thing, for that is a matter of their causes' lists.
func byCall(space *hypothesis.Space, places []int32, m *Matters) (sorted, ends, calls []int32) {
	sorted, ends = byOutcome(space, places, m.Lists)
	firsts := make([]int32, len(ends))
	from := int32(0)
	for i, to := range ends {
		firsts[i] = sorted[from]
		from = to
	}
	asks := outcomes(space, firsts, m.Calls)
	order := make([]int32, len(ends))
	for i := range order {
		order[i] = int32(i)
	}
	order, runs := inRuns(order, asks)
	byCall := make([]int32, 0, len(sorted))
	was := ends
	ends, calls = make([]int32, len(was)), make([]int32, len(runs))
	for i, o := range order {
		from := int32(0)
		if o > 0 {
			from = was[o-1]
		}
		byCall = append(byCall, sorted[from:was[o]]...)
		ends[i] = int32(len(byCall))
	}
	for i, r := range runs {
		calls[i] = ends[r-1]
	}
	return byCall, ends, calls
}

// inRuns sorts places by a number that each has, all from 0 on; ends are where the
// runs of one number end.
func inRuns(places, of []int32) (sorted, ends []int32) {
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
	ends = slices.Clone(at[1:])
	sorted = make([]int32, len(places))
	for i, c := range of {
		sorted[at[c]] = places[i]
		at[c]++
	}
	return sorted, ends
}

// entropyOf is that of runs of worlds, and outside.
func (s *Scene) entropyOf(ends []int32) float64 {
	mass := []float64{s.wide.outside}
	from := int32(0)
	for _, to := range ends {
		sum := 0.0
		for _, w := range s.wide.weight[from:to] {
			sum += w
		}
		mass = append(mass, sum)
		from = to
	}
	return bits(mass)
}

// An Outcome is what there is to do, with how likely it is.
type Outcome struct {
	Causes []uint16 // those present in the likeliest of its worlds, rising; all its worlds have the same lists
	Chance float64
	Parts  []Part // its worlds, by how often what there is to do helps; nil where [Matters.Helps] is
}

// A Part is the worlds of an outcome in which what there is to do helps as often.
type Part struct {
	Causes []uint16 // those present in the first of its worlds, rising
	Chance float64
}

// Outcomes are the listed outcomes with a chance of at least least, the likeliest
// first. What is missing to 1 is outside, and the outcomes below.
func (s *Scene) Outcomes(least float64) (all []Outcome, outside float64) {
	s.forGains()
	from := int32(0)
	for _, to := range s.ends {
		sum, best := 0.0, from
		for i := from; i < to; i++ {
			sum += s.wide.weight[i]
			if s.wide.weight[i] > s.wide.weight[best] {
				best = i
			}
		}
		if sum >= least {
			all = append(all, Outcome{s.wide.space.Set(int(best)), sum, s.parts(from, to)})
		}
		from = to
	}
	slices.SortStableFunc(all, func(a, b Outcome) int { return cmp.Compare(significant(b.Chance), significant(a.Chance)) })
	return all, s.wide.outside
}

// parts are some worlds by how often each of their causes is helped. Two causes of one kind count
// twice: each has to be taken away.
func (s *Scene) parts(from, to int32) (all []Part) {
	if s.m.Helps == nil {
		return nil
	}
	at := map[uint64]int{}
	for i := from; i < to; i++ {
		set := s.wide.space.Set(int(i))
		key := uint64(0) // a sum of hashes: the causes have no order
		for _, c := range set {
			key += scattered(uint64(s.m.Helps[c]))
		}
		k, known := at[key]
		if !known {
			k = len(all)
			at[key] = k
			all = append(all, Part{Causes: set})
		}
		all[k].Chance += s.wide.weight[i]
	}
	return all
}

// scattered makes a number of 64 bits of each small one, no two sums of a few of which are equal but by a
// chance of one in 10^19 (the finalizer of SplitMix64: Steele, Lea and Flood 2014, from memory).
func scattered(x uint64) uint64 {
	x += 0x9e3779b97f4a7c15
	x = (x ^ x>>30) * 0xbf58476d1ce4e5b9
	x = (x ^ x>>27) * 0x94d049bb133111eb
	return x ^ x>>31
}

// Gains are the mutual information between what to do and what the action shows,
// in bits: H(results) - sum over outcomes P(o) H(results given o), which needs
// no logarithm for each world: within an outcome whose worlds are all of one
// kind the conditional entropy is that kind's, known beforehand. And, by phone, that between what the end of
// the call has to be ([Matters.Calls]) and what the action shows.
func (s *Scene) Gains(a *Action) (gain, call float64) {
	if len(a.Views) == 0 && !a.Watched {
		return 0, 0
	}
	s.forGains()
	r := s.results(s.wide, a)
	if s.m.Calls != nil {
		call = r.gain(s.calls, s.callEntropy)
	}
	return r.gain(s.ends, s.entropy), call
}

// CallEntropy is that of what the end of a call has to be, in bits.
func (s *Scene) CallEntropy() float64 {
	s.forGains()
	return s.callEntropy
}

// gain is what the results tell of which run of worlds, in bits.
func (r *results) gain(ends []int32, most float64) float64 {
	if r.from != nil {
		ends = branchedEnds(ends, r.from)
	}
	within, mass := r.within(ends)
	all := make([]float64, r.n)
	for k, m := range mass {
		for v, p := range r.p[k] {
			all[v] += float64(m * p)
		}
	}
	for v, p := range r.outside {
		all[v] += float64(r.stage.outside * p)
	}
	gain := bits(all) - within - float64(r.stage.outside*bits(r.outside))
	if gain < rounding {
		return 0
	}
	return min(gain, most)
}

// rounding is what the sums of a gain may be off by: a step that gains less tells nothing, and so is no better
// than another that tells nothing.
const rounding = 1e-12

// branchedEnds are the ends of the outcomes' runs among worlds that divided:
// branches stand in the order of the worlds they come from.
func branchedEnds(ends, from []int32) []int32 {
	branched := make([]int32, 0, len(ends))
	i := int32(0)
	for _, end := range ends {
		for int(i) < len(from) && from[i] < end {
			i++
		}
		branched = append(branched, i)
	}
	return branched
}

// within is the mean entropy of the results given the outcome, listed outcomes
// only, and the mass of every kind. Worlds of one outcome stand in a run; ends
// are where the runs end.
func (r *results) within(ends []int32) (sum float64, mass []float64) {
	mass = make([]float64, len(r.p))
	mix := make([]float64, r.n)
	byKind := make([]float64, len(r.p))
	kinds := make([]int32, 0, len(r.p))
	from := int32(0)
	for _, to := range ends {
		weight, kind := r.stage.weight[from:to], r.kind[from:to]
		from = to
		if len(weight) == 1 {
			k, w := kind[0], weight[0]
			mass[k] += w
			sum += float64(w * r.entropy[k])
			continue
		}
		kinds = kinds[:0]
		for i, w := range weight {
			k := kind[i]
			if byKind[k] == 0 {
				kinds = append(kinds, k)
			}
			byKind[k] += w
		}
		sum += r.mixture(kinds, byKind, mix)
		for _, k := range kinds {
			mass[k] += byKind[k]
			byKind[k] = 0
		}
	}
	return sum, mass
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
