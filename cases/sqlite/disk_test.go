//go:build unix && !race

// The race detector checks pointers as Go makes them, and these are of translated C.

package sqlite_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"unsafe"

	"modernc.org/libc"
	sqlite3 "modernc.org/sqlite/lib"
)

// A disk stands between SQLite and one folder: it can fail an operation, be full, and
// keep a log of what was written and synced. It wraps SQLite's own layer to the system
// ("VFS"), so what is tested is the program as it is.
type disk struct {
	mu   sync.Mutex
	dir  string
	fail func(n int, op string) int32 // the result of the n-th operation, from 1; SQLITE_OK lets it through
	ops  int
	room int64 // bytes that files may grow by; below 0: any
	log  []diskOp
	keep bool // a log

	impatient bool // whoever waits for a lock waits no time
}

// A diskOp is something done to a file.
type diskOp struct {
	op   string // write, truncate, sync, delete
	file string
	at   int64 // truncate: the size
	data []byte
}

// between puts a disk before a folder till the test ends.
func between(t *testing.T, dir string) *disk {
	t.Helper()
	register.Do(registerShim)
	d := &disk{dir: dir, room: -1}
	shim.mu.Lock()
	shim.disk = d
	shim.mu.Unlock()
	t.Cleanup(func() {
		shim.mu.Lock()
		shim.disk = nil
		shim.mu.Unlock()
	})
	return d
}

// arm begins counting operations anew.
func (d *disk) arm(fail func(n int, op string) int32) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ops, d.fail = 0, fail
}

func (d *disk) count() int {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.ops
}

// does counts an operation; its result is what becomes of it.
func (d *disk) does(op, file string, at int64, data []byte, grows int64) int32 {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.ops++
	if d.fail != nil {
		if rc := d.fail(d.ops, op); rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	if d.room >= 0 {
		if grows > d.room {
			return sqlite3.SQLITE_FULL
		}
		d.room -= grows
	}
	if d.keep {
		d.log = append(d.log, diskOp{op, file, at, slices.Clone(data)})
	}
	return sqlite3.SQLITE_OK
}

// shim is the layer that is registered with SQLite, once in a process. Its tables have to
// stay where they are.
var shim struct {
	mu      sync.Mutex
	disk    *disk
	system  uintptr // SQLite's own layer
	vfs     sqlite3.Tsqlite3_vfs
	files   map[uintptr]shimFile
	methods map[uintptr]*sqlite3.Tsqlite3_io_methods
}

type shimFile struct {
	name string
	io   *sqlite3.Tsqlite3_io_methods // SQLite's own
}

var register sync.Once

type (
	openFunc     = func(tls *libc.TLS, vfs, name, file uintptr, flags int32, outFlags uintptr) int32
	deleteFunc   = func(tls *libc.TLS, vfs, name uintptr, syncDir int32) int32
	writeFunc    = func(tls *libc.TLS, file, buf uintptr, n int32, at int64) int32
	truncateFunc = func(tls *libc.TLS, file uintptr, size int64) int32
	numberFunc   = func(tls *libc.TLS, file uintptr, n int32) int32
	closeFunc    = func(tls *libc.TLS, file uintptr) int32
	shmLockFunc  = func(tls *libc.TLS, file uintptr, offset, n, flags int32) int32
)

// at is what stands at an address of C's memory.
func at[T any](p uintptr) *T { return *(**T)(unsafe.Pointer(&p)) }

// pointer is a function as translated C code holds it, and call gives it back.
func pointer(f any) uintptr { return (*[2]uintptr)(unsafe.Pointer(&f))[1] }

func call[F any](p uintptr) F { return *(*F)(unsafe.Pointer(&struct{ uintptr }{p})) }

func registerShim() {
	tls := libc.NewTLS()
	defer tls.Close()
	if rc := sqlite3.Xsqlite3_initialize(tls); rc != sqlite3.SQLITE_OK {
		panic(rc)
	}
	shim.system = sqlite3.Xsqlite3_vfs_find(tls, 0)
	shim.files, shim.methods = map[uintptr]shimFile{}, map[uintptr]*sqlite3.Tsqlite3_io_methods{}
	shim.vfs = *at[sqlite3.Tsqlite3_vfs](shim.system)
	name, err := libc.CString("downdrop-disk")
	if err != nil {
		panic(err)
	}
	shim.vfs.FzName, shim.vfs.FpNext = name, 0
	shim.vfs.FxOpen, shim.vfs.FxDelete = pointer(openFunc(shimOpen)), pointer(deleteFunc(shimDelete))
	shim.vfs.FxSleep = pointer(numberFunc(shimSleep))
	if rc := sqlite3.Xsqlite3_vfs_register(tls, uintptr(unsafe.Pointer(&shim.vfs)), 1); rc != sqlite3.SQLITE_OK {
		panic(rc)
	}
}

func systemVFS() *sqlite3.Tsqlite3_vfs { return at[sqlite3.Tsqlite3_vfs](shim.system) }

// before is the disk before a file; nil: none.
func before(name string) *disk {
	shim.mu.Lock()
	defer shim.mu.Unlock()
	if d := shim.disk; d != nil && strings.HasPrefix(name, d.dir+string(filepath.Separator)) {
		return d
	}
	return nil
}

func fileOf(file uintptr) shimFile {
	shim.mu.Lock()
	defer shim.mu.Unlock()
	return shim.files[file]
}

func shimOpen(tls *libc.TLS, _, name, file uintptr, flags int32, outFlags uintptr) int32 {
	rc := call[openFunc](systemVFS().FxOpen)(tls, shim.system, name, file, flags, outFlags)
	f := at[sqlite3.Tsqlite3_file](file)
	if rc != sqlite3.SQLITE_OK || f.FpMethods == 0 || name == 0 {
		return rc
	}
	shim.mu.Lock()
	defer shim.mu.Unlock()
	ours := shim.methods[f.FpMethods]
	if ours == nil {
		own := *at[sqlite3.Tsqlite3_io_methods](f.FpMethods)
		own.FxWrite, own.FxTruncate, own.FxSync = pointer(writeFunc(shimWrite)), pointer(truncateFunc(shimTruncate)), pointer(numberFunc(shimSync))
		own.FxLock, own.FxClose = pointer(numberFunc(shimLock)), pointer(closeFunc(shimClose))
		ours = &own
		if own.FxShmLock != 0 {
			own.FxShmLock = pointer(shmLockFunc(shimShmLock))
		}
		shim.methods[f.FpMethods] = ours
	}
	shim.files[file] = shimFile{libc.GoString(name), at[sqlite3.Tsqlite3_io_methods](f.FpMethods)}
	f.FpMethods = uintptr(unsafe.Pointer(ours))
	return rc
}

func shimDelete(tls *libc.TLS, _, name uintptr, syncDir int32) int32 {
	if d := before(libc.GoString(name)); d != nil {
		if rc := d.does("delete", libc.GoString(name), 0, nil, 0); rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return call[deleteFunc](systemVFS().FxDelete)(tls, shim.system, name, syncDir)
}

// half in a result asks for a short write before it.
const half = 1 << 30

func shimWrite(tls *libc.TLS, file, buf uintptr, n int32, from int64) int32 {
	f := fileOf(file)
	write := call[writeFunc](f.io.FxWrite)
	if d := before(f.name); d != nil {
		var size int64
		if info, err := os.Stat(f.name); err == nil {
			size = info.Size()
		}
		data := unsafe.Slice(at[byte](buf), n)
		if rc := d.does("write", f.name, from, data, max(0, from+int64(n)-size)); rc&half != 0 {
			_ = write(tls, file, buf, n/2, from)
			return rc &^ half
		} else if rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return write(tls, file, buf, n, from)
}

func shimTruncate(tls *libc.TLS, file uintptr, size int64) int32 {
	f := fileOf(file)
	if d := before(f.name); d != nil {
		if rc := d.does("truncate", f.name, size, nil, 0) &^ half; rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return call[truncateFunc](f.io.FxTruncate)(tls, file, size)
}

func shimSync(tls *libc.TLS, file uintptr, flags int32) int32 {
	f := fileOf(file)
	if d := before(f.name); d != nil {
		if rc := d.does("sync", f.name, 0, nil, 0) &^ half; rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return call[numberFunc](f.io.FxSync)(tls, file, flags)
}

func shimLock(tls *libc.TLS, file uintptr, level int32) int32 {
	f := fileOf(file)
	if d := before(f.name); d != nil {
		if rc := d.does("lock", f.name, 0, nil, 0) &^ half; rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return call[numberFunc](f.io.FxLock)(tls, file, level)
}

// shimShmLock lets the lock fail that a writer takes, the first one of the log; it takes no turn in the count.
func shimShmLock(tls *libc.TLS, file uintptr, offset, n, flags int32) int32 {
	f := fileOf(file)
	if d := before(f.name); d != nil && d.impatient && offset == 0 {
		if rc := d.does("shmlock", f.name, 0, nil, 0); rc != sqlite3.SQLITE_OK {
			return rc
		}
	}
	return call[shmLockFunc](f.io.FxShmLock)(tls, file, offset, n, flags)
}

func shimSleep(tls *libc.TLS, vfs uintptr, microseconds int32) int32 {
	shim.mu.Lock()
	awake := shim.disk != nil && shim.disk.impatient
	shim.mu.Unlock()
	if awake {
		return microseconds
	}
	return call[numberFunc](systemVFS().FxSleep)(tls, shim.system, microseconds)
}

func shimClose(tls *libc.TLS, file uintptr) int32 {
	f := fileOf(file)
	shim.mu.Lock()
	delete(shim.files, file)
	shim.mu.Unlock()
	return call[closeFunc](f.io.FxClose)(tls, file)
}
