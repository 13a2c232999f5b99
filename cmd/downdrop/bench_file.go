package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"downdrop/engine/bench"
	"downdrop/rulebase"
)

// A runFile is a run at the bench, one event a line. What append returned without an error
// for is on the disk, so whoever is cut off goes on there.
type runFile struct {
	name   string
	file   *os.File
	size   int64
	events []bench.Event
}

// mostRun is far more than any run holds.
const mostRun = 64 << 20

// newRunFile begins a run; it never overwrites one.
func newRunFile(name string) (*runFile, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL|os.O_APPEND, 0o666)
	if err != nil {
		return nil, err
	}
	if dir, err := os.Open(filepath.Dir(name)); err == nil {
		_ = dir.Sync() // where a folder cannot be synced the file still is
		dir.Close()
	}
	return &runFile{name: name, file: f}, nil
}

// openRunFile opens a run to go on with. A last line that was cut off while it was
// written was never acknowledged, and goes.
func openRunFile(name string) (*runFile, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return nil, err
	}
	r := &runFile{name: name, file: f}
	whole, err := r.load(f)
	if err == nil {
		r.size = whole
		err = f.Truncate(whole)
	}
	if err != nil {
		f.Close()
		return nil, err
	}
	return r, nil
}

// readRunFile reads a run to look at.
func readRunFile(name string) (*runFile, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := &runFile{name: name}
	r.size, err = r.load(f)
	return r, err
}

// load reads the whole lines and says how long they are.
func (r *runFile) load(in io.Reader) (whole int64, err error) {
	text, err := io.ReadAll(io.LimitReader(in, mostRun+1))
	switch {
	case err != nil:
		return 0, err
	case len(text) > mostRun:
		return 0, inputError{fmt.Sprintf(sayRunTooLong, r.name)}
	}
	text = text[:bytes.LastIndexByte(text, '\n')+1]
	for n, line := range bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var e bench.Event
		dec := json.NewDecoder(bytes.NewReader(line))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&e); err != nil {
			return 0, inputError{fmt.Sprintf(sayRunNoEvent, r.name, n+1)}
		}
		r.events = append(r.events, e)
	}
	if err := bench.Check(r.events); err != nil {
		return 0, integrityError{fmt.Sprintf(sayRunChanged, r.name, err)}
	}
	if len(r.events) == 0 || r.events[0].Kind != bench.Begun {
		return 0, inputError{fmt.Sprintf(sayRunEmpty, r.name)}
	}
	return int64(len(text)), nil
}

// append writes an event and waits until it is on the disk.
func (r *runFile) append(e bench.Event) error {
	line, err := json.Marshal(e)
	if err != nil {
		return err
	}
	if info, err := r.file.Stat(); err != nil {
		return err
	} else if info.Size() != r.size {
		return inputError{fmt.Sprintf(sayRunShared, r.name)}
	}
	n, err := r.file.Write(append(line, '\n'))
	if err == nil {
		err = r.file.Sync()
	}
	if err != nil {
		_ = r.file.Truncate(r.size) // half a line would go at the next opening anyway
		return outputError{err}
	}
	r.size += int64(n)
	r.events = append(r.events, e)
	return nil
}

// state is what the run has come to, by the procedure and the profile that it began
// with: both are in its first event, so that a shop may change its files meanwhile.
func (r *runFile) state(base *rulebase.Base) (*bench.State, error) {
	begun := r.events[0].Values
	p, err := base.ReadProcedure(begun["procedure_file"], []byte(begun["procedure_text"]))
	if err != nil {
		return nil, err
	}
	unit, err := rulebase.ReadProfile(begun["unit_file"], []byte(begun["unit_text"]))
	if err != nil {
		return nil, err
	}
	s, err := bench.Run(p, unit, r.events)
	if err != nil {
		return nil, inputError{fmt.Sprintf(sayRunUnread, r.name, err)}
	}
	return s, nil
}
