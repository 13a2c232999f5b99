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
	w := commentWalk{block: -1}
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

// A commentWalk is where in a file a walk over its lines stands.
type commentWalk struct {
	quote byte // the quote that a text begun on an earlier line waits for; 0: none
	block int  // the indent that lines of a block of text exceed; -1: no block
}

// line is the place of the # that begins a line's comment, -1 where there is none.
func (w *commentWalk) line(line string) int {
	indent := len(line) - len(strings.TrimLeft(line, " "))
	if w.block >= 0 {
		if indent > w.block || strings.TrimSpace(line) == "" {
			return -1
		}
		w.block = -1
	}
	at := w.scan(line)
	text := line
	if at >= 0 {
		text = line[:at]
	}
	if w.quote == 0 && beginsBlock(text) {
		w.block = indent
	}
	return at
}

// scan looks for a # outside quotes with a blank, or nothing, before it.
func (w *commentWalk) scan(line string) int {
	before := byte(0) // the last character that is no blank
	for i := 0; i < len(line); i++ {
		c := line[i]
		switch {
		case w.quote != 0:
			switch {
			case c == '\\' && w.quote == '"':
				i++
			case c == w.quote && c == '\'' && i+1 < len(line) && line[i+1] == '\'':
				i++
			case c == w.quote:
				w.quote, before = 0, c
			}
			continue
		case c == ' ' || c == '\t':
			continue
		case c == '#' && (i == 0 || line[i-1] == ' ' || line[i-1] == '\t'):
			return i
		case (c == '"' || c == '\'') && strings.IndexByte("\x00:-?[{,", before) >= 0:
			w.quote = c
		}
		before = c
	}
	return -1
}

// beginsBlock says whether a line ends with the sign of a block of text.
func beginsBlock(line string) bool {
	line = strings.TrimRight(line, " \t")
	line = strings.TrimRight(line, "+-0123456789")
	if !strings.HasSuffix(line, "|") && !strings.HasSuffix(line, ">") {
		return false
	}
	line = strings.TrimRight(line[:len(line)-1], " \t")
	return strings.HasSuffix(line, ":") || strings.HasSuffix(line, "-")
}
