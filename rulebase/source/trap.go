package source

import (
	"fmt"
	"strings"
	"unicode/utf8"
)

// A trap is something that a person writes and YAML reads otherwise.
type trap struct {
	column int // from 1, in runes
	width  int
	kind   string
	says   string
}

// quotes is what helps against nearly every trap.
const quotes = "put the text in quotes"

const missingComma = "a comma is missing before this, or a brace above is not closed"

// A lineScanner goes over lines as YAML would, far enough to see the traps. It
// is only asked where YAML has already given up, and may be wrong about texts
// that run over several lines.
type lineScanner struct {
	line   []rune
	at     int
	depth  int   // of braces and brackets
	value  bool  // what comes next is a value: a colon stands before it
	plain  bool  // a text without quotes stands right before
	comma  bool  // a comma stands right before
	whole  bool  // inside braces: a text in quotes or a closed brace stands right before
	folds  bool  // inside braces: the line may go on with the text of the line before
	opened []int // columns of the braces of this line that are still open
	quote  int   // column of a quote that this line does not close; 0: none
	found  *trap // the first trap
}

// scan goes over one line.
func (s *lineScanner) scan(line string) {
	s.line, s.at, s.opened, s.quote = []rune(line), 0, nil, 0
	s.value, s.folds = s.value && s.depth > 0 && !s.plain, s.plain && s.depth > 0
	s.indent()
	for s.found == nil && s.at < len(s.line) {
		s.step()
	}
}

func (s *lineScanner) trap(from, to int, kind, format string, args ...any) {
	if s.found == nil {
		s.found = &trap{from + 1, max(1, to-from), kind, fmt.Sprintf(format, args...)}
	}
	s.at = len(s.line)
}

// peek is the rune at a place, a blank beyond the end.
func (s *lineScanner) peek(at int) rune {
	if at < len(s.line) {
		return s.line[at]
	}
	return ' '
}

func blank(r rune) bool { return r == ' ' || r == '\t' }

func (s *lineScanner) indent() {
	for s.at < len(s.line) && blank(s.line[s.at]) {
		if s.line[s.at] == '\t' && s.depth == 0 {
			s.trap(s.at, s.at+1, "tab", "a tab cannot indent in YAML; use blanks")
			return
		}
		s.at++
	}
	if s.peek(s.at) == '\u00a0' {
		s.trap(s.at, s.at+1, "hard-blank", "this is a hard blank (U+00A0), which is no blank to YAML; use an ordinary one")
	}
}

func (s *lineScanner) step() {
	c, i := s.line[s.at], s.at
	next := s.peek(i + 1)
	switch {
	case blank(c):
		s.at++
		return
	case c == '#' && (i == 0 || blank(s.line[i-1])):
		s.comment()
	case s.whole && s.depth > 0 && !strings.ContainsRune(",:}]", c):
		s.trap(i, i+1, "comma", missingComma)
	case c == '"' || c == '\'':
		s.quoted(c)
	case c == '{' || c == '[':
		s.depth++
		s.at++
		s.value = false
		s.opened = append(s.opened, s.at)
	case c == '}' || c == ']':
		s.closing()
	case c == ',' && s.depth > 0:
		if s.comma {
			s.trap(i, i+1, "comma", "there is a comma too many here")
		}
		s.at++
		s.value, s.plain, s.whole, s.comma = false, false, false, true
		return
	case c == ':' && (blank(next) || strings.ContainsRune(",}]", next)):
		s.at++
		s.value, s.plain, s.whole = true, false, false
	case c == '-' && blank(next) && s.depth == 0 && !s.value:
		s.at++
	case c == '?' && blank(next):
		s.trap(i, i+1, "question-mark", "a lone ? means something else in YAML; %s", quotes)
	default:
		s.text()
	}
	s.comma, s.folds = false, false
}

func (s *lineScanner) comment() {
	if s.depth > 0 && (s.plain || s.value) {
		s.trap(s.at, len(s.line), "comment", "everything after # is a comment, so the braces are never closed; %s", quotes)
	}
	s.at = len(s.line)
}

func (s *lineScanner) closing() {
	if s.depth--; s.depth < 0 {
		s.depth = 0
		s.trap(s.at, s.at+1, "brackets", "%c closes what was never opened; if it stands in a text, %s", s.line[s.at], quotes)
	}
	if len(s.opened) > 0 {
		s.opened = s.opened[:len(s.opened)-1]
	}
	s.at++
	s.value, s.plain, s.whole = false, false, s.depth > 0
}

// quoted goes over a text in quotes. One that runs over the line's end is left alone.
func (s *lineScanner) quoted(quote rune) {
	from := s.at
	for s.at++; s.at < len(s.line) && s.line[s.at] != quote; s.at++ {
		if quote == '"' && s.line[s.at] == '\\' {
			if s.at++; !s.escape() {
				s.trap(s.at-1, s.at+1, "escape", "in double quotes a backslash begins an escape; use single quotes, or write it twice")
				return
			}
		}
	}
	if s.at >= len(s.line) {
		s.at, s.quote = len(s.line), from+1
		return
	}
	s.at++
	if quote == '\'' && s.peek(s.at) == '\'' {
		s.quoted(quote) // a doubled quote is one quote
		return
	}
	after := s.at
	for after < len(s.line) && blank(s.line[after]) {
		after++
	}
	c := s.peek(after)
	fits := after >= len(s.line) || c == '#' && after > s.at || c == ':' || s.depth > 0 && strings.ContainsRune(",}]", c)
	if !fits {
		s.trap(from, s.at, "quotes", "a text that begins with a quote ends with it; put the whole text in quotes of the other kind")
	}
	s.plain, s.whole = false, s.depth > 0
}

// escape says whether what stands behind a backslash makes an escape.
func (s *lineScanner) escape() bool {
	c := s.peek(s.at)
	digits := map[rune]int{'x': 2, 'u': 4, 'U': 8}[c]
	for i := range digits {
		if !strings.ContainsRune("0123456789abcdefABCDEF", s.peek(s.at+1+i)) {
			return false
		}
	}
	return digits > 0 || strings.ContainsRune("0abt\tnvfre \"'/\\N_LP", c)
}

// text goes over a text without quotes.
func (s *lineScanner) text() {
	from, c := s.at, s.line[s.at]
	switch {
	case strings.ContainsRune("@`%", c), strings.ContainsRune("|>", c) && !s.block():
		s.trap(from, from+1, "first-sign", "a text cannot begin with %c in YAML; %s", c, quotes)
		return
	case c == '!':
		s.trap(from, from+1, "tag", "YAML takes ! for a tag; %s (a condition says not, never !)", quotes)
		return
	case c == '&' || c == '*':
		s.trap(from, from+1, "alias", "YAML takes %c for an anchor or alias, which are not allowed; %s", c, quotes)
		return
	case strings.ContainsRune("|>", c):
		s.at = len(s.line)
		return
	}
	for ; s.at < len(s.line); s.at++ {
		c, next := s.line[s.at], s.peek(s.at+1)
		switch {
		case c == ':' && (blank(next) || s.depth > 0 && strings.ContainsRune(",}]", next)):
			if s.folds {
				s.trap(from, s.at, "comma", missingComma)
			} else if s.value {
				s.trap(from, s.at+1, "colon", "a colon followed by a blank begins a new value; %s", quotes)
			}
			return
		case c == ':' && next == '\u00a0':
			s.trap(s.at+1, s.at+2, "hard-blank", "this is a hard blank (U+00A0), which is no blank to YAML; use an ordinary one")
			return
		case c == '#' && blank(s.line[s.at-1]):
			s.plain = true
			return
		case s.depth == 0:
		case c == '?' && (blank(next) || strings.ContainsRune(",}]", next)):
			s.trap(from, s.at+1, "question-mark", "a word that ends in ? ends the text inside braces; %s", quotes)
			return
		case c == '{' || c == '[':
			s.trap(from, s.at+1, "brackets", "%c cannot stand in a text inside braces; %s", c, quotes)
			return
		case c == ',' || c == '}' || c == ']':
			s.plain = true
			return
		}
	}
	s.plain = true
}

// block says that a | or > begins a block of text: nothing but its marks follow on the line.
func (s *lineScanner) block() bool {
	rest := strings.TrimLeft(string(s.line[s.at+1:]), "+-123456789")
	return s.depth == 0 && (strings.TrimSpace(rest) == "" || strings.HasPrefix(strings.TrimLeft(rest, " "), "#") && blank([]rune(rest)[0]))
}

// firstTrap is the first trap in some lines, counted from 0, the first of which
// begins inside depth braces; and its line.
func firstTrap(lines []string, from, to, depth int) (*trap, int) {
	s := &lineScanner{depth: depth}
	for i := max(0, from); i <= min(to, len(lines)-1); i++ {
		if s.scan(lines[i]); s.found != nil {
			return s.found, i
		}
	}
	return nil, 0
}

// contentColumn is where the text of a line begins, from 1.
func contentColumn(line string) int {
	return 1 + utf8.RuneCountInString(line) - utf8.RuneCountInString(strings.TrimLeft(line, " \t"))
}
