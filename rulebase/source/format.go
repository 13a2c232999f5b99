package source

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode/utf8"
)

// LongestFlow is how long a line may be that holds a list in brackets or a map in
// braces.
const LongestFlow = 160

// An Order gives the order of a map's keys by where the map stands: the keys that
// lead to it, "#" for an item of a list. "*" stands for all keys that the order does
// not name, in the order they are written; without it they come last.
type Order func(path []string) []string

// Format writes a file in its one form. What it says stays what it was, comments
// included. The rules:
//
//   - Two blanks for each level; a list's dashes stand two blanks further in than
//     its key. No tabs, no blanks at the end of a line, one line end at the end.
//   - Keys in the order of the format. Sections, entries and rows stay where they are.
//   - What stands in brackets or braces stays there, in one line, with one blank
//     behind each comma, unless the line is longer than LongestFlow or a comment
//     stands inside. Then words and numbers go on in the next line, two blanks
//     further in; all else is written out, a line for each item.
//   - What is written out stays written out.
//   - Quotes go where a single word does not need them, stay as written around any
//     other text, and come where a text needs them. They are double quotes,
//     single ones around a text with a double quote or a backslash in it.
//   - A text over several lines becomes one line; a block of text stays a block,
//     begun by |.
//   - At most one empty line in a row.
//   - A comment behind a line stands at least two blanks behind it; those of lines
//     one below the other stand in one column.
//
// The error is a *Problems where the file cannot be read.
func Format(file string, text []byte, order Order) ([]byte, error) {
	r := NewReader()
	doc := r.Read(file, text)
	if doc != nil && doc.Shape == Scalar {
		r.Problem(doc, "shape", "", "keys and values, or a list, are wanted here")
	}
	if doc != nil {
		longKeys(r, doc)
	}
	if err := r.Err(); err != nil {
		return nil, err
	}
	f := &formatter{lines: r.lines[file], comments: r.Comments(file), units: map[*Node]*unit{}, order: order}
	f.collect(doc)
	f.attach()
	f.write(doc)
	out := f.text()
	if err := same(file, doc, f.comments, out); err != nil {
		return nil, err
	}
	return out, nil
}

// longestKey is how many bytes a key may have that is written anew: YAML 1.2.2 (7.4.2) reads none of more than 1,024
// characters without a mark before it.
const longestKey = 1000

func longKeys(r *Reader, n *Node) {
	for _, k := range n.Keys {
		if n := len(keyText(k, true)); n > longestKey { // as it is written: a tab takes two
			r.Problem(k, "too-large", "", "a key of %d bytes cannot be brought into form; the most is %d", n, longestKey)
		}
	}
	for _, item := range n.Items {
		longKeys(r, item)
	}
}

// ErrChanged says that formatting would have changed what a file says: a bug of
// ours, and nothing is written.
var ErrChanged = errors.New("formatting would change what the file says")

// same reads what was written and compares it with what there was.
func same(file string, doc *Node, comments []Comment, out []byte) error {
	r := NewReader()
	again := r.Read(file, out)
	if err := r.Err(); err != nil || again == nil {
		return fmt.Errorf("%s: %w: %v", file, ErrChanged, err)
	}
	if at := differs(doc, again); at != nil {
		return fmt.Errorf("%s:%d: %w", file, at.Pos.Line, ErrChanged)
	}
	texts := func(comments []Comment) []string {
		var all []string
		for _, c := range comments {
			all = append(all, c.Text)
		}
		slices.Sort(all)
		return all
	}
	if !slices.Equal(texts(comments), texts(r.Comments(file))) {
		return fmt.Errorf("%s: %w: a comment is lost", file, ErrChanged)
	}
	return nil
}

// differs is the first node that says something else; the order of keys says nothing.
func differs(a, b *Node) *Node {
	if a.Shape != b.Shape || len(a.Items) != len(b.Items) || a.Empty != b.Empty {
		return a
	}
	if a.Shape == Scalar && (a.Text != b.Text || a.Quoted != b.Quoted && typed().MatchString(a.Text)) {
		return a
	}
	for i, item := range a.Items {
		other := b.Items[i]
		if a.Shape == Map {
			if other = b.Get(a.Keys[i].Text); other == nil {
				return a.Keys[i]
			}
		}
		if at := differs(item, other); at != nil {
			return at
		}
	}
	return nil
}

// A unit is something that begins a line: a key of a map, or an item of a list,
// that is written out. Comments belong to units and go where they go.
type unit struct {
	line   int // it begins on, in the file as it was
	indent int // columns before it, in the file as it was
	dash   int // columns before its dash, where it has one, else indent
	above  *unit
	blank  bool // an empty line stands before it, or before the comments before it
	before []remark
	behind *remark
	tail   []remark // comments at the end of what it holds
	after  []remark // comments behind it, where nothing holds it
}

// A remark is a comment as it is written.
type remark struct {
	text   string // with its #
	column int    // it stood in, from 0
	gap    int    // blanks between it and what stands before it on its line
	blank  bool   // an empty line stands before it
}

// A line of what is written.
type line struct {
	text   string
	behind *remark
	asIs   bool // a line of a block of text
}

type formatter struct {
	lines    []string
	comments []Comment
	order    Order
	units    map[*Node]*unit
	inOrder  []*unit
	out      []line
	top      []remark // comments above everything, which stay there
}

// lastLine is the last line on which something of a node begins.
func lastLine(n *Node) int {
	last := n.Pos.Line
	for _, list := range [][]*Node{n.Keys, n.Items} {
		if len(list) > 0 {
			last = max(last, lastLine(list[len(list)-1]))
		}
	}
	return last
}

// writtenOut says that a node has a line for each item: it had, or a comment stands
// between its items.
func (f *formatter) writtenOut(n *Node) bool {
	if n.Shape == Scalar || len(n.Items) == 0 {
		return false
	}
	if !n.Braced {
		return true
	}
	last := lastLine(n)
	return slices.ContainsFunc(f.comments, func(c Comment) bool { return c.Pos.Line >= n.Pos.Line && c.Pos.Line < last })
}

// collect finds the units in the order of the file.
func (f *formatter) collect(n *Node) { f.collectIn(n, nil) }

func (f *formatter) collectIn(n *Node, above *unit) {
	if !f.writtenOut(n) {
		return
	}
	list := n.Items
	if n.Shape == Map {
		list = n.Keys
	}
	for i, begin := range list {
		u := &unit{line: begin.Pos.Line, indent: max(0, begin.Pos.Column-1), above: above}
		u.dash = u.indent
		if n.Shape == List && !n.Braced {
			u.dash = max(0, n.Pos.Column-1)
		}
		f.units[begin] = u
		f.inOrder = append(f.inOrder, u)
		if n.Items[i] != begin || begin.Shape != Scalar {
			f.collectIn(n.Items[i], u)
		}
	}
}

// attach gives every comment to a unit.
func (f *formatter) attach() {
	for _, u := range f.inOrder {
		u.blank = f.blankBefore(u.line)
	}
	for _, c := range f.comments {
		at := c.Pos.Line - 1
		m := remark{text: strings.TrimRight(f.lines[at][byteOf(f.lines[at], c.Pos.Column-1):], " \t"), column: c.Pos.Column - 1, blank: f.blankBefore(c.Pos.Line)}
		before := f.lines[at][:byteOf(f.lines[at], c.Pos.Column-1)]
		m.gap = utf8.RuneCountInString(before) - utf8.RuneCountInString(strings.TrimRight(before, " \t"))
		next := slices.IndexFunc(f.inOrder, func(u *unit) bool { return u.line > c.Pos.Line })
		if next < 0 {
			next = len(f.inOrder)
		}
		alone := strings.TrimSpace(before) == ""
		switch {
		case next == 0:
			f.top = append(f.top, m)
		case !alone && next > 0 && f.inOrder[next-1].behind == nil:
			f.inOrder[next-1].behind = &m
		case next == len(f.inOrder) || next > 0 && m.column > f.inOrder[next].indent:
			f.under(f.inOrder[next-1], m)
		default:
			f.inOrder[next].before = append(f.inOrder[next].before, m)
		}
	}
	for _, u := range f.inOrder {
		if len(u.before) > 0 {
			u.blank = false // the empty lines before its comments are theirs
			last := u.line - 1
			for ; last > 0 && strings.TrimSpace(f.lines[last-1]) == ""; last-- {
				u.blank = true
			}
		}
	}
}

// under gives a comment that nothing follows to what holds all that stands as far in.
func (f *formatter) under(u *unit, m remark) {
	for u.above != nil && u.dash > m.column {
		u = u.above
	}
	if u.above != nil {
		u.above.tail = append(u.above.tail, m)
		return
	}
	u.after = append(u.after, m)
}

func (f *formatter) blankBefore(line int) bool {
	return line > 1 && line-2 < len(f.lines) && strings.TrimSpace(f.lines[line-2]) == ""
}

func byteOf(s string, runes int) int {
	for i := range s {
		if runes == 0 {
			return i
		}
		runes--
	}
	return len(s)
}

// write writes the document.
func (f *formatter) write(doc *Node) {
	f.remarks(f.top, 0)
	if len(f.inOrder) > 0 && f.inOrder[0].blank {
		f.gap()
	}
	switch {
	case doc.Empty:
	case f.writtenOut(doc):
		f.collection(doc, 0, "", nil)
	default:
		f.value(opening{}, doc, nil)
	}
}

// add writes a line.
func (f *formatter) add(indent int, text string, behind *remark) {
	f.out = append(f.out, line{text: strings.Repeat(" ", indent) + text, behind: behind})
}

func (f *formatter) gap() {
	if n := len(f.out); n > 0 && f.out[n-1].text != "" {
		f.out = append(f.out, line{})
	}
}

func (f *formatter) remarks(all []remark, indent int) {
	for _, m := range all {
		if m.blank {
			f.gap()
		}
		f.add(indent, m.text, nil)
	}
}

// collection writes the items of a list or map, a line or more for each. The first
// line begins with lead, which stands in the place of its last blanks.
func (f *formatter) collection(n *Node, indent int, lead string, path []string) {
	for place, i := range f.sorted(n, path) {
		begin := n.Items[i]
		if n.Shape == Map {
			begin = n.Keys[i]
		}
		u := f.units[begin]
		if u == nil {
			u = &unit{}
		}
		at := ""
		if place == 0 {
			at = lead
		} else if u.blank && len(u.before) == 0 {
			f.gap()
		}
		f.head(u, indent, at)
		o := opening{dash: at, begin: "-", indent: indent, behind: u.behind, path: append(slices.Clip(path), "#")}
		if n.Shape == Map {
			o.begin, o.path = keyText(n.Keys[i], false)+":", append(slices.Clip(path), n.Keys[i].Text)
		}
		f.value(o, n.Items[i], u)
		f.remarks(u.after, indent)
	}
}

// head writes the comments before a unit. Those of a unit that shares its line with
// a dash stand before the dash.
func (f *formatter) head(u *unit, indent int, lead string) {
	f.remarks(u.before, indent-len(lead))
	if u.blank && len(u.before) > 0 {
		f.gap()
	}
}

// An opening is what a line begins with: a key or dash, perhaps behind the dash of
// the list that it stands in.
type opening struct {
	dash   string // with its blank; ""
	begin  string // "key:", "-", or "" for the whole file
	indent int    // columns before begin
	behind *remark
	path   []string
}

func (o opening) text() string { return o.dash + o.begin }

// margin is how many columns stand before the dash.
func (o opening) margin() int { return o.indent - utf8.RuneCountInString(o.dash) }

// before is the opening with the blank before what goes on in its line.
func (o opening) before() string {
	if o.begin == "" {
		return o.dash
	}
	return o.text() + " "
}

// value writes a key or dash and what stands behind it.
func (f *formatter) value(o opening, n *Node, u *unit) {
	switch {
	case n.Empty:
		f.add(o.margin(), o.text(), o.behind)
	case n.Block && strings.Trim(n.Text, "\n ") != "":
		f.block(o, n.Text)
	case f.writtenOut(n):
		f.spread(o, n)
		if u != nil {
			f.remarks(u.tail, o.indent+2)
		}
	default:
		f.inOneLine(o, n)
	}
}

// inOneLine writes a value behind its opening, or, where the line becomes too long,
// as it goes on.
func (f *formatter) inOneLine(o opening, n *Node) {
	text := o.before() + f.inline(n, false, o.path)
	tooLong := n.Shape != Scalar && len(n.Items) > 1 && o.margin()+utf8.RuneCountInString(text) > LongestFlow
	switch {
	case tooLong && wordsAndNumbers(n):
		f.folded(o, n)
	case tooLong:
		f.spread(o, n)
	default:
		f.add(o.margin(), text, o.behind)
	}
}

// wordsAndNumbers says that a list or map holds nothing but short values: no text
// of several words but a condition.
func wordsAndNumbers(n *Node) bool {
	for i, item := range n.Items {
		if item.Shape != Scalar || item.Quoted && strings.Contains(item.Text, " ") {
			return false
		}
		if strings.Contains(item.Text, " ") && !(n.Shape == Map && n.Keys[i].Text == "when") {
			return false
		}
	}
	return true
}

// folded writes a list or map of words and numbers in braces over several lines.
func (f *formatter) folded(o opening, n *Node) {
	one := f.inline(n, false, o.path)
	text, end := o.before()+one[:1], one[len(one)-1:]
	margin := o.margin()
	for place, i := range f.sorted(n, o.path) {
		part := f.inline(n.Items[i], true, nil)
		if n.Shape == Map {
			part = keyText(n.Keys[i], true) + ": " + part
		}
		if place < len(n.Items)-1 {
			part += ","
		} else {
			part += end
		}
		switch {
		case place == 0:
			text += part
		case margin+utf8.RuneCountInString(text+" "+part) > LongestFlow:
			f.add(margin, text, nil)
			margin, text = o.indent+2, part
		default:
			text += " " + part
		}
	}
	f.add(margin, text, o.behind)
}

// spread writes a collection out, below its key or behind its dash.
func (f *formatter) spread(o opening, n *Node) {
	switch {
	case o.begin == "":
		f.collection(n, o.indent, "", o.path)
	case o.begin == "-" && o.behind == nil:
		f.collection(n, o.indent+2, o.text()+" ", o.path)
	default:
		f.add(o.margin(), o.text(), o.behind)
		f.collection(n, o.indent+2, "", o.path)
	}
}

// block writes a text of several lines.
func (f *formatter) block(o opening, text string) {
	sign := "|"
	body := strings.TrimRight(text, "\n")
	switch ends := len(text) - len(body); {
	case ends == 0:
		sign += "-"
	case ends > 1:
		sign += "+"
	}
	if strings.HasPrefix(strings.TrimLeft(body, "\n"), " ") || strings.HasPrefix(body, "\n") {
		sign = "|2" + sign[1:]
	}
	f.add(o.margin(), o.before()+sign, o.behind)
	for l := range strings.SplitSeq(strings.TrimSuffix(text, "\n"), "\n") {
		if l != "" {
			l = strings.Repeat(" ", o.indent+2) + l
		}
		f.out = append(f.out, line{text: l, asIs: true})
	}
}

// sorted are the indices of a map's keys in their order; a list's stay.
func (f *formatter) sorted(n *Node, path []string) []int {
	all := make([]int, len(n.Items))
	for i := range all {
		all[i] = i
	}
	if n.Shape != Map || f.order == nil {
		return all
	}
	order := f.order(path)
	if order == nil {
		return all
	}
	others := slices.Index(order, "*")
	if others < 0 {
		others = len(order)
	}
	rank := func(i int) int {
		if at := slices.Index(order, n.Keys[i].Text); at >= 0 {
			return at
		}
		return others
	}
	slices.SortStableFunc(all, func(a, b int) int { return rank(a) - rank(b) })
	return all
}

// inline writes a node in one line.
func (f *formatter) inline(n *Node, inFlow bool, path []string) string {
	switch n.Shape {
	case List:
		parts := make([]string, len(n.Items))
		for i, item := range n.Items {
			parts[i] = f.inline(item, true, append(slices.Clip(path), "#"))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	case Map:
		parts := make([]string, 0, len(n.Items))
		for _, i := range f.sorted(n, path) {
			parts = append(parts, keyText(n.Keys[i], true)+": "+f.inline(n.Items[i], true, append(slices.Clip(path), n.Keys[i].Text)))
		}
		return "{" + strings.Join(parts, ", ") + "}"
	}
	return scalar(n, inFlow)
}

// keyText writes a key; one that is empty needs its quotes.
func keyText(n *Node, inFlow bool) string {
	if n.Empty {
		return `""`
	}
	return scalar(n, inFlow)
}

// scalar writes a text with the quotes it needs, or that its author gave it.
func scalar(n *Node, inFlow bool) string {
	if n.Empty {
		return ""
	}
	if needsQuotes(n.Text, inFlow) || n.Quoted && (!plainWord().MatchString(n.Text) || taken(n.Text)) {
		return quoted(n.Text)
	}
	return n.Text
}

// plainWord is a word that needs no quotes.
var plainWord = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[A-Za-z][A-Za-z0-9_]*$`) })

// taken says that a word without quotes is taken for something else than a word:
// by readers of YAML, or where ours goes by the looks of a value.
func taken(text string) bool {
	return slices.Contains(strings.Fields("true false yes no on off y n null nil ~"), strings.ToLower(text)) || looksLikeNumber().MatchString(text)
}

// typed are the texts that without quotes are a flag or a number, with quotes a word.
var typed = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^(?i:true|false|yes|no|-?(0|[1-9][0-9]*)(\.[0-9]+)?(e[-+]?[0-9]+)?)$`)
})

var looksLikeNumber = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[-+.]?[0-9]|^[-+]?\.(?i:inf|nan)$`) })

// needsQuotes says that a text cannot stand without quotes.
func needsQuotes(text string, inFlow bool) bool {
	if text == "" || strings.TrimSpace(text) != text || strings.ContainsFunc(text, unprintable) {
		return true
	}
	if strings.ContainsAny(text[:1], ",[]{}#&*!|>'\"%@`") || strings.ContainsAny(text[:1], "-?:") && (len(text) == 1 || strings.ContainsAny(text[1:2], " ,[]{}")) {
		return true
	}
	if strings.Contains(text, ": ") || strings.Contains(text, " #") || strings.HasSuffix(text, ":") || text == "<<" || strings.HasPrefix(text, "---") || strings.HasPrefix(text, "...") {
		return true
	}
	return inFlow && (strings.ContainsAny(text, ",[]{}?") || strings.Contains(text, ":"))
}

// quoted puts a text in quotes.
func quoted(text string) string {
	if !strings.ContainsFunc(text, unprintable) {
		if strings.ContainsAny(text, `"\`) {
			return "'" + strings.ReplaceAll(text, "'", "''") + "'"
		}
		return `"` + text + `"`
	}
	return strconv.Quote(text) // whose escapes are all YAML's, too
}

func unprintable(r rune) bool { return !strconv.IsPrint(r) }

// text joins the lines, with the comments behind them in columns.
func (f *formatter) text() []byte {
	columns := f.columns()
	var b strings.Builder
	for i, l := range f.out {
		if !l.asIs {
			l.text = strings.TrimRight(l.text, " \t")
		}
		b.WriteString(l.text)
		if l.behind != nil {
			b.WriteString(strings.Repeat(" ", columns[i]-width(l)) + l.behind.text)
		}
		b.WriteByte('\n')
	}
	if n := len(f.out); n > 0 && f.out[n-1].asIs {
		return []byte(b.String())
	}
	return []byte(strings.TrimRight(b.String(), "\n") + "\n")
}

func width(l line) int { return utf8.RuneCountInString(strings.TrimRight(l.text, " \t")) }

// furthest is how far apart the comments of lines one below the other may stand to
// be brought into one column.
const furthest = 24

// columns are those of the comments behind lines.
func (f *formatter) columns() []int {
	columns := make([]int, len(f.out))
	for i := 0; i < len(f.out); {
		if f.out[i].behind == nil {
			i++
			continue
		}
		low, high, from := 1<<30, 0, i
		for ; i < len(f.out) && f.out[i].behind != nil; i++ {
			columns[i] = width(f.out[i]) + max(2, f.out[i].behind.gap)
			low, high = min(low, columns[i]), max(high, columns[i])
		}
		if high-low <= furthest {
			for j := from; j < i; j++ {
				columns[j] = high
			}
		}
	}
	return columns
}
