package report

import (
	"cmp"
	"io"
	"maps"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/rulebase"
)

// A Replay is how a rulebase fares over closed cases, and against what.
type Replay struct {
	Base    *rulebase.Base
	Cases   []*cases.Replayed // for JSON and JUnit, which print each; Text and SVG need none
	Score   *cases.Score
	Versus  *cases.Versus // nil: held against nothing
	Against string        // what it was held against
	// LeastFirst and LeastInThree are the floors: the least shares, from 0 to 1, of cases in which the proven
	// cause is first, or among the first three.
	LeastFirst, LeastInThree float64
}

// worse are the cases that got worse.
func (r *Replay) worse() []cases.Compared {
	if r.Versus == nil {
		return nil
	}
	return r.Versus.Worse
}

// Problems are what a build server has to hear: floors that are not kept, and cases that got worse.
func (r *Replay) Problems() []string {
	var out []string
	s := r.Score
	for _, floor := range []struct {
		n     int
		least float64
		what  string
	}{{s.First, r.LeastFirst, sayFloorFirst}, {s.InThree, r.LeastInThree, sayFloorInThree}} {
		if share := float64(floor.n) / float64(max(1, s.Cases)); share < floor.least {
			out = append(out, sayFloor(floor.what, share, floor.least))
		}
	}
	worse := r.worse()
	for i := range worse {
		out = append(out, sayWorse(&worse[i]))
	}
	return out
}

// Text writes it for people.
func (r *Replay) Text(w io.Writer, width int) error {
	p := newPage(width)
	s := r.Score
	p.say(sayReplay(r.Base, s))
	if s.Cases == 0 {
		return p.writeTo(w)
	}
	p.say(sayReplayRanks(s))
	p.gap()
	p.say(sayReplayScores(s))
	p.say(sayByChance(s.Calibration))
	p.gap()
	p.line(sayBinsHead)
	for _, b := range s.Calibration.Bins {
		if b.Cases > 0 {
			p.line(sayBin(&b))
		}
	}
	p.gap()
	r.byCause(p)
	r.against(p)
	for _, says := range r.floors() {
		p.gap()
		p.say(says)
	}
	return p.writeTo(w)
}

func (r *Replay) floors() []string {
	all := r.Problems()
	return all[:len(all)-len(r.worse())]
}

// byCause is the table, what is first the least often on top.
func (r *Replay) byCause(p *page) {
	p.say(sayReplayByCause)
	p.line(sayByCauseHead)
	for _, id := range r.causes() {
		c := r.Score.ByCause[id]
		figures := sayByCauseRow(c)
		p.hang(figures, strings.Repeat(" ", len(figures)), id)
		for _, other := range slices.Sorted(maps.Keys(c.Instead)) {
			p.hang("      ", "        ", sayInstead(other, c.Instead[other]))
		}
	}
}

func (r *Replay) causes() []string {
	by := r.Score.ByCause
	share := func(id string) float64 { return float64(by[id].First) / float64(by[id].Cases) }
	return slices.SortedFunc(maps.Keys(by), func(a, b string) int {
		return cmp.Or(cmp.Compare(share(a), share(b)), cmp.Compare(by[b].Cases, by[a].Cases), strings.Compare(a, b))
	})
}

func (r *Replay) against(p *page) {
	if r.Versus == nil {
		return
	}
	p.gap()
	p.say(sayReplayAgainst(r.Against, r.Versus))
	for _, list := range []struct {
		head  string
		pairs []cases.Compared
	}{{sayWorseHead, r.Versus.Worse}, {sayBetterHead, r.Versus.Better}} {
		if len(list.pairs) == 0 {
			continue
		}
		p.say(list.head)
		for i := range list.pairs {
			p.hang("  ", "    ", sayWorse(&list.pairs[i]))
		}
	}
}

// JUnit writes the cases in the XML that build servers read. A case fails where it got
// worse; the floors are tests of their own; where neither is asked for, a case fails whose
// proven cause is not among the first three. What nothing proven is known of is skipped.
func (r *Replay) JUnit(w io.Writer) error {
	suite := junitSuite{Name: "replay"}
	add := func(c junitCase, fails, kind string) {
		suite.Tests++
		if fails != "" {
			suite.Failures++
			c.Failure = &junitFailure{Message: fails, Type: kind, Text: fails}
		}
		suite.Cases = append(suite.Cases, c)
	}
	worse := map[string]*cases.Compared{}
	for i := range r.worse() {
		c := &r.Versus.Worse[i]
		worse[c.After.ID] = c
	}
	for _, x := range r.Cases {
		c := junitCase{Name: x.ID, Class: "replay." + strings.Join(x.Causes, "+")}
		pair := worse[x.ID]
		switch {
		case x.Unknown:
			suite.Skipped++
			c.Skipped = &struct{}{}
			add(c, "", "")
		case pair != nil:
			add(c, sayWorse(pair), "worse")
		case r.Versus == nil && r.LeastFirst+r.LeastInThree == 0 && (x.Last() < 1 || x.Last() > 3):
			add(c, sayNotInThree(x), "rank")
		default:
			add(c, "", "")
		}
	}
	for i, floor := range []struct {
		n     int
		least float64
		what  string
	}{{r.Score.First, r.LeastFirst, sayFloorFirst}, {r.Score.InThree, r.LeastInThree, sayFloorInThree}} {
		if floor.least <= 0 {
			continue
		}
		fails := ""
		if share := float64(floor.n) / float64(max(1, r.Score.Cases)); share < floor.least {
			fails = sayFloor(floor.what, share, floor.least)
		}
		add(junitCase{Name: []string{"first", "in_three"}[i], Class: "replay.floors"}, fails, "floor")
	}
	return writeJUnit(w, &junitSuites{Name: r.Base.Name, Tests: suite.Tests, Failures: suite.Failures, Suites: []junitSuite{suite}})
}
