package report

import (
	"io"
	"strings"

	"downdrop/rulebase"
)

// A Check is what a look over a rulebase found.
type Check struct {
	base    *rulebase.Base // nil: it did not load
	errors  []rulebase.Problem
	remarks []rulebase.Problem
}

// NewCheck makes a Check of a rulebase that loaded, or of the problems why it did not.
func NewCheck(base *rulebase.Base, problems *rulebase.Problems) *Check {
	if problems != nil {
		return &Check{errors: problems.List}
	}
	return &Check{base: base, remarks: base.Remarks()}
}

// Found says whether there is anything to report.
func (c *Check) Found() bool { return len(c.errors)+len(c.remarks) > 0 }

// Text writes the problems for people, each with its line and a caret, and how many there are.
func (c *Check) Text(w io.Writer, width int) error {
	p := newPage(width)
	if !c.Found() {
		p.say(sayClean(c.base.Name, c.base.Version))
		return p.writeTo(w)
	}
	for _, list := range [][]rulebase.Problem{c.errors, c.remarks} {
		for _, problem := range list {
			says := problem.String()
			if problem.Text == "" { // nothing to set a caret under
				says, _, _ = strings.Cut(says, "\n")
			}
			p.out.WriteString(says + "\n") // not folded: a caret stands under its line
		}
	}
	p.gap()
	p.say(sayCount(len(c.errors), len(c.remarks)))
	return p.writeTo(w)
}

type checkJSON struct {
	Schema   string        `json:"schema"`
	Rulebase rulebaseJSON  `json:"rulebase"`
	Loads    bool          `json:"loads"`
	Problems []problemJSON `json:"problems"`
}

type problemJSON struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Level  string `json:"level"` // error, or remark: it loads all the same
	Kind   string `json:"kind"`
	Says   string `json:"says"`
	Meant  string `json:"meant"`
	Text   string `json:"text"` // the line of the file
}

// CheckSchema names the form of a Check in JSON.
const CheckSchema = "downdrop.check/1"

// JSON writes the problems for programs.
func (c *Check) JSON(w io.Writer) error {
	out := &checkJSON{Schema: CheckSchema, Loads: c.base != nil, Problems: []problemJSON{}}
	if c.base != nil {
		out.Rulebase = rulebaseJSON{c.base.Name, c.base.Version, c.base.Digest}
	}
	add := func(level string, list []rulebase.Problem) {
		for _, p := range list {
			out.Problems = append(out.Problems, problemJSON{p.File, p.Line, p.Column, level, p.Kind, p.Says, p.Meant, p.Text})
		}
	}
	add("error", c.errors)
	add("remark", c.remarks)
	return writeJSON(w, out)
}
