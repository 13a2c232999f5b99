package main

import (
	"context"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
)

type rulebaseTestOptions struct {
	dirs      []string
	only      string
	junit     string
	json      bool
	all       bool
	uncovered bool
}

func newRulebaseTestCmd(env *environment, runF func(context.Context, *environment, rulebaseTestOptions) error) *cobra.Command {
	var o rulebaseTestOptions
	cmd := &cobra.Command{
		Use:   "test [DIR]...",
		Short: shortRulebaseTest,
		Long:  longRulebaseTest,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
	}
	flags := cmd.Flags()
	flags.StringVar(&o.only, "only", "", "run only the cases whose name holds this `TEXT`")
	flags.StringVar(&o.junit, "junit", "", "also write JUnit XML to this `FILE`, for build servers; - for the output")
	flags.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.RuleTestSchema)
	flags.BoolVar(&o.all, "all", false, "run the rule tests of the rulebase laid below, too")
	flags.BoolVar(&o.uncovered, "uncovered", false, "list every row that no case covers both ways")
	return cmd
}

// runRulebaseTest runs the rule tests of a rulebase. Cases that do not come out
// as expected are problems found; what no case covers is only told.
func runRulebaseTest(ctx context.Context, env *environment, o rulebaseTestOptions) error {
	if o.json && o.junit == "-" {
		return usageError{sayOneOutput}
	}
	base, err := env.openToLookOver(o.dirs)
	if err != nil {
		return err
	}
	layer := 0
	if base.OnShipped() && !o.all {
		layer = 1
	}
	r, err := testRules(ctx, base, layer, o.only)
	if err != nil {
		return err
	}
	if err := printRuleTests(env, r, o); err != nil {
		return err
	}
	if r.Differed() > 0 {
		return foundError{}
	}
	return nil
}

func testRules(ctx context.Context, base *rulebase.Base, layer int, only string) (*report.RuleTests, error) {
	cases, err := base.RuleTestsFrom(layer)
	if err != nil {
		return nil, err
	}
	if only != "" {
		cases = slices.DeleteFunc(cases, func(s rulebase.Situation) bool { return !strings.Contains(s.Case, only) })
		if len(cases) == 0 {
			return nil, usageError{fmt.Sprintf(sayNoSuchCase, only)}
		}
	}
	r := &report.RuleTests{Base: base}
	if r.Results, err = ruletest.Run(ctx, engine.Prepare(base), cases); err != nil {
		return nil, err
	}
	if only == "" {
		r.Coverage = ruletest.Cover(base, r.Results, layer)
	}
	return r, nil
}

func printRuleTests(env *environment, r *report.RuleTests, o rulebaseTestOptions) error {
	if o.junit != "" {
		if err := writeResult(env, o.junit, r.JUnit); err != nil || o.junit == "-" {
			return err
		}
	}
	if o.json {
		return written(r.JSON(env.out))
	}
	return written(r.Text(env.out, env.width(), o.uncovered))
}
