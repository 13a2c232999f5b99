package report

import (
	"encoding/json"
	"math/big"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/triage"
	"downdrop/engine/decide"
	"downdrop/engine/ways"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// noon is a day in the life of the cases below, which are invented.
var noon = time.Date(2031, time.May, 20, 12, 0, 0, 0, time.UTC)

func event(kind cases.Kind, by string, body any) cases.Event {
	data, err := json.Marshal(body)
	if err != nil {
		panic(err)
	}
	return cases.Event{Draft: cases.Draft{At: noon, Kind: kind, By: by, Body: data}}
}

func TestPricesAreSpokenOf(t *testing.T) {
	p := &rulebase.Prices{Name: "Mill prices", Currency: "EUR", Decimals: 2}
	rat := big.NewRat
	way := func(kind ways.Kind, mean int64) ways.Way { return ways.Way{Kind: kind, Mean: rat(mean, 1)} }
	decision := func(change func(*ways.Decision)) *ways.Decision {
		d := &ways.Decision{Prices: p, Bad: rat(1, 2), Case: ways.Case{Bad: rat(1, 2)}, Tied: 1, Near: 1,
			Ways: []ways.Way{way(ways.Repair, 500), way(ways.Exchange, 505)}, Perfect: rat(100, 1), Known: rat(40, 1), Planned: rat(450, 1)}
		change(d)
		return d
	}
	as := decision(func(*ways.Decision) {})
	tested := func(worth, net int64) string {
		return sayTested(decision(func(d *ways.Decision) {
			d.Tests = []ways.Tested{{Test: &rulebase.PricedTest{Name: "Bench check", Minutes: rat(30, 1)}, Cost: rat(20, 1), Worth: rat(worth, 1), Net: rat(net, 1),
				Bad: decide.Result{}, Good: decide.Result{}}}
		}), 0)
	}
	turn := func(name string, form rulebase.PriceForm, now, at *big.Rat) string {
		return sayTurnOf(p, ways.Turn{Name: name, Form: form, Now: now, At: at, Way: ways.Exchange})
	}
	first := func(change func(*ways.Decision)) string {
		return sayFirst(decision(func(d *ways.Decision) {
			d.Tests = []ways.Tested{{Test: &rulebase.PricedTest{Name: "Bench check"}}, {Test: &rulebase.PricedTest{Name: "Soak"}}}
			change(d)
		}))
	}
	joined := func(lines []string) string { return strings.Join(lines, " | ") }
	support.Says(t, [][2]string{
		{sayDecision(as), "Mill prices. The chance that the unit is bad: about 5 in 10 (0.5)."},
		{threePlaces(rat(2, 1)), "2"},
		{threePlaces(rat(1, 10)), "0.1"},
		{threePlaces(rat(1, 3)), "0.333"},
		{percentOf(rat(1, 3)), "33.3 %"},
		{percentOf(rat(1, 2)), "50 %"},
		{sayBestWay(as), "Cheapest: have the unit repaired, 500.00 EUR on the mean."},
		{sayBestWay(decision(func(d *ways.Decision) { d.Ways = d.Ways[:1] })), "There is one way only: have the unit repaired, 500.00 EUR on the mean."},
		{sayBestWay(decision(func(d *ways.Decision) { d.Tied = 2 })), "A tie: these cost exactly the same, 500.00 EUR on the mean: have the unit repaired; exchange the unit. Let what has no price decide."},
		{sayNearlyTied(as), ""},
		{sayNearlyTied(decision(func(d *ways.Decision) { d.Near = 2 })), "Nearly the same: exchange the unit (5.00 EUR more). So small a difference is within what prices and chances are known to."},
		{sayNearlyTied(decision(func(d *ways.Decision) { d.Near, d.Tied = 2, 2 })), ""},
		{sayParts(p, ways.Cost{rat(5, 1), rat(0, 1), nil, rat(7, 2)}), "goods and work 5.00, freight 3.50"},
		{turn("repair.price", rulebase.MoneyAmount, rat(500, 1), rat(600, 1)), "the repair, now 500.00 EUR: above 600.00 EUR it is cheaper to exchange the unit"},
		{turn("repair.hours", rulebase.HoursAmount, rat(50, 1), rat(5, 2)), "the hours of a repair, now 50 h: below 2.5 h it is cheaper to exchange the unit"},
		{turn("repair.works", rulebase.ShareAmount, rat(1, 2), rat(1, 2)), "the chance that the repair works, now 0.5: above 0.5 it is cheaper to exchange the unit"},
		{turn("downtime.per_hour", rulebase.MoneyAmount, rat(0, 1), rat(6, 1)), "an hour of downtime, now not known: above 6.00 EUR it is cheaper to exchange the unit"},
		{sayStretch(ways.Stretch{From: rat(0, 1), To: rat(1, 4), Ways: []ways.Kind{ways.PutBack}}), "0 to 0.25: put the unit back as it is"},
		{sayStretch(ways.Stretch{From: rat(1, 4), To: rat(1, 1), Ways: []ways.Kind{ways.Repair, ways.Exchange}}), "0.25 to 1: have the unit repaired, or at the same cost exchange the unit"},
		{joined(sayKnowing(as)), "To be told for sure what is wrong: worth up to 100.00 EUR. | To be told no more than whether it is the unit: worth up to 40.00 EUR."},
		{joined(sayKnowing(decision(func(d *ways.Decision) { d.Known = d.Perfect }))), "To be told for sure whether it is the unit, and how bad: worth up to 100.00 EUR."},
		{joined(sayKnowing(decision(func(d *ways.Decision) { d.Known = rat(0, 1) }))), "To be told for sure what is wrong: worth up to 100.00 EUR. | To be told no more than whether it is the unit: nothing, it would not change what is done."},
		{joined(sayKnowing(decision(func(d *ways.Decision) { d.Perfect, d.Known = rat(0, 1), rat(0, 1) }))), "Nothing: whatever turned out to be wrong, the same would be done."},
		{tested(0, -20), "Bench check (30 min): costs 20.00 EUR, worth nothing: whatever it shows, the same is done."},
		{tested(10, -10), "Bench check (30 min): costs 20.00 EUR, worth up to 10.00 EUR to know: not worth its time."},
		{tested(20, 0), "Bench check (30 min): costs 20.00 EUR, worth exactly that: a tie, do it or leave it."},
		{tested(30, 10), "Bench check (30 min): costs 20.00 EUR, worth up to 30.00 EUR to know: worth its time."},
		{sayFirst(as), ""},
		{first(func(*ways.Decision) {}), "No test on the sheet is worth doing first, not even with another behind it."},
		{first(func(d *ways.Decision) { d.First = []int{1} }), "Begin with Soak: with what it shows, and further tests where they pay, all costs 450.00 EUR on the mean."},
		{first(func(d *ways.Decision) { d.First, d.Planned = []int{1, 0}, rat(500, 1) }), "Begin with Soak or Bench check, or leave it: both cost the same on the mean."},
		{sayShelf(as), ""},
		{sayLimit(as), ""},
		{sayLimit(decision(func(d *ways.Decision) { d.RepairIs, d.RepairMay = rat(3, 5), rat(3, 5) })), "A repair comes to 60 % of the cheapest unit to be had, its chance to work included; up to 60 % is held to be economical."},
		{sayLimit(decision(func(d *ways.Decision) { d.RepairIs, d.RepairMay = rat(61, 100), rat(3, 5) })), "A repair comes to 61 % of the cheapest unit to be had, its chance to work included; that is beyond the 60 % that it should cost at most."},
		{sayHistory(as), ""},
		{sayHistory(decision(func(d *ways.Decision) { d.Case.SerialReturns = 1 })), "Earlier returns: 1 of this serial, 0 from this location. By the odds of the sheet they do not move the chance."},
		{sayHistory(decision(func(d *ways.Decision) { d.Case.SerialReturns, d.Case.LocationReturns = 1, 1 })), "Earlier returns: 1 of this serial, 1 from this location. By the odds of the sheet they do not move the chance."},
		{sayHistory(decision(func(d *ways.Decision) { d.Case.LocationReturns, d.Case.Bad = 2, rat(1, 4) })), "Earlier returns: 0 of this serial, 2 from this location. They move the chance that the unit is bad from 0.25 to 0.5, by the odds of the sheet."},
		{SayNoReplacement(p, ways.NoReplacement{Withheld: []ways.Withheld{{Kind: ways.Exchange, Why: ways.NoExchange}, {Kind: ways.New, Why: ways.NotMade}}}), "The sheet Mill prices has nothing that can take the unit's place if it is beyond repair, so that nothing can be decided (exchange the unit: there is no exchange unit to be had; buy a new unit: it is no longer made). Write what there is into the sheet."},
	})
	for _, why := range []ways.Why{ways.NotOnSheet, ways.InShop, ways.AtDrop, ways.NoSiteTest, ways.NoExchange, ways.NoSpare, ways.NotMade, ways.NoRevision, ways.NoModule} {
		if strings.HasSuffix(sayNotToBeHad(ways.Withheld{Kind: ways.New, Why: why}), ": ") {
			t.Errorf("nothing is said of a way that is not to be had because %s", why)
		}
	}
}

func TestStoresAreSpokenOf(t *testing.T) {
	heads := map[string]cases.Head{"b": {Seq: 2, Hash: "b2"}, "a": {Seq: 9, Hash: "a9"}}
	m := cases.Manifest{Site: "a", Events: 1, Files: 2, Names: 0}
	imported := &cases.ImportReport{Manifest: m, Imported: cases.Imported{Added: 3, Known: 1}, Files: 1, Names: 2}
	support.Says(t, [][2]string{
		{(&Store{Where: "/s"}).Text(), "The cases will be kept in /s.\nIt is not there yet, and is made when the first one is opened.\n"},
		{(&Store{Where: "/s", There: true, Site: "a", Events: 11, Heads: heads}).Text(), "The cases are kept in /s.\nIt writes as site a and holds 11 events of 2 sites.\n"},
		{(&Store{Where: "/s", There: true, Site: "a", Events: 1, Heads: map[string]cases.Head{"a": {}}, ReadOnly: "It was moved."}).Text(), "The cases are kept in /s.\nIt writes as site a and holds 1 event of 1 site.\nIt was moved. Nothing can be added.\n"},
		{VerifiedText("/s", &cases.Verified{Events: 11, Cases: 1, Files: 2, Heads: heads}), "/s is whole: 11 events, 1 case and 2 files.\nSite a ends with event 9, hash\n  a9.\nSite b ends with event 2, hash\n  b2.\n"},
		{VerifiedText("/s", &cases.Verified{Damage: []cases.Damage{{What: "Event 3 is not what was written.", Cases: []string{"c2", "c1"}}, {What: "A table is torn."}}}), "/s is damaged. Looked over: 0 events, 0 cases and 0 files.\n- Event 3 is not what was written.\n- A table is torn.\nTouched: c1, c2.\nOf some of it no case can be named.\nOther cases can be read and exported as ever. \"downdrop store backup --salvage FILE\" saves all that can be read; \"downdrop store restore\" brings a copy back into a new store.\n"},
		{VerifiedText("/s", &cases.Verified{Damage: []cases.Damage{{What: "A table is torn."}, {What: "Event 3 is not what was written.", Cases: []string{"c2"}}}}), "/s is damaged. Looked over: 0 events, 0 cases and 0 files.\n- A table is torn.\n- Event 3 is not what was written.\nTouched: c2.\nOf some of it no case can be named.\nOther cases can be read and exported as ever. \"downdrop store backup --salvage FILE\" saves all that can be read; \"downdrop store restore\" brings a copy back into a new store.\n"},
		{VerifiedText("/s", &cases.Verified{Damage: []cases.Damage{{What: "Event 3 is not what was written.", Cases: []string{"c2"}}}}), "/s is damaged. Looked over: 0 events, 0 cases and 0 files.\n- Event 3 is not what was written.\nTouched: c2.\nOther cases can be read and exported as ever. \"downdrop store backup --salvage FILE\" saves all that can be read; \"downdrop store restore\" brings a copy back into a new store.\n"},
		{VerifiedText("/s", &cases.Verified{Damage: []cases.Damage{{What: "A table is torn."}}}), "/s is damaged. Looked over: 0 events, 0 cases and 0 files.\n- A table is torn.\nOf some of it no case can be named.\nOther cases can be read and exported as ever. \"downdrop store backup --salvage FILE\" saves all that can be read; \"downdrop store restore\" brings a copy back into a new store.\n"},
		{BackedUp("f", &m), "f holds 1 event, 2 files and 0 names.\n"},
		{Restored("f", "/s", imported), "/s now holds what was in f: 4 events, 1 file and 2 names. It goes on as site a; the store that the copy was made of must not be written any more.\n"},
		{Moved("/s", "/t", imported), "/t now holds all of /s: 1 event, 2 files and 0 names, and an export of it is the same, byte for byte.\nName it from now on with --store or DOWNDROP_STORE. The old store stays where it is and can only be read.\n"},
	})
}

func TestListsOfReturnsAreSpokenOf(t *testing.T) {
	notes := func(s triage.Summary) string { return strings.Join(TriageNotes(&s), " | ") }
	support.Says(t, [][2]string{
		{sayTriageRow(&triage.Row{Line: 3}), "line 3"},
		{sayTriageRow(&triage.Row{Line: 3, Serial: "12", Place: "mill", Complaint: "dead"}), "line 3, serial 12, mill: \"dead\""},
		{sayTriageOpinion(&triage.Row{Good: 0.5, BenchMin: 20}), "The chance that the unit is good: about 5 in 10; bench: about 20 minutes."},
		{sayTriageOpinion(&triage.Row{Good: 0.5, LikelySays: "a blown fuse", Outcome: string(rulebase.UnitOut), BenchMin: 20}), "The chance that the unit is good: about 5 in 10; likeliest: a blown fuse; most likely ends as: unit repaired or exchanged; bench: about 20 minutes."},
		{sayTriageSum(&triage.Summary{Rows: 5, Rejected: 2, BenchMin: 90, Calls: map[triage.Call]int{triage.ProbablyGood: 1, triage.Open: 2, triage.ProbablyBad: 1, triage.AskBack: 1}}), "7 rows: 1 probably good, 2 open, 1 probably bad, 1 to be asked back; 2 rejected. Bench time to plan: 2 hours."},
		{sayTriageSum(&triage.Summary{Rows: 1, BenchMin: 80}), "1 row: 0 probably good, 0 open, 0 probably bad, 0 to be asked back; 0 rejected. Bench time to plan: 1 hour."},
		{notes(triage.Summary{Separator: ','}), ""},
		{notes(triage.Summary{Separator: ',', Heading: 4}), "Its headings are in line 4; what stands above them is not read."},
		{notes(triage.Summary{Separator: ';', Windows1252: true, Unused: []string{"colour", "weight"}}), "The list is not UTF-8; its letters were read as Windows-1252. | Its cells are parted by ';'. | Columns not read: colour, weight. --column HEADING=ROLE gives one a role."},
	})
}

func TestCasesAreSpokenOf(t *testing.T) {
	b := words()
	b.Names = nil
	c := &cases.Case{Code: "K7", Opened: noon, Opening: cases.Opening{Location: "mill", Drop: 3, Unit: cases.Unit{Type: "B1", Serial: "12", Revision: "C"}}}
	state := func(change func(*cases.Case)) string {
		x := &cases.Case{Opened: noon, State: "open"}
		change(x)
		return sayCaseState(b, x)
	}
	summary := func(change func(*cases.Summary)) *cases.Summary {
		s := &cases.Summary{Code: "K7", Opened: noon, State: cases.StateClosed}
		change(s)
		return s
	}
	nothing := func(*cases.Summary) {}
	named, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	finding := &cases.Case{Code: "K7", Situation: rulebase.Situation{Findings: []rulebase.Finding{{Symptom: "hum", Value: rulebase.Value{Word: "yes"}}, {Symptom: "volts", Read: "18 V"}}}}
	support.Says(t, [][2]string{
		{sayCaseName(&cases.Case{Code: "K7"}), "K7"},
		{sayCaseName(c), "K7, mill, drop 3"},
		{sayCaseOpened(&cases.Case{Code: "K7"}), "Case K7."},
		{sayCaseOpened(c), "Case K7, mill, drop 3; unit B1, serial 12, revision C."},
		{sayCaseOpened(&cases.Case{Code: "K7", Opening: cases.Opening{Unit: cases.Unit{Serial: "12"}}}), "Case K7; unit of a type not said, serial 12."},
		{sayCaseOpened(&cases.Case{Code: "K7", Opening: cases.Opening{Unit: cases.Unit{Type: "B1"}}}), "Case K7; unit B1, serial not read."},
		{sayStateOf(cases.StateWaiting, ""), "waiting for something"},
		{sayStateOf(cases.StateWaiting, "a part"), "waiting for a part"},
		{sayStateOf(cases.StateWatching, ""), "being watched"},
		{state(func(*cases.Case) {}), "Opened 20 May 2031 12:00; open."},
		{state(func(x *cases.Case) {
			x.State, x.Waiting = cases.StateWaiting, cases.WaitingFor{For: "a part", Until: "Friday"}
		}), "Opened 20 May 2031 12:00; waiting for a part until Friday."},
		{state(func(x *cases.Case) {
			x.State, x.Watching = cases.StateWatching, cases.Watching{Until: "Friday", What: "the power light"}
		}), "Opened 20 May 2031 12:00; being watched until Friday: the power light."},
		{state(func(x *cases.Case) { x.State, x.Watching = cases.StateWatching, cases.Watching{Until: "Friday"} }), "Opened 20 May 2031 12:00; being watched until Friday."},
		{state(func(x *cases.Case) { x.State, x.Closing = cases.StateClosed, &cases.Closing{} }), "Opened 20 May 2031 12:00; closed. Found: nothing."},
		{state(func(x *cases.Case) {
			x.State, x.Closing, x.Joined = cases.StateClosed, &cases.Closing{Causes: []string{"elsewhere", "unheard"}, How: "It was seen.", UnitVerdict: cases.UnitNotProven}, []cases.Joined{{}, {Name: "the storm"}}
		}), "Opened 20 May 2031 12:00; closed. Found: elsewhere and unheard, proven so: it was seen. The unit: not proven. One of several with one origin. One of several with one origin: the storm."},
		{sayProven(named, nil), "nothing"},
		{sayProven(named, []string{"supply_off", "power_light"}), "the supply is switched off and power_light"},
		{sayCallBack("anna"), "Call back: anna."},
		{sayEarlier(b, summary(nothing)), "K7, 20 May 2031, found: nothing"},
		{sayEarlier(b, summary(func(s *cases.Summary) { s.State, s.WaitingFor = cases.StateWaiting, "a part" })), "K7, 20 May 2031: waiting for a part"},
		{sayEarlier(b, summary(func(s *cases.Summary) {
			s.Location, s.Serial, s.UnitVerdict = "mill", "12", cases.UnitGood
		})), "K7, 20 May 2031, mill, unit serial 12, found: nothing; the unit was good"},
		{CaseBefore(b, summary(func(s *cases.Summary) { s.Type, s.Serial = "B1", "12" })), "Case K7, 20 May 2031, B1 serial 12, found: nothing."},
		{sayFoundGood(summary(nothing)), "A unit was exchanged here on 20 May 2031 and then found good (case K7): before a second one goes, look at the location."},
		{sayEarlierMore(1), "and 1 more case."},
		{sayEarlierMore(2), "and 2 more cases."},
		{sayCaseSummary(b, summary(nothing), noon), "location not said; closed, found: nothing"},
		{sayCaseSummary(b, summary(func(s *cases.Summary) {
			s.State, s.Location, s.Drop, s.InPlace, s.Complaint = "open", "mill", 3, 1, "dead"
		}), noon.Add(2*time.Hour)), "mill, drop 3; open for 2 hours; 1 still in place: dead"},
		{sayCaseSummary(b, summary(func(s *cases.Summary) { s.State, s.WaitingFor = cases.StateWaiting, "a part" }), noon), "location not said; waiting for a part, opened within the hour"},
		{sayAge(-time.Hour), "opened within the hour"},
		{sayAge(time.Hour - 1), "opened within the hour"},
		{sayAge(time.Hour), "open for 1 hour"},
		{sayAge(48*time.Hour - 1), "open for 47 hours"},
		{sayAge(48 * time.Hour), "open for 2 days"},
		{sayFileLine(cases.Attachment{Name: "a.png", Media: "image/png", Bytes: 7}), "a.png, image/png, 7 bytes (show --fetch a.png)"},
		{sayFileByHash(cases.Attachment{Name: "a.png", Media: "image/png", Bytes: 7, Digest: "ab"}), "a.png, image/png, 7 bytes, SHA-256 ab"},
		{sayNotHereYet(c), "Not here yet: the case names these, and they did not come with it. Have them sent, and take each in with \"downdrop case attach K7 FILE\"; they are known by their hashes."},
		{sayTravelApart(c), "These do not go with the text or the codes. Send the case as a file instead (\"downdrop case hand-over K7 --to PLACE --file FILE\"), or send each by itself as \"downdrop case show K7 --fetch NAME\" writes it; the other place takes it in with \"downdrop case attach K7 FILE\":"},
		{saySettingsUnread(c, []string{"address", "rate"}), "Nobody has read these settings of the unit as found: address, rate. Read them before it is pulled, cycled or changed, and note each with \"downdrop case setting K7 NAME=VALUE\"."},
		{sayMoneyLine(cases.Money{For: "new_unit", Amount: "12.50", Currency: "EUR"}), "new unit: 12.50 EUR"},
		{sayMoneySum(cases.Money{Amount: "12.50", Currency: "EUR"}), "in all 12.50 EUR"},
		{sayDoneProven(&rulebase.Done{ID: "replace_fuse"}, ""), "replace fuse was done"},
		{sayDoneProven(&rulebase.Done{ID: "replace_fuse"}, "two hours"), "replace fuse was done; watched: two hours"},
		{sayDisposed(&cases.Disposed{What: "put_back"}), "To be done: put back."},
		{sayDisposed(&cases.Disposed{What: "put_back", Why: "It tests good."}), "To be done: put back, because it tests good."},
		{sayUnknownEntries(1), "1 entry of a kind that this version of downdrop does not know; it is kept and goes with the case."},
		{sayUnknownEntries(2), "2 entries of a kind that this version of downdrop does not know; they are kept and go with the case."},
		{sayHandOver(c), "Case K7, mill, drop 3; unit B1, serial 12, revision C. Handed over; paste all of the capital letters below into \"downdrop case receive\", or scan them as codes (--qr)."},
		{sayCannotClose("K7"), "Case K7 cannot be closed yet:"},
		{sayUnexplained(b, finding, "hum"), "  hum = yes is not explained by what was proven. Name its cause as well, or accept it: downdrop case accept K7 hum --why \"...\""},
		{sayUnexplained(b, finding, "volts"), "  volts = 18 V is not explained by what was proven. Name its cause as well, or accept it: downdrop case accept K7 volts --why \"...\""},
		{sayUnexplained(b, finding, "lamp"), "  lamp is not explained by what was proven. Name its cause as well, or accept it: downdrop case accept K7 lamp --why \"...\""},
		{sayStands(c, 2, cases.PutIn{What: "jumper", Where: "terminal 3"}), "  jumper, terminal 3 is still in place. Take it out and say so: downdrop case take-out K7 2; or accept it: downdrop case accept K7 2 --why \"...\""},
		{sayReturnNote(&cases.Case{ID: "id7"}), "Return note, case id7"},
		{sayReturnNote(c), "Return note, case K7"},
	})
}

func TestUnitsAreSpokenOf(t *testing.T) {
	b1 := cases.Unit{Type: "B1", Serial: "12", Revision: "C"}
	card := func(stays ...*cases.Stay) *cases.Card { return &cases.Card{Unit: b1, Stays: stays} }
	stay := func(state cases.ShopState, change func(*cases.Stay)) *cases.Stay {
		s := &cases.Stay{Came: noon, Since: noon.Add(3 * time.Hour), State: state}
		change(s)
		return s
	}
	same := func(*cases.Stay) {}
	plus := func(d time.Duration) time.Time { return noon.Add(d) }
	answer := func(way, how, order string) *cases.Said[cases.Answer] {
		return &cases.Said[cases.Answer]{Event: cases.Event{Draft: cases.Draft{At: noon}}, Body: cases.Answer{Way: way, How: how, Order: order}}
	}
	offered := func(a *cases.Said[cases.Answer], late bool) cases.Offered {
		return cases.Offered{Event: cases.Event{Draft: cases.Draft{At: noon}}, Offer: cases.Offer{Until: "2031-05-28", Currency: "EUR"}, Answer: a, Late: late}
	}
	listed := func(state cases.ShopState, change func(*cases.Stay)) string {
		return sayUnitOfList(card(stay(state, change)), plus(5*time.Hour))
	}
	waits := func(a *cases.Said[cases.Answer], now time.Time) string {
		return sayUnitOfList(card(stay(cases.ShopAwaiting, func(s *cases.Stay) { s.Offers = []cases.Offered{offered(a, false)} })), now)
	}
	work := func(change func(*cases.Work)) string {
		w := &cases.Said[cases.Work]{Body: cases.Work{Section: "bus_port", Did: "driver renewed", As: "rework"}}
		change(&w.Body)
		return sayWork(w)
	}
	said := func(o cases.Offered) string { return sayOffered(&o) }
	if is := zoneOf(noon.In(time.FixedZone("", 2*3600))); is != 120 {
		t.Errorf("two hours east are %d minutes", is)
	}
	support.Says(t, [][2]string{
		{sayUnitName(cases.Unit{}), "unit of a type that is not known,"},
		{sayUnitName(b1), "B1 serial 12 revision C"},
		{UnitBefore(card()), ""},
		{UnitBefore(card(stay(cases.ShopInRepair, same))), "B1 serial 12 revision C came in on 20 May 2031, and is in repair."},
		{UnitBefore(card(stay(cases.ShopInRepair, same), stay(cases.ShopReleased, func(s *cases.Stay) { s.Verdict = cases.UnitGood }))), "B1 serial 12 revision C came in on 20 May 2031, and was released on 20 May 2031; then it was good: no fault found; that was stay 2."},
		{UnitLike("B1 serial 12"), "Easily taken for B1 serial 12, which was here: have the plate read out."},
		{sayDays(-time.Hour), "under an hour"},
		{sayDays(time.Hour - 1), "under an hour"},
		{sayDays(time.Hour), "1 hour"},
		{sayDays(48*time.Hour - 1), "47 hours"},
		{sayDays(48 * time.Hour), "2 days"},
		{sayUnitLine(card(), noon), "B1 serial 12 revision C is not in the shop."},
		{sayUnitLine(card(stay(cases.ShopInTest, same)), plus(72*time.Hour)), "B1 serial 12 revision C is in test, since 20 May 2031 15:00 (2 days); in the house for 3 days."},
		{sayUnitLine(card(stay(cases.ShopReleased, same)), plus(72*time.Hour)), "B1 serial 12 revision C was released on 20 May 2031; it was in the house for 3 hours."},
		{sayReceipt(stay("", same)), "It came in on 20 May 2031 12:00."},
		{sayReceived(&cases.Receipt{From: "mill", Core: true, Complaint: "Dead.", Condition: "Scorched."}), ", from mill, as a core for an exchange unit. The sender says: \"Dead\". Its condition: Scorched."},
		{sayStatement(&cases.Contamination{State: cases.NotExposed}), "The sender states: it was not exposed to anything that harms people."},
		{sayStatement(&cases.Contamination{State: cases.Decontaminated, With: "lye", How: "rinsed", From: "letter"}), "The sender states: it was exposed, and was cleaned; exposed to lye; cleaned so: rinsed (letter)."},
		{sayStatement(&cases.Contamination{State: "new_state"}), "The sender states: new state."},
		{sayVerdict(cases.UnitGood), "As it came in, the unit is good: no fault found."},
		{sayVerdict("half_good"), "As it came in, the unit is half good."},
		{sayStep(&cases.Step{Move: cases.Move{To: cases.ShopInTest}}), "in test"},
		{sayStep(&cases.Step{Event: cases.Event{Draft: cases.Draft{By: "anna"}}, Move: cases.Move{To: cases.ShopReleased, Why: "it passed", Record: "R1", Consent: "the mill"}}), "released, by anna: it passed; record R1; agreed by the mill"},
		{work(func(*cases.Work) {}), "bus port: driver renewed (rework, again as its drawings say)."},
		{work(func(w *cases.Work) {
			w.As, w.Parts, w.Solder, w.Cause, w.Minutes = "bodged", []cases.Part{{Name: "driver", Number: 2, Trace: "lot 3"}, {Name: "fuse", Number: 1}}, "lead_free", "driver_dead", 20
		}), "bus port: driver renewed (bodged); renewed 2 x driver, from lot 3; renewed 1 x fuse; lead free solder; cause driver_dead; about 20 minutes."},
		{sayRecordOf(&cases.Record{Number: "R1", Issue: 1}), "R1, issue 1."},
		{sayRecordOf(&cases.Record{Number: "R1", Issue: 2, Verdict: cases.UnitBad, Why: "a reading was missing"}), "R1, issue 2: the unit is bad; issued anew: a reading was missing."},
		{said(offered(nil, false)), "An offer was made on 20 May 2031 and holds up to 28 May 2031. There is no answer yet."},
		{said(offered(answer("", "", ""), false)), "An offer was made on 20 May 2031 and holds up to 28 May 2031. The customer has declined it, 20 May 2031."},
		{said(offered(answer(string(ways.Repair), "by phone", "PO 5"), false)), "An offer was made on 20 May 2031 and holds up to 28 May 2031. The customer has chosen to have the unit repaired, 20 May 2031, by phone, order PO 5."},
		{said(offered(answer("barter", "", ""), true)), "An offer was made on 20 May 2031 and holds up to 28 May 2031. The customer has chosen to barter, 20 May 2031. That is after its last day, so it no longer counts: make a new offer, which may say the same."},
		{sayOfferedWay(&cases.Offer{Currency: "EUR"}, &cases.OfferedWay{Way: string(ways.Repair), Price: "50", Expected: "70"}), "have the unit repaired: 50 EUR; comes to 70 EUR in all on the mean"},
		{sayOfferedWay(&cases.Offer{Currency: "EUR"}, &cases.OfferedWay{Way: "barter", Price: "50", Expected: "70", Hours: "48", Warranty: "12"}), "barter: 50 EUR; 48 hours until the drop has its unit; 12 months' warranty; comes to 70 EUR in all on the mean"},
		{sayOfferedWay(&cases.Offer{Currency: "EUR"}, &cases.OfferedWay{Way: "barter", Price: "50", Expected: "70", Hours: "1", Warranty: "1"}), "barter: 50 EUR; 1 hour until the drop has its unit; 1 month's warranty; comes to 70 EUR in all on the mean"},
		{sayOfferedWay(&cases.Offer{Currency: "EUR"}, &cases.OfferedWay{Way: "barter", Price: "50", Expected: "70", Warranty: "0"}), "barter: 50 EUR; comes to 70 EUR in all on the mean"},
		{sayMayGo(cases.ShopReceived), "It may go on to quarantined, evaluated, core accepted, core refused, returned unrepaired."},
		{sayStay(stay(cases.ShopInRepair, same)), "20 May 2031: in repair"},
		{sayStay(stay(cases.ShopReleased, func(s *cases.Stay) {
			s.Ended, s.EndedAs, s.Verdict = plus(time.Hour), cases.ShopReleased, cases.UnitBad
		})), "20 May 2031: released on 20 May 2031; the unit was bad"},
		{sayStay(stay(cases.ShopReleased, func(s *cases.Stay) { s.Ended, s.EndedAs = plus(time.Hour), cases.ShopReleased })), "20 May 2031: released on 20 May 2031"},
		{listed(cases.ShopReceived, same), "B1 serial 12 revision C: 2 hours; 5 hours in the house; no statement on contamination"},
		{listed(cases.ShopReceived, func(s *cases.Stay) { s.Statement = &cases.Said[cases.Contamination]{} }), "B1 serial 12 revision C: 2 hours; 5 hours in the house"},
		{listed(cases.ShopInTest, func(s *cases.Stay) { s.Verdict = cases.UnitBad }), "B1 serial 12 revision C: 2 hours; 5 hours in the house; bad"},
		{listed(cases.ShopReleased, same), "B1 serial 12 revision C: 2 hours"},
		{listed(cases.ShopInRepair, func(s *cases.Stay) { s.Offers = []cases.Offered{offered(nil, false)} }), "B1 serial 12 revision C: 2 hours; 5 hours in the house"},
		{sayUnitOfList(&cases.Card{Unit: b1, Stays: []*cases.Stay{stay(cases.ShopInTest, same)}, Unfit: []cases.Event{{}}}, plus(5*time.Hour)), "B1 serial 12 revision C: 2 hours; 5 hours in the house; some changes do not fit"},
		{waits(answer("", "", ""), noon), "B1 serial 12 revision C: under an hour; under an hour in the house; the offer was declined"},
		{waits(answer("repair", "", ""), noon), "B1 serial 12 revision C: under an hour; under an hour in the house; the answer is there"},
		{waits(nil, noon), "B1 serial 12 revision C: under an hour; under an hour in the house; the offer holds up to 28 May 2031"},
		{waits(nil, plus(24*30*time.Hour)), "B1 serial 12 revision C: 29 days; 30 days in the house; the offer ended on 28 May 2031 without an answer"},
		{sayMonth(&cases.Month{From: time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC), To: time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC)}), "The shop from 1 May 2031 to the end of 31 May 2031."},
		{ofAll(0, 0), "0"},
		{ofAll(1, 3), "1 (33%)"},
		{tenths(36*time.Hour, 0), "-"},
		{tenths(36*time.Hour, 1), "1.5"},
		{sayOfferLead(card(stay(cases.ShopAwaiting, same)), &cases.Offered{Event: cases.Event{Draft: cases.Draft{At: noon}}, Offer: cases.Offer{Until: "2031-05-28"}}), "Made on 20 May 2031; it holds up to 28 May 2031, that day included."},
		{sayOfferLead(card(stay(cases.ShopAwaiting, func(s *cases.Stay) { s.Verdict = cases.UnitBad })), &cases.Offered{Event: cases.Event{Draft: cases.Draft{At: noon}}, Offer: cases.Offer{Until: "2031-05-28"}}), "Made on 20 May 2031; it holds up to 28 May 2031, that day included. As it came in, the unit is bad."},
	})
}

func TestTheStoryOfAUnitIsTold(t *testing.T) {
	received := event(cases.KindReceived, "anna", cases.Receipt{From: "mill"})
	received.ID = "e1"
	anew := event(cases.KindNote, "", cases.Note{Text: "it hums"})
	anew.Corrects = "e1"
	back := event(cases.KindTakenBack, "", cases.Reason{Why: "wrong unit"})
	back.Corrects = "e1"
	astray := event(cases.KindNote, "", cases.Note{Text: "it hums"})
	astray.Corrects = "e9"
	c := &cases.Card{Events: []cases.Event{{}, received}, Void: map[string]bool{"e1": true}}
	c.Events[0].ID = "e0"
	story := func(e cases.Event) string { return sayStory(c, &e) }
	told := func(kind cases.Kind, body any) string { return story(event(kind, "", body)) }
	spoilt := cases.Event{Draft: cases.Draft{Kind: cases.KindNote, Body: []byte("[1]")}}
	ofFirst := anew
	ofFirst.Corrects = "e0"
	backFirst := back
	backFirst.Corrects = "e0"
	full := anew
	full.By, full.Place = "anna", "bench"
	support.Says(t, [][2]string{
		{story(received), "came in, from mill."},
		{story(anew), "in place of entry 2: note: it hums"},
		{story(ofFirst), "in place of entry 1: note: it hums"},
		{story(backFirst), "took back entry 1: wrong unit"},
		{sayUnitEntry(c, &ofFirst), "2031-05-20 12:00:00  note, for entry 1  {\"text\": \"it hums\"}"},
		{story(back), "took back entry 2: wrong unit"},
		{story(astray), "note: it hums"},
		{told(cases.KindTakenBack, cases.Reason{}), ""},
		{told(cases.KindMoved, cases.Move{To: cases.ShopInTest, Why: "it is whole"}), "in test: it is whole"},
		{told(cases.KindContamination, cases.Contamination{State: cases.NotExposed}), "The sender states: it was not exposed to anything that harms people."},
		{told(cases.KindWork, cases.Work{Section: "bus_port", Did: "driver renewed", As: "rework"}), "repair: bus port: driver renewed (rework, again as its drawings say)."},
		{told(cases.KindOffer, cases.Offer{Until: "2031-05-28", Currency: "EUR", Ways: []cases.OfferedWay{{Way: string(ways.Repair), Price: "50", Expected: "70"}}}), "an offer was made, which holds up to 28 May 2031; have the unit repaired: 50 EUR; comes to 70 EUR in all on the mean"},
		{told(cases.KindAnswer, cases.Answer{}), "the customer has declined"},
		{told(cases.KindAnswer, cases.Answer{Way: string(ways.Repair), How: "by phone"}), "the customer has chosen to have the unit repaired, by phone"},
		{told(cases.KindReference, cases.Reference{Kind: "work_order", Text: "W5"}), "work order: W5"},
		{told(cases.KindRecord, cases.Record{Number: "R1", Issue: 1}), "record R1, issue 1."},
		{told("new_kind", cases.Note{Text: "x"}), "new kind {\"text\":\"x\"}"},
		{story(spoilt), "note [1]"},
		{sayUnitEntry(c, &received), "2031-05-20 12:00:00  received by anna  {\"unit\": {}, \"from\": \"mill\"} (no longer counts)"},
		{sayUnitEntry(c, &anew), "2031-05-20 12:00:00  note, for entry 2  {\"text\": \"it hums\"}"},
		{sayEntryAmong(c.Events, &full, "Anna"), "2031-05-20 12:00:00  note by anna (Anna), bench, for entry 2  {\"text\": \"it hums\"}"},
		{sayEntryAmong(c.Events, &full, ""), "2031-05-20 12:00:00  note by anna, bench, for entry 2  {\"text\": \"it hums\"}"},
		{sayEntryAmong(nil, &full, ""), "2031-05-20 12:00:00  note by anna, bench  {\"text\": \"it hums\"}"},
	})
}
