package report

import (
	"fmt"
	"io"
	"strings"
)

// SVG draws how often what was ranked first came true against the chance given to it, with the bars
// between which chance alone leaves right forecasts. How many cases each point rests on stands at it.
func (r *Replay) SVG(out io.Writer) error {
	const side, left, top = 480.0, 90.0, 60.0
	c := r.Score.Calibration
	title := sayReplay(r.Base, r.Score)
	foot := []string{sayPlotChance(c), sayPlotBars, sayPlotPoints}
	var b strings.Builder
	base := top + side
	height := base + 70 + 20*float64(len(foot))
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s"><style>text{font:13px system-ui,sans-serif;fill:#000}.head{font-weight:700}.axis,.frame{stroke:#000;stroke-width:1;fill:none}.rule{stroke:#bbb;stroke-width:.6}.level{stroke:#000;stroke-width:1;stroke-dasharray:7 4}.bar{stroke:#000;stroke-width:1.2}.point{fill:#000}</style><rect width="%.0f" height="%.0f" fill="#fff"/>`,
		plotWidth, height, escape(title), plotWidth, height)
	p := plot{b: &b, x: newAxis(0, 100, left, left+side*1.55, "%", plotSaid), y: newAxis(0, 100, base, top, "%", plotRightIn)}
	fmt.Fprintf(&b, `<text x="%.0f" y="%.1f" class="head">%s</text>`, left, top-34, escape(title))
	p.frame("")
	fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/>`, p.x.at(0), p.y.at(0), p.x.at(100), p.y.at(100))
	for _, bin := range c.Bins {
		if bin.Cases == 0 {
			continue
		}
		x, y := p.x.at(100*bin.Forecast), p.y.at(100*bin.Frequency)
		low, high := p.y.at(100*bin.Low), p.y.at(100*bin.High)
		anchor, beside := "start", 9.0
		if bin.Forecast > 0.93 { // inside the frame
			anchor, beside = "end", -9
		}
		fmt.Fprintf(&b, `<path class="bar" fill="none" d="M%.1f %.1fV%.1fM%.1f %.1fh12M%.1f %.1fh12"/><rect x="%.1f" y="%.1f" width="8" height="8" class="point"/><text x="%.1f" y="%.1f" text-anchor="%s">%d</text>`,
			x, low, high, x-6, low, x-6, high, x-4, y-4, x+beside, min(max(y+4, top+14), base-4), anchor, bin.Cases)
	}
	for i, line := range foot {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.1f">%s</text>`, left, base+66+20*float64(i), escape(line))
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(out, b.String())
	return err
}
