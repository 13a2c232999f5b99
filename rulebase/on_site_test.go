package rulebase_test

import (
	"os"
	"testing"
	"testing/fstest"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"

	"downdrop/rulebase"
)

// site is a layer over testdata/good.
func site(name, text string) rulebase.Layer {
	return rulebase.Layer{Name: name, FS: fstest.MapFS{"site.yaml": {Data: []byte(text)}}}
}

func loadOverGood(t *testing.T, layers ...rulebase.Layer) *rulebase.Base {
	t.Helper()
	base, err := rulebase.Load(append([]rulebase.Layer{{Name: "good", FS: os.DirFS("testdata/good")}}, layers...)...)
	if err != nil {
		t.Fatal(err)
	}
	return base
}

func TestSiteNames(t *testing.T) {
	base := loadOverGood(t,
		site("works", `
rulebase: {name: works, extends: small}
on_site:
  power_light: {called: lamp H4 on door 2, values: {lit: steady white, dark: "no light"}}
  measure_pair: {called: "terminals X1:12 and X1:13", where: behind door 2}
  hum: {where: in cabinet 3}
  mode: {values: {note: painted over, source: handbook, stop: "message 'LOST STATION' in the controller"}}
`),
		site("hall", `
rulebase: {name: hall, extends: works}
on_site:
  power_light: {called: lamp P1, replaces: true}
  fuse_open: {called: fuse F7}
`))
	want := []rulebase.OnSite{
		{ID: "fuse_open", Called: "fuse F7"},
		{ID: "hum", Where: "in cabinet 3"},
		{ID: "measure_pair", Called: "terminals X1:12 and X1:13", Where: "behind door 2"},
		{ID: "mode", Values: map[string]string{"stop": "message 'LOST STATION' in the controller"}},
		{ID: "power_light", Called: "lamp P1"}, // the whole entry is replaced, its values too
	}
	if d := cmp.Diff(want, base.OnSite, cmpopts.IgnoreFields(rulebase.OnSite{}, "Pos")); d != "" {
		t.Error(d)
	}
	for id, text := range map[string]string{"measure_pair": "terminals X1:12 and X1:13, behind door 2", "hum": "in cabinet 3", "mode": "", "replace_fuse": "", "power_light": "lamp P1"} {
		if got := base.SiteName(id).Text(); got != text {
			t.Errorf("%s is called %q here, not %q", id, got, text)
		}
	}
	if ref, _ := base.Lookup("power_light"); ref.Kind != rulebase.KindSymptom {
		t.Errorf("a name on the site hides the symptom: %v", ref)
	}
}

// A rulebase that everybody gets names nothing of anybody's site.
func TestShippedRulebaseHasNoSiteNames(t *testing.T) {
	base, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	if len(base.OnSite) > 0 {
		t.Errorf("%v", base.OnSite)
	}
}
