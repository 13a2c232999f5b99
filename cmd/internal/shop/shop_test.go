package shop

import (
	"context"
	"errors"
	"fmt"
	"math/big"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
	"downdrop/cases/storetest"
	"downdrop/cmd/internal/report"
	"downdrop/engine/bench"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// What people say of amounts is taken as they mean it, at the bounds too; all else is refused, with what
// to say instead.
func TestAmountsThatAreSaid(t *testing.T) {
	for _, row := range []struct{ name, text, want string }{
		{"bad", "0", "0"}, {"bad", "1", "1"}, {"bad", "0.3", "3/10"}, {"bad", "30%", "3/10"}, {"bad", "30 %", "3/10"}, {"bad", "100%", "1"}, {"bad", "0.000000001", "1/1000000000"},
		{"bad", "1.1", ""}, {"bad", "101%", ""}, {"bad", "1.000000001", ""}, {"bad", "-1", ""}, {"bad", "", ""}, {"bad", "%", ""}, {"bad", ".3", ""}, {"bad", "1/3", ""}, {"bad", "1e-3", ""},
		{"spares", "0", "0"}, {"spares", "1", "1"}, {"spares", "12", "12"}, {"spares", "2.0", "2"}, {"spares", "1.5", ""}, {"spares", "1%", ""}, {"spares", "02", ""},
		{"downtime", "800", "800"}, {"downtime", "0.5", "1/2"}, {"downtime", "800%", ""}, {"downtime", "unknown", ""}, {"downtime", "999999999999", "999999999999"}, {"downtime", "9999999999999", ""},
		{"age", "12", "12"}, {"age", "12.5", "25/2"}, {"age", "twelve", ""},
	} {
		x, err := Amount(row.name, row.text)
		got := ""
		if err == nil {
			got = x.RatString()
		}
		if got != row.want {
			t.Errorf("%s %q is taken as %q, wanted %q", row.name, row.text, got, row.want)
		}
		var none NoAmount
		if err != nil && (!errors.As(err, &none) || none.Name != row.name || none.Text != row.text || none.Wants == "" || !strings.HasPrefix(err.Error(), row.name+" "+row.text+": say ")) {
			t.Errorf("%s %q is refused with %v", row.name, row.text, err)
		}
	}
}

// shopPrices is the text of the example's price sheet.
func shopPrices(t *testing.T) []byte {
	t.Helper()
	text, err := os.ReadFile("../../../cases/examples/prices/shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// What is said beside a sheet stands over what the sheet has; what is not said leaves it.
func TestWhatIsSaidStandsOverTheSheet(t *testing.T) {
	p, err := rulebase.ReadPrices("shop.yaml", shopPrices(t))
	if err != nil {
		t.Fatal(err)
	}
	amounts := func(p *rulebase.Prices) string {
		if !p.Has("downtime.per_hour") {
			return "unknown, " + p.Get("spare.on_shelf").RatString()
		}
		return p.Get("downtime.per_hour").RatString() + ", " + p.Get("spare.on_shelf").RatString()
	}
	for _, row := range []struct {
		said       Said
		sheet, age string
	}{
		{Said{}, "12, 0", ""}, {Said{Downtime: "800"}, "800, 0", ""}, {Said{Downtime: "unknown", Spares: "2"}, "unknown, 2", ""}, {Said{Spares: "0", Age: "12"}, "12, 0", "12"},
	} {
		c := ways.Case{}
		row.said.Revision, row.said.Modules = "C", []string{"digital_in"}
		got, err := row.said.Change(p, &c)
		age := ""
		if c.AgeYears != nil {
			age = c.AgeYears.RatString()
		}
		if err != nil || amounts(got) != row.sheet || age != row.age || c.Revision != "C" || len(c.Modules) != 1 {
			t.Errorf("%+v makes %s, age %q, %+v of it: %v", row.said, amounts(got), age, c, err)
		}
		if _, err := row.said.Change(nil, &c); err != nil {
			t.Errorf("without a sheet %+v is refused: %v", row.said, err)
		}
	}
	if amounts(p) != "12, 0" {
		t.Errorf("the sheet itself was changed to %s", amounts(p))
	}
	_, err = (&Said{Downtime: "dear", Spares: "half", Age: "old"}).Change(nil, &ways.Case{})
	if err == nil || strings.Count(err.Error(), ": say ") != 3 {
		t.Errorf("of three amounts that are none: %v", err)
	}
}

// keptUnit keeps a unit's story, with two earlier cases at one place in which other units went out.
func keptUnit(t *testing.T, drafts ...cases.Draft) (*storetest.Model, *cases.Card) {
	t.Helper()
	store, now := storetest.NewModel("weir"), noon
	write := func(about cases.Subject, drafts ...cases.Draft) {
		for i, d := range drafts {
			d.ID, d.Subject, d.At = fmt.Sprintf("%s-%d", strings.ReplaceAll(about.ID, "/", "-"), i+1), about, now
			if _, err := store.Append(t.Context(), d); err != nil {
				t.Fatal(err)
			}
		}
	}
	for i, serial := range []string{"", "A1", "A2"} { // the first is the case of the unit itself
		write(cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprint("c", i+1)},
			cases.Say(cases.KindOpened, cases.Opening{Code: fmt.Sprintf("K7Q4M%d", i+2), Location: "Tide mill, sluice", Drop: 5, Unit: cases.Unit{Type: "BIU-2", Serial: serial}}),
			cases.Say(cases.KindClosed, cases.Closing{How: "it went out", Outcome: string(rulebase.UnitOut)}))
	}
	write(cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(b0815)}, drafts...)
	card, err := cases.ReadUnit(t.Context(), store, cases.UnitKey(b0815))
	if err != nil {
		t.Fatal(err)
	}
	return store, card
}

var b0815 = cases.Unit{Type: "BIU-2", Serial: "B0815", Revision: "C"}

// A decision in the shop knows the verdict, and how often the unit and its place were here before: not counting
// this time.
func TestADecisionKnowsTheStory(t *testing.T) {
	received := func(of ...string) cases.Draft {
		return cases.Say(cases.KindReceived, cases.Receipt{Unit: b0815, Cases: of})
	}
	moved := func(to cases.ShopState, verdict string) cases.Draft {
		return cases.Say(cases.KindMoved, cases.Move{To: to, Why: "x", Verdict: verdict})
	}
	gone := moved(cases.ShopReturned, "")
	for name, row := range map[string]struct {
		story            []cases.Draft
		said             Said
		bad              string // before what history adds
		serial, location int
	}{
		"here for the first time":                   {[]cases.Draft{received()}, Said{Bad: "0.25"}, "1/4", 0, 0},
		"here again":                                {[]cases.Draft{received(), gone, received()}, Said{Bad: "25%"}, "1/4", 1, 0},
		"here for the third time":                   {[]cases.Draft{received(), gone, received(), gone, received()}, Said{Bad: "25%"}, "1/4", 2, 0},
		"of a case, whose place had two others out": {[]cases.Draft{received("c1")}, Said{Bad: "0.25"}, "1/4", 0, 2},
		"of a case that is not here":                {[]cases.Draft{received("c9")}, Said{Bad: "0.25"}, "1/4", 0, 0},
		"again, of a case":                          {[]cases.Draft{received(), gone, received("c9", "c1")}, Said{Bad: "0.25"}, "1/4", 1, 2},
		"found bad":                                 {[]cases.Draft{received(), moved(cases.ShopEvaluated, cases.UnitBad)}, Said{}, "1", 0, 0},
		"found good":                                {[]cases.Draft{received(), moved(cases.ShopEvaluated, cases.UnitGood)}, Said{}, "0", 0, 0},
		"said to be something else":                 {[]cases.Draft{received(), moved(cases.ShopEvaluated, cases.UnitBad)}, Said{Bad: "0.5"}, "1/2", 0, 0},
	} {
		store, card := keptUnit(t, row.story...)
		d, err := DecideUnit(t.Context(), store, card, "shop.yaml", shopPrices(t), &row.said)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if c := d.Case; c.Bad.RatString() != row.bad || c.SerialReturns != row.serial || c.LocationReturns != row.location || !c.Pulled || c.Revision != "C" {
			t.Errorf("%s: the decision is of %s bad, %d returns of it, %d of its place, revision %q", name, c.Bad.RatString(), c.SerialReturns, c.LocationReturns, c.Revision)
		}
	}
	store, card := keptUnit(t, received())
	if _, err := DecideUnit(t.Context(), store, card, "shop.yaml", shopPrices(t), &Said{}); !errors.Is(err, ErrBadUnknown) {
		t.Errorf("where nothing proves it good or bad: %v", err)
	}
	_, err := DecideUnit(context.Background(), store, card, "shop.yaml", []byte("prices: [\n"), &Said{Bad: "2", Age: "old"})
	if err == nil || !strings.Contains(err.Error(), "shop.yaml") || strings.Count(err.Error(), ": say ") != 2 {
		t.Errorf("a bad sheet, a bad chance and a bad age: %v", err)
	}
}

// An offer has the ways and the prices of the decision, and says what the sheet notes.
func TestAnOfferIsOfItsDecision(t *testing.T) {
	p, err := rulebase.ReadPrices("shop.yaml", shopPrices(t))
	if err != nil {
		t.Fatal(err)
	}
	d, err := Decide(p, ways.Case{Bad: big.NewRat(1, 1), Pulled: true})
	if err != nil {
		t.Fatal(err)
	}
	offer := NewOffer(d, "2031-06-01", "Ask for anna.")
	if offer.Until != "2031-06-01" || offer.Currency != "XTS" || offer.Prices != "Weir street shop" || offer.Bad != "1.0000" || offer.Note != "Ask for anna. Invented, all of it. Write your own." {
		t.Errorf("the offer is %+v", offer)
	}
	got := map[string][3]string{}
	for _, w := range offer.Ways {
		got[w.Way] = [3]string{w.Price, w.Hours, w.Warranty}
	}
	if diff := cmp.Diff(map[string][3]string{ // prices and times as they stand on the sheet
		"repair": {"640.00", "80", "12"}, "repair_fast": {"860.00", "24", "12"}, "exchange": {"1300.00", "18", "12"}, "new": {"2400.00", "120", "12"}, "redesign": {"9000.00", "40", ""}, "put_back": {"120.00", "16", ""},
	}, got); diff != "" {
		t.Errorf("offered are (-want +got):\n%s", diff)
	}
	p.Note = ""
	for said, want := range map[string]string{"": "", "Ask for anna": "Ask for anna"} {
		if offer := NewOffer(d, "", said); offer.Note != want {
			t.Errorf("%q becomes the note %q", said, offer.Note)
		}
	}
	p.Note = "Invented."
	for note, want := range map[string]string{"Shall we?": "Shall we? Invented.", "Call us!": "Call us! Invented.", "By post.": "By post. Invented.", "By post ": "By post. Invented."} {
		if offer := NewOffer(d, "", note); offer.Note != want {
			t.Errorf("the note %q is %q", note, offer.Note)
		}
	}
	if offer := NewOffer(d, "", ""); offer.Note != "Invented." {
		t.Errorf("the note is %q", offer.Note)
	}
	var may []cases.ShopState
	for _, s := range cases.ShopStates {
		if MayOffer(s) {
			may = append(may, s)
		}
	}
	if diff := cmp.Diff([]cases.ShopState{cases.ShopEvaluated, cases.ShopAwaiting, cases.ShopInRepair, cases.ShopInTest}, may); diff != "" {
		t.Errorf("an offer may be made in (-want +got):\n%s", diff)
	}
}

// Parts that were renewed are read with their number and where they are from.
func TestPartsAreRead(t *testing.T) {
	for text, want := range map[string]cases.Part{
		"2x fuse": {Name: "fuse", Number: 2}, "2X fuse": {Name: "fuse", Number: 2}, "2 X fuse@lot 3": {Name: "fuse", Number: 2, Trace: "lot 3"}, "2× fuse": {Name: "fuse", Number: 2}, "2 ×fuse": {Name: "fuse", Number: 2},
		"12  x  fuse": {Name: "fuse", Number: 12}, "5x20 fuse": {Name: "5x20 fuse", Number: 1}, "5×20 fuse": {Name: "5×20 fuse", Number: 1}, "2xfuse": {Name: "2xfuse", Number: 1},
		"relay": {Name: "relay", Number: 1}, "2 x relay": {Name: "relay", Number: 2}, " 3 x fuse, 2 A @ lot 17 ": {Name: "fuse, 2 A", Number: 3, Trace: "lot 17"},
		"0 x relay": {Name: "0 x relay", Number: 1}, "-1 x relay": {Name: "-1 x relay", Number: 1}, "plug 9 x 2": {Name: "plug 9 x 2", Number: 1}, "1 x a@b@c": {Name: "a@b", Number: 1, Trace: "c"}, "@lot 17": {Name: "@lot 17", Number: 1},
	} {
		parts, bad, ok := ReadParts([]string{text})
		if !ok || bad != "" || len(parts) != 1 || parts[0] != want {
			t.Errorf("%q is read as %+v, %q, %v", text, parts, bad, ok)
		}
	}
	for _, text := range []string{"", "  "} {
		if parts, bad, ok := ReadParts([]string{"relay", text}); ok || bad != text || parts != nil {
			t.Errorf("%q is read as %+v, %q, %v", text, parts, bad, ok)
		}
	}
	if parts, _, ok := ReadParts(nil); !ok || parts == nil {
		t.Errorf("no part is %v, %v", parts, ok)
	}
}

// A move follows the bench record that it names: the newest issue says the verdict, and what goes against
// it is named.
func TestAMoveFollowsItsRecord(t *testing.T) {
	c := &cases.Card{}
	for _, r := range []cases.Record{{Number: "R-1", Issue: 2, Verdict: cases.UnitBad}, {Number: "R-1", Issue: 1, Verdict: cases.UnitGood}, {Number: "R-2", Issue: 1}, {Number: "R-3", Issue: 1, Verdict: cases.UnitGood}} {
		c.Records = append(c.Records, cases.Said[cases.Record]{Body: r})
	}
	for name, row := range map[string]struct {
		move    cases.Move
		verdict string
		record  string
		against int // the issue that speaks against it
	}{
		"it says the verdict":              {cases.Move{To: cases.ShopEvaluated, Record: "r-1"}, cases.UnitBad, "R-1", 0},
		"the same verdict":                 {cases.Move{To: cases.ShopEvaluated, Record: "R-1", Verdict: cases.UnitBad}, cases.UnitBad, "R-1", 0},
		"another verdict":                  {cases.Move{To: cases.ShopEvaluated, Record: "R-1", Verdict: cases.UnitGood}, cases.UnitGood, "R-1", 2},
		"released though bad":              {cases.Move{To: cases.ShopReleased, Record: "R-1"}, "", "R-1", 2},
		"released though bad, with a word": {cases.Move{To: cases.ShopReleased, Record: "r-1", Consent: "4711"}, "", "R-1", 0},
		"released and good":                {cases.Move{To: cases.ShopReleased, Record: "r-3"}, "", "R-3", 0},
		"sent back, bad":                   {cases.Move{To: cases.ShopReturned, Record: "r-1"}, "", "R-1", 0},
		"no verdict":                       {cases.Move{To: cases.ShopEvaluated, Record: "r-2"}, "", "r-2", 0},
		"of other books":                   {cases.Move{To: cases.ShopEvaluated, Record: "2031-7"}, "", "2031-7", 0},
		"none named":                       {cases.Move{To: cases.ShopReleased}, "", "", 0},
	} {
		m := row.move
		against := ByRecord(c, &m)
		issue := 0
		if against != nil {
			issue = against.Issue
		}
		if m.Verdict != row.verdict || m.Record != row.record || issue != row.against {
			t.Errorf("%s: verdict %q, record %q, against it issue %d", name, m.Verdict, m.Record, issue)
		}
	}
	if r := recorded(t, nil, []bench.Event{{Hash: "h"}}); r != nil {
		t.Errorf("of no unit there is the record %+v", r)
	}
	for i := range c.Records {
		c.Records[i].Body.Head = "h" + c.Records[i].Body.Number
	}
	if r := recorded(t, c, []bench.Event{{Hash: "h"}, {Hash: "hR-1"}}); r == nil || r.Issue != 2 {
		t.Errorf("the last record of a run is %+v", r)
	}
	if r := recorded(t, c, []bench.Event{{Hash: "h"}, {Hash: "hR-1"}, {Hash: "a note later"}}); r == nil || r.Issue != 2 {
		t.Errorf("the last record of a run that was gone on with is %+v", r)
	}
	if r := recorded(t, c, []bench.Event{{Hash: "other"}}); r != nil {
		t.Errorf("of another run there is the record %+v", r)
	}
}

// recorded is the record of a run whose store keeps nothing of runs.
func recorded(t *testing.T, c *cases.Card, run []bench.Event) *cases.Record {
	t.Helper()
	r, older, err := Recorded(t.Context(), nil, c, run)
	if older || err != nil {
		t.Errorf("an older copy: %v, %v", older, err)
	}
	return r
}

// A record counts for the stay in which it was first issued: an issue of it that was written later shows no more.
func TestARecordIsOfItsStay(t *testing.T) {
	record := func(number string, issue int, day int) cases.Said[cases.Record] {
		return cases.Said[cases.Record]{Event: cases.Event{Draft: cases.Draft{At: noon.AddDate(0, 0, day)}}, Body: cases.Record{Number: number, Issue: issue, Verdict: cases.UnitGood}}
	}
	c := &cases.Card{Stays: []*cases.Stay{{Came: noon}, {Came: noon.AddDate(0, 0, 10)}}}
	c.Records = []cases.Said[cases.Record]{record("R-1", 1, 2), record("R-2", 1, 12), record("R-1", 2, 13)}
	for number, want := range map[string]bool{"r-1": true, "R-2": false, "2031-7": false, "": false} {
		if got := Earlier(c, number); got != want {
			t.Errorf("%q is of an earlier stay: %v", number, got)
		}
	}
	if got := LastRecord(c); got != "R-2" {
		t.Errorf("the last record of the stay is %q", got)
	}
	c.Records = c.Records[:1]
	if got := LastRecord(c); got != "" {
		t.Errorf("the last record of the stay is %q, and there is none", got)
	}
	c.Stays = c.Stays[1:] // it was at the bench before somebody wrote down that it came
	if Earlier(c, "R-1") {
		t.Error("of one stay a record is earlier")
	}
}

// A record says when its unit came in without being told: by the stay in which its run began, and the bench's calendar.
func TestARecordSaysWhenItsUnitCame(t *testing.T) {
	late := time.Date(2031, 5, 4, 22, 30, 0, 700_000_000, time.UTC) // the 5th at the bench
	c := &cases.Card{Stays: []*cases.Stay{{Came: noon.AddDate(0, 0, -90)}, {Came: late}}}
	for _, x := range []struct {
		began      time.Time
		said, want string
		card       *cases.Card
	}{
		{late.AddDate(0, 0, 1), "", "2031-05-05", c},
		{late.Truncate(time.Second), "", "2031-05-05", c},
		{late.AddDate(0, 0, 1), "2031-05-03", "2031-05-03", c},
		{late.Add(-time.Hour), "", noon.AddDate(0, 0, -90).Format(time.DateOnly), c},
		{noon.AddDate(-1, 0, 0), "", "", c},
		{late, "", "", &cases.Card{}},
		{late, "", "", nil},
	} {
		said := report.RecordContent{Received: x.said}
		if CameIn(&said, []bench.Event{{At: x.began, Zone: 120}, {At: late.AddDate(1, 0, 0)}}, x.card); said.Received != x.want {
			t.Errorf("of a run begun on %s it came in on %q, not %q", x.began, said.Received, x.want)
		}
	}
	var none report.RecordContent
	if CameIn(&none, nil, c); none.Received != "" {
		t.Errorf("of no run it came in on %q", none.Received)
	}
}
