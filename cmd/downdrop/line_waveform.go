package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/line"
	"downdrop/engine/sheet"
	"downdrop/engine/waveform"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

type lineWaveformOptions struct {
	file, svg           string
	rate, bandwidth, at string
	timeUnit, voltUnit  string
	sheet, where        string
	velocity            float64
	json                bool
}

func newLineWaveformCmd(env *environment, runF func(context.Context, *environment, lineWaveformOptions) error) *cobra.Command {
	var o lineWaveformOptions
	cmd := &cobra.Command{
		Use:   "waveform FILE.csv|-",
		Short: shortLineWaveform,
		Long:  longLineWaveform,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{sayOneCapture}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runF(cmd.Context(), env, o)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.rate, "rate", "", "the `RATE` that the bus is set to, like 153.6k")
	flags.StringVar(&o.bandwidth, "bandwidth", "", "`BANDWIDTH` of instrument and probe, like \"20 MHz\"")
	flags.Float64Var(&o.velocity, "velocity", 0, "`SHARE` of the speed of light at which waves run in\nthis cable; without it 5 ns for a metre are taken")
	flags.StringVar(&o.sheet, "sheet", "", "installation sheet `FILE`: its rate, its cable, and where\nalong its trunk an echo comes from")
	flags.StringVar(&o.where, "where", "host", "with --sheet: where the probe was: host, end, the name\nof a drop or a `PLACE` like 120 m from the host")
	flags.StringVar(&o.at, "at", "field", "where it was caught: field or bench, where the unit\nis alone")
	flags.StringVar(&o.timeUnit, "time-unit", "", "`UNIT` of the time where no heading says it: s, ms,\nus, ns")
	flags.StringVar(&o.voltUnit, "volts-unit", "", "`UNIT` of the volts where no heading says it: V, mV")
	flags.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.WaveformSchema)
	flags.StringVar(&o.svg, "svg", "", "also draw it into this new `FILE`")
	return cmd
}

// mostCapture bounds what is read as one capture: a million points of three columns.
const mostCapture = 128 << 20

// runLineWaveform measures in a capture. What is not as it should be is a problem found.
func runLineWaveform(ctx context.Context, env *environment, o lineWaveformOptions) error {
	known, units, err := o.known()
	if err != nil {
		return err
	}
	trunk, probe, err := o.trunk(ctx, env, &known)
	if err != nil {
		return err
	}
	text, err := env.readUpTo(ctx, o.file, mostCapture)
	if err != nil {
		return err
	}
	c, err := waveform.Read(o.file, text, units)
	var problems *waveform.Problems
	if errors.As(err, &problems) {
		return inputError{problems.Error()}
	}
	if err != nil {
		return err
	}
	w := &report.Waveform{File: o.file, Capture: c, Reading: waveform.Measure(c, known), Bench: o.at == "bench", Sheet: trunk, ProbeM: probe}
	if o.svg != "" {
		if err := newFile(o.svg, w.SVG); err != nil {
			return err
		}
	}
	if o.json {
		err = w.JSON(env.out)
	} else {
		err = w.Text(env.out, env.width())
	}
	if err == nil && len(w.Reading.Troubles()) > 0 {
		return foundError{}
	}
	return written(err)
}

// trunk reads the sheet of the line, where there is one: what it says fills in what
// no flag said.
func (o *lineWaveformOptions) trunk(ctx context.Context, env *environment, known *waveform.Options) (s *rulebase.Sheet, probeM float64, err error) {
	if o.sheet == "" {
		if o.where != "host" {
			return nil, 0, usageError{sayWhereOnSheet}
		}
		return nil, 0, nil
	}
	if s, err = env.readSheet(ctx, o.sheet); err != nil {
		return nil, 0, err
	}
	if known.Rate == 0 {
		known.Rate = line.BitPerSecond(s.Baud)
	}
	if delay, said := sheet.Delay(s); said && known.Delay == 0 {
		known.Delay = delay
	}
	probeM, err = placeOnTrunk(s, o.where)
	return s, probeM, err
}

// known is what the flags say beside the capture.
func (o *lineWaveformOptions) known() (known waveform.Options, units waveform.Units, err error) {
	one := func(text, unit, says string) float64 {
		if text == "" || err != nil {
			return 0
		}
		r, bad := quantity.Read(text, quantity.Want{Unit: unit})
		x, exact := r.Value()
		if bad != nil || !exact || x <= 0 {
			err = usageError{fmt.Sprintf(says, text)}
		}
		return x
	}
	known.Rate = line.BitPerSecond(one(o.rate, "baud", sayNoRate))
	known.Bandwidth = one(o.bandwidth, "Hz", sayNoBandwidth)
	if o.velocity != 0 {
		if !(o.velocity >= 0.3 && o.velocity <= 1) { // NaN is no share
			return known, units, usageError{fmt.Sprintf(sayNoVelocity, o.velocity)}
		}
		known.Delay = line.Delay(o.velocity)
	}
	if err == nil && o.at != "field" && o.at != "bench" {
		err = usageError{fmt.Sprintf(sayFieldBench, o.at)}
	}
	unit := func(text, of string, all ...string) {
		if err == nil && text != "" && !slices.ContainsFunc(all, func(u string) bool { return strings.EqualFold(u, text) }) {
			err = usageError{fmt.Sprintf(sayNoUnit, text, of, strings.Join(all, ", "))}
		}
	}
	unit(o.timeUnit, "time", "s", "ms", "us", "ns")
	unit(o.voltUnit, "volts", "V", "mV")
	return known, waveform.Units{Time: o.timeUnit, Volts: o.voltUnit}, err
}
