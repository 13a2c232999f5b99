package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"

	"downdrop/cases/sqlstore"
)

// OpenDamaged opens a copy of a damaged store for reading, to save from it what can
// be saved. What is the same in every store is put right in the copy first: the
// beginning of the file, and the definitions of its tables. The file itself is not
// touched.
func OpenDamaged(ctx context.Context, path string, o sqlstore.Options) (*sqlstore.Store, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(path); err != nil {
		return nil, unavailable(path, "it cannot be looked at: %v", cause(err))
	} else if !info.Mode().IsRegular() {
		return nil, unavailable(path, "it is no ordinary file (%s)", info.Mode().Type())
	}
	dir, err := copyAside(path)
	if err != nil {
		return nil, unavailable(path, "no copy to read from could be made: %v", cause(err))
	}
	gone := func() error { return os.RemoveAll(dir) }
	copied := filepath.Join(dir, "store")
	if err := errors.Join(mendHeader(copied), mendDefinitions(ctx, copied)); err != nil {
		return nil, errors.Join(explainIn(path, err), gone())
	}
	read, err := connect(copied, nil, "query_only(ON)")
	if err != nil {
		return nil, errors.Join(err, gone())
	}
	return sqlstore.Open(ctx, sqlstore.Database{
		Read: read, Dialect: dialect(path, &o), Where: path, Close: gone,
		ReadOnly: fmt.Sprintf("%s is damaged, and read from a copy.", path),
	}, o)
}

// header is what begins every store, by the offset in the file: see "The Database Header"
// in SQLite's description of its file format. Pages are of 4096 bytes, text is UTF-8.
var header = map[int64][]byte{
	0:  []byte("SQLite format 3\x00\x10\x00\x02\x02\x00\x40\x20\x20"),
	44: {0, 0, 0, 4},
	52: {0, 0, 0, 0, 0, 0, 0, 1},
	68: {applicationID >> 24, applicationID >> 16 & 0xff, applicationID >> 8 & 0xff, applicationID & 0xff},
}

func mendHeader(path string) error {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	for at, is := range header {
		if _, err := file.WriteAt(is, at); err != nil {
			return errors.Join(err, file.Close())
		}
	}
	return file.Close()
}

// mendDefinitions writes the definitions of a new store over those of a file, row by row:
// they are made in one order.
func mendDefinitions(ctx context.Context, path string) error {
	want, err := master(ctx)
	if err != nil {
		return err
	}
	// No other setting: some of them read the definitions first, and fail.
	db, err := openFile(path, url.Values{"_pragma": {"writable_schema(ON)"}})
	if err != nil {
		return err
	}
	defer db.Close()
	db.SetMaxOpenConns(1)
	for i, w := range want {
		_, err := db.ExecContext(ctx, `UPDATE sqlite_master SET type = $1, name = $2, tbl_name = $3, sql = $4 WHERE rowid = $5
			AND (type <> $1 OR name <> $2 OR tbl_name <> $3 OR sql <> $4)`, w.kind, w.name, w.table, w.sql, i+1)
		if err != nil {
			return err
		}
	}
	return nil
}

// A definition is a row of SQLite's own table of tables.
type definition struct {
	kind, name, table string
	sql               sql.NullString // none for the indexes that keys make
}

func master(ctx context.Context) ([]definition, error) {
	var out []definition
	err := withFresh(ctx, func(db *sql.DB) error {
		rows, err := db.QueryContext(ctx, `SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY rowid`)
		if err != nil {
			return err
		}
		defer rows.Close()
		for rows.Next() {
			var d definition
			if err := rows.Scan(&d.kind, &d.name, &d.table, &d.sql); err != nil {
				return err
			}
			out = append(out, d)
		}
		return rows.Err()
	})
	return out, err
}
