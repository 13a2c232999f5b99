package rulebase

import (
	"maps"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"sync"

	"downdrop/rulebase/source"
)

// Prices is what a shop or a site writes down of what things cost and how long they
// take, for the decision what becomes of a unit. Amounts are kept as the decimals
// that were written, never as floating point.
type Prices struct {
	Pos      Position
	Name     string
	Note     string
	Currency string // three capitals, as in ISO 4217
	Decimals int    // of the currency on paper

	Amount    map[string]*big.Rat // by name, like exchange.price; those written, and those with a default
	Written   map[string]Position // where the written ones stand
	Obsolete  bool                // new ones are no longer made
	Revisions []string            // that an exchange unit can have; empty: not said
	Modules   []string            // that an exchange unit works with; empty: not said
	Bench     []PricedTest
}

// A PricedTest is a test that can be bought before deciding.
type PricedTest struct {
	Pos                Position
	Name               string
	At                 Place // bench, or field for one at the drop
	Minutes            *big.Rat
	Price              *big.Rat // beside the time
	FindsBad           *big.Rat // chance that a bad unit is called bad
	FindsIntermittent  *big.Rat // likewise of one whose fault comes and goes
	ClearsGood         *big.Rat // chance that a good unit is called good
	StopsWhileItIsDone bool     // the drop waits for it, at the price of downtime
}

// A PriceForm says what sort of number an amount is.
type PriceForm string

// The forms of amounts.
const (
	MoneyAmount  PriceForm = "money"
	HoursAmount  PriceForm = "hours"
	ShareAmount  PriceForm = "share" // 0 to 1, or a percentage
	CountAmount  PriceForm = "count"
	FactorAmount PriceForm = "factor"
	YearsAmount  PriceForm = "years"
)

// A PriceKey is one amount that a price sheet can have.
type PriceKey struct {
	Name    string // section.key
	Form    PriceForm
	Needed  bool   // where its section is there
	Default string // "" is none: 0
	Means   string
}

// PriceKeys are all amounts of a price sheet, in the order in which they are told.
var PriceKeys = []PriceKey{
	{"downtime.per_hour", MoneyAmount, true, "", "what an hour costs while the drop stands; unknown where nobody can say"},
	{"downtime.hours_per_year", FactorAmount, false, "8760", "in which the plant runs, where hours are counted so; else those of the calendar"},
	{"visit.price", MoneyAmount, true, "", "one visit of a technician to the drop"},
	{"site.test_hours", HoursAmount, true, "", "to tell at the drop whether it is the unit"},
	{"site.remedy_hours", HoursAmount, true, "", "to put a cause outside the unit right"},
	{"site.swap_hours", HoursAmount, true, "", "to change the unit"},
	{"site.intermittent_hours", HoursAmount, false, "", "lost besides to a fault that comes and goes"},
	{"site.finds_bad", ShareAmount, false, "", "chance that the test at the drop finds a bad unit"},
	{"site.finds_intermittent", ShareAmount, false, "", "likewise where the fault comes and goes"},
	{"site.clears_good", ShareAmount, false, "", "chance that it clears a good unit and finds what it is instead"},
	{"shipping.one_way", MoneyAmount, false, "", "one unit, one way"},
	{"shipping.hours", HoursAmount, false, "", "for a unit that is sent back from the shop"},
	{"evaluation.price", MoneyAmount, false, "", "for looking at a unit that is then not repaired"},
	{"no_fault.fee", MoneyAmount, false, "", "for testing a unit that proves good"},
	{"repair.price", MoneyAmount, true, "", "of a repair that works"},
	{"repair.hours", HoursAmount, true, "", "from sending the unit to having it back"},
	{"repair.works", ShareAmount, true, "", "chance that it works; else the evaluation is paid, and what takes the unit's place"},
	{"repair.works_intermittent", ShareAmount, false, "", "likewise where the fault comes and goes; as repair.works where it is not said"},
	{"repair.comes_back", ShareAmount, false, "", "chance that a repaired unit fails again within the warranty's time"},
	{"repair.warranty_months", CountAmount, false, "", "0: none, and a second repair is paid again"},
	{"repair.expedite_price", MoneyAmount, false, "", "on top, to jump the queue"},
	{"repair.expedite_hours", HoursAmount, false, "", "then instead of repair.hours"},
	{"repair.limit", ShareAmount, false, "0.65", "a repair should cost no more than this share of the cheapest unit to be had (estimate of this project)"},
	{"repair.limit_when_old", ShareAmount, false, "0.40", "likewise of a unit that is old (estimate)"},
	{"repair.old_years", YearsAmount, false, "15", "in service, from which a unit is old (estimate)"},
	{"exchange.price", MoneyAmount, true, "", "with the old unit given back"},
	{"exchange.core_credit", MoneyAmount, false, "", "kept back where the old unit is beyond repair"},
	{"exchange.hours", HoursAmount, true, "", "from ordering to having it at the drop"},
	{"exchange.restocking", ShareAmount, false, "", "of its price, for one that goes back unopened"},
	{"exchange.comes_back", ShareAmount, false, "", "as repair.comes_back"},
	{"exchange.warranty_months", CountAmount, false, "", "as repair.warranty_months"},
	{"new.price", MoneyAmount, true, "", "of a new unit"},
	{"new.hours", HoursAmount, true, "", "from ordering to having it at the drop"},
	{"new.comes_back", ShareAmount, false, "", "as repair.comes_back"},
	{"new.warranty_months", CountAmount, false, "", "as repair.warranty_months"},
	{"redesign.price", MoneyAmount, true, "", "of building the drop anew with something else"},
	{"redesign.hours", HoursAmount, true, "", "that the drop stands for it"},
	{"spare.on_shelf", CountAmount, false, "", "tested units on the site's own shelf"},
	{"spare.failures_per_year", FactorAmount, false, "", "units of this kind that fail in a year, all drops together"},
	{"bad_units.repairable", FactorAmount, false, "1", "of the bad units, in any numbers: those that can be repaired"},
	{"bad_units.beyond_repair", FactorAmount, false, "", "those beyond repair"},
	{"bad_units.intermittent", FactorAmount, false, "", "those whose fault comes and goes"},
	{"history.serial_again", FactorAmount, false, "1", "odds of a bad unit are multiplied by this for each earlier return of the same serial number"},
	{"history.place_again", FactorAmount, false, "1", "likewise for each earlier return from the same location; below 1 where that speaks against the location"},
	{"bench.per_hour", MoneyAmount, false, "", "an hour at the bench"},
}

// mostAmount is beyond any price, time or number of the trade.
var mostAmount = big.NewRat(1_000_000_000_000, 1)

// ReadPrices reads a price sheet. The error is a *Problems with all that is wrong.
func ReadPrices(file string, text []byte) (*Prices, error) {
	r := &priceReader{loader{r: source.NewReader(), base: &Base{}, kind: map[string]Kind{}}}
	return readOne(r.r, file, text, r.prices)
}

type priceReader struct{ loader }

// priceSections are the sections in the order of PriceKeys.
func priceSections() []string {
	var all []string
	for _, k := range PriceKeys {
		section, _, _ := strings.Cut(k.Name, ".")
		if !slices.Contains(all, section) {
			all = append(all, section)
		}
	}
	return all
}

// Sections that a sheet cannot do without.
var neededSections = []string{"downtime", "visit", "site"}

func (r *priceReader) prices(n *source.Node) *Prices {
	p := &Prices{Pos: n.Pos, Decimals: 2, Amount: map[string]*big.Rat{}, Written: map[string]Position{}}
	sections := priceSections()
	keys := append([]string{"prices", "format", "currency", "decimals", "note", "bench_tests"}, sections...)
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a price sheet is keys and values: %s", strings.Join(keys, ", "))
		return p
	}
	r.allow(n, "a price sheet", keys)
	r.format(filled(n, "format"), "the price sheet")
	if x := r.needed(n, "prices", "its name"); x != nil {
		p.Name = r.text(x)
	}
	if x := r.needed(n, "currency", "three capitals, like XTS"); x != nil {
		p.Currency = r.currency(x)
	}
	if x := filled(n, "decimals"); x != nil {
		p.Decimals = r.whole(x, 0, 4)
	}
	if x := filled(n, "note"); x != nil {
		p.Note = r.text(x)
	}
	for _, k := range PriceKeys {
		if k.Default != "" {
			p.Amount[k.Name], _ = new(big.Rat).SetString(k.Default)
		}
	}
	for _, section := range sections {
		r.section(n, section, p)
	}
	for _, x := range r.items(filled(n, "bench_tests")) {
		p.Bench = append(p.Bench, r.benchTest(x))
	}
	r.together(n, p)
	return p
}

func (r *priceReader) needed(n *source.Node, key, what string) *source.Node {
	x := filled(n, key)
	if x == nil && n.Get(key) == nil {
		r.r.Problem(n, "missing-key", "", "%q is missing here: %s", key, what)
	}
	return x
}

func (r *priceReader) currency(n *source.Node) string {
	if len(n.Text) != 3 || strings.Trim(n.Text, "ABCDEFGHIJKLMNOPQRSTUVWXYZ") != "" {
		r.r.Problem(n, "currency", "", "a currency is three capitals, as in ISO 4217; XTS is the one for examples")
	}
	return n.Text
}

// section reads the amounts of one section.
func (r *priceReader) section(n *source.Node, section string, p *Prices) {
	var keys []string
	for _, k := range PriceKeys {
		if of, key, _ := strings.Cut(k.Name, "."); of == section {
			keys = append(keys, key)
		}
	}
	x := filled(n, section)
	if x == nil {
		if n.Get(section) == nil && slices.Contains(neededSections, section) {
			r.r.Problem(n, "missing-key", "", "%q is missing here; it has %s", section, strings.Join(keys, ", "))
		}
		return
	}
	switch section {
	case "exchange":
		keys = append(keys, "revisions", "modules")
	case "new":
		keys = append(keys, "obsolete")
	}
	if x.Shape != source.Map {
		r.r.Problem(x, "shape", "", "%s is {%s: ...}", section, strings.Join(keys, ": ..., "))
		return
	}
	r.allow(x, section, append(keys, "note"))
	if y := filled(x, "revisions"); y != nil {
		p.Revisions = r.texts(y)
	}
	if y := filled(x, "modules"); y != nil {
		p.Modules = r.texts(y)
	}
	if y := filled(x, "obsolete"); y != nil {
		p.Obsolete = r.flag(y)
	}
	p.Written[section] = x.Pos
	for _, k := range PriceKeys {
		of, key, _ := strings.Cut(k.Name, ".")
		if of != section {
			continue
		}
		y := filled(x, key)
		if y == nil {
			if k.Needed && x.Get(key) == nil && !(section == "new" && p.Obsolete) {
				r.r.Problem(x, "missing-key", "", "%s needs %q: %s", section, key, k.Means)
			}
			continue
		}
		p.Written[k.Name] = y.Pos
		if k.Name == "downtime.per_hour" && y.Text == "unknown" {
			delete(p.Amount, k.Name)
			continue
		}
		if v := r.amount(y, k.Form); v != nil {
			p.Amount[k.Name] = v
		}
	}
}

var plainDecimal = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(0|[1-9][0-9]*)(\.[0-9]+)?$`) })

// amount reads a decimal by its text.
func (r *priceReader) amount(n *source.Node, form PriceForm) *big.Rat {
	text, percent := n.Text, false
	if form == ShareAmount {
		if cut, ok := strings.CutSuffix(text, "%"); ok {
			text, percent = strings.TrimSpace(cut), true
		}
	}
	switch {
	case n.Shape != source.Scalar || len(text) > 40 || !plainDecimal().MatchString(text):
		says := map[PriceForm]string{MoneyAmount: "an amount of money is a decimal without its currency, like 1300 or 12.50", HoursAmount: "hours are a decimal, like 1.5 (a working day of two shifts is 16)",
			ShareAmount: "a share is from 0 to 1, like 0.95, or a percentage, like 95 %", CountAmount: "a whole number is wanted here", FactorAmount: "a number from 0 up is wanted here, like 2.5", YearsAmount: "years are a decimal, like 12"}[form]
		if strings.Contains(n.Text, ",") {
			says += "; the point is a point, and thousands are not set off"
		}
		r.r.Problem(n, "amount", "", "%s", says)
		return nil
	}
	v, _ := new(big.Rat).SetString(text)
	if percent {
		v.Quo(v, big.NewRat(100, 1))
	}
	switch {
	case form == ShareAmount && v.Cmp(big.NewRat(1, 1)) > 0:
		r.r.Problem(n, "range", "", "a share is at most 1, or 100 %%")
	case form == CountAmount && !v.IsInt():
		r.r.Problem(n, "range", "", "a whole number is wanted here")
	case v.Cmp(mostAmount) > 0:
		r.r.Problem(n, "range", "", "that is more than can be; look at the number again")
	default:
		return v
	}
	return nil
}

func (r *priceReader) benchTest(n *source.Node) PricedTest {
	t := PricedTest{Pos: n.Pos, At: Bench, Price: new(big.Rat)}
	keys := []string{"name", "at", "minutes", "price", "finds_bad", "finds_intermittent", "clears_good", "drop_waits"}
	if n.Shape != source.Map {
		r.r.Problem(n, "shape", "", "a test is {%s: ...}", strings.Join(keys, ": ..., "))
		return t
	}
	r.allow(n, "a test", append(keys, "note"))
	if x := r.needed(n, "name", "what it is called"); x != nil {
		t.Name = r.text(x)
	}
	if x := filled(n, "at"); x != nil && r.oneOf(x, "a place of a test", string(Bench), string(Field)) >= 0 {
		t.At = Place(x.Text)
	}
	if x := filled(n, "drop_waits"); x != nil {
		t.StopsWhileItIsDone = r.flag(x)
	}
	need := func(key, what string, form PriceForm) *big.Rat {
		if x := r.needed(n, key, what); x != nil {
			return r.amount(x, form)
		}
		return nil
	}
	t.Minutes = need("minutes", "how long it takes", FactorAmount)
	t.FindsBad = need("finds_bad", "the chance that a bad unit is called bad", ShareAmount)
	t.ClearsGood = need("clears_good", "the chance that a good unit is called good", ShareAmount)
	t.FindsIntermittent = t.FindsBad
	if x := filled(n, "finds_intermittent"); x != nil {
		t.FindsIntermittent = r.amount(x, ShareAmount)
	}
	if x := filled(n, "price"); x != nil {
		t.Price = r.amount(x, MoneyAmount)
	}
	return t
}

// together checks what has to fit together.
func (r *priceReader) together(n *source.Node, p *Prices) {
	if !p.Has("exchange.price") && !p.Has("new.price") && !p.Has("redesign.price") && len(r.r.Problems.List) == 0 {
		r.r.Problem(n, "missing-key", "", "nothing here can take the place of a unit beyond repair: write exchange, new or redesign")
	}
	if bad := filled(n, "bad_units"); bad != nil && p.Get("bad_units.repairable").Sign()+p.Get("bad_units.beyond_repair").Sign()+p.Get("bad_units.intermittent").Sign() == 0 {
		r.r.Problem(bad, "range", "", "bad units have to be of some kind; all numbers here are 0")
	}
	for _, pair := range [][2]string{{"repair.expedite_price", "repair.expedite_hours"}, {"site.finds_bad", "site.clears_good"}} {
		for i := range pair {
			if section, key, _ := strings.Cut(pair[1-i], "."); p.Has(pair[i]) && !p.Has(pair[1-i]) && n.Get(section).Get(key) == nil {
				r.r.Add(Problem{Position: p.Written[pair[i]], Kind: "missing-key", Says: "this wants " + pair[1-i] + " beside it", Width: 1})
			}
		}
	}
}

// Has says whether an amount is known: written, or with a default.
func (p *Prices) Has(name string) bool { return p.Amount[name] != nil }

// Get is an amount; 0 where it is not known.
func (p *Prices) Get(name string) *big.Rat {
	if x := p.Amount[name]; x != nil {
		return x
	}
	return new(big.Rat)
}

// With is the same sheet with one amount changed.
func (p *Prices) With(name string, x *big.Rat) *Prices {
	q := *p
	q.Amount = maps.Clone(p.Amount)
	q.Amount[name] = x
	return &q
}

// Money is an amount on paper, without the currency: rounded to its decimals, a half to
// the even digit, so that many roundings do not add up to one side.
func (p *Prices) Money(x *big.Rat) string { return halfEven(x, p.Decimals) }

// halfEven writes a fraction with so many decimals.
func halfEven(x *big.Rat, decimals int) string {
	scale := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(decimals)), nil)
	n := new(big.Int).Mul(x.Num(), scale)
	whole, left := new(big.Int).DivMod(n, x.Denom(), new(big.Int)) // left is never negative
	if c := left.Lsh(left, 1).Cmp(x.Denom()); c > 0 || c == 0 && whole.Bit(0) == 1 {
		whole.Add(whole, big.NewInt(1))
	}
	return new(big.Rat).SetFrac(whole, scale).FloatString(decimals)
}
