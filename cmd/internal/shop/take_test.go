package shop

import (
	"context"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
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
	after := &bench.State{Findings: []bench.Finding{{Symptom: symptom, Value: rulebase.Value{Word: value}}}, Asked: map[string]string{"by": "p1"}}
	for name, done := range map[string][]cases.Draft{"before any work": nil, "after work in the field": {work(first)}} {
		inCase := fold(append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})}, done...)...)
		drafts := Found(after, inCase)
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
	if Found(after, nil) != nil {
		t.Error("a run of no case adds to one")
	}
}

// Whatever is entered, taken back, left out or entered while nobody had the case at hand: once the run is gone on with
// there, what the case has found at the bench is what the run has, each thing once.
func TestACaseHasWhatTheRunFound(t *testing.T) {
	base := shipped.Base(t)
	procedures, err := base.Procedures()
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(58, 5))
	entry := func(s *bench.State) string {
		switch s.Wants.Kind {
		case bench.WantsAnswer:
			return map[bool]string{true: "bench-2", false: "no"}[s.Wants.Ask == "by"]
		case bench.WantsConfirm:
			return "read"
		case bench.WantsTool:
			return "no. 7 until 2099-01-01"
		case bench.WantsRelease:
			return "out"
		}
		switch g := s.Wants.Reading; g.Kind {
		case rulebase.ReadsNumber:
			return strconv.FormatFloat(max(s.Wants.Low, 1)*(0.9+r.Float64()/2), 'f', 3, 64) + " " + g.Unit
		case rulebase.ReadsPoints:
			return "all pass"
		case rulebase.ReadsErrors:
			return "0 of 5000000"
		case rulebase.ReadsText:
			return "A0815"
		default:
			return g.OneOf[r.IntN(len(g.OneOf))]
		}
	}
	found, back := 0, 0
	for range support.Deep(t, 10) {
		p, unit := procedures[r.IntN(len(procedures))], profiles[r.IntN(len(profiles))]
		events := []bench.Event{bench.Append(nil, bench.Event{Kind: bench.Begun}, noon)}
		var inCase []cases.Event
		keep := func(drafts ...cases.Draft) {
			for _, d := range drafts {
				if d.ID == "" {
					d.ID = fmt.Sprintf("e%d", len(inCase))
				}
				d.Subject, d.At = cases.Subject{Kind: cases.AboutCase, ID: "c1"}, noon.Add(time.Duration(len(inCase))*time.Minute)
				head := cases.Head{}
				if n := len(inCase); n > 0 {
					head = cases.Head{Seq: inCase[n-1].Seq, Hash: inCase[n-1].Hash}
				}
				e, err := cases.Seal(d, "mill", head, int64(len(inCase)+1))
				if err != nil {
					t.Fatal(err)
				}
				inCase = append(inCase, e)
			}
		}
		keep(cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"}))
		for range 80 {
			s, err := bench.Run(p, unit, events)
			if err != nil {
				t.Fatal(err)
			}
			if r.IntN(3) > 0 { // else nobody has the case at hand
				drafts := Found(s, cases.Fold(inCase))
				for _, d := range drafts {
					if d.Kind == cases.KindTakenBack {
						back++
					}
				}
				keep(drafts...)
				var want, has []string
				for _, f := range s.Findings {
					want = append(want, f.Symptom+"="+f.Value.Word+"/"+f.Read)
				}
				for _, f := range cases.Fold(inCase).Situation.Findings {
					has = append(has, f.Symptom+"="+f.Value.Word+"/"+f.Read)
				}
				slices.Sort(want)
				slices.Sort(has)
				if !slices.Equal(want, has) {
					t.Fatalf("%s: the run found\n%v\nand its case has\n%v", p.ID, want, has)
				}
				found = max(found, len(has))
			}
			var draft bench.Event
			switch r.IntN(5) {
			case 0:
				draft, err = s.Enter("undo")
			case 1:
				if s.Wants.Step >= 0 && r.IntN(3) == 0 {
					draft, err = s.Enter("not done no time")
					break
				}
				fallthrough
			default:
				if s.Wants.Kind == bench.WantsNothing {
					draft, err = s.Enter("undo")
				} else {
					draft, err = s.Enter(entry(s))
				}
			}
			if err == nil { // else it is asked back
				events = append(events, bench.Append(events, draft, noon.Add(time.Duration(len(events))*time.Second)))
			}
		}
	}
	if found < 3 || back < 3 {
		t.Errorf("at most %d findings at once, %d taken back", found, back)
	}
}

// A run that an earlier version said to a case under other ids does not say it again; what somebody took back in the
// case stays taken back; and of an entry that is added late, the work counts that was done by then.
func TestWhatACaseHasIsNotSaidAgain(t *testing.T) {
	base := shipped.Base(t)
	events := []bench.Event{bench.Append(nil, bench.Event{Kind: bench.Begun}, noon)}
	events = append(events, bench.Append(events, bench.Event{Kind: bench.Noted}, noon.Add(90*time.Second)))
	events = append(events, bench.Append(events, bench.Event{Kind: bench.Noted}, noon.Add(time.Hour)))
	s := &bench.State{Events: events, Asked: map[string]string{}, Findings: []bench.Finding{{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Read: "dark", Seq: 2}}}
	fold := func(drafts ...cases.Draft) *cases.Case {
		t.Helper()
		var all []cases.Event
		head := cases.Head{}
		for i, d := range append([]cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir street works"})}, drafts...) {
			if d.ID == "" {
				d.ID = string(rune('a' + i))
			}
			d.Subject, d.At = cases.Subject{Kind: cases.AboutCase, ID: "c1"}, noon.Add(time.Duration(i)*time.Minute)
			e, err := cases.Seal(d, "mill", head, int64(i+1))
			if err != nil {
				t.Fatal(err)
			}
			head = cases.Head{Seq: e.Seq, Hash: e.Hash}
			all = append(all, e)
		}
		return cases.Fold(all)
	}
	first, second := base.Remedies[0].ID, base.Remedies[1].ID
	said := Found(s, fold(cases.Say(cases.KindDone, cases.DoneBody{ID: first}), cases.Say(cases.KindDone, cases.DoneBody{ID: second})))
	var body cases.FindingBody
	if len(said) != 1 || json.Unmarshal(said[0].Body, &body) != nil || body.After != first {
		t.Fatalf("added late it is %s, want after %s", said[0].Body, first)
	}
	older := said[0]
	older.ID = "01J"
	if again := Found(s, fold(older)); len(again) != 0 {
		t.Errorf("under another id it is said again: %v", again)
	}
	if again := Found(s, fold(said[0], cases.Correct(cases.KindTakenBack, said[0].ID, cases.Reason{}))); len(again) != 0 {
		t.Errorf("taken back by hand it is said again: %v", again)
	}
}
