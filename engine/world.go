package engine

import (
	"iter"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
)

// Worlds gives every set of causes, rising, that may still be present, with its
// probability; a set that work divided comes more than once. What is missing to
// 1 is outside.
func (d *Diagnosis) Worlds() iter.Seq2[[]uint16, float64] {
	return func(yield func([]uint16, float64) bool) {
		b := d.working.belief
		total := b.Total()
		for i, w := range b.Weight {
			if w > 0 && !yield(b.Now.Set(i), w/total) {
				return
			}
		}
	}
}

// Shows gives the probabilities of a symptom's values, in their order, in a world
// with exactly these causes, rising, by the givens as they are known; nil for a
// symptom that no cause shapes.
func (d *Diagnosis) Shows(symptom int, causes []uint16) []float64 {
	s := d.working.session.symptoms[symptom]
	if s == nil {
		return nil
	}
	set := make([]int, len(causes))
	for i, c := range causes {
		set[i] = int(c)
	}
	settled := d.working.session.system.Settle(hypothesis.Of(len(d.Base.Causes), [][]int{set}))
	k := s.Sort(settled, &belief.Desk{})
	return k.P[k.Of[0]]
}
