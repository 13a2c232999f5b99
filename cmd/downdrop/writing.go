package main

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
)

// The ways in which a command makes a file that somebody asked for by name: a new one, which
// never writes over another; a result that each run makes anew; and a file that is changed in
// its place. "help files" says which command does which.

const (
	sayNotOverwritten = "%s is there already and is not overwritten; save under another name."
	sayCannotWrite    = "%q cannot be written: %w"
	sayOtherThere     = "%s is there already and is not what this command writes; it is not overwritten. Write under another name, or move it away."
)

// newFile writes a file that is not there yet, or says that it is.
func newFile(name string, write func(io.Writer) error) error {
	switch err := create(name, write); {
	case errors.Is(err, fs.ErrExist):
		return usageError{fmt.Sprintf(sayNotOverwritten, name)}
	case err != nil:
		return cannotWrite(name, err)
	}
	return nil
}

// beforehand refuses what newFile would refuse, of a file that is written once something was kept: nothing is kept for
// a file that cannot be. "" and "-" are no file.
func beforehand(name string) error {
	if name == "" || name == "-" {
		return nil
	}
	if err := newFile(name, textOf("")); err != nil {
		return err
	}
	if err := os.Remove(name); err != nil {
		return cannotWrite(name, err)
	}
	return nil
}

// pngBegins is how every picture begins: its signature, and the length and name of its first part.
const pngBegins = "\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR"

// pictureBeforehand refuses what writeResult would refuse, of a picture that is written once something was kept.
func pictureBeforehand(name string) error {
	if _, err := os.Stat(name); errors.Is(err, fs.ErrNotExist) {
		return beforehand(name)
	}
	if other, err := anotherStands(name, []byte(pngBegins)); err != nil {
		return cannotWrite(name, err)
	} else if other {
		return usageError{fmt.Sprintf(sayOtherThere, name)}
	}
	return nil
}

// create writes a file that is not there yet; else the error is fs.ErrExist. Half a file is
// worse than none.
func create(name string, write func(io.Writer) error) error {
	f, err := createNew(name)
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

// createNew opens a file that is not there yet; else the error is fs.ErrExist.
func createNew(name string) (*os.File, error) {
	return os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o666)
}

// textOf is a text as something that writes itself.
func textOf(text string) func(io.Writer) error {
	return func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	}
}

// into writes a result to a file and says so, or to the output where none is named.
func (env *environment) into(name string, write func(io.Writer) error) error {
	if name == "" {
		name = "-"
	}
	if err := writeResult(env, name, write); err != nil || name == "-" {
		return err
	}
	_, err := fmt.Fprintf(env.err, sayWritten, name)
	return written(err)
}

// writeResult writes a result to a file, or for "-" to the output. What stood there may be an
// earlier result of the same command, and stays where this one does not come about; another file, such as a
// case or a sheet that a slip of the fingers has named, is left as it is.
func writeResult(env *environment, name string, write func(io.Writer) error) error {
	if name == "-" {
		return written(write(env.out))
	}
	var text bytes.Buffer
	if err := write(&text); err != nil {
		return err
	}
	if other, err := anotherStands(name, text.Bytes()); err != nil {
		return cannotWrite(name, err)
	} else if other {
		return usageError{fmt.Sprintf(sayOtherThere, name)}
	}
	if err := os.WriteFile(name, text.Bytes(), 0o666); err != nil {
		return cannotWrite(name, err)
	}
	return nil
}

// alikeBytes is by how many bytes a file is known as an earlier result: as many are the same in every result
// of a kind (a drawing's, a page's or a picture's first letters, a chart's title, a document's schema).
const alikeBytes = 16

// anotherStands says whether a file holds something that does not begin as a result does. What is no
// file, such as a pipe, holds nothing.
func anotherStands(name string, result []byte) (bool, error) {
	is, err := os.Stat(name)
	if errors.Is(err, fs.ErrNotExist) || err == nil && !is.Mode().IsRegular() {
		return false, nil
	} else if err != nil {
		return false, err
	}
	f, err := os.Open(name)
	if err != nil {
		return false, err
	}
	defer f.Close()
	begin := make([]byte, alikeBytes)
	n, err := io.ReadFull(f, begin)
	if err != nil && n == 0 {
		if errors.Is(err, io.EOF) { // it is empty
			err = nil
		}
		return false, err
	}
	if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
		return false, err
	}
	return !bytes.Equal(begin[:n], result[:min(n, len(result))]) || n < alikeBytes && n != len(result), nil
}

// inPlaceOf writes a file beside its place and moves it there, so that under its name it is
// whole, or as it was before, also after a crash. An error of write goes through as it is,
// unless it was the file that could not be written.
func inPlaceOf(name string, mode fs.FileMode, write func(io.Writer) error) error {
	beside, err := os.CreateTemp(filepath.Dir(name), ".downdrop-*")
	if err != nil {
		return cannotWrite(name, err)
	}
	defer os.Remove(beside.Name()) // gone already where all went well
	err = write(beside)
	var path *fs.PathError
	if ours := errors.As(err, &path) && path.Path == beside.Name(); err != nil && !ours {
		return errors.Join(err, beside.Close())
	}
	if err == nil {
		err = errors.Join(beside.Chmod(mode), beside.Sync())
	}
	if err = errors.Join(err, beside.Close()); err == nil {
		err = os.Rename(beside.Name(), name)
	}
	if err != nil {
		return cannotWrite(name, err)
	}
	return nil
}

// cannotWrite says what could not be written, without the words of the system call.
func cannotWrite(name string, err error) error {
	var number syscall.Errno
	if errors.As(err, &number) {
		err = number
	}
	return outputError{fmt.Errorf(sayCannotWrite, name, err)}
}
