package report

import (
	"cmp"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/rulebase"
)

// ReplaySchema is the form of a replay for programs.
const ReplaySchema = "downdrop.replay/1"

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

type replayJSON struct {
	Schema         string           `json:"schema"`
	Rulebase       rulebaseJSON     `json:"rulebase"`
	Cases          int              `json:"cases"`
	Unknown        int              `json:"unknown"`
	First          int              `json:"first"`
	InThree        int              `json:"in_three"`
	Acted          int              `json:"acted"`
	ActedFirst     int              `json:"acted_first"`
	Earlier        float64          `json:"entries_earlier"`
	TestsEarlier   float64          `json:"tests_earlier"`
	ReciprocalRank float64          `json:"mean_reciprocal_rank"`
	Brier          float64          `json:"brier"`
	Log            float64          `json:"log_score"`
	Clamped        int              `json:"held_impossible"`
	ECE            float64          `json:"ece"`
	Calibration    calibrationJSON  `json:"calibration"`
	ByCause        []causeScoreJSON `json:"by_cause"`
	Against        *replayAgainst   `json:"against,omitempty"`
	Each           []replayedJSON   `json:"each"`
}

type calibrationJSON struct {
	Brier        float64   `json:"brier"`
	Log          float64   `json:"log_score"`
	BaseRate     float64   `json:"base_rate"`
	Skill        float64   `json:"skill"`
	Reliability  float64   `json:"reliability"`
	Resolution   float64   `json:"resolution"`
	Uncertainty  float64   `json:"uncertainty"`
	Within       float64   `json:"within_bins"`
	Largest      float64   `json:"largest_gap"`
	ByChance     float64   `json:"ece_by_chance"`
	ByChanceHigh float64   `json:"ece_by_chance_95"`
	Bins         []binJSON `json:"bins"`
}

type binJSON struct {
	From      float64 `json:"from"`
	To        float64 `json:"to"`
	Cases     int     `json:"cases"`
	Forecast  float64 `json:"forecast"`
	Frequency float64 `json:"frequency"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
}

type causeScoreJSON struct {
	Causes  string         `json:"causes"`
	Cases   int            `json:"cases"`
	First   int            `json:"first"`
	InThree int            `json:"in_three"`
	True    float64        `json:"true_probability"`
	Earlier float64        `json:"entries_earlier"`
	Instead map[string]int `json:"instead"`
}

type replayAgainst struct {
	What   string   `json:"what"`
	Cases  int      `json:"cases"`
	Worse  []string `json:"worse"`
	Better []string `json:"better"`
}

type replayedJSON struct {
	ID           string   `json:"id"`
	Causes       []string `json:"causes"`
	Ranks        []int    `json:"ranks"`
	KnownFrom    int      `json:"known_from"`
	TestsEarlier int      `json:"tests_earlier"`
	Acted        int      `json:"acted"`
	First        float64  `json:"first_probability"`
	FirstCause   string   `json:"first_cause"`
	Right        bool     `json:"first_right"`
	True         float64  `json:"true_probability"`
	Brier        float64  `json:"brier"`
	Unknown      bool     `json:"unknown"`
}

// JSON writes it for programs, case by case: what a later replay can be held against.
func (r *Replay) JSON(w io.Writer) error {
	b, s, c := r.Base, r.Score, r.Score.Calibration
	out := replayJSON{
		Schema: ReplaySchema, Rulebase: rulebaseJSON{b.Name, b.Version, b.Digest},
		Cases: s.Cases, Unknown: s.Unknown, First: s.First, InThree: s.InThree, Acted: s.Acted, ActedFirst: s.ActedFirst, Earlier: s.Earlier, TestsEarlier: s.TestsEarlier,
		ReciprocalRank: s.ReciprocalRank, Brier: s.Brier, Log: s.Log, Clamped: s.Clamped, ECE: c.ECE,
		Calibration: calibrationJSON{c.Brier, c.Log, c.BaseRate, c.Skill, c.Reliability, c.Resolution, c.Uncertainty, c.Within, c.Largest, c.ByChance, c.ByChanceHigh, []binJSON{}},
		ByCause:     []causeScoreJSON{}, Each: []replayedJSON{},
	}
	for _, x := range c.Bins {
		if x.Cases > 0 {
			out.Calibration.Bins = append(out.Calibration.Bins, binJSON(x))
		}
	}
	for _, id := range r.causes() {
		x := s.ByCause[id]
		out.ByCause = append(out.ByCause, causeScoreJSON{id, x.Cases, x.First, x.InThree, x.True, x.Earlier, x.Instead})
	}
	if v := r.Versus; v != nil {
		out.Against = &replayAgainst{r.Against, v.Cases, idsOf(v.Worse), idsOf(v.Better)}
	}
	for _, x := range r.Cases {
		ranks := x.Ranks
		if ranks == nil {
			ranks = []int{}
		}
		out.Each = append(out.Each, replayedJSON{x.ID, listed(x.Causes), ranks, x.KnownFrom, x.TestsEarlier, x.Acted, x.First, x.FirstCause, x.Right, x.True, x.Brier, x.Unknown})
	}
	return writeJSON(w, out)
}

func idsOf(pairs []cases.Compared) []string {
	out := []string{}
	for _, c := range pairs {
		out = append(out, c.After.ID)
	}
	return out
}

// ErrNoReplay says that a text is no replay that JSON wrote.
var ErrNoReplay = errors.New("it is no result of a replay")

// ReadReplay reads the cases of what JSON wrote, and the digest of its rulebase.
func ReadReplay(text []byte) (all []*cases.Replayed, digest string, err error) {
	var in replayJSON
	if err := json.Unmarshal(text, &in); err != nil || in.Schema != ReplaySchema {
		return nil, "", ErrNoReplay
	}
	for _, x := range in.Each {
		all = append(all, &cases.Replayed{ID: x.ID, Causes: x.Causes, Ranks: x.Ranks, KnownFrom: x.KnownFrom, TestsEarlier: x.TestsEarlier, Acted: x.Acted,
			First: x.First, FirstCause: x.FirstCause, Right: x.Right, True: x.True, Brier: x.Brier, Unknown: x.Unknown || len(x.Ranks) == 0})
	}
	return all, in.Rulebase.Digest, nil
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

func writeJUnit(w io.Writer, all *junitSuites) error {
	if _, err := io.WriteString(w, xml.Header); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	e := xml.NewEncoder(w)
	e.Indent("", "  ")
	if err := e.Encode(all); err != nil {
		return fmt.Errorf("write the answer: %w", err)
	}
	_, err := io.WriteString(w, "\n")
	return err
}

// SVG draws how often what was ranked first came true against the chance given to it, with the bars
// between which chance alone leaves right forecasts. How many cases each point rests on stands at it.
func (r *Replay) SVG(out io.Writer) error {
	const side, left, top = 480.0, 90.0, 60.0
	c := r.Score.Calibration
	title := sayReplay(r.Base, r.Score)
	foot := []string{sayPlotChance(c), sayPlotBars, sayPlotPoints}
	var b strings.Builder
	base := top + side
	height := base + 70 + 20*float64(len(foot))
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %.0f %.0f" role="img" aria-label="%s"><style>text{font:13px system-ui,sans-serif;fill:#000}.head{font-weight:700}.axis,.frame{stroke:#000;stroke-width:1;fill:none}.rule{stroke:#bbb;stroke-width:.6}.level{stroke:#000;stroke-width:1;stroke-dasharray:7 4}.bar{stroke:#000;stroke-width:1.2}.point{fill:#000}</style><rect width="%.0f" height="%.0f" fill="#fff"/>`,
		plotWidth, height, escape(title), plotWidth, height)
	p := plot{&b, newAxis(0, 100, left, left+side*1.55, "%", plotSaid), newAxis(0, 100, base, top, "%", plotRightIn)}
	fmt.Fprintf(&b, `<text x="%.0f" y="%.1f" class="head">%s</text>`, left, top-34, escape(title))
	p.frame("")
	fmt.Fprintf(&b, `<line x1="%.1f" y1="%.1f" x2="%.1f" y2="%.1f" class="level"/>`, p.x.at(0), p.y.at(0), p.x.at(100), p.y.at(100))
	for _, bin := range c.Bins {
		if bin.Cases == 0 {
			continue
		}
		x, y := p.x.at(100*bin.Forecast), p.y.at(100*bin.Frequency)
		low, high := p.y.at(100*bin.Low), p.y.at(100*bin.High)
		anchor, beside := "start", 9.0
		if bin.Forecast > 0.93 { // inside the frame
			anchor, beside = "end", -9
		}
		fmt.Fprintf(&b, `<path class="bar" fill="none" d="M%.1f %.1fV%.1fM%.1f %.1fh12M%.1f %.1fh12"/><rect x="%.1f" y="%.1f" width="8" height="8" class="point"/><text x="%.1f" y="%.1f" text-anchor="%s">%d</text>`,
			x, low, high, x-6, low, x-6, high, x-4, y-4, x+beside, min(max(y+4, top+14), base-4), anchor, bin.Cases)
	}
	for i, line := range foot {
		fmt.Fprintf(&b, `<text x="%.0f" y="%.1f">%s</text>`, left, base+66+20*float64(i), escape(line))
	}
	b.WriteString("</svg>\n")
	_, err := io.WriteString(out, b.String())
	return err
}
