package ruletest_test

import (
	"context"
	"testing"
	"testing/fstest"

	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
)

// How a case ends: by what is left to do for the cause that is still there, by
// the work that was done once the drop is well, and nothing_found, outside and
// escalate where there is no such work.
func TestOutcome(t *testing.T) {
	const text = `
rulebase: {name: ends, outside_per_thousand: 15, complaint: {symptom: works, bad: dead, well: working}}
warnings: {care: {level: warning, says: Take care.}}
causes:
  fuse:  {name: Fuse blown, part: supply, per_thousand: 50, source: common_practice, remedies: [{do: reseat, helps: 0.3}, new_fuse]}
  wire:  {name: Wire off, part: line, per_thousand: 20, source: common_practice, remedy: rewire}
  fate:  {name: Nothing helps, part: line, per_thousand: 1, source: common_practice}
symptoms:
  works: {ask: Does it work, values: [working, dead], shows: [{when: fuse or wire or fate, dead: 0.99}, {working: 0.99}]}
  light: {ask: Is the light lit, by: looking, values: [lit, dark], shows: [{when: fuse, dark: 0.99}, {lit: 0.99}]}
  omen:  {ask: Is there an omen, by: looking, values: [a, b, c, d, e], shows: [{when: fate, a: 1}, {a: 0.00001}]}
  odd:   {ask: Is it odd, by: looking, values: [x, y], shows: [{x: 0.0001}]}
tests:
  swap: {do: Swap it, yields: [light], minutes: 2, puts_right: [wire]}
remedies:
  reseat:   {do: Reseat it, minutes: 1, ends_as: adjusted}
  bridge:   {do: Bridge it, minutes: 1, ends_as: escalate, temporary: true}
  new_fuse: {do: Replace it, minutes: 5, ends_as: part_replaced}
  rewire:   {do: Rewire it, minutes: 20, ends_as: rewired}
`
	base, err := rulebase.Load(rulebase.Layer{Name: "ends", FS: fstest.MapFS{"ends.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	for _, c := range []struct {
		text string
		want rulebase.Outcome
	}{
		{"findings: [{symptom: light, value: dark}]", rulebase.Adjusted},
		{"findings: [{symptom: light, value: lit}]", rulebase.Rewired},
		{"{findings: [{symptom: light, value: dark}], done: [{id: reseat, drop: still_down}]}", rulebase.PartReplaced},
		{"{findings: [{symptom: light, value: dark}], done: [{id: reseat, drop: well}]}", rulebase.Adjusted},
		{"{findings: [{symptom: light, value: dark}], done: [{id: new_fuse, drop: well}]}", rulebase.PartReplaced},
		{"{findings: [{symptom: light, value: dark}], done: [{id: new_fuse, drop: well}, {id: bridge}]}", rulebase.PartReplaced},
		{"{findings: [{symptom: light, value: lit}], done: [{id: swap, drop: well}]}", rulebase.Rewired},
		{"{findings: [{symptom: works, value: working}, {symptom: light, value: lit}]}", rulebase.NothingFound},
		{"findings: [{symptom: odd, value: x}]", rulebase.OutsideList},
		{"findings: [{symptom: omen, value: a}, {symptom: light, value: lit}]", rulebase.Escalate},
	} {
		s, err := base.ReadCase("case", []byte(c.text))
		if err != nil {
			t.Fatalf("%s: %v", c.text, err)
		}
		results, err := ruletest.Run(context.Background(), p, []rulebase.Situation{s})
		if err != nil {
			t.Fatal(err)
		}
		if d := results[0].Diagnosis; ruletest.Outcome(d) != c.want {
			t.Errorf("%s: %s, want %s: %v, none %v, outside %v", c.text, ruletest.Outcome(d), c.want, d.Causes, d.None, d.Outside)
		}
	}
}
