package conversation_test

import (
	"context"
	"fmt"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

// from is a walk that begins with a question asked at the drop, by what a diagnosis is bent to.
func from(t *testing.T, s rulebase.Situation, change func(bend)) *walk {
	t.Helper()
	talk := bent(t, func(d *engine.Diagnosis) {
		d.Causes = slices.Clone(d.Causes)
		b := bend{d, d.Base}
		b.clear()
		change(b)
	})
	state, reply := talk.Resume(context.Background(), s, nil, conversation.Memory{Settled: []string{"alone", "drops"}})
	return &walk{t: t, talk: talk, state: state, reply: reply}
}

// says holds the lines of a part of the last reply.
func (w *walk) says(kind conversation.PartKind, want ...string) {
	w.t.Helper()
	var lines []string
	for _, p := range w.reply.Parts {
		if p.Kind == kind {
			lines = append(lines, p.Lines...)
		}
	}
	if got := strings.Join(lines, "\n"); got != strings.Join(want, "\n") {
		w.t.Errorf("says\n%s\nwanted\n%s", got, strings.Join(want, "\n"))
	}
}

// What else there is: five causes behind the three that are always named, what nobody said yet,
// and six other steps, which a number takes up.
func TestWhatElse(t *testing.T) {
	unsaid := []string{"Not said yet, and may count:", "  Did it begin after a lightning storm? (after_storm)", "  Did it begin after work on this panel? (after_work)",
		"  Terminator value fitted on this line (terminator)", "  Which line is it? (line)"}
	steps := strings.Fields("reseat_plug replace_plug fit_terminator exchange_supply replace_fuse exchange_unit measure_volts measure_pair swap_unit")
	const nine = `Less likely: the bus plug is loose (about 4 in 10), the line driver of the unit is dead (about 3 in 10), the unit's own supply is dead (about 2 in 10), supply fuse is open (about 1 in 10), the supply sags under load (about 1 in 20).`
	some := func(causes, offered int) func(bend) {
		return func(b bend) {
			b.d.Outside, b.d.None = 0.1, 0.2
			b.d.Causes = nil
			for i, p := range []float64{0.9, 0.7, 0.5, 0.4, 0.3, 0.2, 0.1, 0.05, 0.02}[:causes] {
				b.d.Causes = append(b.d.Causes, engine.CauseBelief{Cause: i % 6, Probability: p, Now: p, Remedy: -1})
			}
			for _, id := range steps[:offered] {
				b.next(id, 0.5)
			}
		}
	}
	const aside = "Something not listed here: about 1 in 10. Nothing wrong with the drop: about 2 in 10."
	for _, c := range []struct {
		causes, offered int
		less            string
		asks            string
	}{
		{9, 9, nine, "else | do replace_plug; do fit_terminator; do exchange_supply; do replace_fuse; do exchange_unit; do measure_volts; none of these"},
		{8, 8, nine, "else | do replace_plug; do fit_terminator; do exchange_supply; do replace_fuse; do exchange_unit; do measure_volts; none of these"},
		{4, 2, "Less likely: the bus plug is loose (about 4 in 10).", "else | do replace_plug; none of these"},
		{3, 1, "", "step reseat_plug | done, works now; done, still down; skip; what else"},
		{2, 0, "", "more | what would you need; stop and save as a case file"},
	} {
		w := from(t, atTheDrop(), some(c.causes, c.offered))
		before := w.state
		w.enter("what else")
		if got := asks(w.reply.Question); got != c.asks {
			t.Errorf("of %d steps asks  %s\nwanted %s", c.offered, got, c.asks)
		}
		w.says(conversation.PartExplanation, slices.Concat(slices.DeleteFunc([]string{c.less, aside}, func(s string) bool { return s == "" }), unsaid)...)
		if c.offered > 1 {
			w.enter("none of these")
			if w.state.Pending.Kind != before.Pending.Kind || w.state.Pending.ID != before.Pending.ID {
				t.Errorf("back to %s %s", w.state.Pending.Kind, w.state.Pending.ID)
			}
			w.enter("what else", "1")
			w.asked(conversation.AskStep, "replace_plug")
		}
	}
	s := atTheDrop()
	for _, id := range strings.Fields("after_storm after_work line") {
		s.Givens = append(s.Givens, rulebase.GivenValue{ID: id, Value: rulebase.Value{Word: map[bool]string{true: "token_pair", false: "false"}[id == "line"]}})
	}
	w := from(t, s, some(0, 1))
	w.enter("what else")
	w.says(conversation.PartExplanation, aside, unsaid[0], unsaid[3])
	s.Givens = append(s.Givens, rulebase.GivenValue{ID: "terminator", Value: rulebase.Value{IsNumber: true, Number: 120}})
	w = from(t, s, some(0, 1))
	w.enter("what else")
	w.says(conversation.PartExplanation, aside)
	w = from(t, s, func(b bend) { some(9, 1)(b); b.d.Possible = false })
	w.enter("what else")
	w.says(conversation.PartExplanation, aside)
}

// What is withheld is listed under what it waits for: four steps each, and seven things, or six
// and how many more.
func TestWhatWouldBeNeeded(t *testing.T) {
	need := func(tools, steps int) []string {
		w := from(t, atTheDrop(), func(b bend) {
			for i := range tools {
				for j := range steps {
					b.withhold("measure_pair", engine.WhyTools, fmt.Sprintf("tool_%d", i+1), 1-float64(i)/100)
					b.d.NotOffered[len(b.d.NotOffered)-1].Step = &rulebase.Step{ID: "x", Do: fmt.Sprintf("Do %d", j+1)}
				}
			}
		})
		w.enter("what would you need")
		return w.reply.Parts[0].Lines
	}
	known := from(t, atTheDrop(), func(b bend) {
		for _, why := range []engine.Why{engine.WhyKnown, engine.WhyDone, engine.WhyWell, engine.WhyImpossible} {
			b.withhold("measure_pair", why, "", 0.5)
		}
		b.withhold("swap_unit", engine.WhyAlone, "", 0.4)
	})
	known.enter("what would you need")
	known.says(conversation.PartExplanation, `Not for somebody working alone (if that changes, enter "not alone"):`, "  Put a spare unit in, settings copied")
	for _, c := range []struct {
		tools, steps int
		want         string
	}{
		{0, 0, "Nothing: no step that could still tell anything is withheld."},
		{1, 1, `Tool 1 is not at hand (if that changes, enter "I have tool 1"):|  Do 1`},
		{1, 4, `Tool 1 is not at hand (if that changes, enter "I have tool 1"):|  Do 1|  Do 2|  Do 3|  Do 4`},
		{1, 5, `Tool 1 is not at hand (if that changes, enter "I have tool 1"):|  Do 1|  Do 2|  Do 3|  Do 4|  and 1 more that tell less`},
		{1, 7, `Tool 1 is not at hand (if that changes, enter "I have tool 1"):|  Do 1|  Do 2|  Do 3|  Do 4|  and 3 more that tell less`},
	} {
		if got := strings.Join(need(c.tools, c.steps), "|"); got != c.want {
			t.Errorf("%d tools, %d steps each: says %q", c.tools, c.steps, got)
		}
	}
	for tools, want := range map[int]string{6: "  Do 1", 7: "  Do 1", 8: `2 more things would help, each less than these; "details" shows all.`, 10: `4 more things would help, each less than these; "details" shows all.`} {
		lines := need(tools, 1)
		if last, n := lines[len(lines)-1], min(2*tools, map[bool]int{true: 13, false: 14}[tools > 7]); last != want || len(lines) != n {
			t.Errorf("%d things are needed: %d lines, the last %q", tools, len(lines), last)
		}
	}
}

// Why a question or step is put, and what moved the first cause against the second: the
// strongest first, six at most.
func TestWhy(t *testing.T) {
	weights := []engine.Weight{{Finding: "a", Value: "yes", Factor: 2}, {Finding: "b", Value: "yes", Factor: 0.1}, {Finding: "c", Value: "yes", Factor: 1.01}, {Finding: "d", Value: "yes", Factor: 3}, {Finding: "e", Value: "yes", Factor: 1 / 4.0},
		{Finding: "f", Value: "yes", Factor: 5}, {Finding: "g", Value: "yes", Factor: 1.5}, {Finding: "h", Value: "yes", Factor: 0.5}}
	moved := []string{"Likeliest: supply fuse is open, about 7 in 10.", "What moved it against the next, the supply sags under load:",
		"  b yes: 10 times against it", "  f yes: 5 times for it", "  e yes: 4 times against it", "  d yes: 3 times for it", "  a yes: 2 times for it", "  h yes: 2 times against it"}
	causes := func(b bend, n int, w []engine.Weight) {
		b.d.Causes = []engine.CauseBelief{{Cause: 0, Probability: 0.7, Now: 0.7, Remedy: -1}, {Cause: 1, Probability: 0.2, Now: 0.2, Remedy: -1}}[:n]
		b.d.Weights = w
		b.d.Facts = nil
	}
	w := from(t, atTheDrop(), func(b bend) { b.next("power_light", 0.5); causes(b, 2, weights) })
	w.enter("why")
	w.says(conversation.PartExplanation, append([]string{"Worth it: it should narrow down what there may be to do.", "It is expected to settle 0.50 bit of what to do; one bit is a choice between two equals."}, moved...)...)
	w = from(t, atTheDrop(), func(b bend) { b.next("reseat_plug", 0); causes(b, 2, weights[2:3]); b.likely("reseat_plug", 0, 0.7) })
	w.enter("why")
	w.says(conversation.PartExplanation, "Worth it: about 7 in 10 that this takes a cause away.", moved[0], "Nothing said so far tells it from the next; it is at least as common.")
	w = from(t, atTheDrop(), func(b bend) { b.next("look_at_controller", 0.5); causes(b, 1, weights) })
	w.enter("why")
	w.says(conversation.PartExplanation, "Worth it: it should narrow down what there may be to do.", "It is expected to settle 0.50 bit of what to do; one bit is a choice between two equals.", moved[0])
	w.enter("done", "why") // its results are asked for
	w.says(conversation.PartExplanation, "It is a result of the test in hand: Look at the controller.", moved[0])
	w = from(t, atTheDrop(), func(b bend) { b.next("power_light", 0.5); causes(b, 0, weights) })
	w.enter("ask hum", "why")
	w.says(conversation.PartExplanation, "An entry named it, without saying how it is.")
	w.enter("power_light", "why")
	w.says(conversation.PartExplanation, "Worth it: it should narrow down what there may be to do.", "It is expected to settle 0.50 bit of what to do; one bit is a choice between two equals.")
	w = from(t, rulebase.Situation{}, func(b bend) { causes(b, 2, nil); b.d.Possible = false })
	w.enter("why")
	w.says(conversation.PartExplanation, "It says what is wrong with the drop; every case begins with it.")
	w = from(t, atTheDrop(), func(b bend) {
		b.next("power_light", 0.5)
		causes(b, 0, nil)
		b.d.Facts = []engine.Fact{{ID: "told_to_be_off", Because: []string{"stop_is_no_fault"}, Why: []string{"told_to_be_off: said by a rule"}}, {ID: "line", Because: []string{"stop_is_no_fault"}, Why: []string{"a given"}},
			{ID: "hum", Because: []string{"said"}, Why: []string{"said"}}, {ID: "run_light", Because: []string{"said", "stop_is_no_fault"}}}
	})
	w.enter("why")
	w.says(conversation.PartExplanation, "Worth it: it should narrow down what there may be to do.", "It is expected to settle 0.50 bit of what to do; one bit is a choice between two equals.", "told to be off: said by a rule")
}

// What speaks against a cause is what it would be likelier without: findings of this drop, givens
// and work that did not help, the strongest six.
func TestWhyNotACause(t *testing.T) {
	s := atTheDrop()
	for _, id := range strings.Fields("power_light run_light hum controller_mode drop_volts terminal_volts error_rate pair_ohms") {
		s.Findings = append(s.Findings, rulebase.Finding{Symptom: id, Value: rulebase.Value{Word: map[string]string{"power_light": "lit", "run_light": "lit", "hum": "no", "controller_mode": "run", "drop_volts": "good", "terminal_volts": "idle", "error_rate": "fast", "pair_ohms": "short"}[id]}})
	}
	s.Findings = append(s.Findings, rulebase.Finding{Symptom: "hum", Value: rulebase.Value{Word: "yes"}, Drop: 4})
	s.Done = []rulebase.Done{{ID: "reseat_plug", Drop: rulebase.StillDown}, {ID: "replace_plug"}}
	worth := func(against map[string]float64) func(bend) {
		return func(b bend) {
			p := 0.1
			for id, q := range against {
				there := slices.ContainsFunc(b.d.Situation.Findings, func(f rulebase.Finding) bool { return f.Symptom == id && f.Drop == 0 }) ||
					slices.ContainsFunc(b.d.Situation.Givens, func(g rulebase.GivenValue) bool { return g.ID == id }) ||
					slices.ContainsFunc(b.d.Situation.Done, func(d rulebase.Done) bool { return d.ID == id && d.Drop == rulebase.StillDown })
				if !there {
					p = q
				}
			}
			b.d.Causes = []engine.CauseBelief{{Cause: 1, Probability: 0.8, Remedy: -1}, {Cause: 0, Probability: p, Remedy: -1}}
		}
	}
	for _, c := range []struct {
		against map[string]float64
		want    []string
	}{
		{map[string]float64{"power_light": 0.105, "run_light": 0.05}, []string{"Nothing said so far, taken by itself, speaks against it: it is rarer than the others, or several findings together do."}},
		{map[string]float64{"power_light": 0.2, "outputs_hold": 0.4, "reseat_plug": 0.3}, []string{
			"  speaks against it: outputs hold: off (without that it would be about 4 in 10)",
			`  speaks against it: after "reseat plug" the drop is still down (without that it would be about 3 in 10)`,
			"  speaks against it: power light: lit (without that it would be about 2 in 10)"}},
		{map[string]float64{"power_light": 0.2, "run_light": 0.3, "hum": 0.4, "controller_mode": 0.5, "drop_volts": 0.6, "terminal_volts": 0.7, "error_rate": 0.8}, []string{
			"  speaks against it: error rate: fast (without that it would be about 8 in 10)",
			"  speaks against it: terminal volts: idle (without that it would be about 7 in 10)",
			"  speaks against it: drop volts: good (without that it would be about 6 in 10)",
			"  speaks against it: controller mode: run (without that it would be about 5 in 10)",
			"  speaks against it: hum: no (without that it would be about 4 in 10)",
			"  speaks against it: run light: lit (without that it would be about 3 in 10)"}},
	} {
		w := from(t, s, worth(c.against))
		w.enter("why not supply_fuse_open")
		w.says(conversation.PartExplanation, append([]string{"Supply fuse is open: about 1 in 10."}, c.want...)...)
	}
	w := from(t, s, func(b bend) { b.d.Possible = false; b.d.Causes = nil })
	w.enter("why not supply fuse open")
	w.says(conversation.PartExplanation, "Supply fuse is open: ruled out.", `Nothing in this rulebase allows all that was said; "details" names what cannot go together.`)
}

// Why a step is not put first: what it waits for, its place among those on offer, or that it is
// none; and where no one name is meant, those near it.
func TestWhyNotAStep(t *testing.T) {
	w := from(t, atTheDrop(), func(b bend) {
		b.next("power_light", 0.5)
		b.next("reseat_plug", 0)
		b.next("measure_pair", 0.9)
		b.likely("reseat_plug", 0, 0.3)
		b.withhold("measure_volts", engine.WhyTools, "multimeter", 0.2)
		b.withhold("swap_unit", engine.WhyKnown, "", 0)
	})
	for entry, want := range map[string][]string{
		"measure_volts":        {"Not offered: Measure the volts at the drop's supply terminals, under load: multimeter is not at hand.", `    if it changes, enter "I have multimeter"`},
		"swap unit":            {"Not offered: Put a spare unit in, settings copied: all that it shows is known for sure."},
		"reseat_plug":          {"It is on offer, as number 2: Reseat the bus plug. Those before it lead sooner to a working drop.", "Worth it: about 3 in 10 that this takes a cause away."},
		"measure pair":         {"It is on offer, as number 3: Measure the resistance across the signal pair, line dead. Those before it lead sooner to a working drop.", "Worth it: it should about halve what there may be to do."},
		"exchange_unit":        {"It is not on offer: Exchange the unit."},
		"measure":              {`"measure" is no one cause or step here. Near it: measure_volts, measure_pair.`},
		"plug loose":           {"The bus plug is loose: about 3 in 10.", "  speaks against it: drop works: dead (without that it would be about 4 in 10)"},
		"unit supply bus fuse": {`"unit supply bus fuse" is no one cause or step here. Near it: supply_fuse_open, supply_low, plug_loose, driver_dead, unit_supply_dead, measure_volts.`},
	} {
		w.enter("why not " + entry)
		w.says(conversation.PartExplanation, want...)
	}
}
