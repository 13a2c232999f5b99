package report_test

import (
	"io"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/alike"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// matched is a closed case made by hand.
func matched(id, location string, likeness float64, both []int, closing cases.Closing) report.Matched {
	c := &cases.Case{ID: id, Code: "7GK3Q" + id[len(id)-1:], State: cases.StateClosed, Closing: &closing}
	c.Opening.Location, c.Opening.Drop, c.Opening.Complaint = location, 4, "dark since the night"
	return report.Matched{Match: alike.Match{ID: id, Likeness: likeness, Causes: both}, Case: c}
}

func TestAlikeGoldens(t *testing.T) {
	base, err := rulebase.LoadFolder("../../downdrop/testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	this := &cases.Case{ID: "mill-9", Code: "7GK3QZ", State: cases.StateOpen}
	this.Opening.Location = "Tide Mill"
	some := []report.Matched{
		matched("mill-1", "Tide Mill, sluice", 0.83, []int{0, 1}, cases.Closing{Causes: []string{"fuse_blown"}, Outcome: "part_replaced", UnitVerdict: "good"}),
		matched("mill-2", "Weir House", 0.4, []int{1}, cases.Closing{Causes: []string{"fuse_blown", "driver_dead"}, Outcome: "unit_out"}),
		matched("mill-3", "Weir House", 0.12, nil, cases.Closing{Outcome: "nothing_found"}),
		matched("mill-4", "Weir House", 0.001, nil, cases.Closing{Causes: []string{"of_another_rulebase"}}),
	}
	now := time.Date(2031, 5, 1, 9, 0, 0, 0, time.UTC)
	for name, a := range map[string]*report.Alike{
		"alike":         {Base: base, Case: this, Says: true, Of: 57, Matches: some},
		"alike_none":    {Base: base, Case: this, Says: true, Of: 1, Matches: some[3:]},
		"alike_nothing": {Base: base, Case: this},
	} {
		holds(t, name, func(w io.Writer) error { return a.Text(w, 80, now) }, a.JSON)
	}
}
