package report_test

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"html"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
	"downdrop/testdata/support/browser"
)

// unitOf folds drafts about one unit, an hour apart.
func unitOf(t *testing.T, u cases.Unit, drafts ...cases.Draft) *cases.Card {
	t.Helper()
	var head cases.Head
	var events []cases.Event
	for i, d := range drafts {
		d.ID, d.By, d.Subject = fmt.Sprint("e", i+1), "bench-1", cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(u)}
		d.At = time.Date(2031, 5, 28, 9+i, 0, 0, 0, time.UTC)
		e, err := cases.Seal(d, "weir", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	return cases.FoldUnit(events)
}

var unitNow = time.Date(2031, 6, 3, 12, 0, 0, 0, time.UTC)

// invented is a unit on its way, of an invented place, with words put in everywhere.
func invented(t *testing.T, word string) *cases.Card {
	u := cases.Unit{Type: "BIU-2", Serial: "B0815", Revision: "C" + word}
	return unitOf(t, u,
		cases.Say(cases.KindReceived, cases.Receipt{Unit: u, From: "customer-7", Complaint: word + "silent since the storm", Condition: "two pins bent" + word, Cases: []string{"c1"}}),
		cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed, From: word + "return note"}),
		cases.Say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Why: word + "no rail", Record: "2031-112" + word, Verdict: cases.UnitBad}),
		cases.Say(cases.KindOffer, cases.Offer{Currency: "XTS", Until: "2031-06-01", Prices: "Weir street shop", Digest: "d", Bad: "1.0000", Note: word + "invented figures",
			Ways: []cases.OfferedWay{{Way: "repair", Price: "640.00", Expected: "2913.61", Hours: "80", Warranty: "12"}, {Way: "exchange", Price: "1300.00", Expected: "1858.13", Hours: "18"}}}),
		cases.Say(cases.KindAnswer, cases.Answer{Offer: "e4", Way: "repair", How: word + "by phone", Order: "4711" + word}),
		cases.Say(cases.KindMoved, cases.Move{To: cases.ShopInRepair, Why: "agreed" + word}),
		cases.Say(cases.KindWork, cases.Work{Section: "supply" + word, Did: word + "regulator renewed", As: "rework", Parts: []cases.Part{{Name: word + "capacitor", Number: 2, Trace: "lot 17" + word}}, Solder: "leaded", Minutes: 40}),
		cases.Say(cases.KindMoved, cases.Move{To: cases.ShopReleased, Why: "does not fit"}),
		cases.Say(cases.KindNote, cases.Note{Text: word + "opened before"}))
}

func inventedMonth(t *testing.T, word string) *cases.Month {
	table := cases.NewMonthTable(time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC), time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC))
	table.Add(invented(t, ""))
	word = word[:min(len(word), 150)] // a unit's id is no longer
	other := cases.Unit{Type: word + "large unit", Serial: "L1"}
	table.Add(unitOf(t, other, cases.Say(cases.KindReceived, cases.Receipt{Unit: other}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Verdict: cases.UnitGood, Why: "x"}),
		cases.Say(cases.KindMoved, cases.Move{To: cases.ShopAwaiting, Why: "x"}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopReleased, Why: "x"})))
	waiting := cases.Unit{Type: "large unit", Serial: "L2"}
	table.Add(unitOf(t, waiting, cases.Say(cases.KindReceived, cases.Receipt{Unit: waiting}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopEvaluated, Verdict: cases.UnitBad, Why: "x"}), cases.Say(cases.KindMoved, cases.Move{To: cases.ShopAwaiting, Why: "x"})))
	return table.Month()
}

func noteCase(t *testing.T, word string) *cases.Case {
	t.Helper()
	var head cases.Head
	var events []cases.Event
	for i, d := range []cases.Draft{
		cases.Say(cases.KindOpened, cases.Opening{Code: "K7Q4M2", Location: word + "Tide mill, sluice", Drop: 5, Unit: cases.Unit{Type: "BIU-2" + word, Serial: "B0815"}, Complaint: word + "silent since the storm"}),
		cases.Say(cases.KindSetting, cases.Setting{Name: "address", When: "found", Value: "5" + word}),
		cases.Say(cases.KindPutIn, cases.PutIn{What: "jumper", Where: "terminals 3 and 4" + word}),
		cases.Say(cases.KindReference, cases.Reference{Kind: "return", Text: "R-17" + word}),
		cases.Say(cases.KindReturnNote, cases.ReturnNote{Contamination: cases.Contamination{State: cases.Decontaminated, With: word + "cutting oil", How: "degreased" + word}, Packing: word + "the unit alone"}),
	} {
		d.ID, d.Subject, d.At = fmt.Sprint("e", i+1), cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 5, 28, 9, i, 0, 0, time.UTC)
		e, err := cases.Seal(d, "weir", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	return cases.Fold(events)
}

func TestUnitGoldens(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	c := invented(t, "")
	holds(t, "unit", func(w io.Writer) error { return report.UnitText(w, 80, c, map[string]string{"c1": "K7Q4M2"}, unitNow) }, func(w io.Writer) error { return report.UnitJSON(w, c, unitNow) })
	list := []*cases.Card{c}
	holds(t, "units", func(w io.Writer) error { return report.UnitsText(w, 80, list, false, unitNow) }, func(w io.Writer) error { return report.UnitsJSON(w, list, unitNow) })
	m := inventedMonth(t, "")
	holds(t, "shop_month", func(w io.Writer) error { return report.MonthText(w, 80, m) }, func(w io.Writer) error { return report.MonthJSON(w, m) })
	note := noteCase(t, "")
	holds(t, "return_note", func(w io.Writer) error { return report.NewReturnNote(base, note).Text(w, 80) }, func(w io.Writer) error { return report.ReturnNoteJSON(w, note) })
	var csv bytes.Buffer
	if err := report.MonthCSV(&csv, m); err != nil {
		t.Fatal(err)
	}
	if want := golden(t, "shop_month.csv", csv.String()); want != csv.String() {
		t.Errorf("shop_month.csv:\n%s\nwant\n%s", csv.String(), want)
	}
}

// pasted are texts that people paste, and that would break a printer that does not escape.
func pasted() []string {
	out := []string{
		"<script>alert(1)</script>", "\"><img src=x onerror=alert(1)>", "</title><svg onload=alert(1)>", "&lt;b&gt;", "{{.Title}}", "=HYPERLINK(\"x\",\"y\")", "+1+1", "-1+1", "@SUM(A1)", "\t=1", "\r=1", "|cmd", "%0A", "＝1",
		"\u202e reversed", "\u0000", "\u001b[31m red", "\u001b]0;title\u0007", "line\nbreak", "a\r\nb", "\ufeff", "\u2028", "\u2029", "\"quoted\"", "'single'", "`back`", "\\", "a,b;c", strings.Repeat("x", 3000), strings.Repeat("ß", 500), "javascript:alert(1)", "<!--", "-->", "]]>", "<![CDATA[", "&#x0;", "&amp;", "\u0301\u0301\u0301", "😀", "％d%s%n",
	}
	for i := range 160 {
		out = append(out, strings.Repeat("<\"'&=", 1+i%7)+string(rune(0x20+i))+out[i%40])
	}
	return out
}

func TestHostileTextsInUnits(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	texts := pasted()
	if len(texts) < 200 {
		t.Fatalf("only %d", len(texts))
	}
	for _, word := range texts {
		word = strings.ReplaceAll(word, "\u0000", "") // no store takes it
		c, m, note := invented(t, word), inventedMonth(t, word), noteCase(t, word)
		for name, x := range map[string]*report.Paper{"return note": report.NewReturnNote(base, note), "offer": report.NewOfferPaper(c, c.Stay().Offer())} {
			var page bytes.Buffer
			if err := x.HTML(&page); err != nil {
				t.Fatal(err)
			}
			if got, want := tags(page.String()), tags(plainPage(t, x, base, name)); got != want {
				t.Fatalf("%s, %.60q: its tags are\n%s\nwant\n%s", name, word, got, want)
			}
			checkPlain(t, name, word, func(w io.Writer) error { return x.Text(w, 80) })
		}
		checkPlain(t, "unit", word, func(w io.Writer) error { return report.UnitText(w, 80, c, nil, unitNow) })
		checkPlain(t, "entries", word, func(w io.Writer) error { return report.UnitEntries(w, 80, c) })
		checkPlain(t, "list", word, func(w io.Writer) error { return report.UnitsText(w, 80, []*cases.Card{c}, false, unitNow) })
		checkPlain(t, "month", word, func(w io.Writer) error { return report.MonthText(w, 80, m) })
		for _, table := range []func(io.Writer) error{func(w io.Writer) error { return report.MonthCSV(w, m) }, func(w io.Writer) error { return report.UnitsCSV(w, []*cases.Card{c}, unitNow) }} {
			var b bytes.Buffer
			if err := table(&b); err != nil {
				t.Fatal(err)
			}
			rows, err := csv.NewReader(&b).ReadAll()
			if err != nil {
				t.Fatalf("%.60q: %v", word, err)
			}
			for _, row := range rows {
				for _, cell := range row {
					if cell != "" && cell != "-" && strings.ContainsRune("=+-@\t\r|%＝", []rune(cell)[0]) {
						t.Errorf("%.60q: the cell %.60q is a formula", word, cell)
					}
				}
			}
		}
	}
}

// plainPage is the page of the same paper without hostile words.
func plainPage(t *testing.T, like *report.Paper, base *rulebase.Base, name string) string {
	t.Helper()
	x := report.NewReturnNote(base, noteCase(t, ""))
	if name == "offer" {
		c := invented(t, "")
		x = report.NewOfferPaper(c, c.Stay().Offer())
	}
	if len(x.Parts) != len(like.Parts) {
		t.Fatalf("%d parts, want %d", len(like.Parts), len(x.Parts))
	}
	var page bytes.Buffer
	if err := x.HTML(&page); err != nil {
		t.Fatal(err)
	}
	return page.String()
}

// tags are the tags of a page, in their order.
func tags(page string) string {
	var out []string
	for {
		i := strings.IndexByte(page, '<')
		if i < 0 {
			return strings.Join(out, "")
		}
		j := strings.IndexByte(page[i:], '>')
		if j < 0 {
			return strings.Join(append(out, "open"), "")
		}
		out = append(out, html.UnescapeString(page[i:i+j+1]))
		page = page[i+j+1:]
	}
}

// checkPlain holds a text for a terminal to having no letters that steer one.
func checkPlain(t *testing.T, name, word string, text func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	if err := text(&b); err != nil {
		t.Fatal(err)
	}
	for _, c := range b.String() {
		if c < ' ' && c != '\n' || c == 0x7f || c == '\u202e' {
			t.Fatalf("%s: %.60q leaves %U in the text", name, word, c)
		}
	}
}

// The papers are read on a phone and printed: nothing runs in them, nothing is fetched, and
// the page is no wider than the screen, whatever somebody wrote.
func TestPapersInABrowser(t *testing.T) {
	t.Parallel()
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	word := "<script>alert(1)</script>\"><img src=//example.invalid/x onerror=alert(1)>" + strings.Repeat("w", 300)
	c := invented(t, word)
	for name, x := range map[string]*report.Paper{"return note": report.NewReturnNote(base, noteCase(t, word)), "offer": report.NewOfferPaper(c, c.Stay().Offer())} {
		file := filepath.Join(t.TempDir(), "paper.html")
		var out bytes.Buffer
		if err := x.HTML(&out); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(file, out.Bytes(), 0o600); err != nil {
			t.Fatal(err)
		}
		tab := browser.New(t, browser.Options{Width: 360, Height: 740, Offline: true})
		tab.Run(chromedp.Navigate("file://" + file))
		var wide, scripts int
		var text string
		tab.Eval(`document.documentElement.scrollWidth`, &wide)
		tab.Eval(`document.querySelectorAll("script,img").length`, &scripts)
		tab.Eval(`document.body.innerText`, &text)
		if wide > 360 || scripts > 0 || !strings.Contains(text, "<script>alert(1)</script>") {
			t.Errorf("%s: %d wide, %d scripts and pictures", name, wide, scripts)
		}
	}
}

// What somebody read of a unit's settings stands whole on what goes with it, however long it is.
func TestLongSettingsAreNotCutOff(t *testing.T) {
	var head cases.Head
	var events []cases.Event
	const wires = "trunk in on port one, trunk out on port two, supply plus on terminal 3, return on 4, earth on the rail"
	for i, d := range []cases.Draft{
		cases.Say(cases.KindOpened, cases.Opening{Code: "K7Q4M2", Location: "Tide mill, sluice", Drop: 5}),
		cases.Say(cases.KindSetting, cases.Setting{Name: "ports_and_wires", When: cases.AsFound, Value: wires}),
		cases.Say(cases.KindSetting, cases.Setting{Name: "address", When: cases.AsFound, Value: "5"}),
	} {
		d.ID, d.Subject, d.At = fmt.Sprint("c", i+1), cases.Subject{Kind: cases.AboutCase, ID: "case-1"}, unitNow
		e, err := cases.Seal(d, "weir", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	c := cases.Fold(events)
	for name, write := range map[string]func(io.Writer) error{
		"return note":    func(w io.Writer) error { return report.NewReturnNote(&rulebase.Base{}, c).Text(w, 80) },
		"settings sheet": func(w io.Writer) error { return report.SettingsSheet(w, 80, c) },
	} {
		var b bytes.Buffer
		if err := write(&b); err != nil {
			t.Fatal(err)
		}
		if text := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(text, wires) || !strings.Contains(text, "address 5 not read") {
			t.Errorf("the %s does not say all:\n%s", name, &b)
		}
		fitsScreen(t, name, b.String())
	}
}

// Entries are folded to the screen, however long their bodies are.
func TestEntriesFitTheScreen(t *testing.T) {
	body := `{"digest":"` + strings.Repeat("a", 64) + `","name":"a \"b\", c\\","values":[` + strings.Repeat(`"11 units",`, 40) + `"end"]}`
	e := cases.Event{Draft: cases.Draft{Kind: "kind_of_tomorrow", Body: []byte(body)}}
	c := &cases.Card{Events: []cases.Event{e}}
	var out strings.Builder
	if err := report.UnitEntries(&out, 80, c); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(out.String()) {
		if len(strings.TrimRight(line, "\n")) > 80 {
			t.Errorf("longer than 80 columns: %q", line)
		}
	}
	if flat := strings.Join(strings.Fields(out.String()), " "); !strings.Contains(flat, `"a \"b\", c\\", "values": ["11 units", "11 units"`) {
		t.Errorf("got %q", flat)
	}
}
