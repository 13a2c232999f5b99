package page_test

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// sizes are a phone held upright and a desk's screen.
var sizes = [][2]int{{360, 740}, {1280, 800}}

// tab opens a browser that was let in.
func (s *served) tab(o browser.Options) *browser.Tab {
	s.t.Helper()
	o.Own = s.At
	tab := browser.New(s.t, o)
	tab.Run(chromedp.Navigate(s.At+s.Link().RequestURI()), chromedp.Click("button.go", chromedp.ByQuery), chromedp.WaitVisible(`a.go`, chromedp.ByQuery))
	return tab
}

// picture keeps what a page looks like where DOWNDROP_PICTURES names a folder, for people to look at.
func picture(t *testing.T, tab *browser.Tab, name string) {
	t.Helper()
	if dir := os.Getenv("DOWNDROP_PICTURES"); dir != "" {
		if err := os.WriteFile(filepath.Join(dir, name+".png"), tab.Screenshot(), 0o600); err != nil {
			t.Fatal(err)
		}
	}
}

// wellLaid holds a page to what a glove and a small screen need.
func wellLaid(t *testing.T, tab *browser.Tab, where string) {
	t.Helper()
	var wrong []string
	tab.Eval(`(function(){
		var out = [], wide = document.documentElement.scrollWidth, room = document.documentElement.clientWidth;
		if (wide > room) out.push("the page is " + wide + " wide on a screen of " + room);
		document.querySelectorAll("button, a.small, a.go, .choice label, input:not([type=hidden]):not([type=radio]):not([type=checkbox]), select, textarea").forEach(function (b) {
			var r = b.getBoundingClientRect();
			if (r.height && r.height < 55.5) out.push(b.tagName + " " + b.textContent.trim() + " is " + r.height + " high");
		});
		var ids = {};
		document.querySelectorAll("[id]").forEach(function (e) { if (ids[e.id]) out.push("two of id " + e.id); ids[e.id] = 1; });
		return out;
	})()`, &wrong)
	for _, w := range wrong {
		t.Errorf("%s: %s", where, w)
	}
}

func TestPagesInABrowser(t *testing.T) {
	t.Parallel() // most of it is waiting
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI looks at every page at both sizes, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "location": {"Invented Yard 7"}, "story": {fieldStory}})
	call := s.open(url.Values{"at": {"phone"}, "drop": {"3"}, "location": {"Invented Quarry"}, "story": {"operator, drop 3 dead, power light dark, others good"}})
	_, body := s.get("/case/" + code)
	for _, words := range []string{"power light dark", "run light dark", "isolator closed", "done replace_fuse, still down"} {
		_, body = s.say(body, words)
	}
	s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(t)}})
	_, body = s.get("/case/" + code + "/hand-over")
	s.press(body, "to=bench")
	for _, size := range sizes {
		tab := s.tab(browser.Options{Width: size[0], Height: size[1], NoScript: true})
		for name, path := range map[string]string{"list": "/", "new": "/new", "case": "/case/" + code, "why": "/case/" + code + "?say=why", "else": "/case/" + code + "?say=else", "none": "/case/XXXXXX", "causes": "/case/" + code + "/causes", "chart": "/case/" + code + "/chart?places=5", "close": "/case/" + code + "/close",
			"summary": "/case/" + code + "/summary", "hand-over": "/case/" + code + "/hand-over", "take-over": "/case/" + code + "/take-over", "receive": "/receive", "phone": "/case/" + call} {
			tab.Run(chromedp.Navigate(s.At + path))
			wellLaid(t, tab, fmt.Sprintf("%s at %d", name, size[0]))
			if size[0] == 360 || name == "causes" || name == "phone" { // the others have one column at any width
				accessible(t, tab, true, fmt.Sprintf("%s at %d", name, size[0]))
			}
			picture(t, tab, fmt.Sprintf("%s-%d", name, size[0]))
		}
	}
	tab := s.tab(browser.Options{Width: 360, Height: 740})
	for _, seen := range [][2]string{{"dark", "no-preference"}, {"light", "more"}, {"dark", "more"}} {
		light(tab, seen[0], seen[1])
		for _, path := range []string{"/case/" + code + "/causes", "/case/" + code} {
			tab.Run(chromedp.Navigate(s.At + path))
			accessible(t, tab, false, fmt.Sprint(path, seen))
		}
		picture(t, tab, "seen-"+seen[0]+"-"+seen[1])
	}
	if !strings.Contains(s.downdrop("", "case", "list"), code) {
		t.Errorf("the case is not on the command line")
	}
}

// The whole job at the drop in a browser, in every way. axe finds nothing at any question, and everything is
// large enough for a glove.
func TestFieldJobInABrowser(t *testing.T) {
	everyWay(t, "TestFieldJobToTheClosedCase", func(t *testing.T, w way) {
		s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
		h := handsOn(t, s, w)
		if !w.scripts {
			light(h.tab, "dark", "no-preference")
		}
		h.press(`a.go`)
		h.write("#story", "technician at the drop, not alone, 5 dead, 1-4 good, power light dark, loss_of_bus=off")
		h.press("button.go")
		for ; h.answers < 30; h.answers++ {
			kind, about, answers := onScreen(h.tab)
			h.look("job " + kind + " " + about)
			if kind == "end" {
				break
			}
			pick := blownFuse.choose(kind, about, answers)
			if pick == "" {
				t.Fatalf("at %s %s nothing can be answered: %v", kind, about, answers)
			}
			if pick == ticked {
				h.tickAll()
			}
			h.press("button" + attributeSelector("chosen", pick))
		}
		h.press(`a[href$="/close"]`)
		h.look("closing")
		h.tick("input" + attributeSelector("cause", "supply_fuse_blown"))
		h.write("#how", "works with a new fuse, watched")
		h.press("form.box button.go")
		if said := h.says(); !strings.Contains(said, "This case is closed") {
			t.Errorf("not closed: %.300s", said)
		}
		h.look("closed")
		t.Logf("%d answers", h.answers)
	})
}

// tickAll ticks every fact that a page asks for.
func (h *hands) tickAll() {
	h.t.Helper()
	var facts []string
	h.tab.Eval(`Array.from(document.querySelectorAll("input[name=fact]")).map(function (b) { return b.value })`, &facts)
	for _, f := range facts {
		h.tick("input" + attributeSelector("fact", f))
	}
}

// turns does something and waits until another page is there, or another main part of this one.
func turns(tab *browser.Tab, do func()) {
	tab.Eval(`document.querySelector("main").dataset.old = "1"`, nil)
	do()
	tab.Run(chromedp.ActionFunc(func(ctx context.Context) error {
		for {
			var there bool
			err := chromedp.Evaluate(`(function(){var m=document.querySelector("main"); return document.readyState === "complete" && !!m && !m.dataset.old})()`, &there).Do(ctx)
			if err == nil && there { // an error: the page is just going
				return nil
			}
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-time.After(10 * time.Millisecond):
			}
		}
	}))
}

// An answer given while there is no network is kept, survives a reload, and is there once when
// there is one again.
func TestAnswerWithoutNetworkInABrowser(t *testing.T) {
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {fieldStory}})
	tab := s.tab(browser.Options{Width: 360, Height: 740})
	turns(tab, func() { tab.Run(chromedp.Navigate(s.At + "/case/" + code)) })
	before := count(s.kept(code), cases.KindTalked)
	tab.Run(network.EmulateNetworkConditions(true, 0, 0, 0))
	tab.Run(chromedp.SendKeys("#entry", "power light dark\r", chromedp.ByQuery), chromedp.WaitVisible("#unsent", chromedp.ByQuery))
	if got := count(s.kept(code), cases.KindTalked); got != before {
		t.Fatalf("it came through without a network")
	}
	turns(tab, func() { tab.Run(network.EmulateNetworkConditions(false, 0, -1, -1)) }) // it is sent again by itself
	if got := findings(s.kept(code)); !strings.HasSuffix(got, "power_light=dark") || count(s.kept(code), cases.KindTalked) != before+1 {
		t.Errorf("then the case knows %s", got)
	}
	// The program is not there while an answer is given; the page is loaded anew once it is.
	tab.Run(network.EmulateNetworkConditions(true, 0, 0, 0), chromedp.SendKeys("#entry", "run light dark\r", chromedp.ByQuery), chromedp.WaitVisible("#unsent", chromedp.ByQuery))
	turns(tab, func() {
		tab.Run(network.EmulateNetworkConditions(false, 0, -1, -1), chromedp.Navigate(s.At+"/"))
	})
	for range 200 {
		if strings.Contains(findings(s.kept(code)), "run_light=dark") {
			break
		}
		time.Sleep(20 * time.Millisecond)
	}
	if got := findings(s.kept(code)); strings.Count(got, "run_light=dark") != 1 {
		t.Errorf("after a reload the case knows %s", got)
	}
}

// Who types while listening is shown what would be taken in, and the questions it could be
// about; a key answers what is asked.
func TestTypingWhileListeningInABrowser(t *testing.T) {
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI does so, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"phone"}, "story": {"operator, 5 dead, 1-4 good"}})
	tab := s.tab(browser.Options{Width: 1280, Height: 800})
	turns(tab, func() { tab.Run(chromedp.Navigate(s.At + "/case/" + code)) })
	var text string
	tab.Run(chromedp.SendKeys("#entry", "run light dark, powr li", chromedp.ByQuery), chromedp.WaitVisible(`#hearing button[value="power_light=dark"]`, chromedp.ByQuery), chromedp.Text("#hearing", &text, chromedp.ByQuery))
	if !strings.Contains(text, "run light: dark") {
		t.Errorf("shown is %q", text)
	}
	if got := findings(s.kept(code)); strings.Contains(got, "run_light") {
		t.Errorf("typing alone was taken in: %s", got)
	}
	picture(t, tab, "typing-1280")
	wellLaid(t, tab, "typing")
	accessible(t, tab, false, "typing")
	turns(tab, func() { tab.Click(`#hearing button[value="power_light=dark"]`) })
	if got := findings(s.kept(code)); !strings.HasSuffix(got, "power_light=dark") {
		t.Errorf("a press on what was found: %s", got)
	}
	_, _, answers := onScreen(tab)
	turns(tab, func() {
		tab.Run(chromedp.Focus("main", chromedp.ByQuery), chromedp.KeyEvent("1"))
	})
	if c := s.kept(code); count(c, cases.KindTalked) != 3 {
		t.Errorf("the key 1 for %v: %s", answers, findings(c))
	}
}
