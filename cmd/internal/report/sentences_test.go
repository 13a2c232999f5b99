package report

import (
	"math"
	"testing"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/engine"
	"downdrop/engine/rehearse"
	"downdrop/engine/review"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// words is a rulebase of a few entries that sentences name. Invented.
func words() *rulebase.Base {
	return &rulebase.Base{
		Name: "small", Version: 7, Digest: "d16e57d16e57",
		Causes: []rulebase.Cause{
			{ID: "fuse_blown", Name: "A fuse in the drop's feed is blown"},
			{ID: "driver_dead", Name: "The unit's line driver is damaged"},
		},
		Symptoms: []rulebase.Symptom{
			{ID: "power_light", Ask: "Is the power light lit?", Values: []string{"lit", "dark"}, By: rulebase.ByLooking},
			{ID: "volts_at_drop", Ask: "Volts at the drop", Unit: "V", Values: []string{"none", "low", "good"}, Limits: make([]*rulebase.Expression, 2)},
			{ID: "count", Ask: "How many?", Values: []string{"few", "many"}, Limits: make([]*rulebase.Expression, 1)},
		},
		Rules: []rulebase.Rule{{ID: "stopped", Because: "A stopped controller holds its outputs off."}, {ID: "bare"}},
		Warnings: []rulebase.Warning{
			{ID: "live_work", Level: rulebase.WarningLevel, Says: "Live measurement."},
			{ID: "bus_stops", Level: rulebase.NoticeLevel, Says: "Every drop stops."},
		},
		Tests: []rulebase.Step{
			{ID: "measure_supply", Kind: rulebase.KindTest, Do: "Measure the supply", Minutes: 4, Warnings: []int{0}, Yields: []int{1}},
			{ID: "power_light", Kind: rulebase.KindTest, Implied: true, Minutes: 1, Yields: []int{0}},
			{ID: "count", Kind: rulebase.KindTest, Implied: true, Minutes: 1, Yields: []int{2}},
		},
		Remedies: []rulebase.Step{
			{ID: "replace_fuse", Kind: rulebase.KindRemedy, Do: "Replace the fuse", Minutes: 10},
			{ID: "exchange_unit", Kind: rulebase.KindRemedy, Do: "Exchange the unit", Minutes: 30, Warnings: []int{1, 0}},
		},
	}
}

func TestWhatIsLikelyIsSaid(t *testing.T) {
	b := words()
	sure, half := 1.0, 0.5
	support.Says(t, [][2]string{
		{sayUnit(0.95, false), "Is it the unit? Yes: about 19 in 20 that it has to be repaired or exchanged."},
		{sayUnit(0.02, true), "Was it the unit? Hardly: about 1 in 50 that it had to be repaired or exchanged."},
		{sayMoreCauses(1, 0.3), "One more cause is on the list, about 3 in 10."},
		{sayMoreCauses(2, 0.3), "2 more causes are on the list, the likeliest of them about 3 in 10."},
		{sayLeftOut(0.05), "There were too many sets of causes to look at all of them: of the chance, up to 1 in 20 lies with those left out."},
		{sayMember(b, "power_light"), "what was found for power light: \"Is the power light lit?\""},
		{sayMember(b, "stopped"), "the rule stopped: \"A stopped controller holds its outputs off.\""},
		{sayMember(b, "bare"), "bare"},
		{sayMember(b, "unheard_of"), "unheard_of"},
		{sayFinding(b, &rulebase.Finding{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Sure: &sure}), "power light dark"},
		{sayFinding(b, &rulebase.Finding{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Sure: &half, After: "replace_fuse", By: "caller"}), "power light dark (50 % sure), after replace fuse, says the caller"},
		{sayFinding(b, &rulebase.Finding{Symptom: "volts_at_drop", Value: rulebase.Value{IsNumber: true, Number: 18.5, Word: "low"}, Read: "18.5 V"}), "volts at drop 18.5 V"},
		{sayFinding(b, &rulebase.Finding{Symptom: "volts_at_drop", Value: rulebase.Value{IsNumber: true, Number: 18.5, Word: "low"}}), "volts at drop low"},
		{sayFinding(b, &rulebase.Finding{Symptom: "volts_at_drop", Value: rulebase.Value{IsNumber: true, Number: 18.5}}), "volts at drop 18.5"},
		{sayDone(&rulebase.Done{ID: "replace_fuse"}), "replace fuse was done"},
		{sayDone(&rulebase.Done{ID: "replace_fuse", Drop: rulebase.StillDown}), "replace fuse was done and the drop stayed down"},
		{sayDone(&rulebase.Done{ID: "replace_fuse", Drop: rulebase.Well}), "replace fuse was done and the drop works"},
		{sayWeight(&engine.Weight{Finding: "power_light", Value: "dark", Factor: 20}), "power light dark: speaks strongly for it."},
		{sayWeight(&engine.Weight{Finding: "power_light", Value: "dark", Rule: "stopped", Factor: 20}), "power light dark, by the rule stopped: speaks strongly for it."},
		{sayWeight(&engine.Weight{Rule: "stopped", Factor: 0}), "what the rule stopped concludes: this alone would rule the first out."},
		{sayBecause([]string{"said", "default", "filled", "stopped"}), "said, taken as usual, nobody said so, known from the case itself and by the rule stopped"},
	})
}

// Bands begin at their least value: what lies on the line is in the band above it.
func TestBandsOfWeightAndGain(t *testing.T) {
	under := func(x float64) float64 { return math.Nextafter(x, 0) }
	support.Says(t, [][2]string{
		{weightWords(math.NaN()), "it cannot be said how far this moves the one against the other"},
		{weightWords(math.Inf(1)), "this alone rules the second out"},
		{weightWords(10), "speaks strongly for it"},
		{weightWords(under(10)), "speaks for it"},
		{weightWords(3), "speaks for it"},
		{weightWords(under(3)), "speaks a little for it"},
		{weightWords(1.1), "speaks a little for it"},
		{weightWords(under(1.1)), "speaks neither way"},
		{weightWords(1), "speaks neither way"},
		{weightWords(1 / 1.1), "speaks a little against it"},
		{weightWords(1.0 / 3), "speaks against it"},
		{weightWords(0.1), "speaks strongly against it"},
		{weightWords(0.05), "speaks strongly against it"},
		{weightWords(0), "this alone would rule the first out"},
		{sayGain(1.5), "It should leave a third of the list or less."},
		{sayGain(under(1.5)), "It should about halve the list."},
		{sayGain(0.75), "It should about halve the list."},
		{sayGain(under(0.75)), "It should narrow the list down."},
		{sayGain(0.35), "It should narrow the list down."},
		{sayGain(under(0.35)), "It should help a little."},
		{sayGain(0.1), "It should help a little."},
		{sayGain(under(0.1)), "It will hardly change anything."},
		{gainWords(1.5), "leaves a third or less"},
		{gainWords(under(1.5)), "about halves the list"},
		{gainWords(0.75), "about halves the list"},
		{gainWords(under(0.75)), "narrows the list down"},
		{gainWords(0.35), "narrows the list down"},
		{gainWords(under(0.35)), "helps a little"},
		{gainWords(0.1), "helps a little"},
		{gainWords(under(0.1)), "hardly changes anything"},
		{sayOfHundred(0.995), "all"},
		{sayOfHundred(under(0.995)), "99 in 100"},
		{sayOfHundred(0.0095), "1 in 100"},
		{sayOfHundred(under(0.0095)), "9 in 1,000"},
		{sayOfHundred(0.0002), "1 in 1,000"},
	})
}

func TestTheNextStepIsSaid(t *testing.T) {
	b := words()
	looking, asking, doing := &b.Tests[1], &b.Tests[2], &b.Tests[0]
	withPerson := rulebase.Step{Minutes: 5, Who: rulebase.Technician, Needs: []string{"multimeter"}, Stops: rulebase.StopsDrop, BringsBack: true}
	support.Says(t, [][2]string{
		{sayNextHead(b, looking, false), "Look at this next:"},
		{sayNextHead(b, asking, true), "Ask this next. First what can hurt:"},
		{sayNextHead(b, doing, true), "Do this next. First what can hurt:"},
		{sayNextHead(b, &rulebase.Step{Implied: true}, false), "Do this next:"},
		{sayWarning(&rulebase.Warning{Says: "Every drop stops."}), "Every drop stops."},
		{sayWarning(&rulebase.Warning{Says: "Every drop stops.", Because: "They share a pair."}), "Every drop stops. Why: They share a pair."},
		{sayPrice(&rulebase.Step{Minutes: 1, Who: rulebase.Operator}), "About 1 minute."},
		{sayPrice(&withPerson), "About 5 minutes. Needed: at least a technician, multimeter. It stops this drop while it lasts. It may bring a silent drop back on line, and its outputs may act."},
		{sayDoorNeeds(&withPerson), "Needed: at least a technician. It stops this drop while it lasts."},
		{sayProof(b, &engine.Proof{Watch: 0, Minutes: 30})[0], "To see that it held, watch for 30 minutes: \"Is the power light lit?\""},
		{sayProof(b, &engine.Proof{Watch: 0, Minutes: 30, Under: "all outputs on", Comes: true, Times: 3})[0], "To see that it held, watch for 30 minutes, all outputs on: \"Is the power light lit?\""},
		{sayProof(b, &engine.Proof{Watch: 0, Minutes: 30, Comes: true, Times: 3})[1], "It comes and goes: quiet means something only once it has lasted 3.0 times as long as it was from one failure to the next on average (ln 20 = 3.0, if failures come at random)."},
		{sayProof(b, &engine.Proof{Watch: 0, Minutes: 30, Comes: true, Every: 120, Times: 3, Quiet: 360})[1], "It comes and goes, on average every 2 hours. By chance alone it is quiet for 3.0 times as long, 6 hours, only once in 20 times (ln 20 = 3.0, if failures come at random): so long quiet has to last to mean something."},
		{sayAnswers(&b.Symptoms[0]), "Answer: lit or dark."},
		{sayAnswers(&b.Symptoms[1]), "Answer: a reading in V."},
		{sayAnswers(&b.Symptoms[2]), "Answer: a reading in its own unit."},
		{hintSee(&b.Symptoms[0]), "Then ask again with: --see power_light=VALUE, one of lit, dark"},
		{hintSee(&b.Symptoms[1]), "Then ask again with: --see volts_at_drop=READING in V, or one of none, low, good"},
		{hintEach(&b.Symptoms[0]), "power_light: lit or dark"},
		{hintEach(&b.Symptoms[2]), "count: a reading in its own unit, or few or many"},
		{hintGiven(&rulebase.Given{ID: "classified", Type: rulebase.Flag}), "Answer with: --given classified=true or --given classified=false"},
		{hintGiven(&rulebase.Given{ID: "line", Type: rulebase.Choice, OneOf: []string{"a", "b"}}), "Answer with: --given line=VALUE, one of a, b"},
		{hintGiven(&rulebase.Given{ID: "trunk", Type: rulebase.Number, Unit: "m"}), "Answer with: --given trunk=NUMBER in m"},
		{sayMoreSteps(1), "And one more; --detail shows it."},
		{sayMoreSteps(2), "And 2 more; --detail shows them."},
		{sayLittleElse(1), "One more step could be done, but it would hardly change anything; --detail shows it."},
		{sayLittleElse(2), "2 more steps could be done, but they would hardly change anything; --detail shows them."},
		{sayMoreReasons(1), "And for one more reason; --detail gives it."},
		{sayMoreReasons(2), "And for 2 more reasons; --detail gives them."},
		{conditionText("a == true and b != 2 and c not in [x] or d in [y_z]"), "a is true and b is not 2 and c is none of [x] or d is one of [y z]"},
	})
	if n := len(sayProof(b, &engine.Proof{Minutes: 30, Times: 3})); n != 1 {
		t.Errorf("a fault that does not come and go has %d lines of proof, wants one", n)
	}
}

func TestWhatIsWithheldIsSaid(t *testing.T) {
	b := words()
	withheld := func(why engine.Why, detail string) *engine.Withheld {
		return &engine.Withheld{Step: &b.Tests[0], Why: why, Detail: detail}
	}
	support.Says(t, [][2]string{
		{sayWithheld(b, withheld(engine.WhyKnown, ""), 1), "This would tell nothing new, all of it is known for sure:"},
		{sayWithheld(b, withheld(engine.WhyDone, ""), 2), "These are done already:"},
		{sayWithheld(b, withheld(engine.WhyPlace, "field or bench"), 1), "This is not for where you are, only at the drop or on the bench:"},
		{sayWithheld(b, withheld(engine.WhyTools, "hand_lamp"), 1), "This needs a tool that is not at hand (hand lamp):"},
		{sayWithheld(b, withheld(engine.WhyPerson, "electrician"), 2), "These need at least an electrician:"},
		{sayWithheld(b, withheld(engine.WhyPhone, "live and unknown"), 1), "This is too dangerous to ask for by phone (live parts and hazards that are not known):"},
		{sayWithheld(b, withheld(engine.WhyPhone, ""), 2), "These are too dangerous to ask for by phone:"},
		{sayWithheld(b, withheld(engine.WhyPhoneStops, ""), 2), "These would stop every drop on the line, which I do not ask for by phone:"},
		{sayWithheld(b, withheld(engine.WhyAlone, "mains"), 1), "This is not for somebody who works alone (mains voltage):"},
		{sayWithheld(b, withheld(engine.WhyLossOfBus, "loss_of_bus"), 1), "This would stop something, and nobody has said yet what the outputs do then (loss_of_bus):"},
		{sayWithheld(b, withheld(engine.WhyOnlyIf, "line == token_pair"), 1), "This is only right if line is token pair:"},
		{sayWithheld(b, withheld(engine.WhyUnconfirmed, "live_work"), 2), "These need this confirmed first (live_work): Live measurement."},
		{sayWithheld(b, withheld(engine.WhyHarmless, "measure_supply"), 1), "This can hurt, and a harmless step may still change what to do (Measure the supply):"},
		{sayWithheld(b, withheld(engine.WhyHarmless, "unheard_of"), 1), "This can hurt, and a harmless step may still change what to do (unheard of):"},
		{sayWithheld(b, withheld(engine.WhyWell, ""), 1), "This is not needed, the drop works:"},
		{sayWithheld(b, withheld(engine.WhyImpossible, ""), 1), "This cannot be judged, nothing on my list allows what was found:"},
		{sayWithheld(b, withheld("new_reason", ""), 1), "This is not offered (new_reason):"},
		{sayTogetherWithheld(b, engine.WhyTools, []*engine.Withheld{withheld("", "hand_lamp"), withheld("", "hand_lamp"), withheld("", "meter")}), "For want of a tool: hand lamp (2 steps) and meter (one step). First of them: Measure the supply."},
		{sayTogetherWithheld(b, engine.WhyPlace, []*engine.Withheld{withheld("", "bench"), withheld("", "field"), withheld("", "field")}), "For another place than yours: one step only on the bench and 2 steps only at the drop. First of them: Measure the supply."},
		{sayQuiet(2, 1, 1), "Nothing more is asked for: the drop works."},
		{sayQuiet(2, 1, 0), "Not repeated: 2 steps of which all is known for sure, and one step already done."},
		{sayQuiet(1, 0, 0), "Not repeated: one step of which all is known for sure."},
		{sayQuiet(0, 1, 0), "Not repeated: one step already done."},
		{sayNeeds(withheld(engine.WhyPlace, "bench")), "elsewhere: on the bench"},
		{sayNeeds(withheld(engine.WhyPerson, "electrician")), "by an electrician"},
		{sayNeeds(withheld(engine.WhyTools, "hand_lamp")), "with hand lamp"},
		{sayNeeds(withheld(engine.WhyAlone, "mains")), "with a second person there"},
		{sayNeeds(withheld(engine.WhyPhone, "mains")), "by somebody who is there"},
		{sayTakesElsewhere(*withheld(engine.WhyPerson, "electrician")), "for an electrician"},
		{sayTakesElsewhere(*withheld(engine.WhyTools, "hand_lamp")), "lacking here: hand lamp"},
		{sayTakesElsewhere(*withheld(engine.WhyPlace, "field")), "to be done at the drop"},
		{sayTakesElsewhere(*withheld(engine.WhyPlace, "bench")), "to be done on the bench"},
		{sayTakesElsewhere(*withheld(engine.WhyPlace, "field or bench")), ""},
		{sayTakesElsewhere(*withheld(engine.WhyAlone, "")), ""},
	})
}

// Of tools that are lacking the first few are named; a single one more is named too,
// since its name is no longer than its count.
func TestManyToolsThatAreLackingAreCounted(t *testing.T) {
	b := words()
	lacking := func(n int) string {
		var all []*engine.Withheld
		for i := range n {
			all = append(all, &engine.Withheld{Step: &b.Tests[0], Detail: string(rune('a' + i))})
		}
		return sayTogetherWithheld(b, engine.WhyTools, all)
	}
	support.Says(t, [][2]string{
		{lacking(shownTools), "For want of a tool: a (one step), b (one step), c (one step), d (one step), e (one step), f (one step), g (one step) and h (one step). First of them: Measure the supply."},
		{lacking(shownTools + 1), "For want of a tool: a (one step), b (one step), c (one step), d (one step), e (one step), f (one step), g (one step), h (one step) and i (one step). First of them: Measure the supply."},
		{lacking(shownTools + 2), "For want of a tool: a (one step), b (one step), c (one step), d (one step), e (one step), f (one step), g (one step), h (one step) and 2 more tools. First of them: Measure the supply."},
	})
}

func TestWhetherEnoughIsKnownIsSaid(t *testing.T) {
	b := words()
	lead := engine.ToDo{Lists: []string{"x"}, Remedies: []int{0}, Probability: 0.6}
	further := &engine.Diagnosis{Base: b, Advice: engine.Advice{Further: &engine.Proposal{Step: &b.Tests[1], Price: 3}}}
	none := &engine.Diagnosis{Base: b}
	support.Says(t, [][2]string{
		{sayToDo(b, engine.ToDo{}), "leave it as it is, nothing is wrong"},
		{sayToDo(b, engine.ToDo{Outside: true}), "look for something that is not on my list"},
		{sayToDo(b, engine.ToDo{Elsewhere: true}), "look for the trouble where the unit came from"},
		{sayToDo(b, engine.ToDo{Remedies: []int{0, 1}, Bare: []int{1}}), "replace the fuse; and WARNING: exchange the unit; and nothing on my list is left to do about this: the unit's line driver is damaged"},
		{sayEnoughBelow(0.9), "Enough is known, about 9 in 10 that the step below is all there is to do."},
		{sayCannotTell(b, &engine.Advice{Lead: lead, Others: []engine.ToDo{{Outside: true, Probability: 0.05}, {Probability: 0.049}}}), "Nothing more can be told apart from here. Left over, about 6 in 10: replace the fuse; or, about 1 in 20: look for something that is not on my list."},
		{sayCannotTell(b, &engine.Advice{Lead: lead, Others: []engine.ToDo{{Remedies: []int{1}, Probability: 0.3}}, Elsewhere: []engine.Withheld{{Step: &b.Tests[0], Why: engine.WhyTools, Detail: "multimeter"}}}), "Nothing more can be told apart from here. Left over, about 6 in 10: replace the fuse; or, about 3 in 10: WARNING: exchange the unit. Where a signal word stands, read the warnings first: --detail shows them before each step. What would tell most: measure the supply (with multimeter)."},
		{sayIfWrong(none, 0.1, 10), "If that is wrong, about 1 in 10, it costs about 10 minutes more; on the mean about 1 minute. Nothing more that is on offer would tell."},
		{sayIfWrong(none, 0.1, 9.9), "If that is wrong, about 1 in 10, it costs about 10 minutes more. Nothing more that is on offer would tell."},
		{sayIfWrong(none, 0.005, 1), "If that is wrong, less than 1 in 100, it costs about 1 minute more. Nothing more that is on offer would tell."},
		{sayIfWrong(none, 0.0049, 1), "Nothing more that is on offer would tell."},
		{sayIfWrong(none, 0.005, 0.9), "Nothing more that is on offer would tell."},
		{sayIfWrong(further, 0.005, 0.9), "What would help most to know (is the power light lit, about 3 minutes) is not worth its time."},
		{saySure(b, []int{0, 1}), "Whatever else is wrong, this is to be done: replace the fuse; and WARNING: exchange the unit."},
		{sayDisposition(b, &engine.Disposition{Kind: engine.SolveNow, Remedies: []int{0}, Probability: 0.9}, true), "This can be put right by phone, about 9 in 10, with the step below."},
		{sayDisposition(b, &engine.Disposition{Kind: engine.SolveNow, Probability: 0.9}, false), "Nobody needs to come, about 9 in 10: nothing is wrong any more."},
		{sayDisposition(b, &engine.Disposition{Kind: engine.SolveNow, Remedies: []int{0}, Probability: 0.9}, false), "This can be put right by phone, about 9 in 10: replace the fuse."},
		{sayDisposition(b, &engine.Disposition{Kind: engine.SendUnit, Who: rulebase.Technician, Tools: []string{"hand_lamp"}, Probability: 0.9}, false), "Send a technician with a unit to exchange: about 9 in 10 that this is the cheapest visit that ends it. To bring: hand lamp."},
		{sayDisposition(b, &engine.Disposition{Who: rulebase.Operator, Probability: 0.9}, false), "Send somebody: about 9 in 10 that this is the cheapest visit that ends it."},
	})
}

func TestRulebasesAreSpokenOf(t *testing.T) {
	b := words()
	at := func(lines ...int) []*ruletest.Gap {
		var all []*ruletest.Gap
		for _, n := range lines {
			all = append(all, &ruletest.Gap{Pos: rulebase.Position{Line: n}})
		}
		return all
	}
	odds := func(factor float64) string {
		return sayOdds(&engine.Weight{Finding: "hum", Value: "yes", Factor: factor})
	}
	support.Says(t, [][2]string{
		{sayClean("small", 7), "Rulebase small, version 7: nothing to report."},
		{sayCount(1, 0, true), "One error. The rulebase loads; its rule tests do not."},
		{sayCount(2, 0, false), "2 errors. The rulebase does not load."},
		{sayCount(2, 1, false), "2 errors and one remark."},
		{sayCount(0, 1, true), "One remark. The rulebase loads."},
		{sayAccepted(1), "One more is accepted by a comment that gives a reason; --accepted tells it."},
		{sayAccepted(2), "2 more are accepted by comments that give a reason; --accepted tells them."},
		{sayBelow(1), "One remark more in the rulebase below; --all tells it."},
		{sayBelow(2), "2 remarks more in the rulebase below; --all tells them."},
		{sayHowToAccept("silent_row"), "Where it is no mistake, say so in the file, on the line or above the entry, with the reason: # accept silent_row: REASON"},
		{sayCases(1, 0, b), "Rulebase small, version 7: the one case comes out as expected."},
		{sayCases(2, 0, b), "Rulebase small, version 7: both cases come out as expected."},
		{sayCases(0, 1, b), "Rulebase small, version 7: the one case differs from what was expected."},
		{sayCases(2, 1, b), "Rulebase small, version 7: of 3 cases one differs from what was expected."},
		{sayCases(1, 2, b), "Rulebase small, version 7: of 3 cases 2 differ from what was expected."},
		{odds(math.NaN()), "hum yes: nobody can say how far."},
		{odds(math.Inf(1)), "hum yes: this alone rules the other out."},
		{odds(2), "hum yes: odds times 2."},
		{odds(1), "hum yes: odds times 1."},
		{odds(0.25), "hum yes: odds divided by 4."},
		{odds(0), "hum yes: this alone would rule the first out."},
		{sayOdds(&engine.Weight{Finding: "hum", Value: "yes", Rule: "stopped", Factor: 2}), "hum yes, by the rule stopped: odds times 2."},
		{sayOdds(&engine.Weight{Rule: "stopped", Factor: 2}), "what the rule stopped concludes: odds times 2."},
		{sayGap(&ruletest.Gap{ID: "hum", Row: 2}), "hum, row 2, without a condition: taken in no case."},
		{sayGap(&ruletest.Gap{ID: "hum", Row: 2, When: "unpowered", Speaks: true}), "hum, row 2, when unpowered: taken in every case that has a finding of it."},
		{gapWords(&ruletest.Gap{Kind: ruletest.GapMoreLikely}), "holds in no case"},
		{gapWords(&ruletest.Gap{Kind: ruletest.GapMoreLikely, Speaks: true}), "holds in every case"},
		{sayFileGaps("a.yaml", at(3)), "a.yaml lacks 1 (line 3)."},
		{sayFileGaps("a.yaml", at(3, 3, 4)), "a.yaml lacks 3 (lines 3, 4)."},
		{sayFileGaps("a.yaml", at(1, 2, 3, 4, 5)), "a.yaml lacks 5 (lines 1, 2, 3, 4, 5)."},
		{sayFileGaps("a.yaml", at(1, 2, 3, 4, 5, 6)), "a.yaml lacks 6 (lines 1, 2, 3, 4, ...)."},
		{countAre(1, "test"), "one test is"},
		{countAre(2, "test"), "2 tests are"},
		{sayFigure("To know", [2]string{"4"}, [2]string{"5"}), "To know: for the cause 4, for what to do 5."},
		{sayFigure("To know", [2]string{"4", "6"}, [2]string{"5", "7"}), "To know: for the cause 4 by weight and 6 by number, for what to do 5 and 7."},
		{sayTellNothing([]string{"a"}), "This test tells nothing as sure as that by itself: a."},
		{sayTellNothing([]string{"a", "b"}), "These tests tell nothing as sure as that by themselves: a, b."},
		{sayDistinguish(&review.Distinction{Base: b, Tests: make([]*rulebase.Step, 1), Right: 0.9}), "How well rulebase small, version 7, tells 2 causes apart, each there alone. One test is on offer. A test tells two apart if what it shows is right about which of the two it is at least 90 times in 100."},
		{sayDistinguish(&review.Distinction{Base: b, Situation: rulebase.Situation{At: rulebase.Phone, Who: rulebase.Operator}, Right: 0.95}), "How well rulebase small, version 7, tells 2 causes apart by phone, with the hands of an operator, each there alone. No test is on offer. A test tells two apart if what it shows is right about which of the two it is at least 95 times in 100."},
	})
}

func TestLayersAreSpokenOf(t *testing.T) {
	support.Says(t, [][2]string{
		{sayRepeats([]string{"ask", "minutes"}), "It repeats ask and minutes as below, which it no longer follows; with changes: true only what differs need be written."},
		{sayOverlays(1), "1 entry stands for one of a rulebase below; \"downdrop rulebase layers\" shows what differs."},
		{sayOverlays(2), "2 entries stand for one of a rulebase below; \"downdrop rulebase layers\" shows what differs."},
	})
}

func TestChartsAreSpokenOf(t *testing.T) {
	root := func(minutes, bound float64, proven bool) *engine.ChartTree {
		return &engine.ChartTree{Root: &engine.ChartNode{Minutes: minutes, Bound: bound, Proven: proven}}
	}
	support.Says(t, [][2]string{
		{sayChartTitle(rulebase.Situation{}), "Fault-finding chart."},
		{sayChartTitle(rulebase.Situation{At: rulebase.Phone}), "Fault-finding chart, to be asked by phone."},
		{sayChartTitle(rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Alone: true}), "Fault-finding chart, at the drop, for a technician alone."},
		{sayChartTitle(rulebase.Situation{At: rulebase.Bench, Alone: true}), "Fault-finding chart, on the bench, for somebody alone."},
		{sayChartShare("all"), "Begin here."},
		{sayChartShare("3 in 100"), "3 in 100 come here."},
		{sayChartSettles(&engine.ChartTree{Settled: 1}), "It settles all cases."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.5, Sent: 0.5}), "It settles 50 in 100 cases; 50 in 100 end the call with somebody sent."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.5, Sent: 0.25}), "It settles 50 in 100 cases; 25 in 100 end the call with somebody sent; 25 in 100 end in handing over, with what is likeliest then."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.996}), "It settles nearly all cases; 4 in 1,000 end in handing over, with what is likeliest then."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.9991}), "It settles all cases."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.0009, Sent: 0.9985}), "It settles no case; all end the call with somebody sent."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.001, Sent: 0.0009}), "It settles 1 in 1,000 cases; all end in handing over, with what is likeliest then."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.5, Sent: 0.001}), "It settles 50 in 100 cases; 1 in 1,000 end the call with somebody sent; 50 in 100 end in handing over, with what is likeliest then."},
		{sayChartSettles(&engine.ChartTree{Settled: 0.5}), "It settles 50 in 100 cases; 50 in 100 end in handing over, with what is likeliest then."},
		{sayChartRoot(root(20, 0, true), ChartKind{}), "Expected along it: about 20 minutes; no order of steps takes less (proven)."},
		{sayChartRoot(root(20, 15, false), ChartKind{Identify: true, Optimal: true}), "Expected along it: about 20 minutes of tests; not proven to be the least, which is at least 15 minutes: a gap of 5."},
		{sayChartRoot(root(20, 0, false), ChartKind{Optimal: true}), "Expected along it: about 20 minutes; not proven to be the least, and no bound was found."},
		{sayChartRoot(root(20, 15, false), ChartKind{}), "Expected along it: about 20 minutes."},
		{sayChartFoot(words()), "Made from rulebase small, version 7, d16e57d1. A chart knows less than downdrop itself: where it hands over, go on there."},
		{sayChartFurther("low"), "Of the same: low"},
		{sayChartConfirm("I stay clear."), "Confirm first, word for word: I stay clear."},
		{sayDoorConfirm("I stay clear."), "Confirm first, word for word: I stay clear."},
		{sayDoorConfirm(""), "Have the warning confirmed word for word first."},
		{sayAnythingBut(nil), "whatever it is"},
		{sayAnythingBut([]string{"lit", "dark"}), "anything but lit or dark"},
		{sayBand([]float64{10, 20}, 0, "V"), "below 10 V"},
		{sayBand([]float64{10, 20}, 1, "V"), "10 V to 20 V"},
		{sayBand([]float64{10, 20}, 2, ""), "20 or more"},
		{sayEndHandOver(nil), "hand over; nothing stands out"},
		{sayEndHandOver([]string{"the fuse", "the plug"}), "hand over, and say what is likeliest: the fuse; then the plug"},
		{sayDoorHandOver(nil), "hand over"},
		{sayDoorHandOver([]string{"the fuse", "the plug"}), "hand over; likeliest then: the fuse; the plug"},
		{sayEndShort(engine.ChartWell), "done"},
		{sayEndShort(engine.ChartEnough), "enough"},
		{sayEndShort(engine.ChartNothingWrong), "enough"},
		{sayEndShort(engine.ChartDisposition), "the call ends"},
		{sayEndShort(engine.ChartImpossible), "begin again"},
		{sayEndShort(engine.ChartCut), "hand over"},
		{sayDoorProof(10), "Watch it for 10 minutes."},
	})
}

func TestGainsAndExperienceAreSaid(t *testing.T) {
	d := &engine.Diagnosis{Base: words(), NotOffered: []engine.Withheld{{Step: &rulebase.Step{}}}}
	further := &engine.Diagnosis{Base: words()}
	d.NotOffered = append(d.NotOffered, engine.Withheld{Step: &d.Base.Remedies[0], Why: engine.WhyTools, Detail: "hand_lamp"}, engine.Withheld{Step: &d.Base.Remedies[1], Why: engine.WhyPerson, Detail: "electrician"})
	support.Says(t, [][2]string{
		{sayWorthIt(&cases.Score{Log: 0.5}, &cases.Score{Log: 0.5}), " That is no gain: these cases are too few to outweigh what the rulebase says; a larger --worth holds on to more of it."},
		{sayWorthIt(&cases.Score{Log: 0.5}, &cases.Score{Log: 0.4}), " That is a gain on cases that were not learned from."},
		{takesElsewhere(d, -1), ""},
		{takesElsewhere(d, 0), "lacking here: hand lamp"},
		{takesElsewhere(further, 0), ""},
		{takesElsewhere(d, 1), "for an electrician"},
	})
}

func TestReplaysAreSpokenOf(t *testing.T) {
	b := words()
	b.Symptoms[0].Shows = make([]rulebase.Row, 2)
	learned := &learn.Lessons{Base: b}
	rivals := func(optimal int) *rehearse.Comparison {
		return &rehearse.Comparison{Rivals: []rehearse.Rival{{Name: "greedy"}, {Name: "optimal", Optimal: optimal}}}
	}
	support.Says(t, [][2]string{
		{sayReplay(b, &cases.Score{Cases: 1}), "Rulebase small, version 7, over 1 closed case."},
		{sayReplay(b, &cases.Score{Cases: 2, Unknown: 1}), "Rulebase small, version 7, over 2 closed cases. In 1 more nothing was proven that this rulebase knows."},
		{sayReplayRanks(&cases.Score{Cases: 2, First: 1, InThree: 2}), "What it turned out to be stands first in 1 of 2, among the first three in 2. It could have been known 0.0 entries earlier on the mean, 0.0 of them tests or work."},
		{sayReplayRanks(&cases.Score{Cases: 2, First: 1, InThree: 2, Acted: 2, ActedFirst: 1, Earlier: 1.5, TestsEarlier: 1}), "What it turned out to be stands first in 1 of 2, among the first three in 2. When the last work was chosen it stood first in 1 of 2. It could have been known 1.5 entries earlier on the mean, 1.0 of them tests or work."},
		{sayReplayScores(&cases.Score{Calibration: &cases.Calibration{}}), "How good the chances are: log score 0.000 nats, Brier score over all causes 0.000, mean reciprocal rank 0.000; of what is ranked first, Brier score 0.000 and calibration error 0.000."},
		{sayReplayScores(&cases.Score{Clamped: 1, Calibration: &cases.Calibration{}}), "How good the chances are: log score 0.000 nats, Brier score over all causes 0.000, mean reciprocal rank 0.000; of what is ranked first, Brier score 0.000 and calibration error 0.000. In 1 case what was proven had been held impossible; it counts as a chance of one in a million."},
		{sayByChance(&cases.Calibration{ECE: 0.5, ByChanceHigh: 0.5, ByChance: 0.25, Cases: 4}), "That is within what chance alone does: over 4 cases, chances that are right as they stand err by 0.250 on the mean, and by less than 0.500 in 95 of 100."},
		{sayByChance(&cases.Calibration{ECE: 0.75, ByChanceHigh: 0.5, ByChance: 0.25, Cases: 4}), "That is more than chance alone does: over 4 cases, chances that are right as they stand err by 0.250 on the mean, and by less than 0.500 in 95 of 100."},
		{sayBin(&cases.Bin{Forecast: 0.25, Frequency: 0.5, Low: 0.375, High: 0.75, Cases: 4}), "                 25 %             50 %     38 to  75 %          4"},
		{sayBin(&cases.Bin{Forecast: 0.25, Frequency: 0.25, Low: 0.25, High: 0.25, Cases: 4}), "                 25 %             25 %     25 to  25 %          4"},
		{sayBin(&cases.Bin{Forecast: 0.25, Frequency: 0.125, Low: 0.25, High: 0.75, Cases: 4}), "                 25 %             12 %     25 to  75 %          4  outside"},
		{sayKnownFrom(&cases.Replayed{KnownFrom: 0}), "entry 0"},
		{sayKnownFrom(&cases.Replayed{KnownFrom: -1}), "never"},
		{sayLearnedRow(learned, &learn.Row{Symptom: 0, Row: 1, Cases: make([]string, 1)}), "power_light, row 2 (otherwise), in 1 case:"},
		{sayContestFoot(rivals(0))[len(sayRivals):], " The best order there is cannot be worked out for so many causes; rulebases of a few causes have it among the rivals."},
		{sayContestFoot(rivals(1))[len(sayRivals):], " optimal: the best there is, by search, at the drop; by phone as the default."},
	})
}

// Whether it is the unit is said where the rulebase knows of units to exchange, with a
// reserve where much of the chance lies outside the list.
func TestTheVerdictIsSaid(t *testing.T) {
	verdict := func(ends rulebase.Outcome, outside, unit float64, well bool) string {
		b := &rulebase.Base{Remedies: []rulebase.Step{{EndsAs: rulebase.Adjusted}, {EndsAs: ends}}}
		x := &text{page: newPage(200), d: &engine.Diagnosis{Base: b, Outside: outside, UnitOut: unit}, well: well}
		x.verdict()
		return x.out.String()
	}
	well := func(next int, why engine.Why) bool {
		return isWell(&engine.Diagnosis{Next: make([]engine.Proposal, next), NotOffered: []engine.Withheld{{Why: why}}})
	}
	if !well(0, engine.WhyWell) || well(1, engine.WhyWell) || well(0, engine.WhyDone) {
		t.Error("a drop is well where nothing is on offer because it is well")
	}
	support.Says(t, [][2]string{
		{verdict(rulebase.Adjusted, 0.3, 0.1, false), ""},
		{verdict(rulebase.UnitOut, 0.2, 0.64, false), "Is it the unit? Not settled: about 6 in 10 that it has to be repaired or\nexchanged. What is not on my list may be in the unit too.\n"},
		{verdict(rulebase.UnitOut, 0.199, 0.64, false), "Is it the unit? Not settled: about 6 in 10 that it has to be repaired or\nexchanged.\n"},
		{verdict(rulebase.UnitOut, 0.2, 0.65, false), "Is it the unit? Probably: about 7 in 10 that it has to be repaired or exchanged.\n"},
		{verdict(rulebase.UnitOut, 0, 0.96, true), "The drop works.\nWas it the unit? Yes: about 19 in 20 that it had to be repaired or exchanged.\n"},
		{verdict(rulebase.Adjusted, 0, 0.96, true), "The drop works.\n"},
	})
}
