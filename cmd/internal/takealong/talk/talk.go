// Package talk is the conversation inside a file that is taken along: a case, its rulebase
// and the engine, without a store, a network or a clock that others set. The browser calls
// [Case.Do] with one request as JSON and shows what comes back; all that was said becomes
// events of a site of its own, made anew each time that the file is opened, so that two phones, or
// two windows, never write the same chain, and a store takes all of them in.
package talk

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"slices"
	"strings"
	"time"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/engine"
	"downdrop/rulebase"
)

// Schema is that of what Do gives.
const Schema = "downdrop.take_along/1"

// An Opening is what a file holds.
type Opening struct {
	Base    string `json:"base"`    // the rulebase, as Base.Pack wrote it
	Case    string `json:"case"`    // the case, as a hand-over
	Site    string `json:"site"`    // the site to write under: not used before
	Program string `json:"program"` // version of the downdrop that wrote the file
	By      string `json:"by"`      // who writes: an id, ""
}

// A Case is the one in the file. It is used by one caller at a time.
type Case struct {
	base    *rulebase.Base
	talk    *conversation.Talk
	opening Opening
	now     func() time.Time
	events  []cases.Event
	head    cases.Head
	sheet   []byte // the text of the line's sheet, which goes back with the case; nil: it has none
}

// mostParts is how many parts a sheet may take in a file, which has room: all that there can be.
const mostParts = 999

// Open reads what a file holds.
func Open(o Opening, now func() time.Time) (*Case, error) {
	base, err := rulebase.Unpack([]byte(o.Base))
	if err != nil {
		return nil, err
	}
	if !cases.PlainID(o.Site) {
		return nil, fmt.Errorf("the site %.80q is no name", o.Site)
	}
	prepared := engine.Prepare(base)
	c := &Case{base: base, opening: o, now: now}
	c.talk = conversation.New(base, func(ctx context.Context, s rulebase.Situation, opt engine.Options) (*engine.Diagnosis, error) {
		return engine.Diagnose(ctx, prepared, s, opt)
	}).WithClock(now)
	c.opening.Base = ""
	if err := c.Merge(o.Case, o.Site); err != nil {
		return nil, err
	}
	if len(c.events) == 0 {
		return nil, errors.New("the file holds no case")
	}
	return c, nil
}

// Merge takes in the events of a hand-over of the same case; those that are there already are
// passed over. Where the case went on at both places, form is what the ids of the events that
// join them are made of.
func (c *Case) Merge(text, form string) error {
	before := cases.Fold(c.events)
	events, sheet, err := cases.ReadHandOver(text)
	if err != nil {
		return err
	}
	for _, e := range events {
		if len(c.events) > 0 && e.Subject != c.events[0].Subject {
			return refusal(sayOtherCase)
		}
	}
	for _, e := range events {
		if !slices.ContainsFunc(c.events, func(x cases.Event) bool { return x.ID == e.ID }) {
			c.events = append(c.events, e)
		}
	}
	if sheet != nil {
		c.sheet = sheet
	}
	if before == nil || len(c.events) == len(before.Events) {
		return nil
	}
	after := cases.Fold(c.events)
	drafts, err := kept.Joined(before, after)
	if err != nil {
		return err
	}
	for i := range drafts {
		drafts[i].ID = fmt.Sprintf("%s-%d", form, i)
	}
	return c.write(after.Situation.At, drafts)
}

// write adds drafts of one entry to the case.
func (c *Case) write(place rulebase.Place, drafts []cases.Draft) error {
	var order int64
	for i := range c.events {
		order = max(order, c.events[i].Order)
	}
	head, now := c.head, c.now()
	_, east := now.Zone()
	var added []cases.Event
	for i, d := range drafts {
		d.Subject, d.Version = c.events[0].Subject, max(1, d.Version)
		d.At, d.Zone, d.By, d.Place, d.Program, d.Rulebase = now, east/60, c.opening.By, place, c.opening.Program, c.base.Digest
		e, err := cases.Seal(d, c.opening.Site, head, order+int64(i)+1)
		if err != nil {
			return err
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		added = append(added, e)
	}
	c.events, c.head = append(c.events, added...), head
	return nil
}

// A refusal is why something is not taken in, as a whole sentence for who reads it on the screen.
type refusal string

func (r refusal) Error() string { return string(r) }

// entries counts what was said in the conversation so far, here and before.
func (c *Case) entries() int {
	n := 0
	for i := range c.events {
		if c.events[i].Kind == cases.KindTalked {
			n++
		}
	}
	return n
}

// A Request is what somebody pressed or typed.
type Request struct {
	Do    string             `json:"do"`   // show, answer, undo, agree, hearing, merge or text
	Form  string             `json:"form"` // an id that whoever asks made for what is said
	About conversation.About `json:"about"`

	Text    string `json:"text"`    // words, or an answer's entry; of merge, a hand-over
	Chosen  bool   `json:"chosen"`  // Text is the entry of an answer that was offered
	Reads   string `json:"reads"`   // what Text is a reading of, ""
	Unit    string `json:"unit"`    // of the reading
	Sure    string `json:"sure"`    // how sure the caller seemed, "" sure
	Explain string `json:"explain"` // of show: why, else or need

	Facts []string `json:"facts"` // the warnings whose facts were ticked, where Text is kept.Ticked

	Off, Back, Else string // of agree
}

// A Reply is what the screen shows.
type Reply struct {
	Schema string `json:"schema"`
	Error  string `json:"error"` // why a request was not taken in; else ""

	Title string `json:"title"`
	Code  string `json:"code"`
	Where string `json:"where"`
	kept.Sorted
	About   conversation.About `json:"about"`
	Reading *Reading           `json:"reading"`
	Known   []string           `json:"known"`
	Still   []string           `json:"still"`
	Causes  []Cause            `json:"causes"`
	Others  []string           `json:"others"`
	Call    *Call              `json:"call"`
	CanUndo bool               `json:"can_undo"`
	Closed  bool               `json:"closed"`
	Entries int                `json:"entries"` // of the conversation, so far

	Parts     []string                `json:"parts"`     // of text: the case as a hand-over
	Questions []conversation.Question `json:"questions"` // of hearing
}

// A Reading is what is to be read off an instrument, with the units it may be read in.
type Reading struct {
	ID    string   `json:"id"`
	Units []string `json:"units"`
}

// A Cause is a likely one, with its chance in words and of 100.
type Cause struct {
	Name   string `json:"name"`
	Chance string `json:"chance"`
	Width  int    `json:"width"`
}

// A Call is what the script of a call has beside the question.
type Call struct {
	May    bool `json:"may"`    // the caller may do no more than look and read out
	Settle bool `json:"settle"` // what has to be agreed is asked before anything beyond looking
}

// Do answers one request, as JSON. It never fails otherwise than in Reply.Error.
func (c *Case) Do(request string) string {
	var r Request
	var reply Reply
	err := json.Unmarshal([]byte(request), &r)
	if err == nil {
		reply, err = c.do(context.Background(), r)
	}
	if err != nil {
		reply.Error = err.Error()
	}
	reply.Schema = Schema
	text, err := json.Marshal(reply)
	if err != nil {
		return fmt.Sprintf(`{"schema":%q,"error":%q}`, Schema, err.Error())
	}
	return string(text)
}

func (c *Case) do(ctx context.Context, r Request) (Reply, error) {
	st, err := kept.Stand(cases.Fold(c.events), c.talk)
	if err != nil {
		return Reply{}, err
	}
	switch r.Do {
	case "text":
		parts, _, err := cases.HandOverText(st.Case, c.sheet, mostParts)
		return Reply{Parts: parts, Entries: c.entries()}, err
	case "hearing":
		var reply Reply
		reply.Heard, reply.Questions = st.Hearing(c.talk, r.Text)
		return reply, nil
	case "merge":
		if !cases.PlainID(r.Form) || len(r.Form) > 50 {
			return Reply{}, fmt.Errorf("the id %.60q is none", r.Form)
		}
		if err := c.Merge(r.Text, r.Form); err != nil {
			return Reply{}, err
		}
	case "agree":
		if err := c.agree(st, r); err != nil {
			return Reply{}, err
		}
	case "answer", "undo":
		return c.answer(ctx, st, r)
	case "show":
	default:
		return Reply{}, fmt.Errorf("nothing is done for %.40q", r.Do)
	}
	if st, err = kept.Stand(cases.Fold(c.events), c.talk); err != nil {
		return Reply{}, err
	}
	return c.view(st, st.Explain(ctx, c.talk, r.Explain)), nil
}

// answer takes an entry in, once, and asks what is to be asked then.
func (c *Case) answer(ctx context.Context, st *kept.Standing, r Request) (Reply, error) {
	e, err := entryOf(r)
	if err != nil {
		return Reply{}, err
	}
	if st.Has(e.ID) {
		return c.view(st, st.Explain(ctx, c.talk, "")), nil
	}
	if st.Case.State == cases.StateClosed {
		return Reply{}, refusal(sayClosed)
	}
	if r.Do == "undo" || conversation.IsUndo(e.Text) {
		drafts, place, err := st.Undo(c.base, e.ID, sayTakenBack)
		if err == nil {
			err = c.write(place, drafts)
		}
		if err != nil {
			return Reply{}, err
		}
		return c.after(ctx)
	}
	state, heard := st.Hear(ctx, c.talk, e)
	drafts, err := st.Drafts(c.base, e.ID, state, heard)
	if err != nil {
		return Reply{}, err
	}
	if len(drafts) > 0 {
		if err := c.write(state.Situation.At, drafts); err != nil {
			return Reply{}, err
		}
		st, err = kept.Stand(cases.Fold(c.events), c.talk)
		if err != nil {
			return Reply{}, err
		}
		return c.view(st, heard), nil
	}
	_, now := st.Resume(ctx, c.talk)
	return c.view(st, kept.Told(heard, now)), nil
}

// after shows the case as it stands, with what was answered to the last entry.
func (c *Case) after(ctx context.Context) (Reply, error) {
	st, err := kept.Stand(cases.Fold(c.events), c.talk)
	if err != nil {
		return Reply{}, err
	}
	reply := c.view(st, st.Explain(ctx, c.talk, ""))
	reply.Heard, reply.NotHeard, reply.Notices = st.Said.Heard, st.Said.NotHeard, append(reply.Notices, st.Said.Notices...)
	return reply, nil
}

// entryOf is what a request says: an answer that was pressed, a reading with its unit, or words.
func entryOf(r Request) (kept.Entry, error) {
	e := kept.Entry{ID: r.Form, Text: r.Text, Chosen: r.Chosen, About: r.About}
	if r.Do == "undo" {
		e.Text = "undo"
	}
	switch {
	case r.Chosen && r.Text == kept.Ticked:
		if e.Chosen, e.Text = false, kept.ConfirmTicked(r.Facts); e.Text == "" {
			return e, refusal(kept.SayNoneTicked)
		}
	case r.Reads != "":
		e.Chosen = false
		if e.Text = kept.InUnit(r.Text, r.Unit); e.Text != "" {
			e.Text = r.Reads + "=" + e.Text
		}
	case r.Chosen && r.Sure != "" && strings.Contains(e.Text, "="):
		e.Text += "@" + r.Sure
	}
	if strings.TrimSpace(e.Text) == "" {
		return e, refusal(sayNothingSaid)
	}
	if utf8.RuneCountInString(e.Text) > mostStory {
		return e, refusal(fmt.Sprintf(sayTooLong, mostStory))
	}
	if !cases.PlainID(e.ID) || len(e.ID) > 50 {
		return e, fmt.Errorf("the id %.60q is none", e.ID)
	}
	return e, nil
}

// The longest texts, in letters.
const (
	mostStory = 4000
	mostShort = 120
)
