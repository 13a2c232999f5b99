package report

import (
	"io"
	"net/url"
	"strings"

	"downdrop/engine/review"
	"downdrop/rulebase"
)

// The parts of SARIF 2.1.0 (OASIS, 27 March 2020) that a list of findings needs.
type sarifLog struct {
	Schema  string     `json:"$schema"`
	Version string     `json:"version"`
	Runs    []sarifRun `json:"runs"`
}

type sarifRun struct {
	Tool    sarifTool     `json:"tool"`
	Columns string        `json:"columnKind"`
	Results []sarifResult `json:"results"`
}

type sarifTool struct {
	Driver sarifDriver `json:"driver"`
}

type sarifDriver struct {
	Name  string      `json:"name"`
	Rules []sarifRule `json:"rules"`
}

type sarifRule struct {
	ID    string     `json:"id"`
	Short sarifText  `json:"shortDescription"`
	Full  *sarifText `json:"fullDescription,omitempty"`
	Help  *sarifText `json:"help,omitempty"`
}

type sarifText struct {
	Text string `json:"text"`
}

type sarifResult struct {
	Rule         string             `json:"ruleId"`
	RuleIndex    int                `json:"ruleIndex"`
	Level        string             `json:"level"`
	Message      sarifText          `json:"message"`
	Locations    []sarifLocation    `json:"locations"`
	Suppressions []sarifSuppression `json:"suppressions,omitempty"`
}

type sarifSuppression struct {
	Kind          string `json:"kind"`
	Justification string `json:"justification"`
}

type sarifLocation struct {
	Physical sarifPhysical `json:"physicalLocation"`
}

type sarifPhysical struct {
	Artifact sarifArtifact `json:"artifactLocation"`
	Region   *sarifRegion  `json:"region,omitempty"`
}

type sarifArtifact struct {
	URI string `json:"uri"`
}

type sarifRegion struct {
	Line   int `json:"startLine"`
	Column int `json:"startColumn"`
}

// SARIF writes the findings in the form that code viewers and build servers
// read. Accepted ones are there too, as suppressed in the source.
func (c *Check) SARIF(w io.Writer) error {
	run := sarifRun{Columns: "unicodeCodePoints", Results: []sarifResult{}}
	index := map[string]int{}
	add := func(p rulebase.Problem, level, reason string) {
		if _, known := index[p.Kind]; !known {
			index[p.Kind] = len(run.Tool.Driver.Rules)
			run.Tool.Driver.Rules = append(run.Tool.Driver.Rules, ruleOf(p.Kind))
		}
		r := sarifResult{Rule: p.Kind, RuleIndex: index[p.Kind], Level: level, Message: sarifText{capital(p.Says) + "."}, Locations: []sarifLocation{{sarifPhysical{Artifact: sarifArtifact{uri(p.File)}}}}}
		if p.Line > 0 {
			r.Locations[0].Physical.Region = &sarifRegion{p.Line, max(1, p.Column)}
		}
		if reason != "" {
			r.Suppressions = []sarifSuppression{{"inSource", reason}}
		}
		run.Results = append(run.Results, r)
	}
	for _, p := range c.errors {
		add(p, "error", "")
	}
	for _, p := range c.remarks {
		add(p, "warning", "")
	}
	for _, f := range c.accepted {
		add(f.Problem, "note", f.Accepted)
	}
	run.Tool.Driver.Name = "downdrop"
	if run.Tool.Driver.Rules == nil {
		run.Tool.Driver.Rules = []sarifRule{}
	}
	return writeJSON(w, &sarifLog{Schema: "https://docs.oasis-open.org/sarif/sarif/v2.1.0/errata01/os/schemas/sarif-schema-2.1.0.json", Version: "2.1.0", Runs: []sarifRun{run}})
}

func ruleOf(kind string) sarifRule {
	k, known := review.Explain(kind)
	if !known {
		return sarifRule{ID: kind, Short: sarifText{sayLoadingRefuses}}
	}
	return sarifRule{ID: kind, Short: sarifText{k.Says}, Full: &sarifText{k.Means + " " + k.Why}, Help: &sarifText{k.Cure}}
}

// uri is a file's name as a relative reference (RFC 3986): blanks and what has a
// meaning there are escaped.
func uri(file string) string {
	u := url.URL{Path: strings.ReplaceAll(file, `\`, "/")}
	return u.EscapedPath()
}
