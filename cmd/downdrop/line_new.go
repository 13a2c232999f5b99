package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"regexp"
	"slices"
	"strings"
	"sync"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

func newLineNewCmd(env *environment, runF func(context.Context, *environment, string) error) *cobra.Command {
	return &cobra.Command{
		Use:   "new SHEET.yaml",
		Short: shortLineNew,
		Long:  longLineNew,
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
		return usageError{fmt.Sprintf(sayNotOverwritten, file)}
	}
	a := &asker{ctx: ctx, out: env.out, width: env.width(), entries: entries(ctx, env.in)}
	text := a.sheet()
	if a.err != nil {
		return a.err
	}
	if text == "" {
		_, err := fmt.Fprintln(env.out, sayNewNothing)
		return written(err)
	}
	if err := newFile(file, textOf(text)); err != nil {
		return err
	}
	_, err := fmt.Fprintf(env.out, sayNewWritten+"\n", file, file)
	return written(err)
}

// An asker puts one question after another. Each answer is read as a sheet would
// read it, so that what is wrong is said in the same words, and asked again.
type asker struct {
	ctx     context.Context
	out     io.Writer
	width   int
	entries <-chan string
	ended   bool // the answers ended
	err     error
}

// say prints a line.
func (a *asker) say(format string, args ...any) {
	if a.err == nil {
		var text strings.Builder
		fold(&text, fmt.Sprintf(format, args...), min(max(a.width, 20), report.Columns))
		_, err := io.WriteString(a.out, text.String())
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

// ask asks until the sheet that probe makes of the answer can be read, or nothing
// is entered. What the sheet still lacks is no mistake of this answer. before is
// what "same" stands for; "": nothing.
func (a *asker) ask(question, before string, probe func(value string) string) string {
	for {
		answer := a.answer(question)
		if answer == "" || a.err != nil {
			return ""
		}
		if answer == answerSame && before != "" {
			answer = before
		}
		_, err := rulebase.ReadSheet("answer", []byte(probe(yamlText(answer))), sheet.Kinds())
		says := mistake(err)
		if says == "" {
			return answer
		}
		a.say("%s", upperSentence(says))
	}
}

// mistake is the first problem that is not just something still missing.
func mistake(err error) string {
	var problems *rulebase.Problems
	if !errors.As(err, &problems) {
		return ""
	}
	lacks := slices.ContainsFunc(problems.List, func(p rulebase.Problem) bool { return p.Kind == "missing-key" })
	for _, p := range problems.List {
		switch {
		case p.Kind == "missing-key", p.Kind == "order" && lacks: // its place is still to come
		case p.Meant != "":
			return fmt.Sprintf("%s; did you mean %q?", p.Says, p.Meant)
		default:
			return p.Says
		}
	}
	return ""
}

func upperSentence(says string) string {
	says = strings.ToUpper(says[:1]) + says[1:]
	if strings.HasSuffix(says, "?") || strings.HasSuffix(says, ".") {
		return says
	}
	return says + "."
}

var plainFigure = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^[0-9]+(\.[0-9]+)?( [A-Za-z%][A-Za-z0-9/]*)?$`) })

// yamlText is an answer as a YAML text, in quotes where it could be taken for
// anything else.
func yamlText(answer string) string {
	if plainFigure().MatchString(answer) {
		return answer
	}
	return "'" + strings.ReplaceAll(answer, "'", "''") + "'"
}

// sheet asks for a whole sheet, part by part. What was written so far is part of
// what each answer is tried on, so that a name or a place that does not fit is
// told at once.
func (a *asker) sheet() string {
	a.say("%s", sayNewBegin)
	name := a.answer(askSheetName)
	if name == "" {
		return ""
	}
	kinds := strings.Join(sheet.Kinds(), ", ")
	kind := a.ask(fmt.Sprintf(askSheetLine, kinds), "", func(x string) string {
		return "sheet: s\nline: " + x + "\ncable: [{length: 1 m}]\n"
	})
	if kind == "" {
		kind = sheet.Kinds()[0]
	}
	text := "sheet: " + yamlText(name) + "\nline: " + yamlText(kind) + "\n"
	for _, part := range sheetParts {
		if part.keys != nil {
			text += a.fields(text, part)
		} else {
			text += a.list(text, part)
		}
	}
	return text
}

// fields asks for keys of the sheet itself.
func (a *asker) fields(text string, part sheetPart) string {
	added := ""
	for _, k := range part.keys {
		x := a.ask(k.ask, "", func(x string) string { return text + stretchUnsaid(text) + added + k.name + ": " + x + "\n" })
		if x != "" {
			added += k.name + ": " + yamlText(x) + "\n"
		}
	}
	return added
}

// stretchUnsaid stands for the cable until it is asked for.
func stretchUnsaid(text string) string {
	if strings.Contains(text, "\ncable:") {
		return ""
	}
	return "cable: [{length: 100000 m}]\n"
}

// list asks for the entries of a part, or its one entry.
func (a *asker) list(text string, part sheetPart) string {
	head, before := part.name+":\n", map[string]string{}
	if part.one {
		entry, _ := a.entry(part.entry, 1, before, func(entry string) string { return text + stretchUnsaid(text) + part.name + ": {" + entry + "}\n" })
		if entry == "" {
			return ""
		}
		return part.name + ": {" + entry + "}\n"
	}
	done := ""
	for n := 1; ; n++ {
		tried := text
		if part.name != "cable" {
			tried += stretchUnsaid(text)
		}
		entry, more := a.entry(part.entry, n, before, func(entry string) string { return tried + head + done + "  - {" + part.entry.several(entry)[0] + "}\n" })
		switch {
		case entry == answerNone && done == "":
			return part.name + ": []\n"
		case entry != "":
			for _, one := range part.entry.several(entry) {
				done += "  - {" + one + "}\n"
			}
		}
		if !more && part.name == "cable" && done == "" && !a.ended && a.err == nil {
			a.say("%s", sayNewCable)
			n--
			continue
		}
		if !more {
			break
		}
	}
	switch {
	case done != "":
		return head + done
	case part.name == "cable":
		return head + "  - {length: 1 m}   # not said\n"
	}
	return ""
}

// entry asks for one entry. more is false where the list ends; the text is "" where
// the entry lacks what it must have. before holds what the entry before it had.
func (a *asker) entry(e sheetEntry, n int, before map[string]string, whole func(entry string) string) (text string, more bool) {
	var parts []string
	said := map[string]string{}
	with := func(part string) string { return strings.Join(append(slices.Clone(parts), part), ", ") }
	for i, k := range e {
		if said[k.unless] != "" {
			continue
		}
		if k.list != nil {
			if nested := a.nested(k, func(inner string) string { return whole(with(k.name + ": [" + inner + "]")) }, said[e[0].name]); nested != "" {
				parts = append(parts, k.name+": ["+nested+"]")
			}
			continue
		}
		x := a.ask(k.question(n, said[e[0].name]), before[k.name], func(x string) string {
			if stand := k.stands[strings.Trim(x, "'")]; stand != "" {
				x = stand
			}
			return whole(with(k.name + ": " + x))
		})
		switch {
		case x == answerNone && k.stands[answerNone] != "":
			if n == 1 {
				return answerNone, false
			}
			return "", false
		case x == "" && i == 0 && k.must:
			return "", false
		case x == "" && k.must:
			a.say(sayNewLeftOut, k.name)
			return "", !a.ended && a.err == nil
		case x != "":
			said[k.name] = x
			parts = append(parts, k.name+": "+yamlText(x))
		}
	}
	clear(before)
	maps.Copy(before, said)
	return strings.Join(parts, ", "), !a.ended && a.err == nil
}

// nested asks for the entries of a list within an entry.
func (a *asker) nested(k sheetKey, whole func(inner string) string, of string) string {
	done, before := "", map[string]string{}
	for n := 1; ; n++ {
		entry, more := a.entry(k.list.of(of), n, before, func(entry string) string { return whole(done + "{" + entry + "}") })
		if entry != "" {
			done += "{" + entry + "}, "
		}
		if !more {
			return strings.TrimSuffix(done, ", ")
		}
	}
}
