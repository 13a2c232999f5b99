// Command materials writes a bill of materials beside each program named: what it was
// built from, as CycloneDX 1.6 in JSON, an open format (Ecma-424). It reads nothing but
// what Go itself put into the program, so it lists what is in it and not what a list says.
package main

import (
	"crypto/sha256"
	"debug/buildinfo"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"runtime/debug"
	"slices"
	"strings"
)

func main() {
	for _, name := range os.Args[1:] {
		if err := write(name); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
}

// write writes NAME.cdx.json.
func write(name string) error {
	info, err := buildinfo.ReadFile(name)
	if err != nil {
		return err
	}
	program, err := os.ReadFile(name)
	if err != nil {
		return err
	}
	text, err := json.MarshalIndent(billOf(info, program), "", "  ")
	if err != nil {
		return err
	}
	return os.WriteFile(name+".cdx.json", append(text, '\n'), 0o644)
}

// A bill is the document; only what we fill in.
type bill struct {
	Schema       string       `json:"$schema"`
	Format       string       `json:"bomFormat"`
	SpecVersion  string       `json:"specVersion"`
	Serial       string       `json:"serialNumber"`
	Version      int          `json:"version"`
	Metadata     metadata     `json:"metadata"`
	Components   []component  `json:"components"`
	Dependencies []dependency `json:"dependencies"`
}

type metadata struct {
	Timestamp string    `json:"timestamp,omitempty"` // of the commit, so that the same program has the same bill
	Component component `json:"component"`
}

type component struct {
	Type       string     `json:"type"`
	Ref        string     `json:"bom-ref"`
	Name       string     `json:"name"`
	Version    string     `json:"version"`
	PURL       string     `json:"purl,omitempty"`
	Hashes     []hash     `json:"hashes,omitempty"`
	Properties []property `json:"properties,omitempty"`
}

type hash struct {
	Algorithm string `json:"alg"`
	Content   string `json:"content"`
}

type property struct {
	Name  string `json:"name"`
	Value string `json:"value"`
}

type dependency struct {
	Ref string   `json:"ref"`
	On  []string `json:"dependsOn"`
}

// billOf lists what a program was built from: its modules, and Go's own library.
func billOf(info *debug.BuildInfo, program []byte) bill {
	sum := sha256.Sum256(program)
	main := component{Type: "application", Ref: purl(info.Main.Path, info.Main.Version), Name: info.Main.Path, Version: info.Main.Version,
		Hashes: []hash{{"SHA-256", hex.EncodeToString(sum[:])}}}
	b := bill{Schema: "http://cyclonedx.org/schema/bom-1.6.schema.json", Format: "CycloneDX", SpecVersion: "1.6", Version: 1, Serial: serial(sum[:])}
	for _, s := range info.Settings {
		switch s.Key {
		case "vcs.time":
			b.Metadata.Timestamp = s.Value
		case "GOOS", "GOARCH", "CGO_ENABLED", "-trimpath", "-ldflags", "vcs.revision", "vcs.modified":
			main.Properties = append(main.Properties, property{"build:" + strings.TrimPrefix(s.Key, "-"), s.Value})
		}
	}
	b.Metadata.Component = main
	std := strings.TrimPrefix(info.GoVersion, "go")
	b.Components = []component{{Type: "library", Ref: purl("std", std), Name: "std", Version: std, PURL: purl("std", std)}}
	for _, m := range info.Deps {
		if m.Replace != nil {
			m = m.Replace
		}
		b.Components = append(b.Components, component{Type: "library", Ref: purl(m.Path, m.Version), Name: m.Path, Version: m.Version, PURL: purl(m.Path, m.Version),
			Properties: []property{{"go.sum", m.Sum}}})
	}
	slices.SortFunc(b.Components, func(x, y component) int { return strings.Compare(x.Ref, y.Ref) })
	on := []string{}
	for _, c := range b.Components {
		on = append(on, c.Ref)
	}
	b.Dependencies = []dependency{{main.Ref, on}}
	return b
}

// purl is the name of a Go module as a package URL (Ecma-427).
func purl(path, version string) string {
	parts := strings.Split(path, "/")
	for i, p := range parts {
		parts[i] = url.PathEscape(strings.ToLower(p))
	}
	return "pkg:golang/" + strings.Join(parts, "/") + "@" + url.QueryEscape(version)
}

// serial makes a UUID (RFC 9562, version 8) of a digest: the same program, the same number.
func serial(sum []byte) string {
	id := slices.Clone(sum[:16])
	id[6], id[8] = id[6]&0x0f|0x80, id[8]&0x3f|0x80
	x := hex.EncodeToString(id)
	return "urn:uuid:" + strings.Join([]string{x[:8], x[8:12], x[12:16], x[16:20], x[20:]}, "-")
}
