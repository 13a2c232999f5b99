package report

import (
	"bytes"
	_ "embed"
	"encoding/json"
	"fmt"
	"html/template"
	"io"
	"sync"
)

var (
	//go:embed record.html
	recordHTML string
	//go:embed record.css
	recordCSS  string
	recordPage = sync.OnceValue(func() *template.Template { return template.Must(template.New("record").Parse(recordHTML)) })
)

// The marks around the content in a record's file.
const (
	recordHTMLBegin = `<script type="application/json" id="record">`
	recordHTMLEnd   = `</script>`
)

type recordData struct {
	*recordSheet
	Style     template.CSS
	StyleHash string
	Code      template.HTML // drawn from the modules of the code, no text of anybody's
	Carried   template.HTML // the content as JSON with <, > and & escaped, between its marks
}

// HTML writes the record as one page, to be read on a screen or printed.
func (r *Record) HTML(w io.Writer) error {
	s, err := r.sheet()
	if err != nil {
		return err
	}
	s.printable()
	carried, err := json.Marshal(r.Content) // escapes what HTML reads
	if err != nil {
		return err
	}
	data := recordData{s, template.CSS(recordCSS), hashOf(recordCSS), template.HTML(codeSVG(s.QR)), template.HTML(recordHTMLBegin + string(carried) + recordHTMLEnd)}
	var b bytes.Buffer
	if err := recordPage().Execute(&b, data); err != nil {
		return fmt.Errorf("write the record: %w", err)
	}
	_, err = w.Write(b.Bytes())
	return err
}

// codeSVG draws a code with its quiet border.
func codeSVG(q QRCode) string {
	n := q.Size()
	return fmt.Sprintf(`<svg class="code" viewBox="-4 -4 %d %d" role="img" aria-label="%s" xmlns="http://www.w3.org/2000/svg"><path d="%s"/></svg>`, n+8, n+8, sayRecordCode, q.Path(0))
}

// printable takes out of every text what would set a page or a terminal going.
func (s *recordSheet) printable() {
	clean := func(texts ...*string) {
		for _, t := range texts {
			*t = printable(*t)
		}
	}
	all := func(list []string) []string {
		out := make([]string, len(list))
		for i, t := range list {
			out[i] = printable(t)
		}
		return out
	}
	clean(&s.Reissue, &s.Complaint, &s.Number, &s.Chain)
	s.Basis, s.Sign = all(s.Basis), all(s.Sign)
	for i := range s.Facts {
		clean(&s.Facts[i].Says)
	}
	for i := range s.Rows {
		r := &s.Rows[i]
		clean(&r.Name, &r.Wanted, &r.Reads, &r.With)
	}
	for i := range s.Instruments {
		s.Instruments[i] = all(s.Instruments[i])
	}
	for i := range s.Lists {
		s.Lists[i].Items = all(s.Lists[i].Items)
	}
}
