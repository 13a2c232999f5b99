package talk

import (
	"fmt"
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
	sayAgreeAll    = "All three have to be agreed before anybody does more than look, each in at most 120 letters: who can switch off, when to call back, and whom to call if the caller stops answering."
)

func (c *Case) view(st *kept.Standing, reply conversation.Reply) Reply {
	k := st.Case
	v := Reply{
		Title: strings.TrimSpace("Case " + k.Code), Code: k.Code, Where: wording.Where(k), Sorted: kept.Sort(reply), About: reply.Question.About(),
		Known: c.talk.Known(st.Situation), Still: wording.InPlaceLines(k), CanUndo: st.CanUndo(), Closed: k.State == cases.StateClosed,
		Call: c.call(st, reply.Question), Entries: c.entries(),
	}
	v.Tick(c.talk.Facts(k.Situation, st.Memory, reply.Question))
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
	for _, cause := range kept.ShownNow(d, 6) {
		v.Causes = append(v.Causes, Cause{d.Base.Causes[cause.Cause].Name, wording.Chance(cause.Now), int(100*cause.Now + 0.5)})
	}
	v.Others = []string{wording.Aside(d.Outside, d.None)}
}

func (c *Case) call(st *kept.Standing, q conversation.Question) *Call {
	if st.Situation.At != rulebase.Phone {
		return nil
	}
	return &Call{May: st.CallerLooks(), Settle: st.CallSettles(c.base, q)}
}

// agree keeps what was agreed with the caller, as a note, and goes on.
func (c *Case) agree(st *kept.Standing, r Request) error {
	if !cases.PlainID(r.Form) || len(r.Form) > 50 {
		return fmt.Errorf("the id %.60q is none", r.Form)
	}
	if st.Has(r.Form) {
		return nil
	}
	a := kept.Agreement{Off: wording.OneLine(r.Off), Back: wording.OneLine(r.Back), Else: wording.OneLine(r.Else)}
	for _, text := range []string{a.Off, a.Back, a.Else} {
		if text == "" || utf8.RuneCountInString(text) > mostShort {
			return refusal(sayAgreeAll)
		}
	}
	drafts, err := st.Agree(r.Form, a)
	if err != nil {
		return err
	}
	return c.write(st.Situation.At, drafts)
}
