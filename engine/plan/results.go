package plan

import (
	"math"
	"slices"

	"downdrop/engine/belief"
)

// Results are the results of an action, seen jointly: worlds sorted into kinds
// with the same probabilities of all results. A result's number is mixed from
// those of its parts, the first part the slowest.
type results struct {
	stage   *stage  // the worlds the action leaves
	from    []int32 // by world left: the world before; nil: the same place
	kind    []int32 // by world left
	p       [][]float64
	entropy []float64 // by kind
	outside []float64 // under outside
	n       int       // how many results
	well    []bool    // by result: the complaint is well
}

// part is one symptom's contribution.
type part struct {
	kinds   belief.Kinds
	outside []float64
	before  bool // seen before the work: the world is found through from
}

// results works out what an action can show, from one stage.
func (s *Scene) results(on *stage, a *Action) *results {
	on.used = 0
	r := &results{n: 1}
	r.stage, r.from = on.after(a.Takes)
	var parts []part
	for _, v := range a.Views {
		parts = append(parts, part{adjusted(on.sort(v.Symptom), v), s.outsideView(v), true})
	}
	complaint := -1 // the part that says last whether the drop is well
	if c := s.m.Complaint; c != nil {
		complaint = slices.IndexFunc(a.Views, func(v View) bool { return v.Symptom == c.Symptom })
		if a.Watched {
			complaint = len(parts)
			kept := make([]float64, c.Symptom.Values())
			kept[c.Reported] = 1
			parts = append(parts, part{r.stage.sort(c.Symptom), kept, false})
		}
	}
	r.join(parts)
	r.well = make([]bool, r.n)
	if complaint >= 0 {
		later := 1 // how many results the parts behind it have
		for _, p := range parts[complaint+1:] {
			later *= len(p.outside)
		}
		for i := range r.well {
			r.well[i] = i/later%s.m.Complaint.Symptom.Values() == s.m.Complaint.Well
		}
	}
	return r
}

// adjusted are the kinds of a symptom looked at again: value v has weight
// P(v) * (s*[v = report] + (1-s)/n), scaled to sum to 1.
func adjusted(k belief.Kinds, v View) belief.Kinds {
	if v.Report < 0 {
		return k
	}
	again := belief.Kinds{Of: k.Of, P: make([][]float64, len(k.P))}
	for i, p := range k.P {
		again.P[i] = weighed(p, v)
	}
	return again
}

func (s *Scene) outsideView(v View) []float64 {
	p := make([]float64, v.Symptom.Values())
	if v.Keeps {
		p[s.m.Complaint.Reported] = 1
		return p
	}
	for i := range p {
		p[i] = 1 / float64(len(p))
	}
	if v.Report < 0 {
		return p
	}
	return weighed(p, v)
}

func weighed(p []float64, v View) []float64 {
	q := make([]float64, len(p))
	sum := 0.0
	for i := range p {
		w := (1 - v.Sure) / float64(len(p))
		if i == v.Report {
			w += v.Sure
		}
		q[i] = p[i] * w
		sum += q[i]
	}
	if sum == 0 {
		return q // a world that the report excludes: it has no weight
	}
	for i := range q {
		q[i] /= sum
	}
	return q
}

// join sorts worlds by the kinds of all parts at once.
func (r *results) join(parts []part) {
	if len(parts) == 1 && (!parts[0].before || r.from == nil) {
		one := parts[0]
		r.kind, r.p, r.outside, r.n = one.kinds.Of, one.kinds.P, one.outside, len(one.outside)
		for _, p := range r.p {
			r.entropy = append(r.entropy, bits(p))
		}
		return
	}
	r.kind = make([]int32, r.stage.space.Len())
	r.p, r.outside, r.entropy = [][]float64{{1}}, []float64{1}, []float64{0}
	for _, p := range parts {
		r.n *= len(p.outside)
		r.outside = product(r.outside, p.outside)
		r.refine(p)
	}
}

// refine divides the kinds there are by one more part.
func (r *results) refine(p part) {
	was, wasEntropy := r.p, r.entropy
	r.p, r.entropy = nil, nil
	dense := make([]int32, len(was)*len(p.kinds.P))
	for i := range r.kind {
		w := i
		if p.before && r.from != nil {
			w = int(r.from[i])
		}
		pair := int(r.kind[i])*len(p.kinds.P) + int(p.kinds.Of[w])
		if dense[pair] == 0 {
			one := p.kinds.P[p.kinds.Of[w]]
			r.p = append(r.p, product(was[r.kind[i]], one))
			r.entropy = append(r.entropy, wasEntropy[r.kind[i]]+bits(one))
			dense[pair] = int32(len(r.p))
		}
		r.kind[i] = dense[pair] - 1
	}
}

func product(a, b []float64) []float64 {
	if len(a) == 1 && a[0] == 1 {
		return b
	}
	out := make([]float64, 0, len(a)*len(b))
	for _, x := range a {
		for _, y := range b {
			out = append(out, x*y)
		}
	}
	return out
}

// bits is the entropy of a distribution that sums to 1.
func bits(p []float64) float64 {
	h := 0.0
	for _, x := range p {
		if x > 0 {
			h -= float64(x * math.Log2(x))
		}
	}
	return h
}

// scaledBits is the entropy of weights, scaled to sum to 1, times their sum.
func scaledBits(w []float64, sum float64) float64 {
	if sum <= 0 {
		return 0
	}
	h := float64(sum * math.Log(sum))
	for _, x := range w {
		if x > 0 {
			h -= float64(x * math.Log(x))
		}
	}
	return h * (1 / math.Ln2)
}
