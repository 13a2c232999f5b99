//go:build unix

package sqlite_test

import (
	"bufio"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
	"downdrop/testdata/support"
)

// asWriter in the environment makes this test binary a program that writes to the
// store it names, until it is killed. asOpener makes it one that opens it, asReader one that reads it
// again and again until its input ends.
const (
	asWriter = "DOWNDROP_TEST_WRITER"
	asReader = "DOWNDROP_TEST_READER"
	asOpener = "DOWNDROP_TEST_OPENER"
)

func TestMain(m *testing.M) {
	switch {
	case os.Getenv(asWriter) != "":
		write(os.Getenv(asWriter))
	case os.Getenv(asReader) != "":
		if err := readOn(os.Getenv(asReader)); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
	case os.Getenv(asOpener) != "":
		if err := openOnce(os.Getenv(asOpener)); err != nil {
			fmt.Println(err)
			os.Exit(1)
		}
	default:
		os.Exit(m.Run())
	}
}

func write(path string) {
	s, err := sqlite.Open(context.Background(), path, sqlstore.Options{})
	if err != nil {
		fmt.Println("error", err)
		os.Exit(1)
	}
	for i := 0; ; i++ {
		batch := make([]cases.Draft, 1+i%3)
		for j := range batch {
			batch[j] = cases.Say(cases.KindNote, cases.Note{Text: fmt.Sprintf("said by %d as number %d", os.Getpid(), i)})
			batch[j].ID = fmt.Sprintf("k%d-%d-%d", os.Getpid(), i, j)
			batch[j].Subject = cases.Subject{Kind: cases.AboutCase, ID: fmt.Sprint("c", i%5)}
			batch[j].At = time.Now()
		}
		if _, err := s.Append(context.Background(), batch...); err != nil {
			fmt.Println("error", err)
			os.Exit(1)
		}
		for _, d := range batch {
			fmt.Println("kept", d.ID)
		}
	}
}

// readOn opens a store, reads all of it in every way, and closes it, over and over. Nothing that was
// there may be gone, and every chain is whole, whoever is killed meanwhile.
func readOn(path string) error {
	ended := make(chan struct{})
	go func() { _, _ = io.Copy(io.Discard, os.Stdin); close(ended) }()
	had := 0
	for n := 0; ; n++ {
		select {
		case <-ended:
			fmt.Println("read", n, "times,", had, "events at last")
			return nil
		default:
		}
		now, err := readAll(path)
		if err != nil {
			return err
		}
		if now < had {
			return fmt.Errorf("there were %d events, and now there are %d", had, now)
		}
		had = now
	}
}

func readAll(path string) (n int, err error) {
	s, err := sqlite.Open(context.Background(), path, sqlstore.Options{})
	if err != nil {
		return 0, err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	head := cases.Head{}
	for e, err := range s.All(context.Background()) {
		if err != nil {
			return n, err
		}
		if err := e.Follows(head); err != nil {
			return n, err
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		n++
	}
	found, err := s.Find(context.Background(), cases.Query{Text: "said"})
	if err != nil {
		return n, err
	}
	of := 0
	for i := range found {
		c, err := s.Case(context.Background(), found[i].ID)
		if err != nil {
			return n, err
		}
		of += len(c.Events)
	}
	if of < n {
		return n, fmt.Errorf("%d events were there, and the cases hold %d", n, of)
	}
	return n, nil
}

// readers let so many programs read a store until they are stopped; stop gives how often they read.
func readers(t *testing.T, path string, programs int) (stop func() int) {
	t.Helper()
	var stops []func() int
	for range programs {
		cmd := again(t, asReader, path)
		var out strings.Builder
		cmd.Stdout, cmd.Stderr = &out, &out
		in, err := cmd.StdinPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { _ = cmd.Process.Kill() }) // has no effect on one that has ended
		stops = append(stops, func() (n int) {
			in.Close()
			if err := cmd.Wait(); err != nil {
				t.Errorf("a reader: %v\n%s", err, &out)
			}
			fmt.Sscanf(out.String(), "read %d times", &n)
			return n
		})
	}
	return func() (n int) {
		for _, stop := range stops {
			n += stop()
		}
		return n
	}
}

// openOnce opens a store, says so, and stays for a line of its input.
func openOnce(path string) error {
	s, err := sqlite.Open(context.Background(), path, sqlstore.Options{})
	if err != nil {
		return err
	}
	fmt.Printf("opened\n%s\n", s.ReadOnly())
	n := 0
	for _, err := range s.All(context.Background()) {
		if err != nil {
			return err
		}
		n++
	}
	fmt.Println(n, "events")
	d := cases.Say(cases.KindNote, cases.Note{})
	d.ID, d.Subject, d.At = "late", cases.Subject{Kind: cases.AboutCase, ID: "c"}, time.Now()
	_, err = s.Append(context.Background(), d)
	fmt.Println("appended:", err)
	return s.Close()
}

// again runs this test binary as something else.
func again(t *testing.T, variable, path string) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe)
	cmd.Env = append(os.Environ(), variable+"="+path)
	return cmd
}

// killed lets so many programs write to a store and kills them all at once, some
// time after the first one began. It gives the ids that were acknowledged.
func killed(t *testing.T, path string, programs int, after time.Duration) []string {
	t.Helper()
	var mu sync.Mutex
	var acked []string
	var wg sync.WaitGroup
	begun := make(chan struct{}, programs)
	all := make([]*exec.Cmd, programs)
	for i := range all {
		all[i] = again(t, asWriter, path)
		out, err := all[i].StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := all[i].Start(); err != nil {
			t.Fatal(err)
		}
		wg.Go(func() {
			lines := bufio.NewReader(out)
			for first := true; ; first = false {
				line, err := lines.ReadString('\n')
				if first {
					begun <- struct{}{}
				}
				if err != nil {
					return // a line that is cut off was not said
				}
				id, kept := strings.CutPrefix(strings.TrimSpace(line), "kept ")
				if !kept {
					t.Error(line)
				}
				mu.Lock()
				acked = append(acked, id)
				mu.Unlock()
			}
		})
	}
	<-begun
	time.Sleep(after)
	for _, cmd := range all {
		_ = cmd.Process.Kill()
	}
	wg.Wait()
	for _, cmd := range all {
		_ = cmd.Wait()
	}
	return acked
}

// F01, F02: programs are killed while they write: no acknowledged event is lost, none is
// there that nobody wrote, and the chain is whole. Beside four writers two programs read on, and miss nothing.
func TestF01F02KilledWhileWriting(t *testing.T) {
	support.Alone(t)
	rng := rand.New(rand.NewPCG(1, 2))
	total, reads, begin := 0, 0, time.Now()
	for _, c := range []struct{ programs, rounds int }{{1, support.Deep(t, 30)}, {4, support.Deep(t, 10)}} {
		var path string
		acked := map[string]bool{}
		stored, stop := 0, func() int { return 0 }
		for round := range c.rounds {
			if round%10 == 0 {
				path, acked, stored = filepath.Join(t.TempDir(), "killed.db"), map[string]bool{}, 0
				if c.programs > 1 {
					stop = readers(t, path, 2)
				}
			}
			for _, id := range killed(t, path, c.programs, time.Duration(rng.IntN(9_000))*time.Microsecond) {
				acked[id] = true
			}
			s, err := sqlite.Open(ctx, path, sqlstore.Options{})
			if err != nil {
				t.Fatal(err)
			}
			there, head := map[string]bool{}, cases.Head{}
			for e, err := range s.All(ctx) {
				if err != nil {
					t.Fatal(err)
				}
				if err := e.Follows(head); err != nil {
					t.Fatal(err)
				}
				there[e.ID], head = true, cases.Head{Seq: e.Seq, Hash: e.Hash}
			}
			for id := range acked {
				if !there[id] {
					t.Fatalf("round %d of %d programs: %s was acknowledged and is lost", round, c.programs, id)
				}
			}
			if more := len(there) - len(acked); more > 3*c.programs*(round%10+1) {
				t.Fatalf("%d events that nobody was told of", more)
			}
			if len(there) < stored {
				t.Fatal("events of an earlier round are gone")
			}
			stored = len(there)
			if round%10 == 9 || round == c.rounds-1 {
				total += stored
				reads += stop()
				v, err := s.Verify(ctx)
				if err != nil || len(v.Damage) > 0 {
					t.Fatal(err, v.Damage)
				}
			}
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
		}
	}
	if reads == 0 {
		t.Error("nobody read meanwhile")
	}
	t.Logf("%d events kept, %d readings of all of them meanwhile, in %v", total, reads, time.Since(begin).Round(time.Millisecond))
}

// A store is opened for the first time by many programs at once, and killed.
func TestManyMakeOneStore(t *testing.T) {
	for range support.Deep(t, 5) {
		path := filepath.Join(t.TempDir(), "new", "store.db")
		acked := killed(t, path, 4, 3*time.Millisecond)
		s, err := sqlite.Open(ctx, path, sqlstore.Options{})
		if err != nil {
			t.Fatal(err)
		}
		v, err := s.Verify(ctx)
		if err != nil || len(v.Damage) > 0 || v.Events < len(acked) || len(v.Heads) > 1 {
			t.Errorf("%v %+v, acknowledged %d", err, v, len(acked))
		}
		s.Close()
	}
}

// The list of all words stands in rows that are full but for the last, however the words came: a search in it reads few.
func TestRowsOfWordsAreFull(t *testing.T) {
	support.Alone(t)
	path := filepath.Join(t.TempDir(), "words.db")
	s := open(t, path)
	for _, drafts := range storetest.InventedDrafts(150, 7) {
		if _, err := s.Append(ctx, drafts...); err != nil {
			t.Fatal(err)
		}
	}
	db, err := sql.Open("sqlite", path)
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var rows, bytes, widest int
	if err := db.QueryRow(`SELECT count(*), sum(length(words)), max(length(words)) FROM words`).Scan(&rows, &bytes, &widest); err != nil {
		t.Fatal(err)
	}
	const row = 3500
	if bytes < 2*row || rows > bytes/(row-100)+1 || widest > row+100 {
		t.Errorf("%d bytes of words in %d rows, %d in the widest", bytes, rows, widest)
	}
}

// open opens a store and closes it when the test ends.
func open(t testing.TB, path string) *sqlstore.Store {
	t.Helper()
	s, err := sqlite.Open(ctx, path, sqlstore.Options{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

func fillIn(t testing.TB, s cases.Store, howMany int, seed uint64) {
	t.Helper()
	if _, err := s.Import(ctx, storetest.Invented("quarry", howMany, seed)); err != nil {
		t.Fatal(err)
	}
}

func copyOf(t testing.TB, from, to string) {
	t.Helper()
	content, err := os.ReadFile(from)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(to, content, 0o600); err != nil {
		t.Fatal(err)
	}
}

// F05: the end of the write-ahead log is lost, as when power fails: what is left is a
// beginning of the chain, whole.
func TestF05WriteAheadLogCut(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "power.db")
	s := open(t, path)
	for _, drafts := range storetest.InventedDrafts(6, 1) {
		for _, d := range drafts {
			if _, err := s.Append(ctx, d); err != nil {
				t.Fatal(err)
			}
		}
	}
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	log, err := os.ReadFile(path + "-wal")
	if err != nil {
		t.Fatal(err)
	}
	var full []cases.Event
	for e, err := range s.All(ctx) {
		if err != nil {
			t.Fatal(err)
		}
		full = append(full, e)
	}
	rng := rand.New(rand.NewPCG(5, 2))
	lengths := map[int]bool{}
	cuts := support.Deep(t, 20)
	for i := range cuts {
		cut := log[:rng.IntN(len(log)+1)]
		switch i % 3 {
		case 1: // garbage behind it
			cut = append(cut[:len(cut):len(cut)], make([]byte, 512)...)
			for j := range 512 {
				cut[len(cut)-1-j] = byte(rng.Uint32())
			}
		case 2: // a sector of its tail is zero
			cut = append([]byte{}, cut...)
			if len(cut) > 1024 {
				clear(cut[len(cut)-1024 : len(cut)-512])
			}
		}
		to := filepath.Join(dir, "cut.db")
		os.Remove(to + "-shm")
		if err := errors.Join(os.WriteFile(to, file, 0o600), os.WriteFile(to+"-wal", cut, 0o600)); err != nil {
			t.Fatal(err)
		}
		c, err := sqlite.Open(ctx, to, sqlstore.Options{})
		if err != nil {
			t.Fatalf("cut at %d: %v", len(cut), err)
		}
		n := 0
		for e, err := range c.All(ctx) {
			if err != nil || e.Hash != full[n].Hash {
				t.Fatalf("cut at %d: event %d: %v", len(cut), n, err)
			}
			n++
		}
		if v, err := c.Verify(ctx); err != nil || len(v.Damage) > 0 {
			t.Fatalf("cut at %d: %v %v", len(cut), err, v.Damage)
		}
		lengths[n] = true
		if err := c.Close(); err != nil {
			t.Fatal(err)
		}
	}
	if len(lengths) < min(20, cuts/4) {
		t.Errorf("only %d different lengths were left", len(lengths))
	}
}

// F09: a copy is written while others write: what it holds is a whole beginning of every chain.
func TestF09BackupWhileOthersWrite(t *testing.T) {
	path := filepath.Join(t.TempDir(), "busy.db")
	open(t, path).Close()
	stop := make(chan []string)
	go func() { stop <- killed(t, path, 2, 1500*time.Millisecond) }()
	s := open(t, path)
	var acked []string
	for n := 0; acked == nil; n++ {
		select {
		case acked = <-stop:
		default:
		}
		text := storetest.Exported(t, s)
		m := storetest.NewModel(s.Site())
		done, err := cases.ImportFrom(ctx, m, strings.NewReader(text), true)
		if err != nil || done.Gaps != 0 {
			t.Fatalf("copy %d: %v %+v", n, err, done)
		}
		if n > 20 && acked == nil {
			acked = <-stop
		}
	}
	if len(acked) == 0 {
		t.Error("nothing was written meanwhile")
	}
}

// F09: a bare copy of the file of a store in use lacks what stands in the log. It is a whole
// beginning of the chain, and is told from the store itself as soon as it meets what that one
// wrote since; nothing is taken in then.
func TestF09BareCopyIsFoundOut(t *testing.T) {
	dir := t.TempDir()
	path, bare := filepath.Join(dir, "busy.db"), filepath.Join(dir, "bare.db")
	s := open(t, path)
	for i := range 3 {
		if i == 1 { // what was written before goes into the file
			if err := s.Close(); err != nil {
				t.Fatal(err)
			}
			s = open(t, path)
		}
		if _, err := s.Append(ctx, batch(i)...); err != nil {
			t.Fatal(err)
		}
	}
	copyOf(t, path, bare)
	old := open(t, bare)
	v, err := old.Verify(ctx)
	if err != nil || len(v.Damage) > 0 || v.Events != 3 || old.Site() != s.Site() {
		t.Fatalf("%v %+v of site %s", err, v, old.Site())
	}
	before := storetest.Exported(t, old)
	_, err = cases.ImportFrom(ctx, old, strings.NewReader(storetest.Exported(t, s)), false)
	if !errors.Is(err, cases.ErrIntegrity) || !strings.Contains(err.Error(), "older copy") {
		t.Errorf("it met what it lacks: %v", err)
	}
	if storetest.Exported(t, old) != before {
		t.Error("something was taken in")
	}
}

// F11, F12: an export that is cut at any line, or changed at any byte, is refused, and the store is as it was.
func TestF11F12SpoiltExport(t *testing.T) {
	support.Alone(t)
	dir := t.TempDir()
	s := open(t, filepath.Join(dir, "a.db"))
	if _, err := s.PutFile(ctx, []byte("a sheet")); err != nil {
		t.Fatal(err)
	}
	fillIn(t, s, 1, 3)
	text := storetest.Exported(t, s)
	to := open(t, filepath.Join(dir, "b.db"))
	before := storetest.Exported(t, to)
	refused := func(what, spoilt string) {
		t.Helper()
		if _, err := cases.ImportFrom(ctx, to, strings.NewReader(spoilt), true); !errors.Is(err, cases.ErrSpoilt) && !errors.Is(err, cases.ErrIntegrity) {
			t.Errorf("%s: %v", what, err)
		}
	}
	lines := strings.SplitAfter(text, "\n")
	for n := range len(lines) - 1 {
		refused(fmt.Sprintf("cut after line %d", n), strings.Join(lines[:n], ""))
		refused(fmt.Sprintf("without line %d", n+1), strings.Join(lines[:n], "")+strings.Join(lines[n+1:], ""))
		refused(fmt.Sprintf("line %d twice", n+1), strings.Join(lines[:n+1], "")+strings.Join(lines[n:], ""))
	}
	rng := rand.New(rand.NewPCG(1, 9))
	for range 200 {
		i := rng.IntN(len(text))
		refused(fmt.Sprintf("byte %d", i), text[:i]+string(rune('!'+rng.IntN(90)))+"~"+text[i+1:])
		refused(fmt.Sprintf("cut at byte %d", i), text[:i])
	}
	files, err := to.Files(ctx)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(files); n > 1 { // the file of a copy spoilt further on may be there: it is what its digest says
		t.Errorf("%d files", n)
	}
	if after := storetest.Exported(t, to); strings.Count(after, `"event"`) != strings.Count(before, `"event"`) {
		t.Error("something of a spoilt export was kept")
	}
	if _, err := cases.ImportFrom(ctx, to, strings.NewReader(text), true); err != nil {
		t.Fatal(err)
	}
	if events(storetest.Exported(t, to)) != events(text) {
		t.Error("after all that was refused, the whole import is not what was exported")
	}
}

// batch is some drafts that go in together.
func batch(n int) []cases.Draft {
	out := make([]cases.Draft, 3)
	for j := range out {
		out[j] = cases.Say(cases.KindNote, cases.Note{Text: fmt.Sprintf("number %d, line %d: %s", n, j, strings.Repeat("wet cabinet ", 40))})
		out[j].ID, out[j].Subject = fmt.Sprintf("b%d-%d", n, j), cases.Subject{Kind: cases.AboutCase, ID: "c"}
	}
	return out
}
