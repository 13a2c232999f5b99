package main

import (
	"context"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/takealong"
	"downdrop/rulebase"
)

const (
	shortCaseTakeAlong = "Write a case into one file that holds the whole conversation"
	longCaseTakeAlong  = `Write a case into one file (HTML) that holds the whole conversation: a phone opens it from
its own storage, without a network, and asks, warns and advises as here, by the same
rulebase. What is answered there comes back as a saved file or as text:
"case receive" takes both in. Meanwhile the case may go on here: all of both is kept, and
nothing that was answered is asked again.

The case then counts as handed over to that place (--to), and whoever goes on there
confirms anew what has to be confirmed. Pictures and files stay here.`

	sayTakeOut     = "Say which file it goes into: --out FILE.html."
	sayTakenClosed = "Case %s is closed. To go on with it, open it again: downdrop case reopen %s --why \"...\"."
	sayTakenAlong  = "Written as %s: open it in a browser, with or without a network.\nIt comes back with: downdrop case receive FILE.\n"
)

type takeAlongOptions struct {
	deskOptions
	to, out string
}

func newCaseTakeAlongCmd(env *environment) *cobra.Command {
	var o takeAlongOptions
	cmd := &cobra.Command{
		Use: "take-along CASE", Short: shortCaseTakeAlong, Long: longCaseTakeAlong, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.out == "" || o.out == "-" {
				return usageError{sayTakeOut}
			}
			if err := oneOf(o.to, placeWords); err != nil {
				return usageError{fmt.Sprintf(sayFlagValue, "to", o.to, err)}
			}
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error { return d.takeAlong(ctx, c, o) })
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	cmd.Flags().StringVar(&o.to, "to", string(rulebase.Field), "the place it goes to: field, phone or bench (`PLACE`)")
	cmd.Flags().StringVar(&o.out, "out", "", "the `FILE` to write, which is not there yet")
	return cmd
}

// takeAlong notes where the case goes, and writes the file of it as it then stands.
func (d *desk) takeAlong(ctx context.Context, c *cases.Case, o takeAlongOptions) error {
	if c.State == cases.StateClosed {
		return inputError{fmt.Sprintf(sayTakenClosed, c.Code, c.Code)}
	}
	drafts := c.Leaving(rulebase.Place(o.to))
	_, err := writeCopy(o.out, func(w io.Writer) (cases.Manifest, error) { // nothing is noted where there is no room for the file
		var err error
		if c, err = d.write(ctx, c.ID, drafts...); err != nil {
			return cases.Manifest{}, err
		}
		return cases.Manifest{}, d.writeAlong(ctx, w, c)
	})
	if err != nil {
		return err
	}
	if _, err := fmt.Fprintf(d.env.out, sayTakenAlong, o.out); err != nil {
		return written(err)
	}
	return written(report.TravelApart(d.env.out, d.env.width(), c, false))
}

// writeAlong writes the file of a case as it stands.
func (d *desk) writeAlong(ctx context.Context, w io.Writer, c *cases.Case) error {
	sheet, err := d.sheetText(ctx, c)
	if err != nil {
		return err
	}
	return takealong.Write(w, takealong.Content{Case: c, Sheet: sheet, Base: d.base, Program: ourVersion(), By: d.writer.By})
}
