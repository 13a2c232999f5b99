package report

import (
	"io"

	"downdrop/rulebase"
)

// LocateSchema names the form of what a sheet tells of a fault, in JSON.
const LocateSchema = "downdrop.line_locate/1"

// The questions that a sheet answers about a fault along its trunk.
const (
	LocateShort = "short"
	LocateBreak = "break"
	LocateHalf  = "half"
)

// Locate is one of those questions with its answer.
type Locate struct {
	Sheet *rulebase.Sheet
	Kind  string
	Found bool    // there is an answer
	AtM   float64 // where, from the host

	Reading float64 // of a short: in ohm
	FromEnd bool    // it was read at the far end

	Lost []string // of a break: the drops it takes away

	GoodM, BadM float64 // of a half
	Drop        string
}

// Text writes the answer for people.
func (l *Locate) Text(w io.Writer, width int) error {
	p := newPage(width)
	if l.Kind != LocateBreak {
		p.say(sayOhmsWarning)
		p.gap()
	}
	p.say(sayLocate(l))
	return p.writeTo(w)
}

// A locateJSON is where along the trunk a fault is.
type locateJSON struct {
	Schema  string   `json:"schema"`
	Sheet   string   `json:"sheet"`
	Kind    string   `json:"kind"`
	Found   bool     `json:"found"`
	AtM     float64  `json:"at_m"`
	Drop    string   `json:"drop"`
	Lost    []string `json:"lost"`
	Says    string   `json:"says"`
	Warning string   `json:"warning"`
}

// JSON writes the answer for programs.
func (l *Locate) JSON(w io.Writer) error {
	lost := l.Lost
	if lost == nil {
		lost = []string{}
	}
	return writeJSON(w, locateJSON{LocateSchema, l.Sheet.Name, l.Kind, l.Found, l.AtM, l.Drop, lost, sayLocate(l), sayOhmsWarning})
}
