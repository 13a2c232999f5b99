package main

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/rulebase"
)

type distinguishOptions struct {
	caseOptions // of which the place, the person, tools and givens are asked for
	dirs        []string
	right       float64
	json        bool
}

func newDistinguishCmd(env *environment, runF func(context.Context, *environment, distinguishOptions) error) *cobra.Command {
	var o distinguishOptions
	cmd := &cobra.Command{
		Use:   "distinguish [DIR]...",
		Short: shortDistinguish,
		Long:  longDistinguish,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	f.StringVar(&o.at, "at", "", "where somebody is: phone, field or bench (`PLACE`)")
	f.StringVar(&o.who, "who", "", "whose hands are on the equipment: operator, electrician, technician or engineer (`WHO`)")
	addMany(f, &o.given, "given", "a given and its value, as `id=value`")
	addMany(f, &o.tools, "tool", "a tool that is at hand (`ID`); none for bare hands")
	f.BoolVar(&o.alone, "alone", false, "nobody else is there")
	f.Float64Var(&o.right, "right", review.RightAtLeast, "how often right a test must be to tell two causes apart, as a `SHARE` above 0.5")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.DistinguishSchema)
	return cmd
}

// runDistinguish says how well a rulebase tells causes apart.
func runDistinguish(ctx context.Context, env *environment, o distinguishOptions) error {
	if !(o.right > 0.5 && o.right <= 1) {
		return usageError{fmt.Sprintf(sayRight, o.right)}
	}
	base, err := env.openToLookOver(o.dirs)
	if err != nil {
		return err
	}
	var s rulebase.Situation
	if err := errors.Join(o.add(base, &s)...); err != nil {
		return err
	}
	x, err := review.Distinguish(ctx, engine.Prepare(base), s, o.right)
	if err != nil {
		return err
	}
	if o.json {
		return written(report.DistinctionJSON(env.out, x))
	}
	return written(report.Distinction(env.out, env.width(), x))
}
