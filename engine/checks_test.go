package engine_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// bn2o is a two-layer noisy-or network as the check files write it.
type bn2o struct {
	ID        string
	Causes    []bn2oCause
	Findings  []bn2oFinding
	Evidence  map[string]bool
	Posterior map[string]float64
	PEvidence float64 `json:"p_evidence"`
	Next      []struct {
		Finding string
		Joint   float64 `json:"joint_bits"`
	}
}

type bn2oCause struct {
	Name  string
	Prior float64
}

type bn2oFinding struct {
	Name  string
	Leak  float64 // P(yes) without any cause
	Links map[string]float64
}

// bothWays answers a situation by the engine and by the slow version.
func bothWays(t *testing.T, b *rulebase.Base, s rulebase.Situation) map[string]answer {
	t.Helper()
	return map[string]answer{"engine": asAnswer(diagnose(t, engine.Prepare(b), s, engine.Options{})), "slow version": slow(b, s)}
}

// yaml writes a network as a rulebase: all causes at once, nothing outside.
func (n bn2o) yaml() string {
	var b strings.Builder
	fmt.Fprintf(&b, "rulebase: {name: bn2o, outside_per_thousand: 0, faults_at_most: %d}\ncauses:\n", len(n.Causes))
	for _, c := range n.Causes {
		fmt.Fprintf(&b, "  %s: {name: C, part: unit, per_thousand: %v, source: common_practice}\n", c.Name, c.Prior*1000)
	}
	b.WriteString("symptoms:\n")
	for _, f := range n.Findings {
		fmt.Fprintf(&b, "  %s:\n    ask: what\n    by: asking\n    values: [\"yes\", \"no\"]\n    combine: independent\n    shows:\n", f.Name)
		for _, c := range sortedKeys(f.Links) {
			fmt.Fprintf(&b, "      - {when: %s, yes: %v}\n", c, f.Links[c])
		}
		fmt.Fprintf(&b, "      - {yes: %v}\n", f.Leak)
	}
	return b.String()
}

func (n bn2o) situation() rulebase.Situation {
	s := rulebase.Situation{}
	for _, f := range sortedKeys(n.Evidence) {
		word := "no"
		if n.Evidence[f] {
			word = "yes"
		}
		s.Findings = append(s.Findings, rulebase.Finding{Symptom: f, Value: rulebase.Value{Word: word}})
	}
	return s
}

func readJSON(t *testing.T, file string, into any) {
	t.Helper()
	text, err := os.ReadFile("../testdata/checks/" + file)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(text, into); err != nil {
		t.Fatal(err)
	}
}

// The gain of each next finding is its mutual information with the whole set of
// causes (computed exactly, testdata/checks/bn2o_gain.json).
func TestGainOfEachNextFinding(t *testing.T) {
	support.Alone(t)
	var file struct{ Cases []bn2o }
	readJSON(t, "bn2o_gain.json", &file)
	checked := 0
	for _, n := range file.Cases {
		b, err := load(n.yaml())
		if err != nil {
			t.Fatal(err)
		}
		for way, a := range bothWays(t, b, n.situation()) {
			for _, next := range n.Next {
				checked++
				if got := a.gain[next.Finding]; !(math.Abs(got-next.Joint) <= 1e-9) {
					t.Errorf("%s, %s: gain of %s is %v, want %v", way, n.ID, next.Finding, got, next.Joint)
				}
			}
		}
	}
	if checked != 2*63 {
		t.Errorf("only %d gains were checked", checked)
	}
}

// Networks of weak causes with up to 16 positive findings, on which inclusion
// and exclusion in floating point is wrong by half (testdata/checks/bn2o_small.json).
func TestNoDigitsAreLost(t *testing.T) {
	support.Alone(t)
	var file struct{ Cancellation []bn2o }
	readJSON(t, "bn2o_small.json", &file)
	for i, n := range file.Cancellation {
		b, err := load(n.yaml())
		if err != nil {
			t.Fatal(err)
		}
		for way, a := range bothWays(t, b, n.situation()) {
			if !(math.Abs(a.evidence-n.PEvidence) <= 1e-9*n.PEvidence) {
				t.Errorf("%s, network %d: P(evidence) %v, want %v", way, i, a.evidence, n.PEvidence)
			}
			for name, p := range n.Posterior {
				if got := a.causes[name]; !(math.Abs(got-p) <= 1e-9) {
					t.Errorf("%s, network %d: %s has %v, want %v", way, i, name, got, p)
				}
			}
		}
	}
	if len(file.Cancellation) < 4 {
		t.Errorf("only %d networks", len(file.Cancellation))
	}
}

// A table is a hand-sized network in bn2o_small.json.
type table struct {
	Priors []float64
	Leaks  []float64
	Links  []map[string]float64
}

// network gives a table's causes and findings the names that its links use.
func (t table) network(evidence map[string]bool) bn2o {
	n := bn2o{Evidence: evidence}
	for i, p := range t.Priors {
		n.Causes = append(n.Causes, bn2oCause{fmt.Sprint("c", i), p})
	}
	for i, l := range t.Leaks {
		n.Findings = append(n.Findings, bn2oFinding{fmt.Sprint("f", i), l, t.Links[i]})
	}
	return n
}

// Two causes and two findings, in exact fractions; and the trap that a finding
// which is absent can make a cause linked to it more likely.
func TestHandSizedNetworks(t *testing.T) {
	var file struct {
		Two struct {
			table
			Cases []struct {
				Evidence  map[string]bool
				PEvidence float64 `json:"p_evidence_float"`
				Posterior map[string]struct{ Float float64 }
			}
		} `json:"two_by_two"`
		Raises struct {
			table
			Before, After struct {
				Evidence  map[string]bool
				PEvidence float64 `json:"p_evidence"`
				Posterior []float64
			}
		} `json:"negative_raises_a_linked_cause"`
	}
	readJSON(t, "bn2o_small.json", &file)
	for _, c := range file.Two.Cases {
		want := []float64{c.Posterior["c0"].Float, c.Posterior["c1"].Float}
		file.Two.meets(t, c.Evidence, c.PEvidence, want)
	}
	if len(file.Two.Cases) != 5 {
		t.Errorf("%d sets of evidence, want 5", len(file.Two.Cases))
	}
	before, after := file.Raises.Before, file.Raises.After
	file.Raises.meets(t, before.Evidence, before.PEvidence, before.Posterior)
	file.Raises.meets(t, after.Evidence, after.PEvidence, after.Posterior)
	if after.Posterior[0] <= before.Posterior[0] {
		t.Errorf("the trap is none: %v, then %v", before.Posterior, after.Posterior)
	}
}

func (x table) meets(t *testing.T, evidence map[string]bool, p float64, posterior []float64) {
	t.Helper()
	n := x.network(evidence)
	b, err := load(n.yaml())
	if err != nil {
		t.Fatal(err)
	}
	for way, a := range bothWays(t, b, n.situation()) {
		if !(math.Abs(a.evidence-p) <= 1e-9*p) {
			t.Errorf("%s, %v: P(evidence) %v, want %v", way, evidence, a.evidence, p)
		}
		for i, want := range posterior {
			if got := a.causes[fmt.Sprint("c", i)]; !(math.Abs(got-want) <= 1e-9) {
				t.Errorf("%s, %v: c%d has %v, want %v", way, evidence, i, got, want)
			}
		}
	}
}

// chanceOf is P(finding | exactly these causes), worked back from Bayes' rule:
// P(set | finding) P(finding) / P(set).
func chanceOf(t *testing.T, b *rulebase.Base, finding, set string) map[string]float64 {
	seen := rulebase.Situation{Findings: []rulebase.Finding{{Symptom: finding, Value: rulebase.Value{Word: "yes"}}}}
	prior, after := bothWays(t, b, rulebase.Situation{}), bothWays(t, b, seen)
	chance := map[string]float64{}
	for way := range prior {
		chance[way] = after[way].explanations[set] * after[way].evidence / prior[way].explanations[set]
	}
	return chance
}

// The fever table (Russell and Norvig, as printed in course slides): strengths
// .4, .8 and .9, no leak. And strengths that hold the leak (Henrion) against
// those without it (Diez): a rulebase says them without.
func TestStrengthsAndLeaks(t *testing.T) {
	var file struct {
		Fever struct {
			Rows []struct {
				Cold, Flu, Malaria bool
				P                  float64 `json:"p_fever"`
			}
		} `json:"fever_table"`
		Leak struct {
			Leak     float64
			WithLeak []float64 `json:"with_leak"`
			Net      []float64
			Both     float64 `json:"p_both_present"`
		} `json:"leak_conventions"`
	}
	readJSON(t, "bn2o_small.json", &file)
	fever, err := load(bn2o{Causes: []bn2oCause{{"cold", .3}, {"flu", .2}, {"malaria", .1}},
		Findings: []bn2oFinding{{"fever", 0, map[string]float64{"cold": .4, "flu": .8, "malaria": .9}}}}.yaml())
	if err != nil {
		t.Fatal(err)
	}
	for _, r := range file.Fever.Rows {
		ids := map[string]bool{}
		for id, there := range map[string]bool{"cold": r.Cold, "flu": r.Flu, "malaria": r.Malaria} {
			if there {
				ids[id] = true
			}
		}
		for way, p := range chanceOf(t, fever, "fever", setText(ids)) {
			if !(math.Abs(p-r.P) <= 1e-9) {
				t.Errorf("%s: P(fever | %s) is %v, want %v", way, setText(ids), p, r.P)
			}
		}
	}
	l := file.Leak
	leaky, err := load(table{[]float64{.5, .5}, []float64{l.Leak}, []map[string]float64{{"c0": l.Net[0], "c1": l.Net[1]}}}.network(nil).yaml())
	if err != nil {
		t.Fatal(err)
	}
	for set, want := range map[string]float64{"": l.Leak, "c0": l.WithLeak[0], "c1": l.WithLeak[1], "c0 c1": l.Both} {
		for way, p := range chanceOf(t, leaky, "f0", set) {
			if !(math.Abs(p-want) <= 1e-9) {
				t.Errorf("%s: P(f0 | %s) is %v, want %v", way, set, p, want)
			}
		}
	}
	if len(file.Fever.Rows) != 8 {
		t.Errorf("%d rows, want 8", len(file.Fever.Rows))
	}
}

// What cannot be is said, and given no numbers: a cause with prior 0 is the only
// one that could show the finding.
func TestImpossibleEvidence(t *testing.T) {
	var file struct {
		Impossible struct {
			table
			Evidence map[string]bool
		}
	}
	readJSON(t, "bn2o_small.json", &file)
	n := file.Impossible.network(file.Impossible.Evidence)
	b, err := load(n.yaml())
	if err != nil {
		t.Fatal(err)
	}
	for way, a := range bothWays(t, b, n.situation()) {
		if a.possible || len(a.causes) > 0 || !a.conflicts["impossible 1"] {
			t.Errorf("%s: possible %v, causes %v, conflicts %v", way, a.possible, a.causes, a.conflicts)
		}
	}
}

// The shared checks, both ways: the chest clinic (Lauritzen and Spiegelhalter
// 1988), noisy-or networks in exact arithmetic (those of at most 12 causes, which
// can be enumerated), and rulebases that use everything numeric in the format.
func TestBothWaysMeetTheChecks(t *testing.T) {
	support.Alone(t)
	cases := 0
	for _, pattern := range []string{"asia", "noisy_or/*", "features/*"} {
		folders, err := filepath.Glob(filepath.Join("../testdata/checks", pattern))
		if err != nil {
			t.Fatal(err)
		}
		for _, folder := range folders {
			b, err := rulebase.LoadFolder(filepath.Join(folder, "rulebase"))
			if err != nil {
				t.Fatal(err)
			}
			if len(b.Causes) > 12 {
				continue
			}
			for _, s := range casesOf(t, b, folder) {
				cases++
				for way, a := range bothWays(t, b, s) {
					for _, d := range unmet(a, s.Expect) {
						t.Errorf("%s, %s %s: %s", way, folder, s.Case, d)
					}
				}
			}
		}
	}
	if cases < 14+20+4 {
		t.Errorf("only %d cases", cases)
	}
}

func casesOf(t *testing.T, b *rulebase.Base, folder string) []rulebase.Situation {
	t.Helper()
	if text, err := os.ReadFile(filepath.Join(folder, "cases.yaml")); err == nil {
		all, err := b.ReadCases("cases.yaml", text)
		if err != nil {
			t.Fatal(err)
		}
		return all
	}
	text, err := os.ReadFile(filepath.Join(folder, "case.yaml"))
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.ReadCase("case.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	return []rulebase.Situation{s}
}

// unmet lists what of the exact expectations an answer does not give.
func unmet(a answer, x *rulebase.Expectation) (all []string) {
	one := func(what string, got, want, scale float64) {
		if !(math.Abs(got-want) <= 1e-9*scale) {
			all = append(all, fmt.Sprintf("%s is %.15g, want %.15g", what, got, want))
		}
	}
	for what, pair := range map[string][2]map[string]float64{"cause": {a.causes, x.Causes}, "now": {a.now, x.Now}, "condition": {a.conditions, x.Conditions}, "gain": {a.gain, x.GainBits}} {
		for id, want := range pair[1] {
			one(what+" "+id, pair[0][id], want, 1)
		}
	}
	for what, pair := range map[string]struct {
		got  float64
		want *float64
	}{"none": {a.none, x.None}, "outside": {a.outside, x.Outside}, "unit_out": {a.unitOut, x.UnitOut}} {
		if pair.want != nil {
			one(what, pair.got, *pair.want, 1)
		}
	}
	if x.Evidence != nil {
		one("evidence", a.evidence, *x.Evidence, *x.Evidence)
	}
	if x.Top != nil {
		ids := map[string]bool{}
		for _, id := range x.Top.Causes {
			ids[id] = true
		}
		one("likeliest set "+setText(ids), a.explanations[setText(ids)], x.Top.Probability, 1)
	}
	return all
}

// Six states, five sure tests (Pattipati and Alexandridis 1990, table from
// memory): the gains, and that plain gain is not what orders the steps.
func TestSequencing(t *testing.T) {
	b, err := rulebase.LoadFolder("../testdata/checks/sequencing/rulebase")
	if err != nil {
		t.Fatal(err)
	}
	text, err := os.ReadFile("../testdata/checks/sequencing/expect.yaml")
	if err != nil {
		t.Fatal(err)
	}
	var want struct {
		Gain map[string]float64 `yaml:"gain_bits"`
	}
	if err := yaml.Unmarshal(text, &want); err != nil {
		t.Fatal(err)
	}
	if len(want.Gain) != 5 {
		t.Fatalf("%d gains", len(want.Gain))
	}
	for way, a := range bothWays(t, b, rulebase.Situation{}) {
		for id, g := range want.Gain {
			if !(math.Abs(a.gain[id]-g) <= 1e-9) {
				t.Errorf("%s: gain of %s is %v, want %v", way, id, a.gain[id], g)
			}
		}
	}
}
