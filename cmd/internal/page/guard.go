package page

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"downdrop/cases"
)

// The most bytes of a form; a hand-over may be a whole file, with the program in it or with pictures.
const (
	mostForm     = 64 << 10
	mostHandOver = 16 << 20
)

// longest is how long one request may take; errTooLong that it took longer.
const longest = 10 * time.Second

var errTooLong = errors.New("the request took too long")

// policy is what a browser may do with our pages: nothing from elsewhere, no script
// but our one file, no frame around them.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; form-action 'self'; base-uri 'none'; object-src 'none'; frame-ancestors 'none'"

// guard stands before everything: it keeps out other hosts (DNS rebinding), other
// sites, other methods and whoever was not let in, and bounds what is read.
func (s *Server) guard(next http.Handler) http.Handler {
	crossing := http.NewCrossOriginProtection()
	crossing.SetDenyHandler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		s.refuse(w, r, refusal{http.StatusForbidden, sayCrossOrigin})
	}))
	inside := crossing.Handler(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		if !open(r.URL.Path) && !s.door.knows(s.tokenOf(r)) {
			if s.o.Pairing && r.Method == http.MethodGet && r.URL.Path == "/" {
				http.Redirect(w, r, "/pair", http.StatusSeeOther)
				return
			}
			if s.o.Pairing {
				s.refuse(w, r, refusal{http.StatusForbidden, sayNotPaired})
				return
			}
			s.refuse(w, r, refusal{http.StatusForbidden, sayNotLetIn})
			return
		}
		next.ServeHTTP(w, r)
	}))
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		for name, value := range map[string]string{
			"Content-Security-Policy": policy, "X-Content-Type-Options": "nosniff", "Referrer-Policy": "same-origin",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "Cache-Control": "no-store",
		} {
			h.Set(name, value)
		}
		if s.o.Strict {
			h.Set("Strict-Transport-Security", "max-age=31536000")
		}
		defer s.catch(w, r)
		switch {
		case !slices.Contains(s.o.Hosts, strings.ToLower(r.Host)):
			s.refuse(w, r, refusal{http.StatusMisdirectedRequest, sayOtherHost})
		case r.Method != http.MethodGet && r.Method != http.MethodHead && r.Method != http.MethodPost:
			h.Set("Allow", "GET, HEAD, POST")
			s.refuse(w, r, refusal{http.StatusMethodNotAllowed, sayOtherMethod})
		default:
			most := int64(mostForm)
			if r.URL.Path == "/receive" {
				most = mostHandOver
			}
			r.Body = http.MaxBytesReader(w, r.Body, most)
			ctx, cancel := context.WithTimeoutCause(r.Context(), longest, errTooLong)
			defer cancel()
			inside.ServeHTTP(w, r.WithContext(ctx))
		}
	})
}

// open are the paths for whoever has not come in yet.
func open(path string) bool {
	return path == "/enter" || path == "/pair" || path == "/style.css" || path == "/page.js"
}

// catch turns a bug of ours into one sentence with a number that the log has too.
func (s *Server) catch(w http.ResponseWriter, r *http.Request) {
	bug := recover()
	if bug == nil {
		return
	}
	if bug == http.ErrAbortHandler { // the line is to be cut, so that nobody takes half of an answer for all of it
		panic(bug)
	}
	number := s.o.NewID()
	s.o.Log.Error("a request failed", "incident", number, "path", r.URL.Path, "bug", fmt.Sprint(bug), "stack", string(debug.Stack()))
	s.refuse(w, r, refusal{http.StatusInternalServerError, fmt.Sprintf(sayIncident, number)})
}

// A refusal is an answer that is no page: why, in a sentence for people.
type refusal struct {
	status int
	says   string
}

func (e refusal) Error() string { return e.says }

type sorry struct {
	head
	Lines []string
}

func (s *Server) refuse(w http.ResponseWriter, r *http.Request, e refusal) {
	in := s.door.knows(s.tokenOf(r))
	if err := show(w, e.status, "sorry", sorry{head{Title: sayRefusedTitle, In: in}, strings.Split(e.says, "\n")}); err != nil {
		s.o.Log.Warn("a refusal was not written", "error", err)
	}
}

// reason waits for a turn to reason: no more do so at once than the machine can do.
func (s *Server) reason(ctx context.Context) (done func(), err error) {
	select {
	case s.busy <- struct{}{}:
		return func() { <-s.busy }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// answering turns a handle into a handler: its errors into pages.
func (s *Server) answering(h handle) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		err := h(w, r)
		if err == nil {
			return
		}
		var e refusal
		var long *http.MaxBytesError
		var two cases.TwoCasesError
		switch {
		case errors.As(err, &e):
		case errors.As(err, &two):
			e = refusal{http.StatusConflict, two.Error()}
		case errors.As(err, &long):
			e = refusal{http.StatusRequestEntityTooLarge, fmt.Sprintf(sayTooLarge, long.Limit>>10)}
		case errors.Is(err, cases.ErrNotFound):
			e = refusal{http.StatusNotFound, sayNoCase}
		case errors.Is(err, cases.ErrUnavailable), errors.Is(err, cases.ErrIntegrity):
			e = refusal{http.StatusServiceUnavailable, fmt.Sprintf(sayStore, err)}
		case errors.Is(context.Cause(r.Context()), errTooLong):
			e = refusal{http.StatusServiceUnavailable, sayTookTooLong}
		case r.Context().Err() != nil:
			return // nobody is there to read it
		default:
			number := s.o.NewID()
			s.o.Log.Error("a request failed", "incident", number, "path", r.URL.Path, "error", err)
			e = refusal{http.StatusInternalServerError, fmt.Sprintf(sayIncident, number)}
		}
		s.refuse(w, r, e)
	})
}

// wrong says that what a form says cannot be taken.
func wrong(says string, args ...any) error {
	return refusal{http.StatusUnprocessableEntity, fmt.Sprintf(says, args...)}
}
