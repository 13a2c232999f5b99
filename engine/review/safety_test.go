package review_test

import (
	"slices"
	"strings"
	"testing"

	"downdrop/engine/review"
)

// The check cases of safety, by their ids: steps that a review has to stop. That a
// failure is shown before maintenance where both are so (SAF-3) has nothing to be
// tested on: downdrop shows no status letters.
func TestSafetyCheckCases(t *testing.T) {
	var good review.Sample
	for _, k := range review.Kinds() {
		if k.Name == "hazard-unsaid" {
			_, good = k.Samples()
		}
	}
	const do, hazard, warns = `do: "Probe the vane with the cover off and under power"`, "hazard: [live]", "Bare parts carry volts. Only for people who may work on them."
	for _, c := range []struct {
		id, do, hazard, warns string
		kind                  string // ""; nothing is found
		source                string
	}{
		{"SAF-1: nothing said", `do: "Force one output that is listed as harmless"`, "hazard: [live]", warns, "hazard-unsaid", "common practice, no source"},
		{"SAF-1: no caution", `do: "Force one output that is listed as harmless"`, "hazard: [live, motion]", warns, "danger-unspoken", "common practice, no source"},
		{"SAF-1: with its caution", `do: "Force one output that is listed as harmless"`, "hazard: [live, motion]", warns + " The machine can move: make sure that everybody is clear.", "", "common practice, no source"},
		{"SAF-2: push button", `do: "Isolate the vane with the push button, then probe it"`, hazard, warns, "isolates-by-control", "29 CFR 1910.147(b), as quoted"},
		{"SAF-2: stop mode", `do: "Isolate the drop by stop mode, then probe it"`, hazard, warns, "isolates-by-control", "29 CFR 1910.147(b), as quoted"},
		{"SAF-2: selector switch", `do: "Isolate it at the selector switch, then probe it"`, hazard, warns, "isolates-by-control", "29 CFR 1910.147(b), as quoted"},
		{"SAF-2: isolating device", `do: "Isolate it at the site's isolator, prove it dead, then probe it"`, hazard, warns, "", "29 CFR 1910.147(b), as quoted"},
		{"SAF-4: over 50 V, nobody isolates", do, "hazard: [mains]", "Bare parts carry volts.", "danger-unspoken", "29 CFR 1910.333(a)(1), as a training page has it"},
		{"SAF-4: over 50 V, isolated first", do, "hazard: [live, mains]", "Bare parts carry volts of the mains. Isolate by the site's rules and prove dead before you begin.", "", "29 CFR 1910.333(a)(1), as a training page has it"},
	} {
		s := good
		for old, put := range map[string]string{do: c.do, hazard: c.hazard, warns: c.warns} {
			if !strings.Contains(good.Rules, old) {
				t.Fatalf("the sample no longer holds %q", old)
			}
			s.Rules = strings.Replace(s.Rules, old, put, 1)
		}
		got := reviewed(t, s)
		if c.kind == "" && len(got) > 0 || c.kind != "" && !slices.Contains(got, c.kind) {
			t.Errorf("%s: %q, expected %q (%s)", c.id, got, c.kind, c.source)
		}
	}
}
