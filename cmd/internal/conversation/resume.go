package conversation

import (
	"context"
	"slices"

	"downdrop/cases"
	"downdrop/rulebase"
)

// A Memory is what a conversation has to keep beside the Situation to go on where it
// stood: nothing that is believed, only what was asked and passed over. It is plain
// data, so that whoever keeps a case keeps it with the case.
type Memory struct {
	Settled []string `json:"settled,omitempty"` // as State.Settled
	Told    []string `json:"told,omitempty"`    // as State.Told
	Waiting []About  `json:"waiting,omitempty"` // as State.Waiting

	Acknowledged []Acknowledgement `json:"acknowledged,omitempty"` // as State.Acknowledged
}

// About is which question it is, without its words, which follow from the rulebase.
type About struct {
	Kind  QuestionKind `json:"kind"`
	ID    string       `json:"id,omitempty"`
	For   string       `json:"for,omitempty"`
	After string       `json:"after,omitempty"`
	// Says and Answers of an ask-back, which follow from what was typed.
	Says    []string `json:"says,omitempty"`
	Answers []Answer `json:"answers,omitempty"`
}

// About says which question this is.
func (q Question) About() About {
	a := About{Kind: q.Kind, ID: q.ID, For: q.For, After: q.After}
	if q.Kind == AskWhich {
		a.Says, a.Answers = q.Says, q.Answers
	}
	return a
}

// Memory is what has to be kept of a State.
func (s State) Memory() Memory {
	m := Memory{Settled: slices.Clone(s.Settled), Told: slices.Clone(s.Told), Acknowledged: slices.Clone(s.Acknowledged)}
	for _, q := range s.Waiting {
		if q.Kind != AskElse {
			m.Waiting = append(m.Waiting, q.About())
		}
	}
	return m
}

// recall makes the State that a Memory is of. What the rulebase does not know any more
// is left out.
func (t *Talk) recall(s rulebase.Situation, sheet *Sheet, m Memory) State {
	state := State{Situation: s.Clone(), Sheet: sheet.clone(), Settled: slices.Clone(m.Settled), Told: slices.Clone(m.Told), Acknowledged: slices.Clone(m.Acknowledged)}
	state.confirmed()
	for _, a := range m.Waiting {
		if q, ok := t.question(&state, a); ok {
			state.Waiting = append(state.Waiting, q)
		}
	}
	return state
}

// question gives a question its words again; false where it is none any more.
func (t *Talk) question(s *State, a About) (Question, bool) {
	switch a.Kind {
	case AskSymptom, AskGiven:
		return t.questionOfThing(s, a)
	case AskDropNow, AskProof, AskConfirm, AskOut, AskFound, AskLeft, AskStep:
		return t.questionOfStep(s, a)
	case AskPlace:
		return placeQuestion(), true
	case AskWho:
		return whoQuestion(), true
	case AskAlone:
		return aloneQuestion(), true
	case AskDrops:
		if t.filled("extent") < 0 {
			return Question{}, false
		}
		return t.dropsQuestion(), true
	case AskThisDrop:
		return thisDropQuestion(&s.Situation), true
	case AskWhich, AskOpening, AskElse, AskMore, AskEnd:
		return Question{Kind: a.Kind, ID: a.ID, For: a.For, After: a.After, Says: a.Says, Answers: a.Answers}, true
	}
	return Question{}, false
}

// questionOfThing asks for a symptom or a given again.
func (t *Talk) questionOfThing(s *State, a About) (Question, bool) {
	th := t.words.thing(a.ID)
	switch {
	case th == nil:
		return Question{}, false
	case a.Kind == AskSymptom && th.kind == rulebase.KindSymptom:
		q := t.symptomQuestion(s, th.index)
		q.For, q.After = a.For, a.After
		return q, true
	case a.Kind == AskGiven && th.kind == rulebase.KindGiven:
		return t.givenQuestion(th.index, a.For), true
	}
	return Question{}, false
}

// questionOfStep asks again what belongs to a step: to do it, what stands before it, what became of it.
func (t *Talk) questionOfStep(s *State, a About) (Question, bool) {
	st, before := t.words.stepByID[a.ID], t.words.stepByID[a.For]
	switch {
	case a.Kind == AskStep && st != nil:
		return Question{Kind: a.Kind, ID: a.ID, For: a.For, After: a.After, Says: a.Says, Answers: a.Answers}, true
	case a.Kind == AskDropNow && st != nil:
		return t.dropNowQuestion(st), true
	case a.Kind == AskProof && st != nil:
		return t.proofQuestion(st), true
	case a.Kind == AskConfirm && before != nil:
		ref, _ := t.base.Lookup(a.ID)
		if ref.Kind != rulebase.KindWarning {
			return Question{}, false
		}
		return t.confirmQuestion(s, ref.Index, before), true
	case s.Sheet == nil:
		return Question{}, false
	case a.Kind == AskOut && st != nil:
		return askOut(st, a.For), true
	case a.Kind == AskFound && before != nil && slices.Contains(cases.SettingNames, a.ID):
		return foundQuestion(a.ID, before), true
	case a.Kind == AskLeft && slices.Contains(cases.SettingNames, a.ID):
		return leftQuestion(a.ID, s.Sheet.Found[a.ID]), true
	}
	return Question{}, false
}

// Resume takes a conversation up again where it stood, for a skin that keeps nothing
// between two entries; sheet is nil where no settings are kept. The reply says in short
// what is likely, and asks what is to be asked now.
func (t *Talk) Resume(ctx context.Context, s rulebase.Situation, sheet *Sheet, m Memory) (State, Reply) {
	state, lapsed := t.lapse(t.recall(s, sheet, m))
	d, err := t.diagnose(ctx, state.Situation, brief)
	if err != nil {
		r := Reply{Kind: AskedBack}
		r.add(PartNotice, sayFailed(err))
		return state, r
	}
	r := Reply{Kind: Asked, Diagnosis: d}
	if lapsed {
		r.add(PartNotice, sayLapsed)
	}
	r.add(PartNotice, (&turn{t: t}).prune(&state, d)...)
	state.Pending = t.choose(&state, d)
	r.Question = state.Pending
	r.addSummary(t, &state, d)
	r.addQuestion(t, d)
	if state.Pending.Kind == AskEnd {
		r.Kind = Finished
	}
	return state, r
}

// Answer takes in an entry that answers a question asked before, as Step does, of a
// conversation that was kept. Chosen says that the entry is the Entry of one of the
// question's answers, so that it is taken as it is written. A question that is none
// any more is an opening: what is entered then still counts.
func (t *Talk) Answer(ctx context.Context, s rulebase.Situation, sheet *Sheet, m Memory, about About, entry string, chosen bool) (State, Reply) {
	state := t.recall(s, sheet, m)
	q, ok := t.question(&state, about)
	if !ok {
		q = Question{Kind: AskOpening}
	}
	if st := t.words.stepByID[q.ID]; q.Kind == AskStep && st != nil {
		q = t.stepQuestion(&state, st)
	}
	if chosen {
		q.Answers = []Answer{{Says: entry, Entry: entry}}
	}
	state.Pending = q
	return t.Step(ctx, state, entry)
}

// A Reading is what a question wants that is answered by a reading.
type Reading struct {
	ID   string // of the symptom or given
	Unit string // "" a plain number
}

// Reading says what a question wants where it wants a reading.
func (t *Talk) Reading(q Question) (Reading, bool) {
	id := q.ID
	if st := t.words.stepByID[q.ID]; q.Kind == AskStep {
		if st == nil || !t.showsOne(st) {
			return Reading{}, false
		}
		id = t.base.Symptoms[st.Yields[0]].ID
	}
	th := t.words.thing(id)
	if th == nil || !th.reads() || q.Kind != AskSymptom && q.Kind != AskGiven && q.Kind != AskStep {
		return Reading{}, false
	}
	return Reading{ID: id, Unit: th.unit}, true
}

// Known are all things said, in words.
func (t *Talk) Known(s rulebase.Situation) []string { return sayKnown(t, &s) }

// IsUndo says whether an entry takes the last one back. A skin that keeps no earlier
// State does that itself.
func IsUndo(entry string) bool { return undoRE.MatchString(clean(entry)) }
