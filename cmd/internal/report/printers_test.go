package report_test

import (
	"bytes"
	"context"
	"fmt"
	"image/png"
	"io"
	"math"
	"os"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/engine/rehearse"
	"downdrop/engine/review"
	"downdrop/engine/sheet"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// reads compares what printers wrote, one behind the other, with a golden file.
func reads(t *testing.T, name string, write ...func(io.Writer) error) {
	t.Helper()
	var b bytes.Buffer
	for i, w := range write {
		if i > 0 {
			b.WriteString(strings.Repeat("=", 80) + "\n")
		}
		if err := w(&b); err != nil {
			t.Fatal(err)
		}
	}
	if diff := cmp.Diff(golden(t, name, b.String()), b.String()); diff != "" {
		t.Errorf("%s (-golden +got):\n%s", name, diff)
	}
	fitsScreen(t, name, b.String())
}

// A procedure with a reading of each kind, a force, a warning and a step that a fact decides. Invented.
const eachKind = `
procedure: each
name: One of each
version: 3
source: common_practice
proves: That each kind of reading is said.
not_tested: [All the rest]
forces:
  lid_off: The lid is off
warnings:
  sharp: {level: warning, says: The edge of the lid is sharp.}
steps:
  - step: open
    name: Open it
    minutes: 2
    warnings: [sharp]
    puts_in: [lid_off]
    connect: Nothing.
    set: Nothing.
    do: Take the lid off.
    expect: no dust
    readings:
      - {reading: dust, ask: "How is it inside?", one_of: [clean, dusty, wet], passes: [clean, dusty]}
  - step: volts
    name: Volts
    minutes: 1
    do: Measure.
    readings:
      - {reading: volts_read, ask: "Volts", unit: V, with: multimeter, least: supply_low, most: supply_high, source: common_practice}
  - step: never
    name: Only for mains
    when: supply_mains
    minutes: 9
    do: Look.
    readings:
      - {reading: lit, ask: "Is it lit?"}
  - step: close
    name: Close it
    minutes: 1
    takes_out: [lid_off]
    do: Put the lid on.
    readings:
      - {reading: closed, ask: "Is it closed?"}
`

func TestARunAtTheBenchReadsAsWritten(t *testing.T) {
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	p, err := base.ReadProcedure("each.yaml", []byte(eachKind))
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	events := []bench.Event{bench.Append(nil, bench.Event{Kind: bench.Begun, Values: map[string]string{"program": "v1 (invented)", "rulebase": "drop", "rulebase_version": "1", "rulebase_digest": "ab"}}, at)}
	state := func() *bench.State {
		s, err := bench.Run(p, profiles[0], events)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	likely := &engine.Diagnosis{Base: base, Possible: true, UnitOut: 0.9}
	session := func(entries ...string) func(io.Writer) error {
		return func(w io.Writer) error {
			events = events[:1]
			var before *bench.State
			for _, entry := range entries {
				s := state()
				if err := report.BenchStep(w, s, before, 80); err != nil {
					return err
				}
				v := report.NewBenchView(s)
				fmt.Fprintf(w, "[a screen: %s; %d, %d, %d]\n[%s]\n> %s\n", v.Step, len(v.Forces), len(v.Warnings), len(v.Lines), v.Ask, entry)
				draft, err := s.Enter(entry)
				if err != nil {
					return fmt.Errorf("%q for %+v: %w", entry, s.Wants, err)
				}
				at = at.Add(time.Minute)
				events = append(events, bench.Append(events, draft, at))
				if err := report.BenchTaken(w, state(), s, events[len(events)-1], likely, 80); err != nil {
					return err
				}
				before = s
			}
			if err := report.BenchStep(w, state(), before, 80); err != nil {
				return err
			}
			return report.BenchRun(w, state(), 80)
		}
	}
	reads(t, "bench_session.txt",
		session("bench-2", "no", "yes", "read", "3", "undo", "2", "note that it hums", "meter 3 until 2031-05-03", "24.1 V", "yes"),
		session("bench-2", "yes", "no", "read", "wet", "not done since there is no meter", "yes"),
		session("bench-2", "yes", "no", "read", "clean"),
		func(w io.Writer) error { return report.BenchProcedure(w, p, nil, 80) },
		func(w io.Writer) error { return report.BenchProcedure(w, p, profiles[0], 80) },
		func(w io.Writer) error { return report.BenchList(w, []*rulebase.Procedure{p}, profiles[:2], 80) })
}

func TestLayersReadAsWritten(t *testing.T) {
	b := layered(t)
	reads(t, "layers.txt",
		func(w io.Writer) error { return report.LayersText(w, b, 80, false) },
		func(w io.Writer) error { return report.LayersText(w, b, 80, true) })
}

func TestKindsOfFindingsReadAsWritten(t *testing.T) {
	kind := func(name string) review.Kind {
		for _, k := range review.Kinds() {
			if k.Name == name {
				return k
			}
		}
		t.Fatalf("no kind is called %s", name)
		return review.Kind{}
	}
	explained := func(name string) func(io.Writer) error {
		return func(w io.Writer) error { return report.Explain(w, 80, kind(name)) }
	}
	reads(t, "check_explain.txt", explained("never-holds"), explained("never-first"),
		func(w io.Writer) error { return report.ExplainError(w, 80, "syntax", "it is no YAML") })
}

func TestChartAsRows(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	rows := func(s rulebase.Situation, nodes int) func(io.Writer) error {
		return func(w io.Writer) error {
			tree, err := engine.Chart(context.Background(), p, s, engine.ChartOptions{Nodes: nodes})
			if err != nil {
				return err
			}
			for _, r := range report.NewChart(p, s, tree, nil).Tree() {
				fmt.Fprintf(w, "%s%s %.3f %d of %d, last %v: %.25s\n", strings.Repeat(". ", r.Depth), r.Way, r.Chance, r.Number, r.Of, r.Last, r.Says)
			}
			return nil
		}
	}
	reads(t, "chart_rows.txt", rows(rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, 6), rows(rulebase.Situation{}, 1))
}

// A code for cameras is the same as text, as outline and as picture.
func TestACodeForCamerasInEachForm(t *testing.T) {
	code, err := report.QR("D7")
	if err != nil {
		t.Fatal(err)
	}
	var picture, text bytes.Buffer
	if err := code.PNG(&picture, 3); err != nil {
		t.Fatal(err)
	}
	image, err := png.Decode(&picture)
	if err != nil {
		t.Fatal(err)
	}
	if side := image.Bounds().Dx(); side != 3*(code.Size()+8) || side != image.Bounds().Dy() {
		t.Errorf("the picture is %v for a code of %d", image.Bounds(), code.Size())
	}
	if err := code.Text(&text); err != nil {
		t.Fatal(err)
	}
	lines := strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n")
	if want := (code.Size() + 5) / 2; len(lines) != want {
		t.Fatalf("%d lines of text, wants %d", len(lines), want)
	}
	halves := map[rune][2]bool{'█': {true, true}, '▀': {true, false}, '▄': {false, true}, ' ': {}}
	for y := range image.Bounds().Dy() {
		for x := range image.Bounds().Dx() {
			r, _, _, _ := image.At(x, y).RGBA()
			mx, my := x/3-4, y/3-4
			within := mx >= 0 && my >= 0 && mx < code.Size() && my < code.Size()
			if dark := within && code.Dark(mx, my); dark != (r == 0) {
				t.Fatalf("the picture at %d, %d", x, y)
			}
		}
	}
	for y := -2; y < code.Size()+2; y++ {
		line := strings.TrimSuffix(strings.TrimPrefix(lines[(y+2)/2], "  \x1b[30;107m"), "\x1b[0m")
		signs := []rune(line)
		if len(signs) != code.Size()+4 {
			t.Fatalf("a line of %d signs for a code of %d", len(signs), code.Size())
		}
		for x := -2; x < code.Size()+2; x++ {
			dark := x >= 0 && y >= 0 && x < code.Size() && y < code.Size() && code.Dark(x, y)
			if halves[signs[x+2]][(y+2)%2] != dark {
				t.Fatalf("the text at %d, %d: %s", x, y, line)
			}
		}
	}
}

// A case with something in every place that is printed. Invented.
func fullCase() (*cases.Case, *cases.Earlier) {
	at := time.Date(2031, 5, 28, 9, 0, 0, 0, time.UTC)
	event := func(id string) cases.Event { return cases.Event{Draft: cases.Draft{ID: id, At: at}} }
	file := func(name, digest string) cases.Said[cases.Attachment] {
		return cases.Said[cases.Attachment]{Event: event(name), Body: cases.Attachment{Name: name, Media: "image/png", Digest: digest, Bytes: 7}}
	}
	before := func(n int) []cases.Summary {
		var all []cases.Summary
		for i := range n {
			all = append(all, cases.Summary{Code: fmt.Sprintf("M%d", i+1), Opened: at.AddDate(0, -i-1, 0), State: cases.StateClosed, Causes: []string{"supply_off"}})
		}
		return all
	}
	low := rulebase.Value{IsNumber: true, Number: 12.5}
	c := &cases.Case{
		Code: "K7Q4M2", Opened: at, State: cases.StateClosed, Closing: &cases.Closing{Causes: []string{"supply_off"}, How: "It came back."},
		Opening: cases.Opening{Location: "Tide mill", Drop: 5, CallBack: "anna", Complaint: "silent"},
		Situation: rulebase.Situation{Drop: 5, Givens: []rulebase.GivenValue{{ID: "trunk_length", Value: low}},
			Findings: []rulebase.Finding{{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}}},
			Done:     []rulebase.Done{{ID: "switch_on"}, {ID: "replace_fuse", Drop: rulebase.Well}}},
		Proofs:      []string{"", "two hours"},
		Disposition: &cases.Disposed{What: "leave"},
		References:  []cases.Reference{{Kind: "work_order", Text: "W1"}},
		Notes:       []cases.Said[cases.Note]{{Event: event("n"), Body: cases.Note{Text: "wet"}}},
		Files:       []cases.Said[cases.Attachment]{file("a.png", "aa"), file("b.png", "bb")},
		Money:       []cases.Money{{For: "visit", Amount: "10.00", Currency: "XTS"}, {For: "repair", Amount: "5.50", Currency: "XTS"}},
		Settings:    map[string]cases.Setting{"found address": {Name: "address", When: "found", Value: "5"}, "left address": {Name: "address", When: "left", Value: "6"}, "found rate": {Name: "rate", When: "found", Value: "9600"}, "left rate": {Name: "rate", When: "left", Value: "9600"}},
		PutIn:       []cases.Said[cases.PutIn]{{Event: event("p1"), Body: cases.PutIn{What: "jumper", Where: "terminal 3"}}, {Event: event("p2"), Body: cases.PutIn{What: "other", Where: "a stone on the pedal"}}},
		HandedTo:    rulebase.Bench,
		Events:      []cases.Event{{Draft: cases.Draft{ID: "p1", At: at, By: "anna", Kind: cases.KindNote, Body: []byte(`{"text":"wet"}`)}}, {Draft: cases.Draft{ID: "p2", At: at, Kind: cases.KindNote, Body: []byte(`{}`)}}},
	}
	found := before(1)[0]
	return c, &cases.Earlier{SameUnit: before(6), OtherType: before(5), LooksLike: before(7), FoundGood: &found, NotHere: c.Attached()}
}

func TestAFullCaseReadsAsWritten(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	c, earlier := fullCase()
	bare := &cases.Case{Code: "K7Q4M2", HandedTo: rulebase.Bench}
	toField := &cases.Case{Code: "K7Q4M2", HandedTo: rulebase.Field}
	allRead := &cases.Case{Code: "K7Q4M2", Settings: map[string]cases.Setting{}}
	for _, name := range cases.SettingNames {
		allRead.Settings[cases.SettingKey(cases.AsFound, name)] = cases.Setting{Name: name, When: cases.AsFound, Value: "x"}
	}
	d := &engine.Diagnosis{Base: base}
	upTo80 := func(w io.Writer, text string) error {
		for line := range strings.Lines(text) {
			for len(line) > 80 {
				fmt.Fprintln(w, line[:80])
				line = line[80:]
			}
			io.WriteString(w, line)
		}
		_, err := io.WriteString(w, "\n")
		return err
	}
	lines := func(all []string) func(io.Writer) error {
		return func(w io.Writer) error { return upTo80(w, strings.Join(all, "\n")) }
	}
	reads(t, "case_full.txt",
		func(w io.Writer) error { return report.CaseText(w, 80, d, c, earlier) },
		func(w io.Writer) error { return report.CaseLine(w, 80, base, c) },
		func(w io.Writer) error { return report.CaseOpened(w, 80, base, c, earlier) },
		func(w io.Writer) error { return report.CaseOpened(w, 80, base, bare, nil) },
		func(w io.Writer) error { return report.TravelApart(w, 80, c, true) },
		func(w io.Writer) error { return report.TravelApart(w, 80, bare, false) },
		lines(report.TravelApartLines(c)),
		func(w io.Writer) error { return report.SettingsUnread(w, 80, c) },
		func(w io.Writer) error { return report.SettingsUnread(w, 80, allRead) },
		func(w io.Writer) error { return report.CaseCosts(w, 80, c) },
		func(w io.Writer) error { return report.CaseEvents(w, 80, c, map[string]string{"anna": "Anna"}) },
		func(w io.Writer) error { return report.SettingsSheet(w, 80, c) },
		func(w io.Writer) error {
			return report.HandOver(w, 80, d, c, []string{strings.Repeat("A", 80), strings.Repeat("B", 81)}, true)
		},
		func(w io.Writer) error { return report.HandOver(w, 80, d, bare, nil, false) },
		func(w io.Writer) error { return report.HandOver(w, 80, d, toField, nil, false) },
		func(w io.Writer) error {
			return upTo80(w, report.OpenPoints(base, c, []cases.OpenPoint{{Symptom: "power_light"}, {Event: "p2", PutIn: c.PutIn[1].Body}}))
		},
		func(w io.Writer) error { return report.CasesText(w, 80, base, nil, time.Time{}) },
		lines(report.InPlaceLines(c)),
		lines(report.EarlierLines(base, earlier)),
		lines(report.EarlierLines(base, &cases.Earlier{SameUnit: earlier.SameUnit[:3], ForLocation: true})))
}

func TestUnitsInEachStateReadAsWritten(t *testing.T) {
	b1 := cases.Unit{Type: "BIU-2", Serial: "B0815"}
	received := cases.Say(cases.KindReceived, cases.Receipt{Unit: b1, Cases: []string{"c1", "c2"}})
	moved := func(to cases.ShopState) cases.Draft { return cases.Say(cases.KindMoved, cases.Move{To: to, Why: "x"}) }
	fresh := unitOf(t, b1, received)
	gone := unitOf(t, b1, received, moved(cases.ShopReturned), cases.Say(cases.KindRecord, cases.Record{Number: "R1", Issue: 1}), cases.Say(cases.KindReference, cases.Reference{Kind: "purchase", Text: "P7"}))
	again := unitOf(t, b1, received, moved(cases.ShopReturned), received, moved(cases.ShopEvaluated))
	nowhere := unitOf(t, b1, cases.Say(cases.KindNote, cases.Note{Text: "rung up about it"}), cases.Say(cases.KindRecord, cases.Record{Number: "R1", Issue: 2}))
	codes := map[string]string{"c2": "K7Q4M2"}
	story := func(w io.Writer) error {
		for _, l := range report.UnitStory(invented(t, "")) {
			fmt.Fprintf(w, "%s|%s|%v|%.40s\n", l.When, l.By, l.Void, l.Says)
		}
		return nil
	}
	columns := func(m *cases.Month) func(io.Writer) error {
		return func(w io.Writer) error {
			of, columns, notes := report.MonthColumns(m)
			fmt.Fprintf(w, "%s %d %.20s\n", of, len(columns), notes)
			for _, c := range columns {
				fmt.Fprintln(w, c.Type, c.Rows[0], c.Rows[len(c.Rows)-1])
			}
			return nil
		}
	}
	may := func() *cases.MonthTable {
		return cases.NewMonthTable(time.Date(2031, 5, 1, 0, 0, 0, 0, time.UTC), time.Date(2031, 6, 1, 0, 0, 0, 0, time.UTC))
	}
	one, none := may(), may()
	one.Add(fresh)
	reads(t, "unit_states.txt",
		func(w io.Writer) error { return report.UnitText(w, 80, fresh, codes, unitNow) },
		func(w io.Writer) error {
			var b strings.Builder // not folded
			err := report.UnitOnPage(&b, fresh, codes, unitNow)
			io.WriteString(w, strings.ReplaceAll(b.String(), "; ", ";\n"))
			return err
		},
		func(w io.Writer) error { return report.UnitText(w, 80, gone, codes, unitNow) },
		func(w io.Writer) error { return report.UnitText(w, 80, again, codes, unitNow) },
		func(w io.Writer) error { return report.UnitText(w, 80, nowhere, codes, unitNow) },
		func(w io.Writer) error { return report.UnitLine(w, 80, invented(t, ""), unitNow) },
		func(w io.Writer) error { return report.UnitsText(w, 80, nil, true, unitNow) },
		func(w io.Writer) error { return report.UnitsText(w, 80, nil, false, unitNow) },
		func(w io.Writer) error {
			return report.UnitsText(w, 80, []*cases.Card{fresh, again, fresh}, false, unitNow)
		},
		story, columns(inventedMonth(t, "")), columns(one.Month()), columns(none.Month()),
		func(w io.Writer) error { return report.MonthText(w, 80, none.Month()) },
		func(w io.Writer) error { return report.MonthText(w, 50, inventedMonth(t, "")) })

	list := []*cases.Card{unitOf(t, cases.Unit{Type: "Z"}, received, moved(cases.ShopEvaluated)), fresh, unitOf(t, cases.Unit{Type: "A"}, received), unitOf(t, cases.Unit{Type: "C"}, cases.Say(cases.KindNote, cases.Note{}), received)}
	report.SortUnits(list)
	var order []string
	for _, c := range list {
		order = append(order, c.ID)
	}
	if diff := cmp.Diff([]string{list[0].ID, "BIU-2/B0815"}, order[:2]); diff != "" || list[3].State() != cases.ShopEvaluated || !list[0].Stay().Since.Before(list[2].Stay().Since) {
		t.Errorf("units stand in the order %q", order)
	}
}

// Drawings are held element by element.
func TestDrawingsAsGolden(t *testing.T) {
	text, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet("tide_mill.yaml", text, sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
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
	echo, _ := sheet.EchoOf(s, 8)
	short, unknown, long := echo, echo, echo
	short.Bit, unknown.Bit, long.Bit = echo.Step.Transit/2, 0, 1000*echo.Step.Transit
	drop := &report.Decision{Decision: decided(prices(t, "tide_mill.yaml"), ways.Case{Bad: chance("0.3")})}
	shop := &report.Decision{Decision: decided(prices(t, "shop.yaml"), ways.Case{Bad: chance("0.6"), Pulled: true, AgeYears: chance("12"), SerialReturns: 1, Revision: "C"})}
	for name, draw := range map[string]func(io.Writer) error{
		"decision_drop": drop.SVG, "decision_bench": shop.SVG, "contest": contest.SVG,
		"line_echo":       func(w io.Writer) error { return report.EchoSVG(w, s, &echo) },
		"line_echo_short": func(w io.Writer) error { return report.EchoSVG(w, s, &short) },
	} {
		var b bytes.Buffer
		if err := draw(&b); err != nil {
			t.Fatal(err)
		}
		ruled := regexp.MustCompile(`<path [^>]*stroke-width="\.5"/>`) // those within bars are only counted
		lines := strings.ReplaceAll(ruled.ReplaceAllString(b.String(), ""), "><", ">\n<") + fmt.Sprintln(len(ruled.FindAllString(b.String(), -1)), "ruled lines")
		if diff := cmp.Diff(golden(t, name+".svg", lines), lines); diff != "" {
			t.Errorf("%s.svg (-golden +got):\n%s", name, diff)
		}
	}
	for _, e := range []*sheet.Echo{&unknown, &long} {
		var b bytes.Buffer
		if err := report.EchoSVG(&b, s, e); err != nil || strings.Contains(b.String(), "one bit") {
			t.Errorf("a bit of %v s is drawn: %v", e.Bit, err)
		}
	}
}

// Each letter of a drawing of costs stands on its own line and within the frame, also where the line leaves it.
func TestLettersStandOnTheirLines(t *testing.T) {
	number := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x }
	trace := regexp.MustCompile(`<line x1="([\d.-]+)" y1="([\d.-]+)" x2="([\d.-]+)" y2="([\d.-]+)" class="trace"`)
	head := regexp.MustCompile(`<text x="([\d.]+)" y="([\d.-]+)" text-anchor="middle" class="head">([A-Z])</text>`)
	left := 0
	for _, sheet := range []string{"tide_mill.yaml", "shop.yaml"} {
		for _, hour := range []string{"20", "1000"} {
			var b bytes.Buffer
			dear := prices(t, sheet).With("downtime.per_hour", chance(hour))
			if err := (&report.Decision{Decision: decided(dear, ways.Case{Bad: chance("0.3"), Pulled: sheet == "shop.yaml"})}).SVG(&b); err != nil {
				t.Fatal(err)
			}
			lines, letters := trace.FindAllStringSubmatch(b.String(), -1), head.FindAllStringSubmatch(b.String(), -1)
			if len(letters) == 0 || len(lines) != 2*len(letters) { // each once more beside its name
				t.Fatalf("%d lines, %d letters", len(lines), len(letters))
			}
			for i, l := range letters {
				x, y := number(l[1]), number(l[2])+5
				x1, y1, x2, y2 := number(lines[i][1]), number(lines[i][2]), number(lines[i][3]), number(lines[i][4])
				if on := y1 + (y2-y1)*(x-x1)/(x2-x1); !(math.Abs(on-y) <= 1.5) || x < x1 || x > x2 || y < 40 {
					t.Errorf("%s, %s: %s stands at %.1f, %.1f; its line is at %.1f there", sheet, hour, l[3], x, y, on)
				}
				if want := x1 + (x2-x1)*(float64(i)+0.5)/float64(len(letters)); !(math.Abs(want-x) <= 1) {
					left++
				}
			}
		}
	}
	if left == 0 {
		t.Error("no line leaves the frame before its letter: nothing was tried of that")
	}
}
