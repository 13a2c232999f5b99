package belief

import (
	"sync"

	"downdrop/engine/hypothesis"
)

// A Sorting is how all sets of causes that there are show symptoms: a symptom is
// sorted once, when it is first asked for, and serves every belief over those sets,
// whatever was seen and done. It may be shared by goroutines.
type Sorting struct {
	mu      sync.Mutex
	settled *hypothesis.Settled
	desk    Desk
	kinds   []int32 // of the symptom that is being sorted
	sorted  map[*Symptom]*Sorted
}

// Sorted is one symptom: by place in the space its kind, and what a kind shows.
type Sorted struct {
	Of []uint16
	P  [][]float64
}

// mostSorted bounds the sets of which it is kept: two bytes for each set and symptom.
const mostSorted = 1 << 16

// NewSorting makes the sorting of an enumerated space, settled; nil where there are
// too many sets to keep it.
func NewSorting(settled *hypothesis.Settled) *Sorting {
	if !settled.Space.Distinct() || settled.Space.Len() > mostSorted {
		return nil
	}
	return &Sorting{settled: settled.Fork(), sorted: map[*Symptom]*Sorted{}}
}

// Of gives a symptom sorted, nil where it has too many kinds.
func (s *Sorting) Of(symptom *Symptom) *Sorted {
	s.mu.Lock()
	defer s.mu.Unlock()
	if one, ok := s.sorted[symptom]; ok {
		return one
	}
	if s.kinds == nil {
		s.kinds = make([]int32, s.settled.Space.Len())
	}
	kinds := symptom.sortOnto(s.settled, &s.desk, s.kinds)
	var one *Sorted
	if len(kinds.P) <= 1<<16 {
		one = &Sorted{Of: make([]uint16, len(kinds.Of)), P: kinds.P}
		for i, k := range kinds.Of {
			one.Of[i] = uint16(k)
		}
	}
	s.sorted[symptom] = one
	return one
}

// At are the kinds of the sets at the places given, as [Symptom.Sort] gives them,
// written to a list of the same length.
func (s *Sorted) At(places, kind []int32) Kinds {
	for i, p := range places {
		kind[i] = int32(s.Of[p])
	}
	return Kinds{Of: kind, P: s.P}
}

// Use has a belief over the sorting's space look kinds up instead of working them out.
func (b *Belief) Use(s *Sorting) *Belief {
	if s != nil && s.settled.Space == b.Now {
		b.sorting = s
	}
	return b
}

// sorted is a symptom by the sets of causes now, nil where it has to be worked out.
func (b *Belief) sorted(s *Symptom) *Sorted {
	if b.sorting == nil {
		return nil
	}
	return b.sorting.Of(s)
}

// Gathered is the belief in each set of causes now, however it came about: worlds in
// which work left the same causes are one. It knows nothing of how the case began. b
// itself where all worlds differ.
func (b *Belief) Gathered() *Belief {
	if b.places == nil {
		return b
	}
	space := b.sorting.settled.Space
	g := &Belief{Began: space, Now: space, Settled: b.sorting.settled.Fork(), Outside: b.Outside, Exponent: b.Exponent, system: b.system, desk: b.desk, sorting: b.sorting}
	g.Weight = make([]float64, space.Len())
	for i, w := range b.Weight {
		g.Weight[b.places[i]] += w
	}
	return g
}

// Sorting is what the belief uses, nil where it has none.
func (b *Belief) Sorting() *Sorting { return b.sorting }

// Places is where the sorting's space holds each world of another one.
func (s *Sorting) Places(of *hypothesis.Space) []int32 { return s.settled.Space.Places(of) }

// Kinds gives the kinds of worlds in which a symptom shows the same, as of now: what a
// kind shows, and its share of the belief. What is missing to 1 is outside.
func (b *Belief) Kinds(s *Symptom) (share []float64, shows [][]float64) {
	total := b.Total()
	sorted := b.sorted(s)
	if sorted == nil {
		kinds := s.Sort(b.Settled, &Desk{})
		share = make([]float64, len(kinds.P))
		for i, k := range kinds.Of {
			share[k] += b.Weight[i]
		}
		shows = kinds.P
	} else {
		share, shows = make([]float64, len(sorted.P)), sorted.P
		for i, w := range b.Weight {
			p := i
			if b.places != nil {
				p = int(b.places[i])
			}
			share[sorted.Of[p]] += w
		}
	}
	for k := range share {
		share[k] /= total
	}
	return share, shows
}
