package plan_test

import (
	"encoding/binary"
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"testing"

	"downdrop/engine/plan"
	"downdrop/testdata/support"
)

// breakdown is a small problem of acting, told in causes and not in states: what
// brute force reads, and what a model is made of.
type breakdown struct {
	causes   int
	weight   map[int]float64 // by set of causes, a bit for each
	takes    [][]float64     // by remedy, by cause
	price    []float64       // by remedy
	away     []bool
	signs    []smallSign
	tests    []smallTest
	well     []float64 // by cause: the chance that the drop seems well with it
	handOver float64
	guess    []float64 // a second end: its price by cause, on top of a tenth of handing over; nil: none
	visit    float64
	comeBack float64
}

type smallSign struct {
	byCause [][]float64 // by cause: the values' chances where it is the lowest cause present
	none    []float64
	once    bool
}

type smallTest struct {
	price float64
	shows []int
}

func lowest(set int) int { return bits.TrailingZeros(uint(set)) }

func (b *breakdown) shows(sign, set int) []float64 {
	if set == 0 {
		return b.signs[sign].none
	}
	return b.signs[sign].byCause[lowest(set)]
}

func (b *breakdown) seemsWell(set int) float64 {
	p := 1.0
	for ; set != 0; set &= set - 1 {
		p *= b.well[lowest(set)]
	}
	return p
}

func (b *breakdown) guessing(set int) float64 {
	sum := b.handOver / 10
	for ; set != 0; set &= set - 1 {
		sum += b.guess[lowest(set)]
	}
	return sum
}

func randomDistribution(r *rand.Rand, n int, sure bool) []float64 {
	p, sum := make([]float64, n), 0.0
	if sure {
		p[r.IntN(n)] = 1
		return p
	}
	for i := range p {
		p[i] = r.ExpFloat64()
		sum += p[i]
	}
	for i := range p {
		p[i] /= sum
	}
	return p
}

func randomBreakdown(r *rand.Rand) *breakdown {
	b := &breakdown{causes: 2 + r.IntN(5), weight: map[int]float64{}, handOver: 40 + 100*r.Float64(), visit: 30 * r.Float64()}
	odds := make([]float64, b.causes)
	for c := range odds {
		odds[c] = r.ExpFloat64()
		b.well = append(b.well, []float64{0, 0, 0, .3}[r.IntN(4)])
		b.weight[1<<c] = odds[c]
	}
	for c := range b.causes {
		for d := range c {
			b.weight[1<<c|1<<d] = 0.3 * odds[c] * odds[d]
		}
	}
	if r.IntN(3) == 0 {
		b.weight[0] = 0.2 * r.Float64()
	}
	for range 1 + r.IntN(5) {
		takes := make([]float64, b.causes)
		takes[r.IntN(b.causes)] = []float64{1, 1, .7}[r.IntN(3)]
		if r.IntN(2) == 0 {
			takes[r.IntN(b.causes)] = []float64{1, .5}[r.IntN(2)]
		}
		b.takes = append(b.takes, takes)
		b.price = append(b.price, float64(2+r.IntN(40)))
		b.away = append(b.away, r.IntN(4) == 0)
	}
	for range r.IntN(6) {
		values, sure := 2+r.IntN(2), r.IntN(3) == 0
		s := smallSign{none: randomDistribution(r, values, sure), once: r.IntN(3) > 0}
		for range b.causes {
			s.byCause = append(s.byCause, randomDistribution(r, values, sure))
		}
		t := smallTest{price: float64(1 + r.IntN(12)), shows: []int{len(b.signs)}}
		if len(b.signs) > 0 && r.IntN(4) == 0 {
			t.shows = append(t.shows, r.IntN(len(b.signs)))
		}
		b.signs, b.tests = append(b.signs, s), append(b.tests, t)
	}
	if r.IntN(3) == 0 {
		for range b.causes {
			b.guess = append(b.guess, 80*r.Float64())
		}
	}
	if r.IntN(2) == 0 {
		b.comeBack = b.handOver
	}
	return b
}

// model has a state for every set of causes that may come to be.
func (b *breakdown) model() *plan.Model {
	place, sets := map[int]int{}, []int{}
	add := func(set int) {
		if _, ok := place[set]; !ok {
			place[set] = len(sets)
			sets = append(sets, set)
		}
	}
	for set := range 1 << b.causes {
		if b.weight[set] > 0 {
			add(set)
		}
	}
	for set := range 1 << b.causes {
		if bits.OnesCount(uint(set)) < 2 {
			add(set)
		}
	}
	m := &plan.Model{Visit: b.visit, Return: b.comeBack}
	var hand, guess []float64
	for _, set := range sets {
		m.Weight = append(m.Weight, b.weight[set])
		m.Outcome = append(m.Outcome, set)
		m.Open = append(m.Open, set != 0)
		m.Well = append(m.Well, b.seemsWell(set))
		hand = append(hand, b.handOver)
		if b.guess != nil {
			guess = append(guess, b.guessing(set))
		}
	}
	m.Ends = []plan.End{{Cost: hand}}
	if guess != nil {
		m.Ends = append(m.Ends, plan.End{Cost: guess})
	}
	for i, s := range b.signs {
		sign := plan.Sign{Once: s.once}
		for v := range s.none {
			var p []float64
			for _, set := range sets {
				p = append(p, b.shows(i, set)[v])
			}
			sign.P = append(sign.P, p)
		}
		m.Signs = append(m.Signs, sign)
	}
	for _, t := range b.tests {
		m.Steps = append(m.Steps, plan.Step{Price: t.price, Shows: t.shows})
	}
	for i, takes := range b.takes {
		s := plan.Step{Price: b.price[i], Away: b.away[i]}
		for _, set := range sets {
			moves := []plan.Move{}
			for left, p := range b.leaves(set, takes) {
				if p > 0 {
					moves = append(moves, plan.Move{To: place[left], Chance: p})
				}
			}
			s.Moves = append(s.Moves, moves)
		}
		m.Steps = append(m.Steps, s)
	}
	return m
}

// leaves are the sets that a remedy may leave of one, by set.
func (b *breakdown) leaves(set int, takes []float64) []float64 {
	p := make([]float64, 1<<b.causes)
	p[set] = 1
	for c, q := range takes {
		if set&(1<<c) == 0 || q == 0 {
			continue
		}
		for s := range p {
			if s&(1<<c) != 0 && p[s] > 0 {
				p[s&^(1<<c)] += p[s] * q
				p[s] *= 1 - q
			}
		}
	}
	return p
}

// brute is expectimax over everything that can be done and seen, by definition. Only
// where the same was believed, seen and done before is it not worked out again.
type brute struct {
	b       *breakdown
	known   map[string]float64
	tooMany bool
}

const bruteMost = 4_000

func (x *brute) cost(belief []float64, seen, done int, visited bool) float64 {
	mass := 0.0
	for _, w := range belief {
		mass += w
	}
	if mass < 1e-300 || x.tooMany {
		return 0
	}
	key := fmt.Appendf(nil, "%d %d %t", seen, done, visited)
	for _, w := range belief {
		if w > 0 {
			key = binary.LittleEndian.AppendUint64(append(key, ' '), uint64(math.Round(w/mass*1e12)))
		} else {
			key = append(key, '-')
		}
	}
	if c, ok := x.known[string(key)]; ok {
		return c * mass
	}
	if len(x.known) > bruteMost {
		x.tooMany = true
		return 0
	}
	b := x.b
	best := b.handOver * mass
	if b.guess != nil {
		sum := 0.0
		for set, w := range belief {
			sum += w * b.guessing(set)
		}
		best = math.Min(best, sum)
	}
	for _, t := range b.tests {
		fresh := 0
		for _, s := range t.shows {
			if seen&(1<<s) == 0 {
				fresh |= 1 << s
			}
		}
		if fresh != 0 {
			best = math.Min(best, t.price*mass+x.reading(belief, seen, fresh, done, visited))
		}
	}
	for i := range b.takes {
		if done&(1<<i) == 0 {
			best = math.Min(best, x.working(belief, seen, done, visited, i, mass))
		}
	}
	x.known[string(key)] = best / mass
	return best
}

// reading sums over the values of the first of the fresh signs.
func (x *brute) reading(belief []float64, seen, fresh, done int, visited bool) float64 {
	if fresh == 0 {
		return x.cost(belief, seen, done, visited)
	}
	sign := lowest(fresh)
	sum := 0.0
	for v := range x.b.signs[sign].none {
		next := make([]float64, len(belief))
		for set, w := range belief {
			next[set] = w * x.b.shows(sign, set)[v]
		}
		sum += x.reading(next, seen|1<<sign, fresh&(fresh-1), done, visited)
	}
	return sum
}

func (x *brute) working(belief []float64, seen, done int, visited bool, remedy int, mass float64) float64 {
	b := x.b
	cost := b.price[remedy] * mass
	if b.away[remedy] && !visited {
		cost, visited = cost+b.visit*mass, true
	}
	down := make([]float64, len(belief))
	for set, w := range belief {
		if w == 0 {
			continue
		}
		for left, p := range b.leaves(set, b.takes[remedy]) {
			if p == 0 {
				continue
			}
			well := b.seemsWell(left)
			down[left] += w * p * (1 - well)
			if left != 0 {
				cost += w * p * well * b.comeBack
			}
		}
	}
	still := 0
	for i, s := range b.signs {
		if s.once {
			still |= seen & (1 << i)
		}
	}
	return cost + x.cost(down, still, done|1<<remedy, visited)
}

// Two ways agree: the search and brute force, on small problems of acting with up to
// 6 causes, two of them at once, 5 tests and 5 remedies. Problems too large for brute
// force are passed over.
func TestSearchAgreesWithExpectimax(t *testing.T) {
	var greedy, rollout shares
	most, opened := [3]int{}, 0
	for seed := 0; len(rollout) < support.Deep(t, 150); seed++ {
		b := randomBreakdown(rand.New(rand.NewPCG(uint64(seed), 1995)))
		x := &brute{b: b, known: map[string]float64{}}
		belief := make([]float64, 1<<b.causes)
		mass := 0.0
		for set, w := range b.weight {
			belief[set] = w
			mass += w
		}
		want := x.cost(belief, 0, 0, false) / mass
		if x.tooMany {
			continue
		}
		most = [3]int{max(most[0], b.causes), max(most[1], len(b.tests)), max(most[2], len(b.takes))}
		m := b.model()
		f := plan.Search(m, 1_000_000)
		opened += f.Opened
		if !f.Proven() || !(math.Abs(f.Upper-want) <= 1e-8*want) {
			t.Errorf("seed %d: the search has %v to %v, brute force %v", seed, f.Lower, f.Upper, want)
		}
		if seed%3 == 0 { // one step may come first, each in turn: the best of these is the best of all
			least := math.Inf(1)
			for i := range m.Steps {
				one := plan.Search(m, 1_000_000, i)
				if one.Step != plan.Nothing && one.Step != i {
					t.Errorf("seed %d: only %d may come first, and %d does", seed, i, one.Step)
				}
				least = min(least, one.Upper)
			}
			if !(math.Abs(least-want) <= 1e-8*want) {
				t.Errorf("seed %d: beginning with each step in turn costs %v at least, brute force %v", seed, least, want)
			}
		}
		greedy.add(m.Value(plan.Greedy), want)
		rollout.add(m.Value(plan.Rollout), want)
	}
	greedy.log(t, "greedy")
	rollout.log(t, "rollout")
	t.Logf("up to %d causes, %d tests, %d remedies; %d places opened", most[0], most[1], most[2], opened)
	if rollout.mean() > 0.02 {
		t.Errorf("rollout is %v over the optimum on average", rollout.mean())
	}
	if most != [3]int{6, 5, 5} {
		t.Errorf("only up to %v causes, tests and remedies", most)
	}
}
