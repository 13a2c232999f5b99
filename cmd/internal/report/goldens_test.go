package report_test

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// holds compares a text with its golden file word by word, and a JSON document so that
// it may only gain fields.
func holds(t *testing.T, name string, text, object func(io.Writer) error) {
	t.Helper()
	if text != nil {
		var b bytes.Buffer
		if err := text(&b); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(golden(t, name+".txt", b.String()), b.String()); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		fitsScreen(t, name, b.String())
	}
	var b bytes.Buffer
	if err := object(&b); err != nil {
		t.Fatal(err)
	}
	want := golden(t, name+".json", b.String())
	for _, says := range lacks("", document(t, []byte(want)), document(t, b.Bytes())) {
		t.Errorf("%s.json: %s", name, says)
	}
}

// fitsScreen holds text to the 80 columns that it was asked for.
func fitsScreen(t *testing.T, name, text string) {
	t.Helper()
	for line := range strings.Lines(text) {
		if n := utf8.RuneCountInString(strings.TrimRight(line, "\n")); n > 80 {
			t.Errorf("%s: a line of %d letters: %s", name, n, line)
		}
	}
}

func TestChartGolden(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	p := engine.Prepare(base)
	tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{Nodes: 6})
	if err != nil {
		t.Fatal(err)
	}
	chart := report.NewChart(p, s, tree, []string{"jumper, terminals 3 and 4"})
	holds(t, "chart", func(w io.Writer) error { return chart.Text(w, 80, report.ChartKind{}) }, func(w io.Writer) error { return chart.JSON(w, report.ChartKind{}) })
}

// What does not go onto one side of paper is not printed on two.
func TestPageThatIsFull(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	s := rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}
	p := engine.Prepare(base)
	tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{Nodes: 6})
	if err != nil {
		t.Fatal(err)
	}
	var page bytes.Buffer
	if err := report.NewChart(p, s, tree, slices.Repeat([]string{"jumper, terminals 3 and 4"}, 100)).Page(&page, "a4", report.ChartKind{}); !errors.Is(err, report.ErrPageFull) || page.Len() > 0 {
		t.Errorf("%v, and %d bytes were written", err, page.Len())
	}
	if err := report.NewChart(p, s, tree, []string{"jumper, terminals 3 and 4"}).Page(&page, "a4", report.ChartKind{}); err != nil || !strings.Contains(page.String(), "STILL IN PLACE") {
		t.Errorf("%v: %s", err, page.String())
	}
}

func TestCaseGoldens(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	var head cases.Head
	var events []cases.Event
	say := func(kind cases.Kind, body any) {
		d := cases.Say(kind, body)
		d.ID, d.Subject, d.At = "e"+string(rune('a'+len(events))), cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 5, 28, 9, len(events), 0, 0, time.UTC)
		e, err := cases.Seal(d, "weir", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	say(cases.KindOpened, cases.Opening{Code: "K7Q4M2", Location: "Tide mill, sluice", Drop: 5, Unit: cases.Unit{Type: "BIU-2", Serial: "B0815"}, Complaint: "silent since the storm"})
	say(cases.KindFinding, cases.FindingBody{Symptom: "power_light", Value: cases.ValueBody{Word: "dark"}, By: "caller"})
	say(cases.KindPutIn, cases.PutIn{What: "jumper", Where: "terminals 3 and 4", Until: "the ohms are read"})
	say(cases.KindSetting, cases.Setting{Name: "address", When: "found", Value: "5"})
	say(cases.KindNote, cases.Note{Text: "the cabinet was wet"})
	say(cases.KindReference, cases.Reference{Kind: "work_order", Text: "W-2231"})
	say("from_tomorrow", map[string]int{"x": 1})
	c := cases.Fold(events)
	earlier := &cases.Earlier{SameLocation: []cases.Summary{{ID: "c0", Code: "M31XW9", Location: "Tide mill, sluice", Serial: "B0001", State: cases.StateClosed, Opened: time.Date(2031, 4, 1, 0, 0, 0, 0, time.UTC), Causes: []string{"supply_off"}, Outcome: "unit_out", UnitVerdict: cases.UnitGood}}, ForLocation: true}
	d, err := engine.Diagnose(context.Background(), engine.Prepare(base), c.Situation, engine.Options{Weights: true})
	if err != nil {
		t.Fatal(err)
	}
	holds(t, "case", func(w io.Writer) error { return report.CaseText(w, 80, d, c, earlier) }, func(w io.Writer) error { return report.CaseJSON(w, base, c, earlier) })
	list := append([]cases.Summary{c.Summary()}, earlier.SameLocation...)
	holds(t, "cases", func(w io.Writer) error {
		return report.CasesText(w, 80, base, list, time.Date(2031, 5, 30, 12, 0, 0, 0, time.UTC))
	}, func(w io.Writer) error { return report.CasesJSON(w, list) })

	list[0].Location, list[0].Complaint = "=HYPERLINK(\"x\")", "a \"quoted\", line\nbroken"
	var csv bytes.Buffer
	if err := report.CasesCSV(&csv, list); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff(golden(t, "cases.csv", csv.String()), csv.String()); diff != "" {
		t.Errorf("cases.csv (-golden +got):\n%s", diff)
	}
}

func TestContestGolden(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	contest := report.NewContest(base, 3, 4)
	x, err := rehearse.Contest(context.Background(), base, rehearse.Options{Cases: 4, Seed: 3, Places: []rulebase.Place{rulebase.Phone}, Variant: rehearse.Own}, rehearse.Rivals(base))
	if err != nil {
		t.Fatal(err)
	}
	contest.Add(x)
	holds(t, "contest", func(w io.Writer) error { return contest.Text(w, 80) }, contest.JSON)
}

// The example sheet, checked and asked, in words at 80 columns and for programs.
func TestLineGoldens(t *testing.T) {
	text, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet("tide_mill.yaml", text, sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	results := sheet.Check(s)
	holds(t, "line_check", func(w io.Writer) error { return report.SheetText(w, s, results, 80) }, func(w io.Writer) error { return report.SheetJSON(w, s, results) })
	ohms := &report.Ohms{Sheet: s, Where: "host", Reading: 148, States: sheet.Explain(s, 0, 148, false)}
	holds(t, "line_ohms", func(w io.Writer) error { return ohms.Text(w, 80) }, ohms.JSON)
	ways, known := sheet.Expected(s, 180, []float64{250}, nil)
	expected := &report.Expected{Sheet: s, AtM: 180, Where: "sluice", Cuts: []float64{250}, Ways: ways, Known: known}
	holds(t, "line_expected", func(w io.Writer) error { return expected.Text(w, 80) }, expected.JSON)
	echo, _ := sheet.EchoOf(s, 8)
	holds(t, "line_echo", func(w io.Writer) error { return report.EchoText(w, s, &echo, 80) }, func(w io.Writer) error { return report.EchoJSON(w, s, &echo) })
	at, found := sheet.ToShort(s, 18, false)
	locate := &report.Locate{Sheet: s, Kind: report.LocateShort, Found: found, AtM: at, Reading: 18}
	holds(t, "line_locate", func(w io.Writer) error { return locate.Text(w, 80) }, locate.JSON)
}
