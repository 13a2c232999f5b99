package report

import (
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
)

// The marks around the content in a PDF: its metadata carries it in hex, in no compression,
// since XML would want escapes and a reader of bytes none.
const (
	recordPDFBegin = "<downdrop:record>"
	recordPDFEnd   = "</downdrop:record>"
)

// Measures of the page in millimetres, on A4.
const (
	pdfLeft   = 14.0
	pdfRight  = 196.0
	pdfTop    = 12.0
	pdfBottom = 272.0 // below it stands the foot
	pdfNo     = 24.0  // the rule behind the numbers of steps
	pdfLine   = 4.1   // height of a line of the smaller size
)

// The columns of steps: reading, wanted, read, with, came to.
var pdfColumns = [...]float64{pdfNo + 2, 84, 118, 151, 177, pdfRight}

type recordPDF struct {
	*fpdf.Fpdf
	s    *recordSheet
	y    float64
	rule bool // the rule behind the numbers goes on
}

// PDF writes the record as a PDF, in a face that is part of it. The same record gives the
// same bytes.
func (r *Record) PDF(w io.Writer) error {
	s, err := r.sheet()
	if err != nil {
		return err
	}
	s.printable()
	carried, err := json.Marshal(r.Content)
	if err != nil {
		return err
	}
	f := fpdf.New("P", "mm", "A4", "")
	f.SetCatalogSort(true)
	issued, err := time.Parse(time.RFC3339, r.Content.Issued)
	if err != nil {
		issued = time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)
	}
	f.SetCreationDate(issued.UTC())
	f.SetModificationDate(issued.UTC())
	f.SetProducer("downdrop", true)
	f.SetTitle(drawable(s.Title+" "+s.Number), true)
	f.SetLang("en")
	f.SetXmpMetadata([]byte(`<?xpacket begin="" id="W5M0MpCehiHzreSzNTczkc9d"?><x:xmpmeta xmlns:x="adobe:ns:meta/"><rdf:RDF xmlns:rdf="http://www.w3.org/1999/02/22-rdf-syntax-ns#"><rdf:Description rdf:about="" xmlns:downdrop="urn:downdrop">` +
		recordPDFBegin + hex.EncodeToString(carried) + recordPDFEnd + `</rdf:Description></rdf:RDF></x:xmpmeta><?xpacket end="r"?>`))
	// The library writes into what it is given, so each file gets its own.
	f.AddUTF8FontFromBytes("go", "", slices.Clone(goregular.TTF))
	f.AddUTF8FontFromBytes("go", "B", slices.Clone(gobold.TTF))
	f.AddUTF8FontFromBytes("mono", "", slices.Clone(gomono.TTF))
	f.SetAutoPageBreak(false, 0)
	f.SetMargins(0, 0, 0)
	f.AliasNbPages("{pages}")
	p := &recordPDF{Fpdf: f, s: s}
	f.SetFooterFunc(p.foot)
	p.page()
	p.head()
	p.facts()
	p.section(headComplaint)
	p.paragraph(pdfLeft+2, pdfRight, s.Complaint, "", 9)
	p.steps()
	p.instruments()
	for _, l := range s.Lists {
		p.section(l.Head)
		for _, x := range l.Items {
			p.room(pdfLine)
			p.word(pdfLeft+1, p.y, "–", "", 9)
			p.paragraph(pdfLeft+5, pdfRight, x, "", 9)
		}
	}
	p.end()
	return f.Output(w)
}

func (p *recordPDF) page() {
	p.AddPage()
	p.y = pdfTop
}

// room begins a new page where what follows has no room on this one.
func (p *recordPDF) room(high float64) {
	if p.y+high <= pdfBottom {
		return
	}
	p.page()
	p.line(pdfLeft, p.y, pdfRight, p.y, 0.3)
	p.y += 2
	if p.rule {
		p.stepHead()
	}
}

func (p *recordPDF) line(x1, y1, x2, y2, wide float64) {
	p.SetLineWidth(wide)
	p.Line(x1, y1, x2, y2)
}

func (p *recordPDF) face(style string, size float64) {
	family := "go"
	if style == "mono" {
		family, style = "mono", ""
	}
	p.SetFont(family, style, size)
}

// word sets one line with its top at y.
func (p *recordPDF) word(x, y float64, text, style string, size float64) {
	p.face(style, size)
	p.Text(x, y+size*0.35*0.95, drawable(text))
}

// lines folds a text to a width; a word that is wider is divided.
func (p *recordPDF) lines(text, style string, size, wide float64) []string {
	p.face(style, size)
	var all []string
	line := ""
	flush := func() {
		if line != "" {
			all = append(all, line)
		}
		line = ""
	}
	for _, word := range strings.Fields(drawable(text)) {
		if line != "" && p.GetStringWidth(line+" "+word) <= wide {
			line += " " + word
			continue
		}
		flush()
		for p.GetStringWidth(word) > wide && utf8.RuneCountInString(word) > 1 {
			cut, used := 0, 0.0
			for i, r := range word {
				if used += p.GetStringWidth(string(r)); used > wide && i > 0 {
					break
				}
				cut = i + utf8.RuneLen(r)
			}
			all, word = append(all, word[:cut]), word[cut:]
		}
		line = word
	}
	flush()
	return all
}

func (p *recordPDF) paragraph(x1, x2 float64, text, style string, size float64) {
	high := size * 0.46
	for _, line := range p.lines(text, style, size, x2-x1) {
		p.room(high)
		p.word(x1, p.y, line, style, size)
		p.y += high
	}
}

func (p *recordPDF) section(head string) {
	p.rule = false
	p.room(14)
	p.y += 3
	p.word(pdfLeft, p.y, head, "B", 9.5)
	p.y += 4.8
	p.line(pdfLeft, p.y, pdfRight, p.y, 0.3)
	p.y += 1.2
}

// head is title, number, verdict and the code.
func (p *recordPDF) head() {
	const code = 30.0
	right := pdfRight - code - 6
	top := p.y
	p.line(pdfLeft, p.y, pdfRight, p.y, 1.2)
	p.y += 3
	p.word(pdfLeft, p.y, p.s.Title, "B", 17)
	p.y += 8
	p.word(pdfLeft, p.y, p.s.Number, "B", 11)
	p.y += 6
	if p.s.Reissue != "" {
		from := p.y
		p.y += 1.5
		p.paragraph(pdfLeft+2, right-2, p.s.Reissue, "B", 9)
		p.y += 1.2
		p.SetLineWidth(0.5)
		p.Rect(pdfLeft, from, right-pdfLeft, p.y-from, "D")
		p.y += 2
	}
	from := p.y
	p.word(pdfLeft+4, p.y, p.s.Verdict, "B", 12)
	p.y += 5.6
	p.line(pdfLeft+1.1, from, pdfLeft+1.1, p.y, 2.2)
	p.y++
	for _, x := range p.s.Basis {
		p.paragraph(pdfLeft+4, right, x, "", 9)
	}
	p.code(pdfRight-code, top+3, code)
	if p.PageNo() == 1 {
		p.y = max(p.y, top+code+5)
	}
	p.line(pdfLeft, p.y+1, pdfRight, p.y+1, 0.3)
	p.line(pdfLeft, p.y+2, pdfRight, p.y+2, 0.3)
	p.y += 4
}

// code draws the code, dark modules of a row that touch as one.
func (p *recordPDF) code(x, y, side float64) {
	if p.PageNo() > 1 { // the basis was longer than a page: the code stands where it began
		defer p.SetPage(p.PageNo())
		p.SetPage(1)
	}
	one := side / float64(p.s.QR.Size())
	p.SetFillColor(0, 0, 0)
	p.s.QR.Runs(func(i, j, n int) { p.Rect(x+float64(i)*one, y+float64(j)*one, float64(n)*one, one, "F") })
}

// facts stand in two columns.
func (p *recordPDF) facts() {
	const gap = 6.0
	half := (pdfRight - pdfLeft - gap) / 2
	for i := 0; i < len(p.s.Facts); i += 2 {
		var cells [2][]string
		high := 0.0
		for k := range cells {
			if i+k < len(p.s.Facts) {
				cells[k] = p.lines(p.s.Facts[i+k].Says, factFace(p.s.Facts[i+k]), 8.5, half-26)
				high = max(high, float64(len(cells[k]))*pdfLine)
			}
		}
		p.room(min(high, pdfBottom-pdfTop-20) + 1)
		for k := range min(2, len(p.s.Facts)-i) {
			p.SetTextColor(70, 70, 70)
			p.word(pdfLeft+float64(k)*(half+gap), p.y, p.s.Facts[i+k].Label, "", 8.5)
			p.SetTextColor(0, 0, 0)
		}
		p.abreast(cells[:], func(k int, line string) {
			p.word(pdfLeft+float64(k)*(half+gap)+26, p.y, line, factFace(p.s.Facts[i+k]), 8.5)
		})
		for k := range min(2, len(p.s.Facts)-i) {
			x := pdfLeft + float64(k)*(half+gap)
			p.dotted(x, x+half, p.y+0.4)
		}
		p.y++
	}
}

// abreast sets columns of lines side by side, over several pages where they are longer than what is left of one.
func (p *recordPDF) abreast(columns [][]string, set func(column int, line string)) {
	for i := 0; slices.ContainsFunc(columns, func(lines []string) bool { return i < len(lines) }); i++ {
		p.room(pdfLine)
		for k, lines := range columns {
			if i < len(lines) {
				set(k, lines[i])
			}
		}
		p.y += pdfLine
	}
}

func factFace(f recordFact) string {
	if len(f.Says) == 64 && f.Label == "its digest" {
		return "mono"
	}
	return ""
}

func (p *recordPDF) dotted(x1, x2, y float64) {
	p.SetDrawColor(130, 130, 130)
	p.SetDashPattern([]float64{0.3, 0.7}, 0)
	p.line(x1, y, x2, y, 0.15)
	p.SetDashPattern([]float64{}, 0)
	p.SetDrawColor(0, 0, 0)
}

func (p *recordPDF) stepHead() {
	p.SetTextColor(70, 70, 70)
	p.word(pdfLeft+2, p.y, headNumber, "", 8)
	for i, head := range recordColumns {
		p.word(pdfColumns[i], p.y, head, "", 8)
	}
	p.SetTextColor(0, 0, 0)
	p.y += pdfLine
	p.line(pdfLeft, p.y, pdfRight, p.y, 0.3)
	p.y += 0.8
}

func (p *recordPDF) steps() {
	p.section(headReadings)
	p.stepHead()
	p.rule = true
	for i := range p.s.Rows {
		row := &p.s.Rows[i]
		cells := []string{row.Name, row.Wanted, row.Reads, row.With, row.Came}
		style := ""
		spans := [5]float64{}
		for k := range cells {
			spans[k] = pdfColumns[k+1] - pdfColumns[k] - 1.5
		}
		if row.Number > 0 { // a step's name and reason have room
			style = "B"
			spans[0], spans[2] = pdfColumns[2]-pdfColumns[0]-1.5, pdfColumns[4]-pdfColumns[2]-1.5
		}
		var folded [5][]string
		high := 0.0
		for k, text := range cells {
			face := style
			if k == 4 && row.Fail {
				face = "B"
			}
			folded[k] = p.lines(text, face, 8.5, spans[k])
			high = max(high, float64(len(folded[k]))*pdfLine)
		}
		high = max(high, pdfLine)
		if row.Number > 0 {
			p.room(high + 2*pdfLine + 1) // a step does not stand without a reading at the foot of a page
		} else if high < pdfBottom-pdfTop-20 {
			p.room(high + 1)
		}
		p.tall(high, folded, style, row)
	}
	p.rule = false
}

// tall writes a row, over several pages where it is taller than what is left of one.
func (p *recordPDF) tall(high float64, folded [5][]string, style string, row *recordRow) {
	for from := 0; ; {
		p.room(pdfLine + 0.8)
		n := min(int((pdfBottom-p.y)/pdfLine), int(high/pdfLine+0.5)-from)
		part := float64(n) * pdfLine
		if row.Fail {
			p.SetFillColor(232, 232, 232)
			p.Rect(pdfNo, p.y-0.4, pdfRight-pdfNo, part+0.8, "F")
		}
		if row.Number > 0 && from == 0 {
			p.line(pdfLeft, p.y-0.5, pdfRight, p.y-0.5, 0.3)
			number := fmt.Sprint(row.Number)
			p.face("B", 8.5)
			p.word(pdfNo-2-p.GetStringWidth(number), p.y, number, "B", 8.5)
		}
		for k, lines := range folded {
			face := style
			if k == 4 && row.Fail {
				face = "B"
			}
			for i := from; i < min(from+n, len(lines)); i++ {
				p.word(pdfColumns[k], p.y+float64(i-from)*pdfLine, lines[i], face, 8.5)
			}
		}
		p.line(pdfLeft, p.y-0.6, pdfLeft, p.y+part+0.6, 0.3)
		p.line(pdfLeft+1, p.y-0.6, pdfLeft+1, p.y+part+0.6, 0.3)
		p.line(pdfNo, p.y-0.6, pdfNo, p.y+part+0.6, 0.3)
		p.dotted(pdfNo, pdfRight, p.y+part+0.4)
		p.y += part + 1
		if from += n; from >= int(high/pdfLine+0.5) {
			return
		}
	}
}

func (p *recordPDF) instruments() {
	if len(p.s.Instruments) == 0 {
		return
	}
	p.section(headInstruments)
	for _, row := range p.s.Instruments {
		var folded [3][]string
		high := pdfLine
		for k, text := range row {
			folded[k] = p.lines(text, "", 8.5, 56)
			high = max(high, float64(len(folded[k]))*pdfLine)
		}
		p.room(min(high, 100) + 1)
		p.abreast(folded[:], func(k int, line string) { p.word(pdfLeft+1+float64(k)*60, p.y, line, "", 8.5) })
		p.y += 0.6
		p.dotted(pdfLeft, pdfRight, p.y-0.2)
		p.y += 0.4
	}
}

// end is what stands at the end of the last page.
func (p *recordPDF) end() {
	p.y += 4
	p.room(62)
	for _, x := range p.s.Statements {
		p.paragraph(pdfLeft, pdfRight, x, "", 8.5)
		p.y += 0.6
	}
	p.y += 13
	half := (pdfRight - pdfLeft - 8) / 2
	for k, x := range p.s.Sign {
		at := pdfLeft + float64(k)*(half+8)
		p.line(at, p.y, at+half, p.y, 0.3)
		for i, line := range p.lines(x, "", 8.5, half) {
			if i < 3 {
				p.word(at, p.y+1+float64(i)*pdfLine, line, "", 8.5)
			}
		}
	}
	p.y += 14
	p.line(pdfLeft, p.y, pdfRight, p.y, 0.3)
	p.line(pdfLeft, p.y+1, pdfRight, p.y+1, 0.3)
	p.y += 2
	last := fmt.Sprintf(sayRecordEnd, p.s.Number)
	p.face("", 9)
	p.word((pdfLeft+pdfRight-p.GetStringWidth(drawable(last)))/2, p.y, last, "", 9)
}

// foot is on each page: number, page, digest and chain.
func (p *recordPDF) foot() {
	y := pdfBottom + 5
	p.SetTextColor(0, 0, 0)
	p.line(pdfLeft, y, pdfRight, y, 0.3)
	p.word(pdfLeft, y+1, p.s.Title+" "+p.s.Number, "B", 8)
	of := fmt.Sprintf(sayRecordPage, p.PageNo())
	p.word(pdfRight-24, y+1, of, "", 8)
	p.word(pdfLeft, y+5, fmt.Sprintf(sayRecordDigest, p.s.Digest), "mono", 7)
	p.word(pdfLeft, y+8.5, p.s.Chain, "mono", 7)
}

// drawable shows characters that the face does not have by their number, so that none
// is lost without a sign.
func drawable(text string) string {
	font, err := recordFace()
	if err != nil {
		return text
	}
	var out strings.Builder
	var buffer sfnt.Buffer
	for _, r := range text {
		if i, err := font.GlyphIndex(&buffer, r); err == nil && i != 0 && r < 0x10000 {
			out.WriteRune(r)
		} else {
			fmt.Fprintf(&out, "[U+%04X]", r)
		}
	}
	return out.String()
}

var recordFace = sync.OnceValues(func() (*sfnt.Font, error) { return sfnt.Parse(goregular.TTF) })
