// Package conversation leads a person from a drop that is down to its cause by
// question and answer, in the words of the person and of the rulebase.
//
// A conversation is a pure function: a [State] and an entry give the next State
// and a [Reply]. There is no terminal, file or network in it, and a clock only where a
// skin hands one in ([Talk.WithClock]), so a terminal and a page are skins over the
// same talk; taking an entry back is going back to the earlier State. What it asks and
// proposes, and in which order, is the engine's [engine.Diagnosis]; this package only
// listens, echoes and asks back.
//
// Two laws hold for every entry: what was understood is echoed in plain words,
// with its unit, and nothing typed is dropped silently (see [Heard]).
package conversation

import (
	"context"
	"slices"
	"time"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Diagnose turns what is known into a diagnosis. The engine's door is the usual
// one; tests put in their own.
type Diagnose func(context.Context, rulebase.Situation, engine.Options) (*engine.Diagnosis, error)

// What is asked of a diagnosis: what comes next, while somebody waits, and all of it
// where somebody asks why or for details.
var (
	brief    = engine.Options{NoMinutes: true}
	thorough = engine.Options{Weights: true}
)

// A Talk is what all conversations over one rulebase share. It is never changed
// once made, so any number of conversations may use it at once.
type Talk struct {
	base     *rulebase.Base
	diagnose Diagnose
	words    *lexicon
	clock    func() time.Time // nil: nobody knows what time it is
}

// New makes a Talk over a rulebase. Without a diagnose it can only hear (Talk.Hear).
func New(base *rulebase.Base, diagnose Diagnose) *Talk {
	return &Talk{base: base, diagnose: diagnose, words: newLexicon(base)}
}

// A State is a conversation so far: what is known, and what is being asked. It is
// plain data. A Step never changes the State it is given.
type State struct {
	Situation rulebase.Situation
	Pending   Question   // what the next entry is taken to answer
	Waiting   []Question // to be asked, in order, before the diagnosis is asked what is next
	Told      []string   // conflicts and advice told already
	Settled   []string   // not to be asked again: symptoms, givens and steps passed over, and the questions of the opening that were answered
	// Acknowledged is what stands confirmed, with what it was confirmed for; its warnings are the situation's Confirmed.
	Acknowledged []Acknowledgement
	Summary      string // the summary said last
	Sheet        *Sheet // the unit's settings; nil: nobody keeps them, and they are not asked for
	Before       *State // the State before the last entry that changed something; nil at the beginning
}

// A Question is something asked, with its numbered answers.
type Question struct {
	Kind    QuestionKind
	ID      string   // the symptom, given, step or warning it is about; else ""
	For     string   // the step it is asked for, ""
	After   string   // AskSymptom: the Finding.After of the answer
	Says    []string // the question in words
	Typed   []string // what somebody has to know who types the answer, said after it
	Answers []Answer
}

// A QuestionKind says what a Question wants.
type QuestionKind string

// The kinds of questions.
const (
	AskOpening  QuestionKind = "opening"   // anything that is known
	AskSymptom  QuestionKind = "symptom"   // the value of symptom ID
	AskGiven    QuestionKind = "given"     // the value of given ID
	AskPlace    QuestionKind = "place"     // where the person is
	AskWho      QuestionKind = "who"       // whose hands are on the equipment
	AskAlone    QuestionKind = "alone"     // whether anybody else is there
	AskDrops    QuestionKind = "drops"     // the state of the other drops
	AskThisDrop QuestionKind = "this_drop" // which drop this is
	AskDropNow  QuestionKind = "drop_now"  // what the drop does after ID was done
	AskProof    QuestionKind = "proof"     // whether remedy ID held
	AskConfirm  QuestionKind = "confirm"   // that the fact in warning ID holds, before step For
	AskWhich    QuestionKind = "which"     // what an unclear entry meant
	AskElse     QuestionKind = "else"      // whether one of the other steps is wanted; forgotten with the next entry
	AskStep     QuestionKind = "step"      // to carry out step ID
	AskMore     QuestionKind = "more"      // nothing can be offered: what would help
	AskEnd      QuestionKind = "end"       // the drop is well
	AskOut      QuestionKind = "out"       // whether what step ID put in is out again
	AskFound    QuestionKind = "found"     // setting ID of the unit as found, before the work For
	AskLeft     QuestionKind = "left"      // setting ID of the unit as left
)

// An Answer is a numbered answer. It is short for an entry: choosing it is
// entering Entry.
type Answer struct {
	Key   string `json:"key"` // what to type: a number, or a letter where a bare number would be a reading
	Says  string `json:"says"`
	Here  string `json:"here,omitempty"` // what the site calls that, said after it; ""
	Entry string `json:"entry"`
}

// A Reply is what the conversation answers to an entry, as data and as lines.
type Reply struct {
	Kind      ReplyKind
	Heard     []Heard           // every part of the entry, and what became of it
	Parts     []Part            // what to show, in order
	Question  Question          // what is asked now
	Diagnosis *engine.Diagnosis // the one the reply rests on; nil where none was made
	CaseName  string            // Saved: the name asked for, ""
	CaseText  string            // Saved: the case file
}

// A ReplyKind says what a Reply mainly is.
type ReplyKind string

// The kinds of replies.
const (
	Asked     ReplyKind = "asked"      // a question, or a step proposed
	AskedBack ReplyKind = "asked_back" // something of the entry was not clear or not understood
	Explained ReplyKind = "explained"  // an explanation that was asked for
	Detailed  ReplyKind = "detailed"   // the whole diagnosis is to be shown
	Saved     ReplyKind = "saved"      // the case is in CaseText; the conversation has ended
	Finished  ReplyKind = "finished"   // the drop is well; the case can still be saved, or go on
	Stopped   ReplyKind = "stopped"    // the person stopped; the conversation has ended
)

// A Part is some lines of a reply that belong together.
type Part struct {
	Kind  PartKind
	Lines []string
}

// A PartKind says what the lines of a Part are, so that a skin can set them apart.
type PartKind string

// The kinds of parts.
const (
	PartHeard       PartKind = "heard"       // what was understood
	PartNotHeard    PartKind = "not_heard"   // what was not
	PartNotice      PartKind = "notice"      // something to know: a conflict, advice, an error
	PartSummary     PartKind = "summary"     // is it the unit, and what is likely
	PartWarning     PartKind = "warning"     // what can hurt; stands before the step
	PartExplanation PartKind = "explanation" // an answer to why and the like
	PartQuestion    PartKind = "question"    // the question or step, without its answers
	PartAnswers     PartKind = "answers"     // the numbered answers
)

// Lines gives the whole reply as lines of text, in order.
func (r Reply) Lines() []string {
	var lines []string
	for _, p := range r.Parts {
		lines = append(lines, p.Lines...)
	}
	return lines
}

func (r *Reply) add(kind PartKind, lines ...string) {
	if len(lines) > 0 {
		r.Parts = append(r.Parts, Part{kind, lines})
	}
}

// Heard is a part of an entry and what became of it. The texts of an entry's
// Heards together hold every word of the entry.
type Heard struct {
	Text    string // as typed
	Outcome HeardOutcome
	Means   string // in plain words, with the unit; for NotUnderstood what to do about it
}

// A HeardOutcome says what became of a part of an entry.
type HeardOutcome string

// What became of a part of an entry.
const (
	Understood    HeardOutcome = "understood"
	Unclear       HeardOutcome = "unclear" // asked back
	NotUnderstood HeardOutcome = "not_understood"
)

// clone makes a State that shares nothing with s that either may change, with s
// as its earlier State.
func (s State) clone() State {
	c := s
	c.Situation = s.Situation.Clone()
	c.Waiting = slices.DeleteFunc(slices.Clone(s.Waiting), func(q Question) bool { return q.Kind == AskElse })
	c.Told = slices.Clone(s.Told)
	c.Settled = slices.Clone(s.Settled)
	c.Acknowledged = slices.Clone(s.Acknowledged)
	c.Sheet = s.Sheet.clone()
	c.Before = &s
	return c
}

func (s *State) settled(id string) bool { return slices.Contains(s.Settled, id) }

func (s *State) settle(id string) {
	if !s.settled(id) {
		s.Settled = append(s.Settled, id)
	}
}

// unsettle lets something passed over be asked again.
func (s *State) unsettle(id string) {
	s.Settled = slices.DeleteFunc(s.Settled, func(x string) bool { return x == id })
}
