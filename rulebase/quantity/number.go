package quantity

import (
	"math"
	"slices"
	"strconv"
	"strings"
)

// A candidate is one number that a text can mean.
type candidate struct {
	x      float64
	digits string // before the prefix
	bare   bool   // neither unit nor prefix was typed
	power  int    // of the prefix that was typed
	other  *conversion
}

// in is the candidate in the unit of another one, that was asked for or not.
func (c candidate) in(o candidate) float64 {
	if o.other == nil {
		return c.times(o.power)
	}
	x, ok := shifted(c.digits, 0)
	if !ok {
		return math.NaN()
	}
	return round12(float64(x*o.other.factor) + o.other.plus)
}

// apart is how far the candidate is from nothing: as a difference, of which only a unit's size counts and not
// where it begins.
func (c candidate) apart() float64 {
	if c.other == nil {
		return math.Abs(c.x)
	}
	x, _ := shifted(c.digits, 0) // it was read once already
	return math.Abs(round12(x * c.other.factor))
}

// times is the candidate with a prefix that was typed elsewhere.
func (c candidate) times(power int) float64 {
	x, ok := shifted(c.digits, power)
	if !ok {
		return math.NaN()
	}
	return x
}

// A factor is what a suffix can mean: a power of ten, or a conversion.
type factor struct {
	power int
	other *conversion
}

// A letter in the place of the decimal mark: 4k7, 4R7, 0R15, R47 (IEC 60062:2016, the RKM code).
var lettered = NewPattern(`^([-+]?)([0-9]*)([RrkKMmGuVvA])([0-9]+)\s*([^0-9]*)$`)

// numbers is every number with its unit that the text can mean.
func (r *reader) numbers(text string) []candidate {
	text = strings.TrimSpace(text)
	if m := lettered.FindStringSubmatch(text); m != nil && (m[2] != "" || strings.Contains("RrkKM", m[3])) {
		return r.letter(m)
	}
	number, rest := cutNumber(text)
	factors, ok := r.suffix(rest)
	if number == "" || !ok {
		return r.unreadable(text, number, rest)
	}
	var found []candidate
	for _, d := range r.decimals(number) {
		for _, f := range factors {
			if c, ok := (candidate{digits: d, bare: rest == "", power: f.power}).value(f); ok {
				found = append(found, c)
			}
		}
	}
	if len(found) == 0 {
		r.refuse(DoubtNumber, "%q is out of all proportion; type it like %s.", text, r.example())
	}
	return r.inBase(found)
}

// most is more than any instrument of the trade can show, in any unit.
const most = 1e15

func (c candidate) value(f factor) (candidate, bool) {
	ok := false
	if f.other != nil {
		c.power, c.other = 0, f.other
		c.x, ok = shifted(c.digits, 0)
		c.x = round12(float64(c.x*f.other.factor) + f.other.plus)
	} else {
		c.x, ok = shifted(c.digits, f.power)
	}
	return c, ok && math.Abs(c.x) <= most
}

// inBase offers a bare number that is not plausible in a unit with a prefix as
// one in the unit itself: 153600 where kbaud is asked for.
func (r *reader) inBase(found []candidate) []candidate {
	if len(found) != 1 || !found[0].bare || r.unit.power == 0 || r.want.Range == nil || r.really {
		return found
	}
	inside := func(x float64) bool { return x >= r.want.Range[0] && x <= r.want.Range[1] }
	c := found[0]
	if x := c.times(-r.unit.power); !inside(c.x) && inside(x) {
		r.ask(DoubtRange, "%q is not plausible in %s; it can be in %s.", r.text, r.want.Unit, r.unit.base)
		c.x = x
		return []candidate{c}
	}
	return found
}

// round12 takes the dust of a conversion away.
func round12(x float64) float64 {
	y, err := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 12, 64), 64)
	if err != nil {
		return x
	}
	return y
}

// letter reads 4k7 and its like.
func (r *reader) letter(m []string) []candidate {
	sign, whole, letter, part, rest := r.minus(m[1]), m[2], m[3], m[4], strings.TrimSpace(m[5])
	if whole == "" {
		whole = "0"
	}
	var factors []factor
	switch {
	case strings.EqualFold(letter, "R") && r.unit.base == "ohm", strings.EqualFold(letter, "V") && r.unit.base == "V",
		letter == "A" && r.unit.base == "A", letter == "m" && r.unit.base == "m":
		factors = []factor{{power: -r.unit.power}}
	case strings.EqualFold(letter, "R") || strings.EqualFold(letter, "V") || letter == "A":
		r.refuse(DoubtUnit, "%q is not in %s; type it like %s.", r.text, r.unitName(), r.example())
		return nil
	default:
		factors, _ = r.suffix(letter)
	}
	if rest != "" && !r.unit.named(rest) {
		r.refuse(NoReading, "%q after %s%s%s is not understood; type it like %s.", rest, whole, letter, part, r.example())
		return nil
	}
	if len(whole) > 1 && whole[0] == '0' {
		r.ask(DoubtNumber, "%q begins with a zero.", r.text)
		whole = strings.TrimLeft(whole[:len(whole)-1], "0") + whole[len(whole)-1:]
	}
	var found []candidate
	for _, f := range factors {
		digits := sign + whole + "." + part
		if x, ok := shifted(digits, f.power); ok && f.other == nil {
			found = append(found, candidate{x: x, digits: digits, power: f.power})
		}
	}
	return found
}

// cutNumber takes the number off the front of a text.
func cutNumber(text string) (number, rest string) {
	sign := ""
	lower := strings.ToLower(text)
	for _, s := range []string{"minus ", "plus ", "-", "+"} {
		if strings.HasPrefix(lower, s) {
			sign, text = s, strings.TrimSpace(text[len(s):])
			break
		}
	}
	end := 0
	for end < len(text) {
		c := text[end]
		if c >= '0' && c <= '9' || strings.IndexByte(".,'", c) >= 0 {
			end++
			continue
		}
		if c == ' ' && end > 0 && end+1 < len(text) && text[end+1] >= '0' && text[end+1] <= '9' {
			end++
			continue
		}
		break
	}
	number = text[:end]
	// 4921' is feet, not a group; 1e3 is one number.
	number = strings.TrimRight(number, "'")
	if m := exponent.FindString(text[len(number):]); m != "" && number != "" {
		number += m
	}
	rest = strings.TrimSpace(text[len(number):])
	if !strings.ContainsAny(number, "0123456789") {
		return "", text
	}
	if strings.HasPrefix(sign, "m") || sign == "-" {
		number = "-" + number
	}
	return number, rest
}

var (
	exponent = NewPattern(`^[eE][-+]?[0-9]+`)
	grouped  = NewPattern(`^([0-9]{1,3})((?:[ '][0-9]{3})+)([.,][0-9]+)?$`)
	oneMark  = NewPattern(`^([0-9]*)([.,])([0-9]+)$`)
	markedBy = NewPattern(`^[0-9]{1,3}(?:[.,][0-9]{3})+$`)
)

// decimals is a number as typed, with a decimal point and no groups: one text,
// or two where a comma or point can be read both ways.
func (r *reader) decimals(number string) []string {
	sign, n := "", number
	if strings.HasPrefix(n, "-") {
		sign, n = r.minus("-"), n[1:]
	}
	whole := func(one string) []string { return []string{sign + one} }
	if strings.ContainsAny(n, "eE") {
		r.ask(DoubtNumber, "%q has an exponent; type the number out.", r.text)
		return whole(strings.ReplaceAll(n, ",", "."))
	}
	if m := grouped.FindStringSubmatch(n); m != nil {
		if zeros(m[1]) {
			r.ask(DoubtNumber, "%q begins with a zero.", r.text)
		}
		return whole(strings.NewReplacer(" ", "", "'", "").Replace(m[1]+m[2]) + strings.Replace(m[3], ",", ".", 1))
	}
	if strings.ContainsAny(n, " '") {
		r.ask(DoubtNumber, "%q reads like two numbers. Enter one reading at a time.", r.text)
		return whole(strings.Replace(strings.NewReplacer(" ", "", "'", "").Replace(n), ",", ".", 1))
	}
	if m := oneMark.FindStringSubmatch(n); m != nil {
		return r.marked(sign, m[1], m[2], m[3])
	}
	if strings.ContainsAny(n, ".,") {
		return r.twoMarks(sign, n)
	}
	if len(n) > 1 && zeros(n) {
		r.ask(DoubtNumber, "%q begins with a zero.", r.text)
		plain := strings.TrimLeft(n[:len(n)-1], "0") + n[len(n)-1:]
		return []string{sign + plain, sign + "0." + n[1:]}
	}
	return whole(n)
}

// minus is the sign of a number, where the unit can have one.
func (r *reader) minus(sign string) string {
	switch {
	case sign != "-":
		return ""
	case r.unit.base == "ohm":
		r.refuse(DoubtNumber, "%q: a resistance cannot be negative. A meter shows that where the line is still live or charged: prove it dead by the site's rules, then measure again.", r.text)
	case r.unit.positive:
		r.ask(DoubtNumber, "%q: what is in %s cannot be negative.", r.text, r.unitName())
		return ""
	}
	return sign
}

func zeros(n string) bool { return strings.HasPrefix(n, "0") }

// marked reads a number with one comma or point.
func (r *reader) marked(sign, before, mark, after string) []string {
	if before == "" {
		before = "0"
	}
	point := sign + before + "." + after
	if len(before) > 1 && zeros(before) {
		r.ask(DoubtNumber, "%q begins with a zero.", r.text)
		return []string{sign + strings.TrimLeft(before[:len(before)-1], "0") + before[len(before)-1:] + "." + after}
	}
	if len(after) != 3 || len(before) > 3 || zeros(before) {
		return []string{point}
	}
	name := map[string]string{",": "comma", ".": "point"}[mark]
	r.ask(DoubtMark, "%q: the %s can be a decimal mark, or part thousands (in %s).", r.text, name, r.unitName())
	return []string{point, sign + before + after}
}

// twoMarks offers what a number with several marks was meant to be: they part
// thousands, all but the last one where that is another mark.
func (r *reader) twoMarks(sign, n string) []string {
	last := strings.LastIndexAny(n, ".,")
	head, tail := n[:last], n[last+1:]
	r.ask(DoubtNumber, "%q has two marks; a number has at most one decimal point, and blanks between thousands.", r.text)
	switch {
	case markedBy.MatchString(n) && strings.Count(n, n[last:last+1]) > 1 && !strings.ContainsAny(head, other(n[last:last+1])):
		return []string{sign + strings.NewReplacer(".", "", ",", "").Replace(n)}
	case markedBy.MatchString(head) && strings.Count(n, n[last:last+1]) == 1 && tail != "" && !zeros(head):
		return []string{sign + strings.NewReplacer(".", "", ",", "").Replace(head) + "." + tail}
	}
	r.refuse(DoubtNumber, "%q has two marks; a number has at most one decimal point. Type it like %s.", r.text, r.example())
	return nil
}

func other(mark string) string {
	if mark == "." {
		return ","
	}
	return "."
}

// prefixWords are the prefixes as people write them, the longer first.
var prefixWords = []struct {
	word  string
	sign  string
	power int
}{
	{"kilo", "k", 3}, {"kil", "k", 3}, {"mega", "M", 6}, {"meg", "M", 6}, {"milli", "m", -3}, {"micro", "u", -6}, {"giga", "G", 9},
	{"k", "k", 3}, {"u", "u", -6}, {"G", "G", 9}, {"M", "M", 6}, {"m", "m", -3},
}

// suffix is what the text after a number can mean. ok is false where it means nothing here.
func (r *reader) suffix(rest string) (factors []factor, ok bool) {
	if rest == "" {
		return []factor{{}}, true
	}
	if rest == r.want.Unit {
		return []factor{{}}, true
	}
	own := -r.unit.power
	if r.unit.named(rest) {
		return []factor{{power: own}}, true
	}
	if c, known := conversions[strings.ToLower(rest)]; known && own == 0 && (c.to == r.unit.base || c.to == "degC" && r.unit.base == "C") {
		r.ask(DoubtUnit, "%q is not in %s.", r.text, r.unitName())
		return []factor{{other: &c}}, true
	}
	if r.unit.base == "min" && rest == "m" {
		r.ask(DoubtUnit, "%q is not in min.", r.text)
		return []factor{{}}, true
	}
	if r.unit.base == "s" && rest == "m" {
		r.ask(DoubtPrefix, "%q: m can be milliseconds or minutes (in %s).", r.text, r.unitName())
		return []factor{{power: -3 + own}, {other: &conversion{factor: 60}}}, true
	}
	for _, p := range prefixWords {
		if tail, ok := cutPrefixWord(rest, p.word); ok && (tail == "" || r.unit.named(tail)) {
			return r.prefixed(p.sign, p.power, len(p.word) > 1)
		}
	}
	return nil, false
}

// cutPrefixWord takes a prefix off a unit. Single letters mind capitals, except k.
func cutPrefixWord(text, word string) (string, bool) {
	if len(text) < len(word) {
		return "", false
	}
	head := text[:len(word)]
	if head != word && !(len(word) > 1 && strings.EqualFold(head, word)) && !(word == "k" && head == "K") {
		return "", false
	}
	return strings.TrimLeft(text[len(word):], " -"), true
}

// prefixed is what a prefix can mean with this unit. A letter m or M that people
// mix up stands for both, in the dimensions where that can happen.
func (r *reader) prefixed(sign string, power int, inFull bool) ([]factor, bool) {
	own := -r.unit.power
	if slices.Contains([]string{"min", "h", "%", "degC", "C"}, r.unit.base) || r.unit.counts && power < 0 {
		return nil, false
	}
	if !inFull && strings.Contains(r.unit.doubtful, sign) && (sign == "m" || sign == "M") {
		r.ask(DoubtPrefix, "%q: %s can be milli or mega (in %s).", r.text, sign, r.unitName())
		var factors []factor
		for _, p := range r.unit.mixed {
			factors = append(factors, factor{power: p + own})
		}
		return factors, true
	}
	return []factor{{power: power + own}}, true
}

// unreadable says why a text cannot be taken.
func (r *reader) unreadable(text, number, rest string) []candidate {
	if clean := lookalikes(text); clean != text {
		r.ask(DoubtNumber, "%q holds a letter among its digits.", r.text)
		return r.numbers(clean)
	}
	symbol, known := foreign(rest)
	switch {
	case number == "":
		r.refuse(NoReading, "%q is no reading%s; type it like %s.", text, r.inUnit(), r.example())
	case known:
		r.refuse(DoubtUnit, "%q is in %s; %s is asked for, like %s.", text, symbol, r.unitName(), r.example())
	default:
		r.refuse(NoReading, "%q after %s is not understood; type the reading%s, like %s.", rest, number, r.inUnit(), r.example())
	}
	return nil
}

// lookalikes puts digits for the letters O, o, l and I beside digits.
func lookalikes(text string) string {
	bytes := []byte(text)
	digit := func(i int) bool { return i >= 0 && i < len(bytes) && bytes[i] >= '0' && bytes[i] <= '9' }
	word := func(i int) bool { return i >= 0 && i < len(bytes) && (bytes[i]|0x20) >= 'a' && (bytes[i]|0x20) <= 'z' }
	for i, c := range bytes {
		if !(digit(i-1) || digit(i+1)) || word(i-1) || word(i+1) {
			continue
		}
		switch c {
		case 'O', 'o':
			bytes[i] = '0'
		case 'l', 'I':
			bytes[i] = '1'
		}
	}
	return string(bytes)
}
