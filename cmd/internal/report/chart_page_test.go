package report_test

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"golang.org/x/net/html"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A chart for a phone has every place and every end once, with what can hurt before what is to be done; each
// answer leads to what it leads to, and the trail of answers names what was asked.
func TestAChartForAPhoneIsTheChart(t *testing.T) {
	small, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	trailDo, trailRead, hurt := 0, 0, 0
	for _, who := range []rulebase.Who{rulebase.Operator, rulebase.Technician} {
		chart := chartOf(t, small, rulebase.Situation{At: rulebase.Field, Who: who}, engine.ChartOptions{})
		doc, err := html.Parse(strings.NewReader(svgOf(t, func(w io.Writer) error { return chart.HTML(w, report.ChartKind{}) })))
		if err != nil {
			t.Fatal(err)
		}
		sections := map[string]*html.Node{}
		for _, n := range found(doc, "section", "") {
			if sections[attribute(n, "id")] != nil {
				t.Errorf("%s: %s is there twice", who, attribute(n, "id"))
			}
			sections[attribute(n, "id")] = n
		}
		all := 0
		for _, x := range chart.Places() {
			all++
			name := fmt.Sprintf("p%d", x.Number)
			n := sections[name]
			if n == nil {
				t.Fatalf("%s: there is no place %s", who, name)
			}
			ordered(t, name, n, x.Warnings, x.Do)
			want := x.Do // work, or a look that is the question itself
			if x.Node.Symptom >= 0 && x.Read != "" {
				want = x.Read
				trailRead++
			} else {
				trailDo++
			}
			if got := attribute(n, "data-asked"); got != want || want == "" {
				t.Errorf("%s: the trail asks %q, wanted %q", name, got, want)
			}
			for class, want := range map[string]string{"do": x.Do, "read": x.Read, "price": x.Price, "hazard": x.Hazards} {
				got := ""
				for _, p := range found(n, "p", class) {
					got += inner(p)
				}
				if got != want {
					t.Errorf("%s: its %s is %q, wanted %q", name, class, got, want)
				}
			}
			links := found(n, "a", "way")
			if len(links) != len(x.Ways) {
				t.Fatalf("%s: %d answers of %d", name, len(links), len(x.Ways))
			}
			for i, w := range x.Ways {
				to := fmt.Sprintf("p%d", w.To)
				if w.To == 0 {
					to = fmt.Sprintf("e%d-%d", x.Number, i+1)
					all++
				}
				if got := attribute(links[i], "href"); got != "#"+to || sections[to] == nil || attribute(links[i], "data-says") != w.Says || !strings.HasPrefix(inner(links[i]), w.Says) {
					t.Errorf("%s: answer %d, %q, leads to %q, wanted %q", name, i+1, inner(links[i]), got, to)
				}
				if w.To == 0 && sections[to] != nil {
					ordered(t, to, sections[to], w.Hurts, capitalOf(w.EndSays))
					hurt += len(w.Hurts)
				}
			}
		}
		if len(sections) != all {
			t.Errorf("%s: %d sections for %d places and ends", who, len(sections), all)
		}
	}
	if trailDo == 0 || trailRead == 0 || hurt == 0 {
		t.Errorf("%d answers to work, %d to readings, %d warnings of ends: all are to be tried", trailDo, trailRead, hurt)
	}
}

func capitalOf(s string) string { return strings.ToUpper(s[:1]) + s[1:] }

// ordered holds a section to its warnings, all of them and above what is to be done.
func ordered(t *testing.T, name string, n *html.Node, warnings []report.ChartWarning, do string) {
	t.Helper()
	text, at := inner(n), 0
	for _, w := range warnings {
		i := strings.Index(text[at:], w.Word+" "+w.Says)
		if i < 0 {
			t.Errorf("%s does not warn %q in its place", name, w.Says)
			return
		}
		at += i
	}
	if !strings.Contains(text[at:], strings.TrimSuffix(do, ".")) {
		t.Errorf("%s does not say %q below its warnings: %s", name, do, text)
	}
	if got := len(found(n, "p", "warning")); got != len(warnings) {
		t.Errorf("%s has %d warnings of %d", name, got, len(warnings))
	}
}

// found are the elements of a kind and class below a node.
func found(n *html.Node, tag, class string) []*html.Node {
	var all []*html.Node
	for d := range n.Descendants() {
		if d.Type == html.ElementNode && d.Data == tag && (class == "" || attribute(d, "class") == class) {
			all = append(all, d)
		}
	}
	return all
}

func attribute(n *html.Node, key string) string {
	for _, a := range n.Attr {
		if a.Key == key {
			return a.Val
		}
	}
	return ""
}

// inner is the text of an element in one line.
func inner(n *html.Node) string {
	var b strings.Builder
	for d := range n.Descendants() {
		if d.Type == html.TextNode {
			b.WriteString(d.Data)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}
