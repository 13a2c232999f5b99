package report_test

import (
	"bytes"
	"encoding/xml"
	"errors"
	"io"
	"math/big"
	"os"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

func prices(t *testing.T, name string) *rulebase.Prices {
	t.Helper()
	text, err := os.ReadFile("../../../cases/examples/prices/" + name)
	if err != nil {
		t.Fatal(err)
	}
	p, err := rulebase.ReadPrices(name, text)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func chance(text string) *big.Rat { x, _ := new(big.Rat).SetString(text); return x }

func TestDecisionGoldens(t *testing.T) {
	unknown := prices(t, "tide_mill.yaml").With("downtime.per_hour", nil)
	for name, d := range map[string]*report.Decision{
		"decision_drop":    {Decision: decided(prices(t, "tide_mill.yaml"), ways.Case{Bad: chance("0.3")})},
		"decision_bench":   {Decision: decided(prices(t, "shop.yaml"), ways.Case{Bad: chance("0.6"), Pulled: true, AgeYears: chance("12"), SerialReturns: 1, Revision: "C"}), Detail: true},
		"decision_unknown": {Decision: decided(unknown, ways.Case{Bad: chance("0.0862")}), Outside: chance("0.021")},
	} {
		var text, object bytes.Buffer
		if err := errors.Join(d.Text(&text, 80), d.JSON(&object)); err != nil {
			t.Fatal(err)
		}
		for line := range strings.Lines(text.String()) {
			if utf8.RuneCountInString(strings.TrimSuffix(line, "\n")) > 80 {
				t.Errorf("%s: longer than 80 columns: %s", name, line)
			}
		}
		if diff := cmp.Diff(golden(t, name+".txt", text.String()), text.String()); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		got := object.String()
		for _, says := range lacks("", document(t, []byte(golden(t, name+".json", got))), document(t, []byte(got))) {
			t.Errorf("%s: %s", name, says)
		}
		if strings.Contains(got, "null") {
			t.Errorf("%s: a null in it", name)
		}
	}
}

// Ties are told as ties: two ways at the same price to the last digit; a test worth
// exactly what it costs.
func TestTiesAreToldAsTies(t *testing.T) {
	p := prices(t, "tide_mill.yaml")
	d := decided(p, ways.Case{Bad: chance("0.3")})
	var at *big.Rat
	for _, x := range d.Turns {
		if x.Name == "downtime.per_hour" {
			at = x.At
		}
	}
	var b bytes.Buffer
	if err := (&report.Decision{Decision: decided(p.With("downtime.per_hour", at), ways.Case{Bad: chance("0.3")})}).Text(&b, 80); err != nil {
		t.Fatal(err)
	}
	if text := strings.Join(strings.Fields(b.String()), " "); !strings.Contains(text, "A tie: these cost exactly the same") || !strings.Contains(text, "test at the drop first, then act; order the exchange and test meanwhile") {
		t.Errorf("no tie told:\n%s", text)
	}
	shop := prices(t, "shop.yaml")
	shop.Bench = shop.Bench[:1]
	worth := decided(shop, ways.Case{Bad: chance("0.6"), Pulled: true}).Tests[0].Worth
	shop.Bench[0].Price = new(big.Rat).Sub(worth, chance("17.5"))
	b.Reset()
	if err := (&report.Decision{Decision: decided(shop, ways.Case{Bad: chance("0.6"), Pulled: true})}).Text(&b, 80); err != nil {
		t.Fatal(err)
	}
	text := strings.Join(strings.Fields(b.String()), " ")
	if !strings.Contains(text, "worth exactly that: a tie, do it or leave it") || !strings.Contains(text, "Begin with Short check, or leave it: both cost the same") {
		t.Errorf("no tie told:\n%s", text)
	}
}

// A heading has something below it: where every way is to be had, none says which are not.
func TestEveryWayIsToBeHad(t *testing.T) {
	d := decided(prices(t, "tide_mill.yaml"), ways.Case{Bad: chance("0.3")})
	for _, withheld := range [][]ways.Withheld{d.Withheld, nil} {
		d.Withheld = withheld
		var b bytes.Buffer
		if err := (&report.Decision{Decision: d}).Text(&b, 80); err != nil {
			t.Fatal(err)
		}
		if got := strings.Contains(b.String(), "Not to be had:"); got != (len(withheld) > 0) {
			t.Errorf("%d are not to be had, and the heading is there: %v", len(withheld), got)
		}
	}
}

// Every amount that can change an answer has a name in words.
func TestEveryInputHasAName(t *testing.T) {
	for _, name := range []string{"tide_mill.yaml", "shop.yaml"} {
		for _, c := range []ways.Case{{Bad: chance("0.3")}, {Bad: chance("0.7"), Pulled: true}} {
			d := &report.Decision{Decision: decided(prices(t, name), c)}
			for _, k := range rulebase.PriceKeys {
				d.Turns = []ways.Turn{{Name: k.Name, Form: k.Form, Now: chance("1"), At: chance("2"), Way: ways.New}}
				var b bytes.Buffer
				if err := d.Text(&b, 80); err != nil {
					t.Fatal(err)
				}
				if k.Form != rulebase.CountAmount && k.Form != rulebase.FactorAmount && k.Form != rulebase.YearsAmount && !strings.HasPrefix(k.Name, "repair.limit") && strings.Contains(b.String(), "  - , now") {
					t.Errorf("%s has no name", k.Name)
				}
			}
		}
	}
}

// hostile is text that would break out of its place, were it not escaped.
func hostile() []string {
	var all []string
	for _, inner := range []string{"<script>alert(1)</script>", `"><svg onload=x>`, "]]>", "<!--", "-->", "&lt;", "&#0;", "\x00", "\x1b[31m", "\u202e", "\ufeff", "\xff\xfe", "{{.}}", "%s%n", "'\"`", "</text>", "<![CDATA[", "<?xml?>", "\r\n", "\t=1+1"} {
		for _, frame := range []string{"%", "a%", "%b", "a % b", "%%", "=%", "'%'", "\"%\"", "<%>", "&%;"} {
			all = append(all, strings.ReplaceAll(frame, "%", inner))
		}
	}
	return all
}

func TestHostileTextStaysTextInTheDrawing(t *testing.T) {
	if len(hostile()) < 200 {
		t.Fatalf("%d strings", len(hostile()))
	}
	p := prices(t, "tide_mill.yaml")
	d := &report.Decision{Decision: decided(p, ways.Case{Bad: chance("0.3")})}
	var plain bytes.Buffer
	if err := d.SVG(&plain); err != nil {
		t.Fatal(err)
	}
	want := elements(t, plain.String())
	for _, text := range hostile() {
		p.Name, p.Currency = text, text
		var b, said bytes.Buffer
		if err := errors.Join(d.SVG(&b), d.Text(&said, 80)); err != nil {
			t.Fatal(err)
		}
		if got := elements(t, b.String()); got != want {
			t.Errorf("%q changes the drawing: %d elements, want %d", text, got, want)
		}
		if i := strings.IndexFunc(said.String(), func(r rune) bool { return r < ' ' && r != '\n' || r == '\u202e' }); i >= 0 {
			t.Errorf("%q reaches the terminal", text)
		}
	}
}

// elements counts the elements of a drawing, which has to be well formed.
func elements(t *testing.T, svg string) int {
	t.Helper()
	n, decoder := 0, xml.NewDecoder(strings.NewReader(svg))
	for {
		token, err := decoder.Token()
		if err == io.EOF {
			return n
		}
		if err != nil {
			t.Errorf("not well formed: %v", err)
			return -1
		}
		switch token.(type) {
		case xml.StartElement:
			n++
		case xml.Comment, xml.Directive, xml.ProcInst:
			t.Error("there is markup that is not ours")
		}
	}
}

// decided is a decision for which the sheet has all that it takes.
func decided(p *rulebase.Prices, c ways.Case) *ways.Decision {
	d, err := ways.Decide(p, c)
	if err != nil {
		panic(err)
	}
	return d
}
