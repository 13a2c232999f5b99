package main

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
)

func newUnitShowCmd(env *environment) *cobra.Command {
	var o deskOptions
	var asJSON, all, offer bool
	var page string
	cmd := &cobra.Command{
		Use: "show UNIT", Short: shortUnitShow, Long: longUnitShow, Args: unitArgs(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onUnit(ctx, env, args[0], func(d *desk, c *cases.Card) error {
				switch {
				case asJSON:
					return written(report.UnitJSON(env.out, c, env.clock()))
				case all:
					return written(report.UnitEntries(env.out, env.width(), c))
				case offer || page != "":
					if c.Stay() == nil || c.Stay().Offer() == nil {
						return inputError{sayNoOffer}
					}
					return paper(env, report.NewOfferPaper(c, c.Stay().Offer()), page)
				}
				codes, err := d.codesOf(ctx, c)
				if err != nil {
					return err
				}
				return written(report.UnitText(env.out, env.width(), c, codes, env.clock()))
			})
		},
	}
	addStoreFlags(cmd, &o)
	f := cmd.Flags()
	f.BoolVar(&asJSON, "json", false, "print JSON for programs, schema "+report.UnitSchema)
	f.BoolVar(&all, "entries", false, "every entry, numbered, with who and when")
	f.BoolVar(&offer, "offer", false, "the offer, as the customer gets it")
	f.StringVar(&page, "offer-html", "", "write the offer as a page to print into this new `FILE`")
	return cmd
}

// codesOf are the short codes of the cases of a unit; a case of another site may not be here.
func (d *desk) codesOf(ctx context.Context, c *cases.Card) (map[string]string, error) {
	codes := map[string]string{}
	for _, s := range c.Stays {
		for _, id := range s.Receipt.Body.Cases {
			switch found, err := d.store.Case(ctx, id); {
			case err == nil:
				codes[id] = found.Code
			case errors.Is(err, cases.ErrNotFound), errors.Is(err, cases.ErrIntegrity): // the unit is shown all the same; "store verify" names what is damaged
			default:
				return nil, err
			}
		}
	}
	return codes, nil
}

func newUnitListCmd(env *environment) *cobra.Command {
	var o unitListOptions
	cmd := &cobra.Command{
		Use: "list [STATE]", Short: shortUnitList, Long: longUnitList,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				var err error
				if o.state, err = shopState(args); err != nil {
					return err
				}
			}
			return runUnitList(cmd.Context(), env, o)
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	cmd.Flags().BoolVar(&o.all, "all", false, "those that have left, too")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.UnitsSchema)
	cmd.Flags().BoolVar(&o.csv, "csv", false, "print a table for spreadsheets")
	return cmd
}

type unitListOptions struct {
	deskOptions
	state          cases.ShopState // "" those in the shop
	all, json, csv bool            // all: those that have left, too
}

// wants says whether a unit is listed. One without a state is known from records alone, and was never received.
func (o *unitListOptions) wants(c *cases.Card) bool {
	s := c.State()
	return s != "" && (s == o.state || o.state == "" && (o.all || s.InShop()))
}

func runUnitList(ctx context.Context, env *environment, o unitListOptions) error {
	if o.csv && o.json {
		return usageError{sayCSVOrJSON}
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	var list []*cases.Card
	err = cases.Units(ctx, d.store, func(c *cases.Card) error {
		if o.wants(c) {
			list = append(list, c)
		}
		return nil
	})
	if err != nil {
		return err
	}
	report.SortUnits(list)
	switch {
	case o.json:
		return written(report.UnitsJSON(env.out, list, env.clock()))
	case o.csv:
		return written(report.UnitsCSV(env.out, list, env.clock()))
	}
	return written(report.UnitsText(env.out, env.width(), list, o.state != "", env.clock()))
}

func newUnitMonthCmd(env *environment) *cobra.Command {
	var o deskOptions
	var asJSON, csv bool
	cmd := &cobra.Command{
		Use: "month [YYYY-MM]", Short: shortUnitMonth, Long: longUnitMonth,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{otherWords(cmd)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if csv && asJSON {
				return usageError{sayCSVOrJSON}
			}
			word := ""
			if len(args) > 0 {
				if word = args[0]; word == "" {
					return usageError{fmt.Sprintf(sayNoMonth, word)}
				}
			}
			ctx := cmd.Context()
			d, err := o.openDesk(ctx, env)
			if err != nil {
				return err
			}
			defer d.store.Close()
			m, ok, err := shop.Month(ctx, d.store, word, env.clock())
			switch {
			case err != nil:
				return ofShop(err)
			case !ok:
				return usageError{fmt.Sprintf(sayNoMonth, word)}
			case asJSON:
				return written(report.MonthJSON(env.out, m))
			case csv:
				return written(report.MonthCSV(env.out, m))
			default:
				return written(report.MonthText(env.out, env.width(), m))
			}
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON for programs, schema "+report.MonthSchema)
	cmd.Flags().BoolVar(&csv, "csv", false, "print a table for spreadsheets")
	return cmd
}

// inShop is the unit of a case, where its last receipt speaks of the case: whoever asks where
// it is asks by the case. nil: it never came in for it.
func (d *desk) inShop(ctx context.Context, c *cases.Case) (*cases.Card, error) {
	if c.Opening.Unit.Serial == "" {
		return nil, nil
	}
	card, err := cases.ReadUnit(ctx, d.store, cases.UnitKey(c.Opening.Unit))
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	if err != nil || card.Stay() == nil || !slices.Contains(card.Stay().Receipt.Body.Cases, c.ID) {
		return nil, err
	}
	return card, nil
}
