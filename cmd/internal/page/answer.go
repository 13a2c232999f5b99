package page

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"net/http"
	"net/url"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/rulebase"
)

// answer takes one entry in: what was pressed, read off or typed. It is written as
// events whose ids follow from the form's own, so that a form sent twice (a cut line, a
// second press, a program killed in between) is one answer.
func (s *Server) answer(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r, "fact"); err != nil {
		return err
	}
	e, err := readEntry(r)
	if err != nil {
		return err
	}
	return s.takeIn(w, r, e, "")
}

// takeIn takes an entry in, and goes on with the case. By is who says it; "" whoever writes in this browser.
func (s *Server) takeIn(w http.ResponseWriter, r *http.Request, e entry, by string) error {
	code := r.PathValue("code")
	release := s.oneAtATime(code)
	defer release()
	st, err := s.find(r)
	if err != nil {
		return err
	}
	st.by = cmp.Or(by, st.by)
	done := "/case/" + st.Case.Code + "?did=" + url.QueryEscape(e.id)
	if st.Has(e.id) {
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	if st.Case.State == cases.StateClosed {
		return refusal{http.StatusConflict, sayClosed}
	}
	if conversation.IsUndo(e.text) {
		if err := s.undo(r.Context(), st, e.id); err != nil {
			return err
		}
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	if e.text == "" {
		return s.tell(w, r, st, conversation.Reply{Kind: conversation.AskedBack, Parts: []conversation.Part{{Kind: conversation.PartNotHeard, Lines: []string{kept.SayNoneTicked}}}})
	}
	state, reply, err := s.hear(r.Context(), st, e)
	if err != nil {
		return err
	}
	written, err := s.keep(r.Context(), st, e.id, state, reply)
	if err != nil {
		return err
	}
	if written && r.Header.Get(wantsPage) != "" {
		return s.next(w, r, st, reply)
	}
	if written {
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	return s.tell(w, r, st, reply)
}

// wantsPage is the head by which our own script asks for the next question at once: it
// takes care itself that a reload sends nothing twice, so that one diagnosis does.
const wantsPage = "Downdrop-Page"

// next shows what an entry led to, by the diagnosis that took it in.
func (s *Server) next(w http.ResponseWriter, r *http.Request, before *standing, reply conversation.Reply) error {
	st, err := s.stand(before.Case)
	if err != nil {
		return err
	}
	return s.showCase(w, r, st, s.view(st, reply), reply.Question)
}

// tell shows what became of an entry that changed nothing.
func (s *Server) tell(w http.ResponseWriter, r *http.Request, st *standing, reply conversation.Reply) error {
	if reply.Kind == conversation.Stopped || reply.Kind == conversation.Saved {
		http.Redirect(w, r, "/", http.StatusSeeOther) // all of it is kept
		return nil
	}
	now, err := s.resume(r.Context(), st, "")
	if err != nil {
		return err
	}
	reply = kept.Told(reply, now)
	return s.showCase(w, r, st, s.view(st, reply), reply.Question)
}

// An entry is what one form says.
type entry struct {
	id     string // follows from the form and what it says
	text   string // "" where facts were to be ticked and none was
	chosen bool
	about  conversation.About
}

// readEntry reads an answer that was pressed, a reading with its unit, or words.
func readEntry(r *http.Request) (entry, error) {
	get := r.PostForm.Get
	e := entry{text: get("entry"), about: formAbout(r)}
	switch {
	case get("chosen") == kept.Ticked:
		e.text = kept.ConfirmTicked(r.PostForm["fact"])
	case get("chosen") != "":
		e.text, e.chosen = get("chosen"), true
		if sure := get("sure"); sure != "" && strings.Contains(e.text, "=") {
			e.text += "@" + sure
		}
	case get("reads") != "":
		if e.text = kept.InUnit(get("reading"), get("unit")); e.text != "" {
			e.text = get("reads") + "=" + e.text
		}
	}
	if strings.TrimSpace(e.text) == "" && get("chosen") != kept.Ticked {
		return e, wrong(sayNothingSaid)
	}
	return e, e.name(r)
}

// name gives an entry its id, which follows from its form and from what it says.
func (e *entry) name(r *http.Request) error {
	form, err := formID(r)
	if err != nil {
		return err
	}
	sum := sha256.Sum256([]byte(e.text))
	e.id = form + "-" + hex.EncodeToString(sum[:4])
	return nil
}

// oneAtATime lets entries to one case in one after the other.
func (s *Server) oneAtATime(code string) (release func()) {
	lock, _ := s.turn.LoadOrStore(strings.ToUpper(code), &sync.Mutex{})
	m := lock.(*sync.Mutex)
	m.Lock()
	return m.Unlock
}

func (s *Server) hear(ctx context.Context, st *standing, e entry) (conversation.State, conversation.Reply, error) {
	done, err := s.reason(ctx)
	if err != nil {
		return conversation.State{}, conversation.Reply{}, err
	}
	defer done()
	state, reply := st.Hear(ctx, s.o.Talk, kept.Entry{ID: e.id, Text: e.text, Chosen: e.chosen, About: e.about})
	return state, reply, ctx.Err()
}

// keep writes what an entry changed, as one. It says whether anything was written.
func (s *Server) keep(ctx context.Context, st *standing, id string, state conversation.State, reply conversation.Reply) (bool, error) {
	drafts, err := st.Drafts(s.o.Base, id, state, reply)
	if err != nil || len(drafts) == 0 {
		return false, err
	}
	return true, s.write(ctx, st, id, state.Situation.At, drafts)
}

// write appends the drafts of an entry. Where somebody else was quicker with the very same entry, that is as good.
func (s *Server) write(ctx context.Context, st *standing, id string, place rulebase.Place, drafts []cases.Draft) error {
	c, err := s.o.Desk.Write(ctx, st.Case, place, st.by, drafts...)
	if errors.Is(err, cases.ErrConflict) {
		again, readErr := s.o.Store.Case(ctx, st.Case.ID)
		if readErr == nil && (&kept.Standing{Case: again}).Has(id) {
			st.Case = again
			return nil
		}
	}
	if err == nil {
		st.Case = c
	}
	return err
}

// undo takes the last entry back.
func (s *Server) undo(ctx context.Context, st *standing, id string) error {
	drafts, place, err := st.Undo(s.o.Base, id, sayTakenBack)
	if errors.Is(err, kept.ErrNoneBefore) {
		return refusal{http.StatusConflict, sayNoneBefore}
	} else if err != nil {
		return err
	}
	return s.write(ctx, st, id, place, drafts)
}
