// Package shop does the work of the bench and the desk of a repair shop: a run at the bench
// kept in its file, the record of it, what can become of a unit, what is noted of one. The
// commands and the page are its doors; each says in its own words what it refuses.
package shop

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"time"

	"downdrop/engine/bench"
	"downdrop/rulebase"
)

// A Run is a run at the bench, one event a line. What Append returned without an error
// for is on the disk, so whoever is cut off goes on there.
type Run struct {
	Name   string // of its file
	Events []bench.Event
	Text   []byte // its whole lines, as they were when it was read
	file   *os.File
	size   int64
}

// mostRun is far more than any run holds.
const mostRun = 64 << 20

// NewRun begins a run; it never overwrites one.
func NewRun(name string) (*Run, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL|os.O_APPEND, 0o666)
	if err != nil {
		return nil, err
	}
	if dir, err := os.Open(filepath.Dir(name)); err == nil {
		_ = dir.Sync() // where a folder cannot be synced the file still is
		dir.Close()
	}
	return &Run{Name: name, file: f}, nil
}

// OpenRun opens a run to go on with. A last line that was cut off while it was
// written was never acknowledged, and goes.
func OpenRun(name string) (*Run, error) {
	f, err := os.OpenFile(name, os.O_RDWR|os.O_APPEND, 0)
	if err != nil {
		return nil, err
	}
	r := &Run{Name: name, file: f}
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

// ReadRun reads a run to look at.
func ReadRun(name string) (*Run, error) {
	f, err := os.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := &Run{Name: name}
	r.size, err = r.load(f)
	return r, err
}

// load reads the whole lines and says how long they are.
func (r *Run) load(in io.Reader) (whole int64, err error) {
	text, err := io.ReadAll(io.LimitReader(in, mostRun+1))
	switch {
	case err != nil:
		return 0, err
	case len(text) > mostRun:
		return 0, Refusal{Input, fmt.Sprintf(sayRunTooLong, r.Name)}
	}
	if text = text[:bytes.LastIndexByte(text, '\n')+1]; len(text) == 0 {
		return 0, Refusal{Input, fmt.Sprintf(sayRunEmpty, r.Name)}
	}
	for n, line := range bytes.Split(bytes.TrimSuffix(text, []byte("\n")), []byte("\n")) {
		var e bench.Event
		dec := json.NewDecoder(bytes.NewReader(line))
		dec.DisallowUnknownFields()
		if err := dec.Decode(&e); err != nil {
			return 0, Refusal{Input, fmt.Sprintf(sayRunNoEvent, r.Name, n+1)}
		}
		r.Events = append(r.Events, e)
	}
	if err := bench.Check(r.Events); err != nil {
		return 0, Refusal{Damaged, fmt.Sprintf(sayRunChanged, r.Name, err)}
	}
	if r.Events[0].Kind != bench.Begun {
		return 0, Refusal{Input, fmt.Sprintf(sayRunEmpty, r.Name)}
	}
	r.Text = text
	return int64(len(text)), nil
}

// Append writes an event and waits until it is on the disk.
func (r *Run) Append(e bench.Event) error {
	line, err := json.Marshal(e)
	if err != nil {
		return err
	}
	if info, err := r.file.Stat(); err != nil {
		return err
	} else if info.Size() != r.size {
		return Refusal{Input, fmt.Sprintf(sayRunShared, r.Name)}
	}
	n, err := r.file.Write(append(line, '\n'))
	if err == nil {
		err = r.file.Sync()
	}
	if err != nil {
		_ = r.file.Truncate(r.size) // half a line would go at the next opening anyway
		return Refusal{Output, err.Error()}
	}
	r.size += int64(n)
	r.Events = append(r.Events, e)
	return nil
}

// Resumed is the run as whoever goes on with it now finds it: by another person ("" not said), or on another day, the
// warnings that were confirmed are to be read again. Another person is in the run either way, for its record says who was
// at the bench. Nothing is kept; fresh is the event to keep, nil: none is.
func (r *Run) Resumed(s *bench.State, by string, now time.Time) (after *bench.State, fresh *bench.Event, err error) {
	another := by != "" && by != s.LastHand() && s.Wants.Kind != bench.WantsNothing && s.Wants.Ask != "by"
	if !another && !s.MustConfirmAgain(by, now.Format(time.DateOnly)) {
		return s, nil, nil
	}
	e := bench.Append(r.Events, bench.Event{Kind: bench.Resumed, Values: map[string]string{"by": by}}, now)
	after, err = bench.Run(s.Procedure, s.Unit, append(slices.Clip(r.Events), e))
	return after, &e, err
}

// Close lets go of a run's file.
func (r *Run) Close() error {
	if r.file == nil {
		return nil
	}
	return r.file.Close()
}

// State is what the run has come to, by the procedure and the profile that it began
// with: both are in its first event, so that a shop may change its files meanwhile.
func (r *Run) State(base *rulebase.Base) (*bench.State, error) {
	begun := r.Events[0].Values
	p, err := base.ReadProcedure(begun["procedure_file"], []byte(begun["procedure_text"]))
	if err != nil {
		return nil, err
	}
	unit, err := rulebase.ReadProfile(begun["unit_file"], []byte(begun["unit_text"]))
	if err != nil {
		return nil, err
	}
	s, err := bench.Run(p, unit, r.Events)
	if err != nil {
		return nil, Refusal{Input, fmt.Sprintf(sayRunUnread, r.Name, err)}
	}
	return s, nil
}
