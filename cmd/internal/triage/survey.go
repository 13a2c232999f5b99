package triage

import (
	"context"
	"errors"
	"io"
	"strings"
)

// A form is how a list is written.
type form struct {
	letters encoding
	sep     rune
	heading int  // the line in which the headings begin
	titles  bool // something stands above them
}

// mostTitles is how many rows are looked at for the headings: an export may have its title, its day and
// a filter above them.
const mostTitles = 10

// headingOf finds the headings among the first rows of a list: the first row that names a column to hear,
// has more cells filled than any row above it, and at least two where there is such a one. A title has
// few cells; a row of data below a row of data has as many. Where there is none it is the first row, and its
// trouble is told.
func (d *Desk) headingOf(first []record, said map[string]string) (found record, sep rune) {
	found, most := first[0], 0
	known := false
	for _, row := range first {
		by := separatorOf(row.raw)
		fields := (&records{sep: by}).take(row.line, []byte(row.raw)).fields
		filled := 0
		for _, f := range fields {
			if strings.TrimSpace(f) != "" {
				filled++
			}
		}
		if filled <= most {
			continue
		}
		most = filled
		if _, problems := readColumns(d.base, fields, said); len(problems) > 0 || known && filled < 2 {
			continue
		}
		if found, known = row, true; filled >= 2 {
			break
		}
	}
	return found, separatorOf(found.raw)
}

// survey is the first pass: letters, separator, headings, serial numbers.
func (d *Desk) survey(ctx context.Context, open func() (io.ReadCloser, error), o Options) (*survey, form, *columns, error) {
	letters, first, err := d.letters(ctx, open)
	if err != nil {
		return nil, form{}, nil, err
	}
	f := form{letters: letters}
	var heading record
	heading, f.sep = d.headingOf(first, o.Columns)
	f.heading, f.titles = heading.line, heading.line != first[0].line
	in, err := open()
	if err != nil {
		return nil, f, nil, err
	}
	defer in.Close()
	r := newRecords(in, f.letters, f.sep)
	heading, err = r.heading(f.heading)
	if err != nil {
		return nil, f, nil, err
	}
	if heading.wrong != "" {
		return nil, f, nil, &InputError{[]string{heading.wrong}}
	}
	cols, problems := readColumns(d.base, heading.fields, o.Columns)
	if len(problems) > 0 {
		return nil, f, nil, &InputError{problems}
	}
	s := &survey{}
	for {
		if err := context.Cause(ctx); err != nil {
			return nil, f, nil, err
		}
		row, err := r.next()
		if errors.Is(err, io.EOF) {
			return s, f, cols, nil
		}
		if err != nil {
			return nil, f, nil, err
		}
		if row.blank {
			continue
		}
		s.rows++
		if row.wrong == "" {
			s.serial(cols.cell(row.fields, Serial))
		}
	}
}

// letters finds how a list is written: where rows are not UTF-8 and none holds a
// letter of two bytes, all of it is Windows-1252; where there are both, it is mixed. first are its first rows.
func (d *Desk) letters(ctx context.Context, open func() (io.ReadCloser, error)) (letters encoding, first []record, err error) {
	in, err := open()
	if err != nil {
		return 0, nil, err
	}
	defer in.Close()
	r := newRecords(in, mixedLetters, '\x00')
	heading, err := r.heading(0)
	if errors.Is(err, io.EOF) {
		return 0, nil, &InputError{[]string{sayEmptyList}}
	}
	if err != nil {
		return 0, nil, err
	}
	first = []record{heading}
	wide, other := wideLetters(heading), heading.dirty
	for {
		if err := context.Cause(ctx); err != nil {
			return 0, nil, err
		}
		text, err := r.readLine()
		switch {
		case errors.Is(err, io.EOF):
			switch {
			case other && wide:
				return mixedLetters, first, nil
			case other:
				return windows1252, first, nil
			}
			return utf8Letters, first, nil
		case errors.Is(err, errLongLine):
			continue
		case err != nil:
			return 0, nil, err
		}
		one := record{line: r.line}
		one.raw, one.dirty = r.decode(text)
		if len(first) < mostTitles {
			first = append(first, one)
		}
		other = other || one.dirty
		wide = wide || wideLetters(one)
	}
}

// wideLetters says whether a row holds letters of more than one byte in UTF-8.
func wideLetters(r record) bool {
	return !r.dirty && strings.IndexFunc(r.raw, func(c rune) bool { return c > 0x7f }) >= 0
}

// A survey is what one pass over the whole list tells of its serial numbers and letters.
type survey struct {
	rows    int
	byLen   [mostSerialLength + 1]int // serial numbers of digits alone, by length
	zeroLen [mostSerialLength + 1]int // of them those that begin with 0
	digits  int
}

// mostSerialLength bounds the lengths that are counted.
const mostSerialLength = 40

func (s *survey) serial(text string) {
	if n := len(text); n > 0 && n <= mostSerialLength && digitsRE().MatchString(text) {
		s.digits++
		s.byLen[n]++
		if text[0] == '0' {
			s.zeroLen[n]++
		}
	}
}

// From this share on a length is that of the list, and shorter ones stand out
// (estimate of this project).
const usualShare = 0.5

// zerosLost says whether a number of digits so long may have lost zeros: longer ones
// of one length are usual in the list, some of them begin with a zero, it lacks at most
// four digits of that length, and at most a quarter of all are as short: more of them
// are a kind of their own.
func (s *survey) zerosLost(length int) bool {
	if s.digits < 4 || length > mostSerialLength || 4*s.byLen[length] > s.digits {
		return false
	}
	for n := length + 1; n <= mostSerialLength; n++ {
		if float64(s.byLen[n]) >= usualShare*float64(s.digits) && s.zeroLen[n] > 0 && length >= n-4 {
			return true
		}
	}
	return false
}
