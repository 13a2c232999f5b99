package sqlstore

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"

	"downdrop/cases"
)

// PutFile keeps a file under the hash of its content.
func (s *Store) PutFile(ctx context.Context, content []byte) (string, error) {
	sum := sha256.Sum256(content)
	digest := hex.EncodeToString(sum[:])
	if content == nil {
		content = []byte{}
	}
	err := s.inTx(ctx, func(tx writer) error {
		if _, err := s.lock(ctx, tx); err != nil {
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO files (digest, content) VALUES ($1, $2) ON CONFLICT DO NOTHING`, digest, content)
		return err
	})
	return digest, s.explain(err)
}

// File gives a file back.
func (s *Store) File(ctx context.Context, digest string) ([]byte, error) {
	var content []byte
	err := s.read.QueryRowContext(ctx, `SELECT content FROM files WHERE digest = $1`, digest).Scan(&content)
	if errors.Is(err, sql.ErrNoRows) {
		return nil, fmt.Errorf("file %.80s: %w", digest, cases.ErrNotFound)
	} else if err != nil {
		return nil, s.explain(err)
	}
	if sum := sha256.Sum256(content); hex.EncodeToString(sum[:]) != digest {
		return nil, s.explain(fmt.Errorf("%w: file %s is not what was kept", cases.ErrIntegrity, digest))
	}
	return content, nil
}

// HasFile says whether a file is here, without reading it.
func (s *Store) HasFile(ctx context.Context, digest string) (bool, error) {
	var n int
	err := s.read.QueryRowContext(ctx, `SELECT count(*) FROM files WHERE digest = $1`, digest).Scan(&n)
	return n > 0, s.explain(err)
}

// Files are the digests of all files, in order.
func (s *Store) Files(ctx context.Context) ([]string, error) {
	digests, err := texts(ctx, s.read, `SELECT digest FROM files ORDER BY digest`)
	return digests, s.explain(err)
}

func texts(ctx context.Context, q querier, query string, args ...any) ([]string, error) {
	rows, err := q.QueryContext(ctx, query, args...)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []string
	for rows.Next() {
		var text string
		if err := rows.Scan(&text); err != nil {
			return nil, err
		}
		out = append(out, text)
	}
	return out, rows.Err()
}

// SetName gives a person's id a name, or takes it away.
func (s *Store) SetName(ctx context.Context, id, name string) error {
	err := s.inTx(ctx, func(tx writer) error {
		if _, err := s.lock(ctx, tx); err != nil {
			return err
		}
		if name == "" {
			_, err := tx.ExecContext(ctx, `DELETE FROM names WHERE id = $1`, id)
			return err
		}
		_, err := tx.ExecContext(ctx, `INSERT INTO names (id, name, sum) VALUES ($1, $2, $3)
			ON CONFLICT (id) DO UPDATE SET name = excluded.name, sum = excluded.sum`, id, name, checksum(id, name))
		return err
	})
	if err == nil && s.dialect.Forget != nil {
		err = s.dialect.Forget(ctx, s.write)
	}
	return s.explain(err)
}

// Name is a person's name; "" where none is kept.
func (s *Store) Name(ctx context.Context, id string) (string, error) {
	var name, sum string
	err := s.read.QueryRowContext(ctx, `SELECT name, sum FROM names WHERE id = $1`, id).Scan(&name, &sum)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return "", nil
	case err == nil && sum != checksum(id, name):
		err = fmt.Errorf("%w: the name of %s is not what was written", cases.ErrIntegrity, id)
	}
	return name, s.explain(err)
}
