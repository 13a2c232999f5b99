package report_test

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"downdrop/cmd/internal/report"
	"downdrop/engine/review"
	"downdrop/rulebase"
)

// sarifSchema compiles the schema of SARIF 2.1.0 (OASIS, with errata 01), which
// testdata holds as published, without blanks between its values.
func sarifSchema(t *testing.T) *jsonschema.Schema {
	t.Helper()
	file, err := os.Open("testdata/sarif-schema-2.1.0.json")
	if err != nil {
		t.Fatal(err)
	}
	defer file.Close()
	doc, err := jsonschema.UnmarshalJSON(file)
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("sarif.json", doc); err != nil {
		t.Fatal(err)
	}
	schema, err := c.Compile("sarif.json")
	if err != nil {
		t.Fatal(err)
	}
	return schema
}

func TestSARIFKeepsToItsSchema(t *testing.T) {
	schema := sarifSchema(t)
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	at := rulebase.Position{File: "a folder/supply.yaml", Line: 3, Column: 5}
	found := []review.Finding{
		{Problem: rulebase.Problem{Position: at, Kind: "never-holds", Says: "it can never hold"}},
		{Problem: rulebase.Problem{Position: at, Kind: "exact-chance", Says: "no chance"}, Accepted: "by definition"},
	}
	broken := &rulebase.Problems{List: []rulebase.Problem{{Position: at, Kind: "unknown-key", Says: "there is no key"}, {Position: rulebase.Position{File: "trunk.yaml"}, Kind: "encoding", Says: "no text"}}}
	for name, c := range map[string]*report.Check{
		"nothing":  report.NewCheck(base, nil, review.Result{Whole: true}, 0),
		"findings": report.NewCheck(base, nil, review.Result{Found: found, Whole: true}, 0),
		"errors":   report.NewCheck(nil, broken, review.Result{}, 0),
		"shipped":  report.NewCheck(base, nil, review.Within(base, nil, review.NoLimit), 0),
	} {
		var out bytes.Buffer
		if err := c.SARIF(&out); err != nil {
			t.Fatal(err)
		}
		doc, err := jsonschema.UnmarshalJSON(strings.NewReader(out.String()))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if err := schema.Validate(doc); err != nil {
			t.Errorf("%s: %v\n%s", name, err, out.String())
		}
		if name == "findings" && !strings.Contains(out.String(), "a%20folder/supply.yaml") {
			t.Errorf("the file's name is no reference:\n%s", out.String())
		}
	}
}

// The schema can say no.
func TestSARIFSchemaRefuses(t *testing.T) {
	doc, err := jsonschema.UnmarshalJSON(strings.NewReader(`{"version": "2.1.0", "runs": [{"tool": {"driver": {}}}]}`))
	if err != nil {
		t.Fatal(err)
	}
	if sarifSchema(t).Validate(doc) == nil {
		t.Error("a driver without a name is let through")
	}
}
