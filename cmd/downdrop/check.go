package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

type checkOptions struct {
	dirs []string
	json bool
}

func newCheckCmd(env *environment, runF func(context.Context, *environment, checkOptions) error) *cobra.Command {
	var o checkOptions
	cmd := &cobra.Command{
		Use:     "check [DIR]...",
		Short:   shortCheck,
		Long:    longCheck,
		Example: exampleCheck,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
		ValidArgsFunction: func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
			return nil, cobra.ShellCompDirectiveFilterDirs
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.CheckSchema)
	return cmd
}

// runCheck looks a rulebase over. Errors and remarks alike are problems found; a
// folder that is not there is an error of its own.
func runCheck(_ context.Context, env *environment, o checkOptions) error {
	base, err := env.open(o.dirs)
	var problems *rulebase.Problems
	if err != nil && !errors.As(err, &problems) {
		return err
	}
	c := report.NewCheck(base, problems)
	if o.json {
		err = c.JSON(env.out)
	} else {
		err = c.Text(env.out, env.width())
	}
	if err == nil && c.Found() {
		return foundError{}
	}
	return written(err)
}
