package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/google/uuid"
	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// deskOptions say which store, and who writes.
type deskOptions struct {
	store    string
	by       string
	rulebase []string
}

func newCaseCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{Use: "case", Short: shortCase, Long: longCase, Args: knownCommand}
	cmd.AddCommand(
		newCaseOpenCmd(env), newCaseListCmd(env), newCaseFindCmd(env), newCaseShowCmd(env), newCaseAlikeCmd(env), newCaseTalkCmd(env),
		newCaseJoinCmd(env), newCaseHandOverCmd(env), newCaseTakeAlongCmd(env), newCaseReceiveCmd(env), newCaseExportCmd(env), newCaseImportCmd(env))
	cmd.AddCommand(newSayingCmds(env)...)
	return cmd
}

func addStoreFlags(cmd *cobra.Command, o *deskOptions) {
	addStore(cmd, &o.store, "the store to work with")
	addBy(cmd, &o.by)
	addRulebase(cmd, &o.rulebase)
}

// A desk is a store with a rulebase and a person before it.
type desk struct {
	env    *environment
	base   *rulebase.Base
	store  cases.Store
	writer cases.Writer
}

// openDesk opens the rulebase and the store. Whoever calls closes the store.
func (o *deskOptions) openDesk(ctx context.Context, env *environment) (*desk, error) {
	base, err := env.open(o.rulebase)
	if err != nil {
		return nil, err
	}
	store, err := env.store(ctx, env, o.store)
	if err != nil {
		return nil, err
	}
	by := o.by
	if by == "" {
		by = env.variable("DOWNDROP_BY")
	}
	return &desk{env: env, base: base, store: store, writer: cases.Writer{
		Store: store, Now: env.clock, NewID: newID, By: by, Program: ourVersion(), Rulebase: base.Digest,
	}}, nil
}

// newID makes an id that nobody else makes, and that sorts by when it was made.
func newID() string {
	id, err := uuid.NewV7()
	if err != nil {
		panic(err) // the machine has no source of randomness
	}
	return id.String()
}

// onCase opens the desk, finds a case and does something with it.
func (o *deskOptions) onCase(ctx context.Context, env *environment, name string, do func(*desk, *cases.Case) error) error {
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	c, err := d.find(ctx, name)
	if err != nil {
		return err
	}
	return do(d, c)
}

// find is the case of a code or an id.
func (d *desk) find(ctx context.Context, name string) (*cases.Case, error) {
	c, err := d.store.Case(ctx, name)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, d.noSuchCase(ctx, name)
	}
	return c, err
}

// noSuchCase says what was probably meant.
func (d *desk) noSuchCase(ctx context.Context, name string) error {
	says := fmt.Sprintf(sayNoCase, name)
	if _, fits := cases.ReadCode(name); !fits {
		says += sayCodeMisread
	}
	var near []string
	open, err := d.store.Find(ctx, cases.Query{Unsettled: true, Limit: 5})
	if err != nil {
		return err
	}
	for i := range open {
		near = append(near, open[i].Code)
	}
	if len(near) > 0 {
		says += fmt.Sprintf(sayOpenCases, strings.Join(near, ", "))
	}
	return notFoundError{says}
}

// write appends drafts about a case and gives the case as it then stands. The
// rulebase in use is kept first, whole, so that the case can be replayed.
func (d *desk) write(ctx context.Context, id string, drafts ...cases.Draft) (*cases.Case, error) {
	if err := d.keepRulebase(ctx); err != nil {
		return nil, err
	}
	if _, err := d.writer.Write(ctx, cases.Subject{Kind: cases.AboutCase, ID: id}, drafts...); err != nil {
		return nil, err
	}
	return d.store.Case(ctx, id)
}

// diagnose answers a case as it stands.
func (d *desk) diagnose(ctx context.Context, c *cases.Case) (*engine.Diagnosis, error) {
	return engine.Diagnose(ctx, engine.Prepare(d.base), c.Situation, engine.Options{Weights: true})
}

// oneCase is the Args of a command that takes a case and n words more; n below 0: any number, but at least one.
func oneCase(more int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		switch {
		case len(args) == 0:
			return usageError{fmt.Sprintf(sayCaseWanted, cmd.CommandPath())}
		case more >= 0 && len(args) > 1+more, more >= 0 && len(args) < 1+more, more < 0 && len(args) < 2:
			return usageError{otherWords(cmd)}
		}
		return nil
	}
}

// otherWords says how a command is called that was given too few words or too many.
func otherWords(cmd *cobra.Command) string {
	return fmt.Sprintf(sayCaseWords, cmd.CommandPath(), cmd.Parent().CommandPath()+" "+cmd.Use)
}

// A notFoundError says that something that was named is not there.
type notFoundError struct{ says string }

func (e notFoundError) Error() string   { return e.says }
func (e notFoundError) Is(t error) bool { return t == cases.ErrNotFound }

// unexplained are the abnormal findings that a set of causes does not explain, by
// symptom.
func (d *desk) unexplained(ctx context.Context, c *cases.Case, causes []string) ([]string, error) {
	dg, err := engine.Diagnose(ctx, engine.Prepare(d.base), c.Situation, engine.Options{BeliefOnly: true})
	if err != nil {
		return nil, err
	}
	return dg.Unexplained(causes), nil
}
