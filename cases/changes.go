package cases

import (
	"bytes"
	"maps"
	"reflect"

	"downdrop/rulebase"
)

func (v ValueBody) value() rulebase.Value {
	if v.Number != nil {
		return rulebase.Value{Word: v.Word, IsNumber: true, Number: *v.Number}
	}
	return rulebase.Value{Word: v.Word}
}

func valueBody(v rulebase.Value) ValueBody {
	b := ValueBody{Word: v.Word}
	if v.IsNumber {
		b.Number = &v.Number
	}
	return b
}

func (b *FindingBody) finding() rulebase.Finding {
	return rulebase.Finding{Symptom: b.Symptom, Value: b.Value.value(), Sure: b.Sure, At: b.At, By: b.By, After: b.After, Now: b.Now, Drop: b.Drop, Read: b.Read}
}

func findingBody(f rulebase.Finding) FindingBody {
	return FindingBody{Symptom: f.Symptom, Value: valueBody(f.Value), Sure: f.Sure, At: f.At, By: f.By, After: f.After, Now: f.Now, Drop: f.Drop, Read: f.Read}
}

func (b *Circumstances) into(s *rulebase.Situation) {
	who, _ := rulebase.WhoOf(b.Who)
	s.Case, s.At, s.Who, s.Tools, s.Alone, s.Confirmed = b.Name, b.At, who, b.Tools, b.Alone, b.Confirmed
	s.Drop, s.Drops, s.Order, s.Supplies, s.Sheet, s.Paper, s.Effort = b.Drop, b.Drops, b.Order, b.Supplies, b.Sheet, b.Paper, nil
	s.SheetFile, s.Sums, s.Checked = b.SheetFile, b.Sums, b.Checked
	if b.Effort != nil {
		s.Effort = &rulebase.Effort{StopsDrop: b.Effort["stops_drop"], StopsBus: b.Effort["stops_bus"], Visit: b.Effort["visit"]}
	}
}

func circumstances(s *rulebase.Situation) Circumstances {
	b := Circumstances{
		Name: s.Case, At: s.At, Who: s.Who.String(), Tools: s.Tools, Alone: s.Alone, Confirmed: s.Confirmed,
		Drop: s.Drop, Drops: s.Drops, Order: s.Order, Supplies: s.Supplies, Sheet: s.Sheet, SheetFile: s.SheetFile, Paper: s.Paper, Sums: s.Sums, Checked: s.Checked,
	}
	if s.Effort != nil {
		b.Effort = map[string]float64{"stops_drop": s.Effort.StopsDrop, "stops_bus": s.Effort.StopsBus, "visit": s.Effort.Visit}
	}
	return b
}

// Changes is what has to be written so that the case's situation becomes after:
// what every door (conversation, page, flags, hand-over) calls, so that none of them
// needs to know an event. What is no longer said is taken back, what is new is added;
// nothing changed is no draft. The drafts lack ids, subject and the writer's particulars.
// Positions in files are not kept.
func (c *Case) Changes(after rulebase.Situation) []Draft {
	var out []Draft
	if b := circumstances(&after); !reflect.DeepEqual(normal(circumstances(&c.Situation)), normal(b)) {
		out = append(out, Draft{Kind: KindSituation, Version: 1, Corrects: c.last[KindSituation], Body: Body(b)})
	}
	out = append(out, listChanges(KindGiven, c.givens, c.Situation.Givens, after.Givens, func(g rulebase.GivenValue) any {
		return GivenBody{ID: g.ID, Value: valueBody(g.Value)}
	})...)
	out = append(out, listChanges(KindFinding, c.findings, c.Situation.Findings, after.Findings, func(f rulebase.Finding) any {
		return findingBody(f)
	})...)
	out = append(out, listChanges(KindDone, c.done, c.Situation.Done, after.Done, func(d rulebase.Done) any {
		return DoneBody{ID: d.ID, Drop: d.Drop}
	})...)
	return out
}

// Leaving is what has to be written so that the case goes on at another place: that it is handed over
// there, and, since whose hands are on it is asked there, that who is there and what was confirmed
// before steps is not known any more.
func (c *Case) Leaving(to rulebase.Place) []Draft {
	drafts := []Draft{Say(KindHandedOver, HandOver{To: to})}
	if after := c.Situation.Clone(); after.At != to {
		after.At, after.Who, after.Confirmed = to, rulebase.Anybody, nil
		drafts = append(drafts, c.Changes(after)...)
	}
	return drafts
}

// normal makes empty and absent the same where they mean the same: everywhere but in Tools.
func normal(b Circumstances) Circumstances {
	if len(b.Confirmed) == 0 {
		b.Confirmed = nil
	}
	if len(b.Order) == 0 {
		b.Order = nil
	}
	if len(b.Supplies) == 0 {
		b.Supplies = nil
	}
	if len(b.Drops) == 0 {
		b.Drops = nil
	}
	if len(b.Paper) == 0 {
		b.Paper = nil
	}
	if len(b.Sums) == 0 {
		b.Sums = nil
	}
	if len(b.Checked) == 0 {
		b.Checked = nil
	}
	b.Drops, b.Paper, b.Sums = maps.Clone(b.Drops), maps.Clone(b.Paper), maps.Clone(b.Sums)
	return b
}

// listChanges turns one list of entries into another. What both hold in one order
// stays; what is gone is taken back; all else is added, since new events come last:
// a list whose order was changed is taken back from there and said again.
func listChanges[T any](kind Kind, ids []string, before, after []T, body func(T) any) []Draft {
	var out []Draft
	kept := 0
	for i, entry := range before {
		if kept < len(after) && bytes.Equal(Body(body(entry)), Body(body(after[kept]))) {
			kept++
		} else {
			out = append(out, Correct(KindTakenBack, ids[i], Reason{}))
		}
	}
	for _, entry := range after[kept:] {
		out = append(out, Say(kind, body(entry)))
	}
	return out
}
