package main

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

type diagnoseOptions struct {
	caseOptions
	json, detail bool
	weigh        []string // one or two causes
}

func newDiagnoseCmd(env *environment, runF func(context.Context, *environment, diagnoseOptions) error) *cobra.Command {
	var o diagnoseOptions
	cmd := &cobra.Command{
		Use:   "diagnose [CASE.yaml|-]",
		Short: shortDiagnose,
		Long:  longDiagnose,
		Args:  atMostOneCase,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.file = args[0]
			}
			return runF(cmd.Context(), env, o)
		},
	}
	addCaseFlags(cmd, &o.caseOptions)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.DiagnosisSchema)
	cmd.Flags().BoolVar(&o.detail, "detail", false, "also print every step in full, facts with their why, and all numbers")
	cmd.Flags().StringArrayVar(&o.weigh, "weigh", nil, "also weigh what is known for this cause (`ID`) against the likeliest other; given twice, against that one")
	return cmd
}

func atMostOneCase(_ *cobra.Command, args []string) error {
	if len(args) > 1 {
		return usageError{sayOneCase}
	}
	return nil
}

// runDiagnose answers a case. Findings that nothing listed allows are a problem
// found, not a failure.
func runDiagnose(ctx context.Context, env *environment, o diagnoseOptions) error {
	base, s, err := o.load(ctx, env)
	if err != nil {
		return err
	}
	weighed, err := o.weighed(base)
	if err != nil {
		return err
	}
	usual := engine.Options{Weights: true}
	if o.json {
		usual = weighed
	}
	p := engine.Prepare(base)
	d, err := engine.Diagnose(ctx, p, s, usual)
	if err != nil {
		return err
	}
	if o.json {
		err = report.JSON(env.out, d)
	} else {
		err = report.Text(env.out, d, report.TextOptions{Width: env.width(), Detail: o.detail, Hints: true})
	}
	if err == nil && !o.json && len(o.weigh) > 0 && d.Possible {
		between, weighErr := engine.Diagnose(ctx, p, s, weighed)
		if weighErr != nil {
			return weighErr
		}
		err = report.Weighed(env.out, env.width(), between)
	}
	// Something not listed may explain what nothing listed allows: the answer
	// stands, and whoever called is told all the same.
	if err == nil && slices.ContainsFunc(d.Conflicts, func(c engine.Conflict) bool { return c.Kind == engine.ConflictImpossible }) {
		return foundError{}
	}
	return written(err)
}

// weighed are the options of a diagnosis that weighs the causes that were named.
func (o *diagnoseOptions) weighed(base *rulebase.Base) (engine.Options, error) {
	x := engine.Options{Weights: true}
	if len(o.weigh) > 2 || len(o.weigh) == 2 && o.weigh[0] == o.weigh[1] {
		return x, usageError{sayWeighTwo}
	}
	for i, id := range o.weigh {
		if ref, _ := base.Lookup(id); ref.Kind != rulebase.KindCause {
			return x, inputError{fmt.Sprintf(sayNoCause, id) + nearCause(base, id)}
		}
		if i == 0 {
			x.Weighed = id
		} else {
			x.Against = id
		}
	}
	return x, nil
}
