package page

import (
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
)

// A receiving is the form of a unit that comes in, and what is asked about it.
type receiving struct {
	head
	Form            string
	By              asksBy
	Values          []choice // of the first form, kept while it is asked
	Types           []string
	Units, Cases    []choice
	Plate, CaseCode string
}

// received are the fields of a receipt.
var received = []string{"type", "serial", "revision", "from", "complaint", "condition", "case", "core"}

func (s *Server) receiveUnitForm(w http.ResponseWriter, r *http.Request) error {
	profiles, err := s.o.Base.Profiles()
	if err != nil {
		return err
	}
	data := receiving{head: head{Title: sayReceiveUnit, In: true}, Form: s.o.NewID(), By: s.asksBy(r)}
	for _, p := range profiles {
		data.Types = append(data.Types, p.Type)
	}
	if code := r.URL.Query().Get("case"); code != "" {
		c, err := s.o.Store.Case(r.Context(), code)
		if err != nil {
			return err
		}
		data.CaseCode = c.Code
		data.Values = []choice{{Value: c.Opening.Unit.Type}, {Value: c.Opening.Unit.Serial}}
	} else {
		data.Values = []choice{{}, {}}
	}
	return show(w, http.StatusOK, "receive-unit", data)
}

// receiveUnit takes a unit in. What the eye takes for it is asked about first, never taken for it.
func (s *Server) receiveUnit(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r, "belongs"); err != nil {
		return err
	}
	form, err := formID(r)
	if err != nil {
		return err
	}
	var rec cases.Receipt
	var code string
	err = fields(r, map[string]*string{"type": &rec.Unit.Type, "serial": &rec.Unit.Serial, "revision": &rec.Unit.Revision, "from": &rec.From, "complaint": &rec.Complaint, "condition": &rec.Condition, "case": &code})
	if err != nil {
		return err
	}
	rec.Core = r.PostForm.Get("core") != ""
	if as := r.PostForm.Get("unit"); as != "" {
		rec.Unit.Type, rec.Unit.Serial = cases.KeyParts(as)
	}
	key := cases.UnitKey(rec.Unit)
	if rec.Unit.Type == "" || rec.Unit.Serial == "" || len(key) > cases.MaxSubject {
		return wrong(sayPlate)
	}
	release := s.oneAtATime("unit " + key)
	defer release()
	card, err := cases.ReadUnit(r.Context(), s.o.Store, key)
	switch {
	case err != nil && !errors.Is(err, cases.ErrNotFound):
		return err
	case err == nil && hasForm(card, form):
		http.Redirect(w, r, unitPath(key), http.StatusSeeOther)
		return nil
	case err == nil && !card.MayCome():
		return wrong(sayHereAlready, wording.Plain(string(card.State())))
	}
	linked, ask, err := s.linked(r, rec.Unit, code)
	if err != nil {
		return err
	}
	if ask != nil {
		ask.Form, ask.By = form, asksBy{} // it is kept with the other values
		for _, name := range append(received, "by") {
			if v := r.PostForm.Get(name); v != "" {
				ask.Values = append(ask.Values, choice{Value: name, Says: v})
			}
		}
		return show(w, http.StatusOK, "read-again", ask)
	}
	by, err := s.by(w, r)
	if err != nil {
		return err
	}
	if _, err := s.o.Counter.Write(r.Context(), key, by, ofForm(form, shop.Received(rec, linked))...); err != nil {
		return err
	}
	http.Redirect(w, r, unitPath(key), http.StatusSeeOther)
	return nil
}

// linked are the cases that a unit belongs to; or what has to be asked first.
func (s *Server) linked(r *http.Request, u cases.Unit, code string) ([]*cases.Case, *receiving, error) {
	ctx := r.Context()
	like, err := cases.LookUnitUp(ctx, s.o.Store, u, s.o.Now())
	if err != nil {
		return nil, nil, err
	}
	var out []*cases.Case
	add := func(name string) error {
		c, err := s.o.Store.Case(ctx, name)
		if errors.Is(err, cases.ErrNotFound) {
			return wrong(sayNoCaseCalled, name)
		}
		if err == nil && !slices.ContainsFunc(out, func(x *cases.Case) bool { return x.ID == c.ID }) {
			out = append(out, c)
		}
		return err
	}
	names := slices.Clone(r.PostForm["belongs"])
	if code != "" {
		names = append(names, code)
	}
	for _, c := range like.Cases {
		names = append(names, c.ID)
	}
	for _, name := range names {
		if err := add(name); err != nil {
			return nil, nil, err
		}
	}
	like.Ask = slices.DeleteFunc(like.Ask, func(x cases.Summary) bool {
		return slices.ContainsFunc(out, func(c *cases.Case) bool { return c.ID == x.ID })
	})
	if r.PostForm.Get("settled") != "" || len(like.Ask)+len(like.Units) == 0 {
		return out, nil, nil
	}
	ask := &receiving{head: head{Title: sayReceiveUnit, In: true}, Plate: u.Serial}
	for _, key := range like.Units {
		ask.Units = append(ask.Units, choice{Value: key, Says: spokenKey(key)})
	}
	for _, c := range like.Ask {
		ask.Cases = append(ask.Cases, choice{Value: c.ID, Says: strings.TrimSpace(fmt.Sprintf("%s, %s, %s serial %s", c.Code, c.Location, c.Type, c.Serial))})
	}
	return nil, ask, nil
}
