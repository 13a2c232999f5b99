package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/handbook"
	"downdrop/engine"
)

type handbookOptions struct {
	dirs           []string
	to             string
	html, markdown bool
	replace        bool
}

func newHandbookCmd(env *environment, runF func(context.Context, *environment, handbookOptions) error) *cobra.Command {
	var o handbookOptions
	cmd := &cobra.Command{
		Use:   "handbook [DIR]... --to FOLDER|FILE",
		Short: shortHandbook,
		Long:  longHandbook,
		RunE: func(cmd *cobra.Command, args []string) error {
			o.dirs = args
			return runF(cmd.Context(), env, o)
		},
	}
	cmd.Flags().StringVar(&o.to, "to", "", "write to this `FOLDER` or file, or - for the output")
	cmd.Flags().BoolVar(&o.html, "html", false, "write HTML: one page that needs nothing else")
	cmd.Flags().BoolVar(&o.markdown, "markdown", false, "write Markdown")
	cmd.Flags().BoolVar(&o.replace, "replace", false, "write anew what is there already")
	return cmd
}

// A target is where a handbook goes.
type target struct {
	output         bool   // the standard output
	file           string // one file; "": a folder
	folder         string
	html, markdown bool
}

// target reads where to and as what: the ending of a file decides, or a flag.
func (o handbookOptions) target() (target, error) {
	t := target{html: o.html, markdown: o.markdown}
	switch ending := strings.ToLower(filepath.Ext(o.to)); {
	case o.to == "":
		return t, usageError{sayToMissing}
	case o.to == "-":
		if o.html == o.markdown {
			return t, usageError{sayToOutput}
		}
		t.output = true
	case ending == ".html" || ending == ".htm":
		t.file, t.html = o.to, true
		if o.markdown {
			return t, usageError{fmt.Sprintf(sayToBoth, o.to, "HTML", "--markdown")}
		}
	case ending == ".md" || ending == ".markdown":
		t.file, t.markdown = o.to, true
		if o.html {
			return t, usageError{fmt.Sprintf(sayToBoth, o.to, "Markdown", "--html")}
		}
	default:
		t.folder = o.to
		if !o.html && !o.markdown {
			t.html, t.markdown = true, true
		}
	}
	return t, nil
}

// runHandbook prints a rulebase as a book.
func runHandbook(ctx context.Context, env *environment, o handbookOptions) error {
	t, err := o.target()
	if err != nil {
		return err
	}
	if err := mayWrite(t.file, o.replace); t.file != "" && err != nil { // before the work, which takes a while
		return err
	}
	base, err := env.openToLookOver(o.dirs)
	if err != nil {
		return err
	}
	book, err := handbook.New(ctx, engine.Prepare(base))
	if err != nil {
		return err
	}
	if t.output {
		if t.html {
			return written(book.HTML(env.out))
		}
		return written(book.Markdown(env.out))
	}
	files, err := t.files(book)
	if err != nil {
		return err
	}
	if err := writeFiles(files, o.replace); err != nil {
		return err
	}
	says := fmt.Sprintf(sayHandbook, files[0].Name, book.Entries)
	if n := len(files); n > 1 {
		says = fmt.Sprintf(sayHandbookFiles, n, t.folder, book.Entries, filepath.Base(files[0].Name))
	}
	_, err = fmt.Fprintln(env.out, says)
	return written(err)
}

// files are the files to write, with their paths, the one to begin with first.
func (t target) files(book *handbook.Book) ([]handbook.File, error) {
	var files []handbook.File
	if t.html {
		var page bytes.Buffer
		if err := book.HTML(&page); err != nil {
			return nil, err
		}
		name := t.file
		if name == "" {
			name = filepath.Join(t.folder, "handbook.html")
		}
		files = append(files, handbook.File{Name: name, Text: page.String()})
	}
	switch {
	case t.markdown && t.file != "":
		var text bytes.Buffer
		if err := book.Markdown(&text); err != nil {
			return nil, err
		}
		files = append(files, handbook.File{Name: t.file, Text: text.String()})
	case t.markdown:
		for _, f := range book.Folder() {
			files = append(files, handbook.File{Name: filepath.Join(t.folder, f.Name), Text: f.Text})
		}
	}
	return files, nil
}

// writeFiles writes files whole or not at all, each beside its place first. None
// is written where one of them is there already and may not be replaced.
func writeFiles(files []handbook.File, replace bool) error {
	for _, f := range files {
		if err := mayWrite(f.Name, replace); err != nil {
			return err
		}
	}
	for _, f := range files {
		if err := os.MkdirAll(filepath.Dir(f.Name), 0o755); err != nil {
			return cannotWrite(f.Name, err)
		}
		if err := inPlaceOf(f.Name, 0o644, textOf(f.Text)); err != nil {
			return err
		}
	}
	return nil
}

// mayWrite says whether a file is not there yet, or may be replaced.
func mayWrite(name string, replace bool) error {
	if _, err := os.Lstat(name); err == nil && !replace {
		return usageError{fmt.Sprintf(sayExists, name)}
	}
	return nil
}
