package triage

import (
	"regexp"
	"strings"
	"sync"
	"unicode"
)

// A Damage is what a spreadsheet did to a cell, or may have done.
type Damage string

// The damages. A row with one is asked back, never matched: the number on the
// unit's label is another one.
const (
	Exponent    Damage = "exponent"     // 1.2E+11: the last digits are gone
	LostZeros   Damage = "lost_zeros"   // shorter than the others, which begin with zeros
	Decimals    Damage = "decimals"     // a serial number with a decimal point
	AsDate      Damage = "as_date"      // turned into a date
	FifteenOnly Damage = "fifteen_only" // more than 15 digits, the rest zeros
	CellError   Damage = "cell_error"   // #REF! and the like, or ####
	LostLetters Damage = "lost_letters" // letters that nobody can tell any more
	WhichComma  Damage = "which_comma"  // 1,234: a thousand, or one and a bit
)

var (
	exponentRE = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[-+]?\d+([.,]\d+)?[eE][-+]?\d+$`) })
	decimalsRE = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\d+[.,]\d+$|^\d{1,3}([., ']\d{3})+$`) })
	dateRE     = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`(?i)^\d{1,2}[-. /](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mrz|mai|okt|dez)[a-z]*([-. /]\d{2,4})?$|^(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mrz|mai|okt|dez)[-. /]\d{2,4}$|^\d{1,2}[./]\d{1,2}[./]\d{2,4}$|^\d{4}-\d\d-\d\d( 00:00:00)?$`)
	})
	cellErrorRE = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^#(REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!|#{2,})?$`)
	})
	digitsRE = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\d+$`) })
	commaRE  = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^\s*[-+]?\d{1,3}(,\d{3})+\s*[^\d,.]*$`) })
	// Letters of two bytes each, read as if they were two letters.
	twiceRE = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`Ã[\x{80}-\x{BF}\x{2018}-\x{203A}\x{20AC}]|â€|Â[\x{A0}-\x{BF}]`)
	})
)

// sheetDigits is how many digits of a number a spreadsheet keeps (IEEE 754 double,
// 15 decimal digits).
const sheetDigits = 15

// serialDamage is what was done to a serial number; "" where nothing shows.
func (s *survey) serialDamage(serial string) Damage {
	switch {
	case serial == "":
		return ""
	case exponentRE().MatchString(serial):
		return Exponent
	case dateRE().MatchString(serial):
		return AsDate
	case decimalsRE().MatchString(serial):
		return Decimals
	case !digitsRE().MatchString(serial):
		return ""
	case len(serial) > sheetDigits && strings.Trim(serial[sheetDigits:], "0") == "":
		return FifteenOnly
	case s.zerosLost(len(serial)):
		return LostZeros
	}
	return ""
}

// cellDamage is what was done to any cell.
func cellDamage(cell string) Damage {
	switch {
	case cellErrorRE().MatchString(strings.TrimSpace(cell)) && strings.TrimSpace(cell) != "#":
		return CellError
	case strings.ContainsRune(cell, unicode.ReplacementChar), twiceRE().MatchString(cell):
		return LostLetters
	}
	return ""
}

// mostSerialLength bounds the lengths that are counted.
const mostSerialLength = 40

// A survey is what one pass over the whole list tells of its serial numbers and letters.
type survey struct {
	rows    int
	byLen   [mostSerialLength + 1]int // serial numbers of digits alone, by length
	zeroLen [mostSerialLength + 1]int // of them those that begin with 0
	digits  int
}

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
