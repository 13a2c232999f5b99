package triage

import (
	"context"
	"errors"
	"io"
	"slices"
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

// firstRows are the first rows of a list as a separator parts them: below what holds nothing. named is the
// separator that a line above them names, 0 where none does.
func firstRows(ctx context.Context, open func() (io.ReadCloser, error), letters encoding, sep rune) (first []record, named rune, err error) {
	in, err := open()
	if err != nil {
		return nil, 0, err
	}
	defer in.Close()
	for r := newRecords(in, letters, sep); len(first) < mostTitles; {
		if err := context.Cause(ctx); err != nil {
			return nil, 0, err
		}
		row, err := r.next()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, 0, err
		}
		says := namedSeparator(row.raw)
		if len(first) == 0 && slices.Contains(separators, says) {
			named = says
		}
		if nothing := strings.Trim(row.raw, string(separators)+" \""+"\n") == ""; row.wrong == sayRowTooLong || !nothing && says == 0 {
			first = append(first, row)
		}
	}
	return first, named, nil
}

// How surely the headings are found.
const (
	nobodyKnows = iota
	fittingOnly // the first row, as its own separator parts it
	oneCell
	headingsFound
)

// headingAmong finds the headings among the first rows of a list: the first row that names a column to hear,
// has more cells filled than any row above it, and at least two where there is such a one. A title has
// few cells; a row of data below a row of data has as many. Where there is none it is the first row, and its
// trouble is told. Headings are parted by what stands in them most often, of equals by what was named above them.
func (d *Desk) headingAmong(first []record, sep, named rune, said map[string]string) (found record, how int) {
	found, most := first[0], 0
	if found.wrong == "" && separatorOf(found.raw, named) == sep {
		how = fittingOnly
	}
	for _, row := range first {
		by := separatorOf(row.raw, named)
		fields := row.fields
		if by != sep {
			fields = (&records{sep: by}).take(row.line, []byte(row.raw)).fields
		}
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
		if by != sep || how == oneCell && filled < 2 {
			continue
		}
		if _, problems := readColumns(d.base, fields, said); len(problems) > 0 {
			continue
		}
		if found, how = row, oneCell; filled >= 2 {
			return found, headingsFound
		}
	}
	return found, how
}

// form finds how a list is written and where its headings are. Its first rows are read once with each separator,
// since a heading may be of several lines.
func (d *Desk) form(ctx context.Context, open func() (io.ReadCloser, error), said map[string]string) (form, error) {
	letters, err := d.letters(ctx, open)
	if err != nil {
		return form{}, err
	}
	f, surest := form{letters: letters}, -1
	for _, sep := range separators {
		first, named, err := firstRows(ctx, open, letters, sep)
		if err != nil {
			return form{}, err
		}
		if len(first) == 0 {
			return form{}, &InputError{[]string{sayEmptyList}}
		}
		row, how := d.headingAmong(first, sep, named, said)
		if how > surest || how == surest && row.line < f.heading {
			surest = how
			f.sep, f.heading, f.titles = sep, row.line, row.line != first[0].line
		}
	}
	return f, nil
}

// survey is the first pass: letters, separator, headings, serial numbers.
func (d *Desk) survey(ctx context.Context, open func() (io.ReadCloser, error), o Options) (*survey, form, *columns, error) {
	f, err := d.form(ctx, open, o.Columns)
	if err != nil {
		return nil, f, nil, err
	}
	in, err := open()
	if err != nil {
		return nil, f, nil, err
	}
	defer in.Close()
	r := newRecords(in, f.letters, f.sep)
	heading, err := r.heading(f.heading)
	if errors.Is(err, io.EOF) {
		return nil, f, nil, &InputError{[]string{sayEmptyList}}
	}
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
			if s.rows == 0 {
				return nil, f, nil, &InputError{[]string{sayNoRows}}
			}
			s.twice.surveyed()
			return s, f, cols, nil
		}
		if err != nil {
			return nil, f, nil, err
		}
		if row.blank {
			continue
		}
		s.rows++
		if row.wrong == "" && cols.noUnit(row.fields) == "" {
			serial := cols.cell(row.fields, Serial)
			s.serial(serial)
			s.twice.note(serial)
		}
	}
}

// letters finds how a list is written: where rows are not UTF-8 and none holds a
// letter of two bytes, all of it is Windows-1252; where there are both, it is mixed.
func (d *Desk) letters(ctx context.Context, open func() (io.ReadCloser, error)) (encoding, error) {
	in, err := open()
	if err != nil {
		return 0, err
	}
	defer in.Close()
	r := newRecords(in, mixedLetters, separators[0])
	wide, other := false, false
	for {
		if err := context.Cause(ctx); err != nil {
			return 0, err
		}
		text, err := r.readLine()
		switch {
		case errors.Is(err, io.EOF):
			switch {
			case other && wide:
				return mixedLetters, nil
			case other:
				return windows1252, nil
			}
			return utf8Letters, nil
		case errors.Is(err, errLongLine):
			continue
		case err != nil:
			return 0, err
		}
		one := record{line: r.line}
		one.raw, one.dirty = r.decode(text)
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
	twice   doubles
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
