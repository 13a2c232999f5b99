package conversation

import (
	"slices"
	"strings"
	"testing"

	"downdrop/rulebase/quantity"
	"downdrop/testdata/support"
)

// Parts end where somebody would take a breath, and nowhere within a number, a list or what
// belongs together.
func TestAnEntryIsCutIntoItsParts(t *testing.T) {
	parts := func(entry string) string {
		var all []string
		for _, p := range cut(entry) {
			text := p.text
			if p.fresh {
				text = "*" + text
			}
			all = append(all, text)
		}
		return strings.Join(all, " | ")
	}
	support.Says(t, [][2]string{
		{parts("power light dark, run light lit"), "*power light dark | run light lit"},
		{parts("power light dark; run light lit. hum yes"), "*power light dark | *run light lit | *hum yes"},
		{parts("volts max 24 V, min 18 V; run light dark"), "*volts max 24 V, min 18 V | *run light dark"},
		{parts("volts read max, min, run light dark"), "*volts read max, min | run light dark"},
		{parts("volts read max, min; run light dark"), "*volts read max, min | *run light dark"},
		{parts("counter 10 at 10:00, 40 at 10:05, hum yes"), "*counter 10 at 10:00, 40 at 10:05 | hum yes"},
		{parts("volts max 24 V, min 18 V, ohms max 3, min 2, hum yes"), "*volts max 24 V, min 18 V | ohms max 3, min 2 | hum yes"},
		{parts("min 18, max. hum yes"), "*min 18, max | *hum yes"},
		{parts(clean("hum yes\nrun light dark\r\npower light lit")), "*hum yes | *run light dark | *power light lit"},
		{parts("19,0 V, 9 dead"), "*19,0 V | 9 dead"},
		{parts("23,8 V at the drop"), "*23,8 V at the drop"},
		{parts("23.8 V, 5"), "*23.8 V | 5"},
		{parts("drops 1, 2, 3 good, 5 dead"), "*drops 1, 2, 3 good | 5 dead"},
		{parts("a,b"), "*a | b"},
		{parts(", a,, b;"), "a | b"},
		{parts(""), ""},
	})
}

// An entry becomes one line of what can be seen: a new line parts it, other blanks are one.
func TestAnEntryBecomesOneLine(t *testing.T) {
	support.Says(t, [][2]string{
		{clean("  power \t light\u00a0dark "), "power light dark"}, {clean("dark\x07\u200b\x1b[2J"), "dark[2J"}, {clean("a\nb"), "a;b"}, {clean("a\r\n\r\nb\n"), "a;;;;b"}, {clean("\xffa"), "?a"}, {clean(";; ;"), ""},
	})
}

// A value counts without asking back where the thing is named outright, or well enough.
func TestWhatIsCertain(t *testing.T) {
	two := &thing{idWords: []string{"power", "light"}}
	for name, c := range map[string]struct {
		m    match
		over string
		want bool
	}{
		"nothing is said":        {match{th: two, quality: 99}, "", false},
		"two values":             {match{th: two, values: []int{0, 1}, quality: 99}, "", false},
		"a slip":                 {match{th: two, values: []int{0}, fuzzy: true, quality: 99}, "", false},
		"whole id":               {match{th: two, values: []int{0}, named: 3, ids: 3}, "over", true},
		"half the id":            {match{th: two, values: []int{0}, named: 1, ids: 1}, "", true},
		"half the id, and more":  {match{th: two, values: []int{0}, named: 1, ids: 1}, "over", false},
		"two words of its ask":   {match{th: two, values: []int{0}, named: 3, quality: 2 * fitAsk}, "", true},
		"less than two words":    {match{th: two, values: []int{0}, named: 3, quality: 2*fitAsk - 1}, "", false},
		"by its name, strongly":  {match{th: two, values: []int{0}, named: 1, byName: true, strong: true}, "", true},
		"by its name":            {match{th: two, values: []int{0}, named: 1, byName: true}, "", false},
		"strongly":               {match{th: two, values: []int{0}, named: 1, strong: true}, "", false},
		"its whole name":         {match{th: two, values: []int{0}, whole: true}, "", true},
		"asked for":              {match{th: two, values: []int{0}, focused: true, named: 1}, "over", true},
		"a bare number":          {match{th: two, reading: &reading{}, named: 1}, "", false},
		"a reading":              {match{th: two, reading: &reading{hasUnit: true}}, "", true},
		"a reading, and more":    {match{th: two, reading: &reading{hasUnit: true}}, "over", false},
		"a reading of something": {match{th: two, reading: &reading{hasUnit: true}, named: 1}, "", false},
	} {
		if got := c.m.certain(nil, c.over); got != c.want {
			t.Errorf("%s: certain is %v", name, got)
		}
	}
}

// A reading that lies in several bands is asked back with those that it touches: a limit
// belongs to the band above it.
func TestBandsThatAReadingTouches(t *testing.T) {
	asked := func(low, high float64, limits []float64) string {
		l := &listener{}
		l.whichBand(volts, &reading{text: "so much", value: quantity.Reading{Low: low, High: high, Unit: "V"}}, limits, "so much", manner{})
		var all []string
		for _, a := range l.asks[0].Answers {
			all = append(all, a.Says)
		}
		return strings.Join(all, " | ")
	}
	limits := []float64{10, 18}
	support.Says(t, [][2]string{
		{asked(5, 12, limits), "volts at the drop: none (below 10 V) | volts at the drop: too low (10 V to 18 V) | none of these"},
		{asked(10, 20, limits), "volts at the drop: too low (10 V to 18 V) | volts at the drop: good (18 V and above) | none of these"},
		{asked(9.9, 10, limits), "volts at the drop: none (below 10 V) | volts at the drop: too low (10 V to 18 V) | none of these"},
		{asked(12, 17.9, limits), "volts at the drop: too low (10 V to 18 V) | none of these"},
		{asked(18, 30, limits), "volts at the drop: good (18 V and above) | none of these"},
		{asked(5, 12, nil), "volts at the drop: none | volts at the drop: too low | volts at the drop: good | none of these"},
	})
}

// Of the values that words fit the best is meant: its name before a word that means the same,
// that before a part of its name; and of two names the longer one.
func TestTheBestFitIsMeant(t *testing.T) {
	value := func(text string, class ...int) word {
		w := word{text: strings.ReplaceAll(text, " ", "_"), class: class}
		for _, tok := range tokenize(text) {
			w.stems = append(w.stems, tok.stem)
		}
		return w
	}
	for _, c := range []struct {
		values []word
		piece  string
		want   []int
	}{
		{[]word{value("shorted end"), value("bad", classShorted)}, "shorted", []int{1}},
		{[]word{value("bad", classShorted), value("shorted end")}, "shorted", []int{0}},
		{[]word{value("bad", classShorted), value("shorted")}, "shorted", []int{1}},
		{[]word{value("shorted"), value("bad", classShorted)}, "shorted", []int{0}},
		{[]word{value("shorted"), value("shorted end")}, "shorted end", []int{1}},
		{[]word{value("shorted end"), value("shorted")}, "shorted end", []int{0}},
		{[]word{value("bad", classShorted), value("worse", classShorted)}, "shorted", []int{0, 1}},
		{[]word{value("shorted end"), value("end seen")}, "end", []int{0, 1}},
		{[]word{value("shorted end"), value("bad", classShorted)}, "copper", nil},
	} {
		m := match{th: &thing{values: c.values}}
		m.say(tokenize(c.piece))
		if !slices.Equal(m.values, c.want) {
			t.Errorf("%q of %q, %q means %v, wanted %v", c.piece, c.values[0].text, c.values[1].text, m.values, c.want)
		}
	}
}

// A slip is one letter more, less or other, or two swapped; nothing further is.
func TestOneSlip(t *testing.T) {
	for _, c := range []struct {
		a, b string
		want bool
	}{
		{"power", "powr", true}, {"power", "ower", true}, {"power", "powe", true}, {"power", "powwer", true}, {"power", "powerx", true}, {"power", "xpower", true},
		{"power", "poker", true}, {"power", "bower", true}, {"power", "powed", true}, {"power", "pwoer", true}, {"power", "opwer", true}, {"power", "powre", true},
		{"power", "power", false}, {"power", "pwer x", false}, {"power", "pokes", false}, {"power", "pewor", false}, {"power", "por", false}, {"power", "owerp", false}, {"power", "poewx", false}, {"", "", false}, {"", "a", true},
	} {
		if oneSlip(c.a, c.b) != c.want || oneSlip(c.b, c.a) != c.want {
			t.Errorf("%q and %q: %v", c.a, c.b, !c.want)
		}
	}
	for i, c := range []struct {
		a, b string
		want int
	}{{"", "", 0}, {"", "abc", 3}, {"abc", "", 3}, {"abc", "abc", 0}, {"abc", "abd", 1}, {"abc", "ac", 1}, {"abc", "xabc", 1}, {"abc", "acb", 2}, {"kitten", "sitting", 3}, {"power_lght", "power_light", 1}} {
		if got := distance(c.a, c.b); got != c.want || distance(c.b, c.a) != c.want {
			t.Errorf("%d: %q and %q are %d apart", i, c.a, c.b, got)
		}
	}
}

// Nine answers have one digit each: eight of what an entry may mean, and none of these.
func TestAnAskBackHasNineAnswers(t *testing.T) {
	for n, c := range map[int]struct {
		answers int
		says    string
	}{
		1: {2, `Does "x" mean this?`}, 2: {3, `What does "x" mean?`}, 8: {9, `What does "x" mean?`},
		9: {9, `What does "x" mean? 1 more would fit; name what it is about.`}, 20: {9, `What does "x" mean? 12 more would fit; name what it is about.`},
	} {
		answers := make([]Answer, n)
		for i := range answers {
			answers[i].Entry = string(rune('a' + i))
		}
		q := whichQuestion("x", answers)
		last := q.Answers[len(q.Answers)-1]
		if len(q.Answers) != c.answers || q.Says[0] != c.says || last.Entry != "none of these" || last.Key != string(rune('0'+c.answers)) || q.Answers[c.answers-2].Entry != string(rune('a'+c.answers-2)) {
			t.Errorf("of %d: %q %+v", n, q.Says, q.Answers)
		}
	}
}

// What is denied is the others, or the contrary where one is named.
func TestWhatIsDenied(t *testing.T) {
	said := func(values, piece string, focused bool) string {
		th := &thing{values: valueWords(strings.Fields(values)), idWords: []string{"lamp"}}
		m := match{th: th, focused: focused}
		tokens := tokenize(piece)
		m.name(tokens)
		m.say(tokens)
		var all []string
		for _, v := range m.values {
			all = append(all, th.values[v].text)
		}
		return strings.Join(all, " ")
	}
	support.Says(t, [][2]string{
		{said("lit dark blinking", "lamp lit", false), "lit"},
		{said("lit dark blinking", "lamp not lit", false), "dark"},
		{said("lit dark blinking", "lamp never dark", false), "lit"},
		{said("lit dark blinking", "lamp not not lit", false), "lit"},
		{said("lit dark blinking", "lamp not blinking", false), "lit dark"},
		{said("lit dark out", "lamp not lit", false), "dark out"}, // two mean the contrary
		{said("open closed", "lamp not open", false), "closed"},
		{said("yes no", "lamp", false), "yes"},
		{said("yes no", "no lamp", false), "no"},
		{said("yes no", "not without lamp", false), "yes"},
		{said("yes no", "no", true), "no"},
		{said("yes no", "no", false), ""},
		{said("yes no", "yes", true), "yes"},
		{said("yes no", "never", true), "no"},
		{said("yes no", "squeaks", true), ""},
		{said("lit dark blinking", "lamp", false), ""},
	})
}
