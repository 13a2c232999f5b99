package page

import (
	"errors"
	"net/http"
	"strconv"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// openForm asks what a case begins with: all of it may be left out.
func (s *Server) openForm(w http.ResponseWriter, _ *http.Request) error {
	return show(w, http.StatusOK, "open", struct {
		head
		Form string
	}{head{Title: sayOpenTitle, In: true}, s.o.NewID()})
}

// open begins a case. The first story goes through the conversation, as if it had been
// typed there.
func (s *Server) open(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	form, err := formID(r)
	if err != nil {
		return err
	}
	release := s.oneAtATime(form)
	defer release()
	c, err := s.begun(r, form)
	if err != nil {
		return err
	}
	if err := s.story(r, form, c); err != nil {
		return err
	}
	http.Redirect(w, r, "/case/"+c.Code+"?did=open", http.StatusSeeOther)
	return nil
}

// begun gives the case of a form: its id is the case's, so sent twice it is one case.
func (s *Server) begun(r *http.Request, form string) (*cases.Case, error) {
	c, err := s.o.Store.Case(r.Context(), form)
	if !errors.Is(err, cases.ErrNotFound) {
		return c, err
	}
	opening, err := readOpening(r)
	if err != nil {
		return nil, err
	}
	return s.o.Desk.Open(r.Context(), form, opening, rulebase.Situation{Drop: opening.Drop, At: placeOf(r.PostForm.Get("at"))})
}

// story takes in what was told first of all, once.
func (s *Server) story(r *http.Request, form string, c *cases.Case) error {
	st, err := s.stand(c)
	if err != nil {
		return err
	}
	e := entry{id: form + "-story", text: r.PostForm.Get("story"), about: conversation.About{Kind: conversation.AskOpening}}
	if strings.TrimSpace(e.text) == "" || st.Has(e.id) {
		return nil
	}
	state, reply, err := s.hear(r.Context(), st, e)
	if err != nil {
		return err
	}
	_, err = s.keep(r.Context(), st, e.id, state, reply)
	return err
}

func placeOf(text string) rulebase.Place {
	switch p := rulebase.Place(text); p {
	case rulebase.Phone, rulebase.Field, rulebase.Bench:
		return p
	}
	return ""
}

func readOpening(r *http.Request) (cases.Opening, error) {
	var o cases.Opening
	err := fields(r, map[string]*string{"location": &o.Location, "type": &o.Unit.Type, "serial": &o.Unit.Serial})
	if err != nil {
		return o, err
	}
	if o.Complaint, err = short(r, "story", mostStory); err != nil {
		return o, err
	}
	if text := strings.TrimSpace(r.PostForm.Get("drop")); text != "" {
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > 9999 {
			return o, wrong(sayBadDrop)
		}
		o.Drop = n
	}
	return o, nil
}
