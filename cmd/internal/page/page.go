// Package page shows the conversation and the cases of a store as a local web page:
// at the cabinet with one hand, at the telephone with several calls open.
//
// It keeps nothing between two requests but who may come in. Each request reads the
// case from the store, has it diagnosed once and writes what was said as events, so
// that a reload, another window, the command line and another phone all see the same.
// All of it works without scripts; the one script (page.js) spares reloads and keeps
// an answer while there is no network.
//
// The look is that of the project's printed sheets: ruled paper, numbers of wires for
// headings, terminals for answers; black on white or white on black, and nothing told by colour.
package page

import (
	"bytes"
	"context"
	"crypto/tls"
	"embed"
	"fmt"
	"html/template"
	"io"
	"log/slog"
	"maps"
	"net/http"
	"runtime"
	"strings"
	"sync"
	"time"
	"unicode"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A Desk is what the page needs of the cases: the same doors that the commands use.
type Desk interface {
	// Open begins a case with a free short code; the id of its first event is given,
	// so that a form sent twice opens one case.
	Open(ctx context.Context, id string, opening cases.Opening, s rulebase.Situation) (*cases.Case, error)
	// Write appends drafts about a case and gives the case as it then stands.
	// By is the id of who writes; "" is whoever started the program.
	Write(ctx context.Context, c *cases.Case, place rulebase.Place, by string, drafts ...cases.Draft) (*cases.Case, error)
	// Receive takes in a hand-over, as text or as a whole file, and joins it with what went on here; it
	// gives the cases that were in it as they then stand.
	Receive(ctx context.Context, by string, text []byte) ([]*cases.Case, error)
	// TakeAlong writes a case, as it stands, into the one file that holds the whole conversation; by goes on with it.
	TakeAlong(ctx context.Context, w io.Writer, c *cases.Case, by string) error
	// Diagnose answers a case as `downdrop diagnose` does, with what is known weighed for one cause
	// against another; "": as it is usual.
	Diagnose(ctx context.Context, s rulebase.Situation, cause, against string) (*engine.Diagnosis, error)
	// Chart is the fault-finding chart from where a case stands, of at most so many places.
	Chart(ctx context.Context, c *cases.Case, places int) (*report.Chart, error)
	// Closing gives what is not settled yet where a case is closed so. An empty outcome is filled in where
	// what was done tells it.
	Closing(ctx context.Context, c *cases.Case, closing *cases.Closing) ([]cases.OpenPoint, error)
}

// Options are what a Server is made of.
type Options struct {
	Base    *rulebase.Base
	Store   cases.Store
	Desk    Desk
	Talk    *conversation.Talk
	Now     func() time.Time
	Counter Counter // of the shop
	NewID   func() string
	Hosts   []string // the Host headers it answers to, with the port; all others are refused
	Link    func(url string)

	// Pairing lets devices in by codes (NewCode) and not by the link, as where others reach the address: see pair.go.
	Pairing bool
	Paired  func(Device)     // is told of each
	TLS     *tls.Certificate // the cipher of the line; nil: none
	Strict  bool             // browsers may take it that this host is never without it: the certificate is not self-made

	Log *slog.Logger // nil: slog's own
}

// A Server answers the requests of the page.
type Server struct {
	o       Options
	door    *door
	handler http.Handler
	turn    sync.Map      // case id → *sync.Mutex: entries to one case are taken in one after the other
	busy    chan struct{} // who reasons now: see reason

	carrying chan struct{} // whose case comes in, or goes out as a whole file, now
	shelf    shelf         // the units in the house
}

//go:embed page.html trunk.html tree.html shop.html pair.html page.css shop.css page.js
var files embed.FS

// pages are all pages; pagesOfAuthors those of whoever lets devices in, whose ways lead there too.
var (
	pages          = sync.OnceValue(func() *template.Template { return readPages(false) })
	pagesOfAuthors = sync.OnceValue(func() *template.Template { return readPages(true) })
)

func readPages(devices bool) *template.Template {
	return template.Must(template.New("page.html").Funcs(template.FuncMap{
		"inc": func(i int) int { return i + 1 }, "devices": func() bool { return devices },
	}).ParseFS(files, "*.html"))
}

// An authorsWriter answers somebody who lets devices in.
type authorsWriter struct{ http.ResponseWriter }

// Unwrap gives what is below it to an http.ResponseController.
func (w authorsWriter) Unwrap() http.ResponseWriter { return w.ResponseWriter }

// New makes a Server. Whoever calls shows the link: it lets one browser in, once.
func New(o Options) *Server {
	if o.Log == nil {
		o.Log = slog.Default()
	}
	s := &Server{o: o, door: newDoor(o.Now), busy: make(chan struct{}, 2*runtime.GOMAXPROCS(0)), carrying: make(chan struct{}, 3)}
	s.handler = s.guard(s.routes())
	return s
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.handler.ServeHTTP(w, r) }

// Link is the way in that has not been used yet, without host.
func (s *Server) Link() string { return "/enter?key=" + s.door.link() }

// A handle answers a request, or says why not.
type handle func(w http.ResponseWriter, r *http.Request) error

// routes are all there is. What changes something is a POST.
func (s *Server) routes() http.Handler {
	mux := http.NewServeMux()
	for pattern, h := range s.handles() {
		mux.Handle(pattern, s.answering(s.allowed(pattern, h)))
	}
	return mux
}

// handles are the routes by their patterns; what each takes stands in needed.
func (s *Server) handles() map[string]handle {
	all := map[string]handle{
		"GET /{$}":                        s.list,
		"GET /enter":                      s.enterForm,
		"POST /enter":                     s.enter,
		"POST /leave":                     s.leave,
		"GET /pair":                       s.pairForm,
		"POST /pair":                      s.pair,
		"GET /devices":                    s.devices,
		"POST /devices/code":              s.deviceCode,
		"POST /devices/out":               s.deviceOut,
		"GET /style.css":                  s.file("text/css; charset=utf-8", "page.css", "shop.css"),
		"GET /page.js":                    s.file("text/javascript; charset=utf-8", "page.js"),
		"GET /new":                        s.openForm,
		"POST /open":                      s.open,
		"GET /case/{code}":                s.field,
		"POST /case/{code}/answer":        s.answer,
		"GET /case/{code}/diagnosis.json": s.diagnosisJSON,
		"POST /case/{code}/hearing":       s.hearing,
		"POST /case/{code}/agree":         s.agree,
		"POST /case/{code}/note":          s.note,
		"POST /case/{code}/put-in":        s.putIn,
		"POST /case/{code}/take-out":      s.takeOut,
		"POST /case/{code}/accept":        s.accept,
		"GET /case/{code}/close":          s.closeForm,
		"POST /case/{code}/close":         s.close,
		"POST /case/{code}/reopen":        s.reopen,
		"GET /case/{code}/summary":        s.summary,
		"GET /case/{code}/hand-over":      s.handOver,
		"POST /case/{code}/hand-over":     s.give,
		"POST /case/{code}/take-along":    s.leaves,
		"GET /case/{code}/along.html":     s.along,
		"GET /case/{code}/case.jsonl":     s.whole,
		"GET /case/{code}/take-over":      s.takeOverForm,
		"POST /case/{code}/take-over":     s.takeOver,
		"GET /receive":                    s.receiveForm,
		"POST /receive":                   s.receive,
		"GET /case/{code}/causes":         s.causes,
		"POST /case/{code}/sheet":         s.giveSheet,
		"GET /case/{code}/chart":          s.chart,
		"GET /case/{code}/chart.json":     s.chartJSON,
		"GET /case/{code}/case.json":      s.caseJSON,
	}
	maps.Copy(all, s.shopRoutes())
	return all
}

// file gives files one behind the other.
func (s *Server) file(media string, names ...string) handle {
	var text []byte
	for _, name := range names {
		part, err := files.ReadFile(name)
		if err != nil {
			panic(err) // it is compiled in
		}
		text = append(text, part...)
	}
	return func(w http.ResponseWriter, _ *http.Request) error {
		w.Header().Set("Content-Type", media)
		w.Header().Set("Cache-Control", "no-cache")
		_, err := w.Write(text)
		return err
	}
}

// isJSON says that an answer is for programs.
func isJSON(w http.ResponseWriter) { w.Header().Set("Content-Type", "application/json; charset=utf-8") }

// Style is the style sheet, for pages of ours that are no part of a server.
func Style() string {
	text, err := files.ReadFile("page.css")
	if err != nil {
		panic(err) // it is compiled in
	}
	return string(text)
}

// show writes a page of the set. Control signs that some text brought along stay out of it: no
// page may hold them, and a terminal that it is pasted into would obey them.
func show(w http.ResponseWriter, status int, name string, data any) error {
	var b bytes.Buffer
	set := pages
	if _, ok := w.(authorsWriter); ok {
		set = pagesOfAuthors
	}
	if err := set().ExecuteTemplate(&b, name, data); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	w.Header().Set("Content-Type", "text/html; charset=utf-8")
	w.WriteHeader(status)
	if _, err := w.Write(bytes.Map(func(r rune) rune {
		if unicode.IsControl(r) && !strings.ContainsRune("\t\r\n", r) {
			return -1
		}
		return r
	}, b.Bytes())); err != nil {
		return fmt.Errorf("write the page: %w", err)
	}
	return nil
}

// A head is what every page has.
type head struct {
	Title  string
	Code   string // of the case, ""
	Where  string // of the case, in words
	Unit   string // id of the unit it is about, ""
	In     bool   // somebody is let in: there are ways to go
	Behind bool   // the question comes first: the ways from the case stand behind it
}
