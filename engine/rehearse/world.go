package rehearse

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// What a source of chance is for.
const (
	purposeGivens = iota
	purposeWorld
	purposeHelps
	purposeDisturbing
	purposeTruth
	purposeReport
	purposeWrong
)

// chance is the source for one purpose of one case, and one thing of that purpose.
func (t *Theatre) chance(c *Course, purpose, thing int) *rand.Rand {
	place := slices.Index(Places(), c.Place)
	return rand.New(rand.NewPCG(mixed(t.o.Seed, uint64(place)<<40|uint64(c.Number)), mixed(uint64(purpose), uint64(thing))))
}

// mixed spreads two numbers over all bits, so that neighbours get sources that have
// nothing in common (the finalizer of SplitMix64, Steele and others 2014, from memory).
func mixed(a, b uint64) uint64 {
	x := a*0x9e3779b97f4a7c15 + b + 0x632be59bd9b4e019
	for range 2 {
		x ^= x >> 30
		x *= 0xbf58476d1ce4e5b9
		x ^= x >> 27
		x *= 0x94d049bb133111eb
		x ^= x >> 31
	}
	return x
}

// How givens are drawn.
const (
	flagTrue     = 0.125 // a flag is true once in eight
	defaultShare = 0.5   // a choice has its default half of the time, else any of the others
	numberSaid   = 0.5   // a number is said in half of the cases
)

// drawGivens draws what is known of an installation. What the program fills in from
// the place or the person is left to it. Left unsaid is what would say something of
// causes that the world need not have: what a rule sets or turns into a symptom, and a
// number that any rule reads (an address out of range, a trunk too long); and a number
// with a default or without a range. A flag is true once in eight, a choice has its default half of the time, a number is
// said half of the time, even in its logarithm over its range.
func drawGivens(base *rulebase.Base, r *rand.Rand) []rulebase.GivenValue {
	unsaid := leftUnsaid(base)
	var all []rulebase.GivenValue
	for i := range base.Givens {
		g := &base.Givens[i]
		u, v := r.Float64(), r.Float64() // always two: a given more changes no other's
		if programs(g) || g.FilledBy != "loss_of_bus" && unsaid[g.Name] {
			continue
		}
		value := rulebase.Value{}
		switch g.Type {
		case rulebase.Flag:
			value.Word = "false"
			if u < flagTrue {
				value.Word = "true"
			}
		case rulebase.Choice:
			value.Word = drawChoice(g, u, v)
		default:
			if g.Default != nil || g.Range == nil || u >= numberSaid {
				continue
			}
			value.IsNumber, value.Number = true, drawNumber(*g.Range, v)
		}
		all = append(all, rulebase.GivenValue{ID: g.ID, Value: value})
	}
	return all
}

func drawChoice(g *rulebase.Given, u, v float64) string {
	if g.Default == nil {
		return g.OneOf[int(v*float64(len(g.OneOf)))]
	}
	usual := int(g.Default.Word) - 1
	others := slices.Delete(slices.Clone(g.OneOf), usual, usual+1)
	if u < defaultShare || len(others) == 0 {
		return g.OneOf[usual]
	}
	return others[int(v*float64(len(others)))]
}

// drawNumber draws from a range, to two digits.
func drawNumber(between [2]float64, v float64) float64 {
	low, high := between[0], between[1]
	x := low + v*(high-low)
	if low > 0 {
		x = low * math.Pow(high/low, v)
	}
	if x == 0 {
		return 0
	}
	unit := math.Pow(10, math.Floor(math.Log10(math.Abs(x)))-1)
	return min(max(math.Round(x/unit)*unit, low), high)
}

// leftUnsaid are the names that rules set, those that rules turn into symptoms, and
// the numbers that rules read.
func leftUnsaid(base *rulebase.Base) map[int]bool {
	out := map[int]bool{}
	for i := range base.Rules {
		rule := &base.Rules[i]
		symptom := false
		for _, a := range rule.Then {
			out[a.Name] = true
			symptom = symptom || base.Names[a.Name].Kind == rulebase.KindSymptom
		}
		for _, n := range rule.When.Reads() {
			if symptom || base.Names[n].Type == rulebase.Number {
				out[n] = true
			}
		}
	}
	return out
}

// A world is what is truly the matter.
type world struct {
	t       *Theatre
	c       *Course
	base    *rulebase.Base    // its own numbers
	shows   *engine.Diagnosis // from these numbers, at the beginning
	now     []uint16          // causes still there, rising
	outside bool
	helps   map[[2]int]bool // by cause and remedy: it would take the cause away
	state   int             // of work
	truth   map[[2]int]int  // by symptom and state
}

// draw draws what is truly the matter.
func (t *Theatre) draw(ctx context.Context, c *Course, d *engine.Diagnosis) (*world, error) {
	w := &world{t: t, c: c, base: t.base, shows: d, helps: map[[2]int]bool{}, truth: map[[2]int]int{}}
	if t.o.Variant == Disturbed {
		w.base = disturbed(t.base, t.chance(c, purposeDisturbing, 0))
		var err error
		if w.shows, err = engine.Diagnose(ctx, engine.Prepare(w.base), d.Situation, engine.Options{OneCore: true, BeliefOnly: true}); err != nil {
			return nil, err
		}
	}
	u := t.chance(c, purposeWorld, 0).Float64()
	w.outside = true
	for set, p := range w.shows.Worlds() {
		if u -= p; u < 0 {
			w.now, w.outside = slices.Clone(set), false
			break
		}
	}
	c.Outside = w.outside
	for _, cause := range w.now {
		c.Causes = append(c.Causes, int(cause))
		for _, h := range w.base.Causes[cause].Remedies {
			w.helps[[2]int{int(cause), h.Remedy}] = t.chance(c, purposeHelps, int(cause)<<20|h.Remedy).Float64() < h.Chance
		}
	}
	return w, nil
}

// true is a symptom's true value in this state of work; -1 where no cause shapes it.
func (w *world) true(symptom int) int {
	key := [2]int{symptom, w.state}
	if v, ok := w.truth[key]; ok {
		return v
	}
	n := len(w.base.Symptoms[symptom].Values)
	p := make([]float64, n)
	complaint := w.base.Complaint
	switch {
	case !w.base.Symptoms[symptom].Weighs:
		return -1
	case complaint != nil && symptom == complaint.Symptom && (w.state == 0 || w.outside):
		p[complaint.Bad] = 1 // every case begins with it, and outside keeps it
	case w.outside:
		for i := range p {
			p[i] = 1 / float64(n)
		}
	default:
		p = w.shows.Shows(symptom, w.now)
	}
	v := pick(p, w.t.chance(w.c, purposeTruth, symptom<<16|w.state).Float64())
	w.truth[key] = v
	return v
}

func pick(p []float64, u float64) int {
	last := 0
	for i, x := range p {
		if x > 0 {
			last = i
		}
		if u -= x; u < 0 {
			return i
		}
	}
	return last
}

// How often an answer is replaced by a wrong one, in that variant.
const (
	callerWrong     = 0.10
	technicianWrong = 0.03
)

// answer is what is reported of a symptom.
func (w *world) answer(symptom int) (Answer, bool) {
	a := Answer{Symptom: symptom, True: w.true(symptom)}
	if a.True < 0 {
		return a, false
	}
	s := &w.base.Symptoms[symptom]
	a.Reported = a.True
	thing := symptom<<16 | w.state
	r := w.t.chance(w.c, purposeReport, thing)
	if r.Float64() >= w.base.SureOf(symptom, w.c.Place) {
		a.Reported = r.IntN(len(s.Values))
	}
	if w.t.o.Variant == WrongAnswers {
		r := w.t.chance(w.c, purposeWrong, thing)
		wrong := technicianWrong
		if w.c.Place == rulebase.Phone {
			wrong = callerWrong
		}
		if n := len(s.Values); r.Float64() < wrong && n > 1 {
			a.Reported = (a.True + 1 + r.IntN(n-1)) % n
		}
	}
	return a, true
}

// work takes away what a step takes away, and says whether it did.
func (w *world) work(step *rulebase.Step) bool {
	w.state++
	if step.Temporary {
		return false
	}
	before := len(w.now)
	w.now = slices.DeleteFunc(slices.Clone(w.now), func(c uint16) bool {
		return slices.Contains(step.PutsRight, int(c)) || step.Kind == rulebase.KindRemedy && w.helped(int(c), step)
	})
	return len(w.now) < before
}

func (w *world) helped(cause int, step *rulebase.Step) bool {
	for _, h := range w.base.Causes[cause].Remedies {
		if &w.base.Remedies[h.Remedy] == step {
			return w.helps[[2]int{cause, h.Remedy}]
		}
	}
	return false
}

// watch is what the drop does after work.
func (w *world) watch() rulebase.DropNow {
	if w.base.Complaint == nil {
		return rulebase.NotSaid
	}
	if w.true(w.base.Complaint.Symptom) == w.base.Complaint.Well {
		return rulebase.Well
	}
	return rulebase.StillDown
}

// How far numbers are disturbed.
const (
	oddsFactor   = 2.7
	weightFactor = 2.0
)

// disturbed is a rulebase with all its numbers disturbed.
func disturbed(base *rulebase.Base, r *rand.Rand) *rulebase.Base {
	b := *base
	b.Outside = movedOdds(b.Outside, factor(r, weightFactor))
	b.Causes = slices.Clone(base.Causes)
	for i := range b.Causes {
		c := &b.Causes[i]
		c.Prior = movedOdds(c.Prior, factor(r, weightFactor))
		c.Remedies = slices.Clone(c.Remedies)
		for j := range c.Remedies {
			c.Remedies[j].Chance = movedOdds(c.Remedies[j].Chance, factor(r, oddsFactor))
		}
	}
	b.Symptoms = slices.Clone(base.Symptoms)
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		s.Shows = slices.Clone(s.Shows)
		for j := range s.Shows {
			s.Shows[j].P = disturbedRow(s.Shows[j].P, r)
		}
	}
	return &b
}

func disturbedRow(p []float64, r *rand.Rand) []float64 {
	q := make([]float64, len(p))
	sum := 0.0
	for i := range p {
		q[i] = movedOdds(p[i], factor(r, oddsFactor))
		sum += q[i]
	}
	for i := range q {
		q[i] /= sum
	}
	return q
}

// factor is between 1/most and most, even in its logarithm.
func factor(r *rand.Rand, most float64) float64 { return math.Pow(most, 2*r.Float64()-1) }

// movedOdds multiplies the odds of a probability; 0 and 1 stay.
func movedOdds(p, factor float64) float64 {
	if p <= 0 || p >= 1 {
		return p
	}
	odds := p / (1 - p) * factor
	return odds / (1 + odds)
}

// programs says that the program fills a given in itself; what outputs do on loss
// of bus and what an installation sheet may say, a person can say too.
func programs(g *rulebase.Given) bool {
	verdict := strings.HasPrefix(g.FilledBy, "line.check_") // what a sheet's sums say, nobody says without them
	return g.FilledBy != "" && g.FilledBy != "loss_of_bus" && (verdict || !strings.HasPrefix(g.FilledBy, "line."))
}
