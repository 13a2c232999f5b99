package sqlstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"maps"
	"math"
	"slices"
	"time"

	"downdrop/cases"
)

// columns of events, in the order of scan and insert.
const columns = `site, seq, id, subject_kind, subject, ord, kind, version, at_us, zone, written_by, place, corrects, program, rulebase, body, prev, hash`

const insertEvent = `INSERT INTO events (` + columns + `) VALUES ($1,$2,$3,$4,$5,$6,$7,$8,$9,$10,$11,$12,$13,$14,$15,$16,$17,$18)`

func scan(row interface{ Scan(...any) error }) (cases.Event, error) {
	var (
		e          cases.Event
		at         int64
		prev, hash []byte
		body       []byte
	)
	err := row.Scan(&e.Site, &e.Seq, &e.ID, &e.Subject.Kind, &e.Subject.ID, &e.Order, &e.Kind, &e.Version, &at, &e.Zone, &e.By, (*string)(&e.Place),
		&e.Corrects, &e.Program, &e.Rulebase, &body, &prev, &hash)
	e.At, e.Body = time.UnixMicro(at).UTC(), body
	e.Prev, e.Hash = hex.EncodeToString(prev), hex.EncodeToString(hash)
	return e, err
}

// scanRow is scan of one of many rows, where an error is never of the connection: the row
// itself is not one that was written.
func scanRow(rows *sql.Rows) (cases.Event, error) {
	e, err := scan(rows)
	if err != nil {
		err = fmt.Errorf("%w: the row of an event cannot be read: %w", cases.ErrIntegrity, err)
	}
	return e, err
}

func insert(ctx context.Context, tx writer, e *cases.Event) error {
	prev, errPrev := hex.DecodeString(e.Prev)
	hash, errHash := hex.DecodeString(e.Hash)
	if err := errors.Join(errPrev, errHash); err != nil || len(prev) != 0 && len(prev) != sha256.Size || hex.EncodeToString(prev) != e.Prev {
		return fmt.Errorf("%w: event %s: a hash is 64 hexadecimal digits in small letters", cases.ErrIntegrity, e.ID)
	}
	_, err := tx.ExecContext(ctx, insertEvent, e.Site, e.Seq, e.ID, string(e.Subject.Kind), e.Subject.ID, e.Order, string(e.Kind), e.Version,
		e.At.UnixMicro(), e.Zone, e.By, string(e.Place), e.Corrects, e.Program, e.Rulebase, string(e.Body), prev, hash)
	return err
}

// checked goes over what a query of events gives. Every event is held against its
// hash as it is read: databases mostly do not notice a changed bit.
func checked(rows *sql.Rows, err error) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		if err != nil {
			yield(cases.Event{}, err)
			return
		}
		defer rows.Close()
		for rows.Next() {
			e, err := scanRow(rows)
			if err == nil {
				err = e.Check()
			}
			if !yield(e, err) || err != nil {
				return
			}
		}
		if err := rows.Err(); err != nil {
			yield(cases.Event{}, err)
		}
	}
}

func collect(events iter.Seq2[cases.Event, error]) ([]cases.Event, error) {
	var out []cases.Event
	for e, err := range events {
		if err != nil {
			return nil, err
		}
		out = append(out, e)
	}
	return out, nil
}

const eventsAbout = `SELECT ` + columns + ` FROM events WHERE subject_kind = $1 AND subject = $2 ORDER BY ord, site, seq`

func about(ctx context.Context, q querier, subject cases.Subject) ([]cases.Event, error) {
	return collect(checked(q.QueryContext(ctx, eventsAbout, string(subject.Kind), subject.ID)))
}

// Events gives all events about a subject.
func (s *Store) Events(ctx context.Context, subject cases.Subject) ([]cases.Event, error) {
	events, err := s.events(ctx, subject)
	return events, s.explain(err)
}

func (s *Store) events(ctx context.Context, subject cases.Subject) ([]cases.Event, error) {
	events, err := about(ctx, s.read, subject)
	if err != nil || subject.Kind != cases.AboutCase {
		return events, err
	}
	if complete, err := counted(ctx, s.read, subject.ID, len(events)); err != nil || complete {
		return events, err
	}
	return s.complete(ctx, subject)
}

// counted says whether a case has as many events as were read. An index that is
// damaged leaves some out and says nothing.
func counted(ctx context.Context, q querier, id string, n int) (bool, error) {
	var want int
	err := q.QueryRowContext(ctx, `SELECT coalesce((SELECT events FROM summaries WHERE id = $1), 0)`, id).Scan(&want)
	return want == n, err
}

// complete reads the events of a case and their number at one moment.
func (s *Store) complete(ctx context.Context, subject cases.Subject) (events []cases.Event, err error) {
	tx, err := s.read.BeginTx(ctx, s.snapshot())
	if err != nil {
		return nil, err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	if events, err = about(ctx, tx, subject); err != nil {
		return nil, err
	}
	complete, err := counted(ctx, tx, subject.ID, len(events))
	if err == nil && !complete {
		return nil, fmt.Errorf("%w: of case %s not as many events can be found as it has. \"downdrop store verify\" says more", cases.ErrIntegrity, subject.ID)
	}
	return events, err
}

// All gives every event.
func (s *Store) All(ctx context.Context) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		for e, err := range checked(s.read.QueryContext(ctx, `SELECT `+columns+` FROM events ORDER BY site, seq`)) {
			if !yield(e, s.explain(err)) {
				return
			}
		}
	}
}

const subjectsOfKind = `SELECT DISTINCT subject FROM events WHERE subject_kind = $1 ORDER BY subject`

// Subjects gives the ids of all subjects of a kind.
func (s *Store) Subjects(ctx context.Context, kind cases.SubjectKind) ([]string, error) {
	ids, err := texts(ctx, s.read, subjectsOfKind, string(kind))
	return ids, s.explain(err)
}

const eventsOfKind = `SELECT ` + columns + ` FROM events WHERE subject_kind = $1 ORDER BY subject, ord, site, seq`

// EachSubject goes over all subjects of a kind with their events.
func (s *Store) EachSubject(ctx context.Context, kind cases.SubjectKind, each func(events []cases.Event) error) error {
	var of []cases.Event
	for e, err := range checked(s.read.QueryContext(ctx, eventsOfKind, string(kind))) {
		if err != nil {
			return s.explain(err)
		}
		if len(of) > 0 && of[0].Subject.ID != e.Subject.ID {
			if err := each(of); err != nil {
				return err
			}
			of = nil
		}
		of = append(of, e)
	}
	if len(of) == 0 {
		return nil
	}
	return each(of)
}

// Heads gives the head of each site's chain.
func (s *Store) Heads(ctx context.Context) (map[string]cases.Head, error) {
	heads, err := sites(ctx, s.read)
	if err != nil {
		return nil, s.explain(err)
	}
	out := map[string]cases.Head{}
	for site, h := range heads {
		if h.Seq > 0 {
			out[site] = h.Head
		}
	}
	return out, nil
}

// held is a site's head and how many of its events are here.
type held struct {
	cases.Head
	events int64
}

func sites(ctx context.Context, q querier) (map[string]held, error) {
	rows, err := q.QueryContext(ctx, `SELECT site, seq, hash, held FROM sites`)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	out := map[string]held{}
	for rows.Next() {
		var site string
		var h held
		if err := rows.Scan(&site, &h.Seq, &h.Hash, &h.events); err != nil {
			return nil, err
		}
		out[site] = h
	}
	return out, rows.Err()
}

// What every event needs.
const (
	eventOfID    = `SELECT ` + columns + ` FROM events WHERE id = $1`
	timeOf       = `SELECT at_us FROM events WHERE site = $1 AND seq = $2`
	highestOrder = `SELECT coalesce(max(ord), 0) FROM events WHERE subject_kind = $1 AND subject = $2`
	upsertHead   = `INSERT INTO sites (site, seq, hash, held) VALUES ($1, $2, $3, $4)
		ON CONFLICT (site) DO UPDATE SET seq = excluded.seq, hash = excluded.hash, held = excluded.held`
)

func (s *Store) headQuery() string {
	return `SELECT seq, hash, held, coalesce((SELECT value FROM meta WHERE name = 'moved'), '') FROM sites WHERE site = $1` + s.dialect.LockHead
}

// lock waits until this transaction is the only writer, and gives the own head.
func (s *Store) lock(ctx context.Context, tx writer) (held, error) {
	var h held
	var moved string
	err := tx.QueryRowContext(ctx, s.headQuery(), s.site).Scan(&h.Seq, &h.Hash, &h.events, &moved)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		err = fmt.Errorf("%w: it has lost the head of its own chain, site %s", cases.ErrIntegrity, s.site)
	case err == nil && moved != "":
		err = fmt.Errorf("%w: %s", cases.ErrUnavailable, movedTo(moved))
	}
	return h, err
}

// Append takes drafts in.
func (s *Store) Append(ctx context.Context, drafts ...cases.Draft) ([]cases.Event, error) {
	if len(drafts) == 0 {
		return nil, ctx.Err()
	}
	s.prepare()
	var a *appending
	err := s.inTx(ctx, func(tx writer) error {
		head, err := s.lock(ctx, tx)
		if err != nil {
			return err
		}
		a = &appending{store: s, tx: tx, head: head, orders: map[cases.Subject]int64{}, lastAt: math.MinInt64}
		for i := range drafts {
			if err := a.take(ctx, &drafts[i]); err != nil {
				return err
			}
		}
		return a.finish(ctx)
	})
	if err != nil {
		return nil, s.explain(err)
	}
	s.remember(a.projected)
	return a.out, nil
}

// appending is one batch on its way into the store.
type appending struct {
	store     *Store
	tx        writer
	head      held
	lastAt    int64 // microseconds: when the site's last event was written
	orders    map[cases.Subject]int64
	out       []cases.Event // an event for each draft
	added     []cases.Event
	projected []*projected
}

func (a *appending) take(ctx context.Context, d *cases.Draft) error {
	there, err := a.there(ctx, d)
	if err != nil || there {
		return err
	}
	if err := a.jump(ctx, d); err != nil {
		return err
	}
	e, err := a.seal(ctx, d)
	if err == nil {
		a.out = append(a.out, e)
	}
	return err
}

// there finds the event that a draft already is.
func (a *appending) there(ctx context.Context, d *cases.Draft) (bool, error) {
	e, err := scan(a.tx.QueryRowContext(ctx, eventOfID, d.ID))
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return false, nil
	case err != nil:
		return false, err
	case e.Check() != nil:
		return false, e.Check()
	case !cases.SameDraft(*d, e.Draft):
		return false, fmt.Errorf("event %s: %w", d.ID, cases.ErrConflict)
	}
	a.out = append(a.out, e)
	return true, nil
}

// jump says it when the clock went back since the site's last event.
func (a *appending) jump(ctx context.Context, d *cases.Draft) error {
	if a.head.Seq == 0 {
		return nil
	}
	if a.lastAt == math.MinInt64 {
		var at any // a number; to look into what else it is would hide a connection that was cut
		err := a.tx.QueryRowContext(ctx, timeOf, a.store.site, a.head.Seq).Scan(&at)
		if err != nil && !errors.Is(err, sql.ErrNoRows) {
			return err
		}
		var ok bool
		if a.lastAt, ok = at.(int64); !ok {
			return fmt.Errorf("%w: the last event of its own chain, %d of site %s, cannot be read", cases.ErrIntegrity, a.head.Seq, a.store.site)
		}
	}
	back := time.UnixMicro(a.lastAt).Sub(d.At)
	if back <= cases.MaxClockJump {
		return nil
	}
	sum := sha256.Sum256([]byte(d.ID))
	said := *d
	said.ID, said.Kind, said.Version, said.Corrects = "jump-"+hex.EncodeToString(sum[:16]), cases.KindClockJump, 1, ""
	said.Body = cases.Body(cases.ClockJump{Seconds: -back.Seconds()})
	_, err := a.seal(ctx, &said)
	return err
}

func (a *appending) seal(ctx context.Context, d *cases.Draft) (cases.Event, error) {
	order, known := a.orders[d.Subject]
	if !known {
		err := a.tx.QueryRowContext(ctx, highestOrder, string(d.Subject.Kind), d.Subject.ID).Scan(&order)
		if err != nil {
			return cases.Event{}, err
		}
	}
	e, err := cases.Seal(*d, a.store.site, a.head.Head, order+1)
	if err != nil {
		return e, err
	}
	if err := insert(ctx, a.tx, &e); err != nil {
		return e, err
	}
	a.orders[d.Subject], a.lastAt = order+1, e.At.UnixMicro()
	a.head.Seq, a.head.Hash = e.Seq, e.Hash
	a.head.events++
	a.added = append(a.added, e)
	return e, nil
}

// finish moves the head on and brings up to date what Find looks through.
func (a *appending) finish(ctx context.Context) error {
	if len(a.added) == 0 {
		return nil
	}
	if err := setHead(ctx, a.tx, a.store.site, a.head); err != nil {
		return err
	}
	touched := map[string][]cases.Event{}
	for _, e := range a.added {
		if e.Subject.Kind == cases.AboutCase {
			touched[e.Subject.ID] = append(touched[e.Subject.ID], e)
		}
	}
	for _, id := range slices.Sorted(maps.Keys(touched)) { // so that the same batch numbers its cases in one order
		p, err := a.store.project(ctx, a.tx, id, touched[id])
		if err != nil {
			return err
		}
		a.projected = append(a.projected, p)
	}
	return nil
}

func setHead(ctx context.Context, tx writer, site string, h held) error {
	_, err := tx.ExecContext(ctx, upsertHead, site, h.Seq, h.Hash, h.events)
	return err
}
