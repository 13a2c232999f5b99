package report_test

import (
	"fmt"
	"io"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/review"
	"downdrop/rulebase"
)

// distinction is the small rulebase of these tests in the field: one cause that is
// not seen, one that is singled out, three that are not told apart, two of which
// are put right alike.
func distinction() *review.Distinction {
	b := base()
	table := &review.Table{Rate: []float64{0.4, 0.3, 0.2, 0.05, 0.05}, Cost: []float64{4, 1, 25}, Apart: resultsOf([][]int{{1, 0, 0}, {0, 2, 0}, {0, 2, 0}, {0, 2, 0}, {0, 0, 0}})}
	return &review.Distinction{Base: b, Situation: rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician}, Right: 0.8,
		Tests:  []*rulebase.Step{&b.Tests[0], &b.Tests[2], &b.Tests[1]},
		Causes: table.Testability(), Do: table.With([]int{0, 1, 2, 2, 4}).Testability(), Largest: []int{1, 2, 3},
		Splits: []review.Split{{Withheld: engine.Withheld{Step: &b.Tests[1], Why: engine.WhyTools, Detail: "clamp_meter"}, Leaves: [][]int{{1}, {2, 3}}, Left: 1.5}}}
}

// many has a group too large to name all of it.
func many() *review.Distinction {
	x := distinction()
	var shows [][]int
	var rates []float64
	for i := range 20 {
		x.Base.Causes = append(x.Base.Causes, rulebase.Cause{Name: fmt.Sprintf("Cause number %d", i)})
	}
	for i := range x.Base.Causes {
		shows, rates = append(shows, []int{1, 0, 0}), append(rates, float64(i+1))
	}
	table := &review.Table{Rate: rates, Cost: []float64{1, 1, 1}, Apart: resultsOf(shows)}
	x.Causes, x.Do = table.Testability(), table.Testability()
	x.Largest = x.Do.Groups[0]
	return x
}

// told is one in which everything is told apart, in no particular place.
func told() *review.Distinction {
	x := distinction()
	table := &review.Table{Rate: []float64{1, 1, 1, 1, 1}, Cost: []float64{1}, Apart: resultsOf([][]int{{1}, {2}, {3}, {4}, {5}})}
	x.Situation, x.Tests, x.Largest, x.Splits = rulebase.Situation{}, x.Tests[:1], nil, nil
	x.Causes, x.Do = table.Testability(), table.Testability()
	return x
}

func TestDistinctionReadsAsWritten(t *testing.T) {
	unsplit := distinction()
	unsplit.Splits = nil
	for name, x := range map[string]*review.Distinction{"distinguish": distinction(), "distinguish_told": told(), "distinguish_many": many(), "distinguish_unsplit": unsplit} {
		got := printed(t, func(w io.Writer) error { return report.Distinction(w, 0, x) })
		if diff := cmp.Diff(golden(t, name+".txt", got), got); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		got = printed(t, func(w io.Writer) error { return report.DistinctionJSON(w, x) })
		for _, says := range lacks("", document(t, []byte(golden(t, name+".json", got))), document(t, []byte(got))) {
			t.Errorf("%s: %s", name, says)
		}
		if strings.Contains(got, "null") {
			t.Errorf("%s holds a null:\n%s", name, got)
		}
		for _, width := range []int{20, 33, 69, 70, 80} {
			for _, line := range strings.Split(printed(t, func(w io.Writer) error { return report.Distinction(w, width, x) }), "\n") {
				if len([]rune(line)) > width && len(strings.Fields(line)) > 1 {
					t.Errorf("%s at width %d: %q", name, width, line)
				}
			}
		}
	}
}

// resultsOf makes Table.Apart of the usual table of testability: by fault and test
// the result, which is 0 where nothing is wrong.
func resultsOf(shows [][]int) func(test, f, g int) bool {
	of := func(test, f int) int {
		if f == review.Nothing {
			return 0
		}
		return shows[f][test]
	}
	return func(test, f, g int) bool { return of(test, f) != of(test, g) }
}
