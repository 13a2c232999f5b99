package page_test

import (
	"bufio"
	"context"
	"crypto/ecdsa"
	"crypto/elliptic"
	"crypto/rand"
	"crypto/sha256"
	"crypto/tls"
	"crypto/x509"
	"fmt"
	"io"
	"log/slog"
	"math/big"
	"net"
	"net/http"
	"net/http/httptest"
	"net/url"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"downdrop/cmd/internal/page"
	"downdrop/rulebase"
	"downdrop/testdata/support/browser"
	"downdrop/testdata/support/built"
)

// Every route says who may take it; none is forgotten. What changes something is for nobody who only
// looks.
func TestEveryRouteHasARole(t *testing.T) {
	patterns, needed := page.Patterns(), page.Needed()
	for _, p := range patterns {
		role, listed := needed[p]
		if !listed {
			t.Errorf("%s has no role: say in roles.go who may take it", p)
		}
		open := []string{"POST /enter", "POST /leave", "POST /pair", "POST /case/{code}/hearing"} // they change nothing of a case
		if strings.HasPrefix(p, "POST ") && role < page.Answerer && !slices.Contains(open, p) {
			t.Errorf("%s changes something and is for whoever may %s", p, role)
		}
	}
}

// A lan is the program answering devices of the network, here on this machine.
type lan struct {
	*served
	typed       io.Writer
	fingerprint string
	code        string // the one told last
}

var (
	lanCodeRE = regexp.MustCompile(`The code for one device, which may then ([a-z]+): ([0-9]{4} [0-9]{4}) `)
	pairsRE   = regexp.MustCompile(`([0-9A-F]{2}:){31}[0-9A-F]{2}`)
)

func onLAN(t *testing.T, more ...string) *lan {
	t.Helper()
	store := filepath.Join(t.TempDir(), "cases.db")
	cmd := built.Command(nil, append([]string{"serve", "--lan", "--store", store, "--listen", "127.0.0.1:0"}, more...)...)
	typed, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	s := &built.Server{Process: built.Start(t, cmd), Store: store}
	s.At = strings.TrimSuffix(strings.TrimSpace(s.Line("https://")), "/")
	l := &lan{served: &served{Server: s, t: t}, typed: typed}
	for l.fingerprint == "" {
		l.fingerprint = pairsRE.FindString(s.Line(":"))
	}
	l.code = lanCodeRE.FindStringSubmatch(s.Line("The code for"))[2]
	return l
}

// next asks for a code of a role where the program was started.
func (l *lan) next(role string) string {
	l.t.Helper()
	fmt.Fprintln(l.typed, role)
	m := lanCodeRE.FindStringSubmatch(l.Line("The code for"))
	if m[1] != role {
		l.t.Fatalf("asked for %s, got %s", role, m[1])
	}
	return m[2]
}

// device makes a client that trusts the one certificate whose fingerprint was shown.
func (l *lan) device() *http.Client {
	c := built.Stranger(l.t)
	c.CheckRedirect = func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }
	c.Transport = &http.Transport{TLSClientConfig: &tls.Config{InsecureSkipVerify: true, VerifyPeerCertificate: func(raw [][]byte, _ [][]*x509.Certificate) error {
		sum := sha256.Sum256(raw[0])
		if got := fmt.Sprintf("%X", sum); got != strings.ReplaceAll(l.fingerprint, ":", "") {
			return fmt.Errorf("another certificate: %s", got)
		}
		return nil
	}}}
	l.t.Cleanup(c.CloseIdleConnections)
	return c
}

func (l *lan) give(c *http.Client, code string) *http.Response {
	l.t.Helper()
	r, err := c.PostForm(l.At+"/pair", url.Values{"code": {code}, "name": {"glove phone"}})
	if err != nil {
		l.t.Fatal(err)
	}
	r.Body.Close()
	return r
}

func (l *lan) in(role string) *http.Client {
	l.t.Helper()
	c := l.device()
	if r := l.give(c, l.next(role)); r.StatusCode != http.StatusSeeOther {
		l.t.Fatalf("a device that may %s: %s", role, r.Status)
	}
	return c
}

func (l *lan) status(c *http.Client, method, path string, form url.Values) (int, string) {
	l.t.Helper()
	r, err := http.NewRequest(method, l.At+path, strings.NewReader(form.Encode()))
	if err != nil {
		l.t.Fatal(err)
	}
	r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
	response, err := c.Do(r)
	if err != nil {
		l.t.Fatal(err)
	}
	return text(l.t, response)
}

// Who comes in: by the code that is out, once; by no wrong one; never without a cipher.
func TestPairing(t *testing.T) {
	t.Parallel()
	l := onLAN(t)
	host := strings.TrimPrefix(l.At, "https://")
	plain, err := http.Get("http://" + host + "/pair")
	if err != nil {
		t.Fatal(err)
	}
	if status, body := text(t, plain); status != http.StatusBadRequest || strings.Contains(body, "code") {
		t.Errorf("without a cipher: %d %.80q", status, body)
	}
	if _, err := tls.Dial("tcp", host, &tls.Config{InsecureSkipVerify: true, MaxVersion: tls.VersionTLS12}); err == nil {
		t.Error("an old cipher was spoken")
	}
	stranger := l.device()
	if status, _ := l.status(stranger, "GET", "/", nil); status != http.StatusSeeOther {
		t.Errorf("a stranger at the first page: %d", status)
	}
	if status, body := l.status(stranger, "GET", "/pair", nil); status != http.StatusOK || !strings.Contains(body, `name="code"`) {
		t.Errorf("the page for a code: %d", status)
	}
	for range 4 {
		if r := l.give(stranger, "0000 0000"); r.StatusCode != http.StatusForbidden {
			t.Fatalf("a wrong code: %s", r.Status)
		}
	}
	first := l.device()
	r := l.give(first, l.code)
	if r.StatusCode != http.StatusSeeOther {
		t.Fatalf("the code, at the fifth try: %s", r.Status)
	}
	cookie := r.Header.Get("Set-Cookie")
	for _, want := range []string{"__Host-downdrop-", "Secure", "HttpOnly", "SameSite=Strict", "Path=/"} {
		if !strings.Contains(cookie, want) {
			t.Errorf("the cookie %q lacks %s", regexp.MustCompile(`=[0-9a-f]{64}`).ReplaceAllString(cookie, "=..."), want)
		}
	}
	if strings.Contains(cookie, "Domain") || r.Header.Get("Strict-Transport-Security") != "" {
		t.Errorf("cookie or header for more than this host: %v", r.Header)
	}
	if line := l.Line("A device came in"); !strings.Contains(line, "1: glove phone, may author") {
		t.Errorf("told was %q", line)
	}
	if r := l.give(l.device(), l.code); r.StatusCode != http.StatusForbidden {
		t.Errorf("the code a second time: %s", r.Status)
	}
	// Five wrong ones end a code.
	code := l.next("author")
	for range 5 {
		l.give(stranger, "1234 567")
	}
	if r := l.give(stranger, code); r.StatusCode != http.StatusForbidden {
		t.Errorf("the right code after five wrong ones: %s", r.Status)
	}
	// A new code takes the place of the one before.
	before := l.next("read")
	now := l.next("read")
	if r := l.give(stranger, before); before != now && r.StatusCode != http.StatusForbidden {
		t.Errorf("a code that another took the place of: %s", r.Status)
	}
	// Who is in is listed and put out, by who may, there and here.
	for _, way := range []string{"/", "/shop", "/new"} { // the ways lead whoever may let devices in there too
		if _, body := l.status(first, "GET", way, nil); !strings.Contains(body, `<a href="/devices">`) {
			t.Errorf("no way leads from %s to the devices", way)
		}
	}
	_, body := l.status(first, "POST", "/devices/code", url.Values{"role": {"read"}})
	m := regexp.MustCompile(`[0-9]{4} [0-9]{4}`).FindString(body)
	second := l.device()
	if r := l.give(second, m); r.StatusCode != http.StatusSeeOther {
		t.Fatalf("a code from the page: %s", r.Status)
	}
	if status, _ := l.status(second, "GET", "/", nil); status != http.StatusOK {
		t.Errorf("the second device: %d", status)
	}
	if _, body := l.status(first, "GET", "/devices", nil); !strings.Contains(body, "2: glove phone, may read") {
		t.Errorf("the list of devices is %.300s", body)
	}
	if _, body := l.status(second, "GET", "/", nil); strings.Contains(body, "/devices") {
		t.Error("who may only read is led to the devices")
	}
	if status, _ := l.status(second, "POST", "/devices/out", url.Values{"number": {"1"}}); status != http.StatusForbidden {
		t.Errorf("a reader puts another out: %d", status)
	}
	l.status(first, "POST", "/devices/out", url.Values{"number": {"2"}})
	if status, _ := l.status(second, "GET", "/new", nil); status != http.StatusForbidden {
		t.Errorf("put out on the page, it reads: %d", status)
	}
	hostile := l.device()
	response, err := hostile.PostForm(l.At+"/pair", url.Values{"code": {l.next("read")}, "name": {"<script>zqx()</script>\u202e\"'{{.}}"}})
	if err != nil {
		t.Fatal(err)
	}
	response.Body.Close()
	if _, body := l.status(first, "GET", "/devices", nil); strings.Contains(body, "<script>") || strings.Contains(body, "\u202e") || !strings.Contains(body, "&lt;script&gt;") {
		t.Errorf("a hostile name on the list of devices: %s", body)
	}
	fmt.Fprintln(l.typed, "devices")
	if line := l.Line("may author"); !strings.Contains(line, "1: glove phone") {
		t.Errorf("typed, the list is %q", line)
	}
	fmt.Fprintln(l.typed, "out 1")
	l.Line("Device 1 is out")
	if status, _ := l.status(first, "GET", "/new", nil); status != http.StatusForbidden {
		t.Errorf("put out where the program was started, it reads: %d", status)
	}
}

// A role is asked for at every route: what a device may not do is refused and changes nothing.
func TestRolesAtEveryRoute(t *testing.T) {
	t.Parallel()
	l := onLAN(t)
	author := l.in("author")
	l.http = author
	_, body := l.status(author, "POST", "/open", url.Values{"form": {newForm()}, "story": {"technician at the drop, not alone, drop dead"}, "location": {"Invented Yard 7"}})
	_ = body
	list := l.downdrop("", "case", "list", "--json")
	code := regexp.MustCompile(`"code": "([0-9A-Z]{6})"`).FindStringSubmatch(list)[1]
	clients := map[page.Role]*http.Client{page.Nobody: l.device(), page.Reader: l.in("read"), page.Answerer: l.in("answer"), page.Closer: l.in("close"), page.Author: author}
	for _, role := range []page.Role{page.Nobody, page.Reader, page.Answerer, page.Closer} {
		before := len(l.kept(code).Events)
		for _, pattern := range page.Patterns() {
			needs := page.Needed()[pattern]
			method, path, _ := strings.Cut(pattern, " ")
			path = strings.NewReplacer("{code}", code, "{$}", "").Replace(path)
			if strings.Contains(path, "{") || role >= needs || needs == page.Nobody {
				continue
			}
			form := url.Values{"form": {newForm()}, "chosen": {"power_light=dark"}, "story": {"drop dead"}, "text": {"x"}, "entry": {"power light dark"}, "to": {"bench"}, "off": {"a"}, "back": {"b"}, "else": {"c"}, "what": {"force"}, "where": {"x"}, "how": {"x"}, "cause": {"supply_fuse_blown"}, "symptom": {"power_light"}, "why": {"x"}, "role": {"author"}, "number": {"1"}}
			status, body := l.status(clients[role], method, path, form)
			refused := status == http.StatusForbidden || role == page.Nobody && path == "/" && status == http.StatusSeeOther
			if !refused || strings.Contains(body, "Invented Yard") {
				t.Errorf("%s by a device that may %s: %d", pattern, role, status)
			}
		}
		if now := len(l.kept(code).Events); now != before {
			t.Errorf("refused to a device that may %s, %d events became %d", role, before, now)
		}
	}
	if status, _ := l.status(clients[page.Reader], "GET", "/case/"+code, nil); status != http.StatusOK {
		t.Errorf("a reader reads: %d", status)
	}
	if status, _ := l.status(clients[page.Answerer], "POST", "/case/"+code+"/note", url.Values{"form": {newForm()}, "text": {"seen"}}); status != http.StatusSeeOther {
		t.Errorf("one who answers notes: %d", status)
	}
	if status, _ := l.status(clients[page.Closer], "POST", "/case/"+code+"/close", url.Values{"form": {newForm()}, "cause": {"supply_fuse_blown"}, "how": {"fuse read open"}, "outcome": {"part_replaced"}}); status != http.StatusSeeOther {
		t.Errorf("one who closes closes: %d", status)
	}
	// And from another site nobody does, whatever the role: other hosts and other origins.
	host := strings.TrimPrefix(l.At, "https://")
	for _, pattern := range page.Patterns() {
		path, post := strings.CutPrefix(pattern, "POST ")
		path = strings.ReplaceAll(path, "{code}", code)
		if !post || strings.Contains(path, "{") {
			continue
		}
		for _, p := range hostile(host) {
			r, err := http.NewRequest(http.MethodPost, l.At+path, strings.NewReader(url.Values{"form": {newForm()}, "text": {"x"}, "code": {"0"}}.Encode()))
			if err != nil {
				t.Fatal(err)
			}
			r.Host = p[0]
			r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
			for name, value := range map[string]string{"Origin": strings.Replace(p[1], "http://"+host, "https://"+host, 1), "Sec-Fetch-Site": p[2]} {
				if value != "" {
					r.Header.Set(name, value)
				}
			}
			response, err := author.Do(r)
			if err != nil {
				t.Fatal(err)
			}
			if status, _ := text(t, response); status != http.StatusForbidden && status != http.StatusMisdirectedRequest && status != http.StatusBadRequest {
				t.Errorf("POST %s with host %q, origin %q, fetch site %q: %d", path, p[0], p[1], p[2], status)
			}
		}
	}
	if status, _ := l.status(author, "GET", "/", nil); status != http.StatusOK {
		t.Errorf("the author is out again: %d", status)
	}
}

// A code lives five minutes; who was let in stays in for a shift without a request.
func TestCodesExpire(t *testing.T) {
	now := time.Date(2031, 5, 28, 9, 0, 0, 0, time.UTC)
	s := page.New(page.Options{Base: &rulebase.Base{}, Now: func() time.Time { return now }, NewID: newForm, Hosts: []string{"example.com"}, Pairing: true, Log: slog.New(slog.DiscardHandler)})
	give := func(code string) *http.Response {
		r := httptest.NewRequest(http.MethodPost, "/pair", strings.NewReader(url.Values{"code": {code}}.Encode()))
		r.Header.Set("Content-Type", "application/x-www-form-urlencoded")
		w := httptest.NewRecorder()
		s.ServeHTTP(w, r)
		return w.Result()
	}
	if r := give(""); r.StatusCode != http.StatusForbidden {
		t.Errorf("no code, and none is out: %s", r.Status)
	}
	code, until := s.NewCode(page.Reader)
	if len(code) != 8 || until.Sub(now) != 5*time.Minute {
		t.Errorf("the code %q lives %v", code, until.Sub(now))
	}
	now = now.Add(5*time.Minute + time.Second)
	if r := give(code); r.StatusCode != http.StatusForbidden {
		t.Errorf("a code of before: %s", r.Status)
	}
	code, _ = s.NewCode(page.Reader)
	now = now.Add(5 * time.Minute)
	if r := give(code); r.StatusCode != http.StatusSeeOther {
		t.Errorf("in its last second: %s", r.Status)
	}
	if len(s.Devices()) != 1 {
		t.Errorf("devices are %v", s.Devices())
	}
	now = now.Add(12*time.Hour + time.Minute)
	if len(s.Devices()) != 0 {
		t.Errorf("after a shift in which it was silent %v is in", s.Devices())
	}
	seen := map[string]bool{}
	for range 50 {
		code, _ := s.NewCode(page.Reader)
		seen[code] = true
	}
	if len(seen) < 49 {
		t.Errorf("of 50 codes %d differ", len(seen))
	}
}

// Behind a cipher, too, whoever begins and does not go on is cut off, and others are answered.
func TestSlowHandshakesAreCutOff(t *testing.T) {
	key, err := ecdsa.GenerateKey(elliptic.P256(), rand.Reader)
	if err != nil {
		t.Fatal(err)
	}
	form := x509.Certificate{SerialNumber: big.NewInt(1), NotBefore: time.Now(), NotAfter: time.Now().Add(time.Hour), IPAddresses: []net.IP{net.IPv4(127, 0, 0, 1)}}
	der, err := x509.CreateCertificate(rand.Reader, &form, &form, key.Public(), key)
	if err != nil {
		t.Fatal(err)
	}
	s := page.New(page.Options{Base: &rulebase.Base{}, Now: time.Now, NewID: newForm, Hosts: []string{"127.0.0.1"}, Pairing: true, TLS: &tls.Certificate{Certificate: [][]byte{der}, PrivateKey: key}})
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	limits := page.Limits{Header: 200 * time.Millisecond, Read: 400 * time.Millisecond, Write: time.Second, Idle: 200 * time.Millisecond, HeaderBytes: 16 << 10, Connections: 8}
	go func() { ended <- s.Serve(ctx, l, limits) }()
	for _, begin := range []string{"", "\x16", "\x16\x03\x01\x40\x00\x01", "GET", strings.Repeat("x", 4)} {
		slow, err := net.Dial("tcp", l.Addr().String())
		if err != nil {
			t.Fatal(err)
		}
		io.WriteString(slow, begin) //nolint:errcheck // it may be cut off
		good, err := tls.Dial("tcp", l.Addr().String(), &tls.Config{InsecureSkipVerify: true})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprint(good, "GET /pair HTTP/1.1\r\nHost: 127.0.0.1\r\nConnection: close\r\n\r\n")
		if line, err := bufio.NewReader(good).ReadString('\n'); err != nil || !strings.Contains(line, "200") {
			t.Errorf("another while %q is sent: %q, %v", begin, line, err)
		}
		good.Close()
		slow.SetReadDeadline(time.Now().Add(20 * time.Second)) //nolint:errcheck // a connection takes deadlines
		if _, err := io.Copy(io.Discard, slow); err != nil && !strings.Contains(err.Error(), "reset") {
			t.Errorf("%q: not cut off: %v", begin, err)
		}
		slow.Close()
	}
	stop()
	if err := <-ended; err != nil {
		t.Errorf("stopping: %v", err)
	}
}

// The two pages of pairing are laid out for a glove, and axe finds nothing.
func TestPairingInABrowser(t *testing.T) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	at := "http://" + l.Addr().String()
	s := page.New(page.Options{Base: &rulebase.Base{}, Now: time.Now, NewID: newForm, Hosts: []string{l.Addr().String()}, Pairing: true, Log: slog.New(slog.DiscardHandler)})
	ctx, stop := context.WithCancel(context.Background())
	ended := make(chan error, 1)
	go func() { ended <- s.Serve(ctx, l, page.Usual) }()
	defer func() { stop(); <-ended }()
	tab := browser.New(t, browser.Options{Width: 360, Height: 740, Own: at})
	tab.Run(chromedp.Navigate(at+"/"), chromedp.WaitVisible("#code", chromedp.ByQuery)) // a stranger is led there
	wellLaid(t, tab, "pair")
	accessible(t, tab, false, "pair")
	picture(t, tab, "pair-360")
	code, _ := s.NewCode(page.Author)
	turns(tab, func() {
		tab.Run(chromedp.SendKeys("#code", page.SpacedCode(code), chromedp.ByQuery), chromedp.SendKeys("#name", "glove phone\r", chromedp.ByQuery)) // an author is led to /devices
	})
	tab.Run(chromedp.WaitVisible("#role", chromedp.ByQuery))
	turns(tab, func() { tab.Click(`form[action="/devices/code"] button`) })
	wellLaid(t, tab, "devices")
	accessible(t, tab, false, "devices")
	picture(t, tab, "devices-360")
	var said string
	tab.Run(chromedp.Text("main", &said, chromedp.ByQuery))
	for _, want := range []string{"The code for one device is", "1: glove phone, may author"} {
		if !strings.Contains(said, want) {
			t.Errorf("%q is not on the page: %s", want, said)
		}
	}
}
