package report

import (
	_ "embed"
	"errors"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
	"sync"

	"downdrop/engine"
)

var (
	//go:embed chart_door.html
	chartDoorHTML string
	//go:embed chart_door.css
	chartDoorCSS string
	chartDoor    = sync.OnceValue(func() *template.Template { return template.Must(template.New("door").Parse(chartDoorHTML)) })
)

// ErrPageFull says that a chart does not go onto one side of paper.
var ErrPageFull = errors.New("it does not go onto one side of paper")

// A doorSheet is one side of paper: what can hurt stands in each box, before the step.
type doorSheet struct {
	Title       string
	StyleHash   string
	Style       template.CSS
	Blank       string // to be filled in by hand
	RunIn       bool   // warnings follow one another on the same lines
	Heads, Feet []string
	Whole       string        // the head of
	Legend      []doorWarning // the whole warnings, of which the boxes have the first sentence
	Places      []doorPlace
}

type doorPlace struct {
	Number   int
	Warnings []doorWarning
	Notes    []string // what else is to be known before the step
	Do       string
	Steps    []string
	Read     string
	Ways     []doorWay
}

type doorWarning struct{ Letter, Word, Says string }

type doorWay struct {
	Says     string
	Warnings []doorWarning
	To       string
	Go       bool
}

// A doorForm is how much is said in a box; the fullest that fits is printed.
type doorForm struct{ steps, price, whole bool }

var doorForms = []doorForm{{true, true, true}, {false, true, true}, {false, true, false}, {false, false, false}}

// paperSizes are the sizes of one side, as CSS names them.
var paperSizes = map[string]string{"a4": "A4", "letter": "letter"}

// paperInside are width and height within the margins of 9 mm, in points.
var paperInside = map[string][2]float64{"a4": {192 * doorMM, 279 * doorMM}, "letter": {197.9 * doorMM, 261.4 * doorMM}}

// The measures of chart_door.html, in points.
const (
	doorMM     = 72 / 25.4
	doorLetter = 9
	doorLine   = 1.2 * doorLetter
	doorGap    = 5 * doorMM // between columns
	doorSlack  = 0.98       // of the side; what is reckoned here is only nearly what a browser does
)

// Page writes the chart as one printed side, as fully as it fits. The error is
// ErrPageFull where even the shortest form does not.
func (c *Chart) Page(w io.Writer, paper string, kind ChartKind) error {
	for _, form := range doorForms {
		sheet := c.door(paper, kind, form)
		if !sheet.fits(paper) {
			continue
		}
		if err := chartDoor().Execute(w, sheet); err != nil {
			return fmt.Errorf("write the page: %w", err)
		}
		return nil
	}
	return ErrPageFull
}

// FitsPage says whether the chart goes onto one side of paper.
func (c *Chart) FitsPage(paper string, kind ChartKind) bool {
	return c.door(paper, kind, doorForms[len(doorForms)-1]).fits(paper)
}

// Size is how high the box of a place is on such paper, in the shortest form.
func (c *Chart) Size(paper string) func(*engine.ChartNode) float64 {
	sheet := c.door(paper, ChartKind{}, doorForms[len(doorForms)-1])
	sizes := map[*engine.ChartNode]float64{}
	for i, x := range c.places {
		sizes[x.Node] = sheet.height(&sheet.Places[i], doorInside(paper))
	}
	return func(n *engine.ChartNode) float64 { return sizes[n] }
}

// doorInside is how wide the text of a box is.
func doorInside(paper string) float64 { return (paperInside[paper][0]-doorGap)/2 - 4.8*doorMM }

func (c *Chart) door(paper string, kind ChartKind, form doorForm) *doorSheet {
	heads := c.heads()
	style := strings.Replace(chartDoorCSS, "size: a4", "size: "+paperSizes[paper], 1)
	s := &doorSheet{StyleHash: hashOf(style), Style: template.CSS(style), Title: strings.TrimSuffix(heads[0], "."), Blank: sayDoorBlank, RunIn: !form.whole, Whole: sayDoorLegend, Heads: heads[1:], Feet: c.feet(kind)}
	for _, x := range c.places {
		p := doorPlace{Number: x.Number, Warnings: s.warn(x.Warnings, form), Do: x.Do, Read: x.Read}
		for _, says := range x.Confirm {
			if slices.ContainsFunc(x.Warnings, func(w ChartWarning) bool { return strings.HasPrefix(w.Says, says) }) {
				says = ""
			}
			p.Notes = append(p.Notes, sayDoorConfirm(says))
		}
		slices.Sort(p.Notes)
		p.Notes = append(slices.Compact(p.Notes), x.AskFirst...)
		if form.price {
			p.Notes = append(p.Notes, slices.DeleteFunc([]string{x.Hazards, x.Price}, func(says string) bool { return says == "" })...)
		} else if needed := sayDoorNeeds(x.Node.Step.Step); needed != "" && !x.Further {
			p.Notes = append(p.Notes, needed)
		}
		if form.steps {
			p.Steps = x.Steps
		}
		if proof := x.Node.Step.Step.Proof; proof != nil && x.Node.Symptom < 0 {
			p.Read = sayDoorProof(proof.Minutes)
		}
		if x.Further {
			p.Read = sayChartFurther(x.Read)
		}
		for _, way := range x.Ways {
			p.Ways = append(p.Ways, s.way(&way, form))
		}
		s.Places = append(s.Places, p)
	}
	if len(c.places) == 0 {
		says, hurts := c.end(c.tree.Root, c.tree.Root)
		s.Places = []doorPlace{{Number: 1, Warnings: s.warn(hurts, form), Do: capital(sentence(says))}}
	}
	return s
}

func (s *doorSheet) way(way *ChartWay, form doorForm) doorWay {
	switch {
	case way.To > 0:
		return doorWay{Says: way.Says, To: sayGoTo(way.To), Go: true}
	case way.End == engine.ChartWell:
		return doorWay{Says: way.Says, To: sayEndShort(way.End)}
	}
	to := way.EndSays
	if way.Likely != nil && !form.price {
		to = sayDoorHandOver(way.Likely)
	}
	return doorWay{Says: way.Says, Warnings: s.warn(way.Hurts, form), To: to}
}

// warn puts warnings in place: whole, or the first sentence of each, with a letter under
// which all of it stands at the head of the sheet.
func (s *doorSheet) warn(all []ChartWarning, form doorForm) []doorWarning {
	var out []doorWarning
	for _, w := range all {
		says, _, _ := strings.Cut(w.Says, " Why: ")
		first, rest, more := strings.Cut(says, ". ")
		if form.whole || !more || rest == "" {
			out = append(out, doorWarning{Word: w.Word, Says: says})
			continue
		}
		i := slices.IndexFunc(s.Legend, func(x doorWarning) bool { return x.Word == w.Word && x.Says == says })
		if i < 0 {
			i = len(s.Legend)
			s.Legend = append(s.Legend, doorWarning{doorLetterOf(i), w.Word, says})
		}
		out = append(out, doorWarning{s.Legend[i].Letter, w.Word, first + "."})
	}
	return out
}

func doorLetterOf(i int) string {
	letter := string(rune('A' + i%26))
	if i >= 26 {
		letter += fmt.Sprint(i/26 + 1)
	}
	return letter
}

// fits says whether the sheet goes onto one side, as nearly as can be reckoned.
func (s *doorSheet) fits(paper string) bool {
	wide := paperInside[paper][0]
	sum := 12*1.2 + 2*doorMM // the title
	for _, line := range append([]string{s.Blank}, s.Heads...) {
		sum += doorLines(wide, textRun{line, false}) + doorMM
	}
	sum += doorLines(wide, textRun{strings.Join(s.Feet, " "), false}) + 1.5*doorMM
	if len(s.Legend) > 0 {
		inside := (wide - doorGap - 4*doorMM) / 2
		heights := []float64{doorLines(inside, textRun{sayDoorLegend, true}) + .6*doorMM}
		for _, w := range s.Legend {
			heights = append(heights, doorLines(inside, w.runs()...)+.6*doorMM)
		}
		sum += twoColumns(heights) + 5*doorMM
	}
	var heights []float64
	for _, p := range s.Places {
		heights = append(heights, s.height(&p, doorInside(paper)))
	}
	return sum+twoColumns(heights) <= paperInside[paper][1]*doorSlack
}

// height is that of a box with its gap, whose text may be so wide.
func (s *doorSheet) height(p *doorPlace, wide float64) float64 {
	const item = 5 * doorMM // that items of lists stand in
	all := s.paragraphs(p.Warnings)
	for _, note := range p.Notes {
		all = append(all, []textRun{{note, false}})
	}
	all = append(all, []textRun{{p.Do, true}, {p.Read, false}})
	all[0] = append([]textRun{{"00000", true}}, all[0]...) // as wide as the tag
	h := 4.8*doorMM + doorHeight(wide, all)
	for _, step := range p.Steps {
		h += doorLines(wide-item, textRun{step, false})
	}
	for _, w := range p.Ways {
		if len(w.Warnings) > 0 {
			h += doorHeight(wide-item, append(s.paragraphs(w.Warnings), []textRun{{w.Says, false}}, []textRun{{w.To, false}}))
			continue
		}
		h += doorLines(wide-item, textRun{w.Says + ":", false}, textRun{w.To, w.Go})
	}
	return h
}

// paragraphs are warnings as they are printed: each by itself, or one after the other.
func (s *doorSheet) paragraphs(all []doorWarning) [][]textRun {
	var each [][]textRun
	for _, w := range all {
		each = append(each, w.runs())
	}
	if s.RunIn && len(each) > 0 {
		return [][]textRun{slices.Concat(each...)}
	}
	return each
}

func doorHeight(wide float64, paragraphs [][]textRun) float64 {
	h := 0.0
	for _, runs := range paragraphs {
		h += doorLines(wide, runs...) + .4*doorMM
	}
	return h
}

func (w doorWarning) runs() []textRun {
	return []textRun{{w.Word + " " + w.Letter, true}, {w.Says, false}}
}

// doorLines is how high text becomes.
func doorLines(wide float64, runs ...textRun) float64 {
	return doorLine * math.Max(1, float64(len(foldLetters(doorLetter, wide, runs...))))
}

// twoColumns is the least height of two columns that hold boxes in their order.
func twoColumns(heights []float64) float64 {
	all := 0.0
	for _, h := range heights {
		all += h
	}
	least, left := all, 0.0
	for _, h := range heights {
		left += h
		least = math.Min(least, math.Max(left, all-left))
	}
	return least
}
