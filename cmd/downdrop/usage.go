package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
)

const (
	sayUsage     = "Usage:"
	sayExamples  = "Examples:"
	sayFlags     = "Flags:"
	sayCommands  = "Commands:"
	sayMoreHelp  = "More help:"
	sayHowToHelp = "\"%s COMMAND --help\" says more of a command.\n"
)

// writeHelp prints what a command is for, and its usage.
func writeHelp(env *environment, cmd *cobra.Command) error {
	long := cmd.Long
	if long == "" {
		long = cmd.Short + "."
	}
	usage := ""
	if cmd.Runnable() || cmd.HasSubCommands() {
		usage = "\n" + cmd.UsageString()
	}
	_, err := fmt.Fprint(cmd.OutOrStdout(), reflowed(long, helpWidth(env))+usage)
	return err
}

func helpWidth(env *environment) int { return min(max(env.width(), 40), report.Columns) }

// reflowed folds the paragraphs of a text anew; lines that are set in stay as they are.
func reflowed(text string, width int) string {
	var b strings.Builder
	var paragraph []string
	end := func() {
		if len(paragraph) > 0 {
			b.WriteString(strings.Join(wrapped(strings.Join(paragraph, " "), width), "\n") + "\n")
		}
		paragraph = nil
	}
	for line := range strings.Lines(text) {
		line = strings.TrimRight(line, "\n")
		if strings.HasPrefix(line, "  ") || line == "" {
			end()
			b.WriteString(line + "\n")
			continue
		}
		paragraph = append(paragraph, line)
	}
	end()
	return b.String()
}

// writeUsage prints how a command is called, with examples, the commands below it and
// its flags: the same on every screen, and never wider than one.
func writeUsage(env *environment, cmd *cobra.Command) error {
	var b strings.Builder
	section := func(title, text string) {
		if text = strings.Trim(text, "\n"); text != "" {
			fmt.Fprintf(&b, "\n%s\n%s\n", title, text)
		}
	}
	var lines []string
	if cmd.Runnable() {
		lines = append(lines, "  "+cmd.UseLine())
	}
	if cmd.HasAvailableSubCommands() && cmd.Name() != "help" {
		lines = append(lines, "  "+cmd.CommandPath()+" COMMAND")
	}
	section(sayUsage, strings.Join(lines, "\n"))
	section(sayExamples, cmd.Example)
	for _, g := range cmd.Groups() {
		section(g.Title, commandsOf(cmd, g.ID))
	}
	section(sayCommands, commandsOf(cmd, ""))
	section(sayFlags, cmd.LocalFlags().FlagUsagesWrapped(helpWidth(env)))
	var topics []string
	for _, c := range cmd.Commands() {
		if c.IsAdditionalHelpTopicCommand() {
			topics = append(topics, fmt.Sprintf("  downdrop help %-12s %s", c.Name(), c.Short))
		}
	}
	if help, _, err := cmd.Find([]string{"help"}); err == nil && !cmd.HasParent() {
		for _, c := range help.Commands() {
			topics = append(topics, fmt.Sprintf("  downdrop help %-12s %s", c.Name(), c.Short))
		}
	}
	section(sayMoreHelp, strings.Join(topics, "\n"))
	if cmd.HasAvailableSubCommands() && cmd.Name() != "help" {
		fmt.Fprintf(&b, "\n"+sayHowToHelp, cmd.CommandPath())
	}
	_, err := fmt.Fprint(cmd.OutOrStderr(), strings.TrimPrefix(b.String(), "\n"))
	return err
}

// commandsOf lists the commands of a group.
func commandsOf(cmd *cobra.Command, group string) string {
	longest := 0
	var of []*cobra.Command
	for _, c := range cmd.Commands() {
		longest = max(longest, len(c.Name()))
		if c.IsAvailableCommand() && c.GroupID == group {
			of = append(of, c)
		}
	}

	var b strings.Builder
	for _, c := range of {
		for i, part := range wrapped(c.Short, report.Columns-4-longest) {
			name := c.Name()
			if i > 0 {
				name = ""
			}
			fmt.Fprintf(&b, "  %-*s  %s\n", longest, name, part)
		}
	}
	return b.String()
}

// wrapped is a text in lines of at most so many letters.
func wrapped(text string, most int) []string {
	var lines []string
	line := ""
	for word := range strings.FieldsSeq(text) {
		if line != "" && len(line)+1+len(word) > most {
			lines = append(lines, line)
			line = ""
		}
		line = strings.TrimSpace(line + " " + word)
	}
	return append(lines, line)
}

// listed sets a list of words off from the text above it.
func listed(words []string) string {
	return "\n\n  " + strings.Join(wrapped(strings.Join(words, ", "), report.Columns-2), "\n  ")
}
