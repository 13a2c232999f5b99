package report

import (
	"bytes"
	"cmp"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"sync"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

//go:embed sheet_page.html
var sheetPageText string

var sheetPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("sheet").Parse(sheetPageText)) })

type sheetPageData struct {
	Title, Counts, Warning string
	Drawing                template.HTML // drawn by trunkSVG, which escapes every text of the sheet
	Groups                 []sheetPageGroup
	Echo                   template.URL // the lattice of a step, as a picture
	EchoTitle, EchoMeans   string
}

type sheetPageGroup struct {
	Title string
	Rows  []sheetPageRow
}

type sheetPageRow struct{ Letter, Says, Sum, Do, Source string }

// SheetPage writes a checked sheet as one page to read on a phone or to print,
// with the trunk drawn to scale. What does not go, or barely, has a letter, in
// the drawing and in the list.
func SheetPage(w io.Writer, s *rulebase.Sheet, results []sheet.Result) error {
	letters := lettered(results)
	data := sheetPageData{Title: saySheet(s), Counts: saySheetCount(results), Warning: saySheetWarning, Drawing: template.HTML(trunkSVG(s, results, letters))}
	for _, g := range sheetGroups {
		group := sheetPageGroup{Title: g.title}
		for i, r := range results {
			if r.Verdict != g.verdict {
				continue
			}
			row := sheetPageRow{Letter: letters[i], Says: r.Full(), Do: r.Do}
			if r.Sum != "" {
				row.Sum = sayReckoned(r.Sum)
			}
			if r.Verdict != sheet.Open && r.Source != "" {
				row.Source = sayLimitFrom(r.Source)
			}
			group.Rows = append(group.Rows, row)
		}
		if len(group.Rows) > 0 {
			data.Groups = append(data.Groups, group)
		}
	}
	if e, ok := sheet.EchoOf(s, pageTransits); ok && s.TrunkM() > 0 {
		var picture bytes.Buffer
		if err := EchoSVG(&picture, s, &e); err != nil {
			return err
		}
		data.Echo = template.URL("data:image/svg+xml;base64," + base64.StdEncoding.EncodeToString(picture.Bytes()))
		data.EchoTitle, data.EchoMeans = sayEcho(s, &e), sayEchoMeans(&e)
	}
	if err := sheetPage().Execute(w, data); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	return nil
}

// pageTransits is how many runs along the trunk are drawn on the page.
const pageTransits = 8

// lettered gives a letter to each result that does not go or barely goes; those
// at one place share it.
func lettered(results []sheet.Result) []string {
	all, byPlace, next := make([]string, len(results)), map[string]string{}, 0
	for i, r := range results {
		if r.Verdict != sheet.Fail && r.Verdict != sheet.Marginal {
			continue
		}
		place := fmt.Sprint(i)
		if r.Along != nil {
			place = fmt.Sprintf("%v-%v", r.Along.FromM, r.Along.ToM)
		}
		if byPlace[place] == "" {
			byPlace[place] = letter(next)
			next++
		}
		all[i] = byPlace[place]
	}
	return all
}

// letter counts A, B, ... Z, AA, AB, ...
func letter(n int) string {
	if n < 26 {
		return string(rune('A' + n))
	}
	return letter(n/26-1) + string(rune('A'+n%26))
}

// The drawing's measures, in units of its view box.
const (
	drawWidth  = 960.0
	drawLeft   = 40.0
	drawCable  = 150.0 // height of the trunk
	drawRuler  = 40.0
	drawSpan   = drawWidth - 2*drawLeft
	drawLetter = 118.0
	drawName   = 13.0 // size of the letters of names
	drawEdge   = 6.0  // that names keep from the edge
)

// trunkSVG draws the trunk to scale: a ruler in metres, the cable as a ruled
// line, terminators as bars at its side, stubs and drops below it, and hatching
// with its letter where something does not go. Drops whose names would lie on
// one another are set on lower lines.
func trunkSVG(s *rulebase.Sheet, results []sheet.Result, letters []string) string {
	trunk := math.Max(s.TrunkM(), 1e-9)
	x := func(m float64) float64 { return drawLeft + drawSpan*m/trunk }
	var b strings.Builder
	rows, height := dropRows(s, x)
	marks, lines := marksOf(results, letters, x)
	above := 19 * float64(max(0, lines-4)) // letters that need more room move the ruler up
	fmt.Fprintf(&b, `<svg viewBox="0 %.0f %.0f %.0f" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg">`, -above, drawWidth, height+above, escape(sayDrawing(s)))
	b.WriteString(`<defs><pattern id="hatch" width="7" height="7" patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><line x1="0" y1="0" x2="0" y2="7" class="hatch"/></pattern></defs>`)
	ruler(&b, trunk, x, drawRuler-above)
	for _, m := range marks {
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="%.1f" height="44" fill="url(#hatch)"/><text x="%.1f" y="%.1f" class="letter">%s</text>`, m.from, drawCable-22, m.to-m.from, (m.from+m.to)/2, drawLetter-19*float64(m.row), escape(m.letter))
	}
	fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="cable"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="cable"/>`, x(0), drawCable-2, x(trunk), drawCable-2, x(0), drawCable+2, x(trunk), drawCable+2)
	at := 0.0
	for _, c := range s.Cable[:max(0, len(s.Cable)-1)] { // where one stretch ends and the next begins
		at += c.LengthM
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="joint"/>`, x(at), drawCable-7, x(at), drawCable+7)
	}
	met := map[float64]int{}
	for _, t := range s.Terminators {
		aside := 0.0
		if slices.ContainsFunc(s.Inline, func(d rulebase.SheetInline) bool { return d.AtM == t.AtM }) {
			met[t.AtM]++
			aside = 16 * float64(2*min(met[t.AtM], 2)-3) // the first before the device, the second behind it
		}
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="5" height="24" class="terminator"/>`, x(t.AtM)+aside-2.5, drawCable-12)
	}
	for _, d := range s.Inline {
		fmt.Fprintf(&b, `<rect x="%.1f" y="%.1f" width="22" height="18" class="device"/><text x="%.1f" y="%.1f" class="small">%s</text>`, x(d.AtM)-11, drawCable-9, x(d.AtM), drawCable+4, escape(strings.ToUpper(d.Kind[:min(1, len(d.Kind))])))
	}
	for _, t := range s.Stubs {
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="stub"/>`, x(t.AtM), drawCable+2, x(t.AtM), drawCable+2+math.Min(24, 4+t.LengthM))
	}
	for i, d := range s.Drops {
		y, at := drawCable+40+20*float64(rows[i]), x(d.AtM)
		from, _ := nameSpan(d, at)
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="drop"/><text x="%.1f" y="%.1f" class="name">%s</text>`, at, drawCable+2, at, y-12, from, y, escape(dropLabel(d)))
	}
	b.WriteString(`</svg>`)
	return b.String()
}

func dropLabel(d rulebase.SheetDrop) string {
	if d.HasAddr {
		return fmt.Sprintf("%s (%d)", d.Name, d.Address)
	}
	return d.Name
}

// nameSpan is from where to where a drop's name goes: below its line, as far as the paper has room.
func nameSpan(d rulebase.SheetDrop, at float64) (from, to float64) {
	wide := LettersWide(printable(dropLabel(d)), drawName, false)
	from = max(drawEdge, min(at-wide/2, drawWidth-drawEdge-wide))
	return from, from + wide
}

// A mark is the hatching of what does not go at one place, with its letter.
type mark struct {
	letter   string
	from, to float64
	row      int // of the letter, upwards
}

// marksOf are the marks of a drawing, one for each letter, from left to right; a
// letter without room stands above those beside it.
func marksOf(results []sheet.Result, letters []string, x func(float64) float64) (marks []mark, rows int) {
	for i, r := range results {
		if letters[i] == "" || r.Along == nil || slices.ContainsFunc(marks, func(m mark) bool { return m.letter == letters[i] }) {
			continue
		}
		from, to := x(r.Along.FromM), x(r.Along.ToM)
		if to-from < 16 {
			middle := (from + to) / 2
			from, to = middle-8, middle+8
		}
		marks = append(marks, mark{letter: letters[i], from: from, to: to})
	}
	slices.SortStableFunc(marks, func(a, b mark) int { return cmp.Compare(a.from+a.to, b.from+b.to) })
	var ends []float64 // by row: where its last letter ends
	for i := range marks {
		m := &marks[i]
		half := 7 * float64(len(m.letter))
		for m.row < len(ends) && (m.from+m.to)/2-half < ends[m.row] {
			m.row++
		}
		if m.row == len(ends) {
			ends = append(ends, 0)
		}
		ends[m.row] = (m.from+m.to)/2 + half
	}
	return marks, len(ends)
}

// dropRows sets each drop's name on the first line where it has room.
func dropRows(s *rulebase.Sheet, x func(float64) float64) (rows []int, height float64) {
	var ends []float64 // by row: where its last name ends
	for _, d := range s.Drops {
		from, to := nameSpan(d, x(d.AtM))
		row := 0
		for row < len(ends) && from < ends[row] {
			row++
		}
		if row == len(ends) {
			ends = append(ends, 0)
		}
		ends[row] = to + 12 // faces differ in width
		rows = append(rows, row)
	}
	return rows, drawCable + 56 + 20*float64(max(0, len(ends)-1))
}

// ruler draws the metres along the trunk, a tick at a round figure.
func ruler(b *strings.Builder, trunk float64, x func(float64) float64, y float64) {
	step := roundStep(trunk / 8)
	fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="ruler"/>`, x(0), y, x(trunk), y)
	for i := 0; float64(i)*step <= trunk*(1+1e-9); i++ {
		m := float64(i) * step
		fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="ruler"/><text x="%.1f" y="%.1f" class="small">%s</text>`, x(m), y-6, x(m), y, x(m), y-12, metres(m))
		for k := 1; k < 5; k++ {
			if minor := m + step*float64(k)/5; minor < trunk {
				fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="ruler"/>`, x(minor), y-3, x(minor), y)
			}
		}
	}
}

// roundStep is 1, 2 or 5 times a power of ten, at least what is asked for.
func roundStep(x float64) float64 {
	power := math.Pow(10, math.Floor(math.Log10(x)))
	for _, n := range []float64{1, 2, 5} {
		if n*power >= x*(1-1e-9) {
			return n * power
		}
	}
	return 10 * power
}

func escape(text string) string { return template.HTMLEscapeString(printable(text)) }
