package decide

import (
	"fmt"
	"math/big"
)

// Check gives what is wrong with the form of a problem: the wrong number of
// entries, chances that are negative or do not sum to 1, or nothing to choose.
func (p *Problem) Check() error {
	if len(p.Cost) == 0 {
		return fmt.Errorf("decide: there is no way to choose")
	}
	if err := sumsToOne(p.Prior, "chances of the states"); err != nil {
		return err
	}
	for i, row := range p.Cost {
		if len(row) != len(p.Prior) {
			return fmt.Errorf("decide: way %d has %d costs for %d states", i, len(row), len(p.Prior))
		}
	}
	for i, t := range p.Tests {
		if len(t.Likely) != len(p.Prior) {
			return fmt.Errorf("decide: test %d has %d rows for %d states", i, len(t.Likely), len(p.Prior))
		}
		for _, row := range t.Likely {
			if len(row) != len(t.Likely[0]) {
				return fmt.Errorf("decide: the rows of test %d differ in length", i)
			}
			if err := sumsToOne(row, fmt.Sprintf("results of test %d", i)); err != nil {
				return err
			}
		}
	}
	return nil
}

func sumsToOne(row []*big.Rat, what string) error {
	sum := new(big.Rat)
	for _, x := range row {
		if x.Sign() < 0 {
			return fmt.Errorf("decide: one of the %s is below 0", what)
		}
		sum.Add(sum, x)
	}
	if sum.Cmp(one) != 0 {
		return fmt.Errorf("decide: the %s sum to %s and not to 1", what, sum.FloatString(6))
	}
	return nil
}
