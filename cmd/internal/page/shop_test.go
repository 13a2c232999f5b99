package page_test

import (
	"bytes"
	"context"
	"fmt"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cmd/internal/shop"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// goodUnit is the unit on the bench. Nobody changes it: tests run beside each other.
var goodUnit = support.GoodUnit("A0815")

// benchState is where a run stands, by its file.
func benchState(t testing.TB, file string) *bench.State {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	run, err := shop.ReadRun(file)
	if err != nil {
		t.Fatal(err)
	}
	st, err := run.State(base)
	if err != nil {
		t.Fatal(err)
	}
	return st
}

// typedAt is what somebody with a good unit, of this serial number where one is given, says to what a run asks.
func typedAt(st *bench.State, serial string) string {
	switch st.Wants.Kind {
	case bench.WantsConfirm:
		return "read"
	case bench.WantsTool:
		return "no. 7"
	case bench.WantsRelease:
		return "out"
	case bench.WantsAnswer:
		return goodUnit[st.Wants.Ask]
	}
	if st.Wants.Reading.ID == "serial" && serial != "" {
		return serial
	}
	return goodUnit[st.Wants.Reading.ID]
}

// as is the hidden field of a form at the bench that says how it is filled in.
func (f *form) as() string { return f.values.Get("as") }

// enterAt fills the form for what a run asks in, and gives the page that comes then.
func (s *served) enterAt(st *bench.State, body string) (int, string) {
	s.t.Helper()
	text := typedAt(st, s.serial)
	for _, f := range formsOf(s.t, body) {
		if f.action != "/bench/entry" || f.as() == "not done" || f.as() == "note" || slices.Equal(f.names, []string{"entry=undo"}) {
			continue
		}
		v := f.values
		switch f.as() {
		case "number":
			v.Set("reading", text)
			_, unit, _ := strings.Cut(f.names[0], "=")
			v.Set("unit", unit)
		case "instrument":
			v.Set("name", text)
			v.Set("until", "2099-01-01")
		case "errors":
			wrong, of, _ := strings.Cut(text, " of ")
			v.Set("wrong", wrong)
			v.Set("of", of)
		case "points":
			v.Set("entry", "all pass")
		default:
			if len(f.names) > 0 && !slices.Contains(f.names, "entry="+text) {
				s.t.Fatalf("%q is none of %v", text, f.names)
			}
			v.Set("entry", text)
		}
		return s.post(f.action, v)
	}
	s.t.Fatalf("nothing asks for %q:\n%s", text, body)
	return 0, ""
}

// fill sends the form of a page with an action, with what else is filled in.
func (s *served) fill(page, action string, more ...string) (int, string) {
	s.t.Helper()
	for _, f := range formsOf(s.t, page) {
		if f.action == action {
			for i := 0; i+1 < len(more); i += 2 {
				f.values.Set(more[i], more[i+1])
			}
			return s.post(action, f.values)
		}
	}
	s.t.Fatalf("no form to %s:\n%s", action, page)
	return 0, ""
}

// unitNow is the unit as the store has it.
func (s *served) unitNow(key string) *cases.Card {
	s.t.Helper()
	o, err := sqlite.Open(context.Background(), s.Store, sqlstore.Options{Now: time.Now})
	if err != nil {
		s.t.Fatal(err)
	}
	defer o.Close()
	c, err := cases.ReadUnit(context.Background(), o, key)
	if err != nil {
		s.t.Fatal(err)
	}
	return c
}

var recordRE = regexp.MustCompile(`/record\?[^"]*`)

// The shop's whole job by forms alone: a unit comes in, goes through the bench in a program that is
// killed meanwhile, has its record, and is released on it.
func TestTheShopsJob(t *testing.T) {
	t.Parallel()
	store := filepath.Join(t.TempDir(), "cases.db")
	s := serve(t, store)
	_, body := s.get("/shop/receive")
	if status, said := s.fill(body, "/shop/receive", "type", quayType(t), "serial", "A0815"); status != http.StatusUnprocessableEntity || !strings.Contains(said, "an id") {
		t.Errorf("nobody takes it in: %d", status)
	}
	status, unit := s.fill(body, "/shop/receive", "type", quayType(t), "serial", "A0815", "by", "p1", "complaint", "silent since the storm")
	if status != http.StatusOK || !strings.Contains(unit, "is received") {
		t.Fatalf("received: %d\n%s", status, unit)
	}
	key := s.keyOf(unit)
	if status, _ := s.fill(body, "/shop/receive", "type", quayType(t), "serial", "A0815", "by", "p1"); status != http.StatusOK || len(s.unitNow(key).Events) != 1 {
		t.Errorf("sent twice: %d, %d events", status, len(s.unitNow(key).Events))
	}
	if status, said := s.fill(unit, "/unit/move", "to", "evaluated", "why", "tested", "unit", "good", "by", "p1"); status != http.StatusUnprocessableEntity || !strings.Contains(said, "contaminated") {
		t.Errorf("opened without a statement: %d", status)
	}
	if !strings.Contains(unit, `<select name="state" required><option value="">choose</option>`) {
		t.Error("a statement on contamination stands there before anybody chose it")
	}
	if status, _ := s.fill(unit, "/unit/statement", "state", "", "by", "p1"); status != http.StatusUnprocessableEntity {
		t.Errorf("a statement that nobody chose: %d", status)
	}
	const another = "Another statement on contamination"
	if strings.Contains(unit, another) {
		t.Error("before there is a statement another one is asked for")
	}
	s.fill(unit, "/unit/statement", "state", "not_exposed", "from", "letter", "by", "p1")
	if _, stated := s.get("/unit?of=" + url.QueryEscape(key)); strings.Count(stated, another) != 1 || strings.Count(stated, `action="/unit/statement"`) != 1 {
		t.Error("behind a statement another one is not to be had, or not folded away")
	}
	_, body = s.get("/unit/bench?of=" + url.QueryEscape(key))
	if status, _ := s.fill(body, "/bench/begin", "profile", "", "procedure", "short", "by", "bench-2"); status != http.StatusUnprocessableEntity {
		t.Errorf("a unit whose kind nobody chose: %d", status)
	}
	status, body = s.fill(body, "/bench/begin", "profile", "quay_24", "procedure", "short", "by", "bench-2")
	if status != http.StatusOK {
		t.Fatalf("begun: %d\n%s", status, body)
	}
	files, _ := filepath.Glob(strings.TrimSuffix(store, ".db") + "-runs/*.run.jsonl")
	if len(files) != 1 {
		t.Fatalf("runs: %v", files)
	}
	file := files[0]
	run := strings.TrimSuffix(filepath.Base(file), ".run.jsonl")
	for n := 0; ; n++ {
		st := benchState(t, file)
		if st.Wants.Kind == bench.WantsNothing {
			break
		}
		if n > 200 {
			t.Fatal("it comes to no end")
		}
		if can := strings.Contains(body, "Take the last back"); n == 0 && can || n == 1 && !can {
			t.Errorf("after %d entries there is something to take back: %t", n, can)
		}
		before := body
		status, body = s.enterAt(st, before)
		if now := benchState(t, file); status != http.StatusOK || len(now.Events) != len(st.Events)+1 {
			t.Fatalf("at %s: %d, %d events after %d\n%s", st.Wants.Kind, status, len(now.Events), len(st.Events), words(parse(t, body)))
		}
		if n%9 == 4 { // killed, started anew, and the last form sent again
			s.Kill()
			s = serve(t, store)
			if status, again := s.enterAt(st, before); status != http.StatusOK || len(benchState(t, file).Events) != len(st.Events)+1 {
				t.Fatalf("sent again: %d\n%s", status, words(parse(t, again)))
			}
			_, body = s.get("/bench?run=" + run)
		}
	}
	if out := s.downdrop("", "bench", "show", file); !strings.Contains(out, "A0815") {
		t.Errorf("the command line reads it as %s", out)
	}
	_, body = s.get("/bench?run=" + run)
	status, body = s.fill(body, "/bench/record", "customer", "Invented Yard", "received", "2031-05-04", "by", "bench-2")
	link := recordRE.FindString(body)
	if status != http.StatusOK || link == "" {
		t.Fatalf("issued: %d\n%s", status, words(parse(t, body)))
	}
	_, record := s.get(html.UnescapeString(link))
	c := s.unitNow(key)
	r := c.Records[len(c.Records)-1].Body
	for _, want := range []string{r.Number, r.Digest, "A0815", "Invented Yard", "chain"} {
		if !strings.Contains(record, want) {
			t.Errorf("the record lacks %s", want)
		}
	}
	// Issued again only with a reason.
	_, body = s.get("/bench?run=" + run)
	if status, said := s.fill(body, "/bench/record", "customer", "Invented Yard", "received", "2031-05-04", "by", "bench-2"); status != http.StatusUnprocessableEntity || !strings.Contains(said, "issue 1. To issue it again, say why.") || len(s.unitNow(key).Records) != len(c.Records) {
		t.Errorf("again without a reason: %d\n%s", status, words(parse(t, said)))
	}
	if status, said := s.fill(body, "/bench/record", "customer", "Invented Yard at Sea", "received", "2031-05-04", "by", "bench-2", "why", "the name was wrong"); status != http.StatusOK || len(s.unitNow(key).Records) != len(c.Records)+1 {
		t.Errorf("again with a reason: %d\n%s", status, words(parse(t, said)))
	}
	if text, err := os.ReadFile(file); err != nil || r.Head != bench.Head(benchState(t, file).Events) || len(text) == 0 {
		t.Errorf("the record is of another run: %v", err)
	}
	_, unit = s.get("/unit?of=" + url.QueryEscape(key))
	for _, to := range []string{"evaluated", "released"} {
		more := []string{"to", to, "why", "passed the short check", "record", r.Number, "by", "p1"}
		if to == "released" {
			more = append(more, "consent", "customer-7, letter")
		}
		if status, unit = s.fill(unit, "/unit/move", more...); status != http.StatusOK {
			t.Fatalf("%s: %d %s", to, status, words(parse(t, unit)))
		}
	}
	if got := s.unitNow(key); got.State() != cases.ShopReleased {
		t.Errorf("it is %s", got.State())
	}
	if out := s.downdrop("", "unit", "show", "A0815"); !strings.Contains(out, "released") {
		t.Errorf("the command line says %s", out)
	}
	// A run that somebody changed stays on the list, and says so when it is opened.
	text, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	changed := strings.Replace(string(text), "silent since the storm", "silent since the flood", 1)
	if err := os.WriteFile(file, []byte(changed), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, unit = s.get("/unit?of=" + url.QueryEscape(key)); !strings.Contains(unit, "/bench?run="+run) || !strings.Contains(unit, "which cannot be read") {
		t.Errorf("a run that was changed is not on the list:\n%s", words(parse(t, unit)))
	}
	if status, said := s.get("/bench?run=" + run); status != http.StatusServiceUnavailable || !strings.Contains(said, "was changed after it was written") || strings.Contains(said, filepath.Dir(file)) {
		t.Errorf("a run that was changed: %d %s", status, words(parse(t, said)))
	}
}

// What is decided on the page is what the command decides; the plot is drawn when it is asked for; an
// offer is made of it, and answered.
func TestTheDecisionInABrowser(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	const prices = "../../../cases/examples/prices/shop.yaml"
	sheet, err := os.ReadFile(prices)
	if err != nil {
		t.Fatal(err)
	}
	s.downdrop("", "unit", "receive", "BIU-2", "B0815", "--by", "p1")
	s.downdrop("", "unit", "statement", "B0815", "not_exposed", "--by", "p1")
	s.downdrop("", "unit", "move", "B0815", "evaluated", "--why", "tested", "--unit", "bad", "--by", "p1")
	const key = "biu-2/b0815"
	_, unit := s.get("/unit?of=" + url.QueryEscape(strings.ToUpper(key)))
	of := s.keyOf(unit)
	status, body := s.upload("/unit/decide", "sheet", sheet, url.Values{"of": {of}, "downtime": {"800"}})
	if status != http.StatusOK || strings.Contains(body, "<svg") {
		t.Fatalf("decided: %d\n%s", status, words(parse(t, body)))
	}
	link := ""
	each(parse(t, body), func(n *html.Node) {
		if href := attribute(n, "href"); strings.HasPrefix(href, "/unit/decision.json") {
			link = href
		}
	})
	_, asJSON := s.get(link)
	if want := s.downdrop("", "decide", "--unit", "B0815", "--downtime", "800", "--json", prices); asJSON != want {
		t.Errorf("the page decides\n%s\nthe command\n%s", asJSON, want)
	}
	plain := strings.Join(strings.Fields(s.downdrop("", "decide", "--unit", "B0815", "--downtime", "800", "--detail", prices)), " ")
	shown := words(parse(t, body))
	for _, line := range strings.SplitAfter(plain, ". ")[:4] {
		if !strings.Contains(shown, strings.TrimSpace(line)) {
			t.Errorf("the page does not say %q", line)
		}
	}
	_, page := s.get(strings.Replace(link, "/unit/decision.json?", "/unit/decide?plot=yes&", 1))
	if !strings.Contains(page, `class="plot"`) || strings.Contains(page, "<style") { // it has the style of the page
		t.Error("asked for, it is not drawn on the page")
	}
	_, drawn := s.get(strings.Replace(link, ".json", ".svg", 1))
	if !strings.HasPrefix(drawn, "<svg") {
		t.Errorf("no drawing: %.80s", drawn)
	}
	if status, body := s.upload("/unit/decide", "sheet", []byte("prices: x\ncurrency: euro\n"), url.Values{"of": {of}, "spares": {"many"}}); status != http.StatusUnprocessableEntity || !strings.Contains(body, "a whole number") || !strings.Contains(body, "currency") {
		t.Errorf("a bad sheet and a bad number: %d\n%s", status, words(parse(t, body)))
	}
	status, unit = s.fill(body, "/unit/offer", "until", "2099-12-31", "by", "p1")
	if status != http.StatusOK || !strings.Contains(unit, "/unit/offer?of=") {
		t.Fatalf("offered: %d %s", status, words(parse(t, unit)))
	}
	if _, paper := s.get("/unit/offer?of=" + url.QueryEscape(of)); !strings.Contains(paper, "31 December 2099") {
		t.Errorf("the offer on paper lacks its day")
	}
	way := s.unitNow(of).Stay().Offer().Offer.Ways[0].Way
	s.fill(unit, "/unit/answer", "way", way, "how", "by letter", "by", "p1")
	if got := s.unitNow(of).Stay().Offer().Agreed(); got != way {
		t.Errorf("agreed is %q, not %s", got, way)
	}
	if status, body := s.fill(unit, "/unit/move", "to", "in_repair", "why", "agreed", "by", "p1"); status != http.StatusOK {
		t.Fatalf("in repair: %d %s", status, words(parse(t, body)))
	}
	code := s.open(url.Values{"story": {"drop dead"}, "type": {"BIU-2"}, "serial": {"B0815"}})
	tab := s.tab(browser.Options{Width: 360, Height: 740, NoScript: true})
	light(tab, "dark", "no-preference")
	for what, path := range map[string]string{"offer": "/unit/offer?of=" + url.QueryEscape(of), "in-repair": "/unit?of=" + url.QueryEscape(of), "return-note": "/case/" + code + "/return-note"} {
		tab.Run(chromedp.Navigate(s.At + path))
		wellLaid(t, tab, what)
		accessible(t, tab, true, what)
		picture(t, tab, "shop-dark-"+what)
	}
}

// A plate that is easily misread is asked about, and nothing is taken in before.
func TestAPlateIsReadAgain(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	s.downdrop("", "unit", "receive", "BIU-2", "B0815", "--by", "p1")
	s.downdrop("", "unit", "move", "B0815", "returned_unrepaired", "--why", "sent back", "--by", "p1")
	_, body := s.get("/shop/receive")
	status, ask := s.fill(body, "/shop/receive", "type", "BIU-2", "serial", "80815", "by", "p1", "condition", "<dented>")
	if status != http.StatusOK || !strings.Contains(ask, "Read the plate again") {
		t.Fatalf("%d\n%s", status, words(parse(t, ask)))
	}
	code := s.open(url.Values{"at": {"bench"}, "type": {"BIU-2"}, "serial": {"80815"}})
	if _, note := s.get("/case/" + code + "/return-note"); strings.Contains(note, "downdrop case") || !strings.Contains(note, "Hand the whole case over") {
		t.Errorf("the return note on the page speaks of a command: %s", words(parse(t, note)))
	}
	status, unit := s.fill(ask, "/shop/receive", "unit", "")
	if of := s.keyOf(unit); status != http.StatusOK || !strings.Contains(of, "80815") || s.unitNow(of).Stay().Receipt.Body.Condition != "<dented>" {
		t.Errorf("it is none of them: %d %s", status, of)
	}
	// Of a case that was named nothing is asked any more, of the others that look like it still.
	named := s.open(url.Values{"at": {"bench"}, "type": {"BIU-2"}, "serial": {"8O816"}})
	other := s.open(url.Values{"at": {"bench"}, "type": {"BIU-2"}, "serial": {"B0816"}})
	_, body = s.get("/shop/receive")
	status, ask = s.fill(body, "/shop/receive", "type", "BIU-2", "serial", "80816", "by", "p1", "case", named)
	if said := words(parse(t, ask)); status != http.StatusOK || !strings.Contains(said, "Read the plate again") || strings.Contains(said, named) || !strings.Contains(said, other) {
		t.Errorf("%s is named, %s is to be asked: %d\n%s", named, other, status, said)
	}
}

// quayType is the type of an invented profile.
func quayType(t testing.TB) string {
	t.Helper()
	base, err := rulebase.ShippedCompiled()
	if err != nil {
		t.Fatal(err)
	}
	all, err := base.Profiles()
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(all, func(p *rulebase.Profile) bool { return p.Name == "quay_24" })
	return all[i].Type
}

// keyOf is the id of the unit that a page is about.
func (s *served) keyOf(body string) string {
	s.t.Helper()
	for _, f := range formsOf(s.t, body) {
		if key := f.values.Get("of"); key != "" {
			return key
		}
	}
	s.t.Fatalf("the page is about no unit:\n%s", body)
	return ""
}

// upload sends a form with a file.
func (s *served) upload(path, field string, file []byte, values url.Values) (int, string) {
	s.t.Helper()
	var b bytes.Buffer
	m := multipart.NewWriter(&b)
	for name, v := range values {
		if err := m.WriteField(name, v[0]); err != nil {
			s.t.Fatal(err)
		}
	}
	w, err := m.CreateFormFile(field, "prices.yaml")
	if err == nil {
		_, err = w.Write(file)
	}
	if err != nil {
		s.t.Fatal(err)
	}
	m.Close()
	r, err := s.http.Post(s.At+path, m.FormDataContentType(), &b)
	if err != nil {
		s.t.Fatal(fmt.Errorf("upload: %w", err))
	}
	return text(s.t, r)
}
