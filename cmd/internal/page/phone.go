package page

import (
	"fmt"
	"net/http"
	"strings"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// A call is what the script of a call has beside the question.
type call struct {
	Others []callRow // the other calls that are open
	Settle bool      // what has to be agreed is asked before anything beyond looking
	May    bool      // the caller may do no more than look and read out
}

type callRow struct{ Code, Says string }

// call makes it; nil where nobody is on the telephone.
func (s *Server) call(r *http.Request, st *standing, q conversation.Question) (*call, error) {
	if st.Situation.At != rulebase.Phone {
		return nil, nil
	}
	open, err := s.o.Store.Find(r.Context(), cases.Query{Unsettled: true, Limit: 9})
	if err != nil {
		return nil, err
	}
	c := &call{May: st.CallerLooks(), Settle: st.CallSettles(s.o.Base, q)}
	for i := range open {
		if open[i].ID != st.Case.ID {
			c.Others = append(c.Others, callRow{open[i].Code, strings.TrimSpace(fmt.Sprintf("%s %s", open[i].Code, open[i].Location))})
		}
	}
	return c, nil
}

// agree keeps what was agreed with the caller, as a note, and goes on.
func (s *Server) agree(w http.ResponseWriter, r *http.Request) error {
	return s.add(w, r, func(st *standing) ([]cases.Draft, error) {
		var a kept.Agreement
		for _, field := range []struct {
			name, says string
			to         *string
		}{{"off", kept.SaysOff, &a.Off}, {"back", kept.SaysBack, &a.Back}, {"else", kept.SaysElse, &a.Else}} {
			*field.to = wording.OneLine(r.PostForm.Get(field.name))
			if *field.to == "" {
				return nil, refusal{http.StatusUnprocessableEntity, sayAgreeAll}
			}
			if utf8.RuneCountInString(*field.to) > mostShort {
				return nil, refusal{http.StatusUnprocessableEntity, fmt.Sprintf(sayLongField, field.says, mostShort)}
			}
		}
		return st.Agree(r.PostForm.Get("form")+"-add", a)
	})
}

// hearing answers what is being typed: what would be understood of it, and the questions
// it could be about. Nothing of it counts until it is said.
func (s *Server) hearing(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	st, err := s.find(r)
	if err != nil {
		return err
	}
	text := r.PostForm.Get("entry")
	_, heard := s.o.Talk.Hear(st.Situation, text)
	data := struct {
		Code, Form string
		Heard      []string
		Questions  []conversation.Question
	}{Code: st.Case.Code, Form: s.o.NewID()}
	for _, h := range heard {
		if h.Outcome == conversation.Understood {
			data.Heard = append(data.Heard, h.Means)
		}
	}
	data.Questions = s.o.Talk.Search(st.Situation, text, 4)
	return show(w, http.StatusOK, "hearing", data)
}
