package rulebase

import "sync"

// benchKeys are the keys of the maps of a bench procedure, in the order in which they
// are written; see keys.
var benchKeys = sync.OnceValue(func() map[string][]key {
	return map[string][]key{
		"procedure": {
			{"procedure", formText, "Its id."},
			{"format", formFormat, "Version of the file format; 1."},
			{"name", formText, "What it is called on the screen and on the record."},
			{"version", formWhole, "Counted up by whoever keeps it."},
			{"proves", formText, "What a unit that passed it was shown to do."},
			{"not_tested", formTexts, "What it leaves open even where everything passed."},
			{"passed_is", formText, "The verdict on a unit that passed: good (default), or not_proven for a check too short for that."},
			{"replaces", formFlag, "It stands for the procedure of this id in a lower rulebase."},
			{"forces", formAny, "What steps leave in place: {id: what is to be taken out again}."},
			{"warnings", formAny, "Warnings of its own beside those of the rulebase: {id: {level, says}}."},
			{"steps", formAny, "The steps, in their order."},
			{"source", formText, "Where it is known from; common_practice where nobody wrote it down."},
			{"note", formAny, "A remark for whoever keeps the file; it is never shown."},
		},
		"bench_warning": {
			{"level", formLevel, "The signal word: danger, warning, caution, notice."},
			{"when", formExpression, "The facts for which it counts; without it always."},
			{"says", formText, "What can hurt and what to do, read before the step."},
		},
		"bench_step": {
			{"step", formText, "Its id."},
			{"name", formText, "What it is, in a few words."},
			{"when", formExpression, "The facts for which it applies; without it always."},
			{"minutes", formMinutes, "Hands-on time."},
			{"who", formWho, "The least person it needs; default technician."},
			{"warnings", formWarningIDs, "What must be read before the step."},
			{"connect", formText, "What to connect, fit or take off. {name} in it is a figure of the profile; so also in the three below."},
			{"set", formText, "What to set."},
			{"do", formText, "What to do then."},
			{"expect", formText, "What a good unit shows."},
			{"proves", formText, "Whose fault a fail is: unit (default), modules, bench, papers, settings or complaint."},
			{"stop_if_fail", formFlag, "After a fail nothing more is done."},
			{"puts_in", formTexts, "Forces that stay in place after it."},
			{"takes_out", formTexts, "Forces that it takes out again."},
			{"readings", formAny, "What is asked or read."},
			{"source", formText, "Where limits are known from."},
			{"note", formAny, "A remark for whoever keeps the file; it is never shown."},
		},
		"bench_reading": {
			{"reading", formText, "Its id; later steps can read it by this name."},
			{"ask", formText, "The question."},
			{"when", formExpression, "The facts for which it is asked; without it always."},
			{"unit", formText, "For a number: its unit, 1 for a bare number."},
			{"one_of", formWords, "For a word: the answers."},
			{"points", formExpression, "For points: how many there are. All pass, or the exceptions."},
			{"messages", formExpression, "For a count of errors: in how many messages at least."},
			{"error_rate", formExpression, "The share of wrong messages that the count must show not to be reached."},
			{"text", formText, "For a text that is only written down: serial, complaint or words."},
			{"with", formText, "The instrument it is read with."},
			{"least", formExpression, "A reading below is a fail."},
			{"most", formExpression, "A reading above is a fail."},
			{"equal", formExpression, "Any other reading is a fail."},
			{"passes", formTexts, "Of a word: those that pass; of yes and no: default yes."},
			{"finding", formSymptomID, "A symptom in this unit, which takes the reading itself."},
			{"means", formAny, "{an outcome: {symptom: value}}: what it says to a diagnosis. Outcomes of a number are below, inside, above; of words the words; of the others pass, fail."},
			{"source", formText, "Where its limits are known from."},
			{"note", formAny, "A remark for whoever keeps the file; it is never shown."},
		},
	}
})

func benchKeyNames(of string) []string {
	var names []string
	for _, k := range benchKeys()[of] {
		names = append(names, k.name)
	}
	return names
}
