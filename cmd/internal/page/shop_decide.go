package page

import (
	"bytes"
	"errors"
	"fmt"
	"html/template"
	"io"
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"sync"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

var digestForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9a-f]{64}$`) })

// askedBeside are what is said beside a price sheet, in the order of the form.
var askedBeside = []string{"bad", "downtime", "spares", "age", "modules"}

// saidOf reads what is said beside the sheet.
func saidOf(get func(string) string) *shop.Said {
	said := &shop.Said{Bad: wording.OneLine(get("bad")), Downtime: wording.OneLine(get("downtime")), Spares: wording.OneLine(get("spares")), Age: wording.OneLine(get("age"))}
	for module := range strings.SplitSeq(get("modules"), ",") {
		if module = wording.OneLine(module); module != "" {
			said.Modules = append(said.Modules, module)
		}
	}
	return said
}

// A decidePage asks for the price sheet, or shows what is decided on it.
type decidePage struct {
	head
	Form   string
	By     asksBy
	Wrong  []string
	Text   string // of the sheet, as pasted
	Asked  map[string]string
	Sheet  string // digest of the sheet that is decided on; "" none was given
	Last   string // digest of the sheet that was used for the last offer
	Blocks []block
	JSON   string // paths of the decision in its other forms
	Drawn  string
	Draw   string
	Plot   template.HTML // what each way costs; "": it was not asked for
	Until  string
	Offers bool
}

func (s *Server) newDecidePage(r *http.Request, c *cases.Card) *decidePage {
	p := &decidePage{head: s.unitHead(c, sayDecideTitle), Form: s.o.NewID(), By: s.asksBy(r), Asked: map[string]string{}, Offers: shop.MayOffer(c.State())}
	if st := c.Stay(); st != nil && st.Offer() != nil {
		p.Last = st.Offer().Offer.Digest
	}
	return p
}

// decideForm shows the form, and the decision where a sheet is named.
func (s *Server) decideForm(w http.ResponseWriter, r *http.Request) error {
	q := r.URL.Query()
	c, err := s.card(r.Context(), q.Get("of"))
	if err != nil {
		return err
	}
	p := s.newDecidePage(r, c)
	for _, name := range askedBeside {
		p.Asked[name] = wording.OneLine(q.Get(name))
	}
	if q.Get("sheet") == "" {
		return show(w, http.StatusOK, "decide", p)
	}
	d, _, err := s.decided(r, c, q.Get)
	if lines := wrongWith(err); lines != nil {
		p.Wrong = lines
		return show(w, http.StatusUnprocessableEntity, "decide", p)
	}
	if err != nil {
		return err
	}
	if p.Sheet = q.Get("sheet"); q.Get("plot") != "" {
		p.Plot = d.Inline()
	}
	q.Del("plot")
	p.JSON, p.Drawn, p.Draw = "/unit/decision.json?"+q.Encode(), "/unit/decision.svg?"+q.Encode(), "/unit/decide?plot=yes&"+q.Encode()
	p.Until = s.o.Now().AddDate(0, 0, 30).Format(time.DateOnly)
	if p.Blocks, err = blocks(func(w io.Writer) error { return d.Text(w, report.Unfolded) }); err != nil {
		return err
	}
	return show(w, http.StatusOK, "decide", p)
}

// decided weighs a unit on a sheet that the store keeps.
func (s *Server) decided(r *http.Request, c *cases.Card, get func(string) string) (*report.Decision, []byte, error) {
	if !digestForm().MatchString(get("sheet")) {
		return nil, nil, refusal{http.StatusNotFound, sayNoSheet}
	}
	text, err := s.o.Store.File(r.Context(), get("sheet"))
	if errors.Is(err, cases.ErrNotFound) {
		return nil, nil, refusal{http.StatusNotFound, sayNoSheet}
	}
	if err != nil {
		return nil, nil, err
	}
	done, err := s.reason(r.Context())
	if err != nil {
		return nil, nil, err
	}
	defer done()
	var d *ways.Decision
	if d, err = shop.DecideUnit(r.Context(), s.o.Store, c, sheetName, text, saidOf(get)); err != nil {
		return nil, nil, err
	}
	return &report.Decision{Decision: d, Detail: true}, text, nil // the page folds what is long
}

// sheetName stands for the file in what is wrong with a sheet.
const sheetName = "price sheet"

// wrongWith is what is wrong with what somebody gave, line by line; nil where it is something else.
func wrongWith(err error) []string {
	var amount shop.NoAmount
	var refused shop.Refusal
	var problems *rulebase.Problems
	several, joined := err.(interface{ Unwrap() []error })
	switch {
	case err == nil:
		return nil
	case joined:
		var out []string
		for _, e := range several.Unwrap() {
			lines := wrongWith(e)
			if lines == nil && e != nil {
				return nil
			}
			out = append(out, lines...)
		}
		return out
	case errors.As(err, &problems):
		return strings.Split(strings.TrimRight(problems.Error(), "\n"), "\n")
	case errors.As(err, &amount):
		return []string{fmt.Sprintf(sayAmount, sayAmountNames[amount.Name], amount.Text, amount.Wants)}
	case errors.Is(err, shop.ErrBadUnknown):
		return []string{sayBadUnknown}
	case errors.As(err, &refused):
		return []string{refused.Says}
	}
	return nil
}

// decide takes a price sheet in, as a file or as text, keeps it and goes on to what is decided on it.
func (s *Server) decide(w http.ResponseWriter, r *http.Request) error {
	sheet, err := readUpload(r, "sheet")
	if err != nil {
		return err
	}
	c, err := s.card(r.Context(), r.PostForm.Get("of"))
	if err != nil {
		return err
	}
	p := s.newDecidePage(r, c)
	q := url.Values{"of": {c.ID}}
	for _, name := range askedBeside {
		if text := wording.OneLine(r.PostForm.Get(name)); text != "" {
			p.Asked[name] = text
			q.Set(name, text)
		}
	}
	p.Text = r.PostForm.Get("text")
	if len(sheet) == 0 {
		sheet = []byte(strings.ReplaceAll(p.Text, "\r\n", "\n"))
	}
	digest := r.PostForm.Get("last")
	if len(bytes.TrimSpace(sheet)) > 0 || digest == "" {
		if _, err := shop.DecideUnit(r.Context(), s.o.Store, c, sheetName, sheet, saidOf(r.PostForm.Get)); err != nil {
			if p.Wrong = wrongWith(err); p.Wrong == nil {
				return err
			}
			return show(w, http.StatusUnprocessableEntity, "decide", p)
		}
		if digest, err = s.o.Store.PutFile(r.Context(), sheet); err != nil {
			return err
		}
	}
	q.Set("sheet", digest)
	http.Redirect(w, r, "/unit/decide?"+q.Encode(), http.StatusSeeOther)
	return nil
}

func (s *Server) decisionJSON(w http.ResponseWriter, r *http.Request) error {
	d, err := s.queried(r)
	if err != nil {
		return err
	}
	isJSON(w)
	return d.JSON(w)
}

// decisionPlot draws cost against chance. The drawing has its own style, and no other right.
func (s *Server) decisionPlot(w http.ResponseWriter, r *http.Request) error {
	d, err := s.queried(r)
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "image/svg+xml; charset=utf-8")
	w.Header().Set("Content-Security-Policy", recordPolicy)
	return d.SVG(w)
}

func (s *Server) queried(r *http.Request) (*report.Decision, error) {
	q := r.URL.Query()
	c, err := s.card(r.Context(), q.Get("of"))
	if err != nil {
		return nil, err
	}
	d, _, err := s.decided(r, c, q.Get)
	if lines := wrongWith(err); lines != nil {
		return nil, refusal{http.StatusUnprocessableEntity, strings.Join(lines, "\n")}
	}
	return d, err
}

// makeOffer makes the customer an offer on a decision.
func (s *Server) makeOffer(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		if !shop.MayOffer(c.State()) {
			return nil, wrong(sayNoOfferYet, wording.Plain(string(c.State())))
		}
		now := s.o.Now()
		until, err := time.ParseInLocation(time.DateOnly, r.PostForm.Get("until"), now.Location())
		if err != nil || until.AddDate(0, 0, 1).Before(now) {
			return nil, wrong(sayUntil)
		}
		note, err := short(r, "note", mostStory)
		if err != nil {
			return nil, err
		}
		d, _, err := s.decided(r, c, r.PostForm.Get)
		if lines := wrongWith(err); lines != nil {
			return nil, refusal{http.StatusUnprocessableEntity, strings.Join(lines, "\n")}
		}
		if err != nil {
			return nil, err
		}
		offer := shop.NewOffer(d.Decision, until.Format(time.DateOnly), note)
		offer.Digest = r.PostForm.Get("sheet")
		return []cases.Draft{cases.Say(cases.KindOffer, offer)}, nil
	})
}
