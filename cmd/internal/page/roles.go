package page

import (
	"fmt"
	"net/http"
)

// A Role is what somebody may do who was let in. Each may do what those before it may.
type Role int

// The roles.
const (
	Nobody   Role = iota // was not let in
	Reader               // looks
	Answerer             // answers, and opens and hands over cases
	Closer               // closes cases, opens them again, and says what may stay as it is
	Author               // changes what others rely on: who is let in
)

// roleWords are the roles as they are typed and said.
var roleWords = [...]string{"nobody", "read", "answer", "close", "author"}

func (r Role) String() string { return roleWords[r] }

// RoleWords are the words that RoleOf reads.
func RoleWords() []string { return roleWords[Reader:] }

// RoleOf reads a role; Nobody where it is none.
func RoleOf(word string) Role {
	for r := Reader; r <= Author; r++ {
		if r.String() == word {
			return r
		}
	}
	return Nobody
}

// needed is what each route takes. One that is not here is refused to everybody: a
// new route comes with its role, and a test says so.
var needed = map[string]Role{
	"GET /enter": Nobody, "POST /enter": Nobody, "POST /leave": Nobody, "GET /style.css": Nobody, "GET /page.js": Nobody,
	"GET /pair": Nobody, "POST /pair": Nobody,

	"GET /{$}": Reader, "GET /new": Reader, "GET /receive": Reader,
	"GET /case/{code}": Reader, "GET /case/{code}/diagnosis.json": Reader, "GET /case/{code}/close": Reader, "GET /case/{code}/summary": Reader,
	"GET /case/{code}/hand-over": Reader, "GET /case/{code}/along.html": Reader, "GET /case/{code}/case.jsonl": Reader, "GET /case/{code}/take-over": Reader, "GET /case/{code}/causes": Reader, "GET /case/{code}/case.json": Reader, "GET /case/{code}/chart": Reader, "GET /case/{code}/chart.json": Reader,
	"POST /case/{code}/hearing": Reader, // nothing of it is taken in

	"POST /open": Answerer, "POST /receive": Answerer, "POST /case/{code}/answer": Answerer, "POST /case/{code}/agree": Answerer, "POST /case/{code}/note": Answerer,
	"POST /case/{code}/put-in": Answerer, "POST /case/{code}/take-out": Answerer, "POST /case/{code}/hand-over": Answerer, "POST /case/{code}/take-along": Answerer, "POST /case/{code}/take-over": Answerer, "POST /case/{code}/sheet": Answerer,

	"POST /case/{code}/accept": Closer, "POST /case/{code}/close": Closer, "POST /case/{code}/reopen": Closer,

	"GET /shop": Reader, "GET /shop/receive": Reader, "GET /shop/month": Reader, "GET /shop/month.json": Reader, "GET /shop/month.csv": Reader, "GET /unit": Reader, "GET /unit/story": Reader, "GET /unit/offer": Reader, "GET /unit/unit.json": Reader, "GET /case/{code}/return-note": Reader,
	"GET /unit/decide": Reader, "GET /unit/decision.json": Reader, "GET /unit/decision.svg": Reader, "GET /unit/bench": Reader, "GET /bench": Reader, "GET /record": Reader,
	"POST /shop/receive": Answerer, "POST /unit/statement": Answerer, "POST /unit/repair": Answerer, "POST /unit/note": Answerer, "POST /unit/answer": Answerer, "POST /unit/decide": Answerer,
	"POST /bench/begin": Answerer, "POST /bench/entry": Answerer,
	"POST /unit/move": Closer, "POST /unit/take-back": Closer, "POST /unit/offer": Closer, "POST /bench/record": Closer, // what a customer is held to

	"GET /devices": Author, "POST /devices/code": Author, "POST /devices/out": Author,
}

// allowed lets through who has the role that a route takes.
func (s *Server) allowed(pattern string, h handle) handle {
	needs, listed := needed[pattern]
	return func(w http.ResponseWriter, r *http.Request) error {
		if !listed {
			s.o.Log.Error("a route has no role and is refused", "route", pattern)
			return refusal{http.StatusForbidden, sayNoRole}
		}
		has := s.roleOf(r)
		if has < needs {
			return refusal{http.StatusForbidden, fmt.Sprintf(sayRole, has, needs)}
		}
		if s.o.Pairing && has == Author {
			w = authorsWriter{w}
		}
		return h(w, r)
	}
}

// roleOf is the role of whoever sends a request. On the machine itself, whoever was let in may do all.
func (s *Server) roleOf(r *http.Request) Role {
	who, ok := s.door.known(s.tokenOf(r))
	if !ok {
		return Nobody
	}
	return who.role
}
