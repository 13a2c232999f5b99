package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/rulebase"
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
	var o deskOptions
	var all, asJSON, csv bool
	cmd := &cobra.Command{
		Use: "list [STATE]", Short: shortUnitList, Long: longUnitList,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{otherWords(cmd)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			state := ""
			if len(args) > 0 {
				state = strings.ReplaceAll(strings.ToLower(args[0]), "-", "_")
				if err := oneOf(state, rulebase.Words(cases.ShopStates)); err != nil {
					return usageError{fmt.Sprintf(sayNoState, args[0], err)}
				}
			}
			return runUnitList(cmd.Context(), env, o, func(c *cases.Card) bool {
				if c.State() == "" { // known from records alone, and never received
					return false
				}
				return state == string(c.State()) || state == "" && (all || c.State().InShop())
			}, state != "", asJSON, csv)
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().BoolVar(&all, "all", false, "those that have left, too")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print JSON for programs, schema "+report.UnitsSchema)
	cmd.Flags().BoolVar(&csv, "csv", false, "print a table for spreadsheets")
	return cmd
}

func runUnitList(ctx context.Context, env *environment, o deskOptions, wanted func(*cases.Card) bool, chosen, asJSON, csv bool) error {
	if csv && asJSON {
		return usageError{sayCSVOrJSON}
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	var list []*cases.Card
	err = cases.Units(ctx, d.store, func(c *cases.Card) error {
		if wanted(c) {
			list = append(list, c)
		}
		return nil
	})
	if err != nil {
		return err
	}
	report.SortUnits(list)
	switch {
	case asJSON:
		return written(report.UnitsJSON(env.out, list, env.clock()))
	case csv:
		return written(report.UnitsCSV(env.out, list, env.clock()))
	}
	return written(report.UnitsText(env.out, env.width(), list, chosen, env.clock()))
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
				return err
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
