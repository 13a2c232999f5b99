package main

import (
	"context"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
)

type layersOptions struct {
	dirs []string
	all  bool
	json bool
}

func newLayersCmd(env *environment, runF func(context.Context, *environment, layersOptions) error) *cobra.Command {
	var o layersOptions
	cmd := &cobra.Command{
		Use:   "layers [DIR]...",
		Short: shortLayers,
		Long:  longLayers,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&o.all, "all", false, "list the entries of the lowest rulebase, too")
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.LayersSchema)
	return cmd
}

// runLayers shows what lies over what.
func runLayers(_ context.Context, env *environment, o layersOptions) error {
	base, err := env.openToLookOver(o.dirs)
	if err != nil {
		return err
	}
	if o.json {
		return written(report.LayersJSON(env.out, base))
	}
	return written(report.LayersText(env.out, base, env.width(), o.all))
}
