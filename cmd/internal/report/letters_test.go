package report

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"codeberg.org/go-pdf/fpdf"
)

// Letters are as wide as the published measures of the standard face say, which the PDF library
// carries (Adobe, font metrics of the 14 core fonts: Helvetica and Helvetica-Bold; Arial and
// Liberation Sans are made to the same).
func TestLettersAreAsWideAsPublished(t *testing.T) {
	f := fpdf.New("P", "pt", "A4", "")
	for bold, style := range map[bool]string{false: "", true: "B"} {
		f.SetFont("Helvetica", style, 1000)
		for r := ' '; r <= '~'; r++ {
			if got, want := LettersWide(string(r), 1000, bold), f.GetStringWidth(string(r)); !(math.Abs(got-want) <= 1e-9) {
				t.Errorf("%q, bold %v, is %.0f wide, published are %.0f", r, bold, got, want)
			}
		}
	}
	for text, want := range map[string]float64{"": 0, "ab": 11.12, "a\u0301b": 11.12, "aé": 5.56 + 7.22, "\x1f": 7.22, "\u007f": 7.22, "한": 14.44, "漢字": 28.88, "ა": 7.22, "ᄀ": 14.44} {
		if got := LettersWide(text, 10, false); !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("%q is %.2f wide, wanted %.2f", text, got, want)
		}
	}
}

// Text is folded into as few lines as have room for it, every word in its order and its weight; a
// word wider than a line stands alone.
func TestTextIsFoldedToItsWidth(t *testing.T) {
	const size, width = 10.0, 100.0
	wide := func(line []textRun) (sum float64) {
		for _, run := range line {
			sum += LettersWide(run.text, size, run.bold)
		}
		return sum
	}
	type word struct {
		says string
		bold bool
	}
	words := func(runs []textRun) (all []word) {
		for _, run := range runs {
			for _, w := range strings.Fields(run.text) {
				all = append(all, word{w, run.bold})
			}
		}
		return all
	}
	for _, runs := range [][]textRun{
		nil, {{"  ", false}}, {{"one", false}}, {{"one", true}, {"two", false}}, {{"one two", false}, {"", true}, {"three", false}},
		{{"mmmm mmmm", false}, {"mmmm mmmm mmmm", true}, {"iiii iiii iiii iiii iiii iiii iiii iiii iiii", false}},
		{{"WARNING", true}, {strings.Repeat("turn it off and prove it off ", 9), false}},
		{{"a", false}, {strings.Repeat("w", 40), true}, {"b", false}},
		{{"iiiiiiiiiiiiiiiiii iiiiiiiiiiiiiiiiiiiiiii", false}}, // 18 and 23 of them and a space: 93.8
		{{"iiiiiiiiiiiiiiiiii iiiiiiiiiiiiiiiiiiiiiii ii", false}},
	} {
		lines := foldLetters(size, width, runs...)
		var back []textRun
		for i, line := range lines {
			back = append(back, line...)
			if w := wide(line); len(words(line)) == 0 || w > width+1e-9 && len(words(line)) > 1 {
				t.Errorf("%v: line %d is %.1f wide: %v", runs, i, w, line)
			}
			if strings.HasPrefix(line[0].text, " ") {
				t.Errorf("%v: line %d begins with a space", runs, i)
			}
			for k, run := range line {
				if k > 0 && (run.bold == line[k-1].bold || !strings.HasPrefix(run.text, " ")) {
					t.Errorf("%v: line %d has the runs %v", runs, i, line)
				}
			}
			if i > 0 {
				next := words(line)[0]
				if w := wide(lines[i-1]) + LettersWide(" ", size, false) + LettersWide(next.says, size, next.bold); w <= width-1e-9 {
					t.Errorf("%v: %q had room at the end of line %d, to %.1f", runs, next.says, i-1, w)
				}
			}
		}
		if got, want := words(back), words(runs); !slices.Equal(got, want) {
			t.Errorf("%v is folded to %v", runs, lines)
		}
	}
}

// Whatever an axis goes up to, it has a handful of marks on round numbers, in a unit in which they
// are short.
func TestAnAxisHasRoundMarks(t *testing.T) {
	for power := -8.5; power < 4; power += 0.07 {
		to := math.Pow(10, power)
		for _, from := range []float64{0, -to / 3} {
			for _, unit := range []string{"s", "V"} {
				if unit == "V" && power < -2 {
					continue // nobody draws it: an instrument is not that fine
				}
				a := newAxis(from, to, 0, 100, unit, "")
				marks := a.marks()
				if len(marks) < 4 || len(marks) > 11 {
					t.Fatalf("from %g to %g there are the marks %v", from, to, marks)
				}
				for i, m := range marks {
					if m < from-1e-9*to || m > to*(1+1e-9) || i > 0 && !(math.Abs(m-marks[i-1]-a.step) <= 1e-9*a.step) {
						t.Errorf("from %g to %g there are the marks %v", from, to, marks)
					}
					says, err := strconv.ParseFloat(a.label(m), 64)
					if err != nil || !(math.Abs(says*a.scale-m) <= 1e-6*a.step) {
						t.Errorf("the mark at %g %s says %s %s", m, unit, a.label(m), a.unit)
					}
					if at := a.at(m); !(math.Abs(at-100*(m-from)/(to-from)) <= 1e-9) {
						t.Errorf("from %g to %g the mark of %g stands at %g of 100", from, to, m, at)
					}
				}
				if marks[0]-a.step >= from || marks[len(marks)-1]+a.step <= to {
					t.Errorf("from %g to %g a mark is missing at an end of %v", from, to, marks)
				}
				if span := (to - from) / a.scale; unit == "s" && to-from < 2 && (span < 1.9 || span > 2000) && to-from > 2e-9 {
					t.Errorf("from %g to %g s the marks are in %s", from, to, a.unit)
				}
				if want := map[float64]string{1e-9: "ns", 1e-6: "µs", 1e-3: "ms", 1: unit}[a.scale]; a.unit != want {
					t.Errorf("a scale of %g is called %s", a.scale, a.unit)
				}
			}
		}
	}
}
