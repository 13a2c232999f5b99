package wording

import (
	"math"
	"strings"
	"testing"

	"downdrop/cases"
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

// Each word for a chance from its least value on, and the verdict on the unit at its limits.
func TestChancesInWords(t *testing.T) {
	below := "ruled out"
	for i := len(chanceWords) - 1; i >= 0; i-- {
		w := chanceWords[i]
		if got := Chance(w.from); got != w.says {
			t.Errorf("%v is %q, wanted %q", w.from, got, w.says)
		}
		if got := Chance(math.Nextafter(w.from, 0)); got != below {
			t.Errorf("just below %v is %q, wanted %q", w.from, got, below)
		}
		below = w.says
	}
	for p, want := range map[float64]string{1: "Yes", 0.95: "Yes", 0.949: "Probably", 0.65: "Probably", 0.649: "Not settled", 0.35: "Not settled", 0.349: "Probably not", 0.1: "Probably not", 0.099: "Hardly", 0: "Hardly"} {
		if got := IsUnit(p); got != want {
			t.Errorf("at %v the unit is %q, wanted %q", p, got, want)
		}
	}
}

func TestWhatEveryScreenSaysAlike(t *testing.T) {
	b := &rulebase.Base{Symptoms: []rulebase.Symptom{{Ask: "Is it lit?"}, {Ask: "Is there a hum?"}}}
	joined := func(lines []string) string { return strings.Join(lines, " | ") }
	still := &cases.Case{PutIn: []cases.Said[cases.PutIn]{
		{Event: cases.Event{Draft: cases.Draft{ID: "e1"}}, Body: cases.PutIn{What: "jumper", Where: "X1:4"}}, {Event: cases.Event{Draft: cases.Draft{ID: "e2"}}, Body: cases.PutIn{What: "force", Where: "output 3"}}},
		Accepted: []cases.Said[cases.Accepted]{{Body: cases.Accepted{Event: "e2"}}}}
	putInBy := func(st *rulebase.Step) string {
		what, until := PutInBy(b, st)
		return what + " | " + until
	}
	for _, c := range []struct{ is, want string }{
		{joined(Stopgap(&rulebase.Step{SideEffects: "The rate is halved."})), "This is only a stopgap: it takes no cause away, and the case stays open. | While it lasts: The rate is halved. | Write down the date on which it ends, and who sees to it."},
		{joined(Stopgap(&rulebase.Step{Days: 3})), "This is only a stopgap: it takes no cause away, and the case stays open. | It ends after 3 days at the latest: write the date down, with who sees to it."},
		{Quiet(3, 0.05, "", "an hour"), "It comes and goes: quiet means something only once it has lasted 3.0 times as long as it was from one failure to the next on average (ln 20 = 3.0, if failures come at random)."},
		{Quiet(3, 0.05, "20 minutes", "an hour"), "It comes and goes, on average every 20 minutes. By chance alone it is quiet for 3.0 times as long, an hour, only once in 20 times (ln 20 = 3.0, if failures come at random): so long quiet has to last to mean something."},
		{Condition("line == token_pair and mode != stop"), "line is token pair and mode is not stop"},
		{Condition("line in [token_pair] or line not in [tia]"), "line is one of [token pair] or line is none of [tia]"},
		{NameOf(b, &rulebase.Step{Do: "Do it", Implied: true, Yields: []int{1, 0}}), "Is there a hum?"},
		{NameOf(b, &rulebase.Step{Do: "Do it", Yields: []int{1}}), "Do it"},
		{NameOf(b, &rulebase.Step{Do: "Do it", Implied: true}), "Do it"},
		{Counted(0, "drop"), "0 drops"}, {Counted(1, "drop"), "1 drop"}, {Counted(2, "drop"), "2 drops"},
		{Counted(1, "entry"), "1 entry"}, {Counted(3, "entry"), "3 entries"},
		{PutIn(cases.PutIn{What: "other", Where: "a clip at X1"}, false), "a clip at X1"},
		{PutIn(cases.PutIn{What: "loose_wire", Where: "X1:4", Until: "Friday"}, false), "loose wire, X1:4, until Friday"},
		{PutIn(cases.PutIn{What: "jumper", Where: "X1:4"}, true), "jumper, X1:4 (accepted)"},
		{joined(StandingLines(still)), "jumper, X1:4 | force, output 3 (accepted)"},
		{joined(InPlaceLines(still)), "1. jumper, X1:4 | 2. force, output 3 (accepted)"},
		{joined(InPlaceLines(&cases.Case{})), ""},
		{putInBy(&rulebase.Step{Do: "Bridge the feed."}), "bridge the feed | "},
		{putInBy(&rulebase.Step{Do: "Bridge the feed.", Days: 2}), "bridge the feed | 2 days from then at the latest"},
		{Plain("power_light_2"), "power light 2"}, {joined(PlainAll([]string{"a_b", "c"})), "a b | c"},
		{List("and", nil), ""}, {List("and", []string{"a"}), "a"}, {List("or", []string{"a", "b"}), "a or b"}, {List("and", []string{"a", "b", "c"}), "a, b and c"},
		{Person("operator"), "an operator"}, {Person("electrician"), "an electrician"}, {Person("technician"), "a technician"}, {Person(""), "a "},
		{Hazards(0), ""}, {Hazards(rulebase.HazardUnknown), "Its hazards are not known: take it as the worst."}, {Hazards(rulebase.HazardUnknown | rulebase.HazardLive), "Its hazards are not known: take it as the worst."},
		{Hazards(rulebase.HazardMotion), "Hazards: machinery that may move."}, {Hazards(rulebase.HazardLive | rulebase.HazardSpark), "Hazards: live parts and sparks."},
		{Stops(rulebase.StopsNothing), ""}, {Stops(rulebase.StopsDrop), "It stops this drop while it lasts."}, {Stops(rulebase.StopsBus), "It stops every drop on the line while it lasts."},
		{Where(&cases.Case{}), ""},
		{Where(&cases.Case{Opening: cases.Opening{Drop: 5, Location: "Invented Yard 7", Unit: cases.Unit{Type: "RX", Serial: "A1"}}, Situation: rulebase.Situation{Drop: 6}}), "drop 5, Invented Yard 7, unit RX A1"},
		{Where(&cases.Case{Opening: cases.Opening{Unit: cases.Unit{Serial: "A1"}}, Situation: rulebase.Situation{Drop: 6}}), "drop 6, unit A1"},
		{Aside(0.2, 0), "Something not listed here: about 2 in 10. Nothing wrong with the drop: ruled out."},
	} {
		if c.is != c.want {
			t.Errorf("says  %q\nwants %q", c.is, c.want)
		}
	}
}
