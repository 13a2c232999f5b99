package sqlstore

import (
	"cmp"
	"context"
	"database/sql"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strconv"
	"strings"

	"downdrop/cases"
)

//go:embed migrations/*.sql
var migrations embed.FS

// SchemaNow is the schema that this program reads and writes.
const SchemaNow = 2

// migration gives the statements that lead to a schema from the one before it:
// those common to all databases, then those of this one alone. The words for types
// are the dialect's. The files are part of the program, so that one that lacks is a fault of
// its own.
func (d *Dialect) migration(to int) string {
	names, err := fs.Glob(migrations, fmt.Sprintf("migrations/%04d_*.sql", to))
	var all []string
	for _, name := range names {
		own := strings.HasSuffix(name, "_"+d.Name+".sql")
		if !own && slices.ContainsFunc([]string{"_sqlite.sql", "_postgres.sql"}, func(s string) bool { return strings.HasSuffix(name, s) }) {
			continue
		}
		text, unread := migrations.ReadFile(name)
		err = errors.Join(err, unread)
		all = append(all, string(text))
	}
	if err != nil || all == nil {
		panic(fmt.Sprintf("migration to schema %d: %v, %d files", to, err, len(all)))
	}
	slices.SortStableFunc(all, func(a, b string) int { return cmp.Compare(triggers(a), triggers(b)) })
	return strings.NewReplacer(
		" BYTES", " "+d.Bytes, " TEXT", " "+d.Text, " ROWNUMBER", " "+d.RowNumber, " WITHOUT_ROWID", d.WithoutRowID,
	).Replace(strings.Join(all, "\n"))
}

// triggers come after the tables that they speak of.
func triggers(text string) int { return strings.Count(text, "CREATE TRIGGER") }

const createMeta = `CREATE TABLE meta (name TEXT PRIMARY KEY, value TEXT NOT NULL, sum TEXT NOT NULL)`

// setMeta keeps a line about the store itself, with its checksum.
func setMeta(ctx context.Context, tx writer, name, value string) error {
	_, err := tx.ExecContext(ctx, `INSERT INTO meta (name, value, sum) VALUES ($1, $2, $3)
		ON CONFLICT (name) DO UPDATE SET value = excluded.value, sum = excluded.sum`, name, value, checksum(name, value))
	return err
}

func getMeta(ctx context.Context, q querier, name string) (string, error) {
	var value, sum string
	err := q.QueryRowContext(ctx, `SELECT value, sum FROM meta WHERE name = $1`, name).Scan(&value, &sum)
	switch {
	case errors.Is(err, sql.ErrNoRows):
		return "", fmt.Errorf("%w: it does not say its %s", cases.ErrIntegrity, name)
	case err == nil && sum != checksum(name, value):
		return "", fmt.Errorf("%w: its %s is not what was written", cases.ErrIntegrity, name)
	}
	return value, err
}

// schema is the schema of the store; 0: there is no store yet.
func (s *Store) schema(ctx context.Context, q querier) (int, error) {
	var there int
	if err := q.QueryRowContext(ctx, s.dialect.HasMeta).Scan(&there); err != nil || there == 0 {
		return 0, err
	}
	text, err := getMeta(ctx, q, "schema")
	if err != nil {
		return 0, err
	}
	schema, err := strconv.Atoi(text)
	if err != nil || schema < 1 {
		return 0, fmt.Errorf("%w: its schema is %q", cases.ErrIntegrity, text)
	}
	return schema, nil
}

// migrate brings the store to SchemaNow, all in one transaction: after a crash it
// is as it was, or done.
func (s *Store) migrate(ctx context.Context, o *Options) error {
	schema, err := s.schema(ctx, s.write)
	switch {
	case err != nil:
		return err
	case schema > SchemaNow:
		return newer(schema)
	case schema == SchemaNow:
		return nil
	case schema > 0:
		where, err := s.dialect.Backup(ctx, s.write, schema)
		if err != nil {
			return fmt.Errorf("before it is brought from schema %d to %d it has to be copied, and that failed: %w", schema, SchemaNow, err)
		}
		o.tell(fmt.Sprintf("%s is brought from schema %d to %d. As it was it is kept in %s.", s.where, schema, SchemaNow, where))
	}
	return s.inTx(ctx, func(tx writer) error {
		if s.dialect.LockSchema != "" {
			if _, err := tx.ExecContext(ctx, s.dialect.LockSchema); err != nil {
				return err
			}
		}
		return s.migrateFrom(ctx, tx, o)
	})
}

func (s *Store) migrateFrom(ctx context.Context, tx writer, o *Options) error {
	schema, err := s.schema(ctx, tx) // again: another process may have been first
	switch {
	case err != nil:
		return err
	case schema > SchemaNow:
		return newer(schema)
	case schema == 0:
		if _, err := tx.ExecContext(ctx, strings.ReplaceAll(createMeta, " TEXT", " "+s.dialect.Text)); err != nil {
			return err
		}
	}
	for to := schema + 1; to <= SchemaNow; to++ {
		if _, err := tx.ExecContext(ctx, s.dialect.migration(to)); err != nil {
			return fmt.Errorf("migration to schema %d: %w", to, err)
		}
		if to == 2 {
			if err := s.rebuild(ctx, tx); err != nil {
				return err
			}
		}
		if err := setMeta(ctx, tx, "schema", strconv.Itoa(to)); err != nil {
			return err
		}
	}
	if schema > 0 {
		return nil
	}
	return s.name(ctx, tx, o.site())
}

// name gives the store the site that it writes under.
func (s *Store) name(ctx context.Context, tx writer, site string) error {
	if !cases.PlainID(site) {
		return fmt.Errorf("the site %.80q: 1 to 64 letters, digits, - and _ are wanted", site)
	}
	if err := setMeta(ctx, tx, "site", site); err != nil {
		return err
	}
	_, err := tx.ExecContext(ctx, `INSERT INTO sites (site, seq, hash, held) VALUES ($1, 0, '', 0) ON CONFLICT DO NOTHING`, site)
	return err
}

func newer(schema int) error {
	return fmt.Errorf("%w: it is of schema %d and this program knows %d: a newer downdrop wrote it. Use that one; nothing was changed", cases.ErrUnavailable, schema, SchemaNow)
}
