package cases_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
)

// A dash or a slash in the field for the serial stands for "there is none": it is taken for
// no other case's, and least of all for every case that has no serial.
func TestASerialOfSignsLooksLikeNoOther(t *testing.T) {
	s := storetest.NewModel("mill")
	at := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	open := func(id, serial string) {
		t.Helper()
		d := cases.Say(cases.KindOpened, cases.Opening{Unit: cases.Unit{Type: "BIU-2", Serial: serial}})
		d.ID, d.Subject, d.At = "e-"+id, cases.Subject{Kind: cases.AboutCase, ID: id}, at
		if _, err := s.Append(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	open("one", "")
	open("two", "0815")
	open("three", "---")
	c, err := s.Case(t.Context(), "three")
	if err != nil {
		t.Fatal(err)
	}
	earlier, err := cases.LookBack(t.Context(), s, c)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(earlier.SameUnit) + len(earlier.OtherType) + len(earlier.LooksLike); n > 0 {
		t.Errorf("a serial of dashes is taken for %d others: %+v", n, earlier)
	}
	like, err := cases.LookUnitUp(t.Context(), s, cases.Unit{Type: "BIU-2", Serial: "/"}, at)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(like.Cases) + len(like.Ask) + len(like.Units); n > 0 {
		t.Errorf("a serial of a slash is taken for %d others: %+v", n, like)
	}
}

// A unit is meant by its type with its serial, as it is said or as its key has it, or by its serial alone, which several
// may have; what the eye takes for it is told apart from both.
func TestUnitsThatANameMeans(t *testing.T) {
	s := storetest.NewModel("mill")
	key := map[string]string{}
	for i, u := range []cases.Unit{{Type: "kiln", Serial: "1"}, {Type: "quay", Serial: "B0815"}, {Type: "weir", Serial: "B0815"}, {Type: "quay", Serial: "80815"}, {Type: "in/out", Serial: "77"}} {
		d := cases.Say(cases.KindNote, cases.Note{Text: "was here"})
		d.ID, d.Subject, d.At = fmt.Sprint("e", i), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}, time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
		if _, err := s.Append(t.Context(), d); err != nil {
			t.Fatal(err)
		}
		key[u.Type+" "+u.Serial] = d.Subject.ID
	}
	for _, c := range []struct{ name, same, near string }{
		{"quay/b0815", "quay B0815", ""},
		{key["weir B0815"], "weir B0815", ""},
		{"in/out/77", "in/out 77", ""},
		{key["in/out 77"], "in/out 77", ""},
		{" b0815 ", "quay B0815, weir B0815", "quay 80815"},
		{"80815", "quay 80815", "quay B0815, weir B0815"},
		{"BO8I5", "", "quay B0815, weir B0815, quay 80815"},
		{"quay80815", "", "quay B0815, quay 80815"},
		{"4711", "", ""},
	} {
		same, near, err := cases.FindUnits(t.Context(), s, c.name)
		if err != nil {
			t.Fatal(err)
		}
		said := func(keys []string) string {
			var all []string
			for words, k := range key {
				if slices.Contains(keys, k) {
					all = append(all, words)
				}
			}
			slices.Sort(all)
			return strings.Join(all, ", ")
		}
		sorted := func(text string) string {
			all := strings.Split(text, ", ")
			slices.Sort(all)
			return strings.Join(all, ", ")
		}
		if said(same) != sorted(c.same) || said(near) != sorted(c.near) {
			t.Errorf("%q means %q, and may mean %q", c.name, said(same), said(near))
		}
	}
}

// A second exchange at a place within ninety days of one whose unit was found good speaks against the place.
func TestASecondExchangeSpeaksAgainstThePlace(t *testing.T) {
	first := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	exchanged := func(verdict string) *cases.Closing {
		return &cases.Closing{Outcome: "unit_out", UnitVerdict: verdict}
	}
	for _, c := range []struct {
		name             string
		verdict          string
		days             int // until the second case
		drop             int // of the second case; the first is of drop 5
		between          int // days until an exchange between the two, 0: none
		closing          *cases.Closing
		good, atLocation bool
	}{
		{name: "nothing done yet", verdict: cases.UnitGood, days: 89, drop: 5, good: true},
		{name: "the drop not said", verdict: cases.UnitGood, days: 89, good: true},
		{name: "too long ago", verdict: cases.UnitGood, days: 91, drop: 5},
		{name: "another drop", verdict: cases.UnitGood, days: 30, drop: 6},
		{name: "the unit was bad", verdict: cases.UnitBad, days: 30, drop: 5},
		{name: "exchanged again", verdict: cases.UnitGood, days: 30, drop: 5, closing: exchanged(cases.UnitGood), good: true, atLocation: true},
		{name: "exchanged again in between", verdict: cases.UnitGood, days: 60, drop: 5, between: 30, good: true, atLocation: true},
		{name: "bad the second time", verdict: cases.UnitGood, days: 30, drop: 5, closing: exchanged(cases.UnitBad), good: true, atLocation: true},
	} {
		s := storetest.NewModel("mill")
		open := func(id string, days, drop int, closing *cases.Closing) {
			t.Helper()
			drafts := []cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir house", Drop: drop})}
			if closing != nil {
				drafts = append(drafts, cases.Say(cases.KindClosed, *closing))
			}
			for i := range drafts {
				drafts[i].ID, drafts[i].Subject = fmt.Sprint(id, i), cases.Subject{Kind: cases.AboutCase, ID: id}
				drafts[i].At = first.AddDate(0, 0, days)
			}
			if _, err := s.Append(t.Context(), drafts...); err != nil {
				t.Fatal(err)
			}
		}
		open("first", 0, 5, exchanged(c.verdict))
		if c.between > 0 {
			open("between", c.between, 5, exchanged(cases.UnitBad))
		}
		open("now", c.days, c.drop, c.closing)
		now, err := s.Case(t.Context(), "now")
		if err != nil {
			t.Fatal(err)
		}
		e, err := cases.LookBack(t.Context(), s, now)
		if err != nil {
			t.Fatal(err)
		}
		if (e.FoundGood != nil) != c.good || e.ForLocation != c.atLocation {
			t.Errorf("%s: found good %v, for the location %v", c.name, e.FoundGood, e.ForLocation)
		}
	}
}

// What came out of a place before, and how often a serial did: cases that ended with the unit out, of the same
// type, at the same drop where both say it, without those that are asked for.
func TestReturnsAreUnitsThatCameOut(t *testing.T) {
	s := storetest.NewModel("mill")
	noon := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	for id, c := range map[string]struct {
		unit    cases.Unit
		drop    int
		outcome string
	}{
		"out":     {cases.Unit{Type: "BIU-2", Serial: "A0815"}, 5, "unit_out"},
		"again":   {cases.Unit{Type: "biu-2", Serial: "A0815"}, 0, "unit_out"},
		"rewired": {cases.Unit{Type: "BIU-2", Serial: "A0815"}, 5, "rewired"},
		"open":    {cases.Unit{Type: "BIU-2", Serial: "A0815"}, 5, ""},
		"other":   {cases.Unit{Type: "BIU-3", Serial: "A0815"}, 6, "unit_out"},
		"another": {cases.Unit{Type: "BIU-2", Serial: "A0816"}, 6, "unit_out"},
	} {
		drafts := []cases.Draft{cases.Say(cases.KindOpened, cases.Opening{Location: "Weir house", Drop: c.drop, Unit: c.unit})}
		if c.outcome != "" {
			drafts = append(drafts, cases.Say(cases.KindClosed, cases.Closing{Outcome: c.outcome}))
		}
		for i := range drafts {
			drafts[i].ID, drafts[i].Subject, drafts[i].At = fmt.Sprint(id, i), cases.Subject{Kind: cases.AboutCase, ID: id}, noon
		}
		if _, err := s.Append(t.Context(), drafts...); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		serial  string
		without []string
		want    int
	}{{"A0815", nil, 2}, {"A0815", []string{"out"}, 1}, {"A0815", []string{"out", "again"}, 0}, {"A0816", nil, 1}, {"A0817", nil, 0}, {"", nil, 0}} {
		if n, err := cases.SerialReturns(t.Context(), s, cases.Unit{Type: "BIU-2", Serial: c.serial}, c.without...); err != nil || n != c.want {
			t.Errorf("serial %q without %v: %d, %v; want %d", c.serial, c.without, n, err, c.want)
		}
	}
	for _, c := range []struct {
		location string
		drop     int
		without  []string
		want     int
	}{{"Weir house", 0, nil, 4}, {"Weir house", 5, nil, 2}, {"Weir house", 6, nil, 3}, {"Weir house", 6, []string{"another"}, 2}, {"Tide mill", 0, nil, 0}, {"", 0, nil, 0}} {
		if n, err := cases.LocationReturns(t.Context(), s, c.location, c.drop, c.without...); err != nil || n != c.want {
			t.Errorf("%q, drop %d without %v: %d, %v; want %d", c.location, c.drop, c.without, n, err, c.want)
		}
	}
}

// An id that can stand in a path and in a query as it is: letters of ASCII, digits, - and _, at most 64 of them.
func TestPlainIDs(t *testing.T) {
	for id, want := range map[string]bool{
		"A": true, "Z": true, "a": true, "z": true, "0": true, "9": true, "-": true, "_": true, "AZaz09-_": true,
		"": false, "@": false, "[": false, "`": false, "{": false, "/": false, ":": false, "a b": false, "ä": false, "a.b": false, "a\x00": false,
	} {
		if got := cases.PlainID(id); got != want {
			t.Errorf("%q is a plain id: %v", id, got)
		}
	}
	if !cases.PlainID(strings.Repeat("a", 64)) || cases.PlainID(strings.Repeat("a", 65)) {
		t.Error("an id may have 64 signs")
	}
}
