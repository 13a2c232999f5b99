package report

import (
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"

	"downdrop/engine/review"
	"downdrop/rulebase"
)

// A Check is what a look over a rulebase found.
type Check struct {
	base     *rulebase.Base // nil: it did not load
	errors   []rulebase.Problem
	remarks  []rulebase.Problem
	accepted []review.Finding
	below    int // findings in the rulebase that was laid below, which are not told
}

// NewCheck makes a Check of the problems why a rulebase, or its rule tests,
// could not be read, and of what a review of it found. Base is nil where it did
// not load. Findings of layers below the first one told are only counted.
func NewCheck(base *rulebase.Base, problems *rulebase.Problems, result review.Result, first int) *Check {
	c := &Check{base: base}
	if problems != nil {
		c.errors = problems.List
	}
	if base != nil && !result.Whole {
		c.errors = append(c.errors, rulebase.Problem{Kind: "too-much-work", Says: sayTooMuchWork})
	}
	for _, kind := range slices.Sorted(maps.Keys(result.Untold)) {
		c.errors = append(c.errors, rulebase.Problem{Kind: "too-many", Says: fmt.Sprintf(sayUntold, result.Untold[kind], kind)})
	}
	for _, f := range result.Found {
		switch {
		case f.Accepted != "" && f.Layer >= first:
			c.accepted = append(c.accepted, f)
		case f.Accepted != "":
		case f.Layer < first:
			c.below++
		default:
			c.remarks = append(c.remarks, f.Problem)
		}
	}
	return c
}

// Found says whether there is anything to report.
func (c *Check) Found() bool { return len(c.errors)+len(c.remarks) > 0 }

// Text writes the problems for people, each with its line and a caret, and how
// many there are; if asked also those that comments accept.
func (c *Check) Text(w io.Writer, width int, accepted bool) error {
	p := newPage(width)
	if accepted {
		for _, f := range c.accepted {
			says, _, _ := strings.Cut(f.String(), "\n")
			p.out.WriteString(says + "\n    " + sayAcceptedBecause(f.Accepted) + "\n")
		}
		p.gap()
	}
	if !c.Found() {
		p.say(sayClean(c.base.Name, c.base.Version))
		c.close(p, accepted)
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
	p.say(sayCount(len(c.errors), len(c.remarks), c.base != nil))
	if len(c.remarks) > 0 {
		p.say(sayExplains(c.remarks[0].Kind))
	}
	c.close(p, accepted)
	return p.writeTo(w)
}

// close says what is not told, and why.
func (c *Check) close(p *page, told bool) {
	if n := len(c.accepted); n > 0 && !told {
		p.say(sayAccepted(n))
	}
	if c.below > 0 {
		p.say(sayBelow(c.below))
	}
	if c.base != nil && len(c.base.Layers) > 1 {
		p.say(sayOverlays(c.base.Overlays()))
	}
}

// Explain writes what a kind of finding means, with its samples.
func Explain(w io.Writer, width int, k review.Kind) error {
	p := newPage(width)
	p.say(k.Name + ": " + k.Says)
	for _, part := range [][2]string{{sayKindMeans, k.Means}, {sayKindWhy, k.Why}, {sayKindCure, k.Cure}} {
		p.gap()
		p.item(part[0]+" ", part[1])
	}
	bad, good := k.Samples()
	p.gap()
	p.say(sayBadSample)
	p.quote(bad.Rules)
	p.instead(bad.Rules, good.Rules)
	if bad.Tests != good.Tests {
		p.gap()
		p.say(sayBadTests)
		p.quote(bad.Tests)
		p.instead(bad.Tests, good.Tests)
	}
	p.gap()
	p.say(sayHowToAccept(k.Name))
	return p.writeTo(w)
}

// ExplainError says what a kind of error means.
func ExplainError(w io.Writer, width int, name, says string) error {
	p := newPage(width)
	p.say(name + ": " + says)
	p.gap()
	p.say(sayErrorKind)
	return p.writeTo(w)
}

// quote writes a text of several lines as it stands.
func (p *page) quote(text string) {
	p.gap()
	for line := range strings.Lines(text) {
		p.line("    " + strings.TrimRight(line, "\n"))
	}
}

// instead writes which lines a good sample has instead of those of a bad one.
func (p *page) instead(bad, good string) {
	worse, better := linesOnlyIn(bad, good), linesOnlyIn(good, bad)
	if better != "" {
		p.gap()
		p.say(sayGoodSample)
		p.quote(better)
	}
	if worse != "" {
		p.gap()
		if better == "" {
			p.say(sayWithout)
		} else {
			p.say(sayInsteadOf)
		}
		p.quote(worse)
	}
}

// linesOnlyIn are the lines of one text that another lacks, in their order.
func linesOnlyIn(text, other string) string {
	have := map[string]int{}
	for line := range strings.Lines(other) {
		have[line]++
	}
	var only strings.Builder
	for line := range strings.Lines(text) {
		if have[line]--; have[line] < 0 {
			only.WriteString(line)
		}
	}
	return only.String()
}

// Kinds writes the list of all kinds of findings.
func Kinds(w io.Writer, width int) error {
	p := newPage(width)
	longest := 0
	for _, k := range review.Kinds() {
		longest = max(longest, len(k.Name))
	}
	for _, k := range review.Kinds() {
		p.item(k.Name+strings.Repeat(" ", longest-len(k.Name)+2), k.Says)
	}
	p.gap()
	p.say(sayExplainOne)
	return p.writeTo(w)
}

type checkJSON struct {
	Schema   string         `json:"schema"`
	Rulebase rulebaseJSON   `json:"rulebase"`
	Loads    bool           `json:"loads"`
	Problems []problemJSON  `json:"problems"`
	Accepted []acceptedJSON `json:"accepted"` // findings that a comment accepts
	Below    int            `json:"below"`    // findings in the rulebase laid below, not listed
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

type acceptedJSON struct {
	File   string `json:"file"`
	Line   int    `json:"line"`
	Column int    `json:"column"`
	Kind   string `json:"kind"`
	Says   string `json:"says"`
	Reason string `json:"reason"`
}

// CheckSchema names the form of a Check in JSON.
const CheckSchema = "downdrop.check/1"

// JSON writes the problems for programs.
func (c *Check) JSON(w io.Writer) error {
	out := &checkJSON{Schema: CheckSchema, Loads: c.base != nil, Problems: []problemJSON{}, Accepted: []acceptedJSON{}, Below: c.below}
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
	for _, f := range c.accepted {
		out.Accepted = append(out.Accepted, acceptedJSON{f.File, f.Line, f.Column, f.Kind, f.Says, f.Accepted})
	}
	return writeJSON(w, out)
}
