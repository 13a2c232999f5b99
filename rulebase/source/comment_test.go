package source_test

import (
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"gopkg.in/yaml.v3"

	"downdrop/rulebase/source"
)

func TestCommentsSpeakOfALine(t *testing.T) {
	text := `# one
# two

a: 1 # three
b: "no # comment" # four
c: 'it''s # none
  nor # here' # five
d: |
  # text of d
  more
e: {f: "x#y", # six
  g: z#z} # seven
h: its a 'plain # eight
# nine
`
	r := source.NewReader()
	if r.Read("x.yaml", []byte(text)); r.Err() != nil {
		t.Fatal(r.Err())
	}
	type said struct {
		Text     string
		Line, On int
	}
	var got []said
	for _, c := range r.Comments("x.yaml") {
		got = append(got, said{c.Text, c.Pos.Line, c.On})
	}
	want := []said{{"one", 1, 4}, {"two", 2, 4}, {"three", 4, 4}, {"four", 5, 5}, {"five", 7, 7}, {"six", 11, 11}, {"seven", 12, 12}, {"eight", 13, 13}, {"nine", 14, 0}}
	if d := cmp.Diff(want, got); d != "" {
		t.Errorf("-want +got:\n%s", d)
	}
}

// A quote, a # and a | are signs only where a value may begin, or behind one.
func TestWhatIsNoSignBeginsNoComment(t *testing.T) {
	for _, c := range []struct {
		text string
		want []string
	}{
		{"a: first\nb:c: x, first:\"\n# one\nd: 1", []string{"one"}},          // a quote within a text
		{"a: x, \"y # one\nb: 2 # two", []string{"one", "two"}},               // behind a comma that separates nothing
		{"a: first\n  \"second # one\nb: 2 # two", []string{"one", "two"}},    // at the head of a line that goes on
		{"- first\n  'second # one\n- 'x # y' # two", []string{"one", "two"}}, // the same in a list
		{"- a: first\n  \"b\": 'x # y' # one", []string{"one"}},               // a key, though further in than the dash
		{"a:\n  \"x # y\" # one", []string{"one"}},                            // a value in the next line
		{"a: {b:\"c # one\n  }", []string{"one"}},                             // a colon within a text in braces
		{"a: {\"b\":\"c # d\"} # one", []string{"one"}},                       // behind a quoted key no blank is needed
		{"a: [x\n  \"y # one\n  ]", []string{"one"}},                          // a text in brackets that goes on
		{"a: [x, \"y # z\", # one\n  'u # v'] # two", []string{"one", "two"}},
		{"a: x -|\nb: # one\n    c: 1 # two", []string{"one", "two"}}, // no block begins here
		{"a: x |\nb: # one\n    c: 1 # two", []string{"one", "two"}},
		{"- a: |\n    # text\n  # one\n  b: 2", []string{"one"}}, // not as far in as the block
		{"a: |\n    text\n  # one\nb: 2", []string{"one"}},
		{"a: |2\n    text\n  # text\nb: 2 # one", []string{"one"}}, // a block that says how far in it stands
		{"- |-\n # text\n- 'x # y' # one", []string{"one"}},
		{"a: > # one\n  text # text\nb: 2", []string{"one"}},
		{"a: |\n\nb: 1 # one", []string{"one"}},              // a block that holds nothing
		{"a: \"x\"#one\nb: [1]#two", []string{"one", "two"}}, // the parser takes these
		{"--- \"x # y\" # one", []string{"one"}},
		{"# one\n---\na: 1 # two", []string{"one", "two"}},
		{"a: it's # one\nb: 'it''s # no' # two\nc: \"\\\"# no\" # three", []string{"one", "two", "three"}},
	} {
		r := source.NewReader()
		if r.Read("x.yaml", []byte(c.text)); r.Err() != nil {
			t.Errorf("%q: %v", c.text, r.Err())
			continue
		}
		var got []string
		for _, comment := range r.Comments("x.yaml") {
			got = append(got, comment.Text)
		}
		if d := cmp.Diff(c.want, got); d != "" {
			t.Errorf("%q: -want +got:\n%s", c.text, d)
		}
		var doc yaml.Node
		if err := yaml.Unmarshal([]byte(c.text), &doc); err != nil {
			t.Fatal(err)
		}
		for _, says := range parsersComments(&doc) {
			if !slices.Contains(got, says) {
				t.Errorf("%q: the parser has a comment %q", c.text, says)
			}
		}
	}
}

// parsersComments are the lines of comments that the parser kept.
func parsersComments(n *yaml.Node) []string {
	var all []string
	for _, c := range []string{n.HeadComment, n.LineComment, n.FootComment} {
		for line := range strings.Lines(c) {
			if says := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), "#")); says != "" {
				all = append(all, says)
			}
		}
	}
	for _, child := range n.Content {
		all = append(all, parsersComments(child)...)
	}
	return all
}

// What the parser calls a comment in the files that ship is one here, and the
// other way round, but for those that the parser loses.
func TestCommentsAgreeWithTheParser(t *testing.T) {
	files, err := filepath.Glob("../drop/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal(err, len(files))
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		r := source.NewReader()
		r.Read(file, text)
		ours := map[string]bool{}
		for _, c := range r.Comments(file) {
			ours[c.Text] = true
		}
		var doc yaml.Node
		if err := yaml.Unmarshal(text, &doc); err != nil {
			t.Fatal(err)
		}
		for _, says := range parsersComments(&doc) {
			if !ours[says] {
				t.Errorf("%s: the parser has a comment %q", file, says)
			}
		}
	}
}
