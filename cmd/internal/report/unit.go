package report

import (
	"encoding/csv"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
)

// minuteForm is a moment before a line of a list.
const minuteForm = "02 Jan 2006 15:04  "

// UnitLine writes where a unit stands: what every command that added something to it
// ends with.
func UnitLine(w io.Writer, width int, c *cases.Card, now time.Time) error {
	p := newPage(width)
	p.say(sayUnitLine(c, now))
	p.unfit(c)
	return p.writeTo(w)
}

// UnitOfList says where a unit stands in a list of those in one state: how long, what it proved to be, and
// what is waited for.
func UnitOfList(c *cases.Card, now time.Time) string { return sayUnitOfList(c, now) + "." }

func (p *page) unfit(c *cases.Card) {
	if len(c.Unfit) == 0 {
		return
	}
	p.gap()
	p.say(titleUnfit)
	for i := range c.Unfit {
		p.item("  - ", sayUnitEntry(c, &c.Unfit[i]))
	}
}

// UnitText writes a unit for people: where it stands, its way, its log, its offer, what
// was before. codes are the short codes of the cases by their ids.
func UnitText(w io.Writer, width int, c *cases.Card, codes map[string]string, now time.Time) error {
	return unitText(w, newPage(width), c, codes, now, false)
}

// UnitOnPage is UnitText for a page that has forms for what may follow: it names no command.
func UnitOnPage(w io.Writer, c *cases.Card, codes map[string]string, now time.Time) error {
	return unitText(w, newPage(Unfolded), c, codes, now, true)
}

func unitText(w io.Writer, p *page, c *cases.Card, codes map[string]string, now time.Time, forms bool) error {
	p.say(sayUnitLine(c, now))
	if s := c.Stay(); s != nil {
		p.stay(c, s, codes, forms)
	} else {
		p.records(c)
	}
	p.unfit(c)
	if len(c.Notes)+len(c.Refers) > 0 {
		p.gap()
	}
	for _, n := range c.Notes {
		p.item("  ", sayNoteLine(n.Event.At, n.Body.Text))
	}
	for _, r := range c.Refers {
		p.item("  ", sayReferenceLine(r))
	}
	if n := len(c.Stays); n > 1 {
		p.gap()
		p.say(titleEarlierStays)
		for _, s := range c.Stays[:n-1] {
			p.item("  - ", sayStay(s))
		}
	}
	return p.writeTo(w)
}

func (p *page) stay(c *cases.Card, s *cases.Stay, codes map[string]string, forms bool) {
	p.say(sayReceipt(s))
	if s.Statement != nil {
		p.say(sayStatement(&s.Statement.Body))
	} else if s.State.InShop() && !forms { // the page asks for it in a form of its own
		p.say(sayUnstated)
	}
	if s.Verdict != "" {
		p.say(sayVerdict(s.Verdict))
	}
	if len(s.Receipt.Body.Cases) > 0 {
		var names []string
		for _, id := range s.Receipt.Body.Cases {
			name := codes[id]
			if name == "" {
				name = id
			}
			names = append(names, name)
		}
		p.say(fmt.Sprintf(sayCasesOf, strings.Join(names, ", ")))
	}
	p.gap()
	p.say(titleCourse)
	for i := range s.Steps {
		p.item("  "+s.Steps[i].At.Format(minuteForm), sayStep(&s.Steps[i]))
	}
	if len(s.Work) > 0 {
		p.gap()
		p.say(titleRepairLog)
		for i := range s.Work {
			p.item("  "+s.Work[i].Event.At.Format(minuteForm), sayWork(&s.Work[i]))
		}
	}
	p.records(c)
	if o := s.Offer(); o != nil {
		p.gap()
		p.say(sayOffered(o))
		for i := range o.Offer.Ways {
			p.item("  - ", sayOfferedWay(&o.Offer, &o.Offer.Ways[i]))
		}
	}
	p.gap()
	switch {
	case !s.State.InShop():
		p.say(sayGone)
	case !forms:
		p.say(sayMayGo(s.State))
	}
}

// records lists the bench records that were issued of a unit.
func (p *page) records(c *cases.Card) {
	if len(c.Records) == 0 {
		return
	}
	p.gap()
	p.say(titleRecords)
	for i := range c.Records {
		p.item("  "+c.Records[i].Event.At.Format(minuteForm), sayRecordOf(&c.Records[i].Body))
	}
}

// UnitEntries writes every entry, numbered.
func UnitEntries(w io.Writer, width int, c *cases.Card) error {
	p := newPage(width)
	for i := range c.Events {
		p.item(fmt.Sprintf("%4d. ", i+1), sayUnitEntry(c, &c.Events[i]))
	}
	return p.writeTo(w)
}

// A StoryLine is an entry of a unit in words.
type StoryLine struct {
	When, By, Says string
	Void           bool // it no longer counts
}

// UnitStory are the entries of a unit, in words and in the order of their numbers.
func UnitStory(c *cases.Card) []StoryLine {
	out := make([]StoryLine, len(c.Events))
	for i := range c.Events {
		e := &c.Events[i]
		out[i] = StoryLine{e.At.Format("02 Jan 2006 15:04"), e.By, sayStory(c, e), c.Void[e.ID]}
	}
	return out
}

// UnitsText writes the units in a shop, by state, the longest in it first.
func UnitsText(w io.Writer, width int, list []*cases.Card, chosen bool, now time.Time) error {
	p := newPage(width)
	if len(list) == 0 && chosen {
		p.say(sayNoUnitsInState)
	} else if len(list) == 0 {
		p.say(sayNoUnits)
	}
	for _, state := range cases.ShopStates {
		in := slices.DeleteFunc(slices.Clone(list), func(c *cases.Card) bool { return c.State() != state })
		if len(in) == 0 {
			continue
		}
		p.gap()
		p.say(wording.UpperFirst(shopStateNames[state]) + ", " + counted(len(in), "unit") + ":")
		for _, c := range in {
			p.item("  - ", sayUnitOfList(c, now))
		}
	}
	return p.writeTo(w)
}

// SortUnits puts units in the order of a list: by state, the longest in it first.
func SortUnits(list []*cases.Card) {
	slices.SortStableFunc(list, func(a, b *cases.Card) int {
		if x, y := slices.Index(cases.ShopStates, a.State()), slices.Index(cases.ShopStates, b.State()); x != y {
			return x - y
		}
		if c := a.Stay().Since.Compare(b.Stay().Since); c != 0 {
			return c
		}
		return strings.Compare(a.ID, b.ID)
	})
}

// UnitsCSV writes units for spreadsheets (RFC 4180), safe against formulas.
func UnitsCSV(w io.Writer, list []*cases.Card, now time.Time) error {
	rows := [][]string{{"type", "serial", "revision", "state", "since", "days_in_state", "days_in_house", "unit", "offer_until", "answer", "from", "complaint"}}
	for _, c := range list {
		u := unitOf(c, now)
		rows = append(rows, []string{u.Type, u.Serial, u.Revision, u.State, u.Since, decimal(u.DaysInState), decimal(u.DaysInHouse), u.Verdict, u.OfferUntil, u.Answer, u.From, u.Complaint})
	}
	return safeTable(w, rows)
}

func decimal(x float64) string { return strconv.FormatFloat(x, 'f', 1, 64) }

// safeTable writes a table for spreadsheets in which nothing is a formula.
func safeTable(w io.Writer, rows [][]string) error {
	c := csv.NewWriter(w)
	c.UseCRLF = true
	for _, row := range rows {
		for i := range row {
			row[i] = noFormula(row[i])
		}
		if err := c.Write(row); err != nil {
			return err
		}
	}
	c.Flush()
	return c.Error()
}

// safeCell keeps a cell on one line, and from being a formula: what begins like one gets an
// apostrophe before it, which spreadsheets show as text. Control letters go.
func safeCell(text string) string {
	text = strings.TrimSpace(strings.Map(func(r rune) rune {
		if r == '\t' || r == '\r' || r == '\n' {
			return ' '
		}
		if r < ' ' || r == 0x7f {
			return -1
		}
		return r
	}, text))
	return noFormula(text)
}

// noFormula is a cell that no spreadsheet takes for a formula, not even one that passes over blanks.
func noFormula(cell string) string {
	for _, text := range []string{cell, strings.TrimSpace(cell)} {
		if text != "" && strings.ContainsRune("=+-@\t\r\n|%＝＋－＠", []rune(text)[0]) {
			return "'" + cell
		}
	}
	return cell
}

// MonthText writes the monthly table: a column for each type as far as there is room, then
// the next ones below.
func MonthText(w io.Writer, width int, m *cases.Month) error {
	p := newPage(width)
	p.say(sayMonth(m))
	if len(m.Types) == 0 {
		p.say(sayNothingInMonth)
		return p.writeTo(w)
	}
	columns := monthTypes(m)
	const lead, cell = 33, 15
	room := max(1, (p.width-lead)/cell)
	for block := range slices.Chunk(columns, room) {
		p.gap()
		line := strings.Repeat(" ", lead)
		for _, r := range block {
			line += fmt.Sprintf("%*s", cell, shortened(printable(r.Type), cell-1))
		}
		p.line(line)
		for _, row := range monthRows {
			line := fmt.Sprintf("%-*s", lead, row.says)
			for i := range block {
				line += fmt.Sprintf("%*s", cell, row.value(&block[i]))
			}
			p.line(line)
		}
	}
	p.gap()
	p.say(sayMonthNotes)
	return p.writeTo(w)
}

// monthTypes are the columns of the monthly table: one for each type, before them one for all where
// there are several.
func monthTypes(m *cases.Month) []cases.MonthRow {
	if len(m.Types) == 1 {
		return m.Types
	}
	return append([]cases.MonthRow{allTypes(m)}, m.Types...)
}

func allTypes(m *cases.Month) cases.MonthRow {
	all := m.All
	all.Type = sayAllTypes
	return all
}

// shortened is a text of at most n letters.
func shortened(text string, n int) string {
	if r := []rune(text); len(r) > n {
		return string(r[:n-3]) + "..."
	}
	return text
}

// A MonthColumn is the month of one type of unit, or of all, in words.
type MonthColumn struct {
	Type string
	Rows [][2]string // what is counted, and the figure
}

// MonthColumns is the table of MonthText for a screen that sets it out itself: what it is of, a column
// for all types where there are several and for each, and what its lines mean.
func MonthColumns(m *cases.Month) (of string, columns []MonthColumn, notes string) {
	if len(m.Types) == 0 {
		return sayMonth(m), nil, sayNothingInMonth
	}
	rows := monthTypes(m)
	for i := range rows {
		c := MonthColumn{Type: rows[i].Type}
		for _, row := range monthRows {
			c.Rows = append(c.Rows, [2]string{row.says, row.value(&rows[i])})
		}
		columns = append(columns, c)
	}
	return sayMonth(m), columns, sayMonthNotes
}

// MonthCSV writes the table for spreadsheets: a row for each type, and one for all.
func MonthCSV(w io.Writer, m *cases.Month) error {
	head := []string{"type"}
	for _, row := range monthRows {
		head = append(head, row.id)
	}
	rows := [][]string{head}
	for _, r := range append(slices.Clone(m.Types), allTypes(m)) {
		f := monthOf(&r)
		rows = append(rows, []string{r.Type, itoa(f.Received), itoa(f.Repeats), itoa(f.Finished), itoa(f.Good), itoa(f.Bad), itoa(f.Unproven), itoa(f.Unjudged), itoa(f.Released), itoa(f.Returned),
			itoa(f.Scrapped), itoa(f.Core), itoa(f.Refused), orEmpty(f.Turnaround), orEmpty(f.Asked), itoa(f.InShop), itoa(f.Waiting), orEmpty(f.Longest)})
	}
	return safeTable(w, rows)
}

func itoa(n int) string { return strconv.Itoa(n) }

func orEmpty(x *float64) string {
	if x == nil {
		return ""
	}
	return decimal(*x)
}
