package shop

import (
	"context"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// What the bench finds is of the unit as it then is: work that is done to it later does not make it a finding of
// afterwards. And it weighs once, in the run and in the case that it was added to.
func TestWhatTheBenchFindsStaysWhereItWasSeen(t *testing.T) {
	base := shipped.Base(t)
	prepared := engine.Prepare(base)
	symptom, value := base.Symptoms[0].ID, base.Symptoms[0].Values[0]
	for _, s := range base.Symptoms {
		if s.ID == "power_light" {
			symptom, value = s.ID, "dark"
		}
	}
	fold := func(drafts ...cases.Draft) *cases.Case {
		t.Helper()
		var events []cases.Event
		head := cases.Head{}
		for i, d := range drafts {
			d.ID, d.Subject, d.At = string(rune('a'+i)), cases.Subject{Kind: cases.AboutCase, ID: "c1"}, noon.Add(time.Duration(i)*time.Minute)
			e, err := cases.Seal(d, "mill", head, int64(i+1))
			if err != nil {
				t.Fatal(err)
			}
			head = cases.Head{Seq: e.Seq, Hash: e.Hash}
			events = append(events, e)
		}
		return cases.Fold(events)
	}
	work := func(id string) cases.Draft {
		return cases.Say(cases.KindDone, cases.DoneBody{ID: id, Drop: rulebase.StillDown})
	}
	first, second := base.Remedies[0].ID, base.Remedies[1].ID
	before, after := &bench.State{}, &bench.State{Findings: []bench.Finding{{Symptom: symptom, Value: rulebase.Value{Word: value}}}, Asked: map[string]string{"by": "p1"}}
	for name, done := range map[string][]cases.Draft{"before any work": nil, "after work in the field": {work(first)}} {
		inCase := fold(append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})}, done...)...)
		drafts := Found(before, after, inCase)
		if len(drafts) != 1 {
			t.Fatalf("%s: %v", name, drafts)
		}
		later := fold(append(append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})}, done...), drafts[0], work(second))...)
		f := later.Situation.Findings[0]
		if want := map[bool]string{true: first}[len(done) > 0]; f.Now || f.After != want || f.At != rulebase.Bench || f.By != "p1" {
			t.Errorf("%s: kept as %+v, want after %q", name, f, want)
		}
		// The run beside the case that already has it says what the case alone says.
		with := fold(append(append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})}, done...), drafts[0])...)
		once, err := Diagnose(context.Background(), prepared, &bench.State{}, with)
		if err != nil {
			t.Fatal(err)
		}
		twice, err := Diagnose(context.Background(), prepared, after, with)
		if err != nil {
			t.Fatal(err)
		}
		if once.Evidence != twice.Evidence || once.Causes[0] != twice.Causes[0] {
			t.Errorf("%s: it weighs twice: %g and %g", name, once.Evidence, twice.Evidence)
		}
	}
	if Found(before, after, nil) != nil {
		t.Error("a run of no case adds to one")
	}
}
