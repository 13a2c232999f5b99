package rehearse_test

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

	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/shipped"
)

func folder(t testing.TB, name string) *rulebase.Base {
	t.Helper()
	base, err := rulebase.LoadFolder(name)
	if err != nil {
		t.Fatal(err)
	}
	return base
}

func play(t testing.TB, base *rulebase.Base, o rehearse.Options) []rehearse.Course {
	t.Helper()
	if o.Places == nil {
		o.Places = rehearse.Places()
	}
	all, err := rehearse.Play(context.Background(), base, o)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// A few cases over the shipped rulebase, as many of each variant, spread over the
// places: hard rules hold in every one, and
// figures stay above floors that only a broken engine or rulebase misses.
func TestShippedRulebaseInRehearsal(t *testing.T) {
	base := shipped.Base(t)
	var all []rehearse.Course
	n := support.Deep(t, 2)
	for i, v := range rehearse.Variants() {
		all = append(all, play(t, base, rehearse.Options{Cases: n, Seed: uint64(1 + i), Variant: v})...)
	}
	for i := range all {
		hardRules(t, base, &all[i])
	}
	for _, f := range rehearse.Sum(all) {
		at := func(s rehearse.Share) (low, high float64) { return s.Interval() }
		if _, high := at(f.Right); high < 0.85 {
			t.Errorf("%s: right in %d of %d", f.Place, f.Right.Hits, f.Right.Of)
		}
		if _, high := at(f.Advice); high < 0.8 {
			t.Errorf("%s: advice in %d of %d", f.Place, f.Advice.Hits, f.Advice.Of)
		}
		if low, _ := at(f.CondemnedOfCalls); low > 0.05 {
			t.Errorf("%s: good units pulled in %d of %d", f.Place, f.CondemnedOfCalls.Hits, f.CondemnedOfCalls.Of)
		}
		if f.RanOut.Hits > 0 || f.Tests < 2 {
			t.Errorf("%s: %d cases led nowhere, %.1f tests on the mean", f.Place, f.RanOut.Hits, f.Tests)
		}
		t.Logf("%s: right %v, advice %v, good pulled %v, %.1f tests, %.0f minutes", f.Place, f.Right, f.Advice, f.CondemnedOfCalls, f.Tests, f.Minutes)
	}
}

// hardRules must hold in every course.
func hardRules(t *testing.T, base *rulebase.Base, c *rehearse.Course) {
	t.Helper()
	if c.Forbidden > 0 {
		t.Errorf("%s %d: %d steps that were not to be taken", c.Place, c.Number, c.Forbidden)
	}
	if !c.Right && c.Stated >= 0.999 {
		t.Errorf("%s %d: wrong, and called itself certain (%v)", c.Place, c.Number, c.Stated)
	}
	for _, turn := range c.Turns {
		s := turn.Step
		switch {
		case len(s.At) > 0 && !slices.Contains(s.At, c.Place):
			t.Errorf("%s %d: %s cannot be done there", c.Place, c.Number, s.ID)
		case c.Place == rulebase.Phone && (s.Hazard != 0 || s.Stops == rulebase.StopsBus || s.Who > rulebase.Operator):
			t.Errorf("phone %d: %s was asked of a caller", c.Number, s.ID)
		}
		if worked := s.Kind == rulebase.KindRemedy || len(s.PutsRight) > 0; (turn.Drop != "") != worked || turn.Helped && !worked {
			t.Errorf("%s %d: after %s the drop is %q, helped %v", c.Place, c.Number, s.ID, turn.Drop, turn.Helped)
		}
		for _, a := range turn.Answers {
			if n := len(base.Symptoms[a.Symptom].Values); a.True < 0 || a.True >= n || a.Reported < 0 || a.Reported >= n {
				t.Errorf("%s %d: an answer out of range", c.Place, c.Number)
			}
		}
	}
}

// The number of cores changes nothing, and a case played alone goes as among others.
func TestCoursesDoNotDependOnCores(t *testing.T) {
	base := folder(t, "testdata/tiny")
	for _, v := range rehearse.Variants() {
		o := rehearse.Options{Cases: 60, Seed: 5, Variant: v, Cores: 1}
		one := play(t, base, o)
		o.Cores = 7
		many := play(t, base, o)
		theatre := rehearse.NewTheatre(base, o)
		for i := range one {
			alone, err := theatre.Play(context.Background(), one[i].Place, one[i].Number)
			if err != nil {
				t.Fatal(err)
			}
			for _, other := range []*rehearse.Course{&many[i], alone} {
				if diff := cmp.Diff(told(&one[i]), told(other)); diff != "" {
					t.Fatalf("%s case %d:\n%s", v, i, diff)
				}
			}
		}
	}
}

// told is all that happened in a course, digit by digit.
func told(c *rehearse.Course) any {
	type turn struct {
		Step    string
		Answers []rehearse.Answer
		Lead    engine.ToDo
	}
	var turns []turn
	for _, t := range c.Turns {
		turns = append(turns, turn{t.Step.ID, t.Answers, t.Lead})
	}
	return []any{c.Place, c.Number, c.Causes, c.Outside, c.Minutes, c.End, c.Right, c.Stated, c.True, turns}
}

// What a rule would turn into evidence is never drawn, nor a number that rules read;
// everything else is, within its range.
func TestGivensSayNothingOfCauses(t *testing.T) {
	base := shipped.Base(t)
	said := map[string]bool{}
	for seed := range uint64(300) {
		for _, g := range rehearse.DrawGivens(base, rand.New(rand.NewPCG(seed, 1))) {
			ref, _ := base.Lookup(g.ID)
			given := &base.Givens[ref.Index]
			if _, ok := base.SlotOf(given.Name, g.Value); !ok || g.Value.IsNumber && (g.Value.Number < given.Range[0] || g.Value.Number > given.Range[1]) {
				t.Errorf("%s cannot be %v", g.ID, g.Value)
			}
			said[g.ID] = true
		}
	}
	turned := 0 // names that rules turn into what is seen
	for i := range base.Rules {
		rule := &base.Rules[i]
		if slices.ContainsFunc(rule.Then, func(a rulebase.Assignment) bool { return base.Names[a.Name].Kind == rulebase.KindSymptom }) {
			for _, n := range rule.When.Reads() {
				turned++
				if id := base.Names[n].ID; said[id] && base.Givens[base.Names[n].Index].FilledBy != "loss_of_bus" {
					t.Errorf("%s is drawn, and the rule %s turns it into what is seen", id, rule.ID)
				}
			}
		}
		for _, a := range rule.Then {
			if id := base.Names[a.Name].ID; said[id] && base.Givens[base.Names[a.Name].Index].FilledBy != "loss_of_bus" {
				t.Errorf("%s is drawn, and a rule sets it", id)
			}
		}
	}
	if turned == 0 {
		t.Error("no rule turns anything into what is seen")
	}
	for _, id := range []string{"line", "loss_of_bus", "classified_area", "unit_age"} {
		if !said[id] {
			t.Errorf("%s was never said", id)
		}
	}
	for _, id := range []string{"drop_address", "trunk_length", "modules_fitted", "user_place", "extent"} {
		if said[id] {
			t.Errorf("%s was said", id)
		}
	}
}

// givenWorlds are so many worlds' givens of the tiny rulebase with more of its own.
func givenWorlds(t *testing.T, givens string, worlds int) map[string][]rulebase.Value {
	t.Helper()
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: append(tiny, givens...)}}})
	if err != nil {
		t.Fatal(err)
	}
	drawn := map[string][]rulebase.Value{}
	for seed := range uint64(worlds) {
		for _, g := range rehearse.DrawGivens(base, rand.New(rand.NewPCG(seed, 2))) {
			drawn[g.ID] = append(drawn[g.ID], g.Value)
		}
	}
	return drawn
}

// A flag is true once in eight; a choice has its default half of the time, else any of the others, and
// without a default any of all.
func TestSharesOfGivens(t *testing.T) {
	const worlds = 4000
	drawn := givenWorlds(t, `
givens:
  damp: {ask: "Is it damp?"}
  cable: {ask: "Which cable?", one_of: [thin, thick, flat, round], default: flat}
  season: {ask: "Which season?", one_of: [wet, dry]}
`, worlds)
	for id, shares := range map[string]map[string]float64{
		"damp":   {"true": 1.0 / 8, "false": 7.0 / 8},
		"cable":  {"flat": 1.0 / 2, "thin": 1.0 / 6, "thick": 1.0 / 6, "round": 1.0 / 6},
		"season": {"wet": 1.0 / 2, "dry": 1.0 / 2},
	} {
		times := map[string]int{}
		for _, v := range drawn[id] {
			times[v.Word]++
		}
		if len(drawn[id]) != worlds || len(times) != len(shares) {
			t.Errorf("%s was drawn %d times: %v", id, len(drawn[id]), times)
		}
		for word, share := range shares { // at 4.4 standard deviations
			if got := float64(times[word]) / worlds; !(math.Abs(got-share) <= 4.4*math.Sqrt(share*(1-share)/worlds)) {
				t.Errorf("%s is %s in %v of the worlds, wanted %v", id, word, got, share)
			}
		}
	}
}

// Numbers of givens are even over a range that reaches below nothing, else even in their logarithm, and
// said in half of the cases.
func TestNumbersOfGivens(t *testing.T) {
	const worlds = 4000
	drawn := map[string][]float64{}
	for id, values := range givenWorlds(t, `
givens:
  cold: {ask: "How cold is it?", unit: degC, range: [-20, 60]}
  load: {ask: "What load?", unit: ohm, range: [1, 100]}
`, worlds) {
		for _, v := range values {
			drawn[id] = append(drawn[id], v.Number)
		}
	}
	for id, quartiles := range map[string][3]float64{"cold": {0, 20, 40}, "load": {math.Pow(10, 0.5), 10, math.Pow(10, 1.5)}} {
		if said := len(drawn[id]); !(math.Abs(float64(said)-worlds/2) <= 4*math.Sqrt(worlds)/2) {
			t.Errorf("%s was said in %d of %d worlds", id, said, worlds)
		}
		slices.Sort(drawn[id])
		for i, want := range quartiles {
			n := len(drawn[id])
			if got := drawn[id][n*(i+1)/4]; !(math.Abs(got-want) <= 3) && !(math.Abs(got/want-1) <= 0.15) {
				t.Errorf("%s: quartile %d is %g, near %g is right", id, i+1, got, want)
			}
		}
	}
}

// Another seed is another world; the places do not share their chance.
func TestSeedsDiffer(t *testing.T) {
	base := folder(t, "testdata/tiny")
	causes := func(seed uint64) (all [][]int) {
		for _, c := range play(t, base, rehearse.Options{Cases: 90, Seed: seed, Variant: rehearse.Own}) {
			all = append(all, c.Causes)
		}
		return all
	}
	if cmp.Equal(causes(1), causes(2)) {
		t.Error("two seeds gave the same cases")
	}
	all := causes(1)
	var phone, field [][]int
	for i := 0; i < len(all); i += 3 {
		phone, field = append(phone, all[i]), append(field, all[i+1])
	}
	if cmp.Equal(phone, field) {
		t.Error("phone and field drew the same causes")
	}
}

// The tiny rulebase has one test, asked of everybody, and what follows from its
// answer can be counted on paper: the simulated shares lie within their intervals
// (at 4.4 standard deviations: one run in a hundred thousand may miss).
func TestRightShareIsTheOneCounted(t *testing.T) {
	base := folder(t, "testdata/tiny")
	n := support.Deep(t, 3000)
	all := play(t, base, rehearse.Options{Cases: n, Seed: 11, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own})
	f := rehearse.Sum(all)[0]
	advised, right := counted()
	for what, one := range map[string]struct {
		got  rehearse.Share
		want float64
	}{"advised": {f.Advice, advised}, "right of those": {f.Right, right / advised}} {
		off := math.Abs(one.got.Value() - one.want)
		if most := 4.4 * math.Sqrt(one.want*(1-one.want)/float64(one.got.Of)); !(off <= most) {
			t.Errorf("%s: %.4f, counted %.4f, may be off by %.4f", what, one.got.Value(), one.want, most)
		}
	}
}

// counted is what the tiny rulebase comes to in the field, by plain enumeration of
// its worlds and answers: the share of cases with advice, and with right advice.
// Causes a (weight 3/13 as odds), b (1/9) and c (1/19), one at a time, outside 0.02;
// every cause brings the complaint for sure and nothing else does but outside (half).
// Light and sound tell them apart, each report sure to 0.97. The first of the two
// that the engine asks for is asked; the second only if the first is not enough.
func counted() (advised, right float64) {
	odds := []float64{3.0 / 13, 1.0 / 9, 1.0 / 19}
	light := [][]float64{{0.95, 0.05}, {0.1, 0.9}, {0.1, 0.9}} // red, green
	sound := [][]float64{{0.5, 0.5}, {0.9, 0.1}, {0.2, 0.8}}   // hum, still
	sum := 1 + odds[0] + odds[1] + odds[2]
	prior := make([]float64, 4) // a, b, c, outside: after the complaint
	total := 0.0
	for i, o := range odds {
		prior[i] = 0.98 * o / sum
		total += prior[i]
	}
	prior[3] = 0.02 / 2
	total += prior[3]
	p := func(rows [][]float64, world, seen int) float64 {
		if world == 3 {
			return 0.5
		}
		return 0.97*rows[world][seen] + 0.03/2
	}
	for l := range 2 {
		weigh := make([]float64, 4)
		for w := range weigh {
			weigh[w] = prior[w] / total * p(light, w, l)
		}
		if lead, mass := most(weigh); weigh[lead] >= engine.Settled*mass {
			advised += mass
			right += weigh[lead]
			continue
		}
		for s := range 2 {
			both := make([]float64, 4)
			for w := range both {
				both[w] = weigh[w] * p(sound, w, s)
			}
			if lead, mass := most(both); both[lead] >= engine.Likely*mass {
				advised += mass
				right += both[lead]
			}
		}
	}
	return advised, right
}

func most(weigh []float64) (lead int, mass float64) {
	for w, x := range weigh {
		mass += x
		if x > weigh[lead] {
			lead = w
		}
	}
	return lead, mass
}

// Wilson's interval at published places: 0 of 10, 5 of 10 and 81 of 263 (Newcombe 1998,
// table I, from memory for the last; the first two worked out by hand from the formula).
func TestIntervalOfAShare(t *testing.T) {
	for _, c := range []struct {
		share     rehearse.Share
		low, high float64
	}{{rehearse.Share{Hits: 81, Of: 263}, 0.2553, 0.3662}, {rehearse.Share{Hits: 0, Of: 10}, 0, 0.2775}, {rehearse.Share{Hits: 5, Of: 10}, 0.2366, 0.7634}} {
		low, high := c.share.Interval()
		if !(math.Abs(low-c.low) <= 5e-5) || !(math.Abs(high-c.high) <= 5e-5) {
			t.Errorf("%v: %.4f to %.4f, want %.4f to %.4f", c.share, low, high, c.low, c.high)
		}
	}
}

// A policy that pulls the unit at once is seen through: it condemns good units.
type pullAtOnce struct{}

func (pullAtOnce) Next(d *engine.Diagnosis) rehearse.Move {
	for _, p := range d.Next {
		if p.Step.EndsAs == rulebase.UnitOut {
			return rehearse.Move{Step: p.Step}
		}
	}
	return rehearse.Move{}
}

func TestAPolicyThatPullsAtOnceIsSeenThrough(t *testing.T) {
	base := folder(t, "testdata/tiny")
	all := play(t, base, rehearse.Options{Cases: 200, Seed: 3, Places: []rulebase.Place{rulebase.Field}, Policy: pullAtOnce{}, Variant: rehearse.Own})
	f := rehearse.Sum(all)[0]
	// After the complaint, before anything else is known, the unit is good with the
	// chance of b, c and outside: see counted.
	a, rest := 3.0/13, 1.0/9+1.0/19
	good := 1 - 0.98*a/(0.98*(a+rest)+0.01*(1+a+rest))
	if low, high := f.CondemnedOfPulled.Interval(); f.CondemnedOfPulled.Of != 200 || good < low || good > high {
		t.Errorf("of %d units pulled %d were good, want about %.2f of them", f.CondemnedOfPulled.Of, f.CondemnedOfPulled.Hits, good)
	}
}

// Disturbed worlds are drawn anew for each case, and differ from the rulebase's.
func TestDisturbedNumbers(t *testing.T) {
	base := folder(t, "testdata/tiny")
	r := rand.New(rand.NewPCG(1, 2))
	for range 100 {
		d := rehearse.DisturbedBase(base, r)
		for i := range d.Symptoms {
			for j, row := range d.Symptoms[i].Shows {
				sum := 0.0
				for v, p := range row.P {
					sum += p
					was := base.Symptoms[i].Shows[j].P[v]
					if moved := p / (1 - p) * (1 - was) / was; was > 0 && was < 1 && (moved > 2.7*2.7 || moved < 1/2.7/2.7) {
						t.Errorf("%s: %v became %v", d.Symptoms[i].ID, was, p)
					}
				}
				if !(math.Abs(sum-1) <= 1e-12) {
					t.Errorf("%s: a row sums to %v", d.Symptoms[i].ID, sum)
				}
			}
		}
		for i := range d.Causes {
			was, is := base.Causes[i].Prior, d.Causes[i].Prior
			if moved := is / (1 - is) * (1 - was) / was; moved == 1 || moved > 2.0000001 || moved < 0.4999999 {
				t.Errorf("%s: weight moved by %v", d.Causes[i].ID, moved)
			}
		}
	}
	if base.Causes[0].Prior != 0.1875 {
		t.Error("the rulebase itself was changed")
	}
}

// BenchmarkCase plays whole cases over the shipped rulebase. whole/lean is what a
// step would cost if everything were valued, over what it costs here, measured on the
// last situation of each case in the same run.
func BenchmarkCase(b *testing.B) {
	base := shipped.Base(b)
	prepared := engine.Prepare(base)
	for _, place := range rehearse.Places() {
		b.Run(string(place), func(b *testing.B) {
			theatre := rehearse.NewTheatre(base, rehearse.Options{Seed: 1, Variant: rehearse.Own})
			steps := 0
			var lean, whole time.Duration
			for i := range b.N {
				c, err := theatre.Play(context.Background(), place, i)
				if err != nil {
					b.Fatal(err)
				}
				steps += len(c.Turns) + 1
				b.StopTimer()
				lean += timed(b, prepared, c.Final.Situation, engine.Options{OneCore: true, Lean: true})
				whole += timed(b, prepared, c.Final.Situation, engine.Options{OneCore: true})
				b.StartTimer()
			}
			b.ReportMetric(float64(steps)/float64(b.N), "steps/op")
			b.ReportMetric(float64(whole)/float64(lean), "whole/lean")
		})
	}
}

func timed(b *testing.B, p *engine.Prepared, s rulebase.Situation, o engine.Options) time.Duration {
	began := time.Now()
	if _, err := engine.Diagnose(context.Background(), p, s, o); err != nil {
		b.Fatal(err)
	}
	return time.Since(began)
}

// Which place a remedy has in its file makes no difference to how a case goes.
func TestOrderOfRemediesMakesNoDifference(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	before, remedies, _ := strings.Cut(strings.TrimSpace(strings.ReplaceAll(string(tiny), "who: engineer, ", "")), "\nremedies:\n")
	lines := strings.Split(remedies, "\n")
	courses := func(lines []string) (all [][]any) {
		base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: []byte(before + "\nremedies:\n" + strings.Join(lines, "\n") + "\n")}}})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range play(t, base, rehearse.Options{Cases: 60, Seed: 9, Variant: rehearse.Own}) {
			var turns []string
			for _, x := range c.Turns {
				turns = append(turns, x.Step.ID)
			}
			all = append(all, []any{c.Place, c.Number, c.Causes, c.Minutes, c.End, c.Right, turns})
		}
		return all
	}
	want := courses(lines)
	for range len(lines) - 1 {
		lines = append(lines[1:], lines[0])
		if d := cmp.Diff(want, courses(lines)); d != "" {
			t.Errorf("with %s first:\n%s", lines[0], d)
		}
	}
	if !strings.Contains(fmt.Sprint(want), "mend_feed") {
		t.Error("nobody mended the feed")
	}
}

// What no rulebase lists is taken away by nothing that it lists: whatever is tried, such a breakdown stays down.
func TestOutsideKeepsItsComplaint(t *testing.T) {
	tiny, err := os.ReadFile("testdata/tiny/tiny.yaml")
	if err != nil {
		t.Fatal(err)
	}
	text := strings.NewReplacer("outside_per_thousand: 20", "outside_per_thousand: 999", "who: engineer", "who: technician").Replace(string(tiny))
	base, err := rulebase.Load(rulebase.Layer{Name: "tiny", FS: fstest.MapFS{"tiny.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	order := rehearse.SwapUnitFirst()
	c, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: 40, Seed: 13, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own}, []rehearse.Rival{{Name: order.Name, Order: &order}})
	if err != nil {
		t.Fatal(err)
	}
	for i, run := range c.Runs[0] {
		if run.Remedies == 0 || run.Vain != run.Remedies || run.End == rehearse.Restored {
			t.Errorf("breakdown %d: %+v", i, run)
		}
	}
}

// A bad unit that the advice leaves in was declared good; one that is to come out in the end was not.
func TestABadUnitThatIsLeftInWasDeclaredGood(t *testing.T) {
	base := folder(t, "testdata/tiny")
	good, out := 0, 0
	for _, c := range play(t, base, rehearse.Options{Cases: support.Deep(t, 3000), Seed: 17, Places: []rulebase.Place{rulebase.Field}, Variant: rehearse.Own}) {
		if c.End != rehearse.Advised || len(c.Causes) != 1 || base.Causes[c.Causes[0]].ID != "a" {
			continue
		}
		takesOut := slices.ContainsFunc(c.Final.Advice.Lead.Lists, func(list string) bool { return slices.Contains(strings.Fields(list), "exchange") })
		if c.DeclaredGood == takesOut {
			t.Errorf("case %d: advised are %q, declared good %v", c.Number, c.Final.Advice.Lead.Lists, c.DeclaredGood)
		}
		if takesOut {
			out++
		} else {
			good++
		}
	}
	if good < 5 || out < 50 {
		t.Errorf("left in %d times, taken out %d times: it tries nothing", good, out)
	}
}
