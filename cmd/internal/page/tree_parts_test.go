package page

import (
	"testing"

	"downdrop/cmd/internal/report"
)

// A part of a drawn chart is filled up to what a page of paper holds, and no further; a row that
// is taller stands alone.
func TestPartsOfATreeAreFilled(t *testing.T) {
	const row = stripLine + 10 // of one line
	rows := func(n int) []report.ChartRow {
		all := make([]report.ChartRow, n)
		for i := range all {
			all[i] = report.ChartRow{Says: "a"}
		}
		return all
	}
	full := (tallestPart - 4) / row
	for n, want := range map[int]int{1: 1, full: 1, full + 1: 2, 2 * full: 2, 2*full + 1: 3} {
		parts := drawTree(rows(n))
		if len(parts) != want {
			t.Errorf("%d rows are %d parts, wanted %d", n, len(parts), want)
		}
		for _, p := range parts {
			if p.High > tallestPart || p.High != 4+row*len(p.Rows) || p.Of != want {
				t.Errorf("of %d rows a part of %d is %d high, and one of %d", n, len(p.Rows), p.High, p.Of)
			}
		}
	}
	// Rows of several lines reach the edge to the point: n rows of in all so many lines.
	of := func(lines int) report.ChartRow {
		r := report.ChartRow{Says: "word"}
		if lines > mostLines { // a text has no more, and a row two texts
			r.Way = "so"
		}
		for drawTree([]report.ChartRow{r})[0].Rows[0].High < 10+stripLine*lines {
			r.Says += " word"
		}
		return r
	}
	for n := 1; n < full; n++ {
		lines := (tallestPart - 4 - 10*n) / stripLine
		if 4+10*n+stripLine*lines != tallestPart || lines < n || (lines+n-1)/n > mostLines+1 {
			continue
		}
		var all []report.ChartRow
		for i := range n {
			all = append(all, of((lines+i)/n))
		}
		if parts := drawTree(all); len(parts) != 1 || parts[0].High != tallestPart {
			t.Errorf("what just has room is %d parts, the first %d high", len(parts), parts[0].High)
		}
		return
	}
	t.Fatal("no rows reach the edge to the point")
}
