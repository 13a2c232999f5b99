package rulebase_test

import (
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"testing"

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
