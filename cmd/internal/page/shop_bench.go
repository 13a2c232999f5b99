package page

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"maps"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/shop"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// runEnd is behind the name of a run in its folder, where "downdrop bench resume" finds it too.
const runEnd = ".run.jsonl"

var runName = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9a-f]{12}-[a-z0-9_]{1,60}-[0-9a-f]{8}$`) })

// A runRow is a run at the bench of a unit.
type runRow struct{ Path, Says string }

func hashed(text string, digits int) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])[:digits]
}

func (s *Server) runFile(name string) string {
	return filepath.Join(s.o.Counter.Runs, name+runEnd)
}

// runsOf are the runs of a unit, the newest first.
func (s *Server) runsOf(key string) ([]runRow, error) {
	names, err := filepath.Glob(filepath.Join(s.o.Counter.Runs, hashed(key, 12)+"-*"+runEnd))
	if err != nil {
		return nil, err
	}
	type found struct {
		row runRow
		at  time.Time
	}
	var all []found
	for _, name := range names {
		run, err := shop.ReadRun(name)
		if run == nil || len(run.Events) == 0 {
			continue // a program that was killed at its beginning left it behind
		}
		says := s.runSays(run, err)
		all = append(all, found{runRow{"/bench?run=" + strings.TrimSuffix(filepath.Base(name), runEnd), says}, run.Events[0].At})
	}
	slices.SortStableFunc(all, func(a, b found) int { return b.at.Compare(a.at) })
	var out []runRow
	for _, f := range all {
		out = append(out, f.row)
	}
	return out, nil
}

// runSays says where a run stands. One that cannot be read stays on the list: opening it says why.
func (s *Server) runSays(run *shop.Run, unread error) string {
	begun := run.Events[0].At.Format("2 Jan 2006 15:04")
	if unread != nil {
		return fmt.Sprintf(sayRunUnread, begun)
	}
	st, err := run.State(s.o.Base)
	switch {
	case err != nil:
		return fmt.Sprintf(sayRunUnread, begun)
	case st.Verdict == bench.NoVerdict:
		return fmt.Sprintf(sayRunRow, st.Procedure.Name, begun) + fmt.Sprintf(sayRunOpen, max(st.Wants.Step+1, 1), len(st.Steps))
	}
	return fmt.Sprintf(sayRunRow, st.Procedure.Name, begun) + fmt.Sprintf(sayRunVerdict, wording.Plain(string(st.Verdict)))
}

// benchForm asks which procedure, and what kind of unit it is.
func (s *Server) benchForm(w http.ResponseWriter, r *http.Request) error {
	c, err := s.card(r.Context(), r.URL.Query().Get("of"))
	if err != nil {
		return err
	}
	procedures, err := s.o.Base.Procedures()
	if err != nil {
		return err
	}
	profiles, err := s.o.Base.Profiles()
	if err != nil {
		return err
	}
	data := struct {
		head
		Form       string
		By         asksBy
		Procedures []choice
		Profiles   []choice
		Cases      []choice
	}{head: s.unitHead(c, sayBenchTitle), Form: s.o.NewID(), By: s.asksBy(r)}
	for _, p := range procedures {
		data.Procedures = append(data.Procedures, choice{Value: p.ID, Says: fmt.Sprintf(sayProcedureRow, p.Name, len(p.Steps), report.ProcedureMinutes(p))})
	}
	for _, p := range profiles {
		data.Profiles = append(data.Profiles, choice{Value: p.Name, Says: p.Type, Chosen: strings.EqualFold(p.Type, c.Unit.Type)})
	}
	if _, data.Cases, err = s.casesOf(r.Context(), c); err != nil {
		return err
	}
	return show(w, http.StatusOK, "bench-begin", data)
}

// benchBegin begins a run. Its name follows from unit and form, so that a form sent twice
// begins one.
func (s *Server) benchBegin(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	get := r.PostForm.Get
	form, err := formID(r)
	if err != nil {
		return err
	}
	c, err := s.card(r.Context(), get("of"))
	if err != nil {
		return err
	}
	p, unit, err := s.chosen(get("procedure"), get("profile"))
	if err != nil {
		return err
	}
	name := hashed(c.ID, 12) + "-" + p.ID + "-" + hashed(form, 8)
	if !runName().MatchString(name) {
		return wrong(sayWhichProcedure)
	}
	release := s.oneAtATime("run " + name)
	defer release()
	done := "/bench?run=" + name
	if _, err := shop.ReadRun(s.runFile(name)); err == nil {
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	by, err := s.by(w, r)
	if err != nil {
		return err
	}
	begun := shop.Begun(s.o.Base, p, unit, s.o.Counter.Program)
	begun.Values[shop.Of] = c.ID
	if code := get("case"); code != "" {
		k, err := s.o.Store.Case(r.Context(), code)
		if errors.Is(err, cases.ErrNotFound) {
			return wrong(sayNoCaseCalled, wording.OneLine(code))
		}
		if err != nil {
			return err
		}
		begun.Values[shop.InCase] = k.ID
	}
	if err := s.begin(name, begun, by); err != nil {
		return s.notKept(err)
	}
	http.Redirect(w, r, done, http.StatusSeeOther)
	return nil
}

// begin writes the first events of a run. What a program that was killed here left behind is no run.
func (s *Server) begin(name string, begun bench.Event, by string) error {
	if err := os.MkdirAll(s.o.Counter.Runs, 0o777); err != nil {
		return err
	}
	file := s.runFile(name)
	if info, err := os.Stat(file); err == nil && info.Size() < 64<<10 {
		os.Remove(file) //nolint:errcheck // NewRun says what is wrong
	}
	run, err := shop.NewRun(file)
	if err != nil {
		return err
	}
	defer run.Close()
	if err := run.Append(bench.Append(nil, begun, s.o.Now())); err != nil {
		return err
	}
	st, err := run.State(s.o.Base)
	if err != nil || st.Wants.Ask != "by" {
		return err
	}
	_, _, err = run.Take(st, by, s.o.Now())
	return err
}

// chosen are the procedure and the profile of a form.
func (s *Server) chosen(procedure, profile string) (*rulebase.Procedure, *rulebase.Profile, error) {
	procedures, err := s.o.Base.Procedures()
	if err != nil {
		return nil, nil, err
	}
	profiles, err := s.o.Base.Profiles()
	if err != nil {
		return nil, nil, err
	}
	p := slices.IndexFunc(procedures, func(p *rulebase.Procedure) bool { return p.ID == procedure })
	u := slices.IndexFunc(profiles, func(p *rulebase.Profile) bool { return p.Name == profile })
	if p < 0 {
		return nil, nil, wrong(sayWhichProcedure)
	}
	if u < 0 {
		return nil, nil, wrong(sayWhichProfile)
	}
	return procedures[p], profiles[u], nil
}

// notKept says that a run could not be written or read.
func (s *Server) notKept(err error) error {
	var refused shop.Refusal
	var path *os.PathError
	switch {
	case errors.As(err, &refused):
		// The name says which run; in which folder of this machine it lies helps nobody at a phone.
		return refusal{http.StatusServiceUnavailable, strings.ReplaceAll(refused.Says, s.o.Counter.Runs+string(filepath.Separator), "")}
	case errors.As(err, &path):
		return refusal{http.StatusServiceUnavailable, fmt.Sprintf(sayRunFolder, s.o.Counter.Runs, path.Err)}
	}
	return err
}

// A benchRun is a run as a request has it.
type benchRun struct {
	name  string
	run   *shop.Run
	state *bench.State
	card  *cases.Card  // nil: it is of no unit in the store
	inner *cases.Case  // that what is found is added to; nil
	fresh *bench.Event // to be kept before the next entry: another person goes on, or on another day
}

// openRun reads the run that a request names; open says that it is written too.
func (s *Server) openRun(r *http.Request, name string, open bool) (*benchRun, error) {
	if !runName().MatchString(name) {
		return nil, refusal{http.StatusNotFound, sayNoRun}
	}
	b := &benchRun{name: name}
	read := shop.ReadRun
	if open {
		read = shop.OpenRun
	}
	var err error
	if b.run, err = read(s.runFile(name)); errors.Is(err, os.ErrNotExist) {
		return nil, refusal{http.StatusNotFound, sayNoRun}
	} else if err != nil {
		return nil, s.notKept(err)
	}
	if b.state, err = b.run.State(s.o.Base); err == nil {
		b.state, b.fresh, err = b.run.Resumed(b.state, byCookie(r), s.o.Now())
	}
	if err != nil {
		b.run.Close()
		return nil, s.notKept(err)
	}
	begun := b.run.Events[0].Values
	if key := begun[shop.Of]; key != "" {
		if b.card, err = cases.ReadUnit(r.Context(), s.o.Store, key); err != nil && !errors.Is(err, cases.ErrNotFound) {
			b.run.Close()
			return nil, err
		}
	}
	if id := begun[shop.InCase]; id != "" {
		if b.inner, err = s.o.Store.Case(r.Context(), id); err != nil && !errors.Is(err, cases.ErrNotFound) {
			b.run.Close()
			return nil, err
		}
	}
	return b, nil
}

// A benchPage is what a run waits for, and what it came to so far.
type benchPage struct {
	head
	Run      string
	At       int // events so far: an entry says what it answers
	View     report.BenchView
	Wrong    string
	Taken    []block
	Unlike   bool // the serial read is not that of the card
	Kind     string
	Words    []string // to be pressed
	Units    []string // of a reading
	CountOn  bool
	Number   int // of points, or messages
	Step     bool
	Ended    bool
	End      []block
	Soon     []block // steps so far
	Issued   []choice
	Form     string
	By       asksBy
	CanUndo  bool
	Complete bool // a record can be issued
	Again    bool // one was
}

func (s *Server) bench(w http.ResponseWriter, r *http.Request) error {
	b, err := s.openRun(r, r.URL.Query().Get("run"), false)
	if err != nil {
		return err
	}
	return s.showBench(w, r, b, http.StatusOK, "")
}

func (s *Server) showBench(w http.ResponseWriter, r *http.Request, b *benchRun, status int, wrong string) error {
	st := b.state
	p := &benchPage{
		head: head{Title: st.Procedure.Name, Where: st.Unit.Type, In: true}, Run: b.name, At: len(b.run.Events), View: report.NewBenchView(st), Wrong: wrong,
		Kind: string(st.Wants.Kind), Step: st.Wants.Step >= 0, Form: s.o.NewID(), By: s.asksBy(r), CanUndo: len(b.run.Events) > 2,
	}
	if b.card != nil {
		p.Where, p.Unit = strings.TrimSpace(b.card.Unit.Type+" serial "+b.card.Unit.Serial), b.card.ID
		p.Unlike = st.Serial != "" && b.unlike()
	}
	p.answers(st)
	var err error
	if r.URL.Query().Has("did") && wrong == "" {
		if p.Taken, err = s.taken(r, b); err != nil {
			return err
		}
	}
	if p.Soon, err = blocks(func(w io.Writer) error { return report.BenchRun(w, st, report.Unfolded) }); err != nil {
		return err
	}
	if p.Ended = st.Wants.Kind == bench.WantsNothing; p.Ended {
		if p.End, err = blocks(func(w io.Writer) error { return report.BenchEnd(w, st, report.Unfolded) }); err != nil {
			return err
		}
		p.Complete = st.Verdict != bench.NoVerdict && b.card != nil && !p.Unlike
	}
	if b.card != nil {
		for i := range b.card.Records {
			if rec := &b.card.Records[i].Body; rec.Head == bench.Head(b.run.Events) {
				p.Issued = append(p.Issued, choice{Value: recordPath(b.card.ID, rec), Says: fmt.Sprintf(sayRecordRow, rec.Number, rec.Issue)})
				p.Again = true
			}
		}
	}
	return show(w, status, "bench", p)
}

// unlike says whether the serial that was read at the bench is not that of the unit's card.
func (b *benchRun) unlike() bool {
	kind, _ := cases.KeyParts(b.card.ID)
	return cases.UnitKey(cases.Unit{Type: kind, Serial: b.state.Serial}) != b.card.ID
}

// answers are what can be pressed or filled in for what is asked.
func (p *benchPage) answers(st *bench.State) {
	switch st.Wants.Kind {
	case bench.WantsAnswer:
		if st.Wants.Ask != "by" {
			p.Words = []string{"yes", "no"}
		}
	case bench.WantsConfirm:
		p.Words = []string{"read"}
	case bench.WantsRelease:
		p.Words = []string{"out"}
	case bench.WantsReading:
		g := st.Wants.Reading
		p.Kind, p.Number = "text", st.Wants.Count
		switch g.Kind {
		case rulebase.ReadsNumber:
			p.Kind, p.Units = "number", kept.UnitsFor(g.Unit)
		case rulebase.ReadsWord, rulebase.ReadsYesNo:
			p.Kind = "word"
			for _, w := range g.OneOf {
				p.Words = append(p.Words, wording.Plain(w))
			}
			if len(p.Words) == 0 {
				p.Words = []string{"yes", "no"}
			}
		case rulebase.ReadsPoints:
			p.Kind, p.Words = "points", []string{"all pass"}
		case rulebase.ReadsErrors:
			p.Kind, p.CountOn = "errors", st.Counted() != nil
		}
	}
}

// taken is what became of the last entry.
func (s *Server) taken(r *http.Request, b *benchRun) ([]block, error) {
	n := len(b.run.Events)
	if n < 2 {
		return nil, nil
	}
	before, err := bench.Run(b.state.Procedure, b.state.Unit, b.run.Events[:n-1])
	if err != nil {
		return nil, err
	}
	last := b.run.Events[n-1]
	var d *engine.Diagnosis
	if shop.FailedBy(b.state, last) {
		done, err := s.reason(r.Context())
		if err != nil {
			return nil, err
		}
		d, err = shop.Diagnose(r.Context(), s.o.Counter.Prepared, b.state, b.inner)
		done()
		if err != nil {
			return nil, err
		}
	}
	return blocks(func(w io.Writer) error { return report.BenchTaken(w, b.state, before, last, d, report.Unfolded) })
}

// benchEntry takes an entry in. A form says how many events there were when it was shown: sent
// again it finds its own event there and changes nothing; where somebody else went on
// meanwhile, what is asked now is shown.
func (s *Server) benchEntry(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	name := r.PostForm.Get("run")
	release := s.oneAtATime("run " + name)
	defer release()
	b, err := s.openRun(r, name, true)
	if err != nil {
		return err
	}
	defer b.run.Close()
	at, err := strconv.Atoi(r.PostForm.Get("at"))
	if err != nil || at < 1 {
		return refusal{http.StatusBadRequest, sayBadForm}
	}
	entry := benchText(r)
	done := fmt.Sprintf("/bench?run=%s&did=%d", name, at+1)
	switch {
	case at < len(b.run.Events) && b.said(at, entry):
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	case at != len(b.run.Events):
		return s.showBench(w, r, b, http.StatusConflict, sayRunWentOn)
	}
	if b.fresh != nil {
		if err := b.run.Append(*b.fresh); err != nil {
			return s.notKept(err)
		}
	}
	before := b.state
	after, _, err := b.run.Take(before, entry, s.o.Now())
	var asked *bench.Asked
	var question *quantity.Question
	switch {
	case errors.Is(err, bench.ErrStop):
		http.Redirect(w, r, unitPath(b.run.Events[0].Values[shop.Of]), http.StatusSeeOther) // all of it is kept
		return nil
	case errors.As(err, &asked):
		return s.showBench(w, r, b, http.StatusUnprocessableEntity, asked.Says)
	case errors.As(err, &question):
		return s.showBench(w, r, b, http.StatusUnprocessableEntity, question.Error())
	case err != nil:
		return s.notKept(err)
	}
	if drafts := shop.Found(after, b.inner); len(drafts) > 0 {
		if _, err := s.o.Desk.Write(r.Context(), b.inner, rulebase.Bench, byCookie(r), drafts...); err != nil {
			s.o.Log.Warn("what the bench found was not added to its case", "error", err) // it is in the run, and the run is kept
		}
	}
	http.Redirect(w, r, done, http.StatusSeeOther)
	return nil
}

// said says whether the event behind so many is what an entry would have been there.
func (b *benchRun) said(at int, entry string) bool {
	if b.run.Events[at].Kind == bench.Resumed && at+1 < len(b.run.Events) { // it was kept with the entry
		at++
	}
	was, err := bench.Run(b.state.Procedure, b.state.Unit, b.run.Events[:at])
	if err != nil {
		return false
	}
	draft, err := was.Enter(entry)
	e := b.run.Events[at]
	return err == nil && draft.Kind == e.Kind && draft.Step == e.Step && (len(draft.Values) == 0 && len(e.Values) == 0 || maps.Equal(draft.Values, e.Values))
}

// benchText makes the entry that somebody would type of what a form says.
func benchText(r *http.Request) string {
	get := r.PostForm.Get
	switch get("as") {
	case "number":
		return kept.InUnit(get("reading"), get("unit"))
	case "points":
		if get("entry") != "" {
			return get("entry")
		}
		return "all pass, exceptions: " + get("points")
	case "errors":
		if get("entry") != "" {
			return get("entry")
		}
		return strings.TrimSpace(get("wrong")) + " of " + strings.TrimSpace(get("of"))
	case "instrument":
		if until := get("until"); until != "" {
			return get("name") + " until " + until
		}
		return get("name") + " not calibrated"
	case "not done":
		return "not done " + get("reason")
	case "note":
		return "note " + get("note")
	}
	return get("entry")
}

// benchRecord issues the record of a run at its end, or issues it again.
func (s *Server) benchRecord(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	form, err := formID(r)
	if err != nil {
		return err
	}
	name := r.PostForm.Get("run")
	release := s.oneAtATime("run " + name)
	defer release()
	b, err := s.openRun(r, name, false)
	if err != nil {
		return err
	}
	done := "/bench?run=" + url.QueryEscape(name)
	switch {
	case b.card == nil || b.state.Verdict == bench.NoVerdict:
		return wrong(sayRunNotEnded)
	case b.unlike():
		return wrong(saySerialUnlike, b.state.Serial, spokenKey(b.card.ID))
	case hasForm(b.card, form):
		http.Redirect(w, r, done, http.StatusSeeOther)
		return nil
	}
	said, why, err := s.recordSaid(r)
	if err != nil {
		return err
	}
	by, err := s.by(w, r)
	if err != nil {
		return err
	}
	before, older, err := shop.Recorded(r.Context(), s.o.Store, b.card, b.run.Events)
	if err != nil {
		return err
	}
	if before != nil && older {
		return wrong(sayOlderRun, before.Number, before.Issue)
	}
	if before != nil && why == "" {
		return wrong(sayReissueWhy, before.Number, before.Issue)
	}
	shop.KnownAs(&said, b.state, b.card.Unit, b.card)
	shop.CameIn(&said, b.run.Events, b.card)
	record, err := shop.NewRecord(r.Context(), s.o.Store, s.o.Now(), said, b.state, before, why)
	if err != nil {
		return err
	}
	forms, body, err := shop.Forms(record)
	if err != nil {
		return err
	}
	drafts, err := shop.KeepRecord(r.Context(), s.o.Store, b.card, body, b.state, b.run.Text, forms)
	if err != nil {
		return err
	}
	if _, err := s.o.Counter.Write(r.Context(), b.card.ID, by, ofForm(form, drafts)...); err != nil {
		return err
	}
	http.Redirect(w, r, done, http.StatusSeeOther)
	return nil
}

// recordSaid is what a form says of a record: what stands on it, and why it is issued again.
func (s *Server) recordSaid(r *http.Request) (said report.RecordContent, why string, err error) {
	said.Program = s.o.Counter.Program
	if err := fields(r, map[string]*string{"shop": &said.Shop, "customer": &said.Customer, "order": &said.Order, "received": &said.Received, "authorised": &said.Authorised, "why": &why}); err != nil {
		return said, why, err
	}
	if said.Shop == "" {
		said.Shop = s.o.Counter.Name
	}
	if _, err := time.Parse(time.DateOnly, said.Received); err != nil && said.Received != "" {
		return said, why, wrong(sayNoDay)
	}
	return said, why, nil
}
