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

// A Report is what was seen of a symptom and counts: of several in one state of work the
// surest, then the last.
type Report struct {
	Symptom int
	Value   int // the place in Symptom.Values
	State   int // after so many pieces of work
	Sure    float64
}

// Reports gives the reports that were weighed and that a person made with one value each: none
// that rules derived, nor the complaint that nobody had to give.
func (d *Diagnosis) Reports() []Report {
	var all []Report
	for i := range d.working.pieces {
		p := &d.working.pieces[i]
		if p.isReport() && p.rule < 0 && !p.silent && p.among == 0 && p.value >= 0 {
			all = append(all, Report{p.symptom, p.value, p.state, p.sure})
		}
	}
	return all
}

// Row is the row of a symptom that counts where exactly these causes, rising, are there, by the
// givens as they are known; -1 where none holds, or several may (combine: independent).
func (d *Diagnosis) Row(symptom int, causes []uint16) int {
	s := &d.Base.Symptoms[symptom]
	if s.Independent {
		return -1
	}
	set := make([]int, len(causes))
	for i, c := range causes {
		set[i] = int(c)
	}
	settled := d.working.session.system.Settle(hypothesis.Of(len(d.Base.Causes), [][]int{set}))
	c := converter{base: d.Base, slots: d.working.known.result.Slots}
	column := make([]uint64, 1)
	for i, row := range s.Shows {
		settled.Evaluate(c.formula(row.When), column)
		if column[0]&1 == 1 {
			return i
		}
	}
	return -1
}
