package source_test

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/google/go-cmp/cmp"
	"github.com/rogpeppe/go-internal/txtar"
	"gopkg.in/yaml.v3"
	"pgregory.net/rapid"

	"downdrop/rulebase/source"
)

var update = flag.Bool("update", false, "write what the reader says into the golden files")

// TestMain sets how much the random tests try: DOWNDROP_DEEP times the least.
func TestMain(m *testing.M) {
	deep, _ := strconv.Atoi(os.Getenv("DOWNDROP_DEEP"))
	if err := flag.Set("rapid.checks", strconv.Itoa(500*max(1, deep))); err != nil {
		panic(err)
	}
	os.Exit(m.Run())
}

// problemsOf are the problems of a text, as they are printed.
func problemsOf(file string, text []byte) string {
	r := source.NewReader()
	r.Read(file, text)
	if err := r.Err(); err != nil {
		return err.Error() + "\n"
	}
	return ""
}

// Each file of testdata/bad is a text that YAML reads otherwise than it was meant,
// and what is said of it. In the text, <U+XXXX> stands for that character.
func TestBadTextsAreExplained(t *testing.T) {
	files, _ := filepath.Glob("testdata/bad/*.txtar")
	if len(files) < 30 {
		t.Fatalf("only %d files", len(files))
	}
	for _, file := range files {
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			a, err := txtar.ParseFile(file)
			if err != nil || len(a.Files) != 2 {
				t.Fatalf("%d parts, %v", len(a.Files), err)
			}
			got := problemsOf(a.Files[0].Name, unescape(a.Files[0].Data))
			if got == "" {
				t.Error("nothing was said")
			}
			if *update {
				a.Files[1].Data = []byte(got)
				if err := os.WriteFile(file, txtar.Format(a), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			if d := cmp.Diff(string(a.Files[1].Data), got); d != "" {
				t.Error(d)
			}
		})
	}
}

func unescape(text []byte) []byte {
	for _, c := range []struct{ written, is string }{{"<U+0000>", "\x00"}, {"<U+0001>", "\x01"}, {"<U+0009>", "\t"}, {"<U+00A0>", "\u00a0"}, {"<U+2028>", "\u2028"}, {"<U+202E>", "\u202e"}, {"<FF>", "\xff"}} {
		text = bytes.ReplaceAll(text, []byte(c.written), []byte(c.is))
	}
	return text
}

func TestReadsWhatIsWritten(t *testing.T) {
	r := source.NewReader()
	n := r.Read("x.yaml", []byte("\ufeff# a comment\r\na: 010\rb: [yes, \"no\", ~]\nc: {d: , e: '', f: \"\"}\n10: |\n  text\n"))
	if err := r.Err(); err != nil {
		t.Fatal(err)
	}
	var got []string
	var walk func(n *source.Node)
	walk = func(n *source.Node) {
		if n.Shape == source.Scalar {
			word := n.Text
			if n.Quoted {
				word = "'" + word + "'"
			}
			if n.Empty {
				word += " (empty)"
			}
			got = append(got, word)
		}
		for i, item := range n.Items {
			if n.Shape == source.Map {
				walk(n.Keys[i])
			}
			walk(item)
		}
	}
	walk(n)
	want := []string{"a", "010", "b", "yes", "'no'", "~", "c", "d", " (empty)", "e", "''", "f", "''", "10", "'text\n'"}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	if got := n.Get("c").Get("e").Pos; got != (source.Position{File: "x.yaml", Line: 4, Column: 13}) {
		t.Errorf("e stands at %v", got)
	}
}

func TestNothingIsAnEmptyMap(t *testing.T) {
	for _, text := range []string{"", "\n", "# only a comment\n", "---\n", "\ufeff"} {
		r := source.NewReader()
		n := r.Read("x.yaml", []byte(text))
		if n == nil || r.Err() != nil {
			t.Errorf("%q: %v", text, r.Err())
		} else if !n.Empty {
			t.Errorf("%q is not empty", text)
		}
	}
}

// Where a text's runes stand is found again: the rune at each place of a plain,
// quoted or folded text is the rune of the text.
func TestPlaceFindsEveryRune(t *testing.T) {
	for _, text := range []string{
		"a: plain words here\n",
		"a: ä wide 漢字 text\n",
		"a: 'it''s one'\n",
		`a: "a \"quoted\" \\ word"` + "\n",
		"a: \"tab\\tand \\x41 and \\u0042 here\"\n",
		"a: plain words\n   over several\n   lines\n",
		"a: \"quoted words\n   over several\n   lines\"\n",
		"a: \"joined\\\n   words\\\n  \\\n\n  of \\\n  more\"\n",
		"a: \"\\\n  begun below\"\n",
		"a: |\n  block\n  of text\n",
		"a: >\n  folded\n  text\n",
		"{a: in braces, b: c}\n",
	} {
		r := source.NewReader()
		n := r.Read("x.yaml", []byte(text))
		if err := r.Err(); err != nil {
			t.Fatal(err)
		}
		value := n.Get("a")
		lines := strings.Split(text, "\n")
		var last source.Position
		for i, c := range []rune(value.Text) {
			at := r.Place(value, i)
			if folded := i > 0 && strings.ContainsRune(" \n", []rune(value.Text)[i-1]); at == last && !folded {
				t.Errorf("%q: rune %d (%c) is found at %v, as the one before", text, i, c, at)
			}
			last = at
			line := append([]rune(lines[at.Line-1]), '\n')
			is := line[min(at.Column-1, len(line)-1)]
			if is != c && c != ' ' && c != '\n' && is != '\\' && is != '\'' {
				t.Errorf("%q: rune %d (%c) is found at %v, where %c stands", text, i, c, at, is)
			}
		}
	}
}

// The caret stands under the value, whatever stands before it on the line.
func TestCaretStandsUnderTheValue(t *testing.T) {
	for _, c := range []struct{ line, want string }{
		{"abc: x", "  abc: x\n       ^"},
		{"a\tb: x", "  a\tb: x\n   \t   ^"},
		{"漢字: x", "  漢字: x\n        ^"},
		{"é: x", "  é: x\n     ^"},
		{"23 Ω – ≤: x", "  23 Ω – ≤: x\n            ^"}, // narrow ones far up, which are in every second line of a rulebase
		{"한글 ﾊ 🔧: x", "  한글 ﾊ 🔧: x\n             ^"},
		{"ᄀ（a）: x", "  ᄀ（a）: x\n           ^"},
	} {
		column := 1 + len([]rune(c.line[:strings.Index(c.line, "x")]))
		p := source.Problem{Position: source.Position{File: "f", Line: 1, Column: column}, Says: "wrong", Text: c.line, Width: 1}
		if got := p.String(); got != "f:1:"+strconv.Itoa(column)+": wrong\n"+c.want {
			t.Errorf("%q:\n%s", c.line, got)
		}
	}
}

func TestLongLineIsCutAroundTheCaret(t *testing.T) {
	line := strings.Repeat("a", 300) + "HERE" + strings.Repeat("b", 300)
	p := source.Problem{Position: source.Position{File: "f", Line: 1, Column: 301}, Says: "wrong", Text: line, Width: 4}
	rows := strings.Split(p.String(), "\n")
	at := strings.Index(rows[2], "^~~~")
	if at < 0 || !strings.HasPrefix(rows[1][at:], "HERE") || len(rows[1]) > 120 {
		t.Error(p.String())
	}
}

func TestNearest(t *testing.T) {
	words := []string{"minutes", "needs", "warnings", "when", "wheel", "source"}
	for word, want := range map[string]string{"minuets": "minutes", "Minutes": "minutes", "warning": "warnings", "whne": "when", "sorce": "source", "zzz": "", "": "", "w": "", "neds": "needs"} {
		if got := source.Nearest(word, words); got != want {
			t.Errorf("%q: %q, not %q", word, got, want)
		}
	}
}

// The obvious recursive distance, for words short enough for it.
func slowDistance(a, b []rune) int {
	if len(a) == 0 || len(b) == 0 {
		return len(a) + len(b)
	}
	x, y := a[len(a)-1], b[len(b)-1]
	a1, b1 := a[:len(a)-1], b[:len(b)-1]
	same := 1
	if x == y {
		same = 0
	}
	d := min(slowDistance(a1, b)+1, slowDistance(a, b1)+1, slowDistance(a1, b1)+same)
	if len(a) > 1 && len(b) > 1 && x == b[len(b)-2] && y == a[len(a)-2] {
		d = min(d, slowDistance(a[:len(a)-2], b[:len(b)-2])+1)
	}
	return d
}

func TestNearestIsNearest(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		word := rapid.StringMatching(`[abc]{1,6}`)
		w, candidates := word.Draw(t, "word"), rapid.SliceOfN(word, 1, 4).Draw(t, "candidates")
		best, want := len(w)/3+1, ""
		for _, c := range candidates {
			if d := slowDistance([]rune(w), []rune(c)); d < best || d == best && want != "" && c < want {
				best, want = d, c
			}
		}
		if got := source.Nearest(w, candidates); got != want {
			t.Fatalf("%q, not %q", got, want)
		}
	})
}

// No text holds the reader up, and none makes it fall.
func TestHugeAndCrookedTexts(t *testing.T) {
	for _, piece := range []string{"[", "{", "- ", "? ", "a: ", "&a ", "*a ", "!a ", "\"", "'", "|\n", "#", "# \n", "a: b\n", ",", "[]\n", "---\n", " ", "\t", "{a: ", "- a\n", "a\n", "\\", "%a\n", "<<: ", "é", ": ", "\n", "[a, ", "a: [", "- {", "\"a\": "} {
		for _, times := range []int{source.MostBytes / len(piece), min(source.MostBytes/len(piece), source.MostNodes/2-1)} {
			begin := time.Now()
			problemsOf("x.yaml", bytes.Repeat([]byte(piece), times))
			if took := time.Since(begin); took > 10*time.Second {
				t.Errorf("%d times %q took %v", times, piece, took)
			} else if testing.Verbose() {
				t.Logf("%d times %q: %v", times, piece, took.Round(time.Millisecond))
			}
		}
	}
}

func TestTooLarge(t *testing.T) {
	if got := problemsOf("x.yaml", make([]byte, source.MostBytes+1)); !strings.Contains(got, "larger than 2 MiB") {
		t.Error(got)
	}
	if got := problemsOf("x.yaml", bytes.Repeat([]byte("- a\n"), source.MostNodes+1)); !strings.Contains(got, "more than 200000 values") {
		t.Error(got)
	}
	deep := strings.Repeat("[", source.MostDepth+2) + strings.Repeat("]", source.MostDepth+2)
	if got := problemsOf("x.yaml", []byte(deep)); !strings.Contains(got, "nested deeper than 64") {
		t.Error(got)
	}
}

func FuzzRead(f *testing.F) {
	files, _ := filepath.Glob("testdata/bad/*.txtar")
	for _, file := range files {
		a, err := txtar.ParseFile(file)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(unescape(a.Files[0].Data))
	}
	f.Fuzz(func(t *testing.T, text []byte) {
		r := source.NewReader()
		n := r.Read("x.yaml", text)
		if n == nil && r.Err() == nil {
			t.Error("neither read nor refused")
		}
		if err := r.Err(); err != nil {
			_ = err.Error()
		}
		var walk func(n *source.Node)
		walk = func(n *source.Node) {
			for i := range min(3, len(n.Text)) {
				r.Place(n, i)
			}
			r.Place(n, len(n.Text)+1)
			for i := range n.Items {
				walk(n.Items[i])
			}
		}
		if n != nil {
			walk(n)
		}
	})
}

// sample is a text of about 300 kB that looks like a rulebase.
func sample() []byte {
	var b bytes.Buffer
	b.WriteString("causes:\n")
	for i := 0; b.Len() < 300_000; i++ {
		for _, line := range []string{"  cause_", ":\n    name: \"A terminator is missing at one end\"\n    part: termination\n    per_thousand: 70\n    source: common_practice\n    more_likely: [{when: after_storm and line == token_pair, times: 2}]\n"} {
			b.WriteString(line)
			if line == "  cause_" {
				b.WriteString(strings.Repeat("x", 1+i%7) + string(rune('a'+i%26)) + string(rune('a'+i/26%26)) + string(rune('a'+i/676%26)))
			}
		}
	}
	return b.Bytes()
}

// The reader beside yaml.v3 alone, which is the floor.
func BenchmarkRead(b *testing.B) {
	text := sample()
	if got := problemsOf("x.yaml", text); got != "" {
		b.Fatal(got)
	}
	b.SetBytes(int64(len(text)))
	b.ReportAllocs()
	var ours, floor time.Duration
	for b.Loop() {
		begin := time.Now()
		problemsOf("x.yaml", text)
		middle := time.Now()
		var doc yaml.Node
		if err := yaml.Unmarshal(text, &doc); err != nil {
			b.Fatal(err)
		}
		ours += middle.Sub(begin)
		floor += time.Since(middle)
	}
	b.ReportMetric(float64(ours)/float64(floor), "x-yaml-alone")
}

// What is underlined is the whole of a value in one line, quotes included; of a list, and of a text of several
// lines, where it begins.
func TestWhatIsUnderlined(t *testing.T) {
	r := source.NewReader()
	doc := r.Read("x.yaml", []byte("a: word\nb: 'two words'\nc: |\n  a block\n  of text\nd: [1, 2]\ne:\n"))
	for key, want := range map[string]int{"a": 4, "b": 11, "c": 1, "d": 1, "e": 1} {
		r.Problems.List = nil
		r.Problem(doc.Get(key), "wrong", "", "wrong")
		if got := r.Problems.List[0].Width; got != want {
			t.Errorf("%d characters of %s are underlined, not %d", got, key, want)
		}
	}
}
