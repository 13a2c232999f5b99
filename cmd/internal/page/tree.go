package page

import (
	"fmt"
	"net/http"
	"strconv"

	"downdrop/cmd/internal/report"
)

// usualPlaces is how many places a chart on the page has: as many as a phone draws at once and a
// busy machine works out in a few seconds. mostPlaces fits into what one request may take.
const (
	usualPlaces = 30
	mostPlaces  = 90
)

// A treePart is a piece of the drawn tree that no page of paper has to divide.
type treePart struct {
	Number, Of  int
	Width, High int
	Title       string
	Rows        []treeRow
}

// A treeRow is a place or an end: a terminal on the conductor of the answers above.
type treeRow struct {
	report.ChartRow
	Chance string
	X, Y   int // of its terminal
	High   int
	Past   []int // conductors of places above that run past it
	Text   int
	Lines  []drawnLine
	Leads  bool // a conductor leaves it
}

const treeStep = 12 // how far a place stands in from the one above

// drawTree sets the rows of a chart into parts.
func drawTree(rows []report.ChartRow) []treePart {
	var all []treeRow
	open := []bool{} // by depth: whether another answer of the place above follows
	for i, r := range rows {
		open = append(open[:min(len(open), r.Depth)], !r.Last)
		row := treeRow{ChartRow: r, X: 14 + treeStep*r.Depth, Leads: i+1 < len(rows) && rows[i+1].Depth > r.Depth}
		for depth := 1; depth < r.Depth; depth++ {
			if open[depth] {
				row.Past = append(row.Past, 14+treeStep*(depth-1))
			}
		}
		row.Text = row.X + 14
		if r.Number > 0 {
			row.Text = row.X + 40
		}
		if r.Depth > 0 {
			row.Chance = report.Chance(r.Chance)
		}
		y := 15
		say := func(text string, bold bool, x int) {
			for _, line := range folded(text, 0.93*float64(stripWidth-x)) {
				row.Lines = append(row.Lines, drawnLine{Y: y, Text: line, Bold: bold})
				y += stripLine
			}
		}
		if r.Way != "" {
			say(fmt.Sprintf(sayWay, r.Way, row.Chance), false, row.Text)
		}
		say(r.Says, true, row.Text)
		row.High = y - 15 + 10
		all = append(all, row)
	}
	var parts []treePart
	for begin := 0; begin < len(all); {
		end, high := begin, 4
		for end < len(all) && (end == begin || high+all[end].High <= tallestPart) {
			all[end].Y = high
			high += all[end].High
			end++
		}
		parts = append(parts, treePart{Number: len(parts) + 1, Width: stripWidth, High: high, Rows: all[begin:end]})
		begin = end
	}
	for i := range parts {
		parts[i].Of, parts[i].Title = len(parts), sayTree
		if len(parts) > 1 {
			parts[i].Title = fmt.Sprintf(sayPartOf, sayTree, i+1, len(parts))
		}
	}
	return parts
}

// chart shows the fault-finding chart from where a case stands: the same that `downdrop chart
// --case` prints, as a tree whose places lead to their steps.
func (s *Server) chart(w http.ResponseWriter, r *http.Request) error {
	st, chart, places, err := s.chartOf(r)
	if err != nil {
		return err
	}
	heads, feet := chart.Says(report.ChartKind{})
	data := struct {
		head
		Heads, Feet []string
		Parts       []treePart
		Places      []*report.ChartPlace
		Most, More  int
		Still       []string
	}{head: s.headOf(st.Case), Heads: heads, Feet: feet, Parts: drawTree(chart.Tree()), Places: chart.Places(), Most: places}
	if more := min(mostPlaces, 2*places); len(data.Places) >= places && more > places {
		data.More = more
	}
	return show(w, http.StatusOK, "chart", data)
}

// chartJSON is what `downdrop chart --case --json` says.
func (s *Server) chartJSON(w http.ResponseWriter, r *http.Request) error {
	_, chart, _, err := s.chartOf(r)
	if err != nil {
		return err
	}
	isJSON(w)
	return chart.JSON(w, report.ChartKind{})
}

func (s *Server) chartOf(r *http.Request) (*standing, *report.Chart, int, error) {
	places := usualPlaces
	if text := r.URL.Query().Get("places"); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > mostPlaces {
			return nil, nil, 0, wrong(sayPlaces, mostPlaces)
		}
		places = n
	}
	st, err := s.find(r)
	if err != nil {
		return nil, nil, 0, err
	}
	done, err := s.reason(r.Context())
	if err != nil {
		return nil, nil, 0, err
	}
	defer done()
	c := *st.Case
	c.Situation = st.Situation // what does not stand confirmed any more is to be confirmed
	chart, err := s.o.Desk.Chart(r.Context(), &c, places)
	return st, chart, places, err
}
