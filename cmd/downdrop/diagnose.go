package main

import (
	"context"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
)

type diagnoseOptions struct {
	caseOptions
	json, detail bool
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
	addCaseFlags(cmd, env, &o.caseOptions)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.DiagnosisSchema)
	cmd.Flags().BoolVar(&o.detail, "detail", false, "also print every step in full, facts with their why, and all numbers")
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
	d, err := engine.Diagnose(ctx, engine.Prepare(base), s, engine.Options{Weights: true})
	if err != nil {
		return err
	}
	if o.json {
		err = report.JSON(env.out, d)
	} else {
		err = report.Text(env.out, d, report.TextOptions{Width: env.width(), Detail: o.detail, Hints: true})
	}
	// Something not listed may explain what nothing listed allows: the answer
	// stands, and whoever called is told all the same.
	if err == nil && slices.ContainsFunc(d.Conflicts, func(c engine.Conflict) bool { return c.Kind == engine.ConflictImpossible }) {
		return foundError{}
	}
	return written(err)
}
