package report_test

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
)

// replayed are cases made by hand: the printers are tested on what they are given.
func replayed() *report.Replay {
	one := func(id, cause string, ranks []int, known int, first float64, instead string, true_ float64) *cases.Replayed {
		r := &cases.Replayed{ID: id, Causes: []string{cause}, Ranks: ranks, KnownFrom: known, First: first, FirstCause: cause, Right: instead == "", True: true_, Brier: 0.1, Acted: 1, TestsEarlier: 1}
		if instead != "" {
			r.FirstCause = instead
		}
		return r
	}
	r := &report.Replay{Base: base(), Cases: []*cases.Replayed{
		one("mill-1", "fuse_blown", []int{3, 1, 1, 1}, 1, 0.9, "", 0.9),
		one("mill-2", "fuse_blown", []int{3, 2, 2, 2}, -1, 0.7, "no_supply", 0.2),
		one("mill-3", "no_supply", []int{2, 1, 1}, 1, 0.99, "", 0.99),
		one("quarry-1", "unit_dead", []int{5, 6, 0}, -1, 0.99, "no_supply", 0),
		{ID: "quarry-2", Unknown: true, KnownFrom: -1, Acted: -1},
	}}
	r.Score = sumOf(r.Cases)
	return r
}

// held holds the same against an earlier one that did better, and worse.
func held() *report.Replay {
	r := replayed()
	r.Against, r.LeastFirst, r.LeastInThree = "rulebase mill, version 3 (0123456789ab)", 0.9, 0.5
	r.Versus = against(before(), r.Cases)
	return r
}

// before is how the same cases fared in an earlier one.
func before() []*cases.Replayed {
	all := replayed().Cases
	for _, c := range all {
		switch c.ID {
		case "mill-1":
			c.Ranks, c.KnownFrom, c.True = []int{3, 2, 2, 1}, 3, 0.8
		case "mill-2":
			c.Ranks, c.KnownFrom, c.True = []int{3, 2, 2, 1}, 3, 0.5
		}
	}
	return all
}

func TestReplayGoldens(t *testing.T) {
	for name, r := range map[string]*report.Replay{"replay": replayed(), "replay_against": held()} {
		holds(t, name, func(w io.Writer) error { return r.Text(w, 80) }, r.JSON)
		for extension, write := range map[string]func(io.Writer) error{".xml": r.JUnit, ".svg": r.SVG} {
			var b bytes.Buffer
			if err := write(&b); err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(golden(t, name+extension, b.String()), b.String()); diff != "" {
				t.Errorf("%s%s (-golden +got):\n%s", name, extension, diff)
			}
			if err := xml.Unmarshal(b.Bytes(), new(struct{ XMLName xml.Name })); err != nil {
				t.Errorf("%s%s: %v", name, extension, err)
			}
		}
	}
}

// What people read is made of sums alone: no case need be kept for it.
func TestReplayTextNeedsNoCases(t *testing.T) {
	for _, r := range []*report.Replay{replayed(), held()} {
		var with, without bytes.Buffer
		if err := r.Text(&with, 80); err != nil {
			t.Fatal(err)
		}
		r.Cases = nil
		if err := r.Text(&without, 80); err != nil || with.String() != without.String() {
			t.Errorf("%v\n%s\nand without the cases\n%s", err, &with, &without)
		}
	}
}

// Long names of several causes are folded under the names, and no line is wider than the page.
func TestReplayKeepsItsWidth(t *testing.T) {
	r := replayed()
	r.Cases[0].Causes = []string{"unit_line_suppressor_shorted", "unit_line_side_supply_dead", "supply_fuse_blown"}
	r.Score = sumOf(r.Cases)
	var b bytes.Buffer
	if err := r.Text(&b, 80); err != nil {
		t.Fatal(err)
	}
	for line := range strings.Lines(b.String()) {
		if len(line) > 81 {
			t.Errorf("%d letters: %s", len(line), line)
		}
	}
}

// What is written can be read, and nothing is better or worse than itself.
func TestReplayIsReadBack(t *testing.T) {
	r := replayed()
	var b bytes.Buffer
	if err := r.JSON(&b); err != nil {
		t.Fatal(err)
	}
	back, digest, err := report.ReadReplay(b.Bytes())
	if err != nil || digest != r.Base.Digest || len(back) != len(r.Cases) {
		t.Fatalf("%v, %s, %d cases", err, digest, len(back))
	}
	r.Versus = against(back, r.Cases)
	if len(r.Problems()) > 0 || r.Versus.Cases != 4 {
		t.Errorf("%q", r.Problems())
	}
	for _, text := range []string{"", "{}", `{"schema": "downdrop.replay/2"}`, b.String()[:200]} {
		if _, _, err := report.ReadReplay([]byte(text)); err == nil {
			t.Errorf("%q is read", text)
		}
	}
	problems := held().Problems()
	if len(problems) != 2 || !strings.Contains(problems[0], "at least 90 percent") || !slices.ContainsFunc(problems, func(s string) bool { return strings.HasPrefix(s, "mill-2") }) {
		t.Errorf("%q", problems)
	}
}

// sumOf adds replayed cases up.
func sumOf(all []*cases.Replayed) *cases.Score {
	var t cases.Tally
	for _, r := range all {
		t.Add(r)
	}
	return t.Score()
}

// against pairs the cases that both know, by id.
func against(before, after []*cases.Replayed) *cases.Versus {
	v, old := &cases.Versus{}, cases.ByID(before)
	for _, r := range after {
		v.Add(old[r.ID], r)
	}
	return v
}

// A build server hears of each case whose cause is not among the first three at its end, where no floor was
// asked for; of a floor only where it is not kept.
func TestWhatABuildServerHearsOfAReplay(t *testing.T) {
	r := &report.Replay{Base: base()}
	for i, last := range []int{1, 3, 4, 0, 2} {
		r.Cases = append(r.Cases, &cases.Replayed{ID: fmt.Sprintf("mill-%d", i+1), Causes: []string{"fuse_blown"}, FirstCause: "fuse_blown", Ranks: []int{9, last}, Right: last == 1, Acted: -1})
	}
	r.Score = sumOf(r.Cases) // one in five first, three in five among three
	for _, row := range []struct {
		first, three float64
		fails        []string
		problems     int
	}{
		{0, 0, []string{"mill-3", "mill-4"}, 0}, {0.2, 0, nil, 0}, {0, 0.6, nil, 0}, {0.2, 0.6, nil, 0}, {0.21, 0.6, []string{"first"}, 1}, {0.2, 0.61, []string{"in_three"}, 1}, {1, 1, []string{"first", "in_three"}, 2},
	} {
		r.LeastFirst, r.LeastInThree = row.first, row.three
		var b bytes.Buffer
		if err := r.JUnit(&b); err != nil {
			t.Fatal(err)
		}
		var suites struct {
			Failures int `xml:"failures,attr"`
			Suites   []struct {
				Cases []struct {
					Name    string    `xml:"name,attr"`
					Failure *struct{} `xml:"failure"`
				} `xml:"testcase"`
			} `xml:"testsuite"`
		}
		if err := xml.Unmarshal(b.Bytes(), &suites); err != nil {
			t.Fatal(err)
		}
		var fails []string
		for _, c := range suites.Suites[0].Cases {
			if c.Failure != nil {
				fails = append(fails, c.Name)
			}
		}
		if !slices.Equal(fails, row.fails) || suites.Failures != len(fails) || len(r.Problems()) != row.problems {
			t.Errorf("at least %v first, %v in three: %q fail, %d counted; problems %q", row.first, row.three, fails, suites.Failures, r.Problems())
		}
	}
}
