package rulebase_test

import (
	"slices"
	"strings"
	"testing"

	"downdrop/rulebase"
)

// What every step of the shipped rulebase owes the person who takes it. A rulebase of
// somebody's own names its warnings as it likes, so the loader cannot ask for these.
var owed = []struct {
	rule    string
	when    func(rulebase.Step) bool
	one     []string // at least one of these warnings
	further func(rulebase.Step) bool
}{
	{rule: "what may bring a drop back says that outputs may act",
		when: func(s rulebase.Step) bool { return s.BringsBack }, one: []string{"outputs_may_act"}},
	{rule: "what stops a drop says what its outputs may do, and brings it back",
		when: func(s rulebase.Step) bool { return s.Stops == rulebase.StopsDrop }, one: []string{"drop_stops"}, further: bringsBack},
	{rule: "what stops the bus says so, and brings it back",
		when: func(s rulebase.Step) bool { return s.Stops == rulebase.StopsBus }, one: []string{"bus_stops"}, further: bringsBack},
	{rule: "lights are noted before what is stopped comes back",
		when: func(s rulebase.Step) bool { return s.Stops != rulebase.StopsNothing }, one: []string{"note_lights_first"}},
	{rule: "a live measurement warns, and is a technician's",
		when:    func(s rulebase.Step) bool { return s.Hazard&rulebase.HazardLive != 0 },
		one:     []string{"live_work", "bench_supply_limited"},
		further: func(s rulebase.Step) bool { return s.Who >= rulebase.Technician }},
	{rule: "a driven point is on the site's list, and not in a classified area",
		when: func(s rulebase.Step) bool { return s.Hazard&rulebase.HazardMotion != 0 },
		one:  []string{"force_harmless_only"},
		further: func(s rulebase.Step) bool {
			return s.OnlyIf != nil && strings.Contains(s.OnlyIf.Text, "harmless_points") && strings.Contains(s.OnlyIf.Text, "not classified_area")
		}},
	{rule: "a meter at the drop minds the classified area",
		when: func(s rulebase.Step) bool {
			return s.Kind == rulebase.KindTest && slices.Contains(s.Needs, "multimeter") && slices.Contains(s.At, rulebase.Field)
		}, one: []string{"no_live_in_classified_area"}},
}

func bringsBack(s rulebase.Step) bool { return s.BringsBack }

// TestShippedStepsWarn holds every shipped test and remedy to what it owes.
func TestShippedStepsWarn(t *testing.T) {
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	met := make([]int, len(owed))
	for _, s := range append(slices.Clone(b.Tests), b.Remedies...) {
		var has []string
		for _, w := range s.Warnings {
			has = append(has, b.Warnings[w].ID)
		}
		for i, o := range owed {
			if !o.when(s) {
				continue
			}
			met[i]++
			warns := slices.ContainsFunc(o.one, func(w string) bool { return slices.Contains(has, w) })
			if !warns || o.further != nil && !o.further(s) {
				t.Errorf("%s: %s; it has %v", s.ID, o.rule, has)
			}
		}
	}
	for i, n := range met {
		if n == 0 {
			t.Errorf("no step was ever asked: %s", owed[i].rule)
		}
	}
}
