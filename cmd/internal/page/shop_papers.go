package page

import (
	"cmp"
	"fmt"
	"net/http"
	"net/url"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
)

// showPaper shows a paper to be printed.
func showPaper(w http.ResponseWriter, h head, x *report.Paper) error {
	return show(w, http.StatusOK, "paper", struct {
		head
		Paper *report.Paper
	}{h, x.Printable()})
}

func (s *Server) offerPaper(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	if c.Stay() == nil || c.Stay().Offer() == nil {
		return wrong(sayNoOffer)
	}
	return showPaper(w, s.unitHead(c, sayOfferTitle), report.NewOfferPaper(c, c.Stay().Offer()))
}

func (s *Server) returnNote(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	note := report.NewReturnNote(s.o.Base, st.Case)
	note.Lead = sayReturnLead
	return showPaper(w, s.headOf(st.Case), note)
}

func recordPath(key string, b *cases.Record) string {
	return "/record?" + url.Values{"of": {key}, "number": {b.Number}, "issue": {fmt.Sprint(b.Issue)}}.Encode()
}

// record gives a record as it was issued, byte for byte as the store's chain has it.
func (s *Server) record(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	c, err := s.card(r.Context(), q.Get("of"))
	if err != nil {
		return err
	}
	form := cmp.Or(q.Get("form"), "html")
	for i := range c.Records {
		b := &c.Records[i].Body
		if b.Number != q.Get("number") || fmt.Sprint(b.Issue) != q.Get("issue") {
			continue
		}
		for _, f := range b.Files {
			if f.Form != form {
				continue
			}
			text, err := s.o.Store.File(r.Context(), f.Digest)
			if err != nil {
				return err
			}
			media := map[string]string{"html": "text/html; charset=utf-8", "pdf": "application/pdf"}[form]
			w.Header().Set("Content-Type", media)
			w.Header().Set("Content-Security-Policy", recordPolicy)
			_, err = w.Write(text)
			return err
		}
	}
	return refusal{http.StatusNotFound, sayNoRecord}
}

// recordPolicy lets a record use the style that it carries, which its own policy names by its
// hash, and nothing else.
const recordPolicy = "default-src 'none'; style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'"
