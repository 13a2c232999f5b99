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
	path, err := absolute(path)
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
	return sqlstore.Open(ctx, sqlstore.Database{
		Read: connect(copied, nil, "query_only(ON)"), Dialect: dialect(path, &o), Where: path, Close: gone,
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
		return err // the copy was made just now: a disk that fails meanwhile
	}
	for at, is := range header {
		_, wrong := file.WriteAt(is, at)
		err = errors.Join(err, wrong)
	}
	return errors.Join(err, file.Close())
}

// mendDefinitions writes the definitions of a new store over those of a file, row by row:
// they are made in one order.
func mendDefinitions(ctx context.Context, path string) error {
	want, err := master(ctx)
	if err != nil {
		return err
	}
	// No other setting: some of them read the definitions first, and fail.
	db := openFile(path, url.Values{"_pragma": {"writable_schema(ON)"}})
	defer db.Close()
	db.SetMaxOpenConns(1)
	for i, w := range want {
		_, err := db.ExecContext(ctx, `UPDATE sqlite_master SET type = $1, name = $2, tbl_name = $3, sql = $4 WHERE rowid = $5
			AND (type IS NOT $1 OR name IS NOT $2 OR tbl_name IS NOT $3 OR sql IS NOT $4)`, w.kind, w.name, w.table, w.sql, i+1)
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

func master(ctx context.Context) (out []definition, err error) {
	err = withFresh(ctx, func(db *sql.DB) error {
		out, err = rowsOf(ctx, db, `SELECT type, name, tbl_name, sql FROM sqlite_master ORDER BY rowid`, func(rows *sql.Rows, d *definition) error {
			return rows.Scan(&d.kind, &d.name, &d.table, &d.sql)
		})
		return err
	})
	return out, err
}
