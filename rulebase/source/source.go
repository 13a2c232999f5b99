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
	"io"
	"maps"
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
	Block  bool    // the scalar is a block of text, begun by | or >
	Braced bool    // the list or map stands in brackets or braces
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

// A Reader collects the problems of any number of files.
type Reader struct {
	Problems Problems
	Unread   int // files that could not be read to their end; what they hold is not known
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

// Absorb takes over what another reader has read and found.
func (r *Reader) Absorb(other *Reader) {
	r.Problems.List = append(r.Problems.List, other.Problems.List...)
	r.Unread += other.Unread
	maps.Copy(r.lines, other.lines)
}

// Line is the line of a file that was read, "" where there is none.
func (r *Reader) Line(p Position) string {
	if lines := r.lines[p.File]; p.Line > 0 && p.Line <= len(lines) {
		return lines[p.Line-1]
	}
	return ""
}

// Add adds a problem and looks up its line.
func (r *Reader) Add(p Problem) {
	p.Text = r.Line(p.Position)
	r.Problems.List = append(r.Problems.List, p)
}

// Problem adds a problem with a node.
func (r *Reader) Problem(n *Node, kind, meant, format string, args ...any) {
	width := utf8.RuneCountInString(n.Text)
	if n.Quoted {
		width += 2
	}
	if n.Shape != Scalar || n.Block {
		width = 1
	}
	r.Add(Problem{Position: n.Pos, Kind: kind, Meant: meant, Says: fmt.Sprintf(format, args...), Width: max(1, width)})
}

// Read reads one document. Where the text is no such thing, the node is nil and
// the problems say why. An empty file is an empty map.
func (r *Reader) Read(file string, text []byte) *Node {
	text, ok := r.clean(file, text)
	if !ok {
		r.Unread++
		return nil
	}
	d := yaml.NewDecoder(bytes.NewReader(text))
	doc, err := decode(d)
	if err == io.EOF {
		return &Node{Pos: Position{file, 1, 1}, Shape: Map, Empty: true}
	}
	if err != nil {
		r.Unread++
		r.syntax(file, text, err)
		return nil
	}
	r.onlyOne(file, d)
	if len(doc.Content) == 0 {
		return &Node{Pos: Position{file, 1, 1}, Shape: Map, Empty: true}
	}
	c := copier{r: r, file: file}
	return c.copy(doc.Content[0], 0)
}

// decode decodes one document. What the parser lets fall is an error, too.
func decode(d *yaml.Decoder) (doc yaml.Node, err error) {
	defer func() {
		if fault := recover(); fault != nil {
			err = fmt.Errorf("yaml: the text cannot be read (%v)", fault)
		}
	}()
	err = d.Decode(&doc)
	return doc, err
}

// onlyOne refuses a second document in the file.
func (r *Reader) onlyOne(file string, d *yaml.Decoder) {
	more, err := decode(d)
	if err == io.EOF {
		return
	}
	line := max(1, more.Line)
	if err != nil {
		line = len(r.lines[file])
	}
	for ; line > 1 && !strings.HasPrefix(r.lines[file][line-1], "---"); line-- {
	}
	r.Add(Problem{Position: Position{file, line, 1}, Kind: "several-documents", Says: "a second document begins here; a file holds one", Width: 3})
}

// clean takes off the mark at the head of a file and makes all line ends alike.
// ok is false, and the problem said, where the file is no text that can be read.
func (r *Reader) clean(file string, text []byte) (cleaned []byte, ok bool) {
	whole := func(kind, format string, args ...any) ([]byte, bool) {
		r.Add(Problem{Position: Position{File: file}, Kind: kind, Says: fmt.Sprintf(format, args...)})
		return nil, false
	}
	if len(text) > MostBytes {
		return whole("too-large", "the file is larger than %d MiB; split it", MostBytes>>20)
	}
	if bytes.HasPrefix(text, []byte{0xff, 0xfe}) || bytes.HasPrefix(text, []byte{0xfe, 0xff}) {
		return whole("encoding", "the file is UTF-16 text; save it as UTF-8")
	}
	text = bytes.TrimPrefix(text, []byte("\ufeff"))
	if bytes.IndexByte(text, '\r') >= 0 {
		text = bytes.ReplaceAll(bytes.ReplaceAll(text, []byte("\r\n"), []byte("\n")), []byte("\r"), []byte("\n"))
	}
	r.lines[file] = strings.Split(string(text), "\n")
	if i := unfit(text); i >= 0 {
		line := bytes.Count(text[:i], []byte("\n"))
		column := 1 + utf8.RuneCount(text[bytes.LastIndexByte(text[:i], '\n')+1:i])
		r.Add(Problem{Position: Position{file, line + 1, column}, Kind: "encoding", Says: unfitSays(text[i:]), Width: 1})
		return nil, false
	}
	if n := bytes.Count(text, []byte(",")) + bytes.Count(text, []byte("\n")) + bytes.Count(text, []byte("- ")) + bytes.Count(text, []byte("[")); n > 2*MostNodes {
		return whole("too-large", "the file holds more than %d values; split it", MostNodes)
	}
	return text, true
}

// unfit is the place of the first character that no file of ours holds: what is
// not UTF-8, what cannot be seen (YAML would also count some of these as line
// ends and lose the place of all that follows), what turns the reading
// direction round. -1 where there is none.
func unfit(text []byte) int {
	for i := 0; i < len(text); {
		if b := text[i]; b < utf8.RuneSelf {
			if b < ' ' && b != '\n' && b != '\t' || b == 0x7f {
				return i
			}
			i++
			continue
		}
		c, size := utf8.DecodeRune(text[i:])
		if c == utf8.RuneError && size == 1 || c < 0xa0 || c == 0x2028 || c == 0x2029 || c == 0xfeff || c == 0xfffe || c == 0xffff ||
			c >= 0x202a && c <= 0x202e || c >= 0x2066 && c <= 0x2069 {
			return i
		}
		i += size
	}
	return -1
}

func unfitSays(text []byte) string {
	c, size := utf8.DecodeRune(text)
	switch {
	case c == utf8.RuneError && size == 1:
		return "the file is not UTF-8 text from here on; save it as UTF-8"
	case c == 0:
		return "the file holds a zero byte here; it is no text"
	}
	return fmt.Sprintf("the file holds a character here that cannot be seen (U+%04X); take it out", c)
}

type copier struct {
	r     *Reader
	file  string
	nodes int
	slab  []Node // nodes are made many at a time
}

func (c *copier) node(y *yaml.Node) *Node {
	if len(c.slab) == 0 {
		c.slab = make([]Node, 128)
	}
	n := &c.slab[0]
	c.slab = c.slab[1:]
	n.Pos = Position{c.file, y.Line, y.Column}
	return n
}

func (c *copier) copy(y *yaml.Node, depth int) *Node {
	n := c.node(y)
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
	switch y.Kind {
	case yaml.ScalarNode:
		c.copyScalar(y, n)
	case yaml.SequenceNode:
		n.Shape, n.Braced = List, y.Style&yaml.FlowStyle != 0
		n.Items = make([]*Node, 0, len(y.Content))
		for _, item := range y.Content {
			n.Items = append(n.Items, c.copy(item, depth+1))
		}
	case yaml.MappingNode:
		n.Shape, n.Braced = Map, y.Style&yaml.FlowStyle != 0
		c.copyMap(y, n, depth)
	}
	c.refuse(y, n)
	return n
}

func (c *copier) copyScalar(y *yaml.Node, n *Node) {
	n.Text = y.Value
	n.Block = y.Style&(yaml.LiteralStyle|yaml.FoldedStyle) != 0
	n.Quoted = n.Block || y.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0
	n.Empty = !n.Quoted && y.Value == ""
	// A # right before a word was hardly meant as a comment: terminal #3.
	if s := y.LineComment; !n.Quoted && len(s) > 1 && s[1] != ' ' && s[1] != '#' && (n.Empty || strings.Contains(n.Text, " ") || s[1] >= '0' && s[1] <= '9') {
		sign := &Node{Pos: n.Pos, Text: s}
		if line := c.r.lines[c.file]; n.Pos.Line <= len(line) {
			if at := strings.Index(line[n.Pos.Line-1], s); at >= 0 {
				sign.Pos.Column = 1 + utf8.RuneCountInString(line[n.Pos.Line-1][:at])
			}
		}
		c.r.Problem(sign, "comment", "", "everything after # is a comment; put the text in quotes, or a blank behind the #")
	}
}

// linear is how many keys are looked through one by one; beyond, a table is made.
const linear = 16

func (c *copier) copyMap(y *yaml.Node, n *Node, depth int) {
	var table map[string]*Node
	if len(y.Content) > 2*linear {
		table = make(map[string]*Node, len(y.Content)/2)
	}
	n.Keys, n.Items = make([]*Node, 0, len(y.Content)/2), make([]*Node, 0, len(y.Content)/2)
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
		}
		if first := firstWith(n, table, key.Text); first != nil {
			c.r.Problem(key, "duplicate-key", "", "%q stands here twice; the first is on line %d, column %d", key.Text, first.Pos.Line, first.Pos.Column)
			continue
		}
		if table != nil {
			table[key.Text] = key
		}
		n.Keys = append(n.Keys, key)
		n.Items = append(n.Items, value)
	}
}

func firstWith(n *Node, table map[string]*Node, key string) *Node {
	if table != nil {
		return table[key]
	}
	for _, k := range n.Keys {
		if k.Text == key {
			return k
		}
	}
	return nil
}

// refuse refuses what YAML can do and a file of ours must not.
func (c *copier) refuse(y *yaml.Node, n *Node) {
	switch {
	case y.Kind == yaml.AliasNode:
		n.Text = "*" + y.Value
		c.r.Problem(n, "alias", "", aliasSays, n.Text)
	case y.Anchor != "":
		c.r.Problem(&Node{Pos: n.Pos, Text: "&" + y.Anchor}, "anchor", "", "YAML takes &%s for an anchor, which is not allowed; "+quotes, y.Anchor)
	case y.Style&yaml.TaggedStyle != 0 && strings.HasPrefix(y.Tag, "!!"):
		c.r.Problem(&Node{Pos: n.Pos, Text: y.Tag}, "tag", "", "tags (%s) are not allowed: every value is read by its text", y.Tag)
	case y.Style&yaml.TaggedStyle != 0:
		c.r.Problem(&Node{Pos: n.Pos, Text: y.Tag}, "tag", "", "YAML takes %s for a tag; "+quotes+" (a condition says not, never !)", y.Tag)
	}
}

// Place is where a rune of a scalar's text stands in the file, counted from 0. It
// walks the text and the file side by side, since quotes, escapes and folded
// lines make the two differ.
func (r *Reader) Place(n *Node, offset int) Position {
	lines := r.lines[n.Pos.File]
	w := walker{lines: lines, line: n.Pos.Line - 1, column: n.Pos.Column - 1, quoted: n.Quoted}
	if n.Pos.Line == 0 || n.Pos.Line > len(lines) {
		return n.Pos
	}
	if n.Block {
		w.line, w.column = w.line+1, 0
		w.skipBlanks()
	} else if n.Quoted {
		w.quote = w.rune()
		w.column++
		w.joins()
	}
	for _, c := range n.Text {
		if offset == 0 {
			break
		}
		w.next(c)
		w.joins()
		offset--
	}
	if c := w.rune(); c == 0 && w.line+1 < len(lines) && offset == 0 && !n.Block {
		w.skipBlanks()
	}
	return Position{n.Pos.File, w.line + 1, w.column + 1}
}

// A walker stands at a place of a file.
type walker struct {
	lines        []string
	runes        []rune // of the line it stands on
	of           int    // the line that runes are of, from 1; 0: none yet
	line, column int
	quoted       bool
	quote        rune
}

// rune is the rune it stands on, 0 at a line's end.
func (w *walker) rune() rune {
	if w.line >= len(w.lines) {
		return 0
	}
	if w.of != w.line+1 {
		w.runes, w.of = []rune(w.lines[w.line]), w.line+1
	}
	if w.column >= len(w.runes) {
		return 0
	}
	return w.runes[w.column]
}

// skipBlanks goes over blanks and line ends.
func (w *walker) skipBlanks() {
	for w.line < len(w.lines) {
		switch c := w.rune(); {
		case c == 0 && w.line+1 < len(w.lines):
			w.line, w.column = w.line+1, 0
		case c == ' ' || c == '\t':
			w.column++
		default:
			return
		}
	}
}

// next goes over what stands in the file for one rune of the text.
func (w *walker) next(c rune) {
	at := w.rune()
	switch {
	case at == 0 || c == '\n' && at != '\\':
		w.skipBlanks() // a line folded into a blank, or the next line of a block
	case at == '\\' && w.quote == '"':
		w.escape()
	case at == '\'' && w.quote == '\'':
		w.column += 2
	case c == ' ' && at == ' ' && strings.TrimSpace(string(w.runes[w.column:])) == "":
		w.skipBlanks()
	default:
		w.column++
	}
}

// escape goes over a backslash and what belongs to it.
func (w *walker) escape() {
	w.column++
	width := map[rune]int{'x': 3, 'u': 5, 'U': 9}[w.rune()]
	w.column += max(1, width)
}

// joins goes over line ends that a backslash takes out of the text.
func (w *walker) joins() {
	for w.quote == '"' && w.rune() == '\\' && w.column+1 == len(w.runes) && w.line+1 < len(w.lines) {
		w.column++
		w.skipBlanks()
	}
}
