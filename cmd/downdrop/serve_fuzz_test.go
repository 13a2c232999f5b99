package main

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cases/storetest"
	"downdrop/cmd/internal/page"
	"downdrop/rulebase"
)

var pageRoute = regexp.MustCompile(`"(GET|POST) (/[^"]*)":`)

// pageRoutes are all paths of the page, as its source has them.
func pageRoutes(t testing.TB) (all []string) {
	t.Helper()
	files, err := filepath.Glob("../internal/page/*.go")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range files {
		text, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range pageRoute.FindAllStringSubmatch(string(text), -1) {
			all = append(all, m[1]+" "+strings.TrimSuffix(m[2], "{$}"))
		}
	}
	slices.Sort(all)
	if all = slices.Compact(all); len(all) < 30 {
		t.Fatalf("only %d routes were found", len(all))
	}
	return all
}

// Whatever comes in by a form of the page or by its address is answered by a page that holds no
// control sign, never by an incident; nothing is written but by a POST, and nothing outside of the
// folder of runs.
func FuzzForm(f *testing.F) {
	for _, route := range pageRoutes(f) {
		method, path, _ := strings.Cut(route, " ")
		f.Add(method == "POST", path, "form=f1&entry=power+light+lit&kind=opening&text=x&by=p1&code=CODE&unit=quay%2F1")
	}
	f.Add(true, "/case/{code}/answer", "form=f2&entry=%00%ff%e2%80%ae&kind=reading&about=volts_at_drop&unit=V")
	f.Add(true, "/case/{code}/close", "form=f3&outcome=unit_out&verdict=bad&cause=fuse_blown&money=1e9+EUR")
	f.Add(true, "/shop/receive", "form=f4&type=Quay&serial=..%2F..%2Fx&received=2031-05-04&by=p1&drop=99999999999999999999")
	f.Add(true, "/receive", "form=f5&text=DOWNDROP1%2F1%2F1%2FAAAAAAAAAAAAAAAA%2FAA")
	f.Add(false, "/unit?unit=%00&x=%zz", "")
	f.Add(true, "/open", "form=f6&form=f7;a=%")
	base, err := rulebase.LoadFolder("testdata/small")
	if err != nil {
		f.Fatal(err)
	}
	f.Fuzz(func(t *testing.T, post bool, path, body string) {
		dir := t.TempDir()
		env, _, said := testEnvironment()
		env.clock = func() time.Time { return time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC) }
		store := storetest.NewModel("quay")
		d := &desk{env: env, base: base, store: store, writer: cases.Writer{Store: store, Now: env.clock, NewID: newID, Program: "test", Rulebase: base.Digest}}
		s := newPage(d, filepath.Join(dir, "runs"), page.Options{Hosts: []string{"here"}, Link: func(string) {}})
		_, key, _ := strings.Cut(s.Link(), "=")
		cookie := sent(t, s, "POST", "/enter", url.Values{"key": {key}}.Encode(), "").Result().Header.Get("Set-Cookie")
		cookie, _, _ = strings.Cut(cookie, ";")
		opened := sent(t, s, "POST", "/open", "form=f0&at=field&story=technician+at+the+drop%3B+dead", cookie)
		code := regexp.MustCompile(`/case/([0-9A-Z]{6})`).FindStringSubmatch(opened.Header().Get("Location"))
		if code == nil {
			t.Fatalf("opening a case: %d\n%s", opened.Code, opened.Body)
		}
		before := count(store)
		method := map[bool]string{true: "POST", false: "GET"}[post]
		path, body = strings.ReplaceAll(path, "{code}", code[1]), strings.ReplaceAll(body, "CODE", code[1])
		first := sent(t, s, method, path, body, cookie)
		written := count(store)
		sent(t, s, method, path, body, cookie)
		if !post && written != before {
			t.Fatalf("looking at %q wrote something", path)
		}
		if first.Code >= 500 || strings.Contains(said.String(), "incident") {
			t.Fatalf("%s %q with %q: %d\n%s", method, path, body, first.Code, said)
		}
		if there, err := os.ReadDir(dir); err != nil || len(there) > 1 {
			t.Fatalf("%s %q with %q wrote elsewhere: %v %v", method, path, body, there, err)
		}
		if v, err := store.Verify(t.Context()); err != nil || len(v.Damage) > 0 {
			t.Fatalf("%s %q with %q left %v %v", method, path, body, v.Damage, err)
		}
	})
}

func count(s *storetest.Model) (n int) {
	for range s.All(context.Background()) {
		n++
	}
	return n
}

// sent sends a request and holds the answer to what must be true of any.
func sent(t *testing.T, s http.Handler, method, path, body, cookie string) *httptest.ResponseRecorder {
	t.Helper()
	w := httptest.NewRecorder()
	target, err := url.ParseRequestURI(path)
	if err != nil || target.Host != "" || !strings.HasPrefix(target.Path, "/") {
		return w // no server is reached by it
	}
	r := httptest.NewRequestWithContext(t.Context(), method, "/", io.NopCloser(strings.NewReader(body)))
	r.URL, r.RequestURI, r.Host = target, path, "here"
	if cookie != "" {
		r.Header.Set("Cookie", cookie)
	}
	if method == http.MethodPost {
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	}
	s.ServeHTTP(w, r)
	text := w.Body.String()
	if !utf8.ValidString(text) {
		t.Fatalf("%s %q with %q: the answer is no UTF-8", method, path, body)
	}
	for _, c := range text {
		if unicode.IsControl(c) && !strings.ContainsRune("\t\r\n", c) {
			t.Fatalf("%s %q with %q: the answer holds %s", method, path, body, fmt.Sprintf("%U", c))
		}
	}
	return w
}
