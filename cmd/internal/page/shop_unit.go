package page

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// A unitPage is one unit: where it stands, its way and papers, and what may become of it.
type unitPage struct {
	head
	Form       string
	By         asksBy
	Blocks     []block
	Runs       []runRow
	Records    []choice
	States     []choice
	Verdicts   []choice
	Statements []choice
	Sections   []string
	Kinds      []string
	Solders    []string
	Ways       []choice
	Cases      []choice
	InRepair   bool
	InShop     bool
	Stated     bool
	HasOffer   bool
	MayOffer   bool
	Received   bool
	LastRecord string
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
	p := unitPage{head: s.unitHead(c, sayUnitTitle), Form: s.o.NewID(), By: s.asksBy(r), Cases: caseList, Sections: cases.UnitSections, Kinds: cases.WorkKinds, Solders: cases.Solders}
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
			p.Ways = append(p.Ways, choice{Value: "declined", Says: sayDeclined})
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
	isJSON(w)
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
		if shop.Earlier(c, m.Record) {
			return nil, wrong(sayRecordEarlier, m.Record)
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
			return nil, wrong(sayRefusedLate, wording.Day(c.Stay().Offer().Offer.Until))
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
	n, err := strconv.Atoi(text)
	return float64(n), err
}

func (s *Server) noteUnit(w http.ResponseWriter, r *http.Request) error {
	return s.onUnit(w, r, func(*cases.Card) ([]cases.Draft, error) {
		return noteOf(r)
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
