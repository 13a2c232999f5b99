// Package ways is what can become of a unit that may be bad, and what each way
// costs: put back, adjust, test first, exchange, repair, a new one, redesign. It makes a
// problem of engine/decide from a price sheet, and tells what the answer hangs on.
//
// # The model
//
// One thing is wrong. It lies outside the unit ([Good]), or the unit is bad and
// [Repairable], [BeyondRepair] or [Intermittent]. Downtime runs from the moment of the
// decision until the drop works, and costs the same every hour.
//
// A unit that is swapped where it was good changes nothing: then the drop is tested and
// put right after all, with a second visit. A test at the drop that clears a good
// unit finds what it is instead; where it does not, a good unit is swapped. One that
// misses a bad unit costs the remedy that helps nothing and a second visit. An
// exchange that was ordered while testing goes back unopened at the restocking price.
// A repair that does not work is paid as an evaluation, and something else takes the
// unit's place. What comes back within its warranty costs a visit, the freight and
// the wait again, and its price where there was no warranty.
//
// Every cost is straight in every amount of the sheet (no amount is multiplied by
// itself or chosen by a least), so that break-even points are exact.
//
// The model is that of a maintenance desk's worked decision, which the tests
// reproduce to the unit. It leaves out two faults at once, danger, and what a lost bus
// does to the drops beside it.
package ways

import (
	"math/big"
	"slices"

	"downdrop/engine/decide"
	"downdrop/rulebase"
)

// The states.
const (
	Good         = iota // it is not the unit
	Repairable          // the unit is bad and can be repaired
	BeyondRepair        // the unit is bad and cannot
	Intermittent        // the unit's fault comes and goes
	states
)

// A Kind is one way.
type Kind string

// The ways, in the order in which equals are told: the least done to the unit first.
const (
	PutBack      Kind = "put_back"       // a pulled unit goes back as it is
	Adjust       Kind = "adjust"         // the site is put right, the unit stays
	TestFirst    Kind = "test_first"     // test at the drop, then act on what it shows
	OrderAndTest Kind = "order_and_test" // order the exchange and test meanwhile
	Repair       Kind = "repair"
	RepairFast   Kind = "repair_fast" // the repair jumps the queue
	Exchange     Kind = "exchange"
	Spare        Kind = "spare" // the one on the shelf, which is then made up for
	New          Kind = "new"
	Redesign     Kind = "redesign"
)

// Kinds are all ways.
var Kinds = []Kind{PutBack, Adjust, TestFirst, OrderAndTest, Repair, RepairFast, Exchange, Spare, New, Redesign}

// A Case is what is known of one unit.
type Case struct {
	Bad             *big.Rat // chance that the unit is bad, before the history below
	Pulled          bool     // it is in the shop, not at the drop
	AgeYears        *big.Rat // in service; nil: not known
	SerialReturns   int      // earlier returns of this serial number that the chance does not know of
	LocationReturns int      // earlier returns from this location
	Revision        string   // that the drop needs; "": not known
	Modules         []string // that it has to work with
}

// A Part is a part of a cost.
type Part int

// The parts of a cost.
const (
	Goods Part = iota // the repair, the unit
	Fees              // evaluation, no-fault fee, restocking
	Core              // credit that is kept back
	Shipping
	Visits
	Downtime
	Again // what comes back
	parts
)

// A Cost is what something costs, by part; nil is nothing.
type Cost [parts]*big.Rat

// Total is the sum of the parts.
func (c Cost) Total() *big.Rat {
	total := new(big.Rat)
	for _, x := range c {
		if x != nil {
			total.Add(total, x)
		}
	}
	return total
}

// A Way is one that is on offer.
type Way struct {
	Kind     Kind
	In       [states]Cost
	Expected Cost
	Mean     *big.Rat // its total
}

// A Withheld is a way that is not on offer, and why.
type Withheld struct {
	Kind   Kind
	Why    Why
	Detail string
}

// Why is the reason that a way is not on offer.
type Why string

// The reasons.
const (
	NotOnSheet Why = "not_on_sheet" // no price
	InShop     Why = "in_shop"      // wants the unit at the drop
	AtDrop     Why = "at_drop"      // wants the unit pulled
	NoSiteTest Why = "no_site_test" // the sheet does not say how good the test at the drop is
	NoExchange Why = "no_exchange"  // wants an exchange, which is not on offer
	NoSpare    Why = "no_spare"
	NotMade    Why = "not_made"
	NoRevision Why = "revision" // Detail: the one needed
	NoModule   Why = "module"   // Detail: the one it does not work with
)

// A model is a sheet and a case on the way to costs.
type model struct {
	p *rulebase.Prices
	c Case
}

func (m model) get(name string) *big.Rat { return m.p.Get(name) }

// on says whether a way is on offer.
func (m model) on(k Kind) (why Why, detail string) {
	has := m.p.Has
	tested := has("site.finds_bad") && has("site.clears_good")
	switch k {
	case PutBack:
		if !m.c.Pulled {
			return AtDrop, ""
		}
	case Adjust, TestFirst, OrderAndTest:
		switch {
		case m.c.Pulled:
			return InShop, ""
		case !tested:
			return NoSiteTest, ""
		case k == OrderAndTest:
			if why, _ := m.on(Exchange); why != "" {
				return NoExchange, ""
			}
		}
	case Repair:
		if !has("repair.price") {
			return NotOnSheet, ""
		}
	case RepairFast:
		if !has("repair.price") || !has("repair.expedite_price") {
			return NotOnSheet, ""
		}
	case Exchange:
		return m.exchangeFits()
	case Spare:
		if m.get("spare.on_shelf").Sign() == 0 {
			return NoSpare, ""
		}
	case New:
		if m.p.Obsolete {
			return NotMade, ""
		}
		if !has("new.price") {
			return NotOnSheet, ""
		}
	case Redesign:
		if !has("redesign.price") {
			return NotOnSheet, ""
		}
	}
	return "", ""
}

// exchangeFits says whether an exchange unit can take the place of this one.
func (m model) exchangeFits() (Why, string) {
	switch {
	case !m.p.Has("exchange.price"):
		return NotOnSheet, ""
	case m.c.Revision != "" && len(m.p.Revisions) > 0 && !slices.Contains(m.p.Revisions, m.c.Revision):
		return NoRevision, m.c.Revision
	}
	if len(m.p.Modules) > 0 {
		for _, x := range m.c.Modules {
			if !slices.Contains(m.p.Modules, x) {
				return NoModule, x
			}
		}
	}
	return "", ""
}

func (m model) offered(k Kind) bool { why, _ := m.on(k); return why == "" }

// Costs are built of terms, which are never changed once made.

// pay is one part alone.
func pay(part Part, amount *big.Rat) Cost {
	var c Cost
	if amount.Sign() != 0 {
		c[part] = amount
	}
	return c
}

func all(costs ...Cost) Cost {
	var total Cost
	for _, c := range costs {
		for i, x := range c {
			switch {
			case x == nil:
			case total[i] == nil:
				total[i] = x
			default:
				total[i] = new(big.Rat).Add(total[i], x)
			}
		}
	}
	return total
}

func times(factor *big.Rat, c Cost) Cost {
	var out Cost
	for i, x := range c {
		if x != nil && factor.Sign() != 0 {
			out[i] = new(big.Rat).Mul(x, factor)
		}
	}
	return out
}

// either is one cost with a chance, else the other.
func either(chance *big.Rat, one, other Cost) Cost {
	return all(times(chance, one), times(new(big.Rat).Sub(big.NewRat(1, 1), chance), other))
}

func (m model) price(name string) Cost { return pay(Goods, m.get(name)) }
func (m model) fee(name string) Cost   { return pay(Fees, m.get(name)) }
func (m model) visits(n int64) Cost {
	return pay(Visits, new(big.Rat).Mul(big.NewRat(n, 1), m.get("visit.price")))
}
func (m model) ships(n int64) Cost {
	return pay(Shipping, new(big.Rat).Mul(big.NewRat(n, 1), m.get("shipping.one_way")))
}

// trip is how often a unit travels to a shop and back: a pulled one is there already.
func (m model) trip() Cost {
	if m.c.Pulled {
		return m.ships(1)
	}
	return m.ships(2)
}

// stands is the downtime of so many hours.
func (m model) stands(hours ...string) Cost {
	total := new(big.Rat)
	for _, h := range hours {
		total.Add(total, m.get(h))
	}
	return pay(Downtime, total.Mul(total, m.get("downtime.per_hour")))
}

// onSite is finding and mending what it is instead, after a swap changed nothing: without the visit.
func (m model) onSite() Cost { return m.stands("site.test_hours", "site.remedy_hours") }

// again is what it costs on the mean that a unit of a section comes back.
func (m model) again(section string) Cost {
	if m.get(section+".comes_back").Sign() == 0 {
		return Cost{}
	}
	c := all(m.visits(1), m.ships(2), m.stands(section+".hours", "site.swap_hours"))
	if m.get(section+".warranty_months").Sign() == 0 {
		c = all(c, m.price(section+".price"))
	}
	return pay(Again, times(m.get(section+".comes_back"), c).Total())
}

// exchange is swapping an exchange unit in.
func (m model) exchange(state int) Cost {
	c := all(m.price("exchange.price"), m.stands("exchange.hours", "site.swap_hours"), m.visits(1), m.ships(1), m.again("exchange"))
	switch state {
	case Good: // the good one is tested, and told to be good
		c = all(c, m.fee("no_fault.fee"), m.onSite(), m.visits(1))
		if !m.c.Pulled {
			c = all(c, m.ships(1))
		}
	case BeyondRepair:
		c = all(c, pay(Core, m.get("exchange.core_credit")))
	}
	return c
}

func (m model) newOne(state int) Cost {
	c := all(m.price("new.price"), m.ships(1), m.stands("new.hours", "site.swap_hours"), m.visits(1), m.again("new"))
	if state == Good {
		c = all(c, m.onSite(), m.visits(1))
	}
	return c
}

func (m model) redesign(state int) Cost {
	c := all(m.price("redesign.price"), m.stands("redesign.hours"))
	if state == Good {
		c = all(c, m.onSite(), m.visits(1))
	}
	return c
}

// replacement is what takes the place of a unit beyond repair: goods, and the hours more.
func (m model) replacement() (goods Cost, hours []string) {
	switch {
	case m.offered(New):
		return all(m.price("new.price"), m.again("new")), []string{"new.hours"}
	case m.offered(Exchange):
		return all(m.price("exchange.price"), pay(Core, m.get("exchange.core_credit")), m.again("exchange")), []string{"exchange.hours"}
	case m.offered(Redesign):
		return m.price("redesign.price"), []string{"redesign.hours"}
	}
	return Cost{}, nil
}

// works is the chance that a repair works.
func (m model) works(state int) *big.Rat {
	if state == Intermittent && m.p.Has("repair.works_intermittent") {
		return m.get("repair.works_intermittent")
	}
	return m.get("repair.works")
}

// mend is what the shop is paid to give back a good unit for a bad one, without
// freight and waiting; lost is what follows where it cannot.
func (m model) mend(state int, repaired, lost Cost) Cost {
	goods, _ := m.replacement()
	lost = all(lost, m.fee("evaluation.price"), goods)
	if state == BeyondRepair {
		return lost
	}
	return either(m.works(state), all(repaired, m.price("repair.price"), m.again("repair")), lost)
}

// repair sends the unit to be repaired while the drop waits.
func (m model) repair(state int, hours string) Cost {
	c := all(m.trip(), m.visits(1))
	if state == Good {
		return all(c, m.fee("no_fault.fee"), m.stands(hours, "site.swap_hours"), m.onSite(), m.visits(1))
	}
	_, more := m.replacement()
	return all(c, m.mend(state, m.stands(hours, "site.swap_hours"), m.stands(append(more, hours, "site.swap_hours")...)))
}

// spare swaps the one on the shelf in and then makes up for it.
func (m model) spare(state int) Cost {
	c := all(m.visits(1), m.stands("site.swap_hours"))
	switch {
	case state == Good && m.c.Pulled: // the good one comes back to the shelf
		return all(c, m.onSite(), m.ships(1), m.fee("no_fault.fee"))
	case state == Good: // the old one goes back in
		return all(c, m.onSite())
	case m.offered(Repair):
		return all(c, m.trip(), m.mend(state, Cost{}, Cost{}))
	}
	goods, _ := m.replacement()
	return all(c, m.ships(1), goods)
}

// follow is what is done once the unit is held to be bad.
func (m model) follow(state int) Cost {
	switch {
	case m.offered(Exchange):
		return m.exchange(state)
	case m.offered(Repair):
		return m.repair(state, "repair.hours")
	case m.offered(New):
		return m.newOne(state)
	}
	return m.redesign(state)
}

// secondVisit is follow without a visit that is counted already.
func (m model) secondVisit(state int) Cost {
	return all(m.follow(state), m.visits(-1))
}

// finds is the chance that the test at the drop calls a bad unit bad.
func (m model) finds(state int) *big.Rat {
	if state == Intermittent && m.p.Has("site.finds_intermittent") {
		return m.get("site.finds_intermittent")
	}
	return m.get("site.finds_bad")
}

// missed is what follows when a bad unit was taken for good.
func (m model) missed(state int) Cost {
	return all(m.follow(state), m.onSite(), m.untilItShows(state))
}

// untilItShows is the downtime until a fault that comes and goes shows again; any other
// shows at once.
func (m model) untilItShows(state int) Cost {
	if state == Intermittent {
		return m.stands("site.intermittent_hours")
	}
	return Cost{}
}

// adjust puts the site right without a test, and only then asks whether it is the unit.
func (m model) adjust(state int) Cost {
	c := all(m.visits(1), m.onSite())
	if state == Good {
		return all(c, times(rest(m.get("site.clears_good")), m.secondVisit(Good)))
	}
	return all(c, m.untilItShows(state), m.follow(state))
}

func (m model) testFirst(state int) Cost {
	c := all(m.visits(1), m.stands("site.test_hours"))
	if state == Good {
		return all(c, either(m.get("site.clears_good"), m.stands("site.remedy_hours"), m.secondVisit(Good)))
	}
	return all(c, either(m.finds(state), m.secondVisit(state), m.missed(state)))
}

func (m model) orderAndTest(state int) Cost {
	if state != Good {
		return m.exchange(state)
	}
	restock := new(big.Rat).Mul(m.get("exchange.restocking"), m.get("exchange.price"))
	return all(m.visits(1), either(m.get("site.clears_good"), all(m.onSite(), pay(Fees, restock), m.ships(1)), m.secondVisit(Good)))
}

// putBack sends a pulled unit back as it is. A bad one is found out at the drop, and
// all begins anew.
func (m model) putBack(state int) Cost {
	c := all(m.fee("no_fault.fee"), m.ships(1), m.visits(1), m.stands("shipping.hours", "site.swap_hours"))
	if state == Good {
		return all(c, m.onSite(), m.visits(1))
	}
	c = all(c, m.stands("site.test_hours"), m.untilItShows(state))
	m.c.Pulled = false
	return all(c, m.follow(state))
}

func rest(x *big.Rat) *big.Rat { return new(big.Rat).Sub(big.NewRat(1, 1), x) }

// cost is what a way costs in a state.
func (m model) cost(k Kind, state int) Cost {
	switch k {
	case PutBack:
		return m.putBack(state)
	case Adjust:
		return m.adjust(state)
	case TestFirst:
		return m.testFirst(state)
	case OrderAndTest:
		return m.orderAndTest(state)
	case Repair:
		return m.repair(state, "repair.hours")
	case RepairFast:
		return all(m.repair(state, "repair.expedite_hours"), m.price("repair.expedite_price"))
	case Exchange:
		return m.exchange(state)
	case Spare:
		return m.spare(state)
	case New:
		return m.newOne(state)
	}
	return m.redesign(state)
}

// prior is the chance of each state when the unit is bad with chance bad.
func (m model) prior(bad *big.Rat) []*big.Rat {
	weights := []*big.Rat{m.get("bad_units.repairable"), m.get("bad_units.beyond_repair"), m.get("bad_units.intermittent")}
	sum := new(big.Rat)
	for _, w := range weights {
		sum.Add(sum, w)
	}
	out := []*big.Rat{rest(bad)}
	for _, w := range weights {
		x := new(big.Rat).Quo(w, sum)
		out = append(out, x.Mul(x, bad))
	}
	return out
}

// bad is the chance that the unit is bad, with its history.
func (m model) bad() *big.Rat {
	odds := new(big.Rat).SetInt64(1)
	for range m.c.SerialReturns {
		odds.Mul(odds, m.get("history.serial_again"))
	}
	for range m.c.LocationReturns {
		odds.Mul(odds, m.get("history.place_again"))
	}
	odds.Mul(odds, m.c.Bad)
	total := new(big.Rat).Add(odds, rest(m.c.Bad))
	if total.Sign() == 0 {
		return new(big.Rat).Set(m.c.Bad)
	}
	return odds.Quo(odds, total)
}

// ways are those on offer, with their costs under a prior.
func (m model) ways(prior []*big.Rat) []Way {
	var out []Way
	for _, k := range Kinds {
		if !m.offered(k) {
			continue
		}
		w := Way{Kind: k}
		for s := range states {
			w.In[s] = m.cost(k, s)
			w.Expected = all(w.Expected, times(prior[s], w.In[s]))
		}
		w.Mean = w.Expected.Total()
		out = append(out, w)
	}
	return out
}

// problem is the same as a problem on numbers.
func problem(prior []*big.Rat, ways []Way) *decide.Problem {
	p := &decide.Problem{Prior: prior}
	for _, w := range ways {
		var row []*big.Rat
		for s := range states {
			row = append(row, w.In[s].Total())
		}
		p.Cost = append(p.Cost, row)
	}
	return p
}
