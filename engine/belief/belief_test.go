package belief_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
	"time"

	"downdrop/engine/belief"
	"downdrop/engine/hypothesis"
	"downdrop/testdata/support"
)

func near(got, want, tolerance float64) bool {
	return math.Abs(got-want) <= tolerance*max(1, math.Abs(want))
}

// noisyOr is a two-layer noisy-or network: causes with priors, findings with a leak and links.
type noisyOr struct {
	priors []float64
	leaks  []float64
	links  []map[int]float64
}

func (n noisyOr) symptoms() []*belief.Symptom {
	var all []*belief.Symptom
	for f, leak := range n.leaks {
		rows := []belief.Row{{When: hypothesis.Constant(true), P: []float64{leak, 1 - leak}}}
		for c := range n.priors {
			if q := n.links[f][c]; q > 0 {
				rows = append(rows, belief.Row{When: hypothesis.Cause(c), P: []float64{q, 1 - q}})
			}
		}
		all = append(all, belief.Independent(0, rows))
	}
	return all
}

// posterior weighs evidence (finding: seen or not) over all sets of causes.
func (n noisyOr) posterior(evidence map[int]bool) *belief.Belief {
	system := hypothesis.NewSystem(nil)
	settled := system.Settle(hypothesis.Enumerate(len(n.priors), len(n.priors)))
	odds := make([]float64, len(n.priors))
	for i, p := range n.priors {
		odds[i] = p / (1 - p)
	}
	b := belief.Prior(system, settled, odds, 1, 0, 0, &belief.Desk{})
	symptoms := n.symptoms()
	for f := range n.leaks {
		if seen, ok := evidence[f]; ok {
			value := 1
			if seen {
				value = 0
			}
			b.Observe(belief.Seen(symptoms[f], value, 1))
		}
	}
	return b
}

// Two causes, two findings, all evidence sets, computed in exact fractions. The
// convention is that a link's strength does not contain the leak.
func TestTwoCausesTwoFindingsExactly(t *testing.T) {
	n := noisyOr{[]float64{.1, .02}, []float64{.05, .01}, []map[int]float64{{0: .8, 1: .6}, {1: .9}}}
	for _, c := range []struct {
		evidence map[int]bool
		p, a, b  float64
	}{
		{map[int]bool{0: true}, 17061. / 125000, 6769. / 11374, 542. / 5687},
		{map[int]bool{0: true, 1: false}, 1930203. / 15625000, 4144. / 6499, 271. / 25996},
		{map[int]bool{0: true, 1: true}, 101211. / 7812500, 25613. / 134948, 244171. / 269896},
		{map[int]bool{0: false, 1: false}, 26520219. / 31250000, 1. / 46, 1. / 1226},
		{map[int]bool{1: true}, 1391. / 50000, .1, 901. / 1391},
	} {
		b := n.posterior(c.evidence)
		began, _ := b.Causes()
		if !near(b.Evidence(), c.p, 1e-14) || !near(began[0], c.a, 1e-14) || !near(began[1], c.b, 1e-14) {
			t.Errorf("%v: %v, %v; want %v, %v, %v", c.evidence, b.Evidence(), began, c.p, c.a, c.b)
		}
	}
}

// Fever with cold .4, flu .8, malaria .9 and no leak (Russell and Norvig's
// table, as printed in course slides).
func TestFeverTable(t *testing.T) {
	want := []float64{0, .4, .8, .88, .9, .94, .98, .988}
	n := noisyOr{[]float64{.5, .5, .5}, []float64{0}, []map[int]float64{{0: .4, 1: .8, 2: .9}}}
	space := hypothesis.Enumerate(3, 3)
	kinds := n.symptoms()[0].Sort(hypothesis.NewSystem(nil).Settle(space), &belief.Desk{})
	for i := range space.Len() {
		index := 0
		for _, c := range space.Set(i) {
			index |= 1 << c
		}
		if got := kinds.P[kinds.Of[i]][0]; !near(got, want[index], 1e-15) {
			t.Errorf("fever with %v is %v, want %v", space.Set(i), got, want[index])
		}
	}
}

// An absent finding can raise a cause that is linked to it: the property that
// one would expect does not hold.
func TestAbsentFindingCanRaiseACause(t *testing.T) {
	n := noisyOr{[]float64{.1, .1}, []float64{.01, .01}, []map[int]float64{{0: .8, 1: .8}, {0: .05, 1: .95}}}
	before, _ := n.posterior(map[int]bool{0: true}).Causes()
	after, _ := n.posterior(map[int]bool{0: true, 1: false}).Causes()
	if !near(before[0], 0.5046401421660579, 1e-12) || !near(after[0], 0.8549721011110383, 1e-12) {
		t.Errorf("before %v, after %v", before[0], after[0])
	}
}

// With many positive findings inclusion and exclusion in floating point loses
// every digit; enumeration loses none. The peer sums the joint distribution the
// other way round: finding by finding inside, in big steps.
func TestManyPositiveFindingsLoseNoDigits(t *testing.T) {
	r := rand.New(rand.NewPCG(103, 1))
	n := noisyOr{}
	for range 12 {
		n.priors = append(n.priors, 0.001+0.01*r.Float64())
	}
	for range 16 {
		n.leaks = append(n.leaks, 0.001)
		links := map[int]float64{}
		for c := range 12 {
			links[c] = 0.05 + 0.2*r.Float64()
		}
		n.links = append(n.links, links)
	}
	evidence := map[int]bool{}
	for f := range 16 {
		evidence[f] = true
	}
	want := triggerSweep(n)
	if got := n.posterior(evidence).Evidence(); !(math.Abs(got-want) <= 1e-12*want) {
		t.Errorf("P(evidence) = %v, want %v", got, want)
	}
}

// triggerSweep is P(all findings present) by a table over the findings already
// switched on; it only adds non-negative numbers.
func triggerSweep(n noisyOr) float64 {
	m := len(n.leaks)
	table := make([]float64, 1<<m)
	table[0] = 1
	mix := func(strength func(f int) float64) []float64 {
		next := slices.Clone(table)
		for f := range m {
			q := strength(f)
			for s := range next {
				if s>>f&1 == 0 {
					next[s|1<<f] += next[s] * q
					next[s] -= next[s] * q
				}
			}
		}
		return next
	}
	table = mix(func(f int) float64 { return n.leaks[f] })
	for c, p := range n.priors {
		with := mix(func(f int) float64 { return n.links[f][c] })
		for s := range table {
			table[s] = (1-p)*table[s] + p*with[s]
		}
	}
	return table[len(table)-1]
}

// A contradiction is found with as few members as can be: compared with trying
// every subset by size.
func TestSmallestContradiction(t *testing.T) {
	for seed := range support.Deep(t, 200) {
		r := rand.New(rand.NewPCG(uint64(seed), 5))
		causes := 2 + r.IntN(4)
		system := hypothesis.NewSystem(nil)
		settled := system.Settle(hypothesis.Enumerate(causes, 2))
		odds := make([]float64, causes)
		for i := range odds {
			odds[i] = 0.1
		}
		prior := belief.Prior(system, settled, odds, 1, 0, 0, &belief.Desk{})
		search := belief.NewSearch(prior)
		items := 2 + r.IntN(6)
		apart := 1 + seed%2*35 // items may have any number below belief.MostItems
		allows := make([][]bool, items)
		for i := range items {
			// Seen only where some causes are present, or only where one is absent.
			f := hypothesis.Or(hypothesis.Cause(r.IntN(causes)), hypothesis.Cause(r.IntN(causes)))
			if r.IntN(2) == 0 {
				f = hypothesis.Not(hypothesis.Cause(r.IntN(causes)))
			}
			s := belief.FirstMatch(2, []belief.Row{{When: f, P: []float64{1, 0}}, {When: hypothesis.Constant(true), P: []float64{0, 1}}})
			search.Observe(i*apart, belief.Seen(s, 0, 1))
			allows[i] = make([]bool, settled.Space.Len())
			for w := range allows[i] {
				set := settled.Space.Set(w)
				allows[i][w] = f.Holds(func(c int) bool { return slices.Contains(set, uint16(c)) }, nil)
			}
		}
		want := smallestBySize(allows)
		smallest := func(steps int) ([]int, int) {
			found, used := search.Smallest(func(int) bool { return true }, steps)
			for i := range found {
				found[i] /= apart
			}
			return found, used
		}
		got, used := smallest(1e6)
		if used < 0 || used > 1e6 || len(got) > 0 && used == 0 {
			t.Fatalf("seed %d: %d steps", seed, used)
		}
		if len(got) != want || len(got) > 0 && !excludesAll(allows, got) {
			t.Fatalf("seed %d: got %v, want one of %d members", seed, got, want)
		}
		// Where the search is cut short, it still excludes all, and all of it is wanted.
		cut, _ := smallest(1)
		if (len(cut) > 0) != (want > 0) || len(cut) > 0 && !excludesAll(allows, cut) {
			t.Fatalf("seed %d: cut short %v", seed, cut)
		}
		for i := range cut {
			if excludesAll(allows, slices.Delete(slices.Clone(cut), i, i+1)) {
				t.Fatalf("seed %d: of %v, cut short, %d can be spared", seed, cut, cut[i])
			}
		}
	}
}

func excludesAll(allows [][]bool, items []int) bool {
	for w := range allows[0] {
		if !slices.ContainsFunc(items, func(i int) bool { return !allows[i][w] }) {
			return false
		}
	}
	return true
}

func smallestBySize(allows [][]bool) int {
	best := 0
	for set := 1; set < 1<<len(allows); set++ {
		var items []int
		for i := range allows {
			if set>>i&1 == 1 {
				items = append(items, i)
			}
		}
		if (best == 0 || len(items) < best) && excludesAll(allows, items) {
			best = len(items)
		}
	}
	return best
}

// TotalPrior agrees with adding up all sets.
func TestTotalPrior(t *testing.T) {
	for seed := range support.Deep(t, 100) {
		r := rand.New(rand.NewPCG(uint64(seed), 6))
		n, k := 1+r.IntN(8), r.IntN(5)
		odds := make([]float64, n)
		for i := range odds {
			odds[i] = r.Float64()
		}
		together := r.Float64() * 2
		want := 0.0
		space := hypothesis.Enumerate(n, k)
		for i := range space.Len() {
			w := 1.0
			for j, c := range space.Set(i) {
				w *= odds[c]
				if j > 0 {
					w *= together
				}
			}
			want += w
		}
		if got := belief.TotalPrior(odds, together, min(n, k)); !near(got, want, 1e-12) {
			t.Fatalf("seed %d: %v, want %v", seed, got, want)
		}
	}
}

// large makes what the benchmarks work on: 100 causes, up to three at once, 80
// conditions, 60 symptoms with 480 rows in all.
type large struct {
	system   *hypothesis.System
	formulas []*hypothesis.Formula // each reads only conditions before it
	space    *hypothesis.Space
	odds     []float64
	symptoms []*belief.Symptom
}

func newLarge(seed uint64) *large {
	r := rand.New(rand.NewPCG(seed, 9))
	l := &large{space: hypothesis.Enumerate(100, 3).Ready()}
	var conditions []*hypothesis.Formula
	for i := range 80 {
		args := []*hypothesis.Formula{}
		for range 3 + r.IntN(4) {
			args = append(args, hypothesis.Cause(r.IntN(100)))
		}
		if i > 0 {
			args = append(args, hypothesis.Condition(r.IntN(i)))
		}
		if i > 10 && r.IntN(4) == 0 {
			args = append(args, hypothesis.And(hypothesis.Condition(r.IntN(10)), hypothesis.Not(hypothesis.Cause(r.IntN(100)))))
		}
		conditions = append(conditions, hypothesis.Or(args...))
	}
	l.system, l.formulas = hypothesis.NewSystem(conditions), conditions
	for range 100 {
		l.odds = append(l.odds, 0.002+0.03*r.Float64())
	}
	for range 60 {
		var rows []belief.Row
		for j := range 8 {
			when := hypothesis.Condition(r.IntN(80))
			if r.IntN(3) == 0 {
				when = hypothesis.And(when, hypothesis.Not(hypothesis.Condition(r.IntN(80))))
			}
			if j == 7 {
				when = hypothesis.Constant(true)
			}
			p := []float64{r.Float64(), r.Float64(), r.Float64()}
			sum := p[0] + p[1] + p[2]
			rows = append(rows, belief.Row{When: when, P: []float64{p[0] / sum, p[1] / sum, p[2] / sum}})
		}
		l.symptoms = append(l.symptoms, belief.FirstMatch(3, rows))
	}
	return l
}

func (l *large) rank(settled *hypothesis.Settled, desk *belief.Desk, findings int) *belief.Belief {
	b := belief.Prior(l.system, settled, l.odds, 0.1, 0.015, 0, desk)
	for i := range findings {
		b.Observe(belief.Seen(l.symptoms[i], i%3, 0.97))
	}
	return b
}

// slowRank weighs set by set, condition by condition, for a sample of sets.
func (l *large) slowRank(findings, sample int) time.Duration {
	start := time.Now()
	conditions := make([]bool, 80)
	for i := range sample {
		set := l.space.Set(i * l.space.Len() / sample)
		for n := range conditions {
			conditions[n] = false
		}
		for n, f := range l.formulas {
			conditions[n] = f.Holds(func(c int) bool { return slices.Contains(set, uint16(c)) }, func(k int) bool { return conditions[k] })
		}
		for f := range findings {
			l.symptoms[f].Slowly(func(c int) bool { return slices.Contains(set, uint16(c)) }, func(k int) bool { return conditions[k] })
		}
	}
	return time.Duration(float64(time.Since(start)) * float64(l.space.Len()) / float64(sample))
}

// BenchmarkRank settles all triples of 100 causes through 80 conditions and
// ranks the causes on 12 findings; the peer does it set by set.
func BenchmarkRank(b *testing.B) {
	l := newLarge(1)
	slow := l.slowRank(12, 2000)
	desk := &belief.Desk{}
	b.ReportAllocs()
	for b.Loop() {
		l.rank(l.system.Settle(l.space), desk, 12).Causes()
	}
	b.ReportMetric(float64(slow.Nanoseconds())*float64(b.N)/float64(b.Elapsed().Nanoseconds()), "x-faster-than-set-by-set")
}

// BenchmarkOneMoreFinding weighs one more finding and ranks again.
func BenchmarkOneMoreFinding(b *testing.B) {
	l := newLarge(1)
	belief12 := l.rank(l.system.Settle(l.space), &belief.Desk{}, 12)
	o := belief.Seen(l.symptoms[12], 1, 0.97)
	b.ReportAllocs()
	for b.Loop() {
		belief12.Observe(o)
		belief12.Causes()
	}
}

// Weighing a finding allocates nothing.
func TestObservingAllocatesNothing(t *testing.T) {
	l := newLarge(1)
	b := l.rank(l.system.Settle(l.space), &belief.Desk{}, 12)
	o := belief.Seen(l.symptoms[12], 1, 0.97)
	if n := testing.AllocsPerRun(5, func() { b.Observe(o) }); n > 0 {
		t.Errorf("one finding allocates %v times", n)
	}
}

// A first diagnosis sorts every symptom over every set of causes: two bytes for each are
// kept, and nothing of that size is thrown away.
func TestSortingKeepsWhatItAllocates(t *testing.T) {
	l := newLarge(1)
	settled := l.system.Settle(hypothesis.Enumerate(100, 2).Ready())
	s := belief.NewSorting(settled)
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for _, symptom := range l.symptoms {
		s.Of(symptom)
	}
	runtime.ReadMemStats(&after)
	kept := 2 * settled.Space.Len() * len(l.symptoms)
	if got := int(after.TotalAlloc - before.TotalAlloc); got > kept*5/4 {
		t.Errorf("%d bytes were allocated, %d of them are kept", got, kept)
	}
}

// Ranking all triples gives the same as set by set.
func TestRankAgreesWithSetBySet(t *testing.T) {
	l := newLarge(2)
	l.space = hypothesis.Enumerate(100, 2)
	b := l.rank(l.system.Settle(l.space), &belief.Desk{}, 12)
	total := b.Total()
	want := make([]float64, l.space.Len())
	sum := 0.0
	conditions := make([]bool, 80)
	for i := range want {
		set := l.space.Set(i)
		for n, f := range l.formulas {
			conditions[n] = f.Holds(func(c int) bool { return slices.Contains(set, uint16(c)) }, func(k int) bool { return conditions[k] })
		}
		w := 1.0
		for k, c := range set {
			w *= l.odds[c]
			if k > 0 {
				w *= 0.1
			}
		}
		for f := range 12 {
			p := l.symptoms[f].Slowly(func(c int) bool { return slices.Contains(set, uint16(c)) }, func(k int) bool { return conditions[k] })
			w *= 0.97*p[f%3] + 0.01
		}
		want[i] = w
		sum += w
	}
	for i, w := range want {
		got, share := b.Weight[i]/(total-b.Outside), w/sum
		if !(math.Abs(got-share) <= 1e-12*share) {
			t.Fatalf("%s: %v, want %v", fmt.Sprint(l.space.Set(i)), got, share)
		}
	}
}

// What sets of causes show is looked up or worked out: the weights are the same, before work and after it, where
// the worlds are others and have divided.
func TestLookedUpIsAsWorkedOut(t *testing.T) {
	for seed := range support.Deep(t, 100) {
		r := rand.New(rand.NewPCG(uint64(seed), 55))
		const causes = 5
		system := hypothesis.NewSystem([]*hypothesis.Formula{
			hypothesis.Or(hypothesis.Cause(0), hypothesis.Condition(1)),
			hypothesis.And(hypothesis.Cause(1), hypothesis.Not(hypothesis.Cause(2))),
		})
		settled := system.Settle(hypothesis.Enumerate(causes, 3))
		odds := make([]float64, causes)
		for c := range odds {
			odds[c] = r.Float64()
		}
		worked := belief.Prior(system, settled, odds, 0.7, 0.02, 0, &belief.Desk{})
		looked := belief.Prior(system, settled, odds, 0.7, 0.02, 0, &belief.Desk{}).Use(belief.NewSorting(settled))
		if looked.Sorting() == nil {
			t.Fatal("nothing is looked up")
		}
		for work := range 3 {
			for range 3 {
				s := randomSymptom(r, causes)
				o := belief.Seen(s, r.IntN(s.Values()), 0.9)
				worked.Observe(o)
				looked.Observe(o)
			}
			for i, w := range worked.Weight {
				if len(looked.Weight) != len(worked.Weight) || !near(looked.Weight[i]/w, 1, 1e-12) {
					t.Fatalf("seed %d, after %d works: %v looked up, %v worked out", seed, work, looked.Weight, worked.Weight)
				}
			}
			takings := []hypothesis.Taking{{Cause: r.IntN(causes), Chance: []float64{0.6, 1}[r.IntN(2)]}}
			worked, looked = worked.Work(takings), looked.Work(takings)
		}
	}
}
