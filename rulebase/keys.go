package rulebase

import (
	"slices"
	"sync"
)

// A form is what the value of a key looks like. The JSON Schema has a definition
// for each.
type form string

// The forms of values.
const (
	formText          form = "text"
	formTexts         form = "texts" // a list of texts, or one
	formAny           form = "any"
	formScalar        form = "scalar"
	formMinutes       form = "minutes"
	formFlag          form = "flag"
	formNumber        form = "number"
	formDays          form = "days"
	formWhole         form = "whole_number"
	formFraction      form = "fraction" // a number from 0 to 1
	formProbability   form = "probability"
	formSure          form = "sure"
	formPerThousand   form = "per_thousand"
	formQuantity      form = "quantity"
	formRange         form = "range"
	formWords         form = "words"
	formExpression    form = "expression"
	formExpressions   form = "expressions"
	formSource        form = "source_id"
	formCauseIDs      form = "cause_ids"
	formCauseID       form = "cause_id"
	formSymptomID     form = "symptom_id"
	formSymptomIDs    form = "symptom_ids"
	formWarningIDs    form = "warning_ids"
	formRemedyID      form = "remedy_id"
	formCauseRemedies form = "cause_remedies"
	formMoreLikely    form = "more_likely"
	formBands         form = "bands"
	formRows          form = "rows"
	formThen          form = "then"
	formPlace         form = "place"
	formPlaces        form = "places"
	formWho           form = "who"
	formStops         form = "stops"
	formPutsIn        form = "puts_in"
	formHazard        form = "hazard"
	formLevel         form = "level"
	formOutcome       form = "outcome"       // of a remedy
	formCaseOutcome   form = "case_outcome"  // of a case
	formProof         form = "proof"         // keys: proof
	formComplaint     form = "complaint"     // keys: complaint
	formEffort        form = "effort"        // keys: effort
	formWordScale     form = "word_scale"    // word: number
	formParts         form = "parts"         // part: number
	formSiteValues    form = "site_values"   // value: text
	formHeardAs       form = "heard_as"      // value: texts
	formFormat        form = "format"        // 1
	formCombine       form = "combine"       // independent
	formBy            form = "by"            // asking or looking
	formFilledBy      form = "filled_by"     // what the program knows
	formGivens        form = "given_values"  // given: value
	formFindings      form = "findings"      // keys: finding
	formDone          form = "done_list"     // keys: done
	formAddress       form = "address"       // of a drop
	formAddresses     form = "addresses"     // of drops
	formSupplies      form = "supplies"      // lists of addresses
	formDrops         form = "drops"         // address: state
	formExpect        form = "expect"        // keys: expect
	formInFirst       form = "in_first"      // number: causes
	formChances       form = "chances"       // cause or condition: probability
	formCauseNumbers  form = "cause_numbers" // cause: number
	formConditionNums form = "condition_numbers"
	formStepNumbers   form = "step_numbers"
	formStepID        form = "step_id"
	formStepIDs       form = "step_ids"
	formTop           form = "top" // keys: top
	formDropNow       form = "drop_now"
	formSymptomValue  form = "symptom_value"
)

// A key is a key that a map of a file may have: its name, what its value looks
// like, and what it means.
type key struct {
	name string
	form form
	says string
}

// keys are the keys of every map of a rulebase or case file, in the order in which
// they are written. It is the one list of them: the loader refuses all others, the
// JSON Schema is made from it, and the formatter takes its order. The keys of
// sections are under the section's name; those of maps inside entries under a name
// of their own.
var keys = sync.OnceValue(func() map[string][]key {
	return map[string][]key{
		"rulebase": {
			{"name", formText, "Name of the rulebase; another one extends it by this name."},
			{"version", formWhole, "Counted up by whoever keeps the rulebase."},
			{"format", formFormat, "Version of the file format; 1."},
			{"extends", formText, "Name of the rulebase that this one is laid over; drop is the shipped one."},
			{"faults_at_most", formWhole, "Largest set of causes considered together. Default 3."},
			{"together", formNumber, "Factor on the prior for each cause after the first. Default 1."},
			{"outside_per_thousand", formPerThousand, "Chance in a thousand that the trouble is something not listed here. Default 15; 0 turns it off."},
			{"complaint", formComplaint, "How every case begins, and what well again means."},
			{"sure", formSure, "How sure a finding is when nothing is said: a number, or one for each place."},
			{"fact_from", formFraction, "A finding at least this sure is a fact for rules. Default 0.95."},
			{"words", formWordScale, "Changes the scale of words for probabilities."},
			{"effort", formEffort, "Minutes added to a price for what a step stops, and for a visit."},
			{"give_up_minutes", formMinutes, "Price in minutes of the last resort. Default 240."},
			{"parts", formParts, "What the weights of the causes of each part add up to, in a thousand."},
		},
		"givens": {
			{"ask", formText, "The question, as a caller can answer it."},
			{"unit", formText, "Unit of a number."},
			{"range", formRange, "Least and most that is plausible: [least, most]."},
			{"one_of", formWords, "The values of a choice. Without it and without unit or range the given is a flag."},
			{"default", formScalar, "What is taken where nobody says otherwise."},
			{"filled_by", formFilledBy, "What the program knows of itself: at, who, alone, loss_of_bus, extent, interval (how long from one failure to the next), or line.* from an installation sheet."},
			{"source", formSource, "Where it is known from."},
		},
		"causes": {
			{"name", formText, "What is wrong, in plain words."},
			{"part", formText, "The part of the drop: supply, line, termination, setting, controller, unit, module, field, tool, ..."},
			{"per_thousand", formPerThousand, "Chance in 1,000 complaints."},
			{"source", formSource, "Where it is known from; common_practice, if nothing is written."},
			{"remedy", formCauseRemedies, "The remedy that takes it away."},
			{"remedies", formCauseRemedies, "The remedies in the order to try: ids, or {do: id, helps: chance}."},
			{"more_likely", formMoreLikely, "Rows {when: a condition over givens, times: factor on the odds}; every row that holds counts."},
			{"look_alikes", formCauseIDs, "Other causes that show the same."},
		},
		"conditions": {
			{"when", formExpression, "The causes and conditions that bring it about, joined by and, or, not."},
			{"also_when", formExpressions, "Further causes and conditions, each of which brings it about too. With changes: true a layer adds its own to a lower one's."},
			{"says", formText, "What is so then, as a part of a sentence."},
		},
		"symptoms": {
			{"ask", formText, "The question, as a caller can answer it."},
			{"unit", formText, "Unit of a reading."},
			{"values", formWords, "What can be seen: at least two words."},
			{"by", formBy, "It can be had without a test: by asking, or by looking without opening, touching or driving anything."},
			{"sure", formSure, "How sure a finding of it is when nothing is said: a number, or one for each place."},
			{"mistaken_for", formTexts, "What it is mistaken for: another lamp, drop or terminal."},
			{"heard_as", formHeardAs, "What people say instead: {value: [no power light, it is black], ...}."},
			{"note", formAny, "A remark for whoever keeps the file; it is never shown."},
			{"source", formSource, "Where it is known from; common_practice, if nothing is written."},
			{"combine", formCombine, "independent: every row that holds adds its own chance of yes."},
			{"bands", formBands, "For a reading: {name: limit} rising, the last a bare name. A band holds what is below its limit."},
			{"shows_first", formRows, "Rows that stand above those of shows. With changes: true a layer sets its own above a lower one's."},
			{"shows", formRows, "Rows {when: a condition, value: probability, ...}; the first whose condition holds counts."},
		},
		"rules": {
			{"when", formExpression, "What has to be known, over findings, givens and plain facts."},
			{"then", formThen, "What follows: {name: value, ...}."},
			{"rules_out", formCauseIDs, "Causes that cannot be there then."},
			{"establishes", formCauseIDs, "Causes that are there then for sure."},
			{"tell", formText, "Advice shown with its reasons."},
			{"because", formText, "Why it is so."},
			{"again", formFlag, "The same evidence may count twice, for the reason in because."},
		},
		"tests": stepKeys(
			key{"yields", formSymptomIDs, "The symptoms that it shows."}),
		"remedies": stepKeys(
			key{"ends_as", formOutcome, "How the case ends when it has helped."},
			key{"proof", formProof, "How one sees that it held: {watch: symptom, minutes: how long, under: what load}."},
			key{"temporary", formFlag, "A stopgap: it takes no cause away and never ends a case."},
			key{"side_effects", formText, "Of a stopgap: what else it does while it lasts."},
			key{"days", formDays, "Of a stopgap: after how many days it has to be undone at the latest."}),
		"warnings": {
			{"level", formLevel, "The signal word, the gravest first: danger, warning, caution, notice."},
			{"says", formText, "What can hurt and what to do, read before the step."},
			{"fact", formText, "What has to be so before the step, as somebody confirms it: \"nobody is inside the guard\"."},
			{"because", formText, "Why."},
		},
		"sources": {
			{"says", formText, "The source, so that somebody can find it."},
			{"kind", formText, "practice, standard, paper, estimate, ..."},
		},
		"on_site": {
			{"called", formText, "What the site calls it: the lamp, the wires and terminals, the message."},
			{"where", formText, "Where on the site it is found."},
			{"values", formSiteValues, "Of a symptom: {value: what the site calls it}."},
		},

		"row":         {{"when", formExpression, "The causes, conditions and givens for which this row counts; without it: otherwise."}, {"because", formText, "Why."}},
		"likelier":    {{"when", formExpression, "A condition over givens."}, {"times", formNumber, "Factor on the odds, above 0."}, {"because", formText, "Why."}},
		"helps":       {{"do", formRemedyID, "A remedy."}, {"helps", formProbability, "The chance that it takes the cause away."}},
		"proof":       {{"watch", formSymptomID, "The symptom to watch."}, {"minutes", formMinutes, "How long."}, {"under", formText, "Under what load."}},
		"complaint":   {{"symptom", formSymptomID, "The symptom that every case begins with."}, {"bad", formText, "Its value when the case begins."}, {"well", formText, "Its value when all is well again."}},
		"effort":      {{"stops_drop", formMinutes, "Minutes for stopping the drop."}, {"stops_bus", formMinutes, "Minutes for stopping the bus."}, {"visit", formMinutes, "Minutes for a visit."}},
		"done":        {{"id", formStepID, "The remedy, or the test that puts something right."}, {"drop", formDropNow, "What the drop did then."}},
		"top":         {{"causes", formCauseIDs, "The likeliest set of causes."}, {"probability", formNumber, "Its probability."}},
		"anywhere":    {{"note", formAny, "A remark for whoever keeps the file; it is never shown."}, {"source", formSource, "Where it is known from."}},
		"overlaying":  {{"replaces", formFlag, "The entry stands for the whole entry of this id in a lower rulebase."}, {"changes", formFlag, "The keys written here stand for those of the entry of this id in a lower rulebase; its others stay."}},
		"case":        caseKeys,
		"finding":     findingKeys,
		"expectation": expectKeys,
	}
})

// stepKeys are the keys of a test or remedy: those of both, and its own where they
// are read, what a test yields at once and how a remedy ends behind what it does.
func stepKeys(own ...key) []key {
	do := []key{
		{"do", formText, "What to do, as an order: Measure the volts at the terminals."},
	}
	puts := []key{
		{"puts_right", formCauseIDs, "Causes that doing it takes away."},
	}
	price := []key{
		{"minutes", formMinutes, "How long it takes."},
		{"needs", formTexts, "Tools and parts."},
		{"at", formPlaces, "Where it can be done; default anywhere."},
		{"who", formWho, "The least person it needs; default operator."},
		{"stops", formStops, "What it stops: nothing (default), drop or bus."},
		{"puts_in", formPutsIn, "What it puts in, forces, lowers or loosens, and somebody has to undo: a kept case lists it until that is done."},
		{"hazard", formHazard, "What it can hurt somebody with: none (default), or a list."},
		{"only_if", formExpression, "Over givens and findings: where this is false it is not offered."},
		{"brings_back", formFlag, "A silent drop may come on line, and its outputs may act."},
	}
	how := []key{
		{"warnings", formWarningIDs, "What must be read before the step."},
		{"steps", formTexts, "How, one after the other."},
	}
	if own[0].name == "yields" {
		return slices.Concat(do, own, puts, price, how)
	}
	return slices.Concat(do, puts, price, own, how)
}

var caseKeys = []key{
	{"case", formText, "Name of the case."},
	{"format", formFormat, "Version of the file format; 1."},
	{"at", formPlace, "Where the person is."},
	{"who", formWho, "Whose hands are on the equipment."},
	{"tools", formTexts, "Tools at hand; left out: any."},
	{"alone", formFlag, "Nobody else is there."},
	{"confirmed", formWarningIDs, "Warnings whose facts were confirmed."},
	{"givens", formGivens, "What is known of the installation: {given: value, ...}."},
	{"findings", formFindings, "What was seen: {symptom: id, value: what was seen}."},
	{"done", formDone, "What was done, in order: {id: remedy, drop: still_down or well}."},
	{"drop", formAddress, "Address of the drop that this is about."},
	{"drops", formDrops, "The state of each drop by its address: good, dead or comes_and_goes."},
	{"order", formAddresses, "The drops in the order along the cable, from the host."},
	{"supplies", formSupplies, "The drops that share a supply: [[1, 3], [5]]."},
	{"sheet", formText, "File of the installation sheet."},
	{"effort", formEffort, "The user's own minutes for what a step stops, and for a visit."},
	{"expect", formExpect, "What is expected to follow; rule tests compare, diagnose ignores it."},
}

var findingKeys = []key{
	{"symptom", formSymptomID, "What was looked at."},
	{"value", formSymptomValue, "What was seen: a value, a band, or a reading with its unit."},
	{"sure", formFraction, "How sure that is, above 0 and at most 1."},
	{"at", formPlace, "Where it was seen, if not where the case says."},
	{"by", formText, "Who saw it."},
	{"after", formStepID, "What was done before it was seen."},
	{"drop", formAddress, "The drop it was seen at, if another one."},
	{"read", formText, "The reading as it was typed."},
}

var expectKeys = []key{
	{"first", formCauseID, "The cause that comes first."},
	{"in_first", formInFirst, "{3: [causes that stand among the first three]}."},
	{"at_least", formChances, "Chances that are at least so high."},
	{"at_most", formChances, "Chances that are at most so high."},
	{"outcome", formCaseOutcome, "How the case most likely ends."},
	{"next", formStepID, "The step that is offered first."},
	{"not_offered", formStepIDs, "Steps that must not be offered."},
	{"says", formTexts, "Words that must stand in what is told."},
	{"causes", formCauseNumbers, "Probabilities to 1e-9."},
	{"now", formCauseNumbers, "Probabilities as of now to 1e-9."},
	{"conditions", formConditionNums, "Probabilities to 1e-9."},
	{"none", formNumber, "Probability to 1e-9."},
	{"outside", formNumber, "Probability to 1e-9."},
	{"unit_out", formNumber, "Probability to 1e-9."},
	{"evidence", formNumber, "Probability to 1e-9."},
	{"top", formTop, "The likeliest set of causes, to 1e-9."},
	{"gain_bits", formStepNumbers, "Gains in bits to 1e-9."},
}

// required are the keys that an entry cannot do without, unless it changes a lower
// one; of a list in needsOneOf one at least.
var required = map[string][]string{
	"rulebase": {"name"}, "causes": {"name", "per_thousand", "source"}, "conditions": {"when"}, "symptoms": {"ask"}, "rules": {"when", "source"},
	"tests": {"do", "minutes"}, "remedies": {"do", "minutes"}, "warnings": {"level", "says"}, "sources": {"says"},
	"likelier": {"when", "times"}, "helps": {"do"}, "proof": {"watch"}, "complaint": {"symptom", "bad", "well"}, "done": {"id"}, "top": {"causes", "probability"},
	"finding": {"symptom", "value"},
}

var needsOneOf = map[string][]string{
	"symptoms": {"values", "bands"}, "rules": {"then", "rules_out", "establishes", "tell"}, "tests": {"yields", "puts_right"}, "on_site": {"called", "where", "values"},
}

var keyNames = sync.OnceValue(func() map[string][]string {
	names := map[string][]string{}
	for of, list := range keys() {
		for _, k := range list {
			names[of] = append(names[of], k.name)
		}
		if of == "anywhere" || of == "overlaying" {
			continue
		}
		for _, more := range []string{"note", "source"} {
			if !slices.Contains(names[of], more) {
				names[of] = append(names[of], more)
			}
		}
		names[of] = slices.Clip(names[of])
	}
	return names
})
