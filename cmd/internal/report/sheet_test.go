package report

import (
	"bytes"
	"math"
	"os"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

func readSheet(t *testing.T, text string) *rulebase.Sheet {
	t.Helper()
	s, err := rulebase.ReadSheet("sheet.yaml", []byte(text), sheet.Kinds())
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Names of a sheet come out as text, in text, JSON and on the page, whatever they hold.
func TestSheetWithHostileNames(t *testing.T) {
	for _, name := range []string{`<script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `</svg><b>`, `&amp;lt;`, `{{.Title}}`} {
		quoted := strings.NewReplacer(`\`, `\\`, `"`, `\"`).Replace(name)
		s := readSheet(t, "sheet: \""+quoted+"\"\nline: token_pair\nlength_limit: 50 m\ncable: [{length: 100 m}]\ndrops: [{drop: \""+quoted+"\", at: 20 m, address: 1}, {drop: b, at: 30 m, address: 1}]\n")
		var page, text, program bytes.Buffer
		results := sheet.Check(s)
		if err := SheetPage(&page, s, results); err != nil {
			t.Fatal(err)
		}
		if err := SheetText(&text, s, results, 80); err != nil {
			t.Fatal(err)
		}
		if err := SheetJSON(&program, s, results); err != nil {
			t.Fatal(err)
		}
		elements := map[string]int{}
		for z := html.NewTokenizer(&page); ; {
			kind := z.Next()
			if kind == html.ErrorToken {
				break
			}
			tag, more := z.TagName()
			for more {
				var key []byte
				if key, _, more = z.TagAttr(); strings.HasPrefix(string(key), "on") {
					t.Errorf("%q became an attribute of the page", name)
				}
			}
			if kind == html.StartTagToken || kind == html.SelfClosingTagToken {
				elements[string(tag)]++
			}
		}
		if elements["script"] > 0 || elements["img"] != 1 { // the lattice is a picture
			t.Errorf("%q became an element of the page", name)
		}
		if elements["svg"] != 1 {
			t.Errorf("%q broke the drawing", name)
		}
	}
}

// Everything that does not go has its letter in the drawing and in the list, and
// lies where it is.
func TestSheetPageLetters(t *testing.T) {
	text, err := os.ReadFile("../../../cases/examples/sheets/tide_mill.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s := readSheet(t, string(text))
	results := sheet.Check(s)
	letters := lettered(results)
	drawing := trunkSVG(s, results, letters)
	for i, r := range results {
		bad := r.Verdict == sheet.Fail || r.Verdict == sheet.Marginal
		if bad != (letters[i] != "") {
			t.Errorf("%s %s: %s has the letter %q", r.Rule, r.Where, r.Verdict, letters[i])
		}
		if bad && r.Along != nil && !strings.Contains(drawing, `class="letter">`+letters[i]+`<`) {
			t.Errorf("%s is not in the drawing", letters[i])
		}
	}
	if got := strings.Count(drawing, `class="name"`); got != len(s.Drops) {
		t.Errorf("%d drops are drawn, %d are on the sheet", got, len(s.Drops))
	}
}

func TestRoundStep(t *testing.T) {
	for x, want := range map[float64]float64{52.5: 100, 12: 20, 2.5: 5, 1: 1, 0.3: 0.5, 5: 5, 5.1: 10} {
		if got := roundStep(x); !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("a step of at least %v is %v, expected %v", x, got, want)
		}
	}
}

// Many drops close together do not write over one another.
func TestDropNamesKeepApart(t *testing.T) {
	text := "sheet: s\nline: token_pair\ncable: [{length: 1000 m}]\ndrops:\n"
	for i := range 30 {
		text += "  - {drop: a long name " + letter(i) + ", at: " + metres(float64(400+i)) + "}\n"
	}
	s := readSheet(t, text)
	x := func(m float64) float64 { return drawLeft + drawSpan*m/1000 }
	rows, _ := dropRows(s, x)
	for i := range s.Drops {
		for j := range s.Drops[:i] {
			if rows[i] == rows[j] && math.Abs(x(s.Drops[i].AtM)-x(s.Drops[j].AtM)) < 60 {
				t.Fatalf("drops %d and %d share a line and lie %v apart", i, j, x(s.Drops[i].AtM)-x(s.Drops[j].AtM))
			}
		}
	}
}

// Letters of a drawing go on behind Z.
func TestLettersGoOn(t *testing.T) {
	for n, want := range map[int]string{0: "A", 25: "Z", 26: "AA", 27: "AB", 51: "AZ", 52: "BA", 701: "ZZ", 702: "AAA"} {
		if got := letter(n); got != want {
			t.Errorf("letter %d is %s, not %s", n, got, want)
		}
	}
}
