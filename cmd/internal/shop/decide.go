package shop

import (
	"context"
	"errors"
	"math/big"
	"regexp"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// Said is what somebody says beside a price sheet, as typed; "" is not said.
type Said struct {
	Bad      string // the chance that the unit is bad: 0.3 or 30%
	Downtime string // money an hour, or "unknown"
	Spares   string // tested units on the shelf
	Age      string // years in service
	Revision string // that the drop needs
	Modules  []string
}

// A NoAmount is something said that is no amount.
type NoAmount struct{ Name, Text, Wants string }

func (e NoAmount) Error() string { return e.Name + " " + e.Text + ": say " + e.Wants }

// ErrBadUnknown says that nothing proves a unit good or bad, and nobody said how likely it is.
var ErrBadUnknown = errors.New("nothing proves the unit good or bad")

// MostReturns is far more than any unit comes back.
const MostReturns = 100

// Change lays what was said over the sheet and the case. The sheet may be nil, where it
// could not be read: then what was said is only checked. Earlier returns are the caller's.
func (o *Said) Change(p *rulebase.Prices, c *ways.Case) (*rulebase.Prices, error) {
	var problems []error
	read := func(name, text string) *big.Rat {
		x, err := Amount(name, text)
		problems = append(problems, err)
		return x
	}
	set := func(name, text, key string) {
		if text == "" {
			return
		}
		if x := read(name, text); x != nil && p != nil {
			p = p.With(key, x)
		}
	}
	if o.Downtime == "unknown" {
		if p != nil {
			p = p.With("downtime.per_hour", nil)
		}
	} else {
		set("downtime", o.Downtime, "downtime.per_hour")
	}
	set("spares", o.Spares, "spare.on_shelf")
	if o.Age != "" {
		c.AgeYears = read("age", o.Age)
	}
	c.Revision, c.Modules = o.Revision, o.Modules
	return p, errors.Join(problems...)
}

var plainNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(0|[1-9][0-9]{0,11})(\.[0-9]{1,9})?$`) })

// Amount reads a number by its text; name is bad, downtime, spares or age.
func Amount(name, text string) (*big.Rat, error) {
	digits, percent := text, false
	if name == "bad" {
		if cut, ok := strings.CutSuffix(text, "%"); ok {
			digits, percent = strings.TrimSpace(cut), true
		}
	}
	wrong := NoAmount{name, text, map[string]string{"bad": "a chance from 0 to 1, like 0.3, or like 30%", "downtime": "an amount of money, like 800, or unknown", "spares": "a whole number", "age": "years, like 12"}[name]}
	if !plainNumber().MatchString(digits) {
		return nil, wrong
	}
	x, _ := new(big.Rat).SetString(digits)
	if percent {
		x.Quo(x, big.NewRat(100, 1))
	}
	if name == "bad" && x.Cmp(big.NewRat(1, 1)) > 0 || name == "spares" && !x.IsInt() {
		return nil, wrong
	}
	return x, nil
}

// DecideUnit weighs what can become of a unit in the shop, on the text of a price sheet: its
// verdict counts, and what the store remembers of the serial and of its location.
func DecideUnit(ctx context.Context, store cases.Store, c *cases.Card, name string, sheet []byte, o *Said) (*ways.Decision, error) {
	prices, problem := rulebase.ReadPrices(name, sheet)
	problems := []error{problem}
	var w ways.Case
	var err error
	switch s := c.Stay(); {
	case o.Bad != "":
		w.Bad, err = Amount("bad", o.Bad)
		problems = append(problems, err)
	case s != nil && s.Verdict == cases.UnitBad:
		w.Bad = big.NewRat(1, 1)
	case s != nil && s.Verdict == cases.UnitGood:
		w.Bad = new(big.Rat)
	default:
		problems = append(problems, ErrBadUnknown)
	}
	w.Pulled = true
	prices, err = o.Change(prices, &w)
	problems = append(problems, err)
	if w.SerialReturns, w.LocationReturns, err = returnsOf(ctx, store, c); err != nil {
		return nil, err
	}
	if w.Revision == "" {
		w.Revision = c.Unit.Revision
	}
	if err := errors.Join(problems...); err != nil {
		return nil, err
	}
	return Decide(prices, w)
}

// Decide weighs what can become of a unit. It refuses where nothing on the sheet can take
// the unit's place.
func Decide(prices *rulebase.Prices, c ways.Case) (*ways.Decision, error) {
	d, err := ways.Decide(prices, c)
	var none ways.NoReplacement
	if errors.As(err, &none) {
		return nil, Refusal{Input, report.SayNoReplacement(prices, none)}
	}
	return d, err
}

// returnsOf are the earlier returns of a unit, and those from the locations of its cases.
func returnsOf(ctx context.Context, store cases.Store, c *cases.Card) (serial, location int, err error) {
	s := c.Stay()
	if s == nil {
		return 0, 0, nil
	}
	for _, id := range s.Receipt.Body.Cases {
		k, err := store.Case(ctx, id)
		if errors.Is(err, cases.ErrNotFound) {
			continue // of another site, and not here
		}
		if err != nil {
			return 0, 0, err
		}
		n, err := cases.LocationReturns(ctx, store, k.Opening.Location, k.Opening.Drop, s.Receipt.Body.Cases...)
		if err != nil {
			return 0, 0, err
		}
		location = max(location, n)
	}
	serial, err = cases.SerialReturns(ctx, store, c.Unit, s.Receipt.Body.Cases...)
	if len(s.Receipt.Body.Cases) == 0 {
		serial-- // this stay, which speaks of no case
	}
	return min(max(serial, 0), MostReturns), min(location, MostReturns), err
}

// NewOffer is what a customer is offered on a decision, until a day written as 2031-05-28.
func NewOffer(decision *ways.Decision, until, note string) cases.Offer {
	p := decision.Prices
	offer := cases.Offer{Ways: []cases.OfferedWay{}, Currency: p.Currency, Until: until, Prices: p.Name, Bad: decision.Bad.FloatString(4), Note: note}
	if p.Note != "" {
		if offer.Note != "" {
			if offer.Note = strings.TrimSpace(offer.Note); !strings.ContainsAny(offer.Note[max(0, len(offer.Note)-1):], ".?!:") {
				offer.Note += "."
			}
			offer.Note += " "
		}
		offer.Note += p.Note
	}
	for _, t := range decision.Terms() {
		way := cases.OfferedWay{Way: string(t.Kind), Price: p.Money(t.Price), Expected: p.Money(t.Expected)}
		if t.Hours != nil {
			way.Hours = plainDecimal(t.Hours)
		}
		if t.Warranty != nil {
			way.Warranty = plainDecimal(t.Warranty)
		}
		offer.Ways = append(offer.Ways, way)
	}
	return offer
}

// MayOffer says whether an offer is made for a unit in a state: one that was evaluated.
func MayOffer(s cases.ShopState) bool {
	return s == cases.ShopEvaluated || s == cases.ShopAwaiting || s == cases.ShopInRepair || s == cases.ShopInTest
}

// plainDecimal is a number of the sheet as it is read: without zeros at its end.
func plainDecimal(x *big.Rat) string {
	text := x.FloatString(2)
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}
