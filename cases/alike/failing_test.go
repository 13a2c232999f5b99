package alike_test

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
	"io"
	"path/filepath"
	"reflect"
	"regexp"
	"slices"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"downdrop/cases"
	"downdrop/cases/alike"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

var errBroken = errors.New("it broke here")

// A brittle file, store and context: the n-th thing asked of any of them fails, once armed.
type brittle struct {
	*sqlstore.Store
	file  io.ReaderAt
	at    int64 // 0: nothing fails
	count atomic.Int64
}

func (b *brittle) fail() error {
	if n := b.count.Add(1); b.at > 0 && n == b.at {
		return errBroken
	}
	return nil
}

func (b *brittle) ReadAt(p []byte, at int64) (int, error) {
	if err := b.fail(); err != nil {
		return 0, err
	}
	return b.file.ReadAt(p, at)
}

func (b *brittle) Case(ctx context.Context, id string) (*cases.Case, error) {
	if err := b.fail(); err != nil {
		return nil, err
	}
	return b.Store.Case(ctx, id)
}

func (b *brittle) Find(ctx context.Context, q cases.Query) ([]cases.Summary, error) {
	if err := b.fail(); err != nil {
		return nil, err
	}
	return b.Store.Find(ctx, q)
}

func (b *brittle) Changed(ctx context.Context, kind cases.SubjectKind, since cases.Mark) ([]string, cases.Mark, bool, error) {
	if err := b.fail(); err != nil {
		return nil, cases.Mark{}, false, err
	}
	return b.Store.Changed(ctx, kind, since)
}

// A passing context ends at the n-th look at it.
type passing struct {
	context.Context
	b *brittle
}

func (p passing) Err() error {
	if p.b.fail() != nil {
		return errBroken
	}
	return nil
}

// Whatever breaks while an index is brought up to date, kept or asked is told, or changes no answer.
func TestWhatBreaksUnderAnIndexIsTold(t *testing.T) {
	base := shipped.Base(t)
	in, r := newInventor(t, base, 3), alike.NewReader(base)
	s, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "cases.db"), sqlstore.Options{Site: "mill"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	add := func(cause int) {
		t.Helper()
		if _, err := s.Append(ctx, in.drafts(cause, in.some(in.symptoms, 5))...); err != nil {
			t.Fatal(err)
		}
	}
	for cause := range 4 {
		add(cause)
	}
	x := alike.New(r)
	if _, err := x.Update(ctx, r, s, nil); err != nil {
		t.Fatal(err)
	}
	kept := x.Bytes()
	add(5) // written since it was kept
	ids, err := cases.ClosedIDs(ctx, s)
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Case(ctx, ids[0])
	if err != nil {
		t.Fatal(err)
	}
	p, err := r.Profile(ctx, c)
	if err != nil || p == nil {
		t.Fatal(p, err)
	}
	for name, do := range map[string]func(b *brittle) (any, error){
		"made": func(b *brittle) (any, error) {
			x := alike.New(r)
			_, err := x.Update(ctx, r, b, nil)
			return x.Len(), err
		},
		"asked": func(b *brittle) (any, error) {
			k, err := alike.Open(b, r)
			if err != nil {
				return nil, err
			}
			if _, err := k.Bridge(ctx, r, b); err != nil {
				return nil, err
			}
			found, err := k.Alike(p, "", 3)
			return found, err
		},
		"read whole": func(b *brittle) (any, error) {
			k, err := alike.Open(b, r)
			if err != nil {
				return nil, err
			}
			x, err := k.Index()
			if err != nil {
				return nil, err
			}
			return x.Len(), nil
		},
		"a profile": func(b *brittle) (any, error) { p, err := r.Profile(passing{ctx, b}, c); return p, err },
	} {
		whole := &brittle{Store: s, file: bytes.NewReader(kept)}
		want, err := do(whole)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		failed := 0
		for n := int64(1); ; n++ {
			b := &brittle{Store: s, file: bytes.NewReader(kept), at: n}
			got, err := do(b)
			if b.count.Load() < n {
				break
			}
			failed++
			if err == nil && !reflect.DeepEqual(got, want) || err != nil && !errors.Is(err, errBroken) {
				t.Errorf("%s, thing %d: %v instead of %v, error %v", name, n, got, want, err)
			}
		}
		if failed < 2 {
			t.Errorf("%s: only %d things failed", name, failed)
		}
	}
}

// An index of another form, and one whose head fits its checksum but not what follows, are made anew.
func TestIndexesOfOtherForms(t *testing.T) {
	base := shipped.Base(t)
	in, r, s := newInventor(t, base, 7), alike.NewReader(base), opened(t)
	for cause := range 3 {
		if _, err := s.Append(ctx, in.drafts(cause, in.some(in.symptoms, 5))...); err != nil {
			t.Fatal(err)
		}
	}
	x := alike.New(r)
	if _, err := x.Update(ctx, r, s, nil); err != nil {
		t.Fatal(err)
	}
	kept := x.Bytes()
	other := slices.Clone(kept)
	other[0]++
	if _, err := alike.Open(bytes.NewReader(other), r); !errors.Is(err, alike.ErrStale) {
		t.Errorf("another form: %v", err)
	}
	// magic, length of the head, its checksum, the head
	at := bytes.IndexByte(kept, '\n') + 1
	n := int(binary.LittleEndian.Uint32(kept[at:]))
	head := kept[at+8 : at+8+n]
	spoilt := regexp.MustCompile(`"text":\d+`).ReplaceAllFunc(head, func(b []byte) []byte { return append(bytes.Repeat([]byte(" "), len(b)-8), `"text":1`...) })
	copy(head, spoilt)
	binary.LittleEndian.PutUint32(kept[at+4:], crc32.Checksum(head, crc32.MakeTable(crc32.Castagnoli)))
	k, err := alike.Open(bytes.NewReader(kept), r)
	if err != nil {
		t.Fatal(err)
	}
	ids, err := cases.ClosedIDs(ctx, s)
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.Case(ctx, ids[0])
	if err != nil {
		t.Fatal(err)
	}
	p, err := r.Profile(ctx, c)
	if err != nil {
		t.Fatal(err)
	}
	if found, err := k.Alike(p, "", 3); !errors.Is(err, alike.ErrStale) {
		t.Errorf("ids that are longer than all of them: %v %v", found, err)
	}
}

// Where nothing listed is possible before anything was seen, since two rules contradict each other, and what was
// seen takes that back, there is nothing to hold the findings against: the case has no profile.
func TestNothingPossibleBeforeAnythingWasSeen(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "odd", FS: fstest.MapFS{"odd.yaml": {Data: []byte(`
rulebase: {name: odd, outside_per_thousand: 0}
givens: {wet: {ask: "Is it wet?"}}
causes:
  fuse: {name: The fuse, part: supply, per_thousand: 40, source: common_practice}
  plug: {name: The plug, part: supply, per_thousand: 40, source: common_practice}
symptoms:
  light: {ask: "Which light?", values: [lit, dark], by: looking, shows: [{when: fuse, dark: 0.9}, {lit: 0.9}]}
  tag: {ask: "Is there a tag?", values: ["yes", "no"], by: looking}
rules:
  by_water: {when: wet, then: {soaked: true}, source: common_practice}
  by_tag: {when: tag == "yes", then: {soaked: false}, source: common_practice}
  there: {when: soaked, establishes: [fuse], source: common_practice}
  not_there: {when: wet, rules_out: [fuse], source: common_practice}
`)}}})
	if err != nil {
		t.Fatal(err)
	}
	s := opened(t)
	about := cases.Subject{Kind: cases.AboutCase, ID: "c1"}
	w := cases.Writer{Store: s, Now: time.Now, NewID: func() string { n, _ := s.Count(ctx); return fmt.Sprint("e", n) }}
	for _, d := range []cases.Draft{
		cases.Say(cases.KindOpened, cases.Opening{Location: "yard"}),
		cases.Say(cases.KindGiven, cases.GivenBody{ID: "wet", Value: cases.ValueBody{Word: "true"}}),
		cases.Say(cases.KindFinding, cases.FindingBody{Symptom: "light", Value: cases.ValueBody{Word: "dark"}}),
		cases.Say(cases.KindFinding, cases.FindingBody{Symptom: "tag", Value: cases.ValueBody{Word: "yes"}}),
		cases.Say(cases.KindClosed, cases.Closing{Causes: []string{"plug"}, Outcome: "adjusted"}),
	} {
		if _, err := w.Write(ctx, about, d); err != nil {
			t.Fatal(err)
		}
	}
	c, err := s.Case(ctx, "c1")
	if err != nil {
		t.Fatal(err)
	}
	if p, err := alike.NewReader(base).Profile(ctx, c); err != nil || p != nil {
		t.Errorf("%v %v", p, err)
	}
}
