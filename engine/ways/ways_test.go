package ways_test

import (
	"errors"
	"fmt"
	"math"
	"math/big"
	"os"
	"slices"
	"strings"
	"testing"

	"downdrop/engine/ways"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func sheet(t *testing.T, name string) *rulebase.Prices {
	t.Helper()
	text, err := os.ReadFile("../../cases/examples/prices/" + name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := rulebase.ReadPrices(name, text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// decided is a decision for which the sheet has all that it takes.
func decided(p *rulebase.Prices, c ways.Case) *ways.Decision {
	d, err := ways.Decide(p, c)
	if err != nil {
		panic(err)
	}
	return d
}

// A sheet whose exchange units do not fit and that has nothing else to put in a bad unit's
// place decides nothing: it says what is lacking.
func TestWhereNothingCanReplaceAUnit(t *testing.T) {
	const text = "prices: small\ncurrency: XTS\ndowntime: {per_hour: 10}\nvisit: {price: 100}\nsite: {test_hours: 1, remedy_hours: 1, swap_hours: 1}\n"
	for sheet, c := range map[string]struct {
		ways.Case
		why ways.Why
	}{
		"exchange: {price: 1000, hours: 10, revisions: [A]}\n":                 {ways.Case{Revision: "B"}, ways.NoRevision},
		"exchange: {price: 1000, hours: 10, modules: [digital_in]}\n":          {ways.Case{Modules: []string{"counter"}}, ways.NoModule},
		"new: {price: 1000, hours: 10, obsolete: yes}\n":                       {ways.Case{}, ways.NotMade},
		"new: {price: 1000, hours: 10, obsolete: yes}\nspare: {on_shelf: 1}\n": {ways.Case{}, ways.NotMade},
	} {
		p, err := rulebase.ReadPrices("small.yaml", []byte(text+sheet))
		if err != nil {
			t.Fatal(err)
		}
		for _, pulled := range []bool{false, true} {
			c.Bad, c.Pulled = rat("0.5"), pulled
			d, err := ways.Decide(p, c.Case)
			var none ways.NoReplacement
			if !errors.As(err, &none) {
				t.Errorf("%s: decided as %+v, %v", sheet, d, err)
			} else if !slices.ContainsFunc(none.Withheld, func(w ways.Withheld) bool { return w.Why == c.why }) {
				t.Errorf("%s: %v", sheet, err)
			}
		}
	}
}

// Where no exchange unit fits, what begins with ordering one is not on offer, and what does not still is.
func TestWithoutAnExchange(t *testing.T) {
	p := sheet(t, "tide_mill.yaml")
	all := decided(p, ways.Case{Bad: rat("0.3")})
	if way(t, all, ways.OrderAndTest).Kind == "" || way(t, all, ways.TestFirst).Kind == "" {
		t.Fatal("the example sheet no longer has both")
	}
	delete(p.Amount, "exchange.price")
	d := decided(p, ways.Case{Bad: rat("0.3")})
	withheld := map[ways.Kind]ways.Why{}
	for _, w := range d.Withheld {
		withheld[w.Kind] = w.Why
	}
	if withheld[ways.OrderAndTest] != ways.NoExchange || withheld[ways.Exchange] != ways.NotOnSheet {
		t.Errorf("withheld are %v", withheld)
	}
	if way(t, d, ways.TestFirst).Kind == "" || way(t, d, ways.Adjust).Kind == "" {
		t.Errorf("on offer are %v", d.Ways)
	}
}

func rat(text string) *big.Rat {
	x, ok := new(big.Rat).SetString(text)
	if !ok {
		panic(text)
	}
	return x
}

// whole rounds to one unit of money as money is rounded on paper.
func whole(x *big.Rat) string { return (&rulebase.Prices{}).Money(x) }

func way(t *testing.T, d *ways.Decision, k ways.Kind) ways.Way {
	t.Helper()
	i := slices.IndexFunc(d.Ways, func(w ways.Way) bool { return w.Kind == k })
	if i < 0 {
		t.Fatalf("%s is not on offer", k)
	}
	return d.Ways[i]
}

// The worked decision, to the unit: pull, exchange or test first, on the prices of
// the example sheet, with a spare on the shelf besides. The figures were worked out on
// paper for this project, before this package, state by state:
//
//	c = 800, w = 18.75 h; not the unit 0.70, repairable 0.22, beyond repair 0.05, intermittent 0.03
//	A exchange: 1300 + 80 + 150 + c (w + 2.5) + 380; 1340 + c w + 190; + 500; as repairable
//	B test first: 190 + 1.5 c + 0.95 c + 0.05 (1530 + c (w + 2.5) + 190); ...
var workedStates = map[ways.Kind][4]string{
	ways.Exchange:     {"18910", "16530", "17030", "16530"},
	ways.TestFirst:    {"3086", "17840", "18340", "19625"},
	ways.OrderAndTest: {"3249", "16530", "17030", "16530"},
	ways.Repair:       {"105610", "104120", "169790", "104120"},
	ways.Spare:        {"2790", "1720", "3390", "1720"},
}

var workedMeans = []struct {
	downtime string
	means    [5]string // exchange, test first, order and test, repair, spare
}{
	{"0", [5]string{"1821", "683", "833", "846", "552"}},
	{"100", [5]string{"3871", "1546", "1637", "14296", "802"}},
	{"250", [5]string{"6946", "2841", "2841", "34472", "1178"}},
	{"800", [5]string{"18221", "7591", "7258", "108446", "2552"}},
	{"2000", [5]string{"42821", "17953", "16896", "269846", "5552"}},
	{"10000", [5]string{"206821", "87033", "81146", "1345846", "25552"}},
}

var workedKinds = [5]ways.Kind{ways.Exchange, ways.TestFirst, ways.OrderAndTest, ways.Repair, ways.Spare}

func TestWorkedDecision(t *testing.T) {
	p := sheet(t, "tide_mill.yaml")
	c := ways.Case{Bad: rat("0.30")}
	d := decided(p.With("spare.on_shelf", rat("1")), c)
	for k, want := range workedStates {
		w := way(t, d, k)
		for s := range want {
			if got := whole(w.In[s].Total()); got != want[s] {
				t.Errorf("%s in state %d: %s, want %s", k, s, got, want[s])
			}
		}
	}
	for _, row := range workedMeans {
		d := decided(p.With("spare.on_shelf", rat("1")).With("downtime.per_hour", rat(row.downtime)), c)
		for i, k := range workedKinds {
			if got := whole(way(t, d, k).Mean); got != row.means[i] {
				t.Errorf("downtime %s, %s: %s, want %s", row.downtime, k, got, row.means[i])
			}
		}
	}
}

// What has to be said beside the figures: testing first beats a blind exchange by
// 10,630 and until not-the-unit is less likely than 0.086; order-and-test beats it from
// 250 an hour on; a spare saves 4,706 a call.
func TestWorkedDecisionBreakEvens(t *testing.T) {
	p := sheet(t, "tide_mill.yaml")
	c := ways.Case{Bad: rat("0.30")}
	d := decided(p, c)
	if d.Ways[0].Kind != ways.OrderAndTest || d.Near != 2 || d.Tied != 1 {
		t.Errorf("best %s, %d near; want order_and_test with test_first near it", d.Ways[0].Kind, d.Near)
	}
	a, b, e := way(t, d, ways.Exchange).Mean, way(t, d, ways.TestFirst).Mean, way(t, d, ways.OrderAndTest).Mean
	if got := whole(new(big.Rat).Sub(a, b)); got != "10630" {
		t.Errorf("testing first saves %s", got)
	}
	spare := decided(p.With("spare.on_shelf", rat("1")), c)
	if got := whole(new(big.Rat).Sub(e, spare.Ways[0].Mean)); got != "4706" || spare.Ways[0].Kind != ways.Spare {
		t.Errorf("a spare saves %s", got)
	}
	turn := func(d *ways.Decision, name string, k ways.Kind) string {
		for _, x := range d.Turns {
			if x.Name == name && x.Way == k {
				return x.At.FloatString(3)
			}
		}
		return fmt.Sprintf("no turn of %s to %s in %v", name, k, d.Turns)
	}
	if got := turn(d, "downtime.per_hour", ways.TestFirst); got != "249.872" { // told as 250
		t.Errorf("order and test is better from %s an hour", got)
	}
	// Test first against the blind exchange alone: where the states are good or bad as they are split here.
	for downtime, want := range map[string]string{"800": "0.086", "100": "0.056", "5000": "0.092"} {
		q := p.With("downtime.per_hour", rat(downtime))
		at := func(bad string) *big.Rat {
			d := decided(q, ways.Case{Bad: rat(bad)})
			return new(big.Rat).Sub(way(t, d, ways.Exchange).Mean, way(t, d, ways.TestFirst).Mean)
		}
		d0, d1 := at("0"), at("1")
		x := new(big.Rat).Quo(d0, new(big.Rat).Sub(d0, d1)) // P(bad) where they meet
		if got := new(big.Rat).Sub(rat("1"), x).FloatString(3); got != want {
			t.Errorf("downtime %s: break-even at P(not the unit) = %s, want %s", downtime, got, want)
		}
	}
}

// Every cost is straight in every amount: a third point lies on the line of two. The
// break-even points rest on it.
func TestCostsAreStraightInEveryAmount(t *testing.T) {
	for _, name := range []string{"tide_mill.yaml", "shop.yaml"} {
		p := sheet(t, name).With("spare.on_shelf", rat("1"))
		c := ways.Case{Bad: rat("0.4"), Pulled: name == "shop.yaml"} // the shop's unit lies there
		d := decided(p, c)
		n := 0
		for _, k := range rulebase.PriceKeys {
			if k.Form != rulebase.MoneyAmount && k.Form != rulebase.HoursAmount && k.Form != rulebase.ShareAmount || !p.Has(k.Name) {
				continue
			}
			if n++; n%3 != 0 && support.Deep(t, 1) == 1 {
				continue // each third; DOWNDROP_DEEP takes all
			}
			at := func(x string) *ways.Decision { return decided(p.With(k.Name, rat(x)), c) }
			a, b, z := at("0.2"), at("0.4"), at("0.8")
			for _, w := range d.Ways {
				y0, y1, y2 := way(t, a, w.Kind).Mean, way(t, b, w.Kind).Mean, way(t, z, w.Kind).Mean
				step := new(big.Rat).Sub(y1, y0)
				want := new(big.Rat).Add(y1, step.Add(step, step))
				if y2.Cmp(want) != 0 {
					t.Errorf("%s: %s is bent in %s", name, w.Kind, k.Name)
				}
			}
		}
	}
}

// Nothing that turns the decision is left untold: where another way is the best at a bound of an input, a turn
// lies on the way there.
func TestTurnsLeaveNothingOut(t *testing.T) {
	shares := 0
	for name, c := range map[string]ways.Case{"tide_mill.yaml": {Bad: rat("0.3")}, "shop.yaml": {Bad: rat("0.7"), Pulled: true, SerialReturns: 1}} {
		p := sheet(t, name)
		d := decided(p, c)
		for _, k := range rulebase.PriceKeys {
			bounds := map[rulebase.PriceForm][]string{rulebase.MoneyAmount: {"0"}, rulebase.HoursAmount: {"0"}, rulebase.ShareAmount: {"0", "1"}}[k.Form]
			if !p.Has(k.Name) {
				continue
			}
			for _, bound := range bounds {
				e := decided(p.With(k.Name, rat(bound)), c)
				if e.Ways[0].Kind == d.Ways[0].Kind || way(t, e, d.Ways[0].Kind).Mean.Cmp(e.Ways[0].Mean) == 0 {
					continue
				}
				if k.Form == rulebase.ShareAmount {
					shares++
				}
				if !slices.ContainsFunc(d.Turns, func(x ways.Turn) bool { return x.Name == k.Name && (x.At.Cmp(x.Now) > 0) == (bound == "1") }) {
					t.Errorf("%s: with %s at %s it is %s and not %s, and no turn is told", name, k.Name, bound, e.Ways[0].Kind, d.Ways[0].Kind)
				}
			}
		}
	}
	if shares == 0 {
		t.Error("no share turns anything")
	}
}

// While this unit is away the shelf may run empty: with the spare fitted one less lies there. Failures come by
// chance (Poisson): more than none 1-exp(-x), more than one 1-exp(-x)(1+x).
func TestTheSpareThatIsFittedIsGoneFromTheShelf(t *testing.T) {
	p := sheet(t, "tide_mill.yaml").With("spare.failures_per_year", rat("6"))
	for onShelf, left := range map[string]int{"0": 0, "1": 0, "2": 1} {
		d := decided(p.With("spare.on_shelf", rat(onShelf)), ways.Case{Bad: rat("0.3")})
		if fitted := d.Ways[0].Kind == ways.Spare; fitted != (onShelf != "0") {
			t.Fatalf("%s on the shelf: the best is %s", onShelf, d.Ways[0].Kind)
		}
		want := 1 - math.Exp(-d.Failures)
		if left == 1 {
			want -= math.Exp(-d.Failures) * d.Failures
		}
		if !(math.Abs(d.Short-want) <= 1e-12) || d.Failures == 0 {
			t.Errorf("%s on the shelf, %v failures: short with %v, want %v", onShelf, d.Failures, d.Short, want)
		}
	}
}

// What is told of an input is true: at the value told the other way costs the same, and
// beyond it less.
func TestTurnsHold(t *testing.T) {
	tiny := rat("1/1000000")
	for _, c := range []ways.Case{{Bad: rat("0.3")}, {Bad: rat("0.7"), Pulled: true, SerialReturns: 1}} {
		for _, name := range []string{"tide_mill.yaml", "shop.yaml"} {
			p := sheet(t, name)
			d := decided(p, c)
			if len(d.Turns) == 0 {
				t.Errorf("%s %+v: nothing would change it", name, c)
			}
			best := d.Ways[0].Kind
			for _, x := range d.Turns {
				if strings.HasPrefix(x.Name, "bad_units.") {
					continue // a share, not the amount of that name: held below
				}
				at := func(v *big.Rat) *ways.Decision {
					if x.Name == ways.Badness {
						return decided(p, ways.Case{Bad: v, Pulled: c.Pulled})
					}
					return decided(p.With(x.Name, v), c)
				}
				e := at(x.At)
				if way(t, e, best).Mean.Cmp(way(t, e, x.Way).Mean) != 0 || e.Tied < 2 {
					t.Errorf("%s: %s at %s is no tie of %s and %s", name, x.Name, x.At.FloatString(4), best, x.Way)
				}
				step := tiny
				if x.At.Cmp(x.Now) < 0 {
					step = new(big.Rat).Neg(tiny)
				}
				beyond := new(big.Rat).Add(x.At, step)
				if beyond.Sign() < 0 || x.Form == rulebase.ShareAmount && beyond.Cmp(rat("1")) > 0 {
					continue
				}
				if e := at(beyond); e.Ways[0].Kind == best {
					t.Errorf("%s: beyond %s = %s it is still %s", name, x.Name, x.At.FloatString(4), best)
				}
			}
		}
	}
}

// What cannot be done is not offered, and says why.
func TestWhatIsOnOffer(t *testing.T) {
	p := sheet(t, "shop.yaml")
	why := func(d *ways.Decision, k ways.Kind) ways.Withheld {
		for _, w := range d.Withheld {
			if w.Kind == k {
				return w
			}
		}
		return ways.Withheld{}
	}
	bench := decided(p, ways.Case{Bad: rat("0.5"), Pulled: true, Revision: "B"})
	if w := why(bench, ways.Exchange); w.Why != ways.NoRevision || w.Detail != "B" {
		t.Errorf("an exchange unit of another revision is no exchange: %+v", w)
	}
	if w := why(bench, ways.TestFirst); w.Why != ways.InShop {
		t.Errorf("%+v", w)
	}
	if w := why(decided(p, ways.Case{Bad: rat("0.5"), Pulled: true, Modules: []string{"digital_in", "counter"}}), ways.Exchange); w.Why != ways.NoModule || w.Detail != "counter" {
		t.Errorf("%+v", w)
	}
	none := *p
	none.Modules = nil // a sheet that names no modules says nothing against any
	if w := why(decided(&none, ways.Case{Bad: rat("0.5"), Pulled: true, Modules: []string{"digital_in", "counter"}}), ways.Exchange); w.Why != "" {
		t.Errorf("%+v", w)
	}
	drop := decided(p, ways.Case{Bad: rat("0.5")})
	for k, want := range map[ways.Kind]ways.Why{ways.PutBack: ways.AtDrop, ways.TestFirst: ways.NoSiteTest, ways.Spare: ways.NoSpare} {
		if w := why(drop, k); w.Why != want {
			t.Errorf("%s: %+v, want %s", k, w, want)
		}
	}
	p.Obsolete = true
	if w := why(decided(p, ways.Case{Bad: rat("0.5"), Pulled: true}), ways.New); w.Why != ways.NotMade {
		t.Errorf("%+v", w)
	}
}

func TestHistoryMovesTheOdds(t *testing.T) {
	p := sheet(t, "shop.yaml")
	d := decided(p, ways.Case{Bad: rat("0.5"), Pulled: true, SerialReturns: 1})
	if d.Bad.Cmp(rat("3/4")) != 0 {
		t.Errorf("one return of the serial number, odds by 3: %s", d.Bad)
	}
	d = decided(p, ways.Case{Bad: rat("0.5"), Pulled: true, SerialReturns: 1, LocationReturns: 2})
	if d.Bad.Cmp(rat("3/7")) != 0 {
		t.Errorf("and two from the place, by a half each: %s", d.Bad)
	}
	for _, sure := range []string{"0", "1"} {
		if d := decided(p, ways.Case{Bad: rat(sure), Pulled: true, SerialReturns: 3}); d.Bad.Cmp(rat(sure)) != 0 {
			t.Errorf("what is sure stays sure: %s", d.Bad)
		}
	}
}

func TestAgeLowersWhatARepairMayCost(t *testing.T) {
	p := sheet(t, "tide_mill.yaml")
	for age, want := range map[string]string{"": "0.65", "0": "0.65", "7.5": "0.525", "15": "0.40", "40": "0.40"} {
		c := ways.Case{Bad: rat("0.5")}
		if age != "" {
			c.AgeYears = rat(age)
		}
		d := decided(p, c)
		if d.RepairMay.Cmp(rat(want)) != 0 || d.RepairIs.Cmp(rat("850/1300")) != 0 {
			t.Errorf("age %q: %s of %s", age, d.RepairIs, d.RepairMay)
		}
	}
}

func TestBenchTestsAreWorthWhatTheyChange(t *testing.T) {
	p := sheet(t, "shop.yaml")
	d := decided(p, ways.Case{Bad: rat("0.5"), Pulled: true})
	if len(d.Tests) != 3 {
		t.Fatalf("%d tests", len(d.Tests))
	}
	for i, x := range d.Tests {
		if x.Worth.Sign() < 0 || x.Worth.Cmp(d.Perfect) > 0 || d.Known.Cmp(d.Perfect) > 0 {
			t.Errorf("%s: worth %s of %s", x.Test.Name, x.Worth, d.Perfect)
		}
		if x.Changes != (x.Worth.Sign() > 0) {
			t.Errorf("%s: a test is worth something where it can change what to do, and only there", x.Test.Name)
		}
		if i > 0 && d.Tests[i-1].Net.Cmp(x.Net) < 0 {
			t.Error("the most worth doing comes first")
		}
	}
	if len(decided(p, ways.Case{Bad: rat("0.5")}).Tests) != 0 {
		t.Error("a bench test wants the unit on the bench")
	}
}

// The share of one kind among the bad units, the others in proportion: at the share that
// is told, a sheet with such numbers gives a tie.
func TestTurnsOfSharesHold(t *testing.T) {
	found := 0
	for _, bad := range []string{"0.5", "0.95"} {
		for _, name := range []string{"tide_mill.yaml", "shop.yaml"} {
			for _, pulled := range []bool{false, true} {
				p, c := sheet(t, name), ways.Case{Bad: rat(bad), Pulled: pulled}
				d := decided(p, c)
				for _, x := range d.Turns {
					if !strings.HasPrefix(x.Name, "bad_units.") || x.At.Cmp(rat("1")) >= 0 {
						continue
					}
					found++
					// a/(a + rest) = share, with the rest as it stands on the sheet
					others := new(big.Rat)
					for _, k := range []string{"bad_units.repairable", "bad_units.beyond_repair", "bad_units.intermittent"} {
						if k != x.Name {
							others.Add(others, p.Get(k))
						}
					}
					amount := others.Mul(others, new(big.Rat).Quo(x.At, new(big.Rat).Sub(rat("1"), x.At)))
					e := decided(p.With(x.Name, amount), c)
					if way(t, e, d.Ways[0].Kind).Mean.Cmp(way(t, e, x.Way).Mean) != 0 || e.Tied < 2 {
						t.Errorf("%s %s at %s is no tie", name, x.Name, x.At.FloatString(4))
					}
				}
			}
		}
	}
	if found == 0 {
		t.Error("no share turns any of these decisions")
	}
}

func TestSteady(t *testing.T) {
	p := sheet(t, "tide_mill.yaml")
	d := decided(p, ways.Case{Bad: rat("0.05")})
	if !d.Steady(rat("0.09")) || d.Steady(rat("0.11")) {
		t.Errorf("the answer turns at 0.099: %v", d.Stretches)
	}
}

// What a shop asks for each way is what stands on the sheet; what it comes to is the decision's.
func TestTermsAreThoseOfTheSheet(t *testing.T) {
	p := sheet(t, "shop.yaml")
	for bad, want := range map[string]map[ways.Kind]string{
		"1":   {ways.PutBack: "120 16 -", ways.Repair: "640 80 12", ways.RepairFast: "860 24 12", ways.Exchange: "1300 18 12", ways.New: "2400 120 12", ways.Redesign: "9000 40 -"},
		"0":   {ways.PutBack: "150 16 -", ways.Repair: "640 80 12", ways.RepairFast: "860 24 12", ways.Exchange: "1300 18 12", ways.New: "2400 120 12", ways.Redesign: "9000 40 -"},
		"1/3": {ways.PutBack: "120 16 -", ways.Repair: "640 80 12", ways.RepairFast: "860 24 12", ways.Exchange: "1300 18 12", ways.New: "2400 120 12", ways.Redesign: "9000 40 -"},
	} {
		d := decided(p, ways.Case{Bad: rat(bad), Pulled: true})
		got := map[ways.Kind]string{}
		for _, x := range d.Terms() {
			months := "-"
			if x.Warranty != nil {
				months = x.Warranty.RatString()
			}
			got[x.Kind] = x.Price.RatString() + " " + x.Hours.RatString() + " " + months
			if x.Expected.Cmp(way(t, d, x.Kind).Mean) != 0 {
				t.Errorf("%s comes to %s", x.Kind, x.Expected)
			}
		}
		for k, says := range want {
			if got[k] != says || len(got) != len(want) {
				t.Errorf("bad %s: %s is offered for %q, want %q", bad, k, got[k], says)
			}
		}
	}
}
