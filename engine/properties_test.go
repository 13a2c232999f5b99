package engine_test

import (
	"context"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"

	"pgregory.net/rapid"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// TestMain sets how many random cases each property is tried on, 60 times
// DOWNDROP_DEEP, and the seed that they come from, unless the command line does.
func TestMain(m *testing.M) {
	flag.Parse()
	checks := 60
	if deep, err := strconv.Atoi(os.Getenv("DOWNDROP_DEEP")); err == nil {
		checks *= deep
	}
	for name, value := range map[string]int{"rapid.checks": checks, "rapid.seed": 20261125} {
		if f := flag.Lookup(name); f.Value.String() == f.DefValue {
			if err := f.Value.Set(strconv.Itoa(value)); err != nil {
				panic(err)
			}
		}
	}
	os.Exit(m.Run())
}

// drawn is a random rulebase with a random case.
type drawn struct {
	b    *rulebase.Base
	p    *engine.Prepared
	s    rulebase.Situation
	text string
	r    *rand.Rand
}

func draw(t *rapid.T) drawn {
	seed := rapid.Uint64Range(0, 1<<40).Draw(t, "seed")
	r := rand.New(rand.NewPCG(seed, 77))
	w, text := randomRulebase(r)
	b, err := load(text)
	if err != nil {
		t.Skip("does not load")
	}
	s, err := b.ReadCase("case", []byte(w.randomCase()))
	if err != nil {
		t.Fatal(err)
	}
	return drawn{b, engine.Prepare(b), s, text, r}
}

func mustDiagnose(t *rapid.T, p *engine.Prepared, s rulebase.Situation, o engine.Options) *engine.Diagnosis {
	d, err := engine.Diagnose(context.Background(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func same(t *rapid.T, what string, a, b *engine.Diagnosis) {
	if diff := differences(asAnswer(a), asAnswer(b), true, 1e-12); len(diff) > 0 {
		t.Fatalf("%s: %v", what, diff)
	}
}

// The order of findings of different symptoms never matters.
func TestOrderOfFindings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		one := mustDiagnose(t, d.p, d.s, engine.Options{})
		other := d.s.Clone()
		slices.SortStableFunc(other.Findings, func(a, b rulebase.Finding) int { return strings.Compare(b.Symptom, a.Symptom) })
		same(t, "findings the other way round", mustDiagnose(t, d.p, other, engine.Options{}), one)
	})
}

// The order of entries, rules among them, and of files never matters.
func TestOrderOfRulesAndFiles(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		one := mustDiagnose(t, d.p, d.s, engine.Options{})
		files := fstest.MapFS{}
		sections := strings.Split("\n"+d.text, "\nsymptoms:")
		before, rest, _ := strings.Cut(sections[1], "\nrules:")
		rules, steps, _ := strings.Cut(rest, "\ntests:")
		lines := strings.Split(strings.TrimSpace(rules), "\n")
		slices.Reverse(lines)
		for i := range lines {
			lines[i] = "  " + strings.TrimSpace(lines[i])
		}
		for name, text := range map[string]string{"d.yaml": sections[0], "c.yaml": "symptoms:" + before, "b.yaml": "rules:\n" + strings.Join(lines, "\n") + "\n", "a.yaml": "tests:" + steps} {
			files[name] = &fstest.MapFile{Data: []byte(text)}
		}
		b, err := rulebase.Load(rulebase.Layer{Name: "parts", FS: files})
		if err != nil {
			t.Fatalf("in parts: %v", err)
		}
		same(t, "in other files, rules the other way round", mustDiagnose(t, engine.Prepare(b), d.s, engine.Options{}), one)
	})
}

// A finding that is taken back leaves no trace; one more finding gives the same
// from an earlier diagnosis as from nothing.
func TestRetractionAndContinuation(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		one := mustDiagnose(t, d.p, d.s, engine.Options{})
		symptom := &d.b.Symptoms[d.r.IntN(len(d.b.Symptoms))]
		more := d.s.Clone()
		more.Findings = append(more.Findings, rulebase.Finding{Symptom: symptom.ID, Value: rulebase.Value{Word: symptom.Values[d.r.IntN(len(symptom.Values))]}, Now: true})
		fresh := mustDiagnose(t, d.p, more, engine.Options{})
		continued := mustDiagnose(t, d.p, more, engine.Options{Earlier: one})
		same(t, "continued", continued, fresh)
		same(t, "taken back", mustDiagnose(t, d.p, d.s, engine.Options{Earlier: fresh}), one)
	})
}

// Sets of causes, outside and what is left out sum to 1; gains lie between nothing and the entropy; a symptom that is
// not observed changes nothing.
func TestSums(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		one := mustDiagnose(t, d.p, d.s, engine.Options{})
		a := slow(d.b, d.s)
		if !one.Possible {
			if len(one.Causes)+len(one.Next)+len(one.Explanations) > 0 || len(one.Conflicts) == 0 || one.None+one.Outside+one.Evidence != 0 {
				t.Fatalf("nothing is possible, but it gives numbers or no conflict: %+v", one)
			}
			return
		}
		sum := one.Outside + one.LeftOut
		for _, e := range one.Explanations {
			sum += e.Probability
		}
		if sum > 1+1e-12 || len(one.Explanations) < 10 && sum < 1-1e-12 {
			t.Fatalf("the %d likeliest sets, outside and what is left out sum to %v", len(one.Explanations), sum)
		}
		for id, g := range asAnswer(one).gain {
			if g < 0 || g > a.entropy+1e-9 {
				t.Fatalf("gain of %s is %v, entropy %v", id, g, a.entropy)
			}
		}
		extra := strings.Replace(d.text, "\nsymptoms:\n", "\nsymptoms:\n  never_seen: {ask: never, values: [a, b], shows: [{when: c0, a: 0.7}, {b: 0.8}]}\n", 1)
		b, err := load(extra)
		if err != nil {
			t.Fatal(err)
		}
		same(t, "with a symptom nobody observed", mustDiagnose(t, engine.Prepare(b), d.s, engine.Options{}), one)
	})
}

// withoutRules is a drawn rulebase whose rules say nothing and whose steps ask
// for nothing, so that what a test shows is all that changes.
func withoutRules(t *rapid.T, d drawn) *rulebase.Base {
	before, rest, _ := strings.Cut(d.text, "\nrules:\n")
	_, steps, _ := strings.Cut(rest, "\ntests:\n")
	steps = regexp.MustCompile(`, only_if: "[^"]*"`).ReplaceAllString(steps, "")
	b, err := load(before + "\ntests:\n" + steps)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// A gain is what looking would bring on the average: the entropy now, less that
// after each result, by the chance of the result; both found by looking. A
// result r of a look at a symptom already reported as q, sure s, has the weight
// s*[r = q] + (1-s)/n besides.
func TestGainIsWhatLookingBrings(t *testing.T) {
	looks := 0
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		b := withoutRules(t, d)
		one := mustDiagnose(t, engine.Prepare(b), d.s, engine.Options{})
		if !one.Possible {
			return
		}
		for id, gain := range asAnswer(one).gain {
			if ref, _ := b.Lookup(id); ref.Kind == rulebase.KindTest && len(b.Tests[ref.Index].PutsRight) == 0 {
				looks++
				if brings := byLooking(t, b, d.s, &b.Tests[ref.Index]); !(math.Abs(gain-brings) <= 1e-9) {
					t.Fatalf("gain of %s is %v, looking brings %v", id, gain, brings)
				}
			}
		}
	})
	if looks < 60 && !testing.Short() {
		t.Errorf("only %d tests were tried", looks)
	}
}

// byLooking is the gain of a test by taking every result as found, each in a
// diagnosis of its own.
func byLooking(t *rapid.T, b *rulebase.Base, s rulebase.Situation, step *rulebase.Step) float64 {
	q := &reference{b: b, s: s}
	q.observe()
	type branch struct {
		s      rulebase.Situation
		weight float64
	}
	branches := []branch{{s, 1}}
	for _, y := range step.Yields {
		if !q.informs(y) || q.knownForSure(y) {
			continue
		}
		values := b.Symptoms[y].Values
		var next []branch
		for _, one := range branches {
			for v := range values {
				more := one.s.Clone()
				sure := 1.0
				more.Findings = append(more.Findings, rulebase.Finding{Symptom: b.Symptoms[y].ID, Value: rulebase.Value{Word: values[v]}, Sure: &sure, Now: true})
				weight := one.weight
				if r := q.reported(y); r != nil && r.at >= 0 {
					weight *= (1 - r.sure) / float64(len(values))
					if r.at == v {
						weight += one.weight * r.sure
					}
				}
				next = append(next, branch{more, weight})
			}
		}
		branches = next
	}
	now := slow(b, s)
	gain, sum := now.entropy, 0.0
	for _, one := range branches {
		after := slow(b, one.s)
		p := one.weight * after.evidence / now.evidence
		sum += p
		gain -= p * after.entropy
	}
	if !(math.Abs(sum-1) <= 1e-9) {
		t.Fatalf("the results of %s sum to %v", step.ID, sum)
	}
	return gain
}

// Where nothing listed allows the findings, a smallest set of them is named;
// dropping any one of it leaves something possible.
func TestContradiction(t *testing.T) {
	b, err := load(`
rulebase: {name: sharp, outside_per_thousand: 0, faults_at_most: 2}
causes:
  a: {name: A, part: unit, per_thousand: 100, source: common_practice}
  b: {name: B, part: unit, per_thousand: 100, source: common_practice}
symptoms:
  sa: {ask: sa, by: asking, values: [x, y], shows: [{when: a, x: 1}, {y: 1}]}
  sb: {ask: sb, by: asking, values: [x, y], shows: [{when: b, x: 1}, {y: 1}]}
  both: {ask: both, by: asking, values: [x, y], shows: [{when: a and b, x: 1}, {y: 1}]}
  noise: {ask: noise, by: asking, values: [x, y], shows: [{when: a, x: 0.5}, {x: 0.6}]}
rules:
  never_b: {when: noise == x, rules_out: [b], source: common_practice}
`)
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(b)
	for _, c := range []struct {
		see  []string
		want string
	}{
		{[]string{"sa=x", "sb=x", "both=y"}, "[both sa sb]"},
		{[]string{"sa=y", "both=x", "sb=x"}, "[both sa]"},
		{[]string{"noise=x", "sb=x", "sa=x"}, "[never_b sb]"},
	} {
		s := rulebase.Situation{}
		for _, f := range c.see {
			one, err := b.ReadSee(f)
			if err != nil {
				t.Fatal(err)
			}
			s.Findings = append(s.Findings, one)
		}
		d := diagnose(t, p, s, engine.Options{})
		at := slices.IndexFunc(d.Conflicts, func(c engine.Conflict) bool { return c.Kind == engine.ConflictImpossible })
		if d.Possible || at < 0 {
			t.Fatalf("%v: possible %v, conflicts %v", c.see, d.Possible, d.Conflicts)
		}
		members := slices.Clone(d.Conflicts[at].Members)
		slices.Sort(members)
		if fmt.Sprint(members) != c.want {
			t.Errorf("%v: %v, want %v", c.see, members, c.want)
		}
	}
}

// A diagnosis that is given up gives an error and no half answer.
func TestCancelled(t *testing.T) {
	b, err := load(hazardous)
	if err != nil {
		t.Fatal(err)
	}
	ctx, cancel := context.WithCancel(context.Background())
	cancel()
	if d, err := engine.Diagnose(ctx, engine.Prepare(b), rulebase.Situation{}, engine.Options{}); err == nil || d != nil {
		t.Errorf("got %v, %v", d, err)
	}
}

// Rules that disagree are reported with both chains, down to what was said.
func TestBothChainsOfAConflict(t *testing.T) {
	b, err := load(`
rulebase: {name: torn}
causes: {a: {name: A, part: unit, per_thousand: 100, source: common_practice}}
symptoms:
  light: {ask: light, by: looking, values: [lit, dark]}
  volts: {ask: volts, by: looking, values: [good, none]}
rules:
  by_light: {when: light == lit, then: {powered: true}, because: A lit light has power., source: common_practice}
  by_volts: {when: volts == none, then: {powered: false}, because: No volts no power., source: common_practice}
`)
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.ReadCase("case", []byte("findings: [{symptom: light, value: lit}, {symptom: volts, value: none}]"))
	if err != nil {
		t.Fatal(err)
	}
	d := diagnose(t, engine.Prepare(b), s, engine.Options{})
	if len(d.Conflicts) != 1 {
		t.Fatalf("conflicts %v", d.Conflicts)
	}
	why := strings.Join(d.Conflicts[0].Why, "\n")
	for _, want := range []string{"by_light", "A lit light has power.", "light is lit: said", "by_volts", "No volts no power.", "volts is none: said"} {
		if !strings.Contains(why, want) {
			t.Errorf("%q is not in the chains:\n%s", want, why)
		}
	}
}

// What a diagnosis of the shipped rulebase does, in counts: sets of at most two causes
// once, and no rule looked at more than twice.
func TestWorkOfAShippedDiagnosis(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	for _, see := range []string{"power_light=lit", "run_light=dark", "traffic_light=dark"} {
		f, err := base.ReadSee(see)
		if err != nil {
			t.Fatal(err)
		}
		s.Findings = append(s.Findings, f)
	}
	d := diagnose(t, engine.Prepare(base), s, engine.Options{})
	n := len(base.Causes)
	if want := 1 + n + n*(n-1)/2; base.FaultsAtMost == 2 && d.Work.Hypotheses != want {
		t.Errorf("%d sets of causes are held, of %d causes there are %d", d.Work.Hypotheses, n, want)
	}
	if d.Work.Visits > 2*len(base.Rules) {
		t.Errorf("%d rules were looked at, of %d", d.Work.Visits, len(base.Rules))
	}
}

// Which place a cause, a symptom, a test has in its file says nothing: the first of a list is one like others.
func TestOrderOfEntries(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		b, err := rulebase.Load(rulebase.Layer{Name: "turned", FS: fstest.MapFS{"turned.yaml": {Data: []byte(support.EntriesTurned(d.text))}}})
		if err != nil {
			t.Fatalf("the other way round: %v\n%s", err, support.EntriesTurned(d.text))
		}
		for i := range b.Causes {
			if last := d.b.Causes[len(d.b.Causes)-1-i].ID; b.Causes[i].ID != last {
				t.Fatalf("cause %d is %s, wanted %s", i, b.Causes[i].ID, last)
			}
		}
		one, other := mustDiagnose(t, d.p, d.s, engine.Options{Weights: true}), mustDiagnose(t, engine.Prepare(b), d.s, engine.Options{Weights: true})
		same(t, "the other way round", other, one)
		weights := func(d *engine.Diagnosis) (all []string) {
			for _, w := range d.Weights {
				all = append(all, fmt.Sprintf("%s=%s by a rule: %v", w.Finding, w.Value, w.Rule != "")) // of two rules that conclude the same either is named
			}
			slices.Sort(all)
			return all
		}
		if a, b := weights(one), weights(other); !slices.Equal(a, b) {
			t.Fatalf("weights %q, the other way round %q", a, b)
		}
		o := engine.ChartOptions{Nodes: 4, Identify: d.r.IntN(3) == 0} // of orders that are as good as each other the best may be either
		if a, b := toldChart(t, d.p, d.s, o), toldChart(t, engine.Prepare(b), d.s, o); a != b {
			t.Fatalf("the chart %+v\n%sthe other way round\n%s", o, a, b)
		}
	})
}

// toldChart are the places of a small chart: what is done and read there, and how likely one comes there.
func toldChart(t *rapid.T, p *engine.Prepared, s rulebase.Situation, o engine.ChartOptions) string {
	tree, err := engine.Chart(context.Background(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	var out strings.Builder
	walk(tree.Root, 0, func(n *engine.ChartNode, level int) {
		step, symptom := "", ""
		if n.Step != nil {
			step = n.Step.Step.ID
		}
		if n.Symptom >= 0 {
			symptom = p.Base().Symptoms[n.Symptom].ID
		}
		fmt.Fprintf(&out, "%d %s %s %s %v %.6f %.3f\n", level, n.End, step, symptom, n.Goes, n.Share, n.Minutes)
	})
	return out.String()
}

var (
	aCause   = regexp.MustCompile(`\bc0\b`)
	oneFault = regexp.MustCompile(`faults_at_most: \d`)
	weighs   = regexp.MustCompile(`per_thousand: (\d+)`)
)

// inTwo is a rulebase with its cause c0 written as two, each half as likely and in all else the same, and
// both read wherever the one was.
func inTwo(text string) string {
	before, rest, _ := strings.Cut(text, "\n  c0:\n")
	entry, after := "", ""
	for i, line := range strings.SplitAfter(rest, "\n") {
		if !strings.HasPrefix(line, "    ") {
			parts := strings.SplitAfter(rest, "\n")
			entry, after = strings.Join(parts[:i], ""), strings.Join(parts[i:], "")
			break
		}
	}
	half := weighs.ReplaceAllStringFunc(entry, func(text string) string {
		n, _ := strconv.ParseFloat(weighs.FindStringSubmatch(text)[1], 64)
		odds := n / (1000 - n) / 2
		return "per_thousand: " + strconv.FormatFloat(1000*odds/(1+odds), 'g', -1, 64)
	})
	lines := strings.Split(after, "\n")
	for i, line := range lines {
		switch {
		case strings.Contains(line, "establishes: [c0]"): // one of the two is there, which no rule can say
		case strings.Contains(line, "[c0]"):
			lines[i] = strings.ReplaceAll(line, "[c0]", "[c0, c0x]")
		default:
			lines[i] = aCause.ReplaceAllString(line, "(c0 or c0x)")
		}
	}
	return before + "\n  c0:\n" + half + "  c0x:\n" + half + strings.Join(lines, "\n")
}

// A cause that is written as two, with the same signs and the same cure, changes nothing but its own
// name: what is asked, what is to be done, how a call ends, and all chances but its own.
func TestACauseInTwo(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		d := draw(t)
		text := oneFault.ReplaceAllString(d.text, "faults_at_most: 1")
		ref, _ := d.b.Lookup("c0")
		left := slices.ContainsFunc(d.b.Causes[ref.Index].Remedies, func(h rulebase.Helps) bool {
			return !slices.ContainsFunc(d.s.Done, func(x rulebase.Done) bool { return x.ID == d.b.Remedies[h.Remedy].ID })
		})
		if strings.Contains(text, "establishes: [c0]") || !left {
			t.Skip("a rule establishes it, or nothing is left to be done about it but to name it")
		}
		load := func(text string) *engine.Prepared {
			b, err := rulebase.Load(rulebase.Layer{Name: "split", FS: fstest.MapFS{"split.yaml": {Data: []byte(text)}}})
			if err != nil {
				t.Fatalf("%v\n%s", err, text)
			}
			return engine.Prepare(b)
		}
		one, two := load(text), load(inTwo(text))
		a, b := mustDiagnose(t, one, d.s, engine.Options{}), mustDiagnose(t, two, d.s, engine.Options{})
		whole, parts := asAnswer(a), asAnswer(b)
		for _, chances := range []map[string]float64{parts.causes, parts.now, parts.explanations} {
			chances["c0"] += chances["c0x"]
			delete(chances, "c0x")
		}
		delete(parts.remedy, "c0x")
		if diff := differences(parts, whole, false, 1e-9); len(diff) > 0 {
			t.Fatalf("in two: %v\n%s", diff, text)
		}
		if (a.Disposition == nil) != (b.Disposition == nil) {
			t.Fatalf("a call ends as %v, in two as %v", a.Disposition, b.Disposition)
		}
		if x, y := a.Disposition, b.Disposition; x != nil && a.Possible {
			near := func(x, y float64) bool { return math.Abs(x-y) <= 1e-9*math.Max(1, math.Abs(x)) }
			if x.Kind != y.Kind || x.Who != y.Who || !slices.Equal(x.Remedies, y.Remedies) || !near(x.Minutes, y.Minutes) || !near(x.Probability, y.Probability) || !near(x.Wrong, y.Wrong) || !near(x.ToKnow, y.ToKnow) {
				t.Fatalf("a call ends as %+v, in two as %+v\n%s", *x, *y, text)
			}
		}
		if x, y := a.Advice, b.Advice; x.Enough != y.Enough || x.CannotTell != y.CannotTell || !x.Lead.Same(y.Lead) {
			t.Fatalf("advice %+v, in two %+v\n%s", x, y, text)
		}
	})
}
