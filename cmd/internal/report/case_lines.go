package report

import (
	"fmt"
	"slices"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

// CaseSummaryLine is a case on one line, as a list of cases has it behind the code.
func CaseSummaryLine(b *rulebase.Base, s *cases.Summary, now time.Time) string {
	return sayCaseSummary(b, s, now)
}

// InPlaceLines are the things still in place, each as a line with its number.
func InPlaceLines(c *cases.Case) []string {
	var lines []string
	standing := c.Standing()
	for i, s := range c.PutIn {
		accepted := !slices.ContainsFunc(standing, func(x cases.Said[cases.PutIn]) bool { return x.Event.ID == s.Event.ID })
		lines = append(lines, fmt.Sprintf("%d. %s", i+1, sayPutIn(s.Body, accepted)))
	}
	return lines
}

// EarlierLines say what is remembered of the same unit and the same place.
func EarlierLines(b *rulebase.Base, e *cases.Earlier) []string {
	var lines []string
	for _, group := range []struct {
		says string
		list []cases.Summary
	}{{saySameUnit, e.SameUnit}, {sayOtherType, e.OtherType}, {sayLooksLike, e.LooksLike}, {saySameLocation, e.SameLocation}} {
		for i := range group.list[:min(3, len(group.list))] {
			if i == 0 {
				lines = append(lines, group.says)
			}
			lines = append(lines, "  "+sayEarlier(b, &group.list[i]))
		}
	}
	if e.ForLocation {
		lines = append(lines, sayForLocation)
	}
	return lines
}
