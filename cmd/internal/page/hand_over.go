package page

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// summary is the case as text, to be pasted into somebody's ticket.
func (s *Server) summary(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	d, err := s.diagnose(r.Context(), c.Situation)
	if err != nil {
		return err
	}
	earlier, err := cases.LookBack(r.Context(), s.o.Store, c)
	if err != nil {
		return err
	}
	var text strings.Builder
	if err := report.CaseText(&text, report.Columns, d, c, &earlier); err != nil {
		return err
	}
	return show(w, http.StatusOK, "summary", struct {
		head
		Text string
		Rows int
	}{s.headOf(c), text.String(), min(40, 2+strings.Count(text.String(), "\n"))})
}

// A code is a part of a hand-over as text and as a drawing for cameras.
type code struct {
	Text string
	Size int // modules on a side, with the border
	Path string
}

// mostCodes is how many codes are shown: nobody holds a camera to more.
const mostCodes = 12

// handOver shows the text and codes that another place takes in. A case that was handed
// over by this form is shown again by the same address.
func (s *Server) handOver(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	data := struct {
		head
		Form  string
		To    string
		Codes []code
		Apart []string // files that neither codes nor text hold
		Stays string   // that the sheet is not in them either; ""
		Long  bool     // the case is too long for text and codes
		Along string   // what the file that holds the whole conversation is called; "": the case has not left so
		Open  bool     // the case is not closed
	}{head: s.headOf(c), Form: s.o.NewID(), To: string(c.HandedTo), Apart: report.TravelApartLines(c), Open: c.State != cases.StateClosed}
	if tookAlong(c) {
		data.Along = fileOf(c, ".html")
	}
	if c.HandedTo != "" {
		sheet, err := s.sheetText(r.Context(), c)
		if err != nil {
			return err
		}
		parts, carried, err := cases.HandOverText(c, sheet, cases.SheetParts)
		if data.Long = errors.Is(err, cases.ErrTooLong) || len(parts) > mostCodes; err != nil && !data.Long {
			return err
		}
		if data.Long {
			parts = nil
		}
		if !data.Long && c.Situation.SheetFile != "" && !carried {
			data.Stays = report.SheetStays + sayBringSheet
		}
		for _, p := range parts {
			drawn, err := drawCode(p)
			if err != nil {
				return err
			}
			data.Codes = append(data.Codes, drawn)
		}
	}
	return show(w, http.StatusOK, "handover", data)
}

// drawCode draws a part, with the quiet border that cameras want.
func drawCode(text string) (code, error) {
	const border = 4
	q, err := report.QR(text)
	if err != nil {
		return code{}, err
	}
	return code{text, q.Size() + 2*border, q.Path(border)}, nil
}

// give hands a case over to another place.
func (s *Server) give(w http.ResponseWriter, r *http.Request) error {
	return s.sendOff(w, r, func(_ *standing, to rulebase.Place) ([]cases.Draft, error) {
		return []cases.Draft{cases.Say(cases.KindHandedOver, cases.HandOver{To: to})}, nil
	})
}

// leaves has a case go on at another place in one file, which the page then offers.
func (s *Server) leaves(w http.ResponseWriter, r *http.Request) error {
	return s.sendOff(w, r, func(st *standing, to rulebase.Place) ([]cases.Draft, error) {
		if st.Case.State == cases.StateClosed {
			return nil, refusal{http.StatusConflict, sayClosed}
		}
		return st.Case.Leaving(to), nil
	})
}

// sendOff takes in a form that names the place where a case goes on, and shows what goes there.
func (s *Server) sendOff(w http.ResponseWriter, r *http.Request, drafts func(*standing, rulebase.Place) ([]cases.Draft, error)) error {
	if err := readForm(r); err != nil {
		return err
	}
	to := placeOf(r.PostForm.Get("to"))
	if to == "" {
		return wrong(sayHandTo)
	}
	return s.addThen(w, r, "/hand-over", func(st *standing) ([]cases.Draft, error) { return drafts(st, to) })
}

// tookAlong says whether a case was handed over to where it stands: a file of it asks there what can be done there.
func tookAlong(c *cases.Case) bool {
	return c.State != cases.StateClosed && c.HandedTo != "" && c.HandedTo == c.Situation.At
}

// along gives the file that holds the whole conversation. It is built before anything is sent, so that
// nobody goes with half of it.
func (s *Server) along(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	if !tookAlong(c) {
		return refusal{http.StatusConflict, sayNotLeft}
	}
	done, err := s.carry(r.Context())
	if err != nil {
		return err
	}
	defer done()
	var file bytes.Buffer
	if err := s.o.Desk.TakeAlong(r.Context(), &file, c, byCookie(r)); err != nil {
		return err
	}
	if err := download(w, "text/html; charset=utf-8", c, ".html"); err != nil {
		return err
	}
	_, err = w.Write(file.Bytes())
	return err
}

// fileOf is what a file of a case is called: by its code, which some other site may have made up, so that no
// other letters than those of a code get into the head of an answer.
func fileOf(c *cases.Case, ending string) string {
	code, ok := cases.ReadCode(c.Code)
	if !ok {
		code = "case"
	}
	return code + ending
}

// download begins a file of some megabytes for a line that may be poor.
func download(w http.ResponseWriter, media string, c *cases.Case, ending string) error {
	if err := http.NewResponseController(w).SetWriteDeadline(time.Now().Add(receiveFor)); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	w.Header().Set("Content-Type", media)
	w.Header().Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", fileOf(c, ending)))
	return nil
}

// whole gives a case as an export, with its pictures and files. It goes out as it is read, since pictures are
// many megabytes; where that fails on the way the browser says that the file did not come, and one that
// ends early is refused by its checksum wherever it is taken in.
func (s *Server) whole(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	done, err := s.carry(r.Context())
	if err != nil {
		return err
	}
	defer done()
	if err := download(w, "application/x-ndjson; charset=utf-8", c, ".jsonl"); err != nil {
		return err
	}
	ctx, cancel := context.WithTimeout(context.WithoutCancel(r.Context()), receiveFor)
	defer cancel()
	if _, err := cases.Export(ctx, s.o.Store, w, cases.ExportOptions{Cases: []string{c.ID}}); err != nil {
		s.o.Log.Warn("a case was not sent to its end", "case", c.Code, "error", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

// carry waits for a turn to hold megabytes; done gives it back.
func (s *Server) carry(ctx context.Context) (done func(), err error) {
	select {
	case s.carrying <- struct{}{}:
		return func() { <-s.carrying }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// takeOverForm asks who takes over in this browser.
func (s *Server) takeOverForm(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	data := struct {
		head
		Form   string
		By     string // who writes until now, ""
		Whos   []choice
		Closed bool
	}{head: s.headOf(st.Case), Form: s.o.NewID(), By: cmp.Or(st.by, s.o.Counter.By), Closed: st.Case.State == cases.StateClosed}
	for who := rulebase.Operator; who <= rulebase.Engineer; who++ {
		data.Whos = append(data.Whos, choice{Value: who.String(), Says: sayWhoIs[who]})
	}
	return show(w, http.StatusOK, "takeover", data)
}

// takeOver takes in that somebody else goes on here: it is an entry of the conversation like others,
// and what is said from now on in this browser is said by them.
func (s *Server) takeOver(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	get := r.PostForm.Get
	by, alone := strings.TrimSpace(get("by")), get("alone")
	who, known := rulebase.WhoOf(get("who"))
	if !cases.PlainID(by) || len(by) > mostBy || !known || alone != "yes" && alone != "no" {
		return wrong(sayTakeOverHow)
	}
	e := entry{text: conversation.TakeOverEntry(who, alone == "yes"), about: conversation.About{Kind: conversation.AskOpening}}
	if err := e.name(r); err != nil {
		return err
	}
	remembersBy(w, r, by)
	return s.takeIn(w, r, e, by)
}

func (s *Server) receiveForm(w http.ResponseWriter, _ *http.Request) error {
	return show(w, http.StatusOK, "receive", head{Title: sayReceiveTitle, In: true})
}

// receiveFor is how long a hand-over may take to come in, and a file to go out: megabytes over a poor line.
const receiveFor = 90 * time.Second

// receive takes in what another place handed over, as text or as a file; once or twice, it is the same.
func (s *Server) receive(w http.ResponseWriter, r *http.Request) error {
	control := http.NewResponseController(w)
	until := time.Now().Add(receiveFor)
	if err := errors.Join(control.SetReadDeadline(until), control.SetWriteDeadline(until.Add(longest))); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	done, err := s.carry(r.Context())
	if err != nil {
		return err
	}
	defer done()
	text, err := readHandOver(r)
	if err != nil {
		return err
	}
	ctx, cancel := context.WithTimeoutCause(context.WithoutCancel(r.Context()), longest, errTooLong) // from here on, however long it took to come
	defer cancel()
	all, err := s.o.Desk.Receive(ctx, byCookie(r), text)
	switch {
	case errors.Is(err, cases.ErrSpoilt), errors.Is(err, cases.ErrNotFound):
		return wrong(sayNoHandOver, err)
	case err != nil && errors.Is(context.Cause(ctx), errTooLong):
		return refusal{http.StatusServiceUnavailable, sayTookTooLong}
	case err != nil:
		return err
	case len(all) != 1: // an export of several
		http.Redirect(w, r, "/", http.StatusSeeOther)
		return nil
	}
	http.Redirect(w, r, "/case/"+url.PathEscape(cmp.Or(all[0].Code, all[0].ID)), http.StatusSeeOther)
	return nil
}

// readHandOver reads the text of a form, or the file that it carries. All of it lies in memory: the
// body is bounded.
func readHandOver(r *http.Request) ([]byte, error) {
	var text []byte
	if media, _, _ := mime.ParseMediaType(r.Header.Get("Content-Type")); media != "multipart/form-data" {
		if err := readForm(r); err != nil {
			return nil, err
		}
		text = []byte(r.PostForm.Get("text"))
	} else {
		parts, err := r.MultipartReader()
		if err != nil {
			return nil, unreadForm(err)
		}
		for {
			part, err := parts.NextPart()
			if errors.Is(err, io.EOF) {
				break
			}
			if err != nil {
				return nil, unreadForm(err)
			}
			if name := part.FormName(); name != "text" && name != "file" {
				continue
			}
			said, err := io.ReadAll(part)
			if err != nil {
				return nil, unreadForm(err)
			}
			if len(bytes.TrimSpace(said)) > 0 { // of both, the file, which comes last
				text = said
			}
		}
	}
	if len(bytes.TrimSpace(text)) == 0 {
		return nil, wrong(sayNothingToReceive)
	}
	return text, nil
}
