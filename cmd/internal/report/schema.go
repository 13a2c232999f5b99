package report

import (
	"embed"
	"encoding/json"
	"path"
	"strings"
)

// Every JSON document that is printed for programs has a JSON Schema, which the program
// holds. They are made from the Go types of the documents, with what their comments say
// (go test ./cmd/internal/report -run Schemas -update), and only ever grow: a field that
// was there once stays, with its type. What changes more than that is a new document,
// downdrop.NAME/2.
//
//go:embed schemas
var schemas embed.FS

// A Document is a kind of JSON document.
type Document struct {
	Schema string // downdrop.NAME/1
	Says   string // what it holds
}

// Documents are all kinds of them, by name.
func Documents() []Document {
	entries, err := schemas.ReadDir("schemas")
	if err != nil {
		panic(err) // it is part of the program
	}
	var all []Document
	for _, e := range entries {
		d := Document{Schema: "downdrop." + strings.Replace(strings.TrimSuffix(e.Name(), ".json"), "-", "/", 1)}
		var head struct{ Title string }
		text, _ := DocumentSchema(d.Schema)
		if err := json.Unmarshal(text, &head); err != nil {
			panic(err) // so is this
		}
		d.Says = head.Title
		all = append(all, d)
	}
	return all
}

// DocumentSchema is the JSON Schema (draft 2020-12) of a document, downdrop.NAME/1.
func DocumentSchema(name string) ([]byte, bool) {
	text, err := schemas.ReadFile(path.Join("schemas", schemaFile(name)))
	return text, err == nil
}

func schemaFile(name string) string {
	return strings.Replace(strings.TrimPrefix(name, "downdrop."), "/", "-", 1) + ".json"
}
