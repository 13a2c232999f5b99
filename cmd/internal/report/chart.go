package report

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A Chart is a compiled fault-finding chart made ready for its printers: places
// numbered as they are read, ways told in words. One sheet, many printers.
type Chart struct {
	base   *rulebase.Base
	tree   *engine.ChartTree
	places []*ChartPlace // those where something is done, in reading order
	begin  []string      // what is known from the beginning
	title  string
	still  []string // what is still in place, from the case; nil: not a case
}

// A ChartPlace is one place of a chart: what can hurt, what to do, what was seen, where that leads.
type ChartPlace struct {
	Number   int
	Node     *engine.ChartNode
	Share    string // how many of a hundred cases come here
	Further  bool   // a further reading of the step above
	Confirm  []string
	Warnings []ChartWarning
	Hazards  string
	AskFirst []string
	Do       string
	Steps    []string
	Price    string
	Read     string // what is read; "" where it is the step itself, or work
	Ways     []ChartWay
}

// A ChartWarning is a warning with its signal word apart.
type ChartWarning struct{ Word, Says string }

// A ChartWay is an answer and where it leads: to another place, or to an end.
type ChartWay struct {
	Says    string
	To      int // 0: an end
	End     engine.ChartEnd
	EndSays string
	Likely  []string       // causes that an end in handing over names; nil: another end
	Hurts   []ChartWarning // of what the end names
	Chance  float64
	Share   float64
}

// NewChart numbers a tree. The limits are those of the situation it begins with.
func NewChart(p *engine.Prepared, s rulebase.Situation, tree *engine.ChartTree, still []string) *Chart {
	c := &Chart{base: p.Base(), tree: tree, still: still, title: sayChartTitle(s)}
	for _, g := range s.Givens {
		c.begin = append(c.begin, plain(g.ID)+" "+plain(valueText(g.Value)))
	}
	for i := range s.Findings {
		c.begin = append(c.begin, sayFinding(p.Base(), &s.Findings[i]))
	}
	limits := p.Limits(s)
	if tree.Root.Step == nil { // nothing to do from the beginning
		return c
	}
	numbers := map[*engine.ChartNode]int{}
	var number func(n *engine.ChartNode)
	number = func(n *engine.ChartNode) {
		if n.Step == nil {
			return
		}
		c.places = append(c.places, &ChartPlace{Number: len(c.places) + 1, Node: n})
		numbers[n] = len(c.places)
		for _, w := range n.Ways {
			number(w.Node)
		}
	}
	number(tree.Root)
	for _, place := range c.places {
		c.fill(place, numbers, limits)
	}
	return c
}

func (c *Chart) fill(x *ChartPlace, numbers map[*engine.ChartNode]int, limits [][]float64) {
	n, b := x.Node, c.base
	x.Share = sayOfHundred(n.Share)
	x.Further = n.Goes
	if !n.Goes {
		for _, id := range n.Confirm {
			if ref, ok := b.Lookup(id); ok && ref.Kind == rulebase.KindWarning {
				x.Confirm = append(x.Confirm, b.Warnings[ref.Index].Says)
			}
		}
		for _, w := range warningsOf(b, n.Step.Step) {
			x.Warnings = append(x.Warnings, ChartWarning{signalWord(w.Level), sayWarning(w)})
		}
		if n.Step.Step.Hazard != 0 {
			x.Hazards = wording.Hazards(n.Step.Step.Hazard)
		}
		for _, id := range n.Step.AskFirst {
			if g := givenOf(b, id); g != nil {
				x.AskFirst = append(x.AskFirst, sayAskFirst(g))
			}
		}
		x.Do, x.Steps = sentence(nameOf(b, n.Step.Step)), n.Step.Step.Steps
		if !n.Step.Step.Implied {
			x.Price = sayPrice(n.Step.Step)
		}
	}
	if n.Symptom >= 0 && (n.Goes || !n.Step.Step.Implied) {
		x.Read = b.Symptoms[n.Symptom].Ask
	}
	if n.Symptom < 0 && n.Step.Step.Proof != nil {
		x.Read = strings.Join(sayProof(b, n.Diagnosis.ProofOf(n.Step.Step)), " ")
	}
	if n.Step.Step.Temporary && !n.Goes {
		x.Steps = slices.Concat(x.Steps, wording.Stopgap(n.Step.Step))
	}
	for _, w := range n.Ways {
		way := ChartWay{Says: c.waySays(n, &w, limits), To: numbers[w.Node], Chance: w.Chance, Share: w.Node.Share}
		if way.To == 0 {
			way.End = w.Node.End
			way.EndSays, way.Hurts = c.end(w.Node, n)
			way.Likely = c.likely(w.Node, n)
		}
		x.Ways = append(x.Ways, way)
	}
}

// waySays is what was seen.
func (c *Chart) waySays(n *engine.ChartNode, w *engine.ChartWay, limits [][]float64) string {
	switch w.Drop {
	case rulebase.Well:
		return sayDropWell
	case rulebase.StillDown:
		return sayDropStillDown
	}
	s := &c.base.Symptoms[n.Symptom]
	values := slices.Sorted(slices.Values(w.Values))
	var says []string
	for _, v := range values {
		text := plain(s.Values[v])
		if s.Banded() && limits[n.Symptom] != nil {
			text += " (" + sayBand(limits[n.Symptom], v, s.Unit) + ")"
		}
		says = append(says, text)
	}
	if len(says) > 3 && len(says) > len(s.Values)/2 {
		var not []string
		for v := range s.Values {
			if !slices.Contains(values, v) {
				not = append(not, plain(s.Values[v]))
			}
		}
		return sayAnythingBut(not)
	}
	return orList(says)
}

// end is what to do where a way ends, with what can hurt in it. above is the last place with a diagnosis.
func (c *Chart) end(n, above *engine.ChartNode) (string, []ChartWarning) {
	b, d := c.base, n.Diagnosis
	if d == nil {
		d = above.Diagnosis
	}
	hurts := func(remedies []int) []ChartWarning {
		var out []ChartWarning
		for _, r := range remedies {
			for _, w := range warningsOf(b, &b.Remedies[r]) {
				if one := (ChartWarning{signalWord(w.Level), sayWarning(w)}); !slices.Contains(out, one) {
					out = append(out, one)
				}
			}
		}
		return out
	}
	switch n.End {
	case engine.ChartWell:
		return sayEndWell, nil
	case engine.ChartEnough:
		return sayEnough(b, d.Advice.Lead), hurts(d.Advice.Lead.Remedies)
	case engine.ChartDisposition:
		var do []int
		if d.Disposition.Kind == engine.SolveNow {
			do = d.Disposition.Remedies
		}
		return sayDisposition(b, d.Disposition, false), hurts(do)
	case engine.ChartNothingWrong:
		return sayEndNothingWrong, nil
	case engine.ChartImpossible:
		return sayEndImpossible, nil
	}
	var likely []string
	for _, cause := range standOut(d) {
		says := Chance(cause.Now)
		if needs := takesElsewhere(d, cause.Remedy); needs != "" {
			says += "; " + needs
		}
		likely = append(likely, fmt.Sprintf("%s (%s)", inSentence(b.Causes[cause.Cause].Name), says))
	}
	return sayEndHandOver(likely), nil
}

// takesElsewhere is whom, what or which place a remedy needs that is not here; "" where
// it lacks nothing of the kind.
func takesElsewhere(d *engine.Diagnosis, remedy int) string {
	if remedy < 0 {
		return ""
	}
	for _, w := range d.NotOffered {
		if w.Step == &d.Base.Remedies[remedy] {
			return sayTakesElsewhere(w)
		}
	}
	return ""
}

// standOut are the causes that stand out where a way ends in handing over.
func standOut(d *engine.Diagnosis) []engine.CauseBelief {
	all := slices.DeleteFunc(slices.Clone(d.Causes), func(c engine.CauseBelief) bool { return c.Now < 0.05 })
	return all[:min(3, len(all))]
}

// likely names them; nil where a way ends otherwise.
func (c *Chart) likely(n, above *engine.ChartNode) []string {
	if n.End != engine.ChartCannotTell && n.End != engine.ChartTooRare && n.End != engine.ChartCut {
		return nil
	}
	d := n.Diagnosis
	if d == nil {
		d = above.Diagnosis
	}
	names := []string{}
	for _, cause := range standOut(d) {
		names = append(names, inSentence(c.base.Causes[cause.Cause].Name))
	}
	return names
}

// StillInPlace names what was put in for a while by the work of a situation.
func StillInPlace(b *rulebase.Base, s rulebase.Situation) []string {
	var still []string
	for _, done := range s.Done {
		ref, ok := b.Lookup(done.ID)
		if !ok || ref.Kind != rulebase.KindRemedy || !b.Remedies[ref.Index].Temporary {
			continue
		}
		r := &b.Remedies[ref.Index]
		says := strings.TrimSuffix(inSentence(nameOf(b, r)), ".")
		if r.SideEffects != "" {
			says += "; " + strings.TrimSuffix(inSentence(r.SideEffects), ".")
		}
		if !slices.Contains(still, says) {
			still = append(still, says)
		}
	}
	return still
}

// heads are the lines above a chart.
func (c *Chart) heads() []string {
	lines := []string{c.title}
	if len(c.begin) > 0 {
		lines = append(lines, sayChartBegins(c.begin))
	}
	return append(append(lines, c.inPlace()...), sayChartSettles(c.tree))
}

// inPlace are the lines on what still stands in place.
func (c *Chart) inPlace() []string {
	var lines []string
	for _, s := range c.still {
		lines = append(lines, sayChartStill(s))
	}
	return lines
}

// feet are the lines below it.
func (c *Chart) feet(o ChartKind) []string {
	return []string{sayChartRoot(c.tree, o), sayChartFoot(c.base)}
}

// ChartKind is what was asked for.
type ChartKind struct{ Identify, Optimal bool }

// Text writes the chart as numbered places.
func (c *Chart) Text(w io.Writer, width int, kind ChartKind) error {
	p := newPage(width)
	for _, line := range c.heads() {
		p.say(line)
	}
	if len(c.places) == 0 {
		says, hurts := c.end(c.tree.Root, c.tree.Root)
		p.gap()
		p.warnings("  ", hurts)
		p.item("  ", says)
	}
	for _, x := range c.places {
		p.gap()
		p.chartPlace(x)
	}
	p.gap()
	for _, line := range c.feet(kind) {
		p.say(line)
	}
	return p.writeTo(w)
}

func (p *page) warnings(indent string, all []ChartWarning) {
	for _, w := range all {
		p.item(fmt.Sprintf("%s%-8s ", indent, w.Word), w.Says)
	}
}

func (p *page) chartPlace(x *ChartPlace) {
	head := fmt.Sprintf("%3d  ", x.Number)
	if x.Further {
		p.item(head, sayChartFurther(x.Read))
	} else {
		p.item(head, sayChartShare(x.Share))
		for _, says := range x.Confirm {
			p.item("     ", sayChartConfirm(says))
		}
		p.warnings("     ", x.Warnings)
		for _, says := range append([]string{x.Hazards}, x.AskFirst...) {
			if says != "" {
				p.item("     ", says)
			}
		}
		p.item("     ", x.Do)
		for i, do := range x.Steps {
			p.item(fmt.Sprintf("     %3d. ", i+1), do)
		}
		if x.Price != "" {
			p.item("     ", x.Price)
		}
		if x.Read != "" {
			p.item("     ", x.Read)
		}
	}
	for _, w := range x.Ways {
		to := w.EndSays
		if w.To > 0 {
			to = sayGoTo(w.To)
		}
		if len(w.Hurts) == 0 {
			p.item("       - ", w.Says+": "+to)
			continue
		}
		p.item("       - ", w.Says+":")
		p.warnings("         ", w.Hurts)
		p.item("         ", to)
	}
}
