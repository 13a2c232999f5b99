package handbook

import (
	"math"
	"testing"
	"testing/fstest"

	"downdrop/rulebase"
)

type spoken struct{ is, want string }

func says(t *testing.T, rows []spoken) {
	t.Helper()
	for _, r := range rows {
		if r.is != r.want {
			t.Errorf("says  %q\nwants %q", r.is, r.want)
		}
	}
}

func TestNumbersInABookAreSaid(t *testing.T) {
	under := func(x float64) float64 { return math.Nextafter(x, 0) }
	says(t, []spoken{
		{sayLowest("drop"), "drop lies at the bottom."},
		{sayLayer("mill", "drop"), "mill lies over drop: what it says replaces what stands below."},
		{sayReading(""), "A reading."},
		{sayReading("V"), "A reading in V."},
		{sayCommon(0), "In 0 of 1,000 complaints."},
		{sayCommon(0.4), "In 400 of 1,000 complaints."},
		{sayCommon(under(0.4)), "In 400 of 1,000 complaints: about one in 2."},
		{sayCommon(0.06), "In 60 of 1,000 complaints: about one in 17."},
		{sayCommon(0.05), "In 50 of 1,000 complaints: about one in 20."},
		{sayCommon(0.001), "In 1 of 1,000 complaints: about one in 1000."},
		{sayGain(1.5), "Before anything is known it should leave a third of the list or less."},
		{sayGain(under(1.5)), "Before anything is known it should about halve the list."},
		{sayGain(0.75), "Before anything is known it should about halve the list."},
		{sayGain(under(0.75)), "Before anything is known it should narrow the list down."},
		{sayGain(0.35), "Before anything is known it should narrow the list down."},
		{sayGain(under(0.35)), "Before anything is known it should help a little."},
		{sayGain(0.1), "Before anything is known it should help a little."},
		{sayGain(under(0.1)), "Before anything is known it would hardly change anything: it is for when something points to it."},
		{hundred(0), "0"},
		{hundred(0.001), "less than 1"},
		{hundred(0.005), "1"},
		{hundred(0.5), "50"},
		{hundred(0.994), "99"},
		{hundred(0.996), "more than 99"},
		{hundred(1), "100"},
		{outOf100(0), "never"},
		{outOf100(0.25), "25\u00a0in\u00a0100"},
		{sayFactor(math.Inf(1)), "only this shows it"},
		{sayFactor(0), "rules it out"},
		{sayFactor(1000), "× over 1,000"},
		{sayFactor(under(1000)), "× 1000"},
		{sayFactor(10), "× 10"},
		{sayFactor(under(9.9)), "× 9.9"},
		{sayFactor(1), "× 1"},
		{sayFactor(0.5), "× 0.5"},
		{sayFactor(0.05), "× 0.05"},
		{sayFactor(0.0001), "× under 0.01"},
		{countOf(1, "entry", "entries"), "one entry"},
		{countOf(2, "entry", "entries"), "2 entries"},
		{sentence(""), ""},
		{sentence("It is so"), "It is so."},
		{sentence("Is it so?"), "Is it so?"},
		{begin("plain"), "plain"},
		{begin("1. first"), "1\\. first"},
		{begin("- dash"), "\\- dash"},
		{begin("# head"), "# head"},
	})
}

// Conditions of every form are read aloud.
func TestConditionsAreReadAloud(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "lower", FS: fstest.MapFS{"own.yaml": {Data: []byte(`
rulebase: {name: lower}
givens:
  metal: {ask: "Of what?", one_of: [iron, brass]}
  other_metal: {ask: "And the other?", one_of: [iron, brass]}
  wet: {ask: "Is it wet?"}
  length: {ask: "How long?", unit: m}
causes:
  stuck: {name: It is stuck, part: vane, per_thousand: 20, source: common_practice}
symptoms:
  light: {ask: "Is it lit?", values: [lit, dark], by: looking, shows: [{when: stuck, dark: always}, {lit: always}]}
rules:
  same: {when: metal == other_metal, tell: Same., because: So., source: common_practice}
  unlike: {when: metal != other_metal, tell: Unlike., because: So., source: common_practice}
  some: {when: "length in [10, 20]", tell: Some., because: So., source: common_practice}
  none: {when: "length not in [10, 20]", tell: None., because: So., source: common_practice}
  less: {when: "-length < -10 and not wet", tell: Less., because: So., source: common_practice}
  quotient: {when: "length / (length + 1) - (length - 2) > -(length * 2) + 6 / (length / 3)", tell: Q., because: So., source: common_practice}
  sums: {when: "2 * (length + 1) > 3 * (length / 2) and (length > 1 or wet)", tell: S., because: So., source: common_practice}
  flags: {when: "not (wet or length > 3)", tell: F., because: So., source: common_practice}
  dry: {when: "wet == false", tell: Dry., because: So., source: common_practice}
  most: {when: "max(length, 10) > 2 * min(length, 3) + 1 or (wet and metal == iron)", tell: Most., because: So., source: common_practice}
`)}}})
	if err != nil {
		t.Fatal(err)
	}
	read := map[string]string{}
	for i := range base.Rules {
		b := &builder{base: base}
		line := ""
		for _, s := range b.expression(base.Rules[i].When) {
			line += s.Text
		}
		read[base.Rules[i].ID] = line
	}
	says(t, []spoken{
		{read["same"], "metal is other metal"},
		{read["unlike"], "metal is not other metal"},
		{read["some"], "length is 10 or 20"},
		{read["none"], "length is neither 10 nor 20"},
		{read["less"], "-length is below -10 and not wet"},
		{read["quotient"], "length / (length + 1) - (length - 2) is above -(length × 2) + 6 / (length / 3)"},
		{read["sums"], "2 × (length + 1) is above 3 × (length / 2) and (length is above 1 or wet)"},
		{read["flags"], "not (wet or length is above 3)"},
		{read["dry"], "wet is not so"},
		{read["most"], "the largest of (length, 10) is above 2 × the least of (length, 3) + 1 or (wet and metal is iron)"},
	})
	if line := (&builder{base: base}).expression(nil); line != nil {
		t.Errorf("no condition reads %v", line)
	}
}
