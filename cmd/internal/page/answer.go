package page

import (
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
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
	done := "/case/" + st.c.Code + "?did=" + url.QueryEscape(e.id)
	if st.has(e.id) {
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	if st.c.State == cases.StateClosed {
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
		return s.tell(w, r, st, conversation.Reply{Kind: conversation.AskedBack, Parts: []conversation.Part{{Kind: conversation.PartNotHeard, Lines: []string{sayNoneTicked}}}})
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
	st, err := s.stand(before.c)
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
	_, now, err := s.resume(r.Context(), st)
	if err != nil {
		return err
	}
	parts := slices.DeleteFunc(now.Parts, func(p conversation.Part) bool {
		return reply.Question.Kind == conversation.AskElse && (p.Kind == conversation.PartQuestion || p.Kind == conversation.PartWarning)
	})
	if reply.Question.Kind != conversation.AskElse { // what is asked now may have more to it than what was asked then
		reply.Parts = slices.DeleteFunc(reply.Parts, func(p conversation.Part) bool {
			return p.Kind == conversation.PartQuestion || p.Kind == conversation.PartWarning || p.Kind == conversation.PartSummary
		})
		reply.Question = now.Question
	} else {
		reply.Parts = slices.DeleteFunc(reply.Parts, func(p conversation.Part) bool { return p.Kind == conversation.PartSummary })
	}
	reply.Parts, reply.Diagnosis = append(reply.Parts, parts...), now.Diagnosis
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
	case get("chosen") == confirmTicked:
		if e.text = ""; len(r.PostForm["fact"]) > 0 {
			e.text = conversation.ConfirmEntry(r.PostForm["fact"])
		}
	case get("chosen") != "":
		e.text, e.chosen = get("chosen"), true
		if sure := get("sure"); sure != "" && strings.Contains(e.text, "=") {
			e.text += "@" + sure
		}
	case get("reads") != "":
		e.text = strings.TrimSpace(get("reading"))
		if unit := get("unit"); unit != "" && barely(e.text) {
			e.text += " " + unit
		}
		if e.text != "" {
			e.text = get("reads") + "=" + e.text
		}
	}
	if strings.TrimSpace(e.text) == "" && get("chosen") != confirmTicked {
		return e, refusal{http.StatusUnprocessableEntity, sayNothingSaid}
	}
	return e, e.name(get("form"))
}

// name gives an entry its id, which follows from its form and from what it says.
func (e *entry) name(form string) error {
	if !cases.PlainID(form) || len(form) > 40 {
		return refusal{http.StatusBadRequest, sayBadForm}
	}
	sum := sha256.Sum256([]byte(e.text))
	e.id = form + "-" + hex.EncodeToString(sum[:4])
	return nil
}

// barely says whether a reading is a bare number, which then has the unit of the
// button; "OL" or "4k7" says all by itself.
func barely(text string) bool {
	return text != "" && strings.Trim(text, "0123456789.,+- ") == ""
}

// oneAtATime lets entries to one case in one after the other.
func (s *Server) oneAtATime(code string) (release func()) {
	lock, _ := s.turn.LoadOrStore(strings.ToUpper(code), &sync.Mutex{})
	m := lock.(*sync.Mutex)
	m.Lock()
	return m.Unlock
}

// has says whether an entry was taken in.
func (st *standing) has(entry string) bool {
	return slices.ContainsFunc(st.c.Events, func(e cases.Event) bool { return cases.EntryOf(e.ID) == entry })
}

func (s *Server) hear(ctx context.Context, st *standing, e entry) (conversation.State, conversation.Reply, error) {
	done, err := s.reason(ctx)
	if err != nil {
		return conversation.State{}, conversation.Reply{}, err
	}
	defer done()
	state, reply := s.o.Talk.Answer(ctx, st.c.Situation, conversation.SheetOf(st.c), st.memory, e.about, e.text, e.chosen)
	return state, reply, ctx.Err()
}

// keep writes what an entry changed: the events of the case, what the conversation
// has to know, and the ranking that was shown; as one. It says whether anything was written.
func (s *Server) keep(ctx context.Context, st *standing, id string, state conversation.State, reply conversation.Reply) (bool, error) {
	drafts := s.o.Desk.Changes(st.c, state.Situation)
	memory, err := json.Marshal(state.Memory())
	if err != nil {
		return false, err
	}
	before, err := json.Marshal(st.memory)
	if err != nil {
		return false, err
	}
	if len(drafts) == 0 && len(s.o.Desk.Beside(st.c, state)) == 0 && bytes.Equal(memory, before) {
		return false, nil
	}
	if len(drafts) > 0 && reply.Diagnosis != nil {
		drafts = append(drafts, s.o.Desk.Shown(reply.Diagnosis)...)
	}
	drafts = append(drafts, s.o.Desk.Beside(st.c, state)...)
	v := view{}
	v.take(reply)
	talked := cases.Talked{Memory: memory, Said: cases.Body(said{v.Heard, v.NotHeard, v.Notices})}
	return true, s.write(ctx, st, id, state.Situation.At, st.c.Entry(id, drafts, talked))
}

// write appends the drafts of an entry. Where somebody else was quicker with the very same entry, that is as good.
func (s *Server) write(ctx context.Context, st *standing, id string, place rulebase.Place, drafts []cases.Draft) error {
	c, err := s.o.Desk.Write(ctx, st.c, place, st.by, drafts...)
	if errors.Is(err, cases.ErrConflict) {
		again, readErr := s.o.Store.Case(ctx, st.c.ID)
		if readErr == nil && (&standing{c: again}).has(id) {
			st.c = again
			return nil
		}
	}
	if err == nil {
		st.c = c
	}
	return err
}

// undo takes the last entry back: the case's situation becomes what it was before it,
// by events that take back; nothing is deleted. What was said since through another
// door stays.
func (s *Server) undo(ctx context.Context, st *standing, id string) error {
	now := st.c.TalkStands()
	if now == "" {
		return refusal{http.StatusConflict, sayNoneBefore}
	}
	events := st.c.Events
	last := slices.IndexFunc(events, func(e cases.Event) bool { return e.ID == now })
	if last < 0 {
		return refusal{http.StatusConflict, sayNoneBefore}
	}
	var body cases.Talked
	if err := json.Unmarshal(events[last].Body, &body); err != nil {
		return fmt.Errorf("entry %s: %w", now, err)
	}
	first := slices.IndexFunc(events, func(e cases.Event) bool { return cases.EntryOf(e.ID) == cases.EntryOf(now) })
	was := cases.Fold(append(slices.Clone(events[:first]), otherDoors(events, last)...))
	if was == nil {
		was = &cases.Case{}
	}
	talked := cases.Talked{Is: cases.TalkBegun, Said: cases.Body(said{Heard: []string{sayTakenBack}})}
	if body.Before != "" {
		before := slices.IndexFunc(events, func(e cases.Event) bool { return e.ID == body.Before })
		if before < 0 {
			return refusal{http.StatusConflict, sayNoneBefore}
		}
		var b cases.Talked
		if err := json.Unmarshal(events[before].Body, &b); err != nil {
			return fmt.Errorf("entry %s: %w", body.Before, err)
		}
		talked.Memory, talked.Before, talked.Is = b.Memory, b.Before, body.Before
	}
	situation := was.Situation
	situation.Confirmed = slices.DeleteFunc(slices.Clone(situation.Confirmed), func(w string) bool { return !slices.Contains(st.situation.Confirmed, w) })
	drafts := append(s.o.Desk.Changes(st.c, situation), s.o.Desk.Beside(st.c, conversation.State{Situation: situation, Sheet: conversation.SheetOf(was)})...)
	return s.write(ctx, st, id, situation.At, st.c.Entry(id, drafts, talked))
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
