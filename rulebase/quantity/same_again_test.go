package quantity_test

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"downdrop/rulebase/quantity"
	"downdrop/testdata/support"
)

// meanings are all that a text may be taken for, as texts that can be taken in one way only.
func meanings(text string, want quantity.Want) []string {
	x, err := quantity.Read(text, want)
	if err == nil {
		return []string{x.Entry()}
	}
	var q *quantity.Question
	if !errors.As(err, &q) {
		return []string{err.Error()}
	}
	var all []string
	for _, a := range q.Answers {
		all = append(all, a.Entry)
	}
	slices.Sort(all)
	return all
}

// One reading in two texts: the same span told by its ends, by its middle, the ends the other way round, with the
// unit at one end or at both.
func TestOneSpanInOtherWords(t *testing.T) {
	r := rand.New(rand.NewPCG(31, 4))
	units := []struct{ want, typed string }{{"V", "V"}, {"V", "mV"}, {"ohm", "kohm"}, {"ohm", "ohm"}, {"m", "ft"}, {"m", "km"}, {"m", "yd"}, {"s", "min"}, {"min", "h"}, {"mA", "A"}, {"kbaud", "baud"}, {"degC", "K"}}
	for range support.Deep(t, 300) {
		u := units[r.IntN(len(units))]
		scale := []int{1, 10, 100}[r.IntN(3)]
		low, off := 1+r.IntN(900), 1+r.IntN(300)
		number := func(n int) string {
			if scale == 1 {
				return fmt.Sprint(n)
			}
			whole := fmt.Sprintf("%d.%0*d", n/scale, len(fmt.Sprint(scale))-1, n%scale)
			return whole
		}
		a, b, middle, away := number(low), number(low+2*off), number(low+off), number(off)
		want := quantity.Want{Unit: u.want}
		both := meanings("between "+a+" "+u.typed+" and "+b+" "+u.typed, want)
		for _, text := range []string{
			"between " + b + " " + u.typed + " and " + a + " " + u.typed,
			a + " " + u.typed + " to " + b + " " + u.typed,
			"min " + a + " " + u.typed + " max " + b + " " + u.typed,
			"max " + b + " " + u.typed + " min " + a + " " + u.typed,
			middle + " " + u.typed + " ± " + away + " " + u.typed,
		} {
			if got := meanings(text, want); !slices.Equal(got, both) {
				t.Fatalf("%q is %q, but with words for its ends %q", text, got, both)
			}
		}
		// With the unit at one of the two it is meant for both, or asked.
		for _, text := range []string{
			"between " + a + " and " + b + " " + u.typed,
			a + " " + u.typed + " to " + b,
			middle + " ± " + away + " " + u.typed,
			middle + " " + u.typed + " ± " + away,
		} {
			got := meanings(text, want)
			if len(both) != 1 || !slices.Contains(got, both[0]) && !slices.Contains(got, "really "+both[0]) {
				t.Fatalf("%q is %q, which leaves out %q", text, got, both)
			}
			if sameScale := u.typed == u.want || !strings.ContainsAny(u.typed[:1], "mk") && u.want != "mA" && u.want != "kbaud"; len(got) > 1 && sameScale {
				t.Fatalf("%q has no prefix, yet is %q", text, got)
			}
		}
	}
}
