// Package storetest is the suite that every store of cases passes, and the obvious
// store to compare them with.
package storetest

import (
	"cmp"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"strings"
	"sync"

	"downdrop/cases"
)

// A Model is a store in memory that does everything the obvious way: it goes over
// all events for every question.
type Model struct {
	mu     sync.Mutex
	site   string
	events []cases.Event // as taken in
	files  map[string][]byte
	names  map[string]string
}

// NewModel makes an empty Model that writes under a site's name.
func NewModel(site string) *Model {
	return &Model{site: site, files: map[string][]byte{}, names: map[string]string{}}
}

// Site is the name it writes under.
func (m *Model) Site() string { return m.site }

// Close does nothing.
func (m *Model) Close() error { return nil }

// Append takes drafts in.
func (m *Model) Append(ctx context.Context, drafts ...cases.Draft) ([]cases.Event, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if err := ctx.Err(); err != nil {
		return nil, err
	}
	head := m.heads()[m.site]
	var out, added []cases.Event
	for _, d := range drafts {
		order := int64(0)
		var there *cases.Event
		for _, e := range slices.Concat(m.events, added) {
			if e.Subject == d.Subject {
				order = max(order, e.Order)
			}
			if e.ID == d.ID {
				there = &e
			}
		}
		e, err := cases.Seal(d, m.site, head, order+1)
		switch {
		case err != nil:
			return nil, err
		case there != nil && !cases.SameDraft(there.Draft, e.Draft):
			return nil, fmt.Errorf("event %s: %w", d.ID, cases.ErrConflict)
		case there != nil:
			out = append(out, *there)
			continue
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		out, added = append(out, e), append(added, e)
	}
	m.events = append(m.events, added...)
	return out, nil
}

// Events gives all events about a subject.
func (m *Model) Events(_ context.Context, about cases.Subject) ([]cases.Event, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []cases.Event
	for _, e := range m.events {
		if e.Subject == about {
			out = append(out, e)
		}
	}
	slices.SortFunc(out, cases.Compare)
	return out, nil
}

// All gives every event.
func (m *Model) All(context.Context) iter.Seq2[cases.Event, error] {
	m.mu.Lock()
	all := slices.Clone(m.events)
	m.mu.Unlock()
	slices.SortFunc(all, func(a, b cases.Event) int {
		if c := strings.Compare(a.Site, b.Site); c != 0 {
			return c
		}
		return int(a.Seq - b.Seq)
	})
	return func(yield func(cases.Event, error) bool) {
		for _, e := range all {
			if !yield(e, nil) {
				return
			}
		}
	}
}

// Subjects gives the ids of all subjects of a kind.
func (m *Model) Subjects(_ context.Context, kind cases.SubjectKind) ([]string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	ids := map[string]bool{}
	for _, e := range m.events {
		if e.Subject.Kind == kind {
			ids[e.Subject.ID] = true
		}
	}
	return slices.Sorted(maps.Keys(ids)), nil
}

// Heads gives the head of each site's chain.
func (m *Model) Heads(context.Context) (map[string]cases.Head, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.heads(), nil
}

func (m *Model) heads() map[string]cases.Head {
	heads := map[string]cases.Head{}
	for _, e := range m.events {
		if e.Seq > heads[e.Site].Seq {
			heads[e.Site] = cases.Head{Seq: e.Seq, Hash: e.Hash}
		}
	}
	return heads
}

// Case is one case.
func (m *Model) Case(ctx context.Context, idOrCode string) (*cases.Case, error) {
	var found []*cases.Case
	var ids []string
	code, ok := cases.ReadCode(idOrCode)
	for _, c := range m.cases() {
		if c.ID == idOrCode {
			return c, nil
		}
		if ok && c.Code == code {
			found, ids = append(found, c), append(ids, c.ID)
		}
	}
	switch len(found) {
	case 0:
	case 1:
		return found[0], nil
	default:
		return nil, cases.TwoCasesError{Code: code, IDs: ids}
	}
	return nil, fmt.Errorf("case %s: %w", idOrCode, cases.ErrNotFound)
}

func (m *Model) cases() []*cases.Case {
	m.mu.Lock()
	defer m.mu.Unlock()
	by := map[string][]cases.Event{}
	for _, e := range m.events {
		if e.Subject.Kind == cases.AboutCase {
			by[e.Subject.ID] = append(by[e.Subject.ID], e)
		}
	}
	var out []*cases.Case
	for _, id := range slices.Sorted(maps.Keys(by)) {
		out = append(out, cases.Fold(by[id]))
	}
	return out
}

// Find goes over all cases.
func (m *Model) Find(_ context.Context, q cases.Query) ([]cases.Summary, error) {
	var out []cases.Summary
	for _, c := range m.cases() {
		if q.Holds(c) {
			out = append(out, c.Summary())
		}
	}
	slices.SortFunc(out, compareSummaries)
	if q.After != "" {
		i := slices.IndexFunc(out, func(s cases.Summary) bool { return s.ID == q.After })
		out = out[i+1:]
	}
	limit := q.Limit
	if limit == 0 {
		limit = cases.FindLimit
	}
	return out[:min(limit, len(out))], nil
}

// Import takes events in as they are.
func (m *Model) Import(_ context.Context, events iter.Seq2[cases.Event, error]) (cases.Imported, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	var done cases.Imported
	empty := len(m.events) == 0
	all := slices.Clone(m.events)
	for e, err := range events {
		if err != nil {
			return cases.Imported{}, err
		}
		i := slices.IndexFunc(all, func(x cases.Event) bool { return x.ID == e.ID || x.Site == e.Site && x.Seq == e.Seq })
		switch sum, err := e.Sum(); {
		case err != nil || sum != e.Hash:
			return cases.Imported{}, fmt.Errorf("event %s: %w: its content does not fit its hash", e.ID, cases.ErrIntegrity)
		case i >= 0 && all[i].Hash == e.Hash:
			done.Known++
			continue
		case i >= 0:
			return cases.Imported{}, fmt.Errorf("event %s: %w", e.ID, cases.ErrConflict)
		case e.Site == m.site && !empty:
			return cases.Imported{}, fmt.Errorf("event %s: %w: it says it was written here, and was not", e.ID, cases.ErrIntegrity)
		}
		all = append(all, e)
		done.Added++
	}
	for _, e := range all {
		for _, before := range all {
			if before.Site == e.Site && before.Seq == e.Seq-1 && before.Hash != e.Prev {
				return cases.Imported{}, fmt.Errorf("event %s: %w: it does not follow the one before it", e.ID, cases.ErrIntegrity)
			}
		}
		if e.Seq > 1 && !slices.ContainsFunc(all, func(x cases.Event) bool { return x.Site == e.Site && x.Seq == e.Seq-1 }) {
			done.Gaps++
		}
	}
	m.events = all
	return done, nil
}

// PutFile keeps a file.
func (m *Model) PutFile(_ context.Context, content []byte) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	sum := sha256.Sum256(content)
	digest := hex.EncodeToString(sum[:])
	m.files[digest] = slices.Clone(content)
	return digest, nil
}

// File gives a file back.
func (m *Model) File(_ context.Context, digest string) ([]byte, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	content, ok := m.files[digest]
	if !ok {
		return nil, fmt.Errorf("file %s: %w", digest, cases.ErrNotFound)
	}
	return slices.Clone(content), nil
}

// Files are the digests of all files.
func (m *Model) Files(context.Context) ([]string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return slices.Sorted(maps.Keys(m.files)), nil
}

// SetName gives a person's id a name.
func (m *Model) SetName(_ context.Context, id, name string) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.names[id] = name; name == "" {
		delete(m.names, id)
	}
	return nil
}

// Name is a person's name.
func (m *Model) Name(_ context.Context, id string) (string, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.names[id], nil
}

// Verify goes over every chain.
func (m *Model) Verify(ctx context.Context) (cases.Verified, error) {
	v := cases.Verified{Cases: len(m.cases()), Files: len(m.files), Heads: m.heads()}
	for e := range m.All(ctx) {
		v.Events++
		if sum, err := e.Sum(); err != nil || sum != e.Hash {
			return v, errors.New("a model was damaged")
		}
		if !json.Valid(e.Body) {
			return v, errors.New("a model holds a body that is no JSON")
		}
	}
	return v, nil
}

// compareSummaries sorts cases as Find gives them: the last changed first, then by id.
func compareSummaries(a, b cases.Summary) int {
	return cmp.Or(b.Changed.Compare(a.Changed), strings.Compare(a.ID, b.ID))
}
