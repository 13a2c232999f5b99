package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

func newLineNewCmd(env *environment, runF func(context.Context, *environment, string) error) *cobra.Command {
	return &cobra.Command{
		Use:     "new SHEET.yaml",
		Short:   shortLineNew,
		Long:    longLineNew,
		Example: exampleLineNew,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return usageError{sayOneNewSheet}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error { return runF(cmd.Context(), env, args[0]) },
	}
}

// runLineNew asks for an installation sheet on a terminal and writes it. What was
// answered is written even where the answers end early; nothing is overwritten.
func runLineNew(ctx context.Context, env *environment, file string) error {
	if !env.terminal {
		return errNoTerminal
	}
	if _, err := os.Lstat(file); err == nil {
		return usageError{fmt.Sprintf(sayTalkExists, file)}
	}
	a := &asker{ctx: ctx, out: env.out, entries: entries(ctx, env.in)}
	text := a.sheet()
	if a.err != nil {
		return a.err
	}
	if text == "" {
		_, err := fmt.Fprintln(env.out, sayNewNothing)
		return written(err)
	}
	f, err := os.OpenFile(file, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if errors.Is(err, fs.ErrExist) {
		return usageError{fmt.Sprintf(sayTalkExists, file)}
	}
	if err == nil {
		_, err = f.WriteString(text)
		err = errors.Join(err, f.Close())
	}
	if err != nil {
		return outputError{err}
	}
	_, err = fmt.Fprintf(env.out, sayNewWritten+"\n", file, file)
	return written(err)
}

// An asker puts one question after another. Each answer is read as a sheet would
// read it, so that what is wrong is said in the same words, and asked again.
type asker struct {
	ctx     context.Context
	out     io.Writer
	entries <-chan string
	ended   bool // the answers ended
	err     error
}

// say prints a line.
func (a *asker) say(format string, args ...any) {
	if a.err == nil {
		_, err := fmt.Fprintf(a.out, format+"\n", args...)
		a.err = written(err)
	}
}

// answer is the next entry; "" where nothing was entered, or no more comes.
func (a *asker) answer(question string) string {
	if a.ended || a.err != nil {
		return ""
	}
	a.say("%s", question)
	if _, err := io.WriteString(a.out, talkPrompt); err != nil && a.err == nil {
		a.err = written(err)
	}
	select {
	case <-a.ctx.Done():
		a.err = context.Cause(a.ctx)
	case entry, ok := <-a.entries:
		a.ended = !ok
		return strings.TrimSpace(entry)
	}
	return ""
}

// ask asks until the sheet that probe makes of the answer can be read, or
// nothing is entered.
func (a *asker) ask(question string, probe func(answer string) string) string {
	for {
		answer := a.answer(question)
		if answer == "" || a.err != nil {
			return ""
		}
		_, err := rulebase.ReadSheet("answer", []byte(probe(answer)), sheet.Kinds())
		var problems *rulebase.Problems
		if !errors.As(err, &problems) {
			return answer
		}
		a.say("%s", upperSentence(problems.List[0].Says))
	}
}

func upperSentence(says string) string {
	return strings.ToUpper(says[:1]) + says[1:] + "."
}

// quoted is an answer as a YAML text.
func quoted(answer string) string {
	return "'" + strings.ReplaceAll(answer, "'", "''") + "'"
}

const newProbe = "sheet: s\nline: token_pair\ncable: [{length: 100000 m}]\n"

// sheet asks for a whole sheet, part by part, in the order of the trunk.
func (a *asker) sheet() string {
	a.say("%s", sayNewBegin)
	name := a.answer(askSheetName)
	if name == "" {
		return ""
	}
	var b strings.Builder
	fmt.Fprintf(&b, "sheet: %s\n", quoted(name))
	kind := a.ask(fmt.Sprintf(askSheetLine, strings.Join(sheet.Kinds(), ", ")), func(x string) string {
		return "sheet: s\nline: " + quoted(x) + "\ncable: [{length: 1 m}]\n"
	})
	if kind == "" {
		kind = sheet.Kinds()[0]
	}
	fmt.Fprintf(&b, "line: %s\n", kind)
	a.field(&b, "", "rate", askSheetRate)
	a.field(&b, "", "length_limit", askSheetLimit)
	a.cable(&b)
	a.terminators(&b)
	a.drops(&b)
	a.field(&b, "", "loss_of_bus", askSheetLoss)
	return b.String()
}

// field asks for one key and writes it where something was entered.
func (a *asker) field(b *strings.Builder, indent, key, question string) {
	if x := a.ask(question, func(x string) string { return newProbe + key + ": " + quoted(x) + "\n" }); x != "" {
		fmt.Fprintf(b, "%s%s: %s\n", indent, key, quoted(x))
	}
}

// part asks for one key of an entry of a list, whose keys so far are parts. It
// says whether something was entered.
func (a *asker) part(parts *[]string, key, question, section string) bool {
	x := a.ask(question, func(x string) string {
		entry := strings.Join(append(append([]string{}, *parts...), key+": "+quoted(x)), ", ")
		if section == "cable" {
			return "sheet: s\nline: token_pair\ncable: [{" + entry + "}]\n"
		}
		return newProbe + section + ": [{" + entry + "}]\n"
	})
	if x != "" {
		*parts = append(*parts, key+": "+quoted(x))
	}
	return x != ""
}

func (a *asker) cable(b *strings.Builder) {
	fmt.Fprintln(b, "cable:")
	for n := 1; ; n++ {
		var parts []string
		question := fmt.Sprintf(askSheetStretch, n)
		if n > 1 {
			question = fmt.Sprintf(askSheetNextStretch, n)
		}
		if !a.part(&parts, "length", question, "cable") {
			if n > 1 || a.ended || a.err != nil {
				if n == 1 {
					fmt.Fprintln(b, "  - {length: 1 m}   # not said")
				}
				return
			}
			n--
			continue
		}
		a.part(&parts, "conductor", askSheetConductor, "cable")
		a.part(&parts, "impedance", askSheetImpedance, "cable")
		fmt.Fprintf(b, "  - {%s}\n", strings.Join(parts, ", "))
	}
}

func (a *asker) terminators(b *strings.Builder) {
	for {
		switch answer := strings.ToLower(a.answer(askSheetTerminators)); answer {
		case "":
			return
		case "none":
			fmt.Fprintln(b, "terminators: []")
			return
		case "host", "end":
			fmt.Fprintf(b, "terminators: [{at: %s}]\n", answer)
			return
		case "both":
			fmt.Fprintln(b, "terminators: [{at: host}, {at: end}]")
			return
		}
		if a.err != nil {
			return
		}
		a.say("%s", sayNewTerminators)
	}
}

func (a *asker) drops(b *strings.Builder) {
	begun := false
	for {
		name := a.answer(askSheetDrop)
		if name == "" {
			return
		}
		parts := []string{"drop: " + quoted(name)}
		if !a.part(&parts, "at", fmt.Sprintf(askSheetPlace, name), "drops") {
			a.say("%s", sayNewNoPlace)
			continue
		}
		a.part(&parts, "address", fmt.Sprintf(askSheetAddress, name), "drops")
		a.part(&parts, "power", fmt.Sprintf(askSheetPower, name), "drops")
		if !begun {
			fmt.Fprintln(b, "drops:")
			begun = true
		}
		fmt.Fprintf(b, "  - {%s}\n", strings.Join(parts, ", "))
	}
}
