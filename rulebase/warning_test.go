package rulebase_test

import (
	"testing"

	"downdrop/rulebase"
)

// What somebody confirms is the fact of a warning where it names one, else what it says.
func TestWhatAWarningConfirms(t *testing.T) {
	for want, w := range map[string]rulebase.Warning{
		"nobody is inside the guard":  {Says: "The machine can start. Nobody may be inside.", Fact: "nobody is inside the guard"},
		"The outputs may act at once": {Says: "The outputs may act at once"},
	} {
		if got := w.Confirms(); got != want {
			t.Errorf("%+v confirms %q", w, got)
		}
	}
}
