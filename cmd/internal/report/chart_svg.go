package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
)

// A chart is drawn as a ruled sheet: strips in columns, in the order of their numbers.
// Each strip has its number on a tag, the numbers that lead to it below that, and
// a conductor down to a terminal for each answer. No conductor runs from strip to strip: as on a
// wiring drawing, numbers say where it goes on.
const (
	drawSize   = 13.0 // of letters, in pixels
	drawRow    = 18.0
	drawColumn = 440.0 // with its gutter
	drawGutter = 54.0
	drawGap    = 28.0
	drawMargin = 18.0
	drawSafe   = 0.96 // of the width, for faces that are a little wider
	sheetRatio = math.Sqrt2
)

// A drawnRow is a line of a strip.
type drawnRow struct {
	in       float64 // how far it stands in
	runs     []textRun
	terminal bool // an answer begins here
}

// A drawnStrip is a place, folded and ready to be drawn.
type drawnStrip struct {
	number int
	from   string
	rows   []drawnRow
}

func (s *drawnStrip) height() float64 {
	return math.Max(2, float64(len(s.rows)))*drawRow + s.gap() + 14
}

// gap is what is left free above the first answer, so that its terminal stands below the tag.
func (s *drawnStrip) gap() float64 {
	first := slices.IndexFunc(s.rows, func(row drawnRow) bool { return row.terminal })
	return math.Max(4, s.tagEnd()+4-(6+float64(first)*drawRow+drawRow/2))
}

// tagEnd is where the conductor begins, below the tag and what stands under it.
func (s *drawnStrip) tagEnd() float64 {
	if s.from == "" {
		return 26
	}
	return 42
}

// add folds text into rows.
func (s *drawnStrip) add(in float64, terminal bool, runs ...textRun) {
	for i, line := range foldLetters(drawSize, (drawColumn-drawGutter-in)*drawSafe, runs...) {
		s.rows = append(s.rows, drawnRow{in, line, terminal && i == 0})
	}
}

func (s *drawnStrip) warn(in float64, all []ChartWarning) {
	for _, w := range all {
		s.add(in, false, textRun{w.Word, true}, textRun{w.Says, false})
	}
}

// SVG draws the chart.
func (c *Chart) SVG(w io.Writer, kind ChartKind) error {
	strips := c.strips()
	all, tallest := 0.0, 0.0
	for _, s := range strips {
		all, tallest = all+s.height(), math.Max(tallest, s.height())
	}
	columns := math.Max(1, math.Round(math.Sqrt(sheetRatio*all/drawColumn)))
	high := math.Max(tallest, all/columns)
	var body strings.Builder
	top := c.head(&body, columns)
	x, y, bottom := drawMargin, top, top
	for i := range strips {
		s := &strips[i]
		if y > top && y+s.height() > top+high+s.height()/2 { // a column ends at the strip nearest to the mean
			x, y = x+drawColumn+drawGap, top
		}
		s.draw(&body, x, y)
		y += s.height()
		bottom = math.Max(bottom, y)
	}
	wide := x + drawColumn + drawMargin
	for rule := drawMargin + drawColumn + drawGap/2; rule < wide-drawColumn; rule += drawColumn + drawGap {
		fmt.Fprintf(&body, `<path d="M%.1f %.1fV%.1fm3 0V%.1f" class="rule"/>`, rule-1.5, top, bottom, top)
	}
	y = bottom + drawRow
	for _, line := range c.feet(kind) {
		y = drawText(&body, drawMargin, y, wide-2*drawMargin, textRun{line, false})
	}
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" width="%.0f" height="%.0f" font-family="'Liberation Sans', Arial, Helvetica, sans-serif" font-size="%.0f"><title>%s</title><style>.tag{fill:none;stroke:#000;stroke-width:2}.wire{fill:none;stroke:#000;stroke-width:1.5}.terminal{fill:#fff;stroke:#000;stroke-width:1.5}.rule{fill:none;stroke:#000;stroke-width:.5}.from{font-size:10px}</style><rect width="100%%" height="100%%" fill="#fff"/>%s</svg>`+"\n",
		wide, y+drawMargin, wide, y+drawMargin, drawSize, escape(c.title), body.String())
	return err
}

// head draws the lines above the strips. It gives the height where those begin.
func (c *Chart) head(out *strings.Builder, columns float64) float64 {
	wide := columns*(drawColumn+drawGap) - drawGap
	y := drawMargin + drawRow
	for i, line := range c.heads() {
		y = drawText(out, drawMargin, y, wide, textRun{line, i == 0})
	}
	return y
}

// strips are the places of a chart, folded.
func (c *Chart) strips() []drawnStrip {
	from := make(map[int][]string)
	for _, x := range c.places {
		for _, w := range x.Ways {
			if w.To > 0 {
				from[w.To] = append(from[w.To], fmt.Sprint(x.Number))
			}
		}
	}
	if len(c.places) == 0 {
		says, hurts := c.end(c.tree.Root, c.tree.Root)
		one := drawnStrip{number: 1}
		one.warn(0, hurts)
		one.add(0, false, textRun{capital(sentence(says)), true})
		return []drawnStrip{one}
	}
	var strips []drawnStrip
	for _, x := range c.places {
		s := drawnStrip{number: x.Number}
		if f := from[x.Number]; len(f) > 0 {
			s.from = sayDrawnFrom(f)
		}
		for _, says := range x.Confirm {
			s.add(0, false, textRun{sayChartConfirm(says), false})
		}
		s.warn(0, x.Warnings)
		for _, says := range append([]string{x.Hazards}, x.AskFirst...) {
			s.add(0, false, textRun{says, false})
		}
		s.add(0, false, textRun{x.Do, true})
		for i, step := range x.Steps {
			s.add(14, false, textRun{fmt.Sprintf("%d. %s", i+1, step), false})
		}
		s.add(0, false, textRun{x.Price, false})
		read := x.Read
		if x.Further {
			read = sayChartFurther(read)
		}
		s.add(0, false, textRun{read, x.Do == ""})
		for _, w := range x.Ways {
			if w.To > 0 {
				s.add(0, true, textRun{w.Says + ":", false}, textRun{sayGoTo(w.To), true})
				continue
			}
			if len(w.Hurts) == 0 {
				s.add(0, true, textRun{w.Says + ":", false}, textRun{w.EndSays, false})
				continue
			}
			s.add(0, true, textRun{w.Says + ":", false})
			s.warn(14, w.Hurts)
			s.add(14, false, textRun{w.EndSays, false})
		}
		strips = append(strips, s)
	}
	return strips
}

// draw draws a strip whose upper left corner is at x, y.
func (s *drawnStrip) draw(out *strings.Builder, x, y float64) {
	middle := x + 20
	fmt.Fprintf(out, `<path d="M%.1f %.1fh%.1f" class="rule"/><rect x="%.1f" y="%.1f" width="40" height="20" class="tag"/><text x="%.1f" y="%.1f" text-anchor="middle" font-weight="bold">%d</text>`,
		x, y, drawColumn, x, y+6, middle, y+20.5, s.number)
	if s.from != "" {
		fmt.Fprintf(out, `<text x="%.1f" y="%.1f" text-anchor="middle" class="from">%s</text>`, middle, y+38, escape(s.from))
	}
	wire, at := y+s.tagEnd(), y+6
	first := true
	for _, row := range s.rows {
		if row.terminal {
			if first {
				at, first = at+s.gap(), false
			}
			centre := at + drawRow/2
			fmt.Fprintf(out, `<path d="M%.1f %.1fV%.1f" class="wire"/><path d="M%.1f %.1fH%.1f" class="wire"/><circle cx="%.1f" cy="%.1f" r="4" class="terminal"/>`, middle, wire, centre-4, middle+4, centre, x+drawGutter-6, middle, centre)
			wire = centre + 4
		}
		writeRuns(out, x+drawGutter+row.in, at+14, row.runs)
		at += drawRow
	}
}

// drawText folds and writes text. It gives the height of the next line.
func drawText(out *strings.Builder, x, y, wide float64, runs ...textRun) float64 {
	for _, line := range foldLetters(drawSize, wide*drawSafe, runs...) {
		writeRuns(out, x, y-4, line)
		y += drawRow
	}
	return y
}

func writeRuns(out *strings.Builder, x, y float64, runs []textRun) {
	fmt.Fprintf(out, `<text x="%.1f" y="%.1f">`, x, y)
	for _, run := range runs {
		if run.bold {
			fmt.Fprintf(out, `<tspan font-weight="bold">%s</tspan>`, escape(run.text))
		} else {
			out.WriteString(escape(run.text))
		}
	}
	out.WriteString("</text>")
}
