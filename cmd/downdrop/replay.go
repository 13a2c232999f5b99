package main

import (
	"context"
	"runtime"
	"sync"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
)

type replayOptions struct {
	deskOptions
	json bool
}

func newReplayCmd(env *environment) *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use: "replay", Short: shortReplay, Long: longReplay, Example: exampleReplay, Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return runReplay(cmd.Context(), env, o) },
	}
	addStoreFlags(cmd, &o.deskOptions)
	cmd.Flags().BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.ReplaySchema)
	return cmd
}

// runReplay takes all closed cases of a store through the rulebase in use.
func runReplay(ctx context.Context, env *environment, o replayOptions) error {
	d, err := o.openDesk(ctx, env)
	if err != nil {
		return err
	}
	defer d.store.Close()
	var ids []string
	for q := (cases.Query{State: cases.StateClosed, Limit: 500}); ; q.After = ids[len(ids)-1] {
		found, err := d.store.Find(ctx, q)
		if err != nil {
			return err
		}
		for i := range found {
			ids = append(ids, found[i].ID)
		}
		if len(found) < q.Limit {
			break
		}
	}
	all := make([]*cases.Replayed, len(ids))
	errs := make([]error, len(ids))
	prepared := engine.Prepare(d.base)
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				c, err := d.store.Case(ctx, ids[i])
				if err == nil {
					all[i], err = cases.Replay(ctx, prepared, c)
				}
				errs[i] = err
			}
		})
	}
	progress := env.progress("replay")
	for i := range ids {
		next <- i
		progress(i+1, len(ids))
	}
	close(next)
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	score := cases.Sum(all)
	if o.json {
		return written(report.ReplayJSON(env.out, d.base, all, score))
	}
	return written(report.ReplayText(env.out, env.width(), d.base, score))
}

const (
	shortReplay = "Take the closed cases through the rulebase of today"
	longReplay  = `Take the closed cases of a store through the rulebase of today, entry by entry as they
went: was what it turned out to be first, or among the first three, how much earlier
could it have been known, and are the chances that were given as good as they say.`
	exampleReplay = `  downdrop replay
  downdrop replay --rulebase shop/rulebase --json`
)
