package page_test

import (
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"downdrop/cases"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
)

// storied has a unit with a story in the shop, and gives its key.
func storied(s *served) string {
	s.downdrop("", "unit", "receive", "BIU-2", "B0815", "--by", "p1", "--complaint", "silent since the storm")
	s.downdrop("", "unit", "statement", "B0815", "not_exposed", "--by", "p1")
	s.downdrop("", "unit", "note", "B0815", "the label is of another unit", "--by", "p1")
	s.downdrop("", "unit", "move", "B0815", "evaluated", "--why", "tested", "--unit", "bad", "--by", "p1")
	_, body := s.get("/shop?find=B0815")
	return s.keyOf(body)
}

// An entry of a unit that was wrong is taken back on the page as by the command: it stays on record, and
// what later ones rest on is not taken from under them.
func TestTakingBackOfAUnit(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	key := storied(s)
	path := "/unit/story?of=" + url.QueryEscape(key)
	_, story := s.get(path)
	said := words(parse(t, story))
	for _, want := range []string{"came in. The sender says", "note: the label is of another unit", "evaluated: tested"} {
		if !strings.Contains(said, want) {
			t.Errorf("the story lacks %q: %s", want, said)
		}
	}
	for _, c := range []struct{ entry, why, says string }{{"", "wrong unit", "Say which entry"}, {"99", "wrong unit", "Say which entry"}, {"3", "", "for what reason"}, {"1", "wrong unit", "Entry 2 rests on it"}} {
		if status, body := s.fill(story, "/unit/take-back", "form", newForm(), "entry", c.entry, "why", c.why, "by", "p2"); status != http.StatusUnprocessableEntity || !strings.Contains(body, c.says) {
			t.Errorf("entry %q because %q: %d %s", c.entry, c.why, status, words(parse(t, body)))
		}
	}
	for range 2 {
		if status, _ := s.fill(story, "/unit/take-back", "entry", "3", "why", "of another unit", "by", "p2"); status != http.StatusOK {
			t.Fatalf("taken back: %d", status)
		}
	}
	c := s.unitNow(key)
	if last := c.Events[len(c.Events)-1]; len(c.Events) != 5 || len(c.Notes) != 0 || last.By != "p2" || last.Corrects != c.Events[2].ID || last.Kind != cases.KindTakenBack {
		t.Errorf("kept are %d entries, %d notes", len(c.Events), len(c.Notes))
	}
	_, story = s.get(path)
	if said := words(parse(t, story)); !strings.Contains(said, "(no longer counts)") || !strings.Contains(said, "took back entry 3: of another unit") {
		t.Errorf("then the story is %s", said)
	}
	if status, body := s.fill(story, "/unit/take-back", "entry", "3", "why", "again", "by", "p2"); status != http.StatusUnprocessableEntity || !strings.Contains(body, "no longer counts") {
		t.Errorf("twice: %d", status)
	}
	if out := s.downdrop("", "unit", "show", "B0815", "--entries"); strings.Count(out, "no longer counts") != 1 {
		t.Errorf("the command line has %s", out)
	}
}

// The month on the page is the month of the command.
func TestTheMonthOnThePage(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	storied(s)
	month := time.Now().Format("2006-01")
	status, page := s.get("/shop/month?of=" + month)
	if said := words(parse(t, page)); status != http.StatusOK || !strings.Contains(said, "received 1") || !strings.Contains(said, "in the house at the end 1") {
		t.Errorf("%d %s", status, said)
	}
	for form, flag := range map[string]string{"json": "--json", "csv": "--csv"} {
		if _, got := s.get("/shop/month." + form + "?of=" + month); got != s.downdrop("", "unit", "month", month, flag) {
			t.Errorf("as %s it is %s", form, got)
		}
	}
	if status, page := s.get("/shop/month?of=2020-01"); status != http.StatusOK || !strings.Contains(page, "Nothing came in") {
		t.Errorf("an empty month: %d", status)
	}
	if status, page := s.get("/shop/month?of=June"); status != http.StatusUnprocessableEntity || !strings.Contains(page, "2031-05") {
		t.Errorf("no month: %d", status)
	}
	if status, page := s.get("/shop/month"); status != http.StatusOK || !strings.Contains(page, time.Now().AddDate(0, 0, -time.Now().Day()).Format("2006-01")) {
		t.Errorf("the last whole month: %d", status)
	}
}

func TestStoryAndMonthInABrowser(t *testing.T) {
	t.Parallel() // most of it is waiting
	if support.Deep(t, 1) == 1 {
		t.Skip("a step of CI looks at every page at both sizes, with DOWNDROP_DEEP=2")
	}
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	key := storied(s)
	s.downdrop("", "unit", "receive", "QX-4 long name", "A0099", "--by", "p1")
	s.downdrop("", "unit", "take-back", "B0815", "3", "--why", "of another unit", "--by", "p2")
	for _, size := range sizes {
		tab := s.tab(browser.Options{Width: size[0], Height: size[1], NoScript: true})
		for name, path := range map[string]string{"story": "/unit/story?of=" + url.QueryEscape(key), "month": "/shop/month?of=" + time.Now().Format("2006-01")} {
			tab.Run(chromedp.Navigate(s.At + path))
			where := fmt.Sprintf("%s-%d", name, size[0])
			wellLaid(t, tab, where)
			accessible(t, tab, true, where)
			picture(t, tab, where)
		}
	}
}
