package handbook

import (
	"math"
	"testing"
	"testing/fstest"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

func TestNumbersInABookAreSaid(t *testing.T) {
	under := func(x float64) float64 { return math.Nextafter(x, 0) }
	support.Says(t, [][2]string{
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
		{sayCommon(under(0.05)), "In 50 of 1,000 complaints: about one in 20."},
		{sayCommon(0.0488), "In 48.8 of 1,000 complaints: about one in 20."},
		{sayCommon(0.044), "In 44 of 1,000 complaints: about one in 25."},
		{sayBriefly(&rulebase.Step{Minutes: 5}), " (about 5 minutes)"},
		{sayBriefly(&rulebase.Step{Minutes: 5, At: []rulebase.Place{rulebase.Field}}), " (about 5 minutes, at the drop)"},
		{sayMoreCauses(1), "and one more cause."},
		{sayMoreCauses(2), "and 2 more causes."},
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
		{sayFactor(under(10)), "× 10"},
		{sayFactor(0.95), "× 0.9"},
		{sayFactor(0.095), "× 0.1"},
		{sayFactor(under(0.095)), "× 0.09"},
		{sayFactor(0.01), "× 0.01"},
		{sayFactor(under(0.01)), "× under 0.01"},
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
	support.Says(t, [][2]string{
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

// What tells two causes apart is named place by place, one test once with all its places.
func TestWhatTellsCausesApartIsSaid(t *testing.T) {
	b := &builder{base: &rulebase.Base{Tests: []rulebase.Step{{ID: "measure", Do: "Measure it"}, {ID: "look", Do: "Look at it"}, {ID: "swap", Do: "Swap it"}}}, number: map[string]int{"measure": 1, "look": 2, "swap": 3}}
	none, measure, look, swap := best{-1, 0}, best{0, 0.9}, best{1, 0.6}, best{2, 0.3}
	apart := func(all ...best) string {
		text := ""
		for _, s := range b.apart(judgement{best: all}) {
			text += s.Text
		}
		return text
	}
	support.Says(t, [][2]string{
		{howWell(0.75), "nearly always"}, {howWell(0.7499), "mostly"}, {howWell(0.5), "mostly"}, {howWell(0.4999), "now and then"}, {howWell(0.25), "now and then"}, {howWell(0.2499), "seldom"},
		{apart(none, none, none), ": no single test here tells them apart."},
		{apart(measure, none, none), ". Told apart by phone, nearly always, by: Measure it."},
		{apart(none, measure, none), ". Told apart at the drop, nearly always, by: Measure it."},
		{apart(none, measure, measure), ". Told apart at the drop and on the bench, nearly always, by: Measure it."},
		{apart(look, measure, look), ". Told apart by phone and on the bench, mostly, by: Look at it; at the drop, nearly always, by: Measure it."},
		{apart(look, measure, swap), ". Told apart by phone, mostly, by: Look at it; at the drop, nearly always, by: Measure it; on the bench, now and then, by: Swap it."},
		{apart(measure, measure, measure), ". Told apart anywhere, nearly always, by: Measure it."},
	})
}

// A test is preferred that tells more reliably, as it is said in words; then the cheaper one, then
// the one that tells more.
func TestWhichTestIsPreferred(t *testing.T) {
	b := &builder{base: &rulebase.Base{Tests: []rulebase.Step{{Minutes: 5}, {Minutes: 10}, {Minutes: 10}}}}
	const cheap, dear, alike = 0, 1, 2
	for name, c := range map[string]struct {
		i, than        int
		bits, thanBits float64
		want           bool
	}{
		"than none":              {dear, -1, 0.1, 0, true},
		"than the first":         {dear, cheap, 0.1, 0.1, false},
		"more reliable":          {dear, cheap, 0.75, 0.74, true},
		"less reliable":          {cheap, dear, 0.49, 0.5, false},
		"cheaper":                {cheap, dear, 0.5, 0.74, true},
		"dearer, and tells more": {dear, cheap, 0.74, 0.5, false},
		"tells more":             {alike, dear, 0.6, 0.5, true},
		"tells less":             {alike, dear, 0.5, 0.6, false},
		"is the same":            {alike, dear, 0.5, 0.5, false},
	} {
		if got := b.better(c.i, c.bits, c.than, c.thanBits); got != c.want {
			t.Errorf("%s: preferred is %v", name, got)
		}
	}
}

func TestWhereEntriesStand(t *testing.T) {
	b := &builder{parts: []string{"supply", "line", "fond of ½"}, about: []map[string]float64{{"supply": 0.1, "line": 0.3}, {"line": 1e-9}, {"line": 0.3, "supply": 0.3}, {"supply": 0.3}}}
	part := func(yields ...int) string { return b.testPart(&rulebase.Step{Yields: yields}) }
	support.Says(t, [][2]string{
		{b.home(0), "line"}, {b.home(1), ""}, {b.home(2), "supply"},
		{part(0), "line"}, {part(0, 3), "supply"}, {part(1), ""}, {part(2), "supply"}, {part(), ""},
		{b.partAnchor("causes", ""), "causes-of-no-part"}, {b.partAnchor("causes", "line"), "causes-line"}, {b.partAnchor("causes", "fond of ½"), "causes-3-fond-of--"},
		{anchor("tool", "az09AZ"), "tool-az09az"}, {anchor("tool", "a{`/:é"), "tool-a-----"},
	})
	remedy := func(all ...int) *rulebase.Cause {
		c := &rulebase.Cause{}
		for _, r := range all {
			c.Remedies = append(c.Remedies, rulebase.Helps{Remedy: r})
		}
		return c
	}
	for _, c := range []struct {
		x, y *rulebase.Cause
		want bool
	}{{remedy(1), remedy(1), true}, {remedy(1, 2), remedy(1, 2), true}, {remedy(1, 2), remedy(2, 1), false}, {remedy(1), remedy(1, 2), false}, {remedy(), remedy(), false}} {
		if sameRemedies(c.x, c.y) != c.want {
			t.Errorf("%v and %v", c.x.Remedies, c.y.Remedies)
		}
	}
}

// Rulebases that lie over one another are named from the top, each with what it lies over.
func TestLayersAreSaidFromTheTop(t *testing.T) {
	layers := func(names ...string) string {
		text := ""
		for _, block := range (&builder{base: &rulebase.Base{Layers: names}}).layers().Blocks {
			for _, line := range block.List {
				for _, s := range line {
					text += s.Text + " | "
				}
			}
		}
		return text
	}
	support.Says(t, [][2]string{
		{layers(), ""}, {layers("drop"), ""},
		{layers("drop", "mill"), "mill lies over drop: what it says replaces what stands below. | drop lies at the bottom. | "},
		{layers("drop", "mill", "yard"), "yard lies over mill: what it says replaces what stands below. | mill lies over drop: what it says replaces what stands below. | drop lies at the bottom. | "},
	})
}

// Every word of an id leads to its entries, in the order of the book and each once; words that begin with
// no letter come last.
func TestTermsLeadToTheirEntries(t *testing.T) {
	b := &builder{base: &rulebase.Base{Tests: []rulebase.Step{{ID: "measure_pair", Needs: []string{"line_tester", "pair"}}}}, number: map[string]int{"power_light": 1, "light_light": 2, "measure_pair": 3, "a_x2": 4, "x_24v": 5, "z_7": 6}}
	text := ""
	for _, g := range b.terms().Groups {
		text += g.ID + " " + g.Title + ":"
		for _, r := range g.Rows {
			text += " " + r.Label + " ="
			for _, s := range r.Blocks[0].Text {
				text += s.Text
			}
			text += ";"
		}
		text += "\n"
	}
	if text != `terms-l L: light =power light, light light; line tester =measure pair;
terms-m M: measure =measure pair;
terms-p P: pair =measure pair; power =power light;
terms-x X: x2 =a x2;
terms-other-signs Other signs: 24v =x 24v;
` {
		t.Errorf("the terms are\n%s", text)
	}
	if c := (&builder{base: &rulebase.Base{}}).terms(); len(c.Groups) != 0 || c.Title != "" {
		t.Errorf("without entries there is %q", c.Title)
	}
}

// What Markdown gives a meaning is shown as it is.
func TestMarkdownSignsAreShown(t *testing.T) {
	support.Says(t, [][2]string{
		{escape("a*b_c"), "a\\*b\\_c"}, {escape("www.x"), "www\\.x"}, {escape("see ://x"), "see \\://x"}, {escape("plain. words"), "plain. words"}, {escape("[x](y) <b> & ~"), "\\[x\\](y) \\<b\\> \\& \\~"},
	})
}
