package report_test

import (
	"bytes"
	"fmt"
	"io"
	"math/big"
	"math/rand/v2"
	"os"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/sheet"
	"downdrop/engine/ways"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// What is written of drawn cases, sheets and prices, in words at two widths, for programs and as drawings, is what it was.
func TestWhatIsWrittenStaysAsItIs(t *testing.T) {
	support.Alone(t)
	var b bytes.Buffer
	write := func(what string, do func(io.Writer) error) {
		t.Helper()
		fmt.Fprintf(&b, "== %s\n", what)
		if err := do(&b); err != nil {
			t.Fatalf("%s: %v", what, err)
		}
	}
	r := rand.New(rand.NewPCG(31, 714))
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	for n := range 12 {
		s := rulebase.Situation{At: []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}[n%3], Who: rulebase.Who(r.IntN(5)), Alone: r.IntN(4) == 0}
		for i := range base.Symptoms {
			if v := base.Symptoms[i].Values; len(v) > 0 && r.IntN(3) == 0 {
				if f, err := base.ReadSee(base.Symptoms[i].ID + "=" + v[r.IntN(len(v))]); err == nil {
					s.Findings = append(s.Findings, f)
				}
			}
		}
		d, err := engine.Diagnose(t.Context(), p, s, engine.Options{Weights: true})
		if err != nil {
			t.Fatal(err)
		}
		for _, o := range []report.TextOptions{{Width: 80}, {Width: 44, Detail: true}, {Width: 80, Hints: true}} {
			write(fmt.Sprintf("case %d, %+v", n, o), func(w io.Writer) error { return report.Text(w, d, o) })
		}
		write("weighed", func(w io.Writer) error { return report.Weighed(w, 80, d) })
		write("for programs", func(w io.Writer) error { return report.JSON(w, d) })
		if n%4 == 0 {
			tree, err := engine.Chart(t.Context(), p, s, engine.ChartOptions{Nodes: 8})
			if err != nil {
				t.Fatal(err)
			}
			chart := report.NewChart(p, s, tree, nil)
			write("chart", func(w io.Writer) error { return chart.Text(w, 80, report.ChartKind{}) })
			write("chart, drawn", func(w io.Writer) error { return chart.SVG(w, report.ChartKind{}) })
			write("chart, one side", func(w io.Writer) error { return chart.Page(w, "a4", report.ChartKind{}) })
		}
	}
	mill, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for n := range 8 {
		s := support.DrawnAs(r, mill, func(text []byte) (*rulebase.Sheet, error) {
			return rulebase.ReadSheet("sheet.yaml", text, sheet.Kinds())
		})
		results := sheet.Check(s)
		write(fmt.Sprintf("sheet %d", n), func(w io.Writer) error { return report.SheetText(w, s, results, 80) })
		write("for programs", func(w io.Writer) error { return report.SheetJSON(w, s, results) })
		write("as a page", func(w io.Writer) error { return report.SheetPage(w, s, results) })
		ohms := &report.Ohms{Sheet: s, Where: "host", Reading: 60 + 100*r.Float64()}
		ohms.States = sheet.Explain(s, 0, ohms.Reading, n%2 == 0)
		write("ohms", func(w io.Writer) error { return ohms.Text(w, 80) })
		if e, ok := sheet.EchoOf(s, 6); ok {
			write("echo", func(w io.Writer) error { return report.EchoText(w, s, &e, 80) })
			write("echo, drawn", func(w io.Writer) error { return report.EchoSVG(w, s, &e) })
		}
	}
	for n := range 8 {
		name := []string{"tide_mill.yaml", "shop.yaml"}[n%2]
		text, err := os.ReadFile("../../../cases/examples/prices/" + name)
		if err != nil {
			t.Fatal(err)
		}
		p := support.DrawnAs(r, text, func(text []byte) (*rulebase.Prices, error) { return rulebase.ReadPrices(name, text) })
		x, err := ways.Decide(p, ways.Case{Bad: big.NewRat(int64(r.IntN(101)), 100), Pulled: n%3 == 0})
		if err != nil {
			fmt.Fprintf(&b, "== prices %d: %v\n", n, err)
			continue
		}
		d := &report.Decision{Decision: x}
		write(fmt.Sprintf("prices %d", n), func(w io.Writer) error { return d.Text(w, 80) })
		write("for programs", d.JSON)
		write("drawn", d.SVG)
	}
	support.Kept(t, "drawn.txt", strings.ReplaceAll(b.String(), "\r", ""))
}
