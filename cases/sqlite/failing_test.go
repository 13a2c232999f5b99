//go:build unix && !race

package sqlite_test

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	sqlite3 "modernc.org/sqlite/lib"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/testdata/support"
)

func ids(t *testing.T, s cases.Store) map[string]bool {
	t.Helper()
	there := map[string]bool{}
	head := map[string]cases.Head{}
	for e, err := range s.All(ctx) {
		if err != nil {
			t.Fatal(err)
		}
		if err := e.Follows(head[e.Site]); err != nil {
			t.Fatal(err)
		}
		head[e.Site] = cases.Head{Seq: e.Seq, Hash: e.Hash}
		there[e.ID] = true
	}
	return there
}

// F04: the n-th write, sync, truncation or lock fails, once or from then on, with an error of the
// disk, a full disk, half a write or a sync that fails, n = 1, 2, 3 ... until nothing fails. The message names the file;
// a batch is there whole or not at all, and it is there where that was said; the store verifies, at once
// and opened again, and takes the batch in when the disk is well.
func TestF04NthOperationFails(t *testing.T) {
	support.Alone(t)
	dir := memory(t)
	base := filepath.Join(memory(t), "base.db")
	s := open(t, base)
	fillIn(t, s, 2, 4)
	before := ids(t, s)
	if err := s.Close(); err != nil {
		t.Fatal(err)
	}
	old := filepath.Join(memory(t), "old.db")
	copyOf(t, base, old)
	toSchema1(t, old)
	d := between(t, dir)
	errs := []struct {
		what string
		rc   int32
		once bool
	}{
		{"an error of the disk", sqlite3.SQLITE_IOERR_WRITE, true}, {"a full disk", sqlite3.SQLITE_FULL, false},
		{"half a write", sqlite3.SQLITE_IOERR_WRITE | half, true}, {"a sync that fails", sqlite3.SQLITE_IOERR_FSYNC, false},
	}
	works := []struct {
		name, from string
		every      int // operation fails
	}{{"append", base, 1}, {"create", "", 1}, {"bring up a schema", old, 3}}
	sparse := max(1, 6/support.Deep(t, 1))
	failed := 0
	for _, w := range works {
		for i, e := range errs { // each begins one further on
			for n := 1 + i%sparse; ; n += w.every * sparse {
				path := filepath.Join(dir, "store.db")
				emptyFolder(t, dir)
				if w.from != "" {
					copyOf(t, w.from, path)
				}
				d.arm(func(i int, _ string) int32 {
					if i == n || i > n && !e.once {
						return e.rc
					}
					return sqlite3.SQLITE_OK
				})
				acked, err := appendTo(path)
				fired := d.count() >= n
				d.arm(nil)
				name := fmt.Sprintf("%s, %s at operation %d", w.name, e.what, n)
				if err != nil {
					failed++
					if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), dir) {
						t.Errorf("%s: %v", name, err)
					}
				}
				afterFault(t, name, path, before, w.from != "", acked)
				if !fired || t.Failed() {
					break
				}
				if n > 2000 {
					t.Fatal("this does not end")
				}
			}
		}
	}
	t.Logf("%d operations failed", failed)
	if failed < 200/sparse {
		t.Errorf("only %d operations failed", failed)
	}
}

// appendTo opens a store, appends a batch and closes it. What of it went wrong is told;
// acked says whether the batch was said to be kept.
func appendTo(path string) (acked bool, err error) {
	s, err := sqlite.Open(ctx, path, sqlstore.Options{})
	if err != nil {
		return false, err
	}
	_, err = s.Append(ctx, batch(1)...)
	acked = err == nil
	if closing := s.Close(); err == nil && closing != nil {
		err = fmt.Errorf("%s: %w: %w", path, cases.ErrUnavailable, closing) // all that was said to be kept is; see below
	}
	return acked, err
}

// memory is a folder that costs no disk, where the system has one: here the disk is played.
func memory(t *testing.T) string {
	t.Helper()
	dir, err := os.MkdirTemp("/dev/shm", "downdrop-test-*")
	if err != nil {
		return t.TempDir()
	}
	t.Cleanup(func() { os.RemoveAll(dir) })
	return dir
}

func emptyFolder(t *testing.T, dir string) {
	t.Helper()
	entries, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if err := os.RemoveAll(filepath.Join(dir, e.Name())); err != nil {
			t.Fatal(err)
		}
	}
}

// afterFault looks at a store when the disk is well again.
func afterFault(t *testing.T, name, path string, before map[string]bool, was, acked bool) {
	t.Helper()
	s, err := sqlite.Open(ctx, path, sqlstore.Options{})
	if err != nil {
		t.Errorf("%s: opened again: %v", name, err)
		return
	}
	defer s.Close()
	there := ids(t, s)
	n := 0
	for _, d := range batch(1) {
		if there[d.ID] {
			n++
		}
	}
	if n != 0 && n != 3 || acked && n != 3 {
		t.Errorf("%s: %d of 3 of a batch are there, said to be kept: %v", name, n, acked)
	}
	for id := range before {
		if was && !there[id] {
			t.Errorf("%s: %s is lost", name, id)
		}
	}
	if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
		t.Errorf("%s: %v %v", name, err, v.Damage)
	}
	if _, err := s.Append(ctx, batch(1)...); err != nil {
		t.Errorf("%s: said again: %v", name, err)
	}
}

// A lock that others hold, and a disk that may only be read from now on, are told as what they are; and
// whoever goes while he waits for a lock is let go.
func TestLocksAndReadOnlyDisks(t *testing.T) {
	dir := memory(t)
	d := between(t, dir)
	d.impatient = true
	path := filepath.Join(dir, "store.db")
	s := open(t, path)
	refuse := func(op string, rc int32) {
		d.arm(func(_ int, is string) int32 {
			if is == op {
				return rc
			}
			return sqlite3.SQLITE_OK
		})
	}
	for _, c := range []struct {
		op   string
		rc   int32
		says string
	}{{"shmlock", sqlite3.SQLITE_BUSY, "another program has been writing"}, {"write", sqlite3.SQLITE_READONLY, "it may not be written here"}} {
		refuse(c.op, c.rc)
		_, err := s.Append(ctx, batch(1)...)
		d.arm(nil)
		if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), c.says) || !strings.Contains(err.Error(), path) {
			t.Errorf("%s: %v", c.op, err)
		}
	}
	if _, err := s.Append(ctx, batch(1)...); err != nil {
		t.Error(err)
	}
	soon, cancel := context.WithTimeout(ctx, 20*time.Millisecond)
	defer cancel()
	refuse("lock", sqlite3.SQLITE_BUSY)
	if _, err := sqlite.Open(soon, path, sqlstore.Options{}); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("waiting to open: %v", err)
	}
	d.arm(nil)
}

// What is said to be kept costs one sync, and no more.
func TestOneSyncAnAppend(t *testing.T) {
	dir := memory(t)
	d := between(t, dir)
	s, err := sqlite.Open(ctx, filepath.Join(dir, "store.db"), sqlstore.Options{Site: "mill"})
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if _, err := s.Append(ctx, batch(0)...); err != nil {
		t.Fatal(err)
	}
	syncs := 0
	d.arm(func(_ int, op string) int32 {
		if op == "sync" {
			syncs++
		}
		return sqlite3.SQLITE_OK
	})
	for i := range 20 {
		if _, err := s.Append(ctx, batch(1+i)...); err != nil {
			t.Fatal(err)
		}
	}
	if syncs != 20 {
		t.Errorf("20 entries were written with %d syncs", syncs)
	}
}

// F05: the power fails at any moment: of what was written to a file since its last sync any part
// arrived, in any order, the last piece perhaps torn. What is left opens, is a beginning of the
// chain, and holds all that was said to be kept.
func TestF05PowerCut(t *testing.T) {
	support.Alone(t)
	dir := memory(t)
	path := filepath.Join(dir, "store.db")
	open(t, path).Close()
	image := map[string][]byte{}
	content, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	image[path] = content
	d := between(t, dir)
	d.keep = true
	var full []string
	type ack struct{ ops, events int }
	var acks []ack
	for round := range 3 { // each ends with the log being written into the file
		s, err := sqlite.Open(ctx, path, sqlstore.Options{Site: "mill"})
		if err != nil {
			t.Fatal(err)
		}
		for i := range 5 {
			events, err := s.Append(ctx, batch(10*round+i)...)
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range events {
				full = append(full, e.Hash)
			}
			acks = append(acks, ack{len(d.log), len(full)})
		}
		if err := s.Close(); err != nil {
			t.Fatal(err)
		}
	}
	log := d.log
	rng := rand.New(rand.NewPCG(5, 5))
	seen := map[int]bool{}
	to := filepath.Join(memory(t), "store.db")
	for range support.Deep(t, 25) {
		at := rng.IntN(len(log) + 1)
		kept := 0
		for _, a := range acks {
			if a.ops <= at {
				kept = a.events
			}
		}
		for range 3 {
			for _, end := range []string{"", "-wal", "-shm"} {
				os.Remove(to + end)
			}
			for name, content := range powerCut(rng, image, log[:at]) {
				if err := os.WriteFile(to+strings.TrimPrefix(name, path), content, 0o600); err != nil {
					t.Fatal(err)
				}
			}
			s, err := sqlite.Open(ctx, to, sqlstore.Options{})
			if err != nil {
				t.Fatalf("cut after operation %d of %d: %v", at, len(log), err)
			}
			n := 0
			for e, err := range s.All(ctx) {
				if err != nil || n == len(full) || e.Hash != full[n] {
					t.Fatalf("cut after operation %d: event %d is another, %v", at, n, err)
				}
				n++
			}
			if n < kept {
				t.Fatalf("cut after operation %d: %d events are left, %d were said to be kept", at, n, kept)
			}
			if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 {
				t.Fatalf("cut after operation %d: %v %v", at, err, v.Damage)
			}
			seen[n] = true
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	t.Logf("%d operations; %d different ends", len(log), len(seen))
	if len(seen) < 12 {
		t.Errorf("only %d different ends", len(seen))
	}
}

// powerCut is what may be on the disk after a log of operations.
func powerCut(rng *rand.Rand, image map[string][]byte, log []diskOp) map[string][]byte {
	files := map[string][]byte{}
	for name, content := range image {
		files[name] = append([]byte(nil), content...)
	}
	pending := map[string][]diskOp{}
	ghosts := map[string][]byte{} // files that were deleted: their names go for sure with the next sync of a new one
	for _, op := range log {
		switch op.op {
		case "lock":
		case "sync":
			for _, p := range pending[op.file] {
				p.onto(files)
			}
			delete(pending, op.file)
			delete(ghosts, op.file)
		case "delete":
			for _, p := range pending[op.file] {
				p.onto(files)
			}
			ghosts[op.file] = files[op.file]
			delete(pending, op.file)
			delete(files, op.file)
		default:
			pending[op.file] = append(pending[op.file], op)
		}
	}
	for name, content := range ghosts {
		if rng.IntN(2) == 0 {
			files[name] = content
			delete(pending, name)
		}
	}
	for _, ops := range pending {
		rng.Shuffle(len(ops), func(i, j int) { ops[i], ops[j] = ops[j], ops[i] })
		for _, p := range ops[:rng.IntN(len(ops)+1)] {
			if p.op == "write" && rng.IntN(4) == 0 && len(p.data) > 512 { // torn between sectors
				p.data = p.data[:512*rng.IntN(len(p.data)/512)]
			}
			p.onto(files)
		}
	}
	return files
}

// onto does an operation to files in memory.
func (op diskOp) onto(files map[string][]byte) {
	content := files[op.file]
	switch op.op {
	case "write":
		if need := int(op.at) + len(op.data); need > len(content) {
			content = append(content, make([]byte, need-len(content))...)
		}
		copy(content[op.at:], op.data)
	case "truncate":
		if int(op.at) <= len(content) {
			content = content[:op.at]
		} else {
			content = append(content, make([]byte, int(op.at)-len(content))...)
		}
	}
	files[op.file] = content
}

// F06: the disk is full: the message says so, nothing that was acknowledged is lost, and
// work goes on once there is room. The disk is played; and a real small one is filled
// where one can be had (by an administrator, or in a name space of the test's own).
func TestF06FullDisk(t *testing.T) {
	sizes := map[string]int64{"256k": 256 << 10, "512k": 512 << 10, "1m": 1 << 20, "2m": 2 << 20, "4m": 4 << 20}
	for name, size := range sizes {
		t.Run("played "+name, func(t *testing.T) {
			dir := memory(t)
			d := between(t, dir)
			d.room = size
			fillDisk(t, dir, func() { d.room += 100 << 10 })
		})
	}
	if os.Getenv(ownNameSpace) == "" && os.Getuid() != 0 {
		inNameSpace(t)
		return
	}
	for name := range sizes {
		dir, err := smallDisk(t, name)
		if err != nil { // the played one has been filled
			t.Logf("no small disk can be mounted here: %v", err)
			return
		}
		t.Run("real "+name, func(t *testing.T) {
			filler := filepath.Join(dir, "filler")
			if err := os.WriteFile(filler, make([]byte, 100<<10), 0o600); err != nil {
				t.Fatal(err)
			}
			fillDisk(t, dir, func() { os.Remove(filler) })
		})
	}
}

// fillDisk writes to a store in a folder until there is no room, makes some, and goes on.
func fillDisk(t *testing.T, dir string, makeRoom func()) {
	path := filepath.Join(dir, "full.db")
	s, err := sqlite.Open(ctx, path, sqlstore.Options{})
	if err != nil {
		if !errors.Is(err, cases.ErrUnavailable) || !strings.Contains(err.Error(), path) {
			t.Error(err)
		}
		return
	}
	note := func(i int) error {
		d := cases.Say(cases.KindNote, cases.Note{Text: strings.Repeat(fmt.Sprint("number ", i, " "), 50)})
		d.ID, d.Subject = fmt.Sprint("e", i), cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprint("c", i%7)}
		_, err := s.Append(ctx, d)
		return err
	}
	n, full := 0, error(nil)
	for ; full == nil && n < 20_000; n++ {
		full = note(n)
	}
	if !errors.Is(full, cases.ErrUnavailable) || !strings.Contains(full.Error(), path) || !strings.Contains(full.Error(), "full") {
		t.Error(full)
	}
	if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 || v.Events != n-1 {
		t.Errorf("%v %v: %d events, %d were acknowledged", err, v.Damage, v.Events, n-1)
	}
	makeRoom()
	if err := note(n - 1); err != nil {
		t.Errorf("with room again: %v", err)
	}
	if err := s.Close(); err != nil {
		t.Error(err)
	}
	if s, err = sqlite.Open(ctx, path, sqlstore.Options{}); err != nil {
		t.Fatalf("opened again: %v", err)
	}
	if v, err := s.Verify(ctx); err != nil || len(v.Damage) > 0 || v.Events < n {
		t.Errorf("opened again: %v %v %d", err, v.Damage, v.Events)
	}
	s.Close()
}
