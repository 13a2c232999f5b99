package main

import (
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/testdata/support"
)

const shopPrices = "../../cases/examples/prices/shop.yaml"

func TestAUnitFromTheDoorToItsRelease(t *testing.T) {
	s := newShop(t)
	s.says(0, "case|open|--location|Weir house|--drop|5|--type|BIU-2|--serial|B0815|--complaint|silent since the storm|--at|phone|--see|power_light=dark")
	s.says(0, "case|setting|CASE|address=5|rate=153.6k")
	s.says(3, "unit|return-note|CASE|--statement|clean", "not_exposed")
	s.says(3, "unit|return-note|CASE|--statement|decontaminated", "--cleaned")
	s.says(0, "unit|return-note|CASE", "WARNING", "silent since the storm", "153.6k", "not read", "[ ] It was not exposed", "antistatic")
	s.says(0, "unit|return-note|CASE|--statement|not_exposed|--packed|the unit alone|--json", `"downdrop.return_note/1"`, `"the unit alone"`)
	s.says(0, "unit|return-note|CASE", "The sender states: it was not exposed", "in the box: the unit alone")

	s.says(3, "unit|receive|BIU-2|B0815", "--by")
	s.says(0, "unit|receive|BIU-2|B0815|--from|customer-7|--condition|two pins bent|--by|p1", "BIU-2 serial B0815 is received", s.code, "silent since the storm", "not exposed", "return note of case")
	s.says(4, "unit|receive|BIU-2|b0815|--by|p1", "already")
	s.says(4, "unit|move|B0815|released|--why|hurry|--unit|good|--by|p1", "does not go from received to released", "evaluated")
	s.says(3, "unit|move|B0815|evaluated|--why|no rail|--by|p1|--unit|broken", "not_proven")
	s.says(3, "unit|move|B0815|evaluated|--unit|bad|--by|p1", "--why")
	s.says(3, "unit|move|B0815|mended|--why|x|--by|p1", "no state")
	s.says(4, "unit|move|B0815|evaluated|--why|no rail|--by|p1", "--unit")
	s.says(0, "unit|move|B0815|evaluated|--why|no rail|--unit|bad|--record|2031-112|--by|p1", "evaluated")
	s.says(4, "unit|repair|B0815|supply|--did|x|--as|rework|--by|p1", "in repair")
	s.says(3, "unit|offer|B0815|"+shopPrices+"|--until|2031-05-01|--by|p1", "gone by")
	s.says(0, "unit|offer|B0815|"+shopPrices+"|--until|2031-06-10|--by|p1|--note|Invented figures", "[ ] Have the unit repaired: 640.00 XTS", "12 months", "holds up to 10 June 2031", "Invented figures. Invented, all of it.")
	s.says(0, "decide|"+shopPrices+"|--unit|B0815|--json", `"mean": "1858.13"`) // as the exchange was offered
	s.says(0, "unit|move|B0815|awaiting_customer|--why|offer sent|--by|p1")
	s.says(4, "unit|move|B0815|in_repair|--why|go|--by|p1", "not answered")
	s.now = s.now.Add(4 * 24 * time.Hour)
	s.says(0, "case|show|CASE", "BIU-2 serial B0815 is awaiting the customer") // whoever asks by the case is told
	s.says(0, "unit|list", "Awaiting the customer, 1 unit:", "4 days", "the offer holds up to 10 June 2031")
	s.says(3, "unit|answer|B0815|scrap|--by|p1", "not offered")
	s.says(0, "unit|answer|B0815|repair|--how|by phone|--order|4711|--by|p2")
	s.says(0, "unit|move|B0815|in_repair|--why|agreed|--by|p1")
	s.says(0, "unit|repair|B0815|supply|--did|rail regulator renewed|--as|rework|--part|2 x capacitor@lot 17|--solder|leaded|--minutes|40|--by|p1")
	s.says(3, "unit|repair|B0815|supply|--did|x|--as|mended|--by|p1", "rework")
	s.says(4, "unit|move|B0815|released|--why|done|--by|p1", "in test")
	s.says(0, "unit|move|B0815|in_test|--why|repaired|--by|p1")
	s.says(0, "unit|move|B0815|released|--why|acceptance passed|--record|2031-118|--by|p2", "released")
	s.says(0, "unit|show|b0815", "in the house for 4 days", "rail regulator renewed", "renewed 2 x capacitor, from lot 17", "chosen to have the unit repaired", "order 4711", "acceptance passed; record 2031-118", "It has left.")
	s.says(0, "unit|show|B0815|--json", `"schema": "downdrop.unit/1"`, `"answer": "repair"`)
	s.says(0, "unit|show|B0815|--entries", "1. ", "moved by p1")
	s.says(0, "unit|list", "No unit is in the shop.")
	s.says(0, "unit|list|--all", "Released, 1 unit:")
	s.says(0, "unit|list|released|--csv", "days_in_state")

	// It comes back within 90 days, proves good, and the month says so.
	s.now = s.now.Add(20 * 24 * time.Hour)
	s.says(0, "unit|receive|BIU-2|B0815|--by|p1", "It was here before:", "released")
	s.says(4, "unit|move|B0815|evaluated|--why|tested|--unit|good|--by|p1", "stated")
	s.says(3, "unit|statement|B0815|decontaminated|--by|p1", "--cleaned")
	s.says(0, "unit|statement|B0815|contaminated|--exposed-to|cutting oil|--by|p1")
	s.says(4, "unit|move|B0815|evaluated|--why|tested|--unit|good|--by|p1", "quarantine")
	s.says(0, "unit|move|B0815|quarantined|--why|oily|--by|p1")
	s.says(0, "unit|statement|B0815|decontaminated|--exposed-to|cutting oil|--cleaned|degreased|--by|p1")
	s.says(0, "unit|move|B0815|evaluated|--why|tested|--unit|not_proven|--by|p1")
	s.says(3, "unit|offer|B0815|"+shopPrices+"|--until|2031-12-01|--by|p1", "--bad")
	s.says(0, "unit|offer|B0815|"+shopPrices+"|--until|2031-12-01|--bad|30%|--by|p1", "Put the unit back as it is: 120.00 XTS")
	s.says(0, "unit|answer|B0815|declined|--by|p1")
	s.says(4, "unit|move|B0815|in_repair|--why|go|--by|p1", "declined")
	s.says(4, "unit|move|B0815|released|--why|out|--by|p1", "--consent")
	// The verdict is put right where it stands; what rests on it cannot be taken from under it.
	out := s.run(0, "unit|show|B0815|--entries")
	n := regexp.MustCompile(`(\d+)\. \S+ \S+ moved by p1, bench \{"to": "evaluated", "verdict": "not_proven"`).FindStringSubmatch(strings.Join(strings.Fields(out), " "))
	if n == nil {
		t.Fatalf("no such entry in\n%s", out)
	}
	s.says(0, "unit|move|B0815|evaluated|--why|tested, read again|--unit|good|--by|p2|--instead-of|"+n[1])
	s.says(0, "unit|move|B0815|released|--why|no fault found|--by|p1")
	s.says(4, "unit|take-back|B0815|"+n[1]+"|--why|wrong|--by|p1", "no longer counts")
	s.says(4, "unit|take-back|B0815|18|--why|wrong|--by|p1", "Entry 19 rests on it")
	s.says(4, "unit|take-back|B0815|99|--why|wrong|--by|p1", "no entry 99")
	s.says(4, "unit|move|B0815|evaluated|--why|x|--by|p1|--instead-of|1", "says received")
	s.says(0, "unit|note|B0815|the housing|was opened before|--by|p1")
	s.says(0, "unit|month|2031-06", "BIU-2", "of them back within 90 days 1", "no fault found 1 (50%)", "days in the house 2.1")
	s.says(0, "unit|month|2031-06|--json", `"schema": "downdrop.shop_month/1"`, `"no_fault_found": 1`)
	s.says(0, "unit|month|2031-06|--csv", "all types,1,1,2,1,1,0,0,2")
	s.says(0, "unit|month|2031-01", "Nothing came in")
	s.says(3, "unit|month|June", "2031-05")
	s.says(5, "unit|show|B081S", "BIU-2/B0815")
	s.says(5, "unit|show|X99", "no unit")
}

// What looks like another serial is asked about, never assumed.
func TestASerialThatLooksLikeAnother(t *testing.T) {
	s := newShop(t)
	s.says(0, "case|open|--location|Weir house|--type|BIU-2|--serial|BO815")
	s.says(8, "unit|receive|BIU-2|80815|--by|p1", "BO815", "--as-read", "nothing was taken in")
	s.says(0, "unit|list", "No unit")
	out := s.run(0, "unit|receive|BIU-2|80815|--by|p1|--as-read")
	if strings.Contains(out, s.code) {
		t.Errorf("it was linked to a case that only looks like it:\n%s", out)
	}
	s.says(4, "unit|receive|BIU-2|80815|--by|p1", "in the shop already") // and nothing is asked
	s.says(8, "unit|receive|BIU-2|8O815|--by|p1", "Here before: BIU-2/80815", "BO815")
	s.says(0, "unit|receive|BIU-2|8O815|--by|p1|--as-read|--case|CASE", s.code)
	s.says(5, "unit|receive|BIU-2|X1|--by|p1|--case|ZZZZZZ", "no case")
	// The same serial of two types.
	s.says(8, "unit|receive|BIU-3|80815|--by|p1", "BIU-2/80815")
	s.says(0, "unit|receive|BIU-3|80815|--by|p1|--as-read")
	s.says(3, "unit|show|80815", "BIU-2/80815, BIU-3/80815")
	s.says(0, "unit|show|biu-3/80815", "BIU-3 serial 80815")
	// At a terminal it asks.
	s.answers = "maybe\nn\nn\nn\ny\n"
	s.says(0, "unit|receive|BIU-4|S0815|--by|p1") // 5 and S: nothing looks like it
	s.says(0, "unit|receive|BIU-2|B0815|--by|p1", "Is it that unit? (y/n)", "Does the unit belong to it?", s.code)
}

// The verdict of a bench record is taken from it, and not typed twice.
func TestAMoveRestsOnItsRecord(t *testing.T) {
	s := newShop(t)
	record := func(id, number string, issue int, verdict string) {
		d := cases.Say(cases.KindRecord, cases.Record{Number: number, Issue: issue, Digest: "d", Head: "h", Verdict: verdict})
		d.ID, d.Subject, d.At = id, cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(cases.Unit{Type: "BIU-2", Serial: "B0815"})}, s.now
		if _, err := s.store.Append(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	record("r1", "R-1", 1, cases.UnitGood)
	s.says(0, "unit|list|--all", "No unit is in the shop.") // known by a record, and never received
	s.says(0, "unit|show|B0815", "not in the shop", "R-1, issue 1: the unit is good")
	s.says(4, "unit|move|B0815|evaluated|--why|x|--unit|good|--by|p1", "never received")
	record("r2", "R-1", 2, cases.UnitBad)
	s.says(0, "unit|receive|BIU-2|B0815|--by|p1")
	s.says(0, "unit|statement|B0815|not_exposed|--by|p1")
	s.says(4, "unit|move|B0815|evaluated|--why|acceptance|--unit|good|--record|R-1|--by|p1", "issue 2, says that the unit is bad")
	s.says(0, "unit|move|B0815|evaluated|--why|acceptance|--record|r-1|--by|p1")
	s.says(0, "unit|show|B0815", "As it came in, the unit is bad", "record R-1", "Bench records:")
	s.says(0, "unit|show|B0815|--json", `"number": "R-1"`)
	s.says(0, "unit|move|B0815|in_test|--why|soak|--by|p1")
	s.says(4, "unit|move|B0815|released|--why|x|--record|R-1|--by|p1", "not released on that")
	record("r3", "R-2", 1, cases.UnitGood)
	s.says(0, "unit|move|B0815|released|--why|passed|--record|R-2|--by|p1", "released")
	s.says(0, "unit|show|B0815", "As it came in, the unit is bad")
}

// A list of returns is looked up where asked for; a row that may be spoilt is not.
func TestTriageLooksUpWhatWasHere(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	s.says(0, "unit|receive|BIU-2|B0815|--by|p1")
	s.says(0, "unit|statement|B0815|not_exposed|--by|p1")
	s.says(0, "unit|move|B0815|evaluated|--why|tested|--unit|good|--by|p1")
	s.says(0, "unit|move|B0815|released|--why|no fault found|--by|p1")
	s.says(0, "case|open|--location|Weir house|--type|BIU-2|--serial|C77")
	list := filepath.Join(t.TempDir(), "list.csv")
	if err := os.WriteFile(list, []byte("serial,complaint\nB0815,power light dark\nBO815,power light dark\nC77,dead\nX1,dead\n1.2E+11,dead\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	s.says(1, "triage|"+list+"|--look-up", "before: BIU-2 serial B0815 came in on 28 May 2031, and was released on 28 May 2031; then it was good: no fault found.",
		"before: Easily taken for BIU-2/B0815, which was here", "before: Case "+s.code, "ask: Read the serial from the plate again")
	if out := s.run(1, "triage|"+list+"|--look-up|--json"); strings.Count(out, `"before":[]`) != 2 {
		t.Errorf("X1 and the spoilt row have nothing before:\n%s", out)
	}
	if out := s.run(1, "triage|"+list); strings.Contains(out, "before:") {
		t.Errorf("looked up though nobody asked:\n%s", out)
	}
}

// A decision on what the store knows counts what it remembers of serial and place.
func TestDecideOnWhatTheStoreKnows(t *testing.T) {
	support.Alone(t)
	s := newShop(t)
	sheet := shopPrices
	open := "case|open|--location|Weir house|--drop|5|--type|BIU-2|--serial|B0815|--at|bench"
	for range 2 {
		s.says(0, open)
		s.says(0, "case|close|CASE|--how|exchanged|--outcome|unit_out|--unit|good")
	}
	s.says(0, "case|open|--location|Weir house|--drop|5|--type|BIU-2|--serial|C1|--at|bench")
	s.says(0, "case|close|CASE|--how|exchanged|--outcome|unit_out|--unit|bad")
	s.says(0, "case|open|--location|Weir house|--drop|6|--type|BIU-2|--serial|C2|--at|bench")
	s.says(0, "case|close|CASE|--how|exchanged|--outcome|unit_out|--unit|bad")
	s.says(0, open+"|--see|power_light=dark")
	// Two of the serial, three from the drop: the fourth place is another drop.
	s.says(0, "decide|"+sheet+"|--kept|CASE|--bad|50%", "Earlier returns: 2 of this serial, 3 from this location", "from 0.5 to 0.529")
	s.says(0, "decide|"+sheet+"|--kept|CASE|--json", `"serial_returns": 2`, `"place_returns": 3`, `"pulled": true`)
	s.says(0, "case|see|CASE|returned_before=true")
	s.says(0, "decide|"+sheet+"|--kept|CASE|--json", `"serial_returns": 0`, `"place_returns": 3`)
	s.says(3, "decide|"+sheet+"|--kept|CASE|--returns-of-place|1", "looked up")
	s.says(3, "decide|"+sheet+"|--kept|CASE|--unit|B0815", "one place")
	s.says(3, "decide|"+sheet+"|--kept|CASE|--at|bench", "knows where")
	s.says(5, "decide|"+sheet+"|--kept|ZZZZZZ", "no case")
	s.says(0, "unit|receive|BIU-2|B0815|--revision|E|--by|p1")
	s.says(3, "decide|"+sheet+"|--unit|B0815", "--bad")
	// The two closed cases and the open one all belong to this stay: none of them is earlier.
	s.says(0, "decide|"+sheet+"|--unit|B0815|--bad|50%|--json", `"serial_returns": 0`, `"why": "revision"`, `"detail": "E"`)
	s.says(0, "unit|statement|B0815|not_exposed|--by|p1")
	s.says(0, "unit|move|B0815|evaluated|--unit|bad|--why|no rail|--by|p1")
	s.says(0, "decide|"+sheet+"|--unit|B0815|--json", `"bad": "1"`)
}
