package main

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"

	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cases/alike"
	"downdrop/cmd/internal/report"
)

type caseAlikeOptions struct {
	deskOptions
	limit int
	json  bool
}

func newCaseAlikeCmd(env *environment) *cobra.Command {
	var o caseAlikeOptions
	cmd := &cobra.Command{
		Use: "alike CASE", Short: shortCaseAlike, Long: longCaseAlike, Args: oneCase(0),
		RunE: func(cmd *cobra.Command, args []string) error {
			if o.limit < 1 || o.limit > mostAlike {
				return usageError{fmt.Sprintf(sayAlikeLimit, mostAlike)}
			}
			ctx := cmd.Context()
			return o.onCase(ctx, env, args[0], func(d *desk, c *cases.Case) error { return d.alike(ctx, c, o) })
		},
	}
	addStoreFlags(cmd, &o.deskOptions)
	f := cmd.Flags()
	f.IntVar(&o.limit, "limit", 10, "at most so `MANY`")
	f.BoolVar(&o.json, "json", false, "print JSON for programs, schema "+report.AlikeSchema)
	return cmd
}

const mostAlike = 200

// alike finds the closed cases that are most like one.
func (d *desk) alike(ctx context.Context, c *cases.Case, o caseAlikeOptions) error {
	r := alike.NewReader(d.base)
	p, err := r.Profile(ctx, c)
	if err != nil {
		return err
	}
	out := &report.Alike{Base: d.base, Case: c, Says: p != nil}
	if p != nil {
		if err := d.mostAlike(ctx, r, p, o, out); err != nil {
			return err
		}
	}
	if o.json {
		return written(out.JSON(d.env.out))
	}
	return written(out.Text(d.env.out, d.env.width(), d.env.clock()))
}

// mostAlike asks the index and reads the cases it names. An index that names a case that is not there, or that
// is damaged, is made anew, once.
func (d *desk) mostAlike(ctx context.Context, r *alike.Reader, p alike.Profile, o caseAlikeOptions, out *report.Alike) error {
	for anew := range 2 {
		kept, done, err := d.index(ctx, r, o.store, anew == 1)
		if err != nil {
			return err
		}
		out.Of = kept.Len()
		found, err := kept.Alike(p, out.Case.ID, o.limit)
		done()
		if err == nil {
			out.Matches, err = d.matched(ctx, found)
		}
		if err == nil || anew == 1 || !errors.Is(err, alike.ErrStale) && !errors.Is(err, cases.ErrNotFound) {
			return err
		}
	}
	return nil
}

func (d *desk) matched(ctx context.Context, found []alike.Match) ([]report.Matched, error) {
	var out []report.Matched
	for _, m := range found {
		c, err := d.store.Case(ctx, m.ID)
		if err != nil {
			return nil, err
		}
		out = append(out, report.Matched{Match: m, Case: c})
	}
	return out, nil
}

// index gives the index of the store, brought up to date; done has to be called after the last question. It is kept in the
// user's cache folder; where that cannot be, it is made for this one question.
func (d *desk) index(ctx context.Context, r *alike.Reader, flag string, anew bool) (kept *alike.Kept, done func(), err error) {
	name := d.indexFile(flag)
	x := alike.New(r)
	if !anew {
		kept, done, back, err := d.keptIndex(ctx, name, r)
		if err != nil || kept != nil {
			return kept, done, err
		}
		if back != nil {
			x = back
		}
	}
	if _, err := x.Update(ctx, r, d.store, d.env.progress("alike")); err != nil {
		return nil, nil, err
	}
	b := x.Bytes()
	keepIndex(name, b)
	kept, err = alike.Open(bytes.NewReader(b), r)
	return kept, func() {}, err
}

// keptIndex is what was kept: ready to be asked where next to nothing was written to the store since, else
// to be brought up to date; neither where there is none that can be used.
func (d *desk) keptIndex(ctx context.Context, name string, r *alike.Reader) (kept *alike.Kept, done func(), back *alike.Index, err error) {
	file, err := os.Open(name)
	if err != nil {
		return nil, nil, nil, nil // there is none, and one is made
	}
	if kept, err = alike.Open(file, r); err != nil {
		file.Close()
		return nil, nil, nil, nil
	}
	near, err := kept.Bridge(ctx, r, d.store)
	if err == nil && near {
		return kept, func() { file.Close() }, nil, nil
	}
	defer file.Close()
	if err != nil && !errors.Is(err, alike.ErrStale) {
		return nil, nil, nil, err
	}
	back, err = kept.Index()
	if err != nil {
		return nil, nil, nil, nil
	}
	return nil, nil, back, nil
}

// indexFile is where the index of a store and a rulebase is kept; "" where there is no place for it.
func (d *desk) indexFile(flag string) string {
	dir := cacheFolder(d.env)
	name, err := storeName(d.env, flag)
	if dir == "" || err != nil {
		return ""
	}
	if whole, err := filepath.Abs(name); err == nil {
		name = whole
	}
	sum := sha256.Sum256([]byte(name + "\x00" + d.store.Site() + "\x00" + d.base.Digest))
	return filepath.Join(dir, "downdrop", "alike-"+hex.EncodeToString(sum[:12]))
}

// keepIndex writes an index beside the old one and puts it in its place. It is a convenience: what
// cannot be written is made again the next time.
func keepIndex(name string, b []byte) {
	if name == "" || os.MkdirAll(filepath.Dir(name), 0o700) != nil {
		return
	}
	file, err := os.CreateTemp(filepath.Dir(name), "alike-*.new")
	if err != nil {
		return
	}
	_, err = file.Write(b)
	if closed := file.Close(); err != nil || closed != nil || os.Rename(file.Name(), name) != nil {
		os.Remove(file.Name())
	}
}

// cacheFolder is where a program keeps what it can make again, by the XDG base directory specification, and
// where that is not the custom, as the system has it; "" where there is none.
func cacheFolder(env *environment) string {
	switch runtime.GOOS {
	case "windows", "darwin", "ios", "plan9":
		dir, _ := os.UserCacheDir()
		return dir
	}
	if dir := env.variable("XDG_CACHE_HOME"); filepath.IsAbs(dir) {
		return dir
	}
	if home := env.variable("HOME"); home != "" {
		return filepath.Join(home, ".cache")
	}
	return ""
}

const sayAlikeLimit = "--limit - a number from 1 to %d is wanted."

const (
	shortCaseAlike = "Closed cases most like this one, and what they turned out to be"
	longCaseAlike  = `List the closed cases that are most like one, with what they turned out to be.

Cases are alike where what was seen before any work speaks for the same causes, whatever
was asked and in whatever words. The percentage is the chance that both have one and the
same cause, were every cause as likely as any other to begin with: it is high only where both say
clearly what it is.

To answer at once, what closed cases say is kept in the cache folder, and brought up to date
as cases are written. It can be deleted at any time.`
)
