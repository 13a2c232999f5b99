package report

import (
	"io"
	"slices"

	"downdrop/engine"
)

// Schema of a chart.
const ChartSchema = "downdrop.chart/1"

type chartNodeJSON struct {
	Number  int            `json:"number"` // 0: an end
	Share   float64        `json:"share"`
	End     string         `json:"end"`
	Says    string         `json:"says"` // of an end
	Kind    string         `json:"kind"` // test, remedy; "" at an end
	ID      string         `json:"id"`
	Do      string         `json:"do"`
	Price   float64        `json:"price"`
	Goes    bool           `json:"goes"` // a further reading of the step above
	Symptom string         `json:"symptom"`
	Confirm []string       `json:"confirm"`
	Warn    []string       `json:"warnings"`
	Ask     []string       `json:"ask_first"`
	Minutes float64        `json:"expected_minutes"`
	Bound   float64        `json:"lower_bound"`
	Proven  bool           `json:"optimal"`
	Likely  []causeJSON    `json:"likely"`
	Ways    []chartWayJSON `json:"ways"`
}

type chartWayJSON struct {
	Values []string       `json:"values"`
	Drop   string         `json:"drop"`
	Chance float64        `json:"chance"`
	Node   *chartNodeJSON `json:"node"`
}

// A chartJSON is a fault-finding chart.
type chartJSON struct {
	Schema   string         `json:"schema"`
	Rulebase rulebaseJSON   `json:"rulebase"`
	Aim      string         `json:"aim"`
	Policy   string         `json:"policy"`
	Minutes  float64        `json:"expected_minutes"`
	Bound    float64        `json:"lower_bound"`
	Optimal  bool           `json:"optimal"`
	Settled  float64        `json:"settled"`
	Sent     float64        `json:"sent"`
	TooRare  float64        `json:"too_rare"`
	Cut      float64        `json:"cut"`
	Places   int            `json:"places"`
	Still    []string       `json:"still_in_place"`
	Tree     *chartNodeJSON `json:"tree"`
}

// JSON writes the chart for programs.
func (c *Chart) JSON(w io.Writer, kind ChartKind) error {
	t := c.tree
	aim := "working_drop"
	if kind.Identify {
		aim = "identify"
	}
	return writeJSON(w, chartJSON{ChartSchema, rulebaseJSON{c.base.Name, c.base.Version, c.base.Digest}, aim, t.Policy, t.Root.Minutes, t.Root.Bound, t.Root.Proven,
		t.Settled, t.Sent, t.TooRare, t.Cut, t.Nodes, listed(c.still), c.nodeJSON(t.Root, t.Root)})
}

func (c *Chart) nodeJSON(n, above *engine.ChartNode) *chartNodeJSON {
	out := &chartNodeJSON{Share: n.Share, End: string(n.End), Goes: n.Goes, Confirm: listed(n.Confirm), Warn: []string{}, Ask: []string{}, Minutes: n.Minutes, Bound: n.Bound, Proven: n.Proven, Likely: []causeJSON{}, Ways: []chartWayJSON{}}
	if n.Diagnosis != nil {
		for _, cause := range n.Diagnosis.Causes[:min(5, len(n.Diagnosis.Causes))] {
			if cause.Now > 0 {
				x := c.base.Causes[cause.Cause]
				out.Likely = append(out.Likely, causeJSON{ID: x.ID, Name: x.Name, Part: x.Part, Probability: cause.Probability, Now: cause.Now})
			}
		}
	}
	if n.Step == nil {
		out.Says, _ = c.end(n, above)
		return out
	}
	if i := slices.IndexFunc(c.places, func(x *ChartPlace) bool { return x.Node == n }); i >= 0 {
		out.Number = i + 1
	}
	out.Kind, out.ID, out.Do, out.Price, out.Warn, out.Ask = kindOf(n.Step.Step), n.Step.Step.ID, n.Step.Step.Do, n.Step.Price, listed(n.Step.Warnings), listed(n.Step.AskFirst)
	if n.Symptom >= 0 {
		out.Symptom = c.base.Symptoms[n.Symptom].ID
	}
	for _, w := range n.Ways {
		way := chartWayJSON{Values: []string{}, Drop: string(w.Drop), Chance: w.Chance, Node: c.nodeJSON(w.Node, n)}
		for _, v := range w.Values {
			way.Values = append(way.Values, c.base.Symptoms[n.Symptom].Values[v])
		}
		out.Ways = append(out.Ways, way)
	}
	return out
}
