package page

import (
	"fmt"
	"net/http"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
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
		if err := fields(r, map[string]*string{"off": &a.Off, "back": &a.Back, "else": &a.Else}); err != nil {
			return nil, err
		}
		if a.Off == "" || a.Back == "" || a.Else == "" {
			return nil, wrong(sayAgreeAll)
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
	data := struct {
		Code, Form string
		Heard      []string
		Questions  []conversation.Question
	}{Code: st.Case.Code, Form: s.o.NewID()}
	data.Heard, data.Questions = st.Hearing(s.o.Talk, r.PostForm.Get("entry"))
	return show(w, http.StatusOK, "hearing", data)
}
