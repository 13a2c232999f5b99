package belief

import (
	"math/bits"

	"downdrop/engine/hypothesis"
)

// A Symptom is how the values of a symptom depend on the world. It is never
// changed once made.
type Symptom struct {
	values      int
	rows        []Row
	independent bool
	yes         int
}

// A Row says: where When holds, the values have the probabilities P, which sum to 1.
type Row struct {
	When *hypothesis.Formula
	P    []float64
}

// FirstMatch makes a symptom of which the first row that holds counts; where
// none does, all values are equally likely. Rows that can never count are dropped.
func FirstMatch(values int, rows []Row) *Symptom {
	s := &Symptom{values: values}
	for _, r := range rows {
		holds, constant := r.When.Constant()
		if constant && !holds {
			continue
		}
		s.rows = append(s.rows, r)
		if constant {
			return s
		}
	}
	uniform := make([]float64, values)
	for i := range uniform {
		uniform[i] = 1 / float64(values)
	}
	s.rows = append(s.rows, Row{hypothesis.Constant(true), uniform})
	return s
}

// Independent makes a symptom of two values, of which yes is absent unless one
// of the rows that hold shows it, each by itself: P(no) is the product over
// them of 1 - P(yes) (the noisy or; Pearl 1988, from memory). A row that always
// holds is the leak.
func Independent(yes int, rows []Row) *Symptom {
	s := &Symptom{values: 2, independent: true, yes: yes}
	for _, r := range rows {
		if holds, constant := r.When.Constant(); constant && !holds {
			continue
		}
		s.rows = append(s.rows, r)
	}
	return s
}

// Values is the number of values.
func (s *Symptom) Values() int { return s.values }

// Most is, for one value, the largest probability that any row gives it.
func (s *Symptom) most(value int) float64 {
	if s.independent {
		if value == s.yes {
			no := 1.0
			for _, r := range s.rows {
				no *= 1 - r.P[s.yes]
			}
			return 1 - no
		}
		return 1
	}
	most := 0.0
	for _, r := range s.rows {
		most = max(most, r.P[value])
	}
	return most
}

// Kinds sorts worlds into kinds that show a symptom in the same way.
type Kinds struct {
	Of []int32     // by world: its kind
	P  [][]float64 // by kind: the probabilities of the values
}

// A Desk holds what weighing needs while it works, so that nothing is allocated
// for each finding. It must not be used by two goroutines at once.
type Desk struct {
	column []uint64
	kind   []int32
	float  []float64
	again  []int32
	factor []float64
}

func (d *Desk) ready(space *hypothesis.Space) {
	if n := space.Words(); cap(d.column) < n {
		d.column = make([]uint64, n)
	}
	d.column = d.column[:space.Words()]
	if n := space.Len(); cap(d.kind) < n {
		d.kind = make([]int32, n)
	}
	d.kind = d.kind[:space.Len()]
}

// sort writes the row that counts in every world of a first-match symptom.
// Later rows are written first and earlier ones over them.
func (s *Symptom) sort(t *hypothesis.Settled, d *Desk, kind []int32) {
	last := int32(len(s.rows) - 1)
	for i := range kind {
		kind[i] = last
	}
	for r := last - 1; r >= 0; r-- {
		t.Evaluate(s.rows[r].When, d.column)
		for j, word := range d.column {
			for ; word != 0; word &= word - 1 {
				kind[j<<6|bits.TrailingZeros64(word)] = r
			}
		}
	}
}

// Sort gives every world its kind.
func (s *Symptom) Sort(t *hypothesis.Settled, d *Desk) Kinds {
	return s.sortOnto(t, d, make([]int32, t.Space.Len()))
}

// sortOnto is Sort, onto a list that the caller has.
func (s *Symptom) sortOnto(t *hypothesis.Settled, d *Desk, of []int32) Kinds {
	d.ready(t.Space)
	k := Kinds{Of: of}
	if s.independent {
		clear(of)
		s.refine(t, d, &k)
		return k
	}
	s.sort(t, d, k.Of)
	for _, r := range s.rows {
		k.P = append(k.P, r.P)
	}
	return k
}

// refine sorts the worlds of an independent symptom by which rows hold: each
// row divides the kinds there are into those in which it does and does not.
func (s *Symptom) refine(t *hypothesis.Settled, d *Desk, k *Kinds) {
	no := []float64{1}
	for _, r := range s.rows {
		if _, constant := r.When.Constant(); constant {
			for i := range no {
				no[i] *= 1 - r.P[s.yes]
			}
			continue
		}
		t.Evaluate(r.When, d.column)
		d.again = append(d.again[:0], make([]int32, len(no))...)
		for j, word := range d.column {
			for ; word != 0; word &= word - 1 {
				i := j<<6 | bits.TrailingZeros64(word)
				old := k.Of[i]
				if d.again[old] == 0 {
					d.again[old] = int32(len(no))
					no = append(no, no[old]*(1-r.P[s.yes]))
				}
				k.Of[i] = d.again[old]
			}
		}
	}
	for _, p := range no {
		pair := make([]float64, 2)
		pair[s.yes], pair[1-s.yes] = 1-p, p
		k.P = append(k.P, pair)
	}
}

// factors writes, for every world, the probability of what was seen.
func (s *Symptom) factors(t *hypothesis.Settled, d *Desk, o Observation) []float64 {
	if n := t.Space.Len(); cap(d.float) < n {
		d.float = make([]float64, n)
	}
	out := d.float[:t.Space.Len()]
	d.ready(t.Space)
	if s.independent {
		s.factorsIndependent(t, d, o.Value, o.Sure, out)
		return out
	}
	s.sort(t, d, d.kind)
	d.factor = d.factor[:0]
	for _, r := range s.rows {
		d.factor = append(d.factor, o.chance(r.P))
	}
	for i, k := range d.kind {
		out[i] = d.factor[k]
	}
	return out
}

func (s *Symptom) factorsIndependent(t *hypothesis.Settled, d *Desk, value int, sure float64, out []float64) {
	leak := 1.0
	for _, r := range s.rows {
		if _, constant := r.When.Constant(); constant {
			leak *= 1 - r.P[s.yes]
		}
	}
	for i := range out {
		out[i] = leak
	}
	for _, r := range s.rows {
		if _, constant := r.When.Constant(); constant {
			continue
		}
		t.Evaluate(r.When, d.column)
		no := 1 - r.P[s.yes]
		for j, word := range d.column {
			for ; word != 0; word &= word - 1 {
				out[j<<6|bits.TrailingZeros64(word)] *= no
			}
		}
	}
	for i, no := range out {
		p := no
		if value == s.yes {
			p = 1 - no
		}
		out[i] = unsure(p, sure, 2)
	}
}

// unsure is the probability of a report: right to the extent of sure, else any of n values alike.
func unsure(p, sure float64, n int) float64 {
	return float64(sure*p) + (1-sure)/float64(n)
}
