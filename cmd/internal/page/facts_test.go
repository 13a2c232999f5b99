package page_test

import (
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// beforeAStep opens a case and takes up a step before which several facts have to stand.
func (s *served) beforeAStep() (code, page string) {
	s.t.Helper()
	code = s.open(url.Values{"at": {"field"}, "story": {"electrician at the drop, not alone, 5 dead, 1-4 good, power light dark, loss_of_bus=off, classified_area=no"}})
	_, page = s.get("/case/" + code)
	_, page = s.say(page, "do replace_supply_fuse")
	for kind, _, _ := asked(s.t, page); kind == "found"; kind, _, _ = asked(s.t, page) { // the settings of the unit stand before work on it
		_, page = s.press(page, "chosen=leave the sheet")
	}
	return code, page
}

func factsOf(t testing.TB, page string) []string {
	for _, f := range formsOf(t, page) {
		if len(f.ticks) > 0 {
			return f.ticks
		}
	}
	return nil
}

// All facts before a step are asked for on one page, none is taken for so by itself, each is kept by
// itself, and the step stands there only once all are.
func TestFactsBeforeAStepOnOnePage(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code, body := s.beforeAStep()
	facts := factsOf(t, body)
	if len(facts) < 5 || strings.Contains(body, "checked") || strings.Contains(body, "done, works now") {
		t.Fatalf("asked for at once are %v, some ticked or with the step", facts)
	}
	if strings.Count(body, `class="warning"`) != len(facts) {
		t.Errorf("not every fact has its warning beside it")
	}
	post := func(facts ...string) string {
		t.Helper()
		for _, f := range formsOf(t, body) {
			if slices.Contains(f.names, "chosen="+ticked) {
				f.values.Set("chosen", ticked)
				if f.values["fact"] = facts; len(facts) == 0 {
					f.values.Del("fact")
				}
				status, page := s.post(f.action, f.values)
				if status != http.StatusOK {
					t.Fatalf("%d", status)
				}
				return page
			}
		}
		t.Fatal("no form takes them")
		return ""
	}
	before := len(s.kept(code).Events)
	body = post()
	if got := s.kept(code); len(got.Events) != before || len(got.Situation.Confirmed) > 0 || !strings.Contains(body, "Nothing was ticked") {
		t.Errorf("with nothing ticked: %v", got.Situation.Confirmed)
	}
	body = post(facts[2], facts[0])
	if got := s.kept(code).Situation.Confirmed; len(got) != 2 || !slices.Contains(got, facts[0]) || !slices.Contains(got, facts[2]) {
		t.Errorf("two ticked: kept is %v", got)
	}
	if rest := factsOf(t, body); len(rest) != len(facts)-2 || slices.Contains(rest, facts[0]) || strings.Contains(body, "done, works now") {
		t.Errorf("after two of %v it asks for %v", facts, rest)
	}
	if !strings.Contains(body, "Confirmed already") {
		t.Errorf("what was confirmed is not shown beside the rest")
	}
	body = post(factsOf(t, body)...)
	if got := s.kept(code).Situation.Confirmed; len(got) != len(facts) {
		t.Errorf("all ticked: kept is %v", got)
	}
	kind, about, answers := asked(t, body)
	if kind != "step" || about != "replace_supply_fuse" || !slices.Contains(answers, "done, works now") {
		t.Errorf("then it asks %s %s %v", kind, about, answers)
	}
	if memory := string(s.kept(code).Talked.Body.Memory); strings.Count(memory, `"for":"replace_supply_fuse"`) != len(facts) {
		t.Errorf("they are not each kept for the step: %s", memory)
	}
	// A fact that nobody asked for, and one that is none, confirm nothing.
	code, body = s.beforeAStep()
	post("no_such_fact", "<script>")
	if got := s.kept(code).Situation.Confirmed; len(got) > 0 {
		t.Errorf("no facts: kept is %v", got)
	}
	if _, body = s.press(body, "chosen=not now"); strings.Contains(body, ticked) {
		t.Errorf("the step is not left alone")
	}
}

// A step is two pages from being taken up: the facts, then the step; on a phone, by keys or by presses.
func TestFactsInABrowser(t *testing.T) {
	t.Parallel() // most of it is waiting
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	for i, size := range sizes {
		code, _ := s.beforeAStep()
		keys := i > 0
		tab := s.tab(browser.Options{Width: size[0], Height: size[1], NoScript: !keys})
		tab.Run(chromedp.Navigate(s.At + "/case/" + code))
		wellLaid(t, tab, "facts")
		accessible(t, tab, !keys, "facts")
		picture(t, tab, fmt.Sprintf("facts-%d", size[0]))
		before := count(s.kept(code), cases.KindTalked)
		(&hands{t: t, tab: tab, keys: keys}).tickAll()
		turns(tab, func() {
			if keys {
				tab.Run(chromedp.KeyEvent("1"))
			} else {
				tab.Click("button" + attributeSelector("chosen", ticked))
			}
		})
		c := s.kept(code)
		if kind, _, _ := onScreen(tab); kind == "confirm" || len(c.Situation.Confirmed) < 5 || count(c, cases.KindTalked) != before+1 {
			t.Errorf("at %d: confirmed is %v and it asks %s", size[0], c.Situation.Confirmed, kind)
		}
		picture(t, tab, fmt.Sprintf("facts-then-%d", size[0]))
	}
}

// A glove that taps twice gives one answer: the second tap falls on another question.
func TestTwoTapsAreOneAnswerInABrowser(t *testing.T) { // not beside others: an answer has to come at once
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "story": {"electrician at the drop, not alone, 5 dead, 1-4 good"}})
	tab := s.tab(browser.Options{Width: sizes[0][0], Height: sizes[0][1]})
	tab.Run(chromedp.Navigate(s.At + "/case/" + code))
	const twice = 300 // ms: taps further apart are two, by page.js
	for range 30 {
		before := count(s.kept(code), cases.KindTalked)
		var answered bool
		tab.Eval(`(function(){ // taps the first answer, and the first of the next question as soon as it is there
			var then = 0;
			function tap(n) {
				var first = document.querySelector("button.answer[data-key]");
				if (!first) { return false; }
				var event = new MouseEvent("click", {bubbles: true, cancelable: true, detail: n}), gap = event.timeStamp - then;
				then = event.timeStamp;
				first.dispatchEvent(event);
				return gap;
			}
			delete document.body.dataset.gap;
			new MutationObserver(function(_, seen){ seen.disconnect(); setTimeout(function(){ document.body.dataset.gap = tap(2); }, 0); }).observe(document.body, {childList: true});
			return !!tap(1);
		})()`, &answered)
		time.Sleep(1500 * time.Millisecond)
		var second string
		tab.Eval(`document.body.dataset.gap || "never came to it"`, &second)
		gap, err := strconv.ParseFloat(second, 64)
		if !answered || err != nil {
			t.Fatalf("the first tap answered: %v; the second: %s", answered, second)
		}
		if gap > twice-20 {
			continue // the answer took longer than a glove between its taps
		}
		if after := count(s.kept(code), cases.KindTalked); after != before+1 {
			t.Errorf("two taps, %.0f ms apart, gave %d answers", gap, after-before)
		}
		return
	}
	t.Error("every answer took so long that no second tap came close behind a first")
}

// Two people at one browser: whoever takes over has what was confirmed asked anew, and is who writes from then on.
func TestSomebodyElseTakesOver(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code, body := s.beforeAStep()
	facts := factsOf(t, body)
	_, body = s.press(body, "chosen="+ticked)
	if got := s.kept(code).Situation.Confirmed; len(got) != len(facts) {
		t.Fatalf("confirmed is %v", got)
	}
	_, form := s.get("/case/" + code + "/take-over")
	for _, who := range []string{"operator", "electrician", "technician", "engineer"} {
		if strings.Count(form, `name="who" value="`+who+`"`) != 1 {
			t.Errorf("the form does not let %s take over\n%s", who, form)
		}
	}
	for _, wrong := range []url.Values{{}, {"by": {"Jo K."}, "who": {"electrician"}, "alone": {"no"}}, {"by": {"jk"}, "who": {"electrician"}}, {"by": {"jk"}, "who": {"pilot"}, "alone": {"no"}}} {
		wrong.Set("form", newForm())
		if status, _ := s.post("/case/"+code+"/take-over", wrong); status != http.StatusUnprocessableEntity {
			t.Errorf("%v: %d", wrong, status)
		}
	}
	if n := len(s.kept(code).Situation.Confirmed); n != len(facts) {
		t.Errorf("a form that was refused left %d confirmed", n)
	}
	for range 2 { // sent twice it is one entry
		var status int
		if status, body = s.fill(form, "/case/"+code+"/take-over", "by", "jk", "who", "electrician", "alone", "no"); status != http.StatusOK || !strings.Contains(body, "somebody else takes over here") {
			t.Fatalf("%d\n%s", status, body)
		}
	}
	c := s.kept(code)
	if c.Situation.Who.String() != "electrician" || c.Situation.Alone || len(c.Situation.Confirmed) > 0 || c.Talked.Event.By != "jk" {
		t.Errorf("then it is %+v by %q", c.Situation, c.Talked.Event.By)
	}
	if kind, _, _ := asked(t, body); kind == "step" {
		t.Errorf("the step stands there without being confirmed")
	}
	_, body = s.say(body, "do replace_supply_fuse")
	if got := factsOf(t, body); !slices.Equal(got, facts) {
		t.Errorf("asked anew is %v of %v", got, facts)
	}
	if by := s.kept(code).Talked.Event.By; by != "jk" {
		t.Errorf("what is said then is by %q", by)
	}
}
