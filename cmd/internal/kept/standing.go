package kept

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// A Standing is a case as it stands at a moment, and where its conversation does.
type Standing struct {
	Case      *cases.Case
	Situation rulebase.Situation // the case's, but for what does not stand confirmed any more
	Memory    conversation.Memory
	Said      Said // what was answered to the last entry
}

// Said is what was answered to an entry, kept with it for whoever did not see it: after a
// reload, or on the phone that the case was handed over to.
type Said struct {
	Heard    []string `json:"heard,omitempty"`
	NotHeard []string `json:"not_heard,omitempty"`
	Notices  []string `json:"notices,omitempty"`
}

// Stand says where a case stands now, by the clock of the talk.
func Stand(c *cases.Case, t *conversation.Talk) (*Standing, error) {
	memory, err := conversation.MemoryOf(c)
	if err != nil {
		return nil, err
	}
	st := &Standing{Case: c, Situation: t.Standing(c.Situation, memory), Memory: memory}
	if c.Talked != nil && c.Talked.Body.Said != nil {
		if err := json.Unmarshal(c.Talked.Body.Said, &st.Said); err != nil {
			return nil, fmt.Errorf("the conversation of case %s: %w", c.Code, err)
		}
	}
	return st, nil
}

// Has says whether an entry was taken in.
func (st *Standing) Has(entry string) bool {
	return slices.ContainsFunc(st.Case.Events, func(e cases.Event) bool { return cases.EntryOf(e.ID) == entry })
}

// CanUndo says whether there is an entry to take back.
func (st *Standing) CanUndo() bool {
	return st.Case.Talked != nil && st.Case.Talked.Body.Is != cases.TalkBegun
}

// An Entry is what one form says. Its ID is made by whoever asks, once for each thing said.
type Entry struct {
	ID     string
	Text   string
	Chosen bool // it is the Entry of one of the answers offered
	About  conversation.About
}

// Hear takes an entry in.
func (st *Standing) Hear(ctx context.Context, t *conversation.Talk, e Entry) (conversation.State, conversation.Reply) {
	return t.Answer(ctx, st.Case.Situation, conversation.SheetOf(st.Case), st.Memory, e.About, e.Text, e.Chosen)
}

// Resume asks what is to be asked now.
func (st *Standing) Resume(ctx context.Context, t *conversation.Talk) (conversation.State, conversation.Reply) {
	return t.Resume(ctx, st.Case.Situation, conversation.SheetOf(st.Case), st.Memory)
}

// explanations are what may be asked without saying anything.
var explanations = map[string]string{"why": "why", "else": "what else", "need": "what would you need"}

// Explain is Resume, with the answer to why, else or need before it; any other word asks nothing more.
func (st *Standing) Explain(ctx context.Context, t *conversation.Talk, what string) conversation.Reply {
	state, now := st.Resume(ctx, t)
	entry, ok := explanations[what]
	if !ok || st.Case.State == cases.StateClosed {
		return now
	}
	_, reply := t.Step(ctx, state, entry)
	if reply.Diagnosis == nil {
		reply.Diagnosis = now.Diagnosis
	}
	reply.Parts = append(reply.Parts, slices.DeleteFunc(slices.Clone(now.Parts), func(p conversation.Part) bool { return p.Kind != conversation.PartSummary })...)
	return reply
}

// Told is what became of an entry that changed nothing, with what is asked now: that may have more to it
// than what was asked then. Only a question of the entry's own, for one of several steps, stays.
func Told(heard, now conversation.Reply) conversation.Reply {
	asks := func(p conversation.Part) bool {
		return p.Kind == conversation.PartQuestion || p.Kind == conversation.PartWarning
	}
	own := heard.Question.Kind == conversation.AskElse
	if !own {
		heard.Question = now.Question
	}
	heard.Parts = slices.DeleteFunc(slices.Clone(heard.Parts), func(p conversation.Part) bool {
		return p.Kind == conversation.PartSummary || !own && asks(p)
	})
	rest := slices.DeleteFunc(slices.Clone(now.Parts), func(p conversation.Part) bool { return own && asks(p) })
	heard.Parts, heard.Diagnosis = append(heard.Parts, rest...), now.Diagnosis
	return heard
}

// mostSearched is how many questions are shown of those that words could be about.
const mostSearched = 4

// Hearing is what would be understood of what is being typed, and the questions that it could be
// about. Nothing of it counts until it is said.
func (st *Standing) Hearing(t *conversation.Talk, text string) (understood []string, about []conversation.Question) {
	_, heard := t.Hear(st.Situation, text)
	for _, h := range heard {
		if h.Outcome == conversation.Understood {
			understood = append(understood, h.Means)
		}
	}
	return understood, t.Search(st.Situation, text, mostSearched)
}

// Drafts are what an entry changed: the events of the case, what the conversation has to
// know, and the ranking that was shown; to be written as one. None: it changed nothing.
func (st *Standing) Drafts(b *rulebase.Base, entry string, state conversation.State, reply conversation.Reply) ([]cases.Draft, error) {
	drafts, beside := st.changes(state.Situation), Beside(b, st.Case, state)
	memory, err := json.Marshal(state.Memory())
	if err != nil {
		return nil, err
	}
	before, err := json.Marshal(st.Memory)
	if err != nil {
		return nil, err
	}
	if len(drafts) == 0 && len(beside) == 0 && bytes.Equal(memory, before) {
		return nil, nil
	}
	if len(drafts) > 0 && reply.Diagnosis != nil {
		drafts = append(drafts, Shown(reply.Diagnosis)...)
	}
	v := Sort(reply)
	talked := cases.Talked{Memory: memory, Said: cases.Body(Said{v.Heard, v.NotHeard, v.Notices})}
	return st.Case.Entry(entry, append(drafts, beside...), talked), nil
}

func (st *Standing) changes(after rulebase.Situation) []cases.Draft {
	return st.Case.Changes(AsOfNow(after.Clone()))
}

// ErrNoneBefore says that there is nothing to take back.
var ErrNoneBefore = errors.New("there is nothing to take back")

// Undo are the drafts that take the last entry back: the case's situation becomes what it
// was before it, by events that take back; nothing is deleted. What was said since through another
// door stays. heard is what is answered to it.
func (st *Standing) Undo(b *rulebase.Base, entry, heard string) (drafts []cases.Draft, place rulebase.Place, err error) {
	now, events := st.Case.TalkStands(), st.Case.Events
	last := slices.IndexFunc(events, func(e cases.Event) bool { return e.ID == now })
	if now == "" || last < 0 {
		return nil, "", ErrNoneBefore
	}
	var body cases.Talked
	if err := json.Unmarshal(events[last].Body, &body); err != nil {
		return nil, "", fmt.Errorf("entry %s: %w", now, err)
	}
	first := slices.IndexFunc(events, func(e cases.Event) bool { return cases.EntryOf(e.ID) == cases.EntryOf(now) })
	was := cases.Fold(append(slices.Clone(events[:first]), otherDoors(events, last)...))
	if was == nil {
		was = &cases.Case{}
	}
	talked := cases.Talked{Is: cases.TalkBegun, Said: cases.Body(Said{Heard: []string{heard}})}
	if body.Before != "" {
		before := slices.IndexFunc(events, func(e cases.Event) bool { return e.ID == body.Before })
		if before < 0 {
			return nil, "", ErrNoneBefore
		}
		var was cases.Talked
		if err := json.Unmarshal(events[before].Body, &was); err != nil {
			return nil, "", fmt.Errorf("entry %s: %w", body.Before, err)
		}
		talked.Memory, talked.Before, talked.Is = was.Memory, was.Before, body.Before
	}
	situation := was.Situation.Clone()
	situation.Confirmed = slices.DeleteFunc(situation.Confirmed, func(w string) bool { return !slices.Contains(st.Situation.Confirmed, w) })
	drafts = append(st.changes(situation), Beside(b, st.Case, conversation.State{Situation: situation, Sheet: conversation.SheetOf(was)})...)
	return st.Case.Entry(entry, drafts, talked), situation.At, nil
}

// otherDoors are the events behind a place that no entry of a page wrote.
func otherDoors(events []cases.Event, behind int) []cases.Event {
	entries := map[string]bool{}
	for i := range events {
		if events[i].Kind == cases.KindTalked {
			entries[cases.EntryOf(events[i].ID)] = true
		}
	}
	return slices.DeleteFunc(slices.Clone(events[behind+1:]), func(e cases.Event) bool {
		return entries[cases.EntryOf(e.ID)]
	})
}
