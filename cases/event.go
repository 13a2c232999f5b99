// Package cases keeps what happened: one down drop from the first call to what it
// turned out to be. Everything is an appended [Event]; a [Case] is what its events,
// in their order, add up to ([Fold]). Nothing is ever changed or taken away: a
// correction is an event that points at what it corrects.
//
// Events are chained by hashes within each site, so that whoever holds a later hash
// can tell whether an earlier event was touched. That is also what finds damaged
// storage, which databases mostly do not notice themselves. A chain proves nothing
// against somebody who may write the whole store and hands out new hashes; copies of
// the head on paper and at other sites do.
package cases

import (
	"bytes"
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"downdrop/rulebase"
)

// A Subject is what an event is about.
type Subject struct {
	Kind SubjectKind `json:"kind"`
	ID   string      `json:"id"`
}

// SubjectKind is the kind of thing an event is about.
type SubjectKind string

// What an event may be about.
const (
	AboutCase     SubjectKind = "case"
	AboutUnit     SubjectKind = "unit"     // the id is UnitKey's
	AboutLocation SubjectKind = "location" // the id is LocationKey's
)

// A Kind names what an event says; with its version it decides what its body may
// hold. Kinds that are not known here are kept, exported and passed over.
type Kind string

// A Draft is an event before the store has taken it in.
type Draft struct {
	// ID is made by whoever writes, once for each thing said: the same id given to
	// a store twice is one event. Any text of 1 to 64 letters, digits, `-` and `_`.
	ID      string  `json:"id"`
	Subject Subject `json:"subject"`
	Kind    Kind    `json:"kind"`
	Version int     `json:"version"` // of the kind; 1 or more
	// At is the writer's wall clock, kept to the microsecond; it says when, and
	// never in which order. Zone is the writer's offset from UTC, in minutes.
	At   time.Time `json:"at"`
	Zone int       `json:"zone"`
	// By is the id of a person (see Store.SetName) or "". Never a name: a name can
	// then be erased without touching the chain.
	By       string          `json:"by"`
	Place    rulebase.Place  `json:"place"`    // where the writer was; "" not said
	Corrects string          `json:"corrects"` // the id of the event that this one stands for, or takes back
	Program  string          `json:"program"`  // version of downdrop
	Rulebase string          `json:"rulebase"` // digest of the rulebase in use; "" where none was
	Body     json.RawMessage `json:"body"`     // an object, in canonical form once it is an Event
}

// An Event is a draft that a store took in.
type Event struct {
	Draft
	Site string `json:"site"` // the site that wrote it
	Seq  int64  `json:"seq"`  // counts the events of the site from 1, without a gap
	// Order is one more than the highest order that the store held about the same
	// subject: what somebody wrote knowing of another event comes after it, at
	// whatever site and by whatever clock.
	Order int64  `json:"order"`
	Prev  string `json:"prev"` // hash of the site's event before; "" for the first
	Hash  string `json:"hash"` // of everything else in canonical form (see Event.Sum)
}

// Compare sorts events of one subject: by order, then site, then the site's own
// count. It is total, so every store folds the same events to the same case.
func Compare(a, b Event) int {
	return cmp.Or(cmp.Compare(a.Order, b.Order), strings.Compare(a.Site, b.Site), cmp.Compare(a.Seq, b.Seq))
}

// Sum is the hash that the event must carry: SHA-256, in hex, of its canonical JSON
// without the key `hash`. The body counts as it stands, byte for byte.
func (e *Event) Sum() (string, error) {
	text, err := e.canonical()
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// canonical is the event as Sum reads it. The keys are written out, sorted, since
// every event that is read is summed.
func (e *Event) canonical() ([]byte, error) {
	at, err := e.At.UTC().Truncate(time.Microsecond).MarshalText()
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.Grow(512 + len(e.Body))
	text := func(key, value string) { b.WriteString(key); writeText(&b, value) }
	number := func(key string, value int64) {
		b.WriteString(key)
		b.Write(strconv.AppendInt(b.AvailableBuffer(), value, 10))
	}
	text(`{"at":`, string(at))
	b.WriteString(`,"body":`)
	b.Write(e.Body)
	text(`,"by":`, e.By)
	text(`,"corrects":`, e.Corrects)
	text(`,"id":`, e.ID)
	text(`,"kind":`, string(e.Kind))
	number(`,"order":`, e.Order)
	text(`,"place":`, string(e.Place))
	text(`,"prev":`, e.Prev)
	text(`,"program":`, e.Program)
	text(`,"rulebase":`, e.Rulebase)
	number(`,"seq":`, e.Seq)
	text(`,"site":`, e.Site)
	text(`,"subject":{"id":`, e.Subject.ID)
	text(`,"kind":`, string(e.Subject.Kind))
	number(`},"version":`, int64(e.Version))
	number(`,"zone":`, int64(e.Zone))
	b.WriteByte('}')
	return b.Bytes(), nil
}

// Seal makes an event of a draft: the one that follows head in the site's chain.
func Seal(d Draft, site string, head Head, order int64) (Event, error) {
	if err := d.check(); err != nil {
		return Event{}, err
	}
	body, err := Canonical(d.Body)
	if err != nil {
		return Event{}, fmt.Errorf("event %s: its body: %w", d.ID, err)
	}
	d.Body, d.At = body, d.At.UTC().Truncate(time.Microsecond)
	e := Event{Draft: d, Site: site, Seq: head.Seq + 1, Order: order, Prev: head.Hash}
	e.Hash, err = e.Sum()
	return e, err
}

// Limits of one event in bytes, so that no store is filled by one entry.
const (
	MaxBody = 64 << 10 // of the body
	maxID   = 64       // of the event's id, and of the name of its kind
	maxText = 200      // of every other text

	MaxSubject = maxText // bytes of a subject's id
)

func (d *Draft) check() error {
	switch {
	case !PlainID(d.ID):
		return fmt.Errorf("event id %.80q: 1 to %d letters, digits, - and _ are wanted", d.ID, maxID)
	case d.Subject.ID == "" || len(d.Subject.ID) > maxText:
		return fmt.Errorf("event %s: its subject has no id, or one longer than %d bytes", d.ID, maxText)
	case d.Kind == "" || len(d.Kind) > maxID || d.Version < 1:
		return fmt.Errorf("event %s: its kind %.80q has no name or no version", d.ID, d.Kind)
	case len(d.Body) > MaxBody:
		return fmt.Errorf("%w: %d bytes, and one entry holds at most %d. Shorten it, or keep it with the case as a file", ErrTooLong, len(d.Body), MaxBody)
	case d.At.Year() < 1 || d.At.Year() > 9999:
		return fmt.Errorf("event %s: the year %d cannot be written", d.ID, d.At.Year())
	}
	for _, text := range []string{d.Subject.ID, string(d.Subject.Kind), string(d.Kind), d.By, string(d.Place), d.Corrects, d.Program, d.Rulebase} {
		if len(text) > maxText || !utf8.ValidString(text) || strings.ContainsRune(text, 0) {
			return fmt.Errorf("event %s: %.80q is longer than %d bytes or no text", d.ID, text, maxText)
		}
	}
	return nil
}

// PlainID says whether a text may be the id of an event or a site: 1 to 64 letters,
// digits, - and _.
func PlainID(id string) bool {
	if id == "" || len(id) > maxID {
		return false
	}
	for _, c := range []byte(id) {
		if !('a' <= c && c <= 'z' || 'A' <= c && c <= 'Z' || '0' <= c && c <= '9' || c == '-' || c == '_') {
			return false
		}
	}
	return true
}

// A Head is the last event of a site's chain; the zero Head is before the first.
type Head struct {
	Seq  int64  `json:"seq"`
	Hash string `json:"hash"`
}

// Check says whether the event is what was written, as far as it can tell by itself.
func (e *Event) Check() error {
	if err := e.Draft.check(); err != nil {
		return fmt.Errorf("%w: %w", ErrIntegrity, err)
	}
	sum, err := e.Sum()
	switch {
	case err != nil:
		return fmt.Errorf("%w: event %d of site %s: %w", ErrIntegrity, e.Seq, e.Site, err)
	case sum != e.Hash:
		return fmt.Errorf("%w: event %d of site %s (%s) is not what was written: its content does not fit its hash", ErrIntegrity, e.Seq, e.Site, e.ID)
	}
	return nil
}

// Follows checks that the event is the one after head and that nothing in it was touched.
func (e *Event) Follows(head Head) error {
	if err := e.Check(); err != nil {
		return err
	}
	switch {
	case e.Seq != head.Seq+1:
		return fmt.Errorf("%w: after event %d of site %s comes %d", ErrIntegrity, head.Seq, e.Site, e.Seq)
	case e.Prev != head.Hash:
		return fmt.Errorf("%w: event %d of site %s does not follow the one before it", ErrIntegrity, e.Seq, e.Site)
	}
	return nil
}

// Canonical writes a JSON object in one way: keys sorted by bytes, no blanks,
// numbers as they were written, no escapes but those JSON needs. A NUL in a text is
// refused.
func Canonical(text []byte) ([]byte, error) {
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.UseNumber()
	var v any
	if err := dec.Decode(&v); err != nil {
		return nil, fmt.Errorf("not JSON: %w", err)
	}
	if _, err := dec.Token(); !errors.Is(err, io.EOF) {
		return nil, errors.New("more follows the JSON object")
	}
	object, ok := v.(map[string]any)
	if !ok {
		return nil, errors.New("an object is wanted")
	}
	if bytes.Contains(text, []byte(`\u0000`)) && holdsNUL(object) {
		return nil, errors.New("a text holds the character NUL, which databases do not keep")
	}
	var b bytes.Buffer
	writeCanonical(&b, object)
	return b.Bytes(), nil
}

func holdsNUL(v any) bool {
	switch v := v.(type) {
	case string:
		return strings.ContainsRune(v, 0)
	case []any:
		return slices.ContainsFunc(v, holdsNUL)
	case map[string]any:
		for key, item := range v {
			if strings.ContainsRune(key, 0) || holdsNUL(item) {
				return true
			}
		}
	}
	return false
}

func writeCanonical(b *bytes.Buffer, v any) {
	switch v := v.(type) {
	case nil:
		b.WriteString("null")
	case bool:
		b.WriteString(strconv.FormatBool(v))
	case json.Number:
		b.WriteString(v.String())
	case string:
		writeText(b, v)
	case []any:
		b.WriteByte('[')
		for i, item := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			writeCanonical(b, item)
		}
		b.WriteByte(']')
	case map[string]any:
		b.WriteByte('{')
		for i, key := range slices.Sorted(maps.Keys(v)) {
			if i > 0 {
				b.WriteByte(',')
			}
			writeText(b, key)
			b.WriteByte(':')
			writeCanonical(b, v[key])
		}
		b.WriteByte('}')
	}
}

// writeText writes a JSON string. Nearly all of ours need no escape.
func writeText(b *bytes.Buffer, s string) {
	for i := range len(s) {
		if c := s[i]; c < ' ' || c > '~' || c == '"' || c == '\\' {
			writeEscaped(b, s)
			return
		}
	}
	b.WriteByte('"')
	b.WriteString(s)
	b.WriteByte('"')
}

func writeEscaped(b *bytes.Buffer, s string) {
	enc := json.NewEncoder(b)
	enc.SetEscapeHTML(false)
	_ = enc.Encode(s)       // a string into a buffer cannot fail
	b.Truncate(b.Len() - 1) // Encode ends with a line feed
}
