package triage

import (
	"context"
	"errors"
	"io"
	"strings"
)

// survey is the first pass: letters, separator, headings, serial numbers.
func (d *Desk) survey(ctx context.Context, open func() (io.ReadCloser, error), o Options) (*survey, encoding, rune, *columns, error) {
	letters, heading, err := d.letters(ctx, open)
	if err != nil {
		return nil, 0, 0, nil, err
	}
	sep := separatorOf(heading.raw)
	in, err := open()
	if err != nil {
		return nil, 0, 0, nil, err
	}
	defer in.Close()
	r := newRecords(in, letters, sep)
	heading, err = r.heading()
	if err != nil {
		return nil, 0, 0, nil, err
	}
	if heading.wrong != "" {
		return nil, 0, 0, nil, &InputError{[]string{heading.wrong}}
	}
	cols, problems := readColumns(d.base, heading.fields, o.Columns)
	if len(problems) > 0 {
		return nil, 0, 0, nil, &InputError{problems}
	}
	s := &survey{}
	for {
		if err := context.Cause(ctx); err != nil {
			return nil, 0, 0, nil, err
		}
		row, err := r.next()
		if errors.Is(err, io.EOF) {
			return s, letters, sep, cols, nil
		}
		if err != nil {
			return nil, 0, 0, nil, err
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
// letter of two bytes, all of it is Windows-1252; where there are both, it is mixed.
func (d *Desk) letters(ctx context.Context, open func() (io.ReadCloser, error)) (encoding, record, error) {
	in, err := open()
	if err != nil {
		return 0, record{}, err
	}
	defer in.Close()
	r := newRecords(in, mixedLetters, '\x00')
	heading, err := r.heading()
	if errors.Is(err, io.EOF) {
		return 0, record{}, &InputError{[]string{sayEmptyList}}
	}
	if err != nil {
		return 0, record{}, err
	}
	wide, other := wideLetters(heading), heading.dirty
	for {
		if err := context.Cause(ctx); err != nil {
			return 0, record{}, err
		}
		text, err := r.readLine()
		switch {
		case errors.Is(err, io.EOF):
			switch {
			case other && wide:
				return mixedLetters, heading, nil
			case other:
				return windows1252, heading, nil
			}
			return utf8Letters, heading, nil
		case errors.Is(err, errLongLine):
			continue
		case err != nil:
			return 0, record{}, err
		}
		one := record{}
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
