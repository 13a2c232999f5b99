// Package sqlite keeps a store of cases in one file, by SQLite in pure Go. Any
// number of programs on one machine may use the file at once.
//
// Beside the file stand FILE-wal and FILE-shm while it is in use; the first holds
// what was written last, so a copy is made with `downdrop store backup`, not by
// copying the file alone.
package sqlite

import (
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"modernc.org/sqlite"
	sqlite3 "modernc.org/sqlite/lib"

	"downdrop/cases"
	"downdrop/cases/sqlstore"
)

// applicationID marks a file as ours in SQLite's header: "ddst".
const applicationID = 0x64647374

// wait is how long a writer waits for another program's turn to end, in milliseconds.
const wait = 5000

func init() {
	// Closing any descriptor of a file drops all POSIX locks that a process has on it, and we
	// look at files that are open already. Where the system has no other locks, SQLite keeps to
	// these. It has to be said before the first file is opened.
	_, _ = sqlite.OFDLocking(true)
}

// Open opens the store in a file and makes it where there is none, with the folder
// that it stands in. Where the file may not be written it is opened for reading
// only, see [sqlstore.Store.ReadOnly].
func Open(ctx context.Context, path string, o sqlstore.Options) (*sqlstore.Store, error) {
	path, err := absolute(path)
	if err != nil {
		return nil, err
	}
	info, err := os.Stat(path)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		if to, link := os.Readlink(path); link == nil { // making one here would put it on another drive than is meant
			return nil, unavailable(path, "it is a link to %s, and nothing is there. If that is on another drive, plug it in or mount it; else remove the link", to)
		}
		if err := create(ctx, path, o); err != nil {
			return nil, err
		}
	case err != nil:
		return nil, unavailable(path, "it cannot be looked at: %v. Name another file with --store or DOWNDROP_STORE", cause(err))
	default:
		if err := ours(path, info); err != nil {
			return nil, err
		}
	}
	if says := warnOfNetwork(path, network(path)); says != "" && o.Tell != nil {
		o.Tell(says)
	}
	if why := unwritable(path); why != "" {
		return openReadOnly(ctx, path, why, o)
	}
	return openWritable(ctx, path, o)
}

// Look opens a store that is there already, to be looked at: it is neither made nor
// brought to another schema. What is not there is cases.ErrNotFound.
func Look(ctx context.Context, path string, o sqlstore.Options) (*sqlstore.Store, error) {
	path, err := absolute(path)
	if err != nil {
		return nil, err
	}
	info, err := os.Stat(path)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", path, cases.ErrNotFound)
	}
	if err := ours(path, info); err != nil {
		return nil, err
	}
	if why := unwritable(path); why != "" {
		return openReadOnly(ctx, path, why, o)
	}
	read := connect(path, nil, forReading...)
	return sqlstore.Open(ctx, sqlstore.Database{Read: read, Dialect: dialect(path, &o), Where: path, ReadOnly: "It is only looked at."}, o)
}

// absolute is the whole name of a file, of a link that of what it leads to: the log stands beside that.
func absolute(path string) (string, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return "", err
	}
	if info, err := os.Lstat(path); err == nil && info.Mode()&fs.ModeSymlink != 0 {
		if to, err := filepath.EvalSymlinks(path); err == nil {
			return to, nil
		}
	}
	return path, nil
}

func openWritable(ctx context.Context, path string, o sqlstore.Options) (*sqlstore.Store, error) {
	write := connect(path, url.Values{"_txlock": {"immediate"}}, "journal_mode(WAL)", "synchronous(FULL)", cacheOf(cache))
	write.SetMaxOpenConns(1)
	write.SetConnMaxIdleTime(0)
	if err := wake(ctx, write); err != nil {
		return nil, errors.Join(explainIn(path, err), write.Close())
	}
	read := connect(path, nil, forReading...)
	read.SetMaxOpenConns(max(6, runtime.NumCPU()))
	read.SetMaxIdleConns(max(6, runtime.NumCPU()))
	return sqlstore.Open(ctx, sqlstore.Database{Write: write, Read: read, Dialect: dialect(path, &o), Where: path}, o)
}

// wake makes the first connection. Two programs that open a file at the same
// moment may get in each other's way while it is turned to write-ahead logging,
// and SQLite does not wait for that by itself.
func wake(ctx context.Context, db *sql.DB) error {
	for end := time.Now().Add(wait * time.Millisecond); ; {
		err := db.PingContext(ctx)
		if err == nil || code(err) != sqlite3.SQLITE_BUSY || time.Now().After(end) {
			return err
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-time.After(5 * time.Millisecond):
		}
	}
}

// cache is how many KiB of pages the connection that writes keeps at most, and readCache each of those that
// read. There are several of these, each with a cache of its own, so that they are what a server holds when
// many ask at once; what falls out of theirs is still in the system's, and over a hundred thousand
// cases searches take no longer with one MiB than with eight.
const (
	cache     = 8 << 10
	readCache = 1 << 10
)

// forReading is what a connection is told that only reads.
var forReading = []string{"query_only(ON)", cacheOf(readCache)}

func cacheOf(kib int) string { return fmt.Sprintf("cache_size(-%d)", kib) }

func connect(path string, more url.Values, pragmas ...string) *sql.DB {
	values := url.Values{"_pragma": slices.Concat([]string{
		fmt.Sprintf("busy_timeout(%d)", wait), "foreign_keys(ON)", "trusted_schema(OFF)", "cell_size_check(ON)", "secure_delete(ON)",
	}, pragmas)}
	for name, v := range more {
		values[name] = v
	}
	return openFile(path, values)
}

// openFile gives the connections to a file; the first one is made when it is needed.
func openFile(path string, values url.Values) *sql.DB {
	slashed := filepath.ToSlash(path)
	if !strings.HasPrefix(slashed, "/") {
		slashed = "/" + slashed // C:/...
	}
	return database("file://" + (&url.URL{Path: slashed}).EscapedPath() + "?" + values.Encode())
}

// database is sql.Open, which fails only where there is no driver of that name, and it comes with this package.
func database(name string) *sql.DB {
	db, err := sql.Open("sqlite", name)
	if err != nil {
		panic(err)
	}
	return db
}

// create makes a store under another name and moves it to its place when it is
// whole, so that a file there is never half a store, and an empty one never ours.
func create(ctx context.Context, path string, o sqlstore.Options) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return unavailable(path, "its folder cannot be made: %v. Name another file with --store or DOWNDROP_STORE", cause(err))
	}
	file, err := os.CreateTemp(dir, ".downdrop-new-*")
	if err != nil {
		return unavailable(path, "there is no store yet and none can be made there: %v. Name another file with --store or DOWNDROP_STORE", cause(err))
	}
	temp := file.Name()
	defer os.Remove(temp)
	_ = file.Close() // nothing was written to it
	if err := fill(ctx, temp, path, o); err != nil {
		return err
	}
	err = os.Link(temp, path)
	switch {
	case errors.Is(err, fs.ErrExist): // another program was quicker
		return nil
	case err != nil: // a file system without links
		if _, there := os.Stat(path); there == nil {
			return nil
		}
		err = os.Rename(temp, path)
	}
	if err != nil { // a file was made beside it just now, and it cannot be given its name: full, or gone meanwhile
		return unavailable(path, "%v", cause(err))
	}
	return syncFolder(dir)
}

func fill(ctx context.Context, temp, path string, o sqlstore.Options) error {
	db := connect(temp, nil, fmt.Sprintf("application_id(%d)", applicationID), "journal_mode(DELETE)", "synchronous(FULL)", cacheOf(cache))
	s, err := sqlstore.Open(ctx, sqlstore.Database{Write: db, Read: db, Dialect: dialect(temp, &o), Where: path}, o)
	if err != nil {
		return err
	}
	return s.Close()
}

// syncFolder makes a new name in a folder last; where a system cannot, it need not.
func syncFolder(dir string) error {
	f, err := os.Open(dir)
	if err != nil {
		return nil // the store is there all the same
	}
	defer f.Close()
	_ = f.Sync()
	return nil
}

const restore = "If a store stood here, bring back a copy of it: `downdrop store restore COPY --store NEWFILE`"

// ours refuses what is no store before SQLite touches it.
func ours(path string, info fs.FileInfo) error {
	switch {
	case info.IsDir():
		return unavailable(path, "it is a folder, and a store is a file. Name another one with --store or DOWNDROP_STORE")
	case !info.Mode().IsRegular():
		return unavailable(path, "it is no ordinary file (%s). Name another one with --store or DOWNDROP_STORE", info.Mode().Type())
	}
	file, err := os.Open(path)
	if err != nil {
		return unavailable(path, "it cannot be read: %v. Whoever it belongs to has to permit it, or name another one with --store", cause(err))
	}
	defer file.Close()
	header := make([]byte, 100)
	n, err := io.ReadFull(file, header)
	switch {
	case err != nil && !errors.Is(err, io.EOF) && !errors.Is(err, io.ErrUnexpectedEOF):
		return unavailable(path, "it cannot be read: %v", cause(err))
	case n == 0:
		return damaged(path, "it is empty, and no store of ours ever is. "+restore+"; if none did, remove the file")
	case n < len(header):
		return damaged(path, "it is only %d bytes long. "+restore, n)
	case string(header[:16]) != "SQLite format 3\x00":
		return damaged(path, "it is not a store of downdrop but some other file, or its beginning is damaged. Name the right file with --store. "+restore)
	case be32(header[68:]) != applicationID:
		return damaged(path, "it is another program's database. It was not touched; name another file with --store or DOWNDROP_STORE")
	}
	pages, size := int64(be32(header[28:])), int64(be16(header[16:]))
	if size == 1 {
		size = 65536
	}
	wal, err := os.Stat(path + "-wal")
	if err == nil && wal.Size() > 0 {
		return nil // what is missing may stand in the log
	}
	// Asked only now: while the log was still there, another program may have been bringing
	// it into the file, its first page before the last.
	if info, err = file.Stat(); err == nil && info.Size() < pages*size {
		return damaged(path, "it is cut off: %d bytes are there of %d. "+restore, info.Size(), pages*size)
	}
	return nil
}

func be16(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }
func be32(b []byte) uint32 { return uint32(be16(b))<<16 | uint32(be16(b[2:])) }

// unwritable says why a store cannot be written; "" it can.
func unwritable(path string) string {
	file, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return fmt.Sprintf("%s can only be read: %v.", path, cause(err))
	}
	file.Close()
	if _, err := os.Stat(path + "-wal"); err == nil {
		return ""
	}
	probe, err := os.CreateTemp(filepath.Dir(path), ".downdrop-probe-*")
	if errors.Is(err, fs.ErrPermission) || readOnlyFolder(err) {
		return fmt.Sprintf("%s can only be read: in its folder nothing may be written: %v.", path, cause(err))
	} else if err != nil {
		return "" // full, say: writing will tell
	}
	probe.Close()
	os.Remove(probe.Name())
	return ""
}

// openReadOnly opens a store that cannot be written. What stands in its write-ahead log SQLite
// would pass over then, so with one it is a copy that is read.
func openReadOnly(ctx context.Context, path, why string, o sqlstore.Options) (*sqlstore.Store, error) {
	d := sqlstore.Database{Dialect: dialect(path, &o), Where: path, ReadOnly: why}
	from, mode := path, url.Values{"mode": {"ro"}, "immutable": {"1"}}
	if wal, err := os.Stat(path + "-wal"); err == nil && wal.Size() > 0 {
		dir, err := copyAside(path)
		if err != nil {
			return nil, unavailable(path, "it can only be read, and no copy to read from could be made: %v", cause(err))
		}
		from, mode = filepath.Join(dir, "store"), nil
		d.Close = func() error { return os.RemoveAll(dir) }
	}
	d.Read = connect(from, mode, forReading...)
	return sqlstore.Open(ctx, d, o)
}

func copyAside(path string) (dir string, err error) {
	dir, err = os.MkdirTemp("", "downdrop-store-")
	if err != nil {
		return "", err
	}
	err = copyFile(path, filepath.Join(dir, "store"))
	if _, none := os.Stat(path + "-wal"); none == nil {
		err = errors.Join(err, copyFile(path+"-wal", filepath.Join(dir, "store-wal")))
	}
	if err != nil {
		err = errors.Join(err, os.RemoveAll(dir))
	}
	return dir, err
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o600)
	if err == nil {
		_, err = io.Copy(out, in)
		err = errors.Join(err, out.Close())
	}
	return err
}

func unavailable(path, format string, args ...any) error {
	return fmt.Errorf("%s: %w: "+format, append([]any{path, cases.ErrUnavailable}, args...)...)
}

func damaged(path, format string, args ...any) error {
	return fmt.Errorf("%s: %w: "+format, append([]any{path, cases.ErrIntegrity}, args...)...)
}

// cause is what went wrong without the name of the system call and the path.
func cause(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

func explainIn(path string, err error) error { return fmt.Errorf("%s: %w", path, explain(err)) }

// code is SQLite's primary result code; 0: none.
func code(err error) int {
	var e *sqlite.Error
	if errors.As(err, &e) {
		return e.Code() & 0xff
	}
	return 0
}

// explain says what SQLite's codes mean to whoever sits before it.
func explain(err error) error {
	switch code(err) {
	case sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED:
		return fmt.Errorf("%w: another program has been writing to it for more than %d seconds. Try again: %w", cases.ErrUnavailable, wait/1000, err)
	case sqlite3.SQLITE_FULL:
		return fmt.Errorf("%w: the disk is full. Nothing that was kept is lost; free some space and try again: %w", cases.ErrUnavailable, err)
	case sqlite3.SQLITE_READONLY, sqlite3.SQLITE_CANTOPEN, sqlite3.SQLITE_PERM, sqlite3.SQLITE_AUTH:
		return fmt.Errorf("%w: it may not be written here. Permit it, or copy the store to where it may be: %w", cases.ErrUnavailable, err)
	case sqlite3.SQLITE_IOERR, sqlite3.SQLITE_NOLFS, sqlite3.SQLITE_NOMEM, sqlite3.SQLITE_PROTOCOL:
		return fmt.Errorf("%w: reading or writing failed. Nothing that was kept is lost; see to the disk and try again: %w", cases.ErrUnavailable, err)
	case sqlite3.SQLITE_CORRUPT, sqlite3.SQLITE_NOTADB, sqlite3.SQLITE_FORMAT,
		sqlite3.SQLITE_ERROR, sqlite3.SQLITE_MISMATCH: // our statements are right: the definitions of the tables are not
		return fmt.Errorf("%w: `downdrop store verify` says what is touched, `downdrop store backup --salvage` saves the rest, and `downdrop store restore` brings a copy back: %w", cases.ErrIntegrity, err)
	}
	return err
}
