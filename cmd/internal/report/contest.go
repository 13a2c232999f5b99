package report

import (
	"fmt"
	"io"
	"strconv"
	"strings"

	"downdrop/engine/rehearse"
	"downdrop/rulebase"
)

// A Contest collects how rivals fared, variant by variant, for its printers.
type Contest struct {
	base  *rulebase.Base
	seed  uint64
	cases int
	all   []*rehearse.Comparison
}

// NewContest begins one.
func NewContest(base *rulebase.Base, seed uint64, cases int) *Contest {
	return &Contest{base: base, seed: seed, cases: cases}
}

// Add takes a comparison in.
func (c *Contest) Add(x *rehearse.Comparison) { c.all = append(c.all, x) }

// contestFigures are the figures of a run that are compared, in the order of the table.
var contestFigures = []struct {
	name, says string
	of         func(*rehearse.Run) float64
}{
	{"minutes", "minutes to the end", func(r *rehearse.Run) float64 { return r.Minutes }},
	{"tests", "tests", func(r *rehearse.Run) float64 { return float64(r.Tests) }},
	{"remedies_in_vain", "remedies in vain", func(r *rehearse.Run) float64 { return float64(r.Vain) }},
	{"parts_in_vain", "parts out in vain, a call", func(r *rehearse.Run) float64 { return float64(r.Needless) }},
	{"units_in_vain", "units out in vain, a call", func(r *rehearse.Run) float64 { return float64(r.UnitsVain) }},
	{"hazardous_steps", "dangerous steps", func(r *rehearse.Run) float64 { return float64(r.Hazardous) }},
	{"bus_minutes", "minutes the bus stood", func(r *rehearse.Run) float64 { return r.BusMinutes }},
	{"handed_over", "handed over, a call", func(r *rehearse.Run) float64 { return truth(r.End == rehearse.HandedOver) }},
}

func truth(b bool) float64 {
	if b {
		return 1
	}
	return 0
}

// perRemoval is how many of the units or parts taken out were taken out in vain.
func perRemoval(c *rehearse.Comparison, rival int, out, vain func(*rehearse.Run) int) rehearse.Share {
	var s rehearse.Share
	for i := range c.Runs[rival] {
		s.Of += out(&c.Runs[rival][i])
		s.Hits += vain(&c.Runs[rival][i])
	}
	return s
}

// against counts the steps that should never have been taken.
func against(c *rehearse.Comparison, rival int) int {
	n := 0
	for i := range c.Runs[rival] {
		n += c.Runs[rival][i].Forbidden + c.Runs[rival][i].TooSoon
	}
	return n
}

func unitsOut(r *rehearse.Run) int  { return r.Units }
func unitsVain(r *rehearse.Run) int { return r.UnitsVain }

// The widths of the table's columns.
const (
	contestLabel = 27
	contestCell  = 10
)

// Text writes the tables. A narrow page gets the rivals one block below another.
func (c *Contest) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(sayContest(c.base, c.cases, c.seed))
	for _, x := range c.all {
		p.gap()
		p.say(sayContestOf(x))
		beside := max(1, (p.width-contestLabel)/contestCell)
		for from := 0; from < len(x.Rivals); from += beside {
			if from > 0 {
				p.gap()
			}
			p.rivals(x, from, min(from+beside, len(x.Rivals)))
		}
		p.gap()
		for r := range x.Rivals[:len(x.Rivals)-1] {
			p.say(saySaves(x, r))
		}
	}
	p.gap()
	if len(c.all) > 0 {
		p.say(sayContestFoot(c.all[0]))
	}
	return p.writeTo(w)
}

// rivals is the table of some of the rivals.
func (p *page) rivals(x *rehearse.Comparison, from, to int) {
	row := func(says string, cell func(rival int) string) {
		line := fmt.Sprintf("  %-*s", contestLabel-2, says)
		for r := from; r < to; r++ {
			line += fmt.Sprintf("%*s", contestCell, cell(r))
		}
		p.line(line)
	}
	row("", func(r int) string { return contestShort[x.Rivals[r].Name] })
	for _, f := range contestFigures {
		row(f.says, func(r int) string { return figure(x.Of(r, f.of).Value) })
		row(rowPlusOrMinus, func(r int) string {
			m := x.Of(r, f.of)
			return number2(m.High - m.Value)
		})
	}
	row(rowAgainst, func(r int) string { return strconv.Itoa(against(x, r)) })
	row(rowUnitsInVain, func(r int) string { return shareOfOut(perRemoval(x, r, unitsOut, unitsVain)) })
	if x.Place != rulebase.Phone {
		return
	}
	row(rowAnswers, func(r int) string { return figure(x.Median(r, answersOf)) })
	row(rowAllMinutes, func(r int) string { return figure(x.Of(r, (*rehearse.Run).All).Value) })
	row(rowEndedRight, func(r int) string { return figure(100 * x.Of(r, isRight).Value) })
}

func answersOf(r *rehearse.Run) float64 { return float64(r.Answers) }
func isRight(r *rehearse.Run) float64   { return truth(r.Right) }

func shareOfOut(s rehearse.Share) string {
	if s.Of == 0 {
		return "-"
	}
	return fmt.Sprintf("%d of %d", s.Hits, s.Of)
}

func number2(x float64) string { return strings.TrimSuffix(fmt.Sprintf("%.2g", x), ".0") }

// ContestSchema is the form of a contest for programs.
const ContestSchema = "downdrop.contest/1"

type intervalJSON struct {
	Value float64 `json:"mean"`
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
}

type rivalJSON struct {
	Name         string                  `json:"name"`
	Figures      map[string]intervalJSON `json:"figures"`
	Answers      float64                 `json:"answers_median"`
	Right        float64                 `json:"right"`
	UnitsOut     int                     `json:"units_out"`
	UnitsInVain  int                     `json:"units_in_vain"`
	Against      int                     `json:"against_permissions"`
	DefaultSaves intervalJSON            `json:"default_saves"` // of its minutes, breakdown by breakdown
}

type contestJSON struct {
	Place   string      `json:"place"`
	Variant string      `json:"variant"`
	Rivals  []rivalJSON `json:"rivals"`
}

// A contestsJSON is what rival ways of going about it came to.
type contestsJSON struct {
	Schema    string        `json:"schema"`
	Rulebase  rulebaseJSON  `json:"rulebase"`
	Seed      uint64        `json:"seed"`
	Cases     int           `json:"cases"`
	Intervals string        `json:"intervals"`
	Variants  []contestJSON `json:"variants"`
}

// JSON writes all figures.
func (c *Contest) JSON(w io.Writer) error {
	out := contestsJSON{ContestSchema, rulebaseJSON{c.base.Name, c.base.Version, c.base.Digest}, c.seed, c.cases, "95 %, paired for default_saves", []contestJSON{}}
	for _, x := range c.all {
		one := contestJSON{Place: string(x.Place), Variant: string(x.Variant)}
		for r := range x.Rivals {
			share := perRemoval(x, r, unitsOut, unitsVain)
			rival := rivalJSON{Name: x.Rivals[r].Name, Figures: map[string]intervalJSON{}, UnitsOut: share.Of, UnitsInVain: share.Hits, Against: against(x, r),
				Answers: x.Median(r, answersOf), Right: x.Of(r, isRight).Value}
			for _, f := range contestFigures {
				rival.Figures[f.name] = intervalJSON(x.Of(r, f.of))
			}
			rival.Figures["minutes_with_what_follows"] = intervalJSON(x.Of(r, (*rehearse.Run).All))
			rival.DefaultSaves = intervalJSON(x.Saves(r, len(x.Rivals)-1))
			one.Rivals = append(one.Rivals, rival)
		}
		out.Variants = append(out.Variants, one)
	}
	return writeJSON(w, out)
}

// SVG draws minutes to the end: for each rival a ruled bar with its interval.
func (c *Contest) SVG(w io.Writer) error {
	var b strings.Builder
	y, most := 30, 1.0
	for _, x := range c.all {
		for r := range x.Rivals {
			most = max(most, x.Of(r, contestFigures[0].of).High)
		}
	}
	at := func(minutes float64) float64 { return 190 + 560*max(minutes, 0)/most }
	for _, x := range c.all {
		fmt.Fprintf(&b, `<text x="10" y="%d" font-weight="bold">%s</text>`, y, escape(sayContestOf(x)))
		y += 12
		for r := range x.Rivals {
			m := x.Of(r, contestFigures[0].of)
			fmt.Fprintf(&b, `<text x="180" y="%d" text-anchor="end">%s</text><rect x="190" y="%d" width="%.1f" height="12" fill="none" stroke="#000"/>`, y+12, escape(plain(x.Rivals[r].Name)), y+2, at(m.Value)-190)
			for i := 196.0; i < at(m.Value); i += 6 { // ruled, so that it prints without colour
				fmt.Fprintf(&b, `<path d="M%.1f %dV%d" stroke="#000" stroke-width=".5"/>`, i, y+2, y+14)
			}
			fmt.Fprintf(&b, `<path d="M%.1f %dH%.1fM%.1f %dv6M%.1f %dv6" stroke="#000" stroke-width="2"/><text x="%.1f" y="%d">%s</text>`,
				at(m.Low), y+8, at(m.High), at(m.Low), y+5, at(m.High), y+5, at(m.High)+8, y+12, escape(Minutes(m.Value)))
			y += 20
		}
		y += 24
	}
	_, err := fmt.Fprintf(w, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 900 %d" width="900" height="%d" font-family="sans-serif" font-size="13"><title>%s</title><rect width="100%%" height="100%%" fill="#fff"/>%s</svg>`+"\n",
		y, y, escape(sayContest(c.base, c.cases, c.seed)), b.String())
	return err
}
