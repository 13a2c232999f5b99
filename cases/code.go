package cases

import "strings"

// codeLetters are those of a short code: no O, I, L and U, which are taken for others or make words.
const codeLetters = "0123456789ABCDEFGHJKMNPQRSTVWXYZ"

// CodeLength is how long a short code is, its check letter included.
const CodeLength = 6

// NewCode makes a short code, to be read out by phone, from a random number: five letters
// and one that shows a wrong letter or two neighbours swapped (Luhn's sum modulo 32).
// It names a case within one store only.
func NewCode(random uint64) string {
	code := make([]byte, 0, CodeLength)
	for range CodeLength - 1 {
		code = append(code, codeLetters[random%32])
		random /= 32
	}
	return string(append(code, codeLetters[(32-luhn(code, 2))%32]))
}

// isCode says whether a text is made as a code is; its check letter may be wrong or lacking.
func isCode(text string) bool {
	return text != "" && len(text) <= CodeLength && strings.Trim(text, codeLetters) == ""
}

// luhn is the sum modulo 32 of the letters, every other one counted twice from the
// right; factor is that of the last letter.
func luhn(code []byte, factor int) int {
	sum := 0
	for i := len(code) - 1; i >= 0; i-- {
		x := factor * strings.IndexByte(codeLetters, code[i])
		sum += x/32 + x%32
		factor = 3 - factor
	}
	return sum % 32
}

// ReadCode reads a short code as somebody wrote or heard it: small letters, blanks
// and dashes do not count, and O, I and L are the digits they look like. It says
// whether the check letter fits.
func ReadCode(text string) (code string, ok bool) {
	code = strings.Map(func(r rune) rune {
		switch r {
		case 'O':
			return '0'
		case 'I', 'L':
			return '1'
		case ' ', '-', '.':
			return -1
		}
		return r
	}, strings.ToUpper(text))
	if len(code) != CodeLength || strings.Trim(code, codeLetters) != "" {
		return "", false
	}
	return code, luhn([]byte(code), 1) == 0
}
