package review_test

import (
	"cmp"
	"fmt"
	"io/fs"
	"math/rand/v2"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"testing/fstest"
	"unicode/utf8"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// An edit is one mistake: pieces of files that are replaced.
type edit struct {
	splices []splice
	says    string // what was changed, in words
	group   string // edits are picked from group after group
}

// A splice replaces the bytes from..to of a file.
type splice struct {
	file     string
	from, to int
	text     string
}

// broken marks a splice that could not be made, such as one in a text of several lines.
var broken = splice{from: -1}

// A sheet is one rulebase file as it was written.
type sheet struct {
	name   string
	text   string
	starts []int // of lines, in bytes
	doc    *source.Node
}

// A planter makes mistakes in the shipped rulebase.
type planter struct {
	sheets []*sheet
	base   *rulebase.Base
	random *rand.Rand
}

func newPlanter(t *testing.T, base *rulebase.Base, files fs.FS) *planter {
	t.Helper()
	p := &planter{base: base}
	names, err := fs.Glob(files, "*.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range names {
		if !rulebase.IsRuleFile(name) {
			continue
		}
		text, err := fs.ReadFile(files, name)
		if err != nil {
			t.Fatal(err)
		}
		r := source.NewReader()
		s := &sheet{name: name, text: string(text), starts: []int{0}, doc: r.Read(name, text)}
		if s.doc == nil {
			t.Fatal(r.Err())
		}
		for i, c := range s.text {
			if c == '\n' {
				s.starts = append(s.starts, i+1)
			}
		}
		p.sheets = append(p.sheets, s)
	}
	return p
}

// folder is the rulebase with an edit made.
func (p *planter) folder(e edit) fstest.MapFS {
	files := fstest.MapFS{}
	for _, s := range p.sheets {
		text := s.text
		own := slices.DeleteFunc(slices.Clone(e.splices), func(x splice) bool { return x.file != s.name })
		slices.SortFunc(own, func(a, b splice) int { return cmp.Compare(b.from, a.from) }) // the last first, so that places hold
		for _, x := range own {
			text = text[:x.from] + x.text + text[x.to:]
		}
		files[s.name] = &fstest.MapFile{Data: []byte(text)}
	}
	return files
}

// place is the line on which an edit begins, and how it reads afterwards.
func (p *planter) place(e edit) string {
	first := slices.MinFunc(e.splices, func(a, b splice) int { return cmp.Compare(a.from, b.from) })
	for _, s := range p.sheets {
		if s.name == first.file {
			line, _ := slices.BinarySearch(s.starts, first.from+1)
			return fmt.Sprintf("%s:%d", s.name, line)
		}
	}
	return first.file
}

// entryAt is the entry in which a splice stands, with its section; "" where it
// stands in none.
func (p *planter) entryAt(x splice) (section, id string) {
	for _, e := range p.entries("symptoms", "tests", "remedies") {
		if e.name != x.file {
			continue
		}
		if from, to := e.lines(e.key); x.from >= from && x.from < to {
			return e.section, e.id()
		}
	}
	return "", ""
}

// offset is where a position is in the text, in bytes.
func (s *sheet) offset(pos rulebase.Position) int {
	at := s.starts[pos.Line-1]
	for range pos.Column - 1 {
		_, size := utf8.DecodeRuneInString(s.text[at:])
		at += size
	}
	return at
}

// end is where a value ends, -1 where that is not plain: a text of several lines, a block.
func (s *sheet) end(n *source.Node) int {
	from := s.offset(n.Pos)
	switch {
	case n.Empty:
		return from
	case n.Block:
		return -1
	case n.Shape != source.Scalar:
		return s.closing(from)
	case n.Quoted:
		return s.closingQuote(from)
	case strings.HasPrefix(s.text[from:], n.Text):
		return from + len(n.Text)
	}
	return -1
}

// closing is where a list or map in brackets ends; -1 for one in lines.
func (s *sheet) closing(from int) int {
	depth := 0
	for i := from; i < len(s.text); i++ {
		switch c := s.text[i]; c {
		case '[', '{':
			depth++
		case ']', '}':
			depth--
		case '"', '\'':
			if depth > 0 && strings.ContainsRune(" [{,:", rune(s.text[i-1])) {
				i = s.closingQuote(i) - 1
			}
		}
		if depth == 0 {
			if i == from {
				return -1
			}
			return i + 1
		}
	}
	return -1
}

func (s *sheet) closingQuote(from int) int {
	quote := s.text[from]
	for i := from + 1; i < len(s.text); i++ {
		switch {
		case s.text[i] == '\\' && quote == '"':
			i++
		case s.text[i] == quote:
			return i + 1
		}
	}
	return len(s.text)
}

// put replaces a whole value.
func (s *sheet) put(n *source.Node, text string) splice {
	from, to := s.offset(n.Pos), s.end(n)
	if to < 0 {
		return broken
	}
	return splice{s.name, from, to, text}
}

// retext replaces the text of a scalar and keeps its quotes.
func (s *sheet) retext(n *source.Node, text string) splice {
	if n.Quoted {
		text = strconv.Quote(text)
	}
	return s.put(n, text)
}

// exchange lets two values of one file change places.
func (s *sheet) exchange(a, b *source.Node) []splice {
	x, y := s.put(a, ""), s.put(b, "")
	if x == broken || y == broken {
		return []splice{broken}
	}
	x.text, y.text = s.text[y.from:y.to], s.text[x.from:x.to]
	return []splice{x, y}
}

// inLines says that a map stands in lines and not in braces.
func (s *sheet) inLines(m *source.Node) bool { return s.text[s.offset(m.Pos)] != '{' }

// drop takes a key and its value out of a map.
func (s *sheet) drop(m *source.Node, key string) splice {
	i := slices.IndexFunc(m.Keys, func(k *source.Node) bool { return k.Text == key })
	if i < 0 {
		return broken
	}
	if s.inLines(m) {
		from, to := s.lines(m.Keys[i])
		return splice{s.name, from, to, ""}
	}
	from, to := s.offset(m.Keys[i].Pos), s.end(m.Items[i])
	switch {
	case to < 0:
		return broken
	case i > 0:
		from = s.end(m.Items[i-1])
	case i+1 < len(m.Keys):
		to = s.offset(m.Keys[i+1].Pos)
	}
	return splice{s.name, from, to, ""}
}

// lines are the lines of an entry: the line of its key and all that is further in.
func (s *sheet) lines(key *source.Node) (from, to int) {
	from = s.starts[key.Pos.Line-1]
	last := key.Pos.Line
	for i := key.Pos.Line; i < len(s.starts); i++ {
		line := s.line(i)
		in := len(line) - len(strings.TrimLeft(line, " "))
		if strings.TrimSpace(line) == "" {
			continue
		}
		if in < key.Pos.Column {
			break
		}
		last = i + 1
	}
	if last >= len(s.starts) {
		return from, len(s.text)
	}
	return from, s.starts[last]
}

// line is a line without its end, counted from 0.
func (s *sheet) line(i int) string {
	to := len(s.text)
	if i+1 < len(s.starts) {
		to = s.starts[i+1]
	}
	return strings.TrimRight(s.text[s.starts[i]:to], "\n")
}

// An entry is an entry of a section in a file.
type entry struct {
	*sheet
	section string
	key     *source.Node
	node    *source.Node
}

func (e entry) id() string { return e.key.Text }

func (p *planter) entries(sections ...string) []entry {
	var all []entry
	for _, s := range p.sheets {
		for _, section := range sections {
			if n := s.doc.Get(section); n != nil {
				for i, k := range n.Keys {
					all = append(all, entry{s, section, k, n.Items[i]})
				}
			}
		}
	}
	return all
}

// A row is a row of a symptom's shows.
type row struct {
	entry
	node *source.Node
	when *source.Node // nil: otherwise
	next *source.Node // the row below, nil for the last
}

var notValues = []string{"when", "because", "source", "note"}

// chances are the values that a row names, with their chances as written.
func (r row) chances() (names, chances []*source.Node) {
	for i, k := range r.node.Keys {
		if !slices.Contains(notValues, k.Text) {
			names, chances = append(names, k), append(chances, r.node.Items[i])
		}
	}
	return names, chances
}

func (p *planter) rows() []row {
	var all []row
	for _, e := range p.entries("symptoms") {
		shows := e.node.Get("shows")
		if shows == nil {
			continue
		}
		for i, n := range shows.Items {
			r := row{entry: e, node: n, when: n.Get("when")}
			if i+1 < len(shows.Items) {
				r.next = shows.Items[i+1]
			}
			all = append(all, r)
		}
	}
	return all
}

// number is a chance as written, also as a word of the scale.
func (p *planter) number(n *source.Node) (float64, bool) {
	if x, ok := p.base.Words[n.Text]; ok {
		return x, true
	}
	x, err := strconv.ParseFloat(n.Text, 64)
	return x, err == nil
}

// An expression is a `when` or `only_if` as it stands in a file.
type expression struct {
	entry
	node *source.Node
	of   string // the section, or row, or factor
}

func (p *planter) expressions() []expression {
	var all []expression
	for _, e := range p.entries("conditions", "rules", "tests", "remedies") {
		for _, key := range []string{"when", "only_if"} {
			if n := e.node.Get(key); n != nil {
				all = append(all, expression{e, n, e.section})
			}
		}
	}
	for _, e := range p.entries("causes") {
		if likely := e.node.Get("more_likely"); likely != nil {
			for _, x := range likely.Items {
				if n := x.Get("when"); n != nil {
					of := "factor"
					if strings.Contains(n.Text, "user_place") {
						of = "place"
					}
					all = append(all, expression{e, n, of})
				}
			}
		}
	}
	for _, r := range p.rows() {
		if r.when != nil {
			all = append(all, expression{r.entry, r.when, "row"})
		}
	}
	return all
}

// someOther is any of a list that fits, by chance; false where none does.
func (p *planter) someOther(from []entry, fits func(entry) bool) (entry, bool) {
	fitting := slices.DeleteFunc(slices.Clone(from), func(e entry) bool { return !fits(e) })
	if len(fitting) == 0 {
		return entry{}, false
	}
	return fitting[p.random.IntN(len(fitting))], true
}

// pick chooses n edits, by chance, from as many groups as there are. A group is
// what the edit says it is, else its file.
func (p *planter) pick(kind string, n int, take func(edit) bool) int {
	p.random = rand.New(rand.NewPCG(uint64(len(kind)), seedOf(kind)))
	var all []edit
	for _, e := range mistakes[kind](p) {
		if !slices.Contains(e.splices, broken) {
			if e.group == "" {
				e.group = e.splices[0].file
			}
			all = append(all, e)
		}
	}
	p.random.Shuffle(len(all), func(i, j int) { all[i], all[j] = all[j], all[i] })
	taken := map[string]int{}
	for made := 0; ; {
		if made == n || len(all) == 0 {
			return made
		}
		at := 0
		for i := range all {
			if taken[all[i].group] < taken[all[at].group] {
				at = i
			}
		}
		if take(all[at]) {
			made++
		}
		taken[all[at].group]++
		all = slices.Delete(all, at, at+1)
	}
}

func seedOf(kind string) uint64 {
	seed := uint64(14695981039346656037) // FNV-1a, so that a kind's mistakes stay when another kind joins
	for _, c := range []byte(kind) {
		seed = (seed ^ uint64(c)) * 1099511628211
	}
	return seed
}

// shorten loses the letter in the middle.
func shorten(id string) string { return id[:len(id)/2] + id[len(id)/2+1:] }

var word = regexp.MustCompile(`[a-z][a-z0-9_]*`)
