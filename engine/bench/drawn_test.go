package bench_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"downdrop/engine/bench"
	"downdrop/testdata/support"
)

// What becomes of drawn units at the bench, step by step and figure by figure, is what it was.
func TestRunsStayAsTheyAre(t *testing.T) {
	var b strings.Builder
	r := rand.New(rand.NewPCG(31, 713))
	for n := range 16 {
		procedure, profile := shippedRun(t, []string{"acceptance", "short"}[n/8%2], "quay_24")
		u := draw(r)
		s, typed := walk(t, procedure, profile, u, r)
		fmt.Fprintf(&b, "== %d %s: %s\n%s\n", n, u.defect, s.Verdict, strings.Join(typed, "; "))
		b.WriteString(support.Figures(s.Basis) + support.Figures(bench.Derived(profile)))
		for _, st := range s.Steps {
			fmt.Fprintf(&b, "%s %s: %s\n", st.Step.ID, st.Outcome, strings.ReplaceAll(support.Figures(st), "\n", "; "))
		}
	}
	support.Kept(t, "drawn.txt", b.String())
}
