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
		return regexp.MustCompile(`(?i)^\d{1,2}[-. /](jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mrz|mai|okt|dez)[a-z]*([-. /]\d{2,4})?$|^(jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec|mrz|mai|okt|dez)[-. /]\d{2,4}$|^\d{1,2}[./]\d{1,2}[./]\d{2,4}$|^\d{4}-\d\d-\d\d( 00:00:00)?$|^\d{4}/\d\d/\d\d$|^(0?[1-9]|[12]\d|3[01])-(0?[1-9]|1[0-2])-(19|20)\d\d$|^(0?[1-9]|1[0-2])-(0?[1-9]|[12]\d|3[01])-(19|20)\d\d$`)
	})
	// In any language: a word in capitals with ! or ? behind it, or "not available".
	cellErrorRE = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`^#([¡¿]?\p{Lu}[\p{Lu}\p{M}\p{N}/_]*[!?]|N/\p{Lu}{1,2}|NV|#{2,})$`)
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
	if kind := shapeDamage(serial); kind != "" || !digitsRE().MatchString(serial) || !s.zerosLost(len(serial)) {
		return kind
	}
	return LostZeros
}

// shapeDamage is what shows on a serial number by itself, without the others of its list.
func shapeDamage(serial string) Damage {
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
	}
	return ""
}

// unprinted are control characters that stand in no cell that somebody has typed.
func unprinted(r rune) bool { return unicode.IsControl(r) && !strings.ContainsRune("\n\r\t", r) }

// cellDamage is what was done to any cell.
func cellDamage(cell string) Damage {
	switch {
	case cellErrorRE().MatchString(strings.TrimSpace(cell)):
		return CellError
	case strings.ContainsRune(cell, unicode.ReplacementChar), strings.ContainsFunc(cell, unprinted), twiceRE().MatchString(cell):
		return LostLetters
	}
	return ""
}
