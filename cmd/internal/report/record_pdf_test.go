package report

import (
	"bytes"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/goregular"
)

func blankPDF(s *recordSheet) *recordPDF {
	f := fpdf.New("P", "mm", "A4", "")
	f.SetCompression(false)
	f.SetMargins(0, 0, 0)
	f.SetAutoPageBreak(false, 0)
	for _, style := range []string{"", "B"} {
		f.AddUTF8FontFromBytes("go", style, slices.Clone(goregular.TTF))
	}
	return &recordPDF{Fpdf: f, s: s}
}

// A text is folded to a width without losing or adding a letter, and no line is empty.
func TestLinesOfARecordAreFolded(t *testing.T) {
	p := blankPDF(&recordSheet{})
	for text, most := range map[string]int{"": 0, "  ": 0, "one": 1, "one two three": 1, "one two three four five six seven eight nine ten": 9, strings.Repeat("w", 60): 20, "a " + strings.Repeat("w", 60) + " b": 20} {
		lines := p.lines(text, "", 9, 30)
		for _, l := range lines {
			if l == "" || p.GetStringWidth(l) > 30 {
				t.Errorf("%q has the line %q, %.1f mm wide", text, l, p.GetStringWidth(l))
			}
		}
		if strings.Join(strings.Fields(text), "") != strings.ReplaceAll(strings.Join(lines, ""), " ", "") || len(lines) > most || len(lines) == 0 && most > 0 {
			t.Errorf("%q becomes %q", text, lines)
		}
	}
	if got := p.lines("one two three", "", 9, 30); !slices.Equal(got, []string{"one two three"}) {
		t.Errorf("what has room on a line is folded: %q", got)
	}
}

// The lines to sign on stand side by side within the page, none over another.
func TestLinesToSignOnStandSideBySide(t *testing.T) {
	p := blankPDF(&recordSheet{Number: "R1", Sign: []string{"At the bench: anna", "Authorised: bert"}})
	p.page()
	p.end()
	var b bytes.Buffer
	if err := p.Output(&b); err != nil {
		t.Fatal(err)
	}
	type stroke struct{ from, to, y float64 }
	var all []stroke
	for _, m := range regexp.MustCompile(`([\d.]+) ([\d.]+) m ([\d.]+) ([\d.]+) l S`).FindAllStringSubmatch(b.String(), -1) {
		mm := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x * 25.4 / 72 }
		all = append(all, stroke{mm(m[1]), mm(m[3]), mm(m[2])})
	}
	signs := slices.DeleteFunc(slices.Clone(all), func(s stroke) bool { return s.to-s.from > (pdfRight-pdfLeft)*0.9 })
	if len(signs) != len(p.s.Sign) {
		t.Fatalf("%d lines to sign on of %d: %+v", len(signs), len(p.s.Sign), all)
	}
	for k, s := range signs {
		if s.from < pdfLeft-0.1 || s.to > pdfRight+0.1 || s.to-s.from < 50 || k > 0 && s.from < signs[k-1].to+1 {
			t.Errorf("line %d goes from %.1f to %.1f mm: %+v", k, s.from, s.to, signs)
		}
	}
}
