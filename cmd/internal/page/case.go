package page

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A standing is a case as it stands now, for whoever writes in a browser.
type standing struct {
	*kept.Standing
	by string // who writes in this browser; "" whoever started the program
}

// find reads the case of a request.
func (s *Server) find(r *http.Request) (*standing, error) {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return nil, err
	}
	st, err := s.stand(c)
	if err == nil {
		st.by = byCookie(r)
	}
	return st, err
}

func (s *Server) stand(c *cases.Case) (*standing, error) {
	st, err := kept.Stand(c, s.o.Talk)
	if err != nil {
		return nil, err
	}
	return &standing{Standing: st}, nil
}

// A view is one case as the field sees it.
type view struct {
	head
	kept.Sorted
	State   string
	Form    string // the id of whatever is answered on this page
	Call    *call  // the script of a call; nil: nobody is on the telephone
	About   conversation.About
	Reading *reading
	Known   []string
	Causes  []causeRow
	Others  []string
	Still   []string
	Earlier []string
	CanUndo bool
	Ended   bool
	Closed  bool
}

// A reading is what is to be read off an instrument, with the units it may be read in.
type reading struct {
	ID    string
	Unit  string
	Units []string
}

// view makes the page of a reply. Notices of the reply that only tell where the case
// stands come from the case itself.
func (s *Server) view(st *standing, reply conversation.Reply) *view {
	c := st.Case
	v := &view{
		head: head{Title: caseTitle(c), Code: c.Code, Where: wording.Where(c), In: true, Behind: true}, Sorted: kept.Sort(reply),
		State: string(c.State), Form: s.o.NewID(), About: reply.Question.About(), CanUndo: st.CanUndo(),
		Ended: reply.Question.Kind == conversation.AskEnd, Closed: c.State == cases.StateClosed,
	}
	for i := range v.Answers { // those that are left out leave no gap
		if _, err := strconv.Atoi(v.Answers[i].Key); err == nil {
			v.Answers[i].Key = strconv.Itoa(i + 1)
		}
	}
	v.Tick(s.o.Talk.Facts(c.Situation, st.Memory, reply.Question))
	if want, ok := s.o.Talk.Reading(reply.Question); ok {
		v.Reading = &reading{ID: want.ID, Unit: want.Unit, Units: kept.UnitsFor(want.Unit)}
	}
	if v.Ended { // what is to be saved elsewhere is kept here
		for i := range v.Asks {
			v.Asks[i].Says = keptInstead.Replace(v.Asks[i].Says)
		}
	}
	v.Known = s.o.Talk.Known(st.Situation)
	v.Still = report.InPlaceLines(c)
	if d := reply.Diagnosis; d != nil {
		v.Causes, v.Others = causeRows(d, 6)
	}
	return v
}

var keptInstead = strings.NewReplacer("The case can be saved.", sayAllKept, "; it can be saved, and taken up again.", sayStaysKept)

func caseTitle(c *cases.Case) string {
	return strings.TrimSpace("Case " + c.Code)
}

// resume asks what is to be asked now, with the answer to what was asked about the case: see [kept.Standing.Explain].
func (s *Server) resume(ctx context.Context, st *standing, what string) (conversation.Reply, error) {
	done, err := s.reason(ctx)
	if err != nil {
		return conversation.Reply{}, err
	}
	defer done()
	return st.Explain(ctx, s.o.Talk, what), ctx.Err()
}

// field shows a case: what is known, the short answer, and one question or step.
func (s *Server) field(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	reply, err := s.resume(r.Context(), st, r.URL.Query().Get("say"))
	if err != nil {
		return err
	}
	v := s.view(st, reply)
	if r.URL.Query().Has("did") { // straight after an entry: what became of it
		v.Heard, v.NotHeard, v.Notices = st.Said.Heard, st.Said.NotHeard, slices.Concat(v.Notices, st.Said.Notices)
	}
	return s.showCase(w, r, st, v, reply.Question)
}

// showCase adds what the store knows of the same unit and place and, for a call, of the
// others, and shows the page.
func (s *Server) showCase(w http.ResponseWriter, r *http.Request, st *standing, v *view, q conversation.Question) error {
	earlier, err := cases.LookBack(r.Context(), s.o.Store, st.Case)
	if err != nil {
		return err
	}
	v.Earlier = report.EarlierLines(s.o.Base, &earlier)
	if v.Call, err = s.call(r, st, q); err != nil {
		return err
	}
	return show(w, http.StatusOK, "case", v)
}

// diagnosisJSON is what `downdrop diagnose --json` says to the case.
func (s *Server) diagnosisJSON(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	d, err := s.diagnose(r.Context(), c.Situation)
	if err != nil {
		return err
	}
	isJSON(w)
	return report.JSON(w, d)
}

func (s *Server) diagnose(ctx context.Context, situation rulebase.Situation) (*engine.Diagnosis, error) {
	return s.weigh(ctx, situation, "", "")
}

func (s *Server) weigh(ctx context.Context, situation rulebase.Situation, cause, against string) (*engine.Diagnosis, error) {
	done, err := s.reason(ctx)
	if err != nil {
		return nil, err
	}
	defer done()
	return s.o.Desk.Diagnose(ctx, situation, cause, against)
}

// caseJSON is what `downdrop case show --json` says.
func (s *Server) caseJSON(w http.ResponseWriter, r *http.Request) error {
	c, err := s.o.Store.Case(r.Context(), r.PathValue("code"))
	if err != nil {
		return err
	}
	earlier, err := cases.LookBack(r.Context(), s.o.Store, c)
	if err != nil {
		return err
	}
	isJSON(w)
	return report.CaseJSON(w, s.o.Base, c, &earlier)
}

// list shows the cases that are not closed, or those that a word finds.
func (s *Server) list(w http.ResponseWriter, r *http.Request) error {
	word := wording.OneLine(r.URL.Query().Get("find"))
	q := cases.Query{Unsettled: word == "", Text: word}
	if code, ok := cases.ReadCode(word); ok {
		if c, err := s.o.Store.Case(r.Context(), code); err == nil {
			http.Redirect(w, r, "/case/"+c.Code, http.StatusSeeOther)
			return nil
		} else if !errors.Is(err, cases.ErrNotFound) {
			return err
		}
	}
	found, err := s.o.Store.Find(r.Context(), q)
	if err != nil {
		return err
	}
	type row struct {
		Code, Says string
	}
	data := struct {
		head
		Find string
		Rows []row
		More bool // there may be more than are listed
	}{head{Title: sayListTitle, In: true}, word, nil, len(found) == cases.FindLimit}
	for i := range found {
		data.Rows = append(data.Rows, row{found[i].Code, report.CaseSummaryLine(s.o.Base, &found[i], s.o.Now())})
	}
	return show(w, http.StatusOK, "list", data)
}

// A causeRow is a cause with its chance, as a bar to be read without colour.
type causeRow struct {
	Name    string
	Chance  string
	Width   int // of 100
	Weights []string
	ID      string
}

// causeRows are the likeliest causes, and what else it can be.
func causeRows(d *engine.Diagnosis, most int) (rows []causeRow, others []string) {
	if !d.Possible {
		return nil, nil
	}
	for _, c := range kept.ShownNow(d, most) {
		cause := &d.Base.Causes[c.Cause]
		rows = append(rows, causeRow{Name: cause.Name, ID: cause.ID, Chance: report.Chance(c.Now), Width: int(100*c.Now + 0.5)})
	}
	return rows, []string{wording.Aside(d.Outside, d.None)}
}

func (s *Server) headOf(c *cases.Case) head {
	return head{Title: caseTitle(c), Code: c.Code, Where: wording.Where(c), In: true}
}
