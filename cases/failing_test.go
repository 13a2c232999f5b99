package cases_test

import (
	"bytes"
	"compress/flate"
	"context"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"encoding/json"
	"errors"
	"fmt"
	"hash/crc32"
	"iter"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
)

var errPipe = errors.New("the pipe broke here")

// A narrow takes so many bytes, then fails.
type narrow struct{ room int }

func (n *narrow) Write(b []byte) (int, error) {
	if len(b) > n.room {
		return n.room, errPipe
	}
	n.room -= len(b)
	return len(b), nil
}

// A cut gives so many bytes, then fails.
type cut struct {
	text []byte
	err  error
}

func (c *cut) Read(b []byte) (int, error) {
	if len(c.text) == 0 {
		return 0, c.err
	}
	n := copy(b, c.text)
	c.text = c.text[n:]
	return n, nil
}

// A store that is asked for an export only; what is not written here panics.
type exportStore struct {
	cases.Store
	events, later []cases.Event // later: what is there the second time
	asked         int
	file          []byte
	fails         string // what fails of it: a method's name
	name          string
}

func (s *exportStore) fail(method string) error {
	if method == s.fails {
		return errPipe
	}
	return nil
}

func (s *exportStore) Site() string { return "mill" }

func (s *exportStore) All(context.Context) iter.Seq2[cases.Event, error] {
	s.asked++
	events := s.events
	if s.asked > 1 && s.later != nil {
		events = s.later
	}
	return func(yield func(cases.Event, error) bool) {
		for _, e := range events {
			if !yield(e, nil) {
				return
			}
		}
	}
}

func (s *exportStore) Files(context.Context) ([]string, error) {
	if s.file == nil {
		return nil, nil
	}
	return []string{fmt.Sprintf("%x", sha256.Sum256(s.file))}, s.fail("Files")
}
func (s *exportStore) File(context.Context, string) ([]byte, error) { return s.file, s.fail("File") }
func (s *exportStore) Names(context.Context) ([]string, error) {
	return []string{"p1"}, s.fail("Names")
}
func (s *exportStore) Name(context.Context, string) (string, error)  { return s.name, s.fail("Name") }
func (s *exportStore) HasFile(context.Context, string) (bool, error) { return true, nil }
func (s *exportStore) SetName(context.Context, string, string) error { return errPipe }
func (s *exportStore) PutFile(_ context.Context, b []byte) (string, error) {
	return fmt.Sprintf("%x", sha256.Sum256(b)), nil
}
func (s *exportStore) Import(_ context.Context, events iter.Seq2[cases.Event, error]) (cases.Imported, error) {
	for _, err := range events {
		if err != nil {
			return cases.Imported{}, err
		}
	}
	return cases.Imported{}, nil
}

// exportable is a store whose export is longer than any buffer.
func exportable(t *testing.T) *exportStore {
	t.Helper()
	s := &exportStore{file: bytes.Repeat([]byte("an invented sheet\n"), 6000), name: "An invented name"}
	for e, err := range storetest.Invented("mill", 2, 5) {
		if err != nil {
			t.Fatal(err)
		}
		s.events = append(s.events, e)
	}
	return s
}

// An export that cannot be written to its end is told, wherever it breaks, and so is one that breaks while it is read.
func TestExportsThatBreak(t *testing.T) {
	ctx := context.Background()
	s := exportable(t)
	var whole bytes.Buffer
	if _, err := cases.Export(ctx, s, &whole, cases.ExportOptions{Names: true}); err != nil {
		t.Fatal(err)
	}
	for _, room := range []int{0, 1, 64 << 10, 64<<10 + 1, 128 << 10, whole.Len() - 200, whole.Len() - 2, whole.Len() - 1} {
		if _, err := cases.Export(ctx, s, &narrow{room}, cases.ExportOptions{Names: true}); !errors.Is(err, errPipe) {
			t.Errorf("room for %d of %d bytes: %v", room, whole.Len(), err)
		}
	}
	lines := bytes.SplitAfter(whole.Bytes(), []byte("\n"))
	read := func(what string, text []byte, end error, want error) {
		t.Helper()
		_, err := cases.ImportFrom(ctx, s, &cut{slices.Clone(text), end}, false)
		_, also := cases.ExportedCases(&cut{slices.Clone(text), end})
		if !errors.Is(err, want) || !errors.Is(also, want) {
			t.Errorf("%s: %v; %v", what, err, also)
		}
	}
	for i := range len(lines) - 1 {
		upTo := bytes.Join(lines[:i], nil)
		read(fmt.Sprintf("broken before line %d", i+1), upTo, errPipe, errPipe)
		read(fmt.Sprintf("broken in line %d", i+1), append(upTo, lines[i][:len(lines[i])/2]...), errPipe, errPipe)
		without := append(slices.Clone(upTo), bytes.Join(lines[i+1:], nil)...)
		read(fmt.Sprintf("without line %d", i+1), without, errEOF, cases.ErrSpoilt)
		for _, wrong := range []string{"{}", "{", "[]", "null", `{"event":{}}`, `{"event":{"body":{"a":1e999999999}}}`, `{"file":{}}`, `{"name":{}}`, `{"end":{}}`, `{"manifest":{}}`} {
			spoilt := slices.Concat(upTo, []byte(wrong+"\n"), bytes.Join(lines[i+1:], nil))
			if i > 3 && wrong != "{" && i%7 > 0 {
				continue // lines of events are one like another
			}
			read(fmt.Sprintf("%s for line %d", wrong, i+1), spoilt, errEOF, cases.ErrSpoilt)
		}
	}
	read("more after its end", append(slices.Clone(whole.Bytes()), "{}\n"...), errEOF, cases.ErrSpoilt)

	// Names that cannot be kept are told; the events are in by then.
	if report, err := cases.ImportFrom(ctx, s, &cut{slices.Clone(whole.Bytes()), errEOF}, true); !errors.Is(err, errPipe) || report.Names != 0 {
		t.Errorf("%+v %v", report, err)
	}

	// What another site's events do meanwhile shows in the count.
	s.asked, s.later = 0, s.events[:len(s.events)-1]
	if _, err := cases.Export(ctx, s, &bytes.Buffer{}, cases.ExportOptions{}); !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), "Export it again") {
		t.Errorf("events that went: %v", err)
	}
}

// Whatever a store does not give while it is exported is told, and so is each kind of line that cannot be written.
func TestExportsOfStoresThatFail(t *testing.T) {
	ctx := context.Background()
	for _, method := range []string{"Files", "File", "Names", "Name"} {
		s := exportable(t)
		s.fails = method
		if _, err := cases.Export(ctx, s, &bytes.Buffer{}, cases.ExportOptions{Names: true}); !errors.Is(err, errPipe) {
			t.Errorf("%s fails: %v", method, err)
		}
	}
	// Lines longer than any buffer, each kind in turn.
	long := strings.Repeat("An invented name. ", 5000)
	sites := &exportStore{}
	d := draft(cases.KindNote, cases.Note{Text: "x"})
	d.Subject, d.At = cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 800 {
		d.ID = fmt.Sprint("e", i)
		e, err := cases.Seal(d, fmt.Sprint("site", i), cases.Head{}, 1)
		if err != nil {
			t.Fatal(err)
		}
		sites.events = append(sites.events, e)
	}
	events := &exportStore{}
	d.Body = cases.Body(cases.Note{Text: long[:60_000]})
	for i := range 3 {
		d.ID = fmt.Sprint("e", i)
		e, err := cases.Seal(d, "mill", cases.Head{Seq: int64(i)}, 1)
		if err != nil {
			t.Fatal(err)
		}
		events.events = append(events.events, e)
	}
	for kind, s := range map[string]*exportStore{"manifest": sites, "file": {file: []byte(long)}, "name": {name: long}, "event": events} {
		if _, err := cases.Export(ctx, s, &narrow{}, cases.ExportOptions{Names: true}); !errors.Is(err, errPipe) {
			t.Errorf("a %s that cannot be written: %v", kind, err)
		}
	}
}

// Of a damaged store all comes along that can be read, and each loss is told once.
func TestASalvagedExportLeavesOutOnlyWhatCannotBeRead(t *testing.T) {
	for method, want := range map[string]struct{ files, names, told int }{"": {1, 1, 0}, "File": {0, 1, 1}, "Name": {1, 0, 1}} {
		s := exportable(t)
		s.fails = method
		told := 0
		m, err := cases.Export(t.Context(), s, &bytes.Buffer{}, cases.ExportOptions{Names: true, Salvage: func(err error) {
			told++
			if !errors.Is(err, errPipe) {
				t.Errorf("%q fails: told %v", method, err)
			}
		}})
		if err != nil || m.Files != want.files || min(m.Names, 1) != want.names || min(told, 1) != want.told || m.Events != len(s.events) {
			t.Errorf("%q fails: %d files, %d names, %d events, %d times told: %v", method, m.Files, m.Names, m.Events, told, err)
		}
	}
}

// An input that is no export is told by its first line, before it fills the memory; and one that is whole but
// does not hold what it says is spoilt.
func TestExportsThatAreNone(t *testing.T) {
	if _, err := cases.ReadManifest(endless{}); !errors.Is(err, cases.ErrSpoilt) || !strings.Contains(err.Error(), "longer") {
		t.Errorf("an input without end: %v", err)
	}
	s := exportable(t)
	var whole bytes.Buffer
	if _, err := cases.Export(context.Background(), s, &whole, cases.ExportOptions{}); err != nil {
		t.Fatal(err)
	}
	for was, is := range map[string]string{
		fmt.Sprintf(`"events":%d`, len(s.events)): `"events":1`, `"files":1`: `"files":0`, `"names":0`: `"names":2`, `"seq":`: `"seq":9`,
	} {
		head, rest, _ := strings.Cut(whole.String(), "\n")
		text := strings.Replace(head, was, is, 1) + "\n" + rest
		body := text[:strings.LastIndex(strings.TrimSpace(text), "\n")+1]
		text = fmt.Sprintf("%s{\"end\":{\"lines\":%d,\"sha256\":\"%x\"}}\n", body, strings.Count(body, "\n"), sha256.Sum256([]byte(body)))
		if _, err := cases.ExportedCases(strings.NewReader(text)); !errors.Is(err, cases.ErrSpoilt) || !strings.Contains(err.Error(), "what its manifest says") {
			t.Errorf("%s for %s: %v", is, was, err)
		}
	}
}

// endless is a stream of one letter that never ends.
type endless struct{}

func (endless) Read(b []byte) (int, error) {
	for i := range b {
		b[i] = 'x'
	}
	return len(b), nil
}

var errEOF = errEnd()

func errEnd() error {
	_, err := strings.NewReader("").Read(make([]byte, 1))
	return err
}

// packed packs a text as a hand-over does, with its check.
func packed(t *testing.T, plain []byte) string {
	t.Helper()
	var out bytes.Buffer
	z, err := flate.NewWriter(&out, flate.BestCompression)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := z.Write(plain); err != nil {
		t.Fatal(err)
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return handedBytes(out.Bytes())
}

func handedBytes(packed []byte) string {
	letters := base32.StdEncoding.WithPadding(base32.NoPadding)
	sum := sha256.Sum256(packed)
	return "DOWNDROP1/1/1/" + letters.EncodeToString(sum[:10]) + "/" + letters.EncodeToString(packed)
}

// A hand-over that fits its check and is still none is told as spoilt, not taken in by halves.
func TestHandOversThatFitTheirCheck(t *testing.T) {
	for name, text := range map[string]string{
		"not packed":               handedBytes([]byte("no such thing")),
		"more than is ever packed": packed(t, bytes.Repeat([]byte(" "), 40<<20)),
		"no JSON":                  packed(t, []byte("{")),
		"another JSON":             packed(t, []byte("[1]")),
		"an id that is none":       packed(t, []byte(`{"case":"c1","words":[""],"events":[{"i":"../x","k":"opened","t":1,"n":1,"o":1,"b":{}}]}`)),
		"a year of five digits":    packed(t, []byte(`{"case":"c1","words":[""],"events":[{"i":"e1","k":"opened","t":253402300800000000,"n":1,"o":1,"b":{}}]}`)),
		"a time far off":           packed(t, []byte(`{"case":"c1","words":[""],"events":[{"i":"e1","k":"opened","t":9000000000000000000,"n":1,"o":1,"b":{}}]}`)),
	} {
		if events, _, err := cases.ReadHandOver(text); !errors.Is(err, cases.ErrSpoilt) || events != nil {
			t.Errorf("%s: %v %v", name, events, err)
		}
	}
	w := &writer{}
	w.write(t, draft(cases.KindOpened, cases.Opening{Location: "yard"}))
	c := cases.Fold(w.events)
	c.Events[0].Body = json.RawMessage("{")
	if text, _, err := cases.HandOverText(c, nil, 0); err == nil {
		t.Errorf("half a body is handed over: %v", text)
	}
	for _, hash := range []string{"xy", strings.Repeat("0g", 32)} {
		c.Events[0].Prev = hash
		if text, _, err := cases.HandOverText(c, nil, 0); !errors.Is(err, cases.ErrSpoilt) {
			t.Errorf("a hash that is none is handed over: %v %v", text, err)
		}
	}
}

// A case that is too long to be read in again is not handed over as text, by its letters or by its parts.
func TestCasesTooLongToHandOver(t *testing.T) {
	noise := rand.New(rand.NewPCG(8, 8))
	for name, c := range map[string]struct {
		letters string
		notes   int
	}{"that hardly packs": {"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+-", 41}, "that packs well": {"a", 136}} {
		c1 := &cases.Case{ID: "c1"}
		text := make([]byte, 62_000)
		for i := range c.notes {
			for j := range text {
				text[j] = c.letters[noise.IntN(len(c.letters))]
			}
			d := draft(cases.KindNote, cases.Note{Text: string(text)})
			d.ID = fmt.Sprint("e", i)
			c1.Events = append(c1.Events, cases.Event{Draft: d, Site: "mill", Seq: int64(i + 1)})
		}
		if parts, _, err := cases.HandOverText(c1, nil, 0); !errors.Is(err, cases.ErrTooLong) || parts != nil {
			t.Errorf("%s: %d parts, %v", name, len(parts), err)
		}
	}
}

// What cannot be written in one way is refused where an event is made, and found where one is checked.
func TestEventsThatCannotBeWritten(t *testing.T) {
	for name, spoil := range map[string]func(*cases.Draft){
		"no body":     func(d *cases.Draft) { d.Body = nil },
		"half a body": func(d *cases.Draft) { d.Body = json.RawMessage(`{"a":`) },
		"two bodies":  func(d *cases.Draft) { d.Body = json.RawMessage(`{} {}`) },
		"a NUL":       func(d *cases.Draft) { d.Body = json.RawMessage(`{"a":"\u0000"}`) },
		"a year of five digits at Greenwich": func(d *cases.Draft) {
			d.At = time.Date(9999, 12, 31, 23, 30, 0, 0, time.FixedZone("", -7200))
		},
		"a year of five digits": func(d *cases.Draft) { d.At = time.Date(10000, 1, 1, 0, 0, 0, 0, time.UTC) },
	} {
		d := draft(cases.KindOpened, cases.Opening{Location: "yard"})
		d.ID, d.Subject, d.At = "e1", cases.Subject{Kind: cases.AboutCase, ID: "c1"}, time.Date(2031, 1, 1, 0, 0, 0, 0, time.UTC)
		good, err := cases.Seal(d, "mill", cases.Head{}, 1)
		if err != nil {
			t.Fatal(err)
		}
		spoil(&d)
		if e, err := cases.Seal(d, "mill", cases.Head{}, 1); err == nil {
			t.Errorf("%s: sealed as %+v", name, e)
		}
		good.Draft = d
		if err := good.Check(); !errors.Is(err, cases.ErrIntegrity) {
			t.Errorf("%s: checked: %v", name, err)
		}
		if err := good.Follows(cases.Head{}); !errors.Is(err, cases.ErrIntegrity) {
			t.Errorf("%s: follows: %v", name, err)
		}
		if other := draft(cases.KindOpened, cases.Opening{Location: "yard"}); cases.SameDraft(d, other) {
			t.Errorf("%s: is the same as a good one", name)
		}
	}
}

// A picture says its size before it is read: one that would fill the memory is refused by that
// alone, and one that ends early is told.
func TestPicturesThatAreNone(t *testing.T) {
	picture := func(width, height uint32, more []byte) []byte {
		chunk := func(kind string, data []byte) []byte {
			b := binary.BigEndian.AppendUint32(nil, uint32(len(data)))
			b = append(append(b, kind...), data...)
			return binary.BigEndian.AppendUint32(b, crc32.ChecksumIEEE(b[4:]))
		}
		head := binary.BigEndian.AppendUint32(binary.BigEndian.AppendUint32(nil, width), height)
		return slices.Concat([]byte("\x89PNG\r\n\x1a\n"), chunk("IHDR", append(head, 8, 2, 0, 0, 0)), more)
	}
	for says, content := range map[string][]byte{
		"make it smaller first": picture(100_000, 100_000, nil),
		"cannot be read":        picture(10, 10, nil),
	} {
		if _, _, err := cases.CleanFile(content); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", says, err)
		}
	}
}
