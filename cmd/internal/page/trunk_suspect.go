package page

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

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

// partPlaces says where on the line the causes of a part are looked for. What is not here
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
