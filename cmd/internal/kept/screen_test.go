package kept

import (
	"slices"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

// part is a part of a reply.
func part(kind conversation.PartKind, lines ...string) conversation.Part {
	return conversation.Part{Kind: kind, Lines: lines}
}

// Each line of a reply stands on a screen under what it is; what only somebody who types needs does not.
func TestAReplyIsSortedForAScreen(t *testing.T) {
	answer := func(entry string) conversation.Answer { return conversation.Answer{Entry: entry} }
	got := Sort(conversation.Reply{
		Parts: []conversation.Part{
			part(conversation.PartHeard, conversation.SaysUnderstood, "  the light is dark", "said again"), part(conversation.PartNotHeard, "xyz"), part(conversation.PartNotice, "a notice"),
			part(conversation.PartExplanation, "why"), part(conversation.PartSummary, "likely"), part(conversation.PartWarning, "WARNING: live parts", "CAUTION: hot", "NOTICE: all stop", "mind it"),
			part(conversation.PartQuestion, "Do this.", "  a. Begin.", "type it"), part(conversation.PartHeard, "  and more"),
		},
		Question: conversation.Question{Kind: conversation.AskStep, Typed: []string{"type it"}, Answers: []conversation.Answer{answer("yes"), answer("quit"), answer("what else"), answer("what would you need"), answer("stop and save as a case file"), answer("no")}},
	})
	want := Sorted{
		Heard: []string{"the light is dark", "said again", "and more"}, NotHeard: []string{"xyz"}, Notices: []string{"a notice"}, Explanation: []string{"why"}, Summary: []string{"likely"},
		Warnings: []Warning{{"WARNING", "live parts"}, {"CAUTION", "hot"}, {"NOTICE", "all stop"}, {"", "mind it"}},
		Asks:     []Line{{Says: "Do this.", Lead: true}, {Mark: "a", Says: "Begin."}}, Answers: []conversation.Answer{answer("yes"), answer("no")},
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Errorf("(-want +got):\n%s", diff)
	}
}

// Facts before a step are ticked where there are several; one alone has its button, and what stands already is
// only shown. Ticking nothing confirms nothing.
func TestFactsAreTicked(t *testing.T) {
	fact := func(id string, stands bool) conversation.Fact {
		return conversation.Fact{Warning: id, Stands: stands}
	}
	for name, x := range map[string]struct {
		facts     []conversation.Fact
		open, has int
	}{
		"none": {nil, 0, 0}, "one": {[]conversation.Fact{fact("a", false)}, 0, 0}, "one beside one that stands": {[]conversation.Fact{fact("a", true), fact("b", false)}, 0, 0},
		"two": {[]conversation.Fact{fact("a", false), fact("b", false)}, 2, 0}, "two beside two": {[]conversation.Fact{fact("a", true), fact("b", false), fact("c", true), fact("d", false)}, 2, 2},
	} {
		s := Sorted{Warnings: []Warning{{"WARNING", "live"}}, Answers: []conversation.Answer{{Entry: "yes"}}}
		s.Tick(x.facts)
		if len(s.Facts) != x.open || len(s.Confirmed) != x.has {
			t.Errorf("%s: %d are to be ticked, %d stand", name, len(s.Facts), len(s.Confirmed))
		}
		if ticked := x.open > 0; ticked != (len(s.Warnings) == 0) || ticked != (len(s.Answers) == 2 && s.Answers[0].Entry == Ticked && s.Answers[1].Entry == "not now") {
			t.Errorf("%s: warnings %+v, answers %+v", name, s.Warnings, s.Answers)
		}
		if slices.ContainsFunc(s.Facts, func(f conversation.Fact) bool { return f.Stands }) {
			t.Errorf("%s: what stands is to be ticked again", name)
		}
	}
	for want, ticked := range map[string][]string{"": {"", ""}, "confirm a, c": {"a", "", "c"}} {
		if got := ConfirmTicked(ticked); got != want {
			t.Errorf("%q ticked is the entry %q", ticked, got)
		}
	}
	if got := ConfirmTicked(nil); got != "" {
		t.Errorf("nothing ticked is the entry %q", got)
	}
}

// A number alone is a reading in the unit of its button; what says its unit, or something else, says it itself.
func TestReadingsHaveTheUnitOfTheirButton(t *testing.T) {
	for _, row := range []struct{ text, unit, want string }{
		{"12", "V", "12 V"}, {" 12.5 ", "mV", "12.5 mV"}, {"-3", "V", "-3 V"}, {"1,5", "ohm", "1,5 ohm"}, {"12 mV", "V", "12 mV"}, {"OL", "ohm", "OL"}, {"4k7", "ohm", "4k7"}, {"", "V", ""}, {"  ", "V", ""}, {"7", "", "7"},
	} {
		if got := InUnit(row.text, row.unit); got != row.want {
			t.Errorf("%q with the button %q is %q, wanted %q", row.text, row.unit, got, row.want)
		}
	}
	for unit, want := range map[string][]string{"": {""}, "number": {""}, "V": {"V", "mV"}, "ohm": {"ohm", "kohm", "Mohm"}, "mA": {"mA", "A"}, "dB": {"dB"}} {
		if diff := cmp.Diff(want, UnitsFor(unit)); diff != "" {
			t.Errorf("%q (-want +got):\n%s", unit, diff)
		}
	}
}

// What was answered to an entry that changed nothing stands above what is asked now, once; only a question of
// the entry's own stays in its place.
func TestWhatIsToldOfAnEntryThatChangedNothing(t *testing.T) {
	now := conversation.Reply{Parts: []conversation.Part{part(conversation.PartSummary, "likely"), part(conversation.PartWarning, "WARNING: now"), part(conversation.PartQuestion, "Now?")}, Question: conversation.Question{Kind: conversation.AskStep, ID: "now"}, Diagnosis: &engine.Diagnosis{}}
	heard := func(kind conversation.QuestionKind) conversation.Reply {
		return conversation.Reply{Parts: []conversation.Part{part(conversation.PartSummary, "was likely"), part(conversation.PartNotHeard, "xyz"), part(conversation.PartWarning, "WARNING: then"), part(conversation.PartQuestion, "Then?")}, Question: conversation.Question{Kind: kind, ID: "then"}}
	}
	said := func(r conversation.Reply) (all []string) {
		for _, p := range r.Parts {
			all = append(all, p.Lines...)
		}
		return append(all, r.Question.ID)
	}
	for kind, want := range map[conversation.QuestionKind][]string{
		conversation.AskStep: {"xyz", "likely", "WARNING: now", "Now?", "now"},
		conversation.AskElse: {"xyz", "WARNING: then", "Then?", "likely", "then"},
	} {
		got := Told(heard(kind), now)
		if diff := cmp.Diff(want, said(got)); diff != "" || got.Diagnosis != now.Diagnosis {
			t.Errorf("%s (-want +got):\n%s", kind, diff)
		}
	}
}

// A caller is settled with before a step that is more than looking: each of what makes it more counts by itself.
func TestWhatACallIsSettledBefore(t *testing.T) {
	b, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	id := b.Tests[0].ID
	look := rulebase.Step{ID: id, Kind: rulebase.KindTest, Who: rulebase.Operator}
	with := func(change func(*rulebase.Step)) rulebase.Step {
		s := look
		change(&s)
		return s
	}
	for name, x := range map[string]struct {
		step rulebase.Step
		want bool
	}{
		"looking":                   {look, false},
		"work":                      {with(func(s *rulebase.Step) { s.Kind = rulebase.KindRemedy }), true},
		"what can hurt":             {with(func(s *rulebase.Step) { s.Hazard = 1 }), true},
		"what stops something":      {with(func(s *rulebase.Step) { s.Stops = rulebase.StopsNothing + 1 }), true},
		"what brings it back":       {with(func(s *rulebase.Step) { s.BringsBack = true }), true},
		"what needs a tool":         {with(func(s *rulebase.Step) { s.Needs = []string{"multimeter"} }), true},
		"what puts right by chance": {with(func(s *rulebase.Step) { s.PutsRight = []int{0} }), true},
		"somebody who knows":        {with(func(s *rulebase.Step) { s.Who = rulebase.Electrician }), true},
	} {
		*b.Step(id) = x.step
		for _, q := range []struct {
			question conversation.Question
			asked    bool
		}{
			{conversation.Question{Kind: conversation.AskStep, ID: id}, true}, {conversation.Question{Kind: conversation.AskConfirm, ID: "live", For: id}, true},
			{conversation.Question{Kind: conversation.AskSymptom, ID: id}, false}, {conversation.Question{Kind: conversation.AskStep, ID: "no_step"}, false},
		} {
			if got := beyondLooking(b, q.question); got != (x.want && q.asked) {
				t.Errorf("%s, asked as %s: beyond looking is %v", name, q.question.Kind, got)
			}
			st := &Standing{Memory: conversation.Memory{Settled: []string{conversation.SettledCall}}}
			if st.CallSettles(b, q.question) {
				t.Errorf("%s is settled twice", name)
			}
		}
	}
	for who, want := range map[rulebase.Who]bool{rulebase.Operator: true, rulebase.Electrician: false, rulebase.Technician: false, rulebase.Engineer: false} {
		st := &Standing{Situation: rulebase.Situation{Who: who}}
		if st.CallerLooks() != want {
			t.Errorf("that a caller who is %s only looks is %v", who, !want)
		}
	}
}

// Causes have a bar as far as they weigh anything: the likeliest, and no more than there is room for.
func TestCausesWithABar(t *testing.T) {
	d := &engine.Diagnosis{Causes: []engine.CauseBelief{{Now: 0.5}, {Now: 0.3}, {Now: leastShown}, {Now: 0.0049}, {Now: 0}}}
	for most, want := range map[int]int{0: 0, 2: 2, 3: 3, 4: 3, 9: 3} {
		if got := len(ShownNow(d, most)); got != want {
			t.Errorf("of five causes, the room for %d, %d have a bar; wanted %d", most, got, want)
		}
	}
	s := AsOfNow(rulebase.Situation{Done: []rulebase.Done{{ID: "a"}, {ID: "b"}}, Findings: []rulebase.Finding{{Now: true}, {After: "a"}, {}}})
	if s.Findings[0].Now || s.Findings[0].After != "b" || s.Findings[1].After != "a" || s.Findings[2].After != "" {
		t.Errorf("findings of now are %+v", s.Findings)
	}
	s = AsOfNow(rulebase.Situation{Findings: []rulebase.Finding{{Now: true}}})
	if s.Findings[0].Now || s.Findings[0].After != "" {
		t.Errorf("before any work they are %+v", s.Findings)
	}
}
