package report_test

import (
	"bytes"
	"encoding/csv"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/png"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	qr "github.com/piglig/go-qr"
	"golang.org/x/net/html"

	"downdrop/cmd/internal/report"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// A procedure in which much is written down, so that texts get everywhere.
const paperProcedure = `
procedure: paper
name: Papers and one reading
source: common_practice
proves: That the papers are in order.
not_tested: [All the rest]
steps:
  - step: papers
    name: Papers
    minutes: 1
    do: Write it down.
    readings:
      - {reading: serial, ask: "Serial number", text: serial}
      - {reading: complaint, ask: "The complaint", text: complaint}
      - {reading: others, ask: "Anything else", text: words}
  - step: volts
    name: Volts
    minutes: 1
    do: Measure.
    readings:
      - {reading: volts_read, ask: "Volts", unit: V, with: multimeter, least: supply_low, most: supply_high, source: common_practice}
  - step: light
    name: Light
    minutes: 1
    do: Look.
    readings:
      - {reading: lit, ask: "Is it lit?"}
  - step: bench_only
    name: Left out
    minutes: 1
    do: Try.
    readings:
      - {reading: tried, ask: "Done?"}
`

// benchRun answers a procedure; texts takes the place of what is written down.
func benchRun(t *testing.T, text string) *bench.State {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	p, err := base.ReadProcedure("paper.yaml", []byte(paperProcedure))
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		t.Fatal(err)
	}
	at := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	begun := bench.Event{Kind: bench.Begun, Values: map[string]string{"program": "v1 (invented)", "rulebase": "drop", "rulebase_version": "1", "rulebase_digest": strings.Repeat("ab", 32)}}
	events := []bench.Event{bench.Append(nil, begun, at)}
	for _, entry := range []string{"bench-2", "no", text, text, text, "yes", "note that " + text, "meter " + text + " until 2031-01-01", "24.1 V", "undo", "24.2 V", "no", "not done since " + text} {
		s, err := bench.Run(p, profiles[0], events)
		if err != nil {
			t.Fatal(err)
		}
		draft, err := s.Enter(entry)
		if err != nil {
			t.Fatalf("%q for %+v: %v", entry, s.Wants, err)
		}
		at = at.Add(time.Minute)
		events = append(events, bench.Append(events, draft, at))
	}
	s, err := bench.Run(p, profiles[0], events)
	if err != nil {
		t.Fatal(err)
	}
	if s.Verdict != bench.Bad {
		t.Fatalf("verdict %q, wants %+v", s.Verdict, s.Wants)
	}
	return s
}

func record(t *testing.T, text string) *report.Record {
	t.Helper()
	r, err := report.NewRecord(report.RecordContent{Number: "R-K7Q4M2", Issue: 2, Replaces: strings.Repeat("0a", 32), Why: text, Issued: "2031-05-04T13:00:00Z", Program: "v1 (invented)",
		Shop: text, Customer: text, Order: text, Received: "2031-05-03", Authorised: text, Name: text, Site: "quay", ChainSeq: 12, ChainHead: strings.Repeat("cd", 32)}, benchRun(t, text))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func written(t *testing.T, write func(io.Writer) error) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := write(&b); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

const plainText = "Quay works (invented)"

func TestRecordGolden(t *testing.T) {
	r := record(t, plainText)
	page := string(written(t, r.HTML))
	if want := golden(t, "record.html", page); want != page {
		t.Error("the record's page is another one; look at it, and run with -update")
	}
	_, rest, _ := strings.Cut(page, `id="record">`)
	content, _, _ := strings.Cut(rest, "</script>")
	holds(t, "record", nil, func(w io.Writer) error { _, err := io.WriteString(w, content); return err })
	s := benchRun(t, plainText)
	holds(t, "bench_run", func(w io.Writer) error { return report.BenchRun(w, s, 80) }, func(w io.Writer) error { return report.BenchRunJSON(w, s) })
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	procedures, err := base.Procedures()
	if err != nil {
		t.Fatal(err)
	}
	profiles, err := base.Profiles()
	if err != nil {
		t.Fatal(err)
	}
	holds(t, "bench_list", func(w io.Writer) error { return report.BenchList(w, procedures, profiles, 80) }, func(w io.Writer) error { return report.BenchListJSON(w, procedures, profiles) })
	for _, says := range []string{"R-K7Q4M2", "issue 2", "This issue stands for issue 1", "24.2 V", "20.4 V to 28.8 V", "calibration ended on 2031-01-01", "not done", "Verdict: bad.", "Entries taken back at the bench: 1", "Chain of site quay at event 12", r.Digest, "All the rest"} {
		if !strings.Contains(page, says) {
			t.Errorf("the record does not say %q", says)
		}
	}
}

// Both forms are read back to the same record, and written twice they are the same bytes.
func TestRecordIsReadBack(t *testing.T) {
	r := record(t, plainText)
	for form, write := range map[string]func(io.Writer) error{"html": r.HTML, "pdf": r.PDF} {
		file := written(t, write)
		if !bytes.Equal(file, written(t, write)) {
			t.Errorf("%s: written twice it is not the same", form)
		}
		back, err := report.ReadRecord(file)
		if err != nil || back.Digest != r.Digest {
			t.Fatalf("%s: read back: %v", form, err)
		}
		if same, err := back.Shows(file); err != nil || !same {
			t.Errorf("%s: it does not show what it says: %v", form, err)
		}
	}
}

// Whichever byte of a record's file is changed: it cannot be read, says something else, or
// shows something else.
func TestAChangedByteIsFound(t *testing.T) {
	r := record(t, plainText)
	rng := rand.New(rand.NewPCG(8, 8))
	for form, write := range map[string]func(io.Writer) error{"html": r.HTML, "pdf": r.PDF} {
		file := written(t, write)
		for range support.Deep(t, 40) {
			i, bit := rng.IntN(len(file)), byte(1<<rng.IntN(8))
			changed := slices.Clone(file)
			changed[i] ^= bit
			back, err := report.ReadRecord(changed)
			if errors.Is(err, report.ErrNoRecord) {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			if back.Digest != r.Digest {
				continue
			}
			if same, err := back.Shows(changed); err != nil || same {
				t.Errorf("%s: byte %d changed and nobody notices: %v", form, i, err)
			}
		}
	}
}

// hostileTexts are texts that would break one form or another.
func hostileTexts() []string {
	all := []string{
		`<script>alert(1)</script>`, `</script><script>alert(1)</script>`, `"><img src=x onerror=alert(1)>`, `' onmouseover='alert(1)`, `</td></tr></table><h1>X`, `</style><style>*{display:none}`,
		`<!--`, `-->`, `]]>`, `<![CDATA[`, `&lt;b&gt;`, `&#60;script&#62;`, `{{.}}`, `{{template "x"}}`, `${x}`, `<svg onload=alert(1)>`, `javascript:alert(1)`, `</svg>`, `</downdrop:record>`, `</x:xmpmeta>`,
		`)Tj ET Q`, `(((((`, `)))))`, `\)\(\\`, `endstream endobj`, `%%EOF`, `>> /OpenAction << /S /JavaScript >>`, `\000\001`, `{pages}`, `stream`,
		`=1+1`, `=cmd|' /C calc'!A0`, `+1`, `-1+1`, `@SUM(A1)`, "\t=1", "\r=1", "a\nb", "a\r\nb", `"`, `""`, `,`, `;`, `a,"b",c`, `'=1`,
		"\x00", "\x1b[2J", "\u202e\u202dabc", "\u200b\u200f", "\ufeff", "\u2028\u2029", "\xff\xfe", "\xc3\x28", "e\u0301", "👩‍🔧", "漢字", "עברית", "العربية", "𝔘𝔫𝔦", "\U0010FFFF", "\uFFFE",
		strings.Repeat("x", 3000), strings.Repeat("word ", 800), strings.Repeat("W", 200), strings.Repeat("é", 500), strings.Repeat("<", 300),
	}
	rng := rand.New(rand.NewPCG(9, 9))
	pieces := slices.Clone(all)
	for len(all) < 200 {
		var b strings.Builder
		for range 1 + rng.IntN(4) {
			b.WriteString(pieces[rng.IntN(len(pieces)-5)])
		}
		all = append(all, b.String())
	}
	return all
}

// shape is which elements a page is made of, and what attributes they have; texts left out.
func shape(t *testing.T, page []byte) string {
	t.Helper()
	doc, err := html.Parse(bytes.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	var b strings.Builder
	var visit func(n *html.Node)
	visit = func(n *html.Node) {
		if n.Type == html.ElementNode && n.Data != "path" {
			b.WriteString(n.Data)
			for _, a := range n.Attr {
				if a.Key != "viewbox" && a.Key != "viewBox" {
					fmt.Fprintf(&b, " %s=%s", a.Key, a.Val)
				}
			}
			b.WriteByte('\n')
		}
		for c := n.FirstChild; c != nil; c = c.NextSibling {
			visit(c)
		}
	}
	visit(doc)
	return b.String()
}

// No text that somebody typed makes anything of a page, a PDF, a table or a drawing but text.
func TestHostileTextsBreakNothing(t *testing.T) {
	want := shape(t, written(t, record(t, plainText).HTML))
	texts := hostileTexts()
	if len(texts) < 200 {
		t.Fatalf("%d texts", len(texts))
	}
	every := 6
	switch {
	case testing.Short():
		every = 7
	case support.Deep(t, 1) > 1:
		every = 1
	}
	for i, text := range texts {
		if i%every != 0 || strings.TrimSpace(strings.Map(func(r rune) rune {
			if r < ' ' || r == '\uFFFD' {
				return -1
			}
			return r
		}, strings.ToValidUTF8(text, ""))) == "" {
			continue // nothing of it is left to be typed
		}
		r := record(t, text)
		page := written(t, r.HTML)
		if got := shape(t, page); got != want {
			t.Errorf("%.60q makes another page", text)
		}
		_, drawing, _ := bytes.Cut(page, []byte("<svg"))
		drawing, _, _ = bytes.Cut(drawing, []byte("</svg>"))
		dec := xml.NewDecoder(strings.NewReader("<svg" + string(drawing) + "</svg>"))
		for {
			if _, err := dec.Token(); errors.Is(err, io.EOF) {
				break
			} else if err != nil {
				t.Errorf("%.60q: the code is no XML: %v", text, err)
				break
			}
		}
		var table bytes.Buffer
		c := csv.NewWriter(&table)
		if err := c.WriteAll(r.Readings()); err != nil {
			t.Fatal(err)
		}
		rows, err := csv.NewReader(&table).ReadAll()
		if err != nil || len(rows) != 6 {
			t.Errorf("%.60q: %d rows, %v", text, len(rows), err)
		}
		for _, row := range rows {
			for _, cell := range row {
				if len(row) != 10 || cell != "" && strings.ContainsAny(cell[:1], "=+-@\t\r") {
					t.Errorf("%.60q: the cell %.40q of %d", text, cell, len(row))
				}
			}
		}
		file := written(t, r.PDF)
		if back, err := report.ReadRecord(file); err != nil || back.Digest != r.Digest {
			t.Errorf("%.60q: the PDF cannot be read back: %v", text, err)
		}
		for _, bad := range []string{"/JavaScript", "/OpenAction", "/Launch"} {
			if bytes.Contains(file, []byte(bad)) {
				t.Errorf("%.60q: %s in the PDF", text, bad)
			}
		}
		if i%20 == 0 {
			drawn(t, file)
		}
	}
}

// drawn is the first page of a PDF in pixels; whatever its reader complains of is an error.
func drawn(t *testing.T, file []byte) image.Image {
	t.Helper()
	program := support.Need(t, "pdftoppm")
	name := filepath.Join(t.TempDir(), "record")
	if err := os.WriteFile(name+".pdf", file, 0o600); err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(program, "-r", "100", "-png", "-f", "1", "-l", "1", "-singlefile", name+".pdf", name)
	if out, err := cmd.CombinedOutput(); err != nil || len(out) > 0 {
		t.Fatalf("the PDF cannot be drawn: %v\n%s", err, out)
	}
	f, err := os.Open(name + ".png")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := png.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	return img
}

// The PDF drawn to pixels: margins are empty, the rules are where they belong, and there is
// the code of the record, module by module.
func TestRecordInPixels(t *testing.T) {
	r := record(t, plainText)
	img := drawn(t, written(t, r.PDF))
	const perMM = 100 / 25.4
	dark := func(x, y float64) bool {
		v, _, _, _ := img.At(int(x*perMM), int(y*perMM)).RGBA()
		return v < 0x8000
	}
	for y := 1.0; y < 296; y++ {
		for _, x := range []float64{2, 8, 12, 198, 205} {
			if dark(x, y) {
				t.Fatalf("something stands in the margin at %.0f, %.0f mm", x, y)
			}
		}
	}
	if !dark(100, 12) {
		t.Error("the rule at the head is not there")
	}
	ink := 0
	for y := 60.0; y < 270; y += 0.25 {
		for x := 26.0; x < 190; x += 0.25 {
			if dark(x, y) {
				ink++
			}
		}
	}
	if ink < 5000 {
		t.Errorf("there is next to nothing on the page: %d dark places", ink)
	}
	if says, err := qr.Decode(img); err != nil || says != r.QRText() {
		t.Errorf("a camera reads %q, %v", says, err)
	}
	code, err := report.QR(r.QRText())
	if err != nil {
		t.Fatal(err)
	}
	wrong, side := 0, 30.0/float64(code.Size())
	for y := range code.Size() {
		for x := range code.Size() {
			if dark(166+(float64(x)+0.5)*side, 15+(float64(y)+0.5)*side) != code.Dark(x, y) {
				wrong++
			}
		}
	}
	if wrong > 0 {
		t.Errorf("%d modules of the code are not as they should be", wrong)
	}
}
