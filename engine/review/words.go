package review

import (
	"strings"
	"sync"
	"unicode"
)

// little are words that carry no meaning of their own in a question or an id.
var little = sync.OnceValue(func() map[string]bool {
	return wordSet(`a all an and any are as at be by can could did do does down drop for from group had has have here how
	if in inside into is it its itself no not of off on one or out over pair point points say says than that the their them
	there these they this to too two unit was were what when where which while who whole will with yes you your`)
})

func wordSet(text string) map[string]bool {
	set := map[string]bool{}
	for _, w := range strings.Fields(text) {
		set[w] = true
	}
	return set
}

// wordsOf are the words of a text or an id that carry meaning, without their
// endings for number and time: blown and fuses are blow and fuse.
func wordsOf(texts ...string) map[string]bool {
	set := map[string]bool{}
	for _, text := range texts {
		for _, w := range strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return !unicode.IsLetter(r) && !unicode.IsDigit(r) }) {
			if !little()[w] {
				set[stem(w)] = true
			}
		}
	}
	return set
}

// words are wordsOf one text, worked out once.
func (r *reviewer) words(text string) map[string]bool {
	w, known := r.ofText[text]
	if !known {
		w = wordsOf(text)
		r.ofText[text] = w
	}
	return w
}

// stem takes the commonest endings off. It is coarse: it is only to say that
// two texts speak of the same things.
func stem(w string) string {
	for _, ending := range []string{"ing", "ed", "es", "s", "n"} {
		if short, ok := strings.CutSuffix(w, ending); ok && len(short) >= 3 {
			return short
		}
	}
	return w
}

// common is how many words two sets share.
func common(x, y map[string]bool) int {
	n := 0
	for w := range x {
		if y[w] {
			n++
		}
	}
	return n
}

// sameSet says whether two sets hold the same words.
func sameSet(x, y map[string]bool) bool { return len(x) == len(y) && common(x, y) == len(x) }

// edits is the number of letters that differ between two texts, counted as
// insertions, deletions and changes (Levenshtein 1965, from memory); most+1 where
// there are more than most.
func edits(x, y string, most int) int {
	a, b := []rune(x), []rune(y)
	if len(a)-len(b) > most || len(b)-len(a) > most {
		return most + 1
	}
	last := make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := range a {
		corner := last[0]
		last[0] = i + 1
		least := last[0]
		for j := range b {
			cost := corner
			if a[i] != b[j] {
				cost++
			}
			corner = last[j+1]
			last[j+1] = min(last[j+1]+1, last[j]+1, cost)
			least = min(least, last[j+1])
		}
		if least > most {
			return most + 1
		}
	}
	return min(last[len(b)], most+1)
}
