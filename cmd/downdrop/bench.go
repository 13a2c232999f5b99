package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
	"downdrop/rulebase/source"
)

func newBenchCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{Use: "bench", Short: shortBench, Long: longBench, Args: knownCommand}
	cmd.AddCommand(newBenchRunCmd(env), newBenchResumeCmd(env), newBenchListCmd(env), newBenchShowCmd(env), newBenchCheckCmd(env))
	return cmd
}

type benchOptions struct {
	deskOptions
	unit    string
	file    string
	answers string
	inCase  string
}

func newBenchRunCmd(env *environment) *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use: "run PROCEDURE --unit PROFILE", Short: shortBenchRun, Long: longBenchRun, Args: oneWord(sayOneProcedure),
		RunE: func(cmd *cobra.Command, args []string) error { return runBenchRun(cmd.Context(), env, o, args[0]) },
	}
	cmd.Flags().StringVar(&o.unit, "unit", "", "the unit profile: its `NAME`, or a file")
	cmd.Flags().StringVar(&o.file, "file", "", "the new `FILE` that the run is kept in; else one is named by procedure and time")
	o.addFlags(cmd)
	return cmd
}

func newBenchResumeCmd(env *environment) *cobra.Command {
	var o benchOptions
	cmd := &cobra.Command{
		Use: "resume FILE", Short: shortBenchResume, Long: longBenchResume, Args: oneWord(sayOneRun),
		RunE: func(cmd *cobra.Command, args []string) error {
			return runBenchResume(cmd.Context(), env, o, args[0])
		},
	}
	o.addFlags(cmd)
	return cmd
}

func (o *benchOptions) addFlags(cmd *cobra.Command) {
	cmd.Flags().StringVar(&o.answers, "answers", "", "take entries from this `FILE`, or - for the input, instead of a terminal")
	cmd.Flags().StringVar(&o.inCase, "case", "", "also add what is found to this `CASE` of the store")
	addStoreFlags(cmd, &o.deskOptions)
}

// oneWord is the Args of a command that takes one word.
func oneWord(says string) cobra.PositionalArgs {
	return func(_ *cobra.Command, args []string) error {
		if len(args) != 1 {
			return usageError{says}
		}
		return nil
	}
}

// runBenchRun begins a run and goes through it.
func runBenchRun(ctx context.Context, env *environment, o benchOptions, id string) error {
	in, err := o.entries(ctx, env)
	if err != nil {
		return err
	}
	base, err := env.open(o.rulebase)
	if err != nil {
		return err
	}
	p, err := procedureNamed(base, id)
	if err != nil {
		return err
	}
	unit, err := profileNamed(base, o.unit)
	if err != nil {
		return err
	}
	t, err := o.terminal(ctx, env, base, in, false)
	if err != nil {
		return err
	}
	defer t.close()
	if first, err := bench.Run(p, unit, nil); err != nil {
		return err
	} else if err := t.checkBy(first); err != nil { // before there is a file
		return err
	}
	if o.file == "" {
		o.file = fmt.Sprintf("%s-%s.run.jsonl", p.ID, env.clock().Format("20060102-150405"))
	}
	if t.file, err = shop.NewRun(o.file); errors.Is(err, fs.ErrExist) {
		return usageError{fmt.Sprintf(sayRunExists, o.file, o.file)}
	} else if err != nil {
		return outputError{err}
	}
	begun := shop.Begun(base, p, unit, ourVersion())
	if t.inCase != nil {
		begun.Values[shop.InCase] = t.inCase.ID
	}
	if err := t.file.Append(bench.Append(nil, begun, env.clock())); err != nil {
		return ofShop(err)
	}
	return t.run(ctx)
}

// runBenchResume goes on with a run.
func runBenchResume(ctx context.Context, env *environment, o benchOptions, name string) error {
	in, err := o.entries(ctx, env)
	if err != nil {
		return err
	}
	base, err := env.open(o.rulebase)
	if err != nil {
		return err
	}
	file, err := shop.OpenRun(name)
	if err != nil {
		return ofShop(err)
	}
	remembered := o.inCase == ""
	if remembered {
		o.inCase = file.Events[0].Values[shop.InCase]
	}
	t, err := o.terminal(ctx, env, base, in, remembered)
	if err != nil && remembered && o.inCase != "" { // the bench goes on without it
		fmt.Fprintf(env.err, sayRunCaseNotHere+"\n", name, o.inCase)
		o.inCase = ""
		t, err = o.terminal(ctx, env, base, in, remembered)
	}
	if err != nil {
		if not := file.Close(); not != nil {
			err = errors.Join(err, not)
		}
		return err
	}
	t.file = file
	defer t.close()
	if began := t.file.Events[0].Values["rulebase_digest"]; began != base.Digest {
		fmt.Fprintf(env.err, sayRunOtherBase, name)
	}
	return t.run(ctx)
}

// entries gives what is typed, from a terminal or from what --answers names.
func (o *benchOptions) entries(ctx context.Context, env *environment) (<-chan string, error) {
	switch {
	case o.answers == "-":
		return entries(ctx, env.in), nil
	case o.answers != "":
		text, err := env.read(ctx, o.answers)
		if err != nil {
			return nil, err
		}
		return entries(ctx, strings.NewReader(string(text))), nil
	case !env.terminal:
		return nil, noBenchTerminal{}
	}
	return entries(ctx, env.in), nil
}

// noBenchTerminal says what else can answer.
type noBenchTerminal struct{}

func (noBenchTerminal) Error() string   { return sayBenchNobody }
func (noBenchTerminal) Is(t error) bool { return t == errNoTerminal }

// procedureNamed finds a bench procedure, or says what was probably meant.
func procedureNamed(base *rulebase.Base, id string) (*rulebase.Procedure, error) {
	all, err := base.Procedures()
	if err != nil {
		return nil, err
	}
	var ids []string
	for _, p := range all {
		if p.ID == id {
			return p, nil
		}
		ids = append(ids, p.ID)
	}
	return nil, notThere(sayNoProcedure, id, ids)
}

// profileNamed finds a unit profile by its name, or reads a file.
func profileNamed(base *rulebase.Base, name string) (*rulebase.Profile, error) {
	all, err := base.Profiles()
	if err != nil {
		return nil, err
	}
	var names []string
	for _, p := range all {
		if p.Name == name {
			return p, nil
		}
		names = append(names, p.Name)
	}
	switch {
	case name == "":
		return nil, usageError{fmt.Sprintf(sayWhichUnit, strings.Join(names, ", "))}
	case strings.HasSuffix(name, ".yaml"), strings.ContainsRune(name, filepath.Separator):
		text, err := readFile(name, mostInput)
		if err != nil {
			return nil, err
		}
		return rulebase.ReadProfile(name, text)
	}
	return nil, notThere(sayNoProfile, name, names)
}

func notThere(says, name string, have []string) error {
	says = fmt.Sprintf(says, name)
	if near := source.Nearest(name, have); near != "" {
		return notFoundError{says + fmt.Sprintf(sayMeant, near)}
	}
	return notFoundError{says + fmt.Sprintf(sayThereAre, strings.Join(have, ", "))}
}

// A benchTerminal is the skin of a run that is a screen and a keyboard.
type benchTerminal struct {
	env      *environment
	base     *rulebase.Base
	prepared *engine.Prepared // made at the first fail
	entries  <-chan string
	file     *shop.Run
	by       string
	desk     *desk // where findings are added to a case; else nil
	inCase   *cases.Case
}

// terminal opens the bench, and the case that what is found is added to: one that the run remembers only where there is a store.
func (o *benchOptions) terminal(ctx context.Context, env *environment, base *rulebase.Base, in <-chan string, remembered bool) (*benchTerminal, error) {
	t := &benchTerminal{env: env, base: base, entries: in, by: o.by}
	if t.by == "" {
		t.by = env.variable("DOWNDROP_BY")
	}
	if o.inCase == "" {
		return t, nil
	}
	if remembered {
		if name, err := storeName(env, o.store); err != nil || !storeThere(name) { // none is made for it
			return nil, cases.ErrNotFound
		}
	}
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return nil, err
	}
	t.desk = d
	t.inCase, err = d.store.Case(ctx, o.inCase)
	if errors.Is(err, cases.ErrNotFound) {
		err = d.noSuchCase(ctx, o.inCase)
	}
	if err != nil {
		d.store.Close()
		return nil, err
	}
	d.writer.Place = rulebase.Bench
	return t, nil
}

func (t *benchTerminal) close() {
	if t.file != nil {
		t.file.Close()
	}
	if t.desk != nil {
		t.desk.store.Close()
	}
}

// run asks, takes entries and appends them until the end, or until somebody stops.
func (t *benchTerminal) run(ctx context.Context) error {
	s, err := t.file.State(t.base)
	if err != nil {
		return ofShop(err)
	}
	if err := t.sayFound(ctx, s); err != nil { // what was found before the case was named, or could not be added then
		fmt.Fprintf(t.env.err, sayNotAdded+"\n", err)
	}
	ended := s.Wants.Kind == bench.WantsNothing // it was at its end before anybody typed here
	if s.Wants.Kind == bench.WantsAnswer && s.Wants.Ask == "by" && t.by != "" {
		if err := t.checkBy(s); err != nil {
			return err
		}
		if s, err = t.take(ctx, s, t.by); err != nil {
			return err
		}
	}
	if _, err := io.WriteString(t.env.out, folded(fmt.Sprintf(sayRunBegins, s.Procedure.Name, s.Unit.Type, t.file.Name), t.env.width())); err != nil {
		return written(err)
	}
	if s, err = t.goneOnWith(s); err != nil {
		return err
	}
	var before *bench.State
	for s.Wants.Kind != bench.WantsNothing || ended {
		if err := t.asks(s, before); err != nil {
			return err
		}
		before = s
		if _, err := io.WriteString(t.env.out, talkPrompt); err != nil {
			return written(err)
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case entry, ok := <-t.entries:
			if !ok || ended && strings.TrimSpace(entry) == "" {
				if ended {
					return t.kept("\n")
				}
				return t.stopped(s, "\n")
			}
			after, err := t.take(ctx, s, entry)
			if errors.Is(err, bench.ErrStop) {
				if ended {
					return t.kept("")
				}
				return t.stopped(s, "")
			}
			if says, asked := askedBack(err); asked {
				if _, err := io.WriteString(t.env.out, folded(says, t.env.width())); err != nil {
					return written(err)
				}
				continue
			} else if err != nil {
				return err
			}
			if s = after; ended { // taken back: it goes on
				if s, err = t.goneOnWith(s); err != nil {
					return err
				}
			}
			ended = ended && s.Wants.Kind == bench.WantsNothing
		}
	}
	if err := report.BenchEnd(t.env.out, s, t.env.width()); err != nil {
		return written(err)
	}
	return t.kept("")
}

// goneOnWith has the warnings confirmed again where another person goes on, or on another day, and that person kept.
func (t *benchTerminal) goneOnWith(s *bench.State) (*bench.State, error) {
	again := s.MustConfirmAgain(t.by, t.env.clock().Format(time.DateOnly))
	after, fresh, err := t.file.Resumed(s, t.by, t.env.clock())
	if err != nil || fresh == nil {
		return s, err
	}
	if err := t.file.Append(*fresh); err != nil {
		return nil, ofShop(err)
	}
	if again {
		_, err = io.WriteString(t.env.out, folded(sayRunConfirmAgain, t.env.width()))
	}
	return after, written(err)
}

// checkBy refuses a name that means something else at the bench, as "stop" does. The state is the one that asks for it.
func (t *benchTerminal) checkBy(s *bench.State) error {
	if t.by == "" {
		return nil
	}
	if e, err := s.Enter(t.by); err != nil || e.Kind != bench.Answered {
		return usageError{fmt.Sprintf(sayRunByWord, t.by)}
	}
	return nil
}

// asks shows what is asked next; of a run that is at its end, what it came to and how it is taken back.
func (t *benchTerminal) asks(s, before *bench.State) error {
	if s.Wants.Kind != bench.WantsNothing {
		return written(report.BenchStep(t.env.out, s, before, t.env.width()))
	}
	if before != s {
		if err := report.BenchEnd(t.env.out, s, t.env.width()); err != nil {
			return written(err)
		}
	}
	_, err := fmt.Fprintln(t.env.out, sayRunAtEnd)
	return written(err)
}

// kept says where a run at its end is, and what writes its record.
func (t *benchTerminal) kept(first string) error {
	_, err := fmt.Fprintf(t.env.out, first+sayRunEnded+"\n", t.file.Name, t.file.Name)
	return written(err)
}

// askedBack says that an entry could not be taken, and what to type instead.
func askedBack(err error) (string, bool) {
	var asked *bench.Asked
	var question *quantity.Question
	switch {
	case errors.As(err, &asked):
		return asked.Says, true
	case errors.As(err, &question):
		return question.Error(), true
	}
	return "", false
}

// stopped ends for now.
func (t *benchTerminal) stopped(s *bench.State, first string) error {
	if err := report.BenchEnd(t.env.out, s, t.env.width()); err != nil {
		return written(err)
	}
	_, err := fmt.Fprintf(t.env.out, first+sayRunStopped+"\n", t.file.Name)
	return written(err)
}

// take appends what an entry says, shows what it came to and adds what was found to
// the case.
func (t *benchTerminal) take(ctx context.Context, s *bench.State, entry string) (*bench.State, error) {
	after, e, err := t.file.Take(s, entry, t.env.clock())
	if err != nil {
		return nil, ofShop(err)
	}
	var d *engine.Diagnosis
	if shop.FailedBy(after, e) {
		if t.prepared == nil {
			t.prepared = engine.Prepare(t.base)
		}
		if d, err = shop.Diagnose(ctx, t.prepared, after, t.inCase); err != nil {
			return nil, err
		}
	}
	if err := t.sayFound(ctx, after); err != nil {
		fmt.Fprintf(t.env.err, sayNotAdded+"\n", err) // it is in the run, and the run is kept
	}
	return after, written(report.BenchTaken(t.env.out, after, s, e, d, t.env.width()))
}

// sayFound makes the findings of the case those of the run.
func (t *benchTerminal) sayFound(ctx context.Context, s *bench.State) error {
	if t.desk == nil {
		return nil
	}
	c, err := t.desk.store.Case(ctx, t.inCase.ID) // others write to it too
	if err != nil {
		return err
	}
	if drafts := shop.Found(s, c); len(drafts) > 0 {
		if c, err = t.desk.write(ctx, c.ID, drafts...); err != nil {
			return err
		}
	}
	t.inCase = c
	return nil
}

func newBenchListCmd(env *environment) *cobra.Command {
	var folders []string
	var json bool
	cmd := &cobra.Command{
		Use: "list", Short: shortBenchList, Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			base, err := env.open(folders)
			if err != nil {
				return err
			}
			procedures, err := base.Procedures()
			if err != nil {
				return err
			}
			profiles, err := base.Profiles()
			if err != nil {
				return err
			}
			if json {
				return written(report.BenchListJSON(env.out, procedures, profiles))
			}
			return written(report.BenchList(env.out, procedures, profiles, env.width()))
		},
	}
	addRulebase(cmd, &folders)
	cmd.Flags().BoolVar(&json, "json", false, "print JSON for programs, schema "+report.BenchListSchema)
	return cmd
}

func newBenchShowCmd(env *environment) *cobra.Command {
	var folders []string
	var unit string
	var json bool
	cmd := &cobra.Command{
		Use: "show PROCEDURE|FILE", Short: shortBenchShow, Long: longBenchShow, Args: oneWord(sayOneShown),
		RunE: func(_ *cobra.Command, args []string) error {
			base, err := env.open(folders)
			if err != nil {
				return err
			}
			if _, err := os.Stat(args[0]); err == nil && !strings.HasSuffix(args[0], ".yaml") {
				r, err := shop.ReadRun(args[0])
				if err != nil {
					return ofShop(err)
				}
				s, err := r.State(base)
				if err != nil {
					return ofShop(err)
				}
				if json {
					return written(report.BenchRunJSON(env.out, s))
				}
				return written(report.BenchRun(env.out, s, env.width()))
			}
			if json {
				return usageError{sayShowJSON}
			}
			p, err := procedureNamed(base, args[0])
			if err != nil {
				return err
			}
			var profile *rulebase.Profile
			if unit != "" {
				if profile, err = profileNamed(base, unit); err != nil {
					return err
				}
			}
			return written(report.BenchProcedure(env.out, p, profile, env.width()))
		},
	}
	cmd.Flags().StringVar(&unit, "unit", "", "with the limits for this unit profile: its `NAME`, or a file")
	cmd.Flags().BoolVar(&json, "json", false, "of a run, print JSON for programs, schema "+report.BenchRunSchema)
	addRulebase(cmd, &folders)
	return cmd
}

func newBenchCheckCmd(env *environment) *cobra.Command {
	var folders []string
	cmd := &cobra.Command{
		Use: "check FILE...", Short: shortBenchCheck, Long: longBenchCheck,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return usageError{sayWhatToCheck}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			base, err := env.open(folders)
			if err != nil {
				return err
			}
			return checkBenchFiles(env, base, args)
		},
	}
	addRulebase(cmd, &folders)
	return cmd
}

// checkBenchFiles reads procedures and unit profiles and tells all that is wrong in all of them.
func checkBenchFiles(env *environment, base *rulebase.Base, names []string) error {
	all := &rulebase.Problems{}
	for _, name := range names {
		text, err := readFile(name, mostInput)
		if err != nil {
			return err
		}
		if wrong := rulebase.WrongFirstKey(name, text); wrong != nil {
			all.List = append(all.List, *wrong)
			continue
		}
		if rulebase.IsProfile(text) {
			_, err = rulebase.ReadProfile(name, text)
		} else {
			_, err = base.ReadProcedure(name, text)
		}
		var problems *rulebase.Problems
		if errors.As(err, &problems) {
			all.List = append(all.List, problems.List...)
		} else if err != nil {
			return err
		}
	}
	if len(all.List) == 0 {
		_, err := fmt.Fprintln(env.out, sayNothingWrong)
		return written(err)
	}
	if _, err := fmt.Fprintln(env.out, strings.TrimRight(all.Error(), "\n")); err != nil {
		return written(err)
	}
	return foundError{}
}

// folded is a sentence as it goes onto the screen.
func folded(says string, width int) string {
	var b strings.Builder
	fold(&b, says, min(max(width, 20), report.Columns))
	return b.String()
}
