package report

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

// Boxes that follow one another go into two columns as low as they can be.
func TestTwoColumnsAreAsLowAsCanBe(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 26))
	for range 300 {
		heights := make([]float64, rng.IntN(9))
		for i := range heights {
			heights[i] = float64(1 + rng.IntN(50))
		}
		sum := func(list []float64) (all float64) {
			for _, h := range list {
				all += h
			}
			return all
		}
		want := math.Inf(1)
		for cut := range len(heights) + 1 {
			want = min(want, max(sum(heights[:cut]), sum(heights[cut:])))
		}
		if got := twoColumns(heights); got != want {
			t.Fatalf("%v go into two columns of %v, not %v", heights, want, got)
		}
	}
}

// Warnings cut to their first sentence have a letter each, the same warning the same, under which all of it
// stands at the head; whole ones, and those of one sentence, need none. Nothing of a warning is lost.
func TestWarningsOfADoorSheetAreWholeSomewhere(t *testing.T) {
	long := []ChartWarning{{"WARNING", "Isolate it. Prove it dead. Why: it stores."}, {"CAUTION", "Isolate it. Prove it dead."}, {"WARNING", "It is hot."}, {"WARNING", "Isolate it. Prove it dead."}}
	for _, form := range doorForms {
		s := &doorSheet{}
		got := s.warn(long, form)
		if len(got) != len(long) {
			t.Fatalf("%d warnings of %d", len(got), len(long))
		}
		for i, w := range got {
			says, _, _ := strings.Cut(long[i].Says, " Why: ")
			whole := w.Says
			if w.Letter != "" {
				n := 0
				for _, l := range s.Legend {
					if l.Letter == w.Letter {
						whole = l.Says
						n++
						if l.Word != w.Word || !strings.HasPrefix(l.Says, w.Says) {
							t.Errorf("%+v stands for %+v", w, l)
						}
					}
				}
				if n != 1 {
					t.Errorf("%d warnings have the letter %s", n, w.Letter)
				}
			}
			if whole != says || w.Word != long[i].Word || form.whole && w.Letter != "" {
				t.Errorf("of %q there is %+v, and whole %q", long[i].Says, w, whole)
			}
		}
		if want := map[bool]int{true: 0, false: 2}[form.whole]; len(s.Legend) != want {
			t.Errorf("the legend has %+v", s.Legend)
		}
	}
	seen := map[string]bool{}
	for i := range 80 {
		if letter := doorLetterOf(i); seen[letter] || letter == "" {
			t.Errorf("letter %d is %q once more", i, letter)
		} else {
			seen[letter] = true
		}
	}
	if doorLetterOf(0) != "A" || doorLetterOf(25) != "Z" || doorLetterOf(26) != "A2" || doorLetterOf(52) != "A3" {
		t.Errorf("letters are %s, %s, %s, %s", doorLetterOf(0), doorLetterOf(25), doorLetterOf(26), doorLetterOf(52))
	}
}
