package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"strings"
	"unicode"
	"unicode/utf8"

	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/report"
	"downdrop/engine"
	"downdrop/rulebase"
)

const (
	sayTalkInput  = "The conversation reads the standard input itself; give the case as a file."
	sayTalkUnsafe = "%s cannot be written: %v. Save under another name, or copy the case from here:"
	sayTalkSaved  = "Saved as %s; \"downdrop diagnose %s\" answers it again, \"downdrop --case %s\" goes on."
	sayTalkKept   = "All of it is kept with the case already."
	sayTalkEnd    = "The input ended. Nothing was saved."
	talkPrompt    = "> "
	talkCaseName  = "case"
)

// runTalk holds the conversation on a terminal: it writes replies and reads
// entries, line by line. All that is said and understood is in the conversation
// package.
func runTalk(ctx context.Context, env *environment, o caseOptions) error {
	if !env.terminal {
		return errNoTerminal
	}
	if o.file == "-" {
		return usageError{sayTalkInput}
	}
	base, s, err := o.load(ctx, env)
	if err != nil {
		return err
	}
	talk := newTalk(base).WithClock(env.clock)
	state, reply := talk.Begin(s)
	return (&terminal{env: env, talk: talk, entries: entries(ctx, env.in)}).run(ctx, state, reply)
}

// newTalk makes the conversation over a rulebase, with the chances and minutes in the
// words of a printed diagnosis.
func newTalk(base *rulebase.Base) *conversation.Talk { return newTalkOn(engine.Prepare(base)) }

func newTalkOn(prepared *engine.Prepared) *conversation.Talk {
	return conversation.New(prepared.Base(), func(ctx context.Context, s rulebase.Situation, o engine.Options) (*engine.Diagnosis, error) {
		return engine.Diagnose(ctx, prepared, s, o)
	})
}

// A terminal is the skin of a conversation that is a screen and a keyboard.
type terminal struct {
	env     *environment
	talk    *conversation.Talk
	entries <-chan string
	keep    func(conversation.State, conversation.Reply) error // keeps what an entry changed; nil: nothing is kept
}

// entries reads lines in the background, so that an interruption does not wait for one.
func entries(ctx context.Context, in io.Reader) <-chan string {
	lines := make(chan string)
	go func() {
		defer close(lines)
		read := bufio.NewReader(io.LimitReader(in, mostInput))
		for {
			line, err := read.ReadString('\n')
			if line != "" {
				select {
				case lines <- strings.TrimRight(line, "\r\n"):
				case <-ctx.Done():
					return
				}
			}
			if err != nil {
				return
			}
		}
	}()
	return lines
}

func (t *terminal) run(ctx context.Context, state conversation.State, reply conversation.Reply) error {
	for {
		if err := t.show(reply); err != nil {
			return err
		}
		switch reply.Kind {
		case conversation.Stopped:
			return nil
		case conversation.Saved:
			if t.keep != nil { // every answer is in the store already
				_, err := fmt.Fprintln(t.env.out, sayTalkKept)
				return written(err)
			}
			if saved, err := t.save(reply, state.Situation.Case); saved || err != nil {
				return err
			}
		}
		if _, err := io.WriteString(t.env.out, talkPrompt); err != nil {
			return written(err)
		}
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case entry, ok := <-t.entries:
			if !ok {
				says := sayTalkEnd
				if t.keep != nil {
					says = sayTalkKept
				}
				_, err := fmt.Fprintln(t.env.out, "\n"+says)
				return written(err)
			}
			state, reply = t.talk.Step(ctx, state, entry)
			if t.keep != nil && ctx.Err() == nil {
				if err := t.keep(state, reply); err != nil {
					fmt.Fprintf(t.env.err, sayNotAdded+"\n", err) // it is still on the screen and in the conversation, and is tried again with the next entry
				}
			}
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
	}
}

// show writes a reply, the whole diagnosis where it asks for that.
func (t *terminal) show(reply conversation.Reply) error {
	var text strings.Builder
	if reply.Kind == conversation.Detailed {
		if err := report.Text(&text, reply.Diagnosis, report.TextOptions{Width: t.env.width(), Detail: true}); err != nil {
			return err
		}
	}
	for _, line := range reply.Lines() {
		fold(&text, line, min(max(t.env.width(), 20), report.Columns))
	}
	_, err := io.WriteString(t.env.out, text.String())
	return written(err)
}

// fold writes a line, broken at blanks where it is too long; what follows stands
// under the text of the first.
func fold(out *strings.Builder, line string, width int) {
	line = strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == utf8.RuneError {
			return '?'
		}
		return r
	}, line)
	text := strings.TrimLeft(line, " ")
	indent := strings.Repeat(" ", min(len(line)-len(text), width/2))
	used := 0
	for i, word := range strings.Split(text, " ") {
		n := utf8.RuneCountInString(word)
		switch {
		case i == 0:
			out.WriteString(indent)
			used = len(indent)
		case used+1+n > width:
			out.WriteString("\n" + indent + "  ")
			used = len(indent) + 2
		default:
			out.WriteByte(' ')
			used++
		}
		out.WriteString(word)
		used += n
	}
	out.WriteByte('\n')
}

// save writes the case into a new file beside the user. It never overwrites one:
// where the name was not given, it counts on to one that is free.
func (t *terminal) save(reply conversation.Reply, name string) (saved bool, err error) {
	if reply.CaseName != "" {
		name = reply.CaseName
	}
	chosen := reply.CaseName != ""
	if name = fileName(strings.TrimSuffix(name, ".yaml")); name == "" {
		name = talkCaseName
	}
	file := name + ".yaml"
	for n := 2; ; n++ {
		err = create(file, textOf(reply.CaseText))
		if !errors.Is(err, fs.ErrExist) || chosen || n > 99 {
			break
		}
		file = fmt.Sprintf("%s-%d.yaml", name, n)
	}
	switch {
	case err == nil:
		_, err = fmt.Fprintf(t.env.out, sayTalkSaved+"\n", file, file, file)
		return true, written(err)
	case errors.Is(err, fs.ErrExist):
		_, err = fmt.Fprintf(t.env.out, sayNotOverwritten+"\n", file)
	default: // what was said must not be lost for want of a place to write
		_, err = fmt.Fprintf(t.env.out, sayTalkUnsafe+"\n%s", file, reason(err), reply.CaseText)
	}
	return false, written(err)
}

// fileName makes a case's name one that any file system takes, in this folder.
func fileName(name string) string {
	return strings.Trim(strings.Map(func(r rune) rune {
		if r < utf8.RuneSelf && (unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("._-", r)) {
			return r
		}
		return '-'
	}, name), ".-")
}

// reason is an error without the path, which the sentence names.
func reason(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}
