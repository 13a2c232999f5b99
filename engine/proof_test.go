package engine_test

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// proving is a little rulebase with a fault that comes and goes, one that hides a
// second sign, and a stopgap.
const proving = `
rulebase: {name: proving, outside_per_thousand: 5, complaint: {symptom: drop_works, bad: dead, well: working}, faults_at_most: 2}
givens:
  fails_every: {ask: "How long from one failure to the next?", unit: min, filled_by: interval}
causes:
  loose_wire: {name: A wire is loose, part: line, per_thousand: 60, source: practice, remedy: tighten}
  blown_fuse: {name: A fuse is blown, part: supply, per_thousand: 50, source: practice, remedy: fit_fuse}
  dead_lamp: {name: A lamp is dead, part: unit, per_thousand: 1, source: practice, remedy: fit_lamp}
conditions:
  down: {when: loose_wire or blown_fuse}
symptoms:
  drop_works: {ask: "Does the drop work?", values: [dead, working], shows: [{when: down, dead: 0.999}, {working: 0.999}], by: looking}
  power_light: {ask: "Is the power light lit?", values: [lit, dark], shows: [{when: blown_fuse, dark: 0.98}, {when: dead_lamp, dark: 0.9}, {lit: 0.99}], by: looking}
  fault_light: {ask: "Is the fault light lit?", values: [lit, dark], shows: [{when: loose_wire, lit: 0.9}, {dark: 0.98}], by: looking}
remedies:
  tighten: {do: Tighten the wire, minutes: 10, ends_as: rewired, proof: {watch: drop_works, minutes: 5, under: loads on}}
  fit_fuse: {do: Fit a fuse, minutes: 10, ends_as: part_replaced, proof: {watch: drop_works, minutes: 3}}
  fit_lamp: {do: Fit a lamp, minutes: 10, ends_as: part_replaced}
  run_slower: {do: Run slower for now, minutes: 10, temporary: true, side_effects: Answers come later., days: 7}
sources:
  practice: {says: Common practice, kind: practice}
`

func provingCase(t *testing.T, file string) *engine.Diagnosis {
	t.Helper()
	b, err := load(proving)
	if err != nil {
		t.Fatal(err)
	}
	s, err := b.ReadCase("case", []byte(file))
	if err != nil {
		t.Fatal(err)
	}
	return diagnose(t, engine.Prepare(b), s, engine.Options{})
}

// Quiet has to last ln(20) = 2.9957 times the mean interval (the table of natural
// logarithms), which is 119.83 minutes for 40: then exp(-119.83/40) is one in twenty.
func TestProofOfAFaultThatComesAndGoes(t *testing.T) {
	d := provingCase(t, "givens: {fails_every: 40 min}\n")
	p := d.ProofOf(&d.Base.Remedies[0])
	if p.Under != "loads on" || p.Every != 40 || !p.Comes || !(math.Abs(p.Quiet-119.829) <= 1e-3) || p.Minutes != p.Quiet {
		t.Errorf("%+v", p)
	}
	if by := math.Exp(-p.Quiet / p.Every); !(math.Abs(by-engine.QuietByChance) <= 1e-12) {
		t.Errorf("quiet by chance: %v", by)
	}
	d = provingCase(t, "givens: {fails_every: 0.5 min}\n")
	if p := d.ProofOf(&d.Base.Remedies[0]); p.Minutes != 5 {
		t.Errorf("the proof's own minutes are the least: %+v", p)
	}
	d = provingCase(t, "findings: [{symptom: power_light, value: dark}]\n")
	if p := d.ProofOf(&d.Base.Remedies[0]); p.Comes || p.Every != 0 || p.Quiet != 0 || p.Minutes != 5 {
		t.Errorf("nobody said that it comes and goes: %+v", p)
	}
	d = provingCase(t, "drop: 5\ndrops: {5: comes_and_goes, 6: good}\n")
	if p := d.ProofOf(&d.Base.Remedies[0]); !p.Comes || p.Every != 0 || p.Minutes != 5 {
		t.Errorf("it comes and goes, nobody said how often: %+v", p)
	}
	if d.ProofOf(&d.Base.Remedies[2]) != nil {
		t.Error("a remedy without a proof has one")
	}
	b, err := load(strings.Replace(proving, "unit: min,", "unit: min, default: 40, source: practice,", 1))
	if err != nil {
		t.Fatal(err)
	}
	d = diagnose(t, engine.Prepare(b), rulebase.Situation{}, engine.Options{})
	if p := d.ProofOf(&d.Base.Remedies[0]); p.Comes || p.Every != 0 || p.Minutes != 5 {
		t.Errorf("how often it fails is what somebody said, not what is usual: %+v", p)
	}
}

// At the end what the proven cause does not show is named, and nothing else.
func TestProvenCausesLeaveNamesOfWhatTheyDoNotExplain(t *testing.T) {
	for _, c := range []struct {
		file   string
		proven []string
		left   []string
	}{
		{"findings: [{symptom: fault_light, value: lit}]\ndone: [{id: tighten, drop: well}]\n", []string{"loose_wire"}, nil},
		{"findings: [{symptom: fault_light, value: lit}, {symptom: power_light, value: dark}]\ndone: [{id: tighten, drop: well}]\n", []string{"loose_wire"}, []string{"power_light"}},
		{"findings: [{symptom: fault_light, value: lit}, {symptom: power_light, value: lit}]\ndone: [{id: fit_fuse, drop: still_down}, {id: tighten, drop: well}]\n", []string{"loose_wire"}, nil},
		{"findings: [{symptom: fault_light, value: lit}]\ndone: [{id: tighten, drop: still_down}]\n", nil, nil},
		{"findings: [{symptom: power_light, value: dark}]\ndone: [{id: run_slower, drop: well}]\n", []string{}, []string{"power_light"}},
	} {
		d := provingCase(t, c.file)
		var proven []string
		for _, cause := range d.Proven {
			proven = append(proven, d.Base.Causes[cause].ID)
		}
		if !slices.Equal(proven, c.proven) || !slices.Equal(d.NotExplained, c.left) {
			t.Errorf("%s: proven %v, not explained %v; want %v and %v", c.file, proven, d.NotExplained, c.proven, c.left)
		}
	}
}

// What a wrong advice costs is counted on paper: a dark light says fuse; where it was
// the lamp and the wire, or anything but the fuse, 10 minutes and 3 of proof are lost.
func TestWhatItCostsToBeWrong(t *testing.T) {
	d := provingCase(t, "at: field\nfindings: [{symptom: power_light, value: dark}]\n")
	a := d.Advice
	if len(a.Lead.Remedies) != 1 || d.Base.Remedies[a.Lead.Remedies[0]].ID != "fit_fuse" {
		t.Fatalf("the lead is %v", a.Lead)
	}
	if !(math.Abs(a.Wrong-(1-a.Lead.Probability)) <= 1e-12) {
		t.Errorf("wrong %v of %v", a.Wrong, a.Lead.Probability)
	}
	lost, chance := 0.0, 0.0
	for _, o := range a.Others { // there are few outcomes, but not all are among these
		chance += o.Probability
		if !slices.Contains(o.Remedies, a.Lead.Remedies[0]) {
			lost += 13 * o.Probability
		}
	}
	if rest := a.Wrong - chance; !(math.Abs(a.InVain*a.Wrong-lost) <= 13*rest+1e-3) {
		t.Errorf("in vain %v with %v, want about %v", a.InVain, a.Wrong, lost)
	}
	sure := 0.0
	for _, o := range append([]engine.ToDo{a.Lead}, a.Others...) {
		if slices.Contains(o.Remedies, a.Lead.Remedies[0]) {
			sure += o.Probability
		}
	}
	if slices.Contains(a.Sure, a.Lead.Remedies[0]) != (sure >= engine.Settled) {
		t.Errorf("sure of %v: %v", sure, a.Sure)
	}
	if a.Further == nil || a.Further.Step.Kind != rulebase.KindTest {
		t.Errorf("the test that tells most: %v", a.Further)
	}
}

// A remedy that is out of place here is not what is to be done: the next of its list is.
func TestAdvisedRemedyIsNotOutOfPlace(t *testing.T) {
	const apt = `
rulebase: {name: apt, outside_per_thousand: 0, complaint: {symptom: works, bad: dead, well: fine}}
causes:
  contact: {name: A contact is bad, part: line, per_thousand: 100, source: practice, remedies: [{do: push_home, helps: often}, clean]}
symptoms:
  works: {ask: works, values: [fine, dead], by: looking, shows: [{when: contact, dead: 1}, {fine: 1}]}
  plug: {ask: plug, values: [loose, tight], by: looking}
remedies:
  push_home: {do: Push it home, minutes: 2, ends_as: adjusted, only_if: plug != tight}
  clean: {do: Clean it, minutes: 20, ends_as: rewired}
sources: {practice: {says: Common practice, kind: practice}}
`
	b, err := load(apt)
	if err != nil {
		t.Fatal(err)
	}
	for see, want := range map[string]string{"loose": "push_home", "tight": "clean"} {
		s, err := b.ReadCase("case", []byte("findings: [{symptom: plug, value: "+see+"}]\n"))
		if err != nil {
			t.Fatal(err)
		}
		a := diagnose(t, engine.Prepare(b), s, engine.Options{}).Advice
		if len(a.Lead.Remedies) != 1 || b.Remedies[a.Lead.Remedies[0]].ID != want {
			t.Errorf("plug %s: %v, want %s", see, a.Lead, want)
		}
	}
}

// A blown fuse explains a dark power light; it does not explain a wrong rate.
func TestWhatProvenCausesDoNotExplain(t *testing.T) {
	base := shipped.Base(t)
	prepared := engine.Prepare(base)
	see := func(texts ...string) *engine.Diagnosis {
		var s rulebase.Situation
		for _, text := range texts {
			f, err := base.ReadSee(text)
			if err != nil {
				t.Fatal(err)
			}
			s.Findings = append(s.Findings, f)
		}
		d, err := engine.Diagnose(context.Background(), prepared, s, engine.Options{BeliefOnly: true})
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	for name, c := range map[string]struct {
		see, causes, want []string
	}{
		"the fuse and a dark light":       {[]string{"power_light=dark"}, []string{"supply_fuse_blown"}, nil},
		"nothing proven, a dark light":    {[]string{"power_light=dark"}, nil, []string{"power_light"}},
		"a lit light is nothing abnormal": {[]string{"power_light=lit"}, nil, nil},
		"hardly sure of it":               {[]string{"power_light=dark@0.4"}, nil, nil},
		"half sure of it":                 {[]string{"power_light=dark@0.5"}, nil, []string{"power_light"}},
		"a rate that differs as well":     {[]string{"power_light=dark", "switches_look=rate_differs"}, []string{"supply_fuse_blown"}, []string{"switches_look"}},
	} {
		if got := see(c.see...).Unexplained(c.causes); !slices.Equal(got, c.want) {
			t.Errorf("%s: %q, not %q", name, got, c.want)
		}
	}
}
