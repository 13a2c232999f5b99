// Package handbook prints a whole rulebase as a book to be read: one page of HTML
// that needs nothing else, or Markdown.
//
// [New] makes a [Book] once, from the rulebase and what the engine works out from
// its rows: chapters of entries, each a few labelled rows of plain blocks. The two
// printers know nothing of causes or tests, so what one says the other says. Text
// of a rulebase is only ever text: the printers escape it, and nothing in a Book
// is markup.
package handbook

import (
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Book is a rulebase as it is read. It is never changed once made.
type Book struct {
	Title    string
	Cover    []Block // what stands under the title, before the contents
	Chapters []Chapter
	Entries  int // how many there are; they are numbered from 1
}

// A Chapter is one section of the rulebase, or an index.
type Chapter struct {
	ID     string // its anchor; it holds a hyphen, which no id of a rulebase does
	Title  string
	Intro  []Block
	Groups []Group
}

// A Group is the entries of one part of a drop, or of one place or letter.
type Group struct {
	ID      string // its anchor; "" where Title is ""
	Title   string // "": the chapter is not divided
	Part    string // the part of the drop that it is about; "": it is about none
	Rows    []Row  // of the group itself
	Entries []Entry
}

// First is the number of the first entry; 0: there is none.
func (g Group) First() int {
	if len(g.Entries) == 0 {
		return 0
	}
	return g.Entries[0].Number
}

// First is the number of the chapter's first entry; 0: there is none.
func (c Chapter) First() int {
	for _, g := range c.Groups {
		if n := g.First(); n > 0 {
			return n
		}
	}
	return 0
}

// An Entry is one id of the rulebase.
type Entry struct {
	ID     string // the id, and its anchor
	Number int    // the number by which other entries name it, on paper too
	Title  string
	Rows   []Row
}

// A Row is a label and what stands beside it.
type Row struct {
	Label  string
	Blocks []Block
}

// A Block is one of: a paragraph, a list, a procedure.
type Block struct {
	Text      Line
	List      []Line
	Procedure *Procedure
}

// A Procedure is a test or remedy as it is carried out. The warnings stand first,
// and no printer may change that.
type Procedure struct {
	Step     string // id
	Name     Line   // what is done; nil where the entry's title says it
	Warnings []Warning
	Facts    []Line // who, with what, where, what it stops
	Steps    []Line
	After    []Line // proof, and how the case ends
}

// A Warning is what is read before a step.
type Warning struct {
	ID    string
	Level string // the signal word: danger, warning, caution or notice
	Says  Line
}

// A Line is text, some of which leads to entries.
type Line []Span

// A Span is a piece of a line.
type Span struct {
	Text   string
	To     string // anchor that it leads to; "": none
	Number int    // of the entry that it leads to; 0: none is shown
	Strong bool
}

// say makes a line of one plain text.
func say(text string) Line { return Line{{Text: clean(text)}} }

// strong makes a span that stands out.
func strong(text string) Span { return Span{Text: clean(text), Strong: true} }

// then adds text to a line.
func (l Line) then(text string) Line { return append(l, Span{Text: clean(text)}) }

// clean keeps a text from steering whatever shows it: control characters and
// those that turn the direction of writing are replaced, blanks are single.
func clean(text string) string {
	text = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r) && r != '\u00a0':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r == utf8.RuneError:
			return '?'
		}
		return r
	}, text)
	for strings.Contains(text, "  ") {
		text = strings.ReplaceAll(text, "  ", " ")
	}
	return text
}

func paragraph(text string) []Block { return []Block{{Text: say(text)}} }

// rows drops the rows that say nothing.
func rows(all ...Row) []Row {
	var some []Row
	for _, r := range all {
		if len(r.Blocks) > 0 {
			some = append(some, r)
		}
	}
	return some
}

func textRow(label, text string) Row {
	if text == "" {
		return Row{}
	}
	return Row{label, paragraph(text)}
}

func lineRow(label string, line Line) Row {
	if len(line) == 0 {
		return Row{}
	}
	return Row{label, []Block{{Text: line}}}
}

func listRow(label string, list []Line) Row {
	switch len(list) {
	case 0:
		return Row{}
	case 1:
		return lineRow(label, list[0])
	}
	return Row{label, []Block{{List: list}}}
}
