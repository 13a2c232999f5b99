package review_test

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/engine/review"
	"downdrop/rulebase"
)

// withChance is a rulebase with a comment at one of the places marked in it, and
// two findings of one kind in one entry and a third in another.
const withChance = `#HEADER
rulebase: {name: accepted}
causes:
  snapped: {name: "Snapped", part: sprig, per_thousand: 40, source: keeper}
#SECTION
symptoms:
#ENTRY
  flag:
    ask: "How does the flag stand?"
    values: [upright, drooping]
    shows:
#ROW
      - {when: snapped, drooping: 1} #LINE
      - {upright: 1}
  bell:
    ask: "Which sound has the bell?"
    values: [clear, cracked]
    shows: [{when: snapped, cracked: 0.9}, {clear: 1}]
sources:
  keeper: {says: "The keeper's notes", kind: practice}
`

func TestACommentAcceptsWhatItStandsAt(t *testing.T) {
	for place, want := range map[string]int{"HEADER": 3, "SECTION": 3, "ENTRY": 2, "ROW": 1, "LINE": 1, "": 0} {
		text := withChance
		if place != "" {
			text = strings.Replace(text, "#"+place, "# accept exact-chance: so it is", 1)
		}
		b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
		if err != nil {
			t.Fatal(err)
		}
		got, all := 0, 0
		for _, f := range review.Within(b, nil, review.NoLimit).Found {
			switch f.Kind {
			case "exact-chance":
				all++
				if f.Accepted == "so it is" {
					got++
				}
			case "accept-unused":
				t.Errorf("%s: %v", place, f.Problem)
			}
		}
		if got != want || all != 3 {
			t.Errorf("at %q %d of %d findings are accepted, want %d of 3", place, got, all, want)
		}
	}
}

// A header speaks for its own layer only.
func TestAHeaderAcceptsForItsLayer(t *testing.T) {
	over := strings.NewReplacer("#HEADER\nrulebase: {name: accepted}", "# accept exact-chance: so it is here\nrulebase: {name: over, extends: accepted}",
		"snapped", "bent", "flag", "pennant", "bell", "gong", "keeper", "keepers").Replace(withChance)
	layer := func(name, text string) rulebase.Layer {
		return rulebase.Layer{Name: name, FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}}
	}
	b, err := rulebase.Load(layer("lower", withChance), layer("upper", over))
	if err != nil {
		t.Fatal(err)
	}
	count := map[int]int{}
	for _, f := range review.Within(b, nil, review.NoLimit).Found {
		if f.Kind == "exact-chance" && f.Accepted == "" {
			count[f.Layer]++
		}
	}
	if count[0] != 3 || count[1] != 0 {
		t.Errorf("left by layer: %v", count)
	}
}

// What tells two causes apart on one kind of line may tell nothing on another.
func TestASettingIsNamed(t *testing.T) {
	bad, _ := review.Explain("not-told-apart")
	sample, _ := bad.Samples()
	text := strings.NewReplacer(
		"givens:\n", "givens:\n  gale: {ask: \"Is there a gale?\", default: false}\n",
		"when: still, drooping: 0.9", "when: vane_stuck or gale and sprig_snapped, drooping: 0.9").Replace(sample.Rules)
	b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	said := ""
	for _, f := range review.Within(b, nil, review.NoLimit).Found {
		if f.Kind == "not-told-apart" {
			said += f.Says
		}
	}
	if !strings.Contains(said, "where gale is true") {
		t.Errorf("said %q\n%s", said, text)
	}
}

// Whatever loads can be looked over.
func TestReviewTakesEveryRulebase(t *testing.T) {
	folders, err := filepath.Glob("../../testdata/checks/*/*/rulebase")
	if err != nil || len(folders) < 30 {
		t.Fatal(err, len(folders))
	}
	for _, folder := range append(folders, "../../rulebase/testdata/good", "../../rulebase/testdata/example") {
		b, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range review.Within(b, nil, review.NoLimit).Found {
			if _, known := review.Explain(f.Kind); !known {
				t.Errorf("%s: the kind %s is not explained", folder, f.Kind)
			}
			if f.Line == 0 || f.Text == "" && f.Kind != "no-tests" {
				t.Errorf("%s: %s has no place: %v", folder, f.Kind, f.Problem)
			}
		}
	}
}

// Questions that differ by a number ask for different things.
func TestANumberTellsQuestionsApart(t *testing.T) {
	text := `rulebase: {name: numbers}
symptoms:
  third: {ask: "Volts at terminal 3 of the strip", values: [some, none], by: asking}
  fourth: {ask: "Volts at terminal 4 of the strip", values: [some, none], by: asking}
  again: {ask: "Volts at terminal 4 of that strip", values: [some, none], by: asking}
`
	b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	var at []int
	for _, f := range review.Within(b, nil, review.NoLimit).Found {
		if f.Kind == "questions-alike" {
			at = append(at, f.Line)
		}
	}
	if len(at) != 1 || at[0] != 5 {
		t.Errorf("found on lines %v, want 5 alone", at)
	}
}

// A slip of the hand does not make another question, another word does.
func TestASlipAsksTheSame(t *testing.T) {
	for ask, alike := range map[string]bool{
		"Is the amplfier of the line warm to the back of the hand?":   true,
		"Is the amplifier of the lime warm to the back of a hand?":    false, // of three slips two are too many for 56 letters
		"Is the amplifier of the spare warm to the back of the hand?": false,
		"Is it warm?": false,
	} {
		text := `rulebase: {name: slips}
symptoms:
  one: {ask: "Is the amplifier of the line warm to the back of the hand?", values: ["yes", "no"], by: asking}
  other: {ask: "` + ask + `", values: ["yes", "no"], by: asking}
`
		if got := slices.Contains(reviewed(t, review.Sample{Rules: text}), "questions-alike"); got != alike {
			t.Errorf("%q is found alike: %v", ask, got)
		}
	}
}

// What counts twice is found behind a symptom that weighs nothing, too.
func TestTheSameEvidenceIsFoundBehindWhatDoesNotWeigh(t *testing.T) {
	text := `rulebase: {name: twice}
causes:
  wire: {name: Wire off, part: line, per_thousand: 100, source: common_practice, remedy: rewire}
symptoms:
  mode:  {ask: "Which mode is it in?", values: [run, stop], by: asking}
  light: {ask: "Is the light lit?", values: [lit, dark], by: looking, shows: [{when: wire, dark: 0.9}, {lit: 1}]}
  lamp:  {ask: "How does the other lamp look?", values: [lit, dark], by: looking, shows: [{when: wire, dark: 0.9}, {lit: 1}]}
remedies:
  rewire: {do: Put the wire back, minutes: 20, ends_as: rewired}
`
	if kinds := reviewed(t, review.Sample{Rules: text}); !slices.Contains(kinds, "same-evidence") {
		t.Errorf("found %v", kinds)
	}
}

// A step that lacks what eight others like it have is doubted, for just that; and with fewer others not.
func TestAStepUnlikeTheOthers(t *testing.T) {
	const whole = "at: [field], who: technician, stops: drop, hazard: [live], warnings: [care]"
	for lacking, says := range map[string]string{
		"at: [field], ":     "it can be done by phone",
		"who: technician, ": "who is no technician may do it",
		"stops: drop, ":     "it does not say that it stops the drop",
		"hazard: [live], ":  "it does not say the hazard live",
		"[care]":            "it does not warn of care",
		"":                  "",
	} {
		for others, doubted := range map[int]bool{8: true, 7: false} {
			text := `rulebase: {name: steps}
warnings: {care: {level: danger, says: Take care.}, other: {level: danger, says: Take care of the other.}}
symptoms: {light: {ask: Is the light lit, values: [lit, dark]}}
tests:
`
			for i := range others {
				text += fmt.Sprintf("  usual_%d: {do: Look at light %d, yields: [light], minutes: 1, %s}\n", i, i, whole)
			}
			text += "  odd: {do: Look at the last light, yields: [light], minutes: 1, " + strings.Replace(whole, lacking, map[bool]string{true: "[other]"}[lacking == "[care]"], 1) + "}\n"
			b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
			if err != nil {
				t.Fatal(err)
			}
			var found []string
			for _, f := range review.Within(b, nil, review.NoLimit).Found {
				if f.Kind == "unlike-the-others" {
					found = append(found, f.Says)
				}
			}
			switch {
			case says == "" || !doubted:
				if len(found) > 0 {
					t.Errorf("beside %d, without %q: %q", others, lacking, found)
				}
			case len(found) != 1 || !strings.HasPrefix(found[0], fmt.Sprintf("odd is unlike %d other steps that ", others)) || !strings.HasSuffix(found[0], ": "+says):
				t.Errorf("beside %d, without %q: %q", others, lacking, found)
			}
		}
	}
}

// Between two limits there is room, however close they stand; at one limit from both sides there is none.
func TestARuleBetweenTwoLimitsCanFire(t *testing.T) {
	for when, never := range map[string]bool{
		"level > 3 and level < 5":         false,
		"level > 3 and level < 3.001":     false,
		"level > -5 and level < -3":       false,
		"level > 3 and level < 3":         true,
		"level > 5 and level < 3":         true,
		"level >= 3 and level <= 3":       false,
		"level < 0.5 and not (level < 0)": false,
		"level > 100":                     false,
		"level < -100":                    false,
	} {
		text := `rulebase: {name: limits}
givens:
  level: {ask: "What does the level show?", unit: m}
  wet: {ask: "Is the floor wet?"}
symptoms:
  floor: {ask: "How does the floor look?", values: [dry, wet_all_over], by: asking}
rules:
  high: {when: ` + when + `, then: {wet: true}, because: It runs over., source: practice}
sources:
  practice: {says: Invented for this test, kind: practice}
`
		if got := slices.Contains(reviewed(t, review.Sample{Rules: text}), "rule-never-fires"); got != never {
			t.Errorf("%q never fires: %v", when, got)
		}
	}
}

// What is accepted of an entry is accepted of the one that changes a part of it, too.
// One that replaces it speaks for itself, and the comment below is no mistake then.
func TestAcceptedBelowAChangedEntry(t *testing.T) {
	lower := strings.Replace(withChance, "#ENTRY", "# accept question-too-long: it says all that is to be looked at", 1)
	long := "How does the flag stand, when it is looked at from the side, with the sun behind it, on a day without wind, by somebody who has not seen it before and who has no reason to say one or the other?"
	lower = strings.Replace(lower, "How does the flag stand?", long, 1)
	for how, accepted := range map[string]bool{
		"changes: true, values: [upright, drooping]": true,
		`replaces: true, ask: "` + long + `", values: [upright, drooping], shows: [{when: snapped, drooping: 0.9}, {upright: 0.9}]`: false,
	} {
		b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(lower)}}},
			rulebase.Layer{Name: "y", FS: fstest.MapFS{"own.yaml": {Data: []byte("rulebase: {name: own, extends: accepted}\nsymptoms:\n  flag: {" + how + "}\n")}}})
		if err != nil {
			t.Fatal(err)
		}
		found := false
		for _, f := range review.Within(b, nil, review.NoLimit).Found {
			switch f.Kind {
			case "question-too-long":
				found = true
				if (f.Accepted != "") != accepted {
					t.Errorf("%s: accepted %q", how, f.Accepted)
				}
			case "accept-unused":
				t.Errorf("%s: %v", how, f.Problem)
			}
		}
		if !found {
			t.Errorf("%s: the question is not found too long", how)
		}
	}
}
