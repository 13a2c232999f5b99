package report_test

import (
	"bytes"
	"cmp"
	"compress/zlib"
	"fmt"
	"io"
	"math"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf16"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The operators of a page that a record is drawn with.
var (
	pdfFace   = regexp.MustCompile(`^BT /(\w+) ([\d.]+) Tf ET$`)
	pdfText   = regexp.MustCompile(`(?s)^(?:q [\d. ]+ g )?BT ([\d.-]+) ([\d.-]+) Td \((.*)\) Tj ET(?: Q)?$`)
	pdfStroke = regexp.MustCompile(`^([\d.-]+) ([\d.-]+) m ([\d.-]+) ([\d.-]+) l S$`)
	pdfRect   = regexp.MustCompile(`^([\d.-]+) ([\d.-]+) ([\d.-]+) ([\d.-]+) re (\w)$`)
	pdfWord   = regexp.MustCompile(`\bw(\d+)\b`)
	pdfEscape = regexp.MustCompile(`(?s)\\(.)`)
)

// readPDF reads the pages of a record back, in millimetres from the upper left corner; letters are as wide
// as the files of their faces say.
func readPDF(t *testing.T, file []byte) []*drawing {
	t.Helper()
	faces := map[string]*sfnt.Font{}
	for name, text := range map[string][]byte{"bold": gobold.TTF, "plain": goregular.TTF, "mono": gomono.TTF} {
		f, err := sfnt.Parse(text)
		if err != nil {
			t.Fatal(err)
		}
		faces[name] = f
	}
	var pages []*drawing
	called := map[string]string{} // by the file's name of a face
	for _, part := range bytes.Split(file, []byte("stream\n"))[1:] {
		z, err := zlib.NewReader(bytes.NewReader(part))
		if err != nil {
			continue
		}
		content, err := io.ReadAll(z)
		if err != nil || !bytes.Contains(content, []byte(" Tf ET\n")) {
			continue
		}
		d := &drawing{paper: box{0, 0, 210, 297}}
		mm := func(text string) float64 { return number(t, text) * 25.4 / 72 }
		face, size := "", 0.0
		for _, op := range operators(string(content)) {
			if m := pdfFace.FindStringSubmatch(op); m != nil {
				if called[m[1]] == "" { // the title comes first, and mono is the smallest
					called[m[1]] = map[bool]string{true: "bold", false: map[bool]string{true: "mono", false: "plain"}[m[2] == "7.00"]}[len(called) == 0]
				}
				face, size = called[m[1]], number(t, m[2])
			} else if m := pdfText.FindStringSubmatch(op); m != nil {
				raw := pdfEscape.ReplaceAllStringFunc(m[3], func(s string) string { return strings.Replace(s[1:], "r", "\r", 1) })
				var units []uint16
				for i := 0; i+1 < len(raw); i += 2 {
					units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
				}
				one := drawnThing{is: "text", class: face, x: mm(m[1]), y: 297 - mm(m[2]), says: string(utf16.Decode(units))}
				high := size * 25.4 / 72
				one.box = box{one.x, one.y - 0.73*high, one.x + widthOf(t, faces[face], one.says)*high, one.y + 0.21*high}
				d.all = append(d.all, one)
			} else if m := pdfStroke.FindStringSubmatch(op); m != nil {
				x1, y1, x2, y2 := mm(m[1]), 297-mm(m[2]), mm(m[3]), 297-mm(m[4])
				d.all = append(d.all, drawnThing{is: "line", box: box{min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)}})
			} else if m := pdfRect.FindStringSubmatch(op); m != nil {
				x, y, w, h := mm(m[1]), 297-mm(m[2]), mm(m[3]), -mm(m[4])
				d.all = append(d.all, drawnThing{is: "rect", class: m[5], box: box{x, min(y, y+h), x + w, max(y, y+h)}})
			}
		}
		pages = append(pages, d)
	}
	if len(pages) == 0 {
		t.Fatal("there is no page")
	}
	return pages
}

// operators are the lines of a page's content; what stands in a text may hold line breaks.
func operators(content string) []string {
	var all []string
	for line := range strings.SplitSeq(content, "\n") {
		if n := len(all); n > 0 && strings.Contains(all[n-1], " Td (") && !strings.Contains(all[n-1], ") Tj ET") {
			all[n-1] += "\n" + line
			continue
		}
		all = append(all, line)
	}
	return all
}

// widthOf is how wide a text is in a face, in its size.
func widthOf(t *testing.T, face *sfnt.Font, text string) float64 {
	t.Helper()
	var buffer sfnt.Buffer
	sum := 0.0
	for _, r := range text {
		i, err := face.GlyphIndex(&buffer, r)
		if err != nil {
			t.Fatal(err)
		}
		wide, err := face.GlyphAdvance(&buffer, i, fixed.I(1000), font.HintingNone)
		if err != nil {
			t.Fatal(err)
		}
		sum += float64(wide) / 64 / 1000
	}
	return sum
}

// A record in print: whatever is written in it, all of it is on its pages, within the margins, no text on
// another or under a rule; each page has its foot; the table's rules go through.
func TestARecordIsPrintedWhole(t *testing.T) {
	numbered := func(n int) string {
		var b strings.Builder
		for i := range n {
			fmt.Fprintf(&b, "w%d ", i+1)
		}
		return b.String()
	}
	for _, n := range []int{0, 40, 600} {
		text := plainText
		if n > 0 {
			text = numbered(n)
		}
		r := record(t, text)
		pages := readPDF(t, written(t, r.PDF))
		if n > 100 && len(pages) < 5 {
			t.Fatalf("%d words of each text are on %d pages", n, len(pages))
		}
		var words []drawnThing // a word of each text, page after page
		double := 0
		for i, d := range pages {
			name := fmt.Sprintf("%d words, page %d of %d", n, i+1, len(pages))
			d.tidy(t, name)
			texts, strokes := d.of("text", ""), d.of("line", "")
			for _, x := range texts {
				if !x.within(box{13.9, 11.5, 196.1, 290}) || x.top < 276 && x.bottom > 274 {
					t.Errorf("%s: %q stands at %.1f, outside of the margins", name, x.says, x.box)
				}
				for _, s := range strokes {
					if s.left < x.right-0.3 && s.right > x.left+0.3 && s.top < x.bottom-0.4 && s.bottom > x.top+0.4 {
						t.Errorf("%s: a rule at %.1f runs through %q at %.1f", name, s.box, x.says, x.box)
					}
				}
			}
			if foot := strings.Join(strings.Fields(d.texts()), " "); !strings.Contains(foot, fmt.Sprintf("page %d of %d", i+1, len(pages))) || !strings.Contains(foot, r.Digest) {
				t.Errorf("%s: its foot says neither page nor digest", name)
			}
			for k, s := range strokes {
				if s.right-s.left > 180 && k > 0 && strokes[k-1].right-strokes[k-1].left > 180 && math.Abs(s.top-strokes[k-1].top-1) < 0.05 {
					double++
				}
			}
			for _, x := range []float64{14, 15, 24} { // the rules of the table, row after row
				rows := slices.DeleteFunc(slices.Clone(strokes), func(s drawnThing) bool {
					return s.right-s.left > 0.1 || s.bottom-s.top < 3 || !(math.Abs(s.left-x) <= 0.05)
				})
				for k := 1; k < len(rows); k++ {
					if gap := rows[k].top - rows[k-1].bottom; gap > 0.1 || gap < -0.5 {
						t.Errorf("%s: the rule at %.0f mm is interrupted by %.1f mm at %.1f", name, x, gap, rows[k].top)
					}
				}
			}
			for _, x := range texts {
				if math.Abs(x.left-14) < 0.1 || math.Abs(x.left-109) < 0.1 {
					continue // names below the lines to sign on have three lines there; whole they stand among the facts
				}
				at := x
				for _, m := range pdfWord.FindAllStringSubmatch(x.says, -1) {
					at.says, at.y = m[1], x.y+1000*float64(i)
					words = append(words, at)
				}
			}
		}
		if double != 2 {
			t.Errorf("%d words: %d double rules; one below the head and one at the end are wanted", n, double)
		}
		// Column by column, each numbered text is there from its first word to its last.
		slices.SortStableFunc(words, func(a, b drawnThing) int {
			return cmp.Or(cmp.Compare(math.Round(10*a.left), math.Round(10*b.left)), cmp.Compare(a.y, b.y))
		})
		whole, last := 0, 0
		for i, x := range words {
			k := int(number(t, x.says))
			if k != last+1 && (k != 1 || last != n) {
				t.Errorf("%d words: after word %d of a text at %.1f mm stands word %d, on page %d at %.1f mm", n, last, words[max(0, i-1)].left, k, 1+int(x.y/1000), x.left)
			}
			if last = k; k == n {
				whole++
			}
		}
		if n > 0 && whole < 10 {
			t.Errorf("%d words: %d texts are there to their ends", n, whole)
		}
	}
}
