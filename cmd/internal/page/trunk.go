package page

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"mime"
	"net/http"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	paper "downdrop/engine/sheet"
	"downdrop/rulebase"
)

// A trunk is the line as it stands on its sheet, or as far as it was said, with what is
// suspected where. It is drawn as a strip from the host downwards, which a phone and a sheet of paper
// both have the room for: lengths are written, not drawn to scale.
type trunk struct {
	Name  string // of the sheet; "" without one
	Lost  string // the sheet that the case names but does not hold; ""
	Known bool   // the order along the cable is known; else by address, which says nothing of the cable
	Parts []trunkPart
	Marks []suspicion
	Off   []causeRow // suspected, but at no place of the line
	Wrong []string   // what on the sheet does not go, or barely
	Form  string
	Code  string
}

// A trunkPart is a piece of the strip that no page of paper has to divide.
type trunkPart struct {
	Number, Of  int
	Width, High int
	Title, Desc string
	Cable, Text int // where the cable and the texts stand
	Box         int // how wide a drop is
	Rows        []trunkRow
	Brackets    []bracket
}

// A trunkRow is something on the cable, or a stretch of it.
type trunkRow struct {
	Kind     string // host, stretch, joint, terminator, stub, drop, inline, bias, end
	Is       string // of what it is, in words: the text where nothing is drawn
	AtM      float64
	Address  int
	Here     bool // the drop of the case
	Y, High  int  // in its part
	Tall     int  // of a drop
	Lines    []drawnLine
	Says     []string // the same, unfolded
	Unsure   bool     // nobody said that the cable runs so
	letters  []string
	shielded bool
}

type drawnLine struct {
	Y    int
	Text string
	Bold bool
}

// A bracket stands beside the rows where something is suspected.
type bracket struct {
	X, Y1, Y2 int
	Letter    string // "" on the further parts of one that goes on
	Style     string // of the line: by the chance
}

// A suspicion is a place where something is suspected, with the chance that one of its
// causes is there.
type suspicion struct {
	Letter string
	Place  string
	Chance string
	Style  string // solid, dashed, dotted
	Causes []causeRow
	sum    float64
	rows   []int
}

// The strip's measures, in pixels at its own size.
const (
	stripWidth  = 336
	stripColumn = 18 // of brackets
	stripLine   = 19 // of text
	stripPad    = 14 // between rows
	stripSize   = 15 // of letters
	mostLines   = 3  // of one text: all of it stands in the list
	mostMarks   = 6
	tallestPart = 760 // at ten points a page of paper holds this
	mostRows    = 400
)

// parts says where on the line the causes of a part are looked for. What is not here
// is at no place of the line.
var partPlaces = map[string]linePlace{
	"controller": atHost, "configuration": atHost, "redundant": atHost,
	"unit": atDrop, "module": atDrop, "field": atDrop, "environment": atDrop,
	"supply": atSupply, "settings": atBoth, "termination": atEnds, "trunk": onStretch, "shield": onStretch, "inline": atInline,
}

type linePlace int

const (
	nowhere linePlace = iota
	atHost
	atDrop
	atSupply
	atBoth
	atEnds
	onStretch
	atInline
)

// trunkOf draws the line of a case. drawn is its sheet; nil: it has none.
func trunkOf(d *engine.Diagnosis, c *cases.Case, drawn *rulebase.Sheet, form string) *trunk {
	s := &c.Situation
	t := &trunk{Form: form, Code: c.Code, Known: true}
	var rows []trunkRow
	if drawn != nil {
		t.Name = drawn.Name
		rows = rowsOfSheet(drawn, s)
	} else {
		if t.Lost = s.Sheet; s.SheetFile != "" && t.Lost == "" {
			t.Lost = sayThisSheet
		}
		rows, t.Known = rowsOfCase(s)
	}
	for _, p := range s.Checked {
		t.Wrong = append(t.Wrong, strings.TrimSpace(p.Says+" "+p.Do))
	}
	rows = rows[:min(len(rows), mostRows)]
	t.suspect(d, rows, s)
	t.draw(rows)
	return t
}

// rowsOfCase is the line without a sheet: the drops that were spoken of.
func rowsOfCase(s *rulebase.Situation) (rows []trunkRow, known bool) {
	addresses := slices.Clone(s.Order)
	known = len(addresses) > 0
	for _, a := range slices.Sorted(maps.Keys(s.Drops)) {
		if !slices.Contains(addresses, a) {
			addresses = append(addresses, a)
		}
	}
	if s.Drop != 0 && !slices.Contains(addresses, s.Drop) {
		addresses = append(addresses, s.Drop)
	}
	rows = append(rows, trunkRow{Kind: "host", Says: []string{sayHost}})
	for _, a := range addresses {
		rows = append(rows, trunkRow{Kind: "stretch", Says: []string{sayNoLength}, Unsure: !known}, dropRow(s, a, "", known))
	}
	if len(addresses) == 0 {
		rows = append(rows, trunkRow{Kind: "stretch", Says: []string{sayNoLength}, Unsure: true}, trunkRow{Kind: "drop", Here: true, Says: []string{sayThisDrop}, Unsure: true})
	}
	return rows, known || len(addresses) < 2
}

// dropRow is a drop with its state in words.
func dropRow(s *rulebase.Situation, address int, name string, known bool) trunkRow {
	row := trunkRow{Kind: "drop", Address: address, Here: address != 0 && address == s.Drop, Unsure: !known}
	head := name
	if address != 0 {
		head = strings.TrimSpace(fmt.Sprintf(sayDropAt, address) + " " + name)
	}
	row.Says = []string{head}
	var states []string
	if state := trunkStates[s.Drops[address]]; state != "" && address != 0 {
		states = append(states, state)
	}
	if row.Here {
		states = append(states, sayThisDrop)
	}
	if len(states) > 0 {
		row.Says = append(row.Says, strings.Join(states, ", "))
	}
	return row
}

// A drop's state is a word, never a colour.
var trunkStates = map[string]string{rulebase.DropGood: "good", rulebase.DropDead: "dead", rulebase.DropComesAndGoes: "comes and goes"}

// rowsOfSheet is the line as its sheet has it, from the host on.
func rowsOfSheet(p *rulebase.Sheet, s *rulebase.Situation) []trunkRow {
	var on []trunkRow
	add := func(kind string, at float64, says ...string) {
		on = append(on, trunkRow{Kind: kind, AtM: at, Says: says})
	}
	host := trunkRow{Kind: "host", Says: []string{sayHost}}
	if p.Shield != nil && p.Shield.Bonded != "" {
		host.Says = append(host.Says, fmt.Sprintf(sayShieldBonded, wording.Plain(p.Shield.Bonded)))
	}
	if p.Bias != nil {
		add("bias", p.Bias.AtM, fmt.Sprintf(sayBias, ohms(p.Bias.Up), ohms(p.Bias.Down)))
	}
	at := 0.0
	for i, c := range p.Cable {
		if i > 0 {
			add("joint", at, sayJoint)
		}
		at += c.LengthM
	}
	for _, t := range p.Terminators {
		says := sayTerminator
		if t.Ohm > 0 {
			says += " " + ohms(t.Ohm)
		}
		if t.Powered != nil {
			says += map[bool]string{true: sayTerminatorFed, false: sayTerminatorNotFed}[*t.Powered]
		}
		if t.BlocksDC {
			says += sayTerminatorBlocks
		}
		add("terminator", t.AtM, says)
	}
	for _, d := range p.Inline {
		add("inline", d.AtM, strings.TrimSpace(wording.Plain(d.Kind)+" "+d.Name))
	}
	for _, t := range p.Stubs {
		says := fmt.Sprintf(sayStub, length(t.LengthM))
		if t.Tapped > 1 {
			says += fmt.Sprintf(sayTapped, t.Tapped)
		}
		add("stub", t.AtM, says)
	}
	for _, d := range p.Drops {
		address := 0
		if d.HasAddr {
			address = d.Address
		}
		row := dropRow(s, address, d.Name, true)
		row.AtM = d.AtM
		row.Says = append(row.Says, fedBy(p, d.Name)...)
		on = append(on, row)
	}
	slices.SortStableFunc(on, func(a, b trunkRow) int { return cmp.Compare(a.AtM, b.AtM) })
	rows, from := []trunkRow{host}, 0.0
	for _, row := range on {
		if row.AtM > from {
			rows = append(rows, stretch(p, from, row.AtM))
			from = row.AtM
		}
		rows = append(rows, row)
	}
	if end := p.TrunkM(); end > from {
		rows = append(rows, stretch(p, from, end))
	}
	return append(rows, trunkRow{Kind: "end", AtM: p.TrunkM(), Says: []string{fmt.Sprintf(sayTrunkEnd, length(p.TrunkM()))}})
}

// stretch is the cable between two places with something at each; no joint lies between.
func stretch(p *rulebase.Sheet, from, to float64) trunkRow {
	row := trunkRow{Kind: "stretch", AtM: from, Says: []string{length(to - from)}}
	at := 0.0
	for _, c := range p.Cable {
		if from >= at && from < at+c.LengthM {
			if c.Type != "" {
				row.Says[0] += ", " + c.Type
			}
			row.shielded = c.Shielded != nil && *c.Shielded
			if c.Conductor != nil && c.Conductor.Text != "" {
				row.Says[0] += ", " + c.Conductor.Text
			}
		}
		at += c.LengthM
	}
	for _, b := range p.Beside {
		if b.FromM < to && b.ToM > from {
			row.Says = append(row.Says, fmt.Sprintf(sayBeside, length(b.FromM), length(b.ToM), length(b.ApartM)))
		}
	}
	return row
}

// fedBy says which supply feeds a drop, and past which.
func fedBy(p *rulebase.Sheet, drop string) []string {
	var out []string
	for _, supply := range p.Supplies {
		for _, f := range supply.Feeds {
			switch {
			case !strings.EqualFold(f.Drop, drop):
			case f.From != "":
				out = append(out, fmt.Sprintf(sayFedPast, supply.Name, f.From))
			default:
				out = append(out, fmt.Sprintf(sayFed, supply.Name))
			}
		}
	}
	return out
}

func length(m float64) string {
	if m < 1 {
		return fmt.Sprintf("%.0f mm", 1000*m)
	}
	return fmt.Sprintf("%.4g m", m)
}

func ohms(x float64) string { return fmt.Sprintf("%.4g ohm", x) }

// suspect sorts the causes by where they are looked for, and gives the places letters,
// the likeliest first.
func (t *trunk) suspect(d *engine.Diagnosis, rows []trunkRow, s *rulebase.Situation) {
	if !d.Possible {
		return
	}
	by := map[linePlace]*suspicion{}
	for _, c := range d.Causes {
		if c.Now < leastSuspect {
			continue
		}
		cause := &d.Base.Causes[c.Cause]
		row := causeRow{Name: cause.Name, ID: cause.ID, Chance: report.Chance(c.Now)}
		place := partPlaces[cause.Part]
		on, says := rowsAt(place, rows, s)
		if len(on) == 0 {
			t.Off = append(t.Off, row)
			continue
		}
		if by[place] == nil {
			by[place] = &suspicion{Place: says, rows: on}
		}
		by[place].sum += c.Now
		by[place].Causes = append(by[place].Causes, row)
	}
	all := slices.SortedFunc(maps.Values(by), func(a, b *suspicion) int {
		return cmp.Or(cmp.Compare(b.sum, a.sum), cmp.Compare(a.Place, b.Place))
	})
	for i, m := range all {
		m.Letter, m.Chance, m.Style = string(rune('A'+i)), report.Chance(math.Min(m.sum, 1)), styleOf(m.sum)
		for _, r := range m.rows {
			rows[r].letters = append(rows[r].letters, m.Letter)
		}
		first := &rows[m.rows[0]]
		first.Says = append(first.Says, fmt.Sprintf(sayMark, m.Letter, m.Chance))
		m.Causes = m.Causes[:min(4, len(m.Causes))]
		t.Marks = append(t.Marks, *m)
	}
	t.Off = t.Off[:min(4, len(t.Off))]
}

// leastSuspect is the chance from which on a cause is drawn.
const leastSuspect = 0.01

// styleOf is the line that a chance is drawn with.
func styleOf(chance float64) string {
	switch {
	case chance >= 0.45: // "about 5 in 10"
		return "solid"
	case chance >= 0.08: // "about 1 in 10"
		return "dashed"
	}
	return "dotted"
}

// rowsAt are the rows of a place, and the place in words.
func rowsAt(place linePlace, rows []trunkRow, s *rulebase.Situation) (on []int, says string) {
	kinds := func(want ...string) []int {
		var out []int
		for i := range rows {
			if slices.Contains(want, rows[i].Kind) {
				out = append(out, i)
			}
		}
		return out
	}
	var here []int
	for i := range rows {
		if rows[i].Here {
			here = append(here, i)
		}
	}
	switch place {
	case atHost:
		return []int{0}, sayAtHost
	case atDrop:
		return here, sayAtDrop
	case atSupply:
		return here, sayAtSupply
	case atBoth:
		return append(here, 0), sayAtBoth
	case atEnds:
		if on := kinds("terminator"); len(on) > 0 {
			return on, sayAtEnds
		}
		return []int{0, len(rows) - 1}, sayAtEnds
	case onStretch:
		return stretchAt(rows, s)
	case atInline:
		if on := kinds("inline"); len(on) > 0 {
			return on, sayAtInline
		}
		on, says = stretchAt(rows, s)
		return on, sayAtInline + says[len(sayOnLine):]
	}
	return nil, ""
}

// stretchAt is where along the cable something is looked for: from the last drop that is good to the
// first that is not; at one drop's own tap where those behind it are good; else all of it.
func stretchAt(rows []trunkRow, s *rulebase.Situation) (on []int, says string) {
	first, good, behind := -1, 0, false
	for i, row := range rows {
		if row.Kind != "drop" {
			continue
		}
		state := s.Drops[row.Address]
		switch bad := row.Here || state == rulebase.DropDead || state == rulebase.DropComesAndGoes; {
		case bad && first < 0:
			first = i
		case !bad && state == rulebase.DropGood && first < 0:
			good = i
		case !bad && state == rulebase.DropGood:
			behind = true
		}
	}
	from, to := 0, len(rows)-1
	says = sayOnLine + sayAllOfIt
	ordered := !slices.ContainsFunc(rows, func(r trunkRow) bool { return r.Unsure })
	switch {
	case first < 0 || !ordered:
	case behind:
		from, to, says = first, first, sayOnLine+fmt.Sprintf(sayAtTap, rows[first].Says[0])
	case good > 0:
		from, to, says = good, first, sayOnLine+fmt.Sprintf(sayBetween, rows[good].Says[0], rows[first].Says[0])
	}
	for i := from; i <= to; i++ {
		on = append(on, i)
	}
	return on, says
}

// draw sets the rows into parts, with the brackets beside them.
func (t *trunk) draw(rows []trunkRow) {
	columns := columnsOf(t.Marks)
	most := 0
	for _, c := range columns {
		most = max(most, c+1)
	}
	cable := 16 + stripColumn*most
	text := cable + 36
	room := 0.93 * float64(stripWidth-text-8) // faces differ in width
	for i := range rows {
		row := &rows[i]
		y := 15
		for n, says := range row.Says {
			for k, line := range folded(says, room) {
				row.Lines = append(row.Lines, drawnLine{y, line, row.Kind == "drop" && n == 0 && k == 0})
				y += stripLine
			}
		}
		row.Is, row.High, row.Tall = strings.Join(row.Says, "; "), y-15+stripPad+2, y-15+9
	}
	begin := 0
	for begin < len(rows) {
		end, high := begin, 8
		for end < len(rows) && (end == begin || high+rows[end].High <= tallestPart) {
			rows[end].Y = high
			high += rows[end].High
			end++
		}
		p := trunkPart{Number: len(t.Parts) + 1, Width: stripWidth, High: high + 4, Cable: cable, Text: text, Box: stripWidth - text + 6, Rows: rows[begin:end]}
		for i, m := range t.Marks {
			p.Brackets = append(p.Brackets, bracketsOf(m, 10+stripColumn*columns[i], rows, begin, end)...)
		}
		t.Parts = append(t.Parts, p)
		begin = end
	}
	for i := range t.Parts {
		p := &t.Parts[i]
		p.Of = len(t.Parts)
		p.Title, p.Desc = t.words(p)
	}
}

// words are a part for whoever does not see it.
func (t *trunk) words(p *trunkPart) (title, desc string) {
	title = cmp.Or(t.Name, sayTheLine)
	if p.Of > 1 {
		title = fmt.Sprintf(sayPartOf, title, p.Number, p.Of)
	}
	var marks []string
	for _, m := range t.Marks {
		marks = append(marks, fmt.Sprintf("%s, %s: %s", m.Letter, m.Place, m.Chance))
	}
	if len(marks) == 0 {
		return title, sayNoMarks
	}
	return title, fmt.Sprintf(sayMarks, strings.Join(marks, "; "))
}

// columnsOf gives each suspicion the first column where its brackets have room.
func columnsOf(marks []suspicion) []int {
	out := make([]int, len(marks))
	taken := map[[2]int]bool{} // column, row
	for i, m := range marks {
		free := func(column int) bool {
			return !slices.ContainsFunc(m.rows, func(r int) bool { return taken[[2]int{column, r}] })
		}
		for !free(out[i]) {
			out[i]++
		}
		for _, r := range m.rows {
			taken[[2]int{out[i], r}] = true
		}
	}
	return out
}

// bracketsOf are those of one suspicion beside the rows of one part: one for each run of rows.
func bracketsOf(m suspicion, x int, rows []trunkRow, begin, end int) []bracket {
	var out []bracket
	sorted := slices.Sorted(slices.Values(m.rows))
	for i := 0; i < len(sorted); i++ {
		from := sorted[i]
		for i+1 < len(sorted) && sorted[i+1] == sorted[i]+1 {
			i++
		}
		to := sorted[i]
		if to < begin || from >= end {
			continue
		}
		from, to = max(from, begin), min(to, end-1)
		out = append(out, bracket{X: x, Y1: rows[from].Y + 2, Y2: rows[to].Y + rows[to].High - 6, Letter: m.Letter, Style: m.Style})
	}
	return out
}

// folded is a text in lines that have room, the last cut off where there are too many.
func folded(text string, room float64) []string {
	wide := func(s string) float64 { return report.LettersWide(s, stripSize, true) }
	var lines []string
	line := ""
	for _, word := range strings.Fields(text) {
		if next := strings.TrimSpace(line + " " + word); line == "" || wide(next) <= room {
			line = next
			continue
		}
		lines, line = append(lines, line), word
		if len(lines) == mostLines {
			break
		}
	}
	lines = append(lines, line)
	if len(lines) > mostLines {
		lines = lines[:mostLines]
		lines[mostLines-1] += "…"
	}
	for i, l := range lines {
		if r := []rune(l); wide(l) > room {
			for len(r) > 1 && wide(string(r)+"…") > room {
				r = r[:len(r)-1]
			}
			lines[i] = string(r) + "…"
		}
	}
	return lines
}

// sheetOfLine is the installation sheet that is kept with a case; nil where it has none, or none
// that is here: a hand-over as text brings no long one along.
func (s *Server) sheetOfLine(ctx context.Context, c *cases.Case) (*rulebase.Sheet, error) {
	text, err := s.sheetText(ctx, c)
	if err != nil || text == nil {
		return nil, err
	}
	read, err := rulebase.ReadSheet(sayThisSheet, text, paper.Kinds())
	if err != nil { // kept by another version of the program, which knew other keys
		s.o.Log.Warn("the sheet of a case cannot be read any more", "case", c.Code, "error", err)
		return nil, nil
	}
	return read, nil
}

// sheetText is the text of a case's sheet; nil: it has none, or none that is here.
func (s *Server) sheetText(ctx context.Context, c *cases.Case) ([]byte, error) {
	if c.Situation.SheetFile == "" {
		return nil, nil
	}
	text, err := s.o.Store.File(ctx, c.Situation.SheetFile)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil
	}
	return text, err
}

// giveSheet takes in the sheet of a case's line: its text, or a file.
func (s *Server) giveSheet(w http.ResponseWriter, r *http.Request) error {
	text, err := readSheetForm(r)
	if err != nil {
		return err
	}
	return s.addThen(w, r, "/causes", func(st *standing) ([]cases.Draft, error) {
		if st.Case.State == cases.StateClosed {
			return nil, refusal{http.StatusConflict, sayClosed}
		}
		read, err := rulebase.ReadSheet(sayThisSheet, []byte(text), paper.Kinds())
		if err != nil {
			return nil, refusal{http.StatusUnprocessableEntity, err.Error()}
		}
		after := st.Case.Situation.Clone()
		paper.Lay(read, &after)
		after.Sheet = ""
		if after.SheetFile, err = s.o.Store.PutFile(r.Context(), []byte(text)); err != nil {
			return nil, err
		}
		return st.Case.Changes(kept.AsOfNow(after)), nil
	})
}

// readSheetForm reads a form that may carry a file.
func readSheetForm(r *http.Request) (string, error) {
	if media, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); media != "multipart/form-data" {
		if err := readForm(r); err != nil {
			return "", err
		}
		return notEmpty(r.PostForm.Get("sheet"))
	}
	if err := r.ParseMultipartForm(mostForm); err != nil {
		return "", unreadForm(err)
	}
	if r.MultipartForm != nil {
		defer r.MultipartForm.RemoveAll() //nolint:errcheck // nothing of this size is written to a disk
		for _, f := range r.MultipartForm.File["file"] {
			if f.Size == 0 {
				continue
			}
			file, err := f.Open()
			if err != nil {
				return "", err
			}
			defer file.Close()
			text, err := io.ReadAll(file)
			if err != nil {
				return "", err
			}
			return notEmpty(string(text))
		}
	}
	return notEmpty(r.PostForm.Get("sheet"))
}

func notEmpty(text string) (string, error) {
	if strings.TrimSpace(text) == "" {
		return "", refusal{http.StatusUnprocessableEntity, sayNoSheetGiven}
	}
	return text, nil
}

// What the drawing says.
const (
	sayTheLine      = "The line"
	sayThisSheet    = "the sheet"
	sayHost         = "host"
	sayNoLength     = "length not known"
	sayThisDrop     = "this drop"
	sayDropAt       = "drop %d"
	sayShieldBonded = "shield bonded: %s"
	sayBias         = "idle bias %s up, %s down"
	sayJoint        = "joint: another stretch of cable"
	sayTerminator   = "terminator"
	sayStub         = "stub of %s"
	sayTapped       = ", %d at one tap"
	sayTrunkEnd     = "end of the trunk, %s from the host"
	sayBeside       = "power cable beside it from %s to %s, %s apart"
	sayFed          = "fed by %s"
	sayFedPast      = "fed by %s, past %s"
	sayMark         = "%s: %s"
	sayPartOf       = "%s, part %d of %d"
	sayMarks        = "Suspected: %s. Each row stands as text below the drawing."
	sayNoMarks      = "Nothing is suspected at a place. Each row stands as text below the drawing."

	sayTerminatorFed    = ", with its own supply"
	sayTerminatorNotFed = ", its supply is off"
	sayTerminatorBlocks = ", with a capacitor in series"

	sayAtHost   = "at the host and its controller"
	sayAtDrop   = "at this drop: unit, modules, field wires"
	sayAtSupply = "at the supply of this drop"
	sayAtBoth   = "in the settings, here and at the host"
	sayAtEnds   = "at the terminators"
	sayAtInline = "at the devices in the line"
	sayOnLine   = "on the cable"
	sayAllOfIt  = ", all along"
	sayAtTap    = ", at the tap and plug of %s"
	sayBetween  = ", from %s to %s"

	sayNoSheetGiven = "No sheet was given: paste its text or choose its file."
)
