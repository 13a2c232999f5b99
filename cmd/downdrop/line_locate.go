package main

import (
	"context"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

type lineLocateOptions struct {
	file, short, from, cut, between string
	json                            bool
}

func newLineLocateCmd(env *environment, runF func(context.Context, *environment, lineLocateOptions) error) *cobra.Command {
	var o lineLocateOptions
	cmd := &cobra.Command{
		Use:   "locate SHEET.yaml|-",
		Short: shortLineLocate,
		Long:  longLineLocate,
		Args:  oneSheet,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runF(cmd.Context(), env, o)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.short, "short", "", "ohms read towards a short: how far away it is, by this `READING`")
	flags.StringVar(&o.from, "from", "host", "which `END` that was read at: host or end")
	flags.StringVar(&o.cut, "break", "", "a `PLACE` where the trunk is open: which drops that takes away")
	flags.StringVar(&o.between, "between", "", "two `PLACES`, good and bad: where to measure next")
	flags.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.LocateSchema)
	return cmd
}

// runLineLocate says what a sheet tells of a fault along the trunk.
func runLineLocate(ctx context.Context, env *environment, o lineLocateOptions) error {
	asked := 0
	for _, x := range []string{o.short, o.cut, o.between} {
		if x != "" {
			asked++
		}
	}
	if asked != 1 {
		return usageError{sayOneLocate}
	}
	s, err := env.readSheet(ctx, o.file)
	if err != nil {
		return err
	}
	answer := &report.Locate{Sheet: s}
	switch {
	case o.short != "":
		err = o.toShort(s, answer)
	case o.cut != "":
		answer.AtM, err = placeOnTrunk(s, o.cut)
		answer.Found, answer.Kind, answer.Lost = true, report.LocateBreak, sheet.Lost(s, answer.AtM)
	default:
		err = o.halve(s, answer)
	}
	if err != nil {
		return err
	}
	if o.json {
		err = answer.JSON(env.out)
	} else {
		err = answer.Text(env.out, env.width())
	}
	if err == nil && !answer.Found {
		return foundError{}
	}
	return written(err)
}

// toShort is how far away a short is, from either end.
func (o *lineLocateOptions) toShort(s *rulebase.Sheet, answer *report.Locate) error {
	if o.from != "host" && o.from != "end" {
		return usageError{fmt.Sprintf(sayHostOrEnd, o.from)}
	}
	x, over, err := readOhm(o.short)
	if err != nil {
		return err
	}
	if over {
		return inputError{fmt.Sprintf(sayOneOhm, o.short)}
	}
	answer.Kind, answer.Reading, answer.FromEnd = report.LocateShort, x, o.from == "end"
	answer.AtM, answer.Found = sheet.ToShort(s, x, answer.FromEnd)
	return nil
}

// halve is where to measure next between a good and a bad place.
func (o *lineLocateOptions) halve(s *rulebase.Sheet, answer *report.Locate) error {
	good, bad, ok := strings.Cut(o.between, " and ")
	if !ok {
		return usageError{fmt.Sprintf(sayTwoPlaces, o.between)}
	}
	from, err := placeOnTrunk(s, strings.TrimSpace(good))
	if err != nil {
		return err
	}
	to, err := placeOnTrunk(s, strings.TrimSpace(bad))
	if err != nil {
		return err
	}
	answer.Kind, answer.GoodM, answer.BadM = report.LocateHalf, from, to
	answer.Drop, answer.AtM, answer.Found = sheet.Halve(s, min(from, to), max(from, to))
	return nil
}

func newLineSchemaCmd(env *environment, runF func(context.Context, *environment) error) *cobra.Command {
	return &cobra.Command{
		Use:   "schema",
		Short: shortLineSchema,
		Long:  longLineSchema,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 0 {
				return usageError{saySheetOnly}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, _ []string) error { return runF(cmd.Context(), env) },
	}
}

// runLineSchema prints the JSON Schema of installation sheets.
func runLineSchema(_ context.Context, env *environment) error {
	text, err := json.MarshalIndent(rulebase.SheetSchema(sheet.Kinds()), "", " ")
	if err != nil {
		return err
	}
	_, err = env.out.Write(append(text, '\n'))
	return written(err)
}
