// Package bench is what happens at the bench while a procedure is gone through: which
// step comes next, what a reading says against its limits, what follows for the
// diagnosis, and what is still in place when the bench is left.
//
// It is pure: a procedure, a unit profile and the events so far give a state, by the
// same events always the same one. No clock, no terminal, no file is in it, so that
// a terminal, a page or a script are skins, and a run that was killed goes on from
// its events.
package bench

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// An Outcome is what became of a step or a reading.
type Outcome string

// The outcomes. Open, Skipped and NotReached are of steps only; NotShown is of a
// count of errors that proves neither the one nor the other, and of a limit that the
// profile does not give.
const (
	Open       Outcome = "open"        // not all of it was answered
	Passed     Outcome = "pass"        //
	Failed     Outcome = "fail"        //
	Recorded   Outcome = "recorded"    // only written down, there is no limit
	NotShown   Outcome = "not_shown"   //
	Skipped    Outcome = "not_done"    // somebody said why, and nothing in it had failed
	NotReached Outcome = "not_reached" // a step before it failed and ended the work
	NotMeant   Outcome = "not_meant"   // does not apply to this unit
)

// A Result is a reading with its answer.
type Result struct {
	Reading    *rulebase.BenchReading
	Text       string // as typed, tidied
	Number     float64
	Wrong, Of  int // of a count of errors
	Word       string
	Points     []int // that do not pass
	Outcome    Outcome
	Low, High  float64 // limits as worked out; NaN: none
	Lacks      string  // the fact that a limit wants and the profile does not give
	MoreNeeded int     // of a count of errors that was not shown: messages in all with no further error
	Instrument *Tool
	Seq        int
	says       string // below, inside, above, a word, pass, fail
	OutOf      int    // points in all
}

// A Tool is an instrument at the bench.
type Tool struct {
	Kind  string
	Name  string
	Until string // calibrated until, 2027-03-01; "" not known
	Late  bool   // used after that day
	Seq   int
}

// A StepState is a step with what became of it.
type StepState struct {
	Step      *rulebase.BenchStep
	Outcome   Outcome
	Reason    string // why it, or with a fail the rest of it, was not done
	Confirmed bool
	Results   []Result
}

// The verdicts on a unit, and none while the run is not at its end.
const (
	NoVerdict rulebase.Verdict = ""
	Good                       = rulebase.UnitGood
	Bad                        = rulebase.UnitBad
	NotProven                  = rulebase.UnitNotProven
)

// A State is what a run has come to. It is worked out from the events anew each time.
type State struct {
	Procedure *rulebase.Procedure
	Unit      *rulebase.Profile
	Events    []Event

	Begin    map[string]string // values of the event that began it
	Asked    map[string]string // answers beside the steps: by, intermittent, returned_before
	Steps    []StepState
	Tools    []Tool
	InPlace  []InPlace
	Notes    []Note
	Findings []Finding
	Wants    Wants
	Verdict  rulebase.Verdict
	Basis    []string // whole sentences
	StoppedBy,
	Serial, Complaint string
	Minutes, MinutesLeft float64

	slots []rulebase.Slot
}

// InPlace is a force that was put in and not yet taken out.
type InPlace struct {
	Force rulebase.BenchForce
	Step  string // that put it in
	// Perhaps: the step was left out before its first reading, so that nobody knows; it is asked for all the same.
	Perhaps bool
}

// perhaps stands in an event under put_in.
const perhaps = "perhaps"

// A Note is something somebody remarked.
type Note struct {
	Step, Text string
}

// A Finding is what a run says to a diagnosis.
type Finding struct {
	Symptom string
	Value   rulebase.Value
	Read    string
	Step    string
	Failed  bool
	Seq     int // of the event that says it
}

// A WantKind says what a run waits for.
type WantKind string

// What a run can wait for.
const (
	WantsAnswer  WantKind = "answer"     // to a question from before the first step
	WantsConfirm WantKind = "confirm"    // that warnings were read
	WantsTool    WantKind = "instrument" // what something is read with
	WantsReading WantKind = "reading"    //
	WantsRelease WantKind = "release"    // that a force was taken out
	WantsNothing WantKind = ""           // the run is at its end
)

// Wants is what comes next.
type Wants struct {
	Kind    WantKind
	Ask     string // the id asked for: of a question, an instrument, a force
	Step    int    // place in Steps; -1 before and behind them
	Reading *rulebase.BenchReading
	// Low and High are the limits of a reading, worked out; NaN: none. Count is how many points or messages.
	Low, High float64
	Count     int
}

// asks are the questions before the first step.
var asks = []string{"by", "intermittent"}

// returnedBefore is asked between steps once the serial number is read: it is looked up by that.
const returnedBefore = "returned_before"

// Run works out what a run has come to.
func Run(p *rulebase.Procedure, unit *rulebase.Profile, events []Event) (*State, error) {
	s := &State{Procedure: p, Unit: unit, Events: events, Asked: map[string]string{}, slots: facts(p, unit)}
	s.Steps = make([]StepState, len(p.Steps))
	for i := range p.Steps {
		s.Steps[i] = StepState{Step: &p.Steps[i], Outcome: Open}
	}
	for _, e := range standing(events) {
		if err := s.take(e); err != nil {
			return nil, fmt.Errorf("event %d: %w", e.Seq, err)
		}
	}
	s.next()
	s.judge()
	return s, nil
}

// take adds one event. Answers are read as if they were typed now, so that the file
// keeps what was typed.
func (s *State) take(e Event) error {
	s.next()
	switch e.Kind {
	case Begun:
		s.Begin = e.Values
	case Instrument:
		s.Tools = append(s.Tools, Tool{Kind: e.Values["kind"], Name: e.Values["name"], Until: e.Values["until"], Seq: e.Seq})
	case Confirmed:
		if i := s.at(e.Step); i >= 0 {
			s.Steps[i].Confirmed = true
		}
	case NotDone:
		if i := s.at(e.Step); i >= 0 {
			if e.Values["put_in"] == perhaps {
				s.putIn(&s.Steps[i], true)
			}
			s.leftOut(&s.Steps[i], e.Values["reason"])
		}
	case Resumed:
		for i := range s.Steps { // hours, people and what is live on the bench may have changed
			s.Steps[i].Confirmed = false
		}
	case Noted:
		s.Notes = append(s.Notes, Note{e.Step, e.Values["text"]})
	case Released:
		s.InPlace = slices.DeleteFunc(s.InPlace, func(f InPlace) bool { return f.Force.ID == e.Values["force"] })
	case Answered:
		return s.answered(e)
	}
	return nil
}

// leftOut leaves out what is left of a step. What failed in it before has failed.
func (s *State) leftOut(st *StepState, reason string) {
	st.Outcome, st.Reason = Skipped, reason
	if slices.ContainsFunc(st.Results, failed) {
		st.Outcome = Failed
	}
}

func failed(r Result) bool { return r.Outcome == Failed }

// answered takes an answer: to a question from before the first step, or the reading that
// is wanted now.
func (s *State) answered(e Event) error {
	for _, id := range slices.Sorted(maps.Keys(e.Values)) { // a run writes one; a spoilt file may hold more
		text := e.Values[id]
		if e.Step == "" {
			s.Asked[id] = text
			if i := s.name(id); i >= 0 {
				s.slots[i] = rulebase.Slot{Rank: rulebase.FromPerson, Word: 1}
				if text == "yes" {
					s.slots[i].Word = 2
				}
			}
			continue
		}
		if s.Wants.Kind != WantsReading || s.Steps[s.Wants.Step].Step.ID != e.Step || s.Wants.Reading.ID != id {
			return fmt.Errorf("it answers %s of step %s, which is not what was asked", id, e.Step)
		}
		r, err := s.read(text)
		if err != nil {
			return err
		}
		r.Seq = e.Seq
		if tool := s.tool(r.Reading.With); tool != nil {
			late := *tool
			late.Late = late.Until != "" && e.Day() > late.Until
			r.Instrument = &late
		}
		s.keep(r)
	}
	return nil
}

func (s *State) name(id string) int {
	return slices.IndexFunc(s.Procedure.Names, func(n rulebase.Name) bool { return n.ID == id })
}

func (s *State) at(step string) int {
	return slices.IndexFunc(s.Steps, func(x StepState) bool { return x.Step.ID == step })
}

func (s *State) tool(kind string) *Tool {
	for i := len(s.Tools) - 1; i >= 0 && kind != ""; i-- {
		if s.Tools[i].Kind == kind {
			return &s.Tools[i]
		}
	}
	return nil
}

// keep adds a result, what it says to later steps and to a diagnosis.
func (s *State) keep(r Result) {
	st := &s.Steps[s.Wants.Step]
	if len(st.Results) == 0 { // it is in for the reading, whatever becomes of the rest of the step
		s.putIn(st, false)
	}
	st.Results = slices.DeleteFunc(st.Results, func(old Result) bool { return old.Reading == r.Reading }) // counted on
	st.Results = append(st.Results, r)
	g := r.Reading
	slot := rulebase.Slot{Rank: rulebase.FromPerson, Number: math.NaN()}
	switch g.Kind {
	case rulebase.ReadsNumber:
		slot.Number = r.Number
	case rulebase.ReadsErrors:
		slot.Number = float64(r.Wrong)
	case rulebase.ReadsWord:
		slot.Word = int32(slices.Index(g.OneOf, r.Word) + 1)
	case rulebase.ReadsYesNo:
		slot.Word = map[string]int32{"no": 1, "yes": 2}[r.Word]
	case rulebase.ReadsPoints:
		slot.Word = map[bool]int32{false: 1, true: 2}[len(r.Points) == 0]
	case rulebase.ReadsText:
		slot.Word = 2
	}
	if g.Slot >= 0 {
		s.slots[g.Slot] = slot
	}
	switch g.Text {
	case "serial":
		s.Serial = r.Text
	case "complaint":
		s.Complaint = r.Text
	}
	s.found(r, st.Step.ID)
	s.finish(st)
}

// putIn has in place what a step puts in.
func (s *State) putIn(st *StepState, perhaps bool) {
	for _, f := range st.Step.PutsIn {
		s.InPlace = append(s.InPlace, InPlace{s.Procedure.Forces[f], st.Step.ID, perhaps})
	}
}

// found adds what a result says to a diagnosis.
func (s *State) found(r Result, step string) {
	failed := r.Outcome == Failed
	if r.Reading.Finding != "" {
		v := rulebase.Value{IsNumber: true, Number: r.Number, Word: strconv.FormatFloat(r.Number, 'g', -1, 64)}
		if !math.IsInf(r.Number, 0) {
			s.Findings = append(s.Findings, Finding{r.Reading.Finding, v, r.Text, step, failed, r.Seq})
		}
	}
	for _, m := range r.Reading.Means {
		if m.Outcome == r.says || m.Outcome == "fail" && failed || m.Outcome == "pass" && r.Outcome == Passed {
			s.Findings = append(s.Findings, Finding{m.Symptom, rulebase.Value{Word: m.Value}, r.Text, step, failed, r.Seq})
		}
	}
}

// finish sets a step's outcome once all of its readings are there, or the first has
// failed where nothing is done after a fail.
func (s *State) finish(st *StepState) {
	if st.Outcome != Open || s.nextReading(st) != nil && !(slices.ContainsFunc(st.Results, failed) && st.Step.StopIfFail) {
		return
	}
	st.Outcome = Recorded
	for _, r := range st.Results {
		if worse[r.Outcome] > worse[st.Outcome] {
			st.Outcome = r.Outcome
		}
	}
	if st.Outcome == Passed || st.Outcome == Recorded {
		for _, f := range st.Step.TakesOut {
			id := s.Procedure.Forces[f].ID
			s.InPlace = slices.DeleteFunc(s.InPlace, func(p InPlace) bool { return p.Force.ID == id })
		}
	}
	if st.Outcome == Failed && st.Step.StopIfFail {
		s.StoppedBy = st.Step.ID
	}
}

var worse = map[Outcome]int{Recorded: 0, Passed: 1, NotShown: 2, Failed: 3}

// nextReading is the first reading of a step that applies and has no answer.
func (s *State) nextReading(st *StepState) *rulebase.BenchReading {
	for i := range st.Step.Readings {
		g := &st.Step.Readings[i]
		answered := slices.ContainsFunc(st.Results, func(r Result) bool { return r.Reading == g && !r.countsOn() })
		if !answered && s.applies(g.When) {
			return g
		}
	}
	return nil
}

// countsOn says that a count of errors showed neither the one nor the other, and that
// more messages can: it is asked for again until they do, or somebody says "enough".
func (r *Result) countsOn() bool { return r.MoreNeeded > 0 }

// Counted is the count that did not show enough, where one is gone on with; nil: none.
func (s *State) Counted() *Result {
	if s.Wants.Kind != WantsReading {
		return nil
	}
	for i, r := range s.Steps[s.Wants.Step].Results {
		if r.Reading == s.Wants.Reading {
			return &s.Steps[s.Wants.Step].Results[i]
		}
	}
	return nil
}

// applies takes what is not known for true: a step too many costs minutes, one too
// few a unit.
func (s *State) applies(when *rulebase.Expression) bool {
	return when == nil || when.Eval(s.slots) != rulebase.False
}

// next finds what the run waits for.
func (s *State) next() {
	s.Wants = Wants{Step: -1, Low: math.NaN(), High: math.NaN()}
	for _, id := range asks {
		if s.Asked[id] == "" {
			s.Wants.Kind, s.Wants.Ask = WantsAnswer, id
			return
		}
	}
	for i := range s.Steps {
		st := &s.Steps[i]
		if st.Outcome != Open && st.Outcome != NotMeant && st.Outcome != NotReached {
			continue
		}
		st.Outcome = Open
		if len(st.Results) == 0 && !s.applies(st.Step.When) {
			st.Outcome = NotMeant
			continue
		}
		if s.StoppedBy != "" && !s.takesOut(st.Step) {
			st.Outcome = NotReached
			continue
		}
		g := s.nextReading(st)
		if g == nil {
			st.Outcome = NotMeant
			continue
		}
		if s.Asked[returnedBefore] == "" && s.StoppedBy == "" && (len(st.Results) == 0 && !s.serialToCome(i) || s.restsOn(returnedBefore, g.When)) { // between steps, as far as it can be
			s.Wants.Kind, s.Wants.Ask = WantsAnswer, returnedBefore
			return
		}
		s.Wants.Step, s.Wants.Reading = i, g
		switch {
		case !st.Confirmed && s.mustConfirm(st.Step):
			s.Wants.Kind = WantsConfirm
		case g.With != "" && s.tool(g.With) == nil:
			s.Wants.Kind, s.Wants.Ask = WantsTool, g.With
		default:
			s.Wants.Kind = WantsReading
			s.Wants.Low, s.Wants.High, s.Wants.Count, _ = s.limits(g)
		}
		return
	}
	if s.Asked[returnedBefore] == "" && s.StoppedBy == "" { // the serial number was the last to be asked for
		s.Wants.Kind, s.Wants.Ask = WantsAnswer, returnedBefore
		return
	}
	if len(s.InPlace) > 0 {
		s.Wants.Kind, s.Wants.Ask = WantsRelease, s.InPlace[0].Force.ID
	}
}

// serialToCome says that the serial number is asked for in an open step from the i-th on, before anything rests on
// whether the unit was here before.
func (s *State) serialToCome(i int) bool {
	for ; i < len(s.Steps) && s.StoppedBy == ""; i++ {
		st := &s.Steps[i]
		if st.Outcome != Open && st.Outcome != NotMeant && st.Outcome != NotReached {
			continue
		}
		if s.restsOn(returnedBefore, st.Step.When) {
			return false
		}
		for j := range st.Step.Readings {
			g := &st.Step.Readings[j]
			if s.restsOn(returnedBefore, g.When) {
				return false
			}
			if g.Text == "serial" && s.applies(st.Step.When) && s.applies(g.When) && !slices.ContainsFunc(st.Results, func(r Result) bool { return r.Reading == g }) {
				return true
			}
		}
	}
	return false
}

func (s *State) restsOn(id string, e *rulebase.Expression) bool {
	name := s.name(id)
	return e != nil && name >= 0 && slices.Contains(e.Reads(), name)
}

// takesOut says that a step takes out something that is in place: it is done even
// when a fail has ended the work.
func (s *State) takesOut(step *rulebase.BenchStep) bool {
	return slices.ContainsFunc(s.InPlace, func(p InPlace) bool {
		return slices.ContainsFunc(step.TakesOut, func(f int) bool { return s.Procedure.Forces[f].ID == p.Force.ID })
	})
}

// Warnings are those of a step that count for this unit, the gravest first.
func (s *State) Warnings(step *rulebase.BenchStep) []rulebase.BenchWarning {
	var all []rulebase.BenchWarning
	for _, w := range step.Warnings {
		if s.applies(w.When) {
			all = append(all, w)
		}
	}
	slices.SortStableFunc(all, func(a, b rulebase.BenchWarning) int { return grave[a.Level] - grave[b.Level] })
	return all
}

var grave = map[rulebase.Level]int{rulebase.DangerLevel: 0, rulebase.WarningLevel: 1, rulebase.CautionLevel: 2, rulebase.NoticeLevel: 3}

// Tell is a text of a step with the unit's figures in it.
func (s *State) Tell(text string) string { return s.Procedure.Tell(text, s.slots) }

// mustConfirm says that a step's warnings are graver than cautions and notices: then
// somebody says that they were read.
func (s *State) mustConfirm(step *rulebase.BenchStep) bool {
	return slices.ContainsFunc(s.Warnings(step), func(w rulebase.BenchWarning) bool {
		return w.Level == rulebase.DangerLevel || w.Level == rulebase.WarningLevel
	})
}

// limits works out the limits of a reading, NaN where it has none, and how many points or
// messages it counts; lacks names the fact that a limit wants and nobody gave.
func (s *State) limits(g *rulebase.BenchReading) (low, high float64, count int, lacks string) {
	value := func(e *rulebase.Expression) float64 {
		if e == nil {
			return math.NaN()
		}
		x := e.Value(s.slots)
		if math.IsNaN(x) {
			for _, n := range e.Reads() {
				if math.IsNaN(s.slots[n].Number) {
					lacks = s.Procedure.Names[n].ID
				}
			}
			if lacks == "" {
				lacks = e.Text
			}
		}
		return x
	}
	low, high = value(g.Least), value(g.Most)
	if g.Equal != nil {
		low = value(g.Equal)
		high = low
	}
	if g.Kind == rulebase.ReadsErrors {
		low, high = math.NaN(), value(g.ErrorRate)
	}
	for _, e := range []*rulebase.Expression{g.Points, g.Messages} {
		if e != nil {
			if x := value(e); !math.IsNaN(x) {
				count = int(math.Round(x))
			}
		}
	}
	return low, high, count, lacks
}

// read takes what was typed as the answer to what is wanted. The error is a
// *quantity.Question or says in a sentence what to type.
func (s *State) read(text string) (Result, error) {
	g := s.Wants.Reading
	r := Result{Reading: g, Text: text, Number: math.NaN(), Outcome: Passed}
	var lacks string
	r.Low, r.High, _, lacks = s.limits(g)
	r.Lacks = lacks
	var err error
	switch g.Kind {
	case rulebase.ReadsNumber:
		err = s.readNumber(&r)
	case rulebase.ReadsWord, rulebase.ReadsYesNo:
		if r.Word, err = answer(text, g.OneOf); err == nil {
			r.Text, r.says = r.Word, r.Word
			if !slices.Contains(g.Passes, r.Word) {
				r.Outcome = Failed
			}
		}
	case rulebase.ReadsPoints:
		r.OutOf = s.Wants.Count
		if r.Points, err = points(text, s.Wants.Count); err == nil && len(r.Points) > 0 {
			r.Outcome = Failed
		}
	case rulebase.ReadsErrors:
		err = s.readErrors(&r)
	case rulebase.ReadsText:
		r.Outcome = Recorded
		if g.Text == "serial" {
			r.Text = scanned(text)
		}
		if r.Text == "" {
			err = sayable(sayEmptyText)
		}
	}
	return r, err
}

func (s *State) readNumber(r *Result) error {
	g := r.Reading
	got, err := quantity.Read(r.Text, quantity.Want{Unit: g.Unit, Range: plausible(r.Low, r.High)})
	if err != nil {
		return err
	}
	r.Text = got.String()
	low, high := r.Low, r.High
	if g.Equal != nil && !math.IsNaN(low) { // the same number, whatever way it was typed
		low, high = low-1e-9*math.Abs(low), high+1e-9*math.Abs(high)
	}
	below := !math.IsNaN(low) && (got.High < low || got.Shape == quantity.Below && got.High <= low)
	above := !math.IsNaN(high) && (got.Low > high || got.Shape == quantity.Above && got.Low >= high)
	spans := !math.IsNaN(low) && got.Low < low || !math.IsNaN(high) && got.High > high
	r.Number = got.Low
	if x, ok := got.Value(); ok {
		r.Number = x
	} else if got.Shape == quantity.Below {
		r.Number = got.High
	}
	switch {
	case below:
		r.Outcome, r.says = Failed, "below"
	case above:
		r.Outcome, r.says = Failed, "above"
	case got.Shape == quantity.OverRange && math.IsNaN(high):
		r.says = "inside"
	case spans:
		return sayable(fmt.Sprintf(saySpansLimit, r.Text))
	default:
		r.says = "inside"
	}
	switch {
	case r.Outcome == Passed && r.Lacks != "":
		r.Outcome = NotShown
	case r.Outcome == Passed && g.Least == nil && g.Most == nil && g.Equal == nil:
		r.Outcome = Recorded
	}
	return nil
}

// plausible is where a reading can lie without being asked back: within two hundred times its
// limits, which is less than the thousand by which a point is mistaken.
func plausible(low, high float64) *[2]float64 {
	most := 0.0
	for _, x := range []float64{low, high} {
		if !math.IsNaN(x) {
			most = math.Max(most, math.Abs(x))
		}
	}
	if most == 0 {
		return nil
	}
	return &[2]float64{-most, 200 * most}
}

func (s *State) readErrors(r *Result) error {
	var err error
	before := s.Counted()
	if before != nil && strings.EqualFold(r.Text, "enough") {
		*r = *before
		r.MoreNeeded = 0
		return nil
	}
	if r.Wrong, r.Of, err = counts(r.Text); err != nil {
		return err
	}
	if before != nil && (r.Of < before.Of || r.Wrong < before.Wrong) {
		return sayable(fmt.Sprintf(sayCountAll, before.Text))
	}
	r.Text = fmt.Sprintf("%d of %d", r.Wrong, r.Of)
	r.Number = float64(r.Wrong)
	switch {
	case math.IsNaN(r.High):
		r.Outcome = NotShown
	case Above(r.Wrong, r.Of) < r.High:
	case Below(r.Wrong, r.Of) > r.High:
		r.Outcome = Failed
	default:
		r.Outcome, r.MoreNeeded = NotShown, Needed(r.Wrong, r.High)
	}
	return nil
}

// judge gives the verdict once nothing is wanted any more.
func (s *State) judge() {
	for i := range s.Steps {
		st := &s.Steps[i]
		s.Minutes += st.Step.Minutes
		if st.Outcome == Open {
			s.MinutesLeft += st.Step.Minutes
		}
		if st.Outcome == NotMeant {
			s.Minutes -= st.Step.Minutes
		}
	}
	if s.Wants.Kind != WantsNothing || s.Begin == nil {
		return
	}
	s.Verdict = Good
	lower := func(to rulebase.Verdict, says string) {
		if s.Verdict != Bad {
			s.Verdict = to
		}
		s.Basis = append(s.Basis, says)
	}
	module := slices.ContainsFunc(s.Steps, func(st StepState) bool {
		return st.Outcome == Failed && st.Step.Proves == rulebase.ProvesModules
	})
	for i := range s.Steps {
		st := &s.Steps[i]
		switch {
		case st.Outcome == Failed && st.Step.Proves == rulebase.ProvesUnit:
			lower(Bad, fmt.Sprintf(sayFailedStep, st.Step.Name))
		case st.Outcome == Failed && st.Step.Proves == rulebase.ProvesModules:
			lower(NotProven, fmt.Sprintf(sayModuleFailed, st.Step.Name))
		case st.Outcome == Failed && st.Step.Proves == rulebase.ProvesComplaint && module:
			lower(NotProven, fmt.Sprintf(sayReproducedModule, st.Step.Name))
		case st.Outcome == Failed && st.Step.Proves == rulebase.ProvesComplaint:
			lower(Bad, fmt.Sprintf(sayReproduced, st.Step.Name))
		case st.Outcome == Failed && st.Step.Proves == rulebase.ProvesSettings:
			s.Basis = append(s.Basis, fmt.Sprintf(saySettingsDiffer, st.Step.Name))
		case st.Outcome == Failed:
			lower(NotProven, fmt.Sprintf(sayNotForUnit, st.Step.Name))
		case st.Outcome == NotShown:
			lower(NotProven, fmt.Sprintf(sayNotShown, st.Step.Name))
		case st.Outcome == Skipped:
			lower(NotProven, fmt.Sprintf(sayNotDone, st.Step.Name, st.Reason))
		case st.Outcome == NotReached:
			lower(NotProven, fmt.Sprintf(sayNotReached, st.Step.Name))
		}
		if st.Outcome == Failed && st.Reason != "" {
			lower(NotProven, fmt.Sprintf(sayRestNotDone, st.Step.Name, st.Reason))
		}
	}
	if s.Verdict == Good {
		s.Basis = append([]string{sayAllPassed}, s.Basis...)
		if s.Procedure.PassedIs == NotProven {
			s.Verdict, s.Basis = NotProven, append(s.Basis, sayTooShort)
		}
	}
}

// Last is the result that an event gave; nil: none.
func (s *State) Last(seq int) *Result {
	for i := range s.Steps {
		for j := range s.Steps[i].Results {
			if r := &s.Steps[i].Results[j]; r.Seq == seq {
				return r
			}
		}
	}
	return nil
}

// Limits works out the limits of a reading; NaN: none, or not to be known yet.
func (s *State) Limits(g *rulebase.BenchReading) (low, high float64) {
	low, high, _, _ = s.limits(g)
	return low, high
}

// Hands are the ids of all who were at a run, in the order in which they came to it: who began it, where that was
// said, and who went on with it.
func (s *State) Hands() []string {
	var all []string
	came := func(by string) {
		if by != "" && !slices.Contains(all, by) {
			all = append(all, by)
		}
	}
	came(s.Asked["by"])
	next := "" // who opened the run again, and has entered nothing yet
	for i := range s.Events {
		switch e := &s.Events[i]; e.Kind {
		case Resumed:
			next = e.Values["by"]
		case Begun, Printed:
		default:
			came(next)
			next = ""
		}
	}
	return all
}

// LastHand is the id of whoever was at a run last: who went on with it, else who began it; "" it was not said.
func (s *State) LastHand() string {
	who := s.Asked["by"]
	for i := range s.Events {
		if e := &s.Events[i]; e.Kind == Resumed && e.Values["by"] != "" {
			who = e.Values["by"]
		}
	}
	return who
}

// MustConfirmAgain says that whoever goes on with a run on that day, another person or another day than whoever
// was at it last, has to read again a warning that was confirmed: by is "" where it was not said.
func (s *State) MustConfirmAgain(by, day string) bool {
	if s.Wants.Step < 0 || !slices.ContainsFunc(s.Steps, func(st StepState) bool { return st.Confirmed && st.Outcome == Open }) {
		return false
	}
	all := standing(s.Events) // what was taken back today stands for yesterday's
	return all[len(all)-1].Day() != day || by != "" && by != s.LastHand()
}

// Applies says that a step is meant for this unit, as far as is known.
func (s *State) Applies(step *rulebase.BenchStep) bool { return s.applies(step.When) }
