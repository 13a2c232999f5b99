package main

import (
	"fmt"
	"math"
	"math/bits"
	"math/rand/v2"
	"slices"

	"downdrop/engine/plan"
)

// An instance is faults of which exactly one is there, and sure tests: those of which
// the mask has the bit read positive.
type instance struct {
	weight []float64
	tests  []uint32
	price  []float64
}

// draw makes an instance in which every two faults can be told apart: weights
// exponential, a share of .15 to .5 of faults positive, prices 1 to 10.
func draw(r *rand.Rand, faults, tests int) instance {
	for {
		var x instance
		for range faults {
			x.weight = append(x.weight, r.ExpFloat64())
		}
		codes := make([]string, faults)
		for range tests {
			density, mask := 0.15+0.35*r.Float64(), uint32(0)
			for f := range faults {
				bit := 0
				if r.Float64() < density {
					mask |= 1 << f
					bit = 1
				}
				codes[f] += fmt.Sprint(bit)
			}
			x.tests, x.price = append(x.tests, mask), append(x.price, float64(1+r.IntN(10)))
		}
		slices.Sort(codes)
		if len(slices.Compact(codes)) == faults {
			return x
		}
	}
}

func (x instance) model() *plan.Model {
	m := &plan.Model{Weight: x.weight, Identify: true}
	for f := range x.weight {
		m.Outcome = append(m.Outcome, f)
	}
	for i, mask := range x.tests {
		p := [][]float64{make([]float64, len(x.weight)), make([]float64, len(x.weight))}
		for f := range x.weight {
			p[mask>>f&1][f] = 1
		}
		m.Signs = append(m.Signs, plan.Sign{P: p, Once: true})
		m.Steps = append(m.Steps, plan.Step{Price: x.price[i], Shows: []int{i}})
	}
	m.Ready()
	return m
}

// table is the floor and the check: the least cost of every subset, by dynamic programming.
func (x instance) table() float64 {
	n := 1 << len(x.weight)
	mass, least := make([]float64, n), make([]float64, n)
	for s := 1; s < n; s++ {
		mass[s] = mass[s&(s-1)] + x.weight[bits.TrailingZeros(uint(s))]
		if s&(s-1) == 0 {
			continue
		}
		best := math.Inf(1)
		for i, mask := range x.tests {
			if yes := s & int(mask); yes != 0 && yes != s {
				best = min(best, x.price[i]*mass[s]+least[yes]+least[s&^int(mask)])
			}
		}
		least[s] = best
	}
	return least[n-1] / mass[n-1]
}

// greedy is the usual rule by hand: the test with the most bits for its price.
func (x instance) greedy(s uint32) (cost float64) {
	mass := func(s uint32) (m float64) {
		for ; s > 0; s &= s - 1 {
			m += x.weight[bits.TrailingZeros32(s)]
		}
		return m
	}
	if s&(s-1) == 0 {
		return 0
	}
	whole, best, at := mass(s), -1.0, -1
	for i, mask := range x.tests {
		if s&mask == 0 || s&mask == s {
			continue
		}
		p := mass(s&mask) / whole
		if gain := -(p*math.Log2(p) + (1-p)*math.Log2(1-p)) / x.price[i]; gain > best {
			best, at = gain, i
		}
	}
	return x.price[at]*whole + x.greedy(s&x.tests[at]) + x.greedy(s&^x.tests[at])
}

func trees() {
	r := rand.New(rand.NewPCG(uint64(*seed), 1990))
	for _, size := range []int{10, 15, 20, 30} {
		count := 41
		var all []instance
		var models []*plan.Model
		for range count {
			x := draw(r, size, size)
			all, models = append(all, x), append(models, x.model())
		}
		var proven, once []float64
		optimum, opened := make([]float64, count), 0
		i := 0
		entrants := []entrant{{name: "downdrop: the optimum, proven", per: count, run: func() {
			opened = 0
			for i = range models {
				start := processorTime()
				f := plan.Search(models[i], 0)
				proven = append(proven, float64(processorTime()-start))
				mustBe(f.Proven(), "%d x %d, instance %d is not proven", size, size, i)
				optimum[i] = f.Upper
				opened += f.Opened
			}
		}}, {name: "downdrop: rollout, the whole tree", per: count, run: func() {
			for i = range models {
				start := processorTime()
				models[i].Value(plan.Rollout)
				once = append(once, float64(processorTime()-start))
			}
		}}, {name: "by hand: most bits for its price", per: count, run: func() {
			for i = range all {
				all[i].greedy(uint32(1<<size - 1))
			}
		}}}
		if size <= 20 {
			entrants = append(entrants, entrant{name: "floor: table of all subsets, by hand", per: count, every: *rounds, run: func() {
				for i = range all {
					want := all[i].table()
					mustBe(optimum[i] == 0 || math.Abs(optimum[i]-want) < 1e-9*want, "instance %d of %d x %d costs %v, by the table %v", i, size, size, optimum[i], want)
				}
			}})
		}
		t := race(fmt.Sprintf("Sure tests in sequence, %d faults x %d tests, %d instances; every optimum checked up to 20", size, size, count), entrants...)
		slices.Sort(proven)
		slices.Sort(once)
		fmt.Printf("  places opened by the search: %.1f on average; to prove one: median %s, 95 of 100 within %s; rollout tree: median %s\n",
			float64(opened)/float64(count), short(proven[len(proven)/2]), short(proven[len(proven)*95/100]), short(once[len(once)/2]))
		switch size {
		case 20:
			goal("ms to prove one, median", proven[len(proven)/2]/1e6, 2, false)
			goal("ms to prove one, 95 of 100", proven[len(proven)*95/100]/1e6, 10, false)
			goal("the table takes times ours", ratio(t["floor: table of all subsets, by hand"], t["downdrop: the optimum, proven"]), 20, true)
			goal("ms for a rollout tree, median", once[len(once)/2]/1e6, 0.5, false)
		case 30:
			goal("ms to prove one, median", proven[len(proven)/2]/1e6, 15, false)
		}
	}
	var over, greedy []float64
	for range 500 {
		x := draw(r, 20, 20)
		m := x.model()
		best := plan.Search(m, 0).Upper
		over = append(over, m.Value(plan.Rollout)/best-1)
		mass := 0.0
		for _, w := range x.weight {
			mass += w
		}
		greedy = append(greedy, x.greedy(1<<20-1)/mass/best-1)
	}
	fmt.Printf("\nHow far the rules that look ahead are over the optimum, 500 instances of 20 x 20\n")
	fmt.Printf("  most bits for its price, by hand: %.2f %% on average\n", 100*mean(greedy))
	slices.Sort(over)
	goal("rollout, % over the optimum on average", 100*mean(over), 1.2, false)
	goal("rollout, % over the optimum, 95 of 100", 100*over[475], 4, false)
}

func mean(all []float64) (m float64) {
	for _, x := range all {
		m += x / float64(len(all))
	}
	return m
}
