package report

import (
	"fmt"
	"io"
	"math"
	"strings"

	"downdrop/engine/waveform"
)

// The plot's measures, in units of its view box: as wide as a printed page.
const (
	plotWidth  = 900.0
	plotLeft   = 70.0
	plotRight  = 20.0
	plotTop    = 60.0
	plotHeight = 240.0
	plotBelow  = 110.0 // from one axis to the top of the next plot
)

// An axis turns a quantity into a place on paper.
type axis struct {
	from, to   float64 // of the quantity
	low, high  float64 // on paper
	step       float64 // from mark to mark
	scale      float64 // what one unit of the marks is worth
	unit, name string
}

func (a axis) at(x float64) float64 { return a.low + (a.high-a.low)*(x-a.from)/(a.to-a.from) }

// marks are round numbers along an axis, in its own unit.
func newAxis(from, to, low, high float64, unit, name string) axis {
	a := axis{from: from, to: to, low: low, high: high, scale: 1, unit: unit, name: name}
	if unit == "s" {
		for _, u := range []struct {
			below, scale float64
			unit         string
		}{{2e-6, 1e-9, "ns"}, {2e-3, 1e-6, "µs"}, {2, 1e-3, "ms"}} {
			if to-from < u.below {
				a.scale, a.unit = u.scale, u.unit
				break
			}
		}
	}
	a.step = math.Pow(10, math.Floor(math.Log10((to-from)/4)))
	for _, m := range []float64{5, 2} {
		if (to-from)/(a.step*m) >= 4 {
			a.step *= m
			break
		}
	}
	return a
}

func (a axis) marks() []float64 {
	var all []float64
	for i := math.Ceil(a.from/a.step - 1e-9); i*a.step <= a.to+1e-9*a.step; i++ {
		all = append(all, i*a.step)
	}
	return all
}

func (a axis) label(x float64) string { return digits(math.Round(x/a.scale*1e6)/1e6 + 0) }

// A plot is a frame with two ruled axes, drawn in black.
type plot struct {
	b     *strings.Builder
	x, y  axis
	lower float64 // how much lower than usual the lower axis has its name, for what stands above that
}

// frame rules the axes: marks outside, thin lines across, the unit at each end.
func (p plot) frame(title string) {
	fmt.Fprintf(p.b, `<text x="%.0f" y="%.1f" class="head">%s</text>`, plotLeft, p.y.high-12, escape(title))
	for _, m := range p.x.marks() {
		x := p.x.at(m)
		fmt.Fprintf(p.b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="rule"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="axis"/><text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`,
			x, p.y.low, x, p.y.high, x, p.y.low, x, p.y.low+6, x, p.y.low+20, escape(p.x.label(m)))
	}
	for _, m := range p.y.marks() {
		y := p.y.at(m)
		fmt.Fprintf(p.b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="rule"/><line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="axis"/><text x="%.1f" y="%.1f" text-anchor="end">%s</text>`,
			p.x.low, y, p.x.high, y, p.x.low-6, y, p.x.low, y, p.x.low-10, y+4, escape(p.y.label(m)))
	}
	fmt.Fprintf(p.b, `<rect x="%.1f" y="%.1f" width="%.1f" height="%.1f" class="frame"/>`, p.x.low, p.y.high, p.x.high-p.x.low, p.y.low-p.y.high)
	fmt.Fprintf(p.b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, p.x.high, p.y.low+40+p.lower, escape(p.x.name+", "+p.x.unit))
	fmt.Fprintf(p.b, `<text x="%.1f" y="%.1f" text-anchor="end">%s</text>`, p.x.high, p.y.high-12, escape(p.y.name+", "+p.y.unit))
}

// SVG draws the capture, senders lettered over their bursts, and below it what one
// clean edge of the first sender becomes. Black on white, for print.
func (w *Waveform) SVG(out io.Writer) error {
	var b strings.Builder
	r := w.Reading
	talker, step := -1, []float64(nil)
	var at []float64
	for i := range r.Talkers {
		if x, y := r.Talkers[i].Step(r.Step); len(y) > 0 && talker < 0 {
			talker, at, step = i, x, y
		}
	}
	height := plotTop + plotHeight + 60
	if talker >= 0 {
		height += plotHeight + plotBelow
	}
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s"><style>text{font:13px system-ui,sans-serif;fill:#000}.head{font-weight:700}.axis,.frame{stroke:#000;stroke-width:1;fill:none}.rule{stroke:#bbb;stroke-width:.6}.trace{stroke:#000;stroke-width:1.1;fill:none;stroke-linejoin:round}.level{stroke:#000;stroke-width:1;stroke-dasharray:7 4}</style><rect width="%.0f" height="%.0f" fill="#fff"/>`,
		plotWidth, height, escape(sayCapture(w)), plotWidth, height)
	low, high := waveform.Trace(w.Capture.Volts, int(plotWidth-plotLeft-plotRight))
	bottom, top := math.Inf(1), math.Inf(-1)
	for i := range low {
		bottom, top = math.Min(bottom, low[i]), math.Max(top, high[i])
	}
	room := math.Max(0.12*(top-bottom), 0.05)
	p := plot{b: &b, x: newAxis(0, r.Length, plotLeft, plotWidth-plotRight, "s", plotTime), y: newAxis(bottom-room, top+room, plotTop+plotHeight, plotTop, "V", plotVolts)}
	p.frame(w.File)
	b.WriteString(`<path class="trace" d="`)
	for i := range low { // each column from its lowest to its highest sample
		x := plotLeft + (float64(i)+0.5)*(plotWidth-plotLeft-plotRight)/float64(len(low))
		a, z := low[i], high[i]
		if i > 0 && math.Abs(high[i-1]-a) > math.Abs(high[i-1]-z) {
			a, z = z, a
		}
		fmt.Fprintf(&b, "%s%.1f %.1fL%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], x, p.y.at(a), x, p.y.at(z))
	}
	b.WriteString(`"/>`)
	for _, s := range r.Bursts {
		from, to := p.x.at(s.From), p.x.at(s.To)
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="axis"/><text x="%.1f" y="%.1f" text-anchor="middle">%s</text>`, from, p.y.high+6, to, p.y.high+6, (from+to)/2, p.y.high+20, letter(s.Talker))
	}
	if r.Idle.Seen() {
		fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/>`, p.x.low, p.y.at(r.Idle.Value), p.x.high, p.y.at(r.Idle.Value))
	}
	if talker >= 0 {
		stepPlot(&b, r, talker, at, step)
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(out, b.String())
	return err
}

// stepPlot draws what the pair makes of one clean edge, as a share of its settled swing.
func stepPlot(b *strings.Builder, r *waveform.Reading, talker int, at, step []float64) {
	bottom, top := 0.0, 1.2
	for _, v := range step {
		bottom, top = math.Min(bottom, v-0.05), math.Max(top, v+0.05)
	}
	base := plotTop + plotHeight + plotBelow
	p := plot{b: b, x: newAxis(at[0], at[len(at)-1], plotLeft, plotWidth-plotRight, "s", plotAfterEdge), y: newAxis(100*bottom, 100*top, base+plotHeight, base, "%", plotShare)}
	p.frame(sayStepOf(talker))
	fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/>`, p.x.low, p.y.at(100), p.x.high, p.y.at(100))
	b.WriteString(`<path class="trace" d="`)
	for i, v := range step {
		fmt.Fprintf(b, "%s%.1f %.1f", map[bool]string{true: "M", false: "L"}[i == 0], p.x.at(at[i]), p.y.at(100*v))
	}
	b.WriteString(`"/>`)
	if e := r.Talkers[talker].Echo; e.Kind != "" && e.Delay.Value < at[len(at)-1] {
		x := p.x.at(e.Delay.Value)
		fmt.Fprintf(b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/><text x="%.1f" y="%.1f">%s</text>`, x, p.y.low, x, p.y.high, x+6, p.y.low-8, escape(plotEcho))
	}
}
