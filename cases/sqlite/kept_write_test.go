//go:build unix

package sqlite_test

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/rulebase"
)

// A saying is a few drafts about one thing, written as one so long after keptDay.
type saying struct {
	after  time.Duration
	about  cases.Subject
	drafts []cases.Draft
}

// What the kept store is about: an invented unit that goes dark at an invented place, is pulled, looked at and
// repaired.
var (
	keptCase     = cases.Subject{Kind: cases.AboutCase, ID: "case-weir"}
	keptUnit     = cases.Unit{Type: "bus unit A", Serial: "J5597752", Revision: "C"}
	keptUnitID   = cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(keptUnit)}
	keptLocation = cases.Subject{Kind: cases.AboutLocation, ID: cases.LocationKey("Weir street works, kiln")}
)

// sum is the digest under which a store keeps a text.
func sum(text []byte) string {
	s := sha256.Sum256(text)
	return hex.EncodeToString(s[:])
}

// everythingSaid is every kind of event once, with every key of its body, as today's program says it. An
// id of its own is given to what a later one speaks of.
func everythingSaid(sheet, prices, picture, run []byte) []saying {
	named := func(id string, d cases.Draft) cases.Draft { d.ID = id; return d }
	say, correct := cases.Say, cases.Correct
	minute := func(n int) time.Duration { return time.Duration(n) * time.Minute }
	return []saying{
		{minute(0), keptCase, []cases.Draft{
			say(cases.KindOpened, cases.Opening{Code: cases.NewCode(77), Location: "Weir street works, kiln", Drop: 3, Unit: keptUnit, Complaint: "After the storm the whole drop is dark.", CallBack: "p1"}),
			say(cases.KindSituation, cases.Circumstances{
				Name: "weir-3", At: rulebase.Phone, Who: "technician", Tools: []string{"meter"}, Alone: true, Confirmed: []string{"isolate_first"}, Drop: 3,
				Drops: map[int]string{1: "good", 5: "dead"}, Order: []int{3, 1, 5}, Supplies: [][]int{{1, 3}, {5}}, Sheet: "weir.yaml", SheetFile: sum(sheet),
				Paper: map[string]string{"line.trunk_length": "800 m"}, Sums: map[string]string{"line.trunk_length": "300 m + 500 m"},
				Checked: []rulebase.PaperCheck{{Rule: "trunk_too_long", Fails: true, Says: "The trunk is 800 m long, and 700 m are allowed.", Sum: "300 m + 500 m", Do: "Shorten it.", Source: "invented"}},
				Effort:  map[string]float64{"stops_drop": 5, "stops_bus": 60, "visit": 90},
			}),
		}},
		{minute(1), keptCase, []cases.Draft{
			say(cases.KindAbout, cases.Opening{Code: cases.NewCode(78), Location: "Weir street works, kiln", Drop: 3, Unit: keptUnit, Complaint: "After the storm the whole drop went dark, and hums.", CallBack: "p1"}),
			say(cases.KindGiven, cases.GivenBody{ID: "after_storm", Value: cases.ValueBody{Word: "true"}}),
			say(cases.KindGiven, cases.GivenBody{ID: "length", Value: cases.ValueBody{Word: "0.8 km", Number: new(800.0)}}),
			named("dark", say(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "dark"}, Sure: new(0.8), At: rulebase.Phone, By: "caller"})),
			say(cases.KindRanking, cases.Ranking{Policy: "rollout", Causes: []cases.RankedBody{{ID: "fuse_open", Probability: 0.75}, {ID: "terminator_missing", Probability: 0.125}}, UnitOut: 0.0625, Outside: 0.03125}),
			say(cases.KindProposed, cases.Proposed{Kind: "test", ID: "measure_pair"}),
			say(cases.KindTalked, cases.Talked{Memory: json.RawMessage(`{"asked":["power_light"]}`), Said: json.RawMessage(`{"says":"Noted."}`)}),
		}},
		{minute(2), keptCase, []cases.Draft{
			named("hum", say(cases.KindFinding, cases.FindingBody{Symptom: "hum", Value: cases.ValueBody{Word: "yes"}, By: "caller"})),
			named("talk", say(cases.KindTalked, cases.Talked{Before: "talk-0", Is: "talk-0"})),
			correct(cases.KindTakenBack, "hum", cases.Reason{Why: "it was the transformer"}),
			correct(cases.KindFinding, "dark", cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "flickering"}, By: "caller"}),
			say(cases.KindNote, cases.Note{Text: "Ring back after the shift, says the caller: “Grüße, 道”."}),
			say(cases.KindReference, cases.Reference{Kind: "work_order", Text: "W-100"}),
			say(cases.KindFile, cases.Attachment{Name: "kiln.png", Media: "image/png", Digest: sum(picture), Bytes: len(picture)}),
			say(cases.KindHandedOver, cases.HandOver{To: rulebase.Field}),
			say(cases.KindWaiting, cases.WaitingFor{For: "access", Until: "2031-05-05"}),
		}},
		{minute(90), keptCase, []cases.Draft{
			say(cases.KindResumed, cases.Reason{Why: "the gate is open"}),
			say(cases.KindSetting, cases.Setting{Name: "address", When: cases.AsFound, Value: "3"}),
			say(cases.KindSetting, cases.Setting{Name: "door switch", When: cases.AsLeft, Value: "on"}),
			named("fused", say(cases.KindPutIn, cases.PutIn{What: "force", Where: "output 4", Until: "the test is over", Test: "swap_fuse"})),
			named("jumped", say(cases.KindPutIn, cases.PutIn{What: "jumper", Where: "terminals 3 and 4"})),
			correct(cases.KindTakenOut, "fused", cases.Reason{Why: "the test is over"}),
			say(cases.KindFinding, cases.FindingBody{Symptom: "pair_ohms", Value: cases.ValueBody{Word: "148 ohm", Number: new(148.0)}, At: rulebase.Field, By: "technician", Read: "148R"}),
			say(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "lit"}, Drop: 5, Now: true}),
			say(cases.KindDone, cases.DoneBody{ID: "replace_fuse", Drop: rulebase.StillDown, Proof: "watched for ten minutes under load"}),
			say(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "dark"}, After: "replace_fuse"}),
			say(cases.KindWatching, cases.Watching{Remedy: "replace_fuse", Until: "2031-05-04T12:00:00Z", What: "drop_works"}),
			say(cases.KindDisposition, cases.Disposed{What: "exchange", Why: "the plant waits"}),
			say(cases.KindMoney, cases.Money{For: "exchange", Amount: "1300.00", Currency: "XTS"}),
			say(cases.KindReturnNote, cases.ReturnNote{Contamination: cases.Contamination{State: cases.Decontaminated, With: "lime dust", How: "brushed", From: "return note"}, Packing: "the unit, no modules, in foam"}),
			say(cases.KindJoined, cases.Joined{Event: "storm-1", Name: "The storm of 3 May"}),
			say(cases.KindAccepted, cases.Accepted{Event: "jumped", Why: "the site wants it so"}),
			say(cases.KindAccepted, cases.Accepted{Symptom: "hum", Why: "it hummed before"}),
			say(cases.KindClosed, cases.Closing{Causes: []string{"fuse_open"}, How: "the fuse was open", Outcome: string(rulebase.PartReplaced)}),
			say(cases.KindReopened, cases.Reason{Why: "dark again"}),
			say(cases.KindClosed, cases.Closing{Causes: []string{"fuse_open", "terminator_missing"}, How: "it works with both put right", Outcome: string(rulebase.UnitOut), UnitVerdict: cases.UnitBad}),
		}},
		{minute(60), keptLocation, []cases.Draft{say(cases.KindNote, cases.Note{Text: "The clock of this phone went back by half an hour."})}}, // the store says so itself: KindClockJump
		{minute(24 * 60), keptUnitID, []cases.Draft{
			say(cases.KindReceived, cases.Receipt{Unit: keptUnit, From: "p1", Complaint: "dark", Condition: "a corner is chipped", Core: true, Cases: []string{keptCase.ID}}),
			say(cases.KindContamination, cases.Contamination{State: cases.Decontaminated, With: "lime dust", How: "brushed", From: "return note"}),
			named("seen", say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Why: "on the bench", Record: "R-1", Verdict: cases.UnitBad})),
			correct(cases.KindMoved, "seen", cases.Move{To: cases.ShopEvaluated, Why: "on the bench, twice", Record: "R-1", Verdict: cases.UnitBad}),
			say(cases.KindBenchRun, cases.BenchRun{File: sum(run), Head: sum(nil), Procedure: "acceptance", ProcedureVersion: 2, ProcedureDigest: sum(nil), Profile: "unit_a", ProfileDigest: sum(nil), Verdict: cases.UnitBad, Failed: []string{"supply"}, NotDone: []string{"loss_of_bus"}}),
			say(cases.KindRecord, cases.Record{Number: "R-1", Issue: 2, Digest: sum(nil), Replaces: sum(run), Why: "a serial was misread", Head: sum(nil), Verdict: cases.UnitBad, Files: []cases.RecordFile{{Form: "html", Digest: sum(run)}}}),
			named("offer", say(cases.KindOffer, cases.Offer{Ways: []cases.OfferedWay{{Way: "repair", Price: "640.00", Expected: "812.50", Hours: "80", Warranty: "12"}, {Way: "exchange", Price: "1300.00", Expected: "1344.00"}}, Currency: "XTS", Until: "2031-05-28", Prices: "Weir street shop", Digest: sum(prices), Bad: "0.75", Note: "by letter"})),
			say(cases.KindMoved, cases.Move{To: cases.ShopAwaiting, Why: "the offer went out"}),
		}},
		{minute(48 * 60), keptUnitID, []cases.Draft{
			say(cases.KindAnswer, cases.Answer{Offer: "offer", Way: "repair", How: "by letter", Order: "O-7"}),
			say(cases.KindMoved, cases.Move{To: cases.ShopInRepair, Why: "ordered"}),
			say(cases.KindWork, cases.Work{Section: "supply", Did: "renewed the fuse holder", As: "rework", Parts: []cases.Part{{Name: "fuse holder", Number: 1, Trace: "lot 7"}}, Solder: "lead_free", Minutes: 25, Cause: "fuse_open"}),
			say(cases.KindMoved, cases.Move{To: cases.ShopInTest, Why: "repaired"}),
			say(cases.KindMoved, cases.Move{To: cases.CoreAccepted, Why: "another desk meant another unit"}), // fits nowhere
			say(cases.KindMoved, cases.Move{To: cases.ShopReleased, Why: "as it is", Consent: "the customer agreed on the phone"}),
			say(cases.KindNote, cases.Note{Text: "See the record."}),
			say(cases.KindReference, cases.Reference{Kind: "return", Text: "RT-9"}),
		}},
		{minute(49 * 60), keptCase, []cases.Draft{say("weather", struct {
			Says string `json:"says"`
		}{"of a kind that a newer program writes"})}},
	}
}

const keptSite = `rulebase: {name: weir, version: 2, extends: small, parts: {supply: 45}}
causes:
  door_switch: {name: The door switch is off, part: supply, per_thousand: 5, source: estimate, remedies: [{do: turn_on, helps: often}, replace_fuse], look_alikes: [fuse_open]}
conditions:
  unpowered: {changes: true, also_when: [door_switch]}
remedies:
  turn_on: {do: Turn the door switch on, minutes: 1, ends_as: adjusted}
sources:
  estimate: {says: A guess of the works, kind: estimate}
on_site:
  power_light: {called: the green lamp, where: behind the door, values: {dark: off}}
`

// writeKept writes the next folder of testdata/kept, as a site that has another site's cases and a case that was
// handed to it beside its own.
func writeKept(t *testing.T) {
	t.Helper()
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	read := func(name string) []byte {
		text, err := os.ReadFile(name)
		must(err)
		return text
	}
	last, err := filepath.Glob("testdata/kept/*")
	must(err)
	folder := filepath.Join("testdata/kept", strconv.Itoa(len(last)+1))
	must(os.MkdirAll(folder, 0o755))
	keep := func(name string, text []byte) { must(os.WriteFile(filepath.Join(folder, name), text, 0o644)) }

	base, err := rulebase.Load(rulebase.Layer{Name: "small", FS: os.DirFS("../../rulebase/testdata/good")}, rulebase.Layer{Name: "weir", FS: fstest.MapFS{"weir.yaml": {Data: []byte(keptSite)}}})
	must(err)
	bundle, err := base.Bundle()
	must(err)
	sheet, prices := read("../../rulebase/testdata/sheet_with_everything.yaml"), read("../examples/prices/shop.yaml")
	picture, run := []byte("a picture"), []byte("a run\n")
	keep("rulebase.bin", bundle)
	keep("case.yaml", read("../../rulebase/testdata/case_with_everything.yaml"))
	keep("sheet.yaml", sheet)
	keep("prices.yaml", prices)

	path := filepath.Join(t.TempDir(), "kept.db")
	s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "quarry"})
	must(err)
	for _, text := range [][]byte{bundle, sheet, prices, picture, run} {
		_, err := s.PutFile(ctx, text)
		must(err)
	}
	var now time.Time
	n := 0
	w := cases.Writer{Store: s, By: "p1", Place: rulebase.Phone, Program: "the first kept", Rulebase: base.Digest,
		Now: func() time.Time { return now }, NewID: func() string { n++; return fmt.Sprint("kept-", n) }}
	for _, said := range everythingSaid(sheet, prices, picture, run) {
		now = keptDay.Add(said.after).In(time.FixedZone("", 3600))
		_, err := w.Write(ctx, said.about, said.drafts...)
		must(err)
	}

	far, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "far.db"), sqlstore.Options{Site: "mill"})
	must(err)
	defer far.Close()
	_, err = far.Import(ctx, storetest.Invented("mill", 1, 21))
	must(err)
	must(far.SetName(ctx, "p3", "Somebody Invented"))
	_, err = cases.ImportFrom(ctx, s, strings.NewReader(storetest.Exported(t, far)), true)
	must(err)

	hand, err := sqlite.Open(ctx, filepath.Join(t.TempDir(), "hand.db"), sqlstore.Options{Site: "phone-desk"})
	must(err)
	defer hand.Close()
	w.Store, w.Place = hand, rulebase.Field
	for _, said := range everythingSaid(sheet, prices, picture, run)[:3] {
		now = keptDay.Add(said.after).In(time.FixedZone("", -5*3600))
		for i := range said.drafts { // ids of their own: both cases are in one store in the end
			for _, id := range []*string{&said.drafts[i].ID, &said.drafts[i].Corrects} {
				if *id != "" {
					*id = "handed-" + *id
				}
			}
		}
		_, err := w.Write(ctx, cases.Subject{Kind: cases.AboutCase, ID: "case-handed"}, said.drafts...)
		must(err)
	}
	c, err := hand.Case(ctx, "case-handed")
	must(err)
	parts, carried, err := cases.HandOverText(c, sheet, cases.SheetParts)
	must(err)
	if !carried {
		t.Fatal("the sheet does not go with the hand-over")
	}
	text := []byte(strings.Join(parts, "\n\n") + "\n")
	keep("hand_over.txt", text)
	handed, _, err := cases.ReadHandOver(string(text))
	must(err)
	_, err = s.Import(ctx, func(yield func(cases.Event, error) bool) {
		for _, e := range handed {
			if !yield(e, nil) {
				return
			}
		}
	})
	must(err)

	must(s.SetName(ctx, "p1", "Nobody-Invented"))
	must(s.SetName(ctx, "p2", "Erased-Invented"))
	must(s.SetName(ctx, "p2", ""))
	keep("export.jsonl", []byte(storetest.Exported(t, s)))
	must(s.Close())
	raw(t, path, `PRAGMA journal_mode(DELETE)`, `VACUUM`)
	var packed bytes.Buffer
	z, err := gzip.NewWriterLevel(&packed, gzip.BestCompression)
	must(err)
	_, err = z.Write(read(path))
	must(err)
	must(z.Close())
	keep("store.db.gz", packed.Bytes())
	keep("folded.json", foldKept(t, folder))
}
