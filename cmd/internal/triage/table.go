package triage

import (
	"bufio"
	"bytes"
	"cmp"
	"encoding/csv"
	"errors"
	"io"
	"slices"
	"strings"
	letters "unicode"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Bounds on one row, so that no list can fill the memory: a quote that is never
// closed would else take in the rest of the file.
const (
	mostRowBytes = 64 << 10
	mostRowLines = 50
)

// An encoding is how a list's letters are written.
type encoding int

const (
	utf8Letters  encoding = iota
	windows1252           // the whole list
	mixedLetters          // some rows in one, some in the other: who knows which
)

// A record is one row of a table, or what is wrong with it.
type record struct {
	line   int // where it begins
	fields []string
	raw    string // as written, decoded
	wrong  string // a whole sentence; "" where there is nothing
	blank  bool
	dirty  bool // letters that are not UTF-8, in a list that mixes
}

// records reads a table row by row.
type records struct {
	in      *bufio.Reader
	line    int    // last read
	again   []line // to be read once more
	letters encoding
	sep     rune
	fields  int // of every row; 0: not known yet
}

// A line is one as it was read, without its end.
type line struct {
	text []byte
	long bool // longer than a row may be; there is no text
}

// newRecords reads from in, whose byte order mark, or whose first letters, say whether it has two bytes a letter.
func newRecords(in io.Reader, letters encoding, sep rune) *records {
	b := bufio.NewReaderSize(in, 16<<10)
	var text io.Reader = b
	head, _ := b.Peek(512)
	order, two := twoBytes(head)
	switch {
	case bytes.HasPrefix(head, []byte("\xff\xfe")), bytes.HasPrefix(head, []byte("\xfe\xff")):
		text = transform.NewReader(b, unicode.UTF16(unicode.LittleEndian, unicode.UseBOM).NewDecoder())
	case bytes.HasPrefix(head, []byte("\xef\xbb\xbf")):
		_, _ = b.Discard(3)
	case two:
		text = transform.NewReader(b, unicode.UTF16(order, unicode.IgnoreBOM).NewDecoder())
	}
	return &records{in: bufio.NewReaderSize(&lineEnds{in: text}, 16<<10), letters: letters, sep: sep}
}

// twoBytes tells the order of the bytes of a text that has two for each letter and no mark: most letters
// of a list are those of ASCII, whose other byte is 0.
func twoBytes(head []byte) (order unicode.Endianness, is bool) {
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i%2]++
		}
	}
	letters := len(head) / 2
	few, most := letters/4, letters-letters/4
	switch {
	case letters < 4:
	case zeros[1] >= most && zeros[0] <= few:
		return unicode.LittleEndian, true
	case zeros[0] >= most && zeros[1] <= few:
		return unicode.BigEndian, true
	}
	return unicode.LittleEndian, false
}

// lineEnds gives CR, and CR LF, as LF.
type lineEnds struct {
	in io.Reader
	cr bool // the last byte read was CR
}

func (l *lineEnds) Read(p []byte) (int, error) {
	for {
		n, err := l.in.Read(p)
		if kept := l.inPlace(p[:n]); kept > 0 || n == 0 || err != nil {
			return kept, err
		}
	}
}

func (l *lineEnds) inPlace(text []byte) (kept int) {
	if !l.cr && bytes.IndexByte(text, '\r') < 0 {
		return len(text)
	}
	for _, c := range text {
		if c == '\n' && l.cr {
			l.cr = false
			continue
		}
		if l.cr = c == '\r'; l.cr {
			c = '\n'
		}
		text[kept] = c
		kept++
	}
	return kept
}

var errLongLine = errors.New("line too long")

// readLine reads a line without its end, at most mostRowBytes of it.
func (r *records) readLine() ([]byte, error) {
	if len(r.again) > 0 {
		next := r.again[0]
		r.again = r.again[1:]
		r.line++
		if next.long {
			return nil, errLongLine
		}
		return next.text, nil
	}
	var text []byte
	long := false
	for {
		part, err := r.in.ReadSlice('\n')
		if len(text)+len(bytes.TrimSuffix(part, []byte("\n"))) > mostRowBytes {
			long = true
		} else {
			text = append(text, part...)
		}
		if errors.Is(err, bufio.ErrBufferFull) {
			continue
		}
		if err != nil && (err != io.EOF || len(text) == 0 && !long) {
			return nil, err
		}
		break
	}
	r.line++
	if long {
		return nil, errLongLine
	}
	return bytes.TrimSuffix(text, []byte("\n")), nil
}

// next is the next row; io.EOF at the end.
func (r *records) next() (record, error) {
	text, err := r.readLine()
	out := record{line: r.line}
	if errors.Is(err, errLongLine) {
		out.wrong = sayRowTooLong
		return out, nil
	}
	if err != nil {
		return out, err
	}
	text, more := r.wholeRow(text)
	if out = r.take(out.line, text); out.wrong != "" && len(more) > 0 {
		// A quote that was never meant to open anything: its line is given up alone.
		r.again, r.line = append(more, r.again...), out.line
		out = r.take(out.line, text[:bytes.IndexByte(text, '\n')])
		out.wrong = sayQuoteOpen
	}
	return out, nil
}

// take makes a record of the text of a row.
func (r *records) take(line int, text []byte) record {
	out := record{line: line}
	out.raw, out.dirty = r.decode(text)
	if r.open(text) || stray(out.raw, r.sep) {
		out.wrong = sayQuoteOpen
		return out
	}
	if strings.Trim(out.raw, string(r.sep)+" \t\"") == "" {
		out.blank = true
		return out
	}
	c := csv.NewReader(strings.NewReader(out.raw))
	c.Comma, c.LazyQuotes, c.FieldsPerRecord = r.sep, true, -1
	var err error
	if out.fields, err = c.Read(); err != nil {
		out.wrong = sayRowBroken
		return out
	}
	if r.fields > 0 && len(out.fields) != r.fields {
		out.wrong = sayFieldCount(len(out.fields), r.fields)
	}
	return out
}

// wholeRow adds the lines that a quoted field goes on over, as far as a row may go. A line that is too
// long belongs to no row, and is read once more by itself.
func (r *records) wholeRow(first []byte) (text []byte, more []line) {
	text = slices.Clone(first)
	for r.open(text) && len(more) < mostRowLines && len(text) <= mostRowBytes {
		next, err := r.readLine()
		if errors.Is(err, errLongLine) {
			r.again, r.line = slices.Insert(r.again, 0, line{long: true}), r.line-1
		}
		if err != nil {
			break
		}
		more = append(more, line{text: slices.Clone(next)})
		text = append(append(text, '\n'), next...)
	}
	return text, more
}

// stray says whether a row of several lines closes a quote in the middle of a word:
// then it was another cell's quote, and the first was never closed.
func stray(text string, sep rune) bool {
	if !strings.Contains(text, "\n") {
		return false
	}
	c := csv.NewReader(strings.NewReader(text))
	c.Comma, c.FieldsPerRecord = sep, -1
	_, err := c.Read()
	return err != nil
}

// open says whether a quoted field is still open at the end of a text. A quote opens a
// field only at its beginning: 24" is a size.
func (r *records) open(text []byte) bool {
	quoted, start := false, true
	for i := 0; i < len(text); i++ {
		switch c := text[i]; {
		case quoted && c == '"':
			quoted = false // of a doubled quote the second one opens it again
			start = i+1 < len(text) && text[i+1] == '"'
		case c == '"' && start:
			quoted, start = true, false
		default:
			start = !quoted && c == byte(r.sep)
		}
	}
	return quoted
}

// decode gives the letters of a row. dirty says that nobody knows which they are.
func (r *records) decode(text []byte) (letters string, dirty bool) {
	if utf8.Valid(text) && r.letters != windows1252 {
		return string(text), false
	}
	out, err := charmap.Windows1252.NewDecoder().Bytes(text)
	if err != nil {
		return strings.ToValidUTF8(string(text), "\uFFFD"), true
	}
	return string(out), r.letters == mixedLetters || bytes.ContainsRune(out, utf8.RuneError)
}

// separators, the most usual first.
var separators = []rune{',', ';', '\t', '|'}

// separatorOf is what parts the headings: what stands outside quotes most often, of equals the one that is named
// above them, 0 where none is.
func separatorOf(heading string, named rune) rune {
	best, most := cmp.Or(named, ','), 0
	for _, sep := range separators {
		n, quoted := 0, false
		for _, c := range heading {
			if c == '"' {
				quoted = !quoted
			}
			if c == sep && !quoted {
				n++
			}
		}
		if n > most || n == most && sep == named {
			best, most = sep, n
		}
	}
	return best
}

// heading reads the headings, which the other rows have to match in number; they begin in the line from
// or below it. A line sep=; above them, which some spreadsheet programs write (common practice, no source), is passed over.
func (r *records) heading(from int) (record, error) {
	for {
		row, err := r.next()
		if err != nil {
			return row, err
		}
		if saysSeparator(row.raw) || row.blank || row.line < from {
			continue
		}
		r.fields = len(row.fields)
		return row, nil
	}
}

// saysSeparator says whether a line is sep=; or the like, also quoted, or with the separators of the other columns behind it.
func saysSeparator(text string) bool { return namedSeparator(text) != 0 }

// namedSeparator is the separator that such a line names; 0: it is none.
func namedSeparator(text string) rune {
	named, ok := strings.CutPrefix(strings.ToLower(strings.Trim(text, " \"")), "sep=")
	sep, n := utf8.DecodeRuneInString(named)
	switch rest := strings.Trim(named[n:], "\""); {
	case !ok || sep == utf8.RuneError || letters.IsLetter(sep) || letters.IsDigit(sep):
		return 0
	case strings.Trim(rest, string(sep)) == "" || strings.Trim(rest, string(separators)+" ") == "":
		return sep
	}
	return 0
}
