package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
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
		name := filepath.Join(folder, strings.ReplaceAll(cmd.CommandPath(), " ", "-")+".1")
		if err := writeResult(env, name, textOf(string(manPage(cmd)))); err != nil {
			return err
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

// manPage is the page of a command, in the language of man(7). Help is plain text laid
// out for a screen: what is set off stays as it stands. (The library's own pages take it
// for Markdown, and what reads Markdown would begin with every command.)
func manPage(cmd *cobra.Command) []byte {
	var b bytes.Buffer
	name := strings.ReplaceAll(cmd.CommandPath(), " ", "-")
	line, long := cmd.UseLine(), cmd.Long
	if !cmd.Runnable() && !cmd.HasSubCommands() { // a topic
		line = "downdrop help " + cmd.Name()
	}
	if long == "" {
		long = cmd.Short
	}
	day := builtOn() // the same program, the same pages
	fmt.Fprintf(&b, ".TH %q 1 %q %q downdrop\n", roff(strings.ToUpper(name)), day.Format("Jan 2006"), "downdrop "+roff(ourVersion()))
	fmt.Fprintf(&b, ".SH NAME\n%s \\- %s\n.SH SYNOPSIS\n\\fB%s\\fR\n.SH DESCRIPTION\n%s", roff(name), roff(cmd.Short), roff(line), roffText(long))
	cmd.InitDefaultHelpFlag()
	manFlags(&b, "OPTIONS", cmd.NonInheritedFlags())
	manFlags(&b, "OPTIONS OF THE COMMANDS ABOVE", cmd.InheritedFlags())
	if cmd.Example != "" {
		b.WriteString(".SH EXAMPLES\n" + roffText(cmd.Example))
	}
	var also []string
	if cmd.HasParent() {
		also = append(also, cmd.Parent().CommandPath())
	}
	for _, sub := range cmd.Commands() {
		if sub.IsAvailableCommand() {
			also = append(also, sub.CommandPath())
		}
	}
	for i, path := range also {
		also[i] = `\fB` + roff(strings.ReplaceAll(path, " ", "-")) + `\fR(1)`
	}
	if len(also) > 0 {
		b.WriteString(".SH SEE ALSO\n" + strings.Join(also, ",\n") + "\n")
	}
	return b.Bytes()
}

func manFlags(b *bytes.Buffer, title string, flags *pflag.FlagSet) {
	if !flags.HasAvailableFlags() {
		return
	}
	b.WriteString(".SH " + title + "\n")
	flags.VisitAll(func(f *pflag.Flag) {
		if f.Hidden {
			return
		}
		value, usage := pflag.UnquoteUsage(f)
		b.WriteString(".TP\n")
		if f.Shorthand != "" {
			fmt.Fprintf(b, `\fB\-%s\fR, `, f.Shorthand)
		}
		fmt.Fprintf(b, `\fB\-\-%s\fR`, roff(f.Name))
		if value != "" {
			fmt.Fprintf(b, ` \fI%s\fR`, roff(value))
		}
		b.WriteString("\n" + roff(usage) + "\n")
	})
}

// roff is a text in which nothing is a request or an escape.
func roff(text string) string {
	text = strings.NewReplacer(`\`, `\e`, `-`, `\-`, `"`, `\(dq`, `'`, `\(aq`, "`", "\\(ga", `^`, `\(ha`, `~`, `\(ti`).Replace(text)
	if strings.HasPrefix(text, ".") {
		text = `\&` + text
	}
	return text
}

// roffText is a text of several lines: paragraphs are filled anew, lines that are set in
// keep their columns.
func roffText(text string) string {
	var b strings.Builder
	kept, gap := false, false
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		if strings.TrimSpace(line) == "" {
			gap = true
			continue
		}
		set := strings.HasPrefix(line, "  ")
		switch {
		case set && !kept:
			b.WriteString(".PP\n.nf\n")
		case !set && kept:
			b.WriteString(".fi\n.PP\n")
		case gap && set:
			b.WriteString("\n")
		case gap:
			b.WriteString(".PP\n")
		}
		kept, gap = set, false
		b.WriteString(roff(line) + "\n")
	}
	if kept {
		b.WriteString(".fi\n")
	}
	return b.String()
}
