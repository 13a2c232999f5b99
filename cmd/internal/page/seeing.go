package page

import (
	"cmp"
	"encoding/json"
	"fmt"
	"math"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// causes shows what it can be and why: the ranking, what spoke for what, two faults at
// once, how the ranking moved, and where along the trunk.
func (s *Server) causes(w http.ResponseWriter, r *http.Request) error {
	st, err := s.find(r)
	if err != nil {
		return err
	}
	first, second := r.URL.Query().Get("first"), r.URL.Query().Get("second")
	for _, id := range []string{first, second} {
		if ref, _ := s.o.Base.Lookup(id); id != "" && ref.Kind != rulebase.KindCause {
			return refusal{http.StatusNotFound, sayNoSuchCause}
		}
	}
	if first != "" && first == second {
		return wrong(sayTwoCauses)
	}
	d, err := s.weigh(r.Context(), st.Case.Situation, first, second)
	if err != nil {
		return err
	}
	paper, err := s.sheetOfLine(r.Context(), st.Case)
	if err != nil {
		return err
	}
	data := struct {
		head
		UnitOut string
		Causes  []causeRow
		Others  []string
		First   string
		Second  string
		Weights []weightRow
		Firsts  []choice // causes to weigh, the chosen one among them
		Seconds []choice
		Ruled   bool // one of them is ruled out
		Both    []causeRow
		Still   []string
		Moved   *moved
		Trunk   *trunk
		Facts   []string
	}{head: s.headOf(st.Case), Still: report.InPlaceLines(st.Case), UnitOut: report.Chance(d.UnitOut), Both: chancesOf(d, 5), Moved: movedOf(d, st.Case), Trunk: trunkOf(d, st.Case, paper, s.o.NewID())}
	data.Causes, data.Others = causeRows(d, 15)
	if d.Possible && len(d.Causes) > 1 {
		data.First, data.Second = d.Base.Causes[d.Weighed[0]].Name, d.Base.Causes[d.Weighed[1]].Name
		data.Weights, data.Ruled = weightRows(d), d.Weights == nil
		data.Firsts, data.Seconds = weighable(d, d.Weighed[0]), weighable(d, d.Weighed[1])
	}
	for _, f := range d.Facts {
		if byRule(d.Base, f) {
			for _, why := range f.Why {
				data.Facts = append(data.Facts, wording.Plain(why))
			}
		}
	}
	return show(w, http.StatusOK, "causes", data)
}

// mostWeighable is how many causes are listed to be weighed: a phone loads the page over a poor line. The
// command weighs any two.
const mostWeighable = 30

// weighable are the causes that can be weighed, the likeliest first, and among them the one that is.
func weighable(d *engine.Diagnosis, now int) []choice {
	var out []choice
	for i, c := range d.Causes {
		cause := &d.Base.Causes[c.Cause]
		if i < mostWeighable && c.Probability > 0 || c.Cause == now {
			out = append(out, choice{Value: cause.ID, Says: cause.Name + ", " + report.Chance(c.Now), Chosen: c.Cause == now})
		}
	}
	return out
}

// byRule says whether a rule derived a fact about the drop. What follows from the kind of
// line is left out: it is a reason for nothing yet.
func byRule(b *rulebase.Base, f engine.Fact) bool {
	if ref, ok := b.Lookup(f.ID); ok && ref.Kind == rulebase.KindGiven {
		return false
	}
	return slices.ContainsFunc(f.Because, func(id string) bool {
		ref, ok := b.Lookup(id)
		return ok && ref.Kind == rulebase.KindRule
	})
}

// A weightRow is what one finding did to the first cause against the second: a bar to the right
// speaks for the first, one to the left for the second, as long as its weight in bits.
type weightRow struct {
	Finding string
	Says    string
	X, Long int // of 100, from the middle at 50
}

func weightRows(d *engine.Diagnosis) []weightRow {
	var out []weightRow
	for _, w := range d.Weights {
		bits := math.Log2(w.Factor)
		if math.Abs(bits) < 0.07 || math.IsNaN(bits) {
			continue
		}
		row := weightRow{Finding: wording.Plain(w.Finding) + " " + wording.Plain(w.Value)}
		if w.Rule != "" {
			row.Finding += " (by a rule: " + wording.Plain(w.Rule) + ")"
		}
		row.Long = int(math.Min(50, 10*math.Abs(bits)) + 0.5)
		switch {
		case math.IsInf(bits, 1):
			row.Says = sayRulesOutSecond
		case math.IsInf(bits, -1):
			row.Says = sayRulesOutFirst
		case bits > 0:
			row.Says = fmt.Sprintf(sayTimesFirst, w.Factor)
		default:
			row.Says = fmt.Sprintf(sayTimesSecond, 1/w.Factor)
		}
		if row.X = 50; bits < 0 {
			row.X = 50 - row.Long
		}
		out = append(out, row)
	}
	slices.SortStableFunc(out, func(a, b weightRow) int { return cmp.Compare(b.Long, a.Long) })
	return out
}

// moved is how the ranking moved over a case: a line for each cause that stood first or
// second at some time, told apart by its dashes and its number.
type moved struct {
	Width, Height int
	Lines         []movedLine
	Marks         []movedMark // one under each ranking
}

type movedLine struct {
	Number       int
	Name, Chance string
	Points, Dash string
	X, Y         int // where the number stands, at the end
}

type movedMark struct {
	X, Number int
	Said      string   // what was said since the one before
	Says      []string // the chance of each line here, in words
}

const (
	movedStep   = 44
	movedTall   = 150
	mostMoved   = 30
	movedMargin = 30
)

var dashes = []string{"", "7 4", "2 4", "12 4 2 4", "5 2", "1 6", "14 5", "9 3 2 3 2 3"}

func movedOf(d *engine.Diagnosis, c *cases.Case) *moved {
	rankings := c.Rankings
	if len(rankings) < 2 {
		return nil
	}
	said := saidBefore(c)
	said = said[max(0, len(rankings)-mostMoved):]
	rankings = rankings[max(0, len(rankings)-mostMoved):]
	var ids []string
	for _, r := range rankings {
		for _, one := range r.Causes[:min(2, len(r.Causes))] {
			if !slices.Contains(ids, one.ID) {
				ids = append(ids, one.ID)
			}
		}
	}
	last := func(id string) float64 { return chanceIn(rankings[len(rankings)-1], id) }
	slices.SortStableFunc(ids, func(a, b string) int { return cmp.Compare(last(b), last(a)) })
	ids = ids[:min(len(dashes), len(ids))]
	m := &moved{Width: movedMargin + movedStep*len(rankings) + 20, Height: movedTall + 40}
	for i := range rankings {
		m.Marks = append(m.Marks, movedMark{X: movedMargin + movedStep*i, Number: i + 1, Said: said[i]})
	}
	for n, id := range ids {
		l := movedLine{Number: n + 1, Name: wording.Plain(id), Dash: dashes[n]}
		for _, now := range d.Causes {
			if cause := &d.Base.Causes[now.Cause]; cause.ID == id {
				l.Name, l.Chance = cause.Name, report.Chance(now.Probability)
			}
		}
		var points []string
		for i, r := range rankings {
			l.X, l.Y = movedMargin+movedStep*i, 10+int(float64(movedTall)*(1-chanceIn(r, id))+0.5)
			points = append(points, fmt.Sprintf("%d,%d", l.X, l.Y))
			if p := chanceIn(r, id); p > 0 {
				m.Marks[i].Says = append(m.Marks[i].Says, fmt.Sprintf("%s (%d)", report.Chance(p), l.Number))
			}
		}
		l.Points = strings.Join(points, " ")
		l.X += 12
		for slices.ContainsFunc(m.Lines, func(o movedLine) bool { return o.X == l.X && max(o.Y-l.Y, l.Y-o.Y) < 14 }) {
			l.X += 16 // two numbers do not stand on one another
		}
		m.Width = max(m.Width, l.X+20)
		m.Lines = append(m.Lines, l)
	}
	return m
}

// saidBefore is, for each ranking of a case, what was said since the one before.
func saidBefore(c *cases.Case) []string {
	var out, since []string
	for i := range c.Events {
		e := &c.Events[i]
		var finding cases.FindingBody
		var given cases.GivenBody
		var done cases.DoneBody
		switch {
		case e.Kind == cases.KindRanking:
			out, since = append(out, strings.Join(since, "; ")), nil
		case e.Kind == cases.KindFinding && json.Unmarshal(e.Body, &finding) == nil:
			since = append(since, wording.Plain(finding.Symptom)+" "+wording.Plain(wordOf(finding.Value)))
		case e.Kind == cases.KindGiven && json.Unmarshal(e.Body, &given) == nil:
			since = append(since, wording.Plain(given.ID)+" "+wording.Plain(wordOf(given.Value)))
		case e.Kind == cases.KindDone && json.Unmarshal(e.Body, &done) == nil:
			since = append(since, fmt.Sprintf(sayDone, wording.Plain(done.ID)))
		case e.Kind == cases.KindTakenBack:
			since = append(since, sayOneTakenBack)
		}
	}
	for len(out) < len(c.Rankings) { // an event of a later version, that cannot be read here
		out = append(out, "")
	}
	return out
}

func wordOf(v cases.ValueBody) string {
	if v.Word == "" && v.Number != nil {
		return strconv.FormatFloat(*v.Number, 'g', 6, 64)
	}
	return v.Word
}

func chanceIn(r cases.Ranking, id string) float64 {
	for _, one := range r.Causes {
		if one.ID == id {
			return one.Probability
		}
	}
	return 0
}

// chancesOf is how a set of causes is said.
func chancesOf(d *engine.Diagnosis, most int) []causeRow {
	var out []causeRow
	for _, e := range d.Explanations {
		if len(e.Causes) < 2 || len(out) == most || e.Probability < 0.0005 {
			continue
		}
		var names []string
		for _, c := range e.Causes {
			names = append(names, d.Base.Causes[c].Name)
		}
		out = append(out, causeRow{Name: strings.Join(names, sayAndAlso), Chance: report.Chance(e.Probability), Width: int(100*e.Probability + 0.5)})
	}
	return out
}
