// Package decide is the theory of choosing under uncertainty, on numbered things.
//
// A [Problem] has states, one of which is true, each with a chance; ways, each with
// a cost in every state; and tests, which cost something and whose results are
// more or less likely in each state. All else follows:
//
//   - The expected cost of a way is the mean of its costs over the states. The best
//     way is the cheapest; where several are equally cheap they are a tie.
//   - Knowing the state for sure before choosing is worth the expected value of
//     perfect information, EVPI: the best expected cost now, less the mean of the
//     cheapest cost in each state.
//   - A test is worth the expected value of sample information, EVSI: the best
//     expected cost now, less the mean over its results of the best expected cost
//     after each. Less what the test costs it is the net value.
//   - 0 <= EVSI <= EVPI, always. A test whose net value is nought is a tie: it is as
//     good to do it as not.
//   - The best plan of all may begin with a test whose own net value is negative, since
//     two tests can be worth something that neither is alone. [Problem.Plan] finds
//     it by going through every history of results, backwards.
//
// H. Raiffa and R. Schlaifer, Applied Statistical Decision Theory, 1961, and H. Raiffa,
// Decision Analysis, 1968, are where the words come from (cited from memory).
//
// All numbers are fractions of whole numbers ([big.Rat]): a tie is a tie, not a
// matter of rounding, and money stays exact until it is put on paper. Decimals of
// any length would not do, since Bayes' rule and break-even points divide.
package decide

import "math/big"

// A Problem is a choice between ways in an uncertain state. It is never changed by
// what is asked of it.
type Problem struct {
	Prior []*big.Rat   // by state; they sum to 1
	Cost  [][]*big.Rat // by way, then by state
	Tests []Test
}

// A Test costs the same whatever is true, and is done at most once.
type Test struct {
	Cost   *big.Rat
	Likely [][]*big.Rat // by state, then by result; each row sums to 1
}

var one = big.NewRat(1, 1)

// A Choice is the cheapest that can be done.
type Choice struct {
	Cost *big.Rat
	Ways []int // all that cost so little, rising
}

// Expected is the mean cost of every way.
func (p *Problem) Expected() []*big.Rat {
	all := make([]*big.Rat, len(p.Cost))
	for i, row := range p.Cost {
		all[i] = mean(p.Prior, row)
	}
	return all
}

// Now is the best choice without knowing more.
func (p *Problem) Now() Choice { return cheapest(p.Expected()) }

// Perfect is the mean cost for somebody who is told the state before choosing.
func (p *Problem) Perfect() *big.Rat {
	least := make([]*big.Rat, len(p.Prior))
	for s := range p.Prior {
		for _, row := range p.Cost {
			if least[s] == nil || row[s].Cmp(least[s]) < 0 {
				least[s] = row[s]
			}
		}
	}
	return mean(p.Prior, least)
}

// PerfectWorth is the expected value of perfect information.
func (p *Problem) PerfectWorth() *big.Rat { return sub(p.Now().Cost, p.Perfect()) }

// TellsWorth is what it is worth to be told in which of several groups the state lies,
// with no mistake: the expected value of that partition.
func (p *Problem) TellsWorth(groups [][]int) *big.Rat {
	sum := new(big.Rat)
	for _, group := range groups {
		joint := make([]*big.Rat, len(p.Prior))
		for s := range joint {
			joint[s] = new(big.Rat)
		}
		for _, s := range group {
			joint[s] = p.Prior[s]
		}
		sum.Add(sum, p.best(joint).Cost)
	}
	return sub(p.Now().Cost, sum)
}

// A Sampled is what a test is worth.
type Sampled struct {
	Worth   *big.Rat // EVSI
	Net     *big.Rat // less the test's cost
	Results []Result
}

// A Result is one that a test may have.
type Result struct {
	Chance *big.Rat
	Belief []*big.Rat // by state, once the result is known; nil where it never comes
	Choice Choice     // expected cost and ways after it
}

// Sample works out what a test is worth by itself.
func (p *Problem) Sample(test int) Sampled {
	t := p.Tests[test]
	after := new(big.Rat)
	var all Sampled
	for r := range t.Likely[0] {
		joint := times(p.Prior, t.Likely, r)
		result := Result{Chance: sum(joint)}
		if result.Chance.Sign() > 0 {
			result.Choice = p.best(joint)
			after.Add(after, result.Choice.Cost)
			result.Choice.Cost.Quo(result.Choice.Cost, result.Chance)
			for _, x := range joint {
				result.Belief = append(result.Belief, new(big.Rat).Quo(x, result.Chance))
			}
		}
		all.Results = append(all.Results, result)
	}
	all.Worth = sub(p.Now().Cost, after)
	all.Net = sub(all.Worth, t.Cost)
	return all
}

// best is the best choice under weights that need not sum to 1; its cost is weighed too.
func (p *Problem) best(weights []*big.Rat) Choice {
	costs := make([]*big.Rat, len(p.Cost))
	for i, row := range p.Cost {
		costs[i] = mean(weights, row)
	}
	return cheapest(costs)
}

func cheapest(costs []*big.Rat) Choice {
	c := Choice{Cost: costs[0]}
	for i, x := range costs {
		switch x.Cmp(c.Cost) {
		case -1:
			c = Choice{x, []int{i}}
		case 0:
			c.Ways = append(c.Ways, i)
		}
	}
	c.Cost = new(big.Rat).Set(c.Cost)
	return c
}

// times is each weight by how likely a result is in its state.
func times(weights []*big.Rat, likely [][]*big.Rat, result int) []*big.Rat {
	all := make([]*big.Rat, len(weights))
	for s, w := range weights {
		all[s] = new(big.Rat).Mul(w, likely[s][result])
	}
	return all
}

func mean(weights, values []*big.Rat) *big.Rat {
	total := new(big.Rat)
	for i, w := range weights {
		total.Add(total, new(big.Rat).Mul(w, values[i]))
	}
	return total
}

func sum(values []*big.Rat) *big.Rat {
	total := new(big.Rat)
	for _, x := range values {
		total.Add(total, x)
	}
	return total
}

func sub(a, b *big.Rat) *big.Rat { return new(big.Rat).Sub(a, b) }
