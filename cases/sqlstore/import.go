package sqlstore

import (
	"bytes"
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"

	"downdrop/cases"
)

// Import takes in events of other sites as they are, all of them or none. The
// events are read once, so it is not tried again by itself; whoever calls may,
// since what is there already is passed over.
func (s *Store) Import(ctx context.Context, events iter.Seq2[cases.Event, error]) (cases.Imported, error) {
	if s.readOnly != "" {
		return cases.Imported{}, s.explain(fmt.Errorf("%w: %s", cases.ErrUnavailable, s.readOnly))
	}
	s.prepare()
	var done cases.Imported
	err := s.once(ctx, func(tx writer) error {
		own, err := s.lock(ctx, tx)
		if err != nil {
			return err
		}
		in := &importing{store: s, tx: tx, cases: map[string]bool{}}
		if in.sites, err = sites(ctx, tx); err != nil {
			return err
		}
		in.takesOver = own.events == 0 && len(in.sites) == 1
		for e, err := range events {
			if err != nil {
				return err
			}
			if err := in.take(ctx, &e); err != nil {
				return err
			}
		}
		err = in.finish(ctx)
		done = in.done
		return err
	})
	s.forget() // cheaper than to say which
	if err != nil {
		return cases.Imported{}, s.explain(err)
	}
	return done, nil
}

// importing is one import on its way.
type importing struct {
	store     *Store
	tx        writer
	takesOver bool // the store holds no event: those of its own site are taken too
	sites     map[string]held
	last      cases.Event // taken in just before
	cases     map[string]bool
	done      cases.Imported
}

func (in *importing) take(ctx context.Context, e *cases.Event) error {
	if err := sound(e); err != nil {
		return err
	}
	known, err := in.known(ctx, e)
	switch {
	case err != nil:
		return err
	case known:
		in.done.Known++
		return nil
	case e.Site == in.store.site && !in.takesOver && e.Seq > in.sites[e.Site].Seq:
		return fmt.Errorf("event %s: %w: it is event %d of site %s, which is this store's own, and the last one here is %d. Either this store is an older copy of one that went on (a file copied while it was in use lacks what was written last), or two stores write under one name. Bring the newer one back with `downdrop store restore`, and go on in that one only",
			e.ID, cases.ErrIntegrity, e.Seq, e.Site, in.sites[e.Site].Seq)
	case e.Site == in.store.site && !in.takesOver:
		return fmt.Errorf("event %s: %w: it says that this store wrote it as event %d of site %s, and it did not", e.ID, cases.ErrIntegrity, e.Seq, e.Site)
	}
	if err := in.fits(ctx, e); err != nil {
		return err
	}
	if err := insert(ctx, in.tx, e); err != nil {
		return err
	}
	h := in.sites[e.Site]
	if h.events++; e.Seq > h.Seq {
		h.Head = cases.Head{Seq: e.Seq, Hash: e.Hash}
	}
	in.sites[e.Site], in.last = h, *e
	if e.Subject.Kind == cases.AboutCase {
		in.cases[e.Subject.ID] = true
	}
	in.done.Added++
	return nil
}

// sound refuses an event that no store would have written.
func sound(e *cases.Event) error {
	if err := e.Check(); err != nil {
		return err
	}
	body, err := cases.Canonical(e.Body)
	if err != nil || !bytes.Equal(body, e.Body) || !cases.PlainID(e.Site) || e.Seq < 1 || e.Order < 1 {
		return fmt.Errorf("event %s: %w: no store writes it so", e.ID, cases.ErrIntegrity)
	}
	return nil
}

// known says whether the event is here; one that takes its id or its place in the
// chain is a conflict.
func (in *importing) known(ctx context.Context, e *cases.Event) (bool, error) {
	rows, err := in.tx.QueryContext(ctx, `SELECT hash FROM events WHERE id = $1 UNION ALL SELECT hash FROM events WHERE site = $2 AND seq = $3`, e.ID, e.Site, e.Seq)
	if err != nil {
		return false, err
	}
	defer rows.Close()
	known := false
	for rows.Next() {
		var hash []byte
		if err := rows.Scan(&hash); err != nil {
			return false, err
		}
		if hex.EncodeToString(hash) != e.Hash {
			return false, fmt.Errorf("event %s (%d of site %s): %w", e.ID, e.Seq, e.Site, cases.ErrConflict)
		}
		known = true
	}
	return known, rows.Err()
}

// fits holds an event against those before and after it in its chain, as far as
// they are here.
func (in *importing) fits(ctx context.Context, e *cases.Event) error {
	wrong := func() error {
		return fmt.Errorf("event %s: %w: event %d of site %s does not follow the one before it", e.ID, cases.ErrIntegrity, e.Seq, e.Site)
	}
	if e.Seq == 1 && e.Prev != "" {
		return wrong()
	}
	if in.last.Site == e.Site && in.last.Seq == e.Seq-1 {
		if in.last.Hash != e.Prev {
			return wrong()
		}
	} else if before, err := in.one(ctx, `SELECT hash FROM events WHERE site = $1 AND seq = $2`, e.Site, e.Seq-1); err != nil {
		return err
	} else if before != "" && before != e.Prev {
		return wrong()
	}
	if in.sites[e.Site].Seq <= e.Seq {
		return nil
	}
	after, err := in.one(ctx, `SELECT prev FROM events WHERE site = $1 AND seq = $2`, e.Site, e.Seq+1)
	if err == nil && after != "" && after != e.Hash {
		return wrong()
	}
	return err
}

// one reads a hash; "": there is none.
func (in *importing) one(ctx context.Context, query string, args ...any) (string, error) {
	var hash []byte
	err := in.tx.QueryRowContext(ctx, query, args...).Scan(&hash)
	if errors.Is(err, sql.ErrNoRows) {
		err = nil
	}
	return hex.EncodeToString(hash), err
}

func (in *importing) finish(ctx context.Context) error {
	for _, site := range slices.Sorted(maps.Keys(in.sites)) {
		h := in.sites[site]
		if err := setHead(ctx, in.tx, site, h); err != nil {
			return err
		}
		if h.events == h.Seq {
			continue
		}
		gaps := 0
		err := in.tx.QueryRowContext(ctx, `SELECT count(*) FROM events e WHERE site = $1 AND seq > 1
			AND NOT EXISTS (SELECT 1 FROM events b WHERE b.site = e.site AND b.seq = e.seq - 1)`, site).Scan(&gaps)
		if err != nil {
			return err
		}
		in.done.Gaps += gaps
	}
	for _, id := range slices.Sorted(maps.Keys(in.cases)) {
		if _, err := in.store.project(ctx, in.tx, id, nil); err != nil {
			return err
		}
	}
	return nil
}
