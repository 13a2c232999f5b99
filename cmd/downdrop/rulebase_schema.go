package main

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/rulebase"
)

type schemaOptions struct {
	dirs []string
	kind string
	to   string
}

func newSchemaCmd(env *environment, runF func(context.Context, *environment, schemaOptions) error) *cobra.Command {
	var o schemaOptions
	cmd := &cobra.Command{
		Use:   "schema [DIR]...",
		Short: shortSchema,
		Long:  longSchema,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			if o.to != "" && cmd.Flags().Changed("for") {
				return usageError{sayForOrTo}
			}
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().StringVar(&o.kind, "for", string(rulebase.RuleFile), "`KIND` of file: "+strings.Join(schemaKinds(), ", "))
	cmd.Flags().StringVar(&o.to, "to", "", "write the schemas of all kinds of files anew into this `FOLDER`")
	return cmd
}

func schemaKinds() []string {
	var all []string
	for _, k := range rulebase.FileKinds {
		all = append(all, string(k))
	}
	return all
}

// runSchema prints the JSON Schema of a kind of file, or writes those of all.
func runSchema(_ context.Context, env *environment, o schemaOptions) error {
	if !slices.Contains(schemaKinds(), o.kind) {
		return usageError{fmt.Sprintf(sayFlagValue, "for", o.kind, fmt.Sprintf(sayNotOneOf, strings.Join(schemaKinds(), ", ")))}
	}
	base, err := env.openToLookOver(o.dirs)
	if err != nil {
		return err
	}
	if o.to != "" {
		if err := writeSchemas(base, o.to); err != nil {
			return err
		}
		_, err := fmt.Fprintf(env.out, saySchemas, o.to)
		return written(err)
	}
	text, err := schemaText(base, rulebase.FileKind(o.kind))
	if err != nil {
		return err
	}
	_, err = env.out.Write(text)
	return written(err)
}

func schemaText(base *rulebase.Base, kind rulebase.FileKind) ([]byte, error) {
	text, err := json.MarshalIndent(base.Schema(kind), "", " ")
	return append(text, '\n'), err
}

// writeSchemas writes a schema for each kind of file, which begin with what they are
// for. What was made before is made anew; any other file of the name is left alone.
func writeSchemas(base *rulebase.Base, folder string) error {
	var files []formFile
	for _, kind := range rulebase.FileKinds {
		text, err := schemaText(base, kind)
		if err != nil {
			return err
		}
		f := formFile{name: filepath.Join(folder, string(kind)+".json"), mode: 0o644, now: text}
		before, err := os.ReadFile(f.name)
		if err == nil && !bytes.Contains(before[:min(len(before), 200)], []byte(`"$comment": "downdrop: `)) {
			return usageError{fmt.Sprintf(sayNotOurSchema, f.name)}
		}
		files = append(files, f)
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return cannotWrite(folder, err)
	}
	for _, f := range files {
		if err := replaceFile(&f); err != nil {
			return err
		}
	}
	return nil
}
