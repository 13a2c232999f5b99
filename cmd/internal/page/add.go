package page

import (
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// add takes in a form that adds to a case beside its conversation, once, and goes on with the case.
func (s *Server) add(w http.ResponseWriter, r *http.Request, drafts func(*standing) ([]cases.Draft, error)) error {
	if err := readForm(r); err != nil {
		return err
	}
	return s.addThen(w, r, "", drafts)
}

// addThen is add, and goes on at a path behind the case. The form was read.
func (s *Server) addThen(w http.ResponseWriter, r *http.Request, then string, drafts func(*standing) ([]cases.Draft, error)) error {
	form, err := formID(r)
	if err != nil {
		return err
	}
	release := s.oneAtATime(r.PathValue("code"))
	defer release()
	st, err := s.find(r)
	if err != nil {
		return err
	}
	if entry := form + "-add"; !st.Has(entry) {
		list, err := drafts(st)
		if err != nil {
			return err
		}
		for i := range list {
			if list[i].ID == "" {
				list[i].ID = fmt.Sprintf("%s-%d", entry, i)
			}
		}
		if _, err := s.o.Desk.Write(r.Context(), st.Case, st.Situation.At, st.by, list...); err != nil {
			return err
		}
	}
	did := ""
	if then == "" {
		did = "?did=" + url.QueryEscape(form)
	}
	http.Redirect(w, r, "/case/"+st.Case.Code+then+did, http.StatusSeeOther)
	return nil
}

// note keeps free text.
func (s *Server) note(w http.ResponseWriter, r *http.Request) error {
	return s.add(w, r, func(*standing) ([]cases.Draft, error) {
		return noteOf(r)
	})
}

// noteOf is what a form says in free words.
func noteOf(r *http.Request) ([]cases.Draft, error) {
	text, err := short(r, "text", mostStory)
	if err == nil && text == "" {
		err = wrong(sayNothingSaid)
	}
	return []cases.Draft{cases.Say(cases.KindNote, cases.Note{Text: text})}, err
}

// putIn notes something put in for a test, so that it is not forgotten.
func (s *Server) putIn(w http.ResponseWriter, r *http.Request) error {
	return s.addTo(w, r, "/close", func(*standing) ([]cases.Draft, error) {
		what, where := r.PostForm.Get("what"), wording.OneLine(r.PostForm.Get("where"))
		if !slices.Contains(cases.PutInKinds, what) || where == "" || utf8.RuneCountInString(where) > mostShort {
			return nil, wrong(sayPutInWhat)
		}
		return []cases.Draft{cases.Say(cases.KindPutIn, cases.PutIn{What: what, Where: where})}, nil
	})
}

// takeOut notes that it is out again.
func (s *Server) takeOut(w http.ResponseWriter, r *http.Request) error {
	return s.addTo(w, r, "/close", func(st *standing) ([]cases.Draft, error) {
		n, err := strconv.Atoi(r.PostForm.Get("number"))
		if err != nil || n < 1 || n > len(st.Case.PutIn) {
			return nil, refusal{http.StatusConflict, sayNotInPlace}
		}
		return []cases.Draft{cases.Correct(cases.KindTakenOut, st.Case.PutIn[n-1].Event.ID, cases.Reason{})}, nil
	})
}

// accept keeps why something may stay as it is: an abnormal finding that is not explained.
func (s *Server) accept(w http.ResponseWriter, r *http.Request) error {
	return s.addTo(w, r, "/close", func(*standing) ([]cases.Draft, error) {
		why, symptom := wording.OneLine(r.PostForm.Get("why")), r.PostForm.Get("symptom")
		if ref, _ := s.o.Base.Lookup(symptom); ref.Kind != rulebase.KindSymptom || why == "" || utf8.RuneCountInString(why) > mostShort {
			return nil, wrong(sayAcceptWhy)
		}
		return []cases.Draft{cases.Say(cases.KindAccepted, cases.Accepted{Symptom: symptom, Why: why})}, nil
	})
}

func (s *Server) addTo(w http.ResponseWriter, r *http.Request, then string, drafts func(*standing) ([]cases.Draft, error)) error {
	if err := readForm(r); err != nil {
		return err
	}
	return s.addThen(w, r, then, drafts)
}

// A choice is one of several, with its word.
type choice struct {
	Value, Says string
	Chosen      bool
}

// closeForm asks what it turned out to be, and shows what stands against closing.
func (s *Server) closeForm(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	return s.showClosing(w, r, st, http.StatusOK, nil)
}

func (s *Server) showClosing(w http.ResponseWriter, r *http.Request, st *standing, status int, wrong []string) error {
	d, err := s.diagnose(r.Context(), st.Case.Situation)
	if err != nil {
		return err
	}
	data := struct {
		head
		Form        string
		Wrong       []string
		Causes      []choice
		Outcomes    []choice
		Verdicts    []choice
		Still       []string
		Kinds       []choice
		Unexplained []choice
		Closed      bool
	}{head: s.headOf(st.Case), Form: s.o.NewID(), Wrong: wrong, Causes: closingCauses(d), Still: report.InPlaceLines(st.Case), Closed: st.Case.State == cases.StateClosed}
	for _, o := range cases.Outcomes {
		data.Outcomes = append(data.Outcomes, choice{Value: o, Says: wording.Plain(o)})
	}
	for _, v := range cases.UnitVerdicts {
		data.Verdicts = append(data.Verdicts, choice{Value: v, Says: wording.Plain(v)})
	}
	for _, k := range cases.PutInKinds {
		data.Kinds = append(data.Kinds, choice{Value: k, Says: wording.Plain(k)})
	}
	for _, symptom := range d.NotExplained {
		if !slices.ContainsFunc(st.Case.Accepted, func(a cases.Said[cases.Accepted]) bool { return a.Body.Symptom == symptom }) {
			data.Unexplained = append(data.Unexplained, choice{Value: symptom, Says: wording.Plain(symptom)})
		}
	}
	return show(w, status, "close", data)
}

// closingCauses are the likely causes, and those that something done takes away.
func closingCauses(d *engine.Diagnosis) []choice {
	var out []choice
	for i, c := range d.Causes {
		if i < 10 && c.Probability >= 0.01 {
			cause := &d.Base.Causes[c.Cause]
			out = append(out, choice{Value: cause.ID, Says: cause.Name})
		}
	}
	return out
}

// close closes a case with what was proven.
func (s *Server) close(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r, "cause"); err != nil {
		return err
	}
	form, err := formID(r)
	if err != nil {
		return err
	}
	release := s.oneAtATime(r.PathValue("code"))
	defer release()
	st, err := s.find(r)
	if err != nil {
		return err
	}
	done := "/case/" + st.Case.Code
	id := form + "-close"
	if slices.ContainsFunc(st.Case.Events, func(e cases.Event) bool { return e.ID == id }) {
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	closing := cases.Closing{Causes: append([]string{}, r.PostForm["cause"]...), How: wording.OneLine(r.PostForm.Get("how")), Outcome: r.PostForm.Get("outcome"), UnitVerdict: r.PostForm.Get("unit")}
	if err := s.o.Desk.Closing(r.Context(), st.Case, &closing); err != nil {
		return s.showClosing(w, r, st, http.StatusUnprocessableEntity, strings.Split(err.Error(), "\n"))
	}
	draft := cases.Say(cases.KindClosed, closing)
	draft.ID = id
	if _, err := s.o.Desk.Write(r.Context(), st.Case, st.Situation.At, st.by, draft); err != nil {
		return err
	}
	http.Redirect(w, r, done, http.StatusSeeOther)
	return nil
}

// reopen opens a closed case again.
func (s *Server) reopen(w http.ResponseWriter, r *http.Request) error {
	return s.add(w, r, func(st *standing) ([]cases.Draft, error) {
		if st.Case.State != cases.StateClosed {
			return nil, refusal{http.StatusConflict, sayNotClosed}
		}
		return []cases.Draft{cases.Say(cases.KindReopened, cases.Reason{Why: wording.OneLine(r.PostForm.Get("why"))})}, nil
	})
}
