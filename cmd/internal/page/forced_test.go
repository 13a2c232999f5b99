package page_test

import (
	"fmt"
	"net/url"
	"path/filepath"
	"testing"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"

	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// unseen are the shapes and words of drawings that nobody sees: all that they are drawn with is the
// colour of what they stand on, or is no colour of the page.
const unseen = `(function () {
	var out = [], seen = 0;
	var ink = getComputedStyle(document.body).color;
	document.querySelectorAll("main svg").forEach(function (svg) {
		svg.querySelectorAll("path, line, polyline, rect, circle, text").forEach(function (e) {
			var s = getComputedStyle(e);
			if (e.closest("defs, clipPath, .code") || !e.getClientRects().length || s.visibility === "hidden") return;
			seen++;
			var is = e.tagName + "." + e.getAttribute("class") + " of " + (svg.getAttribute("class") || "") + ": fill " + s.fill + ", stroke " + s.stroke;
			if (e.tagName === "text" ? s.fill !== ink : s.fill !== ink && s.stroke !== ink && !/ground|light/.test(e.getAttribute("class"))) out.push(is);
		});
	});
	return [String(seen)].concat(out);
})()`

// Who has the colours of everything forced sees every line and word of the drawings, in the light and in the dark.
func TestPicturesInForcedColoursInABrowser(t *testing.T) {
	t.Parallel() // most of it is waiting
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI looks at every page, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"at": {"field"}, "drop": {"3"}, "story": {millStory}})
	s.post("/case/"+code+"/sheet", url.Values{"form": {newForm()}, "sheet": {mill(t)}})
	_, body := s.get("/case/" + code)
	for _, words := range []string{"power light dark", "run light dark"} {
		_, body = s.say(body, words)
	}
	key := storied(s)
	pages := map[string]string{"causes": "/case/" + code + "/causes", "chart": "/case/" + code + "/chart?places=5", "case": "/case/" + code, "decide": s.decidedOn(url.QueryEscape(key)) + "&plot=yes"}
	for i, size := range sizes {
		tab := s.tab(browser.Options{Width: size[0], Height: size[1], NoScript: true})
		for _, scheme := range []string{"light", "dark"}[i : i+1] {
			tab.Run(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "forced-colors", Value: "active"}, {Name: "prefers-color-scheme", Value: scheme}}))
			for name, path := range pages {
				tab.Run(chromedp.Navigate(s.At + path))
				var found []string
				tab.Eval(unseen, &found)
				where := fmt.Sprintf("forced-%s-%s-%d", name, scheme, size[0])
				if found[0] == "0" {
					t.Errorf("%s: nothing is drawn", where)
				}
				for _, f := range found[1:] {
					t.Errorf("%s: %s", where, f)
				}
				picture(t, tab, where)
			}
		}
	}
}
