// Package triage goes over a shop's list of returns, row by row: how likely each unit
// is good, what to ask the sender before it is shipped, how much bench time to plan.
//
// The complaint, in the sender's words, is heard as the conversation hears it, and
// what was understood is diagnosed against the population of units on the bench: a
// unit that somebody wants to send in is one that somebody suspects. Rows that say the
// same are diagnosed once. The list is read twice, the first time to learn its letters
// and the form of its serial numbers, and is never held as a whole: memory stays the
// same however long it is.
//
// A row whose cells a spreadsheet may have spoilt is asked back, never matched: it
// would be another unit's.
package triage

import (
	"context"
	"errors"
	"io"
	"slices"
	"strings"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A Call is what a row is called.
type Call string

// The calls, in the order of the worklist: where a question may save a shipment first.
const (
	ProbablyGood Call = "probably_good" // at least Probably likely
	Open         Call = "open"
	ProbablyBad  Call = "probably_bad"
	AskBack      Call = "ask_back" // the row itself is not sound
)

var calls = []Call{ProbablyGood, Open, ProbablyBad, AskBack}

func (c Call) rank() int { return slices.Index(calls, c) }

// Probably is how likely a unit has to be good, or bad, to be called so (a choice of
// ours: four in five such calls and more hold, where the rulebase's numbers do).
const Probably = 0.8

// mostAsked bounds the questions of a row: a sender answers three.
const mostAsked = 3

// A Row is one row of the list with what is made of it.
type Row struct {
	Line       int
	Serial     string
	Place      string
	Complaint  string
	Call       Call
	Good       float64 // that nothing is wrong with the unit, as far as is listed; the rest is Bad and what is not listed
	Bad        float64 // at least
	Likely     string  // id of the likeliest cause, "" where nothing is
	LikelySays string
	Outcome    string   // how it most likely ends, a case outcome
	Ask        []string // before it is shipped, the most telling first
	BenchMin   float64  // minutes to plan
	Understood []string // of the complaint
	NotHeard   []string // of the complaint
	Damage     []Damage
	DamageSays []string
	Before     []string // what is remembered of its serial
}

// A Reject is a row that could not be read as a row.
type Reject struct {
	Line int
	Why  string
	Text string // the row as far as it goes
}

// A Summary is what a whole list came to.
type Summary struct {
	Rows, Rejected int
	Calls          map[Call]int
	BenchMin       float64 // of all rows but those asked back
	Situations     int     // diagnoses made; all other rows said the same as an earlier one
	Unused         []string
	Windows1252    bool
	Separator      rune
	Twice          []Twice // serials that stand in more rows than one, by their first row
	MoreTwice      int     // serials of that kind beyond these
	Heading        int     // the line of the headings, where something stands above them; 0: nothing does
}

// Options are how a list is read.
type Options struct {
	Columns  map[string]string // heading to role, where its words do not tell
	Hold     int               // rows held at a time when sorting; 0: 4096
	Remember int               // situations remembered; 0: 2048
	Progress func(line int)    // called after each row of the second pass; nil: nobody watches
	// Before gives what is remembered of a serial, in sentences; nil: nothing is looked up. A row
	// that may be spoilt is not looked up: it would be another unit's.
	Before func(ctx context.Context, serial string) ([]string, error)
	Begin  func(rows int) error // called before the second pass, with the number of rows; its error ends the run
}

// An InputError is a list that cannot be read at all.
type InputError struct{ Says []string }

func (e *InputError) Error() string { return strings.Join(e.Says, "\n") }

// A Desk goes over lists with one rulebase.
type Desk struct {
	base     *rulebase.Base
	prepared *engine.Prepared
	talk     *conversation.Talk
	bench    []rulebase.GivenValue // that the unit is on its way to the bench
	opinions *memory[opinion]
	heard    *memory[hearing] // whole rows
	clauses  *memory[hearing]
	made     int
}

// NewDesk makes a Desk that remembers so many situations.
func NewDesk(base *rulebase.Base, remember int) *Desk {
	if remember == 0 {
		remember = 2048
	}
	d := &Desk{base: base, prepared: engine.Prepare(base), opinions: newMemory[opinion](remember), heard: newMemory[hearing](remember), clauses: newMemory[hearing](remember)}
	d.talk = conversation.New(base, nil)
	for i := range base.Givens {
		g := &base.Givens[i]
		if g.FilledBy == "at" && slices.Contains(g.OneOf, string(rulebase.Bench)) {
			if v, err := base.ReadGiven(g.ID + "=" + string(rulebase.Bench)); err == nil {
				d.bench = append(d.bench, v)
			}
		}
	}
	return d
}

// Run goes over a list. open opens it anew for each pass. rejected rows are given as
// they are met, worked ones at the end, in the order of the worklist.
func (d *Desk) Run(ctx context.Context, open func() (io.ReadCloser, error), o Options, each func(*Row) error, reject func(Reject) error) (sum Summary, err error) {
	s, f, cols, err := d.survey(ctx, open, o)
	if err != nil {
		return sum, err
	}
	sum = Summary{Calls: map[Call]int{}, Unused: cols.unused(), Windows1252: f.letters == windows1252, Separator: f.sep}
	if f.titles {
		sum.Heading = f.heading
	}
	if o.Begin != nil {
		if err := o.Begin(s.rows); err != nil {
			return sum, err
		}
	}
	if o.Hold == 0 {
		o.Hold = 4096
	}
	sort := &sorter{most: o.Hold}
	defer sort.close()
	err = d.rows(ctx, open, f, func(r record) error {
		if o.Progress != nil {
			o.Progress(r.line)
		}
		why := r.wrong
		if why == "" {
			why = cols.noUnit(r.fields)
		}
		if why != "" {
			sum.Rejected++
			return reject(Reject{r.line, why, firstOf(r.raw)})
		}
		row, err := d.row(ctx, s, cols, r)
		if err != nil {
			return err
		}
		s.twice.tell(row.Serial, r.line)
		if err := row.remember(ctx, o.Before); err != nil {
			return err
		}
		if cols.has(Serial) && noSerial(row.Serial) {
			row.askFirst(sayAskSerial)
		}
		sum.Rows++
		sum.Calls[row.Call]++
		sum.BenchMin += row.BenchMin
		return sort.add(row)
	})
	if err != nil {
		return sum, err
	}
	sum.Situations, sum.Twice = d.made, s.twice.list
	sum.MoreTwice = len(s.twice.hashes) - len(sum.Twice)
	return sum, sort.each(each)
}

// remember adds what is remembered of a sound row's serial. Whether the complaint is the same
// nobody can tell but the sender.
func (r *Row) remember(ctx context.Context, before func(context.Context, string) ([]string, error)) (err error) {
	if before == nil || noSerial(r.Serial) || r.Call == AskBack {
		return nil
	}
	if r.Before, err = before(ctx, r.Serial); err != nil || len(r.Before) == 0 {
		return err
	}
	r.askFirst(sayAskBefore)
	return nil
}

// askFirst puts a question before the others, of which no more are asked than a sender answers.
func (r *Row) askFirst(question string) {
	r.Ask = append([]string{question}, r.Ask...)
	if r.Call != AskBack {
		r.Ask = r.Ask[:min(len(r.Ask), mostAsked)]
	}
}

// mostRejectText is how much of a row a reject shows.
const mostRejectText = 200

func firstOf(text string) string {
	if r := []rune(text); len(r) > mostRejectText {
		return string(r[:mostRejectText]) + " ..."
	}
	return text
}

// rows reads all rows below the headings.
func (d *Desk) rows(ctx context.Context, open func() (io.ReadCloser, error), f form, visit func(record) error) error {
	in, err := open()
	if err != nil {
		return err
	}
	defer in.Close()
	r := newRecords(in, f.letters, f.sep)
	if _, err := r.heading(f.heading); err != nil {
		return err
	}
	for {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		row, err := r.next()
		if errors.Is(err, io.EOF) {
			return nil
		}
		if err != nil {
			return err
		}
		if row.blank {
			continue
		}
		if err := visit(row); err != nil {
			return err
		}
	}
}

// row works one row.
func (d *Desk) row(ctx context.Context, s *survey, cols *columns, r record) (Row, error) {
	row := Row{Line: r.line, Serial: cols.cell(r.fields, Serial), Place: cols.cell(r.fields, Place)}
	damaged := func(kind Damage, heading, cell string) {
		if !slices.Contains(row.Damage, kind) {
			row.Damage = append(row.Damage, kind)
			row.DamageSays = append(row.DamageSays, sayDamage(kind, strings.TrimSpace(heading), firstOf(cell)))
		}
	}
	if r.dirty {
		damaged(LostLetters, sayWholeRow, r.raw)
	}
	var parts []string
	for i, role := range cols.roles {
		cell := strings.TrimSpace(r.fields[i])
		if role == Unused || cell == "" {
			continue
		}
		if kind := cellDamage(cell); kind != "" {
			damaged(kind, cols.names[i], cell)
		}
		switch role {
		case Serial:
			if kind := s.serialDamage(cell); kind != "" {
				damaged(kind, cols.names[i], cell)
			}
		case Complaint:
			row.Complaint = joined(row.Complaint, cell)
			parts = append(parts, "\x00"+cell)
		case Place:
		default:
			if commaRE().MatchString(cell) && d.reads(role) {
				damaged(WhichComma, cols.names[i], cell)
			}
			parts = append(parts, role+"="+cell)
		}
	}
	if len(row.Damage) > 0 {
		row.Call, row.Ask = AskBack, row.DamageSays
		return row, nil
	}
	h := d.hear(parts)
	row.Understood, row.NotHeard = h.understood, append(slices.Clone(h.notHeard), h.wrong...)
	o, err := d.opinion(ctx, h.situation)
	if err != nil {
		return row, err
	}
	row.Call, row.Good, row.Bad, row.Likely, row.LikelySays, row.Outcome, row.Ask, row.BenchMin = o.call, o.good, o.bad, o.likely, o.likelySays, o.outcome, o.ask, o.bench
	return row, nil
}

func joined(before, more string) string {
	if before == "" {
		return more
	}
	return before + "; " + more
}

// reads says whether a role takes a number.
func (d *Desk) reads(role string) bool {
	ref, _ := d.base.Lookup(role)
	if ref.Kind == rulebase.KindGiven {
		g := &d.base.Givens[ref.Index]
		return g.Type != rulebase.Flag && g.Type != rulebase.Choice
	}
	return d.base.Symptoms[ref.Index].Banded()
}
