package engine

import (
	"math"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
	"downdrop/rulebase"
)

// A Telling is what a rulebase's rows say about its causes before anything was
// seen but the complaint: the chances that a handbook prints and a diagnosis
// multiplies. It is never changed once made.
type Telling struct {
	base *rulebase.Base

	alone  [][][]float64 // by symptom: by cause, the values' chances where it is the only one; nil: weighs nothing
	with   [][][]float64 // by symptom: by cause, the values' chances where it is there
	rest   [][][]float64 // by symptom: by cause, the values' chances where it is not
	nobody [][]float64   // by symptom: the values' chances where nothing is wrong
	brings [][]int       // by cause: the conditions that it brings about by itself
}

// Telling works out what the rows say under the givens, place and person of a
// situation; its findings and what was done are not read.
func (p *Prepared) Telling(s rulebase.Situation) *Telling {
	s = s.Clone()
	s.Findings, s.Done = nil, nil
	k := p.learn(&s)
	ses := p.session(k.result.Slots)
	w := &weighing{p: p, k: k, ses: ses}
	n := len(p.base.Symptoms)
	t := &Telling{base: p.base, alone: make([][][]float64, n), with: make([][][]float64, n), rest: make([][][]float64, n), nobody: make([][]float64, n)}
	t.suppose(ses, len(p.base.Causes))
	before, after := w.prior(), w.prior()
	if c := p.base.Complaint; c != nil && ses.symptoms[c.Symptom] != nil {
		after.Observe(belief.Seen(ses.symptoms[c.Symptom], c.Bad, 1))
	}
	desk := &belief.Desk{}
	for i, symptom := range ses.symptoms {
		if symptom == nil {
			continue
		}
		b := after
		if c := p.base.Complaint; c != nil && c.Symptom == i {
			b = before // what was complained of says nothing once it is known
		}
		t.with[i], t.rest[i] = divide(b, symptom.Sort(b.Settled, desk), symptom.Values(), len(p.base.Causes))
	}
	return t
}

// suppose fills in what is so where one cause is there alone, or none.
func (t *Telling) suppose(ses *session, causes int) {
	sets := [][]int{{}}
	for c := range causes {
		sets = append(sets, []int{c})
	}
	settled := ses.system.Settle(hypothesis.Of(causes, sets))
	t.brings = make([][]int, causes)
	for n := range ses.system.Len() {
		column := settled.Column(n)
		for c := range causes {
			if i := c + 1; column[i>>6]>>(i&63)&1 == 1 {
				t.brings[c] = append(t.brings[c], n)
			}
		}
	}
	desk := &belief.Desk{}
	for i, symptom := range ses.symptoms {
		if symptom == nil {
			continue
		}
		kinds := symptom.Sort(settled, desk)
		t.nobody[i] = kinds.P[kinds.Of[0]]
		for c := range causes {
			t.alone[i] = append(t.alone[i], kinds.P[kinds.Of[c+1]])
		}
	}
}

// divide gives, for every cause, the chances of a symptom's values among the
// worlds that hold it, and among all others and outside, where every value is
// equally likely. Chances among no worlds are all 0.
func divide(b *belief.Belief, kinds belief.Kinds, values, causes int) (with, rest [][]float64) {
	all := make([]float64, values)
	with, rest = grid(causes, values), grid(causes, values)
	for i, weight := range b.Weight {
		p := kinds.P[kinds.Of[i]]
		for v := range all {
			all[v] += float64(weight * p[v])
		}
		for _, c := range b.Now.Set(i) {
			for v, q := range p {
				with[c][v] += float64(weight * q)
			}
		}
	}
	for v := range all {
		all[v] += b.Outside / float64(values)
	}
	for c := range with {
		for v := range all {
			// What adding and taking away again left over is no chance.
			if rest[c][v] = all[v] - with[c][v]; rest[c][v] < all[v]*1e-12 {
				rest[c][v] = 0
			}
		}
		scale(with[c])
		scale(rest[c])
	}
	return with, rest
}

func grid(rows, columns int) [][]float64 {
	g := make([][]float64, rows)
	for i := range g {
		g[i] = make([]float64, columns)
	}
	return g
}

func scale(p []float64) {
	sum := 0.0
	for _, x := range p {
		sum += x
	}
	if sum == 0 {
		return
	}
	for i := range p {
		p[i] /= sum
	}
}

// Weighs says whether a symptom tells causes apart at all.
func (t *Telling) Weighs(symptom int) bool { return t.alone[symptom] != nil }

// Nothing is the chance of a value where nothing is wrong.
func (t *Telling) Nothing(symptom, value int) float64 { return t.nobody[symptom][value] }

// Alone is the chance of a value where a cause is there by itself.
func (t *Telling) Alone(symptom, value, cause int) float64 { return t.alone[symptom][cause][value] }

// With is the chance of a value where a cause is there, alone or with others.
func (t *Telling) With(symptom, value, cause int) float64 { return t.with[symptom][cause][value] }

// Rest is the chance of a value where a cause is not there.
func (t *Telling) Rest(symptom, value, cause int) float64 { return t.rest[symptom][cause][value] }

// Factor is the weight of evidence of a value for a cause against all the rest:
// what its odds are multiplied by where the value is seen for sure (Bayes' rule
// in odds form). +Inf: only this cause shows it; NaN: nothing shows it.
func (t *Telling) Factor(symptom, value, cause int) float64 {
	return t.With(symptom, value, cause) / t.Rest(symptom, value, cause)
}

// Brings are the conditions that a cause brings about by itself, in the order of the rulebase.
func (t *Telling) Brings(cause int) []int { return t.brings[cause] }

// mostResults bounds the results of a test that are told apart one by one.
const mostResults = 4096

// Apart is how well a test tells two causes apart, each by itself and no other
// possible: the bits that its results give of the one bit there is between two
// equally likely causes (the Jensen-Shannon divergence; Lin 1991, from memory).
// Symptoms of a test count together as far as there are at most a few thousand
// results, in the order in which it yields them.
func (t *Telling) Apart(test *rulebase.Step, a, b int) float64 {
	results := [][2]float64{{1, 1}}
	for _, s := range test.Yields {
		if t.alone[s] == nil || same(t.alone[s][a], t.alone[s][b]) || len(results)*len(t.alone[s][a]) > mostResults {
			continue
		}
		var next [][2]float64
		for _, r := range results {
			for v, p := range t.alone[s][a] {
				next = append(next, [2]float64{r[0] * p, r[1] * t.alone[s][b][v]})
			}
		}
		results = next
	}
	bits := 0.0
	for _, r := range results {
		bits += float64(half(r[0], r[1])) + float64(half(r[1], r[0]))
	}
	return bits
}

func same(p, q []float64) bool {
	for v := range p {
		if p[v] != q[v] {
			return false
		}
	}
	return true
}

// half is one cause's share of the divergence at one result.
func half(p, q float64) float64 {
	if p == 0 {
		return 0
	}
	return p / 2 * math.Log2(2*p/(p+q))
}

// Limits are the limits of every banded symptom in the unit of its readings, by
// the givens of a situation and the defaults; nil where they are not known, do
// not rise, or there are none.
func (p *Prepared) Limits(s rulebase.Situation) [][]float64 {
	return p.learn(&s).limits
}
