package report

import (
	"cmp"
	"fmt"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// CaseLine writes where a case stands, in a line or two: what every command that
// added something to it ends with.
func CaseLine(w io.Writer, width int, b *rulebase.Base, c *cases.Case) error {
	p := newPage(width)
	p.say(sayCaseLine(c))
	p.inPlace(c)
	return p.writeTo(w)
}

// CaseOpened writes the code of a case, and what is remembered of its unit and location.
func CaseOpened(w io.Writer, width int, b *rulebase.Base, c *cases.Case, earlier *cases.Earlier) error {
	p := newPage(width)
	p.say(sayCaseOpened(c))
	p.earlier(b, earlier)
	p.inPlace(c)
	p.notHere(c, earlier)
	return p.writeTo(w)
}

// notHere lists the files that did not come with the case.
func (p *page) notHere(c *cases.Case, e *cases.Earlier) {
	if e == nil || len(e.NotHere) == 0 {
		return
	}
	p.gap()
	p.say(sayNotHereYet(c))
	p.files(e.NotHere)
}

func (p *page) files(list []cases.Attachment) {
	for _, a := range list {
		p.item("  ", sayFileByHash(a))
	}
}

// TravelApart says which pictures and files a hand-over as text or codes does not hold, and how they are sent.
// sheetStays says that the installation sheet is among it.
func TravelApart(w io.Writer, width int, c *cases.Case, sheetStays bool) error {
	p := newPage(width)
	p.apart(c)
	p.sheetStays(c, sheetStays)
	return p.writeTo(w)
}

// TravelApartLines says the same line by line, for a page.
func TravelApartLines(c *cases.Case) []string {
	var lines []string
	for _, a := range c.Attached() {
		lines = append(lines, sayFileByHash(a))
	}
	return lines
}

func (p *page) apart(c *cases.Case) {
	files := c.Attached()
	if len(files) == 0 {
		return
	}
	p.gap()
	p.say(sayTravelApart(c))
	p.files(files)
}

func (p *page) sheetStays(c *cases.Case, stays bool) {
	if stays {
		p.gap()
		p.say(SheetStays + fmt.Sprintf(sayBringSheet, c.Code, c.Code))
	}
}

// SettingsUnread says which settings of the unit nobody has read as found; nothing where all were read.
func SettingsUnread(w io.Writer, width int, c *cases.Case) error {
	var unread []string
	for _, name := range cases.SettingNames {
		if c.Setting(cases.AsFound, name) == "" {
			unread = append(unread, name)
		}
	}
	if len(unread) == 0 {
		return nil
	}
	p := newPage(width)
	p.say(saySettingsUnread(c, plainAll(unread)))
	return p.writeTo(w)
}

// A group is cases that are remembered for one reason.
type group struct {
	says string
	list []cases.Summary
}

// remembered are the reasons for which there are any.
func remembered(e *cases.Earlier) []group {
	all := []group{{saySameUnit, e.SameUnit}, {sayOtherType, e.OtherType}, {sayLooksLike, e.LooksLike}, {saySameLocation, e.SameLocation}}
	return slices.DeleteFunc(all, func(g group) bool { return len(g.list) == 0 })
}

// earlier writes what is remembered.
func (p *page) earlier(b *rulebase.Base, e *cases.Earlier) {
	if e == nil {
		return
	}
	for _, group := range remembered(e) {
		p.gap()
		p.say(group.says)
		for i := range group.list[:min(5, len(group.list))] {
			p.item("  ", sayEarlier(b, &group.list[i]))
		}
		if more := len(group.list) - 5; more > 0 {
			p.item("  ", sayEarlierMore(more))
		}
	}
	switch {
	case e.ForLocation:
		p.gap()
		p.say(sayForLocation)
	case e.FoundGood != nil:
		p.gap()
		p.say(sayFoundGood(e.FoundGood))
	}
}

// inPlace lists what still stands, numbered as take-out and accept count it.
func (p *page) inPlace(c *cases.Case) {
	if len(c.PutIn) == 0 {
		return
	}
	p.gap()
	p.say(sayStillInPlace)
	for i, says := range standingLines(c) {
		p.item(fmt.Sprintf("  %d. ", i+1), says)
	}
}

// standingLines are the things still in place, accepted or not, in their order.
func standingLines(c *cases.Case) []string { return wording.StandingLines(c) }

// StandingIn names what still stands in place of a case, for a chart of it: what was put
// in, and what remedies for the time being did that no entry speaks of.
func StandingIn(b *rulebase.Base, c *cases.Case) []string {
	var still []string
	for _, p := range c.PutIn {
		still = append(still, sayPutIn(p.Body, false))
	}
	s := c.Situation.Clone()
	s.Done = slices.DeleteFunc(s.Done, func(d rulebase.Done) bool { return c.EverPutIn(d.ID) })
	return append(still, StillInPlace(b, s)...)
}

// CasesText writes a list of cases.
func CasesText(w io.Writer, width int, b *rulebase.Base, list []cases.Summary, now time.Time) error {
	p := newPage(width)
	if len(list) == 0 {
		p.say(sayNoCaseFound)
	}
	for i := range list {
		s := &list[i]
		p.item(fmt.Sprintf("%-8s", s.Code), sayCaseSummary(b, s, now))
	}
	return p.writeTo(w)
}

// CaseText writes a whole case for people: what is remembered, what was said and
// done, what still stands, and what the diagnosis makes of it.
func CaseText(w io.Writer, width int, d *engine.Diagnosis, c *cases.Case, earlier *cases.Earlier) error {
	p := newPage(width)
	b := d.Base
	p.say(sayCaseOpened(c))
	p.say(sayCaseState(b, c))
	if c.Opening.Complaint != "" {
		p.say(sayComplaint(c.Opening.Complaint))
	}
	if c.Opening.CallBack != "" {
		p.say(sayCallBack(c.Opening.CallBack))
	}
	for _, r := range c.References {
		p.item("  ", sayReferenceLine(r))
	}
	if c.Disposition != nil {
		p.say(sayDisposed(c.Disposition))
	}
	p.earlier(b, earlier)
	p.inPlace(c)
	p.known(b, c)
	p.settings(c)
	p.kept(c)
	p.notHere(c, earlier)
	p.gap()
	if err := p.writeTo(w); err != nil || c.State == cases.StateClosed {
		return err
	}
	return Text(w, d, TextOptions{Width: width})
}

// known lists findings and work in the order said.
func (p *page) known(b *rulebase.Base, c *cases.Case) {
	s := &c.Situation
	if len(s.Givens)+len(s.Findings) > 0 {
		p.gap()
		p.say(sayIsKnown)
	}
	for _, g := range s.Givens {
		p.item("  ", plain(g.ID)+" "+plain(valueText(g.Value)))
	}
	for _, f := range s.Findings {
		p.item("  ", sayFinding(b, &f))
	}
	if len(s.Done) > 0 {
		p.gap()
		p.say(sayWasDone)
	}
	for i, done := range s.Done {
		p.item("  ", sayDoneProven(&done, c.Proofs[i]))
	}
}

func valueText(v rulebase.Value) string {
	if v.IsNumber && v.Word == "" {
		return strconv.FormatFloat(v.Number, 'g', -1, 64)
	}
	return v.Word
}

// kept lists notes, files and money.
func (p *page) kept(c *cases.Case) {
	if len(c.Notes)+len(c.Files)+len(c.Money) > 0 {
		p.gap()
	}
	for _, n := range c.Notes {
		p.item("  ", sayNoteLine(n.Event.At, n.Body.Text))
	}
	for _, f := range c.Files {
		p.item("  ", sayFileLine(f.Body))
	}
	p.money(c)
	if len(c.Unknown) > 0 {
		p.item("  ", sayUnknownEntries(len(c.Unknown)))
	}
}

// money lists amounts, and where there are several what they come to.
func (p *page) money(c *cases.Case) {
	for _, m := range c.Money {
		p.item("  ", sayMoneyLine(m))
	}
	if len(c.Money) < 2 {
		return
	}
	for _, sum := range cases.MoneySums(c.Money) {
		p.item("  ", sayMoneySum(sum))
	}
}

// CaseCosts writes what a case has cost so far.
func CaseCosts(w io.Writer, width int, c *cases.Case) error {
	p := newPage(width)
	p.say(sayCaseLine(c))
	p.money(c)
	return p.writeTo(w)
}

// CaseEvents writes every entry, numbered; names are those kept for the ids of writers.
func CaseEvents(w io.Writer, width int, c *cases.Case, names map[string]string) error {
	p := newPage(width)
	for i, e := range c.Events {
		p.item(fmt.Sprintf("%4d. ", i+1), sayEntry(c, &e, names[e.By]))
	}
	return p.writeTo(w)
}

// SettingsSheet writes a unit's settings as found and as left, to be printed.
func SettingsSheet(w io.Writer, width int, c *cases.Case) error {
	p := newPage(width)
	p.say(saySettingsOf(c))
	p.gap()
	p.sheet(c)
	p.inPlace(c)
	return p.writeTo(w)
}

// settings is the sheet within a longer text, where anything of it was read.
func (p *page) settings(c *cases.Case) {
	if len(c.Settings) == 0 {
		return
	}
	p.gap()
	p.say(saySettingsKept)
	p.sheet(c)
}

// sheet is the lines of the settings sheet, those never read as well.
func (p *page) sheet(c *cases.Case) {
	heads := []string{"", sayAsFound, sayAsLeft}
	p.line(tabulated(heads))
	for _, name := range c.SettingNames() {
		found, left := c.Setting("found", name), c.Setting("left", name)
		p.tableRow(heads, []string{plain(name), cmp.Or(found, sayNotRead), cmp.Or(left, sayNotRead)})
		if found != "" && left != "" && found != left {
			p.item("      ", saySettingDiffers)
		}
	}
}

// HandOver writes what the next place reads first, and the text it takes in.
func HandOver(w io.Writer, width int, d *engine.Diagnosis, c *cases.Case, parts []string, sheetStays bool) error {
	p := newPage(width)
	p.say(sayHandOver(c))
	p.known(d.Base, c)
	if p.settings(c); len(c.Settings) == 0 && c.HandedTo == rulebase.Bench { // the unit goes with it
		p.gap()
		p.say(saySettingsUnread(c, plainAll(cases.SettingNames)))
	}
	p.inPlace(c)
	p.apart(c)
	p.sheetStays(c, sheetStays)
	p.gap()
	for _, part := range parts {
		for i := 0; i < len(part); i += p.width {
			p.line(part[i:min(i+p.width, len(part))])
		}
		p.line("")
	}
	return p.writeTo(w)
}

// OpenPoints says what keeps a case from being closed.
func OpenPoints(b *rulebase.Base, c *cases.Case, open []cases.OpenPoint) string {
	lines := []string{sayCannotClose(c.Code)}
	for _, o := range open {
		if o.Symptom != "" {
			lines = append(lines, sayUnexplained(b, c, o.Symptom))
			continue
		}
		n := slices.IndexFunc(c.PutIn, func(p cases.Said[cases.PutIn]) bool { return p.Event.ID == o.Event })
		lines = append(lines, sayStands(c, n+1, o.PutIn))
	}
	return strings.Join(lines, "\n")
}

// CasesCSV writes cases for spreadsheets (RFC 4180). A cell that a spreadsheet would take for a formula
// has an apostrophe before it.
func CasesCSV(w io.Writer, list []cases.Summary) error {
	rows := [][]string{{"code", "id", "location", "drop", "type", "serial", "state", "waiting_for", "opened", "changed", "complaint", "causes", "outcome", "unit", "still_in_place"}}
	for _, s := range list {
		rows = append(rows, []string{s.Code, s.ID, s.Location, strconv.Itoa(s.Drop), s.Type, s.Serial, string(s.State), s.WaitingFor,
			s.Opened.UTC().Format(time.RFC3339), s.Changed.UTC().Format(time.RFC3339), s.Complaint, strings.Join(s.Causes, " "), s.Outcome, s.UnitVerdict, strconv.Itoa(s.InPlace)})
	}
	return safeTable(w, rows)
}

// CaseSummaryLine is a case on one line, as a list of cases has it behind the code.
func CaseSummaryLine(b *rulebase.Base, s *cases.Summary, now time.Time) string {
	return sayCaseSummary(b, s, now)
}

// InPlaceLines say what was put in, loosened or forced and still is, numbered as the commands number it.
func InPlaceLines(c *cases.Case) []string { return wording.InPlaceLines(c) }

// EarlierLines say what is remembered of the same unit and the same place.
func EarlierLines(b *rulebase.Base, e *cases.Earlier) []string {
	var lines []string
	for _, group := range remembered(e) {
		lines = append(lines, group.says)
		for i := range group.list[:min(3, len(group.list))] {
			lines = append(lines, "  "+sayEarlier(b, &group.list[i]))
		}
	}
	if e.ForLocation {
		lines = append(lines, sayForLocation)
	}
	return lines
}
