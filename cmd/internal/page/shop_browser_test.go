package page_test

import (
	"fmt"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/engine/bench"
	"downdrop/testdata/support"
)

// choose takes one of a list, by typing the beginning of its words.
func (h *hands) choose(selector, words string) {
	h.t.Helper()
	if h.keys {
		h.to(selector)
	} else {
		h.tab.Run(chromedp.Focus(selector, chromedp.ByQuery)) // a press opens a list that the system draws
	}
	h.tab.Run(chromedp.KeyEvent(words))
}

// open opens what is folded away.
func (h *hands) open(selector string) {
	h.t.Helper()
	h.to(selector)
	if h.keys {
		h.tab.Run(chromedp.KeyEvent("\r"))
	}
}

// throughTheBench goes through a run to its end, and looks at each kind of page once.
func (s *served) throughTheBench(h *hands) int {
	s.t.Helper()
	files, _ := filepath.Glob(strings.TrimSuffix(s.Store, ".db") + "-runs/*.run.jsonl")
	if len(files) != 1 {
		s.t.Fatalf("runs: %v", files)
	}
	done, behind := map[string]bool{}, false
	for n := 0; n < 200; n++ {
		st := benchState(s.t, files[0])
		kind := string(st.Wants.Kind)
		if st.Wants.Kind == bench.WantsReading {
			kind = string(st.Wants.Reading.Kind)
		}
		if st.Wants.Kind == bench.WantsNothing {
			if behind {
				h.tab.Run(chromedp.Reload())
			}
			return n
		}
		if len(st.InPlace) > 0 {
			kind += "-in-place"
		}
		_, page := s.get("/bench?run=" + strings.TrimSuffix(filepath.Base(files[0]), ".run.jsonl"))
		if done[kind] && support.Deep(s.t, 1) == 1 { // each kind of question once in the browser, the rest by its form
			s.enterAt(st, page)
			behind = true
			continue
		}
		done[kind] = true
		if behind {
			h.tab.Run(chromedp.Reload())
			behind = false
		}
		h.look("bench-" + kind)
		h.enter(st)
		if now := benchState(s.t, files[0]); len(now.Events) != len(st.Events)+1 {
			var says string
			h.tab.Eval(`document.querySelector("main").textContent`, &says)
			s.t.Fatalf("%s: %d events after %d: %.400s", kind, len(now.Events), len(st.Events), strings.Join(strings.Fields(says), " "))
		}
	}
	s.t.Fatal("it comes to no end")
	return 0
}

// enter answers what the bench asks, with what the page has for it.
func (h *hands) enter(st *bench.State) {
	h.t.Helper()
	text := typedAt(st, "")
	var as string
	var words []string
	h.tab.Eval(`(function(){var f=document.querySelector("section.box form[action='/bench/entry']"); return f.as ? f.as.value : ""})()`, &as)
	h.tab.Eval(`Array.from(document.querySelectorAll("section.box form.answers button[name=entry]")).map(function(b){return b.value})`, &words)
	switch {
	case as == "number":
		h.write("#reading", text)
		h.press(`.reading button`)
	case as == "instrument":
		h.write("input[name=name]", text)
		h.write("input[name=until]", "2099-01-01")
		h.press("section.box button.go")
	case as == "errors":
		wrong, of, _ := strings.Cut(text, " of ")
		h.write("#wrong", wrong)
		h.write("#of", of)
		h.press("section.box button.go")
	case as == "points":
		h.press(`button[value="all pass"]`)
	case len(words) > 0:
		if !slices.Contains(words, text) {
			h.t.Fatalf("%q is none of %v", text, words)
		}
		h.press("button" + attributeSelector("entry", text))
	default:
		h.write("#entry", text)
		h.press("#entry ~ button")
	}
}

// page is what a path shows.
func (s *served) page(path string) string {
	s.t.Helper()
	status, body := s.get(path)
	if status != http.StatusOK {
		s.t.Fatalf("%s: %d", path, status)
	}
	return body
}

// decidedOn is the path of what is decided of a unit on the example's prices.
func (s *served) decidedOn(escaped string) string {
	s.t.Helper()
	sheet, err := os.ReadFile("../../../cases/examples/prices/shop.yaml")
	if err != nil {
		s.t.Fatal(err)
	}
	key, err := url.QueryUnescape(escaped)
	if err != nil {
		s.t.Fatal(err)
	}
	_, body := s.upload("/unit/decide", "sheet", sheet, url.Values{"of": {key}, "bad": {"0.4"}})
	for _, f := range formsOf(s.t, body) {
		if digest := f.values.Get("last"); digest != "" {
			return "/unit/decide?of=" + escaped + "&bad=0.4&sheet=" + digest
		}
	}
	s.t.Fatalf("nothing was decided: %s", words(parse(s.t, body)))
	return ""
}

// recordLink is the path of a unit's last record.
func recordLink(c *cases.Card) string {
	b := &c.Records[len(c.Records)-1].Body
	return fmt.Sprintf("/record?of=%s&number=%s&issue=%d", url.QueryEscape(c.ID), b.Number, b.Issue)
}

// The shop's whole job in a browser, in every way, from the unit that comes in to its release on its record: axe
// finds nothing on any page of it, and everything is large enough for a glove. In two of the ways, which differ in
// all and of which CI plays one, the unit goes through the full acceptance.
func TestTheShopsJobInABrowser(t *testing.T) {
	everyWay(t, "TestTheShopsJob", func(t *testing.T, w way) {
		store := filepath.Join(t.TempDir(), "cases.db")
		s := serve(t, store)
		h := handsOn(t, s, w)
		procedure := "short"
		if w == (way{sizes[0], false, true}) || w == (way{sizes[1], true, false}) {
			procedure = "acceptance"
		}
		h.press(`a[href="/shop"]`)
		h.look("no unit")
		h.press(`a[href="/shop/receive"]`)
		h.look("receive")
		h.write("#type", quayType(t))
		h.write("#serial", "A0815")
		h.write("#condition", "two pins bent")
		h.write(`input[name=by]`, "bench-2")
		h.press("form.box button.go")
		h.look("received")
		h.choose(`form[action="/unit/statement"] select`, "not ex")
		h.press(`form[action="/unit/statement"] button.go`)
		h.press(`a[href^="/unit/bench"]`)
		h.look("bench-begin")
		h.press(`button[name=procedure][value=` + procedure + `]`)
		entries := s.throughTheBench(h)
		h.look("bench-end")
		h.write(`input[name=customer]`, "Invented Yard")
		h.press(`form[action="/bench/record"] button.go`)
		h.look("bench-recorded")
		h.press(`main a[href^="/unit?of="]`)
		h.look("recorded")
		h.choose(`form[action="/unit/move"] select[name=to]`, "eval")
		h.write(`form[action="/unit/move"] input[name=why]`, "passed the check")
		h.press(`form[action="/unit/move"] button.go`)
		h.choose(`form[action="/unit/move"] select[name=to]`, "rel")
		h.write(`form[action="/unit/move"] input[name=why]`, "sent back with its record")
		h.open(`form[action="/unit/move"] summary`)
		h.write(`form[action="/unit/move"] input[name=consent]`, "customer-7, letter")
		h.press(`form[action="/unit/move"] button.go`)
		h.look("released")
		key := url.QueryEscape(s.keyOf(s.page("/unit?of=" + url.QueryEscape(cases.UnitKey(cases.Unit{Type: quayType(t), Serial: "A0815"})))))
		for what, path := range map[string]string{"decide": "/unit/decide?of=" + key, "decided": s.decidedOn(key) + "&plot=yes"} {
			h.tab.Run(chromedp.Navigate(s.At + path))
			h.look(what)
		}
		c := s.unitNow(cases.UnitKey(cases.Unit{Type: quayType(t), Serial: "A0815"}))
		if c.State() != cases.ShopReleased || len(c.Records) != 1 {
			t.Errorf("it is %s with %d records", c.State(), len(c.Records))
		}
		h.tab.Run(chromedp.Navigate(s.At + recordLink(c)))
		accessible(t, h.tab, !w.scripts, "record")
		picture(t, h.tab, "record-"+w.name())
		t.Logf("%d entries at the bench", entries)
	})
}
