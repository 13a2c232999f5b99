package report

import (
	"fmt"
	"io"
	"math"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// SheetSchema names the form of a checked sheet in JSON.
const SheetSchema = "downdrop.line_check/1"

// sheetGroups is the order in which the results of a sheet are told: what to act
// on first.
var sheetGroups = []struct {
	verdict sheet.Verdict
	title   string
}{{sheet.Fail, titleFails}, {sheet.Marginal, titleMarginal}, {sheet.Open, titleOpen}, {sheet.Pass, titlePasses}}

// SheetText writes what the rules say of a sheet.
func SheetText(w io.Writer, s *rulebase.Sheet, results []sheet.Result, width int) error {
	p := newPage(width)
	p.say(saySheet(s))
	p.gap()
	p.say(saySheetWarning)
	for _, g := range sheetGroups {
		begun := false
		for _, r := range results {
			if r.Verdict != g.verdict {
				continue
			}
			if !begun {
				p.gap()
				p.say(g.title)
				begun = true
			}
			says := r.Full()
			if r.Verdict == sheet.Pass && r.Source != "" { // one look is enough for what is in order
				says += " " + sayLimitFrom(r.Source)
			}
			p.item("  - ", says)
			if g.verdict == sheet.Pass || g.verdict == sheet.Open {
				continue
			}
			if r.Sum != "" {
				p.item("      ", sayReckoned(r.Sum))
			}
			if r.Do != "" {
				p.item("      ", r.Do)
			}
			if r.Source != "" {
				p.item("      ", sayLimitFrom(r.Source))
			}
		}
	}
	p.gap()
	p.say(saySheetCount(results))
	return p.writeTo(w)
}

type sheetJSON struct {
	Schema  string            `json:"schema"`
	Sheet   string            `json:"sheet"`
	Line    string            `json:"line"`
	TrunkM  float64           `json:"trunk_m"`
	Warning string            `json:"warning"`
	Results []sheetResultJSON `json:"results"`
}

type sheetResultJSON struct {
	Rule    string  `json:"rule"`
	Finding string  `json:"finding"`
	Where   string  `json:"where"`
	Verdict string  `json:"verdict"`
	Figure  float64 `json:"figure"`
	Limit   float64 `json:"limit"`
	Unit    string  `json:"unit"`
	Says    string  `json:"says"`
	Sum     string  `json:"sum"`
	Source  string  `json:"source"`
	Do      string  `json:"do"`
	Line    int     `json:"line"`
	Column  int     `json:"column"`
}

// SheetJSON writes the same for programs. A figure that is open, or without
// bounds, is 0.
func SheetJSON(w io.Writer, s *rulebase.Sheet, results []sheet.Result) error {
	out := &sheetJSON{Schema: SheetSchema, Sheet: s.Name, Line: s.Line, TrunkM: s.TrunkM(), Warning: saySheetWarning, Results: []sheetResultJSON{}}
	for _, r := range results {
		out.Results = append(out.Results, sheetResultJSON{r.Rule, r.Finding(), r.Where, string(r.Verdict), finite(r.Figure), finite(r.Limit), r.Unit, r.Says, r.Sum, r.Source, r.Do, r.Pos.Line, r.Pos.Column})
	}
	return writeJSON(w, out)
}

func finite(x float64) float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return 0
	}
	return x
}

// OhmsSchema names the form of the states behind a reading in JSON.
const OhmsSchema = "downdrop.line_ohms/1"

// Ohms is a reading across the pair with the states it goes with.
type Ohms struct {
	Sheet   *rulebase.Sheet
	AtM     float64
	Where   string // as said: host, end, 120 m
	Reading float64
	Open    bool // the meter showed over-range
	States  []sheet.State
}

// Text writes the states for people, the likeliest first.
func (o *Ohms) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(sayOhmsWarning)
	p.gap()
	p.say(sayOhmsRead(o))
	if len(o.States) == 0 {
		p.gap()
		p.say(sayOhmsNothing)
		return p.writeTo(w)
	}
	p.gap()
	for _, st := range o.States {
		if st.Probability < 0.005 {
			break
		}
		p.item("  - ", sayState(o.Sheet, st))
	}
	if next := sayNextCut(o); next != "" {
		p.gap()
		p.say(next)
	}
	return p.writeTo(w)
}

type ohmsJSON struct {
	Schema  string          `json:"schema"`
	Sheet   string          `json:"sheet"`
	AtM     float64         `json:"at_m"`
	Reading float64         `json:"reading_ohm"`
	Open    bool            `json:"over_range"`
	Warning string          `json:"warning"`
	States  []ohmsStateJSON `json:"states"`
}

type ohmsStateJSON struct {
	Kind        string   `json:"kind"`
	Probability float64  `json:"probability"`
	AtM         float64  `json:"at_m"`
	LowOhm      float64  `json:"low_ohm"`
	HighOhm     float64  `json:"high_ohm"`
	Lost        []string `json:"lost"`
	Says        string   `json:"says"`
}

// JSON writes the states for programs.
func (o *Ohms) JSON(w io.Writer) error {
	out := &ohmsJSON{Schema: OhmsSchema, Sheet: o.Sheet.Name, AtM: o.AtM, Reading: finite(o.Reading), Open: o.Open, Warning: sayOhmsWarning, States: []ohmsStateJSON{}}
	for _, st := range o.States {
		lost := st.Lost
		if lost == nil {
			lost = []string{}
		}
		out.States = append(out.States, ohmsStateJSON{string(st.Kind), st.Probability, st.AtM, finite(st.Low), finite(st.High), lost, sayState(o.Sheet, st)})
	}
	return writeJSON(w, out)
}

func metres(x float64) string { return fmt.Sprintf("%.0f m", x) }
