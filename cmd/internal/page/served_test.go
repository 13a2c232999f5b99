package page_test

import (
	"bufio"
	"bytes"
	"context"
	"fmt"
	"io"
	"net/http"
	"net/http/cookiejar"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
)

// command is the built program: the page is tested as people start it.
var command string

func TestMain(m *testing.M) {
	dir, err := os.MkdirTemp("", "downdrop-page")
	if err == nil {
		command = filepath.Join(dir, "downdrop")
		err = exec.Command("go", "build", "-o", command, "downdrop/cmd/downdrop").Run()
	}
	if err != nil {
		fmt.Fprintln(os.Stderr, "build the program:", err)
		os.Exit(1)
	}
	code := m.Run()
	os.RemoveAll(dir)
	os.Exit(code)
}

// A served is the program serving a store, with a browser's cookies let in.
type served struct {
	t     testing.TB
	store string
	at    string // http://127.0.0.1:PORT
	links *bufio.Reader
	run   *exec.Cmd
	http  *http.Client
}

// serve starts the program over a store and lets a client in.
func serve(t testing.TB, store string) *served {
	t.Helper()
	s := &served{t: t, store: store}
	s.run = exec.Command(command, "serve", "--store", store, "--listen", "127.0.0.1:0")
	s.run.Env = append(os.Environ(), "DOWNDROP_STORE=", "DOWNDROP_RULEBASE=", "DOWNDROP_BY=")
	out, err := s.run.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	s.run.Stderr = os.Stderr
	if err := s.run.Start(); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(s.kill)
	s.links = bufio.NewReader(out)
	link := s.link()
	s.at = "http://" + link.Host
	s.http = s.client()
	s.in(s.http, link.Query().Get("key"))
	return s
}

// client makes a client that was not let in yet.
func (s *served) client() *http.Client {
	jar, err := cookiejar.New(nil)
	if err != nil {
		s.t.Fatal(err)
	}
	return &http.Client{Jar: jar, Timeout: 30 * time.Second}
}

func (s *served) in(c *http.Client, key string) {
	s.t.Helper()
	r, err := c.PostForm(s.at+"/enter", url.Values{"key": {key}})
	if err != nil {
		s.t.Fatal(err)
	}
	r.Body.Close()
	if r.StatusCode != http.StatusOK {
		s.t.Fatalf("entering: %s", r.Status)
	}
}

// link reads the next link that the program shows.
func (s *served) link() *url.URL {
	s.t.Helper()
	for {
		line, err := s.links.ReadString('\n')
		if err != nil {
			s.t.Fatalf("no link was shown: %v", err)
		}
		if u, err := url.Parse(strings.TrimSpace(line)); err == nil && u.Host != "" {
			return u
		}
	}
}

// kill ends the program as a cut of power would.
func (s *served) kill() {
	if s.run.ProcessState == nil {
		s.run.Process.Kill() //nolint:errcheck // it may have ended
		s.run.Wait()         //nolint:errcheck // killed
	}
}

func (s *served) get(path string) (int, string) {
	s.t.Helper()
	r, err := s.http.Get(s.at + path)
	if err != nil {
		s.t.Fatal(err)
	}
	return text(s.t, r)
}

func (s *served) post(path string, form url.Values) (int, string) {
	s.t.Helper()
	r, err := s.http.PostForm(s.at+path, form)
	if err != nil {
		s.t.Fatal(err)
	}
	return text(s.t, r)
}

func text(t testing.TB, r *http.Response) (int, string) {
	t.Helper()
	defer r.Body.Close()
	body, err := io.ReadAll(r.Body)
	if err != nil {
		t.Fatal(err)
	}
	return r.StatusCode, string(body)
}

var (
	codeRE  = regexp.MustCompile(`/case/([0-9A-Z]{6})`)
	titleRE = regexp.MustCompile(`<title>Case ([0-9A-Z]{6})`)
)

// open opens a case and gives its code.
func (s *served) open(form url.Values) string {
	s.t.Helper()
	if !form.Has("form") {
		form.Set("form", newForm())
	}
	status, body := s.post("/open", form)
	m := titleRE.FindStringSubmatch(body) // other calls may be linked before it
	if status != http.StatusOK || m == nil {
		s.t.Fatalf("opening: %d\n%s", status, body)
	}
	return m[1]
}

var forms int

func newForm() string {
	forms++
	return fmt.Sprintf("form%d-%d", os.Getpid(), forms)
}

// A form of a page, as it would be sent.
type form struct {
	action string
	values url.Values
	names  []string // of buttons: name=value
	ticks  []string // values of the facts to be ticked
}

// parse gives a page as a tree.
func parse(t testing.TB, page string) *html.Node {
	t.Helper()
	root, err := html.Parse(strings.NewReader(page))
	if err != nil {
		t.Fatal(err)
	}
	return root
}

func each(n *html.Node, do func(*html.Node)) {
	do(n)
	for c := n.FirstChild; c != nil; c = c.NextSibling {
		each(c, do)
	}
}

func attribute(n *html.Node, name string) string {
	for _, a := range n.Attr {
		if a.Key == name {
			return a.Val
		}
	}
	return ""
}

func words(n *html.Node) string {
	var b strings.Builder
	each(n, func(n *html.Node) {
		if n.Type == html.TextNode {
			b.WriteString(n.Data + " ")
		}
	})
	return strings.Join(strings.Fields(b.String()), " ")
}

// formsOf are the forms of a page.
func formsOf(t testing.TB, page string) []form {
	var out []form
	each(parse(t, page), func(n *html.Node) {
		if n.Data != "form" || n.Type != html.ElementNode {
			return
		}
		f := form{action: attribute(n, "action"), values: url.Values{}}
		each(n, func(n *html.Node) {
			switch {
			case n.Data == "input" && attribute(n, "type") == "hidden":
				f.values.Set(attribute(n, "name"), attribute(n, "value"))
			case n.Data == "input" && attribute(n, "name") == "fact":
				f.ticks = append(f.ticks, attribute(n, "value"))
			case n.Data == "button" && attribute(n, "name") != "":
				f.names = append(f.names, attribute(n, "name")+"="+attribute(n, "value"))
			}
		})
		out = append(out, f)
	})
	return out
}

// ticked is the answer of a page that asks for several facts at once.
const ticked = "confirm what is ticked"

// press sends the form that has a button, with what else is filled in; facts asked for are all ticked.
func (s *served) press(page, button string, more ...string) (int, string) {
	s.t.Helper()
	for _, f := range formsOf(s.t, page) {
		for _, b := range f.names {
			if b == button {
				name, value, _ := strings.Cut(b, "=")
				f.values.Set(name, value)
				if value == ticked {
					f.values["fact"] = f.ticks
				}
				for i := 0; i+1 < len(more); i += 2 {
					f.values.Set(more[i], more[i+1])
				}
				return s.post(f.action, f.values)
			}
		}
	}
	s.t.Fatalf("the page has no button %s:\n%s", button, page)
	return 0, ""
}

// say sends the form of free words.
func (s *served) say(page, words string) (int, string) {
	s.t.Helper()
	for _, f := range formsOf(s.t, page) {
		if strings.HasSuffix(f.action, "/answer") && len(f.names) == 0 {
			f.values.Set("entry", words)
			return s.post(f.action, f.values)
		}
	}
	s.t.Fatalf("the page has no form for words:\n%s", page)
	return 0, ""
}

// kept reads the case as the store has it.
func (s *served) kept(code string) *cases.Case {
	s.t.Helper()
	return keptIn(s.t, s.store, code)
}

func keptIn(t testing.TB, store, code string) *cases.Case {
	t.Helper()
	o, err := sqlite.Open(context.Background(), store, sqlstore.Options{Now: time.Now})
	if err != nil {
		t.Fatal(err)
	}
	defer o.Close()
	c, err := o.Case(context.Background(), code)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

// downdrop runs a command over the same store.
func (s *served) downdrop(in string, args ...string) string {
	s.t.Helper()
	cmd := exec.Command(command, args...)
	cmd.Env = append(os.Environ(), "DOWNDROP_STORE="+s.store, "DOWNDROP_RULEBASE=", "DOWNDROP_BY=")
	cmd.Stdin = strings.NewReader(in)
	var errs bytes.Buffer
	cmd.Stderr = &errs
	out, err := cmd.Output()
	if err != nil {
		s.t.Fatalf("downdrop %v: %v\n%s", args, err, errs.String())
	}
	return string(out)
}
