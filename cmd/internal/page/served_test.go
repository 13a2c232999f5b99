package page_test

import (
	"context"
	"flag"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/net/html"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/testdata/support/browser"
	"downdrop/testdata/support/built"
)

// The page is tested as people start it.
func TestMain(m *testing.M) {
	flag.Parse()
	if os.Getenv("GOGC") == "" && flag.Lookup("test.bench").Value.String() == "" {
		os.Setenv("GOGC", "400") // only benchmarks ask how much memory a program takes
	}
	built.Main(m, browser.Close)
}

// A served is the program serving a store, with a browser that was let in.
type served struct {
	*built.Server
	t      testing.TB
	http   *http.Client
	serial string // of the unit that is on the bench; "": that of goodUnit
}

func serve(t testing.TB, store string) *served {
	t.Helper()
	s := built.Serve(t, store)
	return &served{Server: s, t: t, http: s.Client()}
}

func (s *served) get(path string) (int, string) {
	s.t.Helper()
	r, err := s.http.Get(s.At + path)
	if err != nil {
		s.t.Fatal(err)
	}
	return text(s.t, r)
}

func (s *served) post(path string, form url.Values) (int, string) {
	s.t.Helper()
	r, err := s.http.PostForm(s.At+path, form)
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
	return keptIn(s.t, s.Store, code)
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
	return downdrop(s.t, s.Store, in, args...)
}

func downdrop(t testing.TB, store, in string, args ...string) string {
	t.Helper()
	cmd := built.Command([]string{"DOWNDROP_STORE=" + store}, args...)
	cmd.Stdin = strings.NewReader(in)
	return built.Output(t, cmd)
}
