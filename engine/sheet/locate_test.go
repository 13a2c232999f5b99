package sheet_test

import (
	"testing"

	"downdrop/engine/sheet"
)

func TestTry(t *testing.T) {
	s := read(t, "../../cases/examples/sheets/tide_mill.yaml")
	for _, r := range []float64{84.6, 148, 79, 50, 12, 170} {
		t.Logf("== %v ohm", r)
		for _, st := range sheet.Explain(s, 0, r, false) {
			t.Logf("%.3f %s at %.0f m: %.1f to %.1f ohm lost %v", st.Probability, st.Kind, st.AtM, st.Low, st.High, st.Lost)
		}
	}
}
