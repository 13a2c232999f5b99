package cases

import (
	"bufio"
	"bytes"
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"hash"
	"io"
	"iter"
	"maps"
	"slices"
	"strings"
)

// An export is text, a JSON object on each line, so that it can be read without
// downdrop in a hundred years:
//
//	{"manifest": {"schema": "downdrop.cases/1", ...}}   what follows: see Manifest
//	{"file": {"digest": SHA-256 in hex, "content": base 64}}
//	{"name": {"id": ..., "name": ...}}                   only where asked for
//	{"event": {...}}                                     an Event, chain by chain
//	{"end": {"lines": N, "sha256": ...}}                 of all bytes before this line
//
// The same store gives the same bytes, whatever database it is in.

// ExportSchema is that of the export's lines.
const ExportSchema = "downdrop.cases/1"

// A Manifest says what an export holds.
type Manifest struct {
	Schema string `json:"schema"`
	Site   string `json:"site"`   // that of the store
	Whole  bool   `json:"whole"`  // the whole store; else some cases of it, or what could be read of a damaged one
	Events int    `json:"events"` // how many
	Files  int    `json:"files"`
	Names  int    `json:"names"`
	// Heads are the last events exported of each site.
	Heads map[string]Head `json:"heads"`
}

type exportLine struct {
	Manifest *Manifest     `json:"manifest,omitempty"`
	File     *exportedFile `json:"file,omitempty"`
	Name     *exportedName `json:"name,omitempty"`
	Event    *Event        `json:"event,omitempty"`
	End      *exportEnd    `json:"end,omitempty"`
}

type exportedFile struct {
	Digest  string `json:"digest"`
	Content []byte `json:"content"`
}

type exportedName struct {
	ID   string `json:"id"`
	Name string `json:"name"`
}

type exportEnd struct {
	Lines  int    `json:"lines"`
	SHA256 string `json:"sha256"`
}

// ExportOptions say what is exported; the zero value is the whole store but names.
type ExportOptions struct {
	Cases []string // ids, with all that is known of their units and locations; nil: everything
	Names bool     // people's names too, which are otherwise left at home
	// Salvage leaves out what cannot be read of a damaged store and is told of each.
	Salvage func(error)
}

// Salvager is a store that reads past damage: each pair is an event or an error.
type Salvager interface {
	Salvage(ctx context.Context) iter.Seq2[Event, error]
}

// Namer is a store that lists the ids that have a name.
type Namer interface {
	Names(ctx context.Context) ([]string, error)
}

// Export writes a store, or some of its cases with their files.
func Export(ctx context.Context, s Store, w io.Writer, o ExportOptions) (Manifest, error) {
	x := &exporter{store: s, o: o, m: Manifest{Schema: ExportSchema, Site: s.Site(), Whole: o.Cases == nil && o.Salvage == nil, Heads: map[string]Head{}}}
	if err := x.count(ctx); err != nil {
		return x.m, err
	}
	x.sum = sha256.New()
	x.w = bufio.NewWriterSize(io.MultiWriter(w, x.sum), 1<<16)
	x.enc = json.NewEncoder(x.w)
	x.enc.SetEscapeHTML(false)
	if err := x.write(ctx); err != nil {
		return x.m, err
	}
	if err := x.w.Flush(); err != nil {
		return x.m, err
	}
	end := exportLine{End: &exportEnd{Lines: x.lines, SHA256: hex.EncodeToString(x.sum.Sum(nil))}}
	return x.m, json.NewEncoder(w).Encode(end)
}

type exporter struct {
	store Store
	o     ExportOptions
	m     Manifest
	files []string
	names []exportedName
	sum   hash.Hash
	w     *bufio.Writer
	enc   *json.Encoder
	lines int
}

// count goes over all that is to be written, to say first what follows.
func (x *exporter) count(ctx context.Context) error {
	people, digests := map[string]bool{}, map[string]bool{}
	for e, err := range x.events(ctx) {
		if err != nil && x.o.Salvage != nil {
			x.o.Salvage(err)
			continue
		} else if err != nil {
			return err
		}
		x.m.Events++
		if e.Seq > x.m.Heads[e.Site].Seq {
			x.m.Heads[e.Site] = Head{Seq: e.Seq, Hash: e.Hash}
		}
		people[e.By] = true
		for _, d := range e.files() {
			digests[d] = true
		}
	}
	if err := x.listFiles(ctx, digests); err != nil {
		return err
	}
	if !x.o.Names {
		return nil
	}
	if n, ok := x.store.(Namer); ok && x.o.Cases == nil {
		ids, err := n.Names(ctx)
		if err != nil {
			return err
		}
		for _, id := range ids {
			people[id] = true
		}
	}
	return x.listNames(ctx, people)
}

// files are the digests of the files that an event speaks of.
func (e *Event) files() []string {
	var list []string
	if e.Rulebase != "" {
		list = append(list, e.Rulebase)
	}
	switch e.Kind {
	case KindFile:
		var b Attachment
		if json.Unmarshal(e.Body, &b) == nil {
			list = append(list, b.Digest)
		}
	case KindOffer:
		var b Offer
		if json.Unmarshal(e.Body, &b) == nil && b.Digest != "" {
			list = append(list, b.Digest)
		}
	case KindSituation:
		var b Circumstances
		if json.Unmarshal(e.Body, &b) == nil && b.SheetFile != "" {
			list = append(list, b.SheetFile)
		}
	}
	return list
}

func (x *exporter) listFiles(ctx context.Context, wanted map[string]bool) error {
	digests, err := x.store.Files(ctx)
	if err != nil && x.o.Salvage == nil {
		return err
	} else if err != nil {
		x.o.Salvage(err)
	}
	for _, d := range digests {
		if x.o.Cases != nil && !wanted[d] {
			continue
		}
		if x.o.Salvage != nil {
			if _, err := x.store.File(ctx, d); err != nil {
				x.o.Salvage(err)
				continue
			}
		}
		x.files = append(x.files, d)
	}
	x.m.Files = len(x.files)
	return nil
}

func (x *exporter) listNames(ctx context.Context, people map[string]bool) error {
	for _, id := range slices.Sorted(maps.Keys(people)) {
		name, err := x.store.Name(ctx, id)
		switch {
		case err != nil && x.o.Salvage == nil:
			return err
		case err != nil:
			x.o.Salvage(err)
		case name != "":
			x.names = append(x.names, exportedName{id, name})
		}
	}
	x.m.Names = len(x.names)
	return nil
}

// events gives what is to be exported, chain by chain.
func (x *exporter) events(ctx context.Context) iter.Seq2[Event, error] {
	switch s, salvages := x.store.(Salvager); {
	case x.o.Cases != nil:
		return x.chosen(ctx)
	case x.o.Salvage != nil && salvages:
		return s.Salvage(ctx)
	}
	return x.store.All(ctx)
}

// chosen gives the events of some cases and of the units and locations that they name, which are few enough
// to be sorted.
func (x *exporter) chosen(ctx context.Context) iter.Seq2[Event, error] {
	return func(yield func(Event, error) bool) {
		var all []Event
		for _, id := range x.o.Cases {
			events, err := x.store.Events(ctx, Subject{Kind: AboutCase, ID: id})
			if err == nil && len(events) == 0 {
				err = fmt.Errorf("case %s: %w", id, ErrNotFound)
			}
			if err != nil {
				yield(Event{}, err)
				return
			}
			all = append(all, events...)
			for _, about := range Fold(events).subjects() {
				if events, err = x.store.Events(ctx, about); err != nil {
					yield(Event{}, err)
					return
				}
				all = append(all, events...)
			}
		}
		slices.SortFunc(all, func(a, b Event) int { return cmp.Or(strings.Compare(a.Site, b.Site), cmp.Compare(a.Seq, b.Seq)) })
		all = slices.CompactFunc(all, func(a, b Event) bool { return a.Site == b.Site && a.Seq == b.Seq })
		for _, e := range all {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// subjects are the unit and the location that a case names.
func (c *Case) subjects() []Subject {
	var out []Subject
	if c.Opening.Unit.Serial != "" {
		out = append(out, Subject{AboutUnit, UnitKey(c.Opening.Unit)})
	}
	if c.Opening.Location != "" {
		out = append(out, Subject{AboutLocation, LocationKey(c.Opening.Location)})
	}
	return out
}

func (x *exporter) line(l exportLine) error {
	x.lines++
	return x.enc.Encode(l)
}

func (x *exporter) write(ctx context.Context) error {
	if err := x.line(exportLine{Manifest: &x.m}); err != nil {
		return err
	}
	for _, d := range x.files {
		content, err := x.store.File(ctx, d)
		if err != nil {
			return err
		}
		if err := x.line(exportLine{File: &exportedFile{d, content}}); err != nil {
			return err
		}
	}
	for i := range x.names {
		if err := x.line(exportLine{Name: &x.names[i]}); err != nil {
			return err
		}
	}
	n := 0
	for e, err := range x.events(ctx) {
		if err != nil && x.o.Salvage != nil {
			continue // told while counting
		} else if err != nil {
			return err
		}
		if e.Seq > x.m.Heads[e.Site].Seq {
			continue // written since
		}
		n++
		if err := x.line(exportLine{Event: &e}); err != nil {
			return err
		}
	}
	if n != x.m.Events {
		return fmt.Errorf("%w: events of another site came in while it was exported. Export it again", ErrUnavailable)
	}
	return nil
}

// How long a line may be. Whatever is no export, an endless stream too, is told by its first line, long
// before it would fill the memory as a file may.
const (
	maxManifestLine = 16 << 20  // a hundred thousand sites
	maxExportLine   = 256 << 20 // a file in base 64
)

// ReadManifest reads only what an export says that it holds.
func ReadManifest(r io.Reader) (Manifest, error) {
	x := &importer{r: bufio.NewReader(r), sum: sha256.New()}
	return x.m, x.manifest()
}

// An ImportReport is what ImportFrom did.
type ImportReport struct {
	Manifest Manifest
	Imported
	Files, Names int
}

// ImportFrom reads an export into a store. Nothing of its events is kept unless all
// of it is whole; repeating it is harmless. Names are taken in only where asked for.
// Errors of the text wrap ErrSpoilt and name the line.
func ImportFrom(ctx context.Context, s Store, r io.Reader, names bool) (ImportReport, error) {
	x := &importer{store: s, r: bufio.NewReaderSize(r, 1<<16), sum: sha256.New(), heads: map[string]Head{}}
	if err := x.manifest(); err != nil {
		return ImportReport{}, err
	}
	if err := x.putFiles(ctx); err != nil {
		return ImportReport{Manifest: x.m}, err
	}
	done, err := s.Import(ctx, x.events)
	if err != nil {
		return ImportReport{Manifest: x.m}, err
	}
	report := ImportReport{Manifest: x.m, Imported: done, Files: x.files}
	if !names {
		return report, nil
	}
	for _, n := range x.names {
		if err := s.SetName(ctx, n.ID, n.Name); err != nil {
			return report, err
		}
		report.Names++
	}
	return report, nil
}

// ExportedCases reads the cases of an export without a store, in the order of their
// ids. Errors are as ImportFrom's.
func ExportedCases(r io.Reader) ([]*Case, error) {
	x := &importer{r: bufio.NewReaderSize(r, 1<<16), sum: sha256.New(), heads: map[string]Head{}}
	if err := x.manifest(); err != nil {
		return nil, err
	}
	if err := x.putFiles(context.Background()); err != nil {
		return nil, err
	}
	events := map[string][]Event{}
	for e, err := range x.events {
		if err != nil {
			return nil, err
		}
		if e.Subject.Kind == AboutCase {
			events[e.Subject.ID] = append(events[e.Subject.ID], e)
		}
	}
	var all []*Case
	for _, id := range slices.Sorted(maps.Keys(events)) {
		all = append(all, Fold(events[id]))
	}
	return all, nil
}

type importer struct {
	store Store // nil: only read
	r     *bufio.Reader
	sum   hash.Hash
	line  int
	m     Manifest
	files int
	names []exportedName
	count int
	heads map[string]Head
	ahead *aheadLine // read already
}

type aheadLine struct {
	exportLine
	text []byte
}

func (x *importer) spoilt(format string, args ...any) error {
	return fmt.Errorf("line %d: %w: "+format, append([]any{x.line, ErrSpoilt}, args...)...)
}

// next reads a line. What it holds counts for the checksum once it is known not to be the last.
func (x *importer) next() (exportLine, []byte, error) {
	var l exportLine
	if a := x.ahead; a != nil {
		x.ahead = nil
		return a.exportLine, a.text, nil
	}
	x.line++
	most := maxExportLine
	if x.line == 1 {
		most = maxManifestLine
	}
	var text []byte
	for {
		part, err := x.r.ReadSlice('\n')
		text = append(text, part...)
		if len(text) > most {
			return l, nil, x.spoilt("it is longer than any that downdrop writes")
		}
		if err == nil {
			break
		} else if errors.Is(err, io.EOF) {
			return l, nil, x.spoilt("the text ends here, and its last line is missing. Fetch it again, whole")
		} else if !errors.Is(err, bufio.ErrBufferFull) {
			return l, nil, err
		}
	}
	dec := json.NewDecoder(bytes.NewReader(text))
	dec.DisallowUnknownFields()
	if err := dec.Decode(&l); err != nil {
		return l, nil, x.spoilt("it cannot be read: %s", strings.TrimPrefix(err.Error(), "json: "))
	}
	return l, text, nil
}

func (x *importer) manifest() error {
	l, text, err := x.next()
	switch {
	case err != nil:
		return err
	case l.Manifest == nil:
		return x.spoilt("an export of downdrop begins with its manifest")
	case l.Manifest.Schema != ExportSchema:
		return x.spoilt("the manifest is of schema %q, and this program reads %q", l.Manifest.Schema, ExportSchema)
	}
	x.m = *l.Manifest
	x.sum.Write(text)
	return nil
}

// putFiles keeps the files, which stand before the events: they are kept by their
// content, so having them does no harm should the rest be spoilt.
func (x *importer) putFiles(ctx context.Context) error {
	for {
		l, text, err := x.next()
		if err != nil {
			return err
		}
		if l.File == nil {
			x.ahead = &aheadLine{l, text}
			return nil
		}
		if sum := sha256.Sum256(l.File.Content); hex.EncodeToString(sum[:]) != l.File.Digest {
			return x.spoilt("file %s is not what its digest says", l.File.Digest)
		}
		if x.store != nil {
			if _, err := x.store.PutFile(ctx, l.File.Content); err != nil {
				return err
			}
		}
		x.files++
		x.sum.Write(text)
	}
}

// events gives the events, and ends with an error unless the text is whole.
func (x *importer) events(yield func(Event, error) bool) {
	for {
		l, text, err := x.next()
		switch {
		case err != nil:
		case l.End != nil:
			if err := x.end(l.End); err != nil {
				yield(Event{}, err)
			}
			return
		case l.Name != nil:
			x.names = append(x.names, *l.Name)
		case l.Event != nil:
			if err = x.event(l.Event); err == nil && !yield(*l.Event, nil) {
				return
			}
		default:
			err = x.spoilt("it is no line of an export")
		}
		if err != nil {
			yield(Event{}, err)
			return
		}
		x.sum.Write(text)
	}
}

func (x *importer) event(e *Event) error {
	body, err := Canonical(e.Body)
	if err != nil {
		return x.spoilt("event %s: its body: %v", e.ID, err)
	}
	e.Body = body
	if err := e.Check(); err != nil {
		return x.spoilt("%v", err)
	}
	if e.Seq > x.heads[e.Site].Seq {
		x.heads[e.Site] = Head{Seq: e.Seq, Hash: e.Hash}
	}
	x.count++
	return nil
}

func (x *importer) end(end *exportEnd) error {
	switch {
	case end.Lines != x.line-1:
		return x.spoilt("there should be %d lines before the last", end.Lines)
	case end.SHA256 != hex.EncodeToString(x.sum.Sum(nil)):
		return x.spoilt("something before it was changed: the checksum of the whole does not fit")
	case x.count != x.m.Events || x.files != x.m.Files || len(x.names) != x.m.Names || !maps.Equal(x.heads, x.m.Heads):
		return x.spoilt("there is not in it what its manifest says")
	}
	if _, err := x.r.ReadByte(); !errors.Is(err, io.EOF) {
		return x.spoilt("more follows the last line")
	}
	return nil
}
