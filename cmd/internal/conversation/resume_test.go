package conversation

import (
	"os"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func smallWords(t *testing.T) *Talk {
	t.Helper()
	base, err := rulebase.Load(rulebase.Layer{Name: "small", FS: os.DirFS("testdata/rulebase")})
	if err != nil {
		t.Fatal(err)
	}
	return New(base, nil)
}

// A question of each kind that was kept without its words gets the same words again.
func TestEveryQuestionGetsItsWordsAgain(t *testing.T) {
	talk := smallWords(t)
	step := func(id string) *rulebase.Step { return talk.words.stepByID[id] }
	thing := func(id string) int { return talk.words.thing(id).index }
	s := &State{Situation: rulebase.Situation{Drops: map[int]string{3: rulebase.DropDead, 5: rulebase.DropGood}}, Sheet: &Sheet{Found: map[string]string{"rate": "9600"}}}
	warning, _ := talk.base.Lookup("isolate_first")
	symptom := talk.symptomQuestion(s, thing("power_light"))
	symptom.For, symptom.After = "measure_volts", "replace_fuse"
	which := whichQuestion("xyz", []Answer{{Says: "a", Entry: "b"}})
	for _, q := range []Question{
		placeQuestion(), whoQuestion(), aloneQuestion(), talk.dropsQuestion(), thisDropQuestion(&s.Situation), symptom, which,
		talk.givenQuestion(thing("terminator"), "measure_pair"), talk.dropNowQuestion(step("replace_fuse")), talk.proofQuestion(step("replace_fuse")),
		talk.confirmQuestion(s, warning.Index, step("replace_fuse")), foundQuestion("rate", step("exchange_unit")), leftQuestion("rate", "9600"), askOut(step("swap_unit"), "swap_unit"),
		{Kind: AskOpening}, {Kind: AskElse}, {Kind: AskMore}, {Kind: AskEnd},
	} {
		again, ok := talk.question(s, q.About())
		if diff := cmp.Diff(q, again); !ok || diff != "" {
			t.Errorf("%s: %v (-asked +again):\n%s", q.Kind, ok, diff)
		}
	}
	if q, ok := talk.question(s, About{Kind: AskStep, ID: "measure_volts"}); !ok || q.ID != "measure_volts" {
		t.Errorf("a step that was in hand: %v %+v", ok, q)
	}
	bare := &State{}
	for _, c := range []struct {
		s *State
		a About
	}{
		{s, About{Kind: AskSymptom, ID: "gone"}}, {s, About{Kind: AskSymptom, ID: "terminator"}}, {s, About{Kind: AskGiven, ID: "gone"}}, {s, About{Kind: AskGiven, ID: "power_light"}},
		{s, About{Kind: AskStep, ID: "gone"}}, {s, About{Kind: AskDropNow, ID: "gone"}}, {s, About{Kind: AskProof, ID: "gone"}},
		{s, About{Kind: AskConfirm, ID: "isolate_first", For: "gone"}}, {s, About{Kind: AskConfirm, ID: "power_light", For: "replace_fuse"}}, {s, About{Kind: AskOut, ID: "gone"}},
		{s, About{Kind: AskFound, ID: "rate", For: "gone"}}, {s, About{Kind: AskFound, ID: "gone", For: "exchange_unit"}}, {s, About{Kind: AskLeft, ID: "gone"}},
		{bare, About{Kind: AskOut, ID: "swap_unit"}}, {bare, About{Kind: AskFound, ID: "rate", For: "exchange_unit"}}, {bare, About{Kind: AskLeft, ID: "rate"}},
		{s, About{Kind: "new_kind"}},
	} {
		if q, ok := talk.question(c.s, c.a); ok {
			t.Errorf("%+v is none any more, and asks %+v", c.a, q)
		}
	}
	noExtent := *talk.base
	noExtent.Givens = nil
	if q, ok := New(&noExtent, nil).question(s, About{Kind: AskDrops}); ok {
		t.Errorf("a rulebase that asks for no extent asks %+v", q)
	}
}

func TestWhichQuestionsWantAReading(t *testing.T) {
	talk := smallWords(t)
	for _, c := range []struct {
		q    Question
		want Reading
	}{
		{Question{Kind: AskSymptom, ID: "drop_volts"}, Reading{"drop_volts", "V"}},
		{Question{Kind: AskGiven, ID: "terminator"}, Reading{"terminator", "ohm"}},
		{Question{Kind: AskStep, ID: "measure_pair"}, Reading{"pair_ohms", "ohm"}},
		{Question{Kind: AskStep, ID: "look_at_controller"}, Reading{}},
		{Question{Kind: AskStep, ID: "gone"}, Reading{}},
		{Question{Kind: AskSymptom, ID: "power_light"}, Reading{}},
		{Question{Kind: AskSymptom, ID: "gone"}, Reading{}},
		{Question{Kind: AskLeft, ID: "drop_volts"}, Reading{}},
	} {
		if r, ok := talk.Reading(c.q); r != c.want || ok != (c.want != Reading{}) {
			t.Errorf("%s %s wants %+v %v", c.q.Kind, c.q.ID, r, ok)
		}
	}
	for entry, want := range map[string]bool{"undo": true, " Undo ": true, "undone": false, "": false} {
		if IsUndo(entry) != want {
			t.Errorf("%q takes the last entry back: %v", entry, !want)
		}
	}
}

// A reading that cannot be judged leads to the given that its limits want, and no other conflict does.
func TestLimitsAreAskedFor(t *testing.T) {
	talk := smallWords(t)
	asked := func(s *State, kind engine.ConflictKind, members ...string) string {
		q, _ := talk.limitsQuestion(s, &engine.Diagnosis{Base: talk.base, Conflicts: []engine.Conflict{{Kind: kind, Members: members}}})
		return q.ID
	}
	behind, _ := talk.limitsQuestion(&State{}, &engine.Diagnosis{Base: talk.base, Conflicts: []engine.Conflict{{Kind: engine.ConflictRules, Members: []string{"line"}}, {Kind: engine.ConflictLimits, Members: []string{"terminator"}}}})
	known := &State{Situation: rulebase.Situation{Givens: []rulebase.GivenValue{{ID: "terminator", Value: rulebase.Value{IsNumber: true, Number: 100}}}}}
	support.Says(t, [][2]string{
		{asked(&State{}, engine.ConflictLimits, "pair_ohms", "gone", "terminator"), "terminator"},
		{asked(&State{}, engine.ConflictRules, "pair_ohms", "terminator"), ""},
		{behind.ID, "terminator"},
		{asked(&State{}, engine.ConflictLimits, "pair_ohms"), ""},
		{asked(known, engine.ConflictLimits, "terminator"), ""},
		{asked(&State{Settled: []string{"terminator"}}, engine.ConflictLimits, "terminator"), ""},
	})
}

// A grave fact is asked anew before each step that moves something, by itself or by what it
// brings back; no other fact is, and before no other step.
func TestWhichFactsAreAskedEachTime(t *testing.T) {
	levels := []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel}
	base := &rulebase.Base{}
	for _, level := range levels {
		base.Warnings = append(base.Warnings, rulebase.Warning{ID: string(level), Level: level})
	}
	talk := New(base, nil)
	for name, c := range map[string]struct {
		st    rulebase.Step
		moves bool
	}{
		"moves":             {rulebase.Step{Hazard: rulebase.HazardMotion}, true},
		"moves, and live":   {rulebase.Step{Hazard: rulebase.HazardMotion | rulebase.HazardLive}, true},
		"nobody knows":      {rulebase.Step{Hazard: rulebase.HazardUnknown}, true},
		"brings back":       {rulebase.Step{BringsBack: true}, true},
		"live":              {rulebase.Step{Hazard: rulebase.HazardLive | rulebase.HazardMains | rulebase.HazardSpark}, false},
		"stops, and is not": {rulebase.Step{Stops: rulebase.StopsBus}, false},
	} {
		for i, level := range levels {
			if got, want := talk.eachTime(i, &c.st), c.moves && level == rulebase.DangerLevel; got != want {
				t.Errorf("%s, %s: asked each time is %v", name, level, got)
			}
		}
	}
}
