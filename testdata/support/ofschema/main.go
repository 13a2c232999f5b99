// Command ofschema reads documents, each with the schema that it has to be of, and says what is not so:
// a program of its own, because the library that knows schemas takes as long to begin as the whole of
// downdrop, and the tests of downdrop begin themselves a thousand times over as the command.
package main

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"os"

	"github.com/santhosh-tekuri/jsonschema/v6"
)

// A Document was printed by a command line and has to be of a schema.
type Document struct {
	Line             string
	Schema, Document json.RawMessage
}

func main() {
	documents := json.NewDecoder(os.Stdin)
	for {
		var d Document
		err := documents.Decode(&d)
		if errors.Is(err, io.EOF) {
			return
		}
		if err == nil {
			err = validate(d)
		}
		if err != nil {
			fmt.Printf("%s: %v\n", d.Line, err)
			os.Exit(1)
		}
	}
}

func validate(d Document) error {
	schema, err := jsonschema.UnmarshalJSON(bytes.NewReader(d.Schema))
	if err != nil {
		return err
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("mem:schema", schema); err != nil {
		return err
	}
	s, err := c.Compile("mem:schema")
	if err != nil {
		return err
	}
	document, err := jsonschema.UnmarshalJSON(bytes.NewReader(d.Document))
	if err != nil {
		return err
	}
	return s.Validate(document)
}
