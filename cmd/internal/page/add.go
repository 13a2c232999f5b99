package page

import (
	"context"
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
	return s.showClosing(w, r, st, http.StatusOK, refused{})
}

// A refused closing is shown again as it was filled in, with what stands against it.
type refused struct {
	cases.Closing
	wrong []string
	open  []cases.OpenPoint
}

func (s *Server) showClosing(w http.ResponseWriter, r *http.Request, st *standing, status int, x refused) error {
	d, err := s.diagnose(r.Context(), st.Case.Situation)
	if err != nil {
		return err
	}
	data := struct {
		head
		Form        string
		Wrong       []string
		Causes      []choice // the likely ones, and what was chosen
		Others      []choice // all others
		How         string
		Outcomes    []choice
		Verdicts    []choice
		Still       []string
		Kinds       []choice
		Unexplained []choice
		Closed      bool
	}{head: s.headOf(st.Case), Form: s.o.NewID(), Wrong: x.wrong, How: x.How, Still: report.InPlaceLines(st.Case), Closed: st.Case.State == cases.StateClosed}
	data.Causes, data.Others = closingCauses(d, x.Causes)
	for _, o := range cases.Outcomes {
		data.Outcomes = append(data.Outcomes, choice{Value: o, Says: wording.Plain(o), Chosen: o == x.Outcome})
	}
	for _, v := range cases.UnitVerdicts {
		data.Verdicts = append(data.Verdicts, choice{Value: v, Says: wording.Plain(v), Chosen: v == x.UnitVerdict})
	}
	for _, k := range cases.PutInKinds {
		data.Kinds = append(data.Kinds, choice{Value: k, Says: wording.Plain(k)})
	}
	unexplained := slices.Clone(d.NotExplained)
	for _, o := range x.open {
		if o.Symptom != "" && !slices.Contains(unexplained, o.Symptom) {
			unexplained = append(unexplained, o.Symptom)
		}
	}
	for _, symptom := range unexplained {
		if !slices.ContainsFunc(st.Case.Accepted, func(a cases.Said[cases.Accepted]) bool { return a.Body.Symptom == symptom }) {
			data.Unexplained = append(data.Unexplained, choice{Value: symptom, Says: wording.Plain(symptom)})
		}
	}
	return show(w, status, "close", data)
}

// closingCauses are the likely causes with those that were chosen, and all others by their names.
func closingCauses(d *engine.Diagnosis, chosen []string) (first, others []choice) {
	for i, c := range d.Causes {
		cause := &d.Base.Causes[c.Cause]
		is := choice{Value: cause.ID, Says: cause.Name, Chosen: slices.Contains(chosen, cause.ID)}
		if i < 10 && c.Probability >= 0.01 || is.Chosen {
			first = append(first, is)
		} else {
			others = append(others, is)
		}
	}
	slices.SortFunc(others, func(a, b choice) int { return strings.Compare(a.Says, b.Says) })
	return first, others
}

// against is what stands against closing a case so, in sentences; an empty outcome is filled in.
func (s *Server) against(ctx context.Context, st *standing, x *refused) error {
	for _, id := range x.Causes {
		if ref, _ := s.o.Base.Lookup(id); ref.Kind != rulebase.KindCause {
			return wrong(sayNoSuchCause)
		}
	}
	var err error
	if x.open, err = s.o.Desk.Closing(ctx, st.Case, &x.Closing); err != nil {
		return err
	}
	if !slices.Contains(cases.Outcomes, x.Outcome) {
		x.wrong = append(x.wrong, sayCloseOutcome)
	}
	if x.UnitVerdict != "" && !slices.Contains(cases.UnitVerdicts, x.UnitVerdict) {
		x.wrong = append(x.wrong, refusals[cases.RefusedNoVerdict])
	}
	if x.How == "" {
		x.wrong = append(x.wrong, sayCloseHow)
	}
	for _, o := range x.open {
		line := sayCloseInPlace
		if o.Symptom != "" {
			line = fmt.Sprintf(sayCloseUnexplained, wording.Plain(o.Symptom))
		}
		if !slices.Contains(x.wrong, line) {
			x.wrong = append(x.wrong, line)
		}
	}
	return nil
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
	causes := slices.DeleteFunc(append([]string{}, r.PostForm["cause"]...), func(id string) bool { return id == "" })
	x := refused{Closing: cases.Closing{Causes: causes, How: wording.OneLine(r.PostForm.Get("how")), Outcome: r.PostForm.Get("outcome"), UnitVerdict: r.PostForm.Get("unit")}}
	if err := s.against(r.Context(), st, &x); err != nil {
		return err
	}
	if x.wrong != nil {
		return s.showClosing(w, r, st, http.StatusUnprocessableEntity, x)
	}
	draft := cases.Say(cases.KindClosed, x.Closing)
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
