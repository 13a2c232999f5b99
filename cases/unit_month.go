package cases

import (
	"cmp"
	"slices"
	"time"
)

// A Month is what a shop reads once a month: what came in and went out from From up
// to To, and what is in the house at To.
type Month struct {
	From, To time.Time
	Types    []MonthRow // in the order of their names
	All      MonthRow
}

// A MonthRow is a month of one type of unit.
type MonthRow struct {
	Type     string
	Received int // receipts within the month
	Repeats  int // of them: back within RepeatDays after they were released
	Finished int // stays that ended within the month; all that follows up to Core is of these
	Good     int // by the verdict on the unit as it came in: no fault found
	Bad      int
	Unproven int // the verdict is not_proven
	Unjudged int // no verdict was given
	Released int
	Returned int // unrepaired
	Scrapped int
	Core     int // accepted as a core
	Refused  int // cores refused within the month, whatever became of them then
	// Turnaround is the median from receipt to the end of the stay; Asked the median of the time in it
	// that went by waiting for the customer. Both are 0 where nothing finished.
	Turnaround, Asked time.Duration
	InShop            int           // at the end of the month
	Waiting           int           // of them: for the customer
	Longest           time.Duration // that one of those has waited
}

// monthly is a row being added up.
type monthly struct {
	MonthRow
	turnaround, asked []time.Duration
}

// MonthTable adds a month up. Adding goes unit by unit, so that no more than the figures
// are held.
type MonthTable struct {
	from, to time.Time
	rows     map[string]*monthly
	all      *monthly
}

// NewMonthTable begins the table of the time from one moment up to another.
func NewMonthTable(from, to time.Time) *MonthTable {
	return &MonthTable{from: from, to: to, rows: map[string]*monthly{}, all: &monthly{}}
}

func (t *MonthTable) within(at time.Time) bool { return !at.Before(t.from) && at.Before(t.to) }

// Add counts a unit.
func (t *MonthTable) Add(c *Card) {
	kind := plainKey(c.Unit.Type)
	row := t.rows[kind]
	if row == nil {
		row = &monthly{MonthRow: MonthRow{Type: c.Unit.Type}}
		t.rows[kind] = row
	}
	row.Type = min(row.Type, c.Unit.Type) // of several spellings, whatever the order in which they come
	both := func(count func(*monthly)) { count(row); count(t.all) }
	for i, s := range c.Stays {
		if t.within(s.Came) {
			both(func(m *monthly) { m.Received++ })
			if i > 0 && c.Stays[i-1].State == ShopReleased && s.Came.Sub(c.Stays[i-1].Since) <= RepeatDays*24*time.Hour {
				both(func(m *monthly) { m.Repeats++ })
			}
		}
		for _, step := range s.Steps {
			if step.Move.To == CoreRefused && t.within(step.At) {
				both(func(m *monthly) { m.Refused++ })
			}
		}
		if !s.Ended.IsZero() && t.within(s.Ended) {
			both(func(m *monthly) { m.finished(s) })
		}
	}
	state, since := c.StateAt(t.to.Add(-time.Nanosecond)) // the month is without its end
	if !state.InShop() {
		return
	}
	both(func(m *monthly) { m.InShop++ })
	if state == ShopAwaiting {
		both(func(m *monthly) { m.Waiting++; m.Longest = max(m.Longest, t.to.Sub(since)) })
	}
}

// finished counts a stay that ended.
func (m *monthly) finished(s *Stay) {
	m.Finished++
	switch s.Verdict {
	case UnitGood:
		m.Good++
	case UnitBad:
		m.Bad++
	case UnitNotProven:
		m.Unproven++
	default:
		m.Unjudged++
	}
	switch s.EndedAs {
	case ShopReleased:
		m.Released++
	case ShopReturned:
		m.Returned++
	case ShopScrapped:
		m.Scrapped++
	case CoreAccepted:
		m.Core++
	}
	m.turnaround = append(m.turnaround, s.Ended.Sub(s.Came))
	m.asked = append(m.asked, s.Asked)
}

// Month gives the table. A type that nothing happened to, and of which nothing is in the
// house, has no row.
func (t *MonthTable) Month() *Month {
	out := &Month{From: t.from, To: t.to, All: t.all.row()}
	for _, m := range t.rows {
		if r := m.row(); r != (MonthRow{Type: r.Type}) {
			out.Types = append(out.Types, r)
		}
	}
	slices.SortFunc(out.Types, func(a, b MonthRow) int { return cmp.Compare(a.Type, b.Type) })
	return out
}

func (m *monthly) row() MonthRow {
	r := m.MonthRow
	r.Turnaround, r.Asked = median(m.turnaround), median(m.asked)
	return r
}

// median is the middle one, or the mean of the two in the middle.
func median(list []time.Duration) time.Duration {
	if len(list) == 0 {
		return 0
	}
	list = slices.Sorted(slices.Values(list))
	if n := len(list); n%2 == 0 {
		return list[n/2-1] + (list[n/2]-list[n/2-1])/2
	}
	return list[len(list)/2]
}
