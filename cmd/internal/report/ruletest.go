package report

import (
	"cmp"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/engine/ruletest"
	"downdrop/rulebase"
)

// RuleTests is what the rule tests of a rulebase made.
type RuleTests struct {
	Base     *rulebase.Base
	Results  []ruletest.Result
	Coverage *ruletest.Coverage // nil: not all cases were run
}

// Differed is the number of cases that did not come out as expected.
func (r *RuleTests) Differed() int {
	n := 0
	for i := range r.Results {
		if !r.Results[i].Passed() {
			n++
		}
	}
	return n
}

// Text writes, for people, what differed and why, how many cases passed and what
// they cover; uncovered asks for every row that they do not.
func (r *RuleTests) Text(w io.Writer, width int, uncovered bool) error {
	p := newPage(width)
	for i := range r.Results {
		if !r.Results[i].Passed() {
			r.differs(p, &r.Results[i])
		}
	}
	p.gap()
	if len(r.Results) == 0 {
		p.say(sayNoCases)
	} else {
		p.say(sayCases(len(r.Results)-r.Differed(), r.Differed(), r.Base))
	}
	if r.Coverage != nil {
		r.covers(p, uncovered)
	} else {
		p.say(sayNoCoverage)
	}
	return p.writeTo(w)
}

func (r *RuleTests) differs(p *page, x *ruletest.Result) {
	at := x.Expected()
	p.gap()
	p.say(fmt.Sprintf("%s:%d: %s", at.File, at.Line, caseName(x)))
	for _, d := range x.Differences {
		p.hang("    ", "        ", d)
	}
	p.hang("    ", "        ", x.Ranking())
	weights := telling(x.Diagnosis.Weights)
	if len(weights) == 0 {
		return
	}
	p.hang("    ", "    ", sayAgainst(opponents(x)))
	for i := range weights {
		p.hang("      ", "        ", sayOdds(&weights[i]))
	}
}

// caseName is a case's name, or else where it begins.
func caseName(x *ruletest.Result) string {
	if x.Case == "" {
		return sayCaseWithoutName(x.Pos.Line)
	}
	return x.Case
}

// opponents are the ids of the causes that the weights of a case compare.
func opponents(x *ruletest.Result) (first, other string) {
	id := func(i int) string { return x.Diagnosis.Base.Causes[x.Diagnosis.Causes[i].Cause].ID }
	if x.About != "" && x.About != id(0) {
		return id(0), x.About
	}
	return id(0), id(1)
}

// telling are the weights that move anything, the strongest first.
func telling(all []engine.Weight) []engine.Weight {
	strength := func(w engine.Weight) float64 { return math.Abs(math.Log(w.Factor)) }
	all = slices.DeleteFunc(slices.Clone(all), func(w engine.Weight) bool { return strength(w) < math.Log(1.1) })
	slices.SortStableFunc(all, func(a, b engine.Weight) int { return cmp.Compare(strength(b), strength(a)) })
	return all
}

func (r *RuleTests) covers(p *page, uncovered bool) {
	c := r.Coverage
	p.gap()
	p.say(sayCovered)
	for _, part := range []struct {
		what  string
		n     ruletest.Count
		kind  ruletest.GapKind
		lacks [2]string
	}{
		{"Causes", c.Causes, ruletest.GapCause, [2]string{sayNeverFirst, sayNeverSilent}},
		{"Rules", c.Rules, ruletest.GapRule, [2]string{sayNeverFires, sayAlwaysFires}},
		{"Rows of symptoms", c.Rows, ruletest.GapRow, [2]string{}},
		{"Rows of more_likely", c.MoreLikely, ruletest.GapMoreLikely, [2]string{}},
	} {
		p.hang("  ", "  ", sayCovers(part.what, part.n))
		gaps := c.Of(part.kind)
		switch {
		case part.lacks[0] != "":
			lacks(p, part.lacks, gaps)
		case uncovered:
			for _, g := range gaps {
				p.hang("    ", "      ", fmt.Sprintf("%s:%d: %s", g.Pos.File, g.Pos.Line, sayGap(g)))
			}
		default:
			byFile(p, gaps)
		}
	}
	if !uncovered && len(c.Of(ruletest.GapRow))+len(c.Of(ruletest.GapMoreLikely)) > 0 {
		p.say(sayUncoveredAll)
	}
}

// lacks lists by id what is never heard, and what is never silent.
func lacks(p *page, heads [2]string, gaps []*ruletest.Gap) {
	var lists [2][]string
	for _, g := range gaps {
		if !g.Speaks {
			lists[0] = append(lists[0], g.ID)
		}
		if !g.Silent {
			lists[1] = append(lists[1], g.ID)
		}
	}
	for i, ids := range lists {
		if len(ids) > 0 {
			p.hang("    ", "      ", heads[i]+strings.Join(ids, ", ")+".")
		}
	}
}

func byFile(p *page, gaps []*ruletest.Gap) {
	for len(gaps) > 0 {
		n := 1
		for n < len(gaps) && gaps[n].Pos.File == gaps[0].Pos.File {
			n++
		}
		p.hang("    ", "      ", sayFileGaps(gaps[0].Pos.File, gaps[:n]))
		gaps = gaps[n:]
	}
}

// RuleTestSchema names the form of RuleTests in JSON.
const RuleTestSchema = "downdrop.rulebase_test/1"

type ruleTestsJSON struct {
	Schema   string         `json:"schema"`
	Rulebase rulebaseJSON   `json:"rulebase"`
	Passed   int            `json:"passed"`
	Differed int            `json:"differed"`
	Cases    []ruleTestJSON `json:"cases"`
	Coverage *coverageJSON  `json:"coverage,omitempty"` // lacking where not all cases were run
}

type ruleTestJSON struct {
	Case        string         `json:"case"`
	File        string         `json:"file"`
	Line        int            `json:"line"`
	Passed      bool           `json:"passed"`
	Differences []string       `json:"differences"`
	Causes      []likelyJSON   `json:"causes"` // of one that differs: the likeliest
	Outside     float64        `json:"outside"`
	First       string         `json:"first"`   // of one that differs: the causes that the weights compare
	Against     string         `json:"against"` //
	Weights     []weighingJSON `json:"weights"`
}

type likelyJSON struct {
	ID          string  `json:"id"`
	Probability float64 `json:"probability"`
}

type weighingJSON struct {
	Finding string   `json:"finding"`
	Value   string   `json:"value"`
	Rule    string   `json:"rule"`
	Factor  *float64 `json:"factor"` // on the odds of first against against; null where it is not a number
}

type coverageJSON struct {
	Cases      int       `json:"cases"`
	Causes     countJSON `json:"causes"`
	Rules      countJSON `json:"rules"`
	Rows       countJSON `json:"rows"`
	MoreLikely countJSON `json:"more_likely"`
	Uncovered  []gapJSON `json:"uncovered"`
}

type countJSON struct {
	Entries int `json:"entries"`
	Covered int `json:"covered"`
}

type gapJSON struct {
	Kind   string `json:"kind"` // cause, rule, row, more_likely
	ID     string `json:"id"`
	Row    int    `json:"row"` // from 1; 0 for causes and rules
	When   string `json:"when"`
	File   string `json:"file"`
	Line   int    `json:"line"`
	Speaks bool   `json:"speaks"`
	Silent bool   `json:"silent"`
}

// JSON writes the same for programs.
func (r *RuleTests) JSON(w io.Writer) error {
	out := &ruleTestsJSON{Schema: RuleTestSchema, Rulebase: rulebaseJSON{r.Base.Name, r.Base.Version, r.Base.Digest}, Passed: len(r.Results) - r.Differed(), Differed: r.Differed(), Cases: []ruleTestJSON{}}
	for i := range r.Results {
		out.Cases = append(out.Cases, caseOf(&r.Results[i]))
	}
	if c := r.Coverage; c != nil {
		out.Coverage = &coverageJSON{c.Cases, countJSON(c.Causes), countJSON(c.Rules), countJSON(c.Rows), countJSON(c.MoreLikely), []gapJSON{}}
		for _, g := range c.Gaps {
			out.Coverage.Uncovered = append(out.Coverage.Uncovered, gapJSON{string(g.Kind), g.ID, g.Row, g.When, g.Pos.File, g.Pos.Line, g.Speaks, g.Silent})
		}
	}
	return writeJSON(w, out)
}

func caseOf(x *ruletest.Result) ruleTestJSON {
	at := x.Expected()
	c := ruleTestJSON{Case: x.Case, File: at.File, Line: at.Line, Passed: x.Passed(), Differences: append([]string{}, x.Differences...), Causes: []likelyJSON{}, Weights: []weighingJSON{}}
	if x.Passed() {
		return c
	}
	d := x.Diagnosis
	c.Outside = d.Outside
	for _, b := range d.Causes[:min(shownRanking, len(d.Causes))] {
		c.Causes = append(c.Causes, likelyJSON{d.Base.Causes[b.Cause].ID, b.Probability})
	}
	if len(d.Weights) > 0 {
		c.First, c.Against = opponents(x)
	}
	for _, w := range d.Weights {
		one := weighingJSON{w.Finding, w.Value, w.Rule, nil}
		if !math.IsInf(w.Factor, 0) && !math.IsNaN(w.Factor) {
			one.Factor = &w.Factor
		}
		c.Weights = append(c.Weights, one)
	}
	return c
}

// shownRanking is how many causes stand beside a case that differs.
const shownRanking = 10

// JUnit writes the cases in the XML that build servers read: a suite for each
// file, a test case for each case. There is no standard for it; elements and
// attributes are those that all readers know. Times are left out: a diagnosis
// has no clock.
func (r *RuleTests) JUnit(w io.Writer) error {
	all := junitSuites{Name: r.Base.Name, Tests: len(r.Results), Failures: r.Differed()}
	for i := range r.Results {
		x := &r.Results[i]
		at := x.Expected()
		if n := len(all.Suites); n == 0 || all.Suites[n-1].Name != at.File {
			all.Suites = append(all.Suites, junitSuite{Name: at.File})
		}
		s := &all.Suites[len(all.Suites)-1]
		c := junitCase{Name: caseName(x), Class: strings.TrimSuffix(at.File, ".yaml"), File: at.File, Line: at.Line}
		if !x.Passed() {
			text := newPage(Columns)
			r.differs(text, x)
			c.Failure = &junitFailure{Message: strings.Join(x.Differences, " "), Type: "difference", Text: text.out.String()}
			s.Failures++
		}
		s.Tests++
		s.Cases = append(s.Cases, c)
	}
	return writeJUnit(w, &all)
}
