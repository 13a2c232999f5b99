package learn

import (
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// Closed gives closed cases one at a time, from whatever keeps them; it is asked by
// several goroutines at once.
type Closed struct {
	Len  int
	At   func(ctx context.Context, i int) (*cases.Case, error)
	Tell func(done, of int) // of a long run; nil: nobody asks
}

// Gather reads the experience of all cases that were proven, in the order of their ids.
func Gather(ctx context.Context, p *engine.Prepared, all Closed) ([]Experience, error) {
	list, used := make([]Experience, all.Len), make([]bool, all.Len)
	var same shared
	err := all.each(ctx, func(i int, c *cases.Case) (err error) {
		list[i], used[i], err = Of(ctx, p, c)
		list[i].Prior = same.of(list[i].Prior)
		return err
	})
	if err != nil {
		return nil, err
	}
	var out []Experience
	for i := range list {
		if used[i] {
			out = append(out, list[i])
		}
	}
	slices.SortStableFunc(out, func(a, b Experience) int { return strings.Compare(a.ID, b.ID) })
	return out, nil
}

// shared keeps one copy of lists that are the same: cases with the same givens expect the same.
type shared struct {
	mu  sync.Mutex
	all map[string][]float64
}

func (s *shared) of(list []float64) []float64 {
	var key []byte
	for _, x := range list {
		key = binary.LittleEndian.AppendUint64(key, math.Float64bits(x))
	}
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.all == nil {
		s.all = map[string][]float64{}
	}
	if there, ok := s.all[string(key)]; ok {
		return there
	}
	s.all[string(key)] = list
	return list
}

func (all *Closed) each(ctx context.Context, do func(i int, c *cases.Case) error) error {
	var (
		mu    sync.Mutex
		errs  []error
		group sync.WaitGroup
	)
	next := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		group.Go(func() {
			for i := range next {
				c, err := all.At(ctx, i)
				if err == nil {
					err = do(i, c)
				}
				if err != nil {
					mu.Lock()
					errs = append(errs, err)
					mu.Unlock()
				}
			}
		})
	}
	for i := range all.Len {
		if ctx.Err() != nil {
			break
		}
		next <- i
		if all.Tell != nil {
			all.Tell(i+1, all.Len)
		}
	}
	close(next)
	group.Wait()
	return errors.Join(append(errs[:min(1, len(errs))], ctx.Err())...)
}

// Held is what learning is worth on cases that it did not learn from.
type Held struct {
	Folds   int
	Patched int // folds whose lessons changed anything
	Before  *cases.Score
	After   *cases.Score
	Versus  *cases.Versus // After against Before, case by case
}

// CrossFit parts the cases into folds, by their place in the order of ids: for each fold it
// learns from all others, lays that patch over the rulebase, and takes the fold's own cases through
// both. What is learned from all cases together is another patch; this says what learning
// in this way is worth.
func CrossFit(ctx context.Context, base *rulebase.Base, all Closed, experience []Experience, folds int, o Options) (*Held, error) {
	bundle, err := base.Bundle()
	if err != nil {
		return nil, err
	}
	h := &Held{Folds: folds}
	fold := map[string]int{}
	for i := range experience {
		fold[experience[i].ID] = i % folds
	}
	prepared := make([]*engine.Prepared, folds)
	plain := engine.Prepare(base)
	for f := range folds {
		var others []Experience
		for i := range experience {
			if i%folds != f {
				others = append(others, experience[i])
			}
		}
		patch := Learn(base, others, o).Patch()
		if patch == "" {
			continue
		}
		changed, err := Patched(bundle, patch)
		if err != nil { // a fault of Patch: what it writes always loads
			return nil, fmt.Errorf("the patch of a part of the cases: %w", err)
		}
		h.Patched++
		prepared[f] = engine.Prepare(changed)
	}
	err = h.replay(ctx, all, func(c *cases.Case) (before, after *cases.Replayed, err error) {
		f, ok := fold[c.ID]
		if !ok {
			return nil, nil, nil
		}
		if before, err = cases.Replay(ctx, plain, c); err == nil && prepared[f] != nil {
			after, err = cases.Replay(ctx, prepared[f], c)
			return before, after, err
		}
		return before, before, err
	})
	return h, err
}

// block is how many cases are under way at once; they are added up in their order and not kept.
const block = 256

func (h *Held) replay(ctx context.Context, all Closed, both func(*cases.Case) (before, after *cases.Replayed, err error)) error {
	var was, is cases.Tally
	h.Versus = &cases.Versus{}
	before, after := make([]*cases.Replayed, block), make([]*cases.Replayed, block)
	for from := 0; from < all.Len; from += block {
		some := Closed{Len: min(block, all.Len-from), At: func(ctx context.Context, i int) (*cases.Case, error) { return all.At(ctx, from+i) }}
		if all.Tell != nil {
			some.Tell = func(done, _ int) { all.Tell(from+done, all.Len) }
		}
		err := some.each(ctx, func(i int, c *cases.Case) (err error) {
			before[i], after[i], err = both(c)
			return err
		})
		if err != nil {
			return err
		}
		for i := range some.Len {
			if before[i] != nil {
				was.Add(before[i])
				is.Add(after[i])
				h.Versus.Add(before[i], after[i])
			}
		}
	}
	h.Before, h.After = was.Score(), is.Score()
	return nil
}
