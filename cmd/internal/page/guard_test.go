package page_test

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cmd/internal/page"
	"downdrop/rulebase"
	"downdrop/testdata/support"
	"downdrop/testdata/support/built"
)

// hostile are a Host, an Origin and what a browser says of where a request comes from,
// which together say that it is not from a page of ours. "" is not sent.
func hostile(host string) [][3]string {
	port := host[strings.LastIndexByte(host, ':'):]
	var out [][3]string
	for _, h := range []string{
		"evil.example", "evil.example" + port, "127.0.0.1.evil.example" + port, "localhost.evil.example" + port, "127.0.0.1", "127.0.0.1:1", "localhost", "localhost:80",
		"0.0.0.0" + port, "127.0.0.2" + port, "127.1" + port, "2130706433" + port, "0x7f000001" + port, "[::ffff:127.0.0.1]" + port, "[::]" + port, "localhost." + port,
		"downdrop.internal" + port, "192.168.1.20" + port, "user@127.0.0.1" + port, "127.0.0.1" + port + ".evil.example",
	} {
		out = append(out, [3]string{h, "http://" + host, "same-origin"}) // rebinding: the browser takes it for one site
	}
	for _, o := range []string{
		"http://evil.example", "https://evil.example", "null", "http://127.0.0.1", "http://127.0.0.1:1", "http://localhost:1", "https://" + host + ".evil.example",
		"http://" + host + "@evil.example", "file://", "http://[::1]:1",
	} {
		out = append(out, [3]string{host, o, ""})           // an old browser
		out = append(out, [3]string{host, o, "cross-site"}) // a new one
	}
	for _, o := range []string{"http://evil.example", "null", ""} {
		out = append(out, [3]string{host, o, "same-site"})
	}
	return append(out, [3]string{host, "", "cross-site"})
}

func TestOthersAreRefusedEverywhere(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {"technician at the drop, not alone, drop dead"}})
	before := len(s.kept(code).Events)
	host := strings.TrimPrefix(s.At, "http://")
	key := s.Link().Query().Get("key")
	pairs := hostile(host)
	if len(pairs) < 40 {
		t.Fatalf("%d pairs; 40 are wanted", len(pairs))
	}
	_, body := s.get("/case/" + code)
	good := formsOf(t, body)[0].values
	for _, path := range posts(t, code) {
		for _, p := range pairs {
			form := url.Values{"form": {newForm()}, "story": {"drop dead"}, "key": {key}, "chosen": {"power_light=dark"}, "text": {"x"}, "entry": {"power light dark"}, "to": {"bench"}, "off": {"a"}, "back": {"b"}, "else": {"c"}, "what": {"force"}, "where": {"x"}, "how": {"x"}}
			for name, v := range good {
				form[name] = v
			}
			r, err := http.NewRequest(http.MethodPost, s.At+path, strings.NewReader(form.Encode()))
			if err != nil {
				t.Fatal(err)
			}
			r.Host = p[0]
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			if p[1] != "" {
				r.Header.Set("Origin", p[1])
			}
			if p[2] != "" {
				r.Header.Set("Sec-Fetch-Site", p[2])
			}
			response, err := s.http.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			if status, _ := text(t, response); status != http.StatusForbidden && status != http.StatusMisdirectedRequest && status != http.StatusBadRequest {
				t.Errorf("POST %s with host %q, origin %q, fetch site %q: %d", path, p[0], p[1], p[2], status)
			}
		}
	}
	if now := s.kept(code); len(now.Events) != before {
		t.Errorf("%d events became %d", before, len(now.Events))
	}
	if status, _ := s.get("/"); status != http.StatusOK {
		t.Errorf("the one who was let in is out again: %d", status)
	}
}

func TestOnlyWhoWasLetInReads(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"location": {"Invented Yard 7"}})
	stranger := built.Stranger(s.t)
	for _, path := range []string{"/", "/new", "/case/" + code, "/case/" + code + "/case.json", "/case/" + code + "/diagnosis.json", "/case/XXXXXX"} {
		r, err := stranger.Get(s.At + path)
		if err != nil {
			t.Fatal(err)
		}
		if status, body := text(t, r); status != http.StatusForbidden || strings.Contains(body, "Invented") {
			t.Errorf("GET %s by a stranger: %d", path, status)
		}
	}
	key := s.Link().Query().Get("key")
	for _, wrong := range []string{"", "0", key[:63], strings.Repeat("0", 64)} {
		r, err := stranger.PostForm(s.At+"/enter", url.Values{"key": {wrong}})
		if err != nil {
			t.Fatal(err)
		}
		if status, _ := text(t, r); status != http.StatusForbidden {
			t.Errorf("the key %q: %d", wrong, status)
		}
	}
	s.Enter(stranger, key)
	r, err := built.Stranger(s.t).PostForm(s.At+"/enter", url.Values{"key": {key}})
	if err != nil {
		t.Fatal(err)
	}
	if status, _ := text(t, r); status != http.StatusForbidden {
		t.Errorf("the link a second time: %d", status)
	}
}

// Whatever is asked for, the answer carries what keeps a browser safe, and reading
// changes nothing.
func TestEveryAnswerIsGuarded(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{"story": {"technician at the drop, not alone, drop dead"}})
	before := len(s.kept(code).Events)
	s.downdrop("", "unit", "receive", "BIU-2", "B0815", "--by", "p1")
	for _, path := range append(slices.DeleteFunc(routes(t, "GET", code), func(path string) bool { return strings.Contains(path, "/chart") }), "/", "/?find=x", "/new", "/enter", "/style.css", "/page.js", "/nowhere", "/case/XXXXXX", "/case/"+code, "/case/"+code+"?say=why", "/case/"+code+"?say=else", "/case/"+code+"?say=need",
		"/case/"+code+"/case.json", "/case/"+code+"/diagnosis.json", "/case/"+code+"/answer", "/receive",
		"/case/"+code+"/close", "/case/"+code+"/summary", "/case/"+code+"/hand-over", "/case/"+code+"/causes", "/case/"+code+"/chart?places=3", "/case/"+code+"/chart.json?places=3",
		"/shop?find=b0815", "/unit?of=BIU-2%2FB0815", "/unit/bench?of=BIU-2%2FB0815", "/unit/decide?of=BIU-2%2FB0815", "/unit/unit.json?of=BIU-2%2FB0815") {
		for _, method := range []string{http.MethodGet, http.MethodHead, http.MethodPut, http.MethodDelete, http.MethodTrace, http.MethodOptions} {
			if method == http.MethodHead && len(path)%3 > 0 && support.Deep(t, 1) == 1 {
				continue // what GET does, once more
			}
			r, err := http.NewRequest(method, s.At+path, nil)
			if err != nil {
				t.Fatal(err)
			}
			response, err := s.http.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			status, body := text(t, response)
			h := response.Header
			if !strings.Contains(h.Get("Content-Security-Policy"), "default-src 'none'") || h.Get("X-Content-Type-Options") != "nosniff" || h.Get("Cache-Control") == "" || h.Get("Access-Control-Allow-Origin") != "" {
				t.Errorf("%s %s: headers %v", method, path, h)
			}
			if !strings.Contains(h.Get("Content-Type"), "charset=utf-8") && body != "" {
				t.Errorf("%s %s: content type %q", method, path, h.Get("Content-Type"))
			}
			if method != http.MethodGet && method != http.MethodHead && status != http.StatusMethodNotAllowed {
				t.Errorf("%s %s: %d", method, path, status)
			}
			if strings.Contains(body, "<script>") || strings.Contains(body, "style=") {
				t.Errorf("%s %s: written into the page", method, path)
			}
		}
	}
	if now := len(s.kept(code).Events); now != before {
		t.Errorf("reading made %d events of %d", now, before)
	}
}

func TestHugeRequestsAreBounded(t *testing.T) {
	t.Parallel()
	s := serve(t, filepath.Join(t.TempDir(), "cases.db"))
	code := s.open(url.Values{})
	// The answer comes while the form is still being sent, and the line is then closed: it may be lost on the way.
	form := url.Values{"form": {newForm()}, "entry": {strings.Repeat("x", 100<<10)}}
	if huge, err := s.http.PostForm(s.At+"/case/"+code+"/answer", form); err == nil {
		huge.Body.Close()
		if huge.StatusCode != http.StatusRequestEntityTooLarge {
			t.Errorf("100 kB in a form: %s", huge.Status)
		}
	}
	for _, path := range []string{"/case/" + code + "/close", "/shop/receive"} { // forms of which several boxes may be ticked
		huge, err := s.http.PostForm(s.At+path, form)
		if err != nil {
			continue // the line was closed
		}
		huge.Body.Close()
		if huge.StatusCode != http.StatusRequestEntityTooLarge {
			t.Errorf("100 kB to %s: %s", path, huge.Status)
		}
	}
	if n := len(s.kept(code).Notes) + len(s.kept(code).Situation.Findings); n != 0 {
		t.Errorf("something of it was taken in")
	}
	r, err := http.NewRequest(http.MethodGet, s.At+"/", nil)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("X-Long", strings.Repeat("x", 64<<10))
	if response, err := s.http.Do(r); err == nil {
		response.Body.Close()
		if response.StatusCode != http.StatusRequestHeaderFieldsTooLarge {
			t.Errorf("64 kB of head: %s", response.Status)
		}
	}
	if status, _ := s.post("/case/"+code+"/answer", url.Values{"form": {newForm()}, "entry": {strings.Repeat("dark ", 1000)}}); status != http.StatusOK {
		t.Errorf("a long entry: %d", status)
	}
	long := strings.Repeat("x", 121)
	status, body := s.post("/open", url.Values{"form": {newForm()}, "location": {long}, "serial": {long}})
	for _, want := range []string{"Where it stands is longer than 120 letters", "The serial is longer than 120 letters"} {
		if status != http.StatusUnprocessableEntity || !strings.Contains(body, want) {
			t.Errorf("two long fields: %d, %q is not in %s", status, want, words(parse(t, body)))
		}
	}
}

// Who sends slowly, or half of a request, is cut off, and others are answered meanwhile.
func TestSlowRequestsAreCutOff(t *testing.T) {
	s := page.New(page.Options{Base: &rulebase.Base{}, Now: time.Now, NewID: newForm, Hosts: []string{"127.0.0.1"}})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	limits := page.Limits{Header: 200 * time.Millisecond, Read: 400 * time.Millisecond, Write: time.Second, Idle: 200 * time.Millisecond, HeaderBytes: 16 << 10, Connections: 8}
	go func() { ended <- s.Serve(ctx, l, limits) }()
	for _, begin := range []string{
		"", "G", "GET / HTTP/1.1\r\n", "GET / HTTP/1.1\r\nHost: 127.0.0.1\r\nX: ",
		"POST /enter HTTP/1.1\r\nHost: 127.0.0.1\r\nSec-Fetch-Site: same-origin\r\nContent-Type: application/x-www-form-urlencoded\r\nContent-Length: 500\r\n\r\nkey=",
		"POST /enter HTTP/1.1\r\nHost: 127.0.0.1\r\nSec-Fetch-Site: same-origin\r\nTransfer-Encoding: chunked\r\n\r\nffff\r\nk",
	} {
		slow, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprint(slow, begin)
		if body := quick(t, l.Addr().String()); !strings.Contains(body, "HTTP/1.1 200") {
			t.Errorf("another while %.40q is half sent: %.80q", begin, body)
		}
		slow.SetReadDeadline(time.Now().Add(20 * time.Second)) //nolint:errcheck // a connection takes deadlines
		if _, err := io.Copy(io.Discard, slow); err != nil {
			t.Errorf("%.40q: not cut off: %v", begin, err)
		}
		slow.Close()
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("stopping: %v", err)
	}
}

// quick asks for something small on a connection of its own.
func quick(t *testing.T, address string) string {
	t.Helper()
	c, err := net.Dial("tcp", address)
	if err != nil {
		t.Fatal(err)
	}
	defer c.Close()
	fmt.Fprint(c, "GET /page.js HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
	c.SetReadDeadline(time.Now().Add(20 * time.Second)) //nolint:errcheck // a connection takes deadlines
	line, err := bufio.NewReader(c).ReadString('\n')
	if err != nil {
		t.Fatal(err)
	}
	return line
}
