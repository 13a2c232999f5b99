package kept

import (
	"encoding/json"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// An Agreement is what is settled with a caller before anything beyond looking.
type Agreement struct{ Off, Back, Else string }

// What an agreement is kept as.
const (
	SaysOff  = "Who can switch off"
	SaysBack = "Call back at"
	SaysElse = "If the caller stops answering"
)

// Agree are the drafts that keep an agreement, as a note, and let the conversation go on.
func (st *Standing) Agree(entry string, a Agreement) ([]cases.Draft, error) {
	says := []string{SaysOff + ": " + a.Off, SaysBack + ": " + a.Back, SaysElse + ": " + a.Else}
	m := st.Memory
	m.Settled = append(slices.Clone(m.Settled), conversation.SettledCall)
	memory, err := json.Marshal(m)
	if err != nil {
		return nil, err
	}
	note := cases.Say(cases.KindNote, cases.Note{Text: strings.Join(says, "; ")})
	return st.Case.Entry(entry, []cases.Draft{note}, cases.Talked{Memory: memory, Said: cases.Body(Said{Heard: says})}), nil
}

// CallSettles says whether what has to be agreed with a caller is asked before a question.
func (st *Standing) CallSettles(b *rulebase.Base, q conversation.Question) bool {
	return beyondLooking(b, q) && !slices.Contains(st.Memory.Settled, conversation.SettledCall)
}

// CallerLooks says whether whoever calls may do no more than look and read out.
func (st *Standing) CallerLooks() bool { return st.Situation.Who <= rulebase.Operator }

// beyondLooking says whether a question asks somebody to do more than look and read out.
func beyondLooking(b *rulebase.Base, q conversation.Question) bool {
	id := q.ID
	if q.Kind == conversation.AskConfirm {
		id = q.For
	} else if q.Kind != conversation.AskStep {
		return false
	}
	st := b.Step(id)
	return st != nil && (st.Kind == rulebase.KindRemedy || st.Hazard != 0 || st.Stops != rulebase.StopsNothing || st.BringsBack || len(st.Needs) > 0 || len(st.PutsRight) > 0 || st.Who > rulebase.Operator)
}
