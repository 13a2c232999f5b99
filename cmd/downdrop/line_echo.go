package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
)

type lineEchoOptions struct {
	file, svg string
	json      bool
}

func newLineEchoCmd(env *environment, runF func(context.Context, *environment, lineEchoOptions) error) *cobra.Command {
	var o lineEchoOptions
	cmd := &cobra.Command{
		Use:   "echo SHEET.yaml|-",
		Short: shortLineEcho,
		Long:  longLineEcho,
		Args:  oneSheet,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.EchoSchema)
	cmd.Flags().StringVar(&o.svg, "svg", "", "also draw it into this new `FILE`")
	return cmd
}

// echoTransits is how many runs along the trunk are told: after them little is left.
const echoTransits = 8

// runLineEcho says what a step sent into the trunk does at both ends.
func runLineEcho(ctx context.Context, env *environment, o lineEchoOptions) error {
	s, err := env.readSheet(ctx, o.file)
	if err != nil {
		return err
	}
	e, ok := sheet.EchoOf(s, echoTransits)
	if !ok || s.TrunkM() <= 0 {
		return inputError{fmt.Sprintf(sayNoEcho, o.file)}
	}
	if o.svg != "" {
		if err := newFile(o.svg, func(w io.Writer) error { return report.EchoSVG(w, s, &e) }); err != nil {
			return err
		}
	}
	if o.json {
		return written(report.EchoJSON(env.out, s, &e))
	}
	return written(report.EchoText(env.out, s, &e, env.width()))
}
