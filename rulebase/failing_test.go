package rulebase_test

import (
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/rulebase"
)

var errDisk = errors.New("the disk failed here")

// A failingFS is a folder of which one operation fails: opening, reading or listing.
type failingFS struct {
	fs.FS
	at, count int // 0: none fails
}

func (f *failingFS) fail() error {
	if f.count++; f.count == f.at {
		return errDisk
	}
	return nil
}

func (f *failingFS) Open(name string) (fs.File, error) {
	if err := f.fail(); err != nil {
		return nil, &fs.PathError{Op: "open", Path: name, Err: err}
	}
	file, err := f.FS.Open(name)
	if err != nil {
		return nil, err
	}
	return failingFile{file, f}, nil
}

type failingFile struct {
	fs.File
	of *failingFS
}

func (f failingFile) Read(b []byte) (int, error) {
	if err := f.of.fail(); err != nil {
		return 0, err
	}
	return f.File.Read(b)
}

func (f failingFile) Stat() (fs.FileInfo, error) {
	if err := f.of.fail(); err != nil {
		return nil, err
	}
	return f.File.Stat()
}

func (f failingFile) ReadDir(n int) ([]fs.DirEntry, error) {
	if err := f.of.fail(); err != nil {
		return nil, err
	}
	return f.File.(fs.ReadDirFile).ReadDir(n)
}

// small is a rulebase with a file of each kind, in two layers.
func small(t *testing.T) (lower, upper fstest.MapFS) {
	t.Helper()
	text := func(name string) *fstest.MapFile {
		t.Helper()
		b, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return &fstest.MapFile{Data: b}
	}
	procedure := `procedure: look
name: Looking at a unit
version: 1
source: common_practice
proves: That it looks whole.
passed_is: not_proven
not_tested: [Everything else.]
steps:
  - step: see
    name: What is seen
    minutes: 1
    do: Look at it.
    readings:
      - {reading: outside, ask: "What is seen?", one_of: [whole, burnt], passes: [whole]}
`
	profile := "profile: quay_24\ntype: OTHER (invented)\nline: {kind: can, rate: 125 kbaud}\naddress: {set_by: software, most: 127}\nsupply: {volts: 24 V, low: 20.4 V, high: 28.8 V, current: 100 mA}\n"
	lower = fstest.MapFS{"rulebase.yaml": text("testdata/good/rulebase.yaml"), "first_test.yaml": {Data: []byte("[]\n")},
		"bench/look.yaml": {Data: []byte(procedure)}, "bench/units/quay.yaml": {Data: []byte(profile)}}
	upper = fstest.MapFS{"own.yaml": {Data: []byte("rulebase: {name: own, extends: small}\n")}, "own_test.yaml": {Data: []byte("[]\n")}}
	return lower, upper
}

// Every operation on the files of a rulebase fails once: what is asked for then says so, with
// the file, or is what it would be without. Nothing is left out without a word.
func TestEveryReadOfAFileFailsOnce(t *testing.T) {
	lower, upper := small(t)
	load := func(folder fs.FS) (*rulebase.Base, error) {
		return rulebase.Load(rulebase.Layer{Name: "small", FS: folder}, rulebase.Layer{Name: "own", FS: upper})
	}
	of := func(read func(*rulebase.Base) (any, error)) func(fs.FS) (any, error) {
		return func(folder fs.FS) (any, error) {
			f := folder.(*failingFS)
			at := f.at
			f.at = 0
			b, err := load(f)
			if err != nil {
				t.Fatal(err)
			}
			f.at, f.count = at, 0
			return read(b)
		}
	}
	for name, do := range map[string]func(folder fs.FS) (any, error){
		"load": func(folder fs.FS) (any, error) { b, err := load(folder); return b != nil && b.Digest != "", err },
		"size": func(folder fs.FS) (any, error) {
			return "", rulebase.CheckSize(rulebase.Layer{Name: "small", FS: folder})
		},
		"procedures": of(func(b *rulebase.Base) (any, error) { all, err := b.Procedures(); return len(all), err }),
		"profiles":   of(func(b *rulebase.Base) (any, error) { all, err := b.Profiles(); return len(all), err }),
		"rule tests": of(func(b *rulebase.Base) (any, error) { all, err := b.RuleTests(); return len(all), err }),
		"bundle":     of(func(b *rulebase.Base) (any, error) { return b.Bundle() }),
	} {
		want, err := do(&failingFS{FS: lower})
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		n := 1
		for ; ; n++ {
			f := &failingFS{FS: lower, at: n}
			got, err := do(f)
			if f.count < n {
				break
			}
			switch {
			case err == nil && !reflect.DeepEqual(got, want):
				t.Errorf("%s, operation %d: nothing is said, and the answer is %v, not %v", name, n, got, want)
			case err != nil && (!errors.Is(err, errDisk) || !strings.Contains(err.Error(), "small")):
				t.Errorf("%s, operation %d: %v", name, n, err)
			}
		}
		if n < 3 {
			t.Errorf("%s: only %d operations failed", name, n-1)
		}
	}
}

// All that is wrong in procedures, profiles and rule tests comes out at once, whichever file it
// stands in.
func TestProblemsOfAllFilesBesideTheRules(t *testing.T) {
	lower, upper := small(t)
	for _, name := range []string{"first_test.yaml", "second_test.yaml", "bench/look.yaml", "bench/more.yaml", "bench/units/quay.yaml", "bench/units/more.yaml"} {
		lower[name] = &fstest.MapFile{Data: []byte("- {nonsense: 1}\n")}
	}
	b, err := rulebase.Load(rulebase.Layer{Name: "small", FS: lower}, rulebase.Layer{Name: "own", FS: upper})
	if err != nil {
		t.Fatal(err)
	}
	for files, read := range map[string]func() error{
		"small/first_test.yaml small/second_test.yaml":            func() error { _, err := b.RuleTests(); return err },
		"small/bench/look.yaml small/bench/more.yaml":             func() error { _, err := b.Procedures(); return err },
		"small/bench/units/quay.yaml small/bench/units/more.yaml": func() error { _, err := b.Profiles(); return err },
	} {
		err := read()
		var problems *rulebase.Problems
		if !errors.As(err, &problems) {
			t.Errorf("%s: %v", files, err)
		}
		for _, file := range strings.Fields(files) {
			if !strings.Contains(fmt.Sprint(err), file) {
				t.Errorf("%s: nothing is said of it: %v", file, err)
			}
		}
	}
}

// A folder from elsewhere that is not there, or that is none, is told.
func TestNoFolderFromElsewhere(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{dir + "/none", dir} {
		if b, err := rulebase.LoadUntrusted(name); err == nil || !strings.Contains(err.Error(), dir) {
			t.Errorf("%s: %v %v", name, b, err)
		}
	}
	if err := os.WriteFile(dir+"/own.yaml", []byte("rulebase: {name: own}\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := os.Symlink("own.yaml", dir+"/second.yaml"); err != nil {
		t.Skip(err)
	}
	if err := os.Symlink("/etc/hostname", dir+"/third.yaml"); err != nil {
		t.Skip(err)
	}
	if _, err := rulebase.LoadUntrusted(dir); err == nil || !strings.Contains(err.Error(), "third.yaml") {
		t.Errorf("a link that leads out of the folder: %v", err)
	}
}

// What was packed and spoilt since is no rulebase.
func TestPackedAndSpoilt(t *testing.T) {
	lower, upper := small(t)
	b, err := rulebase.Load(rulebase.Layer{Name: "small", FS: lower}, rulebase.Layer{Name: "own", FS: upper})
	if err != nil {
		t.Fatal(err)
	}
	text, err := b.Pack()
	if err != nil {
		t.Fatal(err)
	}
	if _, err := rulebase.Unpack(text); err != nil {
		t.Fatal(err)
	}
	for was, is := range map[string]string{`"Root":`: `"Rot":`, `"Text":"`: `"Text":["","`, `"Root":{`: `"Root":7,"x":{`, `"Word":1`: `"Word":"x"`, `"Base":{`: `"Base":[{`, `}`: ``} {
		spoilt := strings.Replace(string(text), was, is, 1)
		if spoilt == string(text) {
			t.Errorf("%s does not stand in it", was)
		} else if _, err := rulebase.Unpack([]byte(spoilt)); err == nil {
			t.Errorf("%s for %s: unpacked", is, was)
		}
	}
}

// A number that no file can hold is not packed.
func TestNoNumberIsNotPacked(t *testing.T) {
	lower, _ := small(t)
	b, err := rulebase.Load(rulebase.Layer{Name: "small", FS: lower})
	if err != nil {
		t.Fatal(err)
	}
	b.GiveUp = math.NaN()
	if text, err := b.Pack(); err == nil {
		t.Errorf("packed as %.200s", text)
	}
}

// A rulebase from elsewhere that is larger than any of ours is refused before it is parsed, each limit by itself.
func TestRulebasesThatAreTooLarge(t *testing.T) {
	many := fstest.MapFS{}
	for i := range rulebase.StrangersFiles + 1 {
		many[fmt.Sprintf("f%d.yaml", i)] = &fstest.MapFile{}
	}
	half := bytes.Repeat([]byte("x"), rulebase.StrangersBytes/2+1)
	for says, files := range map[string]fstest.MapFS{
		"has more than 200 files": many,
		"is no ordinary file":     {"pipe.yaml": {Mode: fs.ModeNamedPipe}},
		"is larger than":          {"a.yaml": {Data: half}, "b.yaml": {Data: half}},
		"values in all":           {"a.yaml": {Data: bytes.Repeat([]byte(","), rulebase.StrangersValues+1)}},
	} {
		err := rulebase.CheckSize(rulebase.Layer{Name: "elsewhere", FS: files})
		var problems *rulebase.Problems
		if !errors.As(err, &problems) || !strings.Contains(err.Error(), says) || !strings.Contains(err.Error(), "elsewhere") {
			t.Errorf("%s: %v", says, err)
		}
	}
	dir := t.TempDir()
	if err := os.WriteFile(dir+"/a.yaml", bytes.Repeat([]byte(","), rulebase.StrangersValues+1), 0o600); err != nil {
		t.Fatal(err)
	}
	if _, err := rulebase.LoadUntrusted(dir); err == nil || !strings.Contains(err.Error(), "values in all") {
		t.Errorf("loaded: %v", err)
	}
}

// What a reader of files says is taken over whole; what is no problem of a file is not lost.
func TestProblemsAreTaken(t *testing.T) {
	all := &rulebase.Problems{}
	if all.Take(nil) || !all.Take(&rulebase.Problems{List: []rulebase.Problem{{Says: "one"}, {Says: "two"}}}) || !all.Take(errDisk) || len(all.List) != 3 {
		t.Errorf("%v", all)
	}
}

// A cross-section that is no number is told with its place.
func TestCrossSectionThatIsNone(t *testing.T) {
	_, err := rulebase.ReadSheet("own.yaml", []byte("sheet: own\nline: can\ncable:\n  - {length: 100 m, conductor: thick mm2}\n"), []string{"can"})
	if err == nil || !strings.Contains(err.Error(), "own.yaml:4:") || !strings.Contains(err.Error(), "thick") {
		t.Errorf("%v", err)
	}
}
