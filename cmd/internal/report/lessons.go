package report

import (
	"io"

	"downdrop/cases"
	"downdrop/cases/learn"
)

// LessonsSchema is the form of lessons for programs.
const LessonsSchema = "downdrop.lessons/1"

// Lessons is what closed cases say of a rulebase, and what learning is worth on others.
type Lessons struct {
	*learn.Lessons
	Held  *learn.Held // nil: not tried
	Patch string      // file that the proposal was written to; "" none
	All   bool        // what agrees too
}

func (l *Lessons) disagreeing() (weights []*learn.Weight, rows []*learn.Row, numbers int) {
	for i := range l.Weights {
		if l.Weights[i].Disagrees() {
			weights = append(weights, &l.Weights[i])
		}
	}
	for i := range l.Rows {
		if l.Rows[i].Disagrees() {
			rows = append(rows, &l.Rows[i])
		}
		for j := range l.Rows[i].Numbers {
			if l.Rows[i].Numbers[j].Disagrees() {
				numbers++
			}
		}
	}
	return weights, rows, numbers
}

// Text writes it for people.
func (l *Lessons) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(sayLessons(l.Lessons))
	if l.Cases == 0 {
		return p.writeTo(w)
	}
	weights, rows, numbers := l.disagreeing()
	disagree := len(weights)
	if l.All {
		weights, rows = nil, nil
		for i := range l.Weights {
			weights = append(weights, &l.Weights[i])
		}
		for i := range l.Rows {
			rows = append(rows, &l.Rows[i])
		}
	}
	p.gap()
	p.say(sayWeights(l.Lessons, disagree))
	if len(weights) > 0 {
		p.line(sayWeightsHead)
	}
	for _, x := range weights {
		p.line(sayLearnedWeight(l.Lessons, x))
	}
	p.gap()
	p.say(sayRows(l.Lessons, numbers))
	for _, r := range rows {
		p.hang("  ", "    ", sayLearnedRow(l.Lessons, r))
		for i := range r.Numbers {
			if n := &r.Numbers[i]; l.All || n.Disagrees() {
				p.hang("    ", "      ", sayLearnedNumber(l.Lessons, r, n))
			}
		}
	}
	p.gap()
	if disagree+numbers == 0 {
		p.say(sayNothingLearned)
		return p.writeTo(w)
	}
	l.held(p)
	p.gap()
	if l.Patch != "" {
		p.say(sayPatched(l.Patch))
	} else {
		p.say(sayPatchAsk)
	}
	return p.writeTo(w)
}

func (l *Lessons) held(p *page) {
	switch {
	case l.Held == nil:
	case l.Held.Patched == 0:
		p.say(sayHeldNothing)
	default:
		p.say(sayHeld(l.Held, l.Held.Before, l.Held.After))
		r := Replay{Base: l.Base, Versus: l.Held.Versus, Score: l.Held.After, Against: sayRulebaseAsIs}
		r.against(p)
	}
}

type lessonsJSON struct {
	Schema       string              `json:"schema"`
	Rulebase     rulebaseJSON        `json:"rulebase"`
	Cases        int                 `json:"cases"`
	Worth        float64             `json:"worth"`
	WorthWeights float64             `json:"worth_weights"`
	Level        float64             `json:"level"`
	Weights      []learnedWeightJSON `json:"weights"`
	Rows         []learnedRowJSON    `json:"rows"`
	Held         *heldJSON           `json:"held_out"`
	Patch        string              `json:"patch"`
}

type learnedWeightJSON struct {
	Cause     string   `json:"cause"`
	Before    float64  `json:"per_thousand"`
	After     float64  `json:"proposed"`
	Proven    float64  `json:"proven"`
	Expected  float64  `json:"expected"`
	Share     float64  `json:"share"`
	Low       float64  `json:"low"`
	High      float64  `json:"high"`
	Disagrees bool     `json:"disagrees"`
	Cases     []string `json:"cases"`
}

type learnedRowJSON struct {
	Symptom   string              `json:"symptom"`
	Row       int                 `json:"row"`
	When      string              `json:"when"`
	Disagrees bool                `json:"disagrees"`
	Values    []learnedNumberJSON `json:"values"`
	Cases     []string            `json:"cases"`
}

type learnedNumberJSON struct {
	Value     string  `json:"value"`
	Before    float64 `json:"before"`
	After     float64 `json:"after"`
	Seen      float64 `json:"seen"`
	Of        float64 `json:"of"`
	Low       float64 `json:"low"`
	High      float64 `json:"high"`
	Disagrees bool    `json:"disagrees"`
}

type heldJSON struct {
	Parts    int      `json:"parts"`
	Changing int      `json:"parts_that_change"`
	Cases    int      `json:"cases"`
	Before   heldSide `json:"before"`
	After    heldSide `json:"after"`
	Worse    []string `json:"worse"`
	Better   []string `json:"better"`
}

type heldSide struct {
	First   int     `json:"first"`
	InThree int     `json:"in_three"`
	Log     float64 `json:"log_score"`
	Brier   float64 `json:"brier"`
}

// JSON writes it for programs: all numbers that were looked at, and the proposal as text.
func (l *Lessons) JSON(w io.Writer) error {
	b := l.Base
	out := lessonsJSON{Schema: LessonsSchema, Rulebase: rulebaseJSON{b.Name, b.Version, b.Digest}, Cases: l.Cases,
		Worth: l.Options.Worth, WorthWeights: l.Options.WorthWeights, Level: l.Options.Level, Weights: []learnedWeightJSON{}, Rows: []learnedRowJSON{}, Patch: l.Lessons.Patch()}
	for i := range l.Weights {
		x := &l.Weights[i]
		id := "outside"
		if x.Cause >= 0 {
			id = b.Causes[x.Cause].ID
		}
		out.Weights = append(out.Weights, learnedWeightJSON{id, x.PerThousand, x.AfterPerThousand, x.Hits, x.Rulebase * x.Trials, x.Mean, x.Low, x.High, x.Disagrees(), listed(x.Cases)})
	}
	for i := range l.Rows {
		r := &l.Rows[i]
		s := &b.Symptoms[r.Symptom]
		row := learnedRowJSON{Symptom: s.ID, Row: r.Row + 1, Disagrees: r.Disagrees(), Cases: listed(r.Cases)}
		if when := s.Shows[r.Row].When; when != nil {
			row.When = when.Text
		}
		for j := range r.Numbers {
			n := &r.Numbers[j]
			row.Values = append(row.Values, learnedNumberJSON{s.Values[n.Value], n.Rulebase, r.After[n.Value], n.Hits, n.Trials, n.Low, n.High, n.Disagrees()})
		}
		out.Rows = append(out.Rows, row)
	}
	if h := l.Held; h != nil {
		out.Held = &heldJSON{h.Folds, h.Patched, h.Before.Cases, sideOf(h.Before), sideOf(h.After), idsOf(h.Versus.Worse), idsOf(h.Versus.Better)}
	}
	return writeJSON(w, out)
}

func sideOf(s *cases.Score) heldSide { return heldSide{s.First, s.InThree, s.Log, s.Brier} }
