package learn_test

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

var ctx = context.Background()

func small(t testing.TB) *rulebase.Base {
	t.Helper()
	base, err := rulebase.LoadFolder("../../cmd/downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	return base
}

// drawn are closed cases of a world in which a rulebase's numbers are true: causes by its weights,
// values by its rows, reports wrong as often as they are unsure.
func drawn(t testing.TB, truth *rulebase.Base, n int, seed uint64) []*cases.Case {
	t.Helper()
	r := rand.New(rand.NewPCG(seed, 4))
	d, err := engine.Diagnose(ctx, engine.Prepare(truth), rulebase.Situation{At: rulebase.Phone}, engine.Options{BeliefOnly: true})
	if err != nil {
		t.Fatal(err)
	}
	var out []*cases.Case
	for len(out) < n {
		world, found := []uint16(nil), false
		u := r.Float64()
		for set, p := range d.Worlds() {
			if u -= p; u < 0 {
				world, found = set, true
				break
			}
		}
		if !found || len(world) == 0 {
			continue // outside: nothing listed is proven
		}
		out = append(out, oneDrawn(t, truth, d, world, fmt.Sprintf("c%05d", len(out)), r))
	}
	return out
}

func oneDrawn(t testing.TB, truth *rulebase.Base, d *engine.Diagnosis, world []uint16, id string, r *rand.Rand) *cases.Case {
	t.Helper()
	var events []cases.Event
	var head cases.Head
	say := func(kind cases.Kind, body any) {
		e, err := cases.Seal(cases.Draft{ID: fmt.Sprintf("%s-%d", id, len(events)), Subject: cases.Subject{Kind: cases.AboutCase, ID: id}, Kind: kind, Version: 1,
			At: time.Date(2031, 1, 1, 0, len(events), 0, 0, time.UTC), Body: cases.Body(body)}, "mill", head, int64(len(events)+1))
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	say(cases.KindOpened, cases.Opening{})
	say(cases.KindSituation, cases.Circumstances{At: rulebase.Phone})
	for i := range truth.Symptoms {
		s := &truth.Symptoms[i]
		if !s.Weighs || s.Independent || i == truth.Complaint.Symptom || r.IntN(2) == 0 {
			continue
		}
		value := pick(d.Shows(i, world), r.Float64())
		sure := []float64{1, 0.9, 0.7}[r.IntN(3)]
		if r.Float64() >= sure {
			value = r.IntN(len(s.Values))
		}
		say(cases.KindFinding, cases.FindingBody{Symptom: s.ID, Value: cases.ValueBody{Word: s.Values[value]}, Sure: &sure})
	}
	var ids []string
	for _, c := range world {
		ids = append(ids, truth.Causes[c].ID)
	}
	say(cases.KindClosed, cases.Closing{Causes: ids, How: "drawn", Outcome: string(rulebase.Adjusted)})
	return cases.Fold(events)
}

func pick(p []float64, u float64) int {
	for i, x := range p {
		if u -= x; u < 0 {
			return i
		}
	}
	return len(p) - 1
}

func closed(all []*cases.Case) learn.Closed {
	return learn.Closed{Len: len(all), At: func(_ context.Context, i int) (*cases.Case, error) { return all[i], nil }}
}

func gathered(t testing.TB, base *rulebase.Base, all []*cases.Case) []learn.Experience {
	t.Helper()
	list, err := learn.Gather(ctx, engine.Prepare(base), closed(all))
	if err != nil {
		t.Fatal(err)
	}
	return list
}

// otherwise is a rulebase in which a weight and a row are other than believed.
func otherwise(base *rulebase.Base) *rulebase.Base {
	b := *base
	b.Causes = slices.Clone(base.Causes)
	b.Symptoms = slices.Clone(base.Symptoms)
	for i := range b.Causes {
		if b.Causes[i].ID == "driver_dead" {
			b.Causes[i].Prior = 0.12 // 20 per thousand are believed
		}
	}
	for i := range b.Symptoms {
		if s := &b.Symptoms[i]; s.ID == "pair_ohms" {
			s.Shows = slices.Clone(s.Shows)
			s.Shows[0].P = []float64{0.3, 0.4, 0.3} // mostly none_fitted is believed
		}
	}
	return &b
}

// With sure reports an update is the textbook's, and one row's counts are those of its cases.
func TestRowIsTheTextbooksUpdate(t *testing.T) {
	base := small(t)
	light := slices.IndexFunc(base.Symptoms, func(s rulebase.Symptom) bool { return s.ID == "power_light" })
	var all []learn.Experience
	for i := range 12 {
		value := 0
		if i >= 9 {
			value = 2
		}
		prior := make([]float64, len(base.Causes)+1)
		prior[0], prior[1] = 0.5, 0.5
		all = append(all, learn.Experience{ID: fmt.Sprint("c", i), Proven: []int{0}, Prior: prior, Seen: []learn.Seen{{Symptom: light, Row: 0, Value: value, Sure: 1}}})
	}
	l := learn.Learn(base, all, learn.Options{Worth: 10, WorthWeights: 8, Level: 0.9})
	row := l.Rows[0]
	p := base.Symptoms[light].Shows[0].P
	for v, hits := range []float64{9, 0, 3} {
		want := (10*p[v] + hits) / 22
		b := learn.Beta{A: 10*p[v] + hits, B: 22 - 10*p[v] - hits}
		low, high := b.Interval(0.9)
		n := row.Numbers[v]
		if !(math.Abs(n.Mean-want) <= 1e-12) || !(math.Abs(row.After[v]-want) <= 1e-12) || !(math.Abs(n.Low-low)+math.Abs(n.High-high) <= 1e-9) || n.Hits != hits || n.Trials != 12 {
			t.Errorf("%s: %+v, want %g", base.Symptoms[light].Values[v], n, want)
		}
	}
	w := l.Weights[0]
	if w.Hits != 12 || !(math.Abs(w.Mean-(4.0+12)/20) <= 1e-12) || len(w.Cases) != 12 {
		t.Errorf("%+v", w)
	}
	// One cause took all twelve where half were expected: 16 of 20 now.
	odds := func(x float64) float64 { return x / (1000 - x) }
	if !w.Disagrees() || !(math.Abs(odds(w.AfterPerThousand)/odds(w.PerThousand)-1.6) <= 1e-9) {
		t.Errorf("after: %+v", w)
	}
}

// Where reports are wrong as often as they say, the numbers behind them stay within their intervals.
func TestUnsureReportsAreNotTakenForTrue(t *testing.T) {
	support.Alone(t)
	base := small(t)
	truth := small(t)
	outside, numbers := 0, 0
	for seed := range uint64(8) {
		l := learn.Learn(base, gathered(t, base, drawn(t, truth, 800, seed)), learn.Usual)
		for i := range l.Rows {
			for _, n := range l.Rows[i].Numbers {
				numbers++
				if n.Disagrees() {
					outside++
				}
			}
		}
		for i := range l.Weights {
			if l.Weights[i].Cause >= 0 { // of outside none was drawn
				numbers++
				if l.Weights[i].Disagrees() {
					outside++
				}
			}
		}
	}
	share := float64(outside) / float64(numbers)
	t.Logf("%d of %d", outside, numbers)
	if numbers < 150 || share > 0.1 || share == 0 {
		t.Errorf("the numbers are true, and %d of %d disagree", outside, numbers)
	}
}

// What is other than believed is found, and what is proposed comes nearer to the truth.
func TestWhatDisagreesIsFound(t *testing.T) {
	base := small(t)
	truth := otherwise(base)
	all := drawn(t, truth, 1200, 9)
	l := learn.Learn(base, gathered(t, base, all), learn.Usual)
	found, after := map[string]bool{}, map[string]float64{}
	for i := range l.Rows {
		if r := &l.Rows[i]; r.Disagrees() {
			s := &base.Symptoms[r.Symptom]
			found[s.ID] = true
			for v := range r.After {
				is, was := truth.Symptoms[r.Symptom].Shows[r.Row].P[v], s.Shows[r.Row].P[v]
				if s.ID == "pair_ohms" && !(math.Abs(r.After[v]-is) <= 0.1) && !(math.Abs(r.After[v]-is) <= math.Abs(was-is)/4) {
					t.Errorf("%s: %g after, %g is true, %g was believed", s.Values[v], r.After[v], is, was)
				}
			}
		}
	}
	for i := range l.Weights {
		w := &l.Weights[i]
		if w.Cause >= 0 && w.Disagrees() {
			found[base.Causes[w.Cause].ID] = true
			after[base.Causes[w.Cause].ID] = w.AfterPerThousand / (1000 - w.AfterPerThousand)
		}
	}
	// Weights mean something beside one another: driver_dead is 2.6 times as frequent as fuse_blown, and 0.39 times was believed.
	if ratio := after["driver_dead"] / after["fuse_blown"]; ratio < 1.8 || ratio > 3.2 {
		t.Errorf("driver_dead is %.2f times as frequent as fuse_blown", ratio)
	}
	if !found["pair_ohms"] || !found["driver_dead"] {
		t.Errorf("found %v", found)
	}
	// On cases that were not learned from it is better, by more than chance does.
	h, err := learn.CrossFit(ctx, base, closed(all), gathered(t, base, all), 4, learn.Usual)
	if err != nil {
		t.Fatal(err)
	}
	was, is := h.Before, h.After
	if h.Patched != 4 || was.Cases+was.Unknown != len(all) || is.Log > was.Log-0.02 {
		t.Errorf("%d of %d folds, log score %.4f before, %.4f after", h.Patched, h.Folds, was.Log, is.Log)
	}
}

// Where nothing is other than believed, learning does no harm on other cases.
func TestLearningFromTheExpectedDoesNoHarm(t *testing.T) {
	base := small(t)
	all := drawn(t, base, 400, 3)
	h, err := learn.CrossFit(ctx, base, closed(all), gathered(t, base, all), 4, learn.Usual)
	if err != nil {
		t.Fatal(err)
	}
	if before, after := h.Before, h.After; after.Log > before.Log+0.02 {
		t.Errorf("log score %.4f before, %.4f after", before.Log, after.Log)
	}
}

// The patch is a layer that loads, sets what disagrees, and nothing else.
func TestPatchSetsWhatDisagrees(t *testing.T) {
	base := small(t)
	l := learn.Learn(base, gathered(t, base, drawn(t, otherwise(base), 900, 2)), learn.Usual)
	bundle, err := base.Bundle()
	if err != nil {
		t.Fatal(err)
	}
	after, err := learn.Patched(bundle, l.Patch())
	if err != nil {
		t.Fatalf("%v\n%s", err, l.Patch())
	}
	want := map[string][]float64{}
	for i := range l.Weights {
		if w := &l.Weights[i]; w.Disagrees() && w.Cause >= 0 {
			want[base.Causes[w.Cause].ID] = []float64{w.AfterPerThousand / 1000}
		}
	}
	for i := range l.Rows {
		if r := &l.Rows[i]; r.Disagrees() {
			want[fmt.Sprint(base.Symptoms[r.Symptom].ID, r.Row)] = r.After
		}
	}
	same := func(what string, got, was []float64) {
		if w, ok := want[what]; ok {
			was = w
		}
		for v := range got {
			if !(math.Abs(got[v]-was[v]) <= 2e-3*was[v]+1e-9) {
				t.Errorf("%s: %v, want %v", what, got, was)
				return
			}
		}
	}
	if len(want) < 2 {
		t.Errorf("%v", want)
	}
	for i := range base.Causes {
		same(base.Causes[i].ID, []float64{after.Causes[i].Prior}, []float64{base.Causes[i].Prior})
	}
	for i := range base.Symptoms {
		for row := range base.Symptoms[i].Shows {
			same(fmt.Sprint(base.Symptoms[i].ID, row), after.Symptoms[i].Shows[row].P, base.Symptoms[i].Shows[row].P)
		}
	}
	for _, says := range []string{"before 20, after", "cases: c0", "Nothing was applied"} {
		if !strings.Contains(l.Patch(), says) {
			t.Errorf("the patch does not say %q:\n%s", says, l.Patch())
		}
	}
	for line := range strings.Lines(l.Patch()) {
		if len(line) > 240 {
			t.Errorf("a line of %d letters", len(line))
		}
	}
}

// No cases, no patch; their order makes no difference.
func TestOrderMakesNoDifference(t *testing.T) {
	base := small(t)
	if patch := learn.Learn(base, nil, learn.Usual).Patch(); patch != "" {
		t.Error(patch)
	}
	all := gathered(t, base, drawn(t, otherwise(base), 300, 7))
	a := learn.Learn(base, all, learn.Usual).Patch()
	slices.Reverse(all)
	if diff := cmp.Diff(a, learn.Learn(base, all, learn.Usual).Patch()); diff != "" {
		t.Error(diff)
	}
}

// Every row of the shipped rulebase can be written so that it is read again: the example cases, each
// worth very much, against a rulebase worth next to nothing.
func TestShippedPatchLoads(t *testing.T) {
	base := shipped.Base(t)
	file, err := os.Open("../examples/closed/closed.jsonl")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	all, err := cases.ExportedCases(file)
	if err != nil {
		t.Fatal(err)
	}
	bundle, err := base.Bundle()
	if err != nil {
		t.Fatal(err)
	}
	l := learn.Learn(base, gathered(t, base, all), learn.Options{Worth: 1, WorthWeights: 1, Level: 0.2})
	if _, err := learn.Patched(bundle, l.Patch()); err != nil {
		t.Errorf("%v\n%s", err, l.Patch())
	}
	if n := strings.Count(l.Patch(), "changes: true"); n < 40 {
		t.Errorf("only %d entries were tried", n)
	}
}

// A site's own rows above a symptom's are not doubled by the patch, nor silently left as they were: they cannot be
// changed from above, and the patch says which they are. A rulebase may have any name.
func TestPatchOfASiteWithRowsOfItsOwn(t *testing.T) {
	at := slices.IndexFunc(small(t).Symptoms, func(s rulebase.Symptom) bool { return len(s.Shows) > 1 && !s.Independent && len(s.Values) > 1 })
	s := &small(t).Symptoms[at]
	cause := small(t).Causes[0].ID
	site := fmt.Sprintf("rulebase: {name: \"weir, east: 2\", extends: %s}\nsymptoms:\n  %s: {changes: true, shows_first: [{when: %s, %s: 0.9}]}\n", small(t).Name, s.ID, cause, s.Values[0])
	base, err := rulebase.Load(rulebase.Layer{Name: "small", FS: os.DirFS("../../cmd/downdrop/testdata/small")}, rulebase.Layer{Name: "site", FS: fstest.MapFS{"site.yaml": {Data: []byte(site)}}})
	if err != nil {
		t.Fatal(err)
	}
	rows := base.Symptoms[at].Shows
	if base.Symptoms[at].ShowsFirst != 1 || len(rows) != len(s.Shows)+1 {
		t.Fatalf("%+v", base.Symptoms[at])
	}
	var all []learn.Experience
	for i := range 200 {
		e := learn.Experience{ID: fmt.Sprint("c", i), Proven: []int{0}, Prior: make([]float64, len(base.Causes)+1)}
		e.Prior[0] = 1
		for row := range rows {
			if row < 2 { // the site's own, and the first below it
				least := 0
				for v, p := range rows[row].P {
					if p < rows[row].P[least] {
						least = v
					}
				}
				e.Seen = append(e.Seen, learn.Seen{Symptom: at, Row: row, Value: least, Sure: 1})
			}
		}
		all = append(all, e)
	}
	l := learn.Learn(base, all, learn.Usual)
	patch := l.Patch()
	bundle, err := base.Bundle()
	if err != nil {
		t.Fatal(err)
	}
	after, err := learn.Patched(bundle, patch)
	if err != nil {
		t.Fatalf("%v\n%s", err, patch)
	}
	got := after.Symptoms[at].Shows
	if len(got) != len(rows) || !slices.Equal(got[0].P, rows[0].P) || slices.Equal(got[1].P, rows[1].P) {
		t.Errorf("%d rows became %d: %v and %v\n%s", len(rows), len(got), got[0].P, got[1].P, patch)
	}
	if !strings.Contains(strings.Join(strings.Fields(strings.ReplaceAll(patch, "#", "")), " "), s.ID+" at site.yaml:3 should be") {
		t.Errorf("the row that cannot be changed is not named:\n%s", patch)
	}
}
