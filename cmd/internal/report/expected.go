package report

import (
	"io"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// ExpectedSchema names the form of what should be read across the pair, in JSON.
const ExpectedSchema = "downdrop.line_expected/1"

// Expected is what an ohmmeter should read at a place.
type Expected struct {
	Sheet        *rulebase.Sheet
	AtM          float64
	Where        string // as said: host, end, 120 m, a drop
	Cuts, Shorts []float64
	Ways         []sheet.Way
	Known        bool // the sheet gives the resistance of every stretch
}

// Text writes it for people.
func (e *Expected) Text(w io.Writer, width int) error {
	p := newPage(width)
	p.say(sayOhmsWarning)
	p.gap()
	p.say(sayExpected(e))
	for _, way := range e.Ways {
		p.item("  - ", sayExpectedWay(way))
	}
	if !e.Known {
		p.gap()
		p.say(sayExpectedUnknown)
	}
	return p.writeTo(w)
}

type expectedWayJSON struct {
	Units bool    `json:"units_connected"`
	Bias  bool    `json:"bias_connected"`
	Ohm   float64 `json:"ohm"`
	Open  bool    `json:"over_range"`
}

// An expectedJSON is what should be read at a place of a line.
type expectedJSON struct {
	Schema  string            `json:"schema"`
	Sheet   string            `json:"sheet"`
	AtM     float64           `json:"at_m"`
	Cuts    []float64         `json:"supposed_breaks_m"`
	Shorts  []float64         `json:"supposed_shorts_m"`
	Known   bool              `json:"cable_known"`
	Warning string            `json:"warning"`
	Ways    []expectedWayJSON `json:"ways"`
}

// JSON writes it for programs.
func (e *Expected) JSON(w io.Writer) error {
	out := expectedJSON{ExpectedSchema, e.Sheet.Name, e.AtM, append([]float64{}, e.Cuts...), append([]float64{}, e.Shorts...), e.Known, sayOhmsWarning, []expectedWayJSON{}}
	for _, way := range e.Ways {
		out.Ways = append(out.Ways, expectedWayJSON{way.Units, way.Bias, finite(way.Low), way.Low != finite(way.Low)})
	}
	return writeJSON(w, out)
}
