package conversation

import (
	"fmt"
	"slices"
	"strconv"

	"downdrop/rulebase"
)

// mostAnswers is how many numbered answers a question shows: one digit each.
const mostAnswers = 9

// numbered gives answers their keys: numbers from 1.
func numbered(answers []Answer) []Answer {
	for i := range answers {
		answers[i].Key = strconv.Itoa(i + 1)
	}
	return answers
}

// lettered gives answers letters for keys, where a bare number would be a reading.
func lettered(answers []Answer) []Answer {
	for i := range answers {
		answers[i].Key = string(rune('a' + i%26))
	}
	return answers
}

// dontKnow is the answer that passes a question over.
func dontKnow() Answer { return Answer{Says: sayDontKnow, Entry: "don't know"} }

func openingQuestion() Question {
	return Question{Kind: AskOpening, Says: sayOpening}
}

// symptomQuestion asks for a symptom by its place in the Base.
func (t *Talk) symptomQuestion(s *State, index int) Question {
	sy := &t.base.Symptoms[index]
	q := Question{Kind: AskSymptom, ID: sy.ID, After: lastDone(&s.Situation), Says: saySymptomQuestion(sy, t.base.SiteName(sy.ID).Text())}
	for _, v := range sy.Values {
		q.Answers = append(q.Answers, Answer{Says: plain(v), Here: t.base.SiteName(sy.ID).Values[v], Entry: sy.ID + "=" + v})
	}
	q.Answers = append(q.Answers, dontKnow())
	if sy.Banded() {
		q.Answers = lettered(q.Answers)
	} else {
		q.Answers = numbered(q.Answers)
	}
	return q
}

func (t *Talk) givenQuestion(index int, forStep string) Question {
	g := &t.base.Givens[index]
	q := Question{Kind: AskGiven, ID: g.ID, For: forStep, Says: sayGivenQuestion(g)}
	values := g.OneOf
	if g.Type == rulebase.Flag {
		values = []string{"yes", "no"}
	}
	for _, v := range values {
		q.Answers = append(q.Answers, Answer{Says: plain(v), Entry: g.ID + "=" + v})
	}
	q.Answers = append(q.Answers, dontKnow())
	if g.Type == rulebase.Number {
		q.Answers = lettered(q.Answers)
	} else {
		q.Answers = numbered(q.Answers)
	}
	return q
}

// questionAbout asks for a thing that an entry named without saying what it is.
func (t *Talk) questionAbout(s *State, th *thing) Question {
	if th.kind == rulebase.KindGiven {
		return t.givenQuestion(th.index, "")
	}
	return t.symptomQuestion(s, th.index)
}

// whichQuestion asks back what an entry meant.
func whichQuestion(text string, answers []Answer) Question {
	more := len(answers) - (mostAnswers - 1)
	if more > 0 {
		answers = answers[:mostAnswers-1]
	}
	q := Question{Kind: AskWhich, ID: text, Says: sayWhich(text, len(answers), more)}
	q.Answers = numbered(append(slices.Clone(answers), Answer{Says: sayNoneOfThese, Entry: "none of these"}))
	return q
}

func placeQuestion() Question {
	return Question{Kind: AskPlace, Says: []string{sayAskPlace}, Answers: numbered([]Answer{
		{Says: placeNames[rulebase.Phone], Entry: "on the phone"}, {Says: placeNames[rulebase.Field], Entry: "at the drop"}, {Says: placeNames[rulebase.Bench], Entry: "at the bench"}, dontKnow()})}
}

func whoQuestion() Question {
	q := Question{Kind: AskWho, Says: []string{sayAskWho}}
	for w := rulebase.Operator; w <= rulebase.Engineer; w++ {
		q.Answers = append(q.Answers, Answer{Says: whoNames[w], Entry: whoNames[w]})
	}
	q.Answers = numbered(append(q.Answers, dontKnow()))
	return q
}

func aloneQuestion() Question {
	return Question{Kind: AskAlone, Says: []string{sayAskAlone}, Answers: numbered([]Answer{{Says: sayIsAlone, Entry: "alone"}, {Says: sayIsNotAlone, Entry: "not alone"}, dontKnow()})}
}

// dropsQuestion asks how much is down. Who cannot name drops, as most callers, may
// still know that it is this one or all of them.
func (t *Talk) dropsQuestion() Question {
	q := Question{Kind: AskDrops, Says: sayAskDrops}
	g := &t.base.Givens[t.filled("extent")]
	for _, word := range []string{rulebase.ExtentOne, rulebase.ExtentAll} {
		if slices.Contains(g.OneOf, word) {
			q.Answers = append(q.Answers, Answer{Says: extentNames[word], Entry: g.ID + "=" + word})
		}
	}
	q.Answers = lettered(append(q.Answers, dontKnow()))
	return q
}

func thisDropQuestion(s *rulebase.Situation) Question {
	q := Question{Kind: AskThisDrop, Says: []string{sayAskThisDrop}}
	for _, a := range downDrops(s) {
		if len(q.Answers) == mostAnswers-1 {
			break
		}
		q.Answers = append(q.Answers, Answer{Says: fmt.Sprintf("drop %d", a), Entry: fmt.Sprintf("this is drop %d", a)})
	}
	q.Answers = lettered(append(q.Answers, dontKnow()))
	return q
}

func (t *Talk) dropNowQuestion(st *rulebase.Step) Question {
	return Question{Kind: AskDropNow, ID: st.ID, Says: []string{sayAskDropNow}, Answers: numbered([]Answer{
		{Says: sayWorksNow, Entry: "works now"}, {Says: sayStillDown, Entry: "still down"}, {Says: sayNotLooked, Entry: "don't know"}})}
}

func (t *Talk) proofQuestion(st *rulebase.Step) Question {
	return Question{Kind: AskProof, ID: st.ID, Answers: numbered([]Answer{
		{Says: sayStaysWell, Entry: "still works"}, {Says: sayDownAgain, Entry: "down again"}, {Says: sayNotWatched, Entry: "don't know"}})}
}

// confirmQuestion asks for the fact that a warning names. Its first answer is not
// now: who answers 1 from habit confirms nothing.
func (t *Talk) confirmQuestion(s *State, warning int, st *rulebase.Step) Question {
	w := &t.base.Warnings[warning]
	var also []string
	for _, o := range st.Warnings {
		if o != warning && !t.acknowledged(s, o, st) {
			also = append(also, t.base.Warnings[o].ID)
		}
	}
	return Question{Kind: AskConfirm, ID: w.ID, For: st.ID, Says: sayAskConfirm(w, st), Typed: sayHowConfirm(w, also), Answers: numbered([]Answer{
		{Says: sayNotNow, Entry: "not now"}, {Says: sayConfirm(w), Entry: "confirm " + w.ID}})}
}

// confirmAnswers are the warnings that can be confirmed now: the one asked for first.
func (t *Talk) confirmAnswers(s *State) []Answer {
	var out []Answer
	for i := range t.base.Warnings {
		w := &t.base.Warnings[i]
		a := Answer{Says: sayConfirm(w), Entry: "confirm " + w.ID}
		if s.Pending.Kind == AskConfirm && s.Pending.ID == w.ID {
			out = slices.Insert(out, 0, a)
		} else if !slices.Contains(s.Situation.Confirmed, w.ID) {
			out = append(out, a)
		}
	}
	return out
}

// stepQuestion proposes a step. A test that shows one thing takes its result at
// once: doing it and saying so first would be an entry more for nothing.
func (t *Talk) stepQuestion(s *State, st *rulebase.Step) Question {
	q := Question{Kind: AskStep, ID: st.ID}
	number := numbered
	switch {
	case st.Kind == rulebase.KindRemedy:
		q.Answers = []Answer{{Says: sayDoneWorks, Entry: "done, works now"}, {Says: sayDoneDown, Entry: "done, still down"}}
	case t.showsOne(st):
		result := t.symptomQuestion(s, st.Yields[0])
		q.Says, q.Answers = result.Says, result.Answers[:len(result.Answers)-1]
		if t.base.Symptoms[st.Yields[0]].Banded() {
			number = lettered
		}
	default:
		q.Answers = []Answer{{Says: sayDoneAnswer, Entry: "done"}}
	}
	q.Answers = number(append(q.Answers, Answer{Says: sayCannotDo, Entry: "skip"}, Answer{Says: sayWhatElse, Entry: "what else"}))
	return q
}

// showsOne says whether a test has one result and changes nothing.
func (t *Talk) showsOne(st *rulebase.Step) bool {
	return st.Kind == rulebase.KindTest && len(st.Yields) == 1 && len(st.PutsRight) == 0
}

func (t *Talk) endQuestion(s *State) Question {
	says, down := sayAskEnd, sayNotAll
	if n := len(s.Situation.Done); n > 0 {
		down = sayDownAgain
		if st := t.words.stepByID[s.Situation.Done[n-1].ID]; st != nil && st.Temporary {
			says = sayAskStopgapEnd
		}
	}
	return Question{Kind: AskEnd, Says: says, Answers: numbered([]Answer{{Says: saySaveAnswer, Entry: "stop and save as a case file"}, {Says: sayQuitAnswer, Entry: "quit"}, {Says: down, Entry: "down again"}})}
}

// chosen gives the entry that a key, or the words of an answer, stand for; ok is
// false where it is neither.
func (q Question) chosen(entry string) (out string, ok bool) {
	key := lower(entry)
	if m := numberRE.FindStringSubmatch(entry); m != nil {
		key = m[1]
	}
	for _, a := range q.Answers {
		if a.Key == key || lower(a.Says) == lower(entry) {
			return a.Entry, true
		}
	}
	for _, a := range q.Answers {
		if a.Here != "" && lower(a.Here) == lower(entry) {
			return a.Entry, true
		}
	}
	return entry, false
}

// wantsNumber says whether a bare number can only be the number of an answer.
func (q Question) wantsNumber() bool { return len(q.Answers) > 0 && q.Answers[0].Key == "1" }
