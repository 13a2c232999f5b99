package conversation

import (
	"cmp"
	"encoding/json"
	"fmt"
	"reflect"
	"slices"
	"sort"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/rulebase"
)

// ConfirmedFor is how long a confirmed fact stands for: "it is switched off" is true of
// the moment at which somebody looked. A choice of ours, no source.
const ConfirmedFor = 30 * time.Minute

// An Acknowledgement is a fact that somebody confirmed before a step that can hurt: which,
// before which step, when, and who stood where. The rule, for every screen:
//
//   - Before each step that moves something the grave facts are asked anew: they serve
//     for that step alone, and for what is done next.
//   - Before other steps they are asked once for each state of isolation. That changes
//     with a step that switches something off or brings it back.
//   - None stands for longer than ConfirmedFor, at another drop or place, or for another
//     person.
type Acknowledgement struct {
	Warning string         `json:"warning"`
	For     string         `json:"for,omitempty"` // the step; "" it was said before any was asked for
	At      time.Time      `json:"at"`
	Drop    int            `json:"drop,omitempty"`
	Place   rulebase.Place `json:"place,omitempty"`
	Who     rulebase.Who   `json:"who,omitempty"`
}

// WithClock gives a Talk that knows what time it is: without one nothing lapses by time.
func (t *Talk) WithClock(now func() time.Time) *Talk {
	c := *t
	c.clock = now
	return &c
}

func (t *Talk) now() time.Time {
	if t.clock == nil {
		return time.Time{}
	}
	return t.clock()
}

// moves says whether a step can set something going by itself, or by what it brings back.
func moves(st *rulebase.Step) bool {
	return st.BringsBack || st.Hazard&(rulebase.HazardMotion|rulebase.HazardUnknown) != 0
}

// turnsPower says whether a step changes what is isolated.
func turnsPower(st *rulebase.Step) bool {
	return st.BringsBack || st.Stops != rulebase.StopsNothing
}

// eachTime says whether a warning's fact is asked before each such step anew.
func (t *Talk) eachTime(warning int, st *rulebase.Step) bool {
	return moves(st) && t.base.Warnings[warning].Level == rulebase.DangerLevel
}

// acknowledged says whether a warning's fact stands confirmed for a step.
func (t *Talk) acknowledged(s *State, warning int, st *rulebase.Step) bool {
	id, each := t.base.Warnings[warning].ID, t.eachTime(warning, st)
	return slices.ContainsFunc(s.Acknowledged, func(a Acknowledgement) bool {
		return a.Warning == id && (a.For == st.ID || !each)
	})
}

// unacknowledged asks for the first fact that a step still wants confirmed.
func (t *Talk) unacknowledged(s *State, st *rulebase.Step) (Question, bool) {
	if st == nil || st.Implied || !t.needsConfirming(st) {
		return Question{}, false
	}
	for _, w := range st.Warnings {
		if !t.acknowledged(s, w, st) {
			return t.confirmQuestion(s, w, st), true
		}
	}
	return Question{}, false
}

// A Fact is one that a warning names, to be confirmed before a step.
type Fact struct {
	Warning  string `json:"warning"`  // its id
	Word     string `json:"word"`     // its signal word, in capitals
	Says     string `json:"says"`     // what it warns of, with its reason
	Confirms string `json:"confirms"` // what is confirmed, in words that are true or not
	Stands   bool   `json:"stands"`   // it stands confirmed for the step
}

// Facts are all that stand before the step that a question of kind AskConfirm is asked for, so that
// a screen with room for it asks for them at once: [ConfirmEntry] says which of them are so. Nil for other questions.
func (t *Talk) Facts(s rulebase.Situation, m Memory, q Question) []Fact {
	st := t.words.stepByID[q.For]
	if q.Kind != AskConfirm || st == nil {
		return nil
	}
	state, _ := t.lapse(t.recall(s, nil, Memory{Acknowledged: m.Acknowledged}))
	facts := make([]Fact, 0, len(st.Warnings))
	for _, i := range st.Warnings {
		w := &t.base.Warnings[i]
		facts = append(facts, Fact{w.ID, strings.ToUpper(string(w.Level)), strings.TrimSpace(w.Says + " " + w.Because), w.Confirms(), t.acknowledged(&state, i, st)})
	}
	return facts
}

// ConfirmEntry is the entry that names the facts of warnings, by their ids, as so.
func ConfirmEntry(warnings []string) string { return "confirm " + strings.Join(warnings, ", ") }

// acknowledge notes that the fact of a warning was confirmed, before the step that is
// in hand where it was asked for.
func (t *Talk) acknowledge(s *State, warning string) {
	a := Acknowledgement{Warning: warning, At: t.now(), Drop: s.Situation.Drop, Place: s.Situation.At, Who: s.Situation.Who}
	if q := s.inHand(); q.Kind == AskConfirm {
		a.For = q.For
	}
	s.Acknowledged = slices.DeleteFunc(s.Acknowledged, func(o Acknowledgement) bool { return o.Warning == a.Warning && o.For == a.For })
	s.Acknowledged = append(s.Acknowledged, a)
	s.confirmed()
}

// confirmed makes the situation's list what stands acknowledged.
func (s *State) confirmed() {
	stands := func(id string) bool {
		return slices.ContainsFunc(s.Acknowledged, func(a Acknowledgement) bool { return a.Warning == id })
	}
	c := slices.DeleteFunc(slices.Clone(s.Situation.Confirmed), func(id string) bool { return !stands(id) })
	for _, a := range s.Acknowledged {
		if !slices.Contains(c, a.Warning) {
			c = append(c, a.Warning)
		}
	}
	s.Situation.Confirmed = c
}

// stands says whether an acknowledgement still holds for who is there now.
func (a *Acknowledgement) stands(s *rulebase.Situation, now time.Time) bool {
	switch age := now.Sub(a.At); {
	case !now.IsZero() && (age > ConfirmedFor || age < -cases.MaxClockJump):
		return false
	case a.Drop != 0 && a.Drop != s.Drop, a.Place != "" && a.Place != s.At, a.Who != rulebase.Anybody && a.Who != s.Who:
		return false
	}
	return true
}

// lapse takes back what stands no longer by the time or for who is there. It gives s
// itself where all of it stands.
func (t *Talk) lapse(s State) (State, bool) {
	now := t.now()
	gone := func(a Acknowledgement) bool { return !a.stands(&s.Situation, now) }
	if !slices.ContainsFunc(s.Acknowledged, gone) {
		return s, false
	}
	before := s.Situation.Confirmed
	s.Situation = s.Situation.Clone()
	s.Acknowledged = slices.DeleteFunc(slices.Clone(s.Acknowledged), gone)
	s.confirmed()
	return s, len(s.Situation.Confirmed) < len(before)
}

// spend takes back what served for what was done or seen since a State.
func (t *Talk) spend(s *State, before *State) {
	found := s.Situation.Findings[min(len(before.Situation.Findings), len(s.Situation.Findings)):]
	done := s.Situation.Done[min(len(before.Situation.Done), len(s.Situation.Done)):]
	if len(done) == 0 && reflect.DeepEqual(s.Situation.Findings, before.Situation.Findings) {
		return
	}
	power := slices.ContainsFunc(done, func(d rulebase.Done) bool {
		st := t.words.stepByID[d.ID]
		return st != nil && turnsPower(st)
	})
	if q := before.inHand(); q.Kind == AskStep && t.words.stepByID[q.ID] != nil { // a test notes no more than what it shows
		st := t.words.stepByID[q.ID]
		power = power || turnsPower(st) && slices.ContainsFunc(found, func(f rulebase.Finding) bool {
			return slices.ContainsFunc(st.Yields, func(y int) bool { return t.base.Symptoms[y].ID == f.Symptom })
		})
	}
	s.Acknowledged = slices.DeleteFunc(s.Acknowledged, func(a Acknowledgement) bool { return power || t.servedOnce(a) })
	s.confirmed()
}

// servedOnce says whether an acknowledgement is of the kind that serves for one step alone.
func (t *Talk) servedOnce(a Acknowledgement) bool {
	ref, _ := t.base.Lookup(a.Warning)
	st := t.words.stepByID[a.For]
	return ref.Kind == rulebase.KindWarning && st != nil && t.eachTime(ref.Index, st)
}

// passOver takes back what was confirmed for a step that is left alone.
func (t *Talk) passOver(s *State, step string) {
	s.Acknowledged = slices.DeleteFunc(s.Acknowledged, func(a Acknowledgement) bool { return a.For == step && t.servedOnce(a) })
	s.confirmed()
}

// asSaid takes what a situation has as confirmed for said now.
func (t *Talk) asSaid(s *rulebase.Situation) []Acknowledgement {
	var out []Acknowledgement
	for _, id := range s.Confirmed {
		out = append(out, Acknowledgement{Warning: id, At: t.now(), Drop: s.Drop, Place: s.At, Who: s.Who})
	}
	return out
}

// MemoryOf is what a kept case says of its conversation. What was confirmed by another
// door counts from its event on; what was confirmed before the case was handed over, not at all.
func MemoryOf(c *cases.Case) (Memory, error) {
	var m Memory
	if c.Talked != nil && c.Talked.Body.Memory != nil {
		if err := json.Unmarshal(c.Talked.Body.Memory, &m); err != nil {
			return m, fmt.Errorf("the conversation of case %s: %w", c.Code, err)
		}
	}
	for id, since := range c.ConfirmedSince() {
		if !slices.ContainsFunc(m.Acknowledged, func(a Acknowledgement) bool { return a.Warning == id }) {
			s := &c.Situation
			m.Acknowledged = append(m.Acknowledged, Acknowledgement{Warning: id, At: since, Drop: s.Drop, Place: s.At, Who: s.Who})
		}
	}
	var handed time.Time
	for i := range c.Events {
		if c.Events[i].Kind == cases.KindHandedOver && c.Events[i].At.After(handed) {
			handed = c.Events[i].At
		}
	}
	m.Acknowledged = slices.DeleteFunc(m.Acknowledged, func(a Acknowledgement) bool { return !handed.IsZero() && !a.At.After(handed) })
	sort.Slice(m.Acknowledged, func(i, j int) bool { // see bestFirst
		a, b := m.Acknowledged[i], m.Acknowledged[j]
		return cmp.Or(a.At.Compare(b.At), strings.Compare(a.Warning, b.Warning), strings.Compare(a.For, b.For)) < 0
	})
	return m, nil
}

// Standing is a situation without what no longer stands confirmed.
func (t *Talk) Standing(s rulebase.Situation, m Memory) rulebase.Situation {
	state := t.recall(s, nil, Memory{Acknowledged: m.Acknowledged})
	state, _ = t.lapse(state)
	return state.Situation
}
