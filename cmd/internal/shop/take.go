package shop

import (
	"context"
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
)

// Of and InCase stand among the values of the event that began a run, where they were
// said: the unit's id in the store, and the case that what is found is added to.
const (
	Of     = "of"
	InCase = "case"
)

// Begun is the event that begins a run; it holds procedure and profile whole.
func Begun(base *rulebase.Base, p *rulebase.Procedure, unit *rulebase.Profile, program string) bench.Event {
	return bench.Event{Kind: bench.Begun, Values: map[string]string{
		"procedure": p.ID, "procedure_version": fmt.Sprint(p.Version), "procedure_digest": p.Digest, "procedure_file": p.Pos.File, "procedure_text": p.Text,
		"unit": unit.Name, "unit_digest": unit.Digest, "unit_file": unit.Pos.File, "unit_text": unit.Text,
		"rulebase": base.Name, "rulebase_version": fmt.Sprint(base.Version), "rulebase_digest": base.Digest, "program": program,
	}}
}

// Take takes an entry into a run that stands at s: it is kept when Take returns. The error is
// what to enter instead (see [bench.State.Enter]), or why it was not kept.
func (r *Run) Take(s *bench.State, entry string, now time.Time) (*bench.State, bench.Event, error) {
	draft, err := s.Enter(entry)
	if err != nil {
		return nil, bench.Event{}, err
	}
	e := bench.Append(r.Events, draft, now)
	after, err := bench.Run(s.Procedure, s.Unit, append(slices.Clip(r.Events), e))
	if err != nil {
		return nil, e, err
	}
	return after, e, r.Append(e)
}

// FailedBy says whether an event was a reading that failed.
func FailedBy(s *bench.State, e bench.Event) bool {
	r := s.Last(e.Seq)
	return r != nil && r.Outcome == bench.Failed
}

// Diagnose answers what a run has found so far, on top of what a case says; c may be nil.
func Diagnose(ctx context.Context, prepared *engine.Prepared, s *bench.State, c *cases.Case) (*engine.Diagnosis, error) {
	now := rulebase.Situation{At: rulebase.Bench, Who: rulebase.Technician}
	if c != nil {
		now = c.Situation.Clone()
		now.At = rulebase.Bench
	}
	add, _ := unlike(s, c)
	for _, f := range add {
		now.Findings = append(now.Findings, asFound(f.Finding, doneBy(s, f.Seq, c)))
	}
	return engine.Diagnose(ctx, prepared, now, engine.Options{BeliefOnly: true})
}

// asFound is what a run found as a case has it: seen after the work that was done by then, and tied to it, since
// "as of now" would go on with whatever is done to the unit later.
func asFound(f bench.Finding, after string) rulebase.Finding {
	return rulebase.Finding{Symptom: f.Symptom, Value: f.Value, Read: f.Read, At: rulebase.Bench, After: after}
}

// doneBy is the last work that a case knew of when an entry of a run was made; "" none. For the entry just made that
// is all of it; of an earlier one, which is added late, what the clocks say.
func doneBy(s *bench.State, seq int, c *cases.Case) (last string) {
	if c == nil {
		return ""
	}
	if done := c.Situation.Done; seq >= len(s.Events) && len(done) > 0 {
		return done[len(done)-1].ID
	}
	standing := standing(c)
	for i := range c.Events {
		var b cases.DoneBody
		if e := &c.Events[i]; e.Kind == cases.KindDone && standing[e.ID] && seq <= len(s.Events) && !e.At.After(s.Events[seq-1].At) && json.Unmarshal(e.Body, &b) == nil {
			last = b.ID
		}
	}
	return last
}

// standing are the ids of a case's entries that nothing has corrected or taken back.
func standing(c *cases.Case) map[string]bool {
	out := map[string]bool{}
	for i := range c.Events {
		out[c.Events[i].ID] = true
	}
	for i := range c.Events {
		delete(out, c.Events[i].Corrects)
	}
	return out
}

// A finding is one of a run, with the id of the entry that says it to a case.
type finding struct {
	bench.Finding
	id string
}

// ofRuns begins the id of each entry that a run made in a case: which run, which of its events and which finding of that
// follow. So a finding is said once however often the run is gone on with, and is known again when it is taken back.
const ofRuns = "bench-"

// unlike is where the findings of a case are not those of a run: what is to be added, and the ids of what is to be
// taken back. What somebody corrected or took back in the case itself stays as he left it. c may be nil.
func unlike(s *bench.State, c *cases.Case) (add []finding, gone []string) {
	run := ofRuns
	if len(s.Events) > 0 {
		run += s.Events[0].Hash[:min(16, len(s.Events[0].Hash))]
	}
	wanted, number := map[string]bool{}, map[int]int{}
	for _, f := range s.Findings {
		id := fmt.Sprintf("%s-%d-%d", run, f.Seq, number[f.Seq])
		number[f.Seq]++
		wanted[id] = true
		add = append(add, finding{f, id})
	}
	if c == nil {
		return add, nil
	}
	standing := standing(c)
	said := map[string]bool{}
	for i := range c.Events {
		e := &c.Events[i]
		said[e.ID] = true
		if e.Kind != cases.KindFinding || !standing[e.ID] {
			continue
		}
		if strings.HasPrefix(e.ID, run+"-") && !wanted[e.ID] {
			gone = append(gone, e.ID)
		}
		if !strings.HasPrefix(e.ID, ofRuns) { // by a version before these ids, or by hand
			if at := slices.IndexFunc(add, func(f finding) bool { return !said[f.id] && says(e, f.Finding) }); at >= 0 {
				said[add[at].id] = true
			}
		}
	}
	return slices.DeleteFunc(add, func(f finding) bool { return said[f.id] }), gone
}

// says says whether an entry of a case is what the bench found.
func says(e *cases.Event, f bench.Finding) bool {
	var b cases.FindingBody
	if json.Unmarshal(e.Body, &b) != nil || b.Symptom != f.Symptom || b.At != rulebase.Bench || b.Read != f.Read {
		return false
	}
	if f.Value.IsNumber {
		return b.Value.Number != nil && *b.Value.Number == f.Value.Number
	}
	return b.Value.Number == nil && b.Value.Word == f.Value.Word
}

// Found is what is to be said to the case that a run is of, so that it has what the run found and nothing that was
// taken back in it; nil: nothing is, or it is of none.
func Found(s *bench.State, c *cases.Case) []cases.Draft {
	if c == nil {
		return nil
	}
	var drafts []cases.Draft
	add, gone := unlike(s, c)
	for _, id := range gone {
		drafts = append(drafts, cases.Correct(cases.KindTakenBack, id, cases.Reason{}))
	}
	for _, f := range add {
		found := asFound(f.Finding, doneBy(s, f.Seq, c))
		body := cases.FindingBody{Symptom: found.Symptom, Value: cases.ValueBody{Word: found.Value.Word}, At: found.At, By: s.Asked["by"], After: found.After, Read: found.Read}
		if f.Value.IsNumber {
			body.Value.Number = &f.Value.Number
		}
		draft := cases.Say(cases.KindFinding, body)
		draft.ID = f.id
		drafts = append(drafts, draft)
	}
	return drafts
}
