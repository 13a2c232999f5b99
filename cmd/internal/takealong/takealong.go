// Package takealong writes a case into one file of HTML that holds the whole conversation:
// the case, its rulebase, and the engine compiled to WebAssembly. The file needs no network
// and no server; it is opened from disk. What is answered in it comes back as a saved
// file, or as text, and is read as any other hand-over is (cases.ReadHandOver), since the
// case stands in it as one.
//
// The engine is compiled from package browser and kept in the tree, so that whoever builds
// downdrop needs nothing but Go. It is no part of the rulebase: that goes into each file by
// itself (rulebase.Base.Pack), so a changed or a site's own rulebase needs no other engine.
// What has to be written anew after a change of the engine is said in engine_test.go.
package takealong

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"encoding/json"
	"fmt"
	"html"
	"io"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/page"
	"downdrop/rulebase"
)

//go:generate go test -run TestEngineIsOfThisSource -update .

// The page's parts. go_runtime.js is the file of that job that comes with Go, of the version that
// compiled the engine; its licence stands in it.
var (
	//go:embed page.html
	pageHTML string
	//go:embed page.css
	pageCSS string
	//go:embed page.js
	pageJS string
	//go:embed go_runtime.js
	runtimeJS string
	//go:embed engine.wasm.gz
	engine []byte
)

// Content is what goes into a file.
type Content struct {
	Case    *cases.Case
	Sheet   []byte // the text of its installation sheet; nil: it has none
	Base    *rulebase.Base
	Program string // version of downdrop
	By      string // who goes on with it: an id, ""
}

// Name is what the file is called when it comes back, and a good name to begin with.
func Name(c *cases.Case) string { return c.Code + ".html" }

// about is what the page's script has to know.
type about struct {
	ID      string `json:"id"`
	File    string `json:"file"`
	Program string `json:"program"`
	By      string `json:"by"`
}

// mostParts is how many parts a sheet may take in a file, which has room: all that there can be.
const mostParts = 999

// Write writes the file.
func Write(w io.Writer, c Content) error {
	parts, _, err := cases.HandOverText(c.Case, c.Sheet, mostParts)
	if err != nil {
		return err
	}
	base, err := c.Base.Pack()
	if err != nil {
		return err
	}
	packed, err := zip(base)
	if err != nil {
		return err
	}
	says, err := json.Marshal(about{c.Case.ID, Name(c.Case), c.Program, c.By}) // it escapes < and >
	if err != nil {
		return err
	}
	style := "\n" + page.Style() + pageCSS
	_, err = strings.NewReplacer(
		"{{policy}}", policy(style, runtimeJS, pageJS), "{{title}}", html.EscapeString("Case "+c.Case.Code), "{{where}}", "",
		"{{style}}", style, "{{about}}", string(says), "{{case}}", strings.Join(parts, "\n\n"),
		"{{rulebase}}", base64.StdEncoding.EncodeToString(packed), "{{engine}}", base64.StdEncoding.EncodeToString(engine),
		"{{runtime}}", runtimeJS, "{{script}}", pageJS,
	).WriteString(w, pageHTML)
	return err
}

// policy lets nothing in but what stands in the file itself, by its hash, and the program
// in it. There is no way out: no connection, no form, no frame.
func policy(style string, scripts ...string) string {
	var b strings.Builder
	b.WriteString("default-src 'none'; base-uri 'none'; form-action 'none'; style-src " + hashOf(style) + "; script-src 'wasm-unsafe-eval'")
	for _, s := range scripts {
		b.WriteString(" " + hashOf(s))
	}
	return b.String()
}

func hashOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return "'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
}

func zip(content []byte) ([]byte, error) {
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		return nil, err
	}
	if _, err := z.Write(content); err != nil {
		return nil, err
	}
	if err := z.Close(); err != nil {
		return nil, fmt.Errorf("pack it: %w", err)
	}
	return out.Bytes(), nil
}
