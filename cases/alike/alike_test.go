package alike_test

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/alike"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

var ctx = context.Background()

// An inventor draws cases from the rulebase: one cause, and what it shows of some symptoms.
type inventor struct {
	base     *rulebase.Base
	d        *engine.Diagnosis
	r        *rand.Rand
	symptoms []int
	shows    map[[2]int][]float64
	n        int
}

func newInventor(t testing.TB, base *rulebase.Base, seed uint64) *inventor {
	t.Helper()
	d, err := engine.Diagnose(ctx, engine.Prepare(base), rulebase.Situation{At: rulebase.Field}, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	in := &inventor{base: base, d: d, r: rand.New(rand.NewPCG(seed, 6)), shows: map[[2]int][]float64{}}
	for i := range base.Symptoms {
		if s := &base.Symptoms[i]; s.Weighs && !s.Independent && i != base.Complaint.Symptom {
			in.symptoms = append(in.symptoms, i)
		}
	}
	return in
}

func (in *inventor) value(symptom, cause int) string {
	key := [2]int{symptom, cause}
	if in.shows[key] == nil {
		in.shows[key] = in.d.Shows(symptom, []uint16{uint16(cause)})
	}
	u := in.r.Float64()
	for v, p := range in.shows[key] {
		if u -= p; u < 0 {
			return in.base.Symptoms[symptom].Values[v]
		}
	}
	return in.base.Symptoms[symptom].Values[0]
}

// drafts are those of one case of a cause, with some of the symptoms given.
func (in *inventor) drafts(cause int, symptoms []int) []cases.Draft {
	in.n++
	id := fmt.Sprintf("k%06d", in.n)
	var out []cases.Draft
	say := func(kind cases.Kind, body any) {
		out = append(out, cases.Draft{ID: fmt.Sprintf("%s-%d", id, len(out)), Subject: cases.Subject{Kind: cases.AboutCase, ID: id}, Kind: kind, Version: 1,
			At: time.Date(2031, 1, 1, 0, 0, in.n, 0, time.UTC), Body: cases.Body(body)})
	}
	say(cases.KindOpened, cases.Opening{Location: "Weir House"})
	say(cases.KindSituation, cases.Circumstances{At: rulebase.Field})
	for _, s := range symptoms {
		say(cases.KindFinding, cases.FindingBody{Symptom: in.base.Symptoms[s].ID, Value: cases.ValueBody{Word: in.value(s, cause)}})
	}
	say(cases.KindClosed, cases.Closing{Causes: []string{in.base.Causes[cause].ID}, How: "drawn", Outcome: "adjusted"})
	return out
}

func (in *inventor) some(from []int, n int) []int {
	all := slices.Clone(from)
	in.r.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	return all[:n]
}

func folded(t testing.TB, drafts []cases.Draft) *cases.Case {
	t.Helper()
	var events []cases.Event
	var head cases.Head
	for i, d := range drafts {
		e, err := cases.Seal(d, "mill", head, int64(i+1))
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	return cases.Fold(events)
}

func opened(t testing.TB) *sqlstore.Store {
	t.Helper()
	s, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "cases.db"), sqlstore.Options{Site: "mill"})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// slow is the same the plain way: it reads every case of the store and sorts them all.
func slow(t *testing.T, r *alike.Reader, s cases.Store, p alike.Profile, but string, limit int) []alike.Match {
	t.Helper()
	found, err := s.Find(ctx, cases.Query{State: cases.StateClosed, Limit: 100000})
	if err != nil {
		t.Fatal(err)
	}
	var all []alike.Match
	for _, f := range found {
		c, err := s.Case(ctx, f.ID)
		if err != nil {
			t.Fatal(err)
		}
		q, err := r.Profile(ctx, c)
		if err != nil {
			t.Fatal(err)
		}
		if q != nil && c.ID != but {
			all = append(all, alike.Match{ID: c.ID, Likeness: plainly(p, q)})
		}
	}
	slices.SortFunc(all, func(a, b alike.Match) int {
		return cmp.Or(cmp.Compare(b.Likeness, a.Likeness), strings.Compare(a.ID, b.ID))
	})
	return all[:min(limit, len(all))]
}

// plainly is the chance of one and the same cause, by the chances of each.
func plainly(p, q []byte) float64 {
	chances := func(p []byte) []float64 {
		out, sum := make([]float64, len(p)), 0.0
		for _, x := range p {
			sum += float64(x)
		}
		for i, x := range p {
			out[i] = float64(x) / sum
		}
		return out
	}
	a, b, same := chances(p), chances(q), 0.0
	for i := range a {
		same += a[i] * b[i]
	}
	return same
}

// keptOf is the index as it is asked.
func keptOf(t testing.TB, x *alike.Index, r *alike.Reader) *alike.Kept {
	t.Helper()
	b := x.Bytes()
	k, err := alike.Open(bytes.NewReader(b), r)
	if err != nil {
		t.Fatal(err)
	}
	return k
}

func alikeTo(t testing.TB, k *alike.Kept, p alike.Profile, but string, limit int) []alike.Match {
	t.Helper()
	found, err := k.Alike(p, but, limit)
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// The index gives what the full scan gives, while cases are written, taken back, reopened and closed
// again, and when it was kept and read meanwhile.
func TestIndexAgreesWithTheFullScan(t *testing.T) {
	base := shipped.Base(t)
	in, r, s := newInventor(t, base, 1), alike.NewReader(base), opened(t)
	x := alike.New(r)
	var ids []string
	rounds := 6
	if testing.Short() {
		rounds = 2
	}
	for round := range rounds {
		for range 25 {
			d := in.drafts(in.r.IntN(len(base.Causes)), in.some(in.symptoms, in.r.IntN(8)))
			if _, err := s.Append(ctx, d...); err != nil {
				t.Fatal(err)
			}
			ids = append(ids, d[0].Subject.ID)
		}
		for i := range 6 {
			about := cases.Subject{Kind: cases.AboutCase, ID: ids[in.r.IntN(len(ids))]}
			d := cases.Draft{ID: fmt.Sprintf("r%d-%d", round, i), Subject: about, Kind: cases.KindReopened, Version: 1, Body: cases.Body(cases.Reason{})}
			if i%2 == 0 {
				d.Kind, d.Corrects, d.Body = cases.KindTakenBack, about.ID+"-2", cases.Body(cases.Reason{})
			}
			d.At = time.Date(2031, 1, 2, 0, 0, 0, 0, time.UTC)
			if _, err := s.Append(ctx, d); err != nil {
				t.Fatal(err)
			}
		}
		var err error
		if x, err = keptOf(t, x, r).Index(); err != nil {
			t.Fatal(err)
		}
		read := 0
		changed, err := x.Update(ctx, r, s, func(done, _ int) { read = done })
		if err != nil || !changed || round > 0 && read > 45 {
			t.Fatalf("changed %v, %d read, %v", changed, read, err)
		}
		if again, err := x.Update(ctx, r, s, nil); err != nil || again {
			t.Fatalf("nothing was written, and something changed: %v", err)
		}
		kept := keptOf(t, x, r)
		if round%2 == 1 { // a few cases later, asked without being written anew
			for range 5 {
				d := in.drafts(in.r.IntN(len(base.Causes)), in.some(in.symptoms, 1+in.r.IntN(8)))
				about := cases.Subject{Kind: cases.AboutCase, ID: ids[in.r.IntN(len(ids))]}
				again := cases.Draft{ID: "again-" + d[0].ID, Subject: about, Kind: cases.KindReopened, Version: 1, At: time.Date(2031, 1, 3, 0, 0, 0, 0, time.UTC), Body: cases.Body(cases.Reason{})}
				if _, err := s.Append(ctx, append(d, again)...); err != nil {
					t.Fatal(err)
				}
				ids = append(ids, d[0].Subject.ID)
			}
			if near, err := kept.Bridge(ctx, r, s); err != nil || !near {
				t.Fatalf("ten cases are few, and are not looked at: %v", err)
			}
		}
		for _, limit := range []int{1, 20, 1000} {
			c, err := s.Case(ctx, ids[in.r.IntN(len(ids))])
			if err != nil {
				t.Fatal(err)
			}
			p, err := r.Profile(ctx, c)
			if err != nil {
				t.Fatal(err)
			}
			if p == nil {
				continue
			}
			if all := slow(t, r, s, p, "", 10000); kept.Len() != len(all) {
				t.Fatalf("it answers for %d cases, not %d", kept.Len(), len(all))
			}
			got, want := alikeTo(t, kept, p, c.ID, limit), slow(t, r, s, p, c.ID, limit)
			if len(got) != len(want) {
				t.Fatalf("%d found, %d wanted", len(got), len(want))
			}
			for i := range got {
				if !(math.Abs(got[i].Likeness-want[i].Likeness) <= 1e-12) || got[i].ID != want[i].ID && !(math.Abs(got[i].Likeness-want[i].Likeness) <= 1e-15) && !tied(want, i) {
					t.Fatalf("%d: %+v, want %+v", i, got[i], want[i])
				}
			}
		}
	}
}

func tied(all []alike.Match, i int) bool {
	return i > 0 && math.Abs(all[i].Likeness-all[i-1].Likeness) < 1e-12 || i+1 < len(all) && math.Abs(all[i].Likeness-all[i+1].Likeness) < 1e-12
}

// Whatever the bytes, products of eight at a time are the plain ones.
func TestLikenessOfAnyProfiles(t *testing.T) {
	base := shipped.Base(t)
	r := alike.NewReader(base)
	rng := rand.New(rand.NewPCG(7, 7))
	width := (len(base.Causes) + 7) / 8 * 8
	for range 200 {
		x := alike.New(r)
		var all []alike.Profile
		for i := range 12 {
			p := make(alike.Profile, width)
			for j := range base.Causes {
				p[j] = byte(rng.IntN(alike.Top + 1))
				if i%3 == 0 {
					p[j] = []byte{0, alike.Top}[rng.IntN(2)]
				}
			}
			all = append(all, p)
			x.Put(fmt.Sprint(i), p)
		}
		for _, m := range alikeTo(t, keptOf(t, x, r), all[0], "", 12) {
			var i int
			fmt.Sscan(m.ID, &i)
			if want := alike.Likeness(all[0], all[i]); m.Likeness != want || !(math.Abs(want-plainly(all[0], all[i])) <= 1e-12) {
				t.Fatalf("%d: %g, want %g", i, m.Likeness, want)
			}
		}
	}
}

// Cases of one cause find each other though not one word is shared: one was asked half of the
// questions, the others the other half.
func TestAlikeWithoutSharedWords(t *testing.T) {
	base := shipped.Base(t)
	in, r := newInventor(t, base, 5), alike.NewReader(base)
	halves := in.some(in.symptoms, len(in.symptoms))
	one, other := halves[:len(halves)/2], halves[len(halves)/2:]
	x := alike.New(r)
	proven := map[string]int{}
	const causes, each = 40, 6
	for cause := range causes {
		for range each {
			c := folded(t, in.drafts(cause*3%len(base.Causes), in.some(one, 50)))
			p, err := r.Profile(ctx, c)
			if err != nil {
				t.Fatal(err)
			}
			x.Put(c.ID, p)
			proven[c.ID] = cause
		}
	}
	hits := 0
	kept := keptOf(t, x, r)
	for cause := range causes {
		p, err := r.Profile(ctx, folded(t, in.drafts(cause*3%len(base.Causes), in.some(other, 50))))
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range alikeTo(t, kept, p, "", 5) {
			if proven[m.ID] == cause {
				hits++
			}
		}
	}
	share := float64(hits) / (5 * causes)
	t.Logf("%.2f of the five most alike are of the same cause; by chance %.3f would be", share, 1.0/causes)
	if share < 0.4 {
		t.Errorf("only %.2f of the five most alike are of the same cause", share)
	}
}

// What is damaged, of another form or another rulebase is made anew, never believed.
func TestKeptIndexIsChecked(t *testing.T) {
	base := shipped.Base(t)
	in, r := newInventor(t, base, 2), alike.NewReader(base)
	x := alike.New(r)
	for cause := range 30 {
		c := folded(t, in.drafts(cause, in.some(in.symptoms, 6)))
		p, err := r.Profile(ctx, c)
		if err != nil {
			t.Fatal(err)
		}
		x.Put(c.ID, p)
	}
	kept := x.Bytes()
	whole := func(b []byte, r *alike.Reader) error {
		k, err := alike.Open(bytes.NewReader(b), r)
		if err != nil {
			return err
		}
		back, err := k.Index()
		if err == nil && back.Len() != x.Len() {
			t.Errorf("%d cases, not %d", back.Len(), x.Len())
		}
		if err == nil {
			_, err = k.Alike(make(alike.Profile, (len(base.Causes)+7)/8*8), "", 3)
		}
		return err
	}
	if err := whole(kept, r); err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for range 200 {
		bad := bytes.Clone(kept)
		if rng.IntN(2) == 0 {
			bad[rng.IntN(len(bad))] ^= 1 << rng.IntN(8)
		} else {
			bad = bad[:rng.IntN(len(bad))]
		}
		if err := whole(bad, r); !errors.Is(err, alike.ErrStale) {
			t.Fatalf("%v", err)
		}
	}
	small, err := rulebase.LoadFolder("../../cmd/downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	if err := whole(kept, alike.NewReader(small)); !errors.Is(err, alike.ErrStale) {
		t.Errorf("%v", err)
	}
}

// A hundred thousand profiles, from the file on.
func BenchmarkAlike(b *testing.B) {
	base := shipped.Base(b)
	in, r := newInventor(b, base, 9), alike.NewReader(base)
	x := alike.New(r)
	var some []alike.Profile
	for len(some) < 400 {
		p, err := r.Profile(ctx, folded(b, in.drafts(in.r.IntN(len(base.Causes)), in.some(in.symptoms, 9))))
		if err != nil {
			b.Fatal(err)
		}
		if p != nil {
			some = append(some, p)
		}
	}
	for i := range 100_000 {
		p := slices.Clone(some[in.r.IntN(len(some))])
		for range 30 { // no two the same
			p[in.r.IntN(len(base.Causes))] = byte(in.r.IntN(alike.Top + 1))
		}
		x.Put(fmt.Sprintf("01f0c%07d-%04x-%016x", i, i&0xffff, i), p)
	}
	kept := x.Bytes()
	file := filepath.Join(b.TempDir(), "alike")
	if err := os.WriteFile(file, kept, 0o600); err != nil {
		b.Fatal(err)
	}
	ask := func(b *testing.B, p alike.Profile) {
		used := support.ProcessorTime()
		for b.Loop() {
			file, err := os.Open(file)
			if err != nil {
				b.Fatal(err)
			}
			k, err := alike.Open(file, r)
			if err != nil || len(alikeTo(b, k, p, "", 20)) != 20 {
				b.Fatal(err)
			}
			file.Close()
		}
		b.ReportMetric(float64(b.Elapsed().Microseconds())/1000/float64(b.N), "ms/twenty")
		b.ReportMetric(float64((support.ProcessorTime()-used).Microseconds())/1000/float64(b.N), "cpu-ms/twenty")
		b.ReportMetric(float64(len(kept))/(1<<20), "MiB")
	}
	all := slices.Clone(some[0])
	for i := range base.Causes { // every column has to be read
		all[i] = max(1, all[i])
	}
	b.Run("usual", func(b *testing.B) { ask(b, some[0]) })
	b.Run("vague", func(b *testing.B) { ask(b, all) })
	b.Run("profile", func(b *testing.B) {
		c := folded(b, in.drafts(3, in.some(in.symptoms, 9)))
		for b.Loop() {
			if _, err := r.Profile(ctx, c); err != nil {
				b.Fatal(err)
			}
		}
	})
}

// BenchmarkUpdate makes the index of a store anew.
func BenchmarkUpdate(b *testing.B) {
	base := shipped.Base(b)
	s, err := sqlite.Open(ctx, filepath.Join(b.TempDir(), "cases.db"), sqlstore.Options{Site: "quarry"})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	const n = 1000
	if _, err := s.Import(ctx, storetest.Invented("quarry", n, 1)); err != nil {
		b.Fatal(err)
	}
	r, used := alike.NewReader(base), support.ProcessorTime()
	for b.Loop() {
		x := alike.New(r)
		if _, err := x.Update(ctx, r, s, nil); err != nil || x.Len() == 0 {
			b.Fatal(err, x.Len())
		}
	}
	b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "cases/s")
	b.ReportMetric(n*float64(b.N)/(support.ProcessorTime()-used).Seconds(), "cases/cpu-s")
}
