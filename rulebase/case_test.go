package rulebase_test

import (
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"

	"downdrop/rulebase"
)

func goodBase(t testing.TB) *rulebase.Base {
	t.Helper()
	base, err := rulebase.LoadFolder("testdata/good")
	if err != nil {
		t.Fatal(err)
	}
	return base
}

// What is compared of situations: all but where it was written.
var noPlaces = cmpopts.IgnoreTypes(rulebase.Position{})

func number(x float64) *float64 { return &x }

// The whole of a case file, key by key.
func TestReadCaseReadsEverything(t *testing.T) {
	text, err := os.ReadFile("testdata/case_with_everything.yaml")
	if err != nil {
		t.Fatal(err)
	}
	got, err := goodBase(t).ReadCase("everything.yaml", text)
	if err != nil {
		t.Fatal(err)
	}
	want := rulebase.Situation{
		Case: "mill-7", At: rulebase.Field, Who: rulebase.Technician, Tools: []string{"meter", "a spare fuse"}, Alone: true, Confirmed: []string{"isolate_first"},
		Givens: []rulebase.GivenValue{
			{ID: "after_storm", Value: rulebase.Value{Word: "true"}},
			{ID: "line", Value: rulebase.Value{Word: "token_pair"}},
			{ID: "length", Value: rulebase.Value{Word: "0.3 km", IsNumber: true, Number: 300}},
		},
		Findings: []rulebase.Finding{
			{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}},
			{Symptom: "hum", Value: rulebase.Value{Word: "yes"}, Sure: number(0.8), By: "the caller", At: rulebase.Phone},
			{Symptom: "pair_ohms", Value: rulebase.Value{Word: "148 ohm", IsNumber: true, Number: 148}, After: "replace_fuse", Read: "148R"},
			{Symptom: "pair_ohms", Value: rulebase.Value{Word: "open"}, Drop: 5},
		},
		Done: []rulebase.Done{{ID: "replace_fuse", Drop: rulebase.StillDown}, {ID: "swap_fuse"}},
		Drop: 3, Drops: map[int]string{1: "good", 5: "dead", 7: "comes_and_goes"}, Order: []int{3, 1, 5}, Supplies: [][]int{{1, 3}, {5}}, Sheet: "mill.yaml",
		Effort: &rulebase.Effort{StopsDrop: 5, StopsBus: 60, Visit: 120},
		Expect: &rulebase.Expectation{First: "fuse_open", InFirst: map[int][]string{2: {"fuse_open", "terminator_missing"}}, AtLeast: map[string]float64{"fuse_open": 0.5}, AtMost: map[string]float64{"down": 0.99},
			Outcome: rulebase.PartReplaced, Next: "measure_pair", NotOffered: []string{"swap_fuse", "hum"}, Says: []string{"no supply"},
			Causes: map[string]float64{"fuse_open": 0.25}, Now: map[string]float64{}, Conditions: map[string]float64{"down": 0.5}, None: number(0.1), Outside: number(0), UnitOut: number(0), Evidence: number(0.5),
			Top: &rulebase.TopSet{Causes: []string{}, Probability: 0.25}, GainBits: map[string]float64{"measure_pair": 0.125, "hum": 0}},
	}
	if d := cmp.Diff(want, got, noPlaces); d != "" {
		t.Error(d)
	}
	if at := got.Findings[1].Pos; at.Line == 0 || at.File != "everything.yaml" {
		t.Errorf("the second finding stands at %v", at)
	}
}

func TestReadCaseOfNothing(t *testing.T) {
	for _, text := range []string{"", "{}", "findings:\ndone:\ngivens:\n", "findings: []"} {
		s, err := goodBase(t).ReadCase("x.yaml", []byte(text))
		if err != nil {
			t.Errorf("%q: %v", text, err)
		}
		if d := cmp.Diff(rulebase.Situation{}, s, noPlaces); d != "" {
			t.Errorf("%q: %s", text, d)
		}
	}
}

func TestReadCases(t *testing.T) {
	base := goodBase(t)
	all, err := base.ReadCases("x.yaml", []byte("- case: one\n- case: two\n  done: [replace_fuse]\n  findings: [{symptom: hum, value: no, after: replace_fuse}]\n"))
	if err != nil || len(all) != 2 || all[1].Case != "two" || len(all[1].Findings) != 1 {
		t.Errorf("%+v, %v", all, err)
	}
	if all, err := base.ReadCases("x.yaml", nil); err != nil || len(all) != 0 {
		t.Errorf("%+v, %v", all, err)
	}
	if _, err := base.ReadCases("x.yaml", []byte("case: one\n")); err == nil {
		t.Error("a single case was taken for a list")
	}
	// What was done in one case was not done in the next.
	if _, err := base.ReadCases("x.yaml", []byte("- done: [replace_fuse]\n- findings: [{symptom: hum, value: no, after: replace_fuse}]\n")); err == nil {
		t.Error("a finding after work of another case was taken")
	}
}

func TestFlags(t *testing.T) {
	base := goodBase(t)
	for flag, want := range map[string]rulebase.GivenValue{
		"after_storm=Yes":    {ID: "after_storm", Value: rulebase.Value{Word: "true"}},
		" line = token_pair": {ID: "line", Value: rulebase.Value{Word: "token_pair"}},
		"length=0.3 km":      {ID: "length", Value: rulebase.Value{Word: "0.3 km", IsNumber: true, Number: 300}},
	} {
		got, err := base.ReadGiven(flag)
		if d := cmp.Diff(want, got, noPlaces); err != nil || d != "" {
			t.Errorf("%s: %v %s", flag, err, d)
		}
	}
	for flag, want := range map[string]rulebase.Finding{
		"power_light=dark":     {Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Now: true, Read: "dark"},
		"power_light=dark@0.8": {Symptom: "power_light", Value: rulebase.Value{Word: "dark"}, Now: true, Read: "dark", Sure: number(0.8)},
		"pair_ohms=1.5k@1":     {Symptom: "pair_ohms", Value: rulebase.Value{Word: "1.5k", IsNumber: true, Number: 1500}, Now: true, Read: "1.5k", Sure: number(1)},
		"pair_ohms=open":       {Symptom: "pair_ohms", Value: rulebase.Value{Word: "open"}, Now: true, Read: "open"},
	} {
		got, err := base.ReadSee(flag)
		if d := cmp.Diff(want, got, noPlaces); err != nil || d != "" {
			t.Errorf("%s: %v %s", flag, err, d)
		}
	}
	for flag, says := range map[string]string{
		"line":               "id=value",
		"lin=token_pair":     `did you mean "line"`,
		"line=token_par":     `did you mean "token_pair"`,
		"length=3000":        "outside what is plausible",
		"length=five":        "not a number",
		"after_storm=maybe":  "true or false",
		"power_light=dark":   "is a symptom",
		"after_storm=":       "one value",
		"terminator=150,5":   "comma",
		"terminator=200 ohn": "ohm",
	} {
		if _, err := base.ReadGiven(flag); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", flag, err)
		}
	}
	for flag, says := range map[string]string{
		"power_light":        "id=value",
		"power_lihgt=dark":   `did you mean "power_light"`,
		"power_light=drak":   `did you mean "dark"`,
		"power_light=dark@0": "above 0",
		"power_light=dark@2": "above 0",
		"power_light=dark@x": "not a value",
		"pair_ohms=opne":     `did you mean "open"`,
		"line=token_pair":    "is a given",
		"pair_ohms=":         "one value",
	} {
		if _, err := base.ReadSee(flag); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%s: %v", flag, err)
		}
	}
}

// situations draws situations as a person could write them against the good rulebase.
func situations(t *rapid.T) rulebase.Situation {
	texts := rapid.OneOf(rapid.String(), rapid.SampledFrom([]string{"", "yes", "NO", "148 ohm", "a: b", "# x", "'", `"`, " lead", "~", "null", "1e5", "\u2028\ufeff\U0001f600\x7f", "- x", "{", "?"}))
	text := func(name string) string { return strings.ToValidUTF8(texts.Draw(t, name), "") }
	pick := func(name string, words ...string) string { return rapid.SampledFrom(words).Draw(t, name) }
	addresses := func(name string) []int {
		return rapid.SliceOfNDistinct(rapid.IntRange(1, 65535), 0, 4, rapid.ID).Draw(t, name)
	}
	chances := func(name string, ids ...string) map[string]float64 {
		if rapid.Bool().Draw(t, name) {
			return nil
		}
		return rapid.MapOfN(rapid.SampledFrom(ids), rapid.Float64Range(0, 1), 0, len(ids)).Draw(t, name)
	}
	maybe := func(name string) *float64 {
		if rapid.Bool().Draw(t, name) {
			return nil
		}
		return number(rapid.Float64Range(0, 1).Draw(t, name))
	}
	reading := func(name string, low, high float64) rulebase.Value {
		x := rapid.Float64Range(low, high).Draw(t, name)
		return rulebase.Value{IsNumber: true, Number: x}
	}
	s := rulebase.Situation{
		Case: text("case"), At: rulebase.Place(pick("at", "", "phone", "field", "bench")), Who: rulebase.Who(rapid.IntRange(0, 4).Draw(t, "who")),
		Alone: rapid.Bool().Draw(t, "alone"), Sheet: text("sheet"), Drop: rapid.IntRange(0, 300).Draw(t, "drop"),
	}
	if rapid.Bool().Draw(t, "tools") {
		s.Tools = append([]string{}, rapid.SliceOfN(rapid.StringMatching(`[a-z #:,]{1,8}`), 0, 3).Draw(t, "tool")...)
	}
	if rapid.Bool().Draw(t, "confirmed") {
		s.Confirmed = []string{"isolate_first"}
	}
	if rapid.Bool().Draw(t, "effort") {
		s.Effort = &rulebase.Effort{StopsDrop: rapid.Float64Range(0, 1e6).Draw(t, "stops_drop"), StopsBus: 30, Visit: rapid.Float64Range(0, 1e-6).Draw(t, "visit")}
	}
	for _, id := range rapid.SliceOfNDistinct(rapid.SampledFrom([]string{"after_storm", "line", "length"}), 0, 3, rapid.ID).Draw(t, "givens") {
		g := rulebase.GivenValue{ID: id}
		switch id {
		case "after_storm":
			g.Value.Word = pick("flag", "true", "false")
		case "line":
			g.Value.Word = pick("line", "token_pair", "polled_pair")
		default:
			g.Value = reading("length", 1, 2000)
		}
		s.Givens = append(s.Givens, g)
	}
	for range rapid.IntRange(0, 3).Draw(t, "works") {
		s.Done = append(s.Done, rulebase.Done{ID: pick("done", "replace_fuse", "fit_terminator", "swap_fuse"), Drop: rulebase.DropNow(pick("drop_now", "", "still_down", "well"))})
	}
	for range rapid.IntRange(0, 3).Draw(t, "seen") {
		f := rulebase.Finding{Symptom: pick("symptom", "power_light", "pair_ohms", "hum"), Sure: maybe("sure"), At: rulebase.Place(pick("seen_at", "", "phone", "bench")), By: text("by"), Read: text("read"),
			Drop: rapid.IntRange(0, 9).Draw(t, "of_drop"), Now: rapid.Bool().Draw(t, "now")}
		if f.Sure != nil && *f.Sure == 0 {
			f.Sure = number(1)
		}
		switch f.Symptom {
		case "power_light":
			f.Value.Word = pick("light", "lit", "dark")
		case "hum":
			f.Value.Word = pick("hum", "yes", "no")
		default:
			if f.Value.Word = pick("band", "short", "open", ""); f.Value.Word == "" {
				f.Value = reading("ohms", -1e9, 1e9)
			}
		}
		if len(s.Done) > 0 && !f.Now {
			f.After = pick("after", "", s.Done[0].ID)
		}
		s.Findings = append(s.Findings, f)
	}
	for _, a := range addresses("drops") {
		if s.Drops == nil {
			s.Drops = map[int]string{}
		}
		s.Drops[a] = pick("state", "good", "dead", "comes_and_goes")
	}
	if order := addresses("order"); len(order) > 0 {
		s.Order, s.Supplies = order, [][]int{order[:1], order[1:]}
	}
	if rapid.Bool().Draw(t, "expects") {
		s.Expect = &rulebase.Expectation{First: pick("first", "", "fuse_open"), Outcome: rulebase.Outcome(pick("outcome", "", "adjusted", "outside")), Next: pick("next", "", "hum", "measure_pair"),
			AtLeast: chances("at_least", "fuse_open", "down"), AtMost: chances("at_most", "fuse_open"), Causes: chances("causes", "fuse_open", "terminator_missing"), Now: chances("now_p", "fuse_open"),
			Conditions: chances("conditions", "down", "unpowered"), GainBits: chances("gains", "measure_pair", "hum", "fit_terminator"), None: maybe("none"), Outside: maybe("outside"), UnitOut: maybe("unit_out"), Evidence: maybe("evidence")}
		if rapid.Bool().Draw(t, "more") {
			s.Expect.InFirst = map[int][]string{3: {"fuse_open"}, 1: {"terminator_missing", "fuse_open"}}
			s.Expect.NotOffered, s.Expect.Says = []string{"swap_fuse"}, []string{text("says")}
			s.Expect.Top = &rulebase.TopSet{Causes: []string{"fuse_open"}, Probability: 0.25}
		}
	}
	return s
}

// A situation that was written reads back as it was. Only two things change, and
// mean the same: what was seen as of now was seen after the last work, and a
// number gets the text it is written with.
func TestWrittenCaseReadsBack(t *testing.T) {
	base := goodBase(t)
	rapid.Check(t, func(t *rapid.T) {
		s := situations(t)
		text := base.WriteCase(s)
		got, err := base.ReadCase("x.yaml", text)
		if err != nil {
			t.Fatalf("%v\n%s", err, text)
		}
		want := s.Clone()
		for i := range want.Findings {
			f := &want.Findings[i]
			if f.Now && len(s.Done) > 0 {
				f.After = s.Done[len(s.Done)-1].ID
			}
			f.Now = false
		}
		for i, f := range got.Findings {
			if f.Value.IsNumber {
				got.Findings[i].Value.Word = ""
			}
		}
		for i, g := range got.Givens {
			if g.Value.IsNumber {
				got.Givens[i].Value.Word = ""
			}
		}
		if d := cmp.Diff(want, got, noPlaces, cmpopts.EquateEmpty()); d != "" {
			t.Fatalf("%s\n%s", d, text)
		}
		if (s.Tools == nil) != (got.Tools == nil) {
			t.Fatal("no tools and all tools are not the same")
		}
		if again := base.WriteCase(got); string(again) != string(text) {
			t.Fatalf("written again it differs:\n%s\n%s", text, again)
		}
	})
}
