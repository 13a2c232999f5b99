package main

import (
	"debug/buildinfo"
	"encoding/json"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// The bill of this very test program lists its modules, once each, and says the same
// when it is written again.
func TestBillOfThisProgram(t *testing.T) {
	name := filepath.Join(t.TempDir(), "program")
	text, err := os.ReadFile(os.Args[0])
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, text, 0o600); err != nil {
		t.Fatal(err)
	}
	if err := write(name); err != nil {
		t.Fatal(err)
	}
	first, err := os.ReadFile(name + ".cdx.json")
	if err != nil {
		t.Fatal(err)
	}
	var b bill
	if err := json.Unmarshal(first, &b); err != nil {
		t.Fatal(err)
	}
	if b.Format != "CycloneDX" || b.SpecVersion != "1.6" || b.Version != 1 || !regexp.MustCompile(`^urn:uuid:[0-9a-f]{8}-[0-9a-f]{4}-8[0-9a-f]{3}-[89ab][0-9a-f]{3}-[0-9a-f]{12}$`).MatchString(b.Serial) {
		t.Errorf("%s %s %d %s", b.Format, b.SpecVersion, b.Version, b.Serial)
	}
	info, err := buildinfo.ReadFile(name)
	if err != nil {
		t.Fatal(err)
	}
	if len(b.Components) != len(info.Deps)+1 {
		t.Errorf("%d components for %d modules and Go's own library", len(b.Components), len(info.Deps))
	}
	seen := map[string]bool{}
	for _, c := range b.Components {
		if seen[c.Ref] || !strings.HasPrefix(c.PURL, "pkg:golang/") || c.Version == "" {
			t.Errorf("component %+v", c)
		}
		seen[c.Ref] = true
	}
	for _, on := range b.Dependencies[0].On {
		if !seen[on] {
			t.Errorf("it depends on %s, which is no component", on)
		}
	}
	if err := write(name); err != nil {
		t.Fatal(err)
	}
	if again, _ := os.ReadFile(name + ".cdx.json"); string(again) != string(first) {
		t.Error("the second bill is not the first")
	}
}

func TestPackageURLs(t *testing.T) {
	for want, m := range map[string][2]string{
		"pkg:golang/example.test/a/b@v1.2.3":              {"example.test/A/b", "v1.2.3"},
		"pkg:golang/example.test/c@v2.0.0%2Bincompatible": {"example.test/c", "v2.0.0+incompatible"},
	} {
		if got := purl(m[0], m[1]); got != want {
			t.Errorf("%v: %s, want %s", m, got, want)
		}
	}
}

func TestWhatIsNoProgram(t *testing.T) {
	name := filepath.Join(t.TempDir(), "text")
	if err := os.WriteFile(name, []byte("no program"), 0o600); err != nil {
		t.Fatal(err)
	}
	if err := write(name); err == nil {
		t.Error("a text has a bill of materials")
	}
}
