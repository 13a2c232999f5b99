package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"strings"
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
