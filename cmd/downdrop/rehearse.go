package main

import (
	"context"
	"fmt"
	"slices"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
)

type rehearseOptions struct {
	policies bool
	svg      string
	rulebase []string
	cases    int
	seed     uint64
	at       []string
	variant  []string
	number   int // the one case to replay; -1: none
	json     bool
}

func newRehearseCmd(env *environment, runF func(context.Context, *environment, rehearseOptions) error) *cobra.Command {
	var o rehearseOptions
	cmd := &cobra.Command{
		Use:   "rehearse",
		Short: shortRehearse,
		Long:  longRehearse,
		Args:  noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return runF(cmd.Context(), env, o)
		},
	}
	f := cmd.Flags()
	addRulebase(cmd, &o.rulebase)
	f.IntVar(&o.cases, "cases", 200, "play `N` cases of each variant, spread over the places")
	f.Uint64Var(&o.seed, "seed", 1, "the `NUMBER` that chance starts from: the same number, the same cases")
	addMany(f, &o.at, "at", "play at this `PLACE` only: phone, field or bench; may be said again")
	addMany(f, &o.variant, "variant", "play this `VARIANT` only: own, disturbed or wrong_answers; may be said again")
	f.IntVar(&o.number, "case", -1, "replay case `K` of a place alone, and print its course")
	f.BoolVar(&o.policies, "policies", false, "compare rival ways of going about it on the same breakdowns, at the drop and by phone")
	f.StringVar(&o.svg, "svg", "", "with --policies: also draw the minutes into this `FILE` (SVG)")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.RehearsalSchema+"\nor, with --policies, "+report.ContestSchema)
	return cmd
}

func variantWords() []string {
	var words []string
	for _, v := range rehearse.Variants() {
		words = append(words, string(v))
	}
	return words
}

// mostRehearsed bounds what is played at once: more than a night's work.
const mostRehearsed = 1_000_000

// check says what is wrong with the flags.
func (o *rehearseOptions) check() error {
	for _, at := range o.at {
		if err := oneOf(at, placeWords); err != nil {
			return usageError{fmt.Sprintf(sayFlagValue, "at", at, err)}
		}
	}
	for _, v := range o.variant {
		if err := oneOf(v, variantWords()); err != nil {
			return usageError{fmt.Sprintf(sayFlagValue, "variant", v, err)}
		}
	}
	switch {
	case o.cases < 1 || o.cases > mostRehearsed:
		return usageError{fmt.Sprintf(sayFlagValue, "cases", fmt.Sprint(o.cases), fmt.Sprintf(sayWholeFrom, 1, mostRehearsed))}
	case o.number < -1 || o.number > mostRehearsed:
		return usageError{fmt.Sprintf(sayFlagValue, "case", fmt.Sprint(o.number), fmt.Sprintf(sayWholeFrom, 0, mostRehearsed))}
	case o.policies && o.number >= 0, o.svg != "" && !o.policies:
		return usageError{sayPolicies}
	case o.number >= 0 && o.json:
		return usageError{sayCaseInWords}
	}
	return nil
}

// places and variants are what was asked for, else all.
func (o *rehearseOptions) places() []rulebase.Place {
	var places []rulebase.Place
	for _, p := range rehearse.Places() {
		if len(o.at) == 0 || slices.Contains(o.at, string(p)) {
			places = append(places, p)
		}
	}
	return places
}

func (o *rehearseOptions) variants() []rehearse.Variant {
	var variants []rehearse.Variant
	for _, v := range rehearse.Variants() {
		if len(o.variant) == 0 || slices.Contains(o.variant, string(v)) {
			variants = append(variants, v)
		}
	}
	return variants
}

// runRehearse plays simulated breakdowns and says how often the advice was right.
func runRehearse(ctx context.Context, env *environment, o rehearseOptions) error {
	if err := o.check(); err != nil {
		return err
	}
	base, err := env.open(o.rulebase)
	if err != nil {
		return err
	}
	if o.policies {
		return comparePolicies(ctx, env, base, &o)
	}
	if o.number >= 0 {
		return replayCase(ctx, env, base, &o)
	}
	r := report.NewRehearsal(base, o.seed, o.cases)
	for _, v := range o.variants() {
		played := rehearse.Options{Cases: o.cases, Seed: o.seed, Places: o.places(), Variant: v, Played: env.progress(string(v))}
		all, err := rehearse.Play(ctx, base, played)
		if err != nil {
			return err
		}
		r.Add(v, rehearse.Sum(all))
	}
	if o.json {
		return written(r.JSON(env.out))
	}
	return written(r.Text(env.out, env.width()))
}

// progress tells of every tenth of the work.
func (env *environment) progress(what string) func(done, of int) {
	return func(done, of int) {
		if of >= 50 && done*10/of > (done-1)*10/of {
			fmt.Fprintf(env.err, sayPlayed, what, done, of)
		}
	}
}

// replayCase plays one case of each place and variant asked for, and tells its course.
func replayCase(ctx context.Context, env *environment, base *rulebase.Base, o *rehearseOptions) error {
	variants := o.variants()
	if len(o.variant) == 0 {
		variants = variants[:1]
	}
	for _, v := range variants {
		theatre := rehearse.NewTheatre(base, rehearse.Options{Seed: o.seed, Variant: v})
		for _, place := range o.places() {
			c, err := theatre.Play(ctx, place, o.number)
			if err != nil {
				return err
			}
			if err := report.Course(env.out, base, v, c, env.width()); err != nil {
				return written(err)
			}
		}
	}
	return nil
}

// comparePolicies plays the rivals against the same breakdowns, at the drop and by phone.
func comparePolicies(ctx context.Context, env *environment, base *rulebase.Base, o *rehearseOptions) error {
	contest := report.NewContest(base, o.seed, o.cases)
	for _, place := range []rulebase.Place{rulebase.Field, rulebase.Phone} {
		if len(o.at) > 0 && !slices.Contains(o.at, string(place)) {
			continue
		}
		for _, v := range o.variants() {
			played := rehearse.Options{Cases: o.cases, Seed: o.seed, Places: []rulebase.Place{place}, Variant: v, Played: env.progress(string(place) + ", " + string(v))}
			x, err := rehearse.Contest(ctx, base, played, rehearse.Rivals(base))
			if err != nil {
				return err
			}
			contest.Add(x)
		}
	}
	if o.svg != "" {
		if err := env.into(o.svg, contest.SVG); err != nil {
			return err
		}
	}
	if o.json {
		return written(contest.JSON(env.out))
	}
	return written(contest.Text(env.out, env.width()))
}
