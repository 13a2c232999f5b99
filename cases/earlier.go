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
	// ForLocation: within RepeatDays two units were exchanged here and the first was found good
	// (this case counts as the second). The fault then stays with the place.
	ForLocation bool
}

// None says that nothing is remembered.
func (e *Earlier) None() bool {
	return len(e.SameUnit)+len(e.OtherType)+len(e.LooksLike)+len(e.SameLocation) == 0
}

// RepeatDays is within how many days a second exchange at one location, after a first whose unit was
// found good, speaks against the location. A choice of ours, as warranty terms go.
const RepeatDays = 90

// LookBack asks a store what it remembers of a case's unit and location, the case
// itself left out. A serial is taken for the same only as written and with its type.
func LookBack(ctx context.Context, store Store, c *Case) (Earlier, error) {
	var e Earlier
	unit := c.Opening.Unit
	if unit.Serial != "" {
		like, err := store.Find(ctx, Query{LooksLike: unit.Serial})
		if err != nil {
			return e, fmt.Errorf("look for serial %s: %w", unit.Serial, err)
		}
		for _, s := range like {
			switch {
			case s.ID == c.ID:
			case Folded(s.Serial) != Folded(unit.Serial):
				e.LooksLike = append(e.LooksLike, s)
			case Folded(s.Type) != Folded(unit.Type) || unit.Type == "":
				e.OtherType = append(e.OtherType, s)
			default:
				e.SameUnit = append(e.SameUnit, s)
			}
		}
	}
	if c.Opening.Location != "" {
		here, err := store.Find(ctx, Query{Location: c.Opening.Location})
		if err != nil {
			return e, fmt.Errorf("look for location %s: %w", c.Opening.Location, err)
		}
		e.SameLocation = slices.DeleteFunc(here, func(s Summary) bool {
			return s.ID == c.ID || s.Drop != 0 && c.Opening.Drop != 0 && s.Drop != c.Opening.Drop
		})
		e.ForLocation = slices.ContainsFunc(e.SameLocation, func(s Summary) bool {
			return s.Outcome == string(rulebase.UnitOut) && s.UnitVerdict == UnitGood && c.Opened.Sub(s.Opened).Abs() <= RepeatDays*24*time.Hour
		})
	}
	return e, nil
}

// An OpenPoint keeps a case from being closed.
type OpenPoint struct {
	Event   string // of a thing still in place
	Symptom string // of an abnormal finding that the proven causes do not explain
	PutIn   PutIn
}

// OpenPoints are what stands against closing: things still in place that nobody
// accepted, and of the unexplained symptoms those that nobody accepted.
func (c *Case) OpenPoints(unexplained []string) []OpenPoint {
	var out []OpenPoint
	for _, p := range c.Standing() {
		out = append(out, OpenPoint{Event: p.Event.ID, PutIn: p.Body})
	}
	for _, symptom := range unexplained {
		if !slices.ContainsFunc(c.Accepted, func(a Said[Accepted]) bool { return a.Body.Symptom == symptom }) {
			out = append(out, OpenPoint{Symptom: symptom})
		}
	}
	return out
}
