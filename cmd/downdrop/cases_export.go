package main

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"os"

	"github.com/spf13/cobra"

	"downdrop/cases"
)

func newCaseExportCmd(env *environment) *cobra.Command {
	var o deskOptions
	var names, all bool
	cmd := &cobra.Command{
		Use: "export FILE|- [CASE...]", Short: shortCaseExport, Long: longCaseExport,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) == 0 || all == (len(args) > 1) {
				return usageError{sayExportWhat}
			}
			return o.export(cmd.Context(), env, args[0], args[1:], names)
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().BoolVar(&all, "all", false, "every case, and all that is known of units and locations")
	cmd.Flags().BoolVar(&names, "names", false, "the names of people too, which else stay here")
	return cmd
}

func (o *deskOptions) export(ctx context.Context, env *environment, file string, codes []string, names bool) error {
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	x := cases.ExportOptions{Names: names}
	for _, code := range codes {
		c, err := d.find(ctx, code)
		if err != nil {
			return err
		}
		x.Cases = append(x.Cases, c.ID)
	}
	return d.export(ctx, file, x)
}

// export writes cases into a file that is not there yet, or to the output.
func (d *desk) export(ctx context.Context, file string, x cases.ExportOptions) error {
	if file == "-" {
		_, err := cases.Export(ctx, d.store, d.env.out, x)
		return written(err)
	}
	m, err := writeCopy(file, func(w io.Writer) (cases.Manifest, error) { return cases.Export(ctx, d.store, w, x) })
	if err == nil {
		_, err = fmt.Fprintf(d.env.out, sayExported, file, m.Events, m.Files)
		err = written(err)
	}
	return err
}

func newCaseImportCmd(env *environment) *cobra.Command {
	var o deskOptions
	var names bool
	cmd := &cobra.Command{
		Use: "import FILE|-", Short: shortCaseImport, Long: longCaseImport,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{sayImportWhat}
			}
			return o.take(cmd.Context(), env, args[0], names)
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().BoolVar(&names, "names", false, "the names of people too, which else are left out")
	return cmd
}

func (o *deskOptions) take(ctx context.Context, env *environment, file string, names bool) error {
	in := env.in
	if file != "-" {
		f, err := os.Open(file)
		if err != nil {
			return err
		}
		defer f.Close()
		in = f
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	done, err := cases.ImportFrom(ctx, d.store, in, names)
	if err != nil {
		return inFile(file, err)
	}
	return d.tookIn(&done)
}

func (d *desk) tookIn(done *cases.ImportReport) error {
	_, err := fmt.Fprintf(d.env.out, sayImported, done.Added, done.Known, done.Files)
	if err == nil && done.Gaps > 0 {
		_, err = fmt.Fprintf(d.env.out, sayGaps, done.Gaps)
	}
	return written(err)
}

// isExport says whether a text is an export, and not a hand-over as text.
func isExport(text []byte) bool { return bytes.HasPrefix(text, []byte(`{"manifest"`)) }

// arriveFile takes in the file of a hand-over, with the cases in it.
func (d *desk) arriveFile(ctx context.Context, text []byte) (arrival, error) {
	all, err := cases.ExportedCases(bytes.NewReader(text))
	if err != nil {
		return arrival{}, err
	}
	before := make([]*cases.Case, len(all))
	for i, c := range all {
		if before[i], err = d.before(ctx, c.ID); err != nil {
			return arrival{}, err
		}
	}
	done, err := cases.ImportFrom(ctx, d.store, bytes.NewReader(text), false)
	if err != nil {
		return arrival{}, err
	}
	for i, c := range all {
		if all[i], err = d.joined(ctx, c.ID, before[i]); err != nil {
			return arrival{}, err
		}
	}
	return arrival{cases: all, done: done.Imported, file: &done}, nil
}
