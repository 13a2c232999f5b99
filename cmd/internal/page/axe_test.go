package page_test

import (
	"fmt"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"

	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

var axe = sync.OnceValues(func() ([]byte, error) { return os.ReadFile("testdata/axe/axe.min.js") })

// accessible runs axe over the page that a tab shows: all of WCAG 2.0 to 2.2 up to AA, best practice,
// and the contrast of AAA. It finds nothing. A page takes it a second: it is asked in the step of CI that plays
// everything in a browser, with DOWNDROP_DEEP=2.
func accessible(t *testing.T, tab *browser.Tab, noScript bool, where string) {
	t.Helper()
	if support.Deep(t, 1) == 1 {
		return
	}
	script, err := axe()
	if err != nil {
		t.Fatal(err)
	}
	var found []string
	// Its own script waits for timers, which a tab without scripts has none of.
	tab.Run(emulation.SetScriptExecutionDisabled(false), chromedp.Evaluate(string(script)+";0", nil), chromedp.Evaluate(`axe.run(document, {runOnly: ["wcag2a","wcag2aa","wcag21a","wcag21aa","wcag22aa","best-practice"], rules: {"color-contrast-enhanced": {enabled: true}}, resultTypes: ["violations"]})
		.then(function (r) { return r.violations.map(function (v) { return v.id + ": " + v.nodes.map(function (n) { return n.target.join(" ") + " (" + n.failureSummary.replace(/\s+/g, " ") + ")" }).join("; ") }) })`, &found, awaited), emulation.SetScriptExecutionDisabled(noScript))
	for _, f := range found {
		t.Errorf("%s: %s", where, f)
	}
}

func awaited(p *runtime.EvaluateParams) *runtime.EvaluateParams { return p.WithAwaitPromise(true) }

// light sets what the person's screen asks for.
func light(tab *browser.Tab, scheme, contrast string) {
	tab.Run(emulation.SetEmulatedMedia().WithFeatures([]*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: scheme}, {Name: "prefers-contrast", Value: contrast}}))
}

// keyTo moves the focus by the tabulator to what a selector fits, and says how many presses that took.
func keyTo(t *testing.T, tab *browser.Tab, selector string) int {
	t.Helper()
	for n := 1; n < 80; n++ {
		tab.Eval(`window.before = document.activeElement; 0`, nil)
		tab.Run(chromedp.KeyEvent("\t"))
		var at struct{ Moved, There bool }
		for range 100 { // a browser on a busy machine takes its time: a second press would go past what was meant
			tab.Eval(fmt.Sprintf(`({Moved: document.activeElement !== window.before, There: document.activeElement.matches(%q)})`, selector), &at)
			if at.Moved {
				break
			}
			time.Sleep(10 * time.Millisecond)
		}
		if at.There {
			return n
		}
	}
	t.Fatalf("the tabulator never comes to %s", selector)
	return 0
}

// onScreen is what the page asks, with its answers.
func onScreen(tab *browser.Tab) (kind, about string, answers []string) {
	var got []string
	tab.Eval(`(function(){var f=document.querySelector("form.answers")||document.querySelector("form.words"); if(!f) return ["",""];
		return [f.kind.value, f.about.value].concat(Array.from(document.querySelectorAll("button[name=chosen]")).map(function(b){return b.value}))})()`, &got)
	return got[0], got[1], got[2:]
}

func attributeSelector(name, value string) string {
	return fmt.Sprintf(`[name=%s][value="%s"]`, name, strings.ReplaceAll(value, `"`, `\"`))
}
