package main

import (
	"context"
	"fmt"
	"io"
	"os"
	"os/signal"
	"path/filepath"
	"strconv"
	"syscall"
	"time"

	"golang.org/x/term"

	"downdrop/cases"
	"downdrop/cmd/internal/report"
	"downdrop/rulebase"
)

// An environment is all that the commands have of the world around them, so that
// a test can give them another one. The rulebase is opened by a function: a
// command that needs none never reads one.
type environment struct {
	in       io.Reader
	out, err io.Writer
	terminal bool                     // there is somebody to ask: input and output are a terminal
	watched  bool                     // the error output is a terminal: somebody sees how far it has got
	width    func() int               // columns of the output
	variable func(name string) string // environment variables
	clock    func() time.Time
	shipped  func() (*rulebase.Base, error) // as the program holds it
	files    func() (*rulebase.Base, error) // the shipped rulebase read from its files, with where things stand in them
	folder   func(dirs ...string) (*rulebase.Base, error)
	stranger func(dirs ...string) (*rulebase.Base, error) // as folder, of one that comes from elsewhere
	store    func(ctx context.Context, env *environment, flag string) (cases.Store, error)
	look     func(ctx context.Context, env *environment, flag string) (cases.Store, error) // as it is, to be looked at and never made
	talk     func(context.Context, *environment, caseOptions) error                        // the conversation on a terminal

	unwritten error // what kept help from being written: the library that calls for it cannot tell
}

func newEnvironment() *environment {
	return &environment{
		in: os.Stdin, out: os.Stdout, err: os.Stderr,
		terminal: term.IsTerminal(int(os.Stdin.Fd())) && term.IsTerminal(int(os.Stdout.Fd())),
		watched:  term.IsTerminal(int(os.Stderr.Fd())),
		width:    outputWidth,
		variable: os.Getenv,
		clock:    time.Now,
		shipped:  rulebase.ShippedCompiled,
		files:    rulebase.LoadShipped,
		folder:   rulebase.LoadFolder,
		stranger: rulebase.LoadUntrusted,
		store:    openStore,
		look:     lookAtStore,
		talk:     runTalk,
	}
}

// outputWidth is that of the terminal written to, or what COLUMNS says. Text that
// goes into a file or a pipe has the usual width, so that it is the same everywhere.
func outputWidth() int {
	if n, err := strconv.Atoi(os.Getenv("COLUMNS")); err == nil && n > 0 {
		return n
	}
	if n, _, err := term.GetSize(int(os.Stdout.Fd())); err == nil && n > 0 {
		return n
	}
	return report.Columns
}

// rulebases are the folders to read: those of the flag, else of DOWNDROP_RULEBASE.
// None is the shipped rulebase.
func (env *environment) rulebases(flag []string) []string {
	if len(flag) > 0 {
		return flag
	}
	return filepath.SplitList(env.variable("DOWNDROP_RULEBASE"))
}

// open gives the rulebase to work with.
func (env *environment) open(flag []string) (*rulebase.Base, error) {
	return env.openAs(flag, env.shipped)
}

// openToLookOver loads the rulebase for whoever looks it over, and so has to know
// where things stand in its files.
func (env *environment) openToLookOver(flag []string) (*rulebase.Base, error) {
	return env.openAs(flag, env.files)
}

func (env *environment) openAs(flag []string, shipped func() (*rulebase.Base, error)) (*rulebase.Base, error) {
	dirs := env.rulebases(flag)
	if len(dirs) == 0 {
		return shipped()
	}
	return env.folder(dirs...)
}

// read reads a whole case, from a file or, for "-", from the input. An
// interruption does not wait for an input that never ends.
func (env *environment) read(ctx context.Context, name string) ([]byte, error) {
	return env.readUpTo(ctx, name, mostInput)
}

// readUpTo reads a whole file or input of at most so many bytes.
func (env *environment) readUpTo(ctx context.Context, name string, most int) ([]byte, error) {
	in := env.in
	if name != "-" {
		file, err := os.Open(name)
		if err != nil {
			return nil, err
		}
		defer file.Close()
		in = file
	} else if env.terminal {
		fmt.Fprintln(env.err, sayReading)
	}
	type result struct {
		text []byte
		err  error
	}
	done := make(chan result, 1)
	go func() {
		text, err := io.ReadAll(io.LimitReader(in, int64(most)+1))
		done <- result{text, err}
	}()
	select {
	case <-ctx.Done():
		return nil, context.Cause(ctx)
	case r := <-done:
		if len(r.text) > most {
			return nil, inputError{fmt.Sprintf(sayTooLong, most>>20)}
		}
		return r.text, r.err
	}
}

// readFile reads a whole file of at most so many bytes: one without end is refused before it fills
// the memory.
func readFile(name string, most int) ([]byte, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close() // it was only read
	text, err := io.ReadAll(io.LimitReader(f, int64(most)+1))
	if err == nil && len(text) > most {
		return nil, inputError{fmt.Sprintf(sayFileTooLong, name, most>>20)}
	}
	return text, err
}

// mostFile bounds what is read as one paper or picture: several times the most that a case keeps.
const mostFile = 64 << 20

// mostInput bounds what is read as one case: far more than anybody writes.
const mostInput = 4 << 20

// A signalled is the cause of a cancelled context: the signal that ended the work.
type signalled struct{ signal syscall.Signal }

func (s signalled) Error() string { return s.signal.String() }

// listen gives a context that ends with an interruption, or with the terminal. The second
// one does not wait for anything.
func listen() (ctx context.Context, stop func()) {
	ctx, cancel := context.WithCancelCause(context.Background())
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	if !signal.Ignored(syscall.SIGHUP) { // as nohup has it: who says so wants it to go on
		signal.Notify(signals, syscall.SIGHUP)
	}
	go func() {
		for s := range signals {
			end := signalled{s.(syscall.Signal)}
			if ctx.Err() != nil {
				os.Exit(exitCode(end))
			}
			cancel(end)
		}
	}()
	return ctx, func() { signal.Stop(signals); cancel(nil) }
}
