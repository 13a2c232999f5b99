package report

import (
	"fmt"
	"io"
	"math"
	"strings"
	"unicode/utf8"

	"downdrop/engine/rehearse"
	"downdrop/rulebase"
)

// A Rehearsal is what simulated cases came to, variant by variant.
type Rehearsal struct {
	base  *rulebase.Base
	seed  uint64
	cases int
	parts []rehearsed
}

type rehearsed struct {
	variant rehearse.Variant
	figures []rehearse.Figures
}

// NewRehearsal makes a Rehearsal without figures yet.
func NewRehearsal(base *rulebase.Base, seed uint64, cases int) *Rehearsal {
	return &Rehearsal{base: base, seed: seed, cases: cases}
}

// Add takes in the figures of one variant.
func (r *Rehearsal) Add(v rehearse.Variant, figures []rehearse.Figures) {
	r.parts = append(r.parts, rehearsed{v, figures})
}

// The rows of the table.
const (
	rowCases = iota
	rowAdvice
	rowRight
	rowStated
	rowPart
	rowRestored
	rowCannotTell
	rowCondemned
	rowOfPulled
	rowGood
	rowNeedless
	rowSecond
	rowCertain
	rowTries
	rowTests
	rowMinutes
)

// The widths of the table's columns: 26 and three of 18.
const (
	labelWidth = 26
	cellWidth  = 18
)

// shownConfused is how many confused pairs are listed of each place.
const shownConfused = 5

// Text writes the figures for people. A narrow page gets the places one below another.
func (r *Rehearsal) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(sayRehearsal(r.base, r.cases, r.seed))
	p.say(sayInterval)
	for _, part := range r.parts {
		p.gap()
		p.say(variantSays[part.variant] + " (" + string(part.variant) + "):")
		beside := max(1, (p.width-labelWidth)/cellWidth)
		for from := 0; from < len(part.figures); from += beside {
			p.table(part.figures[from:min(from+beside, len(part.figures))])
		}
		p.confused(part.figures)
	}
	return p.writeTo(w)
}

func (p *page) table(figures []rehearse.Figures) {
	p.gap()
	line := strings.Repeat(" ", labelWidth)
	for i := range figures {
		line += padded(string(figures[i].Place))
	}
	p.line(line)
	for row, says := range rowSays {
		line, some := says+strings.Repeat(" ", labelWidth-utf8.RuneCountInString(says)), false
		for i := range figures {
			cell := cellOf(&figures[i], row)
			some = some || cell != ""
			line += padded(cell)
		}
		if some {
			p.line(line)
		}
	}
}

func padded(cell string) string {
	return strings.Repeat(" ", max(0, cellWidth-utf8.RuneCountInString(cell))) + cell
}

// cellOf is one figure in words; "" where it has no meaning at a place.
func cellOf(f *rehearse.Figures, row int) string {
	phone := f.Place == rulebase.Phone
	switch row {
	case rowCases:
		return fmt.Sprint(f.Cases)
	case rowAdvice:
		return shareSays(f.Advice)
	case rowRight:
		return shareSays(f.Right)
	case rowStated:
		return fmt.Sprintf("%.1f %%", 100*f.Stated)
	case rowPart:
		if phone {
			return ""
		}
		return shareSays(f.Part)
	case rowRestored:
		return shareSays(f.Restored)
	case rowCannotTell:
		return shareSays(f.CannotTell)
	case rowCondemned:
		return shareSays(f.CondemnedOfCalls)
	case rowOfPulled:
		return shareSays(f.CondemnedOfPulled)
	case rowGood:
		if phone {
			return ""
		}
		return shareSays(f.DeclaredGood)
	case rowNeedless:
		return shareSays(f.NeedlessVisit)
	case rowSecond:
		return shareSays(f.SecondVisit)
	case rowCertain:
		return fmt.Sprint(f.FalseCertainty.Hits)
	case rowTries:
		return fmt.Sprintf("%.2f", f.NeedlessTries)
	case rowTests:
		return fmt.Sprintf("%.1f", f.Tests)
	}
	return fmt.Sprintf("%.0f", f.Minutes)
}

// shareSays is a share with its interval, all in percent.
func shareSays(s rehearse.Share) string {
	if s.Of == 0 {
		return ""
	}
	low, high := s.Interval()
	return fmt.Sprintf("%.1f %% (%.0f-%.0f)", 100*s.Value(), math.Floor(100*low), math.Ceil(100*high))
}

func (p *page) confused(figures []rehearse.Figures) {
	p.gap()
	some := false
	for i := range figures {
		some = some || len(figures[i].Confused) > 0
	}
	if !some {
		p.say(sayNothingWrong)
		return
	}
	p.say(sayConfused)
	for i := range figures {
		f := &figures[i]
		for _, c := range f.Confused[:min(shownConfused, len(f.Confused))] {
			numbers := strings.Trim(fmt.Sprint(c.Numbers), "[]")
			p.item(fmt.Sprintf("  %-5s %3d  ", f.Place, c.Count), fmt.Sprintf("%s => %s; %s", c.True, c.Advised, numbers))
		}
	}
}

// Course writes how one case went, for whoever wants to know why its advice was wrong.
func Course(w io.Writer, base *rulebase.Base, v rehearse.Variant, c *rehearse.Course, width int) error {
	p := newPage(width)
	p.say(sayCourseHead(v, c))
	p.truly(base, c)
	var givens []string
	for _, g := range c.Givens {
		text := g.Value.Word
		if g.Value.IsNumber {
			text = fmt.Sprint(g.Value.Number)
		}
		givens = append(givens, g.ID+" "+text)
	}
	if len(givens) > 0 {
		p.say(sayKnown(givens))
	}
	p.gap()
	for i, t := range c.Turns {
		p.turn(base, i+1, &t)
	}
	p.gap()
	p.say(endSays[c.End] + " " + sayJudged(c.Right, rehearse.AdvisedIn(c), rehearse.TrueIn(c)))
	p.gap()
	return p.writeTo(w)
}

func (p *page) truly(base *rulebase.Base, c *rehearse.Course) {
	var names []string
	for _, cause := range c.Causes {
		names = append(names, inSentence(base.Causes[cause].Name)+" ("+base.Causes[cause].ID+")")
	}
	switch {
	case c.Outside:
		p.say(sayNoWorldCause)
	case len(names) == 0:
		p.say(sayNoCourse)
	default:
		p.say(sayTrulyWrong(names))
	}
}

func (p *page) turn(base *rulebase.Base, n int, t *rehearse.Turn) {
	var answers []string
	for _, a := range t.Answers {
		s := &base.Symptoms[a.Symptom]
		truly := ""
		if a.True != a.Reported {
			truly = s.Values[a.True]
		}
		answers = append(answers, sayAnswered(s.ID, s.Values[a.Reported], truly))
	}
	says := sayTurn(t.Step.ID, answers)
	if t.Step.Implied && len(answers) == 1 {
		says = answers[0] // the step has the symptom's id
	}
	if t.Drop != rulebase.NotSaid {
		says += ". " + sayDropAfter(t.Drop)
	}
	p.item(fmt.Sprintf("%3d  ", n), says)
	if lead := sayLead(rehearse.Named(t.Lead), t.Lead.Probability); t.Drop != rulebase.Well {
		p.item("       ", lead)
	}
}
