package page_test

import (
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/chromedp/chromedp"

	"downdrop/testdata/support/browser"
)

// sizes are a phone held upright and a desk's screen.
var sizes = [][2]int{{360, 740}, {1280, 800}}

// tab opens a browser that was let in.
func (s *served) tab(o browser.Options) *browser.Tab {
	s.t.Helper()
	o.Own = s.at
	tab := browser.New(s.t, o)
	tab.Run(chromedp.Navigate(s.at+s.link().RequestURI()), chromedp.Click("button.go", chromedp.ByQuery), chromedp.WaitVisible(`a.go`, chromedp.ByQuery))
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
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"5"}, "location": {"Invented Yard 7"}, "story": {fieldStory}})
	call := s.open(url.Values{"at": {"phone"}, "drop": {"3"}, "location": {"Invented Quarry"}, "story": {"operator, drop 3 dead, power light dark, others good"}})
	_, body := s.get("/case/" + code)
	for _, words := range []string{"power light dark", "run light dark", "isolator closed", "done replace_fuse, still down"} {
		_, body = s.say(body, words)
	}
	_, body = s.get("/case/" + code + "/hand-over")
	s.press(body, "to=bench")
	for _, size := range sizes {
		tab := s.tab(browser.Options{Width: size[0], Height: size[1], NoScript: true})
		for name, path := range map[string]string{"list": "/", "new": "/new", "case": "/case/" + code, "why": "/case/" + code + "?say=why", "else": "/case/" + code + "?say=else", "none": "/case/XXXXXX", "causes": "/case/" + code + "/causes", "close": "/case/" + code + "/close",
			"summary": "/case/" + code + "/summary", "hand-over": "/case/" + code + "/hand-over", "receive": "/receive", "phone": "/case/" + call} {
			tab.Run(chromedp.Navigate(s.at + path))
			wellLaid(t, tab, fmt.Sprintf("%s at %d", name, size[0]))
			picture(t, tab, fmt.Sprintf("%s-%d", name, size[0]))
		}
	}
	if !strings.Contains(s.downdrop("", "case", "list"), code) {
		t.Errorf("the case is not on the command line")
	}
}
