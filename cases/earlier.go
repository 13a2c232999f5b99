package cases

import (
	"context"
	"fmt"
	"slices"
	"time"

	"downdrop/rulebase"
)

// Earlier is what is remembered of a unit or a location, said as soon as a case names it.
type Earlier struct {
	SameUnit     []Summary // the same type and serial
	OtherType    []Summary // the same serial with another type or with none: to be asked
	LooksLike    []Summary // another serial that the eye takes for this one: to be asked, never assumed
	SameLocation []Summary // whatever the serial
	// FoundGood is the last exchange here, within RepeatDays, of a unit that was then found good. A second
	// exchange would not help either: the fault stays with the location.
	FoundGood *Summary
	// ForLocation: the second exchange has been made, in this case or in one between.
	ForLocation bool

	// NotHere are the pictures and files that the case names and this store does not hold: a hand-over as
	// text brings their hashes only.
	NotHere []Attachment
}

// RepeatDays is within how many days a second exchange at one location, after a first whose unit was
// found good, speaks against the location. A choice of ours, as warranty terms go.
const RepeatDays = 90

// LookBack asks a store what it remembers of a case's unit and location, the case
// itself left out, and which of its files it lacks. A serial is taken for the same only as written and with its type.
func LookBack(ctx context.Context, store Store, c *Case) (Earlier, error) {
	var e Earlier
	var err error
	if e.NotHere, err = c.NotHere(ctx, store); err != nil {
		return e, err
	}
	unit := c.Opening.Unit
	if tellsUnits(unit.Serial) {
		err := FindEach(ctx, store, Query{LooksLike: unit.Serial}, func(s Summary) {
			switch {
			case s.ID == c.ID:
			case Folded(s.Serial) != Folded(unit.Serial):
				e.LooksLike = append(e.LooksLike, s)
			case Folded(s.Type) != Folded(unit.Type) || unit.Type == "":
				e.OtherType = append(e.OtherType, s)
			default:
				e.SameUnit = append(e.SameUnit, s)
			}
		})
		if err != nil {
			return e, fmt.Errorf("look for serial %s: %w", unit.Serial, err)
		}
	}
	if c.Opening.Location != "" {
		err := FindEach(ctx, store, Query{Location: c.Opening.Location}, func(s Summary) {
			if s.ID != c.ID && (s.Drop == 0 || c.Opening.Drop == 0 || s.Drop == c.Opening.Drop) {
				e.SameLocation = append(e.SameLocation, s)
			}
		})
		if err != nil {
			return e, fmt.Errorf("look for location %s: %w", c.Opening.Location, err)
		}
		e.atLocation(c)
	}
	return e, nil
}

// atLocation looks at the exchanges of units at the case's location.
func (e *Earlier) atLocation(c *Case) {
	within := func(a, b time.Time) bool { return a.Sub(b).Abs() <= RepeatDays*24*time.Hour }
	for i := range e.SameLocation {
		first := &e.SameLocation[i]
		if !first.exchanged() || first.UnitVerdict != UnitGood || first.Opened.After(c.Opened) || !within(c.Opened, first.Opened) {
			continue
		}
		if e.FoundGood == nil || first.Opened.After(e.FoundGood.Opened) {
			e.FoundGood = first
		}
		e.ForLocation = e.ForLocation || c.exchanged() || slices.ContainsFunc(e.SameLocation, func(second Summary) bool {
			return second.exchanged() && second.Opened.After(first.Opened) && within(second.Opened, first.Opened)
		})
	}
}

// exchanged says whether a case ended with another unit in the drop's place.
func (s *Summary) exchanged() bool { return s.Outcome == string(rulebase.UnitOut) }

// exchanged says so of a case that may still be open, by what is to be done.
func (c *Case) exchanged() bool {
	if s := c.Summary(); s.exchanged() {
		return true
	}
	return c.Disposition != nil && c.Disposition.What == "exchange"
}
