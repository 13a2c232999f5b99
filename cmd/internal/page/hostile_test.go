package page_test

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"math/rand/v2"
	"mime/multipart"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/chromedp/chromedp"
	"golang.org/x/net/html"

	"downdrop/engine/bench"
	"downdrop/testdata/support"
	"downdrop/testdata/support/browser"
	"downdrop/testdata/support/built"
)

// mark is in every hostile string: whatever of it became more than text is found by it.
const mark = "zqx"

// hostilePieces are what hostile strings are made of.
var hostilePieces = []string{
	"<zqx onzqx=zqx()>", "<script>zqx()</script>", "</script><script>zqx()", "\"><img src=x onerror=zqx()>", "' onfocus='zqx()' autofocus='", "</textarea><script>zqx()</script>", "</title><zqx>",
	"<svg onload=zqx()>", "<a href=javascript:zqx()>zqx</a>", "javascript:zqx()", "data:text/html,<script>zqx()</script>", "<!--zqx", "--><zqx>", "<![CDATA[zqx]]>", "</option></select><zqx>", "<style>*{background:url(//zqx.invalid)}</style>",
	"{{zqx}}", "{{.}}", "${zqx}", "<%= zqx %>", "#{zqx}", "{{template \"top\" .}}", "=cmd|' /C zqx'!A0", "+zqx()", "-2+3+zqx", "@SUM(zqx)", "\t=zqx", "'; DROP TABLE events; --zqx", "\" OR \"\"=\"zqx",
	"\u202ezqx\u202c", "\u2066zqx", "\u200fzqx\u200e", "\u2069\u202e", "\u200bzqx", "\ufeffzqx", "\x00zqx", "\x1b[31mzqx\x1b[0m", "\x7f", "\r\nSet-Cookie: zqx=1\r\n", "\xff\xfezqx", "\xc3\x28", "\xed\xa0\x80zqx", "\xf4\x90\x80\x80",
	"%00zqx", "%3Cscript%3Ezqx()%3C/script%3E", "../../../etc/passwd", "..\\zqx", "&lt;zqx&gt;", "&#60;zqx&#62;", "&zqx;", "zqx\u0301\u0301\u0301\u0301", "\U0001F469\u200d\U0001F527", "NaN", "1e999", "-0", "9999999999999999999", "zqx: [a, *b]", "!!zqx", "&zqx *zqx",
}

// hostileString draws one: a few pieces, now and then a very long one.
func hostileString(rng *rand.Rand) string {
	var b strings.Builder
	for range 1 + rng.IntN(4) {
		b.WriteString(hostilePieces[rng.IntN(len(hostilePieces))])
	}
	if rng.IntN(12) == 0 {
		b.WriteString(strings.Repeat("<zqx>", 1+rng.IntN(4000)))
	}
	b.WriteString(mark)
	return b.String()
}

// A webForm is a form of a page with all of its fields, as a browser would send it.
type webForm struct {
	action, enctype string
	values          url.Values
	fields          []string // that somebody can fill in, hidden ones included
	file            string   // the name of its field for a file, ""
}

func webForms(t testing.TB, page string) []webForm {
	t.Helper()
	var out []webForm
	each(parse(t, page), func(n *html.Node) {
		if n.Type != html.ElementNode || n.Data != "form" || attribute(n, "method") != "post" {
			return
		}
		f := webForm{action: attribute(n, "action"), enctype: attribute(n, "enctype"), values: url.Values{}}
		each(n, func(c *html.Node) {
			name := attribute(c, "name")
			if to := attribute(c, "data-hearing"); to != "" { // a script sends it while it is typed
				out = append(out, webForm{action: to, values: url.Values{}, fields: []string{name}})
			}
			if c.Type != html.ElementNode || name == "" {
				return
			}
			value := attribute(c, "value")
			switch {
			case c.Data == "input" && attribute(c, "type") == "file":
				f.file = name
				return
			case c.Data == "button":
				if f.values.Has(name) {
					return
				}
			case c.Data == "select":
				each(c, func(o *html.Node) {
					if v := attribute(o, "value"); o.Data == "option" && v != "" && value == "" {
						value = v
					}
				})
			case c.Data != "input" && c.Data != "textarea":
				return
			case value == "" && name != "form":
				value = map[string]string{"by": "p1", "why": "because", "until": "2099-01-01", "received": "2031-05-04"}[name]
			}
			if !slices.Contains(f.fields, name) {
				f.fields = append(f.fields, name)
				f.values.Set(name, value)
			}
		})
		out = append(out, f)
	})
	return out
}

// send sends a form with one or all of its fields filled with a text.
func (s *served) send(f webForm, values url.Values, file []byte, fileName string) (int, string, http.Header) {
	s.t.Helper()
	var body bytes.Buffer
	media := "application/x-www-form-urlencoded"
	if f.enctype == "multipart/form-data" {
		m := multipart.NewWriter(&body)
		for name, v := range values {
			if err := m.WriteField(name, v[0]); err != nil {
				s.t.Fatal(err)
			}
		}
		if f.file != "" {
			w, err := m.CreateFormFile(f.file, fileName)
			if err == nil {
				_, err = w.Write(file)
			}
			if err != nil {
				s.t.Fatal(err)
			}
		}
		m.Close()
		media = m.FormDataContentType()
	} else {
		body.WriteString(values.Encode())
	}
	r, err := s.http.Post(s.At+f.action, media, &body)
	if err != nil {
		return 0, "", nil // a body above the bound: the line is closed while it is still being sent
	}
	defer r.Body.Close()
	page, err := io.ReadAll(r.Body)
	if err != nil {
		return 0, "", nil
	}
	return r.StatusCode, string(page), r.Header
}

// onlyText holds an answer to what must be true of it whatever it was given.
func onlyText(t *testing.T, where string, status int, body string, h http.Header) {
	t.Helper()
	if status >= 500 {
		t.Errorf("%s: %d", where, status)
	}
	if h == nil {
		return
	}
	if c := h.Get("Set-Cookie"); c != "" && !ourCookie.MatchString(c) {
		t.Errorf("%s: a cookie %s", where, c)
	}
	switch media, _, _ := strings.Cut(h.Get("Content-Type"), ";"); media {
	case "application/json":
		if !json.Valid([]byte(body)) {
			t.Errorf("%s: JSON is %.200s", where, body)
		}
	case "text/html":
		if !utf8.ValidString(body) || strings.ContainsAny(body, "\x00\x1b") {
			t.Errorf("%s: the page is not plain UTF-8", where)
		}
		scripts(t, where, body)
	case "application/pdf", "image/svg+xml":
	default:
		t.Errorf("%s: content type %q", where, media)
	}
}

// scripts finds whatever of a hostile string became part of a page's structure.
func scripts(t *testing.T, where, body string) {
	t.Helper()
	each(parse(t, body), func(n *html.Node) {
		switch {
		case n.Type == html.CommentNode:
			t.Errorf("%s: a comment %.60q", where, n.Data)
		case n.Type != html.ElementNode:
		case strings.Contains(n.Data, mark), slices.Contains([]string{"iframe", "object", "embed", "base", "template", "style"}, n.Data) && attribute(n, "data-ours") == "" && !ourStyle(n):
			t.Errorf("%s: an element %s", where, n.Data)
		case n.Data == "script" && attribute(n, "src") != "/page.js" && attribute(n, "type") != "application/json":
			t.Errorf("%s: a script", where)
		default:
			for _, a := range n.Attr {
				bad := strings.Contains(a.Key, mark) || strings.HasPrefix(a.Key, "on") || a.Key == "style" || a.Key == "srcdoc" || a.Key == "autofocus"
				link := a.Key == "href" || a.Key == "src" || a.Key == "action" || a.Key == "formaction"
				if bad || link && !strings.HasPrefix(a.Val, "/") && !strings.HasPrefix(a.Val, "#") || link && strings.HasPrefix(a.Val, "//") {
					t.Errorf("%s: an attribute %s=%.80q of %s", where, a.Key, a.Val, n.Data)
				}
			}
		}
	})
}

// ourStyle says whether a style is a record's own, which stands in its head and names nothing hostile.
func ourStyle(n *html.Node) bool {
	return n.Data == "style" && n.Parent != nil && n.Parent.Data == "head" && n.FirstChild != nil && !strings.Contains(n.FirstChild.Data, mark)
}

// ourCookie is one with a plain id, kept for a shift, or a token, for thirty days or no longer, and what we say of it.
var ourCookie = regexp.MustCompile(`^downdrop-[0-9]+(-by=[A-Za-z0-9_-]{0,64}; Path=/; Max-Age=43200|=[A-Za-z0-9_-]{0,64}; Path=/; Max-Age=(2592000|0)); HttpOnly; SameSite=Strict$`)

var pathCode = regexp.MustCompile(`/case/[0-9A-Z]{6}/`)

// An attack sends hostile strings through every form that it comes to.
type attack struct {
	t       *testing.T
	s       *served
	text    string
	reached map[string]int // action → fields filled
	number  int            // of the string
}

// page fills every field of every form of a page, one at a time and then all at once, and gives
// nothing back: what it made of the page is read anew.
func (a *attack) page(path string, skip ...string) {
	a.t.Helper()
	status, body := a.s.get(path)
	onlyText(a.t, "GET "+path, status, body, http.Header{"Content-Type": {"text/html"}})
	for _, f := range webForms(a.t, body) {
		if slices.ContainsFunc(skip, func(x string) bool { return strings.HasSuffix(f.action, x) }) {
			continue
		}
		a.form(f)
	}
}

func (a *attack) form(f webForm) {
	a.t.Helper()
	of := pathCode.ReplaceAllString(f.action, "/case/{code}/")
	try := func(what string, values url.Values, file []byte, name string) {
		if values.Has("form") && what != "form" {
			values.Set("form", newForm())
		}
		status, body, h := a.s.send(f, values, file, name)
		onlyText(a.t, fmt.Sprintf("%s of %s with %.120q", what, of, a.text), status, body, h)
		a.reached[of]++
	}
	all := url.Values{}
	for n, x := range f.values {
		all[n] = slices.Clone(x)
	}
	for k, name := range f.fields {
		if a.number > 0 && (a.number+k)%8 != 0 { // beside all at once, each field alone has every eighth
			continue
		}
		v := cloned(f.values)
		v.Set(name, a.text)
		try(name, v, nil, "prices.yaml")
	}
	for _, name := range f.fields {
		if !slices.Contains([]string{"form", "of", "run", "at", "by", "as", "kind", "key", "sheet", "last"}, name) {
			all.Set(name, a.text)
		}
	}
	try("all", all, nil, a.text)
	if f.file != "" {
		try("file", cloned(f.values), []byte(a.text), a.text)
		try("file", cloned(f.values), []byte("prices: "+a.text+"\ncurrency: XTS\n"), "a.yaml")
	}
}

func cloned(v url.Values) url.Values {
	out := url.Values{}
	for n, x := range v {
		out[n] = slices.Clone(x)
	}
	return out
}

// One hostile string after the other goes through every field of every form there is, and every file: a
// form that is added later is found on its page, and a POST that no form reached is told. What comes back is
// text, now and on every page that shows it later.
func TestHostileStringsInEveryFieldInABrowser(t *testing.T) {
	n := support.Deep(t, 1)
	if n == 1 {
		t.Skip("it takes many seconds: a step of CI does so, with DOWNDROP_DEEP=2; TestHostileTextsComeOutAsText tries the conversation without a browser")
	}
	rng := rand.New(rand.NewPCG(8, 500))
	reached := map[string]int{}
	var s *served
	var last []string
	for i := range n {
		if i%20 == 0 { // the lists of a store do not grow without end
			s = serve(t, filepath.Join(t.TempDir(), fmt.Sprintf("cases%d.db", i)))
		}
		a := &attack{t, s, hostileString(rng), reached, i}
		if i == 0 { // some of everything, NUL and broken UTF-8 in front
			a.text = "\x00\xff<zqx onzqx=zqx()>\u202e\"'></textarea><script>zqx()</script>{{.}}=zqx()"
		}
		last = a.everything(i)
		if t.Failed() {
			t.Fatalf("at string %d of %d: %q", i, n, a.text)
		}
	}
	var missed []string
	for _, path := range routes(t, "POST", "{code}") {
		if pairing := path == "/pair" || strings.HasPrefix(path, "/devices/"); reached[path] == 0 && !pairing { // on a network only: TestPairing
			missed = append(missed, path)
		}
	}
	if len(missed) > 0 {
		t.Errorf("no form was found for %v", missed)
	}
	fields := 0
	for _, k := range reached {
		fields += k
	}
	t.Logf("%d strings, %d forms sent to %d paths", n, fields, len(reached))
	tab := s.tab(browser.Options{Width: 360, Height: 740})
	for _, path := range last {
		var ran bool
		tab.Run(chromedp.Navigate(s.At + path))
		tab.Eval(`typeof zqx !== "undefined" || !!document.querySelector("zqx")`, &ran)
		if ran {
			t.Errorf("%s: something of it ran", path)
		}
	}
}

// everything goes through all forms with a string, and gives pages that show it then.
func (a *attack) everything(i int) []string {
	s := a.s
	a.page("/new")
	a.page("/receive")
	a.page("/shop/receive")
	a.form(webForm{action: "/enter", values: url.Values{}, fields: []string{"key"}})
	code := s.open(url.Values{"at": {"phone"}, "story": {"operator, power light dark, drop dead"}, "location": {"Yard " + mark}, "serial": {fmt.Sprint("S", i)}, "type": {"BIU-2"}})
	a.page("/case/"+code, "/reopen")
	// Once something is agreed the next question stands there; a form for what has to be agreed is sent by itself.
	a.form(webForm{action: "/case/" + code + "/agree", values: url.Values{"form": {""}, "off": {"a"}, "back": {"b"}, "else": {"c"}}, fields: []string{"off", "back", "else", "form"}})
	s.post("/case/"+code+"/put-in", url.Values{"form": {newForm()}, "what": {"force"}, "where": {a.text}})
	a.form(webForm{action: "/case/" + code + "/accept", values: url.Values{"form": {""}, "symptom": {"power_light"}, "why": {"x"}}, fields: []string{"symptom", "why", "form"}})
	a.form(webForm{action: "/case/" + code + "/note", values: url.Values{"form": {""}}, fields: []string{"text", "form"}})
	a.page("/case/" + code + "/hand-over")
	a.page("/case/" + code + "/take-over")
	a.page("/case/" + code + "/causes")
	a.page("/case/"+code+"/close", "/close")
	a.page("/case/"+code+"/close", "/take-out", "/put-in", "/accept")
	s.post("/case/"+code+"/close", url.Values{"form": {newForm()}, "how": {a.text}, "outcome": {"unit_out"}, "unit": {"bad"}, "cause": {"unit_supply_dead"}})
	a.form(webForm{action: "/case/" + code + "/reopen", values: url.Values{"form": {""}}, fields: []string{"why", "form"}})
	unit := a.shop(i)
	short := url.QueryEscape(a.text[:min(len(a.text), 1000)]) // an address has a bound of its own
	shows := []string{"/", "/?find=" + short, "/case/" + code, "/case/" + code + "/causes", "/case/" + code + "/summary", "/case/" + code + "/close", "/case/" + code + "/return-note", "/shop", "/enter?key=" + short, "/unit?of=" + short, "/shop?find=" + short}
	shows = append(shows, unit...)
	for _, path := range append(slices.Clone(shows), "/case/"+code+"/case.json", "/case/"+code+"/diagnosis.json") {
		r, err := s.http.Get(s.At + path)
		if err != nil {
			a.t.Fatal(err)
		}
		status, body := text(a.t, r)
		onlyText(a.t, "GET "+path, status, body, r.Header)
	}
	a.form(webForm{action: "/leave", values: url.Values{}, fields: []string{"x"}})
	s.http = built.Stranger(s.t)
	s.Enter(s.http, s.Link().Query().Get("key"))
	return shows
}

// shop brings a unit in and goes through the forms of the shop with it.
func (a *attack) shop(i int) []string {
	t, s := a.t, a.s
	serial := fmt.Sprintf("A%04d", i)
	must := func(status int, body string) string {
		t.Helper()
		if status != http.StatusOK {
			t.Fatalf("%d: %s", status, words(parse(t, body)))
		}
		return body
	}
	_, form := s.get("/shop/receive")
	body := must(s.fill(form, "/shop/receive", "type", quayType(t), "serial", serial, "by", "p1", "settled", "yes", "complaint", a.text[:min(len(a.text), 60)]))
	key := s.keyOf(body)
	of := url.QueryEscape(key)
	s.serial = serial // what is read at the bench
	defer func() { s.serial = "" }()
	body = must(s.fill(body, "/unit/statement", "state", "not_exposed", "with", mark, "by", "p1"))
	must(s.fill(body, "/unit/move", "to", "evaluated", "why", "<zqx>", "unit", "bad", "by", "p1"))
	sheet, err := os.ReadFile("../../../cases/examples/prices/shop.yaml")
	if err != nil {
		t.Fatal(err)
	}
	a.page("/unit/decide?of=" + of)
	decided := must(s.upload("/unit/decide", "sheet", sheet, url.Values{"of": {key}}))
	for _, f := range webForms(t, decided) {
		a.form(f)
	}
	body = must(s.fill(decided, "/unit/offer", "until", "2099-01-01", "note", "<zqx onzqx=1>", "by", "p1"))
	must(s.fill(body, "/unit/move", "to", "in_repair", "why", "agreed", "consent", "<zqx>", "by", "p1"))
	a.page("/unit?of="+of, "/move")
	_, body = s.get("/unit?of=" + of)
	for _, f := range webForms(t, body) {
		if f.action == "/unit/move" {
			a.form(f)
		}
	}
	a.page("/unit/story?of=" + of)
	a.page("/unit/bench?of=" + of)
	run := a.bench(key)
	c := s.unitNow(key)
	shows := []string{"/unit?of=" + of, "/unit/story?of=" + of, "/shop/month", "/unit/unit.json?of=" + of, "/unit/offer?of=" + of, "/unit/bench?of=" + of, "/bench?run=" + run}
	if len(c.Records) > 0 {
		shows = append(shows, recordLink(c))
	}
	return shows
}

// bench goes through a run: each kind of question meets the string, which is taken back where it was an answer.
func (a *attack) bench(key string) string {
	t, s := a.t, a.s
	t.Helper()
	_, body := s.get("/unit/bench?of=" + url.QueryEscape(key))
	form := newForm()
	status, body := s.fill(body, "/bench/begin", "form", form, "profile", "quay_24", "procedure", "short", "by", "p1")
	m := regexp.MustCompile(`name="run" value="([^"]+)"`).FindStringSubmatch(body)
	if status != http.StatusOK || m == nil {
		t.Fatalf("begun: %d %s", status, words(parse(t, body)))
	}
	run := m[1]
	file := filepath.Join(strings.TrimSuffix(s.Store, ".db")+"-runs", run+".run.jsonl")
	seen := map[string]bool{}
	for range 100 {
		st := benchState(t, file)
		if st.Wants.Kind == bench.WantsNothing {
			break
		}
		kind := string(st.Wants.Kind)
		if st.Wants.Kind == bench.WantsReading {
			kind += string(st.Wants.Reading.Kind)
		}
		if !seen[kind] {
			seen[kind] = true
			if a.number > 0 && (a.number+len(seen))%4 != 0 { // the first string meets every kind of question, each later one every fourth
				_, page := s.get("/bench?run=" + run)
				s.enterAt(st, page)
				continue
			}
			before := len(st.Events)
			a.page("/bench?run=" + run)
			for undone := 0; ; undone++ { // back to where it was asked
				now := benchState(t, file)
				if sameQuestion(now, st) {
					break
				}
				if undone > 40 {
					t.Fatalf("%d events became %d", before, len(now.Events))
				}
				_, page := s.get("/bench?run=" + run)
				s.press(page, "entry=undo")
			}
			st = benchState(t, file)
		}
		_, page := s.get("/bench?run=" + run)
		s.enterAt(st, page)
	}
	a.page("/bench?run="+run, "/bench/entry")
	return run
}

// sameQuestion says whether two states of a run ask the same.
func sameQuestion(a, b *bench.State) bool {
	return a.Wants.Kind == b.Wants.Kind && a.Wants.Ask == b.Wants.Ask && a.Wants.Step == b.Wants.Step && a.Wants.Reading == b.Wants.Reading || a.Wants.Reading != nil && b.Wants.Reading != nil && a.Wants.Kind == b.Wants.Kind && a.Wants.Step == b.Wants.Step && a.Wants.Reading.ID == b.Wants.Reading.ID
}
