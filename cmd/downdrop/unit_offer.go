package main

import (
	"context"
	"fmt"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/engine/ways"
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
		Use: "offer UNIT PRICES.yaml", Short: shortUnitOffer, Long: longUnitOffer, Args: unitArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error {
			o.prices = args[1]
			ctx := cmd.Context()
			return o.onUnit(ctx, env, args[0], func(d *desk, c *cases.Card) error { return runUnitOffer(ctx, d, c, o) })
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.StringVar(&o.until, "until", "", "the last day on which it holds, as `YYYY-MM-DD`; needed")
	f.StringVar(&o.decide.say.Bad, "bad", "", "the chance that the unit is bad, as a `NUMBER` from 0 to 1 or like 30%; else from its verdict")
	f.StringVar(&o.decide.say.Downtime, "downtime", "", "`MONEY` an hour while the customer's drop stands, instead of the sheet's; or unknown")
	f.StringVar(&o.decide.say.Spares, "spares", "", "tested `UNITS` on the customer's shelf, instead of the sheet's")
	f.StringVar(&o.decide.say.Age, "age", "", "`YEARS` that the unit was in service")
	addMany(f, &o.decide.say.Modules, "module", "a kind of module that the unit has to work with (`KIND`)")
	f.StringVar(&o.note, "note", "", "a sentence to the customer (`TEXT`)")
	f.StringVar(&o.page, "html", "", "also write it as a page to print into this new `FILE`")
	return cmd
}

func runUnitOffer(ctx context.Context, d *desk, c *cases.Card, o unitOfferOptions) error {
	if !shop.MayOffer(c.State()) {
		return inputError{fmt.Sprintf(sayNoOfferYet, inWords(c))}
	}
	until, err := time.ParseInLocation(time.DateOnly, o.until, d.env.clock().Location())
	if err != nil {
		return usageError{fmt.Sprintf(sayFlagValue, "until", o.until, sayWrittenDay)}
	}
	if until.AddDate(0, 0, 1).Before(d.env.clock()) {
		return usageError{fmt.Sprintf(sayFlagValue, "until", o.until, sayGoneBy)}
	}
	decision, text, err := d.decideUnit(ctx, c, o.prices, &o.decide)
	if err != nil {
		return err
	}
	offer := shop.NewOffer(decision, o.until, o.note)
	if d.writer.By == "" {
		return usageError{sayUnitWho}
	}
	if err := beforehand(o.page); err != nil {
		return err
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

// decideUnit weighs what can become of a unit in the shop, on a price sheet whose text it
// gives as well. What the store remembers of the serial and of its place counts.
func (d *desk) decideUnit(ctx context.Context, c *cases.Card, file string, o *decideOptions) (*ways.Decision, []byte, error) {
	text, err := d.env.read(ctx, file)
	if err != nil {
		return nil, nil, err
	}
	decision, err := shop.DecideUnit(ctx, d.store, c, inputNamed(file), text, &o.say)
	return decision, text, ofShop(err)
}

func newUnitAnswerCmd(env *environment) *cobra.Command {
	var a cases.Answer
	return newUnitSayingCmd(env, unitSaying{
		use: "answer UNIT WAY|declined", short: shortUnitAnswer, long: longUnitAnswer, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&a.How, "how", "", "how the answer came: by phone, by letter (`TEXT`)")
			cmd.Flags().StringVar(&a.Order, "order", "", "the customer's order number (`TEXT`)")
		},
		draft: func(_ context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error) {
			if c.Stay() == nil || c.Stay().Offer() == nil {
				return cases.Draft{}, inputError{sayNoOffer}
			}
			o := c.Stay().Offer()
			said, choices, ok := shop.Answer(o, words[0])
			if !ok {
				return cases.Draft{}, usageError{fmt.Sprintf(sayNoChoice, words[0], oneOf(words[0], choices))}
			}
			a.Offer, a.Way = said.Offer, said.Way
			now := d.env.clock()
			if _, east := now.Zone(); o.Offer.LateOn(now, east/60) {
				fmt.Fprintf(d.env.err, sayLateAnswer, wording.Day(o.Offer.Until))
			}
			return cases.Say(cases.KindAnswer, a), nil
		},
	})
}
