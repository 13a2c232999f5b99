package talk

import (
	"cmp"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
	"downdrop/cmd/internal/kept"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
)

// What the file says beside the conversation's own sentences; the words of buttons and headings
// stand in page.html and page.js of package takealong.
const (
	sayOtherCase   = "That is another case than the one in this file."
	sayClosed      = "This case is closed. It is opened again where it is kept."
	sayTakenBack   = "Taken back."
	sayNothingSaid = "Nothing was entered."
	sayTooLong     = "That is longer than %d letters; say it in parts."
	sayAside       = "Something not listed here: %s. Nothing wrong with the drop: %s."
	sayAgreeAll    = "All three have to be agreed before anybody does more than look, each in at most 120 letters: who can switch off, when to call back, and whom to call if the caller stops answering."
	sayAgreedOff   = "Who can switch off"
	sayAgreedBack  = "Call back at"
	sayAgreedElse  = "If the caller stops answering"
)

func (c *Case) view(st *kept.Standing, reply conversation.Reply) Reply {
	k := st.Case
	v := Reply{
		Title: strings.TrimSpace("Case " + k.Code), Code: k.Code, Where: whereOf(k), Sorted: kept.Sort(reply), About: reply.Question.About(),
		Known: c.talk.Known(st.Situation), Still: wording.InPlaceLines(k), CanUndo: st.CanUndo(), Closed: k.State == cases.StateClosed,
		Call: c.call(st, reply.Question), Entries: c.entries(),
	}
	if want, ok := c.talk.Reading(reply.Question); ok {
		v.Reading = &Reading{want.ID, kept.UnitsFor(want.Unit)}
	}
	v.rank(reply.Diagnosis)
	return v
}

// rank lists the likeliest causes, and what else it can be.
func (v *Reply) rank(d *engine.Diagnosis) {
	if d == nil || !d.Possible {
		return
	}
	for _, cause := range d.Causes[:min(6, len(d.Causes))] {
		if cause.Now < 0.005 {
			break
		}
		v.Causes = append(v.Causes, Cause{d.Base.Causes[cause.Cause].Name, wording.Chance(cause.Now), int(100*cause.Now + 0.5)})
	}
	v.Others = []string{fmt.Sprintf(sayAside, wording.Chance(d.Outside), wording.Chance(d.None))}
}

// whereOf says which drop it is, in words.
func whereOf(c *cases.Case) string {
	var words []string
	if drop := cmp.Or(c.Opening.Drop, c.Situation.Drop); drop != 0 {
		words = append(words, fmt.Sprintf("drop %d", drop))
	}
	if c.Opening.Location != "" {
		words = append(words, c.Opening.Location)
	}
	if u := c.Opening.Unit; u.Type+u.Serial != "" {
		words = append(words, strings.TrimSpace("unit "+strings.TrimSpace(u.Type+" "+u.Serial)))
	}
	return strings.Join(words, ", ")
}

func (c *Case) call(st *kept.Standing, q conversation.Question) *Call {
	if st.Situation.At != rulebase.Phone {
		return nil
	}
	return &Call{May: st.Situation.Who <= rulebase.Operator, Settle: c.beyondLooking(q) && !slices.Contains(st.Memory.Settled, conversation.SettledCall)}
}

// beyondLooking says whether a question asks somebody to do more than look and read out.
func (c *Case) beyondLooking(q conversation.Question) bool {
	id := q.ID
	if q.Kind == conversation.AskConfirm {
		id = q.For
	} else if q.Kind != conversation.AskStep {
		return false
	}
	st := c.base.Step(id)
	return st != nil && (st.Kind == rulebase.KindRemedy || st.Hazard != 0 || st.Stops != rulebase.StopsNothing || st.BringsBack || len(st.Needs) > 0 || len(st.PutsRight) > 0 || st.Who > rulebase.Operator)
}

// agree keeps what was agreed with the caller, as a note, and goes on.
func (c *Case) agree(st *kept.Standing, r Request) error {
	if !cases.PlainID(r.Form) || len(r.Form) > 50 {
		return fmt.Errorf("the id %.60q is none", r.Form)
	}
	if st.Has(r.Form) {
		return nil
	}
	var parts []string
	for _, field := range []struct{ text, says string }{{r.Off, sayAgreedOff}, {r.Back, sayAgreedBack}, {r.Else, sayAgreedElse}} {
		text := oneLine(field.text)
		if text == "" || utf8.RuneCountInString(text) > mostShort {
			return refusal(sayAgreeAll)
		}
		parts = append(parts, field.says+": "+text)
	}
	m := st.Memory
	m.Settled = append(slices.Clone(m.Settled), conversation.SettledCall)
	memory, err := json.Marshal(m)
	if err != nil {
		return err
	}
	note := cases.Say(cases.KindNote, cases.Note{Text: strings.Join(parts, "; ")})
	return c.write(st.Situation.At, st.Case.Entry(r.Form, []cases.Draft{note}, cases.Talked{Memory: memory, Said: cases.Body(kept.Said{Heard: parts})}))
}
