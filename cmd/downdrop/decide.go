package main

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/engine"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

type decideOptions struct {
	caseOptions
	prices                      string
	say                         shop.Said
	serialReturns, placeReturns int
	json, detail, keys          bool
	plot                        string
	store, kept, unit           string
}

func newDecideCmd(env *environment, runF func(context.Context, *environment, decideOptions) error) *cobra.Command {
	var o decideOptions
	cmd := &cobra.Command{
		Use:   "decide PRICES.yaml",
		Short: shortDecide,
		Long:  longDecide,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 && !o.keys || len(args) > 1 {
				return usageError{sayOnePrices}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.prices = args[0]
			}
			return runF(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.say.Bad, "bad", "", "the chance that the unit is bad, as a `NUMBER` from 0 to 1 or like 30%")
	f.StringVar(&o.file, "case", "", "diagnose the case in this `FILE` and take the chance from it")
	addCaseFlags(cmd, &o.caseOptions)
	f.StringVar(&o.kept, "kept", "", "the `CASE` kept under this code: its diagnosis, and what the store remembers of its serial and place")
	f.StringVar(&o.unit, "unit", "", "the `UNIT` in the shop: its verdict, and what the store remembers of it")
	addStore(cmd, &o.store, "the store of --kept and --unit")
	f.StringVar(&o.say.Downtime, "downtime", "", "`MONEY` an hour while the drop stands, instead of the sheet's; or unknown")
	f.StringVar(&o.say.Spares, "spares", "", "tested `UNITS` on the shelf, instead of the sheet's")
	f.StringVar(&o.say.Age, "age", "", "`YEARS` that the unit was in service")
	f.StringVar(&o.say.Revision, "revision", "", "the `REVISION` that the drop needs")
	addMany(f, &o.say.Modules, "module", "a kind of module that the unit has to work with (`KIND`)")
	f.IntVar(&o.serialReturns, "returns-of-serial", 0, "earlier returns of this serial number (`COUNT`), which the chance does not know of")
	f.IntVar(&o.placeReturns, "returns-of-place", 0, "earlier returns from this location (`COUNT`)")
	f.StringVar(&o.plot, "plot", "", "also draw cost against chance into this new `FILE.svg`")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.DecisionSchema)
	f.BoolVar(&o.detail, "detail", false, "also list every amount that would change the answer")
	f.BoolVar(&o.keys, "keys", false, "list what a price sheet can say")
	return cmd
}

// runDecide weighs what can become of a unit.
func runDecide(ctx context.Context, env *environment, o decideOptions) error {
	if o.keys {
		return written(report.PricesText(env.out, env.width()))
	}
	if err := o.agree(); err != nil {
		return err
	}
	if o.kept != "" || o.unit != "" {
		return o.decideFromStore(ctx, env)
	}
	text, err := env.read(ctx, o.prices)
	if err != nil {
		return err
	}
	prices, problem := rulebase.ReadPrices(inputNamed(o.prices), text)
	d, c, problems := &report.Decision{Detail: o.detail}, ways.Case{}, []error{problem}
	if o.say.Bad != "" {
		c.Bad, err = shop.Amount("bad", o.say.Bad)
		problems = append(problems, err)
		c.Pulled = o.at == string(rulebase.Bench)
		problems = append(problems, o.onlyPlace())
	} else {
		c.Bad, d.Outside, c.Pulled, err = o.diagnosed(ctx, env)
		problems = append(problems, err)
	}
	c.SerialReturns, c.LocationReturns = o.serialReturns, o.placeReturns
	prices, err = o.say.Change(prices, &c)
	if err := errors.Join(append(problems, err)...); err != nil {
		return ofShop(err)
	}
	if d.Decision, err = shop.Decide(prices, c); err != nil {
		return ofShop(err)
	}
	return o.print(env, d)
}

// print writes a decision as it was asked for.
func (o *decideOptions) print(env *environment, d *report.Decision) error {
	if o.plot != "" {
		if err := newFile(o.plot, d.SVG); err != nil {
			return err
		}
	}
	if o.json {
		return written(d.JSON(env.out))
	}
	return written(d.Text(env.out, env.width()))
}

// agree checks what of the command line does not go together.
func (o *decideOptions) agree() error {
	said := len(o.given)+len(o.see) > 0 || o.file != ""
	switch {
	case o.kept != "" && o.unit != "", said && (o.kept != "" || o.unit != ""):
		return usageError{sayOneSource}
	case o.kept != "" || o.unit != "":
		return o.agreeStored()
	case o.say.Bad == "" && !said:
		return usageError{sayBadOrCase}
	case o.say.Bad != "" && said:
		return usageError{sayBadNotCase}
	case o.serialReturns < 0 || o.placeReturns < 0:
		return usageError{sayNoReturns}
	case o.serialReturns > shop.MostReturns || o.placeReturns > shop.MostReturns:
		return usageError{fmt.Sprintf(sayManyReturns, shop.MostReturns)}
	case o.say.Bad == "" && o.serialReturns > 0:
		return usageError{saySerialTwice}
	case o.prices == "-" && o.file == "-":
		return usageError{sayInputTwice}
	}
	return nil
}

// agreeStored checks what goes with --kept or --unit: earlier returns are looked up.
func (o *decideOptions) agreeStored() error {
	switch {
	case o.serialReturns != 0 || o.placeReturns != 0:
		return usageError{sayReturnsStored}
	case o.at != "":
		return usageError{sayPlaceStored}
	}
	return nil
}

// onlyPlace checks --at where no case is read that would.
func (o *decideOptions) onlyPlace() error {
	if o.at == "" {
		return nil
	}
	if err := oneOf(o.at, placeWords); err != nil {
		return usageError{fmt.Sprintf(sayFlagValue, "at", o.at, err)}
	}
	return nil
}

// diagnosed takes the chance from a diagnosis. Four digits of it are more than the
// weights behind it are known to.
func (o *decideOptions) diagnosed(ctx context.Context, env *environment) (bad, outside *big.Rat, pulled bool, err error) {
	base, s, err := o.load(ctx, env)
	if err != nil {
		return nil, nil, false, err
	}
	bad, outside, err = badOf(ctx, base, s)
	return bad, outside, s.At == rulebase.Bench, err
}

// badOf diagnoses a situation for the chance that the unit is bad.
func badOf(ctx context.Context, base *rulebase.Base, s rulebase.Situation) (bad, outside *big.Rat, err error) {
	d, err := engine.Diagnose(ctx, engine.Prepare(base), s, engine.Options{})
	if err != nil {
		return nil, nil, err
	}
	if !d.Possible {
		return nil, nil, inputError{sayNoChance}
	}
	rat := func(x float64) *big.Rat { r, _ := new(big.Rat).SetString(fmt.Sprintf("%.4f", x)); return r }
	return rat(d.UnitOut), rat(d.Outside), nil
}

// decideFromStore weighs what can become of a unit that the store knows.
func (o *decideOptions) decideFromStore(ctx context.Context, env *environment) error {
	from := deskOptions{store: o.store, rulebase: o.rulebase}
	if o.unit != "" {
		return from.onUnit(ctx, env, o.unit, func(d *desk, c *cases.Card) error {
			decision, _, err := d.decideUnit(ctx, c, o.prices, o)
			if err != nil {
				return err
			}
			return o.print(env, &report.Decision{Decision: decision, Detail: o.detail})
		})
	}
	return from.onCase(ctx, env, o.kept, func(d *desk, c *cases.Case) error {
		decision, outside, err := d.decideCase(ctx, c, o)
		if err != nil {
			return err
		}
		return o.print(env, &report.Decision{Decision: decision, Detail: o.detail, Outside: outside})
	})
}

// givenReturned is the given of the shipped rulebase that says that a serial was sent in before
// for the same complaint. Where a case says it, yes or no, its chance knows of earlier returns.
const givenReturned = "returned_before"

// decideCase weighs what can become of the unit of a kept case.
func (d *desk) decideCase(ctx context.Context, c *cases.Case, o *decideOptions) (*ways.Decision, *big.Rat, error) {
	prices, err := d.prices(ctx, o.prices)
	problems := []error{err}
	w := ways.Case{Pulled: c.Situation.At == rulebase.Bench}
	var outside *big.Rat
	if o.say.Bad != "" {
		w.Bad, err = shop.Amount("bad", o.say.Bad)
	} else {
		w.Bad, outside, err = badOf(ctx, d.base, c.Situation)
	}
	problems = append(problems, err)
	prices, err = o.say.Change(prices, &w)
	problems = append(problems, err)
	if w.Revision == "" {
		w.Revision = c.Opening.Unit.Revision
	}
	known := slices.ContainsFunc(c.Situation.Givens, func(g rulebase.GivenValue) bool { return g.ID == givenReturned })
	if !known || o.say.Bad != "" {
		w.SerialReturns, err = cases.SerialReturns(ctx, d.store, c.Opening.Unit, c.ID)
		problems = append(problems, err)
	}
	w.LocationReturns, err = cases.LocationReturns(ctx, d.store, c.Opening.Location, c.Opening.Drop, c.ID)
	if err := errors.Join(append(problems, err)...); err != nil {
		return nil, nil, ofShop(err)
	}
	w.SerialReturns, w.LocationReturns = min(w.SerialReturns, shop.MostReturns), min(w.LocationReturns, shop.MostReturns)
	decision, err := shop.Decide(prices, w)
	return decision, outside, ofShop(err)
}

// prices reads a price sheet.
func (d *desk) prices(ctx context.Context, file string) (*rulebase.Prices, error) {
	text, err := d.env.read(ctx, file)
	if err != nil {
		return nil, err
	}
	return rulebase.ReadPrices(inputNamed(file), text)
}
