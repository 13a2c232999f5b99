package page

import (
	"crypto/rand"
	"crypto/subtle"
	"fmt"
	"math/big"
	"net/http"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"downdrop/cmd/internal/wording"
)

// How a device of the network comes in: by a code that is read off where the program was
// started. Eight digits are 26 bits; ASVS asks for 20. The rest are choices of ours, no source.
const (
	codeDigits = 8
	codeFor    = 5 * time.Minute
	codeTries  = 5
	mostName   = 40 // letters of what a device is called
)

// A pairing is the code that is out; there is one at a time, for one device.
type pairing struct {
	code  string
	role  Role
	until time.Time
	tries int // left
}

// A Device is one that was let in by a code.
type Device struct {
	Number int
	Name   string
	Role   Role
	Since  time.Time
	Last   time.Time
}

// NewCode gives the code for the next device, which has the role; the one before it serves no more.
func (s *Server) NewCode(role Role) (code string, until time.Time) {
	most := new(big.Int).Exp(big.NewInt(10), big.NewInt(codeDigits), nil)
	n, err := rand.Int(rand.Reader, most)
	if err != nil {
		panic(err) // the machine has no source of randomness
	}
	d := s.door
	d.mu.Lock()
	defer d.mu.Unlock()
	d.pairing = pairing{code: fmt.Sprintf("%0*d", codeDigits, n), role: role, until: d.now().Add(codeFor), tries: codeTries}
	return d.pairing.code, d.pairing.until
}

// pair lets a device in by the code that is out, which then serves no more.
func (d *door) pair(code, name string) (token string, got Device, ok bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	p := &d.pairing
	now := d.now()
	if p.tries <= 0 || now.After(p.until) {
		return "", Device{}, false
	}
	p.tries--
	if subtle.ConstantTimeCompare([]byte(code), []byte(p.code)) != 1 {
		return "", Device{}, false
	}
	role := p.role
	*p = pairing{}
	d.devices++
	who := &letIn{since: now, last: now, role: role, name: name, number: d.devices}
	return d.letIn(who), who.device(), true
}

func (who *letIn) device() Device {
	return Device{who.number, who.name, who.role, who.since, who.last}
}

// Devices are those that are in, in the order they came.
func (s *Server) Devices() []Device {
	d := s.door
	d.mu.Lock()
	defer d.mu.Unlock()
	var out []Device
	for sum, who := range d.seen {
		if who.number > 0 && d.stands(sum, who) {
			out = append(out, who.device())
		}
	}
	slices.SortFunc(out, func(a, b Device) int { return a.Number - b.Number })
	return out
}

// Out puts a device out again; false: there is none of that number.
func (s *Server) Out(number int) bool {
	d := s.door
	d.mu.Lock()
	defer d.mu.Unlock()
	for sum, who := range d.seen {
		if who.number == number && number > 0 {
			delete(d.seen, sum)
			return true
		}
	}
	return false
}

func (s *Server) pairForm(w http.ResponseWriter, _ *http.Request) error {
	if !s.o.Pairing {
		return refusal{http.StatusNotFound, sayNoPairing}
	}
	return show(w, http.StatusOK, "pair", head{Title: sayPairTitle})
}

func (s *Server) pair(w http.ResponseWriter, r *http.Request) error {
	if !s.o.Pairing {
		return refusal{http.StatusNotFound, sayNoPairing}
	}
	if err := readForm(r); err != nil {
		return err
	}
	code := strings.Map(func(r rune) rune {
		if r >= '0' && r <= '9' {
			return r
		}
		return -1
	}, r.PostForm.Get("code"))
	name := wording.OneLine(r.PostForm.Get("name"))
	if utf8.RuneCountInString(name) > mostName {
		return wrong(sayLongField, "The name", mostName)
	}
	token, got, ok := s.door.pair(code, name)
	if !ok {
		s.o.Log.Warn("a device was not let in: its code is wrong, was used, or is too old", "from", r.RemoteAddr)
		return refusal{http.StatusForbidden, sayWrongCode}
	}
	s.giveCookie(w, r, token)
	if s.o.Paired != nil {
		s.o.Paired(got)
	}
	to := "/"
	if got.Role == Author { // the first thing that one does is to let others in
		to = "/devices"
	}
	http.Redirect(w, r, to, http.StatusSeeOther)
	return nil
}

type deviceRow struct {
	Number int
	Says   string
}

// devices shows who is in, and lets the next one in.
func (s *Server) devices(w http.ResponseWriter, _ *http.Request) error {
	return s.showDevices(w, "", "")
}

func (s *Server) showDevices(w http.ResponseWriter, code, role string) error {
	data := struct {
		head
		Pairing bool
		Next    string // the new code, as it is read out
		Role    string
		Minutes int
		Roles   []string
		Rows    []deviceRow
	}{head: head{Title: sayDevicesTitle, In: true}, Pairing: s.o.Pairing, Role: role, Minutes: int(codeFor / time.Minute), Roles: RoleWords()}
	if code != "" {
		data.Next = SpacedCode(code)
	}
	for _, d := range s.Devices() {
		data.Rows = append(data.Rows, deviceRow{d.Number, DeviceLine(d)})
	}
	return show(w, http.StatusOK, "devices", data)
}

// SpacedCode is a code as it is read out.
func SpacedCode(code string) string { return code[:codeDigits/2] + " " + code[codeDigits/2:] }

// DeviceLine says which device one is, and since when.
func DeviceLine(d Device) string {
	name := d.Name
	if name == "" {
		name = sayNoName
	}
	return fmt.Sprintf(sayDevice, d.Number, name, d.Role, d.Since.Format("2006-01-02 15:04"), d.Last.Format("2006-01-02 15:04"))
}

func (s *Server) deviceCode(w http.ResponseWriter, r *http.Request) error {
	if !s.o.Pairing {
		return refusal{http.StatusNotFound, sayNoPairing}
	}
	if err := readForm(r); err != nil {
		return err
	}
	role := RoleOf(r.PostForm.Get("role"))
	if role == Nobody {
		return wrong(sayWhichRole, strings.Join(RoleWords(), ", "))
	}
	code, _ := s.NewCode(role)
	return s.showDevices(w, code, role.String())
}

func (s *Server) deviceOut(w http.ResponseWriter, r *http.Request) error {
	if err := readForm(r); err != nil {
		return err
	}
	n, err := strconv.Atoi(r.PostForm.Get("number"))
	if err != nil || !s.Out(n) {
		return refusal{http.StatusConflict, sayNoDevice}
	}
	http.Redirect(w, r, "/devices", http.StatusSeeOther)
	return nil
}
