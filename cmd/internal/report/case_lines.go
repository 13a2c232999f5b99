package report

import (
	"fmt"
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
	lines := standingLines(c)
	for i := range lines {
		lines[i] = fmt.Sprintf("%d. %s", i+1, lines[i])
	}
	return lines
}

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
