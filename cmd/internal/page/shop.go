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
	"regexp"
	"slices"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
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

// unitSheet is the head of a page about a unit.
func (s *Server) unitSheet(c *cases.Card, title string) sheet {
	return sheet{Title: title, Where: strings.TrimSpace(c.Unit.Type + " serial " + c.Unit.Serial), In: true, Unit: c.ID}
}

// by is who writes: whoever started the program said so, or the form does, once for a browser.
func (s *Server) by(w http.ResponseWriter, r *http.Request) (string, error) {
	if s.o.Counter.By != "" {
		return cmp.Or(byCookie(r), s.o.Counter.By), nil // somebody may have taken over in this browser
	}
	by := strings.TrimSpace(r.PostForm.Get("by"))
	if !cases.PlainID(by) || len(by) > mostBy {
		return "", refusal{http.StatusUnprocessableEntity, sayWhoWrites}
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
	form := r.PostForm.Get("form")
	if !cases.PlainID(form) || len(form) > 40 {
		return refusal{http.StatusBadRequest, sayBadForm}
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

// short reads a field of at most so many letters, on one line.
func short(r *http.Request, name string, most int) (string, error) {
	text := wording.OneLine(r.PostForm.Get(name))
	if utf8.RuneCountInString(text) > most {
		return "", refusal{http.StatusUnprocessableEntity, fmt.Sprintf(sayLongField, strings.ToUpper(name[:1])+name[1:], most)}
	}
	return text, nil
}

// fields reads several fields of mostShort letters.
func fields(r *http.Request, into map[string]*string) error {
	for name, to := range into {
		text, err := short(r, name, mostShort)
		if err != nil {
			return err
		}
		*to = text
	}
	return nil
}

// wrong says that what a form says cannot be taken.
func wrong(says string, args ...any) error {
	return refusal{http.StatusUnprocessableEntity, fmt.Sprintf(says, args...)}
}

// shop lists the units in the shop by their states.
func (s *Server) shop(w http.ResponseWriter, r *http.Request) error {
	var list []*cases.Card
	err := cases.Units(r.Context(), s.o.Store, func(c *cases.Card) error {
		if c.State().InShop() {
			list = append(list, c)
		}
		return nil
	})
	if err != nil {
		return err
	}
	report.SortUnits(list)
	type row struct{ Key, Tag, Says string }
	type group struct {
		State string
		Rows  []row
	}
	data := struct {
		sheet
		Groups []group
		Found  []row
		Find   string
	}{sheet: sheet{Title: sayShopTitle, In: true}, Find: wording.OneLine(r.URL.Query().Get("find"))}
	for _, state := range cases.ShopStates {
		g := group{State: wording.UpperFirst(wording.Plain(string(state)))}
		for _, c := range list {
			if c.State() == state {
				says, err := firstLine(func(w io.Writer) error { return report.UnitLine(w, report.Unfolded, c, s.o.Now()) })
				if err != nil {
					return err
				}
				g.Rows = append(g.Rows, row{c.ID, c.Unit.Serial, says})
			}
		}
		if len(g.Rows) > 0 {
			data.Groups = append(data.Groups, g)
		}
	}
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
			data.Found = append(data.Found, row{key, serial, spokenKey(key)})
		}
	}
	return show(w, http.StatusOK, "shop", data)
}

// firstLine is the first line that a printer writes.
func firstLine(print func(io.Writer) error) (string, error) {
	var b strings.Builder
	err := print(&b)
	first, _, _ := strings.Cut(strings.TrimSpace(b.String()), "\n")
	return first, err
}

// A receiving is the form of a unit that comes in, and what is asked about it.
type receiving struct {
	sheet
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
	data := receiving{sheet: sheet{Title: sayReceiveUnit, In: true}, Form: s.o.NewID(), By: s.asksBy(r)}
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
	if err := readForms(r); err != nil { // several cases may be ticked
		return err
	}
	form := r.PostForm.Get("form")
	if !cases.PlainID(form) || len(form) > 40 {
		return refusal{http.StatusBadRequest, sayBadForm}
	}
	var rec cases.Receipt
	var code string
	err := fields(r, map[string]*string{"type": &rec.Unit.Type, "serial": &rec.Unit.Serial, "revision": &rec.Unit.Revision, "from": &rec.From, "complaint": &rec.Complaint, "condition": &rec.Condition, "case": &code})
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
	ask := &receiving{sheet: sheet{Title: sayReceiveUnit, In: true}, Plate: u.Serial}
	for _, key := range like.Units {
		ask.Units = append(ask.Units, choice{Value: key, Says: spokenKey(key)})
	}
	for _, c := range like.Ask {
		ask.Cases = append(ask.Cases, choice{Value: c.ID, Says: strings.TrimSpace(fmt.Sprintf("%s, %s, %s serial %s", c.Code, c.Location, c.Type, c.Serial))})
	}
	return nil, ask, nil
}

// A unitPage is one unit: where it stands, its way and papers, and what may become of it.
type unitPage struct {
	sheet
	Form        string
	By          asksBy
	Blocks      []block
	Runs        []runRow
	Records     []choice
	States      []choice
	Verdicts    []choice
	Statements  []choice
	Sections    []string
	Kinds       []string
	Solders     []string
	Ways        []choice
	Cases       []choice
	InRepair    bool
	InShop      bool
	Stated      bool
	HasOffer    bool
	MayOffer    bool
	Received    bool
	LastRecord  string
	Consentable bool
}

func (s *Server) unit(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	codes, caseList, err := s.casesOf(r.Context(), c)
	if err != nil {
		return err
	}
	p := unitPage{sheet: s.unitSheet(c, sayUnitTitle), Form: s.o.NewID(), By: s.asksBy(r), Cases: caseList, Sections: cases.UnitSections, Kinds: cases.WorkKinds, Solders: cases.Solders}
	p.Blocks, err = blocks(func(w io.Writer) error { return report.UnitOnPage(w, c, codes, s.o.Now()) })
	if err != nil {
		return err
	}
	if p.Runs, err = s.runsOf(c.ID); err != nil {
		return err
	}
	for i := range c.Records {
		b := &c.Records[i].Body
		p.Records = append(p.Records, choice{Value: recordPath(c.ID, b), Says: fmt.Sprintf(sayRecordRow, b.Number, b.Issue)})
		p.LastRecord = b.Number
	}
	state := c.State()
	p.InShop, p.InRepair, p.Received, p.MayOffer = state.InShop(), state == cases.ShopInRepair, state != "", shop.MayOffer(state)
	for _, to := range state.MayFollow() {
		p.States = append(p.States, choice{Value: string(to), Says: wording.Plain(string(to))})
	}
	for _, v := range rulebase.Verdicts {
		p.Verdicts = append(p.Verdicts, choice{Value: string(v), Says: wording.Plain(string(v))})
	}
	for _, v := range cases.ContaminationStates {
		p.Statements = append(p.Statements, choice{Value: v, Says: wording.Plain(v)})
	}
	if st := c.Stay(); st != nil {
		p.Stated = st.Statement != nil
		if o := st.Offer(); o != nil {
			p.HasOffer = true
			for _, way := range o.Offer.Ways {
				p.Ways = append(p.Ways, choice{Value: way.Way, Says: wording.Plain(way.Way)})
			}
			p.Ways = append(p.Ways, choice{Value: "declined", Says: "none of them: declined"})
		}
	}
	return show(w, http.StatusOK, "unit", p)
}

// casesOf are the cases of a unit's last stay, and their codes by id.
func (s *Server) casesOf(ctx context.Context, c *cases.Card) (map[string]string, []choice, error) {
	codes := map[string]string{}
	var list []choice
	for _, stay := range c.Stays {
		for _, id := range stay.Receipt.Body.Cases {
			found, err := s.o.Store.Case(ctx, id)
			if errors.Is(err, cases.ErrNotFound) {
				continue // of another site, and not here
			}
			if err != nil {
				return nil, nil, err
			}
			codes[id] = found.Code
			if stay == c.Stay() {
				list = append(list, choice{Value: found.Code, Says: strings.TrimSpace(found.Code + " " + found.Opening.Location)})
			}
		}
	}
	return codes, list, nil
}

func (s *Server) unitJSON(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	w.Header().Set("Content-Type", "application/json; charset=utf-8")
	return report.UnitJSON(w, c, s.o.Now())
}

// moveUnit changes where a unit stands, with the reason.
func (s *Server) moveUnit(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		var m cases.Move
		var to string
		if err := fields(r, map[string]*string{"to": &to, "why": &m.Why, "unit": &m.Verdict, "record": &m.Record, "consent": &m.Consent}); err != nil {
			return nil, err
		}
		m.To = cases.ShopState(to)
		switch {
		case !slices.Contains(cases.ShopStates, m.To):
			return nil, wrong(sayMoveTo)
		case m.Verdict != "" && !slices.Contains(rulebase.Words(rulebase.Verdicts), m.Verdict):
			return nil, refusal{http.StatusUnprocessableEntity, refusals[cases.RefusedNoVerdict]}
		}
		if found := shop.ByRecord(c, &m); found != nil && m.To == cases.ShopReleased {
			return nil, wrong(sayRecordBad, found.Number, found.Issue)
		} else if found != nil {
			return nil, wrong(sayRecordSays, found.Number, found.Issue, wording.Plain(found.Verdict))
		}
		switch why := c.Refuses(m); why {
		case "":
			return []cases.Draft{cases.Say(cases.KindMoved, m)}, nil
		case cases.RefusedByTable:
			return nil, wrong(sayRefusedByTable, wording.Plain(string(c.State())), wording.Plain(to))
		case cases.RefusedLate:
			return nil, wrong(sayRefusedLate, c.Stay().Offer().Offer.Until)
		default:
			return nil, refusal{http.StatusUnprocessableEntity, refusals[why]}
		}
	})
}

// stateUnit notes what is stated of contamination.
func (s *Server) stateUnit(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		var b cases.Contamination
		if err := fields(r, map[string]*string{"state": &b.State, "with": &b.With, "how": &b.How, "from": &b.From}); err != nil {
			return nil, err
		}
		switch {
		case !slices.Contains(cases.ContaminationStates, b.State):
			return nil, wrong(sayStateWhat)
		case b.State == cases.Decontaminated && b.How == "":
			return nil, wrong(sayCleanedHow)
		case !c.State().InShop():
			return nil, wrong(sayNotHere)
		}
		return []cases.Draft{cases.Say(cases.KindContamination, b)}, nil
	})
}

// repairUnit adds an entry to the repair log.
func (s *Server) repairUnit(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		var b cases.Work
		var minutes string
		if err := fields(r, map[string]*string{"section": &b.Section, "as": &b.As, "solder": &b.Solder, "minutes": &minutes, "cause": &b.Cause}); err != nil {
			return nil, err
		}
		var err error
		if b.Did, err = short(r, "did", mostStory); err != nil {
			return nil, err
		}
		if b.Minutes, err = minutesOf(minutes); err != nil {
			return nil, err
		}
		var parts []string
		for part := range strings.Lines(strings.ReplaceAll(r.PostForm.Get("parts"), "\r", "\n")) {
			if part = wording.OneLine(part); part != "" {
				parts = append(parts, part)
			}
		}
		var bad string
		var ok bool
		b.Parts, bad, ok = shop.ReadParts(parts)
		ref, _ := s.o.Base.Lookup(b.Cause)
		switch {
		case c.State() != cases.ShopInRepair:
			return nil, wrong(sayNotInRepair, wording.Plain(string(c.State())))
		case b.Section == "" || b.Did == "":
			return nil, wrong(sayRepairDid)
		case !slices.Contains(cases.WorkKinds, b.As) || b.Solder != "" && !slices.Contains(cases.Solders, b.Solder):
			return nil, wrong(sayRepairAs)
		case b.Cause != "" && ref.Kind != rulebase.KindCause:
			return nil, wrong(sayNoCause, b.Cause)
		case !ok || len(parts) > 50:
			return nil, wrong(sayBadPart, bad)
		}
		return []cases.Draft{cases.Say(cases.KindWork, b)}, nil
	})
}

var minutesForm = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9]{1,6}$`) })

func minutesOf(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	if !minutesForm().MatchString(text) {
		return 0, wrong(sayMinutes)
	}
	var n int
	_, err := fmt.Sscanf(text, "%d", &n)
	return float64(n), err
}

func (s *Server) noteUnit(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(*cases.Card) ([]cases.Draft, error) {
		text, err := short(r, "text", mostStory)
		if err == nil && text == "" {
			err = wrong(sayNothingSaid)
		}
		return []cases.Draft{cases.Say(cases.KindNote, cases.Note{Text: text})}, err
	})
}

// answerOffer notes what the customer says.
func (s *Server) answerOffer(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(c *cases.Card) ([]cases.Draft, error) {
		if c.Stay() == nil || c.Stay().Offer() == nil {
			return nil, wrong(sayNoOffer)
		}
		a, _, ok := shop.Answer(c.Stay().Offer(), r.PostForm.Get("way"))
		if !ok {
			return nil, wrong(sayAnswerWhat)
		}
		err := fields(r, map[string]*string{"how": &a.How, "order": &a.Order})
		return []cases.Draft{cases.Say(cases.KindAnswer, a)}, err
	})
}

// showPaper shows a paper to be printed.
func showPaper(w http.ResponseWriter, head sheet, x *report.Paper) error {
	return show(w, http.StatusOK, "paper", struct {
		sheet
		Paper *report.Paper
	}{head, x.Printable()})
}

func (s *Server) offerPaper(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	if c.Stay() == nil || c.Stay().Offer() == nil {
		return wrong(sayNoOffer)
	}
	return showPaper(w, s.unitSheet(c, sayOfferTitle), report.NewOfferPaper(c, c.Stay().Offer()))
}

func (s *Server) returnNote(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	note := report.NewReturnNote(s.o.Base, st.Case)
	note.Lead = sayReturnLead
	return showPaper(w, s.sheetOf(st.Case), note)
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
