package report_test

import (
	"bytes"
	"encoding/xml"
	"io"
	"math"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
)

// ruleTests are two cases of one file that differ and one of another that passes.
func ruleTests() *report.RuleTests {
	at := func(file string, line int) rulebase.Position {
		return rulebase.Position{File: file, Line: line, Column: 3}
	}
	differing := func() *engine.Diagnosis {
		d := full()
		d.Situation.Expect = &rulebase.Expectation{Pos: at("supply_test.yaml", 14)}
		return d
	}
	unsettled := differing()
	unsettled.Weights[1].Factor, unsettled.Weights[2].Factor = math.Inf(1), 0
	none := impossible()
	none.Situation.Expect = &rulebase.Expectation{Pos: at("supply_test.yaml", 20)}
	return &report.RuleTests{Base: base(),
		Results: []ruletest.Result{
			{Case: "fuse & <wire>", Pos: at("supply_test.yaml", 10), About: "plug_loose", Diagnosis: differing(),
				Differences: []string{"plug_loose should come first.", "The next step should be swap_unit; it is measure_supply."}},
			{Pos: at("supply_test.yaml", 12), Diagnosis: unsettled, Differences: []string{"Nothing says \"the reason first\"."}},
			{Case: "cannot be", Pos: at("supply_test.yaml", 18), Diagnosis: none, Differences: []string{"fuse_blown should come first."}},
			{Case: "as it should", Pos: at("trunk_test.yaml", 1), Diagnosis: worked()},
		},
		Coverage: &ruletest.Coverage{Cases: 4, Causes: ruletest.Count{Entries: 5, Covered: 3}, Rules: ruletest.Count{Entries: 1, Covered: 1}, Rows: ruletest.Count{Entries: 9, Covered: 2}, MoreLikely: ruletest.Count{Entries: 2, Covered: 1},
			Gaps: []ruletest.Gap{
				{Kind: ruletest.GapCause, ID: "plug_loose", Pos: at("trunk.yaml", 4), Silent: true},
				{Kind: ruletest.GapCause, ID: "address_twice", Pos: at("unit.yaml", 5)},
				{Kind: ruletest.GapRow, ID: "power_light", Row: 1, When: "unpowered", Pos: at("lights.yaml", 9), Silent: true},
				{Kind: ruletest.GapRow, ID: "power_light", Row: 2, Pos: at("lights.yaml", 9), Speaks: true},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 1, When: "unpowered and line == token_pair", Pos: at("supply.yaml", 30)},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 2, When: "unpowered", Pos: at("supply.yaml", 31)},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 3, When: "down", Pos: at("supply.yaml", 32)},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 4, When: "not down", Pos: at("supply.yaml", 33)},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 5, When: "fuse_blown", Pos: at("supply.yaml", 34)},
				{Kind: ruletest.GapRow, ID: "volts_at_drop", Row: 6, Pos: at("supply.yaml", 35)},
				{Kind: ruletest.GapMoreLikely, ID: "fuse_blown", Row: 1, When: "line == token_pair", Pos: at("supply.yaml", 3), Speaks: true},
			}}}
}

func printed(t *testing.T, print func(io.Writer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := print(&b); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestRuleTestsReadAsWritten(t *testing.T) {
	r := ruleTests()
	for name, print := range map[string]func(io.Writer) error{
		"rulebase_test.txt":           func(w io.Writer) error { return r.Text(w, 0, false) },
		"rulebase_test_uncovered.txt": func(w io.Writer) error { return r.Text(w, 0, true) },
		"rulebase_test.xml":           r.JUnit,
	} {
		got := printed(t, print)
		if diff := cmp.Diff(golden(t, name, got), got); diff != "" {
			t.Errorf("%s (-golden +got):\n%s", name, diff)
		}
		for _, line := range strings.Split(got, "\n") {
			if len([]rune(line)) > report.Columns && !strings.HasSuffix(name, ".xml") {
				t.Errorf("%s: more than %d columns: %q", name, report.Columns, line)
			}
		}
	}
	got := printed(t, r.JSON)
	for _, says := range lacks("", document(t, []byte(golden(t, "rulebase_test.json", got))), document(t, []byte(got))) {
		t.Error(says)
	}
}

// The XML can be read again, and every case is in it once, the differing ones
// with their reasons, whatever a name holds.
func TestJUnitCanBeReadAgain(t *testing.T) {
	r := ruleTests()
	r.Results[3].Case = "bell\a and \x00, \u2028 ]]> \"quoted\""
	var read struct {
		Tests    int `xml:"tests,attr"`
		Failures int `xml:"failures,attr"`
		Suites   []struct {
			Tests    int `xml:"tests,attr"`
			Failures int `xml:"failures,attr"`
			Cases    []struct {
				Name    string `xml:"name,attr"`
				Failure *struct {
					Message string `xml:"message,attr"`
					Text    string `xml:",chardata"`
				} `xml:"failure"`
			} `xml:"testcase"`
		} `xml:"testsuite"`
	}
	if err := xml.Unmarshal([]byte(printed(t, r.JUnit)), &read); err != nil {
		t.Fatal(err)
	}
	cases, failures := 0, 0
	for _, s := range read.Suites {
		for _, c := range s.Cases {
			if c.Name == "" {
				t.Error("a case has no name")
			}
			cases++
			if c.Failure != nil {
				failures++
				if !strings.Contains(c.Failure.Text, c.Failure.Message[:12]) {
					t.Errorf("%s: %q", c.Name, c.Failure.Text)
				}
			}
		}
		if s.Tests != len(s.Cases) {
			t.Errorf("a suite counts %d of %d cases", s.Tests, len(s.Cases))
		}
	}
	if cases != 4 || failures != 3 || read.Tests != 4 || read.Failures != 3 || len(read.Suites) != 2 {
		t.Errorf("%d cases, %d failures: %+v", cases, failures, read)
	}
	if name := read.Suites[0].Cases[0].Name; name != "fuse & <wire>" {
		t.Errorf("the first name is %q", name)
	}
}
