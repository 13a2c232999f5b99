package engine_test

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"gopkg.in/yaml.v3"

	"downdrop/engine"
	"downdrop/rulebase"
)

// bn2o is a two-layer noisy-or network as the check files write it.
type bn2o struct {
	ID     string
	Causes []struct {
		Name  string
		Prior float64
	}
	Findings []struct {
		Name  string
		Leak  float64
		Links map[string]float64
	}
	Evidence  map[string]bool
	Posterior json.RawMessage
	PEvidence float64 `json:"p_evidence"`
	Next      []struct {
		Finding string
		Joint   float64 `json:"joint_bits"`
	}
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
	var file struct{ Cases []bn2o }
	readJSON(t, "bn2o_gain.json", &file)
	checked := 0
	for _, n := range file.Cases {
		b, err := load(n.yaml())
		if err != nil {
			t.Fatal(err)
		}
		a := asAnswer(diagnose(t, engine.Prepare(b), n.situation(), engine.Options{}))
		for _, next := range n.Next {
			checked++
			if got := a.gain[next.Finding]; math.Abs(got-next.Joint) > 1e-9 {
				t.Errorf("%s: gain of %s is %v, want %v", n.ID, next.Finding, got, next.Joint)
			}
		}
	}
	if checked < 60 {
		t.Errorf("only %d gains were checked", checked)
	}
}

// Networks of weak causes with up to 16 positive findings, on which inclusion
// and exclusion in floating point is wrong by half (testdata/checks/bn2o_small.json).
func TestNoDigitsAreLost(t *testing.T) {
	var file struct{ Cancellation []bn2o }
	readJSON(t, "bn2o_small.json", &file)
	for i, n := range file.Cancellation {
		b, err := load(n.yaml())
		if err != nil {
			t.Fatal(err)
		}
		d := diagnose(t, engine.Prepare(b), n.situation(), engine.Options{})
		if math.Abs(d.Evidence-n.PEvidence) > 1e-9*n.PEvidence {
			t.Errorf("network %d: P(evidence) %v, want %v", i, d.Evidence, n.PEvidence)
		}
		var list []float64
		byName := map[string]float64{}
		if json.Unmarshal(n.Posterior, &list) == nil {
			for j, p := range list {
				byName[n.Causes[j].Name] = p
			}
		} else if err := json.Unmarshal(n.Posterior, &byName); err != nil {
			t.Fatal(err)
		}
		for name, p := range byName {
			if got := asAnswer(d).causes[name]; math.Abs(got-p) > 1e-9 {
				t.Errorf("network %d: %s has %v, want %v", i, name, got, p)
			}
		}
	}
	if len(file.Cancellation) < 4 {
		t.Errorf("only %d networks", len(file.Cancellation))
	}
}

// What cannot be is said, and given no numbers: a cause with prior 0 is the only
// one that could show the finding (testdata/checks/bn2o_small.json, impossible).
func TestImpossibleEvidence(t *testing.T) {
	n := bn2o{Evidence: map[string]bool{"f0": true}}
	if err := json.Unmarshal([]byte(`{"Causes": [{"Name": "c0", "Prior": 0.2}, {"Name": "c1", "Prior": 0}], "Findings": [{"Name": "f0", "Leak": 0, "Links": {"c1": 0.9}}]}`), &n); err != nil {
		t.Fatal(err)
	}
	b, err := load(n.yaml())
	if err != nil {
		t.Fatal(err)
	}
	d := diagnose(t, engine.Prepare(b), n.situation(), engine.Options{})
	if d.Possible || len(d.Causes) > 0 || len(d.Conflicts) != 1 || d.Conflicts[0].Kind != engine.ConflictImpossible {
		t.Errorf("possible %v, causes %v, conflicts %v", d.Possible, d.Causes, d.Conflicts)
	}
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
	a := asAnswer(diagnose(t, engine.Prepare(b), rulebase.Situation{}, engine.Options{}))
	if len(want.Gain) != 5 {
		t.Fatalf("%d gains", len(want.Gain))
	}
	for id, g := range want.Gain {
		if math.Abs(a.gain[id]-g) > 1e-9 {
			t.Errorf("gain of %s is %v, want %v", id, a.gain[id], g)
		}
	}
}
