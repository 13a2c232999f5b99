package decide

import "math/big"

// MostTests bounds the tests that Plan goes through: their histories multiply.
const MostTests = 6

// A Planned is the cheapest first step and what all costs that follows it.
type Planned struct {
	Cost  *big.Rat
	Tests []int // that may come first, rising
	Ways  []int // that may be chosen at once, rising
	First []*big.Rat
}

// Plan gives the best first step of all, tests and ways alike, when whatever comes
// after it is done as well as can be. Where both a test and a way stand in it, they
// are a tie. First is the cost of beginning with each test. At most [MostTests]
// tests are gone through, the first ones.
func (p *Problem) Plan() Planned {
	h := &histories{p: p, done: make([]int, min(len(p.Tests), MostTests)), known: map[string]*big.Rat{}}
	plan := Planned{}
	now := p.best(p.Prior)
	plan.Cost = now.Cost
	for t := range h.done {
		cost := h.test(p.Prior, t)
		plan.First = append(plan.First, cost)
		switch cost.Cmp(plan.Cost) {
		case -1:
			plan.Cost, plan.Tests = cost, []int{t}
		case 0:
			plan.Tests = append(plan.Tests, t)
		}
	}
	if now.Cost.Cmp(plan.Cost) == 0 {
		plan.Ways = now.Ways
	}
	return plan
}

// histories remembers the worth of what was seen: the order in which results came
// does not matter.
type histories struct {
	p     *Problem
	done  []int // by test: 0 not done, else its result and 1
	known map[string]*big.Rat
}

// cost is the least mean cost from here on, weighed by how likely it is to get here.
func (h *histories) cost(weights []*big.Rat) *big.Rat {
	key := make([]byte, len(h.done))
	for t, r := range h.done {
		key[t] = byte(r)
	}
	if c := h.known[string(key)]; c != nil {
		return c
	}
	least := h.p.best(weights).Cost
	for t, r := range h.done {
		if r > 0 {
			continue
		}
		if c := h.test(weights, t); c.Cmp(least) < 0 {
			least = c
		}
	}
	h.known[string(key)] = least
	return least
}

// test is the cost of doing a test next.
func (h *histories) test(weights []*big.Rat, t int) *big.Rat {
	total := new(big.Rat).Mul(sum(weights), h.p.Tests[t].Cost)
	for r := range h.p.Tests[t].Likely[0] {
		h.done[t] = r + 1
		total.Add(total, h.cost(times(weights, h.p.Tests[t].Likely, r)))
	}
	h.done[t] = 0
	return total
}
