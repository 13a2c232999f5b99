package page

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/hex"
	"net"
	"net/http"
	"sync"
	"time"
)

// How long a browser stays let in: a shift without a request, a month at all.
const (
	idleFor  = 12 * time.Hour
	letInFor = 30 * 24 * time.Hour
)

// A door lets browsers in: each by a link that serves once. What it hands out is kept
// as its hash only.
type door struct {
	now func() time.Time

	mu   sync.Mutex
	key  string // of the link that has not been used
	seen map[[sha256.Size]byte]*letIn
}

type letIn struct{ since, last time.Time }

func newDoor(now func() time.Time) *door {
	return &door{now: now, key: secret(), seen: map[[sha256.Size]byte]*letIn{}}
}

// secret is 256 bits that nobody guesses.
func secret() string {
	var b [32]byte
	rand.Read(b[:]) //nolint:errcheck // it never fails: it ends the program rather
	return hex.EncodeToString(b[:])
}

func (d *door) link() string {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.key
}

// use lets a browser in by the key of the link, which is then another.
func (d *door) use(key string) (token string, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if subtle.ConstantTimeCompare([]byte(key), []byte(d.key)) != 1 {
		return "", false
	}
	d.key = secret()
	token = secret()
	now := d.now()
	d.seen[sha256.Sum256([]byte(token))] = &letIn{since: now, last: now}
	return token, true
}

// knows says whether a browser was let in, and not too long ago.
func (d *door) knows(token string) bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	sum := sha256.Sum256([]byte(token))
	who, ok := d.seen[sum]
	now := d.now()
	if ok && (now.Sub(who.last) > idleFor || now.Sub(who.since) > letInFor) {
		delete(d.seen, sum)
		ok = false
	}
	if ok {
		who.last = now
	}
	return ok
}

func (d *door) forget(token string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.seen, sha256.Sum256([]byte(token)))
}

// cookieName has the port in it: cookies know hosts only, and there may be two servers.
func cookieName(r *http.Request) string {
	_, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		port = "80"
	}
	return "downdrop-" + port
}

func (s *Server) tokenOf(r *http.Request) string {
	c, err := r.Cookie(cookieName(r))
	if err != nil {
		return ""
	}
	return c.Value
}

// enterForm asks for one press, so that a program that only looks at links does not
// use it up.
func (s *Server) enterForm(w http.ResponseWriter, r *http.Request) error {
	return show(w, http.StatusOK, "enter", struct {
		sheet
		Key string
	}{sheet{Title: sayEnterTitle}, oneLine(r.URL.Query().Get("key"))})
}

func (s *Server) enter(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	token, ok := s.door.use(r.PostForm.Get("key"))
	if !ok {
		return refusal{http.StatusForbidden, sayLinkUsed}
	}
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: token, Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: int(letInFor / time.Second)})
	if s.o.Link != nil {
		s.o.Link(s.Link())
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

func (s *Server) leave(w http.ResponseWriter, r *http.Request) error {
	s.door.forget(s.tokenOf(r))
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Path: "/", HttpOnly: true, SameSite: http.SameSiteStrictMode, MaxAge: -1})
	return show(w, http.StatusOK, "sorry", sorry{sheet{Title: sayLeftTitle}, []string{sayLeft}})
}
