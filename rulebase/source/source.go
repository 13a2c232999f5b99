// Package source reads the YAML files that people write: rulebases, case files, rule tests.
//
// It is strict on purpose. Scalars are taken by their text and never by YAML's
// guess, aliases, merges and tags are refused, every value keeps its place, and
// all problems of a file are collected before anything is said. It is the only
// importer of yaml.v3.
package source

import (
	"bytes"
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// A Position is where a value stands in a file. Line and Column count from 1;
// Column counts runes. The zero Position means "not from a file".
type Position struct {
	File   string
	Line   int
	Column int
}

// Limits on one file. They are counts of work, so that no file can hold the
// program up.
const (
	MostBytes = 2 << 20
	MostDepth = 64
	MostNodes = 200_000
)

// A Shape is what a node is.
type Shape uint8

// The shapes of nodes.
const (
	Scalar Shape = iota
	List
	Map
)

// A Node is a value in a file.
type Node struct {
	Pos    Position
	Shape  Shape
	Text   string  // of a scalar
	Quoted bool    // the scalar stands in quotes, or is a block of text
	Empty  bool    // nothing was written
	Items  []*Node // of a list; of a map its values
	Keys   []*Node // of a map, beside Items
}

// Get is the value of a key, nil where the map lacks it.
func (n *Node) Get(key string) *Node {
	for i, k := range n.Keys {
		if k.Text == key {
			return n.Items[i]
		}
	}
	return nil
}

// TextPos is where the text of a scalar begins: after the quote, if there is one.
func (n *Node) TextPos() Position {
	p := n.Pos
	if n.Quoted {
		p.Column++
	}
	return p
}

// A Reader collects the problems of any number of files.
type Reader struct {
	Problems Problems
	lines    map[string][]string
}

// NewReader makes a reader.
func NewReader() *Reader { return &Reader{lines: map[string][]string{}} }

// Err is the problems found, sorted, as an error; nil where there are none.
func (r *Reader) Err() error {
	if len(r.Problems.List) == 0 {
		return nil
	}
	r.Problems.Sort()
	return &r.Problems
}

// Add adds a problem and looks up its line.
func (r *Reader) Add(p Problem) {
	if lines := r.lines[p.File]; p.Line > 0 && p.Line <= len(lines) {
		p.Text = lines[p.Line-1]
	}
	r.Problems.List = append(r.Problems.List, p)
}

// Problem adds a problem with a node.
func (r *Reader) Problem(n *Node, kind, meant, format string, args ...any) {
	width := utf8.RuneCountInString(n.Text)
	if n.Quoted {
		width += 2
	}
	if i := strings.IndexByte(n.Text, '\n'); i >= 0 || n.Shape != Scalar {
		width = 1
	}
	r.Add(Problem{Position: n.Pos, Kind: kind, Meant: meant, Says: fmt.Sprintf(format, args...), Width: max(1, width)})
}

// Read reads one document. Where the text is no such thing, the node is nil and
// the problems say why. An empty file is an empty map.
func (r *Reader) Read(file string, text []byte) *Node {
	whole := func(kind, format string, args ...any) *Node {
		r.Add(Problem{Position: Position{File: file}, Kind: kind, Says: fmt.Sprintf(format, args...)})
		return nil
	}
	if len(text) > MostBytes {
		return whole("too-large", "the file is larger than %d MiB; split it", MostBytes>>20)
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if !utf8.Valid(text) {
		return whole("encoding", "the file is not UTF-8 text; save it as UTF-8")
	}
	text = bytes.ReplaceAll(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
	r.lines[file] = strings.Split(string(text), "\n")
	if i := bytes.IndexByte(text, 0); i >= 0 {
		return whole("encoding", "the file holds a zero byte on line %d; it is no text", 1+bytes.Count(text[:i], []byte("\n")))
	}
	if !r.nested(file) {
		return nil
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	var doc, more yaml.Node
	err := d.Decode(&doc)
	if err == nil {
		if d.Decode(&more) == nil {
			r.Add(Problem{Position: Position{file, more.Line, max(1, more.Column)}, Kind: "several-documents", Says: "a second document begins here; a file holds one"})
		}
	} else if err.Error() != "EOF" {
		r.syntax(file, err.Error())
		return nil
	}
	if doc.Kind == 0 || len(doc.Content) == 0 {
		return &Node{Pos: Position{file, 1, 1}, Shape: Map, Empty: true}
	}
	c := copier{r: r, file: file}
	return c.copy(doc.Content[0], 0)
}

// nested refuses brackets nested deeper than any honest file, before yaml.v3
// recurses into them.
func (r *Reader) nested(file string) bool {
	depth := 0
	for i, line := range r.lines[file] {
		for j, c := range line {
			switch c {
			case '{', '[':
				depth++
			case '}', ']':
				depth = max(0, depth-1)
			}
			if depth > 4*MostDepth {
				r.Add(Problem{Position: Position{file, i + 1, 1 + utf8.RuneCountInString(line[:j])}, Kind: "too-deep", Says: "brackets are nested too deep here"})
				return false
			}
		}
		if indent := len(line) - len(strings.TrimLeft(line, " -")); indent > 4*MostDepth {
			r.Add(Problem{Position: Position{file, i + 1, 1}, Kind: "too-deep", Says: "the line is indented too deep"})
			return false
		}
	}
	return true
}

type copier struct {
	r     *Reader
	file  string
	nodes int
}

func (c *copier) copy(y *yaml.Node, depth int) *Node {
	n := &Node{Pos: Position{c.file, y.Line, y.Column}}
	c.nodes++
	if c.nodes == MostNodes+1 {
		c.r.Problem(n, "too-large", "", "the file holds more than %d values; split it", MostNodes)
	}
	if c.nodes > MostNodes {
		return n
	}
	if depth > MostDepth {
		c.r.Problem(n, "too-deep", "", "values are nested deeper than %d", MostDepth)
		return n
	}
	c.refuse(y, n)
	switch y.Kind {
	case yaml.ScalarNode:
		n.Text = y.Value
		n.Quoted = y.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
		n.Empty = !n.Quoted && y.Value == ""
	case yaml.SequenceNode:
		n.Shape = List
		for _, item := range y.Content {
			n.Items = append(n.Items, c.copy(item, depth+1))
		}
	case yaml.MappingNode:
		n.Shape = Map
		c.copyMap(y, n, depth)
	}
	return n
}

func (c *copier) copyMap(y *yaml.Node, n *Node, depth int) {
	first := make(map[string]*Node, len(y.Content)/2)
	for i := 0; i+1 < len(y.Content); i += 2 {
		key := c.copy(y.Content[i], depth+1)
		value := c.copy(y.Content[i+1], depth+1)
		switch {
		case key.Shape != Scalar:
			c.r.Problem(key, "key", "", "a key is one word; a list or braces cannot be one")
			continue
		case key.Text == "<<" && !key.Quoted:
			c.r.Problem(key, "merge", "", "merges (<<) are not allowed; write the keys out")
			continue
		case first[key.Text] != nil:
			c.r.Problem(key, "duplicate-key", "", "%q stands here twice; the first is on line %d", key.Text, first[key.Text].Pos.Line)
			continue
		}
		first[key.Text] = key
		n.Keys = append(n.Keys, key)
		n.Items = append(n.Items, value)
	}
}

// refuse refuses what YAML can do and a file of ours must not.
func (c *copier) refuse(y *yaml.Node, n *Node) {
	switch {
	case y.Kind == yaml.AliasNode:
		c.r.Problem(n, "alias", "", "aliases (*%s) are not allowed; write the value out, or put the text in quotes", y.Value)
	case y.Anchor != "":
		c.r.Problem(n, "anchor", "", "anchors (&%s) are not allowed; put the text in quotes if it was meant as one", y.Anchor)
	case y.Style&yaml.TaggedStyle != 0:
		c.r.Problem(n, "tag", "", "YAML takes %s for a tag; put the text in quotes (a condition says not, never !)", y.Tag)
	}
}

var yamlError = regexp.MustCompile(`^yaml: (?:line (\d+): )?(.*)$`)

// syntax says what YAML could not read, with its usual traps in plain words.
func (r *Reader) syntax(file, message string) {
	p := Problem{Position: Position{File: file}, Kind: "yaml", Says: message}
	if m := yamlError.FindStringSubmatch(message); m != nil {
		p.Says = m[2]
		p.Line, _ = strconv.Atoi(m[1])
	}
	if strings.Contains(p.Says, "exceeded max depth") {
		p.Kind = "too-deep"
	}
	lines := r.lines[file]
	if p.Line == 0 && len(lines) > 0 {
		p.Line = 1
	}
	// The parser names the line on which it gave up, often the one after.
	p.Line = min(p.Line, len(lines))
	line := lines[max(0, p.Line-1)]
	if hint, at := trap(line); hint != "" {
		p.Says, p.Column = hint, at
	} else if p.Line > 1 {
		if hint, at := trap(lines[p.Line-2]); hint != "" {
			p.Line--
			p.Says, p.Column = hint, at
		}
	}
	if p.Column == 0 {
		p.Column = 1 + len(line) - len(strings.TrimLeft(line, " \t"))
		p.Says = "this is not readable YAML: " + p.Says
	}
	p.Width = 1
	r.Add(p)
}

// trap recognises what a person writes that YAML reads otherwise, and where.
func trap(line string) (says string, column int) {
	at := func(i int) int { return 1 + utf8.RuneCountInString(line[:i]) }
	if i := strings.IndexByte(line, '\t'); i >= 0 && strings.TrimLeft(line[:i], " ") == "" {
		return "a tab cannot indent in YAML; use blanks", at(i)
	}
	if m := colonTrap.FindStringSubmatchIndex(line); m != nil {
		return "a colon followed by a blank begins a new key; put the text in quotes", at(m[2])
	}
	if m := startTrap.FindStringSubmatchIndex(line); m != nil {
		return fmt.Sprintf("a text cannot begin with %s in YAML; put the text in quotes", line[m[2]:m[3]]), at(m[2])
	}
	if m := hashTrap.FindStringSubmatchIndex(line); m != nil && strings.Count(line[:m[2]], "{") > strings.Count(line[:m[2]], "}") {
		return "everything after # is a comment, so the braces are not closed; put the text in quotes", at(m[2])
	}
	if strings.Count(line, `"`)%2 == 1 {
		return "a quote is not closed on this line", at(strings.LastIndexByte(line, '"'))
	}
	open, shut := strings.Count(line, "{")+strings.Count(line, "["), strings.Count(line, "}")+strings.Count(line, "]")
	if open > shut {
		return "a brace or bracket is not closed on this line; if it stands in a text, put the text in quotes", at(strings.LastIndexAny(line, "{["))
	}
	if open < shut {
		return "a brace or bracket is closed that was not opened; if it stands in a text, put the text in quotes", at(strings.LastIndexAny(line, "}]"))
	}
	return "", 0
}

var (
	colonTrap = regexp.MustCompile(`^\s*(?:- )?[\w]+: +[^"'{\[|>#][^"'{]*?(: )`)
	startTrap = regexp.MustCompile("^\\s*(?:- )?[\\w]+: +([@`%])")
	hashTrap  = regexp.MustCompile(`\s(#)`)
)
