package main

import (
	"context"
	"errors"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

type chartOptions struct {
	caseOptions
	identify, optimal bool
	levels, nodes     int
	least             float64
	json, svg, html   bool
	page, output      string
	kept              string // the code of a case that is kept; ""
	desk              deskOptions
}

func newChartCmd(env *environment, runF func(context.Context, *environment, chartOptions) error) *cobra.Command {
	var o chartOptions
	cmd := &cobra.Command{
		Use: "chart [CASE.yaml|-]", Short: shortChart, Long: longChart, Args: atMostOneCase,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.file = args[0]
			}
			return runF(cmd.Context(), env, o)
		},
	}
	addCaseFlags(cmd, &o.caseOptions)
	f := cmd.Flags()
	f.BoolVar(&o.identify, "identify", false, "tests only, until it is certain what to do or no test can tell more")
	f.BoolVar(&o.optimal, "optimal", false, "look for the best chart there is, and prove it or print the gap that is left")
	f.IntVar(&o.levels, "levels", 0, "at most so many steps below one another (`N`); 12 where it is not said")
	f.IntVar(&o.nodes, "places", 0, "at most so many places (`N`); 200 where it is not said")
	f.Float64Var(&o.least, "least", 0, "a way less likely than this `SHARE` of all cases ends in handing over; 0.005 where it is not said")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.ChartSchema)
	f.BoolVar(&o.svg, "svg", false, "draw it (SVG)")
	f.BoolVar(&o.html, "html", false, "write one file for a phone, which needs no network (HTML)")
	f.StringVar(&o.page, "page", "", "one side of paper for the cabinet door: `a4` or letter (HTML, to be printed)")
	f.StringVar(&o.kept, "case", "", "go on from this case of the store, by its `CODE`; what still stands in place stands at the head")
	addStore(cmd, &o.desk.store, "the store that --case is in")
	f.StringVarP(&o.output, "output", "o", "", "write to this `FILE` instead of the output")
	return cmd
}

// pagePlaces is how many boxes one side of paper holds at a size that can be read in a cabinet.
const pagePlaces = 15

func (o *chartOptions) check() error {
	forms := 0
	for _, is := range []bool{o.json, o.svg, o.html, o.page != ""} {
		if is {
			forms++
		}
	}
	switch {
	case o.kept != "" && o.file != "":
		return usageError{sayChartCase}
	case forms > 1:
		return usageError{sayChartForms}
	case o.page != "" && o.page != "a4" && o.page != "letter":
		return usageError{fmt.Sprintf(sayChartPage, o.page)}
	case o.levels < 0 || o.levels > 100 || o.nodes < 0 || o.nodes > 5000 || !(o.least >= 0 && o.least < 1): // NaN is no share
		return usageError{sayChartLimits}
	case o.page != "" && (o.optimal || o.nodes > pagePlaces):
		return usageError{fmt.Sprintf(sayChartPagePlaces, pagePlaces)}
	}
	return nil
}

func runChart(ctx context.Context, env *environment, o chartOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	base, s, err := o.load(ctx, env)
	if err != nil {
		return err
	}
	still := report.StillInPlace(base, s)
	if o.kept != "" {
		if s, still, err = o.keptCase(ctx, env, base); err != nil {
			return err
		}
	}
	kind := report.ChartKind{Identify: o.identify, Optimal: o.optimal}
	chart, err := o.draw(ctx, base, s, still, kind)
	if err != nil {
		return err
	}
	return env.into(o.output, func(w io.Writer) error {
		switch {
		case o.json:
			return chart.JSON(w, kind)
		case o.svg:
			return chart.SVG(w, kind)
		case o.html:
			return chart.HTML(w, kind)
		case o.page != "":
			return chart.Page(w, o.page, kind)
		}
		return chart.Text(w, env.width(), kind)
	})
}

// keptCase is where a case of the store stands, with what the command line adds, and what
// still stands in place.
func (o *chartOptions) keptCase(ctx context.Context, env *environment, base *rulebase.Base) (s rulebase.Situation, still []string, err error) {
	o.desk.rulebase = o.rulebase
	err = o.desk.onCase(ctx, env, o.kept, func(_ *desk, c *cases.Case) error {
		s, still = c.Situation.Clone(), report.StandingIn(base, c)
		return errors.Join(o.add(base, &s)...)
	})
	return s, still, err
}

// draw works a chart out.
func (o *chartOptions) draw(ctx context.Context, base *rulebase.Base, s rulebase.Situation, still []string, kind report.ChartKind) (*report.Chart, error) {
	options := engine.ChartOptions{Identify: o.identify, Optimal: o.optimal, Levels: o.levels, Nodes: o.nodes, Least: o.least}
	prepared := engine.Prepare(base)
	if o.page != "" {
		return o.drawPage(ctx, prepared, s, still, options, kind)
	}
	tree, err := engine.Chart(ctx, prepared, s, options)
	if err != nil {
		return nil, err
	}
	return report.NewChart(prepared, s, tree, still), nil
}

// pageParts are how many places a group of answers has to be worth on one side of paper,
// each tried: with so few places which of them settles most is a matter of luck.
var pageParts = []float64{1, 1.5, 2, 3}

// drawPage works out the chart for one side of paper that settles most, with as many
// places as go onto it.
func (o *chartOptions) drawPage(ctx context.Context, p *engine.Prepared, s rulebase.Situation, still []string, options engine.ChartOptions, kind report.ChartKind) (*report.Chart, error) {
	if options.Nodes == 0 {
		options.Nodes = pagePlaces
	}
	var best *report.Chart
	most := -1.0
	for _, parts := range pageParts {
		options.Parts = parts / float64(options.Nodes)
		tree, err := engine.Chart(ctx, p, s, options)
		if err != nil {
			return nil, err
		}
		chart := report.NewChart(p, s, tree, still)
		for !chart.FitsPage(o.page, kind) {
			if !tree.Trim(chart.Size(o.page)) {
				return nil, usageError{sayChartPageFull}
			}
			chart = report.NewChart(p, s, tree, still)
		}
		if tree.Settled > most {
			best, most = chart, tree.Settled
		}
	}
	return best, nil
}
