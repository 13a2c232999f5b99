package rehearse

import (
	"slices"
	"testing"

	"downdrop/rulebase"
)

// The orders of the rivals name tests that there are, each once, and all but a few of
// those that can be made at a drop: what the rulebase was given later comes last.
func TestOrdersAreOfTheShippedRulebase(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	for _, o := range []Order{Checklist(), GoodTechnician()} {
		named := map[string]bool{}
		for _, stage := range o.Stages {
			for _, id := range stage.Tests {
				if !slices.ContainsFunc(base.Tests, func(step rulebase.Step) bool { return step.ID == id }) {
					t.Errorf("%s, %s: there is no test %s", o.Name, stage.Name, id)
				}
				if named[id] {
					t.Errorf("%s, %s: %s for the second time", o.Name, stage.Name, id)
				}
				named[id] = true
			}
		}
		if missing := o.unnamed(base); len(missing)*20 > len(named) {
			t.Errorf("%s names %d tests, but not %v", o.Name, len(named), missing)
		} else {
			t.Logf("%s names %d tests, not %v", o.Name, len(named), missing)
		}
	}
}

// unnamed are the tests that can be made at a drop and that an order does not name.
func (o *Order) unnamed(base *rulebase.Base) []string {
	var all []string
	for i := range base.Tests {
		step := &base.Tests[i]
		if len(step.At) > 0 && !slices.Contains(step.At, rulebase.Field) {
			continue
		}
		if !slices.ContainsFunc(o.Stages, func(s Stage) bool { return slices.Contains(s.Tests, step.ID) }) {
			all = append(all, step.ID)
		}
	}
	return all
}
