package page

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"downdrop/cmd/internal/report"
)

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

// The strip's measures, in pixels at its own size.
const (
	stripWidth  = 336
	stripColumn = 18  // of brackets
	stripLine   = 19  // of text
	stripPad    = 14  // between rows
	stripSize   = 15  // of letters
	mostLines   = 3   // of one text: all of it stands in the list
	tallestPart = 760 // at ten points a page of paper holds this
	mostRows    = 400
)

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
