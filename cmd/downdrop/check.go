package main

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/review"
	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

type checkOptions struct {
	args     []string // folders, or with explain kinds
	json     bool
	sarif    bool
	all      bool
	accepted bool
	explain  bool
	stranger bool
}

func newCheckCmd(env *environment, runF func(context.Context, *environment, checkOptions) error) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:   "check [DIR]...",
		Short: shortCheck,
		Long:  longCheck,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.args = args
			if o.stranger && len(args) == 0 {
				return usageError{sayWhichStranger}
			}
			if o.json && o.sarif {
				return usageError{sayOneForm}
			}
			return runF(cmd.Context(), env, o)
		},
	}
	flags := cmd.Flags()
	flags.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.CheckSchema)
	flags.BoolVar(&o.sarif, "sarif", false, "print SARIF 2.1.0, for code viewers and build servers")
	flags.BoolVar(&o.all, "all", false, "tell what is found in the rulebase laid below, too")
	flags.BoolVar(&o.accepted, "accepted", false, "tell what comments accept, too, with their reasons")
	flags.BoolVar(&o.stranger, "untrusted", false, "the rulebase comes from elsewhere: bound its size and the work that it makes,\nand read nothing outside of its folder")
	flags.BoolVar(&o.explain, "explain", false, "say what kinds of findings mean and how they are cured;\nwithout a kind, list them all")
	return cmd
}

// runCheck looks a rulebase over. Errors and remarks alike are problems found; a
// folder that is not there is an error of its own.
func runCheck(_ context.Context, env *environment, o checkOptions) error {
	if o.explain {
		return explainKinds(env, o.args)
	}
	c, err := lookOver(env, o)
	if err != nil {
		return err
	}
	switch {
	case o.json:
		err = c.JSON(env.out)
	case o.sarif:
		err = c.SARIF(env.out)
	default:
		err = c.Text(env.out, env.width(), o.accepted)
	}
	if err == nil && c.Found() {
		return foundError{}
	}
	return written(err)
}

// lookOver loads a rulebase with its rule tests and reviews it. What keeps
// either from being read is in the result.
func lookOver(env *environment, o checkOptions) (*report.Check, error) {
	open, most := env.openToLookOver, review.NoLimit
	if o.stranger {
		open, most = func(dirs []string) (*rulebase.Base, error) { return env.stranger(dirs...) }, review.StrangersWork
	}
	base, err := open(o.args)
	var problems *rulebase.Problems
	if errors.As(err, &problems) {
		return report.NewCheck(nil, problems, review.Result{}, 0), nil
	}
	if err != nil {
		return nil, err
	}
	tests, err := base.RuleTests()
	if err != nil && !errors.As(err, &problems) {
		return nil, err
	}
	for _, read := range []func() error{
		func() error { _, err := base.Procedures(); return err },
		func() error { _, err := base.Profiles(); return err },
	} {
		var more *rulebase.Problems
		if err := read(); errors.As(err, &more) {
			if problems != nil {
				more.List = append(problems.List, more.List...)
			}
			problems = more
		} else if err != nil {
			return nil, err
		}
	}
	first := 0
	if base.OnShipped() && !o.all {
		first = 1
	}
	return report.NewCheck(base, problems, review.Within(base, tests, most), first), nil
}

// kindNames are the kinds of findings and of errors that can be explained.
func kindNames() []string {
	return append(review.Names(), slices.Collect(maps.Keys(rulebase.ErrorKinds))...)
}

// explainKinds says what kinds of findings mean. One that does not exist is
// answered with those that do.
func explainKinds(env *environment, names []string) error {
	for _, name := range names {
		k, known := review.Explain(name)
		if says := rulebase.ErrorKinds[name]; !known && says != "" {
			if err := report.ExplainError(env.out, env.width(), name, says); err != nil {
				return written(err)
			}
			continue
		}
		if !known {
			says := fmt.Sprintf(sayNoKind, name)
			if near := source.Nearest(name, kindNames()); near != "" {
				says += fmt.Sprintf(sayMeant, near)
			}
			if err := report.Kinds(env.out, env.width()); err != nil {
				return written(err)
			}
			return usageError{says}
		}
		if err := report.Explain(env.out, env.width(), k); err != nil {
			return written(err)
		}
	}
	if len(names) > 0 {
		return nil
	}
	return written(report.Kinds(env.out, env.width()))
}
