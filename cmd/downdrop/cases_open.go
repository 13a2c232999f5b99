package main

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

type caseOpenOptions struct {
	caseOptions
	deskOptions
	opening    cases.Opening
	references []string
	asJSON     bool
}

func newCaseOpenCmd(env *environment) *cobra.Command {
	var o caseOpenOptions
	cmd := &cobra.Command{
		Use: "open [CASE.yaml|-]", Short: shortCaseOpen, Long: longCaseOpen, Args: atMostOneCase,
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(args) > 0 {
				o.file = args[0]
			}
			o.opening = said{cmd: cmd}.opening()
			return runCaseOpen(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	addCaseFlags(cmd, &o.caseOptions)
	addStore(cmd, &o.store, "the store to work with")
	addBy(cmd, &o.by)
	addOpeningFlags(cmd)
	addMany(f, &o.references, "reference", "a number in other books, as `kind=text`: work_order, return, purchase or other")
	f.BoolVar(&o.asJSON, "json", false, "print JSON for programs, schema "+report.CaseSchema)
	return cmd
}

// addOpeningFlags are what a case is about; opening reads them.
func addOpeningFlags(cmd *cobra.Command) {
	f := cmd.Flags()
	f.String("location", "", "where the drop stands (`TEXT`)")
	f.Int("drop", 0, "its address on the line (`N`)")
	f.String("type", "", "the unit's type, as its plate says it (`TEXT`)")
	f.String("serial", "", "the unit's serial, as its plate says it (`TEXT`)")
	f.String("revision", "", "the unit's revision (`TEXT`)")
	f.String("complaint", "", "what the caller says, in the caller's words (`TEXT`)")
	f.String("call-back", "", "whom to call back: an `ID`, never a name or a number (see store person)")
}

func (s said) opening() cases.Opening {
	return cases.Opening{
		Location: s.text("location"), Drop: s.number("drop"), Complaint: s.text("complaint"), CallBack: s.text("call-back"),
		Unit: cases.Unit{Type: s.text("type"), Serial: s.text("serial"), Revision: s.text("revision")},
	}
}

func runCaseOpen(ctx context.Context, env *environment, o caseOpenOptions) error {
	base, s, err := o.caseOptions.load(ctx, env)
	if err != nil {
		return err
	}
	references, err := readReferences(o.references)
	if err != nil {
		return err
	}
	o.deskOptions.rulebase = o.caseOptions.rulebase
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	d.base, d.writer.Place = base, s.At
	if len(o.sheetText) > 0 {
		if s.SheetFile, err = d.store.PutFile(ctx, o.sheetText); err != nil {
			return err
		}
	}
	if o.opening.Drop == 0 {
		o.opening.Drop = s.Drop
	}
	c, err := d.open(ctx, o.opening, s, references)
	if err != nil {
		return err
	}
	return d.opened(ctx, c, o.asJSON)
}

// open begins a case with a free short code.
func (d *desk) open(ctx context.Context, opening cases.Opening, s rulebase.Situation, references []cases.Reference) (*cases.Case, error) {
	return d.openAs(ctx, newID(), opening, s, references)
}

// openAs begins a case of this id.
func (d *desk) openAs(ctx context.Context, id string, opening cases.Opening, s rulebase.Situation, references []cases.Reference) (*cases.Case, error) {
	for range 20 {
		opening.Code = cases.NewCode(rand.Uint64())
		_, err := d.store.Case(ctx, opening.Code)
		if err == nil || errors.As(err, new(cases.TwoCasesError)) {
			continue // somebody has it already
		}
		if !errors.Is(err, cases.ErrNotFound) {
			return nil, err
		}
		drafts := append([]cases.Draft{cases.Say(cases.KindOpened, opening)}, (&cases.Case{}).Changes(kept.AsOfNow(s))...)
		for _, r := range references {
			drafts = append(drafts, cases.Say(cases.KindReference, r))
		}
		return d.write(ctx, id, drafts...)
	}
	return nil, fmt.Errorf("a short code: %w", cases.ErrConflict)
}

// opened tells the code, and what is remembered of unit and location.
func (d *desk) opened(ctx context.Context, c *cases.Case, asJSON bool) error {
	earlier, err := cases.LookBack(ctx, d.store, c)
	if err != nil {
		return err
	}
	if asJSON {
		return written(report.CaseJSON(d.env.out, d.base, c, &earlier))
	}
	return written(report.CaseOpened(d.env.out, d.env.width(), d.base, c, &earlier))
}

func readReferences(texts []string) ([]cases.Reference, error) {
	var out []cases.Reference
	for _, text := range texts {
		kind, value, ok := strings.Cut(text, "=")
		if !ok || value == "" || !slices.Contains(cases.ReferenceKinds, kind) {
			return nil, usageError{fmt.Sprintf(sayReference, text, strings.Join(cases.ReferenceKinds, ", "))}
		}
		out = append(out, cases.Reference{Kind: kind, Text: value})
	}
	return out, nil
}

// keepRulebase keeps the files of the rulebase in use, whole and once, so that the
// case can be replayed by the very same one.
func (d *desk) keepRulebase(ctx context.Context) error {
	_, err := d.store.File(ctx, d.base.Digest)
	if !errors.Is(err, cases.ErrNotFound) {
		return err
	}
	text, err := d.base.Bundle()
	if err != nil {
		return err
	}
	_, err = d.store.PutFile(ctx, text)
	return err
}
