package rulebase_test

import (
	"regexp"
	"slices"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A duty is what a shipped step owes the person who takes it. A rulebase of
// somebody's own names its warnings as it likes, so the loader cannot ask for these.
type duty struct {
	rule    string
	when    func(rulebase.Step) bool
	one     []string // at least one of these warnings; none: all is said by further
	further func(rulebase.Step) bool
}

var owed = []duty{
	{rule: "what may bring a drop back says that outputs may act",
		when: func(s rulebase.Step) bool { return s.BringsBack }, one: []string{"outputs_may_act"}},
	{rule: "what stops a drop says what its outputs may do, and brings it back",
		when: func(s rulebase.Step) bool { return s.Stops == rulebase.StopsDrop }, one: []string{"drop_stops"}, further: bringsBack},
	{rule: "what stops the bus says so, and brings it back",
		when: func(s rulebase.Step) bool { return s.Stops == rulebase.StopsBus }, one: []string{"bus_stops"}, further: bringsBack},
	{rule: "what runs, loads, resets, enables, restarts or sets a drop may bring it back",
		when: func(s rulebase.Step) bool {
			return s.Kind == rulebase.KindRemedy && slices.Contains(s.At, rulebase.Field) && restarts.MatchString(s.Do)
		},
		one: []string{"outputs_may_act"}, further: bringsBack},
	{rule: "lights, counts and settings are noted before what is stopped comes back",
		when: func(s rulebase.Step) bool { return s.Stops != rulebase.StopsNothing }, one: []string{"note_lights_first"}},
	{rule: "a live measurement warns, and is a technician's",
		when:    hazard(rulebase.HazardLive),
		one:     []string{"live_work", "bench_supply_limited"},
		further: func(s rulebase.Step) bool { return s.Who >= rulebase.Technician }},
	{rule: "no live work away from the bench where the area is classified",
		when: func(s rulebase.Step) bool {
			return hazard(rulebase.HazardLive)(s) && slices.Contains(s.At, rulebase.Field)
		},
		one:     []string{"no_live_in_classified_area"},
		further: onlyIf("not classified_area")},
	{rule: "a driven point is on the site's list, and not in a classified area",
		when: hazard(rulebase.HazardMotion), one: []string{"force_harmless_only"},
		further: func(s rulebase.Step) bool { return onlyIf("harmless_points")(s) && onlyIf("not classified_area")(s) }},
	{rule: "who drives a point is told that control isolates nothing",
		when: hazard(rulebase.HazardMotion), one: []string{"stop_isolates_nothing"},
		further: func(s rulebase.Step) bool {
			steps := strings.Join(s.Steps, " ")
			return mentions(steps, "one point", "watches the load", "stop in reach", "release", "read back")
		}},
	{rule: "an instrument at the drop minds the classified area",
		when: func(s rulebase.Step) bool { return slices.Contains(s.At, rulebase.Field) && needsAny(s, instruments) },
		one:  []string{"no_live_in_classified_area"}},
	{rule: "a scope's earth lead stays off the pair",
		when: func(s rulebase.Step) bool {
			return slices.Contains(s.At, rulebase.Field) && needsAny(s, []string{"scope"})
		}, one: []string{"no_clip_on_the_pair"}},
	{rule: "volts are measured before ohms on the line",
		when: func(s rulebase.Step) bool {
			return s.Stops == rulebase.StopsBus && s.Kind == rulebase.KindTest && needsAny(s, []string{"multimeter"}) && slices.Contains(s.At, rulebase.Field)
		},
		one: []string{"volts_before_ohms"}},
	{rule: "a unit, module or plug moves with its supplies off and proved",
		when: func(s rulebase.Step) bool {
			return s.Stops != rulebase.StopsNothing && (needsAny(s, hardware) || moves.MatchString(s.Do))
		},
		one: []string{"supplies_off"}},
	{rule: "whose hands are in a stopped drop isolates first",
		when: func(s rulebase.Step) bool {
			return s.Stops != rulebase.StopsNothing && (s.Who == rulebase.Electrician || needsAny(s, hardware) || moves.MatchString(s.Do)) && !restartsOnly[s.ID]
		},
		one: []string{"isolate_first"}},
	{rule: "an electrician, or who takes hardware out, minds what stays charged",
		when: func(s rulebase.Step) bool {
			return s.Stops == rulebase.StopsDrop && (needsAny(s, hardware) || s.Who == rulebase.Electrician && s.Kind == rulebase.KindRemedy) && !restartsOnly[s.ID]
		},
		one: []string{"stored_energy"}},
	{rule: "a fuse or breaker: the reason first",
		when: func(s rulebase.Step) bool { return needsAny(s, []string{"fuse"}) || fuses.MatchString(s.Do) },
		one:  []string{"tripped_reason_first"}},
	{rule: "what is in the controller is saved before anything is loaded over it",
		when: func(s rulebase.Step) bool {
			return s.Kind == rulebase.KindRemedy && needsAny(s, []string{"programming_terminal"})
		},
		one: []string{"save_before_download"}},
	{rule: "an exchanged unit takes over the settings of the old one",
		when: func(s rulebase.Step) bool { return exchanges.MatchString(s.Do) }, one: []string{"copy_settings_first"}},
	{rule: "boards and modules are handled with static protection",
		when: func(s rulebase.Step) bool {
			return needsAny(s, []string{"spare_unit", "spare_module", "spare_place"}) || slices.Equal(s.At, []rulebase.Place{rulebase.Bench}) && s.Kind == rulebase.KindTest
		},
		one: []string{"static_care"}},
	{rule: "a safety circuit, a master relay or an interlock is never judged here",
		when: func(s rulebase.Step) bool { return guards.MatchString(s.Do) }, one: []string{"not_a_safety_judge"}},
	{rule: "by phone nothing is measured, opened or driven",
		when: func(s rulebase.Step) bool { return slices.Contains(s.At, rulebase.Phone) },
		further: func(s rulebase.Step) bool {
			return s.Hazard == 0 && !needsAny(s, []string{"multimeter", "clamp_meter", "scope", "insulation_tester", "bench_supply"})
		}},
}

var (
	restarts  = regexp.MustCompile(`(?i)\b(restart|reset|enabled?|closed|load|download|re-make|exchange|replace|restored?|put it back|power it up)\b`)
	moves     = regexp.MustCompile(`(?i)\b(unplug\w*|reseat\w*|exchange|push the|take the (end )?terminators|take the modules|take the output|plugged)\b`)
	fuses     = regexp.MustCompile(`(?i)\b(fit (one|a fuse) of the same rating|fuses? of the drop's feed out|fuses out|breaker is reset|supply is open)\b`)
	exchanges = regexp.MustCompile(`(?i)\b(exchange the unit|spare unit|fit a unit|try the unit)\b`)
	guards    = regexp.MustCompile(`(?i)\b(interlock|safety circuit|master relay)\b`)

	hardware    = []string{"spare_unit", "spare_module", "spare_carrier", "spare_place", "spare_host_port"}
	instruments = []string{"multimeter", "clamp_meter", "milliamp_clamp", "scope", "insulation_tester", "thermometer", "handheld", "other_handheld", "capacitor_meter"}

	// Steps that only switch: nobody's hands are on a conductor.
	restartsOnly = map[string]bool{"restart_drop": true, "give_free_address": true, "set_drop_as_drawn": true, "have_drop_enabled": true}
)

func bringsBack(s rulebase.Step) bool { return s.BringsBack }

func hazard(h rulebase.Hazard) func(rulebase.Step) bool {
	return func(s rulebase.Step) bool { return s.Hazard&h != 0 }
}

func onlyIf(text string) func(rulebase.Step) bool {
	return func(s rulebase.Step) bool { return s.OnlyIf != nil && strings.Contains(s.OnlyIf.Text, text) }
}

func needsAny(s rulebase.Step, tools []string) bool {
	return slices.ContainsFunc(tools, func(tool string) bool { return slices.Contains(s.Needs, tool) })
}

func mentions(text string, parts ...string) bool {
	text = strings.ToLower(text)
	for _, p := range parts {
		if !strings.Contains(text, p) {
			return false
		}
	}
	return true
}

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
			warns := len(o.one) == 0 || slices.ContainsFunc(o.one, func(w string) bool { return slices.Contains(has, w) })
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

// What the shipped warnings must say: their words carry the duty, so that a
// shorter text cannot lose a part of it.
var warned = map[string]struct {
	level rulebase.Level
	says  []string
}{
	"outputs_may_act":            {rulebase.DangerLevel, []string{"may act at once", "in charge", "people must be clear", "does not say that it is safe"}},
	"force_harmless_only":        {rulebase.DangerLevel, []string{"site lists as harmless", "one at a time", "watching the load", "stop in reach", "release", "read back", "lost contact"}},
	"not_a_safety_judge":         {rulebase.DangerLevel, []string{"person in charge", "never bridge", "never force past", "does not judge"}},
	"no_live_in_classified_area": {rulebase.DangerLevel, []string{"no live work", "no unplugging", "not rated", "classified or unclear", "person responsible"}},
	"isolate_first":              {rulebase.WarningLevel, []string{"site's rules", "prove dead at each terminal", "stop mode", "forced off", "handheld isolates nothing", "field side"}},
	"stored_energy":              {rulebase.WarningLevel, []string{"capacitors", "springs", "pressure", "hanging loads"}},
	"stop_isolates_nothing":      {rulebase.WarningLevel, []string{"isolates nothing"}},
	"drop_stops":                 {rulebase.WarningLevel, []string{"loss of bus", "off, hold or preset", "process can stand it", "not known: do not start"}},
	"bus_stops":                  {rulebase.WarningLevel, []string{"every drop", "loss of bus", "off, hold or preset", "process can stand it", "not known: do not start"}},
	"live_work":                  {rulebase.WarningLevel, []string{"allowed to do it", "rated for the place", "proved before and after", "electrician"}},
	"tripped_reason_first":       {rulebase.WarningLevel, []string{"reason before", "same rating", "qualified person"}},
	"supplies_off":               {rulebase.CautionLevel, []string{"supply and field supplies off", "prove it", "unit, module or plug", "own instructions say otherwise", "classified or unclear"}},
	"volts_before_ohms":          {rulebase.CautionLevel, []string{"volts before ohms", "leg to earth", "dead line"}},
	"no_clip_on_the_pair":        {rulebase.CautionLevel, []string{"never clip", "conductor of the bus", "differential probe", "isolated"}},
	"save_before_download":       {rulebase.CautionLevel, []string{"save what is in the controller", "compare", "before anything is loaded"}},
	"note_lights_first":          {rulebase.NoticeLevel, []string{"lights", "counters", "messages", "settings", "restart wipes them out"}},
	"copy_settings_first":        {rulebase.NoticeLevel, []string{"address", "rate", "terminator", "loss-of-bus"}},
	"local_rules":                {rulebase.NoticeLevel, []string{"local codes", "lockout rules", "licensed people"}},
}

// TestShippedWarningsSayIt holds each shipped warning to its level and its parts.
func TestShippedWarningsSayIt(t *testing.T) {
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, w := range b.Warnings {
		must, ok := warned[w.ID]
		if !ok {
			continue
		}
		found++
		if w.Level != must.level {
			t.Errorf("%s is of level %v, should be %v", w.ID, w.Level, must.level)
		}
		for _, part := range must.says {
			if !mentions(w.Says, part) {
				t.Errorf("%s does not say %q: %s", w.ID, part, w.Says)
			}
		}
	}
	if found != len(warned) {
		t.Errorf("%d of the %d warnings are there", found, len(warned))
	}
}

// TestShippedStopsAskLossOfBus holds the given that line 4 of the permission table
// reads: without it nothing would ask what the outputs do, and every stop would be offered.
func TestShippedStopsAskLossOfBus(t *testing.T) {
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(b.Givens, func(g rulebase.Given) bool { return g.FilledBy == "loss_of_bus" })
	if i < 0 {
		t.Fatal("no given is filled by loss_of_bus")
	}
	if g := b.Givens[i]; g.Default != nil {
		t.Errorf("%s has a default; what the outputs do is never supposed", g.ID)
	}
}

// What takes a unit, a module or a device out rests on no single look: for each
// cause that ends so, two steps that have no symptom in common each yield one
// that makes the cause at least five times as likely.
func TestShippedRemovalsAreAskedASecondWay(t *testing.T) {
	b, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	told := engine.Prepare(b).Telling(rulebase.Situation{})
	for cause := range b.Causes {
		if !slices.ContainsFunc(b.Causes[cause].Remedies, func(h rulebase.Helps) bool {
			return slices.Contains([]rulebase.Outcome{rulebase.UnitOut, rulebase.ModuleOut, rulebase.PartReplaced}, b.Remedies[h.Remedy].EndsAs)
		}) {
			continue
		}
		speaks := func(symptom int) bool {
			return told.Weighs(symptom) && slices.ContainsFunc(b.Symptoms[symptom].Values, func(v string) bool {
				return told.Factor(symptom, slices.Index(b.Symptoms[symptom].Values, v), cause) >= 5
			})
		}
		var ways [][]int // the symptoms that speak for it, by step
		for i := range b.Tests {
			var yields []int
			for _, symptom := range b.Tests[i].Yields {
				if speaks(int(symptom)) {
					yields = append(yields, int(symptom))
				}
			}
			if len(yields) > 0 {
				ways = append(ways, yields)
			}
		}
		apart := slices.ContainsFunc(ways, func(one []int) bool {
			return slices.ContainsFunc(ways, func(other []int) bool {
				return !slices.ContainsFunc(one, func(symptom int) bool { return slices.Contains(other, symptom) })
			})
		})
		if !apart {
			t.Errorf("%s ends with something taken out, and only one look speaks for it", b.Causes[cause].ID)
		}
	}
}
