package main

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/cobra/doc"
)

const (
	shortMan = "Write the manual pages into a folder"
	longMan  = `Write a manual page (section 1) of every command, and of every topic of help, into a
folder: downdrop.1, downdrop-case-open.1, downdrop-exit-codes.1 and so on. Pages of
that name are made anew. To have them found, write them to ~/.local/share/man/man1.`

	sayManOut     = "Say where to with --out: downdrop help man --out FOLDER"
	sayManWritten = "%d manual pages are in %s.\n"
)

func newManCmd(env *environment) *cobra.Command {
	var out string
	cmd := &cobra.Command{
		Use: "man --out FOLDER", Short: shortMan, Long: longMan, Args: noArguments,
		RunE: func(cmd *cobra.Command, _ []string) error { return runMan(cmd.Context(), env, cmd.Root(), out) },
	}
	cmd.Flags().StringVar(&out, "out", "", "the `FOLDER` to write into; it is made where it is not there")
	return cmd
}

func runMan(_ context.Context, env *environment, root *cobra.Command, folder string) error {
	if folder == "" {
		return usageError{sayManOut}
	}
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return cannotWrite(folder, err)
	}
	pages := 0
	var all func(cmd *cobra.Command) error
	all = func(cmd *cobra.Command) error {
		if cmd.Hidden {
			return nil
		}
		text, err := manPage(cmd)
		if err != nil {
			return err
		}
		name := filepath.Join(folder, strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1")
		if err := os.WriteFile(name, text, 0o644); err != nil {
			return cannotWrite(name, err)
		}
		pages++
		for _, sub := range cmd.Commands() {
			if err := all(sub); err != nil {
				return err
			}
		}
		return nil
	}
	if err := all(root); err != nil {
		return err
	}
	_, err := fmt.Fprintf(env.out, sayManWritten, pages, folder)
	return written(err)
}

// manPage is the page of a command. The library takes help for Markdown, and ours is
// plain text laid out for a screen: what is set off stays as it stands, and signs that
// mean something in Markdown are only signs.
func manPage(cmd *cobra.Command) ([]byte, error) {
	long, example := cmd.Long, cmd.Example
	defer func() { cmd.Long, cmd.Example = long, example }()
	if long == "" {
		long = cmd.Short
	}
	cmd.Long = plainMarkdown(long)
	cmd.InitDefaultHelpFlag()
	if cmd.HasParent() {
		cmd.SetHelpCommand(&cobra.Command{Use: "no-help", Hidden: true}) // or the library gives it one
	}
	cmd.DisableAutoGenTag = true
	day := builtOn() // the same program, the same pages
	header := &doc.GenManHeader{Section: "1", Date: &day, Source: "downdrop " + ourVersion(), Manual: "downdrop"}
	var b bytes.Buffer
	if err := doc.GenMan(cmd, header, &b); err != nil {
		return nil, errors.Join(errors.New(cmd.CommandPath()), err)
	}
	if !cmd.Runnable() && !cmd.HasSubCommands() { // a topic
		return bytes.Replace(b.Bytes(), []byte(cmd.UseLine()), []byte("downdrop help "+cmd.Name()), 1), nil
	}
	return b.Bytes(), nil
}

// plainMarkdown is a text that Markdown shows as it stands: lines that are set in are
// code, which keeps its columns.
func plainMarkdown(text string) string {
	var b strings.Builder
	code := false
	for line := range strings.Lines(text) {
		set := strings.HasPrefix(line, "  ")
		if set != code && strings.TrimSpace(line) != "" {
			b.WriteString("\n")
			code = set
		}
		if code {
			b.WriteString("    " + line)
			continue
		}
		b.WriteString(markdownSigns.Replace(line))
	}
	return b.String()
}

var markdownSigns = strings.NewReplacer(`*`, `\*`, `_`, `\_`, "`", "\\`", `<`, `\<`, `>`, `\>`, `[`, `\[`, `]`, `\]`, `#`, `\#`, `~`, `\~`)
