package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// newLineCmd holds the sums of the line on paper.
func newLineCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "line",
		Short: shortLine,
		Long:  longLine,
		Args:  knownCommand,
		RunE:  func(cmd *cobra.Command, _ []string) error { return written(cmd.Help()) },
	}
	cmd.AddCommand(newLineCheckCmd(env, runLineCheck), newLineEchoCmd(env, runLineEcho), newLineNewCmd(env, runLineNew), newLineLocateCmd(env, runLineLocate), newLineOhmsCmd(env, runLineOhms), newLineSchemaCmd(env, runLineSchema), newLineWaveformCmd(env, runLineWaveform))
	return cmd
}

type lineCheckOptions struct {
	file string
	json bool
	html bool
}

func newLineCheckCmd(env *environment, runF func(context.Context, *environment, lineCheckOptions) error) *cobra.Command {
	var o lineCheckOptions
	cmd := &cobra.Command{
		Use:   "check SHEET.yaml|-",
		Short: shortLineCheck,
		Long:  longLineCheck,
		Args:  oneSheet,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			if o.json && o.html {
				return usageError{sayJSONOrHTML}
			}
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.SheetSchema)
	cmd.Flags().BoolVar(&o.html, "html", false, "print one page for a browser or a printer, with the trunk drawn to scale")
	return cmd
}

func oneSheet(_ *cobra.Command, args []string) error {
	if len(args) != 1 {
		return usageError{sayOneSheet}
	}
	return nil
}

// readSheet reads an installation sheet.
func (env *environment) readSheet(ctx context.Context, file string) (*rulebase.Sheet, error) {
	text, err := env.read(ctx, file)
	if err != nil {
		return nil, err
	}
	return rulebase.ReadSheet(file, text, sheet.Kinds())
}

// runLineCheck goes over a sheet. What does not go is a problem found.
func runLineCheck(ctx context.Context, env *environment, o lineCheckOptions) error {
	s, err := env.readSheet(ctx, o.file)
	if err != nil {
		return err
	}
	results := sheet.Check(s)
	switch {
	case o.json:
		err = report.SheetJSON(env.out, s, results)
	case o.html:
		err = report.SheetPage(env.out, s, results)
	default:
		err = report.SheetText(env.out, s, results, env.width())
	}
	if err != nil {
		return written(err)
	}
	for _, r := range results {
		if r.Verdict == sheet.Fail {
			return foundError{}
		}
	}
	return nil
}

type lineOhmsOptions struct {
	file, reading, at string
	cut, short        string // supposed, where no reading is given
	json              bool
}

func newLineOhmsCmd(env *environment, runF func(context.Context, *environment, lineOhmsOptions) error) *cobra.Command {
	o := lineOhmsOptions{}
	cmd := &cobra.Command{
		Use:   "ohms SHEET.yaml [READING]",
		Short: shortLineOhms,
		Long:  longLineOhms,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) < 1 || len(args) > 2 {
				return usageError{sayOneReading}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			if len(args) == 2 {
				o.reading = args[1]
			}
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().StringVar(&o.at, "at", "host", "where it was read: host, end, the name of a drop,\nor a `PLACE` like 120 m from the host")
	cmd.Flags().StringVar(&o.cut, "break", "", "without a reading: suppose the pair open at this `PLACE`")
	cmd.Flags().StringVar(&o.short, "short", "", "without a reading: suppose it shorted at this `PLACE`")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.OhmsSchema+"\nor "+report.ExpectedSchema)
	return cmd
}

// runLineOhms says what a reading across the dead pair can be.
func runLineOhms(ctx context.Context, env *environment, o lineOhmsOptions) error {
	s, err := env.readSheet(ctx, o.file)
	if err != nil {
		return err
	}
	at, err := placeOnTrunk(s, o.at)
	if err != nil {
		return err
	}
	if o.reading == "" {
		return o.expected(env, s, at)
	}
	if o.cut != "" || o.short != "" {
		return usageError{sayNoSupposing}
	}
	x, over, err := readOhm(o.reading)
	if err != nil {
		return err
	}
	answer := &report.Ohms{Sheet: s, AtM: at, Where: o.at, Reading: x, Open: over, States: sheet.Explain(s, at, x, over)}
	if o.json {
		err = answer.JSON(env.out)
	} else {
		err = answer.Text(env.out, env.width())
	}
	if err == nil && len(answer.States) == 0 {
		return foundError{}
	}
	return written(err)
}

// expected says what should be read at a place.
func (o *lineOhmsOptions) expected(env *environment, s *rulebase.Sheet, at float64) error {
	supposed := func(where string) (places []float64, err error) {
		if where == "" {
			return nil, nil
		}
		m, err := placeOnTrunk(s, where)
		return []float64{m}, err
	}
	cuts, err := supposed(o.cut)
	if err != nil {
		return err
	}
	shorts, err := supposed(o.short)
	if err != nil {
		return err
	}
	answer := &report.Expected{Sheet: s, AtM: at, Where: o.at, Cuts: cuts, Shorts: shorts}
	answer.Ways, answer.Known = sheet.Expected(s, at, cuts, shorts)
	if o.json {
		return written(answer.JSON(env.out))
	}
	return written(answer.Text(env.out, env.width()))
}

// readOhm is one reading in ohm; over says that the meter showed over-range.
func readOhm(text string) (x float64, over bool, err error) {
	read, err := quantity.Read(text, quantity.Want{Unit: "ohm"})
	var question *quantity.Question
	if errors.As(err, &question) {
		return 0, false, inputError{question.Says}
	}
	x, exact := read.Value()
	over = read.Shape == quantity.OverRange
	if !exact && !over {
		return 0, false, inputError{fmt.Sprintf(sayOneOhm, text)}
	}
	return x, over, nil
}

// placeOnTrunk is how far from the host a place lies.
func placeOnTrunk(s *rulebase.Sheet, where string) (float64, error) {
	switch where {
	case "host":
		return 0, nil
	case "end":
		return s.TrunkM(), nil
	}
	var names []string
	for _, d := range s.Drops {
		if strings.EqualFold(d.Name, where) {
			return d.AtM, nil
		}
		names = append(names, d.Name)
	}
	if x, ok := metresOf(where); ok {
		if x < 0 || x > s.TrunkM() {
			return 0, usageError{fmt.Sprintf(sayBeyondTrunk, where, s.TrunkM())}
		}
		return x, nil
	}
	return 0, usageError{fmt.Sprintf(sayNoPlace, where, strings.Join(names, ", "))}
}

// metresOf is a length with its unit, in metres or feet; a bare number is none.
func metresOf(text string) (metres float64, ok bool) {
	for unit, each := range map[string]float64{"m": 1, "ft": 0.3048} { // exact
		if !strings.HasSuffix(strings.TrimSpace(text), unit) {
			continue
		}
		r, err := quantity.Read(text, quantity.Want{Unit: unit})
		if err != nil {
			continue
		}
		if x, exact := r.Value(); exact {
			return x * each, true
		}
	}
	return 0, false
}
