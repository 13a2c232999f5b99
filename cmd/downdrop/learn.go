package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
)

type learnOptions struct {
	replayOptions // for the cases
	learn.Options
	level float64 // percent
	folds int
	patch string
	all   bool
}

func newLearnCmd(env *environment) *cobra.Command {
	o := learnOptions{Options: learn.Usual}
	cmd := &cobra.Command{
		Use: "learn [EXPORT.jsonl ...]", Short: shortLearn, Long: longLearn,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.files = args
			return runLearn(cmd.Context(), env, o)
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.Float64Var(&o.Worth, "worth", o.Worth, "how many `CASES` a row of the rulebase is worth")
	f.Float64Var(&o.WorthWeights, "worth-weights", o.WorthWeights, "how many `CASES` the weights of all causes together are worth")
	f.Float64Var(&o.level, "level", 100*o.Level, "how much intervals hold, in `PERCENT`")
	f.IntVar(&o.folds, "parts", 5, "try it on cases it did not learn from, in so many `PARTS`; 0 does not")
	f.StringVar(&o.patch, "patch", "", "write the proposal as a layer of YAML to this `FILE`; - for the output")
	f.BoolVar(&o.all, "all", false, "print what agrees with experience too")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.LessonsSchema)
	return cmd
}

// runLearn holds the numbers of the rulebase in use against closed cases.
func runLearn(ctx context.Context, env *environment, o learnOptions) error {
	switch o.Level = o.level / 100; {
	case o.json && o.patch == "-":
		return usageError{sayOneLesson}
	case !(o.Worth > 0) || !(o.WorthWeights > 0) || o.Worth > 1e9 || o.WorthWeights > 1e9:
		return usageError{sayWorth}
	case !(o.Level > 0) || o.Level >= 1:
		return usageError{sayLevel}
	case o.folds < 0 || o.folds == 1 || o.folds > 100:
		return usageError{sayParts}
	}
	base, source, err := o.closed(ctx, env)
	if err != nil {
		return err
	}
	defer source.close()
	all := learn.Closed{Len: source.len(), At: func(ctx context.Context, i int) (*cases.Case, error) { return source.at(ctx, i) }, Tell: env.progress("learn")}
	experience, err := learn.Gather(ctx, engine.Prepare(base), all)
	if err != nil {
		return err
	}
	r := &report.Lessons{Lessons: learn.Learn(base, experience, o.Options), All: o.all}
	patch := r.Lessons.Patch()
	if patch != "" && o.folds > 0 && len(experience) >= o.folds {
		if r.Held, err = learn.CrossFit(ctx, base, all, experience, o.folds, o.Options); err != nil {
			return err
		}
	}
	if o.patch != "" && patch != "" {
		err := writeResult(env, o.patch, func(w io.Writer) error {
			_, err := io.WriteString(w, patch)
			return err
		})
		if err != nil || o.patch == "-" {
			return err
		}
		r.Lessons.Options = o.Options
		r.Patch = o.patch
	}
	if o.json {
		return written(r.JSON(env.out))
	}
	return written(r.Text(env.out, env.width()))
}

const (
	sayOneLesson = "--json and --patch - both want the output; write the proposal to a file."
	sayWorth     = "--worth, --worth-weights - a number of cases above 0 is wanted."
	sayLevel     = "--level - a percentage between 0 and 100 is wanted."
	sayParts     = "--parts - 0, or 2 to 100, is wanted."
)

const (
	shortLearn = "Say which numbers of the rulebase closed cases disagree with"
	longLearn  = `Hold the numbers of the rulebase against closed cases, those of a store or of exports:
the weights of causes and the rows of symptoms. What the rulebase says counts as so many
cases; what was proven and seen is added to that. A number disagrees with experience where it lies
outside the interval of what is then known and what was seen would be rare were it right.

What disagrees is proposed anew, as a layer of YAML with what stood there before and the
cases behind each change. It is never applied by this program. What it is worth is tried
on cases that it was not learned from: the cases are parted, and each part goes through
the rulebase with what all other parts propose.

Reports before any work are counted, as sure as they were; which remedies help, and by how
much givens move a weight, is not learned.`
)
