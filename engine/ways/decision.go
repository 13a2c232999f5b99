package ways

import (
	"fmt"
	"math/big"
	"slices"

	"downdrop/engine/decide"
	"downdrop/rulebase"
)

// NearTie is how far two expected costs may lie apart, as a share of the lower,
// to be called nearly the same: the prices and chances behind them are seldom known
// better (estimate of this project).
var NearTie = big.NewRat(1, 20)

// A Decision is everything that is told of one unit.
type Decision struct {
	Prices   *rulebase.Prices
	Case     Case
	Bad      *big.Rat // with the history
	Prior    []*big.Rat
	Ways     []Way // on offer, the cheapest first
	Withheld []Withheld
	Tied     int // how many of Ways cost exactly the least
	Near     int // how many lie within NearTie of it, those included

	Stretches []Stretch // which way is cheapest, by the chance that the unit is bad
	Turns     []Turn    // what would change the decision, the nearest first

	order   []Kind   // of the ways as the tests' choices number them
	Perfect *big.Rat // worth of knowing the state: EVPI
	Known   *big.Rat // worth of knowing whether the unit is bad
	Tests   []Tested // bench tests, the most worth doing first
	First   []int    // of Tests: worth doing first of all, with all that may follow
	Planned *big.Rat // expected cost then

	Failures  float64 // expected while this unit is away
	Short     float64 // chance of more of them than the shelf will hold
	RepairIs  *big.Rat
	RepairMay *big.Rat // both as shares of the cheapest unit to be had; nil where there is none
}

// A Stretch is a range of chances with the ways that are cheapest in it.
type Stretch struct {
	From, To *big.Rat
	Ways     []Kind
}

// A Turn is an input at whose value another way becomes as cheap.
type Turn struct {
	Name string // of the amount, or Badness
	Form rulebase.PriceForm
	Now  *big.Rat
	At   *big.Rat
	Way  Kind // cheaper beyond
}

// Badness is the name of the chance that the unit is bad among inputs.
const Badness = "bad"

// A Tested is what a bench test is worth.
type Tested struct {
	Test    *rulebase.PricedTest
	Cost    *big.Rat
	Worth   *big.Rat // EVSI
	Net     *big.Rat
	Bad     decide.Result // called bad
	Good    decide.Result // called good
	Changes bool          // some result of it changes what to do
}

// A NoReplacement is the error of a decision where nothing that is on offer can take the
// place of a unit beyond repair: what a bad unit comes to in the end is not known then.
type NoReplacement struct{ Withheld []Withheld }

func (e NoReplacement) Error() string {
	says := "nothing on the sheet can take the place of a unit beyond repair"
	for _, w := range e.Withheld {
		says += fmt.Sprintf("; %s: %s %s", w.Kind, w.Why, w.Detail)
	}
	return says
}

// replaceable says whether something on offer takes the place of a unit beyond repair.
func (m model) replaceable() error {
	var e NoReplacement
	for _, k := range []Kind{Exchange, New, Redesign} {
		why, detail := m.on(k)
		if why == "" {
			return nil
		}
		e.Withheld = append(e.Withheld, Withheld{k, why, detail})
	}
	return e
}

// Decide works out a decision. The error is a [NoReplacement].
func Decide(p *rulebase.Prices, c Case) (*Decision, error) {
	m := model{p, c}
	if err := m.replaceable(); err != nil {
		return nil, err
	}
	d := &Decision{Prices: p, Case: c, Bad: m.bad()}
	d.Prior = m.prior(d.Bad)
	d.Ways = m.ways(d.Prior)
	for _, k := range Kinds {
		if why, detail := m.on(k); why != "" {
			d.Withheld = append(d.Withheld, Withheld{k, why, detail})
		}
	}
	d.stretches()
	slices.SortStableFunc(d.Ways, func(a, b Way) int { return a.Mean.Cmp(b.Mean) })
	least := d.Ways[0].Mean
	limit := new(big.Rat).Mul(least, new(big.Rat).Add(big.NewRat(1, 1), NearTie))
	for _, w := range d.Ways {
		if w.Mean.Cmp(least) == 0 {
			d.Tied++
		}
		if w.Mean.Cmp(limit) <= 0 {
			d.Near++
		}
	}
	d.turns(m)
	d.worths(m)
	d.shelf(m)
	d.limit(m)
	return d, nil
}

// Kind is the way that a choice after a test numbers.
func (d *Decision) Kind(way int) Kind { return d.order[way] }

// WhenBad is the mean cost of a way for a unit that is bad for sure.
func (d *Decision) WhenBad(w Way) *big.Rat {
	total := new(big.Rat)
	for s, chance := range (model{d.Prices, d.Case}).prior(big.NewRat(1, 1)) {
		total.Add(total, new(big.Rat).Mul(chance, w.In[s].Total()))
	}
	return total
}

// stretches divides the chances by the way that is cheapest; the numbers of ways there are
// places in Ways as they stand now.
func (d *Decision) stretches() {
	ways := d.Ways
	var at0, at1 []*big.Rat
	for _, w := range ways {
		at0 = append(at0, w.In[Good].Total())
		at1 = append(at1, d.WhenBad(w))
	}
	for _, s := range decide.Stretches(at0, at1) {
		out := Stretch{From: s.From, To: s.To}
		for _, i := range s.Ways {
			out.Ways = append(out.Ways, ways[i].Kind)
		}
		d.Stretches = append(d.Stretches, out)
	}
}

// badShares are the kinds of bad units whose share is an input of its own: the others
// keep their proportion.
var badShares = []string{"bad_units.beyond_repair", "bad_units.intermittent"}

// bounds of an input by its form; nil is none.
func bounds(form rulebase.PriceForm) (low, high *big.Rat) {
	if form == rulebase.ShareAmount {
		return new(big.Rat), big.NewRat(1, 1)
	}
	return new(big.Rat), nil
}

// inputs are what a turn is looked for in.
func (d *Decision) inputs() []rulebase.PriceKey {
	list := []rulebase.PriceKey{{Name: Badness, Form: rulebase.ShareAmount}}
	for _, name := range badShares {
		list = append(list, rulebase.PriceKey{Name: name, Form: rulebase.ShareAmount})
	}
	for _, k := range rulebase.PriceKeys {
		if k.Form == rulebase.MoneyAmount || k.Form == rulebase.HoursAmount || k.Form == rulebase.ShareAmount {
			list = append(list, k)
		}
	}
	return list
}

// turns finds, for each input by itself, the nearest value at which another way is as cheap.
func (d *Decision) turns(m model) {
	for _, k := range d.inputs() {
		now := m.p.Get(k.Name)
		switch {
		case k.Name == Badness:
			now = d.Bad
		case slices.Contains(badShares, k.Name):
			now = m.shareOfBad(k.Name)
			if now.Cmp(big.NewRat(1, 1)) == 0 {
				continue // there are no others whose proportion could be kept
			}
		}
		cost, slope := d.means(m, k.Name, now), d.means(m, k.Name, new(big.Rat).Add(now, big.NewRat(1, 1)))
		for i := range slope {
			slope[i].Sub(slope[i], cost[i])
		}
		below, above := decide.Turns(cost, slope, 0)
		low, high := bounds(k.Form)
		for _, t := range []*decide.Turn{below, above} {
			if t == nil || t.By.Sign() == 0 && d.Tied > 1 {
				continue
			}
			// At a bound itself nothing lies beyond.
			at := new(big.Rat).Add(now, t.By)
			if t == below && at.Cmp(low) <= 0 || t == above && high != nil && at.Cmp(high) >= 0 {
				continue
			}
			d.Turns = append(d.Turns, Turn{k.Name, k.Form, now, at, d.Ways[t.Way].Kind})
		}
	}
	// What nobody knows comes first: its turn is the answer that is lacking.
	asked := func(t Turn) bool { return t.Name == "downtime.per_hour" && !m.p.Has(t.Name) }
	slices.SortStableFunc(d.Turns, func(a, b Turn) int {
		if asked(a) != asked(b) {
			return map[bool]int{true: -1, false: 1}[asked(a)]
		}
		return a.far().Cmp(b.far())
	})
}

// far is how far an input has to go, as a share of what it is; of nothing, all the way.
func (t Turn) far() *big.Rat {
	x := new(big.Rat).Sub(t.At, t.Now)
	x.Abs(x)
	if t.Now.Sign() == 0 {
		return x.Add(x, big.NewRat(1_000_000, 1))
	}
	return x.Quo(x, t.Now)
}

// means are the expected costs of the ways on offer with one input changed. An input
// that is changed beyond what it can be only serves to draw the line.
func (d *Decision) means(m model, name string, x *big.Rat) []*big.Rat {
	prior := d.Prior
	switch {
	case name == Badness:
		prior = m.prior(x)
	case slices.Contains(badShares, name):
		prior = m.priorWithShare(d.Bad, name, x)
	default:
		m.p = m.p.With(name, x)
	}
	var out []*big.Rat
	for _, w := range d.Ways {
		total := new(big.Rat)
		for s := range states {
			total.Add(total, new(big.Rat).Mul(prior[s], m.cost(w.Kind, s).Total()))
		}
		out = append(out, total)
	}
	return out
}

// shareOfBad is the share of one kind among the bad units.
func (m model) shareOfBad(name string) *big.Rat {
	prior := m.prior(big.NewRat(1, 1))
	if name == "bad_units.intermittent" {
		return prior[Intermittent]
	}
	return prior[BeyondRepair]
}

// priorWithShare is the prior with another share of one kind among the bad units.
func (m model) priorWithShare(bad *big.Rat, name string, share *big.Rat) []*big.Rat {
	kind := BeyondRepair
	if name == "bad_units.intermittent" {
		kind = Intermittent
	}
	prior := m.prior(bad)
	others := new(big.Rat).Quo(rest(share), rest(m.shareOfBad(name)))
	for s := Repairable; s < states; s++ {
		if s != kind {
			prior[s] = new(big.Rat).Mul(prior[s], others)
		}
	}
	prior[kind] = new(big.Rat).Mul(bad, share)
	return prior
}

// Steady says whether the same way is cheapest at another chance that the unit is bad.
func (d *Decision) Steady(bad *big.Rat) bool {
	m := model{d.Prices, d.Case}
	prior := m.prior(bad)
	var means []*big.Rat
	for _, w := range d.Ways {
		total := new(big.Rat)
		for s := range states {
			total.Add(total, new(big.Rat).Mul(prior[s], w.In[s].Total()))
		}
		means = append(means, total)
	}
	for _, x := range means {
		if x.Cmp(means[0]) < 0 {
			return false
		}
	}
	return true
}

// worths works out what it is worth to know more.
func (d *Decision) worths(m model) {
	p := problem(d.Prior, d.Ways)
	for _, w := range d.Ways {
		d.order = append(d.order, w.Kind)
	}
	d.Perfect = p.PerfectWorth()
	d.Known = p.TellsWorth([][]int{{Good}, {Repairable, BeyondRepair, Intermittent}})
	for i := range m.p.Bench {
		t := &m.p.Bench[i]
		if (t.At == rulebase.Bench) != m.c.Pulled {
			continue
		}
		hours := new(big.Rat).Quo(t.Minutes, big.NewRat(60, 1))
		cost := new(big.Rat).Mul(hours, m.get("bench.per_hour"))
		cost.Add(cost, t.Price)
		if t.StopsWhileItIsDone {
			cost.Add(cost, hours.Mul(hours, m.get("downtime.per_hour")))
		}
		row := func(bad *big.Rat) []*big.Rat { return []*big.Rat{bad, rest(bad)} }
		p.Tests = append(p.Tests, decide.Test{Cost: cost, Likely: [][]*big.Rat{row(rest(t.ClearsGood)), row(t.FindsBad), row(t.FindsBad), row(t.FindsIntermittent)}})
		s := p.Sample(len(p.Tests) - 1)
		one := Tested{Test: t, Cost: cost, Worth: s.Worth, Net: s.Net, Bad: s.Results[0], Good: s.Results[1]}
		for _, r := range s.Results {
			one.Changes = one.Changes || r.Belief != nil && !slices.Contains(r.Choice.Ways, 0)
		}
		d.Tests = append(d.Tests, one)
	}
	plan := p.Plan()
	d.Planned, d.First = plan.Cost, plan.Tests
	d.sortTests()
}

// sortTests puts the tests most worth doing first, and First with them.
func (d *Decision) sortTests() {
	order := make([]int, len(d.Tests))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return d.Tests[b].Net.Cmp(d.Tests[a].Net) })
	var tests []Tested
	var first []int
	for place, i := range order {
		tests = append(tests, d.Tests[i])
		if slices.Contains(d.First, i) {
			first = append(first, place)
		}
	}
	d.Tests, d.First = tests, first
}

// shelf works out the risk of standing without a spare while this unit is away.
func (d *Decision) shelf(m model) {
	away := ""
	switch {
	case m.p.Has("repair.hours"):
		away = "repair.hours"
	case m.p.Has("exchange.hours"):
		away = "exchange.hours"
	default:
		away = "new.hours"
	}
	x := new(big.Rat).Mul(m.get(away), m.get("spare.failures_per_year"))
	if year := m.get("downtime.hours_per_year"); year.Sign() > 0 {
		d.Failures, _ = x.Quo(x, year).Float64()
	}
	left := int(min(m.get("spare.on_shelf").Num().Int64(), 1_000_000))
	if d.Ways[0].Kind == Spare {
		left--
	}
	d.Short = decide.MoreThan(left, d.Failures)
}

// limit compares a repair that works with the cheapest unit to be had, its share
// falling with age: beyond it, a repair is beyond what is economical.
func (d *Decision) limit(m model) {
	if !m.p.Has("repair.price") || m.get("repair.works").Sign() == 0 {
		return
	}
	var cheapest *big.Rat
	for _, k := range []Kind{Exchange, New} {
		if x := m.get(string(k) + ".price"); m.offered(k) && (cheapest == nil || x.Cmp(cheapest) < 0) {
			cheapest = x
		}
	}
	if cheapest == nil || cheapest.Sign() == 0 {
		return
	}
	good := new(big.Rat).Quo(m.get("repair.price"), m.get("repair.works"))
	d.RepairIs = good.Quo(good, cheapest)
	d.RepairMay = new(big.Rat).Set(m.get("repair.limit"))
	if m.c.AgeYears == nil || m.get("repair.old_years").Sign() == 0 {
		return
	}
	share := new(big.Rat).Quo(m.c.AgeYears, m.get("repair.old_years"))
	if share.Cmp(big.NewRat(1, 1)) > 0 {
		share.SetInt64(1)
	}
	fall := new(big.Rat).Sub(m.get("repair.limit"), m.get("repair.limit_when_old"))
	d.RepairMay.Sub(d.RepairMay, fall.Mul(fall, share))
}
