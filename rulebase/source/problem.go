package source

import (
	"cmp"
	"errors"
	"fmt"
	"iter"
	"math/bits"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"
)

// A Problem is something wrong with a file, where it stands and what was probably meant.
type Problem struct {
	Position
	Kind  string // a short name for this sort of problem, such as unknown-key
	Says  string // what is wrong, and what to do
	Meant string // the near miss; "" where there is none
	Text  string // the line of the file
	Width int    // how many runes the caret marks; at least 1
}

// String is the problem as it is printed: file:line:col, what is wrong, the
// near miss, the kind; then the line with a caret under the value.
func (p Problem) String() string {
	var b strings.Builder
	if p.File != "" {
		b.WriteString(p.File)
		if p.Line > 0 {
			fmt.Fprintf(&b, ":%d:%d", p.Line, p.Column)
		}
		b.WriteString(": ")
	}
	b.WriteString(p.Says)
	if p.Meant != "" {
		fmt.Fprintf(&b, "; did you mean %q?", p.Meant)
	}
	if p.Kind != "" {
		fmt.Fprintf(&b, " [%s]", p.Kind)
	}
	if p.Line > 0 {
		b.WriteString("\n" + p.excerpt())
	}
	return b.String()
}

// widest is how much of a long line is shown around the caret.
const widest = 110

func (p Problem) excerpt() string {
	line := []rune(p.Text)
	at := min(max(p.Column-1, 0), len(line))
	from := 0
	if len(line) > widest && at > widest/2 {
		from = at - widest/2
	}
	shown := line[from:min(len(line), from+widest)]
	var pad strings.Builder
	for _, r := range shown[:min(at-from, len(shown))] {
		switch {
		case r == '\t':
			pad.WriteRune('\t') // a tab above a tab keeps the caret in its column
		case wide(r):
			pad.WriteString("  ")
		default:
			pad.WriteByte(' ')
		}
	}
	mark := strings.Repeat("~", max(0, min(p.Width, len(shown)-(at-from))-1))
	return "  " + printable(shown) + "\n  " + pad.String() + "^" + mark
}

// printable keeps what cannot be shown out of a terminal.
func printable(line []rune) string {
	return strings.Map(func(r rune) rune {
		if r != '\t' && !unicode.IsPrint(r) {
			return '·'
		}
		return r
	}, string(line))
}

// wide says that a terminal gives a rune two columns (East Asian wide, roughly).
func wide(r rune) bool {
	return r >= 0x1100 && (r <= 0x115f || r >= 0x2e80 && r <= 0xa4cf || r >= 0xac00 && r <= 0xd7a3 ||
		r >= 0xf900 && r <= 0xfaff || r >= 0xfe30 && r <= 0xfe6f || r >= 0xff00 && r <= 0xff60 || r >= 0x1f300 && r <= 0x1faff)
}

// Problems is everything wrong with what was read; it is an error.
type Problems struct {
	List []Problem
}

// Error is all problems, one after another.
func (p *Problems) Error() string {
	all := make([]string, len(p.List))
	for i, one := range p.List {
		all[i] = one.String()
	}
	return strings.Join(all, "\n")
}

// Take adds what a reader of a file says that is wrong, and says whether anything is. An error that is no
// *Problems is one more problem, so that nothing is lost.
func (p *Problems) Take(err error) bool {
	var more *Problems
	switch {
	case errors.As(err, &more):
		p.List = append(p.List, more.List...)
	case err != nil:
		p.List = append(p.List, Problem{Says: err.Error()})
	}
	return err != nil
}

// Sort puts problems in the order of their positions, and drops repeats.
func (p *Problems) Sort() {
	slices.SortStableFunc(p.List, func(a, b Problem) int {
		return cmp.Or(strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line), cmp.Compare(a.Column, b.Column), strings.Compare(a.Says, b.Says))
	})
	p.List = slices.CompactFunc(p.List, func(a, b Problem) bool { return a.Position == b.Position && a.Says == b.Says })
}

// Nearest is the candidate that a misspelt word most probably meant, "" where
// none is near: at most a third of its letters wrong, missing, too many or
// exchanged with a neighbour (Damerau 1964, from memory). Of equally near ones
// the first in the alphabet.
func Nearest(word string, candidates []string) string {
	return NearestOf(word, slices.Values(candidates))
}

// NearestOf is Nearest where the candidates are in no list.
func NearestOf(word string, candidates iter.Seq[string]) string {
	w := []rune(strings.ToLower(word))
	best, nearest := len(w)/3+1, ""
	letters := lettersOf(string(w))
	var m measure
	for c := range candidates {
		if len(c) < len(w)-best || len(c) > utf8.UTFMax*(len(w)+best) {
			continue
		}
		// An edit takes away one letter at most and adds one at most. Looked at first, since a
		// rulebase with thousands of unknown names asks for each among all that there are.
		if others := lettersOf(c); bits.OnesCount64(letters&^others) > best || bits.OnesCount64(others&^letters) > best {
			continue
		}
		d := m.distance(w, c, best)
		if d < best || d == best && nearest != "" && c < nearest {
			best, nearest = d, c
		}
	}
	return nearest
}

// lettersOf is which letters a word has, in lower case; letters that are equal but for 64 are one.
func lettersOf(word string) (set uint64) {
	for _, r := range word {
		set |= 1 << (unicode.ToLower(r) & 63)
	}
	return set
}

// A measure keeps what it needs to measure distances from one candidate to the next.
type measure struct {
	b                 []rune
	before, last, now []int
}

// distance is the number of edits between two words, or more than most.
func (m *measure) distance(a []rune, candidate string, most int) int {
	m.b = m.b[:0]
	for _, r := range candidate {
		m.b = append(m.b, unicode.ToLower(r))
	}
	b := m.b
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	for len(m.now) <= len(b) {
		m.before, m.last, m.now = append(m.before, 0), append(m.last, 0), append(m.now, 0)
	}
	before, last, now := m.before, m.last, m.now
	for j := range last {
		last[j] = j
	}
	for i := range a {
		now[0] = i + 1
		least := now[0]
		for j := range b {
			same := 1
			if a[i] == b[j] {
				same = 0
			}
			now[j+1] = min(now[j]+1, last[j+1]+1, last[j]+same)
			if i > 0 && j > 0 && a[i] == b[j-1] && a[i-1] == b[j] {
				now[j+1] = min(now[j+1], before[j-1]+1)
			}
			least = min(least, now[j+1])
		}
		// An exchange looks two rows back, so one row beyond is not yet the end.
		if least > most+1 {
			return most + 1
		}
		before, last, now = last, now, before
	}
	return last[len(b)]
}
