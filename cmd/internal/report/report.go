// Package report prints results: a diagnosis and the problems of a rulebase, as
// text for people and as JSON for programs.
//
// One result, many printers; none of them computes. Every sentence that a person
// reads stands in sentences.go, so that they can be read aloud, checked and
// changed in one place. People see rounded chances, programs see every digit.
package report

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Columns is the width of text where nothing says otherwise.
const Columns = 80

// narrowest is the least width that text is folded to: below it lines would be
// single words.
const narrowest = 20

// A page collects lines of text, folded to a width.
type page struct {
	out   strings.Builder
	width int
}

// Unfolded is the width of a text whose lines a page folds by itself.
const Unfolded = 1 << 20

func newPage(width int) *page {
	if width <= 0 || width > Columns && width != Unfolded {
		width = Columns
	}
	return &page{width: max(width, narrowest)}
}

func (p *page) writeTo(w io.Writer) error {
	if _, err := io.WriteString(w, p.out.String()); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	return nil
}

// gap leaves one empty line between what stands above and what follows.
func (p *page) gap() {
	if text := p.out.String(); text != "" && !strings.HasSuffix(text, "\n\n") {
		p.out.WriteByte('\n')
	}
}

// say writes a paragraph.
func (p *page) say(text string) { p.hang("", "", text) }

// item writes text behind a lead; the lines after the first stand under the text.
func (p *page) item(lead, text string) {
	lead = printable(lead)
	under := utf8.RuneCountInString(lead)
	if under > p.width/2 { // no room beside the lead: the text goes below it
		p.hang("", "", lead)
		p.hang("    ", "    ", text)
		return
	}
	p.hang(lead, strings.Repeat(" ", under), text)
}

// hang folds text at blanks, the first line behind first, the others behind rest.
// A word longer than a line stays whole: half an id is of no use to anybody.
func (p *page) hang(first, rest, text string) {
	line, used, begun := first, utf8.RuneCountInString(first), false
	for _, word := range strings.Fields(printable(text)) {
		n := utf8.RuneCountInString(word)
		if begun && used+1+n > p.width {
			p.line(line)
			line, used, begun = rest, utf8.RuneCountInString(rest), false
		}
		if begun {
			line += " "
			used++
		}
		line += word
		used += n
		begun = true
	}
	p.line(line)
}

// line writes one line as it is.
func (p *page) line(text string) {
	p.out.WriteString(strings.TrimRight(printable(text), " "))
	p.out.WriteByte('\n')
}

// printable keeps texts that somebody typed from steering the terminal.
func printable(text string) string {
	return strings.Map(func(r rune) rune {
		switch {
		case r == '\n' || r == '\t':
			return ' '
		case unicode.IsControl(r), unicode.Is(unicode.Bidi_Control, r), r == utf8.RuneError:
			return '?'
		}
		return r
	}, text)
}
