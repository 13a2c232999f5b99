package main

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/rulebase"
)

type schemaOptions struct {
	dirs []string
	kind string
}

func newSchemaCmd(env *environment, runF func(context.Context, *environment, schemaOptions) error) *cobra.Command {
	var o schemaOptions
	cmd := &cobra.Command{
		Use:     "schema [DIR]...",
		Short:   shortSchema,
		Long:    longSchema,
		Example: exampleSchema,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
		ValidArgsFunction: completeFolders,
	}
	cmd.Flags().StringVar(&o.kind, "for", string(rulebase.RuleFile), "`KIND` of file: "+strings.Join(schemaKinds(), ", "))
	if err := cmd.RegisterFlagCompletionFunc("for", func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return schemaKinds(), cobra.ShellCompDirectiveNoFileComp
	}); err != nil {
		panic(err) // the flag was added above
	}
	return cmd
}

func schemaKinds() []string {
	var all []string
	for _, k := range rulebase.FileKinds {
		all = append(all, string(k))
	}
	return all
}

// runSchema prints the JSON Schema of a kind of file.
func runSchema(_ context.Context, env *environment, o schemaOptions) error {
	if !slices.Contains(schemaKinds(), o.kind) {
		return usageError{fmt.Sprintf(sayFlagValue, "for", o.kind, fmt.Sprintf(sayNotOneOf, strings.Join(schemaKinds(), ", ")))}
	}
	base, err := env.open(o.dirs)
	if err != nil {
		return err
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
