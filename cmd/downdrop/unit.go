package main

import (
	"context"
	"fmt"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

func newUnitCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{Use: "unit", Short: shortUnit, Long: longUnit + unitStates(), Args: knownCommand}
	cmd.AddCommand(newUnitReceiveCmd(env), newUnitListCmd(env), newUnitShowCmd(env), newUnitStatementCmd(env), newUnitMoveCmd(env), newUnitRepairCmd(env),
		newUnitOfferCmd(env), newUnitAnswerCmd(env), newUnitNoteCmd(env), newUnitTakeBackCmd(env), newUnitReturnNoteCmd(env), newUnitMonthCmd(env))
	return cmd
}

// unitStates lists the states with what may follow, from the one table of them.
func unitStates() string {
	var b strings.Builder
	for _, s := range cases.ShopStates {
		next := "-"
		if may := s.MayFollow(); len(may) > 0 {
			next = strings.Join(rulebase.Words(may), " ")
		}
		fmt.Fprintf(&b, "\n  %-20s", s)
		width := 22
		for word := range strings.FieldsSeq(next) {
			if width+1+len(word) > 78 {
				fmt.Fprintf(&b, "\n  %-20s", "")
				width = 22
			}
			b.WriteString(" " + word)
			width += 1 + len(word)
		}
	}
	return b.String()
}

// unit finds the unit that a name means. What only looks like it is asked about, never
// taken for it.
func (d *desk) unit(ctx context.Context, name string) (*cases.Card, error) {
	same, near, err := cases.FindUnits(ctx, d.store, name)
	switch {
	case err != nil:
		return nil, err
	case len(same) == 1:
		return cases.ReadUnit(ctx, d.store, same[0])
	case len(same) > 1:
		return nil, usageError{fmt.Sprintf(sayManyUnits, name, strings.Join(spoken(same), ", "))}
	}
	says := fmt.Sprintf(sayNoSuchUnit, name)
	if len(near) > 0 {
		says += fmt.Sprintf(sayUnitsLike, strings.Join(spoken(near), ", "))
	}
	return nil, notFoundError{says}
}

// spoken are units as they are typed: TYPE/SERIAL.
func spoken(keys []string) []string {
	var out []string
	for _, key := range keys {
		kind, serial := cases.KeyParts(key)
		out = append(out, kind+"/"+serial)
	}
	return out
}

// onUnit opens the desk, finds a unit and does something with it.
func (o *deskOptions) onUnit(ctx context.Context, env *environment, name string, do func(*desk, *cases.Card) error) error {
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	c, err := d.unit(ctx, name)
	if err != nil {
		return err
	}
	return do(d, c)
}

// writeUnit appends drafts about a unit and gives it as it then stands. Nothing becomes of
// a unit without somebody who did it.
func (d *desk) writeUnit(ctx context.Context, key string, drafts ...cases.Draft) (*cases.Card, error) {
	if d.writer.By == "" {
		return nil, usageError{sayUnitWho}
	}
	d.writer.Place = rulebase.Bench
	if err := d.keepRulebase(ctx); err != nil {
		return nil, err
	}
	if _, err := d.writer.Write(ctx, cases.Subject{Kind: cases.AboutUnit, ID: key}, drafts...); err != nil {
		return nil, err
	}
	return cases.ReadUnit(ctx, d.store, key)
}

// unitArgs is the Args of a command that takes a unit and n words more; n below 0: any
// number, but at least one.
func unitArgs(more int) cobra.PositionalArgs {
	return func(cmd *cobra.Command, args []string) error {
		if len(args) == 0 || more >= 0 && len(args) != 1+more || more < 0 && len(args) < 2 {
			return usageError{otherWords(cmd)}
		}
		return nil
	}
}

// A unitSaying is a command that adds to a unit.
type unitSaying struct {
	use, short, long string
	more             int
	flags            func(*cobra.Command)
	draft            func(ctx context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error)
}

func newUnitSayingCmd(env *environment, s unitSaying) *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use: s.use, Short: s.short, Long: s.long, Args: unitArgs(s.more),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onUnit(ctx, env, args[0], func(d *desk, c *cases.Card) error {
				draft, err := s.draft(ctx, d, c, args[1:])
				if err != nil {
					return err
				}
				if c, err = d.writeUnit(ctx, c.ID, draft); err != nil {
					return err
				}
				return written(report.UnitLine(env.out, env.width(), c, env.clock()))
			})
		},
	}
	addStoreFlags(cmd, &o)
	if s.flags != nil {
		s.flags(cmd)
	}
	return cmd
}

func newUnitMoveCmd(env *environment) *cobra.Command {
	var m cases.Move
	var instead string
	return newUnitSayingCmd(env, unitSaying{
		use: "move UNIT STATE", short: shortUnitMove, long: longUnitMove + unitStates(), more: -1,
		flags: func(cmd *cobra.Command) {
			f := cmd.Flags()
			f.StringVar(&m.Why, "why", "", "the reason, one sentence (`TEXT`); needed")
			f.StringVar(&m.Verdict, "unit", "", "what the unit proved to be, as it came in: good, bad or not_proven (`WORD`)")
			f.StringVar(&m.Record, "record", "", "the number of the bench record that shows it (`TEXT`)")
			f.StringVar(&m.Consent, "consent", "", "who agreed to what the rules would not allow, and how: \"customer-7, letter of 3 June\" (`TEXT`)")
			f.StringVar(&instead, "instead-of", "", "put right the entry of this `NUMBER` in \"show --entries\": the change stays where and when it was")
		},
		draft: func(_ context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error) {
			var err error
			if m.To, err = shopState(words); err != nil {
				return cases.Draft{}, err
			}
			if m.Verdict = typedID(m.Verdict); m.Verdict != "" {
				if err := oneOf(m.Verdict, rulebase.Words(rulebase.Verdicts)); err != nil {
					return cases.Draft{}, usageError{fmt.Sprintf(sayFlagValue, "unit", m.Verdict, err)}
				}
			}
			if strings.TrimSpace(m.Why) == "" {
				return cases.Draft{}, usageError{sayMoveWhy}
			}
			if instead == "" && shop.Earlier(c, m.Record) { // what is put right may be of that stay
				return cases.Draft{}, inputError{fmt.Sprintf(sayRecordEarlier, m.Record, wording.Day(c.Stay().Came.Format(time.DateOnly)))}
			}
			if err := verdictOfRecord(c, &m); err != nil {
				return cases.Draft{}, err
			}
			draft := cases.Say(cases.KindMoved, m)
			if instead != "" {
				return d.insteadOf(c, draft, instead)
			}
			if why := c.Refuses(m); why != "" {
				return draft, inputError{sayUnitRefused(c, m, why)}
			}
			return draft, nil
		},
	})
}

// shopState is a state as people type it: its word, with spaces or hyphens where the word has something
// else, as it is printed.
func shopState(words []string) (cases.ShopState, error) {
	typed := strings.Join(words, " ")
	state := typedID(typed)
	if err := oneOf(state, rulebase.Words(cases.ShopStates)); err != nil {
		return "", usageError{fmt.Sprintf(sayNoState, typed, err)}
	}
	return cases.ShopState(state), nil
}

// typedID is the id that somebody means who types it as it is said.
func typedID(words string) string {
	return strings.ReplaceAll(strings.Join(strings.Fields(strings.ToLower(words)), "_"), "-", "_")
}

// verdictOfRecord takes the verdict from the bench record that is named, where the store has
// it: it is never typed twice.
func verdictOfRecord(c *cases.Card, m *cases.Move) error {
	switch found := shop.ByRecord(c, m); {
	case found == nil:
		return nil
	case m.To == cases.ShopEvaluated:
		return inputError{fmt.Sprintf(sayRecordSays, found.Number, found.Issue, wording.Plain(found.Verdict))}
	default:
		return inputError{fmt.Sprintf(sayRecordBad, found.Number, found.Issue)}
	}
}

// insteadOf makes a draft stand for an earlier entry of its kind, unless later ones then no
// longer fit.
func (d *desk) insteadOf(c *cases.Card, draft cases.Draft, number string) (cases.Draft, error) {
	n, err := strconv.Atoi(number)
	if err != nil {
		return draft, inputError{fmt.Sprintf(sayNoUnitEntry, number, len(c.Events))}
	}
	draft, against, entry, why := shop.InsteadOf(c, draft, n)
	switch against {
	case shop.NoEntry:
		return draft, inputError{fmt.Sprintf(sayNoUnitEntry, number, len(c.Events))}
	case shop.OtherKind:
		return draft, inputError{fmt.Sprintf(sayOtherKind, n, strings.ReplaceAll(string(c.Events[n-1].Kind), "_", " "))}
	case shop.VoidEntry:
		return draft, inputError{fmt.Sprintf(sayVoidEntry, n)}
	case shop.LaterRests:
		return draft, inputError{fmt.Sprintf(sayWouldNotFit, entry)}
	case shop.TakesBack:
		return draft, inputError{fmt.Sprintf(sayTakesBack, entry)}
	case shop.Refused:
		if says := refusals[why]; says != "" {
			return draft, inputError{says}
		}
		return draft, inputError{fmt.Sprintf(sayNotThere, entry)}
	}
	return draft, nil
}

// sayUnitRefused says why a unit may not go there, and what to do.
func sayUnitRefused(c *cases.Card, m cases.Move, why cases.Refusal) string {
	switch why {
	case cases.RefusedByTable:
		if c.State() == "" {
			return sayNeverReceived
		}
		next := wording.PlainAll(rulebase.Words(c.State().MayFollow()))
		if len(next) == 0 {
			return fmt.Sprintf(sayRefusedGone, inWords(c))
		}
		return fmt.Sprintf(sayRefusedByTable, inWords(c), wording.Plain(string(m.To)), strings.Join(next, ", "))
	case cases.RefusedLate:
		return fmt.Sprintf(sayRefusedLate, wording.Day(c.Stay().Offer().Offer.Until))
	}
	if number := shop.LastRecord(c); why == cases.RefusedNoVerdict && number != "" {
		return refusals[why] + fmt.Sprintf(sayVerdictOfRecord, number)
	}
	return refusals[why]
}

// inWords is the state of a unit as it is said.
func inWords(c *cases.Card) string { return wording.Plain(string(c.State())) }

func newUnitStatementCmd(env *environment) *cobra.Command {
	var b cases.Contamination
	return newUnitSayingCmd(env, unitSaying{
		use: "statement UNIT WORD", short: shortUnitStatement, long: longUnitStatement, more: -1,
		flags: func(cmd *cobra.Command) { addContaminationFlags(cmd, &b) },
		draft: func(_ context.Context, _ *desk, c *cases.Card, words []string) (cases.Draft, error) {
			b.State = typedID(strings.Join(words, " "))
			if err := oneOf(b.State, cases.ContaminationStates); err != nil {
				return cases.Draft{}, usageError{fmt.Sprintf(sayNoStatement, strings.Join(words, " "), err)}
			}
			if b.State == cases.Decontaminated && b.How == "" {
				return cases.Draft{}, usageError{sayCleanedHow}
			}
			if !c.State().InShop() {
				return cases.Draft{}, inputError{sayNotHere}
			}
			return cases.Say(cases.KindContamination, b), nil
		},
	})
}

func addContaminationFlags(cmd *cobra.Command, b *cases.Contamination) {
	cmd.Flags().StringVar(&b.With, "exposed-to", "", "what it was exposed to (`TEXT`)")
	cmd.Flags().StringVar(&b.How, "cleaned", "", "how it was cleaned (`TEXT`)")
	cmd.Flags().StringVar(&b.From, "stated-in", "", "where the statement stands: a return note, a letter (`TEXT`)")
}

func newUnitRepairCmd(env *environment) *cobra.Command {
	var w cases.Work
	var parts []string
	return newUnitSayingCmd(env, unitSaying{
		use: "repair UNIT SECTION", short: shortUnitRepair, long: strings.TrimSuffix(longUnitRepair, "\n") + listed(cases.UnitSections), more: 1,
		flags: func(cmd *cobra.Command) {
			f := cmd.Flags()
			f.StringVar(&w.Did, "did", "", "what was done, one sentence (`TEXT`); needed")
			f.StringVar(&w.As, "as", "", "rework, repair or modification (`WORD`); needed")
			addMany(f, &parts, "part", "a part that was renewed, as `NUMBER x NAME@WHERE-FROM`; the number and where it came from may be left out")
			f.StringVar(&w.Solder, "solder", "", "leaded or lead_free, where something was soldered (`WORD`)")
			f.Float64Var(&w.Minutes, "minutes", 0, "at the bench (`MINUTES`)")
			f.StringVar(&w.Cause, "cause", "", "the cause of the rulebase that it was (`ID`)")
		},
		draft: func(_ context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error) {
			if c.State() != cases.ShopInRepair {
				return cases.Draft{}, inputError{fmt.Sprintf(sayNotInRepair, inWords(c))}
			}
			w.Section = words[0]
			if err := d.checkWork(&w, parts); err != nil {
				return cases.Draft{}, err
			}
			return cases.Say(cases.KindWork, w), nil
		},
	})
}

func (d *desk) checkWork(w *cases.Work, parts []string) error {
	if strings.TrimSpace(w.Did) == "" {
		return usageError{sayRepairDid}
	}
	if err := oneOf(w.As, cases.WorkKinds); err != nil {
		return usageError{fmt.Sprintf(sayFlagValue, "as", w.As, err)}
	}
	if w.Solder = typedID(w.Solder); w.Solder != "" {
		if err := oneOf(w.Solder, cases.Solders); err != nil {
			return usageError{fmt.Sprintf(sayFlagValue, "solder", w.Solder, err)}
		}
	}
	if !(w.Minutes >= 0 && w.Minutes <= 1e6) { // NaN is none either
		return usageError{fmt.Sprintf(sayFlagValue, "minutes", strconv.FormatFloat(w.Minutes, 'g', -1, 64), sayMinutes)}
	}
	if ref, _ := d.base.Lookup(w.Cause); w.Cause != "" && ref.Kind != rulebase.KindCause {
		return inputError{fmt.Sprintf(sayNoCause, w.Cause) + nearCause(d.base, w.Cause)}
	}
	var bad string
	var ok bool
	if w.Parts, bad, ok = shop.ReadParts(parts); !ok {
		return usageError{fmt.Sprintf(sayFlagValue, "part", bad, sayPart)}
	}
	return nil
}

func newUnitNoteCmd(env *environment) *cobra.Command {
	return newUnitSayingCmd(env, unitSaying{
		use: "note UNIT TEXT...", short: shortUnitNote, long: longUnitNote, more: -1,
		draft: func(_ context.Context, _ *desk, _ *cases.Card, words []string) (cases.Draft, error) {
			return cases.Say(cases.KindNote, cases.Note{Text: strings.Join(words, " ")}), nil
		},
	})
}

func newUnitTakeBackCmd(env *environment) *cobra.Command {
	var why string
	return newUnitSayingCmd(env, unitSaying{
		use: "take-back UNIT NUMBER", short: shortUnitTakeBack, long: longUnitTakeBack, more: 1,
		flags: func(cmd *cobra.Command) { cmd.Flags().StringVar(&why, "why", "", "the reason (`TEXT`); needed") },
		draft: func(_ context.Context, d *desk, c *cases.Card, words []string) (cases.Draft, error) {
			if strings.TrimSpace(why) == "" {
				return cases.Draft{}, usageError{sayMoveWhy}
			}
			return d.insteadOf(c, cases.Say(cases.KindTakenBack, cases.Reason{Why: why}), words[0])
		},
	})
}

// paper writes a paper as text, as JSON, or as a page into a new file.
func paper(env *environment, x *report.Paper, page string) error {
	if page == "" {
		return written(x.Text(env.out, env.width()))
	}
	if err := newFile(page, x.HTML); err != nil {
		return err
	}
	_, err := fmt.Fprintf(env.out, sayPaperWritten, page)
	return written(err)
}

func newUnitReturnNoteCmd(env *environment) *cobra.Command {
	var o deskOptions
	var n cases.ReturnNote
	var page string
	var asJSON bool
	cmd := &cobra.Command{
		Use: "return-note CASE", Short: shortReturnNote, Long: longReturnNote, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				if !asJSON {
					if err := beforehand(page); err != nil {
						return err
					}
				}
				c, err := d.keepReturnNote(ctx, c, n)
				if err != nil {
					return err
				}
				if asJSON {
					return written(report.ReturnNoteJSON(env.out, c))
				}
				return paper(env, report.NewReturnNote(d.base, c), page)
			})
		},
	}
	addStoreFlags(cmd, &o)
	f := cmd.Flags()
	f.StringVar(&n.Contamination.State, "statement", "", "what is stated of contamination: not_exposed, decontaminated or contaminated (`WORD`); else boxes to tick by hand")
	addContaminationFlags(cmd, &n.Contamination)
	f.StringVar(&n.Packing, "packed", "", "what is in the box, and how it was packed (`TEXT`)")
	f.StringVar(&page, "html", "", "write it as a page to print into this new `FILE`")
	f.BoolVar(&asJSON, "json", false, "print JSON for programs, schema "+report.ReturnNoteSchema)
	return cmd
}

// keepReturnNote keeps with a case what is said for its return note; what was said before
// and is not said anew stays.
func (d *desk) keepReturnNote(ctx context.Context, c *cases.Case, n cases.ReturnNote) (*cases.Case, error) {
	if n == (cases.ReturnNote{}) {
		return c, nil
	}
	if n.Contamination.State == "" && n.Contamination != (cases.Contamination{}) {
		return nil, usageError{sayStatementFirst}
	}
	if n.Contamination.State = typedID(n.Contamination.State); n.Contamination.State != "" {
		if err := oneOf(n.Contamination.State, cases.ContaminationStates); err != nil {
			return nil, usageError{fmt.Sprintf(sayFlagValue, "statement", n.Contamination.State, err)}
		}
		if n.Contamination.State == cases.Decontaminated && n.Contamination.How == "" {
			return nil, usageError{sayCleanedHow}
		}
	}
	if before := c.ReturnNote; before != nil {
		if n.Contamination.State == "" {
			n.Contamination = before.Contamination
		}
		if n.Packing == "" {
			n.Packing = before.Packing
		}
	}
	d.writer.Place = c.Situation.At
	return d.write(ctx, c.ID, cases.Say(cases.KindReturnNote, n))
}
