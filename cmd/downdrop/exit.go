package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"strings"

	"downdrop/cases"
	"downdrop/cmd/internal/shop"
	"downdrop/rulebase"
)

// The exit codes. Never 2: Go itself exits with 2 when it crashes.
const (
	exitDone       = 0
	exitFound      = 1
	exitUsage      = 3
	exitInput      = 4
	exitNotFound   = 5
	exitStore      = 6
	exitIntegrity  = 7
	exitNoTerminal = 8
	exitBug        = 70
	exitSignal     = 128 // plus the signal's number
)

// exitCode is the only place where an error becomes an exit code.
func exitCode(err error) int {
	var (
		found    foundError
		usage    usageError
		input    inputError
		output   outputError
		problems *rulebase.Problems
		path     *fs.PathError
		signal   signalled
	)
	switch {
	case err == nil:
		return exitDone
	case errors.As(err, &signal):
		return exitSignal + int(signal.signal)
	case errors.As(err, &found):
		return exitFound
	case errors.As(err, &usage):
		return exitUsage
	case errors.As(err, &problems), errors.As(err, &input):
		return exitInput
	case errors.As(err, &output), errors.Is(err, cases.ErrUnavailable):
		return exitStore
	case errors.Is(err, cases.ErrIntegrity):
		return exitIntegrity
	case errors.Is(err, cases.ErrNotFound):
		return exitNotFound
	case errors.Is(err, cases.ErrConflict), errors.Is(err, cases.ErrSpoilt), errors.Is(err, cases.ErrTooLong), errors.As(err, new(cases.TwoCasesError)):
		return exitInput
	case errors.As(err, &path), errors.Is(err, fs.ErrInvalid): // a rulebase that is a file
		return exitNotFound
	case errors.Is(err, errNoTerminal):
		return exitNoTerminal
	}
	return exitBug
}

// A foundError says that a command ran well and found problems, which stand in
// its result. There is nothing more to say.
type foundError struct{}

func (foundError) Error() string { return "problems found" }

// A usageError is a command line that cannot be followed.
type usageError struct{ says string }

func (e usageError) Error() string { return e.says }

// An inputError is an input that is not valid.
type inputError struct{ says string }

func (e inputError) Error() string { return e.says }

// An integrityError is something kept that was changed after it was written.
type integrityError struct{ says string }

func (e integrityError) Error() string   { return e.says }
func (e integrityError) Is(t error) bool { return t == cases.ErrIntegrity }

// An outputError is a result that could not be written.
type outputError struct{ err error }

func (e outputError) Error() string { return e.err.Error() }
func (e outputError) Unwrap() error { return e.err }

// written marks an error of writing a result.
func written(err error) error {
	if err == nil {
		return nil
	}
	return outputError{err}
}

// ofShop says in the words of the command line what the shop refuses.
func ofShop(err error) error {
	var several interface{ Unwrap() []error }
	var amount shop.NoAmount
	var refused shop.Refusal
	switch {
	case err == nil:
		return nil
	case errors.As(err, &several):
		var all []error
		for _, e := range several.Unwrap() {
			all = append(all, ofShop(e))
		}
		return errors.Join(all...)
	case errors.As(err, &amount):
		return usageError{fmt.Sprintf(sayNoAmount, amount.Name, amount.Text, amount.Wants)}
	case errors.Is(err, shop.ErrBadUnknown):
		return usageError{sayBadUnknown}
	case !errors.As(err, &refused):
		return err
	}
	switch refused.Kind {
	case shop.Usage:
		return usageError{refused.Says}
	case shop.Damaged:
		return integrityError{refused.Says}
	case shop.Output:
		return outputError{refused}
	}
	return inputError{refused.Says}
}

// errNoTerminal says that an answer was needed and nobody could be asked.
var errNoTerminal error = noTerminalError{}

type noTerminalError struct{}

func (noTerminalError) Error() string { return sayNoTerminal }

// run carries out a command line and gives its exit code. A panic is a bug of
// ours: it becomes one sentence, never a trace on somebody's phone.
func run(ctx context.Context, env *environment, args []string) (code int) {
	defer func() {
		if bug := recover(); bug != nil {
			fmt.Fprintf(env.err, sayBug, bug)
			code = exitBug
		}
	}()
	err := execute(ctx, env, args)
	if err != nil && ctx.Err() != nil {
		err = context.Cause(ctx)
	}
	tell(env, err)
	return exitCode(err)
}

// tell says an error, where there is something to say.
func tell(env *environment, err error) {
	var found foundError
	var signal signalled
	if err == nil || errors.As(err, &found) || errors.As(err, &signal) {
		return
	}
	says := strings.TrimRight(err.Error(), "\n")
	switch exitCode(err) {
	case exitNotFound:
		says = notFound(err)
	case exitInput:
		if errors.Is(err, cases.ErrTooLong) {
			says = sentenceOf(err)
		}
	case exitBug:
		says = fmt.Sprintf(strings.TrimRight(sayBug, "\n"), err)
	}
	fmt.Fprintln(env.err, says)
}

// notFound says which file could not be read, without the words of the system call.
func notFound(err error) string {
	var path *fs.PathError
	switch {
	case errors.Is(err, cases.ErrNotFound):
		return strings.TrimRight(err.Error(), ".") + "."
	case !errors.As(err, &path):
		return strings.TrimRight(strings.TrimSuffix(err.Error(), ": "+fs.ErrInvalid.Error()), ".") + "."
	case errors.Is(err, fs.ErrNotExist):
		return fmt.Sprintf(sayNoFile, path.Path)
	}
	return fmt.Sprintf(sayUnreadable, path.Path, path.Err)
}
