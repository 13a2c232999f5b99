package sqlstore

import (
	"context"
	"fmt"
	"iter"

	"downdrop/cases"
)

// salvagePage is how many events are read at once until one cannot be.
const salvagePage = 256

// Salvage reads all events that can be read, past those that cannot: in the order they were
// written and by no index, since that may be damaged too. Each pair is an event or an error.
func (s *Store) Salvage(ctx context.Context) iter.Seq2[cases.Event, error] {
	return func(yield func(cases.Event, error) bool) {
		last, err := s.lastRow(ctx)
		if err != nil && !yield(cases.Event{}, s.explain(err)) {
			return
		}
		for from := int64(1); from <= last; from += salvagePage {
			if ctx.Err() != nil {
				yield(cases.Event{}, ctx.Err())
				return
			}
			page, err := s.rows(ctx, from, from+salvagePage-1)
			if err == nil {
				for _, e := range page {
					if !yield(e, nil) {
						return
					}
				}
				continue
			}
			if !s.oneByOne(ctx, from, yield) {
				return
			}
		}
	}
}

func (s *Store) oneByOne(ctx context.Context, from int64, yield func(cases.Event, error) bool) bool {
	for row := from; row < from+salvagePage; row++ {
		events, err := s.rows(ctx, row, row)
		if err != nil && !yield(cases.Event{}, s.explain(fmt.Errorf("the event in row %d: %w", row, err))) {
			return false
		}
		for _, e := range events {
			if err == nil && !yield(e, nil) {
				return false
			}
		}
	}
	return true
}

func (s *Store) rows(ctx context.Context, from, to int64) ([]cases.Event, error) {
	return collect(checked(s.read.QueryContext(ctx, `SELECT `+columns+` FROM events WHERE row_number BETWEEN $1 AND $2 ORDER BY row_number`, from, to)))
}

// lastRow is the number of the last row of events, or more.
func (s *Store) lastRow(ctx context.Context) (int64, error) {
	var last, held int64
	err := s.read.QueryRowContext(ctx, `SELECT coalesce(max(row_number), 0) FROM events`).Scan(&last)
	if also := s.read.QueryRowContext(ctx, `SELECT coalesce(sum(held), 0) FROM sites`).Scan(&held); also == nil {
		// A page of the tree that holds the last rows may be the damaged one; rows that were tried and
		// not written leave holes, so somewhat more than were written.
		last = max(last, held+held/8+salvagePage)
	}
	return last, err
}

// Names lists the ids that have a name.
func (s *Store) Names(ctx context.Context) ([]string, error) {
	ids, err := texts(ctx, s.read, `SELECT id FROM names ORDER BY id`)
	return ids, s.explain(err)
}

// Count is how many events the store holds.
func (s *Store) Count(ctx context.Context) (int64, error) {
	var n int64
	err := s.read.QueryRowContext(ctx, `SELECT coalesce(sum(held), 0) FROM sites`).Scan(&n)
	return n, s.explain(err)
}
