package review_test

import (
	"fmt"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/engine/review"
	"downdrop/rulebase"
)

// kindsOf are the kinds of what is found in a rulebase of one file.
func kindsOf(t *testing.T, text string) []string {
	t.Helper()
	b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte(text)}}})
	if err != nil {
		t.Fatal(err)
	}
	var kinds []string
	for _, f := range review.Within(b, nil, review.NoLimit).Found {
		kinds = append(kinds, f.Kind)
	}
	return kinds
}

// Hardly sure is less than 0.6, at the place where it is least.
func TestHowSureIsHardlySure(t *testing.T) {
	for sure, want := range map[string]bool{"0.6": false, "0.59": true, "{phone: 0.6, field: 0.9, bench: 0.9}": false, "{phone: 0.9, field: 0.59, bench: 0.9}": true} {
		kinds := kindsOf(t, "rulebase: {name: sure}\nsymptoms: {light: {ask: Is the light lit, values: [lit, dark], sure: "+sure+"}}\n")
		if got := slices.Contains(kinds, "hardly-sure"); got != want {
			t.Errorf("sure: %s is found %v: %v", sure, got, kinds)
		}
	}
}

// A look-alike that shares nothing with its cause is remarked on where more than three others share something.
func TestHowManyAreNearerThanALookAlike(t *testing.T) {
	for others, want := range map[int]bool{3: false, 4: true} {
		var names, causes []string
		for i := range others {
			names = append(names, fmt.Sprintf("other_%d", i))
			causes = append(causes, fmt.Sprintf("  other_%d: {name: Other %d, part: p, per_thousand: 10, source: own, remedy: mend}\n", i, i))
		}
		kinds := kindsOf(t, `rulebase: {name: alike}
causes:
  first: {name: First, part: p, per_thousand: 10, source: own, remedy: mend, look_alikes: [second]}
  second: {name: Second, part: p, per_thousand: 10, source: own, remedy: mend, look_alikes: [first]}
`+strings.Join(causes, "")+`conditions: {bright: {when: first or `+strings.Join(names, " or ")+`}}
symptoms:
  light: {ask: Is the light lit, values: [lit, dark], shows: [{when: bright, lit: 0.9}, {dark: 0.9}]}
  smell: {ask: Does it smell, values: ["yes", "no"], shows: [{when: second, "yes": 0.9}, {"no": 0.9}]}
remedies: {mend: {do: Mend it, minutes: 5, ends_as: adjusted}}
sources: {own: {says: Own, kind: practice}}
`)
		if got := slices.Contains(kinds, "look-alike-unlike"); got != want {
			t.Errorf("%d others: found %v: %v", others, got, kinds)
		}
	}
}

// A step that stops the drop whether or not a flag is set is doubted where eight others ask for it, and ask it the same way.
func TestWhetherOrNotIsDoubted(t *testing.T) {
	for _, asked := range []string{"guarded", "not guarded"} {
		for others, want := range map[int]bool{7: false, 8: true} {
			steps := "  bold: {do: Do it boldly, minutes: 5, who: technician, stops: drop, ends_as: adjusted}\n"
			for i := range others {
				steps += fmt.Sprintf("  meek_%d: {do: Do it meekly, minutes: 5, who: technician, stops: drop, only_if: %s, ends_as: adjusted}\n", i, asked)
			}
			b, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte("rulebase: {name: guard}\ngivens:\n  guarded:\n  lit:\nremedies:\n" + steps)}}})
			if err != nil {
				t.Fatal(err)
			}
			wants := fmt.Sprintf("bold is unlike %d other steps that stop the drop: it is offered whether or not guarded", others)
			var says []string
			for _, f := range review.Within(b, nil, review.NoLimit).Found {
				says = append(says, f.Says)
			}
			if got := slices.Contains(says, wants); got != want {
				t.Errorf("%d others with only_if: %s: found %v of %q", others, asked, got, says)
			}
		}
	}
}
