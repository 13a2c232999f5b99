package report_test

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/rulebase"
)

var update = flag.Bool("update", false, "write the golden files")

// base is a small rulebase made by hand: the printers are tested on what they are
// given, not on what loader and engine make of it. Its numbers are invented.
func base() *rulebase.Base {
	b := &rulebase.Base{
		Name: "small", Version: 7, Digest: "d16e57", Outside: 0.02,
		Givens: []rulebase.Given{
			{ID: "classified_area", Ask: "Is the drop in a classified area?", Type: rulebase.Flag},
			{ID: "line", Ask: "Which line is it?", Type: rulebase.Choice, OneOf: []string{"token_pair", "tia485_polled"}},
			{ID: "trunk_length", Ask: "Length of the trunk", Type: rulebase.Number, Unit: "m"},
		},
		Causes: []rulebase.Cause{
			{ID: "fuse_blown", Name: "A fuse in the drop's feed is blown", Part: "supply", Remedies: []rulebase.Helps{{Remedy: 0, Chance: 1}}},
			{ID: "driver_dead", Name: "The unit's line driver is damaged", Part: "unit", Remedies: []rulebase.Helps{{Remedy: 1, Chance: 1}}},
			{ID: "plug_loose", Name: "The bus plug is loose", Part: "line", Remedies: []rulebase.Helps{{Remedy: 2, Chance: 0.65}}},
			{ID: "controller_stopped", Name: "The controller is stopped", Part: "controller"},
			{ID: "address_twice", Name: "Another drop has the same address", Part: "setting"},
		},
		Conditions: []rulebase.Condition{{ID: "unpowered", Says: "the unit has no power"}, {ID: "down"}},
		Symptoms: []rulebase.Symptom{
			{ID: "drop_works", Ask: "Does the drop work?", Values: []string{"working", "not_working"}, Weighs: true},
			{ID: "power_light", Ask: "Is the power light on the bus-interface unit lit?", Values: []string{"lit", "dark", "flickering"}, Weighs: true, By: rulebase.ByLooking},
			{ID: "volts_at_drop", Ask: "Volts at the drop's supply terminals", Unit: "V", Values: []string{"none", "low", "good"}, Limits: make([]*rulebase.Expression, 2), Weighs: true},
			{ID: "controller_mode", Ask: "What mode is the controller in?", Values: []string{"run", "stop"}},
		},
		Rules: []rulebase.Rule{{ID: "stopped_means_off", Because: "A stopped controller holds its outputs off."}},
		Warnings: []rulebase.Warning{
			{ID: "bus_stops", Level: rulebase.NoticeLevel, Says: "Every drop of the line stops."},
			{ID: "live_work", Level: rulebase.WarningLevel, Says: "Live measurement, only for people allowed to do it here.", Because: "24 V terminals often sit beside mains."},
			{ID: "outputs_may_act", Level: rulebase.DangerLevel, Says: "Outputs may act at once."},
		},
	}
	b.Tests = []rulebase.Step{
		{ID: "measure_supply", Kind: rulebase.KindTest, Do: "Measure the volts at the drop's supply terminals, loads on", Minutes: 4, Needs: []string{"multimeter"}, At: []rulebase.Place{rulebase.Field}, Who: rulebase.Technician,
			Hazard: rulebase.HazardLive, Warnings: []int{1}, Yields: []int{2, 1}, Steps: []string{"Find the drop's own supply terminals on the drawing.", "Measure plus to 0 V at the terminals themselves, not at the supply."}},
		{ID: "swap_unit", Kind: rulebase.KindTest, Do: "Put in a unit that is known to be good", Minutes: 20, PutsRight: []int{1}, Yields: []int{0}, Stops: rulebase.StopsDrop},
		{ID: "power_light", Kind: rulebase.KindTest, Do: "Is the power light on the bus-interface unit lit?", Minutes: 1, Yields: []int{1}, Implied: true},
	}
	b.Remedies = []rulebase.Step{
		{ID: "replace_fuse", Kind: rulebase.KindRemedy, Do: "Find out why the fuse blew, then fit one of the same rating", Minutes: 10, Needs: []string{"fuse"}, Who: rulebase.Electrician, BringsBack: true, Warnings: []int{0, 2, 1},
			EndsAs: rulebase.PartReplaced, Proof: &rulebase.Proof{Watch: 0, Minutes: 10}},
		{ID: "exchange_unit", Kind: rulebase.KindRemedy, Do: "Exchange the unit", Minutes: 30, EndsAs: rulebase.UnitOut, Stops: rulebase.StopsDrop},
		{ID: "reseat_plug", Kind: rulebase.KindRemedy, Do: "Reseat the bus plug", Minutes: 5, EndsAs: rulebase.Adjusted, Stops: rulebase.StopsBus, Temporary: true},
	}
	return b
}

// full uses every part of a diagnosis.
func full() *engine.Diagnosis {
	b := base()
	half := 0.5
	return &engine.Diagnosis{
		Base: b, Policy: "rollout", Possible: true,
		Situation: rulebase.Situation{Case: "ford-3", At: rulebase.Field, Drop: 3, Findings: []rulebase.Finding{
			{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Sure: &half},
			{Symptom: "controller_mode", Value: rulebase.Value{Word: "run"}},
			{Symptom: "power_light", Value: rulebase.Value{Word: "lit"}, Drop: 4},
		}},
		Causes: []engine.CauseBelief{
			{Cause: 0, Probability: 0.6180339887498949, Now: 0.6180339887498949, Remedy: 0},
			{Cause: 1, Probability: 0.21, Now: 0.21, Remedy: 1},
			{Cause: 2, Probability: 0.09, Now: 0.09, Remedy: 2},
			{Cause: 4, Probability: 0.031, Now: 0.031, Remedy: -1},
			{Cause: 3, Probability: 0.004, Now: 0.004, Remedy: -1},
		},
		Conditions: []engine.ConditionBelief{{Condition: 1, Probability: 0.97}, {Condition: 0, Probability: 0.7}},
		None:       0.001, Outside: 0.0425, UnitOut: 0.21, Evidence: 0.00123456789012345, LeftOut: 0,
		Explanations: []engine.Explanation{{Causes: []int{0}, Probability: 0.59}, {Causes: []int{2, 1}, Probability: 0.01}, {Causes: nil, Probability: 0.001}},
		Next: []engine.Proposal{
			{Step: &b.Tests[0], Minutes: 4, Price: 4, GainBits: 0.91, ExpectedMinutes: 41.5, Warnings: []string{"live_work"}, AskFirst: []string{"classified_area"}},
			{Step: &b.Tests[2], Minutes: 1, Price: 1, GainBits: 0.2, ExpectedMinutes: 43},
			{Step: &b.Remedies[0], Minutes: 10, Price: 10, ExpectedMinutes: 44, Warnings: []string{"bus_stops", "outputs_may_act", "live_work"}},
			{Step: &b.Tests[1], Minutes: 20, Price: 25, GainBits: 0.4, ExpectedMinutes: 60},
		},
		NotOffered: []engine.Withheld{
			{Step: &b.Remedies[1], Why: engine.WhyLossOfBus, Detail: "loss_of_bus"},
			{Step: &b.Remedies[2], Why: engine.WhyLossOfBus, Detail: "loss_of_bus"},
		},
		Advice: engine.Advice{Lead: engine.ToDo{Lists: []string{"replace_fuse"}, Remedies: []int{0}, Probability: 0.6}, Others: []engine.ToDo{{Lists: []string{"exchange_unit"}, Remedies: []int{1}, Probability: 0.2}, {Outside: true, Probability: 0.0425}}},
		Facts: []engine.Fact{
			{ID: "line", Value: "token_pair", Because: []string{"default"}, Why: []string{"line token_pair: taken as usual"}},
			{ID: "told_to_be_off", Value: "false", Because: []string{"stopped_means_off"}, Why: []string{"told_to_be_off false, by stopped_means_off", "  controller_mode run: said"}},
			{ID: "user_place", Value: "field", Because: []string{"filled"}},
		},
		Tells:     []engine.Tell{{Rule: "note_before_power", Says: "Write down the lights before anybody cycles power.", Why: []string{"drop_works not_working: said"}}},
		Conflicts: []engine.Conflict{{Kind: engine.ConflictFindings, Says: "The power light was seen dark and lit; dark counts, being the surer.", Members: []string{"power_light"}}},
		Weights: []engine.Weight{
			{Finding: "drop_works", Value: "not_working", Factor: 1.01},
			{Finding: "power_light", Value: "dark", Factor: 14.25},
			{Finding: "volts_at_drop", Value: "none", Rule: "stopped_means_off", Factor: 0.5},
		},
		Work: engine.Work{Visits: 3, Hypotheses: 26, Nodes: 0},
	}
}

// worked is a case in which a fuse was replaced and the drop stayed down.
func worked() *engine.Diagnosis {
	d := full()
	d.Situation.Done = []rulebase.Done{{ID: "replace_fuse", Drop: rulebase.StillDown}}
	d.Causes[0].Now, d.Causes[0].Remedy = 0, -1
	d.Causes[1].Now, d.Causes[2].Now = 0.51, 0.3
	d.Explanations = []engine.Explanation{{Causes: []int{0, 1}, Probability: 0.44}, {Causes: []int{1}, Probability: 0.2}}
	d.Next = []engine.Proposal{{Step: &d.Base.Remedies[2], Minutes: 5, Price: 35, ExpectedMinutes: 50}}
	d.NotOffered = []engine.Withheld{{Step: &d.Base.Remedies[0], Why: engine.WhyDone}, {Step: &d.Base.Tests[2], Why: engine.WhyKnown}}
	d.Conflicts, d.Tells, d.Weights = nil, nil, nil
	d.LeftOut = 0.03
	d.Advice = engine.Advice{CannotTell: true, Wrong: 0.5, InVain: 90, Sure: []int{2}, Lead: engine.ToDo{Lists: []string{"exchange_unit"}, Remedies: []int{1}, Probability: 0.5},
		Others: []engine.ToDo{{Lists: []string{"address_twice"}, Bare: []int{4}, Probability: 0.3}, {Outside: true, Probability: 0.04}}, Elsewhere: []engine.Withheld{{Step: &d.Base.Tests[0], Why: engine.WhyTools, Detail: "multimeter", GainBits: 0.5}}}
	return d
}

// well is a case that has ended.
func well() *engine.Diagnosis {
	d := worked()
	d.Situation.Done[0].Drop = rulebase.Well
	d.Next, d.LeftOut = nil, 0
	d.Explanations = d.Explanations[1:]
	d.Proven, d.NotExplained = []int{1}, []string{"power_light"}
	d.NotOffered = []engine.Withheld{{Step: &d.Base.Remedies[0], Why: engine.WhyWell}, {Step: &d.Base.Tests[2], Why: engine.WhyWell}}
	return d
}

// called is a call for which somebody has to come.
func called() *engine.Diagnosis {
	d := full()
	d.Situation.At = rulebase.Phone
	d.Advice.Enough = true
	d.Disposition = &engine.Disposition{Kind: engine.SendSomebody, Enough: true, Who: rulebase.Electrician, Remedies: []int{2, 0}, Tools: []string{"fuse", "spare_part"}, Probability: 0.7, Minutes: 160.5, Wrong: 0.24, InVain: 120,
		Chances: map[engine.Sending]float64{engine.SolveNow: 0.05, engine.SendSomebody: 0.74, engine.SendUnit: 0.21}}
	return d
}

// known is a case in which enough is known, for somebody else to act.
func known() *engine.Diagnosis {
	d := full()
	d.Advice = engine.Advice{Enough: true, Lead: engine.ToDo{Lists: []string{"exchange_unit", "replace_fuse"}, Remedies: []int{1, 0}, Probability: 0.96},
		Wrong: 0.04, InVain: 85, Further: &d.Next[0], Sure: []int{0}}
	return d
}

// byPhone is a call that ends with what the caller does.
func byPhone() *engine.Diagnosis {
	d := called()
	d.Disposition.Kind, d.Disposition.Remedies = engine.SolveNow, []int{0}
	d.Next = d.Next[2:]
	return d
}

// impossible is a case whose findings nothing listed allows.
func impossible() *engine.Diagnosis {
	b := base()
	return &engine.Diagnosis{Base: b, Policy: "rollout", Situation: rulebase.Situation{Case: "ford-4"},
		Facts: []engine.Fact{{ID: "power_light", Value: "lit", Because: []string{"said"}}},
		Conflicts: []engine.Conflict{{Kind: engine.ConflictImpossible, Says: "Nothing listed allows all of this together: power_light lit; what the rule stopped_means_off concludes.",
			Members: []string{"power_light", "stopped_means_off"}}}}
}

var made = map[string]func() *engine.Diagnosis{"full": full, "worked": worked, "well": well, "called": called, "enough": known, "by_phone": byPhone, "impossible": impossible}

func text(t *testing.T, d *engine.Diagnosis, o report.TextOptions) string {
	t.Helper()
	var b bytes.Buffer
	if err := report.Text(&b, d, o); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func golden(t *testing.T, name, got string) string {
	t.Helper()
	file := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(file, []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	want, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	return string(want)
}

func TestTextReadsAsWritten(t *testing.T) {
	for name, make := range made {
		for form, o := range map[string]report.TextOptions{"": {Hints: true}, "_detail": {Detail: true}} {
			got := text(t, make(), o)
			if diff := cmp.Diff(golden(t, name+form+".txt", got), got); diff != "" {
				t.Errorf("%s%s (-golden +got):\n%s", name, form, diff)
			}
		}
	}
}

// What matters first stands first, and what can hurt before the step.
func TestOrderOfWhatIsSaid(t *testing.T) {
	got := text(t, full(), report.TextOptions{Hints: true})
	at := 0
	for _, says := range []string{"Is it the unit?", "A fuse in the drop's feed is blown", "not on my list", "does not fit together", "WARNING", "live parts", "classified", "Measure the volts", "1. Find", "2. Measure", "halve", "Keep in mind", "What else", "DANGER: Find out why the fuse", "do not offer"} {
		i := strings.Index(got[at:], says)
		if i < 0 {
			t.Fatalf("%q does not follow where it should in\n%s", says, got)
		}
		at += i
	}
	if lines := strings.Split(got, "\n"); !strings.Contains(lines[0], "Is it the unit? Probably not: about 2 in 10") {
		t.Errorf("the first line is %q", lines[0])
	}
}

// Every step of a full listing has its warnings before it.
func TestWarningsStandBeforeEachStep(t *testing.T) {
	d := full()
	got := text(t, d, report.TextOptions{Detail: true})
	listing := got[strings.Index(got, "Every step on offer"):]
	for _, p := range d.Next {
		do := strings.Index(listing, "  "+p.Step.Do)
		if do < 0 {
			t.Fatalf("%q is not listed", p.Step.Do)
		}
		entry := listing[strings.LastIndex(listing[:do], p.Step.ID+": price"):do]
		for _, w := range p.Step.Warnings {
			if !strings.Contains(entry, d.Base.Warnings[w].Says) {
				t.Errorf("before %q there is no %q", p.Step.Do, d.Base.Warnings[w].Says)
			}
		}
	}
}

func TestTextKeepsItsWidth(t *testing.T) {
	for _, width := range []int{0, 1, 20, 33, 40, 79, 80, 1000} {
		most := report.Columns
		if width > 0 {
			most = min(most, max(width, 20))
		}
		for name, make := range made {
			for _, line := range strings.Split(text(t, make(), report.TextOptions{Width: width, Hints: true, Detail: true}), "\n") {
				if n := len([]rune(line)); n > most && len(strings.Fields(line)) > 1 {
					t.Errorf("%s at width %d: %d columns: %q", name, width, n, line)
				}
			}
		}
	}
}

func TestTextCannotSteerATerminal(t *testing.T) {
	d := full()
	d.Situation.Case = "\x1b[2Jgone\u202e"
	d.Situation.Findings[2].Read = "\x07\x9b1m"
	if got := text(t, d, report.TextOptions{Detail: true}); strings.ContainsAny(got, "\x1b\x07\u009b\u202e") {
		t.Errorf("control characters came through: %q", got)
	}
}

// No remedy is advised without what can hurt before it.
func TestAdviceNamesNoRemedyBeforeItsWarnings(t *testing.T) {
	got := text(t, known(), report.TextOptions{})
	fuse := strings.Index(got, "find out why the fuse blew")
	for _, w := range known().Base.Warnings {
		if i := strings.Index(got, strings.Fields(w.Says)[0]); i < 0 || i > fuse {
			t.Errorf("%q does not stand before the remedy in\n%s", w.Says, got)
		}
	}
	d := byPhone()
	if got := text(t, d, report.TextOptions{}); !strings.Contains(got, "with the step below") || strings.Index(got, "DANGER") > strings.Index(got, "Find out why the fuse") {
		t.Error(got)
	}
}

// The words for chances rise with the chance and never promise certainty.
func TestChanceRisesAndIsNeverCertain(t *testing.T) {
	want := []string{"less than 1 in 100", "about 1 in 100", "about 1 in 50", "about 1 in 30", "about 1 in 20", "about 1 in 10", "about 2 in 10", "about 3 in 10", "about 4 in 10", "about 5 in 10", "about 6 in 10", "about 7 in 10", "about 8 in 10", "about 9 in 10", "about 19 in 20", "almost certain"}
	var got []string
	for p := 0.00001; p <= 1; p += 0.00001 {
		if says := report.Chance(p); len(got) == 0 || got[len(got)-1] != says {
			got = append(got, says)
		}
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if report.Chance(1) != "almost certain" || report.Chance(0) != "ruled out" || report.Chance(math.SmallestNonzeroFloat64) != "less than 1 in 100" {
		t.Error(report.Chance(1), report.Chance(0))
	}
}

// A word names the chance it stands for: nothing it is said for is further from
// it than a third of the words' own distance.
func TestChanceIsNearWhatItSays(t *testing.T) {
	for p := 0.0095; p < 0.985; p += 0.0001 {
		var n, of float64
		if _, err := fmt.Sscanf(report.Chance(p), "about %g in %g", &n, &of); err != nil {
			t.Fatal(err)
		}
		if off := math.Abs(p - n/of); !(off <= 0.05000001) && off/p > 0.35 {
			t.Errorf("%g is said as %s", p, report.Chance(p))
		}
	}
}

func TestMinutesInWords(t *testing.T) {
	for m, want := range map[float64]string{0.2: "less than a minute", 1: "about 1 minute", 6: "about 6 minutes", 89: "about 89 minutes", 120: "about 2 hours", 100: "about 1.5 hours", 4000: "about 3 days"} {
		if got := report.Minutes(m); got != want {
			t.Errorf("%g minutes: %q, want %q", m, got, want)
		}
	}
}

// Every reason has its own sentence, for one step and for several.
func TestEveryReasonIsAWholeSentence(t *testing.T) {
	seen := map[string]engine.Why{}
	for _, why := range []engine.Why{engine.WhyKnown, engine.WhyDone, engine.WhyPlace, engine.WhyTools, engine.WhyPerson, engine.WhyPhone, engine.WhyPhoneStops, engine.WhyAlone, engine.WhyLossOfBus, engine.WhyOnlyIf, engine.WhyUnconfirmed, engine.WhyHarmless, engine.WhyWell, engine.WhyImpossible} {
		for n := 1; n <= 2; n++ {
			d := full()
			d.NotOffered = nil
			for i := range n {
				d.NotOffered = append(d.NotOffered, engine.Withheld{Step: &d.Base.Remedies[i], Why: why, Detail: map[engine.Why]string{engine.WhyPlace: "bench", engine.WhyTools: "clamp_meter", engine.WhyPerson: "engineer", engine.WhyPhone: "motion and mains", engine.WhyAlone: "unknown", engine.WhyOnlyIf: "line == token_pair", engine.WhyUnconfirmed: "outputs_may_act", engine.WhyHarmless: "power_light"}[why]})
			}
			got := text(t, d, report.TextOptions{Detail: true})
			got = got[strings.Index(got, "What I do not offer"):strings.Index(got, "Noted, but")]
			if strings.Contains(got, "("+string(why)+")") || strings.Contains(got, "not offered (") {
				t.Errorf("%s has no sentence:\n%s", why, got)
			}
			if other, twice := seen[got]; twice && other != why {
				t.Errorf("%s and %s read the same", why, other)
			}
			seen[got] = why
		}
	}
}

func document(t *testing.T, text []byte) any {
	t.Helper()
	var v any
	if err := json.Unmarshal(text, &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// lacks lists what of a contract is missing or different in a document; fields
// that were added are none of its business, nor are the last digits of a number: a
// processor that fuses products with sums has others (the uncertainty of a slope
// differs in the tenth).
func lacks(path string, want, got any) []string {
	var all []string
	switch want := want.(type) {
	case map[string]any:
		got, ok := got.(map[string]any)
		if !ok {
			return []string{path + " is no object"}
		}
		for key, value := range want {
			inner, there := got[key]
			if !there {
				all = append(all, path+"."+key+" is gone")
				continue
			}
			all = append(all, lacks(path+"."+key, value, inner)...)
		}
	case []any:
		got, ok := got.([]any)
		if !ok || len(got) != len(want) {
			return []string{path + " is not the same list"}
		}
		for i := range want {
			all = append(all, lacks(fmt.Sprintf("%s[%d]", path, i), want[i], got[i])...)
		}
	case float64:
		if got, ok := got.(float64); !ok || !(math.Abs(want-got) <= 1e-8*math.Abs(want)) {
			all = append(all, fmt.Sprintf("%s: %v became %v", path, want, got))
		}
	default:
		if want != got {
			all = append(all, fmt.Sprintf("%s: %v became %v", path, want, got))
		}
	}
	return all
}

func TestJSONKeepsItsContract(t *testing.T) {
	for name, make := range made {
		var b bytes.Buffer
		if err := report.JSON(&b, make()); err != nil {
			t.Fatal(err)
		}
		want := golden(t, name+".json", b.String())
		for _, says := range lacks("", document(t, []byte(want)), document(t, b.Bytes())) {
			t.Errorf("%s%s", name, says)
		}
		if !strings.HasPrefix(b.String(), "{\n  \"schema\": \"downdrop.diagnosis/1\",") {
			t.Errorf("%s begins with %.40q", name, b.String())
		}
		if strings.Contains(b.String(), "null") {
			t.Errorf("%s holds a null:\n%s", name, b.String())
		}
	}
}

// The contract test must be able to fail.
func TestLacksNoticesWhatIsGone(t *testing.T) {
	before := document(t, []byte(`{"a": 1, "list": [{"id": "x", "p": 0.5}], "none": []}`))
	for after, want := range map[string]int{
		`{"a": 1, "list": [{"id": "x", "p": 0.5, "new": 1}], "none": [], "more": {}}`: 0,
		`{"list": [{"id": "x", "p": 0.5}], "none": []}`:                               1,
		`{"a": 1, "list": [{"id": "y", "p": "0.5"}], "none": {}}`:                     3,
		`{"a": 1, "list": [], "none": []}`:                                            1,
	} {
		if got := lacks("", before, document(t, []byte(after))); len(got) != want {
			t.Errorf("%s: %q, want %d", after, got, want)
		}
	}
}

func TestJSONOfAnImpossibleCaseHoldsOnlyConflicts(t *testing.T) {
	var b bytes.Buffer
	if err := report.JSON(&b, impossible()); err != nil {
		t.Fatal(err)
	}
	for key, value := range document(t, b.Bytes()).(map[string]any) {
		switch v := value.(type) {
		case []any:
			if (len(v) > 0) != (key == "conflicts") {
				t.Errorf("%s has %d entries", key, len(v))
			}
		case float64:
			if v != 0 {
				t.Errorf("%s is %g", key, v)
			}
		}
	}
}

func TestJSONKeepsEveryDigit(t *testing.T) {
	var b bytes.Buffer
	d := full()
	d.Weights[0].Factor = math.Inf(1)
	if err := report.JSON(&b, d); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"0.6180339887498949", "0.00123456789012345", `"factor": null`} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("%s is not there:\n%s", want, b.String())
		}
	}
}

func TestCheckOfARulebaseThatDoesNotLoad(t *testing.T) {
	c := report.NewCheck(nil, &rulebase.Problems{List: []rulebase.Problem{
		{Position: rulebase.Position{File: "supply.yaml", Line: 3, Column: 5}, Kind: "unknown-key", Says: "there is no key \"nmae\"", Meant: "name", Text: "    nmae: x", Width: 4},
		{Position: rulebase.Position{File: "trunk.yaml"}, Kind: "encoding", Says: "the file is not UTF-8 text; save it as UTF-8"},
	}}, review.Result{}, 0)
	var plain, object bytes.Buffer
	if err := c.Text(&plain, 80, false); err != nil {
		t.Fatal(err)
	}
	if err := c.JSON(&object); err != nil {
		t.Fatal(err)
	}
	if !c.Found() {
		t.Error("nothing found")
	}
	if diff := cmp.Diff(golden(t, "check.txt", plain.String()), plain.String()); diff != "" {
		t.Error(diff)
	}
	want := golden(t, "check.json", object.String())
	for _, says := range lacks("", document(t, []byte(want)), document(t, object.Bytes())) {
		t.Error(says)
	}
}

func TestCheckOfARulebaseThatLoads(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "checked", FS: fstest.MapFS{"rules.yaml": {Data: []byte("rulebase: {name: checked, version: 3}\n")}}})
	if err != nil {
		t.Fatal(err)
	}
	at := func(line int) rulebase.Position {
		return rulebase.Position{File: "small.yaml", Line: line, Column: 3}
	}
	found := []review.Finding{
		{Problem: rulebase.Problem{Position: at(4), Kind: "never-holds", Says: "it can never hold", Text: "  x: 1", Width: 1}, Layer: 1},
		{Problem: rulebase.Problem{Position: at(9), Kind: "exact-chance", Says: "it has no chance", Text: "  y: 1", Width: 1}, Layer: 1, Accepted: "so it is"},
		{Problem: rulebase.Problem{Position: at(2), Kind: "no-part", Says: "it is of no part", Text: "  z: 1", Width: 1}},
	}
	c := report.NewCheck(base, nil, review.Result{Found: found, Whole: true}, 1)
	var plain, told, object bytes.Buffer
	if err := c.Text(&plain, 80, false); err != nil {
		t.Fatal(err)
	}
	if err := c.Text(&told, 80, true); err != nil {
		t.Fatal(err)
	}
	if err := c.JSON(&object); err != nil {
		t.Fatal(err)
	}
	for name, got := range map[string]string{"check_found.txt": plain.String(), "check_accepted.txt": told.String()} {
		if diff := cmp.Diff(golden(t, name, got), got); diff != "" {
			t.Error(diff)
		}
	}
	want := golden(t, "check_found.json", object.String())
	for _, says := range lacks("", document(t, []byte(want)), document(t, object.Bytes())) {
		t.Error(says)
	}
}
