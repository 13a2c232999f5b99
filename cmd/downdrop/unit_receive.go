package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
)

type unitReceiveOptions struct {
	deskOptions
	receipt cases.Receipt
	of      []string // cases
	asRead  bool     // the serial was read again from the plate
}

func newUnitReceiveCmd(env *environment) *cobra.Command {
	var o unitReceiveOptions
	cmd := &cobra.Command{
		Use: "receive TYPE SERIAL", Short: shortUnitReceive, Long: longUnitReceive,
		Args: func(cmd *cobra.Command, args []string) error {
			if len(args) == 2 && len(cases.UnitKey(cases.Unit{Type: args[0], Serial: args[1]})) > cases.MaxSubject {
				return usageError{sayLongUnit}
			}
			if len(args) != 2 || strings.TrimSpace(args[0]) == "" || strings.TrimSpace(args[1]) == "" {
				return usageError{otherWords(cmd)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.receipt.Unit.Type, o.receipt.Unit.Serial = strings.TrimSpace(args[0]), strings.TrimSpace(args[1])
			return runUnitReceive(cmd.Context(), env, o)
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.StringVar(&o.receipt.Unit.Revision, "revision", "", "its revision, as its plate says it (`TEXT`)")
	f.StringVar(&o.receipt.From, "from", "", "the sender: an `ID`, never a name")
	f.StringVar(&o.receipt.Complaint, "complaint", "", "what the sender says, in the sender's words (`TEXT`); else that of its case")
	f.StringVar(&o.receipt.Condition, "condition", "", "how it looked: damage, what is missing, plate against paper (`TEXT`)")
	f.BoolVar(&o.receipt.Core, "core", false, "it comes back for an exchange unit that went out")
	addMany(f, &o.of, "case", "it belongs to this `CASE`, whatever serial that one has")
	f.BoolVar(&o.asRead, "as-read", false, "the serial was read again from the plate: it is none of those that look like it")
	return cmd
}

func runUnitReceive(ctx context.Context, env *environment, o unitReceiveOptions) error {
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	if d.writer.By == "" {
		return usageError{sayUnitWho}
	}
	if err := d.mayCome(ctx, o.receipt.Unit); err != nil {
		return err // before anybody is asked anything
	}
	like, err := cases.LookUnitUp(ctx, d.store, o.receipt.Unit, env.clock())
	if err != nil {
		return err
	}
	linked, err := d.linked(ctx, &o, like)
	if err != nil {
		return err
	}
	if err := d.mayCome(ctx, o.receipt.Unit); err != nil {
		return err // the answers may have named another unit
	}
	key := cases.UnitKey(o.receipt.Unit)
	card, err := d.writeUnit(ctx, key, shop.Received(o.receipt, linked)...)
	if err != nil {
		return err
	}
	codes := map[string]string{}
	for _, c := range linked {
		codes[c.ID] = c.Code
	}
	return written(report.UnitText(env.out, env.width(), card, codes, env.clock()))
}

// mayCome refuses a unit that is in the shop already, or was scrapped.
func (d *desk) mayCome(ctx context.Context, u cases.Unit) error {
	card, err := cases.ReadUnit(ctx, d.store, cases.UnitKey(u))
	if errors.Is(err, cases.ErrNotFound) {
		return nil
	}
	if err == nil && !card.MayCome() {
		return inputError{fmt.Sprintf(sayHereAlready, inWords(card))}
	}
	return err
}

// linked are the cases that a unit belongs to: those that were named, those of its very
// serial, and of those that look like it the ones that somebody says are meant.
func (d *desk) linked(ctx context.Context, o *unitReceiveOptions, like cases.Likeness) ([]*cases.Case, error) {
	var out []*cases.Case
	add := func(id string) error {
		c, err := d.store.Case(ctx, id)
		if err == nil && !slices.ContainsFunc(out, func(x *cases.Case) bool { return x.ID == c.ID }) {
			out = append(out, c)
		}
		return err
	}
	for _, name := range o.of {
		err := add(name)
		if errors.Is(err, cases.ErrNotFound) {
			err = d.noSuchCase(ctx, name)
		}
		if err != nil {
			return nil, err
		}
	}
	for _, s := range like.Cases {
		if err := add(s.ID); err != nil {
			return nil, err
		}
	}
	ask := slices.DeleteFunc(like.Ask, func(s cases.Summary) bool {
		return slices.ContainsFunc(out, func(c *cases.Case) bool { return c.ID == s.ID })
	})
	if o.asRead || len(ask)+len(like.Units) == 0 {
		return out, nil
	}
	if !d.env.terminal {
		return nil, askError{sayLikeness(o.receipt.Unit, ask, like.Units)}
	}
	return out, d.ask(ctx, o, ask, like.Units, add)
}

// ask asks about each that the eye takes for the unit.
func (d *desk) ask(ctx context.Context, o *unitReceiveOptions, ask []cases.Summary, units []string, add func(string) error) error {
	answers := entries(ctx, d.env.in)
	for _, key := range units {
		yes, err := d.yes(ctx, answers, fmt.Sprintf(sayAskUnit, spoken([]string{key})[0], o.receipt.Unit.Serial))
		if err != nil {
			return err
		}
		if yes {
			o.receipt.Unit.Type, o.receipt.Unit.Serial = cases.KeyParts(key)
			break
		}
	}
	for _, s := range ask {
		yes, err := d.yes(ctx, answers, fmt.Sprintf(sayAskCase, s.Code, s.Location, s.Type, s.Serial, o.receipt.Unit.Serial))
		if err != nil {
			return err
		}
		if yes {
			if err := add(s.ID); err != nil {
				return err
			}
		}
	}
	return nil
}

// yes asks until somebody says yes or no.
func (d *desk) yes(ctx context.Context, answers <-chan string, question string) (bool, error) {
	for {
		if _, err := fmt.Fprint(d.env.out, question+sayYesOrNo); err != nil {
			return false, written(err)
		}
		select {
		case <-ctx.Done():
			return false, context.Cause(ctx)
		case answer, ok := <-answers:
			switch strings.ToLower(strings.TrimSpace(answer)) {
			case "y", "yes":
				return true, nil
			case "n", "no":
				return false, nil
			}
			if !ok {
				return false, errNoTerminal
			}
		}
	}
}

// sayLikeness lists what would have to be asked, where nobody is there.
func sayLikeness(u cases.Unit, ask []cases.Summary, units []string) string {
	lines := []string{fmt.Sprintf(sayReadAgain, u.Serial)}
	for _, key := range units {
		lines = append(lines, fmt.Sprintf(sayLikeUnit, spoken([]string{key})[0]))
	}
	for _, s := range ask {
		lines = append(lines, fmt.Sprintf(sayLikeCase, s.Code, s.Type, s.Serial))
	}
	return strings.Join(append(lines, sayHowToAnswer), "\n")
}

// An askError is a question that nobody was there to answer.
type askError struct{ says string }

func (e askError) Error() string   { return e.says }
func (e askError) Is(t error) bool { return t == errNoTerminal }
