package rulebase_test

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"testing/fstest"

	"downdrop/rulebase"
)

// What is kept of a rulebase has its digest for a hash and loads to the same rulebase.
func TestBundleLoadsAgain(t *testing.T) {
	site := t.TempDir()
	for name, text := range map[string]string{
		"header.yaml": "rulebase: {name: weir, version: 1, extends: drop}\n",
		"a.yaml":      "on_site:\n  power_light: {called: \"lamp 3\"}\n",
	} {
		if err := os.WriteFile(filepath.Join(site, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for name, load := range map[string]func() (*rulebase.Base, error){
		"shipped":           rulebase.ShippedCompiled,
		"shipped, as files": rulebase.LoadShipped,
		"a site's own":      func() (*rulebase.Base, error) { return rulebase.LoadFolder(site) },
	} {
		b, err := load()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := b.Bundle()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if sum := sha256.Sum256(text); hex.EncodeToString(sum[:]) != b.Digest {
			t.Errorf("%s: its hash is not the digest", name)
		}
		again, err := rulebase.LoadBundle(text)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		if again.Digest != b.Digest || len(again.Causes) != len(b.Causes) || len(again.OnSite) != len(b.OnSite) || again.Name != b.Name {
			t.Errorf("%s: another rulebase came back", name)
		}
	}
	for _, bad := range []string{"x", "a.yaml\x00", "../a.yaml\x00x\x00", "\x00\x00"} {
		if _, err := rulebase.LoadBundle([]byte(bad)); err == nil {
			t.Errorf("%q was loaded", bad)
		}
	}
	b, err := rulebase.LoadFolder(site)
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(site, "a.yaml"), []byte("on_site: {}\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := b.Bundle(); err == nil {
		t.Error("files that were changed meanwhile were kept under the old digest")
	}
}

// Where a layer ends is found whatever its files are called: the header need not stand in the first of them, and
// what comes before it may change entries of the layer below.
func TestBundleOfLayersWhoseHeaderComesLate(t *testing.T) {
	lower, _ := small(t)
	changes := &fstest.MapFile{Data: []byte("causes:\n  fuse_open: {changes: true, per_thousand: 80}\n")}
	plain := &fstest.MapFile{Data: []byte("sources:\n  guess: {says: A guess of ours, kind: estimate}\n")}
	header := func(name, extends string) *fstest.MapFile {
		return &fstest.MapFile{Data: []byte("rulebase: {name: " + name + ", extends: " + extends + "}\n")}
	}
	again := &fstest.MapFile{Data: []byte("causes:\n  fuse_open: {changes: true, per_thousand: 90}\n")}
	for name, layers := range map[string][]fstest.MapFS{
		"before the header":              {lower, {"s_causes.yaml": changes, "site.yaml": header("site", "small")}},
		"two files before it":            {lower, {"s_causes.yaml": changes, "s_sources.yaml": plain, "site.yaml": header("site", "small")}},
		"a file that could stand either": {lower, {"s_sources.yaml": plain, "site.yaml": header("site", "small")}},
		"after the header":               {lower, {"site.yaml": header("site", "small"), "tail.yaml": changes}},
		"three layers":                   {lower, {"s_causes.yaml": changes, "site.yaml": header("site", "small")}, {"t_causes.yaml": again, "top.yaml": header("top", "site")}},
	} {
		var all []rulebase.Layer
		for i, l := range layers {
			all = append(all, rulebase.Layer{Name: fmt.Sprint("folder", i), FS: l})
		}
		b, err := rulebase.Load(all...)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		text, err := b.Bundle()
		if err != nil {
			t.Fatal(err)
		}
		back, err := rulebase.LoadBundle(text)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if back.Digest != b.Digest || !reflect.DeepEqual(back.Layers, b.Layers) || len(back.Sources) != len(b.Sources) || back.Causes[0].Prior != b.Causes[0].Prior {
			t.Errorf("%s: %v with %v, want %v with %v", name, back.Layers, back.Causes[0], b.Layers, b.Causes[0])
		}
		if file := back.Symptoms[0].Pos.File; !strings.HasPrefix(file, "layer1/") { // where a problem is said to stand
			t.Errorf("%s: what stands in the lowest layer stands in %s", name, file)
		}
	}
}
