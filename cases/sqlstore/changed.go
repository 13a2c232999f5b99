package sqlstore

import (
	"context"
	"database/sql"
	"encoding/hex"
	"errors"
	"slices"

	"downdrop/cases"
)

// Changed gives the ids of the subjects of a kind that were written to since a mark, and the mark that stands
// now. known is false where the store cannot tell: it is another one, or rows came in beside
// others with higher numbers; then everything has to be read again.
func (s *Store) Changed(ctx context.Context, kind cases.SubjectKind, since cases.Mark) (ids []string, now cases.Mark, known bool, err error) {
	ids, now, known, err = s.changed(ctx, kind, since)
	return ids, now, known, s.explain(err)
}

func (s *Store) changed(ctx context.Context, kind cases.SubjectKind, since cases.Mark) (ids []string, now cases.Mark, known bool, err error) {
	tx, err := s.read.BeginTx(ctx, s.snapshot())
	if err != nil {
		return nil, now, false, err
	}
	defer func() { err = errors.Join(err, tx.Rollback()) }()
	if now, err = markOf(ctx, tx); err != nil || now == since {
		return nil, now, err == nil, err
	}
	if since == (cases.Mark{}) {
		return nil, now, false, nil
	}
	hash, err := hashOfRow(ctx, tx, since.Row)
	if err != nil || hash != since.Hash || now.Row < since.Row {
		return nil, now, false, err
	}
	ids, rows, err := subjectsAfter(ctx, tx, kind, since.Row)
	if err != nil || int64(rows) != now.Events-since.Events {
		return nil, now, false, err
	}
	return ids, now, true, nil
}

func markOf(ctx context.Context, q querier) (m cases.Mark, err error) {
	if err := q.QueryRowContext(ctx, `SELECT coalesce(max(row_number), 0) FROM events`).Scan(&m.Row); err != nil {
		return m, err
	}
	if err := q.QueryRowContext(ctx, `SELECT coalesce(CAST(sum(held) AS BIGINT), 0) FROM sites`).Scan(&m.Events); err != nil {
		return m, err
	}
	m.Hash, err = hashOfRow(ctx, q, m.Row)
	return m, err
}

// hashOfRow is "" where there is no such row.
func hashOfRow(ctx context.Context, q querier, row int64) (string, error) {
	var hash []byte
	err := q.QueryRowContext(ctx, `SELECT hash FROM events WHERE row_number = $1`, row).Scan(&hash)
	if errors.Is(err, sql.ErrNoRows) {
		return "", nil
	}
	return hex.EncodeToString(hash), err
}

// subjectsAfter gives the subjects of a kind in the rows after one, and how many rows those are, of whatever kind.
func subjectsAfter(ctx context.Context, q querier, wanted cases.SubjectKind, row int64) (ids []string, n int, err error) {
	rows, err := q.QueryContext(ctx, `SELECT subject_kind, subject, count(*) FROM events WHERE row_number > $1 GROUP BY subject_kind, subject`, row)
	if err != nil {
		return nil, 0, err
	}
	defer rows.Close()
	for rows.Next() {
		var kind, id string
		var events int
		if err := rows.Scan(&kind, &id, &events); err != nil {
			return nil, 0, err
		}
		n += events
		if kind == string(wanted) {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids, n, rows.Err()
}
