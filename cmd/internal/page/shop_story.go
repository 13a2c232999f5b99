package page

import (
	"errors"
	"fmt"
	"net/http"
	"strconv"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
)

// A storyRow is an entry of a unit, with its number.
type storyRow struct {
	report.StoryLine
	Number int
}

// unitStory shows all that was noted of a unit, entry by entry, and takes back what was wrong.
func (s *Server) unitStory(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	data := struct {
		head
		Form string
		By   asksBy
		Rows []storyRow
	}{head: s.unitHead(c, sayStoryTitle), Form: s.o.NewID(), By: s.asksBy(r)}
	for i, line := range report.UnitStory(c) {
		data.Rows = append(data.Rows, storyRow{line, i + 1})
	}
	return show(w, http.StatusOK, "story", data)
}

// takeBackEntry takes an entry of a unit back, as `downdrop unit take-back` does.
func (s *Server) takeBackEntry(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		why, err := short(r, "why", mostShort)
		if err != nil {
			return nil, err
		}
		n, err := strconv.Atoi(r.PostForm.Get("entry"))
		switch {
		case err != nil:
			return nil, wrong(sayTakeBackWhich)
		case why == "":
			return nil, refusal{http.StatusUnprocessableEntity, refusals[cases.RefusedNoWhy]}
		}
		draft, against, entry, _ := shop.InsteadOf(c, cases.Say(cases.KindTakenBack, cases.Reason{Why: why}), n)
		switch against {
		case shop.NothingStands:
			return []cases.Draft{draft}, nil
		case shop.VoidEntry:
			return nil, wrong(sayVoidEntry, n)
		case shop.LaterRests:
			return nil, wrong(sayLaterRests, entry)
		case shop.TakesBack:
			return nil, wrong(sayTakesBack, entry)
		default:
			return nil, wrong(sayTakeBackWhich)
		}
	})
}

// monthOf adds up the month that a request is about.
func (s *Server) monthOf(r *http.Request) (*cases.Month, error) {
	word := wording.OneLine(r.URL.Query().Get("of"))
	m, ok, err := shop.Month(r.Context(), s.o.Store, word, s.o.Now())
	var refused shop.Refusal
	switch {
	case errors.As(err, &refused):
		return nil, wrong("%s", refused.Says)
	case err == nil && !ok:
		return nil, wrong(sayNoMonth)
	}
	return m, err
}

// month shows what came in, went out and is in the house, by type of unit.
func (s *Server) month(w http.ResponseWriter, r *http.Request) error {
	m, err := s.monthOf(r)
	if err != nil {
		return err
	}
	const form = "2006-01"
	data := struct {
		head
		Of            string
		Says, Notes   string
		Columns       []report.MonthColumn
		Before, After string
	}{head: head{Title: sayMonthTitle, In: true}, Of: m.From.Format(form), Before: m.From.AddDate(0, -1, 0).Format(form)}
	if !m.To.After(s.o.Now()) {
		data.After = m.To.Format(form)
	}
	data.Says, data.Columns, data.Notes = report.MonthColumns(m)
	return show(w, http.StatusOK, "month", data)
}

func (s *Server) monthJSON(w http.ResponseWriter, r *http.Request) error {
	m, err := s.monthOf(r)
	if err != nil {
		return err
	}
	isJSON(w)
	return report.MonthJSON(w, m)
}

// monthCSV gives the table for spreadsheets; nothing in it is a formula.
func (s *Server) monthCSV(w http.ResponseWriter, r *http.Request) error {
	m, err := s.monthOf(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", "shop-"+m.From.Format("2006-01")+".csv"))
	return report.MonthCSV(w, m)
}
