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

	"downdrop/cmd/internal/wording"
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

	mu      sync.Mutex
	key     string // of the link that has not been used
	seen    map[[sha256.Size]byte]*letIn
	pairing pairing // the code that is out; see pair.go
	devices int     // how many came in by a code
}

type letIn struct {
	since, last time.Time
	role        Role
	name        string // of a device that came in by a code
	number      int    // of such a device; 0: it came by the link
}

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
	now := d.now()
	return d.letIn(&letIn{since: now, last: now, role: Author}), true
}

// letIn keeps who comes in. The door is locked.
func (d *door) letIn(who *letIn) (token string) {
	token = secret()
	d.seen[sha256.Sum256([]byte(token))] = who
	return token
}

// known is who was let in, and not too long ago.
func (d *door) known(token string) (letIn, bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	sum := sha256.Sum256([]byte(token))
	who, ok := d.seen[sum]
	if !ok || !d.stands(sum, who) {
		return letIn{}, false
	}
	who.last = d.now()
	return *who, true
}

func (d *door) knows(token string) bool {
	_, ok := d.known(token)
	return ok
}

// stands says whether somebody's time is not over, and forgets whose is. The door is locked.
func (d *door) stands(sum [sha256.Size]byte, who *letIn) bool {
	now := d.now()
	if now.Sub(who.last) > idleFor || now.Sub(who.since) > letInFor {
		delete(d.seen, sum)
		return false
	}
	return true
}

func (d *door) forget(token string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.seen, sha256.Sum256([]byte(token)))
}

// cookieName has the port in it: cookies know hosts only, and there may be two servers. Behind a
// cipher its prefix has the browser hold it to this host, and to the cipher.
func cookieName(r *http.Request) string {
	_, port, err := net.SplitHostPort(r.Host)
	if err != nil {
		port = "usual"
	}
	if r.TLS != nil {
		return "__Host-downdrop-" + port
	}
	return "downdrop-" + port
}

func (s *Server) giveCookie(w http.ResponseWriter, r *http.Request, token string) {
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Value: token, Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: int(letInFor / time.Second)})
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
		head
		Key string
	}{head{Title: sayEnterTitle}, wording.OneLine(r.URL.Query().Get("key"))})
}

func (s *Server) enter(w http.ResponseWriter, r *http.Request) error {
	if s.o.Pairing { // no link is shown there
		return refusal{http.StatusForbidden, sayNotPaired}
	}
	if err := readForm(r); err != nil {
		return err
	}
	token, ok := s.door.use(r.PostForm.Get("key"))
	if !ok {
		return refusal{http.StatusForbidden, sayLinkUsed}
	}
	s.giveCookie(w, r, token)
	if s.o.Link != nil {
		s.o.Link(s.Link())
	}
	http.Redirect(w, r, "/", http.StatusSeeOther)
	return nil
}

func (s *Server) leave(w http.ResponseWriter, r *http.Request) error {
	s.door.forget(s.tokenOf(r))
	http.SetCookie(w, &http.Cookie{Name: cookieName(r), Path: "/", HttpOnly: true, Secure: r.TLS != nil, SameSite: http.SameSiteStrictMode, MaxAge: -1})
	return show(w, http.StatusOK, "sorry", sorry{head{Title: sayLeftTitle}, []string{sayLeft}})
}
