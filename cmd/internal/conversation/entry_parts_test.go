package conversation

import (
	"slices"
	"strings"
	"testing"

	"downdrop/rulebase/quantity"
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
	says(t, []spoken{
		{parts("power light dark, run light lit"), "*power light dark | run light lit"},
		{parts("power light dark; run light lit. hum yes"), "*power light dark | *run light lit | *hum yes"},
		{parts("volts max 24 V, min 18 V; run light dark"), "*volts max 24 V, min 18 V | *run light dark"},
		{parts("volts read max, min, run light dark"), "*volts read max, min | run light dark"},
		{parts("volts read max, min; run light dark"), "*volts read max, min | *run light dark"},
		{parts("counter 10 at 10:00, 40 at 10:05, hum yes"), "*counter 10 at 10:00, 40 at 10:05 | hum yes"},
		{parts("23,8 V at the drop"), "*23,8 V at the drop"},
		{parts("23.8 V, 5"), "*23.8 V | 5"},
		{parts("drops 1, 2, 3 good, 5 dead"), "*drops 1, 2, 3 good | 5 dead"},
		{parts("a,b"), "*a | b"},
		{parts(", a,, b;"), "a | b"},
		{parts(""), ""},
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
	says(t, []spoken{
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
