package learn_test

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"sync/atomic"
	"testing"
	"testing/fstest"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/engine"
	"downdrop/rulebase"
)

var errBroken = errors.New("it broke here")

// A passing context ends at the n-th look at it; it may be asked from several goroutines.
type passing struct {
	context.Context
	at    int64
	count atomic.Int64
}

func (p *passing) Err() error {
	if n := p.count.Add(1); p.at > 0 && n >= p.at {
		return errBroken
	}
	return nil
}

// Learning that is broken off, or that cannot read a case, says so and learns nothing by halves.
func TestLearningThatIsBrokenOff(t *testing.T) {
	base := small(t)
	all := drawn(t, otherwise(base), 60, 5)
	experience := gathered(t, base, all)
	plain := engine.Prepare(base)
	for name, do := range map[string]func(ctx context.Context, all learn.Closed) (any, error){
		"gather": func(ctx context.Context, all learn.Closed) (any, error) {
			list, err := learn.Gather(ctx, plain, all)
			return len(list), err
		},
		"cross fit": func(ctx context.Context, all learn.Closed) (any, error) {
			h, err := learn.CrossFit(ctx, base, all, experience, 3, learn.Options{Level: 0.9})
			if err != nil {
				return nil, err
			}
			return []int{h.Folds, h.Patched}, nil
		},
	} {
		p := &passing{Context: ctx}
		want, err := do(p, closed(all))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		looks := p.count.Load()
		for _, at := range []int64{1, 2, 3, 5, 8, 13, looks / 3, looks / 2, looks - 1} {
			if at < 1 || at > looks {
				continue
			}
			got, err := do(&passing{Context: ctx, at: at}, closed(all))
			if err == nil && !reflect.DeepEqual(got, want) || err != nil && !errors.Is(err, errBroken) {
				t.Errorf("%s, broken off at look %d of %d: %v instead of %v, error %v", name, at, looks, got, want, err)
			}
		}
		for _, unread := range []int{0, 30, 59} {
			some := closed(all)
			some.At = func(_ context.Context, i int) (*cases.Case, error) {
				if i == unread {
					return nil, errBroken
				}
				return all[i], nil
			}
			if got, err := do(ctx, some); !errors.Is(err, errBroken) {
				t.Errorf("%s, case %d cannot be read: %v %v", name, unread, got, err)
			}
		}
	}
	for at := int64(1); at < 8; at++ {
		p := &passing{Context: ctx, at: at}
		e, used, err := learn.Of(p, plain, all[0])
		if p.count.Load() >= at && (err == nil || used) {
			t.Errorf("one case, broken off at look %d: %v %v %v", at, e, used, err)
		}
		p = &passing{Context: ctx, at: at}
		if r, err := cases.Replay(p, plain, all[0]); p.count.Load() >= at && (err == nil || r != nil) {
			t.Errorf("a replay, broken off at look %d: %v %v", at, r, err)
		}
	}
}

// Learning goes back to the files of a rulebase: where they were changed meanwhile, it says so.
func TestLearningFromFilesThatChanged(t *testing.T) {
	base := small(t)
	all := drawn(t, otherwise(base), 10, 5)
	experience := gathered(t, base, all)
	files := fstest.MapFS{}
	names, err := filepath.Glob("../../cmd/downdrop/testdata/small/*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		files[filepath.Base(name)] = &fstest.MapFile{Data: text}
	}
	again, err := rulebase.Load(rulebase.Layer{Name: "small", FS: files})
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		f.Data = append(f.Data, "# changed\n"...)
	}
	if _, err := learn.CrossFit(ctx, again, closed(all), experience, 3, learn.Options{Level: 0.9}); err == nil || !strings.Contains(err.Error(), "changed while") {
		t.Errorf("%v", err)
	}
}
