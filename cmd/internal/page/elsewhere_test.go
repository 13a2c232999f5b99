package page_test

import (
	"net/http"
	"net/url"
	"path"
	"regexp"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
)

// What comes from elsewhere takes nobody elsewhere, and what is remembered of who writes is
// remembered behind a cipher, too.
func TestFromElsewhere(t *testing.T) {
	t.Parallel()
	l := onLAN(t)
	author := l.in("author")

	opened := cases.Say(cases.KindOpened, cases.Opening{Code: `../\elsewhere.example/`, Location: "Invented Yard 9"})
	opened.ID, opened.Subject, opened.At = "e1", cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 5, 4, 3, 2, 1, 0, time.UTC)
	event, err := cases.Seal(opened, "quarry", cases.Head{}, 1)
	if err != nil {
		t.Fatal(err)
	}
	parts, _, err := cases.HandOverText(cases.Fold([]cases.Event{event}), nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	r := l.send(author, "/receive", url.Values{"text": {strings.Join(parts, "\n")}})
	if to := r.Header.Get("Location"); r.StatusCode != http.StatusSeeOther || path.Dir(to) != "/case" {
		t.Errorf("a code that is none leads to %s, %q", r.Status, to)
	} else if status, body := l.status(author, "GET", to, nil); status != http.StatusOK || !strings.Contains(body, "Invented Yard 9") {
		t.Errorf("its case: %d at %s", status, to)
	}

	r = l.send(author, "/shop/receive", url.Values{"form": {newForm()}, "type": {"bus unit A"}, "serial": {"B123"}, "from": {"Invented Yard 9"}, "by": {"reader_1"}})
	if cookie := r.Header.Get("Set-Cookie"); !regexp.MustCompile(`^__Host-downdrop-[0-9]+-by=reader_1;.*; Secure`).MatchString(cookie) {
		t.Errorf("%s; a browser takes no cookie of this host alone that is not held to the cipher: %q", r.Status, cookie)
	}
}

// send posts a form and gives the answer, which may lead on.
func (l *lan) send(c *http.Client, path string, form url.Values) *http.Response {
	l.t.Helper()
	r, err := c.PostForm(l.At+path, form)
	if err != nil {
		l.t.Fatal(err)
	}
	r.Body.Close()
	return r
}
