package review_test

import (
	"context"
	"fmt"
	"io/fs"
	"math"
	"os"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
	"downdrop/rulebase/source"
	"downdrop/testdata/support"
)

// A catcher is who notices a mistake, the earliest first.
type catcher string

const (
	byLoading  catcher = "loading"
	byCheck    catcher = "check"
	byRuleTest catcher = "rule_test"
	byNothing  catcher = ""
)

var catchers = []catcher{byLoading, byCheck, byRuleTest}

// A kind of mistake, as testdata/planted/kinds.yaml has it.
type kind struct {
	name    string
	meaning bool
	by      catcher
	atLeast float64
}

const kindsFile = "../../testdata/planted/kinds.yaml"

func readKinds(t *testing.T) []kind {
	t.Helper()
	text, err := os.ReadFile(kindsFile)
	if err != nil {
		t.Fatal(err)
	}
	r := source.NewReader()
	doc := r.Read(kindsFile, text)
	if err := r.Err(); err != nil {
		t.Fatal(err)
	}
	var kinds []kind
	for _, n := range doc.Get("kinds").Items {
		k := kind{name: n.Get("kind").Text, meaning: n.Get("meaning").Text == "true", by: catcher(n.Get("caught_by").Text), atLeast: parse(n.Get("at_least").Text)}
		for _, key := range []string{"changes", "made_by"} {
			if n.Get(key) == nil {
				t.Errorf("%s does not say %s", k.name, key)
			}
		}
		if k.atLeast < 1 && n.Get("because") == nil {
			t.Errorf("%s need not all be caught, and does not say why", k.name)
		}
		if k.atLeast <= 0 || k.atLeast > 1 || !slices.Contains(catchers, k.by) {
			t.Errorf("%s: %q must catch %v of them", k.name, k.by, k.atLeast)
		}
		kinds = append(kinds, k)
	}
	return kinds
}

// The list says what the requirement asks for, and every kind can be planted.
func TestKindsOfMistakes(t *testing.T) {
	kinds := readKinds(t)
	meaning := 0
	for _, k := range kinds {
		if k.meaning {
			meaning++
		}
		if mistakes[k.name] == nil {
			t.Errorf("nothing plants %s", k.name)
		}
	}
	if len(kinds) != len(mistakes) {
		t.Errorf("%d kinds are listed and %d can be planted", len(kinds), len(mistakes))
	}
	if len(kinds) < 20 || meaning < 8 {
		t.Errorf("%d kinds, %d of them changes of meaning; at least 20 and 8 are wanted", len(kinds), meaning)
	}
}

// remarks are what check says of a rulebase and nobody has accepted, counted
// without their places, which an edit moves.
func (w *ward) remarks(base *rulebase.Base) map[string]int {
	var cases []rulebase.Situation
	for _, name := range w.order {
		more, err := base.ReadCases("drop/"+name, w.tests[name])
		if err == nil { // else the rule tests say it
			cases = append(cases, more...)
		}
	}
	count := map[string]int{}
	for _, f := range review.Within(base, cases, review.NoLimit).Found {
		if f.Accepted == "" {
			count[f.Kind+": "+f.Says]++
		}
	}
	return count
}

// A ward is the shipped rulebase and what has to be known of it to see a mistake.
type ward struct {
	planter *planter
	base    *rulebase.Base
	known   map[string]int    // remarks on the unbroken rulebase
	tests   map[string][]byte // rule tests by file
	order   []string
	deep    bool // all rule tests are run, and every kind is held to its share
}

func newWard(t *testing.T) *ward {
	t.Helper()
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	w := &ward{planter: newPlanter(t, base, rulebase.Shipped()), base: base, tests: map[string][]byte{}}
	w.order, err = fs.Glob(rulebase.Shipped(), "*_test.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range w.order {
		if w.tests[name], err = fs.ReadFile(rulebase.Shipped(), name); err != nil {
			t.Fatal(err)
		}
	}
	w.known = w.remarks(base)
	return w
}

// A planted mistake, and what became of it.
type planted struct {
	edit
	place  string
	caught []catcher
	how    string // the first thing said about it
}

func (p *planted) by(c catcher, how string) {
	p.caught = append(p.caught, c)
	if p.how == "" {
		p.how, _, _ = strings.Cut(how, "\n")
	}
}

// upTo says whether a catcher or one before it noticed.
func (p *planted) upTo(c catcher) bool {
	return slices.ContainsFunc(p.caught, func(x catcher) bool { return slices.Index(catchers, x) <= slices.Index(catchers, c) })
}

// sameMeaning are options under which two rulebases that say the same are equal.
var sameMeaning = []cmp.Option{
	cmpopts.IgnoreTypes(rulebase.Position{}),
	cmpopts.IgnoreFields(rulebase.Base{}, "Digest"),
	cmpopts.IgnoreUnexported(rulebase.Base{}, rulebase.Expression{}),
	cmpopts.EquateNaNs(),
}

// same says whether two rulebases are equal under sameMeaning, which takes a hundredth of the time that
// it takes to tell where they are not.
func same(a, b reflect.Value) bool {
	switch a.Kind() {
	case reflect.Pointer, reflect.Interface:
		if a.IsNil() || b.IsNil() {
			return a.IsNil() == b.IsNil()
		}
		return a.Elem().Type() == b.Elem().Type() && same(a.Elem(), b.Elem())
	case reflect.Struct:
		for i := range a.NumField() {
			switch f := a.Type().Field(i); {
			case f.Type == reflect.TypeFor[rulebase.Position](), f.Name == "Digest" && a.Type() == reflect.TypeFor[rulebase.Base](), !f.IsExported():
			case !same(a.Field(i), b.Field(i)):
				return false
			}
		}
		return true
	case reflect.Slice, reflect.Array:
		if a.Len() != b.Len() || a.Kind() == reflect.Slice && a.IsNil() != b.IsNil() {
			return false
		}
		for i := range a.Len() {
			if !same(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	case reflect.Map:
		if a.Len() != b.Len() || a.IsNil() != b.IsNil() {
			return false
		}
		for _, k := range a.MapKeys() {
			if v := b.MapIndex(k); !v.IsValid() || !same(a.MapIndex(k), v) {
				return false
			}
		}
		return true
	case reflect.Float64:
		return a.Float() == b.Float() || math.IsNaN(a.Float()) && math.IsNaN(b.Float())
	}
	return a.Equal(b)
}

// load loads the rulebase with an edit. The mistake counts only if the rulebase
// is refused or says something else than before.
func (w *ward) load(e edit) (base *rulebase.Base, p *planted) {
	p = &planted{edit: e, place: w.planter.place(e)}
	base, err := rulebase.Load(rulebase.Layer{Name: "drop", FS: w.planter.folder(e)})
	if err != nil {
		p.by(byLoading, err.Error())
		return base, p
	}
	equal := same(reflect.ValueOf(base), reflect.ValueOf(w.base))
	if w.deep && equal != cmp.Equal(base, w.base, sameMeaning...) {
		panic("the two ways to compare do not agree: " + p.says)
	}
	if equal {
		return nil, nil
	}
	return base, p
}

// check asks whether check says something new.
func (w *ward) check(base *rulebase.Base, p *planted) {
	for says, n := range w.remarks(base) {
		if n > w.known[says] {
			p.by(byCheck, says)
			return
		}
	}
}

// ruleTests asks whether a rule test fails: those beside the changed files, and
// where it is deep and nobody has noticed yet, all.
func (w *ward) ruleTests(base *rulebase.Base, p *planted) {
	prepared := engine.Prepare(base)
	var order []string
	for _, s := range p.splices {
		order = append(order, strings.TrimSuffix(s.file, ".yaml")+"_test.yaml")
	}
	if w.deep && len(p.caught) == 0 {
		order = append(order, w.order...)
	}
	order = slices.DeleteFunc(order, func(name string) bool { return w.tests[name] == nil })
	done := map[string]bool{}
	for _, name := range order {
		if done[name] {
			continue
		}
		done[name] = true
		cases, err := base.ReadCases(name, w.tests[name])
		if err != nil {
			p.by(byRuleTest, err.Error())
			return
		}
		for _, c := range cases {
			if !w.mayTell(c, p) {
				continue
			}
			results, err := ruletest.Run(context.Background(), prepared, []rulebase.Situation{c})
			if err != nil {
				panic(err) // it is only ever the context's
			}
			if !results[0].Passed() {
				p.by(byRuleTest, fmt.Sprintf("%s:%d %s: %s", name, c.Pos.Line, c.Case, results[0].Differences[0]))
				return
			}
		}
	}
}

// mayTell says whether a case can come out otherwise by a mistake. Rows and limits
// of a symptom move only what is believed on a finding of it, and what is advised;
// how a test or remedy is described moves only advice, work done and its end.
func (w *ward) mayTell(c rulebase.Situation, p *planted) bool {
	x := c.Expect
	if x == nil {
		return false
	}
	return slices.ContainsFunc(p.splices, func(s splice) bool {
		switch section, id := w.planter.entryAt(s); section {
		case "symptoms":
			return x.Next != "" || len(c.Givens) > 0 || slices.ContainsFunc(c.Findings, func(f rulebase.Finding) bool { return f.Symptom == id })
		case "tests", "remedies":
			return x.Next != "" || len(x.NotOffered) > 0 || x.Outcome != "" || len(c.Done) > 0
		}
		return true
	})
}

// mostOfAKind is how many mistakes of one kind are planted at most.
const mostOfAKind = 9

// Mistakes of every kind are planted in the shipped rulebase, one at a time, and
// who notices is counted: loading, check, or a rule test. Here it is one of each
// kind, for which only the rule tests beside the changed file are run; DOWNDROP_DEEP
// plants as many of each kind, asks all rule tests about what nobody has noticed,
// holds every kind to its share and prints (with -v) who missed what.
func TestPlantedMistakes(t *testing.T) {
	w := newWard(t)
	each := min(support.Deep(t, 1), mostOfAKind)
	w.deep = each > 1
	count := tally{}
	for _, k := range readKinds(t) {
		t.Run(k.name, func(t *testing.T) {
			all := w.plant(k, each)
			w.ask(all, k)
			w.judge(t, k, all, &count)
		})
	}
	t.Logf("%d mistakes of %d kinds: caught by loading %d, check %d, rule tests %d, nothing %d", count.planted, count.kinds, count.by[byLoading], count.by[byCheck], count.by[byRuleTest], count.by[byNothing])
	if by := count.by[byNothing]; float64(by) > mostMissed*float64(count.planted) {
		t.Errorf("%d of %d mistakes were caught by nothing, and at most %v of them may be", by, count.planted, mostMissed)
	}
}

// mostMissed is the share of all mistakes that may be caught by nothing. Numbers
// that are a little off move no ranking, and no test should depend on them.
const mostMissed = 0.25

// The unbroken rulebase, read the way the broken ones are, has nothing to be caught.
func TestNothingIsReportedOfTheUnbroken(t *testing.T) {
	w := newWard(t)
	base, err := rulebase.Load(rulebase.Layer{Name: "drop", FS: w.planter.folder(edit{})})
	if err != nil {
		t.Fatal(err)
	}
	if d := cmp.Diff(w.base, base, sameMeaning...); d != "" || !same(reflect.ValueOf(w.base), reflect.ValueOf(base)) {
		t.Errorf("the planter changes what it only copies:\n%s", d)
	}
	for says := range w.known {
		t.Errorf("check says of the unbroken rulebase: %s", says)
	}
	whole := patient{base, &planted{}}
	w.deep = support.Deep(t, 1) > 1 // the rule tests are run by their own package besides
	w.ask([]patient{whole}, kind{by: byRuleTest})
	if len(whole.caught) > 0 {
		t.Errorf("caught by %s: %s", whole.caught, whole.how)
	}
}

type patient struct {
	base *rulebase.Base
	*planted
}

func (w *ward) plant(k kind, n int) []patient {
	var all []patient
	w.planter.pick(k.name, n, func(e edit) bool {
		base, p := w.load(e)
		if p != nil {
			all = append(all, patient{base, p})
		}
		return p != nil
	})
	return all
}

// ask asks check and the rule tests about what was loaded; where it is not deep,
// nobody behind the one who must catch it.
func (w *ward) ask(all []patient, k kind) {
	var wait sync.WaitGroup
	free := make(chan bool, 2)
	for _, p := range all {
		if p.base == nil {
			continue
		}
		wait.Add(1)
		go func() {
			defer wait.Done()
			free <- true
			defer func() { <-free }()
			w.check(p.base, p.planted)
			if w.deep || k.by == byRuleTest && len(p.caught) == 0 {
				w.ruleTests(p.base, p.planted)
			}
		}()
	}
	wait.Wait()
}

// A tally adds up all kinds.
type tally struct {
	kinds, planted int
	by             map[catcher]int
}

func (w *ward) judge(t *testing.T, k kind, all []patient, sum *tally) {
	if sum.by == nil {
		sum.by = map[catcher]int{}
	}
	sum.kinds, sum.planted = sum.kinds+1, sum.planted+len(all)
	by := map[catcher]int{}
	reached := 0
	var missed []string
	for _, p := range all {
		for _, c := range p.caught {
			by[c]++
		}
		if p.upTo(k.by) {
			reached++
		}
		if len(p.caught) == 0 {
			by[byNothing]++
			missed = append(missed, fmt.Sprintf("    %s %s", p.place, p.says))
		} else if testing.Verbose() && !w.deep {
			missed = append(missed, fmt.Sprintf("    (%s %s | %s | %s)", p.place, p.says, p.caught, p.how))
		}
	}
	for c, n := range by {
		sum.by[c] += n
	}
	t.Logf("%-20s %d planted, caught by loading %d, check %d, rule tests %d, nothing %d; %s must catch %v", k.name, len(all), by[byLoading], by[byCheck], by[byRuleTest], by[byNothing], k.by, k.atLeast)
	for _, m := range missed {
		t.Log(m)
	}
	if len(all) == 0 {
		t.Errorf("%s: nothing could be planted", k.name)
	}
	if (w.deep || k.atLeast == 1) && float64(reached) < k.atLeast*float64(len(all)) {
		t.Errorf("%s: %d of %d were caught by %s or before, and %v of them must be", k.name, reached, len(all), k.by, k.atLeast)
	}
}
