package main

import (
	"context"
	"embed"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"syscall"

	"github.com/spf13/cobra"
)

// starters are the files that a rulebase of one's own begins with: over the shipped
// one, and alone. They are a rulebase as they stand; tests check them.
//
//go:embed starter
var starters embed.FS

// starterName is the name that the starters' headers have, to be replaced.
const starterName = "own_site"

type newOptions struct {
	dir   string
	alone bool
	name  string
}

func newNewCmd(env *environment, runF func(context.Context, *environment, newOptions) error) *cobra.Command {
	var o newOptions
	cmd := &cobra.Command{
		Use:   "new DIR",
		Short: shortNew,
		Long:  longNew,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{sayOneFolder}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dir = args[0]
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().BoolVar(&o.alone, "alone", false, "one that stands alone, over no other")
	cmd.Flags().StringVar(&o.name, "name", "", "`NAME` of the rulebase; default from the folder's")
	return cmd
}

var rulebaseName = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[a-z][a-z0-9_]*$`) })

// runNew writes the files of a new rulebase into a folder that holds nothing.
func runNew(_ context.Context, env *environment, o newOptions) error {
	if o.name == "" {
		o.name = nameOfFolder(o.dir)
	}
	if !rulebaseName().MatchString(o.name) || o.name == "drop" {
		return usageError{fmt.Sprintf(sayRulebaseName, o.name)}
	}
	if err := emptyFolder(o.dir); err != nil {
		return err
	}
	kind := "over"
	if o.alone {
		kind = "alone"
	}
	files, err := fs.Sub(starters, "starter/"+kind)
	if err != nil {
		return err
	}
	names, err := fs.Glob(files, "*.yaml")
	if err != nil {
		return err
	}
	for _, name := range names {
		text, err := fs.ReadFile(files, name)
		if err != nil {
			return err
		}
		file := filepath.Join(o.dir, name)
		if err := create(file, textOf(strings.ReplaceAll(string(text), starterName, o.name))); err != nil {
			return cannotWrite(file, err)
		}
	}
	base, err := env.folder(o.dir)
	if err != nil {
		return err
	}
	if err := writeSchemas(base, filepath.Join(o.dir, "schema")); err != nil {
		return err
	}
	_, err = fmt.Fprintf(env.out, sayNewMade, o.name, o.dir, strings.Join(names, ", "))
	return written(err)
}

// nameOfFolder makes a name of a folder's; the starters' own where none comes of it.
func nameOfFolder(dir string) string {
	full, err := filepath.Abs(dir)
	if err != nil {
		full = dir
	}
	name := regexp.MustCompile(`[^a-z0-9]+`).ReplaceAllString(strings.ToLower(filepath.Base(full)), "_")
	if name = strings.Trim(name, "_"); rulebaseName().MatchString(name) && name != "drop" {
		return name
	}
	return starterName
}

// emptyFolder makes a folder, or sees that there is nothing in it.
func emptyFolder(dir string) error {
	err := os.MkdirAll(dir, 0o755)
	if errors.Is(err, syscall.ENOTDIR) {
		return usageError{fmt.Sprintf(sayNoFolder, dir)}
	}
	if err != nil {
		return cannotWrite(dir, err)
	}
	inside, err := os.ReadDir(dir)
	if err != nil {
		return err
	}
	if len(inside) > 0 {
		return usageError{fmt.Sprintf(sayNotEmpty, dir, inside[0].Name())}
	}
	return nil
}
