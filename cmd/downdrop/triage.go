package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/triage"
	"downdrop/rulebase"
)

type triageOptions struct {
	rulebase  []string
	file      string
	columns   []string
	rejects   string
	csv, json bool
	lookUp    bool
	store     string
}

func newTriageCmd(env *environment, runF func(context.Context, *environment, triageOptions) error) *cobra.Command {
	var o triageOptions
	cmd := &cobra.Command{
		Use:   "triage RETURNS.csv|-",
		Short: shortTriage,
		Long:  longTriage,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{sayOneList}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.file = args[0]
			if o.csv && o.json {
				return usageError{sayCSVOrJSON}
			}
			return runF(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	addRulebase(cmd, &o.rulebase)
	addMany(f, &o.columns, "column", "what a column holds, as `HEADING=ROLE`: serial, complaint, place, unused, or the id of a symptom or a given")
	f.StringVar(&o.rejects, "rejects", "", "write rows that cannot be read into this new `FILE.csv`, with line and reason")
	f.BoolVar(&o.csv, "csv", false, "print the worklist as a table, by RFC 4180, safe against formulas")
	f.BoolVar(&o.lookUp, "look-up", false, "look each serial up in the store: units and cases of it before")
	addStore(cmd, &o.store, "the store of --look-up")
	f.BoolVar(&o.json, "json", false, "print JSON lines for programs, schema "+report.TriageSchema)
	return cmd
}

// mostRejectsTold is how many rejects are told where no file is wanted.
const mostRejectsTold = 10

// runTriage goes over a list of returns.
func runTriage(ctx context.Context, env *environment, o triageOptions) error {
	base, err := env.open(o.rulebase)
	if err != nil {
		return err
	}
	var options triage.Options
	if options.Columns, err = o.roles(base); err != nil {
		return err
	}
	if o.lookUp {
		store, err := env.store(ctx, env, o.store)
		if err != nil {
			return err
		}
		defer store.Close()
		look, err := newLookUp(ctx, base, store)
		if err != nil {
			return err
		}
		options.Before = look.before
	}
	open, closing, err := o.opener(ctx, env)
	if err != nil {
		return err
	}
	defer closing()
	rejected, err := o.rejecter(env)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(env.out)
	list := o.worklist(out, env.width())
	watched := watch(env, &options, rejected.begin)
	sum, err := triage.NewDesk(base, options.Remember).Run(ctx, open, options, func(r *triage.Row) error { return written(list.Row(r)) }, rejected.take)
	watched()
	err = errors.Join(err, rejected.end(err != nil))
	var input *triage.InputError
	if errors.As(err, &input) {
		return inputError{sayList(o.file, input.Says)}
	}
	if err != nil {
		return err
	}
	for _, says := range report.TriageNotes(&sum) {
		fmt.Fprintln(env.err, says)
	}
	if err := written(errors.Join(list.End(&sum), out.Flush())); err != nil {
		return err
	}
	if sum.Rejected+sum.Calls[triage.AskBack] > 0 {
		return foundError{}
	}
	return nil
}

// roles are what columns hold, by their headings, or all that is wrong with --column.
func (o *triageOptions) roles(base *rulebase.Base) (map[string]string, error) {
	roles := map[string]string{}
	var problems []error
	for _, text := range o.columns {
		heading, role, err := triage.ReadRole(base, text)
		if err != nil {
			problems = append(problems, usageError{fmt.Sprintf(sayFlagValue, "column", text, err)})
			continue
		}
		if before, ok := roles[heading]; ok && before != role {
			problems = append(problems, usageError{fmt.Sprintf(sayColumnTwice, heading, before, role)})
		}
		roles[heading] = role
	}
	return roles, errors.Join(problems...)
}

// worklist prints in the form that was asked for.
func (o *triageOptions) worklist(out io.Writer, width int) report.Worklist {
	switch {
	case o.csv:
		return report.TriageCSV(out)
	case o.json:
		return report.TriageJSON(out)
	}
	return report.TriageText(out, width)
}

func sayList(file string, says []string) string {
	var lines []string
	for _, x := range says {
		lines = append(lines, inputNamed(file)+": "+x)
	}
	return strings.Join(lines, "\n")
}

// opener opens the list for each pass. The input, and a file that is a pipe, can be read once only, and are put
// into a temporary file.
func (o *triageOptions) opener(ctx context.Context, env *environment) (open func() (io.ReadCloser, error), closing func(), err error) {
	if o.file != "-" {
		info, err := os.Stat(o.file)
		switch {
		case err == nil && info.IsDir():
			return nil, nil, inputError{fmt.Sprintf(sayListFolder, o.file)}
		case err != nil || info.Mode().IsRegular():
			return func() (io.ReadCloser, error) { return os.Open(o.file) }, func() {}, nil
		}
	}
	f, err := os.CreateTemp("", "downdrop-list-*")
	if err != nil {
		return nil, nil, outputError{err}
	}
	closing = func() { _ = os.Remove(f.Name()) }
	copied := make(chan error, 1)
	go func() { copied <- errors.Join(o.copyTo(f, env.in), written(f.Close())) }()
	select {
	case <-ctx.Done(): // an interruption does not wait for an input that never ends
		err = context.Cause(ctx)
	case err = <-copied:
	}
	if err != nil {
		closing()
		return nil, nil, err
	}
	return func() (io.ReadCloser, error) { return os.Open(f.Name()) }, closing, nil
}

// copyTo copies what can be read once only.
func (o *triageOptions) copyTo(f io.Writer, in io.Reader) error {
	if o.file != "-" {
		pipe, err := os.Open(o.file)
		if err != nil {
			return err
		}
		defer pipe.Close()
		in = pipe
	}
	_, err := io.Copy(f, in)
	return written(err)
}

// rejects are where rejected rows go.
type rejects struct {
	begin func() error // once the list is known to be one
	take  func(triage.Reject) error
	end   func(failed bool) error // behind the last row, or where the run has failed
}

// rejecter takes rejected rows: into a new file, or the first few to the error output.
func (o *triageOptions) rejecter(env *environment) (*rejects, error) {
	if o.rejects == "" {
		n := 0
		var first strings.Builder // told in the end: on a terminal the progress stands there
		return &rejects{
			begin: func() error { return nil },
			take: func(r triage.Reject) error {
				if n++; n <= mostRejectsTold {
					fmt.Fprintf(&first, sayReject, r.Line, r.Why)
				}
				return nil
			},
			end: func(bool) error {
				fmt.Fprint(env.err, first.String())
				if n > mostRejectsTold {
					fmt.Fprintf(env.err, sayMoreRejects, n-mostRejectsTold)
				}
				return nil
			},
		}, nil
	}
	there := usageError{fmt.Sprintf(sayNotOverwritten, o.rejects)}
	if _, err := os.Lstat(o.rejects); err == nil { // before a long list is gone over
		return nil, there
	}
	var f *os.File
	var w *report.Rejects
	return &rejects{
		begin: func() (err error) {
			f, err = createNew(o.rejects)
			if errors.Is(err, fs.ErrExist) {
				return there
			}
			if err != nil {
				return cannotWrite(o.rejects, err)
			}
			w = report.NewRejects(f)
			return nil
		},
		take: func(r triage.Reject) error { return written(w.Row(r)) },
		end: func(failed bool) error {
			if w == nil {
				return nil
			}
			err := errors.Join(w.End(), f.Close())
			if failed || err != nil { // half a file stands in the way of the next run
				err = errors.Join(err, os.Remove(o.rejects))
			}
			return written(err)
		},
	}, nil
}

// watch shows how far it has got, to somebody who sits before it, until it is told
// that the list is done. begin is what else is to be done before the second pass.
func watch(env *environment, o *triage.Options, begin func() error) (end func()) {
	var rows, done int
	o.Begin = func(n int) error {
		rows = n
		return begin()
	}
	if !env.watched {
		return func() {}
	}
	const line = "\r\x1b[K" // written anew
	var shown time.Time
	o.Progress = func(int) {
		if done++; time.Since(shown) > 200*time.Millisecond {
			shown = time.Now()
			fmt.Fprintf(env.err, line+sayGoingOver, done, rows)
		}
	}
	return func() { fmt.Fprint(env.err, line) }
}
