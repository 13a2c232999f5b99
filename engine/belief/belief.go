// Package belief weighs supposed sets of causes by what was seen.
//
// It is Bayes' rule over an explicit list of worlds: each starts with its prior
// weight and is multiplied by the probability of every finding in it. Symptoms
// are independent given the world; what ties them together is the conditions
// that engine/hypothesis settles. Work divides time into states: causes are
// taken away, conditions are settled anew, and findings made afterwards are
// weighed against what is then left. One more hypothesis, outside, stands for
// all that is not listed.
//
// Nothing is approximated: a network of noisy ors with up to 22 causes at once
// is enumerated, which only adds non-negative numbers and so keeps all digits,
// where inclusion and exclusion over the positive findings (Heckerman 1989)
// cancels. Where there are more sets than can be held, [LeftOut] bounds what is
// missing. The package knows causes, conditions and values by number only.
package belief

import (
	"math"
	"math/bits"

	"downdrop/engine/hypothesis"
)

// A Belief is the weight of every world, in one state of work. It is changed by
// Observe, Forbid and Require, and left as it is by Work, which makes a new one.
type Belief struct {
	Began    *hypothesis.Space   // the worlds' causes when the case began
	Now      *hypothesis.Space   // the causes that are left, world by world
	Settled  *hypothesis.Settled // conditions now
	Weight   []float64           // not scaled to any sum; the true mass is Weight * 2^Exponent
	Outside  float64             // the same for outside
	Exponent int
	From     []int32 // by world: the world of the state before that it comes from; nil: itself
	Root     []int32 // by world: the world of the prior that it comes from; nil: itself

	system   *hypothesis.System
	desk     *Desk
	observed int
	sorting  *Sorting // see Use
	places   []int32  // by world: its place in the sorting's space; nil: its own
}

// Prior is the belief before anything was seen. Odds are the causes' prior
// odds; a set of k of them weighs the product of its odds, times together^(k-1)
// where k > 1. The sets' weights are scaled to sum to 1 - outside; total is the
// sum they are divided by, or 0 for their own (see [TotalPrior] for sets that
// are not in the space).
func Prior(system *hypothesis.System, settled *hypothesis.Settled, odds []float64, together, outside, total float64, desk *Desk) *Belief {
	space := settled.Space
	b := &Belief{Began: space, Now: space, Settled: settled, system: system, desk: desk, Outside: outside}
	b.Weight = make([]float64, space.Len())
	sum := 0.0
	for i := range b.Weight {
		w := 1.0
		for k, c := range space.Set(i) {
			w *= odds[c]
			if k > 0 {
				w *= together
			}
		}
		b.Weight[i] = w
		sum += w
	}
	if total == 0 {
		total = sum
	}
	for i := range b.Weight {
		b.Weight[i] *= (1 - outside) / total
	}
	return b
}

// TotalPrior is the sum of the prior weights, before scaling, of all sets of at
// most k causes: the elementary symmetric polynomials of the odds, each with its
// power of together.
func TotalPrior(odds []float64, together float64, k int) float64 {
	e := make([]float64, k+1)
	e[0] = 1
	for _, o := range odds {
		for m := k; m > 0; m-- {
			e[m] += float64(e[m-1] * o)
		}
	}
	sum, factor := e[0], 1.0
	for m := 1; m <= k; m++ {
		sum += float64(e[m] * factor)
		factor *= together
	}
	return sum
}

// An Observation is a symptom seen with a value.
type Observation struct {
	Symptom *Symptom
	Value   int
	// Among, where it is not 0, stands for Value: one of these values was seen (bit i is
	// value i), and it is not known which. Symptoms whose rows are independent have
	// no two values to choose among.
	Among uint64
	Sure  float64
	// Outside is the probability of the report under outside.
	Outside float64
}

// Seen makes the observation of a symptom that, under outside, shows every value alike.
func Seen(s *Symptom, value int, sure float64) Observation {
	return Observation{Symptom: s, Value: value, Sure: sure, Outside: 1 / float64(s.values)}
}

// SeenAmong makes the observation that one of several values was seen.
func SeenAmong(s *Symptom, among uint64, sure float64) Observation {
	return Observation{Symptom: s, Among: among, Sure: sure, Outside: float64(bits.OnesCount64(among)) / float64(s.values)}
}

// chance is the probability of the report where the values have these probabilities.
func (o *Observation) chance(p []float64) float64 {
	if o.Among == 0 {
		return unsure(p[o.Value], o.Sure, o.Symptom.values)
	}
	sum := 0.0
	for rest := o.Among; rest != 0; rest &= rest - 1 {
		sum += p[bits.TrailingZeros64(rest)]
	}
	return float64(o.Sure*sum) + (1-o.Sure)*float64(bits.OnesCount64(o.Among))/float64(o.Symptom.values)
}

// Observe multiplies in one observation.
func (b *Belief) Observe(o Observation) {
	d := b.desk
	if sorted := b.sorted(o.Symptom); sorted != nil {
		b.observeSorted(sorted, o)
	} else if s := o.Symptom; s.independent {
		for i, f := range s.factors(b.Settled, d, o) {
			b.Weight[i] *= f
		}
	} else {
		d.ready(b.Now)
		s.sort(b.Settled, d, d.kind)
		d.factor = d.factor[:0]
		for _, r := range s.rows {
			d.factor = append(d.factor, o.chance(r.P))
		}
		weight, factor := b.Weight[:len(d.kind)], d.factor
		for i, k := range d.kind {
			weight[i] *= factor[k]
		}
	}
	b.Outside *= o.Outside
	b.scale()
}

func (b *Belief) observeSorted(sorted *Sorted, o Observation) {
	d := b.desk
	d.factor = d.factor[:0]
	for _, p := range sorted.P {
		d.factor = append(d.factor, o.chance(p))
	}
	factor := d.factor
	if b.places == nil {
		weight := b.Weight[:len(sorted.Of)]
		for i, k := range sorted.Of {
			weight[i] *= factor[k]
		}
		return
	}
	weight := b.Weight[:len(b.places)]
	for i, p := range b.places {
		weight[i] *= factor[sorted.Of[p]]
	}
}

// Without is the weights as they would be without an observation that was made in
// this state of work; nil where the observation excludes a world, whose weight
// cannot be told any more. It is only good until the belief is next used.
func (b *Belief) Without(o Observation) []float64 {
	weight := o.Symptom.factors(b.Settled, b.desk, o)
	for i, f := range weight {
		if f == 0 {
			return nil
		}
		weight[i] = b.Weight[i] / f
	}
	return weight
}

// scale keeps products away from underflow: now and then, by a power of two,
// which changes no digit.
func (b *Belief) scale() {
	b.observed++
	if b.observed&7 != 0 {
		return
	}
	total := b.Total()
	if total == 0 || total > 0x1p-200 {
		return
	}
	_, e := math.Frexp(total)
	f := math.Ldexp(1, -e)
	for i := range b.Weight {
		b.Weight[i] *= f
	}
	b.Outside *= f
	b.Exponent += e
}

// Forbid gives weight 0 to every world that holds the cause now.
func (b *Belief) Forbid(cause int) {
	for i := range b.Weight {
		if holds(b.Now, i, cause) {
			b.Weight[i] = 0
		}
	}
}

// Require gives weight 0 to every world that lacks the cause now, and to outside.
func (b *Belief) Require(cause int) {
	for i := range b.Weight {
		if !holds(b.Now, i, cause) {
			b.Weight[i] = 0
		}
	}
	b.Outside = 0
}

func holds(s *hypothesis.Space, i, cause int) bool {
	for _, c := range s.Set(i) {
		if int(c) == cause {
			return true
		}
	}
	return false
}

// Work is the belief after work that takes causes away; where a chance is below
// 1, worlds divide.
func (b *Belief) Work(takings []hypothesis.Taking) *Belief {
	left, branches := b.Now.Take(takings)
	n := &Belief{Began: b.Began, Now: left, Settled: b.system.Lazily(left), Outside: b.Outside, Exponent: b.Exponent, system: b.system, desk: b.desk, observed: b.observed, Root: b.Root, sorting: b.sorting}
	if b.sorting != nil {
		n.places = b.sorting.settled.Space.Places(left)
	}
	if branches == nil {
		n.Weight = append([]float64(nil), b.Weight...)
		return n
	}
	n.From = make([]int32, len(branches))
	n.Weight = make([]float64, len(branches))
	for i, br := range branches {
		n.From[i] = br.From
		n.Weight[i] = b.Weight[br.From] * br.Chance
	}
	n.Began = b.Began.Pick(n.From)
	n.Root = n.From
	if b.Root != nil {
		n.Root = make([]int32, len(branches))
		for i, br := range branches {
			n.Root[i] = b.Root[br.From]
		}
	}
	return n
}

// Ready works out now what is else worked out when first asked for, so that
// several goroutines may take copies of b.
func (b *Belief) Ready() {
	b.Began.Ready()
	b.Now.Ready()
	for n := range b.system.Len() {
		b.Settled.Column(n)
	}
}

// Copy is a belief that can be changed without changing b, also by another
// goroutine where b is ready (see Ready).
func (b *Belief) Copy() *Belief {
	c := *b
	c.Weight = append([]float64(nil), b.Weight...)
	c.Settled = b.Settled.Fork()
	c.desk = &Desk{}
	return &c
}

// Total is the mass left, without the exponent, outside included.
func (b *Belief) Total() float64 {
	sum := 0.0
	for _, w := range b.Weight {
		sum += w
	}
	return sum + b.Outside
}

// Evidence is the true mass left.
func (b *Belief) Evidence() float64 { return math.Ldexp(b.Total(), b.Exponent) }

// Causes gives, for every cause, the probability that it was there when the
// case began, and that it still is.
func (b *Belief) Causes() (began, now []float64) {
	total := b.Total()
	now = b.Now.Sums(b.Weight)
	if b.Began == b.Now {
		began = append([]float64(nil), now...)
	} else {
		began = b.Began.Sums(b.Weight)
	}
	for c := range now {
		began[c] /= total
		now[c] /= total
	}
	return began, now
}

// Conditions gives the probability of every condition, as of now.
func (b *Belief) Conditions() []float64 {
	total := b.Total()
	p := make([]float64, b.system.Len())
	for n := range p {
		p[n] = hypothesis.SumColumn(b.Settled.Column(n), b.Weight) / total
	}
	return p
}

// Likeliest gives the places of worlds by falling weight, then place: all that
// are needed to hold the share of the listed mass (1: every world with weight).
func (b *Belief) Likeliest(share float64) []int32 {
	return likeliest(b.Weight, share)
}
