// Package browser drives a real Chromium in tests of pages.
package browser

import (
	"context"
	"fmt"
	"os"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	download "github.com/chromedp/cdproto/browser"
	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/cdproto/target"
	"github.com/chromedp/chromedp"

	"downdrop/testdata/support"
)

// A Tab is one page, seen at a size. What goes wrong in it fails the test: an error
// of a script, something that the page's own policy forbids, a dialog, a request to anything but
// its own origin or file.
type Tab struct {
	t     testing.TB
	ctx   context.Context
	touch bool // a finger presses, not a mouse

	tapped time.Time // last

	mu       sync.Mutex
	requests []string
	wrong    []string
}

// Options of a tab.
type Options struct {
	Width, Height int
	Offline       bool   // the network is cut
	NoScript      bool   // scripts are off
	Downloads     string // the folder that files are saved in; "": none are
	Own           string // requests to addresses that begin so are the page's own; "" file:
}

// A chromium is one for all tabs of a package: to begin and to end one takes as long as a short test.
type chromium struct {
	ctx     context.Context
	close   func()
	profile string
	err     error
}

var open = sync.OnceValue(func() *chromium {
	c := &chromium{}
	if c.profile, c.err = os.MkdirTemp("", "downdrop-browser"); c.err != nil {
		return c
	}
	options := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(program), chromedp.NoSandbox, chromedp.DisableGPU, chromedp.UserDataDir(c.profile),
		chromedp.Flag("disable-dev-shm-usage", true), chromedp.Flag("disable-component-update", true), chromedp.WSURLReadTimeout(60*time.Second))
	allocator, stop := chromedp.NewExecAllocator(context.Background(), options...)
	ctx, cancel := chromedp.NewContext(allocator)
	c.ctx, c.close = ctx, func() {
		chromedp.Cancel(ctx) //nolint:errcheck // it waits for the browser's end, however that comes
		cancel()
		stop()
		os.RemoveAll(c.profile) // the browser may write to it still
	}
	c.err = chromedp.Run(ctx)
	return c
})

// executor has the browser itself do something, not a tab.
func (c *chromium) executor() context.Context {
	return cdp.WithExecutor(c.ctx, chromedp.FromContext(c.ctx).Browser)
}

// tab opens a tab in a context of its own, which shares nothing with another.
func (c *chromium) tab() (own cdp.BrowserContextID, id target.ID, err error) {
	if own, err = target.CreateBrowserContext().Do(c.executor()); err == nil {
		id, err = target.CreateTarget("about:blank").WithBrowserContextID(own).WithNewWindow(true).Do(c.executor())
	}
	return own, id, err
}

// forget gives a context up, and all that its pages kept.
func (c *chromium) forget(own cdp.BrowserContextID) {
	target.DisposeBrowserContext(own).Do(c.executor()) //nolint:errcheck // the browser ends soon
}

// program is the path of Chromium, and opened says that it was begun.
var (
	program string
	opened  atomic.Bool
)

// Close ends the browser of a package, where it has one: the last thing that its TestMain does.
func Close() {
	if opened.Load() {
		if c := open(); c.close != nil {
			c.close()
		}
	}
}

var beginning sync.Mutex

// New opens a tab that shares nothing with any other: its cookies and what its pages keep are its own.
// The package's TestMain has to end with Close. Tests that have no Chromium are skipped, but not in CI.
func New(t testing.TB, o Options) *Tab {
	t.Helper()
	path := support.Need(t, "chromium")
	beginning.Lock()
	program = path
	opened.Store(true)
	c := open()
	beginning.Unlock()
	if c.err != nil {
		t.Fatalf("the browser does not begin: %v", c.err)
	}
	own, id, err := c.tab()
	if err != nil {
		t.Fatalf("open a tab: %v", err)
	}
	if o.Downloads != "" {
		if err := download.SetDownloadBehavior(download.SetDownloadBehaviorBehaviorAllow).WithBrowserContextID(own).WithDownloadPath(o.Downloads).Do(c.executor()); err != nil {
			t.Fatalf("have files saved: %v", err)
		}
	}
	ctx, cancel := chromedp.NewContext(c.ctx, chromedp.WithTargetID(id))
	ctx, late := context.WithTimeout(ctx, 8*time.Minute)
	tab := &Tab{t: t, ctx: ctx, touch: o.Width < 600}
	t.Cleanup(func() {
		tab.check(o)
		chromedp.Cancel(ctx) //nolint:errcheck // the tab is closed, however that goes
		late()
		cancel()
		c.forget(own)
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
		case *runtime.EventExceptionThrown:
			tab.wrong = append(tab.wrong, "an error of a script: "+e.ExceptionDetails.Error())
		case *log.EventEntryAdded:
			if e.Entry.Level == log.LevelError && (e.Entry.Source == log.SourceSecurity || e.Entry.Source == log.SourceJavascript) {
				tab.wrong = append(tab.wrong, fmt.Sprintf("%s: %s", e.Entry.Source, e.Entry.Text))
			}
		}
	})
	actions := []chromedp.Action{network.Enable(), emulation.SetDeviceMetricsOverride(int64(o.Width), int64(o.Height), 1, o.Width < 600), emulation.SetScriptExecutionDisabled(o.NoScript),
		emulation.SetFocusEmulationEnabled(true)} // each tab is looked at, and they are many
	if tab.touch {
		actions = append(actions, emulation.SetTouchEmulationEnabled(true))
	}
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

// Press presses the first element of a selector as a person does: it is brought into sight, and a finger
// (on a phone's screen) or the mouse comes down on the middle of it. Where something else lies over
// it there, the test fails.
func (tab *Tab) Press(selector string) {
	tab.t.Helper()
	at := tab.middle(selector)
	for range 40 { // a page may still be moving, as to a field that was just chosen
		time.Sleep(25 * time.Millisecond)
		before := at
		if at = tab.middle(selector); at == before {
			break
		}
	}
	if at.Why != "" {
		tab.t.Fatalf("press %s: %s", selector, at.Why)
	}
	if tab.touch {
		time.Sleep(time.Until(tab.tapped.Add(doubleTap)))
		tab.Run(input.DispatchTouchEvent(input.TouchStart, []*input.TouchPoint{{X: at.X, Y: at.Y}}), input.DispatchTouchEvent(input.TouchEnd, []*input.TouchPoint{}))
		tab.tapped = time.Now()
		return
	}
	time.Sleep(time.Until(tab.tapped.Add(doubleClick)))
	tab.Run(chromedp.MouseClickXY(at.X, at.Y))
	tab.tapped = time.Now()
}

// How long after a press another one near it is the second half of a double one: to a browser's
// touch screen, and to a page that takes two quick ones for one.
const (
	doubleTap   = 400 * time.Millisecond
	doubleClick = 320 * time.Millisecond
)

// A spot is where something can be pressed, or why it cannot.
type spot struct {
	X, Y float64
	Why  string
}

// middle brings an element into sight and says where its middle is.
func (tab *Tab) middle(selector string) (at spot) {
	tab.t.Helper()
	tab.Eval(`(function(){
		var e = document.querySelector(`+quote(selector)+`);
		if (!e) return {Why: "nothing fits it"};
		e.scrollIntoView({block: "center", inline: "center", behavior: "instant"});
		var r = e.getClientRects()[0];
		if (!r || !r.width || !r.height) return {Why: "it is not seen"};
		var x = r.left + r.width / 2, y = r.top + r.height / 2, hit = document.elementFromPoint(x, y);
		if (!hit) return {Why: "it lies outside of the screen"};
		if (hit !== e && !e.contains(hit) && !(hit.closest("label") && hit.closest("label").control === e)) return {Why: "over it lies " + hit.outerHTML.slice(0, 120)};
		var seen = window.visualViewport;
		return {X: (x - seen.offsetLeft) * seen.scale, Y: (y - seen.offsetTop) * seen.scale, Why: ""};
	})()`, &at)
	return at
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
