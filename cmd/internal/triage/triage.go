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
	"fmt"
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
	Begin  func(rows int) // called before the second pass, with the number of rows
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
	s, letters, sep, cols, err := d.survey(ctx, open, o)
	if err != nil {
		return sum, err
	}
	sum = Summary{Calls: map[Call]int{}, Unused: cols.unused(), Windows1252: letters == windows1252, Separator: sep}
	if o.Begin != nil {
		o.Begin(s.rows)
	}
	if o.Hold == 0 {
		o.Hold = 4096
	}
	sort := &sorter{most: o.Hold}
	defer sort.close()
	err = d.rows(ctx, open, letters, sep, func(r record) error {
		if o.Progress != nil {
			o.Progress(r.line)
		}
		if r.wrong != "" {
			sum.Rejected++
			return reject(Reject{r.line, r.wrong, firstOf(r.raw)})
		}
		row, err := d.row(ctx, s, cols, r)
		if err != nil {
			return err
		}
		if err := row.remember(ctx, o.Before); err != nil {
			return err
		}
		sum.Rows++
		sum.Calls[row.Call]++
		sum.BenchMin += row.BenchMin
		return sort.add(row)
	})
	if err != nil {
		return sum, err
	}
	sum.Situations = d.made
	return sum, sort.each(each)
}

// remember adds what is remembered of a sound row's serial. Whether the complaint is the same
// nobody can tell but the sender.
func (r *Row) remember(ctx context.Context, before func(context.Context, string) ([]string, error)) (err error) {
	if before == nil || r.Serial == "" || r.Call == AskBack {
		return nil
	}
	if r.Before, err = before(ctx, r.Serial); err != nil || len(r.Before) == 0 {
		return err
	}
	r.Ask = append([]string{sayAskBefore}, r.Ask...)
	r.Ask = r.Ask[:min(len(r.Ask), mostAsked)]
	return nil
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
func (d *Desk) rows(ctx context.Context, open func() (io.ReadCloser, error), letters encoding, sep rune, visit func(record) error) error {
	in, err := open()
	if err != nil {
		return err
	}
	defer in.Close()
	r := newRecords(in, letters, sep)
	if _, err := r.heading(); err != nil {
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

// heading reads the headings, which the other rows have to match in number. A line
// sep=; above them, which some spreadsheets write, is followed.
func (r *records) heading() (record, error) {
	for {
		row, err := r.next()
		if err != nil {
			return row, err
		}
		if sep, ok := strings.CutPrefix(strings.ToLower(row.raw), "sep="); ok && len(sep) == 1 || row.blank {
			continue
		}
		r.fields = len(row.fields)
		return row, nil
	}
}

// survey is the first pass: letters, separator, headings, serial numbers.
func (d *Desk) survey(ctx context.Context, open func() (io.ReadCloser, error), o Options) (*survey, encoding, rune, *columns, error) {
	letters, heading, err := d.letters(ctx, open)
	if err != nil {
		return nil, 0, 0, nil, err
	}
	sep := separatorOf(heading.raw)
	in, err := open()
	if err != nil {
		return nil, 0, 0, nil, err
	}
	defer in.Close()
	r := newRecords(in, letters, sep)
	heading, err = r.heading()
	if err != nil {
		return nil, 0, 0, nil, err
	}
	if heading.wrong != "" {
		return nil, 0, 0, nil, &InputError{[]string{heading.wrong}}
	}
	cols, problems := readColumns(d.base, heading.fields, o.Columns)
	if len(problems) > 0 {
		return nil, 0, 0, nil, &InputError{problems}
	}
	s := &survey{}
	for {
		if err := context.Cause(ctx); err != nil {
			return nil, 0, 0, nil, err
		}
		row, err := r.next()
		if errors.Is(err, io.EOF) {
			return s, letters, sep, cols, nil
		}
		if err != nil {
			return nil, 0, 0, nil, err
		}
		if row.blank {
			continue
		}
		s.rows++
		if row.wrong == "" {
			s.serial(cols.cell(row.fields, Serial))
		}
	}
}

// letters finds how a list is written: where rows are not UTF-8 and none holds a
// letter of two bytes, all of it is Windows-1252; where there are both, it is mixed.
func (d *Desk) letters(ctx context.Context, open func() (io.ReadCloser, error)) (encoding, record, error) {
	in, err := open()
	if err != nil {
		return 0, record{}, err
	}
	defer in.Close()
	r := newRecords(in, mixedLetters, '\x00')
	heading, err := r.heading()
	if errors.Is(err, io.EOF) {
		return 0, record{}, &InputError{[]string{sayEmptyList}}
	}
	if err != nil {
		return 0, record{}, err
	}
	wide, other := wideLetters(heading), heading.dirty
	for {
		if err := context.Cause(ctx); err != nil {
			return 0, record{}, err
		}
		text, err := r.readLine()
		switch {
		case errors.Is(err, io.EOF):
			switch {
			case other && wide:
				return mixedLetters, heading, nil
			case other:
				return windows1252, heading, nil
			}
			return utf8Letters, heading, nil
		case errors.Is(err, errLongLine):
			continue
		case err != nil:
			return 0, record{}, err
		}
		one := record{}
		one.raw, one.dirty = r.decode(text)
		other = other || one.dirty
		wide = wide || wideLetters(one)
	}
}

// wideLetters says whether a row holds letters of more than one byte in UTF-8.
func wideLetters(r record) bool {
	return !r.dirty && strings.IndexFunc(r.raw, func(c rune) bool { return c > 0x7f }) >= 0
}

// An opinion is what is thought of a situation.
type opinion struct {
	call       Call
	good, bad  float64
	likely     string
	likelySays string
	outcome    string
	ask        []string
	bench      float64
}

// A hearing is what was understood of what a row says.
type hearing struct {
	situation            rulebase.Situation
	understood, notHeard []string
	simple               bool     // of a clause: nothing but findings and givens
	wrong                []string // cells that say nothing their column can say
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

// hear takes in what a row says, each cell by itself.
func (d *Desk) hear(parts []string) hearing {
	key := strings.ToLower(strings.Join(parts, "\x01"))
	if h, ok := d.heard.get(key); ok {
		return h
	}
	h := hearing{situation: d.nothingSaid()}
	for _, part := range parts {
		if text, words := strings.CutPrefix(part, "\x00"); words {
			for _, clause := range clauses(text) {
				d.hearClause(&h, clause)
			}
			continue
		}
		after, pieces := d.talk.Hear(h.situation, part)
		if understood, left := sorted(pieces); len(left) == 0 {
			h.situation, h.understood = d.only(after, h.situation), append(h.understood, understood...)
		} else {
			h.wrong = append(h.wrong, part)
		}
	}
	d.heard.put(key, h)
	return h
}

// hearClause takes in a clause of a complaint. Nobody is there to be asked back: where
// more of its words were left over than understood, it was probably meant otherwise,
// and none of it counts.
func (d *Desk) hearClause(h *hearing, clause string) {
	alone := d.clauseAlone(clause)
	if !alone.simple { // it says something of other drops, which goes on from what stands before
		alone = d.clause(h.situation, clause)
		h.situation = alone.situation
	} else {
		h.situation.Findings = slices.Concat(h.situation.Findings, alone.situation.Findings)
		h.situation.Givens = slices.Concat(h.situation.Givens, alone.situation.Givens[len(d.bench):])
	}
	h.understood, h.notHeard = append(h.understood, alone.understood...), append(h.notHeard, alone.notHeard...)
}

// clauseAlone hears a clause by itself, or remembers it: senders write the same things.
func (d *Desk) clauseAlone(clause string) hearing {
	key := strings.ToLower(strings.TrimSpace(clause))
	if h, ok := d.clauses.get(key); ok {
		return h
	}
	empty := d.nothingSaid()
	h := d.clause(empty, clause)
	rest := h.situation
	rest.Findings, rest.Givens = empty.Findings, empty.Givens
	h.simple = keyOf(rest) == keyOf(empty) && len(h.situation.Givens) >= len(d.bench)
	d.clauses.put(key, h)
	return h
}

func (d *Desk) nothingSaid() rulebase.Situation {
	return rulebase.Situation{At: rulebase.Phone, Givens: slices.Clone(d.bench)}
}

func (d *Desk) clause(s rulebase.Situation, clause string) hearing {
	after, pieces := d.talk.Hear(s, clause)
	h := hearing{situation: s}
	understood, left := sorted(pieces)
	used, over := 0, 0
	for _, p := range pieces {
		if n := len(strings.Fields(p.Text)); p.Outcome == conversation.Understood {
			used += n
		} else {
			over += n
		}
	}
	if over > used {
		h.notHeard = []string{clause}
		return h
	}
	h.situation, h.understood, h.notHeard = d.only(after, s), understood, left
	return h
}

// sorted gives what was understood, in plain words, and what was not.
func sorted(pieces []conversation.Heard) (understood, left []string) {
	for _, p := range pieces {
		switch {
		case p.Outcome != conversation.Understood:
			left = append(left, p.Text)
		case p.Means != "":
			understood = append(understood, p.Means)
		}
	}
	return understood, left
}

// clauses parts a complaint at semicolons, new lines, full stops and commas that stand
// in no number.
func clauses(text string) []string {
	var all []string
	start := 0
	digit := func(i int) bool { return i >= 0 && i < len(text) && text[i] >= '0' && text[i] <= '9' }
	for i, c := range text {
		if c == ';' || c == '\n' || (c == ',' || c == '.') && !(digit(i-1) && digit(i+1)) {
			all = append(all, text[start:i])
			start = i + 1
		}
	}
	return slices.DeleteFunc(append(all, text[start:]), func(s string) bool { return strings.TrimSpace(s) == "" })
}

// only keeps what a row can say of its unit: what was found and what is known of the
// place. Who speaks, where from and what was done stays that of the list.
func (d *Desk) only(after, before rulebase.Situation) rulebase.Situation {
	after.At, after.Who, after.Alone, after.Tools, after.Confirmed = before.At, before.Who, before.Alone, before.Tools, before.Confirmed
	return after
}

// opinion diagnoses a situation, or remembers it.
func (d *Desk) opinion(ctx context.Context, s rulebase.Situation) (opinion, error) {
	key := keyOf(s)
	if o, ok := d.opinions.get(key); ok {
		return o, nil
	}
	d.made++
	bench := s.Clone()
	bench.At, bench.Who = rulebase.Bench, rulebase.Technician
	options := engine.Options{Lean: true, Last: true, OneCore: true}
	var at *engine.Diagnosis
	var benchErr error
	done := make(chan struct{})
	go func() {
		defer close(done)
		at, benchErr = engine.Diagnose(ctx, d.prepared, bench, options)
	}()
	phone, err := engine.Diagnose(ctx, d.prepared, s, options)
	<-done
	if err := errors.Join(err, benchErr); err != nil {
		return opinion{}, err
	}
	o := opinion{call: Open}
	if !phone.Possible {
		d.opinions.put(key, o)
		return o, nil
	}
	o.bad, o.good = phone.UnitOut, max(0, 1-phone.UnitOut-phone.Outside)
	switch {
	case o.good >= Probably:
		o.call = ProbablyGood
	case o.bad >= Probably:
		o.call = ProbablyBad
	}
	d.likeliest(&o, phone)
	o.ask = d.questions(phone)
	o.bench = at.Plan.Minutes
	d.opinions.put(key, o)
	return o, nil
}

// likeliest adds the cause and the outcome that are likeliest of the likelier side: of a
// unit that is more likely good than bad, what it is instead. A cause ends as its last
// remedy does, as in the chance that the unit is bad.
func (d *Desk) likeliest(o *opinion, x *engine.Diagnosis) {
	chances := map[rulebase.Outcome]float64{}
	for _, c := range x.Causes {
		list := d.base.Causes[c.Cause].Remedies
		if len(list) == 0 {
			continue
		}
		ends := d.base.Remedies[list[len(list)-1].Remedy].EndsAs
		if (ends == rulebase.UnitOut) != (o.bad > o.good) {
			continue
		}
		if len(chances) == 0 { // causes come the likeliest first
			o.likely, o.likelySays = d.base.Causes[c.Cause].ID, d.base.Causes[c.Cause].Name
		}
		chances[ends] += c.Probability
	}
	best := rulebase.Outcome("")
	for id, p := range chances {
		if p > chances[best] || p == chances[best] && id < best {
			best = id
		}
	}
	o.outcome = string(best)
}

// questions are what to ask the sender: what tells most, needs nothing but looking
// and remembering, and has no warning to be read first.
func (d *Desk) questions(x *engine.Diagnosis) []string {
	var all []string
	for i := range x.Next {
		p := &x.Next[i]
		if len(all) == mostAsked {
			break
		}
		st := p.Step
		if st.Kind != rulebase.KindTest || p.GainBits < engine.Idle || len(p.Warnings) > 0 || st.Hazard != 0 || st.Stops != rulebase.StopsNothing || len(st.PutsRight) > 0 || len(st.Needs) > 0 {
			continue
		}
		text := st.Do
		if st.Implied || len(st.Yields) == 1 {
			text = d.base.Symptoms[st.Yields[0]].Ask
		}
		all = append(all, text)
	}
	return all
}

// keyOf is the same for situations that say the same.
func keyOf(s rulebase.Situation) string {
	var all []string
	seen := map[string]bool{}
	sorted := true
	for i := range s.Findings {
		f := &s.Findings[i]
		sure := "-"
		if f.Sure != nil {
			sure = fmt.Sprint(*f.Sure)
		}
		all = append(all, fmt.Sprintf("%s=%+v@%s after %s drop %d now %v at %s", f.Symptom, f.Value, sure, f.After, f.Drop, f.Now, f.At))
		sorted = sorted && !seen[f.Symptom]
		seen[f.Symptom] = true
	}
	if sorted { // of a symptom that is seen twice the order tells which is the later
		slices.Sort(all)
	}
	var givens []string
	for _, g := range s.Givens {
		givens = append(givens, fmt.Sprintf("%s=%+v", g.ID, g.Value))
	}
	return strings.Join(append(append(all, "|"), givens...), "\n") + fmt.Sprintf("\n|%v %v %v %v %v", s.Drop, s.Drops, s.Order, s.Supplies, s.Done)
}

// A memory holds at most twice so many things: when the younger half is full, the
// older is forgotten. What is asked for again grows young again.
type memory[T any] struct {
	most       int
	young, old map[string]T
}

func newMemory[T any](most int) *memory[T] {
	return &memory[T]{most: most, young: map[string]T{}}
}

func (m *memory[T]) get(key string) (T, bool) {
	x, ok := m.young[key]
	if !ok {
		if x, ok = m.old[key]; ok {
			m.put(key, x)
		}
	}
	return x, ok
}

func (m *memory[T]) put(key string, x T) {
	if len(m.young) >= m.most {
		m.old, m.young = m.young, map[string]T{}
	}
	m.young[key] = x
}
