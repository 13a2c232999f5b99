package main

import (
	"context"
	"fmt"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// A saying is a command that adds to a case: it turns words of the command line
// into drafts.
type saying struct {
	use, short, long string
	more             int                  // words behind the case; below 0: any number
	texts            []sayingFlag         // flags with a text
	lists            []sayingFlag         // flags that may be given more than once
	switches         []sayingFlag         // flags that are said or not
	flags            func(*cobra.Command) // flags of another kind
	open             bool                 // the case must not be closed
	drafts           func(ctx context.Context, d *desk, c *cases.Case, s said) ([]cases.Draft, error)
	tells            func(ctx context.Context, d *desk, c *cases.Case) error // after it; nil: where the case stands
}

type sayingFlag struct{ name, usage string }

// said is what was said on the command line, the case left out.
type said struct {
	words []string
	cmd   *cobra.Command
}

// The flags are those that the saying names, so their kinds are right.

func (s said) text(flag string) string { v, _ := s.cmd.Flags().GetString(flag); return v }

func (s said) list(flag string) []string { return manyOf(s.cmd.Flags(), flag) }

func (s said) is(flag string) bool { v, _ := s.cmd.Flags().GetBool(flag); return v }

func (s said) number(flag string) int { v, _ := s.cmd.Flags().GetInt(flag); return v }

// oneOf refuses a flag that is said and is none of the words known.
func (s said) oneOf(flag string, known []string) error {
	v := s.text(flag)
	if v == "" {
		return nil
	}
	if err := oneOf(v, known); err != nil {
		return usageError{fmt.Sprintf(sayFlagValue, flag, v, err)}
	}
	return nil
}

var (
	flagUntil = sayingFlag{"until", "until when (`TEXT`)"}
	flagWhy   = sayingFlag{"why", "for what reason (`TEXT`)"}
)

// sayings are the commands that only add to a case, and print what is then known.
var sayings = []saying{
	{
		use: "see CASE SYMPTOM=VALUE[@SURE]...", short: shortCaseSee, long: longCaseSee, more: -1,
		texts: []sayingFlag{{"at", "where it was seen: phone, field or bench (`PLACE`)"}}, drafts: draftsSeen,
	},
	{
		use: "done CASE STEP", short: shortCaseDone, long: longCaseDone, more: 1,
		texts:  []sayingFlag{{"drop", "what the drop did then: well or still_down (`STATE`)"}, {"proof", "what was watched, how long, under what load (`TEXT`)"}},
		drafts: draftsDone, tells: settingsTold,
	},
	{
		use: "about CASE", short: shortCaseAbout, long: longCaseAbout, more: 0,
		flags: addOpeningFlags, drafts: draftsAbout, tells: told,
	},
	{
		use: "note CASE TEXT...", short: shortCaseNote, long: longCaseNote, more: -1,
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
			return one(cases.KindNote, cases.Note{Text: strings.Join(s.words, " ")})
		},
	},
	{use: "refer CASE KIND=TEXT...", short: shortCaseRefer, long: longCaseRefer, more: -1, drafts: draftsReferences},
	{use: "attach CASE FILE", short: shortCaseAttach, long: longCaseAttach, more: 1, drafts: draftsFile},
	{use: "sheet CASE FILE", short: shortCaseSheet, long: longCaseSheet, more: 1, open: true, drafts: draftsSheet},
	{
		use: "cost CASE WHAT=AMOUNT...", short: shortCaseCost, long: longCaseCost + listed(cases.MoneyNames), more: -1,
		drafts: draftsMoney, tells: costs,
	},
	{
		use: "dispose CASE WHAT", short: shortCaseDispose, long: longCaseDispose + listed(cases.Dispositions), more: 1,
		texts: []sayingFlag{flagWhy}, open: true, drafts: draftsDisposed, tells: settingsTold,
	},
	{
		use: "setting CASE NAME=VALUE...", short: shortCaseSetting, long: longCaseSetting + listed(cases.SettingNames), more: -1,
		switches: []sayingFlag{{"left", "as left, not as found"}}, drafts: draftsSettings,
	},
	{
		use: "put-in CASE KIND WHERE", short: shortCasePutIn, long: longCasePutIn + listed(cases.PutInKinds), more: 2,
		texts:  []sayingFlag{{"until", "when it has to be out again (`TEXT`)"}, {"for", "the test or remedy it is for (`ID`)"}},
		drafts: draftsPutIn,
	},
	{
		use: "take-out CASE NUMBER", short: shortCaseTakeOut, long: longCaseTakeOut, more: 1,
		drafts: func(_ context.Context, _ *desk, c *cases.Case, s said) ([]cases.Draft, error) {
			p, err := inPlace(c, s.words[0])
			if err != nil {
				return nil, err
			}
			return []cases.Draft{cases.Correct(cases.KindTakenOut, p.Event.ID, cases.Reason{})}, nil
		},
	},
	{
		use: "take-back CASE ENTRY", short: shortCaseTakeBack, long: longCaseTakeBack, more: 1,
		texts: []sayingFlag{flagWhy}, drafts: draftsTakenBack,
	},
	{
		use: "take-over CASE", short: shortCaseTakeOver, long: longCaseTakeOver, more: 0, open: true,
		texts: []sayingFlag{{"who", "what whoever takes over may do: operator, electrician, technician or engineer (`WHO`)"}}, switches: []sayingFlag{{"alone", "nobody else is there"}},
		drafts: draftsTakenOver,
	},
	{
		use: "wait CASE WHO", short: shortCaseWait, long: longCaseWait, more: 1, texts: []sayingFlag{flagUntil}, open: true,
		drafts: func(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
			return one(cases.KindWaiting, cases.WaitingFor{For: s.words[0], Until: s.text("until")})
		},
	},
	{
		use: "watch CASE REMEDY", short: shortCaseWatch, long: longCaseWatch, more: 1, open: true,
		texts: []sayingFlag{flagUntil, {"what", "what is watched (`TEXT`)"}},
		drafts: func(_ context.Context, d *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
			if ref, _ := d.base.Lookup(s.words[0]); ref.Kind != rulebase.KindRemedy {
				return nil, inputError{fmt.Sprintf(sayNoRemedy, s.words[0])}
			}
			return one(cases.KindWatching, cases.Watching{Remedy: s.words[0], Until: s.text("until"), What: s.text("what")})
		},
	},
	{
		use: "resume CASE", short: shortCaseResume, long: longCaseResume, more: 0, open: true,
		drafts: func(context.Context, *desk, *cases.Case, said) ([]cases.Draft, error) {
			return one(cases.KindResumed, cases.Reason{})
		},
	},
	{
		use: "accept CASE NUMBER|SYMPTOM", short: shortCaseAccept, long: longCaseAccept, more: 1,
		texts: []sayingFlag{{"why", "why it may stay so (`TEXT`)"}}, drafts: draftsAccepted,
	},
	{
		use: "close CASE", short: shortCaseClose, long: longCaseClose, more: 0, open: true,
		texts: []sayingFlag{
			{"how", "how it was proven (`TEXT`)"}, {"outcome", "how it ended (`WORD`); else that of the cause's last remedy done"},
			{"unit", "what the unit turned out to be: good, bad or not_proven (`WORD`)"},
		},
		lists: []sayingFlag{{"cause", "a cause that was proven (`ID`); may be given more than once"}}, drafts: draftsClosed,
	},
	{
		use: "reopen CASE", short: shortCaseReopen, long: longCaseReopen, more: 0, texts: []sayingFlag{flagWhy},
		drafts: func(_ context.Context, _ *desk, c *cases.Case, s said) ([]cases.Draft, error) {
			if c.State != cases.StateClosed {
				return nil, inputError{fmt.Sprintf(sayNotClosed, c.Code)}
			}
			return one(cases.KindReopened, cases.Reason{Why: s.text("why")})
		},
	},
}

func newSayingCmds(env *environment) []*cobra.Command {
	var all []*cobra.Command
	for _, s := range sayings {
		all = append(all, s.command(env))
	}
	return all
}

func (s saying) command(env *environment) *cobra.Command {
	var o deskOptions
	cmd := &cobra.Command{
		Use: s.use, Short: s.short, Long: s.long, Args: oneCase(s.more),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error { return s.run(ctx, d, c, said{args[1:], cmd}) })
		},
	}
	addStoreFlags(cmd, &o)
	f := cmd.Flags()
	for _, flag := range s.texts {
		f.String(flag.name, "", flag.usage)
	}
	for _, flag := range s.lists {
		addMany(f, new([]string), flag.name, flag.usage)
	}
	for _, flag := range s.switches {
		f.Bool(flag.name, false, flag.usage)
	}
	if s.flags != nil {
		s.flags(cmd)
	}
	return cmd
}

func (s saying) run(ctx context.Context, d *desk, c *cases.Case, says said) error {
	if s.open && c.State == cases.StateClosed {
		return inputError{fmt.Sprintf(sayIsClosed, c.Code)}
	}
	d.writer.Place = c.Situation.At
	drafts, err := s.drafts(ctx, d, c, says)
	if err != nil {
		return err
	}
	if len(drafts) == 0 {
		return nil
	}
	if c, err = d.write(ctx, c.ID, drafts...); err != nil {
		return err
	}
	if s.tells != nil {
		return s.tells(ctx, d, c)
	}
	return written(report.CaseLine(d.env.out, d.env.width(), d.base, c))
}

// told says what is remembered of unit and place, as when a case is opened.
func told(ctx context.Context, d *desk, c *cases.Case) error { return d.opened(ctx, c, false) }

// settingsTold says where the case stands and, where the unit is about to be worked on or was, which of its
// settings nobody has read as found.
func settingsTold(_ context.Context, d *desk, c *cases.Case) error {
	if err := report.CaseLine(d.env.out, d.env.width(), d.base, c); err != nil {
		return written(err)
	}
	switch last := c.Events[len(c.Events)-1]; last.Kind {
	case cases.KindDisposition:
		if !slices.Contains(takesUnit, c.Disposition.What) {
			return nil
		}
	default:
		if n := len(c.Situation.Done); n == 0 || !d.base.Step(c.Situation.Done[n-1].ID).SettingsFirst() {
			return nil
		}
	}
	return written(report.SettingsUnread(d.env.out, d.env.width(), c))
}

// takesUnit are the dispositions by which the unit leaves its place or another comes there.
var takesUnit = []string{"send_unit", "pull", "exchange", "repair", "buy"}

func costs(_ context.Context, d *desk, c *cases.Case) error {
	return written(report.CaseCosts(d.env.out, d.env.width(), c))
}

// one is a single draft.
func one(kind cases.Kind, body any) ([]cases.Draft, error) {
	return []cases.Draft{cases.Say(kind, body)}, nil
}

func draftsSeen(_ context.Context, d *desk, c *cases.Case, said said) ([]cases.Draft, error) {
	if err := said.oneOf("at", placeWords); err != nil {
		return nil, err
	}
	s := c.Situation.Clone()
	for _, word := range said.words {
		if g, err := d.base.ReadGiven(word); err == nil {
			s.Givens = append(s.Givens, g)
			continue
		}
		f, err := d.base.ReadSee(word)
		if err != nil {
			return nil, inputError{sentenceOf(err)}
		}
		f.At, f.By = rulebase.Place(said.text("at")), d.writer.By
		s.Findings = append(s.Findings, f)
	}
	return c.Changes(kept.AsOfNow(s)), nil
}

func draftsDone(_ context.Context, d *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	ref, _ := d.base.Lookup(s.words[0])
	if ref.Kind != rulebase.KindTest && ref.Kind != rulebase.KindRemedy {
		return nil, inputError{fmt.Sprintf(sayNoStep, s.words[0])}
	}
	if err := s.oneOf("drop", []string{string(rulebase.StillDown), string(rulebase.Well)}); err != nil {
		return nil, err
	}
	done := cases.DoneBody{ID: s.words[0], Drop: rulebase.DropNow(s.text("drop")), Proof: s.text("proof")}
	return append([]cases.Draft{cases.Say(cases.KindDone, done)}, kept.PutInBy(d.base, done.ID)...), nil
}

func draftsAbout(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	o := s.opening()
	if o == (cases.Opening{}) {
		return nil, usageError{sayAboutWhat}
	}
	return one(cases.KindAbout, o)
}

func draftsReferences(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	references, err := readReferences(s.words)
	if err != nil {
		return nil, err
	}
	var out []cases.Draft
	for _, r := range references {
		out = append(out, cases.Say(cases.KindReference, r))
	}
	return out, nil
}

func draftsFile(ctx context.Context, d *desk, c *cases.Case, s said) ([]cases.Draft, error) {
	name := s.words[0]
	content, err := readFile(name, mostFile)
	if err != nil {
		return nil, err
	}
	if came, err := d.arrived(ctx, c, content); came || err != nil {
		return nil, err
	}
	content, media, err := cases.CleanFile(content)
	if err != nil {
		return nil, inputError{fmt.Sprintf(sayAttach, name, err)}
	}
	digest, err := d.store.PutFile(ctx, content)
	if err != nil {
		return nil, err
	}
	return one(cases.KindFile, cases.Attachment{Name: filepath.Base(name), Media: media, Digest: digest, Bytes: len(content)})
}

// arrived takes in a file that the case names already and that was not here: no new entry is made of it.
func (d *desk) arrived(ctx context.Context, c *cases.Case, content []byte) (bool, error) {
	notHere, err := c.NotHere(ctx, d.store)
	if err != nil {
		return false, err
	}
	a, kept, ok := cases.MatchFile(notHere, content)
	if !ok {
		return false, nil
	}
	if _, err := d.store.PutFile(ctx, kept); err != nil {
		return false, err
	}
	_, err = fmt.Fprintf(d.env.out, sayArrived, a.Name, c.Code, len(notHere)-1)
	return true, written(err)
}

// draftsSheet keeps the text of the sheet and weighs the case with what it says from now on.
func draftsSheet(ctx context.Context, d *desk, c *cases.Case, said said) ([]cases.Draft, error) {
	o := caseOptions{sheet: said.words[0]}
	s := c.Situation.Clone()
	if err := o.laySheet(ctx, d.env, &s); err != nil {
		return nil, err
	}
	var err error
	if s.SheetFile, err = d.store.PutFile(ctx, o.sheetText); err != nil {
		return nil, err
	}
	return c.Changes(kept.AsOfNow(s)), nil
}

// draftsTakenOver are those of the entry by which somebody says so in the conversation.
func draftsTakenOver(ctx context.Context, d *desk, c *cases.Case, s said) ([]cases.Draft, error) {
	if err := s.oneOf("who", whoWords); err != nil {
		return nil, err
	}
	who, known := rulebase.WhoOf(s.text("who"))
	if !known {
		return nil, usageError{sayTakeOverWho}
	}
	talk := newTalk(d.base).WithClock(d.env.clock)
	st, err := kept.Stand(c, talk)
	if err != nil {
		return nil, err
	}
	e := kept.Entry{ID: newID(), Text: conversation.TakeOverEntry(who, s.is("alone")), About: conversation.About{Kind: conversation.AskOpening}}
	state, reply := st.Hear(ctx, talk, e)
	return st.Drafts(d.base, e.ID, state, reply)
}

func draftsMoney(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	var out []cases.Draft
	for _, word := range s.words {
		what, amount, ok := strings.Cut(word, "=")
		if !ok || what == "" {
			return nil, usageError{fmt.Sprintf(sayCost, word)}
		}
		m, err := cases.ReadMoney(what, amount)
		if err != nil {
			return nil, inputError{fmt.Sprintf("%s: %v.", word, err)}
		}
		out = append(out, cases.Say(cases.KindMoney, m))
	}
	return out, nil
}

func draftsDisposed(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	if err := oneOf(s.words[0], cases.Dispositions); err != nil {
		return nil, usageError{fmt.Sprintf(sayDispose, s.words[0], err)}
	}
	return one(cases.KindDisposition, cases.Disposed{What: s.words[0], Why: s.text("why")})
}

func draftsSettings(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	when := cases.AsFound
	if s.is("left") {
		when = cases.AsLeft
	}
	var out []cases.Draft
	for _, word := range s.words {
		name, value, ok := strings.Cut(word, "=")
		if !ok || name == "" {
			return nil, usageError{fmt.Sprintf(saySetting, word, strings.Join(cases.SettingNames, ", "))}
		}
		out = append(out, cases.Say(cases.KindSetting, cases.Setting{Name: name, When: when, Value: value}))
	}
	return out, nil
}

func draftsPutIn(_ context.Context, _ *desk, _ *cases.Case, s said) ([]cases.Draft, error) {
	if err := oneOf(s.words[0], cases.PutInKinds); err != nil {
		return nil, usageError{fmt.Sprintf(sayPutIn, s.words[0], err)}
	}
	return one(cases.KindPutIn, cases.PutIn{What: s.words[0], Where: s.words[1], Until: s.text("until"), Test: s.text("for")})
}

// inPlace is the thing still in place that a number of the list names.
func inPlace(c *cases.Case, number string) (cases.Said[cases.PutIn], error) {
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > len(c.PutIn) {
		return cases.Said[cases.PutIn]{}, inputError{fmt.Sprintf(sayNoPutIn, number, len(c.PutIn))}
	}
	return c.PutIn[n-1], nil
}

func draftsTakenBack(_ context.Context, _ *desk, c *cases.Case, s said) ([]cases.Draft, error) {
	n, err := strconv.Atoi(s.words[0])
	if err != nil || n < 2 || n > len(c.Events) {
		return nil, inputError{fmt.Sprintf(sayNoEntry, s.words[0], len(c.Events))}
	}
	return []cases.Draft{cases.Correct(cases.KindTakenBack, c.Events[n-1].ID, cases.Reason{Why: s.text("why")})}, nil
}

func draftsAccepted(_ context.Context, d *desk, c *cases.Case, s said) ([]cases.Draft, error) {
	why := s.text("why")
	if strings.TrimSpace(why) == "" {
		return nil, usageError{sayAcceptWhy}
	}
	if ref, _ := d.base.Lookup(s.words[0]); ref.Kind == rulebase.KindSymptom {
		return one(cases.KindAccepted, cases.Accepted{Symptom: s.words[0], Why: why})
	}
	p, err := inPlace(c, s.words[0])
	if err != nil {
		return nil, err
	}
	return one(cases.KindAccepted, cases.Accepted{Event: p.Event.ID, Why: why})
}

func draftsClosed(ctx context.Context, d *desk, c *cases.Case, s said) ([]cases.Draft, error) {
	closing := cases.Closing{Causes: s.list("cause"), How: s.text("how"), Outcome: s.text("outcome"), UnitVerdict: s.text("unit")}
	if err := d.checkClosing(ctx, c, &closing); err != nil {
		return nil, err
	}
	return one(cases.KindClosed, closing)
}

// checkClosing refuses what cannot be, and says what still stands against closing.
func (d *desk) checkClosing(ctx context.Context, c *cases.Case, closing *cases.Closing) error {
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
	open, err := d.openPoints(ctx, c, closing)
	if err != nil {
		return err
	}
	if len(open) > 0 {
		return inputError{report.OpenPoints(d.base, c, open)}
	}
	return nil
}

// openPoints are what is not settled yet where a case is closed so.
func (d *desk) openPoints(ctx context.Context, c *cases.Case, closing *cases.Closing) ([]cases.OpenPoint, error) {
	unexplained, err := d.unexplained(ctx, c, closing.Causes)
	if err != nil {
		return nil, err
	}
	return c.OpenPoints(unexplained), nil
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
		Use: "join CASE CASE...", Short: shortCaseJoin, Long: longCaseJoin, Args: oneCase(-1),
		RunE: func(cmd *cobra.Command, args []string) error {
			ctx := cmd.Context()
			var all []*cases.Case
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error {
				all = append(all, c)
				for _, other := range args[1:] {
					c, err := d.find(ctx, other)
					if err != nil {
						return err
					}
					all = append(all, c)
				}
				event := newID()
				var drafts []cases.Draft
				for _, c := range all {
					joined := cases.Say(cases.KindJoined, cases.Joined{Event: event, Name: name})
					joined.Subject = cases.Subject{Kind: cases.AboutCase, ID: c.ID}
					drafts = append(drafts, joined)
				}
				if _, err := d.write(ctx, c.ID, drafts...); err != nil { // all of them or none
					return err
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
