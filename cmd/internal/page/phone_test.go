package page_test

import (
	"context"
	"fmt"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"
	"github.com/chromedp/chromedp/kb"

	"downdrop/cases"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// A supporter takes a call from the first word to the closed case, in every way.
func TestPhoneJobInABrowser(t *testing.T) {
	everyWay(t, "TestCallIsShort", func(t *testing.T, w way) {
		s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
		s.open(url.Values{"at": {"phone"}, "drop": {"9"}, "location": {"Invented Quarry"}, "story": {"operator, 9 dead"}}) // another call is open
		h := handsOn(t, s, w)
		h.phoneJob(s)
	})
}

// hands work a page in some way.
type hands struct {
	t       *testing.T
	tab     *browser.Tab
	way     way
	keys    bool
	answers int
	pressed int             // keys, but for those of the story
	looked  map[string]bool // what axe has seen in this way
}

func handsOn(t *testing.T, s *served, w way) *hands {
	t.Helper()
	return &hands{t: t, tab: w.tab(s), way: w, keys: w.keys, looked: map[string]bool{}}
}

// look holds a page to what a glove needs and to axe, each kind of page once, and keeps its picture.
func (h *hands) look(what string) {
	h.t.Helper()
	if !h.looked[what] {
		h.looked[what] = true
		wellLaid(h.t, h.tab, what)
		if !h.keys || support.Deep(h.t, 1) != 2 { // whoever presses comes by the same pages, at both sizes
			accessible(h.t, h.tab, !h.way.scripts, what)
		}
		picture(h.t, h.tab, what+"-"+h.way.name())
	}
}

// to puts the focus on something, by the tabulator where there are only keys.
func (h *hands) to(selector string) {
	h.t.Helper()
	if h.keys {
		h.pressed += keyTo(h.t, h.tab, selector)
		return
	}
	h.tab.Press(selector)
}

// tick ticks a box.
func (h *hands) tick(selector string) {
	h.t.Helper()
	h.to(selector)
	if h.keys {
		h.tab.Run(chromedp.KeyEvent(" "))
	}
}

func (h *hands) write(selector, text string) {
	h.t.Helper()
	h.to(selector)
	h.tab.Run(chromedp.KeyEvent(text))
}

// press presses something that leads on.
func (h *hands) press(selector string) {
	h.t.Helper()
	if !h.keys {
		h.pressAgain(selector)
		return
	}
	turns(h.tab, func() {
		h.to(selector)
		h.tab.Run(chromedp.KeyEvent(kb.Enter))
	})
}

// pressAgain presses until another page is there, as somebody does whose press did nothing: a browser
// on a busy machine drops one now and then.
func (h *hands) pressAgain(selector string) {
	h.t.Helper()
	h.tab.Eval(`document.querySelector("main").dataset.old = "1"`, nil)
	for n := range 3 {
		if n > 0 {
			h.t.Logf("pressing %s did nothing", selector)
		}
		h.tab.Press(selector)
		for range 200 {
			time.Sleep(50 * time.Millisecond)
			if turned(h.tab) {
				return
			}
		}
	}
	h.t.Fatalf("pressing %s leads nowhere", selector)
}

// turned says whether another page is there.
func turned(tab *browser.Tab) (there bool) {
	tab.Run(chromedp.ActionFunc(func(ctx context.Context) error {
		if err := chromedp.Evaluate(`(function(){var m=document.querySelector("main"); return document.readyState === "complete" && !!m && !m.dataset.old})()`, &there).Do(ctx); err != nil {
			there = false // the page is just going
		}
		return nil
	}))
	return there
}

// answer gives one of the answers that are asked for, with its own key where there are keys.
func (h *hands) answer(entry string) {
	h.t.Helper()
	h.answers++
	if entry == ticked {
		h.tickAll()
	}
	selector := "button" + attributeSelector("chosen", entry)
	var key string
	if h.keys && h.way.scripts {
		h.tab.Eval(fmt.Sprintf(`document.querySelector(%q).dataset.key`, selector), &key)
	}
	if len(key) != 1 {
		h.press(selector)
		return
	}
	h.pressed++
	turns(h.tab, func() { h.tab.Run(chromedp.KeyEvent(key)) })
}

func (h *hands) says() (text string) {
	h.tab.Eval(`document.querySelector("main").textContent`, &text)
	return text
}

// phoneJob takes a call in, asks until it is said how the call ends, hands the case to the drop, hears
// what was found there, and closes it.
func (h *hands) phoneJob(s *served) {
	t := h.t
	h.press("a.go")
	if h.keys {
		h.to("input[name=at]")
		h.tab.Run(chromedp.KeyEvent(kb.ArrowDown))
	} else {
		h.to("input[name=at][value=phone]")
	}
	const story = "operator, 5 dead, 1-4 good, power dark, run dark"
	h.write("#story", story)
	h.press("button.go")
	var at string
	h.tab.Run(chromedp.Location(&at))
	code := codeRE.FindStringSubmatch(at)[1]
	for h.answers < 20 && !strings.Contains(h.says(), "Enough is known for this call") {
		if h.agreed() {
			continue
		}
		kind, about, answers := onScreen(h.tab)
		pick := switchedOff.choose(kind, about, answers)
		if kind == "end" || pick == "" {
			break
		}
		h.look("call " + kind + " " + about)
		h.answer(pick)
	}
	if h.answers > 8 {
		t.Errorf("%d answers until the call can end", h.answers)
	}
	h.look("the call ends")
	c := s.kept(code)
	if c.Situation.At != "phone" || c.Situation.Drop != 5 {
		t.Errorf("kept is %+v", c.Situation)
	}
	// Whoever may has put the supply in; the caller calls back.
	words := []string{"done have_supply_closed, works now"}
	for _, w := range words {
		if h.keys && h.way.scripts {
			h.tab.Run(chromedp.KeyEvent("/"))
		} else {
			h.to("#entry")
		}
		turns(h.tab, func() { h.tab.Run(chromedp.KeyEvent(w + kb.Enter)) })
	}
	h.press(`nav a[href$="/close"]`)
	h.look("a call is closed")
	h.tick("input" + attributeSelector("cause", "supply_switched_off"))
	h.write("#how", "the shift electrician put it in, the caller sees it work")
	h.press("form.box button.go")
	if said := h.says(); !strings.Contains(said, "This case is closed") {
		t.Errorf("not closed: %.600s", said)
	}
	h.look("the call is closed")
	if c := s.kept(code); c.State != cases.StateClosed {
		t.Errorf("the case is %s", c.State)
	}
	t.Logf("%d answers, %d keys beside the %d of the story", h.answers, h.pressed, len(story))
}

// agreed fills in what has to be agreed before anything beyond looking, where it is asked.
func (h *hands) agreed() bool {
	var asked bool
	h.tab.Eval(`!!document.querySelector("#off")`, &asked)
	if asked {
		h.look("to be agreed")
		h.write("#off", "the shift electrician")
		h.write("#back", "10:40")
		h.write("#else", "the control room")
		h.press(`form[action$="/agree"] button`)
	}
	return asked
}
