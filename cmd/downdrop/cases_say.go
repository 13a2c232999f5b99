package main

import (
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// A saying is a command that adds to a case: it turns words of the command line
// into drafts.
type saying struct {
	use, short, long, example string
	more                      int // words behind the case; below 0: any number
	flags                     func(*cobra.Command)
	drafts                    func(ctx context.Context, d *desk, c *cases.Case, words []string) ([]cases.Draft, error)
}

// newSayingCmd makes such a command. It prints what is now known, in short.
func newSayingCmd(env *environment, s saying) *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use: s.use, Short: s.short, Long: s.long, Example: s.example, Args: oneCase(s.more), ValidArgsFunction: completeCases(env, &o),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				d.writer.Place = c.Situation.At
				drafts, err := s.drafts(ctx, d, c, args[1:])
				if err != nil {
					return err
				}
				if c, err = d.write(ctx, c.ID, drafts...); err != nil {
					return err
				}
				return written(report.CaseLine(env.out, env.width(), d.base, c))
			})
		},
	}
	addStoreFlags(cmd, &o)
	if s.flags != nil {
		s.flags(cmd)
	}
	return cmd
}

func newCaseSeeCmd(env *environment) *cobra.Command {
	var at string
	return newSayingCmd(env, saying{
		use: "see CASE SYMPTOM=VALUE[@SURE]...", short: shortCaseSee, long: longCaseSee, example: exampleCaseSee, more: -1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&at, "at", "", "where it was seen: phone, field or bench (`PLACE`)")
		},
		drafts: func(_ context.Context, d *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			if at != "" {
				if err := oneOf(at, placeWords); err != nil {
					return nil, usageError{fmt.Sprintf(sayFlagValue, "at", at, err)}
				}
			}
			s := c.Situation.Clone()
			for _, word := range words {
				if g, err := d.base.ReadGiven(word); err == nil {
					s.Givens = append(s.Givens, g)
					continue
				}
				f, err := d.base.ReadSee(word)
				if err != nil {
					return nil, inputError{sentenceOf(err)}
				}
				f.At, f.By = rulebase.Place(at), d.writer.By
				s.Findings = append(s.Findings, f)
			}
			return c.Changes(asOfNow(s)), nil
		},
	})
}

// asOfNow ties findings made as of now to the work done by now: in a case, now goes on.
func asOfNow(s rulebase.Situation) rulebase.Situation {
	for i := range s.Findings {
		if f := &s.Findings[i]; f.Now {
			f.Now = false
			if len(s.Done) > 0 {
				f.After = s.Done[len(s.Done)-1].ID
			}
		}
	}
	return s
}

func newCaseDoneCmd(env *environment) *cobra.Command {
	var drop, proof string
	return newSayingCmd(env, saying{
		use: "done CASE STEP", short: shortCaseDone, long: longCaseDone, example: exampleCaseDone, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&drop, "drop", "", "what the drop did then: well or still_down (`STATE`)")
			cmd.Flags().StringVar(&proof, "proof", "", "what was watched, how long, under what load (`TEXT`)")
		},
		drafts: func(_ context.Context, d *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			ref, _ := d.base.Lookup(words[0])
			if ref.Kind != rulebase.KindTest && ref.Kind != rulebase.KindRemedy {
				return nil, inputError{fmt.Sprintf(sayNoStep, words[0])}
			}
			if drop != "" {
				if err := oneOf(drop, []string{string(rulebase.StillDown), string(rulebase.Well)}); err != nil {
					return nil, usageError{fmt.Sprintf(sayFlagValue, "drop", drop, err)}
				}
			}
			return []cases.Draft{cases.Say(cases.KindDone, cases.DoneBody{ID: words[0], Drop: rulebase.DropNow(drop), Proof: proof})}, nil
		},
	})
}

func newCaseNoteCmd(env *environment) *cobra.Command {
	return newSayingCmd(env, saying{
		use: "note CASE TEXT...", short: shortCaseNote, long: longCaseNote, example: exampleCaseNote, more: -1,
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			return []cases.Draft{cases.Say(cases.KindNote, cases.Note{Text: strings.Join(words, " ")})}, nil
		},
	})
}

func newCaseReferCmd(env *environment) *cobra.Command {
	return newSayingCmd(env, saying{
		use: "refer CASE KIND=TEXT...", short: shortCaseRefer, long: longCaseRefer, example: exampleCaseRefer, more: -1,
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			references, err := readReferences(words)
			if err != nil {
				return nil, err
			}
			var out []cases.Draft
			for _, r := range references {
				out = append(out, cases.Say(cases.KindReference, r))
			}
			return out, nil
		},
	})
}

func newCaseAttachCmd(env *environment) *cobra.Command {
	return newSayingCmd(env, saying{
		use: "attach CASE FILE", short: shortCaseAttach, long: longCaseAttach, example: exampleCaseAttach, more: 1,
		drafts: func(ctx context.Context, d *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			content, err := os.ReadFile(words[0])
			if err != nil {
				return nil, err
			}
			content, media, err := cases.CleanFile(content)
			if err != nil {
				return nil, inputError{fmt.Sprintf(sayAttach, words[0], err)}
			}
			digest, err := d.store.PutFile(ctx, content)
			if err != nil {
				return nil, err
			}
			return []cases.Draft{cases.Say(cases.KindFile, cases.Attachment{Name: filepath.Base(words[0]), Media: media, Digest: digest, Bytes: len(content)})}, nil
		},
	})
}

func newCaseSetCmd(env *environment) *cobra.Command {
	var left bool
	return newSayingCmd(env, saying{
		use: "setting CASE NAME=VALUE...", short: shortCaseSetting, long: longCaseSetting + "\n\n  " + strings.Join(cases.SettingNames, ", "), example: exampleCaseSetting, more: -1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().BoolVar(&left, "left", false, "as left, not as found")
		},
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			when := "found"
			if left {
				when = "left"
			}
			var out []cases.Draft
			for _, word := range words {
				name, value, ok := strings.Cut(word, "=")
				if !ok || name == "" {
					return nil, usageError{fmt.Sprintf(saySetting, word, strings.Join(cases.SettingNames, ", "))}
				}
				out = append(out, cases.Say(cases.KindSetting, cases.Setting{Name: name, When: when, Value: value}))
			}
			return out, nil
		},
	})
}

func newCasePutInCmd(env *environment) *cobra.Command {
	var until, test string
	return newSayingCmd(env, saying{
		use: "put-in CASE KIND WHERE", short: shortCasePutIn, long: longCasePutIn + "\n\n  " + strings.Join(cases.PutInKinds, ", "), example: exampleCasePutIn, more: 2,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&until, "until", "", "when it has to be out again (`TEXT`)")
			cmd.Flags().StringVar(&test, "for", "", "the test or remedy it is for (`ID`)")
		},
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, words []string) ([]cases.Draft, error) {
			if err := oneOf(words[0], cases.PutInKinds); err != nil {
				return nil, usageError{fmt.Sprintf(sayPutIn, words[0], err)}
			}
			return []cases.Draft{cases.Say(cases.KindPutIn, cases.PutIn{What: words[0], Where: words[1], Until: until, Test: test})}, nil
		},
	})
}

func newCaseTakeOutCmd(env *environment) *cobra.Command {
	return newSayingCmd(env, saying{
		use: "take-out CASE NUMBER", short: shortCaseTakeOut, long: longCaseTakeOut, example: exampleCaseTakeOut, more: 1,
		drafts: func(_ context.Context, _ *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			p, err := inPlace(c, words[0])
			if err != nil {
				return nil, err
			}
			return []cases.Draft{cases.Correct(cases.KindTakenOut, p.Event.ID, cases.Reason{})}, nil
		},
	})
}

// inPlace is the thing still in place that a number of the list names.
func inPlace(c *cases.Case, number string) (cases.Said[cases.PutIn], error) {
	var n int
	if _, err := fmt.Sscanf(number, "%d", &n); err != nil || n < 1 || n > len(c.PutIn) {
		return cases.Said[cases.PutIn]{}, inputError{fmt.Sprintf(sayNoPutIn, number, len(c.PutIn))}
	}
	return c.PutIn[n-1], nil
}

func newCaseTakeBackCmd(env *environment) *cobra.Command {
	var why string
	return newSayingCmd(env, saying{
		use: "take-back CASE ENTRY", short: shortCaseTakeBack, long: longCaseTakeBack, example: exampleCaseTakeBack, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&why, "why", "", "why it is taken back (`TEXT`)")
		},
		drafts: func(_ context.Context, _ *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			var n int
			if _, err := fmt.Sscanf(words[0], "%d", &n); err != nil || n < 2 || n > len(c.Events) {
				return nil, inputError{fmt.Sprintf(sayNoEntry, words[0], len(c.Events))}
			}
			return []cases.Draft{cases.Correct(cases.KindTakenBack, c.Events[n-1].ID, cases.Reason{Why: why})}, nil
		},
	})
}

func newCaseWaitCmd(env *environment) *cobra.Command {
	var until string
	return newSayingCmd(env, saying{
		use: "wait CASE WHO", short: shortCaseWait, long: longCaseWait, example: exampleCaseWait, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&until, "until", "", "until when (`TEXT`)")
		},
		drafts: func(_ context.Context, _ *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			return notClosed(c, cases.Say(cases.KindWaiting, cases.WaitingFor{For: words[0], Until: until}))
		},
	})
}

func newCaseWatchCmd(env *environment) *cobra.Command {
	var until, what string
	return newSayingCmd(env, saying{
		use: "watch CASE REMEDY", short: shortCaseWatch, long: longCaseWatch, example: exampleCaseWatch, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&until, "until", "", "until when (`TEXT`)")
			cmd.Flags().StringVar(&what, "what", "", "what is watched (`TEXT`)")
		},
		drafts: func(_ context.Context, d *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			if ref, _ := d.base.Lookup(words[0]); ref.Kind != rulebase.KindRemedy {
				return nil, inputError{fmt.Sprintf(sayNoRemedy, words[0])}
			}
			return notClosed(c, cases.Say(cases.KindWatching, cases.Watching{Remedy: words[0], Until: until, What: what}))
		},
	})
}

func newCaseResumeCmd(env *environment) *cobra.Command {
	return newSayingCmd(env, saying{
		use: "resume CASE", short: shortCaseResume, long: longCaseResume, example: exampleCaseResume, more: 0,
		drafts: func(_ context.Context, _ *desk, c *cases.Case, _ []string) ([]cases.Draft, error) {
			return notClosed(c, cases.Say(cases.KindResumed, cases.Reason{}))
		},
	})
}

func notClosed(c *cases.Case, d cases.Draft) ([]cases.Draft, error) {
	if c.State == cases.StateClosed {
		return nil, inputError{fmt.Sprintf(sayIsClosed, c.Code)}
	}
	return []cases.Draft{d}, nil
}

func newCaseAcceptCmd(env *environment) *cobra.Command {
	var why string
	return newSayingCmd(env, saying{
		use: "accept CASE NUMBER|SYMPTOM", short: shortCaseAccept, long: longCaseAccept, example: exampleCaseAccept, more: 1,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&why, "why", "", "why it may stay so (`TEXT`)")
		},
		drafts: func(_ context.Context, d *desk, c *cases.Case, words []string) ([]cases.Draft, error) {
			if strings.TrimSpace(why) == "" {
				return nil, usageError{sayAcceptWhy}
			}
			if ref, _ := d.base.Lookup(words[0]); ref.Kind == rulebase.KindSymptom {
				return []cases.Draft{cases.Say(cases.KindAccepted, cases.Accepted{Symptom: words[0], Why: why})}, nil
			}
			p, err := inPlace(c, words[0])
			if err != nil {
				return nil, err
			}
			return []cases.Draft{cases.Say(cases.KindAccepted, cases.Accepted{Event: p.Event.ID, Why: why})}, nil
		},
	})
}

func newCaseReopenCmd(env *environment) *cobra.Command {
	var why string
	return newSayingCmd(env, saying{
		use: "reopen CASE", short: shortCaseReopen, long: longCaseReopen, example: exampleCaseReopen, more: 0,
		flags: func(cmd *cobra.Command) {
			cmd.Flags().StringVar(&why, "why", "", "why it is opened again (`TEXT`)")
		},
		drafts: func(_ context.Context, _ *desk, c *cases.Case, _ []string) ([]cases.Draft, error) {
			if c.State != cases.StateClosed {
				return nil, inputError{fmt.Sprintf(sayNotClosed, c.Code)}
			}
			return []cases.Draft{cases.Say(cases.KindReopened, cases.Reason{Why: why})}, nil
		},
	})
}

func newCaseCloseCmd(env *environment) *cobra.Command {
	var closing cases.Closing
	return newSayingCmd(env, saying{
		use: "close CASE", short: shortCaseClose, long: longCaseClose, example: exampleCaseClose, more: 0,
		flags: func(cmd *cobra.Command) {
			f := cmd.Flags()
			f.StringArrayVar(&closing.Causes, "cause", nil, "a cause that was proven (`ID`); may be given more than once")
			f.StringVar(&closing.How, "how", "", "how it was proven (`TEXT`)")
			f.StringVar(&closing.Outcome, "outcome", "", "how it ended (`WORD`); else that of the cause's last remedy done")
			f.StringVar(&closing.UnitVerdict, "unit", "", "what the unit turned out to be: good, bad or not_proven (`WORD`)")
		},
		drafts: func(ctx context.Context, d *desk, c *cases.Case, _ []string) ([]cases.Draft, error) {
			if err := d.checkClosing(ctx, c, &closing); err != nil {
				return nil, err
			}
			return []cases.Draft{cases.Say(cases.KindClosed, closing)}, nil
		},
	})
}

// checkClosing refuses what cannot be, and says what still stands against closing.
func (d *desk) checkClosing(ctx context.Context, c *cases.Case, closing *cases.Closing) error {
	if c.State == cases.StateClosed {
		return inputError{fmt.Sprintf(sayIsClosed, c.Code)}
	}
	for _, id := range closing.Causes {
		if ref, _ := d.base.Lookup(id); ref.Kind != rulebase.KindCause {
			return inputError{fmt.Sprintf(sayNoCause, id) + nearCause(d.base, id)}
		}
	}
	if closing.Outcome == "" {
		closing.Outcome = endsAs(d.base, c, closing.Causes)
	}
	if err := oneOf(closing.Outcome, cases.Outcomes); err != nil {
		return usageError{fmt.Sprintf(sayOutcome, err)}
	}
	if closing.UnitVerdict != "" {
		if err := oneOf(closing.UnitVerdict, cases.UnitVerdicts); err != nil {
			return usageError{fmt.Sprintf(sayFlagValue, "unit", closing.UnitVerdict, err)}
		}
	}
	if strings.TrimSpace(closing.How) == "" {
		return usageError{sayCloseHow}
	}
	unexplained, err := d.unexplained(ctx, c, closing.Causes)
	if err != nil {
		return err
	}
	if open := c.OpenPoints(unexplained); len(open) > 0 {
		return inputError{report.OpenPoints(d.base, c, open)}
	}
	return nil
}

func nearCause(b *rulebase.Base, id string) string {
	var ids []string
	for i := range b.Causes {
		ids = append(ids, b.Causes[i].ID)
	}
	if near := source.Nearest(id, ids); near != "" {
		return fmt.Sprintf(sayMeant, near)
	}
	return ""
}

// endsAs is how a case ends by what was done: as the last remedy done of a proven cause does.
func endsAs(b *rulebase.Base, c *cases.Case, causes []string) string {
	var remedies []string
	for _, id := range causes {
		ref, _ := b.Lookup(id)
		for _, h := range b.Causes[ref.Index].Remedies {
			remedies = append(remedies, b.Remedies[h.Remedy].ID)
		}
	}
	for _, done := range slices.Backward(c.Situation.Done) {
		if ref, _ := b.Lookup(done.ID); ref.Kind == rulebase.KindRemedy && slices.Contains(remedies, done.ID) {
			return string(b.Remedies[ref.Index].EndsAs)
		}
	}
	return ""
}

func newCaseJoinCmd(env *environment) *cobra.Command {
	var name string
	var o deskOptions
	cmd := &cobra.Command{
		Use: "join CASE CASE...", Short: shortCaseJoin, Long: longCaseJoin, Example: exampleCaseJoin, Args: oneCase(-1), ValidArgsFunction: completeCases(env, &o),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			var all []*cases.Case
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				all = append(all, c)
				for _, other := range args[1:] {
					c, err := d.store.Case(ctx, other)
					if err != nil {
						return notFoundError{fmt.Sprintf(sayNoCase, other)}
					}
					all = append(all, c)
				}
				event := newID()
				for _, c := range all {
					if _, err := d.write(ctx, c.ID, cases.Say(cases.KindJoined, cases.Joined{Event: event, Name: name})); err != nil {
						return err
					}
				}
				_, err := fmt.Fprintf(env.out, sayJoined, len(all), name)
				return written(err)
			})
		},
	}
	addStoreFlags(cmd, &o)
	cmd.Flags().StringVar(&name, "name", "", "what to call what they have in common (`TEXT`)")
	return cmd
}
