package report

import (
	"cmp"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strings"
	"sync"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

//go:embed unit_paper.html
var paperText string

var paperPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("paper").Parse(paperText)) })

// A Paper goes with a unit: plain rows and lines, made once, so that its printers only
// escape.
type Paper struct {
	Title, Lead string
	Warnings    []string
	Parts       []PaperPart
}

// A PaperPart is a part of a paper under its own title.
type PaperPart struct {
	Title string
	Says  string     // above all else of it
	Heads []string   // of the columns; none: the rows have names and values
	Rows  [][]string // the first is the name
	Lines []string
	Boxes []string // to be ticked by hand
	Sign  bool     // a line for name, day and signature
}

// Text writes a paper as text of a width.
func (x *Paper) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(x.Title)
	p.say(x.Lead)
	for _, says := range x.Warnings {
		p.gap()
		p.item("WARNING  ", says)
	}
	for _, part := range x.Parts {
		p.gap()
		p.say(part.Title)
		if part.Says != "" {
			p.item("  ", part.Says)
		}
		if len(part.Heads) > 0 {
			p.line(tabulated(part.Heads))
		}
		for _, row := range part.Rows {
			if len(part.Heads) > 0 {
				p.tableRow(part.Heads, row)
			} else {
				p.item("  "+row[0]+": ", row[1])
			}
		}
		for _, line := range part.Lines {
			p.item("  - ", line)
		}
		for _, box := range part.Boxes {
			p.item("  [ ] ", box)
		}
		if part.Sign {
			p.line("")
			p.line("  " + sayPaperBlank)
		}
	}
	return p.writeTo(w)
}

// tableCell is how wide a column of a table is.
const tableCell = 26

// tabulated is a line of a table.
func tabulated(cells []string) string {
	line := "  "
	for i, c := range cells {
		c = printable(c)
		if i < len(cells)-1 {
			c += strings.Repeat(" ", max(1, tableCell-utf8.RuneCountInString(c)))
		}
		line += c
	}
	return strings.TrimRight(line, " ")
}

// tableRow writes a row of a table; where a cell has no room in its column, the row stands as text,
// so that nothing of it is cut off.
func (p *page) tableRow(heads, cells []string) {
	room := !slices.ContainsFunc(cells[:len(cells)-1], func(c string) bool { return utf8.RuneCountInString(c) >= tableCell })
	if line := tabulated(cells); room && utf8.RuneCountInString(line) <= p.width {
		p.line(line)
		return
	}
	var all []string
	for i, c := range cells[1:] {
		all = append(all, heads[i+1]+": "+c)
	}
	p.item("  "+cells[0]+", ", strings.Join(all, "; "))
}

// HTML writes a paper as a page to print.
func (x *Paper) HTML(w io.Writer) error {
	if err := paperPage().Execute(w, x.Printable()); err != nil {
		return fmt.Errorf("write the paper: %w", err)
	}
	return nil
}

// Printable is the paper without what would set a page or a printer going.
func (x *Paper) Printable() *Paper {
	y := *x
	y.Title, y.Lead = printable(y.Title), printable(y.Lead)
	clean := func(list []string) []string {
		out := slices.Clone(list)
		for i := range out {
			out[i] = printable(out[i])
		}
		return out
	}
	y.Parts = slices.Clone(x.Parts)
	for i := range y.Parts {
		p := &y.Parts[i]
		p.Says, p.Lines, p.Boxes, p.Heads = printable(p.Says), clean(p.Lines), clean(p.Boxes), clean(p.Heads)
		p.Rows = slices.Clone(p.Rows)
		for j := range p.Rows {
			p.Rows[j] = clean(p.Rows[j])
		}
	}
	return &y
}

// NewReturnNote makes the paper that goes with a unit, of its case.
func NewReturnNote(b *rulebase.Base, c *cases.Case) *Paper {
	u := c.Opening.Unit
	x := &Paper{Title: sayReturnNote(c), Lead: sayReturnLead(c), Warnings: returnWarnings}
	unit := PaperPart{Title: titlePaperUnit, Rows: [][]string{
		{"type", cmp.Or(u.Type, sayPaperBlank)}, {"serial", cmp.Or(u.Serial, sayPaperBlank)}, {"revision", cmp.Or(u.Revision, sayPaperBlank)}, {"from", whereFrom(c)},
	}}
	for _, r := range c.References {
		unit.Rows = append(unit.Rows, []string{plain(r.Kind), r.Text})
	}
	says := PaperPart{Title: titlePaperSays, Rows: [][]string{{"complaint", cmp.Or(c.Opening.Complaint, sayPaperBlank)}}}
	for _, f := range c.Situation.Findings {
		says.Lines = append(says.Lines, sayFinding(b, &f))
	}
	for _, d := range c.Situation.Done {
		says.Lines = append(says.Lines, sayDone(&d))
	}
	set := PaperPart{Title: titlePaperSet, Heads: []string{"", sayAsFound, sayAsLeft}}
	for _, name := range cases.SettingNames {
		set.Rows = append(set.Rows, []string{plain(name), cmp.Or(c.Setting("found", name), sayNotRead), cmp.Or(c.Setting("left", name), sayNotRead)})
	}
	x.Parts = []PaperPart{unit, says, set}
	if standing := c.Standing(); len(standing) > 0 {
		part := PaperPart{Title: titlePaperStays}
		for _, s := range standing {
			part.Lines = append(part.Lines, sayPutIn(s.Body, false))
		}
		x.Parts = append(x.Parts, part)
	}
	x.Parts = append(x.Parts, contaminationPart(c), packingPart(c))
	return x
}

func whereFrom(c *cases.Case) string {
	place := cmp.Or(c.Opening.Location, sayPaperBlank)
	if c.Opening.Drop != 0 {
		place += fmt.Sprintf(", drop %d", c.Opening.Drop)
	}
	return place
}

// contaminationPart is what was stated, else boxes to be ticked.
func contaminationPart(c *cases.Case) PaperPart {
	part := PaperPart{Title: titlePaperClean, Sign: true}
	if n := c.ReturnNote; n != nil && n.Contamination.State != "" {
		part.Lines = []string{sayStatement(&n.Contamination)}
		return part
	}
	part.Says = sayTickOne
	for _, state := range cases.ContaminationStates {
		part.Boxes = append(part.Boxes, wording.UpperFirst(contaminationNames[state])+"."+contaminationBlanks[state])
	}
	return part
}

func packingPart(c *cases.Case) PaperPart {
	part := PaperPart{Title: titlePaperPack, Lines: packingAdvice}
	says := sayPaperBlank
	if n := c.ReturnNote; n != nil && n.Packing != "" {
		says = n.Packing
	}
	part.Rows = [][]string{{"in the box", says}}
	return part
}

// A returnNoteJSON is the paper that goes with a unit to the shop.
type returnNoteJSON struct {
	Schema        string              `json:"schema"`
	Case          summaryJSON         `json:"case"`
	Revision      string              `json:"revision"`
	Settings      []settingJSON       `json:"settings"`
	InPlace       []string            `json:"in_place"`
	Contamination cases.Contamination `json:"contamination"` // its state "": not stated
	Packing       string              `json:"packing"`
}

// ReturnNoteJSON writes the same for programs.
func ReturnNoteJSON(w io.Writer, c *cases.Case) error {
	out := returnNoteJSON{Schema: ReturnNoteSchema, Case: summaryOf(c.Summary()), Revision: c.Opening.Unit.Revision, Settings: []settingJSON{}, InPlace: []string{}}
	for _, name := range cases.SettingNames {
		out.Settings = append(out.Settings, settingJSON{name, c.Setting("found", name), c.Setting("left", name)})
	}
	for _, s := range c.Standing() {
		out.InPlace = append(out.InPlace, sayPutIn(s.Body, false))
	}
	if n := c.ReturnNote; n != nil {
		out.Contamination, out.Packing = n.Contamination, n.Packing
	}
	return writeJSON(w, out)
}

// NewOfferPaper makes the paper that a customer gets.
func NewOfferPaper(c *cases.Card, o *cases.Offered) *Paper {
	x := &Paper{Title: sayOfferTitle(c), Lead: sayOfferLead(c, o)}
	offered := PaperPart{Title: titlePaperWays}
	for i := range o.Offer.Ways {
		offered.Boxes = append(offered.Boxes, wording.UpperFirst(sayOfferedWay(&o.Offer, &o.Offer.Ways[i]))+".")
	}
	offered.Boxes = append(offered.Boxes, sayNoneOfThese)
	offered.Says = sayMoneyOffered
	if o.Offer.Note != "" {
		offered.Says += " " + sentence(o.Offer.Note)
	}
	x.Parts = []PaperPart{offered, {Title: titlePaperSign, Sign: true}}
	return x
}
