package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
)

// The ways in which a command makes a file that somebody asked for by name: a new one, which
// never writes over another; and a result that each run makes anew. "help files" says which
// command does which.

const sayNotOverwritten = "%s is there already and is not overwritten; save under another name."

// newFile writes a file that is not there yet, or says that it is.
func newFile(name string, write func(io.Writer) error) error {
	err := create(name, write)
	if errors.Is(err, fs.ErrExist) {
		return usageError{fmt.Sprintf(sayNotOverwritten, name)}
	}
	return written(err)
}

// create writes a file that is not there yet; else the error is fs.ErrExist. Half a file is
// worse than none.
func create(name string, write func(io.Writer) error) error {
	f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
	if err != nil {
		return err
	}
	err = write(f)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		os.Remove(name)
	}
	return err
}

// textOf is a text as something that writes itself.
func textOf(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
}

// into writes a result to a file, or to the output where none is named. Half a file is
// worse than none.
func (env *environment) into(name string, write func(io.Writer) error) error {
	if name == "" || name == "-" {
		return written(write(env.out))
	}
	file, err := os.Create(name)
	if err != nil {
		return written(err)
	}
	err = write(file)
	if closed := file.Close(); err == nil {
		err = closed
	}
	if err != nil {
		os.Remove(name)
		return written(err)
	}
	_, err = fmt.Fprintf(env.err, sayWritten, name)
	return written(err)
}

// writeResult writes a result to a file, or for "-" to the output. What stood there was an
// earlier result of the same command.
func writeResult(env *environment, name string, write func(io.Writer) error) error {
	if name == "-" {
		return written(write(env.out))
	}
	var text bytes.Buffer
	if err := write(&text); err != nil {
		return err
	}
	return written(os.WriteFile(name, text.Bytes(), 0o666))
}
