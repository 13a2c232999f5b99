package main

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

type unitOfferOptions struct {
	deskOptions
	decide decideOptions
	prices string
	until  string
	note   string
	page   string
}

func newUnitOfferCmd(env *environment) *cobra.Command {
	var o unitOfferOptions
	cmd := &cobra.Command{
		Use: "offer UNIT PRICES.yaml", Short: shortUnitOffer, Long: longUnitOffer, Example: exampleUnitOffer, Args: unitArgs(1),
		ValidArgsFunction: func(cmd *cobra.Command, args []string, word string) ([]string, cobra.ShellCompDirective) {
			if len(args) == 0 {
				return completeUnits(env, &o.deskOptions)(cmd, args, word)
			}
			return completeCaseFile(cmd, nil, word)
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.prices = args[1]
			ctx := cmd.Context()
			return o.onUnit(ctx, env, args[0], func(d *desk, c *cases.Card) error { return runUnitOffer(ctx, d, c, o) })
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.StringVar(&o.until, "until", "", "the last day on which it holds, as `YYYY-MM-DD`; needed")
	f.StringVar(&o.decide.bad, "bad", "", "the chance that the unit is bad, as a `NUMBER` from 0 to 1 or like 30%; else from its verdict")
	f.StringVar(&o.decide.downtime, "downtime", "", "`MONEY` an hour while the customer's drop stands, instead of the sheet's; or unknown")
	f.StringVar(&o.decide.spares, "spares", "", "tested `UNITS` on the customer's shelf, instead of the sheet's")
	f.StringVar(&o.decide.age, "age", "", "`YEARS` that the unit was in service")
	f.StringArrayVar(&o.decide.modules, "module", nil, "a kind of module that the unit has to work with (`KIND`)")
	f.StringVar(&o.note, "note", "", "a sentence to the customer (`TEXT`)")
	f.StringVar(&o.page, "html", "", "also write it as a page to print into this new `FILE`")
	return cmd
}

func runUnitOffer(ctx context.Context, d *desk, c *cases.Card, o unitOfferOptions) error {
	if s := c.State(); s != cases.ShopEvaluated && s != cases.ShopAwaiting && s != cases.ShopInRepair && s != cases.ShopInTest {
		return inputError{fmt.Sprintf(sayNoOfferYet, s)}
	}
	until, err := time.ParseInLocation(time.DateOnly, o.until, d.env.clock().Location())
	if err != nil {
		return usageError{fmt.Sprintf(sayFlagValue, "until", o.until, "a day is written as 2031-05-28.")}
	}
	if until.AddDate(0, 0, 1).Before(d.env.clock()) {
		return usageError{fmt.Sprintf(sayFlagValue, "until", o.until, "that day has gone by.")}
	}
	decision, text, err := d.decideUnit(ctx, c, o.prices, &o.decide)
	if err != nil {
		return err
	}
	p := decision.Prices
	offer := cases.Offer{Ways: []cases.OfferedWay{}, Currency: p.Currency, Until: o.until, Prices: p.Name, Bad: decision.Bad.FloatString(4), Note: o.note}
	if p.Note != "" {
		if offer.Note != "" {
			offer.Note = strings.TrimRight(offer.Note, ".") + ". "
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
	if d.writer.By == "" {
		return usageError{sayUnitWho}
	}
	if offer.Digest, err = d.store.PutFile(ctx, text); err != nil {
		return err
	}
	if c, err = d.writeUnit(ctx, c.ID, cases.Say(cases.KindOffer, offer)); err != nil {
		return err
	}
	x := report.NewOfferPaper(c, c.Stay().Offer())
	if err := written(x.Text(d.env.out, d.env.width())); err != nil || o.page == "" {
		return err
	}
	return paper(d.env, x, o.page)
}

// plainDecimal is a number of the sheet as it is read: without zeros at its end.
func plainDecimal(x *big.Rat) string {
	text := x.FloatString(2)
	return strings.TrimRight(strings.TrimRight(text, "0"), ".")
}

// decideUnit weighs what can become of a unit in the shop, on a price sheet whose text it
// gives as well. What the store remembers of the serial and of its place counts.
func (d *desk) decideUnit(ctx context.Context, c *cases.Card, file string, o *decideOptions) (*ways.Decision, []byte, error) {
	text, err := d.env.read(ctx, file)
	if err != nil {
		return nil, nil, err
	}
	name := file
	if name == "-" {
		name = inputName
	}
	prices, problem := rulebase.ReadPrices(name, text)
	problems := []error{problem}
	var w ways.Case
	switch s := c.Stay(); {
	case o.bad != "":
		w.Bad, err = amount("bad", o.bad)
		problems = append(problems, err)
	case s != nil && s.Verdict == cases.UnitBad:
		w.Bad = big.NewRat(1, 1)
	case s != nil && s.Verdict == cases.UnitGood:
		w.Bad = new(big.Rat)
	default:
		problems = append(problems, usageError{sayBadUnknown})
	}
	w.Pulled = true
	prices, err = o.change(prices, &w)
	problems = append(problems, err)
	if w.SerialReturns, w.PlaceReturns, err = d.returnsOf(ctx, c); err != nil {
		return nil, nil, err
	}
	if w.Revision == "" {
		w.Revision = c.Unit.Revision
	}
	if err := errors.Join(problems...); err != nil {
		return nil, nil, err
	}
	return ways.Decide(prices, w), text, nil
}

// returnsOf are the earlier returns of a unit, and those from the places of its cases.
func (d *desk) returnsOf(ctx context.Context, c *cases.Card) (serial, place int, err error) {
	s := c.Stay()
	if s == nil {
		return 0, 0, nil
	}
	for _, id := range s.Receipt.Body.Cases {
		k, err := d.store.Case(ctx, id)
		if errors.Is(err, cases.ErrNotFound) {
			continue // of another site, and not here
		}
		if err != nil {
			return 0, 0, err
		}
		n, err := cases.PlaceReturns(ctx, d.store, k.Opening.Location, k.Opening.Drop, s.Receipt.Body.Cases...)
		if err != nil {
			return 0, 0, err
		}
		place = max(place, n)
	}
	serial, err = cases.SerialReturns(ctx, d.store, c.Unit, s.Receipt.Body.Cases...)
	if len(s.Receipt.Body.Cases) == 0 {
		serial-- // this stay, which speaks of no case
	}
	return min(max(serial, 0), mostReturns), min(place, mostReturns), err
}

func newUnitAnswerCmd(env *environment) *cobra.Command {
	var a cases.Answer
	return newUnitSayingCmd(env, unitSaying{
		use: "answer UNIT WAY|declined", short: shortUnitAnswer, long: longUnitAnswer, example: exampleUnitAnswer, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&a.How, "how", "", "how the answer came: by phone, by letter (`TEXT`)")
			cmd.Flags().StringVar(&a.Order, "order", "", "the customer's order number (`TEXT`)")
		},
		draft: func(_ context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error) {
			if c.Stay() == nil || c.Stay().Offer() == nil {
				return cases.Draft{}, inputError{sayNoOffer}
			}
			o := c.Stay().Offer()
			choices := []string{"declined"}
			for _, w := range o.Offer.Ways {
				choices = append(choices, w.Way)
			}
			way := strings.ReplaceAll(strings.ToLower(words[0]), "-", "_")
			if err := oneOf(way, choices); err != nil {
				return cases.Draft{}, usageError{fmt.Sprintf(sayNoChoice, words[0], err)}
			}
			a.Offer = o.Event.ID
			if a.Way = way; way == "declined" {
				a.Way = ""
			}
			now := d.env.clock()
			if _, east := now.Zone(); o.Offer.LateOn(now, east/60) {
				fmt.Fprintf(d.env.err, sayLateAnswer, o.Offer.Until)
			}
			return cases.Say(cases.KindAnswer, a), nil
		},
	})
}
