package kept

import (
	"encoding/json"
	"math"
	"reflect"
	"slices"

	"downdrop/cases"
	"downdrop/cmd/internal/conversation"
)

// Joined are the drafts that a case needs after events came in from another place, where it
// went on at both: an event is never lost, but two things are kept as a whole and the later one
// stands for both, what the conversation has settled, and the circumstances. before is the
// case as it stood here, after the case as it stands now. None: it did not go on at both.
func Joined(before, after *cases.Case) ([]cases.Draft, error) {
	if before == nil {
		return nil, nil
	}
	known := map[string]bool{}
	for i := range before.Events {
		known[before.Events[i].ID] = true
	}
	// The other place knew all that comes before the first event that it wrote.
	first := int64(math.MaxInt64)
	for i := range after.Events {
		if e := &after.Events[i]; !known[e.ID] {
			first = min(first, e.Order)
		}
	}
	var fork, there []cases.Event
	for i := range after.Events {
		e := after.Events[i]
		if e.Order < first {
			fork = append(fork, e)
		}
		if e.Order < first || !known[e.ID] {
			there = append(there, e)
		}
	}
	was, other := cases.Fold(fork), cases.Fold(there)
	if was == nil || other == nil || len(was.Events) == len(before.Events) {
		return nil, nil
	}
	var drafts []cases.Draft
	memory, changed, err := joinedMemory(before, other, after)
	if err != nil {
		return nil, err
	}
	if joined, some := joinedCircumstances(was, before, other, after); some {
		drafts = after.Changes(joined.Situation)
	}
	if changed || len(drafts) > 0 {
		return append(drafts, cases.Say(cases.KindTalked, cases.Talked{Memory: memory, Before: after.TalkStands()})), nil
	}
	return nil, nil
}

// joinedMemory is what was settled at either place. What was confirmed is confirmed anew: nobody saw
// it at both.
func joinedMemory(here, there, after *cases.Case) (memory json.RawMessage, changed bool, err error) {
	var all, stands conversation.Memory
	for _, c := range []*cases.Case{here, there} {
		m, err := conversation.MemoryOf(c)
		if err != nil {
			return nil, false, err
		}
		all.Settled, all.Told = union(all.Settled, m.Settled), union(all.Told, m.Told)
		for _, w := range m.Waiting {
			if !slices.ContainsFunc(all.Waiting, func(x conversation.About) bool { return reflect.DeepEqual(x, w) }) {
				all.Waiting = append(all.Waiting, w)
			}
		}
	}
	if stands, err = conversation.MemoryOf(after); err != nil {
		return nil, false, err
	}
	memory, err = json.Marshal(all)
	return memory, len(all.Settled) != len(stands.Settled) || len(all.Told) != len(stands.Told) || len(all.Waiting) != len(stands.Waiting), err
}

func union(a, b []string) []string {
	for _, x := range b {
		if !slices.Contains(a, x) {
			a = append(a, x)
		}
	}
	return a
}

// listed are the fields of a situation whose entries are events of their own; what is
// confirmed is confirmed anew.
var listed = map[string]bool{"Givens": true, "Findings": true, "Done": true, "Confirmed": true}

// joinedCircumstances takes over what only one place changed and the later word of the other
// does not have.
func joinedCircumstances(was, here, there, after *cases.Case) (joined *cases.Case, some bool) {
	c := *after
	c.Situation = after.Situation.Clone()
	to := reflect.ValueOf(&c.Situation).Elem()
	for i := range to.NumField() {
		if f := to.Type().Field(i); listed[f.Name] || !f.IsExported() {
			continue
		}
		at := func(c *cases.Case) reflect.Value { return reflect.ValueOf(&c.Situation).Elem().Field(i) }
		for _, one := range []*cases.Case{here, there} {
			same := func(a, b *cases.Case) bool { return reflect.DeepEqual(at(a).Interface(), at(b).Interface()) }
			if !same(one, was) && same(after, was) {
				to.Field(i).Set(at(one))
				some = true
			}
		}
	}
	return &c, some
}
