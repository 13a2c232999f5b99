package wording

import (
	"strings"
	"testing"

	"downdrop/rulebase"
)

func TestWordsWithinAndAtTheHeadOfASentence(t *testing.T) {
	for text, want := range map[string]string{
		"Fuse blown": "fuse blown", "A fuse is blown": "a fuse is blown", "I/O module dead": "I/O module dead", "LED driver dead": "LED driver dead",
		"I saw it": "I saw it", "Ärger": "ärger", "4 drops": "4 drops", "A": "A", "": "",
	} {
		if got := LowerFirst(text); got != want {
			t.Errorf("%q within a sentence is %q, want %q", text, got, want)
		}
	}
	for text, want := range map[string]string{"fuse blown": "Fuse blown", "ärger": "Ärger", "4 drops": "4 drops", "": ""} {
		if got := UpperFirst(text); got != want {
			t.Errorf("%q at the head of a sentence is %q, want %q", text, got, want)
		}
	}
	if got := InSentence("Replace the fuse."); got != "replace the fuse" {
		t.Errorf("in a sentence: %q", got)
	}
}

func TestOneLineHoldsWhatCanBeSeen(t *testing.T) {
	if got, want := OneLine("  dark\n\tsince \x00the\u202e storm\xff "), "dark since the storm?"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// A stopgap for half a day is over after half a day, wherever that is said.
func TestPartOfADayIsSaid(t *testing.T) {
	for days, want := range map[float64]string{0.5: "0.5 days", 1: "1 day", 14: "14 days"} {
		st := &rulebase.Step{Do: "Feed it from the spare supply", Temporary: true, Days: days}
		if _, until := PutInBy(&rulebase.Base{}, st); until != want+" from then at the latest" {
			t.Errorf("put in for %v days until %q", days, until)
		}
		if lines := strings.Join(Stopgap(st), " "); !strings.Contains(lines, "after "+want+" at the latest") {
			t.Errorf("%v days: %s", days, lines)
		}
	}
}

func TestWitnessIsAPersonOrAnID(t *testing.T) {
	for by, want := range map[string]string{"caller": "the caller", "shift leader": "the shift leader", "field-1": "field-1", "p1": "p1", "QA": "QA"} {
		if got := Witness(by); got != want {
			t.Errorf("%q: got %q, want %q", by, got, want)
		}
	}
}

func TestMinutesTurnIntoHoursAndDays(t *testing.T) {
	for m, want := range map[float64]string{0.4: "less than a minute", 0.5: "about 1 minute", 1.5: "about 2 minutes", 89: "about 89 minutes", 90: "about 1.5 hours", 48*60 - 1: "about 48 hours", 48 * 60: "about 2 days"} {
		if got := Minutes(m); got != want {
			t.Errorf("%v minutes are %q, wanted %q", m, got, want)
		}
	}
}

func TestADayIsSaidAsEveryOther(t *testing.T) {
	for typed, want := range map[string]string{"2031-06-01": "1 June 2031", "2031-12-31": "31 December 2031", "next week": "next week", "2031-02-30": "2031-02-30", "": ""} {
		if got := Day(typed); got != want {
			t.Errorf("%q is said %q, wanted %q", typed, got, want)
		}
	}
}
