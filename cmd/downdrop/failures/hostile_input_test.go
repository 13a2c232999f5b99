//go:build unix

package failures_test

import (
	"bytes"
	"compress/flate"
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"testing/fstest"
	"time"

	"github.com/expr-lang/expr/builtin"

	"downdrop/cases"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// slowest is when an answer counts as none: a test's own deadline, far above what any of these
// inputs takes (TestF15 and the benchmarks have the figures).
const slowest = 30 * time.Second

// A row of hostile input: what comes in, what must hold, and who holds it: do, by public doors, or a test that
// stands where the door is. Where our cap is another than the one that was proposed to us (a length of
// 4 KiB, 200 nodes, 20 levels, 5,000 rules, ...), why says so.
type hostileRow struct {
	input, must string
	why         string
	held        string // FILE TestName
	do          func(t *testing.T)
}

var hostileRows = []hostileRow{
	{input: "an expression of 100,000 nested brackets", must: "is refused before anything reads it that calls itself", do: refusedExpression(strings.Repeat("(", 100_000)+"flag"+strings.Repeat(")", 100_000), "longer than 4096 bytes")},
	{input: "an expression of 900,000 nested brackets", must: "is refused, and the program goes on", do: refusedExpression(strings.Repeat("(", 900_000)+"flag"+strings.Repeat(")", 900_000), "longer than 4096 bytes")},
	{input: "two million signs of not", must: "are refused, and the program goes on", do: refusedExpression(strings.Repeat("!", 2_000_000)+"flag", "longer than 4096 bytes")},
	{input: "five million signs of not", must: "make a file that is refused for its size", do: refusedExpression(strings.Repeat("!", 5_000_000)+"flag", "larger than 2 MiB")},
	{input: "101 levels of brackets in a short expression", must: "are refused for their depth", held: "rulebase/expression_test.go TestTooMuchIsRefused"},
	{input: "a sum of 10,001 parts", must: "is refused for its length", why: "no count of nodes: 4,096 bytes hold at most 2,048 of them", do: refusedExpression(strings.TrimSuffix(strings.Repeat("n+", 10_001), "+")+" > 1", "longer than 4096 bytes")},
	{input: "the longest sum that is short enough", must: "is taken", do: func(t *testing.T) {
		text := strings.TrimSuffix(strings.Repeat("n+", 2000), "+") + " > 1"
		if err := loads(t, text); err != nil {
			t.Errorf("%v", err)
		}
	}},
	{input: "len(1..1e9)", must: "is no part of the language", do: refusedExpression("len(1..1000000000) > 1", "")},
	{input: `repeat("a", 1e9)`, must: "is no part of the language", do: refusedExpression(`repeat("a", 1000000000) == flag`, "")},
	{input: "predicates within predicates", must: "are no part of the language", do: refusedExpression("all(1..100, {all(1..100, {all(1..100, {flag})})})", "")},
	{input: "counting within counting", must: "is no part of the language", do: refusedExpression("count(n, {count(n, {count(n, {true})})}) > 1", "")},
	{input: "let, doubling a text", must: "is no part of the language", do: refusedExpression(`let a = "xxxxxxxx"; let b = a + a; b + b == flag`, "")},
	{input: "a text of 4,000 letters", must: "is no value of anything", why: "texts are compared with listed values only, so their length needs no cap of its own", do: refusedExpression(`choice == "`+strings.Repeat("a", 4000)+`"`, "")},
	{input: "(a+)+$ and other patterns", must: "are no part of the language", why: "nothing in a rulebase needs one: texts have listed values", do: func(t *testing.T) {
		for _, text := range []string{`choice matches "(a+)+$"`, `choice matches "((a{0,100}){0,100}){0,100}"`, "choice matches choice"} {
			refusedExpression(text, "")(t)
		}
	}},
	{input: "1/0", must: "is refused, or unknown where it comes out of givens", held: "rulebase/expression_test.go TestNumberMeanings"},
	{input: "2**10000", must: "is no part of the language", do: refusedExpression("n > 2**10000", "")},
	{input: "1e400 and 9223372036854775807+1", must: "are too large a number", do: func(t *testing.T) {
		for _, text := range []string{"n > 1e400", "n > 9223372036854775807+1", "n > 9007199254740992*2", "n > -9223372036854775808"} {
			refusedExpression(text, "large")(t)
		}
	}},
	{input: "NaN and infinity as a reading", must: "are refused where they come in", do: func(t *testing.T) {
		for _, text := range []string{"NaN", "nan V", "Inf", "-inf V", "+Infinity", "1e999", "-1e999 V", ".nan", ".inf", "0x7ff8000000000000p9999"} {
			if x, err := quantity.Parse(text, "V"); err == nil {
				t.Errorf("%q is %v", text, x)
			}
		}
	}},
	{input: "now()", must: "is no part of the language: time comes in as something observed", do: refusedExpression("n > now()", "")},
	{input: "every function of the library that reads expressions", must: "is refused but for those of the format", why: "a list of what is allowed, and the rest refused", do: func(t *testing.T) {
		for _, name := range builtin.Names {
			if name == "abs" || name == "max" || name == "min" {
				continue
			}
			for _, text := range []string{name + "(n) > 1", name + "(n, n) == 1", name + "(choice)", "n | " + name + "() > 1"} {
				if err := loads(t, text); err == nil {
					t.Errorf("%s is taken", text)
				}
			}
		}
		if len(builtin.Names) < 40 {
			t.Errorf("only %d functions are known", len(builtin.Names))
		}
	}},
	{input: "aliases that double nine times", must: "are refused as aliases, however few", do: func(t *testing.T) {
		var b strings.Builder
		b.WriteString("a: &a [x, x, x, x, x, x, x, x, x]\n")
		for c := 'b'; c <= 'i'; c++ {
			fmt.Fprintf(&b, "%c: &%c [*%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c, *%c]\n", c, c, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1, c-1)
		}
		for _, text := range []string{b.String(), "a: &a 1\nb: *a\n", "a: &a {b: 1}\nc: {<<: *a}\n", "a: &a [*a]\n"} {
			refusedFile(text, "")(t)
		}
	}},
	{input: "9,999 and 100,000 levels of values", must: "are refused for their depth or their form", why: "64 levels where 20 were proposed: a limit of work, and far more than the format's own 7", do: func(t *testing.T) {
		for _, n := range []int{65, 9_999, 100_000} {
			refusedFile("causes: "+strings.Repeat("[", n)+strings.Repeat("]", n)+"\n", "")(t)
			refusedFile("causes: "+strings.Repeat("{a: ", n)+strings.Repeat("}", n)+"\n", "")(t)
		}
	}},
	{input: "a list of 60,000 maps in more than 2 MiB", must: "is refused for its size", do: refusedFile("causes:\n"+strings.Repeat("  - {name: the supply fuse is blown}\n", 60_000), "2 MiB")},
	{input: "200,001 values in less than 2 MiB", must: "are refused for their number", why: "values and bytes are counted, not rules: a rule may be large. From elsewhere it is 80,000 values in 200 files, before anything is parsed", held: "rulebase/source/source_test.go TestTooLarge"},
	{input: "a rulebase from elsewhere that wants work without end", must: "is answered after so many steps", held: "engine/review/untrusted_test.go TestStrangersGetSoMuchWork"},
	{input: "a rulebase from elsewhere of too many bytes, values or files, with links or pipes in it", must: "is refused before it is parsed, and no link is followed out of it", held: "cmd/downdrop/main_test.go TestScripts", why: "testdata/script/check_untrusted.txtar"},
	{input: "a rulebase with a link out of its folder", must: "is refused, and nothing of what is outside is told", do: func(t *testing.T) {
		dir := t.TempDir()
		secret := filepath.Join(dir, "secret.yaml")
		folder := filepath.Join(dir, "folder")
		if err := errors.Join(os.WriteFile(secret, []byte("hunter: 2\n"), 0o600), os.Mkdir(folder, 0o700), os.Symlink("../secret.yaml", filepath.Join(folder, "a.yaml")), os.Symlink(secret, filepath.Join(folder, "b.yaml"))); err != nil {
			t.Fatal(err)
		}
		if _, err := rulebase.LoadUntrusted(folder); err == nil || strings.Contains(err.Error(), "hunter") {
			t.Errorf("%v", err)
		}
	}},
	{input: "twice the same key, TAB, NUL, bytes that are no UTF-8, a turned direction of writing", must: "are each refused with their line and what to do", held: "rulebase/source/source_test.go TestBadTextsAreExplained"},
	{input: "a text that holds the reader up", must: "is answered", held: "rulebase/source/source_test.go TestHugeAndCrookedTexts"},
	{input: "010, 1_000, .nan, .inf and no", must: "are read by their text and never by a guess", do: func(t *testing.T) {
		for text, says := range map[string]string{"010": "", "1_000": "", ".nan": "", ".inf": "", "0x1F": "", "1e400": "", "no": ""} {
			refusedFile("remedies:\n  m: {do: a, minutes: "+text+"}\n", says)(t)
		}
	}},
	{input: "flags and numbers as people write them", must: "are read by their text", held: "rulebase/limits_test.go TestFlagsAndNumbersByTheirText|rulebase/huge_test.go TestFlagsAndNumbersByTheirText"},
	{input: "rulebases and case files of any kind that are long", must: "are answered in time that does not grow with their square", held: "rulebase/huge_test.go TestHugeRulebases"},
	{input: "an id with letters that look like others", must: "is refused: ids are plain letters", do: func(t *testing.T) {
		for _, id := range []string{"fus\u0435", "\uff46use", "fuse\u200b", "f\u0301use", "\u202efuse", "Fuse", "fu se"} {
			refusedFile("conditions:\n  \""+id+"\": {when: true}\n", "")(t)
		}
	}},
	{input: "a megabyte of combining marks in a name", must: "is loaded or refused, and shown", why: "a text is as long as its file may be; what is shown of it is cut into lines", do: func(t *testing.T) {
		text := "rulebase: {name: x, version: 1}\ncauses:\n  c: {name: \"a" + strings.Repeat("\u0301", 500_000) + "\", per_thousand: 1, source: common_practice}\n"
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "a.yaml"), []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		r := runFor(t, "diagnose", "--rulebase", dir)
		r.calm(t, "a megabyte of combining marks")
		if r.code != 0 && r.code != 4 {
			t.Errorf("%v", r)
		}
	}},
	{input: "words written with signs that look alike or are put together", must: "are found all the same", do: func(t *testing.T) {
		for written, asked := range map[string]string{"\uff26use": "fuse", "caf\u0065\u0301": "caf\u00e9", "\ufb01ne": "fine"} {
			if cases.Folded(written) != cases.Folded(asked) {
				t.Errorf("%q is %q, and %q is %q", written, cases.Folded(written), asked, cases.Folded(asked))
			}
		}
	}},
	{input: "formulas in a list for a spreadsheet", must: "are text in it", held: "cmd/internal/report/triage_test.go TestHostileTextInAWorklist"},
	{input: "formulas in papers and lists of units", must: "are text in them", held: "cmd/internal/report/unit_test.go TestHostileTextsInUnits"},
	{input: "a list of returns with rows that are torn, long or of too many lines", must: "has them in its rejects, with the line", held: "cmd/internal/triage/triage_test.go TestBadRowsAreRejected"},
	{input: "a list of returns that is no list", must: "is refused", held: "cmd/internal/triage/triage_test.go TestListsThatCannotBeRead"},
	{input: "an instrument's file that is none", must: "is refused with its line", held: "engine/waveform/capture_test.go TestBadFiles"},
	{input: "a kept rulebase whose files are named out of it", must: "is refused", do: func(t *testing.T) {
		for _, name := range []string{"../a.yaml", "/etc/a.yaml", "a/b.yaml", "..", "", "a.yaml/../../b.yaml"} {
			if _, err := rulebase.LoadBundle([]byte(name + "\x00rulebase: {name: x, version: 1}\n\x00")); err == nil {
				t.Errorf("%q is loaded", name)
			}
		}
	}},
	{input: "an export that is cut, changed or forged at any place", must: "is refused, and nothing of it is kept", why: "it is one text of lines without names of files: no entry leads anywhere, and each is streamed", held: "cases/sqlite/crash_test.go TestF11F12"},
	{input: "an export with a line without end", must: "is refused at 256 MiB of one line", why: "a line is a file in base 64, of at most 8 MiB; 256 leaves room for what later versions keep", do: func(t *testing.T) {
		if testing.Short() {
			t.Skip("it reads 256 MiB")
		}
		if _, err := cases.ReadManifest(endless{}); !errors.Is(err, cases.ErrSpoilt) {
			t.Errorf("%v", err)
		}
	}},
	{input: "a hand-over that unpacks to a gigabyte", must: "is refused at 8 MiB", do: func(t *testing.T) {
		var packed bytes.Buffer
		z, err := flate.NewWriter(&packed, flate.BestSpeed)
		if err != nil {
			t.Fatal(err)
		}
		chunk := make([]byte, 1<<20)
		for range 1 << 10 {
			if _, err := z.Write(chunk); err != nil {
				t.Fatal(err)
			}
		}
		if err := z.Close(); err != nil {
			t.Fatal(err)
		}
		letters := base32.StdEncoding.WithPadding(base32.NoPadding)
		sum := sha256.Sum256(packed.Bytes())
		if _, _, err := cases.ReadHandOver("DOWNDROP1/1/1/" + letters.EncodeToString(sum[:10]) + "/" + letters.EncodeToString(packed.Bytes())); !errors.Is(err, cases.ErrSpoilt) {
			t.Errorf("%v", err)
		}
	}},
	{input: "a hand-over of a hundred thousand heads", must: "is answered", do: func(t *testing.T) {
		for _, text := range []string{strings.Repeat("DOWNDROP1/1/999/AAAAAAAAAAAAAAAA/\n", 100_000), strings.Repeat("DOWNDROP1/7/999/AAAAAAAAAAAAAAAA/"+strings.Repeat("A", 60), 40_000)} {
			if _, _, err := cases.ReadHandOver(text); err == nil {
				t.Error("it was read")
			}
		}
	}},
	{input: "a file taken along that is none, or another's", must: "is refused in words", do: func(t *testing.T) {
		dir := t.TempDir()
		for name, text := range map[string]string{"page.html": "<!doctype html><script>alert(1)</script>", "empty.html": "", "long.html": strings.Repeat("DOWNDROP1/1/2/AAAAAAAAAAAAAAAA/AA\n", 200_000)} {
			file := filepath.Join(dir, name)
			if err := os.WriteFile(file, []byte(text), 0o600); err != nil {
				t.Fatal(err)
			}
			r := runFor(t, "case", "receive", file, "--store", filepath.Join(dir, "cases.db"))
			r.calm(t, name)
			if r.code != 4 && r.code != 5 || r.said == "" {
				t.Errorf("%s: %v", name, r)
			}
		}
	}},
	{input: "a picture of 65,536 by 65,536 points, a program, a page", must: "are not kept with a case", held: "cases/picture_test.go TestFilesThatAreKeptOrRefused"},
	{input: "texts that would be HTML, SVG or script on a page", must: "are text on it", held: "cmd/internal/page/hostile_test.go TestHostileStringsInEveryFieldInABrowser"},
	{input: "texts that would be HTML, SVG or script in a drawing or a sheet", must: "are text in it", held: "cmd/internal/report/decision_test.go TestHostileTextStaysTextInTheDrawing"},
	{input: "texts that would be more than text in a record, HTML or PDF", must: "are text in both", held: "cmd/internal/report/record_test.go TestHostileTextsBreakNothing"},
	{input: "texts that would steer a terminal", must: "are shown without doing so", held: "cmd/internal/report/report_test.go TestTextCannotSteerATerminal"},
	{input: "names of files in the heads of answers", must: "are made up by us, of plain letters, a case's code and a date", do: func(t *testing.T) {
		files, err := filepath.Glob("../../internal/page/*.go")
		if err != nil || len(files) == 0 {
			t.Fatal(files, err)
		}
		for _, name := range files {
			text, err := os.ReadFile(name)
			if err != nil {
				t.Fatal(err)
			}
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			for line := range strings.Lines(string(text)) {
				if strings.Contains(line, `"Content-Disposition"`) && !strings.Contains(line, `"shop-"+m.From.Format("2006-01")+".csv"`) && !strings.Contains(line, `fileOf(c, ending)`) {
					t.Errorf("%s names a file in a head: make the name up, write it by RFC 6266 and add it here\n%s", name, line)
				}
			}
		}
	}},
	{input: "forms and heads that are too long", must: "are answered 413 and 431", held: "cmd/internal/page/guard_test.go TestHugeRequestsAreBounded"},
	{input: "forms and heads that come too slowly", must: "are cut off, others are answered meanwhile", held: "cmd/internal/page/guard_test.go TestSlowRequestsAreCutOff"},
	{input: "an input without end", must: "is refused, whichever command reads it", do: func(t *testing.T) {
		if _, err := os.Stat("/dev/zero"); err != nil {
			t.Skip("there is no input without end here")
		}
		store := filepath.Join(t.TempDir(), "cases.db")
		for _, args := range []string{"diagnose /dev/zero", "line check /dev/zero", "bench check /dev/zero", "case receive /dev/zero --store " + store, "record verify /dev/zero", "rulebase format /dev/zero"} {
			r := runFor(t, strings.Fields(args)...)
			r.calm(t, args)
			if r.code != 3 && r.code != 4 && r.code != 5 || r.said == "" {
				t.Errorf("%s: %v", args, r)
			}
		}
	}},
}

type endless struct{}

func (endless) Read(p []byte) (int, error) {
	for i := range p {
		p[i] = 'x'
	}
	return len(p), nil
}

// loads loads a rulebase with a condition of a rule, as one of ours and as one from elsewhere, and
// gives what both refuse it for.
func loads(t *testing.T, expression string) error {
	t.Helper()
	quoted := "'" + strings.ReplaceAll(expression, "'", "''") + "'"
	return loadsFile(t, "givens:\n  flag: {}\n  n: {ask: a, unit: m, range: [0, 100]}\n  choice: {ask: a, one_of: [a, b]}\nrules:\n  r: {when: "+quoted+", then: {fact: true}, source: common_practice}\n")
}

func loadsFile(t *testing.T, text string) error {
	t.Helper()
	text = "rulebase: {name: x, version: 1}\n" + text
	begin := time.Now()
	_, ours := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"a.yaml": {Data: []byte(text)}}})
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.yaml"), []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	_, strangers := rulebase.LoadUntrusted(dir)
	if took := time.Since(begin); took > slowest {
		t.Errorf("no answer in %v", took)
	}
	if ours != nil && strangers == nil {
		t.Errorf("what is refused of ours is taken from elsewhere: %v", ours)
	}
	for _, err := range []error{ours, strangers} {
		var problems *rulebase.Problems
		if err != nil && (!errors.As(err, &problems) || len(problems.List) == 0) {
			t.Errorf("an error that is no problem of the file: %.200v", err)
		}
	}
	return ours
}

func refusedExpression(text, says string) func(t *testing.T) {
	return func(t *testing.T) {
		t.Helper()
		if err := loads(t, text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%.60q: want %q, got %.200v", text, says, err)
		}
	}
}

func refusedFile(text, says string) func(t *testing.T) {
	return func(t *testing.T) {
		t.Helper()
		if err := loadsFile(t, text); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%.60q: want %q, got %.200v", text, says, err)
		}
	}
}

// Each hostile input has what must hold of it, and that is held here or by the test that is named.
func TestHostileInput(t *testing.T) {
	t.Parallel() // most of it is waiting
	for _, row := range hostileRows {
		t.Run(row.input, func(t *testing.T) {
			if row.do != nil {
				row.do(t)
			} else {
				heldElsewhere(t, row.held)
			}
			if t.Failed() {
				t.Logf("%s: it %s", row.input, row.must)
			}
		})
	}
}

// heldElsewhere looks whether the test that holds a row is still there.
func heldElsewhere(t *testing.T, held string) {
	t.Helper()
	for one := range strings.SplitSeq(held, "|") {
		file, name, _ := strings.Cut(one, " ")
		text, err := os.ReadFile(filepath.Join("../../..", file))
		if err == nil && regexp.MustCompile(`(?m)^func `+name).Match(text) {
			return
		}
	}
	t.Errorf("%s is not there", held)
}
