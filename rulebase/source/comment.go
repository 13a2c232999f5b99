package source

import (
	"strings"
	"unicode/utf8"
)

// A Comment is what stands behind a # in a file.
type Comment struct {
	Pos  Position // of the #
	Text string   // what stands behind the #, without blanks around it
	On   int      // the line it speaks of: its own, or, where it stands alone, the next line that is no comment
}

// Comments are the comments of a file that was read, in their order. They are
// found by a walk over the lines and not taken from the parser, which loses some
// of those that stand inside braces.
func (r *Reader) Comments(file string) []Comment {
	w := commentWalk{parent: -1, block: noBlock}
	var found []Comment
	waiting := 0 // the first of those found that wait for the line they speak of
	for i, line := range r.lines[file] {
		at := w.line(line)
		alone := at >= 0 && strings.TrimSpace(line[:at]) == ""
		if !alone && strings.TrimSpace(line) != "" {
			for ; waiting < len(found); waiting++ {
				found[waiting].On = i + 1
			}
		}
		if at < 0 {
			continue
		}
		c := Comment{Pos: Position{file, i + 1, 1 + utf8.RuneCountInString(line[:at])}, Text: strings.TrimSpace(line[at+1:])}
		if !alone {
			c.On = i + 1
			waiting = len(found) + 1
		}
		found = append(found, c)
	}
	return found
}

// A commentWalk is where in a file a walk over its lines stands. It follows the
// parser's reading of the signs that begin and end a value, no further.
type commentWalk struct {
	stand    stand
	quote    byte // the quote that a text begun on an earlier line waits for; 0: none
	brackets int  // brackets and braces that are open
	begun    int  // the column in which the last value began
	parent   int  // the column of the key or dash that the value belongs to; -1: none
	block    int  // the column in which lines of a block of text begin; noBlock, or firstOfBlock before its first line
}

// A stand says what may come next.
type stand uint8

const (
	begins  stand = iota // a value
	inPlain              // more of a text without quotes
	ended                // a sign: a text in quotes, or what stood in brackets, has ended
)

const (
	noBlock      = -1
	firstOfBlock = -2
)

// line is the place of the # that begins a line's comment, -1 where there is none.
func (w *commentWalk) line(line string) int {
	indent := len(line) - len(strings.TrimLeft(line, " "))
	if w.inBlock(line, indent) {
		return -1
	}
	i := 0
	if w.quote == 0 && w.brackets == 0 && strings.TrimSpace(line) != "" {
		if w.stand != inPlain || indent <= w.parent {
			w.stand = begins
		}
		if strings.HasPrefix(line, "---") && blankAt(line, 3) {
			w.stand, w.parent, i = begins, -1, 3
		}
	}
	at := w.scan(line, i)
	if at >= 0 && w.stand == inPlain {
		w.stand = ended // a comment ends a text without quotes
	}
	return at
}

// inBlock says that a line belongs to a block of text.
func (w *commentWalk) inBlock(line string, indent int) bool {
	if w.block == noBlock {
		return false
	}
	if strings.TrimSpace(line) == "" {
		return true
	}
	if w.block == firstOfBlock {
		w.block = max(indent, w.parent+1)
	}
	if indent >= w.block {
		return true
	}
	w.block, w.stand = noBlock, begins
	return false
}

// scan looks from byte i on for a # that begins a comment.
func (w *commentWalk) scan(line string, i int) int {
	for ; i < len(line); i++ {
		switch c := line[i]; {
		case w.quote != 0:
			i = w.quoted(line, i)
		case c == ' ' || c == '\t':
		case c == '#' && (w.stand != inPlain || i == 0 || blankAt(line, i-1)):
			return i
		case w.brackets > 0 && strings.IndexByte(",[]{}?", c) >= 0, w.stand == begins && (c == '[' || c == '{'):
			w.bracket(c)
		case c == ':' && (blankAt(line, i+1) || w.brackets > 0 && w.stand != inPlain):
			if w.brackets == 0 {
				w.parent = w.begun
			}
			w.stand = begins
		case w.stand != begins:
		case (c == '-' || c == '?') && blankAt(line, i+1):
			w.parent = i
		case c == '"' || c == '\'':
			w.quote, w.begun = c, i
		case (c == '|' || c == '>') && w.brackets == 0:
			w.stand, w.block = ended, firstOfBlock
			if n := strings.IndexAny(blockSign(line[i+1:]), "123456789"); n >= 0 {
				w.block = max(0, w.parent) + int(line[i+1+n]-'0')
			}
		default:
			w.stand, w.begun = inPlain, i
		}
	}
	return -1
}

// quoted goes on inside quotes: it is the place of the last byte it has passed.
func (w *commentWalk) quoted(line string, i int) int {
	switch c := line[i]; {
	case c == '\\' && w.quote == '"':
		return i + 1
	case c == w.quote && c == '\'' && i+1 < len(line) && line[i+1] == '\'':
		return i + 1
	case c == w.quote:
		w.quote, w.stand = 0, ended
	}
	return i
}

// bracket passes a sign that begins or ends a value inside brackets.
func (w *commentWalk) bracket(c byte) {
	w.stand = begins
	switch c {
	case '[', '{':
		w.brackets++
	case ']', '}':
		w.brackets--
		w.stand = ended
	}
}

// blankAt says that a blank stands at a place of a line, or its end.
func blankAt(line string, i int) bool { return i >= len(line) || line[i] == ' ' || line[i] == '\t' }

// blockSign is what stands right behind the | or > of a block: how far in it stands, and how it ends.
func blockSign(s string) string { return s[:len(s)-len(strings.TrimLeft(s, "+-0123456789"))] }
