package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// counter is a command line over a store in memory.
type counter struct {
	t     *testing.T
	store cases.Store
	now   time.Time
	code  string // of the case opened last; stands for CASE

	answers string // of somebody at a terminal; "": there is none
}

func newShop(t *testing.T) *counter {
	return &counter{t: t, store: storetest.NewModel("weir"), now: time.Date(2031, 5, 28, 9, 0, 0, 0, time.UTC)}
}

var openedCode = regexp.MustCompile(`^Case ([0-9A-Z]{6})\b`)

// run runs one command line; fields are parted by |.
func (s *counter) run(want int, line string) string {
	s.t.Helper()
	var out bytes.Buffer
	env := newEnvironment()
	env.in, env.out, env.err, env.terminal = strings.NewReader(s.answers), &out, &out, s.answers != ""
	env.width = func() int { return 80 }
	env.variable = func(string) string { return "" }
	s.now = s.now.Add(7 * time.Minute)
	env.clock = func() time.Time { return s.now }
	env.shipped = rulebase.ShippedCompiled
	env.store = func(context.Context, *environment, string) (cases.Store, error) { return s.store, nil }
	args := strings.Split(strings.ReplaceAll(line, "CASE", s.code), "|")
	if got := run(context.Background(), env, args); got != want {
		s.t.Errorf("%s: exit %d, not %d\n%s", line, got, want, out.String())
	}
	if m := openedCode.FindStringSubmatch(out.String()); m != nil && strings.HasPrefix(line, "case|open") {
		s.code = m[1]
	}
	s.t.Logf("$ %s\n%s", strings.Join(args, " "), out.String())
	return out.String()
}

func (s *counter) says(want int, line string, words ...string) {
	s.t.Helper()
	out := strings.Join(strings.Fields(s.run(want, line)), " ")
	for _, w := range words {
		if !strings.Contains(out, w) {
			s.t.Errorf("%s\ndoes not say %q but\n%s", line, w, out)
		}
	}
}

func TestACaseFromTheFirstCallToItsClosing(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.says(0, "case|open|--location|Tide mill, sluice|--drop|5|--type|BIU-2|--serial|B0815|--complaint|silent since the storm|--at|phone|--see|power_light=dark|--reference|work_order=W-2231", "Tide mill, sluice, drop 5")
	first := s.code
	s.says(0, "case|see|CASE|switches_look=rate_differs@0.9|--at|field", "kept")
	s.says(0, "case|note|CASE|the cabinet|was wet inside")
	s.says(0, "case|setting|CASE|address=5|rate=153.6k")
	s.says(0, "case|setting|CASE|--left|address=6")
	s.says(0, "case|show|CASE|--settings", "153.6k not read", "differs")
	s.says(0, "case|put-in|CASE|jumper|terminals 3 and 4", "1. jumper, terminals 3 and 4")
	s.says(0, "case|show|CASE", "Still in place", "Tide mill", "W-2231", "Is it the unit?")
	s.says(0, "case|done|CASE|replace_supply_fuse|--drop|well|--proof|two hours under load")
	s.says(0, "case|about|CASE|--call-back|p7")
	s.says(0, "case|show|CASE", "the drop works; watched: two hours under load", "Call back: p7.")
	s.says(4, "case|close|CASE|--cause|supply_fuse_blown|--how|read open", "still in place", "switches_look", "accept")
	s.says(0, "case|take-out|CASE|1")
	s.says(3, "case|accept|CASE|switches_look", "--why")
	s.says(0, "case|accept|CASE|switches_look|--why|read upside down, looked at again")
	s.says(3, "case|close|CASE|--cause|supply_fuse_blown", "--how")
	s.says(4, "case|close|CASE|--cause|supply_fuse_blow|--how|x", "supply_fuse_blown")
	s.says(0, "case|close|CASE|--cause|supply_fuse_blown|--how|read open; well with a new one|--unit|good", "closed")
	s.says(4, "case|close|CASE|--cause|supply_fuse_blown|--how|x", "closed; reopen it first")

	// The same unit, and one that looks like it, and the same place.
	s.says(0, "case|open|--type|biu-2|--serial|b0815", "This unit was here before", first, "the unit was good")
	s.says(0, "case|open|--type|BIU-2|--serial|8OBIS", "read out again")
	s.says(0, "case|open|--location|tide MILL,  sluice|--drop|5", "At this location before", first)
	s.says(0, "case|list", "location not said")
	s.says(0, "case|find|wet cabinet", first, "a fuse in the drop's feed")
	s.says(0, "case|find|--cause|supply_fuse_blown|--csv", first)
	s.says(0, "case|find|--reference|w-2231|--json", "downdrop.case_list/1")
	s.says(0, "case|reopen|"+first+"|--why|dark again", "open")
	s.says(5, "case|show|K7Q4M3", "There is no case")
	s.says(0, "case|show|"+first+"|--entries", "opened")
	s.says(0, "case|join|"+first+"|"+s.code+"|--name|storm", "2 cases")
	s.says(0, "case|wait|CASE|a technician", "waiting for a technician")
	s.says(0, "case|hand-over|CASE|--to|bench", "Nobody has read these settings of the unit as found: address, rate")
	s.says(0, "case|setting|CASE|address=5")
	s.says(0, "case|hand-over|CASE|--to|bench", "address 5 not read", "rate not read not read")
}

// A second exchange at a location within 90 days of one whose unit was good counts for the location;
// before it is made, the first is named.
func TestExchangesCountForTheLocation(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.run(0, "case|open|--location|Lock 4|--drop|2|--type|BIU-2|--serial|A1|--see|power_light=lit")
	s.run(0, "case|done|CASE|exchange_unit|--drop|still_down")
	first := s.code
	s.run(0, "case|close|CASE|--how|tested three days on the bench|--outcome|unit_out|--unit|good")
	s.now = s.now.AddDate(0, 0, 60)
	s.says(0, "case|open|--location|lock 4|--type|BIU-2|--serial|A2", "then found good (case "+first, "look at the location")
	if out := s.run(0, "case|show|CASE"); strings.Contains(out, "Two units exchanged") {
		t.Errorf("one exchange is told as two:\n%s", out)
	}
	s.says(0, "case|dispose|CASE|exchange", "Case")
	s.says(0, "case|show|CASE", "To be done: exchange.", "Two units exchanged here within 90 days", "counts for the location")
	s.says(0, "case|show|CASE|--json", `"for_location": true`)
	s.says(0, "case|open|--location|lock 4|--drop|3", "Case")
	if out := s.run(0, "case|show|CASE"); strings.Contains(out, "found good") {
		t.Errorf("another drop at the same place:\n%s", out)
	}
	s.now = s.now.AddDate(0, 0, 60)
	s.says(0, "case|open|--location|lock 4|--drop|2", "At this location before")
	if out := s.run(0, "case|show|CASE"); strings.Contains(out, "found good") {
		t.Errorf("after 120 days:\n%s", out)
	}
}

// What a remedy for the time being put in stands until it is taken out, in every view and in
// a chart of the case, and the case cannot be closed over it.
func TestWhatStandsInPlaceIsTold(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.run(0, "case|open|--location|Lock 4|--at|field|--see|power_light=lit")
	s.says(0, "case|done|CASE|leave_drop_out_for_now", "Still in place", "1.", "leave this drop out")
	s.run(0, "case|put-in|CASE|loose_wire|shield at terminal 7|--until|the ohms are read")
	for _, view := range []string{"case|show|CASE", "case|show|CASE|--settings", "case|hand-over|CASE|--to|bench", "chart|--case|CASE|--places|3", "chart|--case|CASE|--places|3|--json", "chart|--case|CASE|--places|3|--html"} {
		s.says(0, view, "loose wire, shield at terminal 7", "leave this drop out")
	}
	if out := s.run(0, "chart|--case|CASE|--places|3"); strings.Count(strings.Join(strings.Fields(out), " "), "leave this drop out") != 1 {
		t.Errorf("told twice:\n%s", out)
	}
	s.says(4, "case|close|CASE|--how|x|--outcome|nothing_found", "leave this drop out", "shield at terminal 7")
	s.run(0, "case|take-out|CASE|1")
	s.run(0, "case|take-out|CASE|1")
	if out := s.run(0, "chart|--case|CASE|--places|3"); strings.Contains(out, "STILL IN PLACE") {
		t.Errorf("taken out:\n%s", out)
	}
	s.says(5, "chart|--case|K7Q4M3", "no case")
	s.says(3, "chart|--case|CASE|x.yaml", "not of both")
}

func TestWhatACaseCost(t *testing.T) {
	s := newShop(t)
	s.run(0, "case|open|--location|Lock 4")
	s.says(0, "case|cost|CASE|visit=180.00 EUR|parts=12.40 EUR", "visit: 180.00 EUR", "in all 192.40 EUR")
	s.says(0, "case|cost|CASE|exchange=1000 CHF", "in all 1000 CHF", "in all 192.40 EUR")
	s.says(0, "case|show|CASE|--json", `"amount": "192.40"`)
	s.says(4, "case|cost|CASE|visit=180,00 EUR", "the decimal sign is a point")
	s.says(3, "case|cost|CASE|180.00 EUR", "no amount")
	s.says(3, "case|dispose|CASE|drown", "cannot be done")
	s.says(0, "case|about|CASE|--type|BIU-2|--serial|B0815", "serial B0815")
	s.says(3, "case|about|CASE", "Say what it is about")
}

func TestACaseThatIsHandedOverAsksNothingAgain(t *testing.T) {
	phone, field := newShop(t), newShop(t)
	field.store = storetest.NewModel("field")
	phone.run(0, "case|open|--location|Weir house|--see|power_light=lit|--see|switches_look=as_drawn|--at|phone")
	text := phone.run(0, "case|hand-over|CASE|--to|field")
	events, _, err := cases.ReadHandOver(text)
	if err != nil {
		t.Fatal(err)
	}
	if len(events) != 5 {
		t.Errorf("%d events", len(events))
	}
	file := t.TempDir() + "/mail.txt"
	writeText(t, file, "Dear colleague,\n\n"+text+"\n\nBye\n")
	field.says(0, "case|receive|"+file, "Taken in: 5 entries", "Weir house")
	field.says(0, "case|receive|"+file, "0 entries; 5 were here already")
	field.code = phone.code
	if a, b := phone.run(0, "case|show|CASE|--as-case"), field.run(0, "case|show|CASE|--as-case"); a != b || !strings.Contains(a, "power_light") {
		t.Errorf("the field knows something else:\n%s\n%s", a, b)
	}
	field.run(0, "case|see|CASE|switches_look=rate_differs")
	text = field.run(0, "case|hand-over|CASE|--to|phone")
	writeText(t, file, text)
	phone.says(0, "case|receive|"+file, "Taken in: 2 entries; 5 were here already")
}

func writeText(t *testing.T, file, text string) {
	t.Helper()
	if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
}

// What is said in the conversation is in the store at once; whoever is cut off has lost
// nothing, and going on asks nothing again.
func TestTalkKeepsEveryAnswer(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.run(0, "case|open|--location|Weir house|--at|phone")
	talk := func(entries string) string {
		var out bytes.Buffer
		env := newEnvironment()
		env.in, env.out, env.err, env.terminal = strings.NewReader(entries), &out, &out, true
		env.width = func() int { return 80 }
		env.variable = func(string) string { return "" }
		env.store = func(context.Context, *environment, string) (cases.Store, error) { return s.store, nil }
		if code := run(context.Background(), env, []string{"case", "talk", s.code}); code != 0 {
			t.Errorf("exit %d\n%s", code, out.String())
		}
		return out.String()
	}
	if out := talk("power light dark\n"); !strings.Contains(out, "kept with the case") || strings.Contains(out, "Nothing was saved") {
		t.Errorf("cut off:\n%s", out)
	}
	s.says(0, "case|show|CASE|--as-case", "power_light, value: dark")
	if out := talk("known\nundo\nstop\n"); !strings.Contains(out, "power light: dark") {
		t.Errorf("gone on:\n%s", out)
	}
	s.says(0, "case|show|CASE|--entries", "finding", "ranking", "proposed")

	// Settings are asked for before the drop is restarted, and what was read is kept at once.
	out := talk("technician at the drop, with everything, not alone; loss_of_bus=off; classified_area=no\ndo restart_drop\n5\n9600\n--\n")
	if !strings.Contains(out, "as found") || !strings.Contains(out, "rate as found: 9600") {
		t.Errorf("settings:\n%s", out)
	}
	s.says(0, "case|show|CASE", "address 5 not read", "rate 9600 not read", "terminator not read not read")
	// On another day it goes on where it stood: what was read or passed over is not asked again.
	if out := talk("do restart_drop\n"); strings.Contains(out, "address is the unit set") || strings.Contains(out, "terminator") || !strings.Contains(out, "Restart the drop") {
		t.Errorf("asked again:\n%s", out)
	}

	// What is put in for the time being stands at the head of the next talk, and is out when that was undone.
	out = talk("done leave_drop_out_for_now, still down\nquit\n")
	if strings.Count(out, "Still in place") != 1 {
		t.Errorf("put in:\n%s", out)
	}
	if out := talk("quit\n"); strings.Count(out, "Still in place") != 2 {
		t.Errorf("gone on:\n%s", out)
	}
	talk("done borrow_unit_for_now, still down\nundo\nquit\n")
	s.says(0, "case|put-in|CASE|jumper|3 and 4", "1. skipped drop, for", "2. jumper, 3 and 4")
}

// What happened at a drop is remembered however much has happened at the same location since; and a list that is
// cut says so.
func TestNothingIsForgottenBehindFiftyCases(t *testing.T) {
	s := newShop(t)
	s.run(0, "case|open|--location|Lock 4|--drop|2|--type|BIU-2|--serial|A1|--complaint|the first one")
	first := s.code
	s.run(0, "case|close|CASE|--how|tested three days on the bench|--outcome|unit_out|--unit|good")
	for drop := 3; drop < 60; drop++ {
		s.run(0, fmt.Sprintf("case|open|--location|Lock 4|--drop|%d|--type|BIU-9|--serial|A-1", drop))
	}
	s.says(0, "case|open|--location|lock 4|--drop|2", "At this location before", first, "then found good (case "+first)
	s.says(0, "case|open|--type|BIU-2|--serial|A1", "This unit was here before", first)
	s.says(0, "case|list", "There are more: these are the 50")
	s.says(0, "case|list|--limit|59", "Lock 4")
	if out := s.run(0, "case|list|--limit|59"); strings.Contains(out, "There are more") {
		t.Error("all are listed, and more are said to be")
	}
	if out := s.run(0, "case|list|--all|--limit|0|--csv"); strings.Count(out, "\n") != 61 { // with its head
		t.Errorf("%d lines", strings.Count(out, "\n"))
	}
	s.says(3, "case|list|--limit|-1", "--limit")
}

// appending counts what is written to a store at once.
type appending struct {
	cases.Store
	batches [][]cases.Draft
}

func (a *appending) Append(ctx context.Context, drafts ...cases.Draft) ([]cases.Event, error) {
	a.batches = append(a.batches, drafts)
	return a.Store.Append(ctx, drafts...)
}

// Cases are joined all of them or none, whenever the program is ended.
func TestCasesAreJoinedAtOnce(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	var codes []string
	for range 3 {
		s.run(0, "case|open|--location|Tide mill")
		codes = append(codes, s.code)
	}
	a := &appending{Store: s.store}
	s.store = a
	s.says(0, "case|join|"+strings.Join(codes, "|")+"|--name|storm", "3 cases")
	if len(a.batches) != 1 || len(a.batches[0]) != 3 {
		t.Errorf("%d batches were written", len(a.batches))
	}
	for _, code := range codes {
		s.says(0, "case|show|"+code, "storm")
	}
}

// A case that came from another place may have the code of one that is here: neither is then taken for the other.
func TestTwoCasesOfOneCode(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.run(0, "case|open|--location|Tide mill")
	c, err := s.store.Case(context.Background(), s.code)
	if err != nil {
		t.Fatal(err)
	}
	other := storetest.NewModel("quarry")
	d := cases.Say(cases.KindOpened, cases.Opening{Code: s.code, Location: "Lock 4"})
	d.ID, d.Subject, d.At = "theirs", cases.Subject{Kind: cases.AboutCase, ID: "their-case"}, s.now
	if _, err := other.Append(context.Background(), d); err != nil {
		t.Fatal(err)
	}
	if _, err := s.store.Import(context.Background(), other.All(context.Background())); err != nil {
		t.Fatal(err)
	}
	s.says(4, "case|note|CASE|the key is with the miller", "names more than one case here", "their-case", c.ID)
	s.says(0, "case|note|their-case|the key is with the keeper", "kept")
	s.says(0, "case|show|"+c.ID, "Tide mill")
	if out := s.run(0, "case|show|"+c.ID); strings.Contains(out, "keeper") {
		t.Error("the note went to the other case")
	}
}
