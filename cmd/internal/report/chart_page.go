package report

import (
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
)

var (
	//go:embed chart.html
	chartHTML string
	//go:embed chart.css
	chartCSS string
	//go:embed chart.js
	chartJS string

	chartPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("chart").Parse(chartHTML)) })
)

// hashOf is a text as a Content-Security-Policy allows it to be written in a page.
func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "sha256-" + base64.StdEncoding.EncodeToString(sum[:])
}

type chartPlaceHTML struct {
	*ChartPlace
	Title string
	Asked string // what an answer here is an answer to
	Ways  []chartWayHTML
	Ends  []chartWayHTML
}

type chartWayHTML struct {
	ChartWay
	Target, Short string
	Sentence      string // of an end
	Of            int
}

// HTML writes the chart as one file for a phone. It asks one thing at a time, works
// from a disk without any network, remembers where it was, and is whole with scripts off.
func (c *Chart) HTML(w io.Writer, kind ChartKind) error {
	heads := c.heads()
	data := struct {
		Title, Key            string
		Heads, Still, Feet    []string
		StyleHash, ScriptHash string
		Style                 template.CSS
		Script                template.JS
		Places                []chartPlaceHTML
		Only                  *chartWayHTML // an end from the beginning
	}{Title: strings.TrimSuffix(heads[0], "."), Feet: c.feet(kind), Still: c.inPlace(),
		StyleHash: hashOf(chartCSS), ScriptHash: hashOf(chartJS), Style: template.CSS(chartCSS), Script: template.JS(chartJS)}
	for _, line := range heads[1:] {
		if !slices.Contains(data.Still, line) {
			data.Heads = append(data.Heads, line)
		}
	}
	for _, x := range c.places {
		p := chartPlaceHTML{ChartPlace: x, Title: capital(sayChartShare(x.Share))}
		if x.Further {
			p.Title = sayChartReadOn
		}
		if p.Asked = x.Read; x.Node.Symptom < 0 || p.Asked == "" {
			p.Asked = x.Do
		}
		for i, way := range x.Ways {
			one := chartWayHTML{ChartWay: way, Target: fmt.Sprintf("p%d", way.To), Short: sayGoTo(way.To), Of: x.Number}
			if way.To == 0 {
				one.Target, one.Short = fmt.Sprintf("e%d-%d", x.Number, i+1), sayEndShort(way.End)
				one.Sentence = capital(sentence(way.EndSays))
				p.Ends = append(p.Ends, one)
			}
			p.Ways = append(p.Ways, one)
		}
		data.Places = append(data.Places, p)
	}
	if len(c.places) == 0 {
		one := chartWayHTML{Target: "p1", Of: 1, ChartWay: ChartWay{Says: sayChartShare("all")}}
		one.EndSays, one.Hurts = c.end(c.tree.Root, c.tree.Root)
		one.Sentence = capital(sentence(one.EndSays))
		data.Only = &one
	}
	data.Key = fmt.Sprintf("%.16x", sha256.Sum256(fmt.Append(nil, c.base.Digest, heads, c.feet(kind), len(c.places))))
	if err := chartPage().Execute(w, data); err != nil {
		return fmt.Errorf("write the chart: %w", err)
	}
	return nil
}
