package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"runtime"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

type replayOptions struct {
	deskOptions
	files               []string // exports, in place of the store
	against             string
	json                bool
	junit, plot         string
	leastFirst, inThree float64 // percent
}

func newReplayCmd(env *environment) *cobra.Command {
	var o replayOptions
	cmd := &cobra.Command{
		Use: "replay [EXPORT.jsonl ...]", Short: shortReplay, Long: longReplay,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.files = args
			return runReplay(cmd.Context(), env, o)
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.StringVar(&o.against, "against", "", "hold it `AGAINST` another: a folder of a rulebase, the digest of one that the store keeps, \"last\" for the one that the cases used last before this, or the JSON of an earlier replay")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.ReplaySchema)
	f.StringVar(&o.junit, "junit", "", "also write JUnit XML to this `FILE`, for build servers; - for the output")
	f.StringVar(&o.plot, "plot", "", "also draw chances against what came true to this `FILE` (SVG)")
	f.Float64Var(&o.leastFirst, "least-first", 0, "exit 1 where what it turned out to be is first in less than `PERCENT` of the cases")
	f.Float64Var(&o.inThree, "least-in-three", 0, "exit 1 where it is among the first three in less than `PERCENT`")
	return cmd
}

// runReplay takes closed cases through the rulebase in use.
func runReplay(ctx context.Context, env *environment, o replayOptions) error {
	switch {
	case o.json && o.junit == "-":
		return usageError{sayOneOutput}
	case !(o.leastFirst >= 0 && o.leastFirst <= 100 && o.inThree >= 0 && o.inThree <= 100): // NaN would hold of every share
		return usageError{sayPercent}
	}
	base, source, err := o.closed(ctx, env)
	if err != nil {
		return err
	}
	defer source.close()
	r := &report.Replay{Base: base, LeastFirst: o.leastFirst / 100, LeastInThree: o.inThree / 100}
	var was earlier
	if o.against != "" {
		if was, err = source.before(ctx, env, base, o.against); err != nil {
			return err
		}
		r.Against, r.Versus = was.says, &cases.Versus{}
	}
	each := o.json || o.junit != "" // prints every case, so they are kept
	var sums cases.Tally
	err = source.replay(ctx, env, engine.Prepare(base), was, func(now, before *cases.Replayed) {
		sums.Add(now)
		if r.Versus != nil {
			r.Versus.Add(before, now)
		}
		if each {
			r.Cases = append(r.Cases, now)
		}
	})
	if err != nil {
		return err
	}
	r.Score = sums.Score()
	if err := o.print(env, r); err != nil {
		return err
	}
	if len(r.Problems()) > 0 {
		return foundError{}
	}
	return nil
}

func (o *replayOptions) print(env *environment, r *report.Replay) error {
	if o.plot != "" {
		if err := writeResult(env, o.plot, r.SVG); err != nil {
			return err
		}
	}
	if o.junit != "" {
		if err := writeResult(env, o.junit, r.JUnit); err != nil || o.junit == "-" {
			return err
		}
	}
	if o.json {
		return written(r.JSON(env.out))
	}
	return written(r.Text(env.out, env.width()))
}

// A closedSource is where closed cases come from: a store, or what was exported of one.
type closedSource struct {
	store cases.Store // nil: cases
	cases []*cases.Case
	ids   []string // of the store's
}

// closed opens the rulebase and the closed cases.
func (o *replayOptions) closed(ctx context.Context, env *environment) (*rulebase.Base, *closedSource, error) {
	if len(o.files) == 0 {
		d, err := o.openDesk(ctx, env)
		if err != nil {
			return nil, nil, err
		}
		s := &closedSource{store: d.store}
		if s.ids, err = cases.ClosedIDs(ctx, d.store); err != nil {
			s.close()
			return nil, nil, err
		}
		return d.base, s, nil
	}
	base, err := env.open(o.rulebase)
	if err != nil {
		return nil, nil, err
	}
	s := &closedSource{}
	for _, name := range o.files {
		all, err := readExport(name)
		if err != nil {
			return nil, nil, err
		}
		for _, c := range all {
			if c.State == cases.StateClosed {
				s.cases = append(s.cases, c)
			}
		}
	}
	return base, s, nil
}

func readExport(name string) ([]*cases.Case, error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer file.Close()
	all, err := cases.ExportedCases(file)
	if errors.Is(err, cases.ErrSpoilt) {
		return nil, inputError{name + ": " + err.Error()}
	}
	return all, err
}

func (s *closedSource) close() {
	if s.store != nil {
		s.store.Close()
	}
}

func (s *closedSource) len() int {
	if s.store == nil {
		return len(s.cases)
	}
	return len(s.ids)
}

func (s *closedSource) at(ctx context.Context, i int) (*cases.Case, error) {
	if s.store == nil {
		return s.cases[i], nil
	}
	return s.store.Case(ctx, s.ids[i])
}

// replayBlock is how many cases are under way at once: what follows is told of them in their order.
const replayBlock = 256

// replay takes all of them through a rulebase, on all cores, and holds each against what was before. Cases are
// told in their order and not kept.
func (s *closedSource) replay(ctx context.Context, env *environment, p *engine.Prepared, was earlier, tell func(now, before *cases.Replayed)) error {
	now, before := make([]*cases.Replayed, replayBlock), make([]*cases.Replayed, replayBlock)
	progress := env.progress("replay")
	for from := 0; from < s.len(); from += replayBlock {
		n := min(replayBlock, s.len()-from)
		err := s.each(ctx, from, n, func(i int, c *cases.Case) (err error) {
			if now[i], err = cases.Replay(ctx, p, c); err == nil {
				before[i], err = was.of(ctx, c)
			}
			return err
		})
		if err != nil {
			return err
		}
		for i := range n {
			tell(now[i], before[i])
		}
		progress(from+n, s.len())
	}
	return nil
}

// each does something with n cases, on all cores.
func (s *closedSource) each(ctx context.Context, from, n int, do func(int, *cases.Case) error) error {
	errs := make([]error, n)
	var group sync.WaitGroup
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				c, err := s.at(ctx, from+i)
				if err == nil {
					err = do(i, c)
				}
				errs[i] = err
			}
		})
	}
	for i := range errs {
		next <- i
	}
	close(next)
	group.Wait()
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// An earlier is how cases fared before: by another rulebase, or as the JSON of a replay says.
type earlier struct {
	says     string
	prepared *engine.Prepared
	results  map[string]*cases.Replayed
}

// of is how a case fared; nil where that is not known.
func (e *earlier) of(ctx context.Context, c *cases.Case) (*cases.Replayed, error) {
	if e.prepared == nil {
		return e.results[c.ID], nil
	}
	return cases.Replay(ctx, e.prepared, c)
}

// before is how the cases fared elsewhere: by the JSON of an earlier replay, or by the rulebase of a folder
// or of a digest that the store keeps.
func (s *closedSource) before(ctx context.Context, env *environment, now *rulebase.Base, against string) (earlier, error) {
	if against == againstLast {
		digest, err := s.last(ctx, now)
		if err != nil {
			return earlier{}, err
		}
		against = digest
	}
	info, err := os.Stat(against)
	if err == nil && !info.IsDir() {
		text, err := env.readUpTo(ctx, against, mostReplay)
		if err != nil {
			return earlier{}, err
		}
		all, digest, err := report.ReadReplay(text)
		if err != nil {
			return earlier{}, inputError{fmt.Sprintf(sayNoReplay, against, report.ReplaySchema)}
		}
		return earlier{says: fmt.Sprintf(sayAgainstResult, against, short(digest)), results: cases.ByID(all)}, nil
	}
	var base *rulebase.Base
	if err == nil {
		base, err = env.folder(against)
	} else {
		base, err = s.kept(ctx, against)
	}
	if err != nil {
		return earlier{}, err
	}
	return earlier{says: fmt.Sprintf(sayAgainstRulebase, base.Name, base.Version, short(base.Digest)), prepared: engine.Prepare(base)}, nil
}

const againstLast = "last"

// last is the digest of the rulebase that was in use before this one: that of the case changed last that
// used another.
func (s *closedSource) last(ctx context.Context, now *rulebase.Base) (string, error) {
	if s.store == nil {
		return "", notFoundError{sayNoLast}
	}
	for i := range s.ids {
		c, err := s.at(ctx, i)
		if err != nil {
			return "", err
		}
		for _, digest := range slices.Backward(c.Rulebases) {
			if digest != now.Digest {
				return digest, nil
			}
		}
	}
	return "", notFoundError{sayNoLast}
}

const mostReplay = 1 << 30 // a hundred thousand cases are some 40 MiB

func short(digest string) string { return digest[:min(12, len(digest))] }

// kept loads a rulebase that the store keeps, by the beginning of its digest.
func (s *closedSource) kept(ctx context.Context, digest string) (*rulebase.Base, error) {
	if s.store == nil || len(digest) < 6 {
		return nil, notFoundError{fmt.Sprintf(sayNoAgainst, digest)}
	}
	files, err := s.store.Files(ctx)
	if err != nil {
		return nil, err
	}
	var found []string
	for _, f := range files {
		if strings.HasPrefix(f, strings.ToLower(digest)) {
			found = append(found, f)
		}
	}
	if len(found) != 1 {
		return nil, notFoundError{fmt.Sprintf(sayNoAgainst, digest)}
	}
	bundle, err := s.store.File(ctx, found[0])
	if err != nil {
		return nil, err
	}
	base, err := rulebase.LoadBundle(bundle)
	if err != nil {
		return nil, inputError{fmt.Sprintf(sayNoBundle, short(found[0]), err)}
	}
	return base, nil
}

const (
	sayNoReplay        = "%s: it is no result of a replay; \"downdrop replay --json\" writes one (schema %s)."
	sayAgainstResult   = "%s (rulebase %s)"
	sayAgainstRulebase = "rulebase %s, version %d (%s)"
	sayNoAgainst       = "%s: no file or folder of that name, and no one rulebase that the store keeps begins with that digest; \"downdrop replay --json\" prints the digest in use."
	sayNoLast          = "last: no closed case of a store used another rulebase than this one; name a folder, a digest or the JSON of an earlier replay."
	sayNoBundle        = "what the store keeps under %s is no rulebase that loads: %v"
	sayPercent         = "--least-first, --least-in-three - a percentage from 0 to 100 is wanted."
)

const (
	shortReplay = "Take the closed cases through the rulebase of today"
	longReplay  = `Take the closed cases of a store, or of exports, through the rulebase of today, entry by
entry as they went: was what it turned out to be first, or among the first three, how
much earlier could it have been known, and do the chances that were given come true.

How far off chance alone leaves right chances is printed beside it: with few cases that
is a lot. --against holds each case against another rulebase, and says which got worse.
Exit code 1: a case got worse, or a floor of --least-first, --least-in-three is not kept.`
)
