package report

import (
	"fmt"
	"html/template"
	"io"
	"math/big"
	"strings"

	"downdrop/engine/ways"
)

// dashes tell the lines of a plot apart in black and white.
var dashes = []string{"", "9 4", "3 3", "12 4 2 4", "6 6", "2 6", "14 3 5 3", "1 3", "18 6", "8 3 2 3 2 3"}

// plotStyle is the look of a drawing that stands by itself: black on white, and white on black on
// a screen that is dark.
const plotStyle = `<style>text{font:13px system-ui,sans-serif;fill:#000}.head{font-weight:700}.axis,.frame{stroke:#000;stroke-width:1;fill:none}.rule{stroke:#bbb;stroke-width:.6}.trace{stroke:#000;stroke-width:1.4;fill:none}.level{stroke:#000;stroke-width:1;stroke-dasharray:7 4}.ground{fill:#fff}` +
	`@media screen and (prefers-color-scheme:dark){text{fill:#fff}.axis,.frame,.trace,.level{stroke:#fff}.rule{stroke:#666}.ground{fill:#000}}</style>`

// SVG draws what each way costs against the chance that the unit is bad, with the
// break-even points. In two tones, every line with a letter and a dash of its own.
func (d *Decision) SVG(out io.Writer) error {
	_, err := io.WriteString(out, d.plotted(plotStyle, "")+"\n")
	return err
}

// Inline is the same drawing for a page that has a style for it, so that it is seen as all else there
// is: in the dark, with more contrast, in colours that somebody forces.
func (d *Decision) Inline() template.HTML {
	return template.HTML(d.plotted("", ` class="plot"`)) //nolint:gosec // every text in it is escaped
}

func (d *Decision) plotted(style, attributes string) string {
	var b strings.Builder
	lines, above := d.drawn()
	height := plotTop + plotHeight*1.4 + 60 + 22*float64(len(lines)+1)
	if above != "" {
		height += 22
	}
	base := plotTop + plotHeight*1.4
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s"%s>%s<defs><clipPath id="inside"><rect x="%.0f" y="%.0f" width="%.0f" height="%.0f"/></clipPath></defs><rect width="%.0f" height="%.0f" class="ground"/>`,
		plotWidth, height, escape(sayDecision(d.Decision)), attributes, style, plotLeft+20, plotTop, plotWidth-plotRight-plotLeft-20, base-plotTop, plotWidth, height)
	p := plot{b: &b, lower: 16, x: newAxis(0, 100, plotLeft+20, plotWidth-plotRight, "%", plotBad), y: newAxis(0, d.highest(lines), base, plotTop, d.Prices.Currency, plotMeanCost)}
	p.frame(d.Prices.Name)
	b.WriteString(`<g clip-path="url(#inside)">`)
	for i, l := range lines {
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="trace" stroke-dasharray="%s"/>`, p.x.at(0), p.y.at(l.at0), p.x.at(100), p.y.at(l.at1), dashes[i%len(dashes)])
	}
	here := p.x.at(100 * float(d.Bad))
	fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/>`, here, p.y.low, here, p.y.high)
	for _, s := range d.Stretches[1:] {
		x := p.x.at(100 * float(s.From))
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="axis"/><text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`,
			x, p.y.low, x, p.y.low-12, x, p.y.low-16, escape(percentOf(s.From)))
	}
	b.WriteString(`</g>`)
	says := plotHere + " " + percentOf(d.Bad)
	below := min(here, plotWidth-4-0.6*LettersWide(says, 13, false)) // on the paper, where it is certain too; faces differ in width
	fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, below, p.y.low+20+16, escape(says))
	for i, l := range lines {
		// The letter stands where its line is far from the others' letters: each further right.
		x := 100 * (float64(i) + 0.5) / float64(len(lines))
		y := l.at0 + (l.at1-l.at0)*x/100
		if y > p.y.to {
			x = 100 * (p.y.to*0.97 - l.at0) / (l.at1 - l.at0)
			y = p.y.to * 0.97
		}
		fmt.Fprintf(&b, `<text x="%.1f" y="%.1f" text-anchor="middle" class="head">%s</text>`, p.x.at(x), p.y.at(y)-5, letter(i))
		foot := base + 60 + 22*float64(i+1)
		fmt.Fprintf(&b, `<text x="%.0f" y="%.1f" class="head">%s</text><line x1="%.0f" y1="%.1f" x2="%.0f" y2="%.1f" class="trace" stroke-dasharray="%s"/><text x="%.0f" y="%.1f">%s</text>`,
			plotLeft, foot, letter(i), plotLeft+20, foot-4, plotLeft+90, foot-4, dashes[i%len(dashes)], plotLeft+100, foot, escape(wayNames[l.kind]+", here "+money(d.Prices, l.mean)))
	}
	if above != "" {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.1f">%s</text>`, plotLeft, base+60+22*float64(len(lines)+1), escape(sayPlotTooCostly+above+"."))
	}
	b.WriteString("</svg>")
	return b.String()
}

// A costLine is the cost of a way from a good unit to a bad one.
type costLine struct {
	kind     ways.Kind
	at0, at1 float64
	mean     *big.Rat
}

func (l costLine) least() float64 { return min(l.at0, l.at1) }

// drawn are the lines that share a drawing, the cheapest first, and the names of
// those that lie above it all along: one way that costs a hundred times the others
// would press them into the axis.
func (d *Decision) drawn() (lines []costLine, above string) {
	var all []costLine
	for _, w := range d.Ways {
		all = append(all, costLine{w.Kind, float(w.In[ways.Good].Total()), float(d.WhenBad(w)), w.Mean})
	}
	top := d.highest(all)
	var names []string
	for _, l := range all {
		if l.least() < top {
			lines = append(lines, l)
		} else {
			names = append(names, wayNames[l.kind])
		}
	}
	return lines, strings.Join(names, "; ")
}

// highest is the top of the drawing: twice what the cheapest way costs where it costs
// most, so that what is close to the decision fills the paper.
func (d *Decision) highest(lines []costLine) float64 {
	cheapest := func(x float64) float64 {
		least := lines[0].at0 + (lines[0].at1-lines[0].at0)*x
		for _, l := range lines {
			least = min(least, l.at0+(l.at1-l.at0)*x)
		}
		return least
	}
	top := max(cheapest(0), cheapest(1))
	for _, s := range d.Stretches {
		top = max(top, cheapest(float(s.From)))
	}
	return max(1, 2*top)
}
