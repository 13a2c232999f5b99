package main

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/rulebase/source"
)

const (
	shortHelpJSON = "Print the JSON Schema of what --json prints"
	longHelpJSON  = `List the JSON documents that commands print, or print the JSON Schema (draft 2020-12)
of one: its name is the word between downdrop. and / in the document's "schema".

A document only ever grows: a field stays, with its type, and a program passes over
those it does not know. What would change more is a document of another number.
Lists are never null, figures are not rounded, and what is not known is "" or 0.`

	sayOneDocument = "One document is wanted; \"downdrop help json\" lists them."
	sayNoDocument  = "There is no JSON document %q; \"downdrop help json\" lists them."
	sayDocument    = "  %-*s %s\n"
)

// nameColumn is as wide as the longest name of a document.
const nameColumn = 16

func newHelpJSONCmd(env *environment) *cobra.Command {
	return &cobra.Command{
		Use: "json [NAME]", Short: shortHelpJSON, Long: longHelpJSON,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return usageError{sayOneDocument}
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return written(listDocuments(env))
			}
			text, ok := report.DocumentSchema(documentNamed(args[0]))
			if !ok {
				says := fmt.Sprintf(sayNoDocument, args[0])
				if near := source.Nearest(args[0], documentNames()); near != "" {
					says += fmt.Sprintf(sayMeant, near)
				}
				return usageError{says}
			}
			_, err := env.out.Write(text)
			return written(err)
		},
	}
}

func listDocuments(env *environment) error {
	var b strings.Builder
	for _, d := range report.Documents() {
		for i, part := range wrapped(d.Says, report.Columns-nameColumn-3) {
			name := ""
			if i == 0 {
				name = shortName(d.Schema)
			}
			fmt.Fprintf(&b, sayDocument, nameColumn, name, part)
		}
	}
	_, err := io.WriteString(env.out, b.String())
	return err
}

// shortName is the word between downdrop. and the number.
func shortName(schema string) string {
	name, _, _ := strings.Cut(strings.TrimPrefix(schema, "downdrop."), "/")
	return name
}

// documentNamed is the whole name of a document: with the highest number that there is,
// where none is said.
func documentNamed(name string) string {
	if strings.Contains(name, "/") {
		return name
	}
	for _, d := range slices.Backward(report.Documents()) {
		if shortName(d.Schema) == name {
			return d.Schema
		}
	}
	return name
}

func documentNames() []string {
	var names []string
	for _, d := range report.Documents() {
		names = append(names, shortName(d.Schema))
	}
	return names
}
