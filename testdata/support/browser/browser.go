// Package browser drives a real Chromium in tests of pages.
package browser

import (
	"context"
	"os"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"downdrop/testdata/support"
)

// A Tab is one page, seen at a size. What goes wrong in it fails the test: an error
// of a script, a dialog, a request to anything but its own origin or file.
type Tab struct {
	t   testing.TB
	ctx context.Context

	mu       sync.Mutex
	requests []string
	wrong    []string
}

// Options of a tab.
type Options struct {
	Width, Height int
	Offline       bool   // the network is cut
	NoScript      bool   // scripts are off
	Own           string // requests to addresses that begin so are the page's own; "" file:
}

// New opens a tab in a Chromium of its own. Tests that have none are skipped, but not in CI.
func New(t testing.TB, o Options) *Tab {
	t.Helper()
	path := support.Need(t, "chromium")
	profile, err := os.MkdirTemp("", "downdrop-browser")
	if err != nil {
		t.Fatal(err)
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(path), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(profile),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("disable-component-update", true), chromedp.WSURLReadTimeout(60*time.Second))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(allocator)
	ctx, late := context.WithTimeout(ctx, 4*time.Minute)
	tab := &Tab{t: t, ctx: ctx}
	t.Cleanup(func() {
		tab.check(o)
		chromedp.Cancel(ctx) //nolint:errcheck // it waits for the browser's end, however that comes
		late()
		cancel()
		stop()
		os.RemoveAll(profile) // the browser may write to it still
	})
	chromedp.ListenTarget(ctx, func(event any) {
		tab.mu.Lock()
		defer tab.mu.Unlock()
		switch e := event.(type) {
		case *network.EventRequestWillBeSent:
			tab.requests = append(tab.requests, e.Request.URL)
		case *page.EventJavascriptDialogOpening:
			tab.wrong = append(tab.wrong, "a dialog: "+e.Message)
			go chromedp.Run(ctx, page.HandleJavaScriptDialog(true)) //nolint:errcheck // the dialog is the failure
		}
	})
	actions := []chromedp.Action{network.Enable(), emulation.SetDeviceMetricsOverride(int64(o.Width), int64(o.Height), 1, o.Width < 600), emulation.SetScriptExecutionDisabled(o.NoScript)}
	if o.Offline {
		actions = append(actions, network.EmulateNetworkConditions(true, 0, 0, 0))
	}
	tab.Run(actions...)
	return tab
}

// Run carries out actions.
func (tab *Tab) Run(actions ...chromedp.Action) {
	tab.t.Helper()
	if err := chromedp.Run(tab.ctx, actions...); err != nil {
		tab.t.Fatalf("in the browser: %v", err)
	}
}

// Eval evaluates JavaScript into a Go value.
func (tab *Tab) Eval(script string, into any) {
	tab.t.Helper()
	tab.Run(chromedp.Evaluate(script, into))
}

// Click clicks the first element of a selector, by script: where it stands does not matter.
func (tab *Tab) Click(selector string) {
	tab.t.Helper()
	var there bool
	tab.Eval(`(function(){var e=document.querySelector(`+quote(selector)+`);if(!e)return false;e.click();return true})()`, &there)
	if !there {
		tab.t.Fatalf("nothing fits %s", selector)
	}
}

// Screenshot is the whole page as PNG.
func (tab *Tab) Screenshot() []byte {
	tab.t.Helper()
	var png []byte
	tab.Run(chromedp.FullScreenshot(&png, 100))
	return png
}

// PDF prints the page as it asks to be printed.
func (tab *Tab) PDF() []byte {
	tab.t.Helper()
	var pdf []byte
	tab.Run(chromedp.ActionFunc(func(ctx context.Context) error {
		var err error
		pdf, _, err = page.PrintToPDF().WithPreferCSSPageSize(true).WithPrintBackground(true).Do(ctx)
		return err
	}))
	return pdf
}

func (tab *Tab) check(o Options) {
	tab.mu.Lock()
	defer tab.mu.Unlock()
	own := o.Own
	if own == "" {
		own = "file:"
	}
	for _, r := range tab.requests {
		if !strings.HasPrefix(r, own) && !strings.HasPrefix(r, "data:") && !strings.HasPrefix(r, "about:") {
			tab.t.Errorf("the page asked for %s", r)
		}
	}
	for _, w := range tab.wrong {
		tab.t.Errorf("in the page: %s", w)
	}
}

func quote(s string) string {
	return `"` + strings.ReplaceAll(strings.ReplaceAll(s, `\`, `\\`), `"`, `\"`) + `"`
}
