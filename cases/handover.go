package cases

import (
	"bytes"
	"cmp"
	"compress/flate"
	"crypto/sha256"
	"encoding/base32"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode/utf8"

	"downdrop/rulebase"
)

// A case is handed over as text that can be pasted into a message, typed at worst,
// or shown as a QR code: base 32 in capital letters, which a QR code packs well and
// no mail program spoils. It holds the case's events; a hash that the rest allows to work out
// is left out. Pictures and files go with an export, not with this text; the installation sheet of the
// line goes with it where it costs little.
//
//	DOWNDROP1/PART/OF/CHECK/DATA
//
// CHECK is the beginning of the SHA-256 of the whole, the same in all parts.

// PartLength is the most characters of one part: a QR code of 2,800 of these letters still
// reads from a phone's screen.
const PartLength = 2800

// maxParts is how many parts a head can count.
const maxParts = 999

// maxHandOver is how much a text may hold once unpacked.
const maxHandOver = 8 << 20

// handedEvent is an Event in few letters.
type handedEvent struct {
	ID       string          `json:"i"`
	Kind     Kind            `json:"k"`
	Version  int             `json:"v,omitempty"` // 0: 1
	At       int64           `json:"t"`           // microseconds since 1970, UTC
	Zone     int             `json:"z,omitempty"`
	By       string          `json:"w,omitempty"`
	Place    rulebase.Place  `json:"p,omitempty"`
	Corrects string          `json:"c,omitempty"`
	Program  int             `json:"g,omitempty"` // place in handedCase.Words
	Rulebase int             `json:"r,omitempty"`
	Site     int             `json:"s,omitempty"`
	Seq      int64           `json:"n"`
	Order    int64           `json:"o"`
	Prev     []byte          `json:"h,omitempty"` // left out where it is the hash of the event before in this list
	Body     json.RawMessage `json:"b"`
}

type handedCase struct {
	Case   string        `json:"case"`
	Words  []string      `json:"words"` // what repeats: sites, versions, digests; the first is ""
	Events []handedEvent `json:"events"`
	Sheet  string        `json:"sheet,omitempty"` // the text of the installation sheet that the case names by its hash
}

// SheetParts is how many parts more a hand-over may have for its sheet: each is one more code to hold a
// camera to. A sheet of a dozen drops takes about half of one.
const SheetParts = 1

// HandOverText writes the events of one case as parts of text, with the text of its installation sheet (nil:
// none) beside them where that takes no more than so many further parts; carried says whether it does.
func HandOverText(c *Case, sheet []byte, further int) (parts []string, carried bool, err error) {
	parts, err = partsOf(c, "")
	if err != nil || !c.namesSheet(sheet) || !utf8.Valid(sheet) {
		return parts, false, err
	}
	with, err := partsOf(c, string(sheet))
	switch {
	case errors.Is(err, ErrTooLong), err == nil && len(with) > len(parts)+further:
		return parts, false, nil
	case err != nil:
		return parts, false, err
	}
	return with, true, nil
}

// namesSheet says whether a text is a sheet that the case was given at any time, by its hash.
func (c *Case) namesSheet(sheet []byte) bool {
	if len(sheet) == 0 {
		return false
	}
	digest := fmt.Sprintf("%x", sha256.Sum256(sheet))
	return slices.ContainsFunc(c.Events, func(e Event) bool {
		var b Circumstances
		return e.Kind == KindSituation && json.Unmarshal(e.Body, &b) == nil && b.SheetFile == digest
	})
}

func partsOf(c *Case, sheet string) ([]string, error) {
	h := handedCase{Sheet: sheet, Case: c.ID, Words: []string{""}}
	word := func(s string) int {
		if i := slices.Index(h.Words, s); i >= 0 {
			return i
		}
		h.Words = append(h.Words, s)
		return len(h.Words) - 1
	}
	before := map[string]string{} // hash of the last event listed, by site
	for _, e := range c.Events {
		x := handedEvent{ID: e.ID, Kind: e.Kind, At: e.At.UnixMicro(), Zone: e.Zone, By: e.By, Place: e.Place, Corrects: e.Corrects,
			Program: word(e.Program), Rulebase: word(e.Rulebase), Site: word(e.Site), Seq: e.Seq, Order: e.Order, Body: e.Body}
		if e.Version != 1 {
			x.Version = e.Version
		}
		if e.Prev != before[e.Site] {
			prev, err := hex.DecodeString(e.Prev)
			if err != nil {
				return nil, fmt.Errorf("event %s: %w: the hash %.80q is none", e.ID, ErrSpoilt, e.Prev)
			}
			x.Prev = prev
		}
		before[e.Site] = e.Hash
		h.Events = append(h.Events, x)
	}
	text, err := json.Marshal(h)
	if err != nil {
		return nil, err
	}
	if len(text) > maxHandOver {
		return nil, errLongCase
	}
	if all := parts(deflated(text)); len(all) <= maxParts {
		return all, nil
	}
	return nil, errLongCase
}

// errLongCase says so of a case that nobody could read in again; it is an ErrTooLong.
var errLongCase = longCase{}

type longCase struct{}

func (longCase) Error() string {
	return "the case is too long to be handed over as text: hand it over as a file, with --file, or export it"
}

func (longCase) Is(target error) bool { return target == ErrTooLong }

// deflated packs a text. The level is one of flate's own and a buffer takes whatever is written, so
// that it cannot fail.
func deflated(text []byte) []byte {
	var packed bytes.Buffer
	z, err := flate.NewWriter(&packed, flate.BestCompression)
	if err == nil {
		_, err = z.Write(text)
	}
	if err == nil {
		err = z.Close()
	}
	if err != nil {
		panic(err)
	}
	return packed.Bytes()
}

var handOverLetters = base32.StdEncoding.WithPadding(base32.NoPadding)

func checkOf(packed []byte) string {
	sum := sha256.Sum256(packed)
	return handOverLetters.EncodeToString(sum[:10])
}

func parts(packed []byte) []string {
	text, check := handOverLetters.EncodeToString(packed), checkOf(packed)
	const room = PartLength - len("DOWNDROP1/999/999//") - 16 // maxParts
	of := max(1, (len(text)+room-1)/room)
	var out []string
	for i := range of {
		out = append(out, fmt.Sprintf("DOWNDROP1/%d/%d/%s/%s", i+1, of, check, text[i*room:min((i+1)*room, len(text))]))
	}
	return out
}

// A part begins with its head; what follows up to the next head, or to a blank line or anything that is
// no letter of base 32, is its data.
var partHead = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)DOWNDROP1/([0-9]{1,3})/([0-9]{1,3})/([A-Z2-7]{16})/`)
})

// ReadHandOver reads pasted text: the parts of one hand-over in any order, with
// whatever stands around them, lines broken anywhere. The events are checked by their
// hashes; order is that of the case. sheet is the installation sheet which the text carries; nil:
// none, or one that the case does not name. The error says what lacks or is spoilt.
func ReadHandOver(text string) (events []Event, sheet []byte, err error) {
	h, err := unpackHandOver(text)
	if err != nil {
		return nil, nil, err
	}
	if events, err = h.events(); err != nil {
		return nil, nil, err
	}
	if c := Fold(events); c != nil && c.namesSheet([]byte(h.Sheet)) {
		sheet = []byte(h.Sheet)
	}
	return events, sheet, nil
}

func unpackHandOver(text string) (*handedCase, error) {
	packed, err := joinParts(text)
	if err != nil {
		return nil, err
	}
	plain, err := io.ReadAll(io.LimitReader(flate.NewReader(bytes.NewReader(packed)), maxHandOver+1))
	if err != nil || len(plain) > maxHandOver {
		return nil, fmt.Errorf("%w: it fits its check but cannot be unpacked", ErrSpoilt)
	}
	var h handedCase
	if err := json.Unmarshal(plain, &h); err != nil {
		return nil, fmt.Errorf("%w: it fits its check but holds no case: %w", ErrSpoilt, err)
	}
	return &h, nil
}

func (h *handedCase) events() ([]Event, error) {
	word := func(i int) string {
		if i < 0 || i >= len(h.Words) {
			return ""
		}
		return h.Words[i]
	}
	before := map[string]string{}
	var out []Event
	for _, x := range h.Events {
		e := Event{Site: word(x.Site), Seq: x.Seq, Order: x.Order, Draft: Draft{ID: x.ID, Subject: Subject{AboutCase, h.Case}, Kind: x.Kind, Version: max(1, x.Version),
			At: time.UnixMicro(x.At).UTC(), Zone: x.Zone, By: x.By, Place: x.Place, Corrects: x.Corrects, Program: word(x.Program), Rulebase: word(x.Rulebase), Body: x.Body}}
		e.Prev = before[e.Site]
		if x.Prev != nil {
			e.Prev = hex.EncodeToString(x.Prev)
		}
		sum, err := e.Sum()
		if err = cmp.Or(e.Draft.check(), err); err != nil {
			return nil, fmt.Errorf("%w: %w", ErrSpoilt, err)
		}
		e.Hash = sum
		before[e.Site] = e.Hash
		out = append(out, e)
	}
	return out, nil
}

// joinParts puts the data of the parts together.
func joinParts(text string) ([]byte, error) {
	heads := partHead().FindAllStringSubmatchIndex(text, -1)
	if len(heads) == 0 {
		return nil, fmt.Errorf("%w: no hand-over is in this text; it begins with DOWNDROP1/", ErrNotFound)
	}
	data, of, check := map[int]string{}, 0, ""
	for i, h := range heads {
		end := len(text)
		if i+1 < len(heads) {
			end = heads[i+1][0]
		}
		n, _ := strconv.Atoi(text[h[2]:h[3]]) // digits by the pattern
		total, _ := strconv.Atoi(text[h[4]:h[5]])
		sum := strings.ToUpper(text[h[6]:h[7]])
		if check != "" && (sum != check || total != of) {
			return nil, fmt.Errorf("%w: parts of two hand-overs are mixed (%s and %s); read them one after the other", ErrSpoilt, check, sum)
		}
		check, of = sum, total
		if n < 1 || n > of {
			return nil, fmt.Errorf("%w: it speaks of part %d of %d", ErrSpoilt, n, of)
		}
		data[n] = partData(text[h[1]:end])
	}
	var all strings.Builder
	var lacking []string
	for n := 1; n <= of; n++ {
		if _, ok := data[n]; !ok {
			lacking = append(lacking, strconv.Itoa(n))
		}
		all.WriteString(data[n])
	}
	if len(lacking) > 0 {
		return nil, fmt.Errorf("%w: of its %d parts these are lacking: %s; paste all of them, in any order", ErrSpoilt, of, strings.Join(lacking, ", "))
	}
	packed, err := handOverLetters.DecodeString(all.String())
	if err != nil || checkOf(packed) != check {
		return nil, fmt.Errorf("%w: it was cut or changed on its way and does not fit its check %s; copy it again, or send a file", ErrSpoilt, check)
	}
	return packed, nil
}

// partData is the letters of a part: line breaks, blanks and quote signs of mail go,
// and a blank line or any other sign ends it.
func partData(text string) string {
	if i := blankLine().FindStringIndex(text); i != nil {
		text = text[:i[0]]
	}
	var b strings.Builder
	for _, r := range strings.ToUpper(text) {
		switch {
		case 'A' <= r && r <= 'Z' || '2' <= r && r <= '7':
			b.WriteRune(r)
		case r == ' ' || r == '\t' || r == '\r' || r == '\n' || r == '>' || r == '|' || r == '\u00a0' || r == '\u200b':
		default:
			return b.String()
		}
	}
	return b.String()
}

var blankLine = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`\n[ \t>|]*\r?\n`) })
