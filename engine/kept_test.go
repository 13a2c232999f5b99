package engine_test

import (
	"fmt"
	"strings"
	"testing"

	"downdrop/engine"
	"downdrop/testdata/support"
)

// All that a diagnosis tells of drawn cases by drawn rulebases, and the charts that lead on from them, is what it was.
func TestDiagnosesStayAsTheyAre(t *testing.T) {
	support.Alone(t)
	var b strings.Builder
	n := 0
	trials(t, 60, func(x *trial) {
		if n++; n > 60 {
			return // DOWNDROP_DEEP draws no more
		}
		d, err := engine.Diagnose(t.Context(), x.p, x.s, engine.Options{Weights: true})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Fprintf(&b, "== %d\n%s", x.seed, support.Figures(tellAll(d)))
		if n%6 != 0 {
			return
		}
		tree, err := engine.Chart(t.Context(), x.p, x.s, engine.ChartOptions{Nodes: 12})
		if err != nil {
			t.Fatal(err)
		}
		b.WriteString(support.Figures(tree))
	})
	support.Kept(t, "drawn.txt", b.String())
}
