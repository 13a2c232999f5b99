package decide_test

import (
	"math/big"
	"math/rand/v2"
	"testing"

	"downdrop/engine/decide"
	"downdrop/testdata/support"
)

// The obvious slow way: every policy there is, written out and paid for in every
// state. Nothing here uses Bayes' rule.

// draw makes a random problem. Small whole numbers, so that ties are common.
func draw(r *rand.Rand) *decide.Problem {
	states, ways, tests := 1+r.IntN(4), 1+r.IntN(4), r.IntN(3)
	p := &decide.Problem{Prior: chances(r, states)}
	for range ways {
		var row []*big.Rat
		for range states {
			row = append(row, big.NewRat(int64(r.IntN(12)), 1))
		}
		p.Cost = append(p.Cost, row)
	}
	for range tests {
		t, results := decide.Test{Cost: big.NewRat(int64(r.IntN(5)), 2)}, 1+r.IntN(3)
		for range states {
			t.Likely = append(t.Likely, chances(r, results))
		}
		p.Tests = append(p.Tests, t)
	}
	return p
}

// chances are n that sum to 1, some of them nought.
func chances(r *rand.Rand, n int) []*big.Rat {
	total, parts := int64(0), make([]int64, n)
	for total == 0 {
		for i := range parts {
			parts[i] = int64(r.IntN(5))
			total += parts[i]
		}
	}
	var all []*big.Rat
	for _, x := range parts {
		all = append(all, big.NewRat(x, total))
	}
	return all
}

// slowest is the cheapest of all ways to choose one way for each of n observations,
// where pay gives the mean cost of one complete assignment.
func slowest(n, ways int, pay func(choice []int) *big.Rat) *big.Rat {
	var least *big.Rat
	choice := make([]int, n)
	for {
		if c := pay(choice); least == nil || c.Cmp(least) < 0 {
			least = c
		}
		i := 0
		for ; i < n; i++ {
			if choice[i]++; choice[i] < ways {
				break
			}
			choice[i] = 0
		}
		if i == n {
			return least
		}
	}
}

func slowPerfect(p *decide.Problem) *big.Rat {
	return slowest(len(p.Prior), len(p.Cost), func(choice []int) *big.Rat {
		total := new(big.Rat)
		for s, w := range choice {
			total.Add(total, new(big.Rat).Mul(p.Prior[s], p.Cost[w][s]))
		}
		return total
	})
}

func slowAfter(p *decide.Problem, test int) *big.Rat {
	likely := p.Tests[test].Likely
	return slowest(len(likely[0]), len(p.Cost), func(choice []int) *big.Rat {
		total := new(big.Rat)
		for s := range p.Prior {
			for r, w := range choice {
				x := new(big.Rat).Mul(p.Prior[s], likely[s][r])
				total.Add(total, x.Mul(x, p.Cost[w][s]))
			}
		}
		return total
	})
}

// slowPlan follows every order of tests and every result with beliefs that are
// brought to 1 each time.
func slowPlan(p *decide.Problem, belief []*big.Rat, left []int) *big.Rat {
	var least *big.Rat
	for _, row := range p.Cost {
		c := new(big.Rat)
		for s, b := range belief {
			c.Add(c, new(big.Rat).Mul(b, row[s]))
		}
		if least == nil || c.Cmp(least) < 0 {
			least = c
		}
	}
	for i, t := range left {
		rest := append(append([]int{}, left[:i]...), left[i+1:]...)
		c := new(big.Rat).Set(p.Tests[t].Cost)
		for r := range p.Tests[t].Likely[0] {
			chance := new(big.Rat)
			for s, b := range belief {
				chance.Add(chance, new(big.Rat).Mul(b, p.Tests[t].Likely[s][r]))
			}
			if chance.Sign() == 0 {
				continue
			}
			var after []*big.Rat
			for s, b := range belief {
				x := new(big.Rat).Mul(b, p.Tests[t].Likely[s][r])
				after = append(after, x.Quo(x, chance))
			}
			c.Add(c, chance.Mul(chance, slowPlan(p, after, rest)))
		}
		if c.Cmp(least) < 0 {
			least = c
		}
	}
	return least
}

func TestAgreesWithBruteForce(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 1968))
	trials, ties, tested := support.Deep(t, 300), 0, 0
	for range trials {
		p := checked(t, draw(r))
		now := p.Now()
		if len(now.Ways) > 1 {
			ties++
		}
		if got, want := p.Perfect(), slowPerfect(p); got.Cmp(want) != 0 {
			t.Fatalf("perfect: %v, want %v in %+v", got, want, p)
		}
		evpi := p.PerfectWorth()
		if evpi.Sign() < 0 {
			t.Fatalf("EVPI below nought: %v", evpi)
		}
		var left []int
		for i := range p.Tests {
			left = append(left, i)
			s := p.Sample(i)
			want := new(big.Rat).Sub(now.Cost, slowAfter(p, i))
			if s.Worth.Cmp(want) != 0 {
				t.Fatalf("EVSI: %v, want %v in %+v", s.Worth, want, p)
			}
			if s.Worth.Sign() < 0 || s.Worth.Cmp(evpi) > 0 {
				t.Fatalf("EVSI %v outside 0 to EVPI %v", s.Worth, evpi)
			}
			total := new(big.Rat)
			for _, one := range s.Results {
				total.Add(total, one.Chance)
			}
			exact(t, "chances of results", total, "1")
		}
		plan := p.Plan()
		if want := slowPlan(p, p.Prior, left); plan.Cost.Cmp(want) != 0 {
			t.Fatalf("plan: %v, want %v in %+v", plan.Cost, want, p)
		}
		if len(plan.Tests) > 0 {
			tested++
		}
		if plan.Cost.Cmp(now.Cost) > 0 || plan.Cost.Cmp(p.Perfect()) < 0 {
			t.Fatalf("perfect <= plan <= now does not hold in %+v", p)
		}
		// To be told everything is to be told the state; to be told nothing is worth nothing.
		var apart [][]int
		var all []int
		for s := range p.Prior {
			apart, all = append(apart, []int{s}), append(all, s)
		}
		exact(t, "told everything", p.TellsWorth(apart), evpi.RatString())
		exact(t, "told nothing", p.TellsWorth([][]int{all}), "0")
	}
	if !testing.Short() && (ties < trials/20 || tested < trials/20) {
		t.Errorf("of %d problems only %d had a tie, %d began with a test", trials, ties, tested)
	}
}

// Along a line the stretches say what a fine walk along it finds, and turns are where
// the nearest of them end.
func TestStretchesAndTurnsAgreeWithAWalk(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 7))
	for range support.Deep(t, 200) {
		n := 1 + r.IntN(5)
		at0, at1 := make([]*big.Rat, n), make([]*big.Rat, n)
		for i := range n {
			at0[i], at1[i] = big.NewRat(int64(r.IntN(20)), 1), big.NewRat(int64(r.IntN(20)), 1)
		}
		stretches := decide.Stretches(at0, at1)
		for k := range 331 {
			x := big.NewRat(int64(k), 330)
			costs := decide.Between(at0, at1, x)
			least := costs[0]
			for _, c := range costs {
				if c.Cmp(least) < 0 {
					least = c
				}
			}
			for _, s := range stretches {
				if x.Cmp(s.From) < 0 || x.Cmp(s.To) > 0 {
					continue
				}
				for _, w := range s.Ways {
					if costs[w].Cmp(least) != 0 {
						t.Fatalf("at %v way %d is not the cheapest of %v", x, w, costs)
					}
				}
			}
		}
		half := big.NewRat(1, 2)
		now, slope := decide.Between(at0, at1, half), make([]*big.Rat, n)
		best := 0
		for i := range n {
			slope[i] = new(big.Rat).Sub(at1[i], at0[i])
			if now[i].Cmp(now[best]) < 0 {
				best = i
			}
		}
		below, above := decide.Turns(now, slope, best)
		for _, turn := range []*decide.Turn{below, above} {
			if turn == nil {
				continue
			}
			at := new(big.Rat).Add(half, turn.By)
			costs := decide.Between(at0, at1, at)
			if costs[best].Cmp(costs[turn.Way]) != 0 {
				t.Fatalf("at the turn %v the costs differ: %v", at, costs)
			}
			for _, c := range costs {
				if c.Cmp(costs[best]) < 0 {
					t.Fatalf("the turn %v is not the nearest: %v", at, costs)
				}
			}
		}
	}
}

func TestCheckRefuses(t *testing.T) {
	half, whole := big.NewRat(1, 2), big.NewRat(1, 1)
	for name, p := range map[string]*decide.Problem{
		"no way":       {Prior: []*big.Rat{whole}},
		"chances":      {Prior: []*big.Rat{half}, Cost: [][]*big.Rat{{whole}}},
		"below nought": {Prior: []*big.Rat{big.NewRat(3, 2), big.NewRat(-1, 2)}, Cost: [][]*big.Rat{{whole, whole}}},
		"costs":        {Prior: []*big.Rat{whole}, Cost: [][]*big.Rat{{whole, whole}}},
		"rows":         {Prior: []*big.Rat{whole}, Cost: [][]*big.Rat{{whole}}, Tests: []decide.Test{{Cost: half}}},
		"results":      {Prior: []*big.Rat{whole}, Cost: [][]*big.Rat{{whole}}, Tests: []decide.Test{{Cost: half, Likely: [][]*big.Rat{{half}}}}},
		"lengths":      {Prior: []*big.Rat{half, half}, Cost: [][]*big.Rat{{whole, whole}}, Tests: []decide.Test{{Cost: half, Likely: [][]*big.Rat{{half, half}, {whole}}}}},
	} {
		if p.Check() == nil {
			t.Errorf("%s: accepted", name)
		}
	}
}
