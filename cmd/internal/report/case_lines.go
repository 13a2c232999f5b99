package report

import (
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// CaseSummaryLine is a case on one line, as a list of cases has it behind the code.
func CaseSummaryLine(b *rulebase.Base, s *cases.Summary, now time.Time) string {
	return sayCaseSummary(b, s, now)
}

// InPlaceLines say what was put in, loosened or forced and still is, numbered as the commands number it.
func InPlaceLines(c *cases.Case) []string { return wording.InPlaceLines(c) }

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
