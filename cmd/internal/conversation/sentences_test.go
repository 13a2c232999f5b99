package conversation

import (
	"errors"
	"math"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// What sentences are about. Invented.
var (
	lamp  = &thing{id: "power_light", name: "power light", typ: rulebase.Choice, values: []word{{text: "lit"}, {text: "dark", here: "LAMP LOST"}}, here: "lamp H4"}
	volts = &thing{id: "volts", name: "volts at the drop", typ: rulebase.Banded, unit: "V", values: []word{{text: "none"}, {text: "too_low"}, {text: "good"}}}
	tally = &thing{id: "tally", name: "tally", typ: rulebase.Number}
)

func sayBase() *rulebase.Base {
	return &rulebase.Base{
		Causes:   []rulebase.Cause{{ID: "fuse_blown", Name: "A fuse is blown"}, {ID: "driver_dead", Name: "The line driver is damaged"}},
		Warnings: []rulebase.Warning{{ID: "bus_stops", Level: rulebase.NoticeLevel, Says: "Every drop stops."}, {ID: "live", Level: rulebase.DangerLevel, Says: "Live parts.", Because: "Mains is near."}},
		Tests:    []rulebase.Step{{ID: "measure", Kind: rulebase.KindTest, Do: "Measure the supply", Minutes: 4}},
		Remedies: []rulebase.Step{{ID: "fuse", Kind: rulebase.KindRemedy, Do: "Replace the fuse", Minutes: 10}, {ID: "unit", Kind: rulebase.KindRemedy, Do: "Exchange the unit", Warnings: []int{0, 1}}},
	}
}

func TestWhatWasHeardIsEchoed(t *testing.T) {
	var tools []thing
	for _, id := range []string{"a", "b", "c", "hand_lamp", "meter", "spare_unit"} {
		tools = append(tools, newThing(id, "", rulebase.KindNone, 0))
	}
	half := 0.5
	dark := rulebase.Value{Word: "dark"}
	long := strings.Repeat("x", 101)
	support.Says(t, [][2]string{
		{minutes(1), "1 minute"},
		{minutes(2), "2 minutes"},
		{shorten(long[1:]), long[1:]},
		{shorten(long), long[1:] + " ..."},
		{saySpeaker(""), "seen by yourself, from here on"},
		{saySpeaker("operator"), "from here on as the operator says"},
		{sayFinding(lamp, rulebase.Finding{Value: rulebase.Value{Word: "lit"}}, ""), "power light (here: lamp H4): lit"},
		{sayFinding(lamp, rulebase.Finding{Value: dark, Drop: 4, Sure: &half, By: "operator", After: "replace_fuse"}, "lit"), "drop 4, power light (here: lamp H4): dark (here: LAMP LOST) (kept beside, not weighed), 50 % sure, says the operator, after replace fuse, instead of lit"},
		{sayFinding(volts, rulebase.Finding{Value: rulebase.Value{Word: "too_low"}, Read: "jumps"}, ""), "volts at the drop: too low (read as \"jumps\")"},
		{sayFinding(volts, rulebase.Finding{Value: rulebase.Value{IsNumber: true, Number: 18.5}, Read: "18.5 V"}, ""), "volts at the drop: 18.5 V"},
		{sayFinding(lamp, rulebase.Finding{Value: dark, Read: "dark", By: "anna.k"}, ""), "power light (here: lamp H4): dark (here: LAMP LOST), says anna.k"},
		{sayGiven(lamp, rulebase.Value{Word: "true"}, "false"), "power light: yes, instead of no"},
		{sayGiven(&thing{name: "down", extent: true}, rulebase.Value{Word: rulebase.ExtentOne}, ""), "down: this drop alone"},
		{sayAlone(true), "alone"},
		{sayAlone(false), "not alone"},
		{sayTools(nil, tools), "any tool is at hand"},
		{sayTools([]string{}, tools), "no tools at hand"},
		{sayTools([]string{"hand_lamp", "meter"}, tools), "at hand: hand lamp, meter; other tools are not"},
		{sayTools([]string{"a", "b", "c", "hand_lamp", "meter"}, tools), "not at hand: spare unit; any other may be"},
		{sayTools([]string{"a", "b", "hand_lamp"}, tools), "at hand: a, b, hand lamp; other tools are not"},
		{sayTools([]string{"a", "b", "hand_lamp", "meter"}, tools), "not at hand: c, spare unit; any other may be"},
		{sayTools([]string{"meter", "a", "b", "c", "hand_lamp", "spare_unit"}, tools), "at hand: meter, a, b, c, hand lamp, spare unit"},
		{sayDrops([]int{3}, rulebase.DropDead), "drop 3: dead"},
		{sayDrops([]int{3, 4}, rulebase.DropComesAndGoes), "drops 3, 4: coming and going"},
		{saySupply([]int{3}), "drop 3 has a supply of its own"},
		{saySupply([]int{3, 5}), "on one supply: drops 3, 5"},
		{sayOtherAlready(3, 5), "this is about drop 5, and what was seen at drop 3 was taken for another drop's; take that back first"},
		{sayExtent("", "Not all drops are known."), "How much is down cannot be said yet. Not all drops are known."},
		{sayExtent(rulebase.ExtentAll, "All are dead."), "Down: every drop. All are dead."},
		{sayDropNow(rulebase.Well, "replace_fuse"), "after \"replace fuse\" the drop works"},
		{sayDropNow(rulebase.StillDown, "replace_fuse"), "after \"replace fuse\" the drop is still down"},
		{sayFailed(errors.New("no room")), "That did not work: no room."},
	})
}

func TestWhatWasPassedOverIsSaid(t *testing.T) {
	for kind, want := range map[QuestionKind]string{
		AskStep: "not now; \"what else\" keeps it on the list", AskConfirm: "not confirmed; the step is left alone", AskWhich: "left out: the_id",
		AskElse: "going on", AskOpening: "going on", AskMore: "going on", AskPlace: "not known where you are", AskWho: "not known whose hands are on the equipment",
		AskAlone: "not known whether somebody is with you", AskDrops: "not known how the other drops are", AskThisDrop: "not known which drop it is",
		AskDropNow: "not known what the drop does after the id", AskProof: "not watched after the id", AskFound: "the id: not read", AskLeft: "the id: not read",
		AskOut: "it stays in; the case lists it until it is out", AskSymptom: "the id: not known",
	} {
		if is := sayPassedOver(Question{Kind: kind, ID: "the_id", For: "the_step"}); is != want {
			t.Errorf("%s: says %q, wants %q", kind, is, want)
		}
	}
}

func TestWhatWasNotUnderstoodIsSaid(t *testing.T) {
	answers := Question{Answers: []Answer{{Key: "1"}, {Key: "4"}}}
	limits := []float64{10, 18}
	support.Says(t, [][2]string{
		{sayTooLong(0), "there is no word in it"},
		{sayTooLong(1), "too long for one piece; put commas between what belongs apart"},
		{sayNoValue(lamp, "blue"), "\"blue\" says nothing of power light, which is lit or dark"},
		{sayNoValue(volts, "blue"), "\"blue\" is no reading for volts at the drop, which is in V"},
		{sayNoValue(tally, "blue"), "\"blue\" is no reading for tally, which is in plain numbers"},
		{sayOneNumber(volts), "one number is wanted for volts at the drop, in V"},
		{sayOneNumber(tally), "one number is wanted for tally, in plain numbers"},
		{sayValue(volts, rulebase.Value{IsNumber: true, Number: 3}), "3 V"},
		{sayValue(lamp, rulebase.Value{Word: "false"}), "no"},
		{sayBand(volts, 1, nil), "too low"},
		{sayBand(volts, 0, limits), "none (below 10 V)"},
		{sayBand(volts, 1, limits), "too low (10 V to 18 V)"},
		{sayBand(volts, 2, limits), "good (18 V and above)"},
		{saySpans(volts, "3 to 12 V", true), "Volts at the drop, 3 to 12 V: that is not in one band. Which is to count?"},
		{saySpans(volts, "3 to 12 V", false), "Volts at the drop, 3 to 12 V: the limits between its bands are not known here. Which is it?"},
		{sayNoSuchAnswer(answers), "there are answers from 1 to 4 here"},
		{sayDropHow("#7.", answers), "if it is a drop, say how it is: \"7 dead\"; the answers are 1 to 4"},
		{sayWhich("lamp", 1, 0)[0], "Does \"lamp\" mean this?"},
		{sayWhich("lamp", 2, 0)[0], "What does \"lamp\" mean?"},
		{sayWhich("lamp", 2, 1)[0], "What does \"lamp\" mean? 1 more would fit; name what it is about."},
		{sayWhich("lamp", 2, 2)[0], "What does \"lamp\" mean? 2 more would fit; name what it is about."},
		{sayNoneListed("xyz"), "No question here holds \"xyz\"."},
	})
}

func TestWhatIsAskedIsSaid(t *testing.T) {
	b := sayBase()
	watch := &rulebase.Symptom{Ask: "Does the drop work?"}
	banded := &rulebase.Symptom{Ask: "Volts?", Unit: "V", Values: []string{"low", "good"}, Limits: make([]*rulebase.Expression, 1), MistakenFor: []string{"the bus volts", "ripple"}}
	st := &b.Remedies[0]
	dear := &rulebase.Step{Minutes: 5, Needs: []string{"hand_lamp", "meter"}, Stops: rulebase.StopsBus, BringsBack: true}
	joined := func(lines []string) string { return strings.Join(lines, " | ") }
	support.Says(t, [][2]string{
		{joined(saySymptomQuestion(watch, "")), "Does the drop work?"},
		{joined(saySymptomQuestion(banded, "H4")), "Volts? (here: H4) (as the instrument shows it, in V, or a letter) | Not to be mistaken for the bus volts, ripple."},
		{sayInUnit(""), "(a number, or a letter)"},
		{joined(sayGivenQuestion(&rulebase.Given{Ask: "How long?", Type: rulebase.Number, Unit: "m"})), "How long? (in m)"},
		{joined(sayGivenQuestion(&rulebase.Given{Ask: "How many drops?", Type: rulebase.Number})), "How many drops? (in plain numbers)"},
		{joined(sayAskProof(&engine.Proof{Minutes: 1}, watch)), "Now prove it. Watch for 1 minute: Does the drop work?"},
		{joined(sayAskProof(&engine.Proof{Minutes: 30, Under: "all outputs on", Comes: true, Times: 3}, watch)), "Now prove it. Watch for 30 minutes, all outputs on: Does the drop work? | It comes and goes: quiet means something only once it has lasted 3.0 times as long as it was from one failure to the next on average (ln 20 = 3.0, if failures come at random)."},
		{joined(sayAskProof(&engine.Proof{Minutes: 30, Comes: true, Every: 60, Times: 3, Quiet: 180}, watch)), "Now prove it. Watch for 30 minutes: Does the drop work? | It comes and goes, on average every 60 minutes. By chance alone it is quiet for 3.0 times as long, 3 hours, only once in 20 times (ln 20 = 3.0, if failures come at random): so long quiet has to last to mean something."},
		{joined(sayHowConfirm(&b.Warnings[1], nil)), "If that is so, name it: \"confirm live\". If not, leave the step alone."},
		{joined(sayHowConfirm(&b.Warnings[1], []string{"bus_stops"})), "If that is so, name it: \"confirm live\". If not, leave the step alone. | Then this step asks for bus_stops; one entry can name several."},
		{sayWarning(&b.Warnings[0]), "NOTICE: Every drop stops."},
		{sayWarning(&b.Warnings[1]), "DANGER: Live parts. Mains is near."},
		{joined(sayNothingLeft(true)), "All that is on offer was passed over. One of it after all, or something new?"},
		{joined(sayNothingLeft(false)), "Nothing more can be offered from here with what is at hand. Something new?"},
		{sayTakeUp(st), "take up: Replace the fuse"},
		{sayNotAloneFor(st), "somebody is with me (for: Replace the fuse)"},
		{sayHaveTool("hand_lamp", st), "I have hand lamp (for: Replace the fuse)"},
		{sayWhoIsHere(rulebase.Electrician, st), "an electrician is here (for: Replace the fuse)"},
		{sayPlaceFor(rulebase.Field, st), "I am at the drop now (for: Replace the fuse)"},
		{sayGivenFor("Which line is it?", st), "Which line is it? (for: Replace the fuse)"},
		{sayUnlock(Answer{Entry: "ask line"}), "    to say that, enter \"ask line\""},
		{sayUnlock(Answer{Entry: "do measure"}), "    to take it up, enter \"do measure\""},
		{sayUnlock(Answer{Entry: "not alone"}), "    if it changes, enter \"not alone\""},
		{sayPutRight(st), "Put right by: Replace the fuse."},
		{sayPutRight(&rulebase.Step{Do: "Replace the fuse", EndsAs: rulebase.PartReplaced}), "Put right by: Replace the fuse. The case ends as part replaced."},
		{sayPutRight(&rulebase.Step{Do: "Bridge it", Temporary: true, Days: 2}), "For now the drop works by this: Bridge it. This is only a stopgap: it takes no cause away, and the case stays open. It ends after 2 days at the latest: write the date down, with who sees to it."},
		{sayPrice(st), "10 minutes"},
		{sayPrice(dear), "5 minutes, needs hand lamp, meter, stops the whole bus, may bring a silent drop back on line"},
		{sayPrice(&rulebase.Step{Minutes: 1, Stops: rulebase.StopsDrop}), "1 minute, stops this drop"},
		{joined(sayWorth(&engine.Proposal{Step: st}, 0.7)), "Worth it: about 7 in 10 that this takes a cause away."},
		{joined(sayWorth(&engine.Proposal{Step: st}, 0)), "Not worth it by what is known: what this would put right is ruled out."},
		{joined(sayWorth(&engine.Proposal{Step: &rulebase.Step{Kind: rulebase.KindRemedy, Temporary: true}}, 0.7)), "This is only a stopgap: it takes no cause away, and the case stays open. | Write down the date on which it ends, and who sees to it."},
		{joined(sayWorth(&engine.Proposal{Step: &b.Tests[0], GainBits: 0.8}, 0)), "Worth it: it should about halve what there may be to do."},
		{joined(sayWorth(&engine.Proposal{Step: &b.Tests[0], GainBits: 0.799}, 0)), "Worth it: it should narrow down what there may be to do."},
		{joined(sayWorth(&engine.Proposal{Step: &b.Tests[0], GainBits: 0.3}, 0)), "Worth it: it should narrow down what there may be to do."},
		{joined(sayWorth(&engine.Proposal{Step: &b.Tests[0], GainBits: 0.299}, 0)), "Worth it: it may help a little, and it is quick for that."},
		{joined(sayAskFound("address", st)), "Settings sheet, as found: before the unit is worked on, read it and change nothing. | Which address is the unit set to?"},
		{joined(sayAskFound("rate", dear)), "Settings sheet, as found: before the bus stops, read it and change nothing. | Which rate is it set to?"},
		{saySetting(Question{Kind: AskFound, ID: "module_order"}, "1 2", ""), "module order as found: 1 2"},
		{saySetting(Question{Kind: AskLeft, ID: "rate"}, "9600", ""), "rate as left: 9600"},
		{saySetting(Question{Kind: AskLeft, ID: "rate"}, "9600", "9600"), "rate as left: 9600"},
		{saySetting(Question{Kind: AskLeft, ID: "rate"}, "9600", "19200"), "rate as left: 9600; it was found as 19200, so say why in a note, or put it back"},
		{joined(saySheet(nil)), ""},
		{joined(saySheet(&Sheet{Found: map[string]string{"rate": "1", "address": "5"}, Left: map[string]string{"rate": "2"}})), "address as found: 5 | rate as found: 1 | rate as left: 2"},
		{sayAskOut(&rulebase.Step{Do: "Bridge the feed", PutsIn: "jumper"}), "Still in place? Bridge the feed: is the jumper undone again?"},
		{sayAskOut(&rulebase.Step{Do: "Bridge the feed", PutsIn: "new_thing"}), "Still in place? Bridge the feed: is what was put in or changed undone again?"},
	})
}

func TestAdviceInATalkIsSaid(t *testing.T) {
	b := sayBase()
	joined := func(lines []string) string { return strings.Join(lines, " | ") }
	diagnosis := func(change func(*engine.Diagnosis)) *engine.Diagnosis {
		d := &engine.Diagnosis{Base: b, Possible: true}
		change(d)
		return d
	}
	advised := func(change func(*engine.Disposition)) string {
		x := &engine.Disposition{Probability: 0.9, Enough: true}
		change(x)
		return joined(sayAdvised(diagnosis(func(d *engine.Diagnosis) { d.Disposition = x })))
	}
	wrong := func(p, inVain float64) string {
		return joined(sayIfWrong(diagnosis(func(d *engine.Diagnosis) { d.Advice.Wrong, d.Advice.InVain = p, inVain })))
	}
	likely := func(outside, none float64, now ...float64) string {
		return sayLikely(diagnosis(func(d *engine.Diagnosis) {
			d.Outside, d.None = outside, none
			for i, p := range now {
				d.Causes = append(d.Causes, engine.CauseBelief{Cause: i % 2, Now: p})
			}
		}))
	}
	st := &b.Remedies[0]
	offered := func(first *rulebase.Step) *engine.Diagnosis {
		return diagnosis(func(d *engine.Diagnosis) { d.Next = []engine.Proposal{{Step: first}} })
	}
	cannot := diagnosis(func(d *engine.Diagnosis) {
		d.Next = []engine.Proposal{{Step: st}}
		d.Advice = engine.Advice{CannotTell: true, Lead: engine.ToDo{Lists: []string{"fuse"}, Remedies: []int{0}, Probability: 0.5}, Others: []engine.ToDo{{Outside: true, Probability: 0.05}, {Elsewhere: true, Probability: 0.049}},
			Elsewhere: []engine.Withheld{{Step: &b.Tests[0], Why: engine.WhyTools, Detail: "meter"}, {Step: &b.Remedies[1], Why: engine.WhyAlone}}}
	})
	stopgap := &rulebase.Step{Kind: rulebase.KindRemedy, Temporary: true}
	support.Says(t, [][2]string{
		{likely(0, 0), "nothing yet"},
		{likely(0, 0, 0.005), "nothing yet"},
		{likely(0, 0, 0.5, 0.4, 0.3, 0.2), "a fuse is blown (about 5 in 10), the line driver is damaged (about 4 in 10), a fuse is blown (about 3 in 10)"},
		{likely(0.05, 0.05, 0.5), "a fuse is blown (about 5 in 10)"},
		{likely(0.06, 0.6, 0.5), "nothing wrong (about 6 in 10), a fuse is blown (about 5 in 10), something not listed here (about 1 in 20)"},
		{sayHead(offered(st), st), "Trying this is quicker than looking further: "},
		{sayHead(offered(&b.Remedies[1]), st), "Try this: "},
		{sayHead(diagnosis(func(*engine.Diagnosis) {}), st), "Try this: "},
		{sayHead(offered(stopgap), stopgap), "For the time being: "},
		{sayHead(cannot, st), "What is left cannot be told apart from here. Try this: "},
		{joined(sayLeadUp(offered(st), st)), "Trying the next step is quicker than looking further."},
		{joined(sayLeadUp(offered(&b.Remedies[1]), st)), ""},
		{joined(sayLeadUp(diagnosis(func(*engine.Diagnosis) {}), st)), ""},
		{joined(sayLeadUp(cannot, st)), "What is left cannot be told apart from here; the next step is the best to try."},
		{wrong(0.1, 10), "If that is wrong, about 1 in 10, it costs about 10 minutes more; on the mean about 1 minute. Nothing more that is on offer would tell."},
		{wrong(0.1, 9.9), "If that is wrong, about 1 in 10, it costs about 10 minutes more. Nothing more that is on offer would tell."},
		{wrong(0.005, 1), "If that is wrong, less than 1 in 100, it costs about 1 minute more. Nothing more that is on offer would tell."},
		{wrong(0.0049, 1), "Nothing more that is on offer would tell."},
		{wrong(0.005, 0.9), "Nothing more that is on offer would tell."},
		{joined(sayIfWrong(diagnosis(func(d *engine.Diagnosis) {
			d.Advice.Further = &engine.Proposal{Step: &b.Tests[0], Price: 4}
			d.Disposition = &engine.Disposition{Wrong: 0.2, InVain: 20, Further: &engine.Proposal{Step: &b.Tests[0], Price: 3}}
		}))), "If that is wrong, about 2 in 10, it costs about 20 minutes more; on the mean about 4 minutes. What would help most to know (measure the supply, about 3 minutes) is not worth its time."},
		{joined(sayAdvised(diagnosis(func(d *engine.Diagnosis) { d.Advice.Lead.Probability = 0.9 }))), "Enough is known, about 9 in 10: nothing is wrong here, and nothing is to be done."},
		{joined(sayAdvised(diagnosis(func(d *engine.Diagnosis) { d.Advice.Lead = engine.ToDo{Elsewhere: true, Probability: 0.9} }))), "Enough is known, about 9 in 10: something that cannot be put right on a bench."},
		{advised(func(x *engine.Disposition) { x.Kind = engine.SolveNow }), "Enough is known. Nobody needs to come, about 9 in 10: nothing is wrong any more."},
		{advised(func(x *engine.Disposition) { x.Kind, x.Remedies = engine.SolveNow, []int{1} }), "Enough is known for this call. Nobody needs to come, about 9 in 10: what was passed over would end it: DANGER: exchange the unit. | Where nobody there can or may do it, somebody has to come who may."},
		{advised(func(x *engine.Disposition) { x.Who = rulebase.Operator }), "Enough is known for this call. Send somebody: about 9 in 10 that this is the cheapest visit that ends it."},
		{advised(func(x *engine.Disposition) {
			x.Kind, x.Who, x.Tools, x.Enough = engine.SendUnit, rulebase.Electrician, []string{"hand_lamp", "meter"}, false
		}), "What was passed over could have told more. As it stands, send an electrician with a unit to exchange: about 9 in 10 that this is the cheapest visit that ends it. To bring: hand lamp, meter."},
		{sayToDo(b, &engine.ToDo{}), "nothing, for nothing is wrong"},
		{sayToDo(b, &engine.ToDo{Remedies: []int{0, 1}, Bare: []int{1}, Outside: true}), "replace the fuse; and DANGER: exchange the unit; and nothing here is left to do about this: the line driver is damaged; and something that is not listed here"},
		{joined(sayCannotTell(cannot, false)), "These cannot be told apart from here: |   about 5 in 10: replace the fuse |   about 1 in 20: something that is not listed here | What would tell: |   measure the supply (meter is not at hand) |   exchange the unit (not for somebody working alone)"},
		{joined(sayCannotTell(diagnosis(func(d *engine.Diagnosis) { d.Advice.Lead = engine.ToDo{Outside: true, Probability: 0.5} }), true)), "These cannot be told apart from here: |   about 5 in 10: something that is not listed here | Or something of what was passed over, after all."},
		{joined(sayLikelyLeftAlone(&b.Remedies[1])), "Likelier than not this is to be done, and it was left alone: Exchange the unit. | Where nobody there can or may do it, somebody has to come who may."},
		{joined(sayLikelyAway(engine.Withheld{Step: &b.Remedies[1], Why: engine.WhyWell})), "Likelier than not this is to be done: Exchange the unit. | Not from here: the drop works."},
		{joined(sayRemedyAway(engine.Withheld{Step: &b.Remedies[1], Why: engine.WhyPerson, Detail: "electrician"})), "Enough is known. What is to be done: Exchange the unit. | Not from here: it needs an electrician."},
	})
}

func TestReasonsInATalkAreSaid(t *testing.T) {
	b := sayBase()
	st := &b.Remedies[1]
	joined := func(lines []string) string { return strings.Join(lines, " | ") }
	weight := func(f float64) string {
		return sayWeight(engine.Weight{Finding: "power_light", Value: "dark", Factor: f})
	}
	reason := func(why engine.Why, detail string) string {
		return sayReason(engine.Withheld{Step: st, Why: why, Detail: detail})
	}
	why := func(kind QuestionKind, step string) string { return joined(sayWhyKind(Question{Kind: kind}, step)) }
	alone := engine.Withheld{Why: engine.WhyAlone}
	support.Says(t, [][2]string{
		{weight(math.Inf(1)), "  power light dark: rules the next one out"},
		{weight(0), "  power light dark: rules the first one out"},
		{weight(20), "  power light dark: 20 times for it"},
		{weight(1.05), ""},
		{weight(1 / 1.05), ""},
		{weight(0.25), "  power light dark: 4 times against it"},
		{sayWeight(engine.Weight{Finding: "power_light", Value: "dark", Rule: "r1", Factor: 2}), "  power light dark (by rule r1): 2 times for it"},
		{joined(sayGain(&engine.Proposal{})), ""},
		{joined(sayGain(&engine.Proposal{GainBits: 0.5})), "It is expected to settle 0.50 bit of what to do; one bit is a choice between two equals."},
		{why(AskSymptom, ""), "It says what is wrong with the drop; every case begins with it."},
		{why(AskSymptom, "Measure the supply"), "It is a result of the test in hand: Measure the supply."},
		{why(AskGiven, ""), "Without it a reading cannot be judged, or it was named without its value."},
		{why(AskGiven, "Measure the supply"), "The answer could forbid this step: Measure the supply."},
		{why(AskPlace, ""), "What may be asked for depends on it: nobody is sent to do what is not safe for them there."},
		{why(AskThisDrop, ""), "How many drops are down tells the supply and the trunk from the drop itself."},
		{why(AskProof, ""), "Only a drop that stays well shows that the cause was taken away."},
		{why(AskConfirm, "Measure the supply"), "The step can hurt somebody unless this is so: Measure the supply."},
		{why(AskElse, ""), "An entry that fits more than one thing is not guessed."},
		{why(AskFound, "Exchange the unit"), "Whoever puts the unit, or another one, back needs it as it was: Exchange the unit."},
		{why(AskOut, ""), "What is forgotten in place is the next fault, or hides one; a case cannot be closed over it."},
		{why(AskLeft, ""), "What was left otherwise than found is the first place to look when it goes down again."},
		{why(AskEnd, ""), ""},
		{sayWhyNotWhat("xyz", nil), "\"xyz\" is no one cause or step here."},
		{sayWhyNotWhat("xyz", []string{"a", "b"}), "\"xyz\" is no one cause or step here. Near it: a, b."},
		{sayOffered(st, 0), "It is the first on offer: Exchange the unit."},
		{sayOffered(st, 1), "It is on offer, as number 2: Exchange the unit. Those before it lead sooner to a working drop."},
		{sayNoSuchStep(st), "It is not on offer: Exchange the unit."},
		{reason(engine.WhyKnown, ""), "all that it shows is known for sure"},
		{reason(engine.WhyDone, ""), "it was done"},
		{reason(engine.WhyPlace, "bench"), "it is not for where you are"},
		{reason(engine.WhyTools, "hand_lamp"), "hand lamp is not at hand"},
		{reason(engine.WhyPerson, "electrician"), "it needs an electrician"},
		{reason(engine.WhyPhone, "live"), "too dangerous to ask for by phone"},
		{reason(engine.WhyPhoneStops, ""), "it stops the whole bus, which nobody asks for by phone"},
		{reason(engine.WhyAlone, ""), "not for somebody working alone"},
		{reason(engine.WhyLossOfBus, ""), "it is not known what the outputs do when the bus is lost"},
		{reason(engine.WhyOnlyIf, "line == token_pair"), "it is only right if line is token pair"},
		{reason(engine.WhyUnconfirmed, "bus_stops"), "it is not confirmed: bus stops"},
		{reason(engine.WhyHarmless, "power_light"), "a harmless step can still change what to do: power light"},
		{reason(engine.WhyWell, ""), "the drop works"},
		{reason(engine.WhyImpossible, ""), "what was found cannot go together"},
		{reason("new_reason", ""), "new_reason"},
		{sayMoreReasons(2), "2 more things would help, each less than these; \"details\" shows all."},
		{sayNeeds(alone, Answer{}, false), "Not for somebody working alone:"},
		{sayNeeds(alone, Answer{Entry: "ask line"}, true), "Not for somebody working alone (enter \"ask line\"):"},
		{sayNeeds(alone, Answer{Entry: "do fuse"}, true), "Not for somebody working alone (enter \"do fuse\"):"},
		{sayNeeds(alone, Answer{Entry: "not alone"}, true), "Not for somebody working alone (if that changes, enter \"not alone\"):"},
	})
}
