package report_test

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

// chartOf makes the chart of a situation.
func chartOf(t *testing.T, base *rulebase.Base, s rulebase.Situation, o engine.ChartOptions) *report.Chart {
	t.Helper()
	p := engine.Prepare(base)
	tree, err := engine.Chart(t.Context(), p, s, o)
	if err != nil {
		t.Fatal(err)
	}
	return report.NewChart(p, s, tree, report.StillInPlace(base, s))
}

// A drawn chart is the chart: a strip for each place, with all its words, its number on a tag and those
// that lead there below it; a conductor from the tag through the terminals, each beside its answer.
func TestAChartIsDrawnAsItIs(t *testing.T) {
	small, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	shipped, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	lit, _ := shipped.ReadSee("power_light=lit")
	hurt, ends := 0, map[bool]int{}
	for name, chart := range map[string]*report.Chart{
		"small":     chartOf(t, small, rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, engine.ChartOptions{}),
		"by phone":  chartOf(t, small, rulebase.Situation{At: rulebase.Phone}, engine.ChartOptions{Nodes: 3}),
		"one place": chartOf(t, small, rulebase.Situation{At: rulebase.Field}, engine.ChartOptions{Nodes: 1}),
		"operator":  chartOf(t, small, rulebase.Situation{At: rulebase.Field, Who: rulebase.Operator}, engine.ChartOptions{}),
		"shipped":   chartOf(t, shipped, rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Findings: []rulebase.Finding{lit}}, engine.ChartOptions{Nodes: 5}),
	} {
		d := readDrawing(t, svgOf(t, func(w io.Writer) error { return chart.SVG(w, report.ChartKind{}) }), "")
		d.tidy(t, name)
		drawnAs(t, name, d, chart)
		if long := (d.paper.right - d.paper.left) / (d.paper.bottom - d.paper.top); long < 0.75 || long > 2 { // about that of paper on its side
			t.Errorf("%s: the sheet is %.2f times as wide as it is high", name, long)
		}
		for _, x := range chart.Places() {
			for _, w := range x.Ways {
				hurt += len(w.Hurts)
				over := w.End == engine.ChartCannotTell || w.End == engine.ChartTooRare || w.End == engine.ChartCut
				if (w.Likely != nil) != over {
					t.Errorf("%s: an end %q, %q, names causes: %v", name, w.End, w.EndSays, w.Likely)
				}
				ends[over]++
			}
		}
	}
	if ends[true] == 0 || ends[false] == 0 {
		t.Errorf("ends that hand over, and others: %v", ends)
	}
	if hurt == 0 {
		t.Error("no end of a chart names what can hurt: nothing was tried of that")
	}
}

func drawnAs(t *testing.T, name string, d *drawing, chart *report.Chart) {
	t.Helper()
	tags, places := d.of("rect", "tag"), chart.Places()
	if len(tags) != len(places) || len(tags) == 0 {
		t.Fatalf("%s: %d strips of %d places", name, len(tags), len(places))
	}
	heads, feet := chart.Says(report.ChartKind{})
	said := strings.Join(strings.Fields(d.texts()), " ")
	for _, line := range slices.Concat(heads, feet) {
		if !strings.Contains(said, strings.Join(strings.Fields(line), " ")) {
			t.Errorf("%s: it does not say %q", name, line)
		}
	}
	from := map[int][]string{}
	for _, x := range places {
		for _, w := range x.Ways {
			from[w.To] = append(from[w.To], fmt.Sprint(x.Number))
		}
	}
	lefts := []float64{}
	for i, tag := range tags {
		if !slices.Contains(lefts, tag.left) {
			lefts = append(lefts, tag.left)
		}
		if i > 0 && tag.left <= tags[i-1].left && (tag.left < tags[i-1].left || tag.top <= tags[i-1].bottom) {
			t.Errorf("%s: place %d stands at %.0f, and the one before at %.0f", name, i+1, tag.box, tags[i-1].box)
		}
		if tag.left > tags[max(0, i-1)].left && tag.top != tags[0].top {
			t.Errorf("%s: the column of place %d does not begin at the top", name, i+1)
		}
		strip := stripOf(d, tags, i)
		strip.holds(t, fmt.Sprintf("%s, place %d", name, i+1), tag, places[i], from[i+1])
	}
	var rules []drawnThing // between columns
	for _, rule := range d.of("path", "rule") {
		if rule.bottom-rule.top > 1 {
			rules = append(rules, rule)
		}
	}
	if len(rules) != len(lefts)-1 {
		t.Fatalf("%s: %d rules between %d columns", name, len(rules), len(lefts))
	}
	for i, rule := range rules {
		if rule.left < lefts[i]+400 || rule.right > lefts[i+1] || rule.top > tags[0].top || rule.bottom < tags[0].top {
			t.Errorf("%s: a rule stands at %.0f, between columns at %v", name, rule.box, lefts)
		}
	}
	strokes := slices.Concat(d.of("path", "wire"), rules)
	for _, text := range d.of("text", "") {
		for _, s := range strokes {
			if s.left < text.right && s.right > text.left && s.top < text.bottom && s.bottom > text.top {
				t.Errorf("%s: a stroke at %.0f runs through %q at %.0f", name, s.box, text.says, text.box)
			}
		}
		if right := slices.Max(lefts); text.top > tags[0].top && text.right > right+440 {
			t.Errorf("%s: %q runs out of its column", name, text.says)
		}
	}
}

// A readStrip is what stands in a strip.
type readStrip struct {
	texts, wires, terminals []drawnThing
}

// stripOf collects what stands beside and below a tag, up to the next.
func stripOf(d *drawing, tags []drawnThing, i int) (s readStrip) {
	end := d.paper.bottom
	for _, tag := range tags {
		if tag.left == tags[i].left && tag.top > tags[i].top {
			end = math.Min(end, tag.top)
		}
	}
	for _, rule := range d.of("path", "rule") { // the last of a column ends where columns do
		if rule.bottom-rule.top > 1 {
			end = math.Min(end, rule.bottom+6)
		}
	}
	for _, x := range d.all {
		if x.left < tags[i].left-1 || x.right > tags[i].left+440 || x.top < tags[i].top-8 || x.bottom > end {
			continue
		}
		switch {
		case x.is == "text":
			s.texts = append(s.texts, x)
		case x.class == "wire":
			s.wires = append(s.wires, x)
		case x.class == "terminal":
			s.terminals = append(s.terminals, x)
		}
	}
	return s
}

func (s *readStrip) holds(t *testing.T, name string, tag drawnThing, x *report.ChartPlace, from []string) {
	t.Helper()
	var words, numbers []string
	var lines []drawnThing
	begins := tag.bottom
	for _, text := range s.texts {
		switch {
		case text.within(tag.box):
			numbers = append(numbers, text.says)
		case text.class == "from":
			if text.top < tag.bottom || !(math.Abs((text.left+text.right-tag.left-tag.right)/2) <= 1) {
				t.Errorf("%s: %q does not stand below the tag", name, text.says)
			}
			begins = text.bottom
			if got := strings.FieldsFunc(text.says, func(r rune) bool { return r < '0' || r > '9' }); !slices.Equal(got, from) {
				t.Errorf("%s: below the tag stands %q, and %v lead there", name, text.says, from)
			}
		default:
			lines, words = append(lines, text), append(words, strings.Fields(text.says)...)
		}
	}
	if len(numbers) != 1 || numbers[0] != fmt.Sprint(x.Number) {
		t.Errorf("%s: the tag says %q", name, numbers)
	}
	if (begins == tag.bottom) != (len(from) == 0) {
		t.Errorf("%s: nothing or too much stands below the tag; %v lead there", name, from)
	}
	says := strings.Join(words, " ")
	wants := slices.Concat([]string{x.Hazards, x.Do, x.Price, x.Read}, x.AskFirst, x.Confirm, x.Steps)
	for _, w := range x.Warnings {
		wants = append(wants, w.Word+" "+w.Says)
	}
	for _, w := range x.Ways {
		switch to := w.EndSays; {
		case w.To > 0:
			wants = append(wants, w.Says+": "+w.GoTo())
		case len(w.Hurts) == 0:
			wants = append(wants, w.Says+": "+to)
		default:
			one := w.Says + ":"
			for _, h := range w.Hurts {
				one += " " + h.Word + " " + h.Says
			}
			wants = append(wants, one+" "+to)
		}
	}
	for _, want := range wants {
		if !strings.Contains(says, strings.Join(strings.Fields(want), " ")) {
			t.Errorf("%s: the strip does not say %q:\n%s", name, want, says)
		}
	}
	if len(s.terminals) != len(x.Ways) || len(s.wires) != 2*len(x.Ways) {
		t.Fatalf("%s: %d terminals and %d wires for %d answers", name, len(s.terminals), len(s.wires), len(x.Ways))
	}
	at := begins
	for k, terminal := range s.terminals {
		down, across := s.wires[2*k], s.wires[2*k+1]
		if gap := down.top - at; gap < -0.1 || gap > 6 || k > 0 && gap > 0.1 || !(math.Abs(down.bottom-terminal.top) <= 0.1) || down.bottom < down.top {
			t.Errorf("%s: the conductor to answer %d goes from %.1f to %.1f; the one before ends at %.1f, its terminal begins at %.1f", name, k+1, down.top, down.bottom, at, terminal.top)
		}
		at = terminal.bottom
		middle := (terminal.top + terminal.bottom) / 2
		i := slices.IndexFunc(lines, func(x drawnThing) bool { return x.top < middle && x.bottom > middle })
		if i < 0 {
			t.Errorf("%s: nothing stands at the terminal of answer %d", name, k+1)
			continue
		}
		if first := strings.Fields(x.Ways[k].Says + ":"); !strings.HasPrefix(lines[i].says, first[0]) {
			t.Errorf("%s: at the terminal of answer %d, %q, stands %q", name, k+1, x.Ways[k].Says, lines[i].says)
		}
		if gap := lines[i].left - across.right; across.left != terminal.right || gap < 1 || gap > 10 || !(math.Abs(across.top-middle) <= 0.1) || !(math.Abs(across.bottom-middle) <= 0.1) {
			t.Errorf("%s: the wire of answer %d goes from %.1f to %.1f; its terminal ends at %.1f, its text begins at %.1f", name, k+1, across.left, across.right, terminal.right, lines[i].left)
		}
		if k == 0 && i > 0 && lines[i].y-lines[i-1].y > 22.1 && down.bottom-down.top > 0.1 { // rows are 18 high, and 4 are free before answers
			t.Errorf("%s: the first answer stands %.0f below what is before it, and need not", name, lines[i].y-lines[i-1].y)
		}
	}
}
