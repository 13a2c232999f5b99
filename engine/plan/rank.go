package plan

import (
	"cmp"
	"math"
	"slices"
	"sync"
	"sync/atomic"
)

// A Rank is what a step is worth to the policy.
type Rank struct {
	Step    int
	Minutes float64 // with what follows it; to identify: of tests
	Ahead   bool    // by rollout over the greedy policy; else by acting at once after it
	Best    bool    // the first step of the cheapest policy that a search found
	Tells   bool    // it tells something about what to do, or takes something away
}

// Width says how much is looked at where a model has more than can be.
type Width struct {
	Likely  int // steps followed to the end, of those that leave least to pay
	Telling int // and of those that tell most per minute
	Tests   int // tests that the greedy policy tries at every place
	Depth   int // steps of the greedy policy that are followed and one; what lies behind is estimated
	Cores   int // how many follow steps at once; it changes no digit
}

// Whole looks at everything.
var Whole = Width{}

// Ranks values steps, and gives them in the order of what is expected: those that were
// followed to the end first. End is what it costs to end the case at once; infinite
// for Identify.
func (m *Model) Ranks(steps []int, w Width) (ranks []Rank, end float64) {
	n := m.root()
	end = math.Inf(1)
	if !m.Identify {
		_, end = m.end(n.w)
		end /= n.mass
	}
	g := greedy{width: w.Tests, depth: w.Depth}
	if w.Depth > 0 {
		g.perBit = m.perBit(n)
	}
	ratio := map[int]float64{}
	for _, i := range steps {
		if !m.offered(n, i) {
			ranks = append(ranks, Rank{Step: i, Minutes: math.Inf(1)})
			continue
		}
		r := Rank{Step: i, Tells: m.tellsOrTakes(n, i)}
		r.Minutes = m.screen(n, i, g.perBit)
		if len(m.Steps[i].Shows) > 0 {
			ratio[i] = perMinute(m.gain(n, i), m.price(n, i))
		}
		ranks = append(ranks, r)
	}
	m.follow(g, n, ranks, m.worthFollowing(ranks, ratio, w), w.Cores)
	slices.SortStableFunc(ranks, func(a, b Rank) int {
		if a.Ahead != b.Ahead {
			if a.Ahead {
				return -1
			}
			return 1
		}
		return cmp.Compare(significant(a.Minutes), significant(b.Minutes))
	})
	return ranks, end
}

// follow follows some of the steps to the end.
func (m *Model) follow(g greedy, n *node, ranks []Rank, chosen []int, cores int) {
	var next atomic.Int64
	var group sync.WaitGroup
	for range max(1, min(cores, len(chosen))) {
		group.Go(func() {
			for i := int(next.Add(1)) - 1; i < len(chosen); i = int(next.Add(1)) - 1 {
				r := &ranks[chosen[i]]
				r.Minutes, r.Ahead = m.valueOf(g, n, act{r.Step, -1}, math.Inf(1))/n.mass, true
			}
		})
	}
	group.Wait()
}

func (m *Model) tellsOrTakes(n *node, step int) bool {
	if m.Steps[step].Moves == nil {
		return m.tells(n, step)
	}
	for x, w := range n.w {
		if w > 0 && m.moved[step][x] > 0 {
			return true
		}
	}
	return false
}

// screen is what a step costs if one only acts after it; to identify, by how much its
// price and what it leaves are bounded with the tests as cheap per bit as they come.
func (m *Model) screen(n *node, step int, perBit float64) float64 {
	cost := m.price(n, step) * n.mass
	for _, k := range m.ways(n, step) {
		if m.Identify {
			cost += m.outcomeBits(k.node.w) * perBit
			continue
		}
		cost += m.onlyAct(k)
	}
	return cost / n.mass
}

// perBit is what a bit costs on average if what is not known is found out by the tests
// that tell most per minute, as if no two told the same.
func (m *Model) perBit(n *node) float64 {
	type teller struct{ gain, price float64 }
	var all []teller
	for i := range m.Steps {
		if g := m.gain(n, i); m.Steps[i].Moves == nil && g > 0 {
			all = append(all, teller{g, m.price(n, i)})
		}
	}
	slices.SortStableFunc(all, func(a, b teller) int { return cmp.Compare(perMinute(b.gain, b.price), perMinute(a.gain, a.price)) })
	bits, minutes := 0.0, 0.0
	for most := m.outcomeBits(n.w) / n.mass; len(all) > 0 && bits < most; all = all[1:] {
		bits, minutes = bits+all[0].gain, minutes+all[0].price
	}
	if bits == 0 {
		return 0
	}
	return minutes / bits
}

// worthFollowing are the places in ranks of the steps that are followed to the end.
func (m *Model) worthFollowing(ranks []Rank, ratio map[int]float64, w Width) []int {
	var all []int
	for at := range ranks {
		if ranks[at].Tells {
			all = append(all, at)
		}
	}
	if w.Likely == 0 && w.Telling == 0 {
		return all
	}
	slices.SortStableFunc(all, func(a, b int) int {
		return cmp.Compare(significant(ranks[a].Minutes), significant(ranks[b].Minutes))
	})
	chosen := slices.Clone(all[:min(w.Likely, len(all))])
	slices.SortStableFunc(all, func(a, b int) int {
		return cmp.Compare(significant(ratio[ranks[b].Step]), significant(ratio[ranks[a].Step]))
	})
	for _, at := range all[:min(w.Telling, len(all))] {
		if !slices.Contains(chosen, at) {
			chosen = append(chosen, at)
		}
	}
	return chosen
}
