package cases

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
)

// A Forecast is a chance that was given, and whether what it was given to came true.
type Forecast struct {
	P    float64
	True bool
}

// LeastChance is what a chance of nought counts as where its logarithm is taken: what was held
// impossible and came true would else outweigh all other cases together. Clamped counts them.
const LeastChance = 1e-6

// A Bin is the forecasts above From and up to To; the first also holds 0.
type Bin struct {
	From, To  float64
	Cases     int
	Forecast  float64 // mean
	Frequency float64 // share that came true
	// Low and High: between them lie 95 of 100 frequencies where the forecasts of the bin are
	// right as they stand (Bröcker and Smith 2007, from memory).
	Low, High float64
}

// Calibration says whether chances come true as often as they say.
//
// Brier (1950) is the mean of (P - outcome)², Log the mean of -ln of what was given to
// the outcome. Murphy (1973): Brier = Reliability - Resolution + Uncertainty, exactly where
// each group holds equal forecasts; Within is what the spread inside bins adds
// (Stephenson, Coelho and Jolliffe 2008, from memory).
type Calibration struct {
	Cases, Clamped          int
	Brier, Log              float64
	BaseRate                float64
	Skill                   float64 // 1 - Brier / Brier of the base rate; 0 where that is 0
	Reliability, Resolution float64
	Uncertainty, Within     float64
	Bins                    []Bin
	ECE                     float64 // the mean distance of a bin's frequency from its forecast, by cases
	Largest                 float64 // the largest such distance
	ByChance, ByChanceHigh  float64 // the ECE of these very forecasts were they right: its mean, and what 95 of 100 stay below
	Simulations             int
}

// Calibrate adds up forecasts in so many bins of equal width.
func Calibrate(all []Forecast, bins int) *Calibration {
	c := &Calibration{Cases: len(all)}
	for i := range bins {
		c.Bins = append(c.Bins, Bin{From: float64(i) / float64(bins), To: float64(i+1) / float64(bins)})
	}
	if len(all) == 0 {
		return c
	}
	all = slices.Clone(all) // in one order, so that neither sums nor draws know in which the cases came
	slices.SortFunc(all, func(a, b Forecast) int { return cmp.Or(cmp.Compare(a.P, b.P), cmp.Compare(outcome(a), outcome(b))) })
	n := float64(len(all))
	groups := make([][]Forecast, bins)
	for _, f := range all {
		y := outcome(f)
		c.Brier += (f.P - y) * (f.P - y) / n
		given := f.P
		if !f.True {
			given = 1 - f.P
		}
		if given < LeastChance {
			c.Clamped++
		}
		c.Log -= math.Log(max(given, LeastChance)) / n
		c.BaseRate += y / n
		i := binOf(f.P, bins)
		groups[i] = append(groups[i], f)
	}
	for i, group := range groups {
		c.addBin(&c.Bins[i], group)
	}
	c.Uncertainty = c.BaseRate * (1 - c.BaseRate)
	if c.Uncertainty > 0 {
		c.Skill = 1 - c.Brier/c.Uncertainty
	}
	c.Within = c.Brier - (c.Reliability - c.Resolution + c.Uncertainty)
	c.byChance(groups)
	return c
}

func outcome(f Forecast) float64 {
	if f.True {
		return 1
	}
	return 0
}

// binOf sorts a chance into bins that are open below and closed above.
func binOf(p float64, bins int) int {
	i := int(math.Ceil(p*float64(bins)-1e-9)) - 1 // .3 of ten is the third, whatever its last digit
	return min(max(i, 0), bins-1)
}

func (c *Calibration) addBin(b *Bin, group []Forecast) {
	b.Cases = len(group)
	if b.Cases == 0 {
		return
	}
	for _, f := range group {
		b.Forecast += f.P / float64(b.Cases)
		b.Frequency += outcome(f) / float64(b.Cases)
	}
	share, gap := float64(b.Cases)/float64(c.Cases), math.Abs(b.Forecast-b.Frequency)
	c.Reliability += share * gap * gap
	c.Resolution += share * (b.Frequency - c.BaseRate) * (b.Frequency - c.BaseRate)
	c.ECE += share * gap
	c.Largest = max(c.Largest, gap)
}

// byChance draws outcomes as the forecasts say: what is then seen is what chance alone does with
// so many cases. The same forecasts draw the same.
func (c *Calibration) byChance(groups [][]Forecast) {
	c.Simulations = min(2000, max(200, 2_000_000/c.Cases))
	r := rand.New(rand.NewPCG(uint64(c.Cases), 17))
	eces := make([]float64, c.Simulations)
	frequencies := make([][]float64, len(groups))
	for s := range c.Simulations {
		for i, group := range groups {
			if len(group) == 0 {
				continue
			}
			right := 0
			for _, f := range group {
				if r.Float64() < f.P {
					right++
				}
			}
			frequency := float64(right) / float64(len(group))
			frequencies[i] = append(frequencies[i], frequency)
			eces[s] += float64(len(group)) / float64(c.Cases) * math.Abs(frequency-c.Bins[i].Forecast)
		}
		c.ByChance += eces[s] / float64(c.Simulations)
	}
	slices.Sort(eces)
	c.ByChanceHigh = quantile(eces, 0.95)
	for i, all := range frequencies {
		if len(all) > 0 {
			slices.Sort(all)
			c.Bins[i].Low, c.Bins[i].High = quantile(all, 0.025), quantile(all, 0.975)
		}
	}
}

// quantile of a sorted list: the least entry that a share q of them do not exceed.
func quantile(sorted []float64, q float64) float64 {
	return sorted[max(0, int(math.Ceil(q*float64(len(sorted))))-1)]
}
