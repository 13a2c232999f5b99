package shop

import (
	"context"
	"fmt"
	"slices"
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
	for _, f := range s.Findings {
		now.Findings = append(now.Findings, asFound(f, now.Done))
	}
	return engine.Diagnose(ctx, prepared, now, engine.Options{BeliefOnly: true})
}

// asFound is what a run found as a case has it: seen after the work that was done by then, and tied to it, since
// "as of now" would go on with whatever is done to the unit later.
func asFound(f bench.Finding, done []rulebase.Done) rulebase.Finding {
	found := rulebase.Finding{Symptom: f.Symptom, Value: f.Value, Read: f.Read, At: rulebase.Bench}
	if len(done) > 0 {
		found.After = done[len(done)-1].ID
	}
	return found
}

// Found is what an entry found, for the case that the run is of; nil: it is of none.
func Found(before, after *bench.State, c *cases.Case) []cases.Draft {
	if c == nil || len(after.Findings) <= len(before.Findings) {
		return nil
	}
	var drafts []cases.Draft
	for _, f := range after.Findings[len(before.Findings):] {
		found := asFound(f, c.Situation.Done)
		body := cases.FindingBody{Symptom: found.Symptom, Value: cases.ValueBody{Word: found.Value.Word}, At: found.At, By: after.Asked["by"], After: found.After, Read: found.Read}
		if f.Value.IsNumber {
			body.Value.Number = &f.Value.Number
		}
		drafts = append(drafts, cases.Say(cases.KindFinding, body))
	}
	return drafts
}
