package source_test

import (
	"os"
	"path/filepath"
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
		var walk func(n *yaml.Node)
		walk = func(n *yaml.Node) {
			for _, c := range []string{n.HeadComment, n.LineComment, n.FootComment} {
				for line := range strings.Lines(c) {
					if says := strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(line), "#")); says != "" && !ours[says] {
						t.Errorf("%s: the parser has a comment %q", file, says)
					}
				}
			}
			for _, child := range n.Content {
				walk(child)
			}
		}
		walk(&doc)
	}
}
