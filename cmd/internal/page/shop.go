package page

import (
	"bytes"
	"cmp"
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
)

// A Counter is what the page needs beside a Desk for the work of a repair shop.
type Counter struct {
	Prepared *engine.Prepared
	Runs     string // the folder in which runs at the bench are kept
	Program  string // version
	Name     string // of the shop, as records have it; ""
	By       string // who writes; "" is asked with each form
	// Write appends drafts about a unit and gives it as it then stands.
	Write func(ctx context.Context, key, by string, drafts ...cases.Draft) (*cases.Card, error)
}

// shopRoutes are those of the shop. A unit is named in the query or the form, never in the
// path: what stands on a plate may be anything.
func (s *Server) shopRoutes() map[string]handle {
	return map[string]handle{
		"GET /shop":                    s.shop,
		"GET /shop/receive":            s.receiveUnitForm,
		"POST /shop/receive":           s.receiveUnit,
		"GET /unit":                    s.unit,
		"POST /unit/move":              s.moveUnit,
		"POST /unit/statement":         s.stateUnit,
		"POST /unit/repair":            s.repairUnit,
		"POST /unit/note":              s.noteUnit,
		"POST /unit/answer":            s.answerOffer,
		"GET /unit/story":              s.unitStory,
		"POST /unit/take-back":         s.takeBackEntry,
		"GET /shop/month":              s.month,
		"GET /shop/month.json":         s.monthJSON,
		"GET /shop/month.csv":          s.monthCSV,
		"GET /unit/offer":              s.offerPaper,
		"GET /unit/unit.json":          s.unitJSON,
		"GET /case/{code}/return-note": s.returnNote,
		"GET /unit/decide":             s.decideForm,
		"POST /unit/decide":            s.decide,
		"GET /unit/decision.json":      s.decisionJSON,
		"GET /unit/decision.svg":       s.decisionPlot,
		"POST /unit/offer":             s.makeOffer,
		"GET /unit/bench":              s.benchForm,
		"POST /bench/begin":            s.benchBegin,
		"GET /bench":                   s.bench,
		"POST /bench/entry":            s.benchEntry,
		"POST /bench/record":           s.benchRecord,
		"GET /record":                  s.record,
	}
}

// A block is a paragraph of a printed answer with the list under it.
type block struct {
	Says  string
	Items []item
}

// An item of a list; Deep belongs to the one above it.
type item struct {
	Says string
	Deep bool
}

// blocks makes paragraphs and lists of what a printer writes: the page says what the command
// says, word for word.
func blocks(print func(io.Writer) error) ([]block, error) {
	var b bytes.Buffer
	if err := print(&b); err != nil {
		return nil, err
	}
	var out []block
	for line := range strings.Lines(b.String()) {
		line = strings.TrimRight(line, "\n")
		text := strings.TrimSpace(line)
		switch {
		case text == "":
		case text != line && len(out) > 0:
			out[len(out)-1].Items = append(out[len(out)-1].Items, item{strings.TrimPrefix(text, "- "), strings.HasPrefix(line, "     ")})
		default:
			out = append(out, block{Says: text})
		}
	}
	return out, nil
}

// spokenKey is a unit as people say it: TYPE/SERIAL.
func spokenKey(key string) string {
	kind, serial := cases.KeyParts(key)
	return kind + "/" + serial
}

func unitPath(key string) string { return "/unit?of=" + url.QueryEscape(key) }

// card reads the unit that a request is about.
func (s *Server) card(ctx context.Context, key string) (*cases.Card, error) {
	if key == "" || len(key) > cases.MaxSubject || !utf8.ValidString(key) || strings.ContainsRune(key, 0) {
		return nil, refusal{http.StatusNotFound, sayNoUnit}
	}
	c, err := cases.ReadUnit(ctx, s.o.Store, key)
	if errors.Is(err, cases.ErrNotFound) {
		return nil, refusal{http.StatusNotFound, sayNoUnit}
	}
	return c, err
}

// unitHead is the head of a page about a unit.
func (s *Server) unitHead(c *cases.Card, title string) head {
	return head{Title: title, Where: strings.TrimSpace(c.Unit.Type + " serial " + c.Unit.Serial), In: true, Unit: c.ID}
}

// by is who writes: whoever started the program said so, or the form does, once for a browser.
func (s *Server) by(w http.ResponseWriter, r *http.Request) (string, error) {
	if s.o.Counter.By != "" {
		return cmp.Or(byCookie(r), s.o.Counter.By), nil // somebody may have taken over in this browser
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if !cases.PlainID(by) || len(by) > mostBy {
		return "", wrong(sayWhoWrites)
	}
	remembersBy(w, r, by)
	return by, nil
}

// mostBy is how long the id of who writes may be.
const mostBy = 40

// remembersBy has a browser say who writes in it.
func remembersBy(w http.ResponseWriter, r *http.Request, by string) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r) + "-by", Value: by, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: int(idleFor / time.Second)})
}

// byCookie is who writes in a browser, as was said in it; "" nobody said so.
func byCookie(r *http.Request) string {
	if c, err := r.Cookie(cookieName(r) + "-by"); err == nil && cases.PlainID(c.Value) && len(c.Value) <= mostBy {
		return c.Value
	}
	return ""
}

// asksBy is what a form asks of who writes.
type asksBy struct {
	Asks bool
	Is   string
}

func (s *Server) asksBy(r *http.Request) asksBy {
	return asksBy{Asks: s.o.Counter.By == "", Is: byCookie(r)}
}

// onUnit takes in a form about a unit, once, and goes on with the unit.
func (s *Server) onUnit(w http.ResponseWriter, r *http.Request, drafts func(*cases.Card) ([]cases.Draft, error)) error {
	if err := readForm(r); err != nil {
		return err
	}
	return s.onUnitRead(w, r, drafts)
}

// onUnitRead is onUnit for a form that was read.
func (s *Server) onUnitRead(w http.ResponseWriter, r *http.Request, drafts func(*cases.Card) ([]cases.Draft, error)) error {
	form, err := formID(r)
	if err != nil {
		return err
	}
	key := r.PostForm.Get("of")
	release := s.oneAtATime("unit " + key)
	defer release()
	c, err := s.card(r.Context(), key)
	if err != nil {
		return err
	}
	if !hasForm(c, form) {
		by, err := s.by(w, r)
		if err != nil {
			return err
		}
		list, err := drafts(c)
		if err != nil {
			return err
		}
		if _, err := s.o.Counter.Write(r.Context(), key, by, ofForm(form, list)...); err != nil {
			return err
		}
	}
	http.Redirect(w, r, unitPath(key), http.StatusSeeOther)
	return nil
}

// ofForm gives drafts the ids that follow from their form.
func ofForm(form string, list []cases.Draft) []cases.Draft {
	for i := range list {
		list[i].ID = fmt.Sprintf("%s-unit-%d", form, i)
	}
	return list
}

// hasForm says whether a form about a unit was taken in.
func hasForm(c *cases.Card, form string) bool {
	return c != nil && slices.ContainsFunc(c.Events, func(e cases.Event) bool { return e.ID == form+"-unit-0" })
}

// The list shows of each state the units that have been in it longest, and leads to the rest.
const (
	shopFew  = 20  // of each state, where all states are shown
	shopPage = 100 // where one is
)

// A unitRow is a unit of a list.
type unitRow struct{ Key, Tag, Says string }

// A unitGroup is the units in one state. Of is how many there are; where not all are shown, More
// leads to all of them, and Before and After to the neighbours of a part.
type unitGroup struct {
	State               string
	Of                  int
	Part                string // which of them are shown, in words; "" all
	Rows                []unitRow
	More, Before, After string
}

// shop lists the units in the shop by their states, or a part of those in one state.
func (s *Server) shop(w http.ResponseWriter, r *http.Request) error {
	data := struct {
		head
		Groups []unitGroup
		One    bool // of the states alone
		Found  []unitRow
		Find   string
	}{head: head{Title: sayShopTitle, In: true}, Find: wording.OneLine(r.URL.Query().Get("find"))}
	if data.Find != "" {
		same, near, err := cases.FindUnits(r.Context(), s.o.Store, data.Find)
		if err != nil {
			return err
		}
		if len(same) == 1 {
			http.Redirect(w, r, unitPath(same[0]), http.StatusSeeOther)
			return nil
		}
		for _, key := range append(same, near...) {
			_, serial := cases.KeyParts(key)
			data.Found = append(data.Found, unitRow{key, serial, spokenKey(key)})
		}
	}
	list, err := s.shelf.units(r.Context(), s.o.Store)
	if err != nil {
		return err
	}
	only := cases.ShopState(r.URL.Query().Get("state"))
	data.One = only.InShop()
	for _, state := range cases.ShopStates {
		in := inState(list, state)
		if data.One && state != only || len(in) == 0 {
			continue
		}
		from, most := 0, shopFew
		if data.One {
			from, most = partFrom(r.URL.Query().Get("from"), len(in)), shopPage
		}
		data.Groups = append(data.Groups, s.unitGroup(state, in, from, most))
	}
	return show(w, http.StatusOK, "shop", data)
}

// partFrom is the place of the first unit of a part, from 0, by the number that an address gives, from 1;
// what is no number, or of no such unit, is the first part.
func partFrom(number string, of int) int {
	n, err := strconv.Atoi(number)
	if err != nil || n < 1 || n > of {
		return 0
	}
	return n - 1
}

// unitGroup shows at most so many units of a state from one on.
func (s *Server) unitGroup(state cases.ShopState, in []*cases.Card, from, most int) unitGroup {
	g := unitGroup{State: wording.UpperFirst(wording.Plain(string(state))), Of: len(in)}
	to := min(from+most, len(in))
	for _, c := range in[from:to] {
		g.Rows = append(g.Rows, unitRow{c.ID, c.Unit.Serial, report.UnitOfList(c, s.o.Now())})
	}
	if to-from == len(in) {
		return g
	}
	at := func(first int) string { return fmt.Sprintf("/shop?state=%s&from=%d", state, first+1) }
	g.Part = fmt.Sprintf(sayPartOfState, from+1, to, len(in))
	if most == shopFew {
		g.More = at(0)
		return g
	}
	if from > 0 {
		g.Before = at(max(0, from-most))
	}
	if to < len(in) {
		g.After = at(to)
	}
	return g
}
