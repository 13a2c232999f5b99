package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/xml"
	"fmt"
	"html/template"
	"io"
	"strings"
	"unicode/utf8"
)

var (
	//go:embed chart.html
	chartHTML string
	//go:embed chart.css
	chartCSS string
	//go:embed chart.js
	chartJS string

	chartPage = template.Must(template.New("chart").Parse(chartHTML))
)

// hashOf is a text as a Content-Security-Policy allows it to be written in a page.
func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

type chartPlaceHTML struct {
	*chartPlace
	Title string
	Ways  []chartWayHTML
	Ends  []chartWayHTML
}

type chartWayHTML struct {
	chartWay
	Target, Short string
	Of            int
}

// HTML writes the chart as one file for a phone. It asks one thing at a time, works
// from a disk without any network, remembers where it was, and is whole with scripts off.
func (c *Chart) HTML(w io.Writer, kind ChartKind) error {
	heads := c.heads()
	data := struct {
		Title, Key            string
		Heads, Feet           []string
		StyleHash, ScriptHash string
		Style                 template.CSS
		Script                template.JS
		Places                []chartPlaceHTML
	}{Title: strings.TrimSuffix(heads[0], "."), Key: fmt.Sprintf("%.12s-%d", c.base.Digest, len(c.places)), Heads: heads[1:], Feet: c.feet(kind),
		StyleHash: hashOf(chartCSS), ScriptHash: hashOf(chartJS), Style: template.CSS(chartCSS), Script: template.JS(chartJS)}
	for _, x := range c.places {
		p := chartPlaceHTML{chartPlace: x, Title: capital(sayChartShare(x.Share))}
		for i, way := range x.Ways {
			one := chartWayHTML{chartWay: way, Target: fmt.Sprintf("p%d", way.To), Short: fmt.Sprint(way.To), Of: x.Number}
			if way.To == 0 {
				one.Target, one.Short = fmt.Sprintf("e%d-%d", x.Number, i+1), sayEndShort(way.End)
				p.Ends = append(p.Ends, one)
			}
			p.Ways = append(p.Ways, one)
		}
		data.Places = append(data.Places, p)
	}
	if len(c.places) == 0 {
		says, hurts := c.end(c.tree.Root, c.tree.Root)
		data.Heads = append(data.Heads, says)
		for _, h := range hurts {
			data.Heads = append(data.Heads, h.Word+" "+h.Says)
		}
	}
	if err := chartPage.Execute(w, data); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	return nil
}

// The drawing of a chart: an outline of ruled strips, a numbered tag for each place,
// and a conductor from each answer down to where it leads.
const (
	chartWide   = 900
	chartLine   = 18
	chartIndent = 22
	chartLetter = 7.3 // mean width of a letter at 13 px; text is folded by it
)

// A chartDrawing collects the strips of a drawing from the top down.
type chartDrawing struct {
	out strings.Builder
	y   int
}

// SVG draws the chart.
func (c *Chart) SVG(w io.Writer, kind ChartKind) error {
	d := &chartDrawing{y: 14}
	for _, line := range c.heads() {
		d.text(12, line, true)
	}
	d.y += 8
	if len(c.places) > 0 {
		d.place(c, 0, 0)
	}
	for _, line := range c.feet(kind) {
		d.text(12, line, false)
	}
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %d %d" width="%d" height="%d" font-family="sans-serif" font-size="13"><title>%s</title><rect width="100%%" height="100%%" fill="#fff"/>%s</svg>`+"\n",
		chartWide, d.y+12, chartWide, d.y+12, escaped(c.title), d.out.String())
	return err
}

func escaped(s string) string {
	var b strings.Builder
	if err := xml.EscapeText(&b, []byte(printable(s))); err != nil {
		return ""
	}
	return b.String()
}

// text writes folded text and moves down.
func (d *chartDrawing) text(x int, says string, bold bool) {
	room := int(float64(chartWide-12-x) / chartLetter)
	weight := ""
	if bold {
		weight = ` font-weight="bold"`
	}
	line := ""
	flush := func() {
		d.y += chartLine
		fmt.Fprintf(&d.out, `<text x="%d" y="%d"%s>%s</text>`, x, d.y-4, weight, escaped(line))
		line = ""
	}
	for _, word := range strings.Fields(says) {
		if line != "" && utf8.RuneCountInString(line)+1+utf8.RuneCountInString(word) > room {
			flush()
		}
		line = strings.TrimSpace(line + " " + word)
	}
	if line != "" {
		flush()
	}
}

// place draws a place with all below it. i is its place in the list, which is in that order.
func (d *chartDrawing) place(c *Chart, i, depth int) {
	x := c.places[i]
	left := 12 + min(depth, 20)*chartIndent // deeper ones stand below one another
	top := d.y
	fmt.Fprintf(&d.out, `<rect x="%d" y="%d" width="34" height="%d" fill="none" stroke="#000" stroke-width="2"/><text x="%d" y="%d" text-anchor="middle" font-weight="bold">%d</text>`,
		left, top+2, chartLine, left+17, top+chartLine-3, x.Number)
	for _, w := range x.Warnings {
		d.text(left+42, w.Word+": "+w.Says, false)
	}
	do := strings.TrimSpace(x.Do + " " + x.Read)
	d.text(left+42, do, true)
	d.y = max(d.y, top+chartLine+4)
	from := d.y
	for _, w := range x.Ways {
		at := d.y + chartLine/2
		fmt.Fprintf(&d.out, `<circle cx="%d" cy="%d" r="4" fill="#fff" stroke="#000" stroke-width="1.5"/><path d="M%d %dV%d" stroke="#000"/>`, left+17, at, left+17, from, at-4)
		from = at + 4
		if w.To == 0 {
			for _, h := range w.Hurts {
				d.text(left+28, h.Word+": "+h.Says, false)
			}
			d.text(left+28, fmt.Sprintf("%s: %s", w.Says, w.EndSays), false)
			continue
		}
		d.text(left+28, w.Says+":", false)
		d.place(c, w.To-1, depth+1)
	}
	fmt.Fprintf(&d.out, `<path d="M12 %dH%d" stroke="#bbb" stroke-dasharray="2 4"/>`, d.y+3, chartWide-12)
	d.y += 8
}
