package cases

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"slices"
	"strings"
	"time"
	"unicode"

	"downdrop/rulebase"
)

// What a caller acts on. Errors wrap one of these and say which file or server,
// what is wrong and what to do.
var (
	ErrNotFound    = errors.New("not found")
	ErrUnavailable = errors.New("the store is not available") // locked, full, read-only, not reachable: trying again may help
	ErrIntegrity   = errors.New("the store is damaged")       // chain broken, not a store, newer than this program
	ErrSpoilt      = errors.New("the text of the hand-over is spoilt")
	ErrConflict    = errors.New("an event of that id says something else")
	ErrTooLong     = errors.New("the entry is too long")
)

// A TwoCasesError says that a short code names more than one case of a store: a code is
// made to be the only one where a case is opened, and a case from another store brings its
// own. Its id names each for sure.
type TwoCasesError struct {
	Code string
	IDs  []string
}

func (e TwoCasesError) Error() string {
	return fmt.Sprintf("The code %s names more than one case here, since one came from another place. Name the case by its id: %s.", e.Code, strings.Join(e.IDs, ", "))
}

// A Store keeps events, the files they speak of, and names. Its laws, which
// storetest holds every store to:
//
//   - What Append returned without an error is there after any crash, once.
//   - A batch is appended whole or not at all.
//   - The same id again, with the same content (but for At), is the event already there; with other
//     content it is ErrConflict and nothing is appended.
//   - Events of the store's own site are numbered 1, 2, 3 ... with Prev and Hash
//     chained; several writers, in several processes, never lose or fork one.
//   - Events of other sites come by Import only and are kept byte for byte.
//   - A draft whose time is more than MaxClockJump before the site's last event gets
//     an event of KindClockJump in front of it.
//   - No method changes or deletes an event.
//   - Case(id) is Fold of its events; Find sees what Append returned.
//   - Import is idempotent, and in any order gives the same Export.
//
// All methods may be called at once from many goroutines.
type Store interface {
	// Site is the name that this store writes under.
	Site() string

	// Append takes drafts in, in their order, as one: durable when it returns.
	Append(ctx context.Context, drafts ...Draft) ([]Event, error)

	// Events gives all events about a subject in the order of Compare; none: empty.
	Events(ctx context.Context, about Subject) ([]Event, error)

	// All gives every event, site by site in name order and each chain in its
	// order: what verify, export and move read. It stops at the first error, which
	// is the last pair.
	All(ctx context.Context) iter.Seq2[Event, error]

	// Subjects gives the ids of all subjects of a kind, sorted.
	Subjects(ctx context.Context, kind SubjectKind) ([]string, error)

	// Heads gives the head of each site's chain.
	Heads(ctx context.Context) (map[string]Head, error)

	// Case is one case by its id, or by its short code; ErrNotFound, or TwoCasesError where
	// cases of two stores have one code.
	Case(ctx context.Context, idOrCode string) (*Case, error)

	// Find gives summaries of cases, the last changed first.
	Find(ctx context.Context, q Query) ([]Summary, error)

	// Import takes in events of other sites as they are, in any order. Those already
	// there are passed over; each is checked by its own hash, and where the event
	// before or after it in its chain is held too, against that. Gaps in another
	// site's chain are no damage: a case that was handed over alone brings its own
	// events only (see Imported.Gaps). An event that says it is of this store's own
	// site but is not there is refused, but for a store that holds no event yet, which takes
	// the site over (restore, move).
	Import(ctx context.Context, events iter.Seq2[Event, error]) (Imported, error)

	// PutFile keeps a file once, under the SHA-256 of its content in hex, which it
	// returns: rulebases, sheets, pictures. File gives it back; ErrNotFound.
	PutFile(ctx context.Context, content []byte) (digest string, err error)
	File(ctx context.Context, digest string) ([]byte, error)
	Files(ctx context.Context) ([]string, error)

	// SetName gives a person's id a name; "" erases it. Names are in no event and
	// in no chain. Name of an id without one is "".
	SetName(ctx context.Context, id, name string) error
	Name(ctx context.Context, id string) (string, error)

	// Verify goes over everything and reports all that is wrong, each with the
	// cases it touches; none: whole.
	Verify(ctx context.Context) (Verified, error)

	Close() error
}

// A Mark is how far a store was read by whoever keeps something that is worked out from
// it: the number of its last row, the hash of that event, and how many events there were. The zero Mark is
// before the first.
type Mark struct {
	Row    int64  `json:"row"`
	Events int64  `json:"events"`
	Hash   string `json:"hash"`
}

// A Changing store says which subjects of a kind were written to since a mark, and the mark that
// stands now: what keeps something that is worked out from it reads those alone. known is false
// where it cannot tell; then everything has to be read again.
type Changing interface {
	Changed(ctx context.Context, kind SubjectKind, since Mark) (ids []string, now Mark, known bool, err error)
}

// A Sweeping store goes over all subjects of a kind at once: what one statement reads is read many times
// faster than by one for each.
type Sweeping interface {
	// EachSubject hands on the events of each subject, in the order of Compare, the subjects in that of
	// their ids. It stops at the first error, its own or that of each.
	EachSubject(ctx context.Context, kind SubjectKind, each func(events []Event) error) error
}

// Imported is what Import did.
type Imported struct {
	Added, Known int
	// Gaps counts, over the other sites' chains as they are held now, how often an
	// event's predecessor is not here.
	Gaps int
}

// Verified is what Verify found.
type Verified struct {
	Events, Cases, Files int
	Heads                map[string]Head
	Damage               []Damage
}

// Damage is one thing wrong in a store.
type Damage struct {
	Where string   // a table, a site's event, a file
	What  string   // a whole sentence
	Cases []string // ids of the cases it touches; none: unknown or none
}

// A Query narrows Find; what is empty asks nothing, all that is filled must hold.
type Query struct {
	Text      string // each word is somewhere in the case: notes, complaint, names of symptoms and causes, references; letters' case and accents do not count
	Location  string
	Serial    string // as written
	LooksLike string // a serial: those that the eye takes for it, itself included (SerialLooksLike)
	Symptom   string // id of a symptom with an entry
	Cause     string // id of a cause proven at closing
	Reference string
	State     State
	Unsettled bool      // not closed
	From, To  time.Time // opened within; To is not included
	Limit     int       // 0: 50
	After     string    // a case id: only those behind it, for paging
}

// A Summary is a case on one line.
type Summary struct {
	ID, Code, Location string
	Drop               int
	Type, Serial       string
	State              State
	WaitingFor         string
	Opened, Changed    time.Time
	Complaint          string
	Causes             []string // proven
	Outcome            string
	UnitVerdict        string
	InPlace            int // things put in that still stand
}

// FindEach hands on every case that a query asks for, page by page, the last changed first.
func FindEach(ctx context.Context, s Store, q Query, each func(Summary)) error {
	for q.Limit = findPage; ; {
		found, err := s.Find(ctx, q)
		if err != nil {
			return err
		}
		for i := range found {
			each(found[i])
		}
		if len(found) < q.Limit {
			return nil
		}
		q.After = found[len(found)-1].ID
	}
}

const findPage = 500

// ClosedIDs are the ids of a store's closed cases, the last changed first.
func ClosedIDs(ctx context.Context, s Store) ([]string, error) {
	var ids []string
	err := FindEach(ctx, s, Query{State: StateClosed}, func(s Summary) { ids = append(ids, s.ID) })
	return ids, err
}

// FindLimit is how many summaries Find gives where the query says nothing.
const FindLimit = 50

// Holds says whether a case is what a query asks for; Limit and After are Find's.
// Stores find by tables of their own and must agree with it.
func (q *Query) Holds(c *Case) bool {
	same := func(want, have string) bool { return want == "" || Folded(want) == Folded(have) }
	switch {
	case !same(q.Location, c.Opening.Location), !same(q.Serial, c.Opening.Unit.Serial):
		return false
	case q.LooksLike != "" && SerialLooksLike(q.LooksLike) != SerialLooksLike(c.Opening.Unit.Serial):
		return false
	case q.State != "" && q.State != c.State:
		return false
	case q.Unsettled && c.State == StateClosed:
		return false
	case !q.From.IsZero() && c.Opened.Before(q.From), !q.To.IsZero() && !c.Opened.Before(q.To):
		return false
	case q.Symptom != "" && !slices.ContainsFunc(c.Situation.Findings, func(f rulebase.Finding) bool { return f.Symptom == q.Symptom }):
		return false
	case q.Cause != "" && (c.Closing == nil || !slices.Contains(c.Closing.Causes, q.Cause)):
		return false
	case q.Reference != "" && !slices.ContainsFunc(c.References, func(r Reference) bool { return same(q.Reference, r.Text) }):
		return false
	}
	text := c.SearchText()
	for _, word := range strings.Fields(Folded(q.Text)) {
		if !strings.Contains(text, word) {
			return false
		}
	}
	return true
}

// SearchText is everything of a case that Query.Text looks through, folded.
func (c *Case) SearchText() string {
	words := []string{c.ID, c.Code, c.Situation.Case, c.Opening.Location, c.Opening.Complaint, c.Opening.Unit.Type, c.Opening.Unit.Serial}
	for _, n := range c.Notes {
		words = append(words, n.Body.Text)
	}
	for _, r := range c.References {
		words = append(words, r.Text)
	}
	for _, f := range c.Files {
		words = append(words, f.Body.Name)
	}
	for _, f := range c.Situation.Findings {
		words = append(words, f.Symptom, f.Value.Word, f.Read)
	}
	if c.Closing != nil {
		words = append(words, c.Closing.Causes...)
		words = append(words, c.Closing.How, c.Closing.Outcome)
	}
	return Folded(strings.Join(words, "\n"))
}

// Folded is text as it is searched and compared: letters' case, accents, width and
// the number of blanks do not count. It is compatibility decomposition (Unicode's
// NFKD) without marks, in small letters.
func Folded(s string) string {
	s = strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Mn, r) {
			return -1
		}
		return r
	}, decomposed(strings.ToLower(s)))
	return strings.Join(strings.Fields(strings.ToLower(s)), " ")
}

// SameDraft says that two drafts say the same thing; when it was said does not count, since
// whoever repeats after a cut line does so later.
func SameDraft(a, b Draft) bool {
	a.At, b.At, a.Zone, b.Zone, a.Program, b.Program = time.Time{}, time.Time{}, 0, 0, "", ""
	x, errX := canonicalDraft(a)
	y, errY := canonicalDraft(b)
	return errX == nil && errY == nil && bytes.Equal(x, y)
}

func canonicalDraft(d Draft) ([]byte, error) {
	text, err := json.Marshal(d)
	if err != nil {
		return nil, err
	}
	return Canonical(text)
}
