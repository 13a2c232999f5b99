package conversation_test

import (
	"context"
	"os"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

// onSite is a talk over the tests' rulebase with names of an invented site.
func onSite(t *testing.T, names string) *conversation.Talk {
	t.Helper()
	lower := rulebase.Layer{Name: "lower", FS: os.DirFS("testdata/rulebase")}
	below, err := rulebase.Load(lower)
	if err != nil {
		t.Fatal(err)
	}
	base, err := rulebase.Load(lower, rulebase.Layer{Name: "site", FS: fstest.MapFS{"site.yaml": {Data: []byte("rulebase: {name: works, extends: " + below.Name + "}\non_site:\n" + names)}}})
	if err != nil {
		t.Fatal(err)
	}
	prepared := engine.Prepare(base)
	return conversation.New(base, func(ctx context.Context, s rulebase.Situation, o engine.Options) (*engine.Diagnosis, error) {
		return engine.Diagnose(ctx, prepared, s, o)
	})
}

func TestSiteNamesAreSaidAndUnderstood(t *testing.T) {
	talk := onSite(t, `
  power_light: {called: lamp H4 on door 2, values: {lit: steady white, dark: "message 'LAMP LOST'"}}
  run_light: {called: lamp H5 on door 2, values: {dark: "message 'NO SCAN' or 'IDLE NOW'"}}
`)
	for _, c := range []struct{ entry, says string }{
		{"H4 dark", "power light (here: lamp H4 on door 2): dark (here: message 'LAMP LOST')"},
		{"the lamp H4 on door 2 is dark", "power light (here: lamp H4 on door 2): dark"},
		{"H5 is off", "run light (here: lamp H5 on door 2): dark"},
		{"NO SCAN", "run light (here: lamp H5 on door 2): dark"},
		{"IDLE NOW", "run light (here: lamp H5 on door 2): dark"}, // each of what stands in quotes, not only the first
		{"LAMP LOST", "power light (here: lamp H4 on door 2): dark"},
		{"power light steady white", "power light (here: lamp H4 on door 2): lit (here: steady white)"},
		{"power_light=LAMP LOST", "power light (here: lamp H4 on door 2): dark"},
		{"ask power_light", "(here: lamp H4 on door 2)"},
		{"ask power_light", "lit (here: steady white)"},
	} {
		state, _ := talk.Begin(rulebase.Situation{})
		_, reply := talk.Step(context.Background(), state, c.entry)
		if says := strings.Join(reply.Lines(), "\n"); !strings.Contains(says, c.says) {
			t.Errorf("> %s\nsays\n%s\nwant %q", c.entry, says, c.says)
		}
	}
	state, _ := talk.Begin(rulebase.Situation{})
	state, _ = talk.Step(context.Background(), state, "ask power_light")
	state, _ = talk.Step(context.Background(), state, "Steady White")
	if f := state.Situation.Findings; len(f) != 1 || f[0].Value.Word != "lit" {
		t.Errorf("an answer by the site's name is not taken: %v", f)
	}
}

// A name that the plain words have for something else does not take it over.
func TestSiteNameGivesWayToPlainWords(t *testing.T) {
	talk := onSite(t, `
  power_light: {called: run lamp}
`)
	state, _ := talk.Begin(rulebase.Situation{})
	state, _ = talk.Step(context.Background(), state, "run lamp dark")
	if f := state.Situation.Findings; len(f) != 1 || f[0].Symptom != "run_light" {
		t.Errorf("taken for %v", f)
	}
}

// What two things are called alike names neither: it is asked back.
func TestSiteNameOfTwoThingsNamesNeither(t *testing.T) {
	talk := onSite(t, `
  power_light: {called: lamp H4}
  run_light: {called: lamp H4}
`)
	state, _ := talk.Begin(rulebase.Situation{})
	state, _ = talk.Step(context.Background(), state, "H4 dark")
	if len(state.Situation.Findings) > 0 {
		t.Errorf("taken for %v", state.Situation.Findings)
	}
}
