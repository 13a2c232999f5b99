package report_test

import (
	"bytes"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// layered is a small rulebase with one of a site over it; both are invented.
func layered(t *testing.T) *rulebase.Base {
	t.Helper()
	layer := func(name, text string) rulebase.Layer {
		return rulebase.Layer{Name: name, FS: fstest.MapFS{"own.yaml": {Data: []byte(text)}}}
	}
	b, err := rulebase.Load(layer("lower", `
rulebase: {name: lower}
causes:
  fuse: {name: A fuse is blown, part: supply, per_thousand: 20, source: common_practice}
symptoms:
  light: {ask: "Is it lit?", values: [lit, dark], by: looking, shows: [{when: fuse, dark: always}, {lit: always}]}
`), layer("site", `
rulebase: {name: site, version: 2, extends: lower, together: 0.1}
causes:
  relay: {name: A relay is stuck, part: supply, per_thousand: 2, source: common_practice}
  fuse: {changes: true, per_thousand: 30}
symptoms:
  light: {replaces: true, ask: "Is it lit?", values: [lit, dark], shows: [{when: fuse or relay, dark: always}, {lit: always}]}
on_site:
  light: {called: lamp H4}
`))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestLayersJSONKeepsItsContract(t *testing.T) {
	var b bytes.Buffer
	if err := report.LayersJSON(&b, layered(t)); err != nil {
		t.Fatal(err)
	}
	want := golden(t, "layers.json", b.String())
	for _, says := range lacks("", document(t, []byte(want)), document(t, b.Bytes())) {
		t.Error(says)
	}
	if !strings.HasPrefix(b.String(), "{\n  \"schema\": \"downdrop.layers/1\",") || strings.Contains(b.String(), "null") {
		t.Error(b.String())
	}
}
